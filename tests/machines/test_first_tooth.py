"""Records that weren't counted from the marked tooth, laid where they go with the others."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction as F
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from handlead.machines.gear_records.records import read_record
from handlead.machines.inspecting.answer import inspect
from handlead.machines.job_files.job_file import read_job
from handlead.machines.machine_files.machine_file import Imperfection
from handlead.machines.setups.case import Case
from handlead.viz.gear_reports.inspect import record_lines
from measured_gears import MeasuredGear, with_noise

CASE = Case.of(read_job(Path(__file__).parents[2] / "scenarios" / "02-left-hand-hob" / "job.toml"))
BLANK = Imperfection("work runout", runout=F(4, 100), phase_deg=F(200))
TABLE = Imperfection("once per turn", "index worm", angle_deg=F(30, 3600), phase_deg=F(70))


@cache
def gear(*rows):
    return MeasuredGear.with_errors(CASE, rows)


def begun_at(record, tooth):
    """The same readings counted from another tooth."""
    numbers = (record.readings.tooth - tooth) % CASE.job.work.teeth + 1
    return replace(record, marked=False, readings=replace(record.readings, tooth=numbers))


def records(rows, counted="clockwise", noise=0.5, points=0):
    draws, cut = np.random.default_rng(5), gear(*rows)
    made = [cut.round_gear("pitch cumulative", "right", counted), cut.round_gear("pitch cumulative", "left", counted)]
    made.append(cut.rolled("right", points, counted) if points else cut.round_gear("runout", "", counted))
    return [with_noise(one, noise, draws) for one in made]


@pytest.mark.parametrize(("counted", "begun"), [("clockwise", 12), ("counter-clockwise", 31)])
def test_a_record_begun_at_another_tooth_is_laid_on_it_and_the_part_is_found_as_if_it_had_been_marked(counted, begun):
    right, left, ball = records((BLANK,), counted)
    plainly = inspect(CASE.job, right, left, ball)
    found = inspect(CASE.job, right, left, begun_at(ball, begun))
    ((at, laid),) = found.laid
    assert at == 2 and abs(laid.first - begun) <= 1
    (wave,), (same,) = found.inspection.waves, plainly.inspection.waves
    assert [one.name for one in wave.parts] == [one.name for one in same.parts]
    assert wave.parts[0].size == pytest.approx(same.parts[0].size, rel=0.05)
    # Taken as counted from the marked tooth they go against one another.
    wrongly = inspect(CASE.job, right, left, replace(begun_at(ball, begun), marked=True))
    assert sum(one.left_um for one in wrongly.inspection.records) > 2 * sum(one.left_um for one in found.inspection.records)


@pytest.mark.parametrize("row", [BLANK, TABLE], ids=["the blank", "the table"])
def test_a_part_that_only_the_place_of_a_wave_on_both_flanks_would_tell_is_not_sure_without_it(row):
    # Once a turn on the right flanks, and as much on the left ones, begun nobody knows where: the blank or the wheel.
    # Whole teeth are too coarse to tell them by where noise is of some µm.
    right, left, _ = records((row,), noise=2.0)
    found = inspect(CASE.job, right, begun_at(left, 12))
    (wave,) = found.inspection.waves
    named = {one.name for one in (*wave.parts, *wave.rivals)}
    assert {"the blank on its arbor", "index worm, once per turn of the table"} <= named
    assert not wave.is_certain
    # Counted from the marked tooth it is told.
    (sure,) = inspect(CASE.job, right, left).inspection.waves
    assert len({one.name for one in (*sure.parts, *sure.rivals)} & {"the blank on its arbor", "index worm, once per turn of the table"}) == 1


def test_where_none_is_marked_they_are_counted_from_the_longest():
    right, _, ball = records((BLANK,))
    found = inspect(CASE.job, begun_at(right, 20), begun_at(ball, 7))
    assert [at for at, _ in found.laid] == [1]
    assert found.inspection.waves


def test_a_transmission_error_may_begin_between_two_teeth():
    right, left, rolled = records((BLANK,), points=60)
    teeth = CASE.job.work.teeth
    later = replace(rolled, marked=False, readings=replace(rolled.readings, tooth=(rolled.readings.tooth - 10.5) % teeth + 1))
    ((_, laid),) = inspect(CASE.job, right, left, later).laid
    assert abs(laid.first - 10.5) <= 0.5


def test_a_true_gear_tells_nothing_of_where_it_was_begun():
    right, left, _ = records(())
    found = inspect(CASE.job, right, begun_at(left, 9))
    assert dict(found.laid)[1].first is None
    assert "Nothing in the others tells where its first tooth stands" in " ".join(record_lines(found))
    assert found.as_json()["records"][1]["laid_on_tooth"] is None


def test_the_report_says_where_it_was_laid():
    right, left, _ = records((BLANK,))
    found = inspect(CASE.job, right, begun_at(left, 12))
    said = list(record_lines(found))
    first = dict(found.laid)[1].first
    assert f"Its first tooth is laid on tooth {first:g} of the others" in said[1]
    assert "laid on" not in said[0]
    told = found.as_json()["records"]
    assert [one["first_tooth_marked"] for one in told] == [True, False]
    assert told[1]["laid_on_tooth"] == first


def test_a_record_says_whether_its_first_tooth_is_the_marked_one(tmp_path):
    head = "# quantity: runout\n# unit: um\n# counted: clockwise\n{}tooth, deviation\n"
    rows = "".join(f"{tooth}, {tooth % 5}\n" for tooth in range(1, 20))
    told = {"": True, "# first tooth: marked\n": True, "# first tooth: unknown\n": False}
    for said, marked in told.items():
        (tmp_path / "r.csv").write_text(head.format(said) + rows)
        assert read_record(tmp_path / "r.csv", 43).marked is marked
