"""What the front doors give: nothing in it can be altered, it can be hashed, sent elsewhere and compared."""

from __future__ import annotations

import dataclasses
import enum
import pickle
from collections.abc import Mapping
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from handlead import machines
from handlead.machines.toml.read_only import ReadOnlyList, ReadOnlyTable

SCENARIOS = Path(__file__).parents[1] / "scenarios"


def read(name):
    return machines.read_job(SCENARIOS / name)


def pinion():
    return read("01-fly-winch-pair/pinion.toml")


def pile():
    return [read(f"90-months-pile/pile/{name}.toml") for name in ("10-prompt-bell", "08-tower-clock")]


def inspected():
    folder = SCENARIOS / "92-cloud-drum-wheel"
    return machines.inspect(read("92-cloud-drum-wheel/job.toml"), folder / "pitch.csv")


RESULTS = {
    "a job": pinion,
    "a machine": lambda: pinion().machine,
    "a job to plan, as read": lambda: pinion().with_setup(None),
    "a proof": lambda: machines.prove(pinion()),
    "a wrong proof": lambda: machines.prove(read("21-idler-left-out/job.toml")),
    "a simulated blank": lambda: machines.prove(pinion(), cut="scratch").cut,
    "a case": lambda: machines.Case.of(pinion()),
    "a plan": lambda: machines.plan(pinion(), top=1),
    "a diagnosis": lambda: machines.trace(pinion().with_seen(machines.Seen(teeth=24))),
    "a machine's rules": lambda: machines.constants(pinion().machine),
    "a survey": lambda: machines.survey(pile()),
    "gears to get": lambda: machines.gears_to_buy(pile()),
    "the order of the day": lambda: machines.order_of_the_day([(job, job.machine) for job in pile()])[0],
    "how sure a set-up is": lambda: machines.study(pinion(), draws=100),
    "how much deeper": lambda: machines.go_deeper(pinion(), machines.Gauging(span=(4, Fraction("32.4")))),
    "a sample's name": lambda: machines.read_sample(SCENARIOS / "71-snow-drum-sample" / "sample.toml"),
    "an inspected gear": inspected,
}

#: As long as what is printed of a result may be, in characters.
MOST = 300


def alterable(value, path="result", seen=None):
    """Whatever in a result could be written into, by where it is."""
    seen = set() if seen is None else seen
    if id(value) in seen or isinstance(value, enum.Enum | type):
        return
    seen.add(id(value))
    if isinstance(value, np.ndarray):
        if value.flags.writeable:
            yield path
    elif isinstance(value, list | dict | set) and not isinstance(value, ReadOnlyTable | ReadOnlyList):
        yield path
    elif isinstance(value, Mapping):
        for key, each in value.items():
            yield from alterable(each, f"{path}[{key!r}]", seen)
    elif isinstance(value, tuple | list | frozenset):
        for number, each in enumerate(value):
            yield from alterable(each, f"{path}[{number}]", seen)
    elif dataclasses.is_dataclass(value):
        if not type(value).__dataclass_params__.frozen:
            yield path
        for field in dataclasses.fields(value):
            yield from alterable(getattr(value, field.name), f"{path}.{field.name}", seen)


@pytest.fixture(scope="module", params=RESULTS, ids=str)
def result(request):
    return RESULTS[request.param]()


def test_nothing_in_a_result_can_be_altered(result):
    assert list(alterable(result)) == []


def test_a_result_is_the_same_after_a_way_through_another_process(result):
    again = pickle.loads(pickle.dumps(result))
    assert again == result
    assert hash(again) == hash(result)
    assert list(alterable(again)) == []


def test_a_result_is_told_in_a_line(result):
    assert "\n" not in repr(result)
    assert len(repr(result)) < MOST


@pytest.mark.parametrize("alter", [
    lambda values: values.clear(),
    lambda values: values.update(shafts={}),
    lambda values: values["shafts"].pop(next(iter(values["shafts"]))),
    lambda values: values["link"].append({}),
    lambda values: values["link"][0].setdefault("kind", "belt"),
])  # fmt: skip
def test_what_a_file_said_cannot_be_altered_through_the_machine_that_was_read_from_it(alter):
    values = pinion().machine.document.values
    with pytest.raises(TypeError, match="can't be altered"):
        alter(values)


def test_marks_counted_twice_are_other_than_marks_counted_once():
    """Equality looks at the arrays themselves, and takes what isn't finished for alike."""
    cut = machines.prove(pinion(), cut="scratch").cut.measured.field
    other = dataclasses.replace(cut, radius=np.where(cut.radius == cut.radius.min(), 0, cut.radius))
    assert cut == dataclasses.replace(cut, radius=cut.radius.copy())
    assert cut != other
    hole = dataclasses.replace(cut, radius=np.where(cut.radius == cut.radius.min(), np.nan, cut.radius))
    assert hole == dataclasses.replace(hole, radius=hole.radius.copy())
