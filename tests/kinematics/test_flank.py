"""The cut flank against what geometry, published formulas and a closed form say about it."""

from __future__ import annotations

import math
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from handlead.kinematics.cutting.field import axial_pass
from handlead.kinematics.flank_cutting.flank_passages import (
    FlankCut,
    NoInvolute,
    active_rolls,
    lattice_at,
    roll_range,
)
from handlead.kinematics.flank_cutting.flanks import cut_flank, deviations, passing
from handlead.kinematics.frame.blank import FlankMap
from handlead.kinematics.frame.motion import Ripple
from handlead.kinematics.frame.words import Hand
from handlead.kinematics.gauging.flanks import gauge_flank, gauge_pitch, helix_slope_um, worst
from handlead.kinematics.gears.flank import NominalFlank
from handlead.kinematics.gears.gear import Gear, thickness_at
from hypothesis import given, settings
from hypothesis import strategies as st
from random_flanks import by_every_passage, cut_of, random_points, random_set_up

SIGNS = st.sampled_from((-1, 1))


def drawn(teeth=29, module_n=3, helix_deg=25, hand=1, face=40, **_):
    return Gear(teeth, module_n, helix_deg, Hand(hand) if helix_deg else None, face_width=face)


def cut(setting, side=1, **what):
    machine = setting(**what)
    gear = drawn(**what)
    motion = axial_pass(machine)
    return machine, gear, motion, FlankCut.of(motion, machine, gear, side=side)


def mapped(setting, side=1, **what):
    machine, gear, motion, _ = cut(setting, side, **what)
    return gear, cut_flank(FlankCut.of(motion, machine, gear, side=side))


@given(
    hand=SIGNS,
    hob_hand=SIGNS,
    up=SIGNS,
    side=SIGNS,
    starts=st.integers(1, 3),
    helix=st.sampled_from((0, 12, 33)),
)
@settings(deadline=None, max_examples=20)
def test_an_involute_hob_on_a_right_set_up_touches_the_involute_and_never_cuts_into_it(
    setting, hand, hob_hand, up, side, starts, helix
):
    *_, made = cut(
        setting, side, hand=hand, hob_hand=hob_hand, up=up, starts=starts, helix_deg=helix, hob_diameter=95
    )
    first, last = roll_range(made.hob, made.flank.gear)
    spots = np.random.default_rng(5)
    # Each passage, at its own contact: the point of the flank where it comes nearest, found by a search.
    lattice = lattice_at(made, 0.5 * (first + last))
    a, b = spots.uniform(-0.5, 0.5, (2, 4000))
    roll = 0.5 * (first + last) + lattice.basis[0, 0] * a + lattice.basis[0, 1] * b
    height = 20 + lattice.basis[1, 0] * a + lattice.basis[1, 1] * b
    found = deviations(made, roll, height)
    assert found.min() > -1e-8
    assert found.min() < 2e-4


def test_the_window_of_passages_leaves_none_out_that_cuts_deeper(setting):
    for what in (
        {},
        {"helix_deg": 0},
        {"helix_deg": 45, "teeth": 17, "feed": Fraction(1)},
        {"feed": Fraction(4)},
    ):
        *_, made = cut(setting, **what)
        all_near = np.stack(np.meshgrid(np.arange(-12, 13), np.arange(-5, 6), indexing="ij"), -1).reshape(
            -1, 2
        )
        spots = np.random.default_rng(7)
        roll = spots.uniform(*roll_range(made.hob, made.flank.gear), 1500)
        height = spots.uniform(0, 40, 1500)
        narrow = deviations(made, roll, height)
        wide = deviations(replace(made, window=all_near, low_window=all_near), roll, height)
        np.testing.assert_allclose(narrow, wide, atol=1e-9)


@pytest.mark.parametrize("seed", range(10))
def test_no_passage_outside_the_window_cuts_whether_head_and_lead_are_right_or_off(seed):
    spots = np.random.default_rng(seed)
    while True:
        try:
            cut = cut_of(random_set_up(spots), side=1 - 2 * (seed % 2))
            place = random_points(cut, spots, 12)
        except NoInvolute:  # a lead so far off that nothing of the drawing's flank is made
            continue
        break
    ours, every = deviations(cut, *place), by_every_passage(cut, *place)
    assert np.isfinite(every).any()
    np.testing.assert_allclose(ours, every, atol=1e-5)


