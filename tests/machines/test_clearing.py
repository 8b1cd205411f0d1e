"""The hob drawn clear before a slide goes back: told where it isn't, advised as the machine does it, and without effect."""

from __future__ import annotations

import math
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from handlead.kinematics.train.setup import SetupMove
from handlead.machines.job_files.job_file import read_job, read_job_text
from handlead.machines.judging.move_checks import check_moves, hob_drawn_clear
from handlead.machines.proving.proof import prove
from handlead.machines.setups.case import Case, feed_opened_by
from handlead.machines.setups.clearing import (
    draw_clear,
    drawn_clear_to,
    how_to_draw_clear,
    how_to_set_in,
    reach,
)
from handlead.machines.setups.moves import make_moves
from handlead.machines.toml.errors import FileFault
from handlead.machines.written.writing import job_text
from hypothesis import given, settings
from hypothesis import strategies as st

SCENARIOS = Path(__file__).parents[2] / "scenarios"

SECOND_CUT, RAPID_RETURN, HOIST, ORCHESTRA, WINCH = (
    read_job(next(SCENARIOS.glob(f"{order}-*")) / "job.toml") for order in ("13", "44", "07", "06", "08")
)


def with_moves(job, *moves):
    setup = replace(job.setup, moves=tuple(moves))
    return make_moves(Case.of(job.with_setup(setup), setup))


def without_radial(job):
    """The order's moves as an impatient person would have them, the hob left at depth."""
    return with_moves(job, *(move for move in job.setup.moves if move.end != "radial"))


def not_clear(moved):
    return [finding for finding in check_moves(moved) if finding.code == "hob-not-clear"]


def wound(name, radial, **what):
    return SetupMove(name, "radial", Fraction(radial), by_hand=True, **what)


@pytest.mark.parametrize("job", [SECOND_CUT, RAPID_RETURN], ids=["13", "44"])
def test_a_return_with_the_hob_at_depth_is_an_error_and_a_withdrawal_silences_it(job):
    (finding,) = not_clear(without_radial(job))
    assert finding.severity == "error"
    assert "Move 2, return" in finding.message
    assert finding.remedy.startswith("Before it, draw the hob clear by hand, more than 3.38 mm off full depth")
    assert not not_clear(with_moves(job, *job.setup.moves))


def test_a_withdrawal_that_is_too_short_leaves_the_hob_in_the_teeth():
    moves = [replace(move, place=Fraction(3)) if move.name == "withdrawal" else move for move in SECOND_CUT.setup.moves]
    assert not_clear(with_moves(SECOND_CUT, *moves))


def test_a_return_that_keeps_off_the_blank_needs_no_withdrawal():
    low, high = reach(Case.of(SECOND_CUT, SECOND_CUT.setup), Fraction(0))
    assert (low, high) == pytest.approx((-15.03, 29.03), abs=0.01)
    beyond = SetupMove("return", "axial", Fraction(45), drive="rapid", levers={"feed clutch": "out"})
    cut = SetupMove("cut", "axial", Fraction(30), start={"axial": Fraction(-16)})
    assert not not_clear(with_moves(SECOND_CUT, cut, beyond))
    assert not_clear(with_moves(SECOND_CUT, cut, replace(beyond, place=Fraction(20))))


def test_an_overrun_that_cuts_on_is_no_return_and_one_by_rapid_is():
    cut = SetupMove("cut", "axial", Fraction(5), start={"axial": Fraction(-16)})
    overrun = SetupMove("overrun", "axial", Fraction(16))
    assert not not_clear(with_moves(SECOND_CUT, cut, overrun))
    rapid = replace(overrun, drive="rapid", levers={"feed clutch": "out"})
    assert not_clear(with_moves(SECOND_CUT, cut, rapid))


def test_a_cut_by_name_with_the_hob_at_rest_is_no_cut():
    moves = [move for move in RAPID_RETURN.setup.moves if move.end != "radial"]
    moves[1] = replace(moves[1], name="cut")
    assert not_clear(with_moves(RAPID_RETURN, *moves))


def test_a_hob_set_in_over_the_face_is_told_and_one_set_in_beside_it_is_not():
    cut, out, back, into, again = SECOND_CUT.setup.moves
    (finding,) = not_clear(with_moves(SECOND_CUT, cut, out, into, again))
    assert "takes the hob in over the face" in finding.message
    assert not not_clear(with_moves(SECOND_CUT, cut, out, back, into, again))


@pytest.mark.parametrize("units", ["mm", "in"])
def test_the_distance_is_said_in_the_units_of_the_job(units):
    (finding,) = not_clear(without_radial(replace(SECOND_CUT, units=units)))
    assert ("3.38 mm" if units == "mm" else "0.133 in") in finding.remedy


