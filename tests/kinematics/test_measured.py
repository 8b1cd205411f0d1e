"""The whole witness at once: a set-up goes in, what an inspector would write down comes out."""

from __future__ import annotations

from fractions import Fraction

import pytest
from handlead.kinematics.gear import Gear
from handlead.kinematics.measured import measure_cut
from handlead.kinematics.tolerance import flank_tolerances
from handlead.kinematics.words import Hand


def measured(setting, depth="scratch", **what):
    machine = setting(**what)
    gear = Gear(
        what.get("teeth", 29),
        what.get("module_n", 3),
        25,
        Hand(what.get("hand", 1)),
        face_width=what.get("face", 40),
    )
    found = measure_cut(machine.rates, machine.hob, machine.blank, machine.swivel_deg, gear=gear, depth=depth)
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
        measure_cut(machine.rates, machine.hob, machine.blank, machine.swivel_deg, depth="full")
