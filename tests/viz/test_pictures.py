"""The pictures agree with the train: told from what is drawn, not from pixels."""

import math
from pathlib import Path

import pytest
from handlead.kinematics.solution import solve
from handlead.machines.case import Case
from handlead.machines.catalogue import find_machine, shipped_machines
from handlead.machines.job_file import read_job
from handlead.viz.command import main
from handlead.viz.job_pictures import PICTURES, motion_of, swivel_of, witness_of
from handlead.viz.show_command import PICTURES as NAMES
from handlead.viz.train_layout import lay_out

SCENARIOS = Path(__file__).parents[2] / "scenarios"
PINION = SCENARIOS / "01-fly-winch-pair" / "pinion.toml"
JOBS = sorted(path for path in SCENARIOS.glob("[01]*/*.toml") if "job/1" in path.read_text())


def case_of(path):
    job = read_job(path)
    return Case.of(job, job.setup)


def lean_deg(segment):
    """Lean of a segment from upright, to the right going up positive."""
    (x0, y0), (x1, y1) = segment
    return math.degrees(math.atan2((x1 - x0) * math.copysign(1, y1 - y0), abs(y1 - y0)))


@pytest.mark.parametrize("name", shipped_machines())
def test_no_label_of_a_shipped_machine_lies_on_another_and_no_line_crosses(name):
    machine = find_machine(name)
    layout = lay_out(solve(machine.set_up(), machine.normal_drive))
    assert not layout.overlaps()
    assert not layout.struck_labels()
    assert not layout.crossings()


@pytest.mark.parametrize("name", shipped_machines())
def test_every_shaft_and_link_of_a_machine_is_in_its_diagram(name):
    machine = find_machine(name)
    layout = lay_out(solve(machine.set_up(), machine.normal_drive))
    assert set(layout.parts) == set(machine.train.parts)
    assert set(layout.links) == {link.name for link in machine.train.links}


@pytest.mark.parametrize("path", JOBS, ids=lambda path: f"{path.parent.name}-{path.stem}")
def test_the_head_is_drawn_swung_as_it_is_set_and_its_thread_lies_along_the_tooth(path):
    case = case_of(path)
    layout = swivel_of(case)
    (x0, y0), (x1, y1) = layout.axis
    slope = math.degrees(math.atan2((y1 - y0) * math.copysign(1, x1 - x0), abs(x1 - x0)))
    assert slope == pytest.approx(case.swivel_deg, abs=1e-6)
    # Right set-ups: thread and tooth lean alike where they meet, to the half degree that a swivel may be out.
    assert lean_deg(layout.contact) == pytest.approx(case.job.work.signed_beta_deg, abs=0.5)
    way = "counter-clockwise" if case.swivel_deg > 0 else "clockwise"
    if abs(case.swivel_deg) > 0.1:
        assert way.upper() in " ".join(layout.words).upper()


@pytest.mark.parametrize("path", JOBS, ids=lambda path: f"{path.parent.name}-{path.stem}")
def test_the_marks_lean_as_the_gear_does(path):
    case = case_of(path)
    layout = witness_of(case)
    wanted, predicted = layout.marks
    assert wanted.count == predicted.count == case.job.work.teeth
    for marks, lines in zip(layout.marks, layout.lines, strict=True):
        for line in lines:
            assert lean_deg(line) == pytest.approx(marks.signed_lean_deg, abs=1e-6)
    # A worm wheel is only touched at mid-face, where the mark leans as the hob's thread does.
    near = 1.0 if case.job.work.kind == "worm wheel" else 0.5
    assert predicted.signed_lean_deg == pytest.approx(wanted.signed_lean_deg, abs=near)


def test_a_forgotten_idler_shows_in_the_picture():
    wanted, predicted = witness_of(case_of(SCENARIOS / "21-idler-left-out" / "job.toml")).marks
    assert wanted.hand is predicted.hand.other


@pytest.mark.parametrize("path", [PINION, SCENARIOS / "11-thunder-run-pinion" / "job.toml"], ids=lambda p: p.parent.name)
def test_the_slide_of_the_motion_chart_goes_the_way_that_the_drive_takes_it(path):
    case = case_of(path)
    (phase,) = motion_of(case).named("cut")
    assert (phase.per_turn.axial > 0) is (case.solution.end_rate("axial") > 0)


def test_all_pictures_are_drawn_and_none_is_left_half_written(tmp_path, capsys):
    assert set(NAMES) == set(PICTURES)
    assert main(["show", str(PINION), "--what", "all", "--out", str(tmp_path / "p.png")]) == 0
    assert {path.name for path in tmp_path.iterdir()} == {f"p-{name}.png" for name in NAMES}
    assert main(["show", str(PINION), "--out", str(tmp_path / "p.doc")]) == 2
    assert ".png" in capsys.readouterr().err
    assert not (tmp_path / "p.doc").exists()


def test_what_can_not_be_drawn_is_said_in_a_line(capsys):
    locked = next(SCENARIOS.glob("29-*/job.toml"))
    assert main(["show", str(locked), "--what", "flank", "--out", "unused.png"]) == 2
    said = capsys.readouterr().err
    assert "must all move" in said
    assert "Traceback" not in said