@pytest.mark.parametrize("job", [SECOND_CUT, RAPID_RETURN], ids=["13", "44"])
def test_the_moves_with_the_hob_drawn_clear_are_as_the_advice_has_them_and_keep_what_register_there_was(job):
    idle = without_radial(job)
    moves = hob_drawn_clear(idle)
    assert [move.name for move in moves] == ["cut", "withdrawal", "return", "approach", "second cut"]
    mended = with_moves(job, *moves)
    assert not not_clear(mended)
    assert [missed.worst for missed in mended.missed] == [missed.worst for missed in idle.missed]


@settings(deadline=None, max_examples=40)
@given(st.fractions(4, 60, max_denominator=20), st.integers(0, 4))
def test_a_hob_wound_out_and_in_by_hand_at_any_time_changes_no_register(far, when):
    for job in (SECOND_CUT, RAPID_RETURN):
        plain = [move for move in job.setup.moves if move.end != "radial"]
        at = min(when, len(plain))
        first, rest = plain[:at], plain[at:]
        start = {} if first else {"axial": Fraction(-16)}
        out, into = wound("withdrawal", far, start=start), wound("approach", 0)
        if not first:
            rest[0] = replace(rest[0], start={})
        moved = with_moves(job, *first, out, into, *rest)
        assert moved.passage.stop is None
        assert [missed.worst for missed in moved.missed] == [missed.worst for missed in without_radial(job).missed]


def axial_orders():
    """Right orders and cases with an axial feed, on machines with and without a differential, in mm and in inches."""
    cases = Path(__file__).parents[1] / "cases"
    for path in [*sorted(SCENARIOS.glob("[01]?-*/*.toml")), *sorted(cases.glob("*-pair*.toml")), cases / "hallowick-spur-103.toml"]:
        if "job/1" in path.read_text():
            job = read_job(path)
            if job.setup and Case.of(job).rates.axial:
                yield f"{path.parent.name}/{path.stem}", job


AXIAL = dict(axial_orders())


@settings(deadline=None, max_examples=50)
@given(st.sampled_from(sorted(AXIAL)), st.integers(1, 9), st.integers(1, 9), st.booleans())
def test_every_return_past_the_work_is_told_and_its_advice_makes_it_clear_and_keeps_register(name, before, after, alone):
    job = AXIAL[name]
    case = Case.of(job)
    low, high = reach(case, Fraction(0))
    places = [Fraction(math.floor(low) - before), Fraction(math.ceil(high) + after)]
    up = case.rates.axial * case.solution.end_rate("hob") > 0
    begin, end = places if up else places[::-1]
    lever = feed_opened_by(case) if alone and "rapid" in job.machine.train.drives else None
    stands = job.machine.positions(job.setup)
    back = SetupMove("return", "axial", begin, backwards=True)
    if lever:
        back = SetupMove("return", "axial", begin, drive="rapid", levers=dict([lever]))
    again = SetupMove("second cut", "axial", end, levers={lever[0]: stands[lever[0]]} if lever else {})
    idle = with_moves(job, SetupMove("cut", "axial", end, start={"axial": begin}), back, again)
    assert idle.passage.stop is None
    assert [finding.severity for finding in not_clear(idle)] == ["error"]
    mended = with_moves(job, *hob_drawn_clear(idle))
    assert not not_clear(mended)
    assert {finding.code for finding in check_moves(mended) if finding.severity == "error"} == set()
    assert [missed.worst for missed in mended.missed] == [missed.worst for missed in idle.missed] == [0]


ACROSS = {"axial": Fraction(17), "tangential": Fraction(-60)}


def test_a_hob_brought_back_across_its_wheel_at_depth_is_told_and_set_in_beside_it_is_not():
    cut = SetupMove("cut", "tangential", Fraction(60), start=ACROSS)
    back, again = SetupMove("return", "tangential", Fraction(-60), backwards=True), replace(cut, name="second cut", start={})
    idle = with_moves(ORCHESTRA, cut, back, again)
    (finding,) = not_clear(idle)
    assert "takes the tangential slide past the face" in finding.message
    # Over the rim, 162 / 2 + 25 - 94.
    assert "more than 12.00 mm off full depth; set the depth again" in finding.remedy
    mended = with_moves(ORCHESTRA, *hob_drawn_clear(idle))
    assert not not_clear(mended) and [missed.worst for missed in mended.missed] == [0]
    assert not_clear(with_moves(ORCHESTRA, cut, wound("withdrawal", 14), wound("approach", 0), back, again))


