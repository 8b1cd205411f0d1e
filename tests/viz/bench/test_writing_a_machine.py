"""A machine written down by answering, without a browser: every kind of link, comments, removal, what it lacks."""

from pathlib import Path

import pytest
from handlead import machines
from handlead.machines.keys.link_keys import LINK
from handlead.machines.toml.places import parse

from .written_down import written

ROOT = Path(__file__).parents[3]

#: A link of every kind in inches, a level machine, one with a ratio that is entered, one with imperfections.
PAPER = [
    ROOT / "tests/machines/good/every-kind.toml", ROOT / "machines/shipped/ombrecht-l8.toml",
    ROOT / "machines/shipped/tesmore-d2.toml", ROOT / "tests/machines/good/imperfect.toml",
]  # fmt: skip


@pytest.mark.parametrize("path", PAPER, ids=lambda path: path.stem)
def test_a_machine_that_is_written_by_answering_is_the_machine_on_the_paper(path):
    meant = machines.read_machine(path)
    text = written(parse(path.read_text(), path.name).values)
    assert machines.read_machine_text(text) == meant
    if meant.train.brackets:
        assert machines.constants(machines.read_machine_text(text)).sets == machines.constants(meant).sets


def test_every_kind_of_link_is_among_those_written():
    kinds = {row["kind"] for path in PAPER for row in parse(path.read_text(), path.name).values["link"]}
    assert kinds == set(LINK)
