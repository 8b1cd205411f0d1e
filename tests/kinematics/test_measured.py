"""The whole witness at once: a set-up goes in, what an inspector would write down comes out."""

from __future__ import annotations

import math
from dataclasses import replace
from fractions import Fraction

import pytest
from handlead.kinematics.cutting.hob import Hob
from handlead.kinematics.cutting.setting import Setting
from handlead.kinematics.frame.blank import Blank
from handlead.kinematics.frame.motion import Rates
from handlead.kinematics.frame.words import Hand
from handlead.kinematics.gauging.lattice import LEAN_LIMIT_DEG
from handlead.kinematics.gears.gear import Gear
from handlead.kinematics.gears.tolerance import flank_tolerances
from handlead.kinematics.witness.measured import measure_cut


def measured(setting, depth="scratch", **what):
    machine = setting(**what)
    gear = Gear(
        what.get("teeth", 29),
        what.get("module_n", 3),
        25,
        Hand(what.get("hand", 1)),
        face_width=what.get("face", 40),
    )
    found = measure_cut(machine, gear=gear, depth=depth)
    return machine, gear, found


def test_a_right_set_up_gets_count_hand_lead_marks_and_a_class(setting):
    machine, gear, found = measured(setting)
    assert (found.gauged.teeth, found.gauged.hand, found.gauged.clean) == (29, "right", True)
    assert found.gauged.lead_mm == pytest.approx(machine.lead, rel=1e-4)
    flanks = found.flanks
    assert 3 < flanks.feed_mark_um < 5
    assert flanks.ripple_um >= max(flanks.feed_mark_um, flanks.facet_um) - 0.2
    assert abs(flanks.helix_slope_um) < 0.5
    assert flanks.cumulative_pitch_um < 0.2
    assert flank_tolerances(gear, flanks.quality).helix_form.um >= flanks.feed_mark_um


def test_a_coarser_differential_ratio_costs_helix_slope_and_class(setting):
    _, _, right = measured(setting)
    _, gear, wrong = measured(setting, differential=1 + Fraction(1, 1000))
    assert abs(wrong.flanks.helix_slope_um) == pytest.approx(17.3, abs=0.6)
    assert wrong.flanks.quality > right.flanks.quality
    assert flank_tolerances(gear, wrong.flanks.quality).helix_slope.um >= abs(wrong.flanks.helix_slope_um)
    assert flank_tolerances(gear, wrong.flanks.quality - 1).helix_slope.um < abs(wrong.flanks.helix_slope_um)


@pytest.mark.parametrize("more", [2, -2, 5, -5])
def test_a_slope_on_the_blank_has_the_sign_of_the_rates_whichever_flank_it_is_larger_on(setting, more):
    _, gear, found = measured(setting, differential=1 + Fraction(more, 1000))
    # pi d_b b (1/L - 1/L0), signed towards the right hand as what is computed from the train.
    hand = 1 if found.gauged.hand == "right" else -1
    lean = hand / found.gauged.lead_mm - gear.hand.value / gear.lead
    expected = 1000 * math.pi * gear.base_diameter * gear.face_width * lean
    assert found.flanks.helix_slope_um == pytest.approx(expected, rel=0.05, abs=1)


@pytest.mark.parametrize("what", [{"index_for": Fraction(30)}, {"differential": Fraction(-1)}])
def test_flanks_are_not_measured_on_another_gear_than_the_drawing_shows(setting, what):
    _, _, found = measured(setting, **what)
    assert found.flanks is None
    assert not found.gauged.clean


def test_full_depth_says_the_same_as_a_scratch_cut(setting):
    machine, _, found = measured(setting, depth="full", teeth=20, module_n=2, face=12, hob_diameter=60)
    assert (found.gauged.teeth, found.gauged.hand) == (20, "right")
    assert found.gauged.lead_mm == pytest.approx(machine.lead, rel=1e-5)
    assert found.gauged.clean, found.gauged.notes


def test_full_depth_needs_the_drawing(setting):
    machine = setting()
    with pytest.raises(ValueError, match="drawing is needed"):
        measure_cut(machine, depth="full")


def worm_wheel(
    teeth: int, starts: int, hand: int, feed: str, module: float = 2.0, diameter: float = 32, gashes: int = 10
):
    """Hob, wheel and rates of a right set-up; `feed` is "across", "in" or "by hand"."""
    hob = Hob(module, starts=starts, hand=Hand(hand), gashes=gashes, reference_diameter=diameter)
    gamma = math.radians(hob.geometric_lead_angle_deg)
    gear = Gear(teeth, module, math.degrees(gamma), Hand(hand), face_width=None)
    table = -hand * Fraction(starts, teeth)
    across, inwards = abs(table) * Fraction(2, 5), -abs(table) / 5
    rolling = Fraction(math.cos(gamma) / (math.pi * module * teeth)).limit_denominator(10**9)
    rates = {
        "across": Rates(table + across * rolling, tangential=across),
        "in": Rates(table, radial=inwards),
        "by hand": Rates(table),
    }[feed]
    return hob, Blank(gear.reference_diameter + 2 * module, 8 * module), gear, rates


