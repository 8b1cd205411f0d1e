"""What a proof says of the teeth and of the pair: undercut, points, hands, centres, backlash, contact, clearance."""

from __future__ import annotations

import json
import math

import pytest
from handlead.kinematics.frame.words import Hand
from handlead.kinematics.gears.gear import Gear
from handlead.kinematics.gears.pair import (
    crossing_angle,
    distance_without_backlash,
    run_together,
    tip_thickness,
)
from handlead.machines.job_files.job_file import read_job_text
from handlead.machines.proving.proof import prove
from handlead.machines.written.writing import job_text
from handlead.viz.command import main
from hypothesis import given, settings
from hypothesis import strategies as st

PAIR = """format = "job/1"
machine = "corvane-7"
[work]
kind = "spur"
teeth = 12
module = 3
profile_shift = 0.6
face_width = 30
[mate]
teeth = 24
profile_shift = 0.36
centre_distance = 56.5
[hob]
module = 3
diameter = 70
[setup]
"""

HELICAL = """format = "job/1"
machine = "corvane-7"
[work]
kind = "helical"
teeth = 23
module = 3
helix_angle = 22
hand = "right"
face_width = 36
[mate]
teeth = 74
[hob]
module = 3
diameter = 70
[setup]
"""


def proof_of(text, *changes):
    for before, after in changes:
        assert before in text, before
        text = text.replace(before, after, 1)
    return prove(read_job_text(text))


def found(proof, *codes):
    return {each.code: each for each in proof.judged if each.code in codes}


ABOUT_TEETH = ("undercut", "pointed-tips")
ABOUT_PAIRS = (
    "pair-shafts", "pair-unlike", "pair-cant-run", "no-backlash", "loose-pair", "contact-ratio", "tip-clearance",
    "root-fouled",
)  # fmt: skip


def test_the_shifted_pair_of_the_handbooks_runs_as_printed():
    """12 and 24 teeth of module 3, x 0.6 and 0.36: working angle 26.0886 deg, centres 56.4999 (stock-gear handbook, from
    memory); at 56.5 mm the shifts must sum to 0.96."""
    pair = proof_of(PAIR).pair.running
    assert pair.working_pressure_angle_deg == pytest.approx(26.0886, abs=0.0005)
    assert pair.shift_sum == pytest.approx(0.96, abs=0.0002)
    assert abs(pair.backlash) < 0.0002
    assert not found(proof_of(PAIR), *ABOUT_TEETH, *ABOUT_PAIRS)
    assert proof_of(PAIR, ("centre_distance = 56.5\n", "")).pair.running.centre_distance == pytest.approx(56.4999, abs=5e-5)


def test_centres_in_inches_are_the_same_centres():
    inches = PAIR.replace("[work]", 'units = "in"\n[work]', 1).replace("56.5", f"{56.5 / 25.4:.8f}")
    inches = inches.replace("= 30", "= 1.2").replace("diameter = 70", "diameter = 2.75")
    assert proof_of(inches).pair.running.shift_sum == pytest.approx(0.96, abs=0.0002)


def test_shifts_that_do_not_go_with_the_centres_are_said_with_those_that_would():
    loose = found(proof_of(PAIR, ("profile_shift = 0.6", "profile_shift = 0.3")), "loose-pair", "no-backlash")
    assert "0.9601" in loose["loose-pair"].message
    tight = found(proof_of(PAIR, ("profile_shift = 0.6", "profile_shift = 0.8")), "loose-pair", "no-backlash")
    assert tight["no-backlash"].severity == "error"


def test_a_backlash_allowance_is_the_backlash():
    """Each tooth thinner by 0.1 mm normal to it leaves 0.2 cos 20 deg along the base tangent."""
    thinned = HELICAL.replace("face_width = 36", "face_width = 36\nthinning = 0.1")
    assert proof_of(thinned).pair.running.backlash == pytest.approx(0.2 * math.cos(math.radians(20)), abs=1e-4)


def test_two_right_hands_do_not_run_on_parallel_shafts():
    both = found(proof_of(HELICAL, ("teeth = 74", 'teeth = 74\nhand = "right"')), *ABOUT_PAIRS)
    assert both["pair-shafts"].severity == "error"
    assert "right-hand" in both["pair-shafts"].message
    crossed = proof_of(HELICAL, ("teeth = 74", 'teeth = 74\nhand = "right"\ncrossing_angle = 44'))
    assert not found(crossed, *ABOUT_PAIRS)
    assert crossed.pair is None


