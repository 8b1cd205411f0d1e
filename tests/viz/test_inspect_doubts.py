"""What `inspect` says of records that a hand wrote wrongly, and of a dial that is read coarsely."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest
from handlead import machines
from handlead.viz.command import main

ORDERS = Path(__file__).parents[2] / "scenarios"
SPUR, INCHES = ORDERS / "02-left-hand-hob" / "job.toml", ORDERS / "08-inch-winch" / "job.toml"


@pytest.fixture
def say(tmp_path, capsys):
    """What the command says of readings in divisions of 0.01 mm, by tooth; what is None isn't taken."""

    def say(job, readings, kind="pitch cumulative", options=()):
        head = f"# quantity: {kind}\n# unit: divisions\n# division: 0.01 mm\n# flank: right\n# counted: clockwise\n"
        rows = [f"{tooth}, {one:g}\n" for tooth, one in enumerate(readings, 1) if one is not None]
        (tmp_path / "record.csv").write_text(head + "tooth, deviation\n" + "".join(rows), encoding="utf-8")
        main(["inspect", *options, str(job), str(tmp_path / "record.csv")])
        return " ".join(capsys.readouterr().out.split())

    return say


def read_round(job, size=2.0, to=2):
    """A wave once round, of so many divisions, read to a part of one, with a hand that isn't quite steady."""
    teeth = machines.read_job(job).work.teeth
    shake = [math.sin(7.3 * at * at) for at in range(teeth)]
    return [round(to * (size * math.sin(2 * math.pi * at / teeth) + 0.5 * shake[at])) / to for at in range(teeth)]


@pytest.mark.parametrize(("job", "far"), [(SPUR, " µm off"), (INCHES, " in off")])
def test_a_figure_that_lost_its_point_is_named_to_be_read_again(say, job, far):
    readings = read_round(job)
    assert "read that again" not in say(job, readings)
    readings[8] = 25.0
    said = say(job, readings)
    assert "Tooth 9 stands 0.0" in said or "Tooth 9 stands 2" in said
    assert f"{far}, far beyond all others: read that again first" in said
    # It comes before any part that may be blamed.
    assert "Read again first: " in said.split("r.m.s.")[0]


def test_a_space_is_called_one(say):
    readings = read_round(SPUR)
    readings[8] = 25.0
    assert "Space 9 stands 2" in say(SPUR, readings, "runout")


def test_a_gear_that_was_moved_as_it_was_read_is_asked_about(say):
    readings = [one + (30 if at >= 20 else 0) for at, one in enumerate(read_round(SPUR))]
    said = say(SPUR, readings)
    assert "From tooth 20 to 21 it jumps by" in said
    assert "was the gear or the dial moved there?" in said
    (record,) = json.loads(say(SPUR, readings, options=["--json"]))["records"]
    assert (record["doubtful"]["tooth"], record["doubtful"]["jumps_after_tooth"]) == (21, 20)


@pytest.mark.parametrize(("to", "told", "alone"), [
    (1, "whole divisions", "2.9"), (2, "half a division", "1.4"), (5, "a fifth of a division", "0.6"),
])  # fmt: skip
def test_a_dial_leaves_what_it_is_read_to(say, to, told, alone):
    assert f"The dial, read to {told}, leaves {alone} µm by that alone." in say(SPUR, read_round(SPUR, to=to))


def test_noughts_of_a_coarse_dial_do_not_tell_that_there_is_no_wave_at_all(say):
    readings = [0.0] * len(read_round(SPUR))
    said = say(SPUR, readings)
    assert "stands above the noise" in said
    least = float(said.partition("A wave of less than about ")[2].split()[0])
    assert least > 1
    (record,) = json.loads(say(SPUR, readings, options=["--json"]))["records"]
    assert record["smallest_um"] == pytest.approx(least, abs=0.05)


def test_a_record_that_ends_before_the_last_tooth_is_asked_whether_it_is_of_this_gear(say):
    readings, teeth = read_round(SPUR), len(read_round(SPUR))
    assert "is it this gear?" not in say(SPUR, readings)
    # Two left out between are no other gear, nor is a last one that every third tooth doesn't come to.
    between = [None if at in (9, 10) else one for at, one in enumerate(readings)]
    assert "is it this gear?" not in say(SPUR, between)
    assert "is it this gear?" not in say(SPUR, [one if at % 3 == 0 else None for at, one in enumerate(readings)])
    assert f"From {teeth - 2} to {teeth} of {teeth} none was read: is it this gear?" in say(SPUR, readings[:-3])
    assert f"{teeth} of {teeth} wasn't read: is it this gear?" in say(SPUR, readings[:-1])


def test_what_mending_does_not_help_is_said_with_what_then_holds_the_class(say):
    readings = read_round(SPUR, size=1.5)
    readings[5] += 3.0
    said = say(SPUR, readings)
    assert "no better class, held there by single pitch" in said


@pytest.mark.parametrize(("said", "wrongly"), [
    ("counted: clockwise", "counted: counter-clockwise"), ("flank: right", "flank: left"),
])  # fmt: skip
def test_a_record_counted_the_wrong_way_or_of_the_other_flank_is_asked_about_before_a_worm_is_blamed(
    tmp_path, capsys, said, wrongly
):
    drum = ORDERS / "92-cloud-drum-wheel"
    pitch = (drum / "pitch.csv").read_text(encoding="utf-8")
    for text, asked in ((pitch, False), (pitch.replace(said, wrongly), True)):
        (tmp_path / "pitch.csv").write_text(text, encoding="utf-8")
        assert main(["inspect", str(drum / "job.toml"), str(drum / "runout.csv"), str(tmp_path / "pitch.csv")]) == 0
        out = " ".join(capsys.readouterr().out.split())
        assert ("Another part comes once a turn of the table as well" in out) is asked
        assert ("counted the other way round, or is of the other flank" in out) is asked


@pytest.mark.parametrize(("order", "face", "table"), [
    (SPUR, "at its upper face", "the table"), (ORDERS / "11-thunder-run-pinion" / "job.toml", "at its face towards the tailstock", "the work spindle"),
])  # fmt: skip
def test_a_blank_that_stands_askew_is_dialled_at_the_face_as_the_machine_calls_it(tmp_path, capsys, order, face, table):
    job = machines.read_job(order)
    teeth = job.work.teeth
    files = []
    for height, size in ((-5, 4), (5, 30)):
        rows = [f"{at}, {round(size * math.sin(2 * math.pi * at / teeth))}" for at in range(1, teeth + 1)]
        head = f"# quantity: runout\n# unit: um\n# height: {height}\n# counted: clockwise\ntooth, deviation\n"
        files.append(tmp_path / f"at {height}.csv")
        files[-1].write_text(head + "\n".join(rows), encoding="utf-8")
    assert main(["inspect", str(order), *map(str, files)]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "Look first at: the blank standing askew" in said
    assert f"its turned band {face}, as it is clamped" in said
    assert f"where it stays with {table} it is the arbor, or {table} itself" in said
    assert ("lower face" in said) is (order is SPUR)
