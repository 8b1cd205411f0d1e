"""Blank and roots of every kind of work, against standards' figures and against what a hob leaves on a blank."""

from __future__ import annotations

import math
from fractions import Fraction

import pytest
from handlead.kinematics.frame.words import Hand
from handlead.kinematics.gears import gear as gears
from handlead.kinematics.gears import measures
from handlead.kinematics.practice import cycle
from handlead.kinematics.work.requirement import HobData, Work, gear_of, gear_to_cut
from handlead.kinematics.work.sizes import (
    centres_at_depth,
    hob_addendum,
    hob_tip_diameter,
    outside_diameter,
    rolling_diameter_of,
    root_diameter,
    sizes_of,
)
from hypothesis import given
from hypothesis import strategies as st

CHAIN = Fraction("12.7") / Fraction(math.pi)


def chain_wheel(teeth: int, **more: Fraction) -> Work:
    return Work("sprocket", teeth, CHAIN, **more)


def test_a_sprocket_is_cut_to_the_root_that_its_rollers_ask_for() -> None:
    work, hob = chain_wheel(17, roller_diameter=Fraction("8.51")), HobData(CHAIN, diameter=Fraction(70))
    # ISO 606, read in "Transmission sprocket or roller sprocket analysis": d 69.1158, d_f = d - d_1.
    assert root_diameter(work, hob) == pytest.approx(60.6058, abs=1e-4)
    # ASME B29.1, from memory: p (0.6 + cot(180/z)) = 12.7 (0.6 + 5.3496).
    assert outside_diameter(work) == pytest.approx(75.56, abs=0.01)
    assert sizes_of(work, hob).wanting == ()


def test_a_chain_hob_s_tips_reach_from_where_it_rolls_to_the_root() -> None:
    work, hob = chain_wheel(17, roller_diameter=Fraction("8.51")), HobData(CHAIN, diameter=Fraction(70))
    # Rolls on z p / pi = 68.723; half the way from there to the root 60.6058.
    assert hob_addendum(work, hob) == pytest.approx((68.7230 - 60.6058) / 2, abs=1e-3)
    assert hob_tip_diameter(work, hob) == pytest.approx(70 + 68.7230 - 60.6058, abs=1e-3)


def test_without_its_rollers_a_sprocket_s_depth_is_not_known() -> None:
    sizes = sizes_of(chain_wheel(17), HobData(CHAIN, diameter=Fraction(70)))
    assert sizes.wanting == ("roller_diameter", "outside_diameter")


@pytest.mark.parametrize(
    # ISO 4156-1, from memory: 24 teeth of module 2.5; d_a = m (z + 1), m (z + 0.9), m (z + 0.8).
    ("angle", "outside"),
    [(Fraction(30), 62.5), (Fraction("37.5"), 62.25), (Fraction(45), 62.0)],
)
def test_a_spline_is_turned_to_the_stub_teeth_of_its_standard(angle: Fraction, outside: float) -> None:
    work = Work("spline", 24, Fraction("2.5"), angle)
    assert outside_diameter(work) == pytest.approx(outside)


def test_a_spline_s_depth_is_that_of_its_hob() -> None:
    work = Work("spline", 24, Fraction("2.5"), Fraction(30))
    flat = HobData(Fraction("2.5"), pressure_angle_deg=Fraction(30), addendum=Fraction("0.75"))
    # ISO 4156-1, from memory: addendum 0.5, dedendum 0.75 with a flat root and 0.9 with a fillet.
    assert sizes_of(work, flat).depth == pytest.approx(2.5 * 1.25)
    fillet = HobData(Fraction("2.5"), pressure_angle_deg=Fraction(30), addendum=Fraction("0.9"))
    assert sizes_of(work, fillet).depth == pytest.approx(2.5 * 1.4)
    # Which of the two it is can't be told from the angle.
    assert sizes_of(work, HobData(Fraction("2.5"), pressure_angle_deg=Fraction(30))).wanting == ("addendum",)
    steep = Work("spline", 24, Fraction("2.5"), Fraction(45))
    assert sizes_of(steep, HobData(Fraction("2.5"), pressure_angle_deg=Fraction(45))).depth == pytest.approx(
        2.5
    )


