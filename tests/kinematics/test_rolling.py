"""Two gears rolled together: held against closed formulas, and against outlines that are turned until they touch."""

from __future__ import annotations

import math
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from handlead.kinematics.cutting.hob import Hob
from handlead.kinematics.cutting.setting import Setting
from handlead.kinematics.frame.blank import Blank
from handlead.kinematics.frame.motion import Rates, Ripple, Tilt
from handlead.kinematics.frame.words import Hand
from handlead.kinematics.gears.flank import NominalFlank
from handlead.kinematics.gears.gear import Gear
from handlead.kinematics.gears.pair import distance_without_backlash, run_together
from handlead.kinematics.rolling.as_cut import SIDES, AllRound, CutGear, gear_as_cut, perfect
from handlead.kinematics.rolling.bearing import FILM, bearing
from handlead.kinematics.rolling.roll import Rolled, roll
from handlead.kinematics.rolling.waves import ErrorWave, waves
from handlead.kinematics.witness.measured import full_pass
from hypothesis import given, settings
from hypothesis import strategies as st
from rolling_outlines import pushed_ahead

PINION = Gear(23, 3.0, 22.0, Hand.RIGHT, face_width=36.0)
WHEEL = Gear(74, 3.0, 22.0, Hand.LEFT, face_width=32.0)
SPUR, SPUR_MATE = Gear(23, 3.0, face_width=30.0), Gear(40, 3.0, face_width=30.0)


def at_play(first: Gear, second: Gear, more: float = 0.2) -> float:
    return distance_without_backlash(first, second) + more


def with_deviation(gear: Gear, add: dict[int, object]) -> CutGear:
    """A perfect gear with something added to each side's flank: a function of part of the height of roll, and of the face."""
    true = perfect(gear)
    up, along = np.linspace(0, 1, 64)[:, None], np.linspace(-0.5, 0.5, 321)[None, :]
    flanks = {side: replace(true.flanks[side], deviation=true.flanks[side].deviation + add[side](up, along)) for side in SIDES}
    return CutGear(gear, flanks, true.all_round)


def off_centre(gear: Gear, off: float) -> CutGear:
    """A perfect gear that was mounted off its centre by so many mm: a flank goes along its normal by what that turns to.

    A normal whose tangent angle on the blank is t stands square to the spoke at t.
    """
    true, flanks, turns = perfect(gear), {}, {}
    even = 2 * math.pi * np.arange(8 * gear.teeth) / (8 * gear.teeth)
    for side in SIDES:
        flank = true.flanks[side]
        begins = float(NominalFlank(gear, side).tangent_angle(np.zeros(1), np.array([gear.face_width / 2]))[0])
        angle = side * flank.roll_length[:, None] / true.base_radius + true.twist * (flank.heights - true.width / 2)[None, :]
        flanks[side] = replace(flank, deviation=-side * off * np.sin(angle + begins - 0.4) * flank.base_cosine)
        turns[side] = AllRound(0.0, -side * off * np.sin(even + begins - 0.4))
    return CutGear(gear, flanks, turns)


def named(rolled: Rolled, side: int, of: str) -> list[ErrorWave]:
    teeth = rolled.first.gear.teeth, rolled.second.gear.teeth
    return [wave for wave in waves(1000 * rolled.sides[side].ahead, teeth) if wave.of == of]


# ---------------------------------------------------------------- closed formulas


@settings(max_examples=25, deadline=None)
@given(
    teeth=st.tuples(st.integers(18, 60), st.integers(18, 90)),
    helix=st.sampled_from((0.0, 8.0, 22.0, 35.0)),
    shifts=st.tuples(st.floats(0, 0.4), st.floats(0, 0.4)),
    more=st.floats(0.02, 0.5),
)
def test_perfect_gears_of_any_kind_hand_on_their_turning_without_error(teeth, helix, shifts, more):
    hands = (Hand.RIGHT, Hand.LEFT) if helix else (None, None)
    first, second = (Gear(z, 2.0, helix, hand, profile_shift=x, face_width=20.0) for z, hand, x in zip(teeth, hands, shifts, strict=True))
    distance = at_play(first, second, more)
    rolled = roll(perfect(first), perfect(second), distance, sections=21)
    expected = run_together(first, second, (first.tip_diameter, second.tip_diameter), (1.0, 1.0), distance)
    for side in SIDES:
        assert rolled.sides[side].error_um < 1e-6
        assert bearing(rolled.sides[side]).area == 1.0
    assert np.ptp(rolled.play) < 1e-9
    assert rolled.play.max() == pytest.approx(expected.backlash, abs=1e-9)


