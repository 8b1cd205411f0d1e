"""Transmission errors rolled with a true master gear: what a gear cut with errors hands on, and what is found in it."""

from __future__ import annotations

from fractions import Fraction as F
from functools import cache
from pathlib import Path
from random import Random

import made_up
import numpy as np
import pytest
from handlead.machines.at_fault.finding import inspect_gear
from handlead.machines.job_files.job_file import read_job
from handlead.machines.machine_files.machine_file import Imperfection
from handlead.machines.setups.case import Case
from measured_gears import MeasuredGear, with_noise

SPUR = Path(__file__).parents[2] / "scenarios" / "02-left-hand-hob" / "job.toml"


@cache
def case_of(name):
    """The spur wheel of 43, or a helical gear of 40 or of 22 teeth on a machine of its own."""
    return Case.of(read_job(SPUR)) if name == "spur" else Case.of(made_up.right_job(Random(f"x{name}")))


BLANK = Imperfection("work runout", runout=F(4, 100), phase_deg=F(200))
ASKEW = Imperfection("work tilt", runout=F(4, 100), over=F(25), phase_deg=F(70))
TABLE = Imperfection("once per turn", "index worm", angle_deg=F(15, 3600), phase_deg=F(70))


@cache
def gear(name, *rows):
    return MeasuredGear.with_errors(case_of(name), rows)


def found(name, records):
    draws = np.random.default_rng(3)
    waves = inspect_gear(case_of(name), [with_noise(one, 0.5, draws) for one in records]).waves
    return {one.name: (one.size, 2 * one.error) for wave in waves for one in (*wave.parts, *wave.rivals)}, len(waves)


def both_flanks(measured, points=120):
    # Turned the one way and the other, the flanks change over.
    return [measured.rolled("right", points, "clockwise"), measured.rolled("left", points, "counter-clockwise")]


@pytest.mark.parametrize(("name", "row", "part", "size"), [
    ("spur", BLANK, "the blank on its arbor", 0.04), (1, TABLE, "index worm, once per turn of the table", 15 / 3600),
    (2, BLANK, "the blank on its arbor", 0.04)])  # fmt: skip
def test_what_turns_once_is_found_in_the_transmission_error_of_both_flanks(name, row, part, size):
    sizes, waves = found(name, both_flanks(gear(name, row)))
    assert waves == 1
    assert abs(sizes[part][0] - size) <= sizes[part][1]


@pytest.mark.parametrize("name", ["spur", 2])
def test_a_true_gear_hands_on_nothing_that_a_part_would_explain(name):
    assert found(name, both_flanks(gear(name)))[1] == 0


def test_leaning_teeth_are_touched_all_over_the_face_at_once_and_tell_a_blank_askew():
    name = 2
    sizes, waves = found(name, both_flanks(gear(name, ASKEW)))
    assert waves == 1
    assert abs(sizes["the blank standing askew"][0] - 0.04) <= sizes["the blank standing askew"][1]


@pytest.mark.parametrize(("name", "counted"), [("spur", "clockwise"), (2, "counter-clockwise")])
def test_what_it_says_goes_with_what_the_pitch_says_of_the_same_teeth(name, counted):
    # One blank off its middle explains both: were either counted the other way round, or turned over, it wouldn't.
    measured = gear(name, BLANK)
    pitch = [measured.round_gear("pitch cumulative", flank, counted) for flank in ("right", "left")]
    rolled = [measured.rolled(flank, 120, counted) for flank in ("right", "left")]
    sizes, waves = found(name, [*pitch, *rolled])
    assert waves == 1
    assert abs(sizes["the blank on its arbor"][0] - 0.04) <= sizes["the blank on its arbor"][1]