def test_a_spline_of_no_known_rack_needs_its_outside_diameter() -> None:
    work = Work("spline", 24, Fraction("2.5"), Fraction(20))
    hob = HobData(Fraction("2.5"), addendum=Fraction(1))
    assert sizes_of(work, hob).wanting == ("outside_diameter",)
    given_ = Work("spline", 24, Fraction("2.5"), Fraction(20), outside_diameter=Fraction(64))
    assert sizes_of(given_, hob).depth == pytest.approx(32 - 30 + 2.5)


@pytest.mark.parametrize(
    # ISO 53: whole depth 2.25 modules, 2.4 with rack D (from memory).
    ("rack", "depth"),
    [("A", 6.75), ("B", 6.75), ("C", 6.75), ("D", 7.2)],
)
def test_a_gear_s_depth_is_that_of_the_hob_s_rack(rack: str, depth: float) -> None:
    work = Work("spur", 30, Fraction(3))
    assert sizes_of(work, HobData(Fraction(3), rack=rack)).depth == pytest.approx(depth)


def test_a_worm_wheel_s_throat_is_two_axial_modules_over_its_reference_circle() -> None:
    # Stock-gear handbooks, from memory: d_t = m_x (z + 2); 37 teeth on a worm of axial module 4, two starts on 40 mm.
    gamma = math.degrees(math.atan(2 * 4 / 40))
    work = Work(
        "worm wheel",
        37,
        Fraction(4 * math.cos(math.radians(gamma))),
        hand=Hand.RIGHT,
        helix_angle_deg=Fraction(gamma),
    )
    assert outside_diameter(work) == pytest.approx(156.0)


@given(
    teeth=st.integers(12, 90),
    module=st.fractions(Fraction(1, 2), Fraction(12)),
    over=st.fractions(Fraction(-1, 2), Fraction(3)),
    shift=st.fractions(Fraction(-1, 4), Fraction(1, 2)),
)
def test_every_millimetre_on_the_blank_s_radius_is_one_more_to_go_in(
    teeth: int, module: Fraction, over: Fraction, shift: Fraction
) -> None:
    hob = HobData(module)
    usual = Work("spur", teeth, module, profile_shift=shift)
    other = Work(
        "spur",
        teeth,
        module,
        profile_shift=shift,
        outside_diameter=Fraction(outside_diameter(usual)) + 2 * over,
    )
    assert root_diameter(other, hob) == root_diameter(usual, hob)
    assert sizes_of(other, hob).depth == pytest.approx(sizes_of(usual, hob).depth + float(over))


@given(
    teeth=st.integers(14, 90),
    beta=st.sampled_from([0, 12, 25]),
    thinning=st.fractions(Fraction(0), Fraction(1, 2), max_denominator=1000),
)
def test_teeth_are_as_much_thinner_as_the_allowance_says(teeth: int, beta: int, thinning: Fraction) -> None:
    lean = (Hand.LEFT, Fraction(beta)) if beta else (None, None)
    work = Work("helical" if beta else "spur", teeth, Fraction(3), Fraction(20), *lean, thinning=thinning)
    nominal, cut = gear_of(work), gear_to_cut(work)
    across = gears.thickness_at(nominal, nominal.reference_diameter) - gears.thickness_at(cut, cut.reference_diameter)
    assert across * math.cos(math.radians(beta)) == pytest.approx(float(thinning), abs=1e-9)
    # Base tangent length less E cos alpha_n (ISO 21771, from memory), depth more by E / (2 tan alpha_n).
    less = measures.span(nominal, 3) - measures.span(cut, 3)
    assert less == pytest.approx(float(thinning) * math.cos(math.radians(20)), abs=1e-9)
    deeper = sizes_of(work, HobData(Fraction(3))).depth - 6.75
    assert deeper == pytest.approx(float(thinning) / (2 * math.tan(math.radians(20))), abs=1e-9)
    assert outside_diameter(work) == pytest.approx(nominal.tip_diameter)


