"""The second cut of an order, made on its blank beside the reckoning."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from handlead.machines.blanks.second_cuts import compare_cuts
from handlead.machines.job_files.job_file import read_job
from handlead.machines.proving.proof import Proof, prove

SCENARIOS = Path(__file__).parents[2] / "scenarios"


def proof_of(order: str) -> Proof:
    return prove(read_job(SCENARIOS / order / "job.toml"), cut="scratch")


def test_a_cut_brought_back_through_the_gears_falls_in_on_the_blank_too():
    proof = proof_of("13-second-cut")
    messages = {finding.code: finding.message for finding in proof.findings}
    assert proof.is_as_wanted
    assert "falls into the spaces of the first cut on the simulated blank" in messages["second-cut-measured"]


def test_a_rapid_return_leaves_the_miss_on_the_blank_that_was_reckoned():
    proof = proof_of("44-rapid-return")
    (cut,) = proof.as_json()["register"]["cuts"]
    # 15242/47259 of a pitch, from the gears: see the order's own reckoning.
    assert cut["measured_miss_pitch_low"] == pytest.approx(15242 / 47259, abs=1e-4)
    assert cut["measured_miss_pitch_high"] == pytest.approx(15242 / 47259, abs=1e-4)
    messages = {finding.code: finding.message for finding in proof.findings}
    assert "0.3225 of a pitch counter-clockwise" in messages["second-cut-measured"]


@pytest.mark.parametrize("off", [Fraction(1, 50), Fraction(-1, 3)])
def test_a_blank_that_says_otherwise_of_a_second_cut_is_a_contradiction(off):
    (cut,) = proof_of("44-rapid-return").cut_again
    lying = replace(cut.missed, low=cut.missed.low + off, high=cut.missed.high + off)
    (finding,) = compare_cuts((replace(cut, missed=lying),))
    assert (finding.code, finding.severity) == ("witnesses-disagree", "error")
    drifting = replace(cut.missed, high=cut.missed.high + off)
    (finding,) = compare_cuts((replace(cut, missed=drifting),))
    assert finding.code == "witnesses-disagree"


def test_whole_pitches_make_no_contradiction():
    (cut,) = proof_of("44-rapid-return").cut_again
    on = replace(cut.missed, low=cut.missed.low + 2, high=cut.missed.high + 2)
    (finding,) = compare_cuts((replace(cut, missed=on),))
    assert finding.code == "second-cut-measured"


def test_a_blank_that_shows_no_spaces_is_said_to():
    (cut,) = proof_of("44-rapid-return").cut_again
    (finding,) = compare_cuts((replace(cut, measured=None),))
    assert (finding.code, finding.severity) == ("second-cut-not-measured", "note")
