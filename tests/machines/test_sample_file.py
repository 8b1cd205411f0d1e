"""Sample files: read, refused in words, and made into jobs that can be planned."""

from __future__ import annotations

import json
import math
from fractions import Fraction

import pytest
from handlead.kinematics.gears.gear import BasicRack, Gear
from handlead.kinematics.gears.measures import span
from handlead.kinematics.gears.sample import _offers
from handlead.machines.documents.sample import NoSuchCandidate, job_text_of, read_sample_text
from handlead.machines.job_files.job_file import read_job
from handlead.machines.planning.planning import plan
from handlead.machines.toml.errors import FileFault
from handlead.viz.command import main

WHEEL = """format = "sample/1"
teeth = 29
hand = "left"
outside_diameter = 101.85
face_width = 40
lean = 26.3
[[span]]
teeth = 4
length = 32.53
[[span]]
teeth = 5
length = 41.386
"""


def in_inches(text):
    lines = ['units = "in"']
    for line in text.splitlines():
        key, _, value = line.partition(" = ")
        is_length = key in ("outside_diameter", "face_width", "length")
        lines.append(f"{key} = {float(value) / 25.4:.6f}" if is_length else line)
    return "\n".join(lines)


@pytest.mark.parametrize("text", [WHEEL, in_inches(WHEEL)], ids=["mm", "inches"])
def test_the_same_wheel_is_named_in_either_unit(text):
    first = read_sample_text(text).identity.candidates[0]
    assert first.system.name == "module 3, 20°"
    assert first.helix_angle_deg == 25


@pytest.mark.parametrize("text", [WHEEL, in_inches(WHEEL)], ids=["mm", "inches"])
def test_a_job_of_it_is_the_gear_that_was_named(text, tmp_path):
    path = tmp_path / "job.toml"
    path.write_text(job_text_of(read_sample_text(text), 1, "corvane-7"), encoding="utf-8")
    work = read_job(path).work
    assert (work.teeth, work.module_n, work.helix_angle_deg, work.hand.word) == (29, 3, 25, "left")
    assert float(work.face_width) == pytest.approx(40, abs=0.001)


def test_a_rubbing_stands_for_a_lean():
    """Across over along is the tangent of the lean: 49.42 on 100 is 26.3 degrees."""
    rubbed = WHEEL.replace("lean = 26.3", "rubbing = { along = 100, across = 49.42 }")
    assert read_sample_text(rubbed).identity.candidates[0].helix_angle_deg == 25


def test_the_table_s_turning_stands_for_a_lead():
    """Lead of module 3, 29 teeth, 25 degrees: pi 3 29 / sin 25 = 646.73 mm, so that 20 mm turn the table 11.133 degrees."""
    turned = WHEEL.replace("lean = 26.3", "turned = { travel = 20, angle = 11.133 }")
    first = read_sample_text(turned).identity.candidates[0]
    assert first.helix_angle_deg == 25
    lead = next(each for each in first.agreements if each.what == "lead")
    assert lead.taken == pytest.approx(646.73, abs=0.2)


@pytest.mark.parametrize(
    ("was", "is_now", "words"),
    [
        ('hand = "left"', 'hand = "none"', '4: hand|"lean" says that the teeth lean'),
        ("lean = 26.3", "lean = 0", "says that the teeth are straight"),
        ("lean = 26.3", "lean = 26.3\nroot_diameter = 102", "can't stand over the tips"),
        ("teeth = 5", "teeth = 4", "measured already"),
        ("teeth = 5", "teeth = 50", "29 teeth in all"),
        ("outside_diameter = 101.85", "depth = 6.7", "counts from the tips"),
        ("lean = 26.3", "lean = 26.3\nrubbing = { along = 1, across = 1 }", "Keep one"),
        ("outside_diameter", "outside_diametre", "Did you mean"),
    ],
)
def test_what_can_not_hold_is_refused_at_its_line(was, is_now, words):
    import re

    with pytest.raises(FileFault) as caught:
        read_sample_text(WHEEL.replace(was, is_now), "wheel.toml")
    assert re.search(words, str(caught.value))
    assert re.search(r"wheel.toml:\d+: ", str(caught.value))


def test_nothing_but_a_count_asks_for_a_reading():
    with pytest.raises(FileFault, match="Measure the outside diameter"):
        read_sample_text('format = "sample/1"\nteeth = 20\n')


def test_a_job_needs_to_know_which_way_the_teeth_lean_and_which_candidate():
    unsaid = read_sample_text(WHEEL.replace('hand = "left"\n', ""))
    with pytest.raises(NoSuchCandidate, match="which way"):
        job_text_of(unsaid, 1, "corvane-7")
    with pytest.raises(NoSuchCandidate, match="no candidate 99"):
        job_text_of(read_sample_text(WHEEL), 99, "corvane-7")


def test_the_command_writes_a_job_that_plan_takes_and_never_over_a_file(tmp_path, capsys):
    sample, job = tmp_path / "wheel.toml", tmp_path / "job.toml"
    sample.write_text(WHEEL, encoding="utf-8")
    arguments = ["sample", "--json", str(sample), "--write", str(job), "--machine", "corvane-7"]
    assert main(arguments) in (0, 1)
    assert json.loads(capsys.readouterr().out)["written"] == str(job)
    assert main(["plan", "--json", str(job)]) == 0
    before = job.read_text()
    capsys.readouterr()
    assert main(arguments) == 2
    assert "already" in capsys.readouterr().err
    assert job.read_text() == before