def test_a_wheel_that_is_sunk_in_may_be_left_by_the_same_slide():
    start = {"axial": Fraction(12), "radial": Fraction(12)}
    sunk = SetupMove("infeed", "radial", Fraction(0), start=start)
    out = SetupMove("withdrawal", "radial", Fraction(12), levers={"feed": "backward"})
    moved = with_moves(HOIST, sunk, out, SetupMove("return", "axial", Fraction(60), levers={"feed to": "axial", "feed": "backward"}))
    assert moved.passage.stop is None and not not_clear(moved)
    assert not_clear(with_moves(HOIST, sunk, SetupMove("return", "axial", Fraction(60), levers={"feed to": "axial", "feed": "backward"})))


# ---------------------------------------------------------------- how this machine does it


def test_by_hand_where_the_machine_drives_no_radial_slide_and_by_lever_where_it_does():
    case = Case.of(WINCH, WINCH.setup)
    assert draw_clear(case) == "draw the hob clear by hand"
    case = Case.of(HOIST, HOIST.setup)
    assert draw_clear(case) == 'draw the hob clear by the drive "main", lever "feed" to "backward"'


def test_by_hand_where_the_drive_that_moves_the_slide_would_turn_the_table_as_well():
    # With the differential in, the rod that feeds the column feeds the table too.
    case = Case.of(ORCHESTRA, ORCHESTRA.setup)
    assert how_to_draw_clear(case).by_hand


def on_every_machine():
    for path in sorted(SCENARIOS.glob("[01]?-*/*.toml")):
        if "job/1" in path.read_text():
            yield pytest.param(read_job(path), id=f"{path.parent.name}/{path.stem}")


@pytest.mark.parametrize("job", list(on_every_machine()))
def test_what_is_advised_draws_the_hob_clear_on_the_machine_and_turns_nothing_out_of_place(job):
    case = Case.of(job, job.setup)
    for how, start, end in (
        (how_to_draw_clear(case), Fraction(0), drawn_clear_to(case)),
        (how_to_set_in(case), drawn_clear_to(case), Fraction(0)),
    ):
        move = SetupMove(
            "withdrawal", "radial", end, drive=how.drive, levers=how.levers, by_hand=how.by_hand, start={"radial": start}
        )
        moved = with_moves(job, move)
        assert moved.passage.stop is None
        (made,) = moved.passage.runs
        assert made.end.radial == end
        assert made.end.axial == made.end.tangential == 0
        assert made.end.table == -job.hob.hand.value * Fraction(job.hob.starts, job.work.teeth) * made.end.hob


def test_a_slide_whose_clutch_is_in_is_held_against_the_hand():
    moved = with_moves(HOIST, wound("withdrawal", 20))
    (finding,) = (finding for finding in check_moves(moved) if finding.code == "locked-train")
    assert "the radial slide is held by" in finding.message


# ---------------------------------------------------------------- files


def test_a_move_by_hand_is_written_as_it_was_read():
    assert read_job_text(job_text(SECOND_CUT), beside=SCENARIOS / "13-second-cut") == SECOND_CUT
    assert "by_hand = true" in job_text(SECOND_CUT)


@pytest.mark.parametrize(
    ("then", "words"),
    [
        ("hob_turns = 3", "a move by hand needs a place to go to"),
        ('to = { radial = 5 }\ndrive = "rapid"', "no drive runs while a slide is moved by hand"),
        ("to = { radial = 5 }\nbackwards = true", "no drive runs while a slide is moved by hand"),
        ("to = { tangential = 5 }", "the machine has no tangential slide"),
    ],
)
def test_a_move_by_hand_that_contradicts_itself_is_refused_in_words(then, words):
    text = (SCENARIOS / "13-second-cut" / "job.toml").read_text()
    wrong = text.replace("by_hand = true\nto   = { radial = 6 }", f"by_hand = true\n{then}")
    with pytest.raises(FileFault, match=words):
        read_job_text(wrong, beside=SCENARIOS / "13-second-cut")


def test_a_radial_move_that_no_drive_can_make_is_refused_with_the_key_that_it_wants():
    text = (SCENARIOS / "13-second-cut" / "job.toml").read_text()
    with pytest.raises(FileFault, match="add by_hand = true"):
        read_job_text(text.replace("by_hand = true\n", "", 1), beside=SCENARIOS / "13-second-cut")


def test_orders_13_and_44_keep_their_verdicts():
    assert prove(SECOND_CUT).is_as_wanted
    assert {finding.code for finding in prove(RAPID_RETURN).findings if finding.severity == "error"} == {"register-lost"}
