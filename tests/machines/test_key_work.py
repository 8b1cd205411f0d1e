"""Jobs of straight-sided keys: read, proved, measured and put on the sheet, in mm and in inches."""

import datetime
import re

import pytest
from handlead.machines.job_files.job_file import read_job_text
from handlead.machines.measuring.part_sizes import part_sizes
from handlead.machines.proving.proof import prove
from handlead.machines.toml.errors import FileFault
from handlead.machines.written.writing import job_text
from handlead.viz.sheet_words.words import sheet_words

JOB = """format  = "job/1"
title   = "Keys"
machine = "ombrecht-l8"
[work]
kind   = "spline"
teeth  = 16
key_width = 5
minor_diameter   = 52
outside_diameter = 60
face_width = 20
[hob]
diameter = 70
gashes = 12
[setup]
swivel = { angle = "3d 4m", turn = "counter-clockwise" }
[setup.levers]
range = "coarse"
feed  = "towards the spindle"
differential = "out"
[setup.change]
"index gears" = { gears = [50, 40], idlers = [36] }
"feed gears"  = { gears = [25, 20], idlers = [22] }
"""

INCH = (
    JOB.replace('"ombrecht-l8"', '"ombrecht-l8"\nunits = "in"')
    .replace("key_width = 5", 'key_width = "0.2"')
    .replace("= 52", '= "2.05"')
    .replace("= 60", '= "2.375"')
    .replace("= 20\n[hob]", '= "3/4"\n[hob]')
    .replace("diameter = 70", 'diameter = "2 3/4"')
)


def found(text, **asked):
    proof = prove(read_job_text(text), **asked)
    return proof, {finding.code: finding for finding in proof.findings}


def complaint(text):
    with pytest.raises(FileFault) as fault:
        read_job_text(text)
    return str(fault.value)


def test_keys_are_measured_on_the_blank_as_a_micrometer_would():
    proof, findings = found(JOB, cut="scratch")
    assert proof.is_as_wanted
    assert proof.cut.keys.keys == 16
    assert proof.cut.keys.width == pytest.approx(5, abs=0.02)
    assert proof.cut.keys.parallel_um < 20
    assert findings["keys-measured"].facts["width_mm"] == proof.cut.keys.width
    assert "5.00" in findings["keys-measured"].message
    assert proof.cut.flanks is None


def test_a_swivel_that_is_wrong_shows_on_the_micrometer():
    good, _ = found(JOB, cut="scratch")
    wrong, _ = found(JOB.replace("3d 4m", "2d 10m"), cut="scratch")
    assert wrong.cut.keys.width < good.cut.keys.width - 0.005


def test_keys_in_inches_are_told_in_inches():
    proof, findings = found(INCH, cut="scratch")
    assert proof.cut.keys.width == pytest.approx(5.08, abs=0.02)
    assert re.search(r"keys 0\.200\d in wide", findings["keys-measured"].message)
    assert "2.171 in across" in findings["fillet-at-the-keys"].message
    assert part_sizes(proof.case).key_width == pytest.approx(5.08)


def test_no_class_of_gears_is_claimed_for_keys():
    _, findings = found(JOB)
    assert "no involute and no class" in findings["standard-doesnt-cover"].message


def test_sides_that_must_be_straight_further_down_than_a_hob_leaves_them_are_told_before_the_cut():
    proof, findings = found(JOB.replace("face_width", "form_diameter = 53\nface_width"))
    assert not proof.is_as_wanted
    assert "No hob of this kind does" in findings["keys-not-straight-far-enough"].remedy
    _, findings = found(JOB.replace("face_width", "form_diameter = 54.93\nface_width"))
    remedy = findings["keys-not-straight-far-enough"].remedy
    rolling = float(re.search(r"roll on ([\d.]+) mm", remedy)[1])
    # The hob that is advised does it.
    better = JOB.replace("face_width", f"module = {rolling / 16}\nform_diameter = 54.93\nface_width")
    proof, findings = found(better)
    assert "keys-not-straight-far-enough" not in findings


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("minor_diameter   = 52\n", "", '"minor_diameter" is missing'),
        ("outside_diameter = 60\n", "", '"outside_diameter" is missing'),
        ("key_width = 5\n", "", '"key_width" is missing'),
        ("key_width = 5", "key_width = 11", "leave room for less than"),
        ("key_width = 5", "key_width = 5\nthinning = 0.1", "straight-sided keys"),
        ("key_width = 5", 'key_width = 5\nhelix_angle = "10d"\nhand = "left"', "straight-sided keys"),
        ("key_width = 5", "key_width = 5\nmodule = 3.7", "come out straight to their tops only from"),
        ("key_width = 5", "key_width = 5\nform_diameter = 51", "between the minor diameter"),
        ('kind   = "spline"', 'kind   = "spur"\nmodule = 3', "Only splines have keys"),
        ("[hob]", "[mate]\nteeth = 20\n[hob]", "no hob cuts"),
        ("key_width = 5\nminor_diameter   = 52", "key_width = 1\nminor_diameter   = 35", "pointed before"),
    ],
)
def test_keys_that_no_hob_can_cut_are_refused(old, new, words):
    assert old in JOB
    assert words in complaint(JOB.replace(old, new))


def test_a_hob_of_another_pitch_is_not_the_one_for_these_keys():
    proof, findings = found(JOB.replace("[hob]\n", "[hob]\nmodule = 4\n"), cut="scratch")
    assert not proof.is_as_wanted
    assert "made for these keys" in findings["hob-doesnt-suit"].remedy
    assert proof.cut.keys is None


def test_keys_written_out_are_read_as_they_were():
    for text in (JOB, INCH):
        job = read_job_text(text)
        again = read_job_text(job_text(job))
        assert (again.work, again.hob) == (job.work, job.hob)


@pytest.mark.parametrize(("text", "shown"), [(JOB, ("5.00 mm", "52.00 mm", "54.97 mm")), (INCH, ("0.2000 in", "2.0500 in", "2.1707 in"))])
def test_the_sheet_says_what_to_measure_over_a_key(text, shown):
    words = sheet_words(prove(read_job_text(text)), datetime.date(2026, 1, 1))
    rows = dict(words.work)
    assert (rows["micrometer over a key"], rows["minor diameter"], rows["sides straight down to"]) == shown
    assert "pressure angle" not in dict(words.hob)


def test_an_involute_spline_and_a_chain_wheel_have_tolerances_of_their_own():
    text = JOB.replace("key_width = 5\nminor_diameter   = 52\noutside_diameter = 60", "module = 2.5\npressure_angle = 30")
    _, findings = found(text.replace("diameter = 70", "module = 2.5\ndiameter = 70\naddendum = 0.75"))
    assert "ISO 4156" in findings["standard-doesnt-cover"].message


def test_a_common_gear_is_covered_and_one_of_four_teeth_is_not():
    gear = JOB.replace("key_width = 5\nminor_diameter   = 52\noutside_diameter = 60", "module = 2.5").replace('"spline"', '"spur"')
    gear = gear.replace("diameter = 70", "module = 2.5\ndiameter = 70")
    assert "standard-doesnt-cover" not in found(gear)[1]
    few = found(gear.replace("teeth  = 16", "teeth  = 4\nprofile_shift = 0.8"))[1]
    assert "teeth 4 is outside 5 to 1000" in few["standard-doesnt-cover"].message
