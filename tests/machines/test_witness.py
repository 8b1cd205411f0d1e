"""The blank beside the train: both say the same of every shipped order, and neither hides behind the other."""

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from handlead.kinematics.frame.motion import Rates
from handlead.machines.blanks.two_witnesses import compare
from handlead.machines.blanks.witness import Cut, NotCut, cut_blank, hob_of
from handlead.machines.job_files.job_file import read_job
from handlead.machines.proving.proof import prove
from handlead.machines.setups.case import Case

SCENARIOS = Path(__file__).parents[2] / "scenarios"
JOBS = sorted(path for path in SCENARIOS.glob("*/*.toml") if "job/1" in path.read_text())


@pytest.mark.parametrize("path", JOBS, ids=lambda path: path.parent.name)
def test_the_blank_never_contradicts_the_train(path):
    job = read_job(path)
    if job.setup is None:
        pytest.skip("a job to plan: nothing is set up")
    proof = prove(job, cut="scratch")
    assert "witnesses-disagree" not in {finding.code for finding in proof.findings}


@pytest.mark.parametrize(
    "path", [path for path in JOBS if path.parent.name < "20"], ids=lambda p: p.parent.name
)
def test_right_orders_come_out_clean(path):
    proof = prove(read_job(path), cut="scratch")
    assert proof.is_as_wanted
    assert proof.cut is not None
    assert proof.cut.gauged.teeth == proof.case.job.work.teeth
    assert proof.cut.gauged.clean, proof.cut.gauged.notes


def test_a_blank_that_says_otherwise_is_the_gravest_finding():
    job = read_job(SCENARIOS / "01-fly-winch-pair" / "pinion.toml")
    case = Case.of(job, job.setup)
    cut = cut_blank(case)
    other = replace(cut.measured, gauged=replace(cut.gauged, teeth=24))
    (finding,) = compare(case, Cut(other))
    assert (finding.code, finding.severity) == ("witnesses-disagree", "error")


def test_a_hob_of_no_size_is_not_cut_with():
    job = read_job(SCENARIOS / "01-fly-winch-pair" / "pinion.toml")
    bare = replace(job.hob, diameter=None, outside_diameter=None, lead_angle_deg=None)
    with pytest.raises(NotCut, match="size"):
        hob_of(job.work, bare)
    assert "not-cut" in {finding.code for finding in prove(replace(job, hob=bare), cut="scratch").findings}


def test_the_flanks_of_a_right_set_up_have_their_class_and_marks():
    cut = prove(read_job(SCENARIOS / "01-fly-winch-pair" / "pinion.toml"), cut="scratch").as_json()["cut"]
    assert cut["class"] <= 7
    assert 0 < cut["ripple_um"] < 20
    assert abs(cut["helix_slope_um"]) < 1


@pytest.mark.parametrize(
    "rates",
    [
        Rates(table=Fraction(-1, 10**400), axial=Fraction(1, 20)),
        Rates(table=Fraction(-(10**400)), axial=Fraction(1, 20)),
        Rates(table=Fraction(-1, 23), axial=Fraction(10**400)),
        Rates(table=Fraction(-1, 23), axial=Fraction(1, 10**400)),
        Rates(table=Fraction(-1, 23), axial=Fraction(1, 10**7)),
    ],
    ids=["slow table", "fast table", "fast feed", "no feed to speak of", "fine feed"],
)
def test_rates_out_of_all_measure_are_not_cut_at(rates):
    job = read_job(SCENARIOS / "01-fly-winch-pair" / "pinion.toml")
    case = Case.of(job, job.setup)
    case.__dict__["rates"] = rates
    with pytest.raises(NotCut, match=r"measure|for ever"):
        cut_blank(case)


def test_a_sprocket_is_cut_with_the_round_tips_of_its_own_hob():
    job = read_job(SCENARIOS / "09-curtain-sprocket" / "job.toml")
    case = Case.of(job, job.setup)
    cut = cut_blank(case, "full")
    assert (cut.gauged.teeth, cut.gauged.hand) == (19, "none")
    assert cut.gauged.clean, cut.gauged.notes
    # 08B, 19 teeth: pitch circle 12.7/sin(180/19) = 77.159, less the roller of 8.51 (ISO 606).
    assert 2 * cut.measured.field.radius.min() == pytest.approx(77.159 - 8.51, abs=0.02)


@pytest.mark.parametrize("order", ["06-orchestra-lift", "07-trap-hoist"])
def test_worm_wheels_are_cut_to_full_depth(order):
    job = read_job(SCENARIOS / order / "job.toml")
    case = Case.of(job, job.setup)
    cut = cut_blank(case, "full")
    assert cut.gauged.teeth == job.work.teeth
    assert cut.gauged.clean, cut.gauged.notes
    assert 2 * cut.measured.field.radius.min() == pytest.approx(case.sizes.root_diameter, abs=0.05)


def test_a_hob_that_goes_away_from_the_work_leaves_no_teeth_on_it():
    proof = prove(read_job(SCENARIOS / "45-infeed-reversed" / "job.toml"), cut="scratch")
    assert proof.cut is None
    (why,) = (finding.message for finding in proof.findings if finding.code == "not-cut")
    assert "away from the work" in why