def test_a_crossed_pair_has_like_hands_unless_it_says_otherwise_and_its_angles_must_sum():
    assert not found(proof_of(HELICAL, ("teeth = 74", "teeth = 74\ncrossing_angle = 44")), *ABOUT_PAIRS)
    wrong = found(proof_of(HELICAL, ("teeth = 74", "teeth = 74\ncrossing_angle = 45")), *ABOUT_PAIRS)
    assert "44" in wrong["pair-shafts"].message


def test_a_mate_of_another_helix_or_module_is_refused():
    assert "pair-shafts" in found(proof_of(HELICAL, ("teeth = 74", "teeth = 74\nhelix_angle = 23")), *ABOUT_PAIRS)
    assert "pair-unlike" in found(proof_of(PAIR, ("teeth = 24", "teeth = 24\nmodule = 3.5")), *ABOUT_PAIRS)


@pytest.mark.parametrize(
    ("teeth", "shift", "code"), [(8, 0, "undercut"), (8, 1.3, "pointed-tips"), (12, 0.3, None), (12, 0.29, "undercut")]
)
def test_few_teeth_are_undercut_or_pointed(teeth, shift, code):
    """8 teeth: least shift 1 - 8 sin^2 20 deg / 2 = 0.532 (rack A of ISO 53, straight to one module)."""
    said = found(proof_of(PAIR, ("teeth = 12", f"teeth = {teeth}"), ("= 0.6", f"= {shift}")), *ABOUT_TEETH)
    assert set(said) == ({code} if code else set())
    if teeth == 8 and code == "undercut":
        assert said[code].facts["least_shift"] == pytest.approx(0.532, abs=0.0005)
        assert "0.532" in said[code].message


def test_blanks_too_large_leave_no_clearance_and_too_small_no_contact():
    large = found(proof_of(PAIR, ("face_width", "outside_diameter = 46\nface_width")), *ABOUT_PAIRS)
    assert "tip-clearance" in large
    small = found(proof_of(PAIR, ("face_width", "outside_diameter = 41\nface_width")), *ABOUT_PAIRS)
    assert "contact-ratio" in small


def test_teeth_that_never_meet_are_said_so_and_not_counted_below_none():
    far = found(proof_of(PAIR, ("teeth = 12", "teeth = 8")), *ABOUT_PAIRS)["contact-ratio"]
    assert far.severity == "error"
    assert far.message.startswith("At these centres no tooth reaches")
    assert "-" not in far.message.split(";")[0]


@pytest.mark.parametrize(("units", "words"), [("mm", "unlike modules, 3 and 4"), ("in", "unlike diametral pitches, 8.46667 and 6.35")])
def test_unlike_pitches_are_said_before_any_crossing_of_shafts_in_the_drawing_s_units(units, words):
    """Neither would run crossed: the advice for unlike helices must not be given."""
    text = HELICAL.replace("[work]", f'units = "{units}"\n[work]', 1)
    said = found(proof_of(text, ("teeth = 74", "teeth = 74\nmodule = 4\nhelix_angle = 10")), *ABOUT_PAIRS)
    assert set(said) == {"pair-unlike"}
    assert words in said["pair-unlike"].message


def test_an_unshifted_small_pinion_is_fouled_by_a_large_wheel():
    text = PAIR.replace("profile_shift = 0.6\n", "").replace("profile_shift = 0.36\ncentre_distance = 56.5\n", "")
    assert "root-fouled" in found(proof_of(text, ("teeth = 24", "teeth = 80")), *ABOUT_PAIRS)


def test_a_pair_whose_hands_do_not_go_together_has_no_sizes():
    assert proof_of(HELICAL, ("teeth = 74", 'teeth = 74\nhand = "right"')).pair is None
    assert proof_of(PAIR, ("teeth = 24", "teeth = 24\nmodule = 3.5")).pair is None


def test_teeth_that_do_not_go_in_have_no_advice_on_their_tips():
    """At 50 mm instead of 56.5 the tips would stand far in the other's metal: turning a blank down is no remedy."""
    tight = found(proof_of(PAIR, ("56.5", "52")), *ABOUT_PAIRS)
    assert set(tight) == {"no-backlash"}


@pytest.mark.parametrize(("units", "centres", "unit"), [("mm", "40", "mm"), ("in", "1.5", "in")])
def test_centres_at_which_no_involutes_meet_are_said_in_the_job_s_units(units, centres, unit):
    text = PAIR.replace('machine = "corvane-7"', f'machine = "corvane-7"\nunits = "{units}"')
    if units == "in":
        text = text.replace("diameter = 70", "diameter = 2.75").replace("face_width = 30", "face_width = 1.2")
    said = found(proof_of(text, ("56.5", centres)), *ABOUT_PAIRS)["pair-cant-run"].message
    assert f"0 {unit} centres" in said
    assert f"{ {'mm': '50.743 mm', 'in': '1.9978 in'}[units] }" in said


