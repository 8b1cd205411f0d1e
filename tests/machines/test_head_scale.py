"""The way the head is swung, as its own scale says it: read from the front, or in words of its own."""

import datetime
from dataclasses import replace
from pathlib import Path

import handlead.scenarios
import pytest
from handlead.machines.job_files.job_file import read_job
from handlead.machines.keys.head_scale import HeadScale
from handlead.machines.machine_files.machine_file import read_machine_text
from handlead.machines.planning.planning import plan
from handlead.machines.proving.proof import prove
from handlead.machines.written.writing import machine_text
from handlead.viz.reports.plan import show_plan
from handlead.viz.sheet_words.words import sheet_words
from rich.console import Console

JOB = Path(handlead.scenarios.__file__).parent / "01-fly-winch-pair" / "pinion.toml"
SCALES = [
    (HeadScale(), "", ""),
    (HeadScale("from the front"), "counter-clockwise seen from the front", "clockwise seen from the front"),
    (HeadScale(called={"clockwise": "towards A", "counter-clockwise": "towards B"}), "towards A", "towards B"),
]


@pytest.mark.parametrize(("scale", "clockwise", "other"), SCALES)
def test_each_way_is_said_as_the_scale_has_it(scale, clockwise, other):
    assert scale.words(-20) == clockwise
    assert scale.words(20) == other
    assert scale.words(0) == ""


def test_sheet_proof_and_plan_say_it_and_keep_the_frame_s_word(capsys):
    job = read_job(JOB)
    job = replace(job, machine=replace(job.machine, head=SCALES[2][0]))
    _, way, end = sheet_words(prove(job), datetime.date(2001, 2, 3)).head
    assert way.lower() == "clockwise"
    assert "ON THE SCALE: TOWARDS A" in end.upper()
    wrong = job.with_swivel("20d", "counter-clockwise")
    said = " ".join(f"{each.message} {each.remedy}" for each in prove(wrong).findings)
    assert "on its scale towards A" in said
    out = Console(width=200)
    show_plan(plan(job, top=1), out)
    assert "on its scale towards" in capsys.readouterr().out


def test_a_machine_file_takes_it_and_is_written_with_it(tmp_path):
    machine = read_job(JOB).machine
    for scale, *_ in SCALES:
        text = machine_text(replace(machine, head=scale))
        assert read_machine_text(text, "machine.toml").head == scale
