"""The rack of hobs: by name, by what suits, as ground; and a length that is enough, or isn't."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date
from fractions import Fraction
from pathlib import Path

import pytest
from handlead.kinematics.gears.gear import Gear
from handlead.kinematics.work.hob_length import finishing_length, touching_length
from handlead.machines.job_files.hob_rack import read_rack
from handlead.machines.job_files.job_file import read_job, read_job_text
from handlead.machines.proving.proof import prove
from handlead.machines.toml.errors import FileFault
from handlead.machines.written.writing import job_text
from handlead.viz.command import main
from handlead.viz.sheet_words.words import sheet_words

SCENARIOS = Path(__file__).parents[2] / "scenarios"
FOLDER = SCENARIOS / "15-revolve-pinion"
JOB = (FOLDER / "job.toml").read_text(encoding="utf-8")
NAMED = 'hob     = "ground thin"\n'


def with_hob(text, beside=FOLDER):
    assert NAMED in JOB
    head, tail = JOB.split(NAMED)
    whole = f"{head}{tail}\n{text}" if text.startswith("[") else f"{head}{text}{tail}"
    return read_job_text(whole, beside=beside)


def test_a_sharpened_hob_is_as_large_and_as_steep_as_it_is_now():
    hob = read_job(FOLDER / "job.toml").hob
    assert (hob.outside_diameter, hob.diameter) == (Fraction("59.75"), Fraction("53.5"))
    steeper = math.degrees(math.atan(math.tan(math.radians(2.45)) * 58.5 / 53.5))
    assert hob.gamma_deg == pytest.approx(steeper, abs=1e-8)


def test_a_hob_with_no_stamp_follows_its_diameter():
    hob = with_hob('[hob]\nmodule = 2.5\ndiameter = 80\noutside_diameter = 86.25\nground_to = 82.25\n').hob
    assert hob.gamma_deg == pytest.approx(math.degrees(math.asin(2.5 / 76)))


def test_a_hob_taken_by_another_name_is_another_hob():
    assert with_hob('hob = "old two-start"\n').hob.starts == 2
    assert with_hob('[hob]\nname = "green handle"\n').hob.outside_diameter == Fraction("64.75")


def test_keys_of_the_job_go_before_the_rack_s():
    hob = with_hob('[hob]\nname = "green handle"\ngashes = 14\n').hob
    assert (hob.gashes, hob.length) == (14, 70)


def test_a_job_without_a_hob_takes_the_one_that_suits():
    """Single-start before two starts, and the longer of two."""
    assert with_hob("").hob.name == "ground thin"


def test_inches_in_the_rack_are_inches(tmp_path):
    (tmp_path / "hobs.toml").write_text(
        'format = "hobs/1"\nunits = "in"\n[[hob]]\nname = "A"\nmodule = 2.5\ndiameter = 2.5\nlength = 3\n', encoding="utf-8"
    )
    hob = with_hob('hob = "A"\n', beside=tmp_path).hob
    assert (hob.diameter, hob.length) == (Fraction("63.5"), Fraction("76.2"))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('hob = "ground thn"\n', 'job.toml:4: hob: there is no hob "ground thn" in .*Did you mean "ground thin"'),
        ('[hob]\nname = "grene handle"\n', 'name: there is no hob .*Did you mean "green handle"'),
        ('[hob]\nmodule = 2.5\noutside_diameter = 60\nground_to = 61\n', r"no more than the 60\.000 mm"),
        ('[hob]\nmodule = 2.5\nground_to = 61\n', '"outside_diameter" is missing'),
        ('hob = ""\n', "hob"),
    ],
)
def test_a_hob_that_can_not_be_is_refused_at_its_place(text, words):
    with pytest.raises(FileFault, match=words):
        with_hob(text)


def test_without_a_rack_a_name_alone_is_refused_and_so_is_no_hob_at_all(tmp_path):
    with pytest.raises(FileFault, match=r"no rack hobs\.toml beside this job"):
        with_hob('hob = "A"\n', beside=tmp_path)
    with pytest.raises(FileFault, match='"hob" is missing'):
        with_hob("", beside=tmp_path)


def test_a_rack_with_nothing_that_suits_says_what_is_wanted(tmp_path):
    (tmp_path / "hobs.toml").write_text('format = "hobs/1"\n[[hob]]\nname = "A"\nmodule = 3\n', encoding="utf-8")
    with pytest.raises(FileFault, match=r"none of module 2\.5 and 20"):
        with_hob("", beside=tmp_path)


def test_a_rack_that_is_wrong_is_told_of_at_its_own_lines(tmp_path):
    (tmp_path / "hobs.toml").write_text('format = "hobs/1"\n[[hob]]\nname = "A"\nmodul = 3\n', encoding="utf-8")
    with pytest.raises(FileFault, match=r'hobs\.toml:4: hob "A": unknown key "modul"'):
        with_hob('hob = "A"\n', beside=tmp_path)
    (tmp_path / "hobs.toml").write_text(
        'format = "hobs/1"\n[[hob]]\nname = "A"\nmodule = 3\n[[hob]]\nname = "A"\nmodule = 3\n', encoding="utf-8"
    )
    with pytest.raises(FileFault, match="already"):
        read_rack(tmp_path / "hobs.toml")


def test_the_job_written_out_holds_the_hob_as_it_is():
    job = read_job(FOLDER / "job.toml")
    assert read_job_text(job_text(job)).hob == job.hob


# ---------------------------------------------------------------- length


def codes(length):
    job = with_hob(f"[hob]\nmodule = 2.5\ndiameter = 53.5\nlead_angle = 2.6787\nlength = {length}\n")
    return {each.code for each in prove(job).judged if each.code.startswith("hob-s") or each.code == "hob-too-short"}


def test_a_hob_is_too_short_short_or_can_be_shifted():
    assert codes(10) == {"hob-too-short"}
    assert codes(35) == {"hob-short"}
    assert codes(42.5) == set()
    assert codes(100) == {"hob-shift"}


def test_a_spur_gear_s_touch_is_the_chord_of_the_blank_at_the_hob_s_tips():
    """Head level: at the middle the hob's tips are at the roots; the chord there, 2 sqrt(ra^2 - rf^2), is what it meets."""
    assert touching_length(80, 90, 40 + 38.25, 0.0) == pytest.approx(2 * math.sqrt(45**2 - 38.25**2), abs=1e-9)