@pytest.mark.parametrize("more", [0.05, -0.05])
def test_a_lead_that_is_off_bears_at_one_end_the_other_flank_at_the_other_and_takes_up_play(more):
    # 0.05 mm over the face along the base tangent; the film of blue covers 6 µm of that.
    lean = with_deviation(SPUR, {side: lambda up, along, side=side: side * more * along for side in SIDES})
    rolled = roll(lean, perfect(SPUR_MATE), at_play(SPUR, SPUR_MATE))
    true = roll(perfect(SPUR), perfect(SPUR_MATE), at_play(SPUR, SPUR_MATE))
    for side in SIDES:
        found = bearing(rolled.sides[side])
        at_upper = side * more > 0
        assert found.bearing_thirds == ((False, False, True) if at_upper else (True, False, False))
        assert found.length == pytest.approx(FILM / abs(more), abs=0.01)
        assert rolled.sides[side].error_um < 1e-6
    assert rolled.play.max() == pytest.approx(true.play.max() - abs(more), abs=1e-9)


@pytest.mark.parametrize("which", [0, 1])
def test_a_gear_off_its_centre_leaves_an_error_once_in_its_turn_of_twice_as_much(which):
    gears = [perfect(SPUR), perfect(SPUR_MATE)]
    gears[which] = off_centre((SPUR, SPUR_MATE)[which], 0.03)
    rolled = roll(gears[0], gears[1], at_play(SPUR, SPUR_MATE))
    for side in SIDES:
        assert rolled.sides[side].error_um == pytest.approx(60.0, abs=0.1)
        once = named(rolled, side, "first" if which == 0 else "second")
        assert [wave.um for wave in once] == [pytest.approx(60.0, abs=0.1)]
        assert max(wave.um for wave in named(rolled, side, "mesh")) < 0.05
    # Off by e towards the mate the teeth stand e·2 sin α tighter together, and as much looser half a turn on.
    assert np.ptp(rolled.play) == pytest.approx(4 * 0.03 * math.sin(math.radians(rolled.working_angle_deg)), rel=0.01)


def test_a_helical_gear_off_its_centre_does_the_same_all_over_its_face():
    rolled = roll(off_centre(PINION, 0.02), perfect(WHEEL), at_play(PINION, WHEEL))
    assert rolled.sides[1].error_um == pytest.approx(40.0, abs=0.1)
    assert bearing(rolled.sides[1]).area == pytest.approx(1.0, abs=1e-3)


def test_hollow_flanks_bear_at_both_ends_and_crowned_ones_in_the_middle():
    hollow = with_deviation(SPUR, {side: lambda up, along: 0.2 * along**2 for side in SIDES})
    crowned = with_deviation(SPUR, {side: lambda up, along: -0.2 * along**2 for side in SIDES})
    mate, distance = perfect(SPUR_MATE), at_play(SPUR, SPUR_MATE)
    assert bearing(roll(hollow, mate, distance).sides[1]).bearing_thirds == (True, False, True)
    assert bearing(roll(crowned, mate, distance).sides[1]).bearing_thirds == (False, True, False)


def test_tips_that_stand_out_bear_alone_and_knock_once_a_tooth():
    high = with_deviation(SPUR, {side: lambda up, along: 0.02 * up + 0 * along for side in SIDES})
    rolled = roll(high, perfect(SPUR_MATE), at_play(SPUR, SPUR_MATE))
    mesh = named(rolled, 1, "mesh")
    assert mesh[0].per_first == 23 and mesh[0].um > 5
    assert bearing(rolled.sides[1]).height < 0.7 < bearing(roll(perfect(SPUR), perfect(SPUR_MATE), rolled.distance).sides[1]).height


def test_two_gears_of_one_hand_lean_apart_by_twice_their_helix_over_the_face():
    other = replace(WHEEL, hand=Hand.RIGHT)
    rolled = roll(perfect(PINION), perfect(other), at_play(PINION, WHEEL))
    base = math.radians(PINION.base_helix_angle_deg)
    assert abs(rolled.lean) == pytest.approx(2 * 32 * math.tan(base))
    assert rolled.play.max() < -1


