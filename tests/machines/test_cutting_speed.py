"""The hob's speed as the set-up runs, held against the table of cutting data."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from handlead.kinematics.train.train import Drive
from handlead.machines.job_files.job_file import Cutting, read_job, read_job_text
from handlead.machines.judging.cutting_speed import check_cutting_speed
from handlead.machines.practice.cut_proposal import propose_cut, speed_limit, speed_window
from handlead.machines.proving.proof import prove
from handlead.machines.setups.case import Case
from handlead.machines.written.writing import job_text

SCENARIOS = Path(__file__).parents[2] / "scenarios"
#: 114.5 rpm on a hob of 87.5 mm over the tips, 31.5 m/min.
PINION = read_job(SCENARIOS / "01-fly-winch-pair" / "pinion.toml")


def found(job, *, times=1, units="mm", **cutting):
    """What is said of the order with its main motor so many times as fast."""
    drives = dict(job.machine.train.drives)
    main = drives[job.setup.drive]
    drives[job.setup.drive] = Drive(main.shaft, main.rpm * Fraction(times), main.free_at_rest)
    machine = replace(job.machine, train=replace(job.machine.train, drives=drives))
    job = replace(job, machine=machine, cutting=Cutting(**cutting), units=units)
    return list(check_cutting_speed(Case.of(job, job.setup)))


def test_a_hob_that_runs_within_its_table_is_left_alone():
    assert not found(PINION)
    assert not found(PINION, material="steel to 700 N/mm2")


def test_a_hob_is_held_against_the_row_of_the_material_that_the_job_names():
    (finding,) = found(PINION, material="steel to 1100 N/mm2")
    assert (finding.code, finding.severity) == ("cutting-speed", "warning")
    assert "the table of cutting data ends at 22 m/min" in finding.message
    # 1000 * 22 / (pi * 87.5) = 80.03 rpm
    assert finding.remedy == "Run the hob at 80 rpm or less."
    assert finding.facts["greatest_m_min"] == 22
    assert finding.facts["cutting_speed_m_min"] == pytest.approx(31.49, abs=0.01)


def test_without_a_material_the_greatest_speed_that_the_tool_may_have_counts_and_is_said():
    assert not found(PINION, times="1.9")
    (finding,) = found(PINION, times=2)
    assert "No material is named; the table of cutting data ends at 60 m/min" in finding.message
    assert "that is for bronze" in finding.message
    assert "name the material under [cutting]" in finding.remedy


def test_materials_cut_faster_than_metal_usually_is_count_only_where_they_are_named():
    assert not found(PINION, times=2, material="aluminium")
    assert found(PINION, times=2)


def test_a_better_hob_may_run_faster_and_a_hob_of_tool_steel_slower():
    assert not found(PINION, times=2, hob_material="coated high-speed steel")
    assert found(PINION, hob_material="carbon tool steel")
    assert not found(PINION, times=3, material="steel to 700 N/mm2", hob_material="carbide")


def test_a_machine_that_runs_no_slower_is_told_to_take_another_hob():
    machine = PINION.machine
    limits = replace(machine.limits, rpm={**machine.limits.rpm, "hob": (Fraction(90), Fraction(360))})
    slow = replace(PINION, machine=replace(machine, limits=limits))
    (finding,) = found(slow, material="steel to 1100 N/mm2")
    assert finding.remedy.startswith("The machine's slowest for the hob, 90 rpm, is too fast as well: take a smaller hob")


def test_a_speed_a_hair_too_great_reads_as_too_great():
    # 31.487 * 1.431 = 45.06 m/min, where the row ends at 45.
    (finding,) = found(PINION, times="1.431", material="steel to 700 N/mm2")
    assert "a little over 45 m/min over its tips" in finding.message


def test_speeds_are_said_in_the_units_of_the_job():
    (finding,) = found(PINION, units="in", material="steel to 1100 N/mm2")
    assert "103 ft/min" in finding.message and "72 ft/min" in finding.message
    assert "m/min over" not in finding.message and "3.44" in finding.message


def test_a_material_that_the_table_lacks_is_told_with_those_that_it_has():
    (finding,) = found(PINION, material="unobtainium")
    assert finding.severity == "note"
    assert "'cast iron'" in finding.message


def test_a_speed_too_much_is_a_warning_of_the_proof_and_no_error():
    job = replace(PINION, cutting=Cutting(material="stainless steel"))
    proof = prove(job)
    assert proof.is_as_wanted
    assert "cutting-speed" in {finding.code for finding in proof.findings}


@pytest.mark.parametrize(
    "path", [path for path in sorted(SCENARIOS.glob("[01]?-*/*.toml")) if "job/1" in path.read_text()], ids=str
)
def test_every_right_order_keeps_within_the_table(path):
    assert not found(read_job(path))


# ---------------------------------------------------------------- what a plan may choose from


def window(**cutting):
    asked = Cutting(**cutting)
    proposal = propose_cut(PINION.work, PINION.hob, asked, PINION.machine)
    return speed_window(PINION.work, PINION.hob, asked, proposal)


def test_a_speed_that_is_asked_for_holds_within_a_step_of_the_speed_gears():
    asked = window(hob_rpm=Fraction(60))
    assert asked.asked and asked.wanted == 60
    assert asked.least == 48 and asked.greatest == 72


@pytest.mark.parametrize(
    ("material", "most"), [("steel to 1100 N/mm2", 80), ("cast iron", 127), (None, 163), ("brass", 272)]
)
def test_a_proposed_speed_never_passes_the_end_of_the_row(material, most):
    proposed = window(material=material)
    assert not proposed.asked
    assert proposed.least < proposed.wanted <= proposed.greatest == most


def test_without_a_diameter_of_the_hob_no_speed_is_judged():
    bare = replace(PINION.hob, diameter=None, outside_diameter=None)
    assert speed_limit(PINION.work, bare, Cutting()) is None
    assert speed_window(PINION.work, bare, Cutting(), "no diameter").greatest is None


def test_a_material_that_is_named_is_written_and_one_that_is_not_is_not():
    named = replace(PINION, cutting=Cutting(material="brass"))
    beside = SCENARIOS / "01-fly-winch-pair"
    assert '\nmaterial = "brass"' in job_text(named)
    assert read_job_text(job_text(named), beside=beside).cutting.material == "brass"
    assert "\nmaterial" not in job_text(replace(PINION, cutting=Cutting(hob_rpm=Fraction(60))))
