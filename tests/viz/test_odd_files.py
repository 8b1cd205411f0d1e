"""Odd numbers and names in files, all the way through a command: an answer or a complaint, and nothing else."""

import json
import re
from pathlib import Path

import handlead.machines
import handlead.scenarios
import pytest
from handlead.viz.command import main
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

ORDERS = sorted(Path(handlead.scenarios.__file__).parent.glob("*/job.toml"))
SHIPPED = Path(handlead.machines.__file__).parent / "shipped"
VALUE = re.compile(r'(?<==)[ \t]*("[^"\n]*"|-?[\d.]+)|(?<=[\[,{ ])\d+(?=[\],} ])')
ODD = (
    "0", "1", "-1", "3", "0.001", "1e-9", "1e9", "9999", "10000", "10001", "99999", "89.9", "-89.9", "360", '"1/3"', '"22d"',
    '"1000 in"', '"x"', "true", "[]", '""', '"²"', '"٣"', '"\\u001b[31m"', '"\\u0000"', '"a\\nb"', '"\\u202e"', '"$x_1$"',
)  # fmt: skip


def odd(draw, text):
    """The text with one to three of its values replaced by odd ones."""
    for _ in range(draw(st.integers(1, 3))):
        found = draw(st.sampled_from(list(VALUE.finditer(text))))
        text = f"{text[: found.start()]} {draw(st.sampled_from(ODD))}{text[found.end() :]}"
    return text


def check(arguments, capsys):
    status = main(arguments)
    out, err = capsys.readouterr()
    assert status in (0, 1, 2), err
    assert (out + err).replace("\n", "").isprintable()
    assert (status == 2) == bool(err)
    if "--json" in arguments:
        assert isinstance(json.loads(out), dict)


FEW = settings(deadline=None, max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])


@FEW
@given(data=st.data())
@pytest.mark.slow
def test_a_job_with_odd_values_is_answered_or_complained_of(data, tmp_path, capsys):
    job = tmp_path / "job.toml"
    job.write_text(odd(data.draw, data.draw(st.sampled_from(ORDERS)).read_text()))
    check(["prove", "--no-cut", *data.draw(st.sampled_from([[], ["--json"]])), str(job)], capsys)


@FEW
@given(data=st.data())
@pytest.mark.slow
def test_a_machine_with_odd_values_is_answered_or_complained_of(data, tmp_path, capsys):
    machine = tmp_path / "machine.toml"
    machine.write_text(odd(data.draw, data.draw(st.sampled_from(sorted(SHIPPED.glob("*.toml")))).read_text()))
    check(["constants", *data.draw(st.sampled_from([[], ["--json"]])), str(machine)], capsys)
