"""Evidence and its allowances, the next check, and what an answer means."""

import math
from dataclasses import replace
from fractions import Fraction

import pytest
from handlead.kinematics.frame.motion import Rates
from handlead.kinematics.frame.words import MARKS, STILL, Hand
from handlead.kinematics.law.outcome import predict
from handlead.kinematics.links.mounted import Mounted
from handlead.kinematics.slips.evidence import Evidence, Measure, View, Word, view_of
from handlead.kinematics.slips.standing import Standing
from handlead.kinematics.suspects.inspections import LOOKS, Check
from handlead.kinematics.suspects.next_checks import next_check
from handlead.kinematics.suspects.suspects import Suspect
from handlead.kinematics.train.setup import Setup
from handlead.kinematics.transfer.response import Running
from handlead.kinematics.work.requirement import HobData
from hypothesis import given, settings
from hypothesis import strategies as st

VIEW = View(
    29, frozenset({29}), "right", Fraction(650), 650.0, 25.0, True, True, "clockwise", "down", Fraction(29),
    Fraction(2), frozenset({"clean"}),
)  # fmt: skip
HOB = HobData(Fraction(3), 1, Hand.RIGHT, Fraction("2.37"), Fraction("72.5"))
BASE = Standing(
    Setup("main", Fraction(1), levers={"feed": "up"}, change={"index": Mounted((24, 58)), "feed": Mounted((20, 40))}), HOB
)
RUNNING = Running(Rates(Fraction(-1, 29)), 1, -1, (0, None, None))


# ---------------------------------------------------------------- evidence


@pytest.mark.parametrize(
    ("within", "counts", "fits"),
    [(0, (29,), True), (0, (28, 30), False), (1, (30,), True), (1, (28,), True), (1, (31,), False), (2, (14, 31), True), (0, (), False)],
)
def test_a_count_that_may_be_off_by_so_many_teeth_is_one_of_these(within, counts, fits):
    assert Evidence(teeth=Measure(Fraction(29), Fraction(within))).count_fits(counts) is fits
    assert not Evidence().count_fits(counts)


@pytest.mark.parametrize(
    ("evidence", "fits"),
    [
        (Evidence(teeth=Measure(Fraction(29), Fraction(0))), True),
        (Evidence(teeth=Measure(Fraction(30), Fraction(0))), False),
        (Evidence(teeth=Measure(Fraction(30), Fraction(1))), True),
        (Evidence(hand=Word("right")), True),
        (Evidence(hand=Word("left")), False),
        (Evidence(hand=Word("left", is_sure=False)), True),
        (Evidence(hand=Word("none")), False),
        (Evidence(lead=Measure(Fraction(655), Fraction(5))), True),
        (Evidence(lead=Measure(Fraction(656), Fraction(5))), False),
        (Evidence(helix=Measure(Fraction(51, 2), Fraction(1, 2))), True),
        (Evidence(helix=Measure(Fraction(26), Fraction(1, 2))), False),
        (Evidence(spaces_meet=Word("yes")), True),
        (Evidence(spaces_meet=Word("no")), False),
        (Evidence(second_cut=Measure(Fraction(1, 20), Fraction(1, 10))), True),
        (Evidence(second_cut=Measure(Fraction(1, 4), Fraction(1, 10))), False),
        (Evidence(table_way=Word("clockwise")), True),
        (Evidence(table_way=Word(STILL)), False),
        (Evidence(slide_way=Word("up")), False),
        (Evidence(hob_turns=Measure(Fraction(2904, 100), Fraction(1, 20))), True),
        (Evidence(feed=Measure(Fraction(3), Fraction(1, 10))), False),
        (Evidence(marks=Word("clean")), True),
        (Evidence(marks=Word("cut away")), False),
    ],
)
def test_what_was_seen_fits_within_its_allowance_and_no_further(evidence, fits):
    assert (evidence.closeness(VIEW) is not None) is fits
    assert (not evidence.against(VIEW)) is fits


def test_what_fits_closely_counts_for_more_than_what_just_fits():
    off = [
        Evidence(helix=Measure(Fraction(25) + Fraction(n, 10), Fraction(1, 2))).closeness(VIEW)
        for n in range(6)
    ]
    assert off == sorted(off, reverse=True)
    assert off[0] == 1
    assert len(set(off)) == 6