def test_gears_so_far_apart_that_the_line_is_short_lose_touch_on_part_of_the_way():
    rolled = roll(perfect(SPUR), perfect(SPUR_MATE), at_play(SPUR, SPUR_MATE, 3.5))
    expected = run_together(SPUR, SPUR_MATE, (SPUR.tip_diameter, SPUR_MATE.tip_diameter), (1.0, 1.0), rolled.distance)
    assert expected.transverse_contact_ratio < 1
    assert rolled.sides[1].never_touching == pytest.approx(1 - expected.transverse_contact_ratio, abs=0.02)
    assert math.isnan(rolled.sides[1].error_um) and not named(rolled, 1, "mesh")


@pytest.mark.parametrize(
    ("second", "distance", "said"),
    [
        (Gear(40, 2.0, face_width=30.0), 80.0, "don't run together"),
        (SPUR_MATE, 80.0, "centre distance"),
        (SPUR_MATE, 103.0, "meets at this centre distance"),
    ],
)
def test_what_can_not_run_is_refused(second, distance, said):
    with pytest.raises(ValueError, match=said):
        roll(perfect(SPUR), perfect(second), distance)


def test_a_gear_without_a_face_width_is_refused():
    with pytest.raises(ValueError, match="face width is missing"):
        perfect(replace(SPUR, face_width=None))


# ---------------------------------------------------------------- as cut


HOB = Hob(3.0, reference_diameter=80.0, gashes=10)


def cut(gear: Gear, feed: float, wrong_lead: float = 0.0, ripples: tuple[Ripple, ...] = ()) -> CutGear:
    """A gear cut at full depth; `wrong_lead` is by what part its lead comes out too long."""
    index = -Fraction(1, gear.teeth)
    lead = gear.lead * (1 + wrong_lead) if gear.lead else None
    lean = 0 if lead is None else -gear.hand.value / Fraction(lead)
    axial = Fraction(feed) / gear.teeth
    rates = Rates(table=index + lean * axial, axial=axial)
    swivel = HOB.geometric_lead_angle_deg - (gear.hand.value * gear.helix_angle_deg if gear.hand else 0)
    setting = Setting(rates, HOB, Blank(gear.tip_diameter, gear.face_width), swivel).to_depth(gear)
    return gear_as_cut(full_pass(setting, ripples), setting, gear, rolls=32, heights=81)


def test_a_lead_cut_wrong_is_seen_at_one_end_by_as_much_as_it_leans():
    distance = at_play(PINION, WHEEL)
    true, wrong = (roll(cut(PINION, 0.5, off), cut(WHEEL, 0.5), distance) for off in (0.0, 0.02))
    # π d_b b (1/L − 1/L₀) along the base tangent over the face that both have.
    lean = math.pi * PINION.base_diameter * 32 / PINION.lead * 0.02 / 1.02
    taken = float(np.median(true.play - wrong.play)) / math.cos(math.radians(PINION.base_helix_angle_deg))
    assert taken == pytest.approx(lean, rel=0.05)
    assert all(bearing(true.sides[side]).bearing_thirds == (True, True, True) for side in SIDES)
    ends = {bearing(wrong.sides[side]).bearing_thirds for side in SIDES}
    assert ends == {(True, False, False), (False, False, True)}


def test_a_table_that_runs_to_and_fro_once_a_turn_leaves_it_in_the_pair():
    off = 0.025 / (2 * math.pi * SPUR.base_diameter / 2)
    ripple = Ripple("table", "table", Fraction(1), off, 0.1)
    rolled = roll(cut(SPUR, 1.0, ripples=(ripple,)), perfect(SPUR_MATE), at_play(SPUR, SPUR_MATE))
    for side in SIDES:
        once = named(rolled, side, "first")[0]
        assert once.um == pytest.approx(50.0, abs=0.5)
        assert rolled.sides[side].error_um == pytest.approx(50.0, abs=2.5)


