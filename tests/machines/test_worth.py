"""The class that records come to, and what it would be without a part's wave."""

from __future__ import annotations

import math
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from handlead import machines
from handlead.kinematics.gears.tolerance import flank_tolerances
from handlead.kinematics.inspection.looked import Readings
from handlead.machines.at_fault.parts import suspects_of
from handlead.machines.blanks.flanks import Flanks
from handlead.machines.gear_records.records import Record
from handlead.machines.inspecting.worth import deviations_of
from handlead.machines.studying.waves import CutShape
from measured_gears import MeasuredGear, with_noise

JOB = machines.read_job(Path(__file__).parents[2] / "scenarios" / "02-left-hand-hob" / "job.toml")
GEAR = Flanks.of(machines.Case.of(JOB)).gear
TEETH = GEAR.teeth


def record(kind, tooth, um, height=None, flank="right"):
    tooth, um = np.array(tooth, float), np.array(um, float)
    height = np.zeros(len(tooth)) if height is None else np.array(height, float)
    readings = Readings(tooth, height, um, steps=kind == "pitch single", by_tooth=kind in ("helix", "profile"))
    return Record("r.csv", "", kind, "" if kind == "runout" else flank, "clockwise", readings)


def found(*records):
    return deviations_of(records, [one.readings.um for one in records], GEAR)


def once_round(size, teeth=range(1, TEETH + 1)):
    return [size * math.cos(2 * math.pi * (tooth - 1) / TEETH) for tooth in teeth]


def test_cumulative_pitch_is_from_the_lowest_to_the_highest_and_single_pitch_the_largest_step():
    every = range(1, TEETH + 1)
    deviations = found(record("pitch cumulative", every, once_round(10)))
    assert deviations.cumulative_pitch == pytest.approx(20, abs=0.1)
    assert deviations.single_pitch == pytest.approx(2 * 10 * math.sin(math.pi / TEETH), rel=0.01)


def test_single_pitches_of_all_teeth_add_up_to_the_cumulative_pitch():
    every, places = range(1, TEETH + 1), np.array(once_round(10))
    deviations = found(record("pitch single", every, places - np.roll(places, 1) + 3.0))
    assert deviations.cumulative_pitch == pytest.approx(20, abs=0.1)


def test_of_every_third_tooth_no_single_pitch_is_known():
    every = range(1, TEETH - 1, 3)
    deviations = found(record("pitch cumulative", every, once_round(10, every)))
    assert deviations.single_pitch == 0
    assert deviations.cumulative_pitch > 15


def test_the_last_tooth_stands_beside_the_first():
    assert found(record("pitch cumulative", [1, TEETH, 9, 17, 25, 33], [0, 7, 0, 0, 0, 0])).single_pitch == 7


def test_helix_and_profile_have_slope_and_form_by_tooth():
    height = np.tile(np.linspace(-10, 10, 21), 2)
    tooth = np.repeat([1, 20], 21)
    um = np.where(tooth == 1, 0.5 * height, -0.2 * height + 100)
    deviations = found(record("helix", tooth, um, height))
    assert deviations.helix_slope == pytest.approx(0.5 * GEAR.face_width)
    assert deviations.helix_total == pytest.approx(10)
    assert deviations.helix_form == pytest.approx(0, abs=1e-9)


def test_what_was_not_measured_is_not_held_against_the_gear():
    alone = found(record("runout", range(1, TEETH + 1), once_round(8)))
    assert alone.runout == pytest.approx(16, abs=0.1)
    assert alone.helix_total == alone.profile_total == alone.cumulative_pitch == 0
    wanted = next(one for one in range(1, 12) if flank_tolerances(GEAR, one).runout.um >= alone.runout)
    assert alone.quality(GEAR) == wanted


def worm_out_of_true(order, um):
    """The index worm's part that turns so often in a turn of the table, with an error that leaves so much on a flank."""
    case = machines.Case.of(JOB)
    suspects = suspects_of(case, CutShape.of(GEAR, case.rates, Flanks.of(case).setting.hob))
    one = next(one for one in suspects if one.order == order and one.name.startswith("index worm, once"))
    return replace(one.fault, angle_deg=Fraction(um / one.on_flank))


@pytest.mark.parametrize("both", [False, True])
def test_mending_the_worse_of_two_parts_comes_first(both):
    errors = [worm_out_of_true(1, 12), worm_out_of_true(72, 4)]
    gear = MeasuredGear.with_errors(machines.Case.of(JOB), errors if both else errors[:1])
    measured = with_noise(gear.round_gear("pitch cumulative", "right"), 0.3, np.random.default_rng(1))
    inspected = machines.inspect(JOB, measured)
    worth = inspected.worth
    first = inspected.inspection.waves[worth.first]
    assert first.parts[0].order == 1
    assert worth.without[worth.first].quality < worth.measured.quality
    assert worth.without_all.quality <= worth.without[worth.first].quality
    assert len(worth.without) == (2 if both else 1)
