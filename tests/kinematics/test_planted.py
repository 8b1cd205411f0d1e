"""Work off its axis, hobs that lean, gashes and threads that are uneven: what they leave, against closed formulas."""

from __future__ import annotations

import math
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from handlead.kinematics.cutting.field import axial_pass, cut_field
from handlead.kinematics.cutting.setting import Grid
from handlead.kinematics.flank_cutting.flank_passages import FlankCut, active_rolls
from handlead.kinematics.flank_cutting.flanks import cut_flank, deviations
from handlead.kinematics.frame.guide import Guide
from handlead.kinematics.frame.motion import Ripple, Tilt
from handlead.kinematics.frame.words import Hand
from handlead.kinematics.gauging.flanks import gauge_flank
from handlead.kinematics.gears.gear import Gear

TURN = 2 * math.pi
E, LEAN, TOWARDS = 0.02, 0.0005, 0.3

GEARS = [(0, 1), (25, 1), (25, -1)]


def cut(setting, side, ripples=(), helix=0, hand=1, gashes=10, **hob):
    machine = setting(helix_deg=helix, hand=hand if helix else 1, gashes=gashes)
    machine = replace(machine, hob=replace(machine.hob, **hob))
    gear = Gear(29, 3, helix, Hand(hand) if helix else None, face_width=40)
    return FlankCut.of(replace(axial_pass(machine), ripples=tuple(ripples)), machine, gear, side=side)


def off_by(setting, side, helix, hand, *ripples):
    """What these leave on teeth all round, in mm out of the material, and where: tangent angle, roll, height."""
    true, off = (cut(setting, side, led, helix, hand) for led in ((), ripples))
    rolls, heights, spaces = (
        x.ravel()
        for x in np.meshgrid(np.linspace(*active_rolls(true), 9), np.linspace(0, 40, 9), [0.0, 4.0, 11.0, 19.0])
    )
    found = deviations(off, rolls, heights, spaces) - deviations(true, rolls, heights, spaces)
    return true.flank, found, rolls, heights, true.flank.tangent_angle(rolls, heights, spaces)


@pytest.mark.parametrize("side", [1, -1])
@pytest.mark.parametrize(("helix", "hand"), GEARS)
def test_a_blank_off_its_centre_leaves_a_true_gear_about_another_centre(setting, helix, hand, side):
    # A gear that is true about the table's axis, seen from its bore: each point is off along its normal, which touches
    # the base circle at the tangent angle A, by e·sin of what that lacks to where the bore stands off. Own derivation.
    ecc = Ripple("radial", "table", Fraction(1), -E, TOWARDS + 0.25), Ripple("tangential", "table", Fraction(1), -E, TOWARDS)
    flank, found, _, _, angle = off_by(setting, side, helix, hand, *ecc)
    formula = side * flank.base_cosine * E * np.sin(TURN * TOWARDS - angle)
    assert np.std(found - formula) < 0.0002
    np.testing.assert_allclose(found, formula, atol=0.0015)


@pytest.mark.parametrize("side", [1, -1])
@pytest.mark.parametrize(("helix", "hand"), GEARS)
def test_a_blank_that_stands_askew_leaves_a_true_gear_about_another_axis(setting, helix, hand, side):
    # The same of an axis that leans by 0.5 mm in a metre about a place 7 mm up the face: each point is off aside by as
    # much as it stands over that, and down by as much as it stands out that way. Own derivation, as of any turned body.
    flank, found, roll, height, angle = off_by(setting, side, helix, hand, Tilt(LEAN, 1, TOWARDS, 7.0))
    base, way = flank.base_radius, TURN * TOWARDS
    x = base * (np.cos(angle) + side * roll * np.sin(angle))
    y = base * (np.sin(angle) - side * roll * np.cos(angle))
    aside = LEAN * (height - 7)
    down = LEAN * (x * math.cos(way) + y * math.sin(way))
    out = side * aside * np.sin(way - angle) + side * flank.twist * base * down
    assert np.std(found - flank.base_cosine * out) < 0.0002
    np.testing.assert_allclose(found, flank.base_cosine * out, atol=0.0015)


def test_a_blank_that_stands_askew_is_askew_in_the_field_as_on_its_flanks(setting):
    # The light witness and the flank witness share no code for it: on a shallow mark the tip leaves the blank's own
    # skin off its centre, deeper by what the blank leans towards the hob.
    machine = setting(helix_deg=0).sunk(0.3)
    heights = np.array([2.0, 20.0, 38.0])
    motion = replace(axial_pass(machine), ripples=(Tilt(LEAN, 1, 0.0, 0.0),))
    true, off = (
        cut_field(m, machine, Grid(heights, columns=29 * 40), compiled=False).radius for m in (axial_pass(machine), motion)
    )
    for height, plain, askew in zip(heights, true, off, strict=True):
        deepest = [(row.reshape(29, 40).min(axis=1)) for row in (plain, askew)]
        deeper = deepest[0] - deepest[1]
        middle = TURN * (np.arange(29) + 0.5) / 29
        terms = np.stack([np.cos(middle), np.sin(middle), np.ones(29)], axis=1)
        size, *_ = np.linalg.lstsq(terms, deeper, rcond=None)
        assert np.hypot(*size[:2]) == pytest.approx(LEAN * height, rel=0.1, abs=0.0005)


def over_roll(setting, side, **hob):
    """What a hob's error leaves over the length of roll of a spur flank, in µm, the mean over the face."""
    true, off = (cut_flank(cut(setting, side, gashes=20, **what), rolls=96, heights=41) for what in ({}, hob))
    return true.roll_length, np.nanmean(off.deviation - true.deviation, axis=1) * 1000


#: A base pitch of module 3 and 20 degrees: a hob of one start turns once while the flank is rolled so far.
PITCH = math.pi * 3 * math.cos(math.radians(20))


