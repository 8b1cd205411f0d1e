"""The law of generation: what rates, hob and swivel cut, held against rates built from the law."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from fractions import Fraction

import pytest
import strategies
from handlead.kinematics.frame.motion import Rates
from handlead.kinematics.frame.words import Feed, Hand
from handlead.kinematics.law.outcome import Outcome, predict
from handlead.kinematics.train.solution import hob_rates, solve
from handlead.kinematics.work.requirement import (
    HobData,
    Work,
    swivel_deg,
    table_per_axial,
    table_per_hob,
    table_per_tangential,
)
from hypothesis import assume, event, given, settings
from hypothesis import strategies as st

lawful = settings(deadline=None, max_examples=200)


@dataclass(frozen=True)
class Cut:
    """Work, hob and feed as they are wanted, and the rates and swivel that the law asks for.

    `inverse_lead` is signed, right hand positive, 0 for spur work; all signs in the machine's frame.
    """

    teeth: int
    inverse_lead: Fraction
    hob: HobData
    axial: Fraction
    tangential: Fraction

    @property
    def sine(self) -> float:
        return math.pi * float(self.hob.module_n) * self.teeth * float(self.inverse_lead)

    @property
    def beta_deg(self) -> float:
        return math.degrees(math.asin(self.sine))

    @property
    def swivel_deg(self) -> float:
        return self.hob.hand.value * float(self.hob.lead_angle_deg or 0) - self.beta_deg

    @property
    def rates(self) -> Rates:
        shift = math.sqrt(1 - self.sine**2) / (math.pi * float(self.hob.module_n) * self.teeth)
        table = (
            -self.hob.hand.value * Fraction(self.hob.starts, self.teeth)
            - self.inverse_lead * self.axial
            + Fraction(shift) * self.tangential
        )
        return Rates(table, self.axial, self.tangential)

    @property
    def lead(self) -> Fraction | None:
        return 1 / abs(self.inverse_lead) if self.inverse_lead else None

    @property
    def hand(self) -> Hand | None:
        return Hand(1 if self.inverse_lead > 0 else -1) if self.inverse_lead else None

    def predict(self) -> Outcome:
        return predict(self.rates, self.hob, self.swivel_deg)


feeds = st.builds(
    lambda sign, size: sign * size, strategies.signs, st.fractions("1/100", 3, max_denominator=200)
)
lead_angles = st.fractions("1/2", 8, max_denominator=60)


either, never, always = st.booleans(), st.just(False), st.just(True)


@st.composite
def cuts(draw, helical=either, tangential=never, axial=always):
    """Steady cuts of both hands, one to four starts, up or down, climb or conventional."""
    teeth = draw(st.integers(6, 300))
    hob = HobData(draw(strategies.moduli), draw(st.integers(1, 4)), draw(strategies.hands), draw(lead_angles))
    inverse = Fraction(0)
    if draw(helical):
        sine = draw(st.floats(0.01, 0.9)) * draw(strategies.signs)
        inverse = Fraction(sine / (math.pi * float(hob.module_n) * teeth)).limit_denominator(10**6)
        assume(inverse)
    per_table = draw(feeds) * Fraction(hob.starts, teeth)
    across = draw(feeds) / 50 * hob.module_n if draw(tangential) else Fraction(0)
    cut = Cut(teeth, inverse, hob, per_table if draw(axial) else Fraction(0), across)
    assume(cut.rates.table * hob.hand.value < 0)
    return cut


def angle(value: float) -> object:
    return pytest.approx(value, abs=1e-6)


# What the law asks for is what comes out


@lawful
@given(cuts())
def test_rates_built_from_the_law_give_back_count_hand_exact_lead_and_swivel(cut):
    outcome = cut.predict()
    assert (outcome.teeth, outcome.hand, outcome.lead) == (cut.teeth, cut.hand, cut.lead)
    assert outcome.is_steady
    assert not outcome.runs_against_hob
    assert outcome.helix_angle_deg == angle(abs(cut.beta_deg))
    assert outcome.swivel_error_deg == angle(0)
    assert outcome.lead_mm == (None if cut.lead is None else pytest.approx(float(cut.lead)))
    assert outcome.real_teeth == cut.hob.starts / abs(cut.rates.table)
    assert outcome.sliding_feed == abs(cut.axial / cut.rates.table)
    assert outcome.feed_slide == "axial"


@lawful
@given(cuts())
def test_a_slide_going_down_past_teeth_that_cut_up_climbs(cut):
    expected = Feed.CLIMB if cut.axial < 0 else Feed.CONVENTIONAL
    assert cut.predict().feed is expected


@lawful
@given(cuts(tangential=always))
def test_a_cut_with_axial_and_tangential_feed_gives_back_count_hand_and_lead(cut):
    outcome = cut.predict()
    assert (outcome.teeth, outcome.lead) == (cut.teeth, None)
    assert outcome.helix_angle_deg == angle(abs(cut.beta_deg))
    assert outcome.swivel_error_deg == angle(0)
    if cut.lead is not None:
        assert outcome.hand is cut.hand
        assert outcome.lead_mm == pytest.approx(float(cut.lead), rel=1e-6)


@lawful
@given(cuts(tangential=always, axial=never))
def test_a_tangential_cut_gives_back_count_and_hand_and_finds_no_error(cut):
    outcome = cut.predict()
    assert outcome.teeth == cut.teeth
    assert outcome.hand is (cut.hand if abs(cut.beta_deg) > 1e-6 else outcome.hand)
    assert outcome.tangential_error == pytest.approx(0, abs=1e-6)
    assert (outcome.feed_slide, outcome.feed, outcome.is_steady) == ("tangential", None, True)


@lawful
@given(cuts(tangential=never, axial=never), feeds)
def test_a_radial_cut_gives_back_count_and_hand(cut, radial):
    outcome = predict(replace(cut.rates, radial=radial), cut.hob, cut.swivel_deg)
    assert (outcome.teeth, outcome.feed_slide, outcome.feed, outcome.is_steady) == (
        cut.teeth,
        "radial",
        None,
        True,
    )
    assert outcome.real_teeth == cut.teeth
    assert outcome.sliding_feed == abs(radial / cut.rates.table)
    assert outcome.hand is cut.hand


@lawful
@given(cuts(), st.floats(-20, 20))
def test_turning_the_head_away_shows_as_swivel_error_and_leaves_the_lead(cut, off):
    # One count alone makes a helix at all where the feed is finer than half a transverse pitch.
    assume(abs(cut.axial / cut.rates.table) < cut.hob.module_n)
    outcome = predict(cut.rates, cut.hob, cut.swivel_deg + off)
    assert (outcome.teeth, outcome.hand, outcome.lead) == (cut.teeth, cut.hand, cut.lead)
    assert outcome.swivel_error_deg == angle(off)


@lawful
@given(cuts(helical=always))
def test_the_wanted_side_asks_for_the_same_rates(cut):
    work = Work("helical", cut.teeth, cut.hob.module_n, hand=cut.hand, lead=cut.lead)
    assert swivel_deg(work, cut.hob) == angle(cut.swivel_deg)
    assert table_per_hob(work, cut.hob) == cut.rates.table + cut.inverse_lead * cut.axial
    assert table_per_axial(work) == pytest.approx(-float(cut.inverse_lead))
    assert table_per_tangential(work) == pytest.approx(
        math.cos(math.radians(cut.beta_deg)) / (math.pi * float(cut.hob.module_n) * cut.teeth)
    )


@lawful
@given(cuts(), st.data())
def test_of_all_counts_the_one_whose_helix_lies_nearest_the_swivel_is_told(cut, data):
    """Every count from 1 to well beyond is tried, each helix from the law: sine = pi m z / lead."""
    off = Fraction(data.draw(st.floats(-0.02, 0.02)))
    rates = replace(cut.rates, table=cut.rates.table * (1 + off), axial=cut.rates.axial * 20)
    swivel = cut.swivel_deg + data.draw(st.floats(-30, 30))
    suited = cut.hob.hand.value * float(cut.hob.gamma_deg) - swivel

    def helix(teeth: int) -> float | None:
        turned = rates.table + cut.hob.hand.value * Fraction(cut.hob.starts, teeth)
        sine = -math.pi * float(cut.hob.module_n) * teeth * float(turned / rates.axial)
        return math.degrees(math.asin(sine)) if abs(sine) < 1 else None

    near = {
        teeth: abs(beta - suited)
        for teeth in range(1, 3 * cut.teeth + 200)
        if (beta := helix(teeth)) is not None
    }
    outcome = predict(rates, cut.hob, swivel)
    event("some count leans" if near else "no count leans")
    if not near:
        assert not outcome.is_steady
        return
    assert outcome.is_steady
    assert near[outcome.teeth] == pytest.approx(min(near.values()), abs=1e-9)


# Wrong set-ups


@lawful
@given(cuts(tangential=either, axial=either))
def test_a_table_that_runs_against_the_hob_generates_nothing(cut):
    outcome = predict(replace(cut.rates, table=-cut.rates.table), cut.hob, cut.swivel_deg)
    assert outcome.runs_against_hob
    assert (outcome.teeth, outcome.hand, outcome.lead, outcome.lead_mm) == (None, None, None, None)
    assert not outcome.is_steady


def test_a_table_that_stands_generates_nothing_and_does_not_run_against_the_hob():
    outcome = predict(Rates(Fraction(0), Fraction(1)), HobData(Fraction(2), lead_angle_deg=Fraction(2)), 2)
    assert (outcome.teeth, outcome.runs_against_hob, outcome.is_steady) == (None, False, False)
    assert outcome.sliding_feed is None


@lawful
@given(cuts(helical=always))
def test_with_the_differential_turned_round_right_lead_and_wrong_hand_come_out(cut):
    assume(abs(cut.axial / cut.rates.table) < cut.hob.module_n)
    wrong = replace(cut, inverse_lead=-cut.inverse_lead)
    assume(wrong.rates.table * cut.hob.hand.value < 0)
    assume(abs(wrong.axial / wrong.rates.table) < cut.hob.module_n)
    outcome = predict(wrong.rates, cut.hob, cut.swivel_deg)
    assert cut.hand is not None
    assert (outcome.teeth, outcome.hand, outcome.lead) == (cut.teeth, cut.hand.other, cut.lead)
    assert abs(outcome.swivel_error_deg) == angle(2 * abs(cut.beta_deg))


@lawful
@given(cuts(helical=never), st.integers(2, 4))
def test_a_hob_of_more_starts_on_the_same_gears_cuts_so_many_times_the_teeth(cut, times):
    hob = replace(cut.hob, starts=cut.hob.starts * times)
    outcome = predict(cut.rates, hob, cut.swivel_deg)
    assert (outcome.teeth, outcome.hand) == (cut.teeth * times, None)


@lawful
@given(cuts(), st.sampled_from([Fraction(n, d) for n, d in [(1, 2), (2, 5), (1, 3), (-1, 3), (-2, 5)]]))
def test_a_broken_count_with_a_fine_feed_spoils_the_blank(cut, part):
    count = cut.teeth + part
    table = -cut.hob.hand.value * cut.hob.starts / count
    # A feed a table turn this fine would ask for a helix beyond 90 degrees.
    axial = cut.hob.module_n * abs(table) * abs(part) / 2
    outcome = predict(Rates(table, axial), cut.hob, cut.swivel_deg)
    assert not outcome.is_steady
    assert outcome.helix_angle_deg is None
    assert outcome.real_teeth == count
    assert abs(outcome.teeth - count) < 1


@lawful
@given(cuts(helical=never), st.integers(2, 9), st.data())
def test_hand_and_lead_follow_from_the_rates_where_no_helix_angle_does(cut, parts, data):
    """In a lead the spaces go once round: as often as the rest of the count goes into it, a feed each time."""
    part = Fraction(data.draw(st.integers(1, parts - 1)), parts)
    count = cut.teeth + part
    table = -cut.hob.hand.value * cut.hob.starts / count
    feed = cut.hob.module_n * min(part, 1 - part) / 2 * data.draw(strategies.signs)
    outcome = predict(Rates(table, feed * abs(table)), cut.hob, cut.swivel_deg)
    assert outcome.helix_angle_deg is None
    rest = outcome.teeth - count
    assert outcome.lead == abs(outcome.teeth * feed / rest)
    # Each table turn the spaces fall behind by the rest of a pitch, against the table's turning.
    rises_with_the_table = (table > 0) == (rest > 0) if feed > 0 else (table > 0) != (rest > 0)
    assert outcome.hand is (Hand.LEFT if rises_with_the_table else Hand.RIGHT)


def test_a_range_lever_three_to_one_wrong_leaves_three_times_the_teeth_at_the_wanted_lead():
    """21 teeth, module 2.5, 19 deg 30 min right; the lever makes 63, whose sine would be three times as great."""
    hob = HobData(Fraction("2.5"), 1, Hand.RIGHT, Fraction(67, 30))
    outcome = predict(Rates(Fraction(-5490, 344939), Fraction(133, 100) * Fraction(5490, 344939)), hob, -17 - 16 / 60)
    assert (outcome.teeth, outcome.hand, outcome.helix_angle_deg) == (63, Hand.RIGHT, None)
    assert outcome.lead_mm == pytest.approx(494.1, abs=5e-4)
    assert not outcome.is_steady


@lawful
@given(cuts(helical=never), strategies.signs, st.booleans())
def test_half_way_between_two_counts_both_are_told(cut, sign, fine):
    table = -cut.hob.hand.value * cut.hob.starts / (cut.teeth + Fraction(1, 2))
    feed = cut.hob.module_n * (Fraction(1, 2) if fine else Fraction(5))
    outcome = predict(Rates(table, sign * feed * abs(table)), cut.hob, cut.swivel_deg)
    assert outcome.is_steady is not fine
    assert (outcome.teeth, outcome.tied_teeth) == (cut.teeth, cut.teeth + 1)


@lawful
@given(cuts())
def test_a_right_count_ties_with_none(cut):
    assert cut.predict().tied_teeth is None


@lawful
@given(cuts(helical=never, axial=never), st.fractions("1/9", "8/9", max_denominator=9), feeds)
def test_a_broken_count_with_radial_feed_spoils_the_blank(cut, part, radial):
    table = -cut.hob.hand.value * cut.hob.starts / (cut.teeth + part)
    outcome = predict(Rates(table, radial=radial), cut.hob, cut.swivel_deg)
    assert not outcome.is_steady
    assert outcome.real_teeth == cut.teeth + part


@lawful
@given(cuts(helical=never), feeds)
def test_a_hob_of_unknown_lead_angle_leaves_the_swivel_unjudged(cut, swivel):
    hob = replace(cut.hob, lead_angle_deg=None)
    outcome = predict(cut.rates, hob, float(swivel))
    assert (outcome.teeth, outcome.swivel_error_deg) == (cut.teeth, None)


# Symmetry


@lawful
@given(
    cuts(tangential=either, axial=either),
    st.floats(-10, 10),
    st.fractions(-2, 2, max_denominator=50),
)
def test_in_a_mirror_across_the_slides_hands_swivel_and_table_turn_about_and_nothing_else(cut, off, radial):
    """The mirror stands along X and Z: what turns about them and what slides along Y is reversed."""
    rates, swivel = replace(cut.rates, radial=radial), cut.swivel_deg + off
    image = replace(rates, table=-rates.table, tangential=-rates.tangential)
    seen = predict(image, replace(cut.hob, hand=cut.hob.hand.other), -swivel)
    outcome = predict(rates, cut.hob, swivel)
    assert seen.hand is (outcome.hand.other if outcome.hand else None)
    for name in ("teeth", "tied_teeth", "lead", "feed", "feed_slide", "sliding_feed", "is_steady", "real_teeth"):
        assert getattr(seen, name) == getattr(outcome, name), name
    assert seen.runs_against_hob is outcome.runs_against_hob
    if outcome.swivel_error_deg is not None:
        assert seen.swivel_error_deg == angle(-outcome.swivel_error_deg)
        assert seen.helix_angle_deg == angle(outcome.helix_angle_deg)


@lawful
@given(strategies.hobbers(), strategies.hands, st.data())
def test_what_a_machine_cuts_does_not_depend_on_which_way_its_positives_run(hobber, hand, data):
    train = hobber.train
    parts = strategies.stuck_together(train, data.draw(st.sampled_from(train.parts)))
    hob = HobData(Fraction(2), 1, hand, Fraction(2))
    found = []
    for described in (train, strategies.flipped(train, parts)):
        rates = hob_rates(solve(described, "main"))
        found.append(None if rates is None else predict(rates, hob, 2.0))
    assert found[0] == found[1]


# Printed values


@pytest.mark.parametrize(
    ("starts", "module", "diameter", "gamma", "same", "opposite"),
    [
        (1, 2, "58", 1.976108, 18.023892, 21.976108),
        (1, 3, "72.5", 2.371537, 17.628463, 22.371537),
        (2, 3, "72.5", 4.747149, 15.252851, 24.747149),
    ],
)
@pytest.mark.parametrize("hob_hand", Hand)
@pytest.mark.parametrize("work_hand", Hand)
def test_the_head_stands_as_the_swivel_table_says(
    starts, module, diameter, gamma, same, opposite, hob_hand, work_hand
):
    """Work of 20 deg; helix less lead angle for like hands, plus for unlike (handbooks, from memory).

    Clockwise seen from behind the hob for right-hand work. Numbers: own derivation, checked independently.
    """
    hob = HobData(Fraction(module), starts, hob_hand, diameter=Fraction(diameter))
    work = Work("helical", 40, Fraction(module), hand=work_hand, helix_angle_deg=Fraction(20))
    assert hob.gamma_deg == pytest.approx(gamma, abs=5e-7)
    size = same if hob_hand is work_hand else opposite
    assert swivel_deg(work, hob) == pytest.approx(-work_hand.value * size, abs=6e-7)
    spur = Work("spur", 40, Fraction(module))
    # A right-hand hob on spur work: right end up, counter-clockwise (J. Edgar, 1914: its own angle).
    assert swivel_deg(spur, hob) == pytest.approx(hob_hand.value * gamma, abs=5e-7)


# Whatever a file can say


@lawful
@given(
    st.tuples(
        *[st.sampled_from([Fraction(0), Fraction(1, 7), Fraction(10) ** 400, Fraction(10) ** -400])] * 4
    ),
    st.tuples(*[strategies.signs] * 4),
    st.none() | lead_angles,
    st.floats(-89, 89),
)
def test_rates_of_any_size_have_an_outcome(sizes, signs, gamma, swivel):
    rates = Rates(*(sign * size for sign, size in zip(signs, sizes, strict=True)))
    outcome = predict(rates, HobData(Fraction(2), 1, Hand.RIGHT, gamma), swivel)
    assert outcome.teeth is None or outcome.teeth >= 1
    for value in (
        outcome.lead_mm,
        outcome.helix_angle_deg,
        outcome.swivel_error_deg,
        outcome.tangential_error,
    ):
        assert value is None or math.isfinite(value)