def test_a_head_that_is_swung_meets_more():
    lengths = [touching_length(80, 90, 78.25, swivel) for swivel in (0, 15, 30)]
    assert lengths == sorted(lengths)


def test_the_touch_is_that_of_points_tried_one_by_one():
    """Points of the hob's tip cylinder all over it, by plain geometry: the farthest along it that lies in the blank."""
    radius, blank, centres, swivel = 40.0, 45.0, 78.25, math.radians(20)
    farthest = 0.0
    for step in range(4001):
        angle = math.pi * (step / 4000 - 0.5)
        for tenth in range(600):
            along = tenth / 10
            across = along * math.cos(swivel) - radius * math.sin(angle) * math.sin(swivel)
            if math.hypot(centres - radius * math.cos(angle), across) <= blank:
                farthest = max(farthest, along)
    assert touching_length(80, 90, 78.25, 20) / 2 == pytest.approx(farthest, abs=0.11)


def test_flanks_are_finished_over_the_line_of_action():
    """Module 2, 40 teeth, 20 degrees: 2.5 / tan 20 = 6.869 beyond the middle, more than the tips' 4.4; and a quarter pitch."""
    gear = Gear(40, 2)
    half = 2.5 / math.tan(math.radians(20)) + math.pi * 2 / 4
    assert finishing_length(gear, 2.5, gear.tip_diameter) == pytest.approx(2 * half)


