"""The tables of keys: each key is explained, used by a file that is tested, and stands in the reference."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from handlead.kinematics.brackets.bracket_keys import BRACKET_KEYS
from handlead.kinematics.links.links import KINDS
from handlead.machines.job_keys.job_keys import JOB
from handlead.machines.keys.link_keys import BRACKET, LINK
from handlead.machines.keys.machine_keys import MACHINE
from handlead.machines.tables.tables import Rows, Swivel, Table, TableOf
from handlead.machines.tables.values import Listing, Value
from handlead.machines.toml.guesses import nearest
from handlead.machines.toml.places import read
from handlead.machines.written.reference import file_reference

GOOD = Path(__file__).parent / "good"


def tables(value: Value) -> Iterator[Table]:
    match value:
        case Table():
            yield value
            for key in value.keys:
                yield from tables(key.value)
        case Rows():
            for table in value.tables.values():
                yield from tables(table)
        case TableOf() | Listing() | Swivel():
            yield from tables(value.of)


TABLES = [*tables(MACHINE), *tables(JOB)]


def test_every_key_is_explained_in_one_sentence():
    for table in TABLES:
        for key in table.keys:
            assert key.meaning.endswith("."), (table.name, key.name)
            assert key.value.says, (table.name, key.name)


def test_a_key_that_must_be_given_has_no_default():
    assert not [key.name for table in TABLES for key in table.keys if key.required and key.default]


def test_every_kind_of_link_has_its_keys():
    assert list(LINK) == list(KINDS)


def test_every_measure_of_a_bracket_has_its_key():
    assert {*BRACKET.names} == {*BRACKET_KEYS, "diametral_pitch"}


def test_every_kind_of_link_is_in_a_file_that_is_tested():
    rows = [row for file in GOOD.glob("*.toml") for row in read(file).values.get("link", [])]
    assert {row["kind"] for row in rows} == set(LINK)


def test_the_reference_has_every_key_of_every_table():
    page = file_reference()
    for table in TABLES:
        assert table.meaning in page
        for key in table.keys:
            assert f"| `{key.name}` |" in page
            assert key.meaning in page


@pytest.mark.parametrize(
    ("written", "meant"),
    [
        ("hellix_angle", "helix_angle"),
        ("anticlockwise", "counter-clockwise"),
        ("CCW", "counter-clockwise"),
        ("feed", "feed gears"),
        ("xyzzy", None),
        ("x" * 10_000, None),
    ],
)
def test_a_guess_is_what_was_meant_or_nothing(written, meant):
    assert (
        nearest(written, ["helix_angle", "clockwise", "counter-clockwise", "feed gears", "index gears"])
        == meant
    )