#: Where windows are narrow: three starts and a fine feed, a coarse feed, few teeth near the base circle, undercut.
NARROW = [
    {"teeth": 35, "module_n": 5, "helix_deg": 40.2, "starts": 3, "feed": Fraction(29, 100), "gashes": 9,
     "hob_diameter": 105.15, "swivel_error_deg": 2.384},
    {"teeth": 94, "helix_deg": 0, "feed": Fraction(397, 100), "gashes": 15, "face": 6.334, "hob_diameter": 84.389,
     "swivel_error_deg": -3.2376},
    {"teeth": 13, "module_n": 1.5, "helix_deg": 11.88, "feed": Fraction(323, 100), "gashes": 8, "face": 16.7,
     "hob_diameter": 47.742, "swivel_error_deg": 1.48, "differential": Fraction(257, 250)},
    {"teeth": 12, "module_n": 2, "helix_deg": 0, "feed": Fraction(7, 4), "gashes": 13, "hob_diameter": 58.466,
     "swivel_error_deg": 1.339},
]  # fmt: skip


@pytest.mark.parametrize("what", NARROW)
@pytest.mark.parametrize("ripples", [(), (Ripple("table", "table", Fraction(53, 2), 2e-5, 0.3),)])
def test_no_passage_outside_the_window_cuts_near_the_root_nor_where_the_machine_is_uneven(
    setting, what, ripples
):
    machine, gear, motion, _ = cut(setting, -1, **what)
    made = FlankCut.of(replace(motion, ripples=ripples), machine, gear, side=-1)
    roll, height, space = random_points(made, np.random.default_rng(3), 36)
    low, high = active_rolls(made)
    roll[:24] = np.linspace(low, low + 0.02 * (high - low), 24)
    every = by_every_passage(made, roll, height, space)
    np.testing.assert_allclose(deviations(made, roll, height, space), every, atol=1e-5)


@pytest.mark.parametrize("helix_deg", [0, 25])
@pytest.mark.parametrize("side", [-1, 1])
@pytest.mark.parametrize("off", [-3, -1, 1, 3])
def test_a_head_that_is_off_cuts_both_flanks_deeper_and_leaves_their_form(setting, side, off, helix_deg):
    # d²·R·cos α·cot α/2 for a small error d, R the hob's reference radius: own derivation, to the lowest order.
    _, right = mapped(setting, side, helix_deg=helix_deg)
    _, wrong = mapped(setting, side, helix_deg=helix_deg, swivel_error_deg=off)
    deeper = 1000 * float(right.deviation.mean() - wrong.deviation.mean())
    alpha = math.radians(20)
    expected = 1000 * math.radians(off) ** 2 * 72.5 / 2 * math.cos(alpha) / math.tan(alpha) / 2
    assert deeper == pytest.approx(expected, rel=0.08)
    true, found = gauge_flank(right), gauge_flank(wrong)
    assert found.ripple_um == pytest.approx(true.ripple_um, abs=1)
    assert found.helix.slope_um == pytest.approx(true.helix.slope_um, abs=1.5)
    assert found.profile.slope_um == pytest.approx(true.profile.slope_um, abs=1.5)


def test_a_hob_fed_across_as_well_makes_the_same_flank_and_the_same_window_finds_it(setting):
    # A hob that shifts by t to the right turns the table by t·cos β/(π·m_n·z) more (law of generation).
    for error, level in ((0, 0.0), (2, -55.0)):
        machine = setting(swivel_error_deg=error)
        across = Fraction(1, 500)
        more = Fraction(math.cos(math.radians(25)) / (math.pi * 3 * 29)).limit_denominator(10**9)
        rates = replace(machine.rates, tangential=across, table=machine.rates.table + across * more)
        motion = axial_pass(replace(machine, rates=rates))
        made = FlankCut.of(motion, machine, drawn())
        place = random_points(made, np.random.default_rng(1), 16)
        found = deviations(made, *place)
        np.testing.assert_allclose(found, by_every_passage(made, *place), atol=1e-5)
        assert 1000 * found.mean() == pytest.approx(level, abs=4)