def test_a_worm_wheel_s_hob_comes_to_the_worm_s_centre_distance() -> None:
    # (d + d_0) / 2 = (148 + 40) / 2, whatever its tips measure; whole depth 2.25 axial modules (wormwheel tables, from memory).
    gamma = math.degrees(math.atan(2 * 4 / 40))
    normal = Fraction(4 * math.cos(math.radians(gamma)))
    work = Work("worm wheel", 37, normal, hand=Hand.RIGHT, helix_angle_deg=Fraction(gamma))
    for outside in (None, Fraction(50)):
        hob = HobData(normal, 2, diameter=Fraction(40), outside_diameter=outside)
        assert centres_at_depth(work, hob) == pytest.approx(94.0)
        assert sizes_of(work, hob).depth == pytest.approx(9.0)


@pytest.mark.parametrize(
    # By hand: tips of the hob stand (1.25 - x) m below the circle that rolls; that over tan alpha_t, times tan eta.
    ("teeth", "module", "beta", "shift", "least"),
    [(60, 4, 20, "-0.8", 6.53), (48, "2.5", 25, "-0.5", 4.67), (48, "2.5", 25, "-0.3", 4.14)],
)
def test_the_overrun_goes_by_how_deep_the_tips_stand_below_what_rolls(teeth, module, beta, shift, least) -> None:
    work = Work("helical", teeth, Fraction(module), hand=Hand.RIGHT, helix_angle_deg=Fraction(beta), profile_shift=Fraction(shift))
    hob = HobData(Fraction(module), diameter=Fraction(80))
    below = (rolling_diameter_of(work) - root_diameter(work, hob)) / 2
    swivel = beta - hob.gamma_deg
    assert cycle.overrun(below, gear_of(work).transverse_pressure_angle_deg, swivel) == pytest.approx(least, abs=0.01)


def test_over_long_tips_the_overrun_is_the_tips() -> None:
    work = Work("helical", 100, Fraction(4), hand=Hand.RIGHT, helix_angle_deg=Fraction(20), profile_shift=Fraction(3, 5))
    gear = gear_of(work)
    roots = cycle.overrun((gear.reference_diameter - gear.root_diameter) / 2, gear.transverse_pressure_angle_deg, 17.0)
    tips = cycle.overrun_over_tips(gear, gear.tip_diameter, 17.0)
    # By hand: r = 212.836, r_b = 198.466, r_a = 219.236: (93.15 - 76.85) cos 21.17 tan 17 = 4.65, against 2.05 of the roots.
    assert tips == pytest.approx(4.65, abs=0.03)
    assert roots < tips


def test_a_hob_for_so_short_a_chain_that_it_would_roll_below_the_roots_still_stands_out_over_its_own_line():
    # Order 09's hob at a wheel for a chain of twice the pitch: this ended in a traceback.
    work = Work("sprocket", 38, 2 * CHAIN, roller_diameter=Fraction("8.51"))
    hob = HobData(CHAIN, 1, Hand.RIGHT, diameter=Fraction(70))
    assert hob_addendum(work, hob) > 0
    assert hob_tip_diameter(work, hob) > 70
    assert centres_at_depth(work, hob) > root_diameter(work, hob) / 2


@pytest.mark.parametrize("times", [Fraction(1, 2), Fraction(5, 8), 2])
def test_a_chain_hob_of_another_pitch_is_as_high_in_its_own_pitches(times) -> None:
    # Not the 81 mm that it would take to reach from the circle on which it rolls down to these roots.
    work = Work("sprocket", 38, CHAIN, roller_diameter=Fraction("8.51"))
    hob = HobData(CHAIN, 1, Hand.RIGHT, diameter=Fraction(70))
    other = HobData(CHAIN * times, 1, Hand.RIGHT, diameter=Fraction(70))
    assert hob_addendum(work, other) == pytest.approx(float(times) * hob_addendum(work, hob))


