"""Worm wheels, splines, sprockets and herringbone pairs, cut by the same sweep and told by the field alone."""

from __future__ import annotations

import math
from fractions import Fraction

import numpy as np
import pytest
from handlead.kinematics.cutting.field import (
    axial_pass,
    cut_field,
    radial_plunge,
    scratch_cut,
    tangential_pass,
)
from handlead.kinematics.cutting.hob import Hob
from handlead.kinematics.cutting.setting import Grid, Setting
from handlead.kinematics.frame.blank import Blank
from handlead.kinematics.frame.motion import Rates
from handlead.kinematics.frame.words import Hand
from handlead.kinematics.gauging.field import gauge
from handlead.kinematics.other_work.profiles import rounded_rack, straight_spline
from handlead.kinematics.other_work.spline import (
    INVOLUTE_RACKS,
    StraightSpline,
    fillet_diameter,
    involute_spline,
)

WHEEL, STARTS, MODULE = 21, 2, 2.0

#: Few rows and columns, that a wheel's count and hand can be told by.
FEW = Grid(rows=7, columns=801, fineness=0.6)


def worm_hob(hand=1):
    return Hob(module_n=MODULE, starts=STARTS, hand=Hand(hand), reference_diameter=40, gashes=12)


def wheel(hand=1):
    """A wheel blank for that hob: its teeth lean as the worm's threads do, so the head isn't swivelled."""
    hob = worm_hob(hand)
    reference = MODULE * WHEEL / math.cos(math.radians(hob.geometric_lead_angle_deg))
    return hob, Blank(reference + 2 * MODULE, 8), reference / 2 + 20


def test_a_worm_wheel_by_radial_feed_has_its_count_and_whole_teeth():
    hob, blank, distance = wheel()
    rates = Rates(table=Fraction(-STARTS, WHEEL), radial=Fraction(-STARTS, WHEEL) / 5)
    motion = radial_plunge(rates, blank, 4.5)
    field = cut_field(motion, Setting(rates, hob, blank, 0, distance), FEW, compiled=False)
    found = gauge(field, module_n=MODULE)
    assert found.teeth == WHEEL
    assert found.hand == "right"
    assert found.clean, found.notes
    # Nothing about the feed can be read off a plunge: it leaves no spiral.
    assert found.real_teeth is None


def test_a_radial_infeed_leaves_the_same_wheel_whichever_way_the_hob_turns():
    """Rates are per turn of a hob cutting up: of one that cuts down, a slide that goes in has a positive rate."""
    hob, blank, distance = wheel()
    fields = [
        cut_field(
            radial_plunge(rates, blank, 4.5), Setting(rates, hob, blank, 0, distance),
            Grid(rows=5, columns=801, fineness=0.6), compiled=False,
        )
        for way in (1, -1)
        for rates in (Rates(Fraction(-STARTS, WHEEL), radial=way * Fraction(STARTS, WHEEL) / 5),)
    ]  # fmt: skip
    assert [gauge(field, module_n=MODULE).teeth for field in fields] == [WHEEL, WHEEL]
    # The feed runs the other way round the wheel; at depth all places are passed alike, flanks and bottoms.
    one, other = (field.radius[2] for field in fields)
    assert np.abs(one - other).max() < 1e-3
    assert one.max() - one.min() == pytest.approx(4.5, abs=0.01)


def test_a_worm_wheel_indexed_for_part_of_a_tooth_is_told_from_a_whole_one():
    hob, blank, distance = wheel()
    rates = Rates(table=Fraction(-STARTS) / (WHEEL + Fraction(1, 3)), radial=Fraction(-1, 50))
    motion = radial_plunge(rates, blank, 4.5)
    found = gauge(
        cut_field(motion, Setting(rates, hob, blank, 0, distance), FEW, compiled=False)
    )
    assert not found.clean


@pytest.mark.parametrize("hand", [1, -1])
@pytest.mark.parametrize("way", [1, -1])
def test_a_worm_wheel_by_tangential_feed_needs_the_table_to_roll_along(hand, way):
    hob, blank, distance = wheel(hand)
    feed = way * Fraction(3, 10)  # mm per turn of the hob
    gamma = math.radians(hob.geometric_lead_angle_deg)
    rolling = Fraction(math.cos(gamma) / (math.pi * MODULE * WHEEL)).limit_denominator(10**9)
    table = -hand * Fraction(STARTS, WHEEL) + feed * rolling
    found = {}
    for name, rate in (("right", table), ("left out", table - feed * rolling)):
        setting = Setting(Rates(table=rate, tangential=feed), hob, blank, 0, distance)
        field = cut_field(tangential_pass(setting), setting, FEW, compiled=False)
        found[name] = gauge(field)
    assert found["right"].teeth == WHEEL
    assert found["right"].clean, found["right"].notes
    assert found["right"].hand == ("right" if hand > 0 else "left")
    # Without the differential the hob's way across carries its threads through every tooth.
    assert not found["left out"].clean


def test_a_scratch_cut_without_any_feed_still_counts_a_worm_wheel():
    hob, blank, _ = wheel()
    for rates in (
        Rates(table=Fraction(-STARTS, WHEEL)),
        Rates(table=Fraction(-STARTS, WHEEL), radial=Fraction(-1, 100)),
    ):
        assert gauge(scratch_cut(Setting(rates, hob, blank, 0))).teeth == WHEEL
    with pytest.raises(ValueError, match="nothing can be cut"):
        scratch_cut(Setting(Rates(table=Fraction(0)), hob, blank, 0))


