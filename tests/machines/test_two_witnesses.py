"""Train and blank side by side on machines that nobody tuned for: what agrees, what only looks as if it didn't."""

from __future__ import annotations

import math
from dataclasses import replace
from fractions import Fraction
from functools import cache
from pathlib import Path
from random import Random

import pytest
from handlead.kinematics.frame.motion import Rates
from handlead.kinematics.frame.words import Hand
from handlead.kinematics.work.requirement import HobData, Work
from handlead.machines.blanks.two_witnesses import compare, light_cut
from handlead.machines.blanks.witness import Cut, cut_blank
from handlead.machines.job_files.job_file import Job, read_job
from handlead.machines.judging.result_checks import check_count
from handlead.machines.proving.proof import Proof, prove, prove_case
from handlead.machines.setups.case import Case
from made_up import gone_wrong, right_job


@cache
def job_of(seed: int) -> Job:
    return right_job(Random(seed))


def running_at(work: Work, hob: HobData, spaces: Fraction, feed: str, swivel: str) -> Case:
    """A set-up of which nothing is known but that it makes so many spaces to a table turn, at this feed."""
    job = job_of(3)
    setup = replace(job.setup, swivel_deg=Fraction(swivel))
    case = Case.of(replace(job, work=work, hob=hob, setup=setup), setup)
    table = -hob.hand.value * hob.starts / spaces
    case.__dict__["rates"] = Rates(table, Fraction(feed) * abs(table))
    return case


def spur(teeth: int, module: str = "2") -> Work:
    return Work("spur", teeth, Fraction(module), face_width=Fraction(20))


HOB = HobData(Fraction(2), 1, Hand.RIGHT, Fraction("1.91"), Fraction(60))


def found(case: Case) -> dict[str, str]:
    cut = cut_blank(case)
    return {finding.code: finding.message for finding in (*compare(case, cut), *light_cut(case, cut))}


def test_half_way_between_two_counts_both_witnesses_say_what_is_there():
    codes = found(running_at(spur(21), HOB, Fraction(41, 2), "1", "1.91"))
    assert "witnesses-disagree" not in codes
    assert "20.5 spaces to a table turn" in codes["witnesses-differ"]
    assert "41 marks stand out" in codes["light-cut-marks"]
    assert "half-way between 20 and 21" in codes["light-cut-marks"]


@pytest.mark.parametrize("teeth", [20, 21])
def test_half_way_between_two_counts_neither_is_told_to_be_cut(teeth):
    case = running_at(spur(teeth), HOB, Fraction(41, 2), "1", "1.91")
    (finding,) = (one for one in check_count(case) if one.code == "wrong-count")
    assert f"half-way between 20 teeth and 21, and cuts neither; {teeth} are wanted" in finding.message


def test_twice_as_many_marks_as_spaces_in_a_turn_is_no_disagreement():
    codes = found(
        running_at(
            spur(127, "1.5"),
            replace(HOB, module_n=Fraction("1.5"), diameter=Fraction(45)),
            Fraction(255, 2),
            "1",
            "1.91",
        )
    )
    assert "witnesses-disagree" not in codes
    assert "255 marks stand out" in codes["light-cut-marks"]


def test_without_a_blank_the_marks_are_worked_out_from_the_rates():
    case = running_at(spur(21), HOB, Fraction(41, 2), "1", "1.91")
    (finding,) = light_cut(case, None)
    assert (finding.code, finding.severity) == ("light-cut-marks", "note")
    assert "41 marks stand out" in finding.message


def test_a_right_count_needs_no_word_on_its_marks():
    case = running_at(spur(21), HOB, Fraction(21), "1", "1.91")
    cut = cut_blank(case)
    assert not list(light_cut(case, cut))
    assert not list(compare(case, cut))


def test_marks_of_gashes_are_not_told_as_teeth():
    case = running_at(spur(30), HOB, Fraction(-30), "1", "1.91")
    cut = cut_blank(case)
    (finding,) = compare(case, cut)
    assert (finding.code, finding.severity) == ("gash-marks", "note")
    assert "single gashes" in finding.message
    value = cut.as_json()
    assert (value["teeth"], value["hand"], value["clean"]) == (None, None, False)
    assert value["light_marks"] is not None


def test_a_blank_without_teeth_is_set_beside_what_the_rates_stand_for():
    codes = found(running_at(spur(53), HOB, Fraction(1593, 10), "0.8", "1.91"))
    assert "159 teeth" in codes["witnesses-differ"]
    assert "no teeth that could be counted: the spaces merge" in codes["witnesses-differ"]


@pytest.mark.parametrize("part", ["0.01", "-0.02", "0.5"])
def test_another_number_of_spaces_to_a_turn_is_a_true_disagreement(part):
    case = running_at(spur(30), HOB, Fraction(30), "1", "1.91")
    cut = cut_blank(case)
    lying = running_at(spur(30), HOB, 30 + Fraction(part), "1", "1.91")
    assert "witnesses-disagree" in {finding.code for finding in compare(lying, cut)}


def test_another_lead_at_the_same_count_is_a_true_disagreement():
    case = running_at(spur(30), HOB, Fraction(30), "1", "1.91")
    cut = cut_blank(case)
    gauged = replace(cut.gauged, hand="right", lead_mm=900.0)
    (finding,) = compare(case, Cut(replace(cut.measured, gauged=gauged)))
    assert finding.code == "witnesses-disagree"
    assert "900.00 mm right measured" in finding.message


