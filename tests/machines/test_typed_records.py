"""A record taken down by hand: what is typed is what its file says, and what is wrong stands at its reading."""

import pytest
from handlead.machines.gear_records.records import read_record_text
from handlead.machines.gear_records.writing import RecordSheet, check_sheet, sheet_of
from handlead.machines.toml.errors import FileFault
from hypothesis import given
from hypothesis import strategies as st

HEAD = {"quantity": "pitch cumulative", "unit": "divisions", "division": "0.01 mm", "flank": "left", "counted": "clockwise"}


def tenths(low, high):
    return st.integers(low, high).map(lambda tenth: f"{tenth / 10:g}")


@given(st.lists(st.one_of(tenths(-400, 400), st.sampled_from(["", "-", "?"])), min_size=20, max_size=40))
def test_what_is_typed_is_what_the_file_says(typed):
    sheet = RecordSheet(HEAD, {(str(at),): each for at, each in enumerate(typed, 1)})
    checked = check_sheet(sheet, "typed.csv", 40)
    if len(sheet.taken) < 6:
        assert checked.record is None and checked.whole
        return
    if checked.record is None:  # all the same within less than a gauge shows
        return
    again = sheet_of(sheet.text, "typed.csv", 40)
    assert {key: again.head[key] for key in HEAD} == HEAD
    assert {where: float(each) for where, each in again.readings.items()} == {
        where: float(each) for where, each in sheet.taken.items()
    }
    assert checked.record.readings.um.tolist() == [10 * float(each) for each in sheet.taken.values()]


def test_a_comma_in_a_reading_is_its_decimal_point():
    sheet = RecordSheet(HEAD, {(str(at),): f"{at % 3},5" for at in range(1, 9)})
    record = check_sheet(sheet, "typed.csv", 40).record
    assert record.readings.um.tolist() == [10 * (at % 3 + 0.5) for at in range(1, 9)]


@pytest.mark.parametrize("odd", ["1;2", "1 # two", '"1"', "one", "1 2"])
def test_what_is_no_number_is_told_at_its_reading_and_never_taken_for_another(odd):
    typed = {(str(at),): str(at) for at in range(1, 9)} | {("9",): odd, ("10",): "x"}
    checked = check_sheet(RecordSheet(HEAD, typed), "typed.csv", 40)
    assert checked.record is None
    assert set(checked.readings) == {("9",), ("10",)} and "is no number" in checked.readings["9",]


def test_the_readings_of_a_record_whose_quantity_is_misspelt_are_looked_through_as_well():
    text = "# quantity: runouts\n# unit: um\n# counted: clockwise\ntooth, deviation\n1, 0\n2, x\n"
    with pytest.raises(FileFault) as fault:
        read_record_text(text, "r.csv", 20)
    assert {one.line for one in fault.value.complaints} == {1, 6}