def test_what_a_pair_has_of_its_own_is_written_and_read_again():
    for more in ("centre_distance = 157", "crossing_angle = 44"):
        job = read_job_text(HELICAL.replace("teeth = 74", f"teeth = 74\n{more}"))
        again = read_job_text(job_text(job))
        assert (again.mate, again.centre_distance, again.crossing_angle_deg) == (
            job.mate, job.centre_distance, job.crossing_angle_deg
        )  # fmt: skip


def test_the_json_of_a_proof_has_the_pair():
    assert proof_of(HELICAL).as_json()["pair"]["overlap_ratio"] == pytest.approx(
        36 * math.sin(math.radians(22)) / (3 * math.pi)
    )
    assert "pair" not in proof_of(HELICAL, ("[mate]\nteeth = 74\n", "")).as_json()


@given(
    st.integers(12, 60), st.integers(12, 90), st.floats(0, 0.6), st.floats(0, 0.6),
    st.sampled_from([0.0, 12.0, 25.0]),
)  # fmt: skip
@settings(max_examples=60, deadline=None)
def test_at_the_distance_without_backlash_there_is_none(teeth, other, shift, shift_other, angle):
    hands = (Hand.RIGHT, Hand.LEFT) if angle else (None, None)
    one = Gear(teeth, 2, angle, hands[0], profile_shift=shift)
    two = Gear(other, 2, angle, hands[1], profile_shift=shift_other)
    distance = distance_without_backlash(one, two)
    run = run_together(
        one, two, (one.tip_diameter, two.tip_diameter), (one.root_diameter, two.root_diameter), distance
    )
    assert run.backlash == pytest.approx(0, abs=1e-9)
    assert run.shift_sum == pytest.approx(shift + shift_other, abs=1e-9)
    bases = (one.base_diameter + two.base_diameter) / 2
    assert run.working_pressure_angle_deg == pytest.approx(math.degrees(math.acos(bases / distance)))


@given(st.integers(15, 80), st.floats(-0.2, 0.5))
@settings(max_examples=40, deadline=None)
def test_a_tooth_at_its_reference_circle_is_as_thick_as_the_drawing_says(teeth, shift):
    gear = Gear(teeth, 2, 20, Hand.RIGHT, profile_shift=shift)
    assert tip_thickness(gear, gear.reference_diameter) == pytest.approx(gear.normal_thickness, rel=1e-9)


def test_like_hands_add_and_unlike_hands_take_off():
    assert crossing_angle(45, Hand.RIGHT, 45, Hand.RIGHT) == 90
    assert crossing_angle(20, Hand.RIGHT, 20, Hand.LEFT) == 0
    assert crossing_angle(0, None, 30, Hand.LEFT) == 30


def test_a_plan_says_before_it_is_cut_that_the_pair_can_not_run(tmp_path, capsys):
    path = tmp_path / "rights.toml"
    path.write_text(HELICAL.replace("teeth = 74", 'teeth = 74\nhand = "right"').replace("[setup]\n", ""))
    assert main(["plan", str(path), "--top", "1"]) == 1
    said = " ".join(capsys.readouterr().out.split())
    assert "on parallel shafts one must be right, the other left" in said
    assert "still mates" not in said
    assert main(["plan", str(path), "--top", "1", "--json"]) == 1
    (finding,) = json.loads(capsys.readouterr().out)["pair_findings"]
    assert finding["code"] == "pair-shafts"


# ---------------------------------------------------------------- rim, least backlash, crossed pairs


def in_inches(text):
    """The same job in inches, to the last digit that a drawing has."""
    text = text.replace('machine = "corvane-7"', 'machine = "corvane-7"\nunits = "in"')
    for before, after in (("diameter = 70", "diameter = 2.75591"), ("face_width = 30", "face_width = 1.1811"), ("56.5", "2.224409"),
                          ("bore = 25", "bore = 0.984252"), ("bore = 34", "bore = 1.338583"), ("least_backlash = 0.08", "least_backlash = 0.00315")):  # fmt: skip
        text = text.replace(before, after)
    return text