@pytest.mark.parametrize(("off", "deeper_um"), [(1, 14), (2, 55), (3, 124)])
def test_flanks_are_cut_deeper_by_what_an_independent_program_found(setting, off, deeper_um):
    # Both flanks, for a head 1°, 2° and 3° off and a hob of about 72.5 mm: every passage tried, by another program.
    *_, made = cut(setting, swivel_error_deg=off)
    levels, _, _ = made.made.along_normal(made.flank, np.array([0.4]), np.array([20.0]), 0.0)
    assert -1000 * levels[0] == pytest.approx(deeper_um, abs=1)


def test_a_window_where_it_would_be_with_the_true_swivel_would_miss_the_flank(setting):
    # The line of action lies d·R·cot α along the tooth when the head is off by d: 1.7 mm for 1° and a hob of 75 mm.
    *_, right = cut(setting, hob_diameter=75, helix_deg=0)
    *_, wrong = cut(setting, hob_diameter=75, helix_deg=0, swivel_error_deg=1)
    along = wrong.made.rise - right.made.rise
    assert abs(along) == pytest.approx(math.radians(1) * 37.5 / math.tan(math.radians(20)), rel=0.03)


def test_the_flank_that_is_made_is_the_drawings_where_all_is_right(setting):
    for what in ({}, {"helix_deg": 0}, {"starts": 3, "teeth": 31, "hob_diameter": 95}):
        *_, made = cut(setting, **what)
        first, last = roll_range(made.hob, made.flank.gear)
        off, roll, _ = made.made.along_normal(made.flank, np.array([first, last]), np.array([3.0, 37.0]), 2.0)
        np.testing.assert_allclose(off, 0, atol=1e-6)
        np.testing.assert_allclose(roll, [first, last], atol=1e-6)
        assert made.made.first_roll == pytest.approx(first, abs=1e-3)


def test_a_head_so_far_off_that_no_involute_is_made_is_said(setting):
    machine, gear, motion, _ = cut(setting, helix_deg=0)
    with pytest.raises(NoInvolute, match="no involute"):
        FlankCut.of(motion, replace(machine, swivel_deg=machine.swivel_deg + 25), gear)


def test_the_flank_of_a_passage_is_the_surface_that_its_edge_sweeps(setting):
    # The edge put through the machine's motion step by step, from the frame alone, without any inversion.
    machine, gear, motion, made = cut(setting, side=-1, hand=-1, starts=2, hob_diameter=90)
    phase = motion.phases[0]
    rate = phase.per_hob_turn
    swivel = math.radians(machine.swivel_deg)
    roll, height = np.array([0.42]), np.array([20.0])
    passage = made.swept.count // 2
    nominal = NominalFlank(gear, -1, made.flank.middle)
    # Choose the height at which this passage touches this roll.
    spread = np.linspace(-60, 60, 4001)
    off = passing(made, np.full(4001, 0.42), 20 + spread, np.zeros(4001), np.full(4001, passage))
    height = 20 + spread[[np.nanargmin(np.abs(off))]]
    stands = float(passing(made, roll, height, np.zeros(1), np.array([passage]))[0])
    base, out = nominal.base_radius, nominal.base_cosine
    angle = nominal.tangent_angle(roll, height)[0]
    tangent = np.array([-math.sin(angle), math.cos(angle), 0])
    point = base * np.array([math.cos(angle), math.sin(angle), 0]) + base * 0.42 * tangent + [0, 0, height[0]]
    normal = out * (tangent + np.array([0, 0, -nominal.twist * base]))
    # A cloud of the swept surface around the place, and the distance along the normal at which it is pierced.
    number = made.swept.first + passage
    turn0 = Fraction(number, machine.hob.gashes)
    radius = np.linspace(machine.hob.root_radius, machine.hob.form_radius, 900)
    halves = machine.hob.half_thickness(radius)
    best = None
    for swing in np.linspace(-0.5, 0.5, 2001):
        turns = float(turn0 - phase.start.hob) + swing / (2 * math.pi)
        table = float(phase.start.table) + float(rate.table) * turns
        slide = float(phase.start.axial) + float(rate.axial) * turns
        thread = -machine.hob.lead * float(number % 10) / 10 * machine.hob.hand.value
        for pitches in range(-8, 9):
            place = thread + pitches * machine.hob.axial_pitch - halves
            x = machine.centre_distance - radius * math.cos(swing)
            y = place * math.cos(swivel) - radius * math.sin(swing) * math.sin(swivel)
            z = slide + place * math.sin(swivel) + radius * math.sin(swing) * math.cos(swivel)
            turned = -2 * math.pi * table
            world = (
                np.stack(
                    [
                        x * math.cos(turned) - y * math.sin(turned),
                        x * math.sin(turned) + y * math.cos(turned),
                        z,
                    ]
                ).T
                - point
            )
            along = world @ normal
            aside = np.linalg.norm(world - along[:, None] * normal, axis=1) + 100 * (np.abs(along) > 0.5)
            nearest = int(aside.argmin())
            if best is None or aside[nearest] < best[0]:
                best = (float(aside[nearest]), float(along[nearest]))
    assert best[0] < 0.02
    assert stands == pytest.approx(best[1], abs=2e-3)