@pytest.mark.parametrize("feed", ["across", "in", "by hand"])
def test_a_worm_wheel_is_cut_to_full_depth_by_the_slide_that_feeds_it(feed):
    hob, blank, gear, rates = worm_wheel(21, 2, 1, feed)
    found = measure_cut(Setting(rates, hob, blank, 0), gear=gear, depth="full")
    assert (found.gauged.teeth, found.gauged.hand) == (21, "right")
    assert found.gauged.clean, found.gauged.notes
    assert found.flanks is None
    deep = blank.radius - found.field.radius.min()
    assert deep == pytest.approx(4.5, abs=0.02)


@pytest.mark.parametrize("depth", ["scratch", "full"])
def test_a_worm_wheel_with_the_differential_left_out_is_not_clean(depth):
    hob, blank, gear, rates = worm_wheel(21, 2, 1, "across")
    still = replace(rates, table=-Fraction(2, 21))
    assert not measure_cut(Setting(still, hob, blank, 0), gear=gear, depth=depth).gauged.clean


@pytest.mark.parametrize(
    ("teeth", "starts", "hand", "feed", "module", "diameter", "gashes"),
    [
        (89, 2, 1, "by hand", 1.5, 15, 8),
        (49, 4, -1, "across", 4, 40, 10),
        (22, 4, 1, "in", 5, 60, 8),
        (26, 4, -1, "in", 4, 64, 8),
        (77, 3, 1, "across", 1, 12, 6),
    ],
)
def test_worm_wheels_of_steep_hobs_and_few_gashes_come_out_clean(
    teeth, starts, hand, feed, module, diameter, gashes
):
    """A narrow band hardly tells their lead, and a very light cut by few gashes leaves out every other space."""
    hob, blank, gear, rates = worm_wheel(teeth, starts, hand, feed, module, diameter, gashes)
    found = measure_cut(Setting(rates, hob, blank, 0), gear=gear).gauged
    assert (found.teeth, found.hand) == (teeth, "right" if hand > 0 else "left")
    assert found.clean, found.notes


def test_a_hob_that_never_reaches_the_blank_cuts_nothing_to_full_depth():
    hob, blank, gear, rates = worm_wheel(21, 2, 1, "in")
    with pytest.raises(ValueError, match="doesn't reach"):
        measure_cut(Setting(rates, hob, replace(blank, diameter=30), 0), gear=gear, depth="full")


@pytest.mark.parametrize(
    ("teeth", "module", "starts", "gashes", "helix", "feed", "hob_diameter"),
    [
        (12, 2, 4, 6, 0, "0.8", 50),
        (54, 8, 4, 6, 0, "4", 96),
        (22, 3, 4, 14, 0, "6", 54),
        (12, 8, 4, 6, 25, "4", 96),
    ],
)
def test_hobs_of_many_starts_and_few_gashes_leave_uneven_spaces_that_all_count(
    setting, teeth, module, starts, gashes, helix, feed, hob_diameter
):
    machine = setting(
        teeth=teeth, module_n=module, starts=starts, gashes=gashes, helix_deg=helix, feed=Fraction(feed), face=20,
        hob_diameter=hob_diameter,
    )  # fmt: skip
    gear = Gear(teeth, module, helix, Hand.RIGHT if helix else None, face_width=None)
    found = measure_cut(machine, gear=gear).gauged
    assert (found.teeth, found.hand) == (teeth, "right" if helix else "none")
    assert found.real_teeth == pytest.approx(float(machine.spaces_per_turn), abs=2e-3)
    assert found.clean, found.notes


def test_marks_of_few_steep_gashes_may_lean_a_little_on_a_right_blank(setting):
    machine = setting(
        teeth=22,
        module_n=3,
        starts=4,
        gashes=14,
        helix_deg=0,
        feed=Fraction(6),
        up=-1,
        face=15,
        hob_diameter=54,
    )
    gear = Gear(22, 3, face_width=None)
    found = measure_cut(machine, gear=gear).gauged
    assert abs(found.lean_deg) > LEAN_LIMIT_DEG
    assert found.clean, found.notes


def test_a_hob_whose_head_stands_a_lead_angle_wrong_still_leans(setting):
    machine = setting(helix_deg=0, swivel_error_deg=-6)
    gear = Gear(29, 3, face_width=None)
    found = measure_cut(machine, gear=gear).gauged
    assert not found.clean
    assert "lean" in found.notes[0]
