"""What an inspector would write down of simulated flanks: thickness, runout, and a class from four teeth."""

from __future__ import annotations

import math
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from handlead.kinematics.frame.motion import Ripple
from handlead.kinematics.frame.words import Hand
from handlead.kinematics.gauging.flanks import Deviations, Traces, gauge_pitch, runout_um, trace, worst
from handlead.kinematics.gears.gear import Gear
from handlead.kinematics.gears.tolerance import flank_tolerances
from handlead.kinematics.witness.flank_quality import measure_flanks
from handlead.kinematics.witness.measured import full_pass


def measured(setting, ripples=(), **what):
    machine = setting(face=20, **what)
    helix = what.get("helix_deg", 25)
    gear = Gear(what.get("teeth", 29), 3, helix, Hand.RIGHT if helix else None, face_width=20)
    motion = full_pass(machine.to_depth(gear), tuple(ripples))
    return gear, measure_flanks(motion, machine.to_depth(gear), gear)


@pytest.mark.parametrize("helix_deg", [0, 25])
def test_a_head_that_is_off_leaves_a_thin_tooth_of_good_class(setting, helix_deg):
    _, right = measured(setting, helix_deg=helix_deg)
    _, wrong = measured(setting, helix_deg=helix_deg, swivel_error_deg=2)
    # Each flank d²·R·cos α·cot α/2 deeper (own derivation, lowest order): a span loses that twice.
    alpha = math.radians(20)
    span = -2 * 1000 * math.radians(2) ** 2 * 72.5 / 2 * math.cos(alpha) / math.tan(alpha) / 2
    assert wrong.span_um - right.span_um == pytest.approx(span, rel=0.06)
    assert wrong.thickness_um == pytest.approx(wrong.span_um / math.cos(alpha))
    assert 0 < right.thickness_um < 2 * right.ripple_um
    # On other teeth of the same form marks fall a little otherwise.
    assert abs(wrong.quality - right.quality) <= 1


def test_a_hob_that_goes_to_and_fro_once_a_table_turn_is_runout_and_a_table_that_does_is_none(setting):
    # Radial e·sin: the flanks stand e·tan α_t to and fro on the reference circle, each side its own way; a ball between
    # them goes up and down by somewhat less than 2e, since it touches them half a space aside. A table that is early or late moves both flanks of a space alike.
    gear, right = measured(setting)
    _, eccentric = measured(setting, [Ripple("radial", "table", Fraction(1), 0.02)])
    _, uneven = measured(setting, [Ripple("table", "table", Fraction(1), 2e-5)])
    pressure = math.radians(gear.transverse_pressure_angle_deg)
    assert eccentric.runout_um == pytest.approx(40 * math.sin(pressure) / math.sin(pressure + math.pi / 58), abs=1)
    tangent = math.tan(pressure)
    assert eccentric.cumulative_pitch_um == pytest.approx(40 * tangent, abs=1.5)
    assert eccentric.quality > right.quality
    arc = 1000 * 2 * math.pi * 2e-5 * gear.reference_diameter / 2
    assert uneven.cumulative_pitch_um == pytest.approx(2 * arc, rel=0.03)
    # The two flanks of a space meet the hob half a pitch of table turn apart, and no more than that.
    assert uneven.runout_um < 2 * arc * (math.pi / 29) / tangent + 0.5


def test_profile_and_helix_are_traced_on_four_teeth_round_the_gear(setting):
    # An error of the slide whose wave is 4 table turns long but for a little is not alike on the four.
    ripple = Ripple("axial", "axial", Fraction(1, 9), 0.03)
    _, found = measured(setting, [ripple])
    _, right = measured(setting)
    assert found.traced_teeth == 4
    assert found.deviations.helix_form > right.deviations.helix_form + 5
    _, few = measured(setting, teeth=13, helix_deg=0)
    assert few.traced_teeth == 4


def test_a_head_so_far_off_that_no_involute_is_made_has_no_flanks_to_measure(setting):
    _, none = measured(setting, helix_deg=0, swivel_error_deg=25)
    assert none is None


def test_the_worst_tooth_and_the_worst_flank_decide_the_class():
    gear = Gear(40, 3, 20, Hand.RIGHT, face_width=30)
    place = np.linspace(0, 30, 61)
    good, bad = (
        Traces(trace(place, 0 * place, 30), trace(place, slope / 30 * place, 30)) for slope in (0.0, 9.1)
    )
    # f_Hβ of class 6 is 9 µm, of class 7 13 µm (ISO 1328-1:2013 formulas, from memory).
    assert worst([good, good, good], []).quality(gear) == 1
    assert worst([good, good, bad], []).quality(gear) == 7


@pytest.mark.parametrize(
    "name", ["single_pitch", "cumulative_pitch", "profile_form", "helix_total", "runout"]
)
def test_each_deviation_alone_can_cost_the_class_and_is_named(name):
    gear = Gear(40, 3, 20, Hand.RIGHT, face_width=30)
    limits = flank_tolerances(gear, 6)
    none = Deviations(*[0.0] * 9)
    found = replace(none, **{name: getattr(limits, name).um + 0.01})
    assert none.quality(gear) == 1
    assert found.quality(gear) == 7
    assert list(found.beyond(limits)) == [name]


def test_a_ball_laid_into_each_space_tells_runout():
    turn = 2 * math.pi * np.arange(24) / 24
    aside = 0.01 * np.sin(turn)
    # Spaces wider and narrower by turns: the ball goes by half of that over tan α.
    assert runout_um(aside / 2, -aside / 2, 20) == pytest.approx(10 / math.tan(math.radians(20)))
    assert runout_um(aside, aside, 20) == 0
    assert gauge_pitch(1000 * aside).cumulative_um == pytest.approx(20)