def test_whichever_hob_is_taken_it_is_named_in_the_plan_the_proof_and_on_the_sheet(tmp_path, capsys):
    (tmp_path / "hobs.toml").write_text((FOLDER / "hobs.toml").read_text(encoding="utf-8"), encoding="utf-8")
    path = tmp_path / "job.toml"
    path.write_text(JOB.replace(NAMED, ""), encoding="utf-8")
    name = read_job(path).hob.name
    assert name
    assert sheet_words(prove(read_job(path)), date(2031, 5, 4)).hob_line.endswith(f'"{name}"')
    for command in (["plan", "--top", "1"], ["prove"]):
        main([*command, str(path)])
        assert f'"{name}"' in capsys.readouterr().out, command


def test_an_inch_job_and_an_inch_rack_are_told_in_inches(tmp_path):
    rack = tmp_path / "hobs.toml"
    job = tmp_path / "job.toml"
    work = 'kind = "spur"\nteeth = 40\ndiametral_pitch = 8\n'
    job.write_text(f'format = "job/1"\nunits = "in"\nmachine = "corvane-7"\n[work]\n{work}', encoding="utf-8")
    hob = '[[hob]]\nname = "A"\ndiametral_pitch = 10\noutside_diameter = 2.75\n'
    rack.write_text(f'format = "hobs/1"\nunits = "in"\n{hob}', encoding="utf-8")
    with pytest.raises(FileFault, match="none of 8 DP and 20"):
        read_job(job)
    rack.write_text(f'format = "hobs/1"\nunits = "in"\n{hob}ground_to = 2.9\n', encoding="utf-8")
    with pytest.raises(FileFault, match=r"no more than the 2\.7500 in"):
        read_rack(rack)


def test_a_name_without_a_rack_is_one_complaint_and_not_two(tmp_path):
    with pytest.raises(FileFault) as fault:
        with_hob('hob = "A"\n', beside=tmp_path)
    assert len(fault.value.complaints) == 1


RACK_OF_FOUR = """format = "hobs/1"
[[hob]]
name = "right"
module = 3
hand = "right"
length = 90
[[hob]]
name = "left"
module = 3
hand = "left"
length = 70
[[hob]]
name = "left, short"
module = 3
hand = "left"
length = 12
[[hob]]
name = "two starts"
module = 3
starts = 2
hand = "left"
length = 200
"""


@pytest.mark.parametrize(
    ("teeth", "lean", "rack", "taken"),
    [
        ("left", 'helix_angle = "20d"\nhand = "left"\n', RACK_OF_FOUR, "left"),
        ("right", 'helix_angle = "20d"\nhand = "right"\n', RACK_OF_FOUR, "right"),
        ("straight", "", RACK_OF_FOUR, "right"),
        # One that finishes the flanks goes before one of the better hand that doesn't.
        ("left", 'helix_angle = "20d"\nhand = "left"\n', RACK_OF_FOUR.replace("length = 70", "length = 11"), "right"),
    ],
)
def test_the_hob_that_suits_is_of_the_work_s_hand_and_long_enough(tmp_path, teeth, lean, rack, taken):
    (tmp_path / "hobs.toml").write_text(rack)
    kind = "helical" if lean else "spur"
    (tmp_path / "job.toml").write_text(
        f'format = "job/1"\nmachine = "corvane-7"\n[work]\nkind = "{kind}"\nteeth = 30\nmodule = 3\nface_width = 30\n{lean}'
    )
    assert read_job(tmp_path / "job.toml").hob.name == taken


def test_a_set_up_for_another_number_of_starts_is_said_to_want_such_a_hob():
    pinion = SCENARIOS / "01-fly-winch-pair" / "pinion.toml"
    job = read_job(pinion)
    wrong = replace(job, hob=replace(job.hob, starts=2))
    found = next(each for each in prove(wrong).findings if each.code == "wrong-count")
    assert found.remedy.startswith("With a hob of 1 start it would be right")
    assert "wrong-count" not in {each.code for each in prove(replace(wrong, hob=replace(wrong.hob, starts=1))).judged}
    swapped = read_job(SCENARIOS / "22-index-gears-swapped" / "job.toml")
    assert "With a hob" not in " ".join(each.remedy or "" for each in prove(swapped).findings)
