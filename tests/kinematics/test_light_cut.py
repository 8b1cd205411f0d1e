"""How many marks a light cut shows: worked out from the rates, and counted on the simulated blank."""

from __future__ import annotations

import math
from fractions import Fraction
from random import Random

import numpy as np
import pytest
from handlead.kinematics.cutting.field import cut_field, scratch_cut, table_turn
from handlead.kinematics.cutting.hob import Hob
from handlead.kinematics.cutting.setting import Grid, Setting
from handlead.kinematics.cutting.touch import Touch
from handlead.kinematics.frame.blank import Blank
from handlead.kinematics.frame.motion import Rates
from handlead.kinematics.frame.words import Hand
from handlead.kinematics.gauging.field import Gauged, gauge
from handlead.kinematics.law.light_cut import LightMarks, light_counts, light_marks
from handlead.kinematics.work.requirement import HobData, Work, swivel_deg
from handlead.kinematics.work.sizes import outside_diameter


def gear(teeth: int, module: str, beta: float) -> Work:
    if not beta:
        return Work("spur", teeth, Fraction(module))
    hand = Hand(1 if beta > 0 else -1)
    return Work("helical", teeth, Fraction(module), hand=hand, helix_angle_deg=Fraction(abs(beta)))


def both(
    work: Work, spaces: Fraction, feed: Fraction, swivel: float, hob_hand: Hand = Hand.RIGHT, starts: int = 1
) -> tuple[LightMarks | None, Gauged]:
    """What the rates say of a light cut with so many spaces to a table turn, and what is on its blank."""
    data = HobData(work.module_n, starts, hob_hand, diameter=30 * work.module_n)
    table = -hob_hand.value * starts / spaces
    rates = Rates(table, feed * abs(table))
    hob = Hob(
        float(work.module_n), starts=starts, hand=hob_hand, reference_diameter=30 * float(work.module_n)
    )
    field = scratch_cut(Setting(rates, hob, Blank(outside_diameter(work), 20), swivel))
    return light_marks(rates, work, data, swivel), gauge(field, module_n=float(work.module_n))


def right_swivel(work: Work) -> float:
    return swivel_deg(work, HobData(work.module_n, diameter=30 * work.module_n))


def test_half_a_space_over_leaves_twice_as_many_marks_at_half_the_pitch():
    """127 1/2 spaces to a turn: every second table turn falls into the same marks, 255 of them."""
    work = gear(127, "1.5", 0)
    told, found = both(work, Fraction(255, 2), Fraction(1), right_swivel(work))
    assert told is not None
    assert (told.count, told.turns, told.hand) == (255, 2, None)
    assert found.pattern == 255


def test_a_pinion_indexed_half_way_between_two_counts_shows_forty_one():
    work = gear(21, "2", 0)
    told, found = both(work, Fraction(41, 2), Fraction(1), right_swivel(work))
    assert told is not None
    assert (told.count, told.turns) == (41, 2)
    assert found.pattern == 41


def test_the_head_swung_the_wrong_way_can_leave_nearly_twice_the_teeth():
    """42 teeth at 32 degrees: along touches that lie the other way those of every second turn join best."""
    work = gear(42, "2", 32)
    lead = Fraction(math.pi * 2 * 42 / math.sin(math.radians(32))).limit_denominator(10**6)
    spaces, feed = 42 * (1 - 3 / lead), Fraction(3)
    told, found = both(work, spaces, feed, -right_swivel(work))
    assert told is not None
    assert (told.count, told.turns) == (83, 2)
    assert found.pattern == 83


@pytest.mark.parametrize("seed", range(12))
def test_what_stands_out_on_the_blank_is_what_the_rates_foretell(seed):
    """Counts, halves, thirds and fifths, right and wrong swivels, both hands of hob and feed."""
    random = Random(seed)
    beta = random.choice([0, 10, 20, 30, -10, -20, -30])
    work = gear(random.randint(17, 50), random.choice(["1.5", "2", "3"]), beta)
    spaces = work.teeth + random.choice(
        [Fraction(1, 2), Fraction(1, 3), Fraction(1, 4), Fraction(2, 5), Fraction(1, 5)]
    )
    feed = Fraction(random.choice(["0.8", "1.5", "2", "3"])) * random.choice([1, -1])
    hand = random.choice([Hand.RIGHT, Hand.LEFT])
    swivel = swivel_deg(work, HobData(work.module_n, 1, hand, diameter=30 * work.module_n))
    told, found = both(work, spaces, feed, swivel * random.choice([1, 1, -1]), hand)
    assert told is not None
    assert found.pattern in (told.count, *told.others)