@pytest.mark.parametrize(
    "what",
    [
        {},
        {"feed": Fraction(3), "hob_diameter": 82.5},
        {"gashes": 12, "teeth": 30, "module_n": 2, "feed": Fraction(1, 2), "hob_diameter": 60},
        {"starts": 2, "teeth": 21, "feed": Fraction(1, 2)},
    ],
)
def test_feed_marks_and_facets_of_spur_work_have_the_heights_of_the_published_formulas(setting, what):
    # Feed mark normal to the flank (f/cos β)²·sin α_n/(4·d_a0) and facet π²k²m_n·sin α_n/(4·z·i²):
    # tool makers' hobbing handbooks, from memory. The facet's holds at the pitch point and grows with the roll.
    machine, gear, _, made = cut(setting, helix_deg=0, **what)
    feed, starts = float(what.get("feed", 2)), what.get("starts", 1)
    pitch_roll = math.tan(math.radians(20))
    step = 2 * math.pi * starts / gear.teeth / machine.hob.gashes
    rolls, heights = (
        np.linspace(pitch_roll - 1.2 * step, pitch_roll + 1.2 * step, 401),
        np.linspace(15, 15 + feed, 61),
    )
    roll, height = np.meshgrid(rolls, heights, indexing="ij")
    found = deviations(made, roll.ravel(), height.ravel()).reshape(roll.shape)
    lowest = found.min(axis=1)
    inner = np.arange(1, 400)
    valleys = inner[(lowest[1:-1] <= lowest[:-2]) & (lowest[1:-1] <= lowest[2:])]
    ridges = inner[(lowest[1:-1] >= lowest[:-2]) & (lowest[1:-1] >= lowest[2:])]
    valley = min(valleys, key=lambda i: abs(rolls[i] - pitch_roll))
    ridge = min(ridges, key=lambda i: abs(rolls[i] - pitch_roll))
    mark = np.ptp(found[valley])
    published = feed**2 * math.sin(math.radians(20)) / (4 * machine.hob.outside_diameter)
    assert mark == pytest.approx(published, rel=0.12)
    up = (rolls[valley] - pitch_roll) * gear.base_diameter / 2 * math.sin(math.radians(20))
    own = 2 * (machine.hob.pitch_diameter / 2 - up)
    assert mark == pytest.approx(published * machine.hob.outside_diameter / own, rel=0.02)
    facet = (
        math.pi**2
        * starts**2
        * gear.module_n
        * math.sin(math.radians(20))
        / (4 * gear.teeth * machine.hob.gashes**2)
    )
    assert lowest[ridge] == pytest.approx(facet * rolls[ridge] / pitch_roll, rel=0.03)


@pytest.mark.parametrize(
    "what",
    [
        {"helix_deg": 0},
        {},
        {"hob_hand": -1},
        {"feed": Fraction(1)},
        {"helix_deg": 12, "teeth": 50, "feed": Fraction(3), "gashes": 9},
        {"helix_deg": 45, "teeth": 17, "feed": Fraction(1)},
        {"starts": 2, "teeth": 31, "hob_diameter": 90},
        {"helix_deg": 10, "hand": -1},
    ],
)
def test_the_two_way_pattern_has_the_height_of_the_lattice_in_closed_form(setting, what):
    *_, made = cut(setting, **what)
    pitch_roll = math.tan(made.flank.pressure_angle)
    lattice = lattice_at(made, pitch_roll)
    fraction = np.linspace(-0.5, 0.5, 101)
    a, b = np.meshgrid(fraction, fraction, indexing="ij")
    first, second = lattice.basis[:, 0], lattice.basis[:, 1]
    # The same lattice with its shortest step along the tooth, so that a cell stays near the pitch point.
    second = min(
        (second + n * first for n in range(-3, 4)), key=lambda step: abs(step[0]) * 30 + abs(step[1])
    )
    roll = pitch_roll + first[0] * a + second[0] * b
    height = 20 + first[1] * a + second[1] * b
    found = deviations(made, roll.ravel(), height.ravel()) * 1000
    assert np.ptp(found) == pytest.approx(lattice.ripple_um(), rel=0.02)