def test_another_count_that_joins_plainly_is_a_true_disagreement():
    case = running_at(spur(30), HOB, Fraction(30), "1", "1.91")
    cut = cut_blank(case)
    assert cut.gauged.is_plain
    (finding,) = compare(case, Cut(replace(cut.measured, gauged=replace(cut.gauged, teeth=31))))
    assert finding.code == "witnesses-disagree"


def test_a_feed_too_coarse_for_a_light_cut_is_not_cut_at():
    case = running_at(spur(30), HOB, Fraction(30), "40", "1.91")
    findings = prove_case(case, cut="scratch").findings
    (why,) = (finding.message for finding in findings if finding.code == "not-cut")
    assert "40.0 mm" in why


def worm_wheel_at(spaces: Fraction, teeth: int, starts: int, feed: str) -> Case:
    """A worm wheel cut with so many spaces to a table turn; `feed` "in", "across", "across, not rolling", "by hand"."""
    hob = HobData(Fraction(2), starts, Hand.RIGHT, None, Fraction(32))
    gamma = math.radians(hob.gamma_deg or 0)
    angle = Fraction(math.degrees(gamma)).limit_denominator(1000)
    work = Work(
        "worm wheel", teeth, Fraction(2), hand=Hand.RIGHT, helix_angle_deg=angle, face_width=Fraction(16)
    )
    case = running_at(work, hob, spaces, "1", "0")
    table = -starts / spaces
    across = abs(table) * Fraction(2, 5)
    rolling = Fraction(math.cos(gamma) / (2 * math.pi * teeth)) if feed == "across" else 0
    case.__dict__["rates"] = {
        "in": Rates(table, radial=table / 5),
        "by hand": Rates(table),
    }.get(feed, Rates(table + across * rolling, tangential=across))
    return case


@pytest.mark.parametrize("feed", ["in", "across", "by hand"])
@pytest.mark.parametrize("starts", [1, 3])
def test_a_right_worm_wheel_gives_nothing_to_say(feed, starts):
    assert not found(worm_wheel_at(Fraction(34), 34, starts, feed))


@pytest.mark.parametrize("feed", ["in", "across", "across, not rolling", "by hand"])
@pytest.mark.parametrize("spaces", ["34 1/3", "34 2/5", "33 1/2"])
def test_a_worm_wheel_whose_spaces_dont_meet_is_no_disagreement(feed, spaces):
    whole, part = spaces.split()
    case = worm_wheel_at(Fraction(whole) + Fraction(part), 34, 2, feed)
    codes = found(case)
    assert "witnesses-disagree" not in codes
    assert codes


@pytest.mark.parametrize("feed", ["in", "across"])
def test_a_worm_wheel_with_another_count_on_it_is_a_true_disagreement(feed):
    cut = cut_blank(worm_wheel_at(Fraction(34), 34, 1, feed))
    for other in (35, 17, 68):
        (finding,) = compare(worm_wheel_at(Fraction(other), other, 1, feed), cut)
        assert finding.code == "witnesses-disagree"


CASES = Path(__file__).parents[1] / "cases"


def test_a_range_lever_at_many_teeth_is_computed_as_it_is_measured():
    value = prove(read_job(CASES / "hallowick-range.toml"), cut="scratch").as_json()
    for witness in (value["train"], value["cut"]):
        assert (witness["teeth"], witness["hand"]) == (63, "right")
        assert witness["lead_mm"] == pytest.approx(494.100, abs=5e-4)
    assert value["train"]["helix_angle_deg"] is None
    assert not {"witnesses-disagree", "witnesses-differ"} & {one["code"] for one in value["findings"]}


def test_both_figures_are_told_in_the_units_of_the_job():
    proof = prove(read_job(CASES / "wexcombe-not-owned.toml"), cut="scratch")
    messages = {finding.code: finding.message for finding in proof.findings}
    assert "20 teeth, left hand, lead 1.412 in" in messages["witnesses-differ"]
    assert "41 teeth, right hand, lead 12.140 in" in messages["witnesses-differ"]
    assert "41 marks stand out" in messages["light-cut-marks"]


# Machines made up at random, right and wrong


def proof_of(seed: int) -> tuple[Proof, bool]:
    """A made-up set-up proved on its simulated blank, and whether it is right: every third is."""
    random = Random(seed)
    job = right_job(random)
    right = seed % 3 == 0
    setup = job.setup if right else gone_wrong(random, job)
    assert setup is not None
    return prove_case(Case.of(replace(job, setup=setup), setup), cut="scratch"), right


@pytest.mark.parametrize("seed", range(24))
def test_the_blanks_of_made_up_machines_neither_contradict_nor_come_out_unclean(seed):
    proof, right = proof_of(seed)
    codes = {finding.code for finding in proof.findings}
    assert "witnesses-disagree" not in codes
    if right:
        assert proof.cut is not None
        assert proof.cut.gauged.clean, proof.cut.gauged.notes
        assert not codes & {"witnesses-differ", "teeth-not-clean", "light-cut-marks", "gash-marks", "not-cut"}
    computed = proof.computed.outcome
    if proof.cut is not None and computed is not None and computed.teeth is not None:
        seen = proof.cut.gauged
        alike = (seen.teeth, seen.hand) == (computed.teeth, computed.hand.word if computed.hand else "none")
        assert alike or "witnesses-differ" in codes
