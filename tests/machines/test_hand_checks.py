"""What is moved by hand before the first cut: as the machine answers, with the levers as they are said."""

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import handlead.scenarios
import pytest
from handlead.kinematics.frame.words import POSITIVES, STILL
from handlead.machines.job_files.job_file import Seen, read_job
from handlead.machines.measuring.hand_checks import hand_checks
from handlead.machines.proving.proof import prove, prove_case
from handlead.machines.setups.case import Case
from handlead.machines.toml.errors import FileFault
from handlead.machines.tracing.diagnosis import trace
from handlead.viz.sheet_measures.hand_check_words import check_words

ORDERS = Path(handlead.scenarios.__file__).parent
JOBS = [path for path in sorted(ORDERS.glob("*/*.toml")) if '"job/1"' in path.read_text() and "[setup]" in path.read_text()]
PINION, INCH, MOON = (
    ORDERS / name for name in ("01-fly-winch-pair/pinion.toml", "08-inch-winch/job.toml", "04-moon-wheel/job.toml")
)


@pytest.mark.parametrize("path", JOBS, ids=lambda path: f"{path.parent.name}/{path.stem}")
def test_what_answers_goes_so_far_that_way_with_the_levers_as_they_are_said(path):
    proof = prove(read_job(path))
    for check in proof.hand_checks:
        case = proof.case
        setup = replace(case.setup, levers={**case.setup.levers, **check.levers})
        moved = prove_case(Case.of(case.job, setup)).computed if check.levers else proof.computed
        if check.turn != "hob":
            ratio = moved.table_per_axial
        elif check.moves == "table":
            ratio = moved.table_per_hob if check.feed_parted else moved.table_per_hob_feeding
        else:
            ratio = proof.case.rates.axial
        goes = ratio * check.amount * POSITIVES[check.turn][check.way]
        assert abs(goes) == check.by
        assert check.moves_way == STILL if not goes else POSITIVES[check.moves][check.moves_way] * goes > 0
        positions = case.job.machine.positions(case.setup)
        assert {name: positions[name] for name in check.levers} == dict(check.back)


def test_the_winch_s_pinion_turns_once_for_23_of_the_hob_with_the_feed_clutch_out():
    first, *_ = prove(read_job(PINION)).hand_checks
    assert first.as_json() == {
        "key": None, "turn": "hob", "turns": "23", "way": "cutting down", "moves": "table", "by_turns": "1",
        "by_deg": 360.0, "by_teeth": 23.0, "moves_way": "counter-clockwise",
        "levers": {"feed clutch": "out"}, "back": {"feed clutch": "in"}, "feed": "parted", "hob_clear": False,
    }  # fmt: skip


def test_the_pinion_s_slide_turns_the_table_by_nearly_four_teeth_over_100_mm():
    # 100 mm over the lead of 578.7 mm (23 teeth of m 2.5 at 18 degrees) is 0.1728 of a turn, 3.97 of 23 teeth.
    check = next(check for check in prove(read_job(PINION)).hand_checks if check.key == "slide_check")
    assert (check.amount, check.way, check.moves_way) == (100, "up", "clockwise")
    assert check.by_teeth == pytest.approx(3.97, abs=0.006)
    assert check_words(read_job(PINION), check) == (
        "Lever feed clutch to OUT. Hob at rest, the axial slide 100.0 mm up by its handwheel: the table turns 3.97 teeth "
        "(62.2°) clockwise. Then the slide back by as much, then lever feed clutch to IN."
    )


def test_a_job_in_inches_moves_its_slide_by_inches():
    job = read_job(INCH)
    check = next(check for check in prove(job).hand_checks if check.key == "slide_check")
    assert check.amount == Fraction(254, 10) * 4
    assert "the axial slide 4.00 in down" in check_words(job, check)


def test_ten_turns_of_the_hob_turn_a_wheel_of_211_by_17_degrees():
    check = next(check for check in prove(read_job(MOON)).hand_checks if check.key == "index_check")
    assert (check.amount, round(check.by_deg, 1)) == (10, 17.0)


def test_what_ends_between_two_marks_is_counted_in_degrees_alone():
    # A prime count is made by the differential with the feed in: 222071/13000 hob turns end between two marks.
    checks = prove(read_job(ORDERS / "11-thunder-run-pinion" / "job.toml")).hand_checks
    assert [check.key for check in checks] == ["index_check", "feed_check"]
    whole = [check for path in JOBS for check in prove(read_job(path)).hand_checks if check.is_whole_turn]
    assert all(check.amount.denominator <= 12 for check in whole)


def test_a_locked_machine_has_nothing_to_be_turned():
    assert prove(read_job(ORDERS / "29-pinned-and-held" / "job.toml")).hand_checks == ()


def test_a_hob_that_moves_along_the_work_must_be_clear_of_it():
    found = [check for path in JOBS for check in prove(read_job(path)).hand_checks]
    assert any(check.feed_parted for check in found)
    assert all(check.hob_clear for check in found if not check.feed_parted or check.turn != "hob")


# ---------------------------------------------------------------- what was found, traced


def test_a_table_that_goes_the_other_way_by_hand_has_an_idler_too_many_or_the_mate_s_gears():
    found = trace(read_job(PINION).with_seen(Seen(slide_check=Fraction(397, 100), slide_check_way="counter-clockwise")))
    single = [suspect.faults[0] for suspect in found.suspects if len(suspect.faults) == 1]
    assert (single[0].kind.kind, single[0].where) == ("mates-gears-left", "differential gears")
    assert any((fault.kind.change, fault.where) == ("idler in", "index gears") for fault in single)


def test_what_was_found_by_hand_as_the_sheet_has_it_speaks_for_the_set_up():
    right = {"slide_check": Fraction(397, 100), "slide_check_way": "clockwise", "index_check": Fraction(1565, 10)}
    assert trace(read_job(PINION).with_seen(Seen(**right))).verdict == "as wanted"


@pytest.mark.parametrize(("key", "off"), [("index_check", 3), ("slide_check", Fraction(1, 10)), ("feed_check", Fraction(1, 5))])
def test_what_is_off_by_more_than_can_be_misread_is_no_longer_as_wanted(key, off):
    check = next(check for check in prove(read_job(PINION)).hand_checks if check.key == key)
    sheet = {"index_check": check.by_deg, "slide_check": check.by_teeth, "feed_check": float(check.by)}[key]
    assert trace(read_job(PINION).with_seen(Seen(**{key: Fraction(sheet)}))).verdict == "as wanted"
    assert trace(read_job(PINION).with_seen(Seen(**{key: Fraction(sheet) + off}))).verdict != "as wanted"


def test_a_check_that_the_sheet_doesn_t_have_is_sent_back():
    job = read_job(ORDERS / "03-no-differential" / "job.toml").with_seen(Seen(slide_check=Fraction(4)))
    with pytest.raises(FileFault, match="no such check"):
        trace(job)


@pytest.mark.parametrize(("teeth", "turns"), [(10, 7), (20, 10)])
def test_the_index_is_never_tried_by_a_whole_turn_that_looks_like_none(teeth, turns):
    """Ten turns of the hob take a wheel of 10 or 5 once or twice round: a table that stood would stand there too."""
    checks = hand_checks(Case.of(read_job(INCH)), Fraction(-1, teeth), None)
    check = next(check for check in checks if check.key == "index_check")
    assert (check.amount, check.by) == (turns, Fraction(turns, teeth))