@pytest.mark.parametrize("beta", [0, 12, -25])
@pytest.mark.parametrize("feed", ["-2", "1"])
def test_a_right_set_up_shows_its_teeth(beta, feed):
    work = gear(31, "2", beta)
    lead = work.lead_mm
    inverse = 0 if lead is None else (1 if beta > 0 else -1) / Fraction(lead).limit_denominator(10**6)
    spaces = 31 * (1 - Fraction(feed) * inverse)
    data = HobData(Fraction(2), diameter=Fraction(60))
    rates = Rates(-1 / spaces, Fraction(feed) / spaces)
    told = light_marks(rates, work, data, swivel_deg(work, data))
    assert told is not None
    assert (told.count, told.turns) == (31, 1)
    outside = math.degrees(math.atan(math.pi * outside_diameter(work) * float(inverse)))
    assert told.lean_deg == pytest.approx(outside, abs=1e-3)


@pytest.mark.parametrize("seed", range(30))
def test_what_stands_out_is_always_among_the_counts_that_could(seed):
    random = Random(seed)
    work = gear(random.randint(12, 90), "2", random.choice([0, 0, 15, -25]))
    data = HobData(work.module_n, random.choice([1, 2]), diameter=30 * work.module_n)
    table = -data.starts / Fraction(random.randint(10 * work.teeth - 20, 10 * work.teeth + 20), 10)
    axial = random.choice([0, 1, 1, -1]) * Fraction(random.randint(5, 40), 10) * abs(table)
    cut = Rates(table, axial), work, data, right_swivel(work) + random.choice([-20, -5, 0, 5])
    marks, counts = light_marks(*cut), light_counts(*cut)
    if marks is not None:
        assert {marks.count, *marks.others} <= counts
    assert len(counts) <= 16  # two for each of so many turns: else it would sift nothing


def test_where_the_table_runs_against_the_hob_there_is_nothing_to_count():
    work, data = gear(30, "2", 0), HobData(Fraction(2), diameter=Fraction(60))
    assert light_marks(Rates(Fraction(1, 30), Fraction(1, 15)), work, data, 1.9) is None
    assert light_marks(Rates(Fraction(0), Fraction(1)), work, data, 1.9) is None


def test_a_hob_of_unknown_size_leaves_the_marks_unknown():
    work = gear(30, "2", 0)
    assert light_marks(Rates(Fraction(-1, 30), Fraction(1, 15)), work, HobData(Fraction(2)), 1.9) is None


def test_without_an_axial_feed_as_many_marks_as_close():
    work, data = gear(30, "2", 0), HobData(Fraction(2), diameter=Fraction(60))
    told = light_marks(Rates(Fraction(-2, 61), radial=Fraction(-1, 100)), work, data, 1.9)
    assert told is not None
    assert (told.count, told.turns) == (61, 2)
    assert light_marks(Rates(Fraction(-100, 3013), radial=Fraction(-1, 100)), work, data, 1.9) is None


@pytest.mark.parametrize("swivel", [-18, 20])
@pytest.mark.parametrize("spaces", [20, 30, 60])
def test_a_touch_leans_as_it_does_on_the_blank_however_fast_that_turns(swivel, spaces):
    """A blank of 30 teeth's size, turned as for other counts: its outside runs before the hob's teeth, or behind."""
    radius, depth = 30.0, 0.05
    hob = Hob(2, gashes=400, reference_diameter=60)
    blank = Blank(2 * radius, 20)
    heights = 10 + np.linspace(-1.2, 1.2, 9)
    setting = Setting(Rates(Fraction(-1, spaces)), hob, blank, swivel).sunk(depth)
    field = cut_field(table_turn(setting.rates, blank), setting, Grid(heights, columns=20_000, fineness=1.5))
    # The middle of the spaces in each row, from the phase of as many waves round.
    waves = np.exp(-1j * spaces * field.angles)
    middle = -np.unwrap(np.angle((field.uncut - field.radius) @ waves)) / spaces
    seen = float(np.polyfit(heights, middle, 1)[0]) * radius
    suited = hob.geometric_lead_angle_deg - swivel
    touch = Touch(radius, hob.tip_radius, 0.2, 0.76, 20, swivel, suited, depth)
    rolling = spaces * 2 / 2 / math.cos(math.radians(suited))
    assert touch.lean(radius / rolling) == pytest.approx(seen, abs=0.006)
