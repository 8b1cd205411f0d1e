"""How much deeper, from what the teeth measure: each measure by itself, all together, in either unit, and kept in the job."""

from __future__ import annotations

import datetime
import json
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from handlead.kinematics.gears import gear as gears
from handlead.kinematics.gears import measures
from handlead.kinematics.work.requirement import gear_to_cut
from handlead.machines.job_files.job_file import Gauging, read_job, read_job_text
from handlead.machines.measuring.going_deeper import DONE_MM, NotMeasured, go_deeper
from handlead.machines.measuring.part_sizes import key_measure
from handlead.machines.proving.proof import prove
from handlead.machines.written.writing import job_text
from handlead.viz.command import main
from handlead.viz.sheet_words.words import sheet_words
from hypothesis import given, settings
from hypothesis import strategies as st

SCENARIOS = Path(__file__).parents[2] / "scenarios"
PINION = SCENARIOS / "01-fly-winch-pair" / "pinion.toml"
INCH = SCENARIOS / "08-inch-winch" / "job.toml"
SPROCKET = SCENARIOS / "09-curtain-sprocket" / "job.toml"
WHEEL = SCENARIOS / "06-orchestra-lift" / "job.toml"


def cut_short(path, short):
    """The gear of a job as it is when the hob is still `short` mm off full depth."""
    gear = gear_to_cut(read_job(path).work)
    return replace(gear, profile_shift=gear.profile_shift + short / gear.module_n)


@given(st.sampled_from([PINION, INCH]), st.floats(-0.4, 0.8), st.sampled_from(["span", "balls", "chord"]))
@settings(max_examples=40, deadline=None)
def test_what_a_gear_measures_short_of_depth_asks_for_just_that_depth(path, short, which):
    """The gear short of depth by so much has as much more profile shift: measured as such, independently of the formulas."""
    job, gear = read_job(path), cut_short(path, short)
    count = measures.span_teeth(gear)
    ball = measures.default_ball(gear)
    wanted = gear_to_cut(job.work)
    thickness = measures.chordal_thickness(wanted) + 2 * short * gears.math.tan(gears.math.radians(gear.pressure_angle_n_deg))
    taken = {
        "span": Gauging(span=(count, Fraction(measures.span(gear, count)))),
        "balls": Gauging(balls=(Fraction(ball), Fraction(measures.over_balls(gear, ball)))),
        "chord": Gauging(chord=Fraction(thickness)),
    }[which]
    assert go_deeper(job, taken).deeper == pytest.approx(short, abs=1e-6)


def test_the_handbook_span_short_of_depth():
    """Module 3, 24 teeth, x 0.4: span over 4 is 32.8266 (stock-gear handbook, from memory). 0.1 mm more asks for
    0.1 / (2 sin 20 deg) = 0.1462 mm."""
    job = read_job(PINION)
    work = replace(job.work, kind="spur", teeth=24, hand=None, helix_angle_deg=None, profile_shift=Fraction(2, 5))
    found = go_deeper(replace(job, work=work), Gauging(span=(4, Fraction("32.9266"))))
    assert found.measures[0].wanted == pytest.approx(32.8266, abs=5e-5)
    assert found.deeper == pytest.approx(0.1462, abs=1e-4)


def test_the_measure_that_asks_for_least_is_followed_and_each_then_reads_accordingly():
    gear = cut_short(PINION, 0.2)
    count = measures.span_teeth(gear)
    taken = Gauging(
        dialled=Fraction("6.55"), span=(count, Fraction(measures.span(gear, count))), depth=Fraction("6.5")
    )
    found = go_deeper(read_job(PINION), taken)
    assert found.deeper == pytest.approx(0.2, abs=1e-6)
    assert not found.disagree
    assert dict(found.then)["depth of a space"] == pytest.approx(6.7)
    assert found.as_json()["dial_mm"] == pytest.approx(6.75)


def test_measures_that_belong_to_no_one_gear_are_said():
    gear = gear_to_cut(read_job(PINION).work)
    count = measures.span_teeth(gear)
    found = go_deeper(read_job(PINION), Gauging(span=(count, Fraction(measures.span(gear, count))), depth=Fraction(6)))
    assert found.disagree


