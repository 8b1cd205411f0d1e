"""Worm wheels set by their centres, and hobs whose threads come to the same spaces over and over."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from handlead.kinematics.work.requirement import gear_to_cut
from handlead.kinematics.work.sizes import centres_at_depth, sizes_of
from handlead.machines.blanks.witness import hob_of
from handlead.machines.job_files.job_file import read_job, read_job_text
from handlead.machines.judging_teeth.wheel_checks import check_set_by_centres, check_threads
from handlead.machines.measuring.part_sizes import part_sizes
from handlead.machines.practice.cut_cycle import cut_cycle
from handlead.machines.proving.proof import prove
from handlead.machines.setups.case import Case
from handlead.machines.setups.clearing import clear_from
from handlead.machines.toml.errors import FileFault
from handlead.machines.written.writing import job_text

SCENARIOS = Path(__file__).parents[2] / "scenarios"
ORCHESTRA, HOIST, TWO_START, PINION = (
    read_job(SCENARIOS / name)
    for name in (
        "06-orchestra-lift/job.toml", "07-trap-hoist/job.toml", "05-two-start-hob/job.toml",
        "01-fly-winch-pair/pinion.toml",
    )
)  # fmt: skip


def case_of(job, **changed):
    return Case.of(replace(job, work=replace(job.work, **changed)), job.setup)


def said(check, job, *, units="mm", **changed):
    return list(check(case_of(replace(job, units=units), **changed)))


@pytest.mark.parametrize(
    ("job", "centres", "early"),
    # (148 + 40) / 2 and (125 + 45) / 2; met early by 1.195 (see the kinematics' own test) and, with z^2 = 20^2 - 17.5^2
    # = 93.75 and tips of 25.625: sqrt(656.64 - 93.75) - 17.5 - (25.625 - 20) = 0.600.
    [(ORCHESTRA, 94.0, 1.1948), (HOIST, 85.0, 0.600)],
    ids=["06", "07"],
)
def test_a_throated_wheel_is_set_by_centres_and_told_what_a_touch_would_cost(job, centres, early):
    (finding,) = said(check_set_by_centres, job)
    assert finding.severity == "note"
    assert finding.facts["centres_mm"] == pytest.approx(centres, abs=1e-6)
    assert finding.facts["early_mm"] == pytest.approx(early, abs=1e-3)
    assert f"{early:.2f} mm before" in finding.message
    assert f"Set the hob's axis {centres:.2f} mm from the work's" in finding.remedy


def test_the_centres_are_said_in_the_units_of_the_job():
    (finding,) = said(check_set_by_centres, HOIST, units="in")
    assert "0.024 in before" in finding.message
    assert "3.346 in from the work's" in finding.remedy


def test_a_plain_blank_is_met_in_the_middle_and_has_a_depth():
    assert not said(check_set_by_centres, HOIST, is_plain=True)
    plain = case_of(HOIST, is_plain=True)
    assert cut_cycle(plain).depths == (pytest.approx(5.625, abs=1e-5),)
    assert part_sizes(plain).depth == pytest.approx(5.625, abs=1e-5)
    assert part_sizes(plain).rim_diameter is None


def test_a_throated_wheel_has_no_depth_to_go_in_by_and_takes_longer():
    throated, plain = case_of(HOIST), case_of(HOIST, is_plain=True)
    found = part_sizes(throated)
    assert found.depth is None and found.whole_depth == pytest.approx(5.625, abs=1e-5)
    assert (found.throat_radius, found.rim_diameter) == (pytest.approx(20), pytest.approx(135))
    assert cut_cycle(throated).depths == () and cut_cycle(throated).centres == pytest.approx(85)
    # 0.6 mm more at 0.3 mm a turn: two table turns of fifty hob turns at 94 a minute.
    more = cut_cycle(throated).time_min - cut_cycle(plain).time_min
    assert more == pytest.approx(2 * 50 / 94, abs=0.01)


def test_a_hob_is_clear_of_a_throated_wheel_only_over_its_rim():
    # 135 / 2 + 25.625 - 85, where the teeth are 5.6 deep.
    assert clear_from(case_of(HOIST)) == pytest.approx(8.125, abs=1e-4)
    assert clear_from(case_of(HOIST, is_plain=True)) == pytest.approx(5.625, abs=1e-4)


def test_a_hob_without_a_size_is_asked_for():
    job = replace(HOIST, hob=replace(HOIST.hob, diameter=None))
    (finding,) = said(check_set_by_centres, job)
    assert "isn't known without the hob's size" in finding.message


def test_a_hob_larger_than_the_worm_makes_the_centres_greater_and_leaves_the_hollow():
    larger = replace(HOIST.hob, diameter=Fraction(47))
    sizes = sizes_of(HOIST.work, larger)
    assert centres_at_depth(HOIST.work, larger) == pytest.approx(86)
    assert sizes.throat.radius == pytest.approx(20, abs=0.01)


def test_other_work_says_nothing_of_centres():
    assert not said(check_set_by_centres, PINION)


@pytest.mark.parametrize("job", [ORCHESTRA, HOIST], ids=["06", "07"])
@pytest.mark.parametrize("thinning", [0, "0.1"])
def test_the_simulation_stands_at_the_same_centres(job, thinning):
    work = replace(job.work, thinning=Fraction(thinning))
    assert gear_to_cut(work).centres_with(hob_of(work, job.hob).pitch_diameter) == pytest.approx(centres_at_depth(work, job.hob))


def test_a_machine_must_take_a_wheel_over_its_rim():
    # 130 mm at the bottom of the throat, 135 over the rim.
    machine = replace(HOIST.machine, limits=replace(HOIST.machine.limits, work_diameter=Fraction(132)))
    codes = [
        {finding.code for finding in prove(replace(HOIST, machine=machine, work=work)).judged}
        for work in (HOIST.work, replace(HOIST.work, is_plain=True))
    ]
    assert ["beyond-limits" in found for found in codes] == [True, False]


# ---------------------------------------------------------------- threads


@pytest.mark.parametrize(
    ("teeth", "starts", "words"),
    [
        (52, 2, "each space is cut by one and the same thread of the hob"),
        (54, 4, "each space is cut by the same 2 threads of the hob"),
    ],
)
def test_starts_that_share_a_factor_with_the_teeth_are_told(teeth, starts, words):
    job = replace(TWO_START, hob=replace(TWO_START.hob, starts=starts))
    (finding,) = said(check_threads, job, teeth=teeth)
    assert words in finding.message and "repeats every 2 spaces" in finding.message
    assert "finish with a hob of one start" in finding.remedy


def test_a_worm_wheel_can_not_take_another_number_of_starts():
    (finding,) = said(check_threads, ORCHESTRA, teeth=38)
    assert "The wheel must have its worm's starts" in finding.remedy


@pytest.mark.parametrize("job", [TWO_START, ORCHESTRA, PINION], ids=["05", "06", "01"])
def test_starts_and_teeth_without_a_common_factor_are_left_alone(job):
    assert not said(check_threads, job)


# ---------------------------------------------------------------- files


def with_lines(*lines):
    text = (SCENARIOS / "07-trap-hoist" / "job.toml").read_text()
    return read_job_text(text.replace("face_width = 24", "\n".join(("face_width = 24", *lines))))


def test_what_the_drawing_says_of_the_blank_is_read_and_written_again():
    job = with_lines("throat_radius = 21", "rim_diameter = 134")
    throat = Case.of(job, job.setup).sizes.throat
    assert (throat.radius, throat.rim_diameter, throat.diameter) == (21, 134, pytest.approx(130))
    assert read_job_text(job_text(job)).work == job.work
    plain = with_lines('blank = "plain"')
    assert plain.work.is_plain and read_job_text(job_text(plain)).work == plain.work


@pytest.mark.parametrize(
    ("lines", "words"),
    [
        (("rim_diameter = 129",), "rim diameter is 129 mm; it must be 130"),
        (('blank = "plain"', "throat_radius = 20"), "but the blank is plain"),
        (('blank = "hollow"',), "throated"),
    ],
)
def test_a_hollow_that_can_not_be_is_refused_in_words(lines, words):
    with pytest.raises(FileFault, match=words):
        with_lines(*lines)


def test_a_hollow_of_a_spur_wheel_is_refused():
    text = (SCENARIOS / "05-two-start-hob" / "job.toml").read_text()
    with pytest.raises(FileFault, match="Only worm wheels have a hollow"):
        read_job_text(text.replace("[hob]", "rim_diameter = 200\n[hob]", 1))


def test_the_proof_of_order_07_says_it_and_stays_as_wanted():
    proof = prove(HOIST)
    assert proof.is_as_wanted
    assert "set-by-centres" in {finding.code for finding in proof.findings}
    assert proof.as_json()["sizes"]["centres"] == pytest.approx(85)