def test_what_one_is_not_sure_of_tells_against_but_rules_nothing_out():
    sure, unsure = Evidence(hand=Word("right")), Evidence(hand=Word("left", is_sure=False))
    assert 0 < unsure.closeness(VIEW) < sure.closeness(VIEW)


def test_what_was_not_looked_at_rules_nothing_out():
    assert Evidence().closeness(VIEW) == 1


def test_teeth_that_lean_by_a_hair_pass_for_straight_if_less_readily_than_straight_ones():
    hair, more = (replace(VIEW, hand="left", helix_deg=lean) for lean in (0.2, 0.4))
    straight = replace(VIEW, hand="none", helix_deg=0.0)
    seen = Evidence(hand=Word("none"))
    assert 0 < seen.closeness(more) < seen.closeness(hair) < seen.closeness(straight) == 1
    assert Evidence(hand=Word("left")).closeness(hair) == 1


@settings(deadline=None)
@given(
    st.integers(8, 120), st.integers(1, 3), st.fractions(-1, 1, max_denominator=50),
    st.fractions(-3, 3, max_denominator=20),
    st.sampled_from(Hand), st.integers(5, 140), st.fractions(-30, 30, max_denominator=4),
)  # fmt: skip
def test_a_count_that_is_ruled_out_in_advance_never_comes_out(teeth, starts, rest, feed, hand, seen, swivel):
    hob = HobData(Fraction(2), starts, hand, Fraction(2))
    table = -hand.value * Fraction(starts) / (teeth + rest)
    running = Running(Rates(table, feed * abs(table)), 1, 1, (1, None, None))
    evidence = Evidence(teeth=Measure(Fraction(seen), Fraction(0)))
    view = view_of(running, predict(running.rates, hob, float(swivel)))
    if evidence.closeness(view) is not None:
        assert evidence.count_is_possible(running, hand.value, starts, 2.0)


def test_a_table_that_stands_leaves_one_notch_and_one_against_the_hob_leaves_nothing():
    still = Running(Rates(Fraction(0)), 1, 0, (0, None, None))
    assert view_of(still, predict(still.rates, HOB, 1.0)).marks == {"one notch"}
    against = Running(Rates(Fraction(1, 29)), 1, 1, (0, None, None))
    view = view_of(against, predict(against.rates, HOB, 1.0))
    assert view.marks == {"cut away"}
    assert view.counts == {0}


def test_marks_have_one_set_of_words():
    for swivel in (2.37, 3.5, 20.0):
        running = Running(Rates(Fraction(-1, 29), Fraction(-1, 20)), 1, -1, (-1, None, None))
        assert view_of(running, predict(running.rates, HOB, swivel)).marks <= set(MARKS)


# ---------------------------------------------------------------- the next check


def suspect(weight=1.0, view=VIEW, **changes):
    keys = {tuple(key.split("__")): value for key, value in changes.items()}
    standing = BASE.changed(keys)
    return Suspect((), standing, RUNNING, None, view, weight, 1.0, weight)


LOOK_AT_INDEX = Check("stamps", "index", "read the index gears", 4.0)
LOOK_AT_FEED = Check("stamps", "feed", "read the feed gears", 4.0)
LOOK_AT_LEVER = Check("lever", "feed", "look where lever feed stands", 0.5)


def test_the_check_that_halves_the_suspects_comes_before_one_that_takes_out_a_single_one():
    suspects = [
        suspect(), suspect(gears__index=(58, 24)), suspect(gears__index=(58, 24), swivel=Fraction(2)),
        suspect(gears__index=(24, 58), gears__feed=(40, 20)),
    ]  # fmt: skip
    found = next_check(suspects, [LOOK_AT_FEED, LOOK_AT_INDEX])
    assert found.check == LOOK_AT_INDEX
    assert found.bits == pytest.approx(1.0)
    assert {split.outcome: split.suspects for split in found.splits} == {
        "24/58, no idlers": (0, 3),
        "58/24, no idlers": (1, 2),
    }


