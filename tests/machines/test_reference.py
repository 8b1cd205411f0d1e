"""The file reference is what the readers read."""

from pathlib import Path

from handlead.machines.written.reference import file_reference

ROOT = Path(__file__).parents[2]


def test_the_reference_that_ships_is_made_from_the_tables_of_keys():
    assert (ROOT / "machines" / "FILES.md").read_text() == file_reference()
