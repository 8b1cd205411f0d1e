"""The simulated gear as an inspection report, and records of a real one over it."""

from __future__ import annotations

from dataclasses import fields, replace
from fractions import Fraction as F
from pathlib import Path

import numpy as np
import pytest
from handlead.kinematics.gauging.flanks import Deviations
from handlead.machines.blanks.flanks import Flanks
from handlead.machines.blanks.witness import NotCut
from handlead.machines.charting.beside import LaidOver, expected_of, lay_beside
from handlead.machines.charting.simulated import QUANTITIES, GearReport
from handlead.machines.gear_records.records import Said, record_of
from handlead.machines.job_files.job_file import read_job
from handlead.machines.machine_files.machine_file import Imperfection
from handlead.machines.setups.case import Case
from hypothesis import given
from hypothesis import strategies as st

SCENARIOS = Path(__file__).parents[2] / "scenarios"
SPUR = read_job(SCENARIOS / "02-left-hand-hob" / "job.toml")
PINION = read_job(SCENARIOS / "01-fly-winch-pair" / "pinion.toml")

BLANK = Imperfection("work runout", runout=F(3, 100), phase_deg=F(40))
TILT = Imperfection("work tilt", runout=F(3, 100), over=F(50))


def case_of(job, *rows):
    return Case.of(replace(job, machine=replace(job.machine, imperfections=rows)))


@pytest.mark.parametrize("job", [SPUR, PINION], ids=["spur", "helical"])
def test_the_report_says_what_the_proof_measures_and_the_same_class(job):
    case = case_of(job, BLANK)
    report, proved = GearReport.of(case), Flanks.of(case).measure()
    assert report.traced.quality == proved.quality
    assert {one.quantity.name: one.um for one in report.values} == pytest.approx(
        {part.name: getattr(proved.deviations, part.name) for part in fields(Deviations)}
    )
    assert max(one.quality for one in report.values) == proved.quality


def test_every_value_of_a_class_has_its_sign_and_its_page():
    assert [one.sign for one in QUANTITIES] == ["f_Hα", "f_fα", "F_α", "f_Hβ", "f_fβ", "F_β", "f_p", "F_p", "F_r"]
    assert {one.name for one in QUANTITIES} == {part.name for part in fields(Deviations)}


def test_a_blank_off_its_centre_shows_a_wave_once_round_in_pitch_and_ball():
    # Off by 15 µm: the ball goes in and out by that, pitch by it over cos α.
    traced = GearReport.of(case_of(SPUR, BLANK)).traced
    teeth = traced.gear.teeth
    turn = np.exp(-2j * np.pi * np.arange(teeth) / teeth)
    assert 2 * abs(np.mean(traced.ball_um * turn)) == pytest.approx(15, abs=0.3)
    for um in traced.pitch_um.values():
        assert 2 * abs(np.mean(um * turn)) == pytest.approx(15 / np.cos(np.radians(20)), abs=0.3)


def test_a_blank_askew_leans_teeth_one_way_on_one_side_of_the_gear_and_the_other_across():
    report = GearReport.of(case_of(SPUR, TILT))
    slopes = {one.tooth: one.measured.helix.slope_um for one in report.traced.flanks if one.flank == "right"}
    across = [slopes[tooth] + slopes[other] for tooth, other in zip([*slopes][:2], [*slopes][2:], strict=True)]
    most = 30 / 2 / 50 * report.traced.gear.face_width
    assert np.abs(across) == pytest.approx([0, 0], abs=0.15 * most)
    assert max(map(abs, slopes.values())) > 0.6 * most


@given(st.integers(5, 80), st.integers(1, 80), st.sampled_from(["clockwise", "counter-clockwise"]), st.integers(1, 80))
def test_a_tooth_has_one_number_whichever_way_they_are_counted(count, first, counted, number):
    laid = LaidOver((), count, counted, 1 + (first - 1) % count)
    number = 1 + (number - 1) % count
    assert laid.number(laid.simulated(number)) == number
    assert laid.simulated(1) == laid.first


@pytest.mark.parametrize("counted", ["clockwise", "counter-clockwise"])
@pytest.mark.parametrize("kind", ["pitch cumulative", "pitch single", "runout"])
def test_a_record_is_laid_where_its_teeth_were(counted, kind):
    # What the simulated gear itself would read, begun at another tooth, noise on top: found again at that tooth.
    traced = GearReport.of(case_of(PINION, BLANK)).traced
    count, there = traced.gear.teeth, 9
    empty = record_of(Said("a.csv", kind, "" if kind == "runout" else "left", counted), [(1.0, 0.0, 0.0)] * 6, 1.0)
    um = expected_of(LaidOver((), count, counted, there), traced, empty)
    um = um + np.random.default_rng(3).normal(0, 0.5, count)
    rows = [(float(tooth), 0.0, float(um[tooth - 1])) for tooth in range(1, count + 1)]
    record = record_of(Said("a.csv", kind, empty.flank, counted), rows, 1.0)
    laid = lay_beside(traced, [record])
    assert laid.counted == counted
    # Single pitches are small beside the noise: within a tooth.
    assert (laid.first - there) % count in ({0} if kind != "pitch single" else {0, 1, count - 1})


def test_a_record_begun_at_a_tooth_that_nobody_knows_is_turned_by_itself():
    traced = GearReport.of(case_of(PINION, BLANK)).traced
    count, made = traced.gear.teeth, []
    for flank, begun in (("left", 1), ("right", 8)):
        said = Said("a.csv", "pitch cumulative", flank, "clockwise", marked=begun == 1)
        rows = [(float(tooth), 0.0, 0.0) for tooth in range(1, count + 1)]
        um = expected_of(LaidOver((), count, "clockwise", 5), traced, record_of(said, rows, 1.0))
        rows = [(float(tooth), 0.0, float(um[(tooth - 2 + begun) % count])) for tooth in range(1, count + 1)]
        made.append(record_of(said, rows, 1.0))
    laid = lay_beside(traced, made)
    assert laid.first == 5
    marked, other = laid.records
    assert marked.readings.tooth[0] == 1
    assert other.readings.tooth[0] == 8


def test_records_say_their_own_values_and_classes_beside():
    folder = SCENARIOS / "92-cloud-drum-wheel"
    report = GearReport.of(Case.of(read_job(folder / "job.toml")), sorted(folder.glob("*.csv")))
    measured = {one.quantity.name: one.measured_um for one in report.values}
    assert measured["profile_slope"] is None
    assert measured["runout"] == pytest.approx(55)
    assert report.measured_quality == 9
    assert [tooth for tooth, _ in report.flanks("right")] == [1, 23, 45]
    assert report.as_json()["measured_class"] == 9


def test_work_without_involutes_has_no_report():
    with pytest.raises(NotCut):
        GearReport.of(Case.of(read_job(SCENARIOS / "09-curtain-sprocket" / "job.toml")))
