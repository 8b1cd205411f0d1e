"""Crowned and tapered teeth on the machine with two bars: judged, planned, written, on the sheet, in mm and inches."""

import datetime
from pathlib import Path

import pytest
from handlead.machines.job_files.job_file import read_job, read_job_text
from handlead.machines.machine_files.machine_file import read_machine_text
from handlead.machines.planning.planning import plan
from handlead.machines.proving.proof import prove
from handlead.machines.toml.errors import FileFault
from handlead.machines.written.writing import job_text, machine_text
from handlead.viz.sheet_words.words import sheet_words

ROOT = Path(__file__).parents[2]
CROWNED, TAPERED = (ROOT / "scenarios" / name / "job.toml" for name in ("82-crowned-pinion", "83-tapered-wheel"))
MACHINE = (ROOT / "machines" / "shipped" / "dunscar-9.toml").read_text("utf-8")


def codes(job, **asked):
    return {finding.code: finding for finding in prove(job, **asked).findings}


def changed(path, *pairs):
    text = path.read_text("utf-8")
    for old, new in pairs:
        assert old in text
        text = text.replace(old, new)
    return read_job_text(text)


def test_a_follower_left_lifted_leaves_no_crown_and_the_lever_is_named():
    found = codes(changed(CROWNED, ('follower = "bent bar"', 'follower = "lifted"')))
    assert 'Put lever "follower" to "bent bar"' in found["crown-differs"].remedy
    assert found["crown-differs"].severity == "error"


def test_a_follower_on_the_wrong_bar_leaves_no_crown_either():
    found = codes(changed(CROWNED, ('follower = "bent bar"', 'follower = "slanting bar"')))
    assert "crown-differs" in found
    assert "bent bar" in found["crown-differs"].remedy


def test_a_follower_left_down_crowns_teeth_that_should_be_straight():
    found = codes(changed(CROWNED, ("crown  = 0.01", 'quality = 4'), ("quality = 8\n", "")))
    assert "lifted" in found["crown-differs"].remedy


def test_a_taper_in_inches_is_told_in_inches():
    found = codes(changed(TAPERED, ('follower = "slanting bar"', 'follower = "lifted"')))
    assert "a taper of 0.00000 in; the drawing wants 0.00100 in" in found["taper-differs"].message


def test_a_face_longer_than_the_bar_is_told():
    found = codes(changed(CROWNED, ("face_width = 40", "face_width = 150")))
    assert "leads the hob from -90.0 mm to 90.0 mm of mid-face" in found["template-too-short"].message


def test_the_plan_lays_the_follower_on_the_bar_that_the_drawing_needs():
    for path, bar in ((CROWNED, "bent bar"), (TAPERED, "slanting bar")):
        bare = read_job(path).with_setup(None)
        best = plan(bare, top=1).members[0].setups[0]
        assert best.setup.levers["follower"] == bar


def test_a_crown_that_no_bar_makes_has_no_set_up():
    found = plan(changed(CROWNED, ("crown  = 0.01", "crown  = 0.05")).with_setup(None), top=1)
    assert not found.members[0].setups
    assert "crown" in str(found.members[0].none_because)


def test_the_blank_shows_the_crown_that_is_computed():
    made = prove(read_job(CROWNED), cut="scratch")
    assert made.is_as_wanted
    cut = made.as_json()["cut"]
    assert cut["crown_um"] == pytest.approx(10.578, abs=0.6)
    assert cut["class"] <= 4


def test_work_without_crown_says_nothing_of_it():
    cut = prove(read_job(ROOT / "scenarios" / "01-fly-winch-pair" / "pinion.toml"), cut="scratch").as_json()["cut"]
    assert "crown_um" not in cut


def test_the_sheet_says_how_the_bar_stands_and_what_crown_is_wanted():
    words = sheet_words(prove(read_job(CROWNED)), datetime.date(2026, 1, 1))
    rows = [row for column in (words.levers, words.work) for row in column]
    assert any(row[0] == "template: bent bar" and "MID-FACE" in row[1] for row in rows)
    assert dict(words.work)["crown  C_β"] == "0.010 mm"


def test_machine_and_job_are_written_as_they_were_read():
    machine = read_machine_text(MACHINE)
    assert read_machine_text(machine_text(machine)).train == machine.train
    for path in (CROWNED, TAPERED):
        job = read_job(path)
        assert read_job_text(job_text(job)).work == job.work


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('to   = "radial slide"\npoints = [[-90, 0.09]', 'to   = "axial slide"\npoints = [[-90, 0.09]', "to itself"),
        ("[[-90, 0.09], [90, -0.09]]", "[[90, 0.09], [-90, -0.09]]", "must rise"),
        ("[[-90, 0.09], [90, -0.09]]", "[[-90, 0.09]]", "a list of 2 or more"),
        ('law  = "smooth"', 'law  = "bent"', '"straight" or "smooth"'),
        ('radial = { part = "radial slide", positive = "away" }\n', "", "isn't the radial end"),
        ('"slanting bar" = "in" }', '"slanting bar" = "on" }', "slanting bar"),
    ],
)
def test_a_template_that_cannot_be_is_refused_in_words(old, new, words):
    assert old in MACHINE
    with pytest.raises(FileFault, match=words):
        read_machine_text(MACHINE.replace(old, new))


def test_a_chain_wheel_has_no_crown():
    text = (ROOT / "scenarios" / "09-curtain-sprocket" / "job.toml").read_text("utf-8")
    with pytest.raises(FileFault, match="Only gears and splines"):
        read_job_text(text.replace('kind   = "sprocket"', 'kind   = "sprocket"\ncrown = 0.01'))