def wave(roll_length, um, length):
    """The amplitude of a wave of this length, and what is left beside it and a line."""
    angle = TURN * roll_length / length
    terms = np.stack([np.cos(angle), np.sin(angle), np.ones_like(angle), roll_length], axis=1)
    found, *_ = np.linalg.lstsq(terms, um, rcond=None)
    return np.hypot(*found[:2]), np.std(um - terms @ found), found[3]


@pytest.mark.parametrize("side", [1, -1])
def test_a_hob_that_leans_waves_up_and_down_the_tooth_by_its_lean_at_its_reference_radius(setting, side):
    # Its threads go to and fro along the axis by ψ·r with each turn; normal to the rack's flank that is times
    # cos γ·cos α. With its middle under the cut it runs true there, and the little beside it stays small.
    roll_length, um = over_roll(setting, side, wobble=0.0002)
    size, left, _ = wave(roll_length, um, PITCH)
    gamma = math.asin(3 / 72.5)
    assert size == pytest.approx(0.2 * 72.5 / 2 * math.cos(gamma) * math.cos(math.radians(20)), rel=0.05)
    assert left < 0.1 * size
    for other in (PITCH / 2, PITCH / 3):
        assert wave(roll_length, um, other)[0] < 0.3 * size


def test_a_hob_that_leans_and_cuts_beside_its_middle_runs_out_there_too(setting):
    # 20 mm beside the middle the edges stand out by ψ·20 more where the hob leans to, which on one flank adds to what
    # goes along the axis and on the other takes from it: (r·cos γ·cos α ± 20·sin α)·ψ.
    gamma, alpha = math.asin(3 / 72.5), math.radians(20)
    sizes = [wave(*over_roll(setting, side, wobble=0.0002, shift=20.0), PITCH)[0] for side in (1, -1)]
    along = 72.5 / 2 * math.cos(gamma) * math.cos(alpha)
    assert sizes[0] == pytest.approx(0.2 * (along + 20 * math.sin(alpha)), rel=0.05)
    assert sizes[1] == pytest.approx(0.2 * (along - 20 * math.sin(alpha)), rel=0.05)


@pytest.mark.parametrize("side", [1, -1])
def test_gashes_out_of_their_places_tell_by_the_relief_behind_them(setting, side):
    # A face that is ground u too far back is lower by u·tan of the relief; on the flank that is times sin α. That it
    # comes late alone leaves nothing: the edge stays on its thread.
    late = tuple(0.05 * math.sin(TURN * gash / 20) for gash in range(20))
    roll_length, um = over_roll(setting, side, gash_late=late, relief_deg=10.0)
    size, left, _ = wave(roll_length, um, PITCH)
    assert size == pytest.approx(50 * math.tan(math.radians(10)) * math.sin(math.radians(20)), rel=0.05)
    assert left < 0.15 * size
    _, um = over_roll(setting, side, gash_late=late, relief_deg=0.0)
    assert np.ptp(um) < 0.1


@pytest.mark.parametrize("error", [0.01, -0.01])
@pytest.mark.parametrize("side", [1, -1])
def test_a_thread_that_goes_too_far_leaves_a_tip_that_stands_proud(setting, side, error):
    # Each base pitch of the roll is cut a thread further on, which is off by the error of one turn: the profile's slope
    # is that times cos γ·cos α over a base pitch.
    roll_length, um = over_roll(setting, side, lead_error=error)
    _, _, slope = wave(roll_length, um, PITCH)
    gamma, alpha = math.asin(3 / 72.5), math.radians(20)
    assert slope == pytest.approx(1000 * error * math.cos(gamma) * math.cos(alpha) / PITCH, rel=0.02)


@pytest.mark.parametrize("side", [1, -1])
@pytest.mark.parametrize(("helix", "hand"), GEARS)
@pytest.mark.parametrize("end", ["radial", "tangential"])
def test_a_slide_that_goes_off_tapers_the_teeth_or_leans_them(setting, helix, hand, side, end):
    # Off by δ over the face: along the base tangent of a transverse section δ·sin α_t for the one, both flanks proud
    # where the hob is away; δ·cos α_t for the other, proud on the side that the hob goes away from.
    true, off = (
        gauge_flank(cut_flank(cut(setting, side, led, helix, hand), rolls=16, heights=161)).helix
        for led in ((), (Guide(end, "axial", ((Fraction(0), Fraction(0)), (Fraction(40), Fraction(1, 50)))),))
    )
    alpha = math.atan(math.tan(math.radians(20)) / math.cos(math.radians(helix)))
    formula = 20 * math.sin(alpha) if end == "radial" else -side * 20 * math.cos(alpha)
    assert off.slope_um - true.slope_um == pytest.approx(formula, rel=0.03, abs=0.2)


@pytest.mark.parametrize("side", [1, -1])
def test_a_bowed_slide_leaves_its_bow_along_the_tooth(setting, side):
    # 8 µm in the middle of 40 mm, away: the flank is proud there by 8·sin α, of which the line through it takes a part;
    # from the line to the crest and the ends of what is looked at is the helix form.
    bow = Guide("radial", "axial", ((Fraction(0), Fraction(0)), (Fraction(20), Fraction(8, 1000)), (Fraction(40), Fraction(0))), True)
    true, off = (cut_flank(cut(setting, side, led), rolls=9, heights=161) for led in ((), (bow,)))
    along = ((off.deviation - true.deviation)[4] * 1000)[8:-8]
    z = off.heights[8:-8] - 20
    bend, lean, _ = np.polyfit(z, along, 2)
    assert bend == pytest.approx(-8 / 20**2 * math.sin(math.radians(20)), rel=0.03)
    assert abs(lean * 40) < 0.2