def test_done_and_too_deep_are_told_apart_by_a_division_of_the_dial():
    job = read_job(PINION)
    wanted = Fraction(measures.span(gear_to_cut(job.work), 4))
    sine = 2 * gears.math.sin(gears.math.radians(20))
    for off, verdict in ((0, "done"), (0.9, "done"), (1.1, "deeper"), (-1.1, "too deep")):
        taken = Gauging(span=(4, wanted + Fraction(off * DONE_MM * sine)))
        assert go_deeper(job, taken).verdict == verdict


def test_a_sprocket_is_measured_over_its_rollers_pins():
    """Over pins 85.41 at full depth (ISO 606, from memory): 0.2 more asks for 0.1."""
    found = go_deeper(read_job(SPROCKET), Gauging(balls=(Fraction("8.51"), Fraction("85.612"))))
    assert found.deeper == pytest.approx(0.1, abs=0.005)


@pytest.mark.parametrize(
    ("path", "typed", "words"),
    [(SPROCKET, ["--balls", "8.51=84.6"], "rollers"), (PINION, ["--span", "4=31.9"], "the pair will have more backlash")],
)
def test_too_deep_is_said_in_words_of_the_work(path, typed, words, capsys):
    assert main(["measure", str(path), *typed]) == 1
    said = " ".join(capsys.readouterr().out.split())
    assert "TOO DEEP" in said
    assert words in said
    assert ("backlash" in said) == (path is PINION)


def test_a_worm_wheel_is_not_measured_by_a_span():
    with pytest.raises(NotMeasured, match="depth of a space"):
        go_deeper(read_job(WHEEL), Gauging(span=(3, Fraction(30))))


def test_nothing_measured_says_what_to_give():
    with pytest.raises(NotMeasured, match="--span"):
        go_deeper(read_job(PINION))


def test_what_was_measured_is_read_written_and_read_again():
    text = PINION.read_text() + '\n[[measured]]\ndate = "2031-05-04"\ndialled = 6.4\nspan = { teeth = 4, length = 32.4 }\n'
    job = read_job_text(text)
    assert job.measured == (Gauging("2031-05-04", Fraction("6.4"), (4, Fraction("32.4"))),)
    assert read_job_text(job_text(job)).measured == job.measured
    assert go_deeper(job).measures[0].found == pytest.approx(32.4)


@pytest.mark.parametrize(
    ("path", "typed", "mm"), [(PINION, "4=32.4", 32.4), (INCH, "4=1.35", 34.29), (INCH, "4=34.29mm", 34.29)]
)
def test_the_command_takes_lengths_in_the_job_s_units_and_keeps_them_dated(path, typed, mm, tmp_path, capsys):
    job = tmp_path / "job.toml"
    before = f"# as found\n{path.read_text()}"
    job.write_text(before, encoding="utf-8")
    assert main(["measure", "--json", str(job), "--span", typed, "--write"]) in (0, 1)
    assert json.loads(capsys.readouterr().out)["measures"][0]["found"] == pytest.approx(mm, abs=1e-6)
    kept = read_job(job).measured
    assert float(kept[0].span[1]) == pytest.approx(mm, abs=1e-6)
    assert kept[0].date
    assert job.read_text().startswith(before.rstrip())
    assert main(["measure", str(job), "--span", typed, "--write"]) in (0, 1)
    assert len(read_job(job).measured) == 2


@pytest.mark.parametrize("typed", ["4", "=3", "4=", "0=3", "4.5=3", "²=3", "4=x", "4=-1", "4=0"])
def test_a_span_that_is_none_ends_with_2_and_a_line(typed, capsys):
    assert main(["measure", str(PINION), f"--span={typed}"]) == 2
    said = capsys.readouterr().err
    assert said.startswith("--span")
    assert len(said.strip().splitlines()) == 1