@pytest.mark.parametrize(("gear", "mate"), [(SPUR, SPUR_MATE), (PINION, WHEEL)], ids=["spur", "helical"])
def test_work_that_leans_about_mid_face_touches_at_one_end_and_then_at_the_other(gear, mate):
    # Teeth stand out at one end or the other by the lean times half the face, as they come round: twice in a turn, from
    # nothing to that. Rolled as if it ran out by what it does at mid-face it would leave nothing.
    slope = 0.001
    leans = Tilt(slope, 1, 0.1, gear.face_width / 2)
    distance = at_play(gear, mate)
    true, tilted = (roll(cut(gear, 0.5, ripples=some), perfect(mate), distance) for some in ((), (leans,)))
    # The dip of the rim moves leaning teeth besides, by the lean times the radius, as much as they lean.
    dip = slope * gear.reference_diameter / 2 * math.tan(math.radians(gear.base_helix_angle_deg))
    width = min(gear.face_width, mate.face_width)
    for side in SIDES:
        over = tilted.sides[side].error_um - true.sides[side].error_um
        if gear.hand is None:
            assert over == pytest.approx(1000 * slope * width / 2, rel=0.12)
            turn = tilted.sides[side].ahead - true.sides[side].ahead
            halves = np.abs(np.fft.rfft(turn.mean(axis=1)[: gear.teeth]))[[1, 2]]
            assert halves[1] > 3 * halves[0]
        else:
            assert 1000 * 2 * dip < over < 1000 * (2 * dip + slope * width)


def test_what_leans_is_no_slope_that_every_tooth_has():
    leans = cut(SPUR, 0.5, ripples=(Tilt(0.001, 1, 0.1, SPUR.face_width / 2),))
    for side in SIDES:
        rows = leans.every_tooth(side)
        found = np.polyfit(leans.flanks[side].heights, rows[np.isfinite(rows).all(axis=1)].mean(axis=0), 1)[0]
        assert abs(found) < 0.05 * 0.001


def test_an_index_worm_that_is_off_comes_back_with_its_wheel_s_teeth():
    off = 0.004 / (2 * math.pi * SPUR.base_diameter / 2)
    rolled = roll(cut(SPUR, 1.0, ripples=(Ripple("table", "table", Fraction(84), off, 0.0),)), perfect(SPUR_MATE), at_play(SPUR, SPUR_MATE))
    # Gashes follow one another so far apart that not all of so short a wave gets onto the flank.
    assert named(rolled, 1, "other")[0].per_first == 84
    assert 5 < rolled.sides[1].error_um < 9


# ---------------------------------------------------------------- outlines


def relieved(gear: Gear, seed: int, helical: bool = False) -> CutGear:
    """Flanks with waves of some µm on them, drawn back towards root and tip so that no corner touches."""
    random = np.random.default_rng(seed)
    size, phase = random.uniform(0.002, 0.006, (2, 2)), random.uniform(0, 6.28, (2, 2))

    def shape(side):
        row = (side + 1) // 2
        return lambda up, along: (
            size[row, 0] * np.sin(5 * up + phase[row, 0]) + size[row, 1] * np.sin(4 * along + phase[row, 1]) - 0.12 * (up - 0.5) ** 4
            - 0.02 * (up - 0.5) ** 2
        )

    made = with_deviation(gear, {side: shape(side) for side in SIDES})
    angles = 2 * math.pi * np.arange(8 * gear.teeth) / (8 * gear.teeth)
    turn = {side: AllRound(0.0, 0.008 * np.sin(angles + phase[0, 0]) + 0.003 * np.sin(3 * angles + phase[1, 1])) for side in SIDES}
    flanks = {}
    for side in SIDES:
        flank = made.flanks[side]
        on_blank = side * flank.roll_length[:, None] / made.base_radius + made.twist * (flank.heights - made.width / 2)[None, :]
        flanks[side] = replace(flank, deviation=flank.deviation + turn[side].at(on_blank) * flank.base_cosine)
    return CutGear(gear, flanks, turn)


@pytest.mark.parametrize(("first", "second", "sections"), [(SPUR, SPUR_MATE, 3), (PINION, WHEEL, 9)])
def test_outlines_turned_until_they_touch_say_the_same(first, second, sections):
    one, other = relieved(first, 1), relieved(second, 2)
    distance = at_play(first, second)
    rolled = roll(one, other, distance, sections=sections)
    for side in SIDES:
        steps = rolled.sides[side].ahead.ravel()
        some = np.arange(0, steps.size, steps.size // 40)[:40]
        found = pushed_ahead(one, other, distance, side, some, rolled.sides[side].ahead.shape[1], rolled.sides[side].heights)
        # These stand in the middle of their play, which both sides share.
        found = found + rolled.nominal_play / 2
        # In µm; outlines of many short lines are right to a tenth or so.
        assert 1000 * found == pytest.approx(1000 * steps[some], abs=0.25)
        assert np.ptp(1000 * found) > 8
