"""What a proof says of the flanks: thin teeth, a class that isn't reached, and what would mend either."""

from __future__ import annotations

import math
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from handlead.machines.blanks.flank_checks import check_flanks
from handlead.machines.blanks.flanks import Flanks
from handlead.machines.blanks.witness import Cut
from handlead.machines.job_files.job_file import read_job
from handlead.machines.machine_files.machine_file import Imperfection
from handlead.machines.proving.proof import prove
from handlead.machines.setups.case import Case
from handlead.viz.pictures.pictures import flanks_of

SCENARIOS = Path(__file__).parents[2] / "scenarios"
PINION = read_job(SCENARIOS / "01-fly-winch-pair" / "pinion.toml")
FORGOTTEN = read_job(SCENARIOS / "26-lead-angle-forgotten" / "job.toml")
WORM = Imperfection("once per turn", "index worm", angle_deg=Fraction(1, 40), turn_of="driving")


def found(job, code):
    return [finding for finding in prove(job, cut="scratch").findings if finding.code == code]


def flawed(job, *imperfections):
    return replace(job, machine=replace(job.machine, imperfections=imperfections))


def test_a_head_that_is_off_is_told_by_the_thin_teeth_it_leaves():
    (thin,) = found(FORGOTTEN, "teeth-thin")
    # Order 26: hob of 3 in, 2.38° off, d²·R·cos α·cot α/2 on each flank (own derivation); the span loses it twice.
    off = math.radians(15 - 17 - 23 / 60)
    alpha = math.radians(20)
    span = -2 * 1000 * off**2 * 38.1 * math.cos(alpha) / math.tan(alpha) / 2
    assert thin.facts["span_um"] == pytest.approx(span, rel=0.06)
    assert thin.severity == "warning"
    assert "0.0071 in thinner" in thin.message
    assert "17° 23'" in thin.remedy


def test_following_the_remedy_for_thin_teeth_makes_them_right():
    swung = replace(FORGOTTEN.setup, swivel_deg=Fraction(17 * 60 + 23, 60))
    assert not found(FORGOTTEN.with_setup(swung), "teeth-thin")
    assert not found(PINION, "teeth-thin")


def test_thin_teeth_are_no_news_where_the_lead_is_wrong_or_the_hob_another():
    for order in ("23-differential-gears-swapped", "38-wrong-hob-from-the-rack"):
        proof = prove(read_job(SCENARIOS / order / "job.toml"), cut="scratch")
        assert proof.cut.flanks.thickness_um < -500
        assert "teeth-thin" not in {finding.code for finding in proof.findings}


def test_the_flanks_of_the_order_with_the_lead_angle_forgotten_are_what_every_passage_leaves():
    # Tried with all passages by an independent program: class 5, marks of 4.0 µm, single pitch 0.07 µm.
    flanks = prove(FORGOTTEN, cut="scratch").cut.flanks
    assert flanks.quality in (4, 5)
    assert flanks.feed_mark_um == pytest.approx(4.0, abs=0.1)
    assert flanks.single_pitch_um == pytest.approx(0.07, abs=0.02)


def test_a_stamped_lead_angle_that_the_diameter_denies_leaves_thin_teeth_too():
    # Set by a stamp that is 2° wrong the head stands as the drawing and the stamp have it, and yet it is off.
    stamped = replace(
        PINION.hob, lead_angle_deg=Fraction(PINION.hob.geometric_gamma_deg).limit_denominator(100) + 2
    )
    job = replace(PINION, hob=stamped)
    wanted = Fraction(round(60 * Case.of(job, job.setup).swivel_wanted_deg), 60)
    job = job.with_setup(replace(job.setup, swivel_deg=wanted))
    (thin,) = found(job, "teeth-thin")
    assert thin.remedy.startswith("Go by the lead angle that the hob's diameter has")
    flanks = prove(job, cut="scratch").cut.flanks
    assert flanks.feed_mark_um < 8


def test_a_set_up_that_is_as_wanted_says_when_the_machine_costs_it_the_class():
    job = flawed(PINION, WORM)
    proof = prove(job, cut="scratch")
    assert proof.is_as_wanted
    (warning,) = [finding for finding in proof.findings if finding.code == "class-not-reached"]
    assert warning.severity == "warning"
    assert warning.facts["wanted_class"] == 7
    assert warning.facts["class"] is None or warning.facts["class"] > 7
    assert warning.facts["found_um"] > warning.facts["allowed_um"]
    assert "without them it would be class 5" in warning.remedy
    assert not found(PINION, "class-not-reached")


def test_a_coarse_feed_that_costs_the_class_is_told_with_a_feed_that_reaches_it():
    fine = replace(PINION, work=replace(PINION.work, quality=3))
    (warning,) = found(fine, "class-not-reached")
    assert "class 5 at best" in warning.message
    assert "class 3" in warning.message
    assert "A feed of 1.2 mm" in warning.remedy
    assert Flanks.of(Case.of(fine, fine.setup)).fed(Fraction(12, 24)).measure().quality <= 3


def test_an_inch_job_reads_its_class_and_feed_in_inches():
    job = read_job(SCENARIOS / "08-inch-winch" / "job.toml")
    (warning,) = found(replace(job, work=replace(job.work, quality=3)), "class-not-reached")
    said = warning.message + warning.remedy
    assert " in, allowed 0.000" in said
    assert "in per table turn" in said
    assert "mm" not in said
    assert "µm" not in said


def test_where_nothing_reaches_the_class_no_feed_is_named():
    # Facets don't go with the feed: four gashes leave class 9 or so whatever it is.
    coarse = replace(PINION, work=replace(PINION.work, quality=4), hob=replace(PINION.hob, gashes=4))
    (warning,) = found(coarse, "class-not-reached")
    assert "A finer feed alone doesn't reach it" in warning.remedy


def test_flanks_that_no_involute_is_made_on_are_said_not_to_be_measured():
    cut = prove(PINION, cut="scratch").cut
    bare = Cut(replace(cut.measured, flanks=None))
    (note,) = check_flanks(Case.of(PINION, PINION.setup), bare, True)
    assert (note.code, note.severity) == ("flanks-not-measured", "note")
    other = Cut(replace(bare.measured, gauged=replace(bare.gauged, teeth=24)))
    assert not list(check_flanks(Case.of(PINION, PINION.setup), other, True))


def test_the_flanks_that_are_drawn_are_those_of_the_proof_with_the_machines_imperfections():
    job = flawed(PINION, WORM)
    case, clean = Case.of(job, job.setup), Case.of(PINION, PINION.setup)
    drawn, proved = flanks_of(case), Flanks.of(case).maps()
    for name, flank in drawn.items():
        np.testing.assert_array_equal(flank.deviation, proved[name].deviation)
    without = flanks_of(clean)["clockwise flank"].deviation
    assert 1000 * np.nanmax(np.abs(drawn["clockwise flank"].deviation - without)) > 5


def test_a_finer_feed_leaves_the_teeth_as_they_are():
    flanks = Flanks.of(Case.of(PINION, PINION.setup))
    finer, coarse = flanks.fed(Fraction(1, 2)).measure(), flanks.measure()
    assert finer.feed_mark_um < 0.5 * coarse.feed_mark_um
    assert finer.helix_slope_um == pytest.approx(coarse.helix_slope_um, abs=0.5)
    assert finer.cumulative_pitch_um < 0.5