@pytest.mark.parametrize("units", ["mm", "in"])
def test_a_rim_thinner_than_the_teeth_bear_is_warned_of_and_a_bore_through_the_roots_refused(units):
    def said(bore):
        text = PAIR.replace("face_width = 30", f"face_width = 30\nbore = {bore}", 1)
        return found(proof_of(text if units == "mm" else in_inches(text)), "thin-rim").get("thin-rim")

    # Roots at 36 + 3.6 - 7.5 = 32.1 mm, teeth 6.15 mm deep (blank 45.6 less nothing: (45.6 - 32.1) / 2 = 6.75).
    thin = said(25)
    assert thin.severity == "warning" and thin.facts["rim_mm"] == pytest.approx((32.1 - 25) / 2, abs=1e-3)
    assert thin.facts["least_mm"] == pytest.approx(1.2 * 6.75, abs=1e-3)
    assert ("3.550 mm" if units == "mm" else "0.1398 in") in thin.message
    assert said(34).severity == "error"
    assert said(10 if units == "mm" else 0.4) is None


def test_a_bore_is_not_the_mate_s_unless_it_says_so():
    job = read_job_text(PAIR.replace("face_width = 30", "face_width = 30\nbore = 10", 1).replace("teeth = 24", "teeth = 24\nbore = 20"))
    assert (job.work.bore, job.mate.bore) == (10, 20)
    again = read_job_text(job_text(job))
    assert (again.work, again.mate) == (job.work, job.mate)
    assert read_job_text(PAIR.replace("face_width = 30", "face_width = 30\nbore = 10", 1)).mate.bore is None


@pytest.mark.parametrize("units", ["mm", "in"])
def test_less_backlash_than_asked_is_warned_of_and_less_than_usual_noted(units):
    def said(text):
        proof = proof_of(text if units == "mm" else in_inches(text))
        return found(proof, "little-backlash").get("little-backlash"), proof.pair.as_json()

    usual, sizes = said(PAIR)
    assert usual.severity == "note" and "common practice" in usual.message
    # 2/3 (0.06 + 0.0005 · 56.5 + 0.03 · 3)
    assert sizes["least_backlash"] == pytest.approx(0.118833, abs=1e-5)
    asked, sizes = said(PAIR.replace("centre_distance", "least_backlash = 0.08\ncentre_distance"))
    assert asked.severity == "warning" and sizes["least_backlash_from"] == "drawing"
    assert ("0.080 mm" if units == "mm" else "0.0032 in") in asked.message
    thinned, _ = said(PAIR.replace("face_width = 30", f"face_width = 30\nthinning = {'0.07' if units == 'mm' else '0.00276'}", 1))
    assert thinned is None, "the mate's teeth are thinner by as much"


def test_what_the_remedy_for_little_backlash_says_takes_it_away():
    proof = proof_of(PAIR)
    missing = proof.pair.least_backlash - proof.pair.running.backlash
    # Along the reference circles; each tooth by half of it over the cosine of the pressure angle.
    each = missing / 2 / math.cos(math.radians(20))
    assert not found(proof_of(PAIR.replace("face_width = 30", f"face_width = 30\nthinning = {each:.4f}", 1)), "little-backlash")


@pytest.mark.parametrize("units", ["mm", "in"])
def test_a_crossed_pair_has_its_distance_and_its_angle(units, capsys):
    text = HELICAL.replace("teeth = 74", "teeth = 74\ncrossing_angle = 44")
    if units == "in":
        text = text.replace('machine = "corvane-7"', 'machine = "corvane-7"\nunits = "in"').replace("= 70", "= 2.75").replace("= 36", "= 1.4")
    crossed = proof_of(text).as_json()["crossed_pair"]
    assert crossed["crossing_angle_deg"] == 44
    # (23 + 74) · 3 / cos 22° / 2
    assert crossed["centre_distance_without_backlash"] == pytest.approx(156.927, abs=0.001)
    assert crossed["sliding"] == pytest.approx(math.sin(math.radians(44)) / math.cos(math.radians(22)))
    assert "crossed_pair" not in proof_of(HELICAL).as_json()


def test_the_sheet_has_the_centres_of_either_kind_of_pair():
    import datetime

    from handlead.viz.sheet_words.words import sheet_words

    def rows(text):
        return repr(sheet_words(prove(read_job_text(text)), datetime.date(2026, 1, 5)))

    assert "centres  a" in rows(PAIR) and "56.500 mm" in rows(PAIR)
    assert "shafts cross at" in rows(HELICAL.replace("teeth = 74", "teeth = 74\ncrossing_angle = 44"))
    assert "bore" in rows(PAIR.replace("face_width = 30", "face_width = 30\nbore = 10", 1))