@pytest.mark.parametrize("rack", ["30 flat root", "45 fillet root"])
def test_an_involute_spline_is_a_gear_with_another_rack(rack):
    gear = involute_spline(18, 2, rack, face_width=6)
    profile = INVOLUTE_RACKS[rack]
    hob = Hob(module_n=2, reference_diameter=50, pressure_angle_deg=profile.pressure_angle_deg, rack=profile)
    rates = Rates(table=Fraction(-1, 18), axial=Fraction(1, 18))
    blank = Blank(gear.tip_diameter, 6)
    distance = gear.reference_diameter / 2 + hob.pitch_diameter / 2
    setting = Setting(rates, hob, blank, hob.geometric_lead_angle_deg, distance)
    field = cut_field(axial_pass(setting), setting, Grid(rows=25, columns=801), compiled=False)
    found = gauge(field, module_n=2, addendum=profile.addendum)
    assert (found.teeth, found.hand) == (18, "none")
    assert found.clean, found.notes
    assert field.radius.min() == pytest.approx(gear.root_diameter / 2, abs=0.01)


def test_a_straight_sided_spline_has_keys_of_even_width_down_to_its_fillet():
    # ISO 14 medium series 8 x 36 x 42 x 7 (from memory): 8 keys, minor 36, major 42, 7 wide.
    spline = StraightSpline(8, 36, 42, 7)
    module = spline.major_diameter / spline.keys
    hob = Hob(module_n=module, reference_diameter=70, profile=straight_spline(spline), gashes=24)
    rates = Rates(table=Fraction(-1, 8), axial=Fraction(1, 40))
    blank = Blank(spline.major_diameter, 4)
    distance = spline.major_diameter / 2 + hob.pitch_diameter / 2
    setting = Setting(rates, hob, blank, hob.geometric_lead_angle_deg, distance)
    field = cut_field(axial_pass(setting), setting, Grid(rows=3, columns=30_001), compiled=False)
    assert field.radius.min() == pytest.approx(18, abs=0.01)
    straight_from = fillet_diameter(spline, spline.major_diameter)
    for diameter in np.linspace(straight_from + 0.1, 41.8, 5):
        key = np.mean(field.radius[1] > diameter / 2) * 2 * math.pi / 8
        width = diameter * math.sin(key / 2)
        # A thread with the true normal section of a rack is no exact worm: some micrometres stay.
        assert width == pytest.approx(7, abs=0.02)
    below = np.mean(field.radius[1] > (straight_from - 1) / 2) * 2 * math.pi / 8
    assert (straight_from - 1) * math.sin(below / 2) > 7.02


def test_keys_are_counted_on_a_scratch_cut():
    spline = StraightSpline(8, 36, 42, 7)
    hob = Hob(module_n=42 / 8, reference_diameter=70, profile=straight_spline(spline))
    rates = Rates(table=Fraction(-1, 8), axial=Fraction(1, 8))
    found = gauge(scratch_cut(Setting(rates, hob, Blank(42, 20), hob.geometric_lead_angle_deg)))
    assert (found.teeth, found.hand) == (8, "none")
    assert found.clean, found.notes


def test_a_sprocket_comes_out_with_its_count_and_seats_for_the_rollers():
    # ISO 606 chain 08B: pitch 12.7, roller 8.51; 17 teeth: d 69.1158, d_f 60.6058 (R: "Transmission sprocket or
    # roller sprocket analysis"). The hob rolls on its own pitch, not on the chord.
    pitch, roller, teeth = 12.7, 8.51, 17
    rolling = teeth * pitch / math.pi
    root = pitch / math.sin(math.pi / teeth) - roller
    seat = 0.505 * roller
    hob = Hob(
        module_n=pitch / math.pi,
        reference_diameter=70,
        gashes=14,
        profile=rounded_rack(pitch, seat, 20, rolling / 2 - root / 2, 2.5),
    )
    rates = Rates(table=Fraction(-1, teeth), axial=Fraction(1, teeth))
    blank = Blank(73, 6)
    distance = rolling / 2 + hob.pitch_diameter / 2
    setting = Setting(rates, hob, blank, hob.geometric_lead_angle_deg, distance)
    field = cut_field(axial_pass(setting), setting, Grid(rows=17, columns=901), compiled=False)
    found = gauge(field)
    assert (found.teeth, found.hand) == (teeth, "none")
    assert found.clean, found.notes
    assert 2 * field.radius.min() == pytest.approx(60.6058, abs=0.02)


def test_a_herringbone_pair_of_members_has_both_hands_on_one_count_and_lead(setting):
    leads = []
    for hand in (1, -1):
        machine = setting(teeth=24, helix_deg=30, hand=hand, face=20)
        found = gauge(scratch_cut(machine), module_n=3)
        assert (found.teeth, found.hand) == (24, "right" if hand > 0 else "left")
        assert found.clean, found.notes
        leads.append(found.lead_mm)
    assert leads[0] == pytest.approx(leads[1], rel=2e-4)
