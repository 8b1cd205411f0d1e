"""Sizes of the part: the same for sheet, report and programs."""

import datetime
import math
from dataclasses import replace
from pathlib import Path

import handlead.scenarios
import pytest
from handlead.machines.job_files.job_file import read_job
from handlead.machines.measuring.part_sizes import ball_text, part_sizes
from handlead.machines.proving.proof import prove
from handlead.machines.setups.case import Case

ORDERS = Path(handlead.scenarios.__file__).parent


def sizes(order, **changed):
    job = read_job(ORDERS / order)
    job = replace(job, work=replace(job.work, **changed))
    return part_sizes(Case.of(job, job.setup))


def test_a_gear_has_blank_depth_span_and_balls():
    found = sizes("01-fly-winch-pair/pinion.toml")
    # 23 teeth of module 3 at 22 degrees: d = 69 / cos 22, tips one module over it, 2.25 modules deep.
    reference = 69 / math.cos(math.radians(22))
    assert found.outside_diameter == pytest.approx(reference + 6)
    assert found.depth == pytest.approx(6.75)
    assert found.root_diameter == pytest.approx(reference - 7.5)
    assert found.span.teeth == 4
    assert found.balls.ball == 5
    assert found.pins is None


def test_a_size_that_nobody_gave_is_not_made_up():
    found = sizes("09-curtain-sprocket/job.toml", roller_diameter=None)
    assert (found.outside_diameter, found.depth, found.root_diameter, found.centres) == (None,) * 4
    assert (found.span, found.balls, found.pins) == (None, None, None)
    assert found.face_width == 7


def test_a_sprocket_is_measured_over_its_own_rollers():
    found = sizes("09-curtain-sprocket/job.toml")
    assert found.pins.ball == pytest.approx(8.51)
    # ISO 606, odd count: p / sin(180/z) * cos(90/z) + pin.
    pitch = 12.7 / math.sin(math.pi / 19)
    assert found.pins.size == pytest.approx(pitch * math.cos(math.pi / 38) + 8.51)
    assert found.span is None


def test_the_json_says_all_in_mm_whatever_the_job_is_written_in():
    job = read_job(ORDERS / "08-inch-winch" / "job.toml")
    value = prove(job).as_json()["sizes"]
    found = part_sizes(Case.of(job, job.setup))
    assert value["blank"] == found.outside_diameter > 100
    assert (value["span"], value["span_teeth"]) == (found.span.size, found.span.teeth)
    assert value["ball"] == pytest.approx(7 / 32 * 25.4)


@pytest.mark.parametrize(("mm", "units", "text"), [(4.5, "mm", "4.5 mm"), (25.4 * 7 / 32, "in", "7/32 in"), (4.5, "in", "0.177 in")])
def test_a_ball_is_said_as_it_is_bought(mm, units, text):
    assert ball_text(mm, units) == text


def test_the_sheet_says_the_same_sizes():
    from handlead.viz.sheet_words.words import sheet_words

    proof = prove(read_job(ORDERS / "01-fly-winch-pair" / "pinion.toml"))
    found = part_sizes(proof.case)
    rows = dict(sheet_words(proof, datetime.date(2026, 11, 27)).work)
    assert rows["outside diameter  d_a"] == f"{found.outside_diameter:.2f} mm"
    assert rows["span, 4 teeth  W_4"] == f"{found.span.size:.3f} mm"
    assert rows["balls 5 mm  M_dK"] == f"{found.balls.size:.3f} mm"
