"""The first lead measured on the machine: a dial on the slide, the table at rest, with figures that anybody can check."""

import datetime
import math
from dataclasses import replace
from pathlib import Path

import handlead.scenarios
import pytest
from handlead.kinematics.train.moves import solve_by_hand
from handlead.machines.job_files.job_file import read_job
from handlead.machines.measuring.first_lead import DIAL_MM, first_lead
from handlead.machines.proving.proof import prove
from handlead.machines.setups.case import Case
from handlead.viz.sheet_words.words import sheet_words

ORDERS = Path(handlead.scenarios.__file__).parent
JOBS = [path for path in sorted(ORDERS.glob("*/*.toml")) if '"job/1"' in path.read_text() and "[setup]" in path.read_text()]
PINION, INCH, SPLINE, BARE, WHEEL = (
    ORDERS / name
    for name in (
        "01-fly-winch-pair/pinion.toml", "08-inch-winch/job.toml", "10-revolve-spline/job.toml",
        "03-no-differential/job.toml", "06-orchestra-lift/job.toml",
    )
)  # fmt: skip


def said(path, title):
    words = sheet_words(prove(read_job(path)), datetime.date(2001, 2, 3))
    block = next(block for block in words.blocks if title in block.title)
    return " ".join([block.told, *(step.text for step in block.steps)])


@pytest.mark.parametrize("path", JOBS, ids=lambda path: f"{path.parent.name}/{path.stem}")
def test_the_slide_goes_alone_with_the_levers_as_they_are_said(path):
    case = Case.of(read_job(path))
    found = first_lead(case)
    if found is None or found.levers is None:
        return
    setup = case.setup
    stands = case.job.machine.positions(setup)
    for lever, position in found.levers.items():
        setup = setup.with_lever(lever, position)
    solution = solve_by_hand(Case.of(case.job, setup).train, "axial")
    assert solution.end_rate("axial")
    assert not solution.end_rate("hob")
    assert not solution.end_rate("table")
    assert found.clamp is (solution.end_rate("table") is None)
    assert dict(found.back) == {lever: stands[lever] for lever in found.levers}


def test_the_axial_pitch_and_the_lean_at_the_outside_are_those_of_the_drawing():
    # 23 teeth of module 3 at 22 degrees: axial pitch pi 3 / sin 22 = 25.159; lead 23 of them.
    found = first_lead(Case.of(read_job(PINION)))
    assert found.teeth == 1
    assert found.travel == pytest.approx(math.pi * 3 / math.sin(math.radians(22)))
    assert found.lead == pytest.approx(23 * found.travel)
    lean = math.atan(math.pi * found.outside / (23 * found.travel))
    assert found.reading == pytest.approx(found.rise * math.tan(lean))
    assert found.reading <= DIAL_MM


def test_a_lead_at_the_edge_of_its_class_reads_at_the_edge_of_what_is_allowed():
    from handlead.kinematics.gears import tolerance
    from handlead.kinematics.work.requirement import gear_of

    case = Case.of(read_job(PINION))
    found, gear, face = first_lead(case), gear_of(case.job.work), float(case.job.work.face_width)
    limit = tolerance.helix_slope_um(gear.reference_diameter, face, case.job.work.quality) / 1000
    # ISO 1328-1: the slope is measured along the base tangent.
    lead = 1 / (1 / found.lead + limit / (math.pi * gear.base_diameter * face))
    assert math.pi * found.outside * found.rise / lead - found.reading == pytest.approx(found.off_reading)
    assert abs(lead / 23 - found.travel) == pytest.approx(found.off_travel, rel=1e-3)


def test_straight_teeth_must_leave_the_dial_at_rest_and_a_worm_wheel_has_nothing_to_measure():
    found = first_lead(Case.of(read_job(SPLINE)))
    assert (found.lead, found.reading, found.teeth) == (None, 0, 0)
    assert "the dial must stand" in said(SPLINE, "STRAIGHT TEETH")
    assert "face towards the spindle" in said(SPLINE, "STRAIGHT TEETH")
    assert first_lead(Case.of(read_job(WHEEL))) is None
    assert prove(read_job(WHEEL)).as_json()["first_lead"] is None


def test_the_sheet_tells_it_in_steps_with_the_way_back():
    told = said(PINION, "THE FIRST LEAD")
    assert "Lever feed to NEUTRAL, lever differential to OUT" in told
    assert "after 25.159 mm, ± 0.024 mm" in told
    assert "7.859 mm aside to the RIGHT" in told
    assert "then feed to UP, differential to IN" in told
    assert "clamp the table" in said(BARE, "THE FIRST LEAD")


def test_an_inch_job_is_told_in_inches_and_its_constant_gives_its_lead():
    told = said(INCH, "THE FIRST LEAD")
    assert " mm" not in told
    assert "0.02 in deep there is flank enough" in told
    assert "Half a mm deep" in said(PINION, "THE FIRST LEAD")
    found = first_lead(Case.of(read_job(INCH)))
    constant = float(told.partition("The lead is ")[2].partition(" over")[0])
    assert constant / (found.reading / 25.4) == pytest.approx(found.lead / 25.4, rel=1e-3)
    assert found.rise / 1.27 == pytest.approx(round(found.rise / 1.27))


@pytest.mark.parametrize(("path", "unit"), [(PINION, "0.100 mm over: go 0.146 mm deeper"), (INCH, "0.0040 in over: go 0.0058 in deeper")])
def test_boxes_for_the_measures_say_what_a_little_too_much_asks_for(path, unit):
    # What a span is over by, over 2 sin 20.
    told = said(path, "MEASURE SHORT OF DEPTH")
    assert unit in told
    assert all(what in told for what in ("balls", "Chordal thickness", "Depth of a space"))
    words = sheet_words(prove(read_job(path)), datetime.date(2001, 2, 3))
    block = next(block for block in words.blocks if "MEASURE" in block.title)
    assert [step.boxes[0][0] for step in block.steps] == ["span found", "balls found", "chord found", "depth found"]


def test_a_dial_that_can_t_tell_the_class_is_said_to_prove_the_gears():
    fine = read_job(PINION)
    assert first_lead(Case.of(fine)).tells_class
    assert not first_lead(Case.of(replace(fine, work=replace(fine.work, quality=3)))).tells_class
