"""Where a light cut marks a blank that is out of true, or stands on a machine that is: held to sums done by hand."""

from __future__ import annotations

import math
from dataclasses import replace
from fractions import Fraction as F
from pathlib import Path

import numpy as np
import pytest
from handlead.machines import prove, read_job
from handlead.machines.blanks.light_touch import light_field, light_touch
from handlead.machines.blanks.witness import setting_of
from handlead.machines.machine_files.machine_file import Imperfection
from handlead.machines.setups.case import Case
from handlead.machines.setups.imperfections import ripples_of

ORDERS = Path(__file__).parents[2] / "scenarios"
SPUR, HELICAL, INCHES = "02-left-hand-hob/job.toml", "01-fly-winch-pair/pinion.toml", "08-inch-winch/job.toml"


def case_of(order, *rows):
    job = read_job(ORDERS / order)
    return Case.of(replace(job, machine=replace(job.machine, imperfections=rows)))


def off(dial):
    return Imperfection("work runout", runout=F(str(dial)), phase_deg=F(40))


@pytest.mark.parametrize("order", [SPUR, HELICAL, INCHES])
def test_a_blank_that_runs_out_is_marked_as_far_round_as_it_comes_near_enough(order):
    # From the first touch it is marked where e(1 - cos) is less than the depth, but for marks too shallow to see.
    touch = light_touch(case_of(order, off(0.12)))
    e, seen = 0.06, 0.95 * touch.depth_mm
    share = math.acos(1 - seen / e) / math.pi
    # A place is a space and a half wide, and marked where any of it is.
    assert share - 0.02 < touch.share < share + 0.1
    assert touch.spread_mm == pytest.approx(2 * e, abs=0.005)
    assert touch.then_marks_all


def test_a_blank_that_runs_out_by_less_than_a_light_cut_is_marked_all_round():
    assert light_touch(case_of(SPUR, off(0.03))).share == 1
    assert light_touch(case_of(SPUR, off(0.004))) is None
    assert light_touch(case_of(SPUR)) is None


@pytest.mark.parametrize(("way", "lowest"), [("away", True), ("in", False)])
def test_a_slide_that_goes_away_going_up_marks_the_lower_end_first(way, lowest):
    case = case_of(HELICAL, Imperfection("slide not parallel", length=F(2, 10), over=F(36), way=way))
    field = light_field(setting_of(case), ripples_of(case))
    deep = (field.uncut - field.radius).max(axis=1)
    assert bool(deep[0] > 0.9 * deep.max()) is lowest
    assert deep.min() == pytest.approx(0, abs=1e-9)
    assert deep.max() == pytest.approx(0.05, abs=0.005)


def test_the_proof_says_how_much_of_the_blank_is_marked_and_how_far_in_marks_all():
    job = case_of(SPUR, off(0.1)).job
    (told,) = [one for one in prove(job, cut="scratch").findings if one.code == "light-cut-uneven"]
    assert told.severity == "note"
    assert "marks only 50 % of the blank: with the work runout" in told.message
    assert "0.10 mm further in" in told.remedy
    (inches,) = [one for one in prove(case_of(INCHES, off(0.1)).job, cut="scratch").findings if one.code == "light-cut-uneven"]
    assert "0.0039 in further in" in inches.remedy
    assert not [one for one in prove(job).findings if one.code == "light-cut-uneven"]


def test_what_moves_the_table_alone_leaves_a_light_cut_even():
    row = Imperfection("once per turn", "index worm", angle_deg=F(1, 100))
    case = case_of(SPUR, row)
    assert light_touch(case) is None
    setting = setting_of(case)
    assert np.array_equal(light_field(setting, ripples_of(case)).radius, light_field(setting, ()).radius)
