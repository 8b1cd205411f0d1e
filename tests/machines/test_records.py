"""Records of a finished gear as checkers and dials leave them, and what is wrong with one that can't be used."""

from __future__ import annotations

import numpy as np
import pytest
from handlead.machines.gear_records.records import read_record
from handlead.machines.job_keys.record_keys import EXAMPLE
from handlead.machines.toml.errors import FileFault
from hypothesis import given
from hypothesis import strategies as st

HEAD = "# quantity: pitch cumulative\n# unit: um\n# flank: right\n# counted: clockwise\n"
ROWS = "".join(f"{tooth}, {tooth % 5}\n" for tooth in range(1, 30))
PITCH = f"{HEAD}tooth, deviation\n{ROWS}"


@pytest.fixture
def read(tmp_path):
    def read(text, teeth=29):
        path = tmp_path / "record.csv"
        path.write_bytes(text.encode("utf-8"))
        return read_record(path, teeth)

    return read


@pytest.fixture
def faults(read):
    def faults(text, teeth=29):
        with pytest.raises(FileFault) as raised:
            read(text, teeth)
        return [(fault.line, fault.key, fault.message) for fault in raised.value.complaints]

    return faults


def test_a_record_says_what_it_is_and_has_its_readings(read):
    record = read(PITCH.replace("# unit", "# date: 2026-11-20\n# unit"))
    assert (record.kind, record.flank, record.counted) == ("pitch cumulative", "right", "clockwise")
    assert record.date == "2026-11-20"
    assert list(record.readings.tooth) == list(range(1, 30))
    assert list(record.readings.um) == [tooth % 5 for tooth in range(1, 30)]
    assert not record.readings.steps


@pytest.mark.parametrize(
    ("unit", "um"), [("um", 1), ("µm", 1), ("mm", 1000), ("in", 25400), ("thou", 25.4), ("tenths", 2.54)]
)
def test_readings_are_in_micrometres_whatever_they_were_taken_in(read, unit, um):
    record = read(
        PITCH.replace("unit: um", f"unit: {unit}").replace(
            ROWS, "".join(f"{t}, 0.0{t}\n" for t in range(1, 9))
        )
    )
    assert record.readings.um == pytest.approx([um * float(f"0.0{t}") for t in range(1, 9)])


@pytest.mark.parametrize(
    ("division", "um"),
    [("0.01 mm", 10), ("0.0005 in", 12.7), ("0,01 mm", 10), ('0.0005"', 12.7), ("0.0005″", 12.7)],
)
def test_divisions_of_a_dial_are_counted_at_what_one_is(read, division, um):
    record = read(PITCH.replace("unit: um", f"unit: divisions\n# division: {division}"))
    assert record.division_um == pytest.approx(um)
    assert record.readings.um[3] == pytest.approx(4 * um)


def test_semicolons_with_decimal_commas_are_what_many_spreadsheets_write(read):
    text = (
        "﻿quantity;pitch single\r\nunit;mm\r\nflank;left\r\ncounted;counter-clockwise\r\ntooth;deviation\r\n"
    )
    record = read(text + "".join(f"{tooth};−0,00{tooth}\r\n" for tooth in range(1, 9)))
    assert record.readings.um == pytest.approx([-tooth for tooth in range(1, 9)])
    assert record.readings.steps
    assert record.flank == "left"


def test_numbers_with_commas_in_quotation_marks_are_what_other_spreadsheets_write(read):
    text = HEAD + '"tooth","deviation"\n' + "".join(f'"{tooth}","-0,{tooth}"\n' for tooth in range(1, 9))
    assert read(text).readings.um[4] == -0.5


def test_tabs_between_with_decimal_commas_are_what_is_pasted_from_a_table(read):
    text = HEAD.replace("# ", "").replace(": ", "\t") + "tooth\tdeviation\n"
    assert read(text + "".join(f"{tooth}\t0,{tooth}\n" for tooth in range(1, 9))).readings.um[4] == 0.5


def test_a_hand_that_writes_no_nought_before_the_point_is_read(read):
    text = PITCH.replace("3, 3\n", "3, .5\n", 1).replace("4, 4\n", "4, -.25\n", 1)
    assert list(read(text).readings.um[2:4]) == [0.5, -0.25]


