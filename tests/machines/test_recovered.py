"""Which set-up made a gear: from its count, its lead and its feed marks, out of the machine's own drawer."""

from __future__ import annotations

import json
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from handlead.machines.job_files.job_file import Seen, read_job
from handlead.machines.setups.case import Case
from handlead.machines.setups.drawers import shortfalls
from handlead.machines.toml.errors import FileFault
from handlead.machines.tracing.recovered import recover
from handlead.viz.command import main

ORDERS = Path(__file__).parents[2] / "scenarios"

#: With a differential; without one; in inches; straight teeth; a hob of two starts.
JOBS = [
    "01-fly-winch-pair/pinion.toml", "03-no-differential/job.toml", "08-inch-winch/job.toml",
    "02-left-hand-hob/job.toml", "05-two-start-hob/job.toml",
]  # fmt: skip


def measured(path, lead_off=Fraction(0), within=Fraction(1, 2000)):
    """The job with what its own set-up leaves measured on the gear, the set-up forgotten."""
    job = read_job(ORDERS / path)
    gear = Case.of(job).outcome
    lead = None if gear.lead is None else abs(gear.lead) + lead_off
    seen = Seen(
        teeth=gear.teeth, hand=gear.hand, straight=lead is None, lead=lead, feed_marks=gear.sliding_feed,
        within={"feed_marks": within, **({} if lead is None else {"lead": within})},
    )  # fmt: skip
    return job, gear, replace(job, setup=None, seen=seen)


@pytest.mark.parametrize("path", JOBS)
def test_the_lead_and_the_feed_that_made_a_gear_are_found_again_where_they_are_measured_closely(path):
    _, gear, job = measured(path)
    found = recover(job)
    assert found.setups
    close = [(one.lead_mm, one.feed_mm) for one in found.setups]
    assert (gear.lead_mm and pytest.approx(gear.lead_mm, abs=1e-9), gear.sliding_feed) in close


@pytest.mark.parametrize("path", JOBS[:3])
def test_every_set_up_found_stands_on_the_machine_and_leaves_what_was_measured(path):
    _, _, job = measured(path, within=Fraction(1, 5))
    found = recover(job, top=4)
    assert found.setups
    for one in found.setups:
        case = Case.of(replace(job, setup=one.setup))
        assert case.outcome.teeth == job.seen.teeth
        assert case.outcome.hand is job.seen.hand
        assert abs(case.outcome.lead_mm - float(job.seen.lead)) <= 0.2
        assert abs(case.outcome.sliding_feed - job.seen.feed_marks) <= Fraction(1, 5)
        assert not list(shortfalls(job.machine, one.setup.change))
        assert one.proof.is_as_wanted


def test_the_drawings_lead_and_a_round_feed_come_before_gears_that_are_nearer_to_a_coarse_measure():
    job, _, seen = measured(JOBS[0], lead_off=Fraction(1), within=Fraction(3, 2))
    best = recover(seen, top=1).setups[0]
    assert abs(best.lead_mm - job.work.lead_mm) < 0.05
    assert (best.feed_mm * 20).denominator == 1


def test_which_way_the_slide_went_is_told_only_if_it_was_seen():
    _, _, job = measured(JOBS[3], within=Fraction(1, 100))
    either = recover(job, top=1).setups[0]
    assert either.either_way
    down = recover(replace(job, seen=replace(job.seen, slide_moved="down")), top=1).setups[0]
    assert not down.either_way
    assert Case.of(replace(job, setup=down.setup)).rates.axial < 0


def test_a_count_that_no_gears_give_is_said_to_be_none():
    _, _, job = measured(JOBS[3])
    found = recover(replace(job, seen=replace(job.seen, teeth=127)))
    assert not found.setups
    assert "127 teeth" in found.none_because


def test_all_that_is_missing_is_told_at_once():
    job = replace(read_job(ORDERS / JOBS[0]), seen=Seen(lead=Fraction(500)))
    with pytest.raises(FileFault) as told:
        recover(job)
    assert all(f'"{key}" is missing' in str(told.value) for key in ("teeth", "hand", "feed_marks"))
    with pytest.raises(FileFault, match='"seen" is missing'):
        recover(replace(job, seen=None))


def written(tmp_path, order, seen):
    text = (ORDERS / order).read_text(encoding="utf-8").partition("[setup]")[0]
    path = tmp_path / "job.toml"
    path.write_text(f"{text}\n[seen]\n{seen}", encoding="utf-8")
    return path


def test_the_command_says_gears_levers_and_how_to_measure_closer_in_inches(tmp_path, capsys):
    seen = 'teeth = 35\nhand = "right"\nlead = { value = 53.10, within = 0.05 }\nfeed_marks = 0.08\n'
    job = written(tmp_path, "08-inch-winch/job.toml", seen)
    hand = read_job(ORDERS / "08-inch-winch/job.toml").work.hand.word
    job.write_text(job.read_text().replace('hand = "right"\nlead', f'hand = "{hand}"\nlead'), encoding="utf-8")
    assert main(["recover", "--top", "2", str(job)]) == 0
    said = capsys.readouterr().out
    assert "differential gears" in said
    assert "0.08 in per table turn" in said
    assert " mm" not in said


def test_the_command_answers_in_json_and_by_its_exit_status(tmp_path, capsys):
    job = written(tmp_path, "02-left-hand-hob/job.toml", 'teeth = 43\nhand = "none"\nfeed_marks = "2 mm"\n')
    assert main(["recover", "--json", "--top", "1", str(job)]) == 0
    said = json.loads(capsys.readouterr().out)
    assert said["setups"][0]["change"]["index gears"]["gears"]
    assert said["setups"][0]["lead_mm"] is None
    job = written(tmp_path, "02-left-hand-hob/job.toml", 'teeth = 127\nhand = "none"\nfeed_marks = "2 mm"\n')
    assert main(["recover", "--json", str(job)]) == 1
    assert json.loads(capsys.readouterr().out)["none_because"]
    assert main(["recover", "--json", str(ORDERS / JOBS[0])]) == 2
    assert json.loads(capsys.readouterr().out)["errors"]