def test_the_report_says_what_to_measure_next(tmp_path, capsys):
    sample = tmp_path / "wheel.toml"
    sample.write_text(WHEEL.split("[[span]]")[0], encoding="utf-8")
    assert main(["sample", str(sample)]) == 1
    said = capsys.readouterr().out
    assert "Measure next" in said
    assert "module 3, 20°" in said


BALLS = """format = "sample/1"
units = "in"
teeth = 40
hand = "none"
outside_diameter = 4.2
"""


def test_balls_are_told_as_they_are_bought(tmp_path, capsys):
    path = tmp_path / "wheel.toml"
    path.write_text(BALLS + "[[balls]]\ndiameter = 0.1875\nover = 4.272\n", encoding="utf-8")
    main(["sample", str(path)])
    assert "over balls of 3/16 in" in " ".join(capsys.readouterr().out.split())


def test_an_inch_sample_is_asked_for_inch_balls():
    spans = "".join(f"[[span]]\nteeth = {count}\nlength = {size}\n" for count, size in ((4, 1.0898), (5, 1.385), (6, 1.68)))
    named = read_sample_text(BALLS + spans)
    balls = [each.ball for each, _ in _offers(named.identity.sample, named.identity.candidates[:2]) if each.ball]
    assert [ball * 64 / 25.4 % 1 for ball in balls] == pytest.approx([0.0], abs=1e-9)


def test_readings_that_go_with_nothing_are_to_be_taken_again(tmp_path, capsys):
    path = tmp_path / "wheel.toml"
    path.write_text(BALLS.replace("in", "mm", 1) + "[[span]]\nteeth = 3\nlength = 2\n", encoding="utf-8")
    assert main(["sample", str(path)]) == 1
    told = " ".join(capsys.readouterr().out.split())
    assert "NONE FITS" in told or "comes near" in told
    assert "100 of 100" not in told
    assert "Measure next" not in told


def test_a_worn_coarse_gear_fits_by_its_spans_alone():
    """Module 8, 40 teeth, each flank worn by 0.1 mm: wear goes by the size of the teeth, which the spans tell as well."""
    text = 'format = "sample/1"\nteeth = 40\nhand = "none"\nwear = "worn"\n'
    text += "[[span]]\nteeth = 5\nlength = 110.58\n[[span]]\nteeth = 6\nlength = 134.20\n"
    first = read_sample_text(text).identity.candidates[0]
    assert first.system.name == "module 8, 20°"
    assert first.fits


ACROSS = """format = "sample/1"
units = "in"
teeth = 32
hand = "right"
wear = "new"
face_width = 1.5
outside_diameter = 4.25
root_diameter = 3.711
lean = 26.36
[[span]]
teeth = 3
length = 0.8859
[[span]]
teeth = 4
length = 1.2324
[[span]]
teeth = 5
length = 1.5789
"""


@pytest.mark.parametrize("text", [WHEEL, ACROSS], ids=["normal to the tooth", "across the axis"])
def test_the_job_that_is_written_can_be_planned_as_it_is(text, tmp_path):
    named = read_sample_text(text)
    if text is ACROSS:
        assert named.identity.candidates[0].system.name == "diametral pitch 8 across the axis, 14.5°"
    path = tmp_path / "job.toml"
    path.write_text(
        job_text_of(named, 1, "corvane-7").replace("[hob]", "[hob]\ndiameter = " + ("3" if text is ACROSS else "80")),
        encoding="utf-8",
    )
    assert plan(read_job(path), top=1).is_found


def of_circular_pitch(inches, teeth=24):
    """A gear of 14 1/2 degrees cut to a circular pitch, measured without wear, in inches."""
    module = Fraction(inches) * Fraction(254, 10) / Fraction(math.pi)
    gear = Gear(teeth, float(module), pressure_angle_n_deg=14.5, rack=BasicRack(14.5, 1.0, 1.157, 0.2))
    spans = "".join(
        f"[[span]]\nteeth = {count}\nlength = {span(gear, count) / 25.4:.5f}\n" for count in (2, 3)
    )
    outside = f"outside_diameter = {gear.tip_diameter / 25.4:.5f}\n"
    return f'format = "sample/1"\nunits = "in"\nteeth = {teeth}\nwear = "new"\n{outside}face_width = 1\n{spans}'


@pytest.mark.parametrize("inches", ["1/2", "5/8", "1"])
def test_a_gear_that_goes_by_inches_from_tooth_to_tooth_is_named_and_made_a_job_of(inches, tmp_path):
    named = read_sample_text(of_circular_pitch(inches))
    first = named.identity.candidates[0].system
    assert first.name == f"circular pitch {inches} in, 14.5°"
    text = job_text_of(named, 1, "pellarn-4")
    assert f'pitch = "{inches} in"' in text
    path = tmp_path / "job.toml"
    path.write_text(text)
    assert float(read_job(path).work.module_n) * math.pi == pytest.approx(float(Fraction(inches)) * 25.4)


def test_a_common_module_is_not_taken_for_the_circular_pitch_beside_it():
    named = read_sample_text(WHEEL)
    assert named.identity.candidates[0].system.name == "module 3, 20°"
    assert all("circular pitch" not in one.system.name for one in named.identity.candidates[:2])