@pytest.mark.parametrize("side", [-1, 1])
@pytest.mark.parametrize("error", [Fraction(1, 10**4), Fraction(-1, 10**4)])
def test_a_differential_ratio_off_by_a_ten_thousandth_is_the_helix_slope_that_geometry_gives(
    setting, side, error
):
    gear, right = mapped(setting, side)
    _, wrong = mapped(setting, side, differential=1 + error)
    slope = helix_slope_um([gauge_flank(wrong)]) - helix_slope_um([gauge_flank(right)])
    # The tooth turns by b·(1/L' − 1/L) of a turn too much over the face; at the base circle, along the tangent.
    expected = -side * 1000 * math.pi * gear.base_diameter * gear.face_width / gear.lead * float(error)
    assert slope == pytest.approx(expected, abs=0.02)


def test_the_nominal_flank_bounds_the_tooth_that_the_drawing_gives():
    gear = Gear(29, 3, 25, Hand.RIGHT, profile_shift=0.2, face_width=40)
    middles = {}
    for side in (1, -1):
        flank = NominalFlank(gear, side)
        roll = math.sqrt(((gear.reference_diameter + 1) / gear.base_diameter) ** 2 - 1)
        angle = flank.tangent_angle(np.array(roll), np.array(0.0)) - side * math.atan(roll)
        middles[side] = float(angle)
    space = middles[1] - middles[-1]
    tooth = 2 * math.pi / 29 - space
    diameter = gear.reference_diameter + 1
    assert tooth * diameter / 2 == pytest.approx(thickness_at(gear, diameter), rel=1e-9)


def test_a_flank_trace_is_measured_as_the_standard_defines_it():
    # ISO 1328-1 definitions (from memory): slope over the width from the mean line, form about it.
    roll, height = np.linspace(5, 20, 40), np.linspace(0, 30, 121)
    wave = 1.5 * np.cos(2 * math.pi * height / 2.7)
    deviation = (0.4 * (height - 15) + wave)[None, :] + 0.2 * (roll - 12.5)[:, None]
    found = gauge_flank(FlankMap(deviation / 1000, roll, height))
    assert found.helix.slope_um == pytest.approx(12, abs=0.2)
    assert found.helix.form_um == pytest.approx(3, abs=0.1)
    assert found.profile.slope_um == pytest.approx(3, abs=1e-6)
    assert found.profile.form_um == pytest.approx(0, abs=1e-6)
    assert found.feed_mark_um == pytest.approx(3, abs=0.1)


def test_the_class_is_the_finest_whose_tolerances_take_everything_in():
    # f_Hβ of class 6 for z 40, m_n 3, β 20, b 30 is 9 µm, of class 5 it is 6.5 (ISO 1328-1:2013 formulas, from memory).
    gear = Gear(40, 3, 20, Hand.RIGHT, face_width=30)
    roll, height = np.linspace(5, 20, 40), np.linspace(0, 30, 121)
    for slope, quality in ((6.4, 5), (8.9, 6), (9.1, 7)):
        flank = FlankMap(np.broadcast_to(slope / 30000 * height, (40, 121)).copy(), roll, height)
        assert worst([gauge_flank(flank)], []).quality(gear) == quality


def test_pitch_deviations_come_from_the_places_of_the_flanks():
    index = [0, 3, 5, 1, -2, -1]
    found = gauge_pitch(index)
    assert found.single_um == 4
    assert found.cumulative_um == 7


def test_a_map_without_finished_flank_is_refused():
    with pytest.raises(ValueError, match="fewer than 4"):
        gauge_flank(FlankMap(np.full((10, 10), np.nan), np.arange(10.0), np.arange(10.0)))