def test_the_report_says_how_much_on_the_dial_in_the_job_s_units(capsys):
    assert main(["measure", str(INCH), "--depth", "0.25", "--dialled", "0.25"]) == 1
    said = capsys.readouterr().out
    assert "DEEPER" in said
    assert " in" in said
    assert " mm" not in said


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        (["--span", "3=1"], "past full depth"),
        (["--span", "3=40"], "short of full depth"),
        (["--balls", "5=20"], "can't measure"),
        (["--span", "1=5"], "from 2 to"),
        (["--span", "8=70"], "runs off the tips"),
    ],
)
def test_a_measure_that_this_gear_can_not_have_is_refused_and_cuts_nothing(typed, words, capsys):
    assert main(["measure", str(PINION), *typed]) == 2
    assert words in capsys.readouterr().err


def test_a_size_that_no_ball_gives_is_refused_in_the_job_s_units(capsys):
    assert main(["measure", str(INCH), "--balls", "0.24=9.5"]) == 2
    said = capsys.readouterr().err
    assert "9.5000 in" in said
    assert "mm" not in said


def test_measures_that_disagree_ask_to_be_taken_again_and_say_neither_deeper_nor_done(capsys):
    gear = gear_to_cut(read_job(PINION).work)
    count = measures.measurable_span(gear)
    assert main(["measure", str(PINION), "--span", f"{count}={measures.span(gear, count):.3f}", "--depth", "6"]) == 1
    said = capsys.readouterr().out
    assert "MEASURE AGAIN" in said
    assert "Go in" not in said


def test_a_depth_by_itself_is_a_measure_and_nothing_at_all_is_none():
    job = read_job(PINION)
    assert go_deeper(job, Gauging(depth=Fraction(6))).deeper == pytest.approx(gear_to_cut(job.work).whole_depth - 6, abs=0.5)
    with pytest.raises(NotMeasured, match="nothing was measured"):
        go_deeper(job, Gauging(date="2026-03-02"))


KEYS, INCH_KEYS = (SCENARIOS / name / "job.toml" for name in ("80-scene-dock-shaft", "81-inch-keys"))


@pytest.mark.parametrize(("path", "short"), [(KEYS, 0.35), (KEYS, -0.1), (INCH_KEYS, 0.2)])
def test_a_key_measured_short_of_depth_says_how_much_deeper(path, short):
    """The width as the thread leaves it so far out; its own tests roll a rack for it."""
    job = read_job(path)
    wide = key_measure(job.work).width(short)
    found = go_deeper(job, Gauging(chord=Fraction(wide)))
    assert found.measures[0].what == "key width"
    assert found.deeper == pytest.approx(short, abs=1e-6)
    assert found.verdict == ("deeper" if short > 0 else "too deep")
    deep = float(job.work.outside_diameter - job.work.minor_diameter) / 2 - short
    both = go_deeper(job, Gauging(chord=Fraction(wide), depth=Fraction(deep)))
    assert len(both.measures) == 2 and not both.disagree


def test_the_sheet_and_prove_say_where_a_key_is_measured_and_what_each_tenth_asks_for(capsys):
    job = read_job(KEYS)
    height = key_measure(job.work).height
    assert main(["prove", "--no-cut", str(KEYS)]) == 0
    assert f"on the way to depth {height:.3f} mm from the tops" in " ".join(capsys.readouterr().out.split())
    blocks = sheet_words(prove(job), datetime.date(2001, 2, 3)).blocks
    steps = [step.text for block in blocks if "SHORT OF DEPTH" in block.title for step in block.steps]
    text = next(each for each in steps if each.startswith("Key width"))
    deeper = key_measure(job.work).short(5.1)
    assert f"tongue set {height:.2f} mm: 5.000 mm at full depth" in text and f"go {deeper:.3f} mm deeper" in text


def test_a_key_as_thick_as_no_depth_leaves_it_is_refused_in_the_job_s_units(capsys):
    assert main(["measure", str(INCH_KEYS), "--chord", "0.4"]) == 2
    said = capsys.readouterr().err
    assert "key width is 0.400 in" in said and " mm" not in said and "depth of a space" in said