@pytest.mark.parametrize("letters", ["cp1252", "utf-16", "utf-8-sig"])
def test_letters_of_old_checkers_and_spreadsheets_are_read(tmp_path, letters):
    (tmp_path / "r.csv").write_bytes(PITCH.replace("unit: um", "unit: µm").encode(letters))
    assert read_record(tmp_path / "r.csv", 29).readings.um[3] == 4


def test_bytes_that_are_no_text_are_refused(tmp_path):
    (tmp_path / "r.csv").write_bytes(bytes(range(256)) * 4)
    with pytest.raises(FileFault):
        read_record(tmp_path / "r.csv", 29)


def test_other_words_for_columns_and_another_order_of_words_do(read):
    record = read(
        PITCH.replace("tooth, deviation", "Tooth, Reading").replace("pitch cumulative", "Cumulative pitch")
    )
    assert record.kind == "pitch cumulative"


def test_a_sentence_without_the_sign_of_a_note_is_told_to_have_one(faults):
    ((line, _, message),) = faults(f"Pitch of the winch wheel\n{PITCH}")
    assert line == 1
    assert "Put # before a note" in message


def test_what_was_not_measured_leaves_a_gap(read):
    text = PITCH.replace("\n7, 2\n", "\n7,\n").replace("\n8, 3\n", "\n8, -\n").replace("\n9, 4\n", "\n")
    record = read(text)
    assert set(range(1, 30)) - set(record.readings.tooth) == {7, 8, 9}


def test_every_third_tooth_is_a_record(read):
    rows = "".join(f"{tooth}, {tooth % 4}\n" for tooth in range(1, 30, 3))
    assert len(read(PITCH.replace(ROWS, rows)).readings.um) == 10


def test_runout_has_no_flank(read):
    record = read(PITCH.replace("pitch cumulative", "runout").replace("# flank: right\n", ""))
    assert (record.kind, record.flank) == ("runout", "")


@pytest.mark.parametrize(("lengths", "mm"), [("", 1.0), ("# heights: in\n", 25.4)])
def test_a_helix_record_has_heights_on_some_teeth(read, lengths, mm):
    rows = "".join(f"{tooth}, {height}, {height * 2}\n" for tooth in (1, 8, 15) for height in (-1, 0, 1))
    head = HEAD.replace("pitch cumulative", "helix") + lengths
    record = read(f"{head}tooth, height, deviation\n{rows}")
    assert list(record.readings.height) == pytest.approx([-mm, 0, mm] * 3)
    assert record.readings.by_tooth


def test_a_profile_record_goes_over_the_length_of_roll(read):
    rows = "".join(f"1, {roll}, {roll % 3}\n" for roll in range(6, 18))
    record = read(HEAD.replace("pitch cumulative", "profile") + f"tooth, roll, deviation\n{rows}")
    assert list(record.readings.height) == list(range(6, 18))


def test_a_transmission_error_is_read_over_a_turn_and_not_by_teeth(read):
    rows = "".join(f"{degrees}, {degrees % 7}\n" for degrees in range(0, 360, 3))
    record = read(HEAD.replace("pitch cumulative", "transmission error") + f"angle, deviation\n{rows}")
    assert record.readings.tooth[:3] == pytest.approx([1, 1 + 29 / 120, 1 + 29 / 60])


@pytest.mark.parametrize(
    ("said", "mm"),
    [("", 0.0), ("# height: 8\n", 8.0), ("# height: -8,5 mm\n", -8.5), ('# height: 0.5"\n', 12.7), ("# lengths: in\n# height: 0.5\n", 12.7)],
)
def test_pitch_runout_and_profile_say_at_which_height_of_the_face_they_were_taken(read, said, mm):
    assert read(said + PITCH).at_height == pytest.approx(mm)
    assert read((said + PITCH).replace("pitch cumulative", "runout")).at_height == pytest.approx(mm)


def test_a_helix_is_taken_at_no_one_height(faults):
    rows = "".join(f"{tooth}, {height}, {height * 2}\n" for tooth in (1, 8, 15) for height in (-1, 0, 1))
    text = HEAD.replace("pitch cumulative", "helix") + f"# height: 3\ntooth, height, deviation\n{rows}"
    assert [(line, key) for line, key, _ in faults(text)] == [(5, "height")]


def test_the_example_that_is_documented_can_be_read(read):
    record = read(EXAMPLE)
    assert np.ptp(record.readings.um) == pytest.approx(35)