def test_a_check_that_takes_no_time_comes_before_a_better_one_that_takes_long():
    suspects = [suspect(gears__index=(24 + n, 58), lever__feed="up" if n < 2 else "down") for n in range(4)]
    assert next_check(suspects, [LOOK_AT_INDEX, LOOK_AT_LEVER]).check == LOOK_AT_LEVER
    slow_lever = replace(LOOK_AT_LEVER, minutes=4.0)
    assert next_check(suspects, [slow_lever, LOOK_AT_INDEX]).check == LOOK_AT_INDEX


def test_where_no_check_tells_the_suspects_apart_there_is_none():
    assert next_check([suspect(), suspect(swivel=Fraction(3))], [LOOK_AT_INDEX, LOOK_AT_LEVER]) is None
    assert next_check([suspect()], [LOOK_AT_INDEX]) is None
    assert next_check([], [LOOK_AT_INDEX]) is None


@settings(deadline=None)
@given(st.lists(st.tuples(st.integers(20, 24), st.floats(0.01, 1)), min_size=2, max_size=8))
def test_a_check_leaves_every_suspect_in_exactly_one_outcome(drawn):
    suspects = [suspect(weight, gears__index=(teeth, 58)) for teeth, weight in drawn]
    found = next_check(suspects, [LOOK_AT_INDEX])
    if found is None:
        assert len({teeth for teeth, _ in drawn}) == 1
        return
    assert sorted(number for split in found.splits for number in split.suspects) == list(range(len(suspects)))
    assert sum(split.weight for split in found.splits) == pytest.approx(1)
    # Information never exceeds what is needed to name the outcome.
    assert 0 < found.bits <= math.log2(len(found.splits)) + 1e-9


# ---------------------------------------------------------------- answers

SWIVEL = Check("swivel", "", "read the swivel", 1.0)
MARK = Check("mark", "", "turn the hob", 8.0)
TOUCH_OFF = Check("touch off", "", "touch off", 5.0)


@pytest.mark.parametrize(
    ("check", "found", "outcome", "agrees"),
    [
        (LOOK_AT_INDEX, "24/58 48/40 no idlers", "24/58 · 48/40, no idlers", True),
        (LOOK_AT_INDEX, "24/58 · 48/41, no idlers", "24/58 · 48/40, no idlers", False),
        (LOOK_AT_INDEX, "24/58 · 48/40, 1 idler", "24/58 · 48/40, no idlers", False),
        (SWIVEL, "24° 10' Clockwise", "24° 09' clockwise", True),
        (SWIVEL, "23° 58' clockwise", "24° 01' clockwise", True),
        (SWIVEL, "24° 09' counter-clockwise", "24° 09' clockwise", False),
        (SWIVEL, "24° 29' clockwise", "24° 09' clockwise", False),
        (MARK, "1 turn and 359° clockwise", "1 turn and 358° clockwise", True),
        (MARK, "1 turn and 0° clockwise", "1 turn and 3° clockwise", False),
        (TOUCH_OFF, "2.01 mm", "2.00 mm", True),
        (TOUCH_OFF, "2.4 mm", "2.00 mm", False),
        (TOUCH_OFF, "not at all", "2.00 mm", False),
        (LOOK_AT_LEVER, " UP ", "up", True),
    ],
)
def test_an_answer_means_an_outcome_as_a_person_would_read_it(check, found, outcome, agrees):
    assert check.agrees(found, outcome) is agrees


@settings(deadline=None)
@given(st.lists(st.fractions(1, 3, max_denominator=100), min_size=1, max_size=12))
def test_outcomes_that_cannot_be_told_apart_are_one(feeds):
    outcomes = [f"{float(feed):.2f} mm" for feed in feeds]
    stands = TOUCH_OFF.together(outcomes)
    assert set(stands) == set(outcomes)
    for outcome, one in stands.items():
        assert TOUCH_OFF.agrees(one, outcome)


def test_every_look_can_be_taken_at_any_set_up():
    for name, kind in LOOKS.items():
        where = {"bracket": "index", "lever": "feed"}.get(kind.at, "")
        words = Check(name, where, "look", 1.0).outcome(suspect().scene)
        assert words.strip()
        assert Check(name, where, "look", 1.0).agrees(words, words)