@pytest.mark.parametrize(
    ("old", "new", "line", "key", "words"),
    [
        ("# unit: um\n", "", 1, "unit", "isn't said"),
        ("# unit: um", "# unit: inch", 2, "unit", 'Did you mean "in"'),
        ("# unit: um", "# unti: um", 2, "unti", 'Did you mean "unit"'),
        ("quantity: pitch cumulative", "quantity: pitch", 1, "quantity", "pitch single, pitch cumulative"),
        ("counted: clockwise", "counted: ccw", 4, "counted", 'Did you mean "counter-clockwise"'),
        ("# flank: right\n", "", 1, "flank", "right or left"),
        ("# unit: um", "# unit: um\n# unit: mm", 3, "unit", "said twice"),
        ("# unit: um", "# unit: divisions", 1, "division", "0.01 mm or 0.0005 in"),
        ("# unit: um", "# unit: um\n# division: 0.01", 3, "division", "its unit with it"),
        ("# unit: um", "# unit: um\n# division: 1 in", 3, "division", "no division of a dial"),
        ("# unit: um", "# unit: um\n# date: 20.11.2026", 3, "date", "2026-11-20"),
        ("tooth, deviation", "tooth, height, deviation", 5, "tooth", '"tooth, deviation"'),
        ("# unit: um", "# unit: um\n# height: upper face", 3, "height", "is no height"),
        ("# unit: um", "# unit: um\n# height: 2 m", 3, "height", 'write "mm" or "in"'),
        ("# unit: um", "# unit: um\n# height: 2000", 3, "height", "out of all measure"),
        ("tooth, deviation\n", "", 1, "tooth", "begin nowhere"),
        ("\n3, 3\n", "\n30, 3\n", 8, "tooth", "they are 1 to 29"),
        ("\n3, 3\n", "\n2, 3\n", 8, "tooth", "line 7 already"),
        ("\n3, 3\n", "\n3, 3,5\n", 8, "", "semicolons"),
        ("\n3, 3\n", "\n3, three\n", 8, "deviation", "no number"),
        ("\n3, 3\n", "\nthree,\n", 8, "tooth", "no number"),
        ("\n3, 3\n", "\n3, 1e9\n", 8, "deviation", "out of all measure"),
    ],
)
def test_a_fault_is_said_with_its_line_and_what_would_be_right(faults, old, new, line, key, words):
    assert old in PITCH
    found = faults(PITCH.replace(old, new, 1))
    assert [(fault[0], fault[1]) for fault in found] == [(line, key)], found
    assert words in found[0][2]


def test_all_faults_are_told_together(faults):
    text = PITCH.replace("unit: um", "unit: ell").replace("\n3, 3\n", "\n3, x\n")
    assert [fault[1] for fault in faults(text)] == ["unit", "deviation"]


@pytest.mark.parametrize(
    ("unit", "apart"), [("mm", "No gear is so far out"), ("um", "No gauge reads so little")]
)
def test_readings_in_another_unit_than_is_said_are_not_taken_for_deviations(faults, unit, apart):
    rows = "".join(f"{tooth}, {tooth * (1 if unit == 'mm' else 0.001)}\n" for tooth in range(1, 20))
    assert apart in faults(PITCH.replace(ROWS, rows).replace("unit: um", f"unit: {unit}"))[0][2]


def test_too_few_readings_are_refused(faults):
    assert (
        "5 readings tell nothing"
        in faults(PITCH.replace(ROWS, "".join(f"{t}, {t}\n" for t in range(1, 6))))[0][2]
    )


def test_a_record_that_is_not_there_is_said(tmp_path):
    with pytest.raises(FileFault, match="can't be read"):
        read_record(tmp_path / "none.csv", 29)


@given(
    st.lists(
        st.sampled_from(
            [*PITCH.splitlines(), "tooth", ";", "1,,", "# unit", "#", "unit, um", "1\t2", "x", "-", '"', '"1,2', "1" * 200_000]
        ),
        max_size=20,
    )
)
def test_whatever_lines_come_in_whatever_order_they_are_a_record_or_refused(tmp_path_factory, lines):
    path = tmp_path_factory.getbasetemp() / "any.csv"
    path.write_text("\n".join(lines), encoding="utf-8")
    try:
        assert len(read_record(path, 29).readings.um) >= 6
    except FileFault as fault:
        assert fault.complaints
