"""Somebody who waits for a plan has an answer at once, and is told when a better one is found."""

import re
import sys
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from random import Random

import pytest
from handlead.machines.job_files.job_file import Job, read_job
from handlead.machines.machine_files.machine_file import GearSet, read_machine_text
from handlead.machines.planning.gears_to_get import with_gears
from handlead.machines.planning.planning import plan
from handlead.viz.command import main
from handlead.viz.streams.progress import Progress
from made_up import DRAWER, machine_text, work_and_hob

SCENARIOS = Path(__file__).parents[2] / "scenarios"


@pytest.mark.parametrize("order", ["01-fly-winch-pair/pinion", "03-no-differential/job", "12-star-ring/job"])
def test_what_is_told_while_the_search_goes_on_gets_better_and_is_proved(order):
    job = read_job(SCENARIOS / f"{order}.toml")
    told = []
    found = plan(job, top=1, so_far=told.append)
    assert told and all(one.goes_on for one in told) and not found.goes_on
    some = [one.members[0].setups[0] for one in told if one.members[0].setups]
    assert some and all(one.proof.is_as_wanted for one in some)
    assert [one.merit for one in some] == sorted((one.merit for one in some), reverse=True)
    assert all(one.members[0].setups or one.members[0].none_because for one in told)
    assert all(one.members[0].not_searched for one in told)
    assert found.as_json() == plan(job, top=1).as_json()


class AtATerminal:
    encoding = "utf-8"

    def __init__(self, is_one):
        self.is_one, self.written = is_one, ""

    def isatty(self):
        return self.is_one

    def write(self, text):
        self.written += text

    def flush(self):
        pass


def test_the_line_of_progress_is_shown_at_a_terminal_alone_and_wiped(monkeypatch):
    for is_one in (True, False):
        stream = AtATerminal(is_one)
        monkeypatch.setattr(sys, "stderr", stream)
        with Progress() as line:
            line.show("index gears: 24/48" + 300 * "x" + "\x1b[2J")
        assert ("index gears: 24/48" in stream.written) is is_one
        assert "2J" not in stream.written and stream.written.endswith("\x1b[K") is is_one


def test_writing_a_bare_ratio_into_a_job_is_refused(capsys):
    assert main(["plan", "--ratio", "127/100", "--drawer", "20-127", "--write"]) == 2
    out, err = capsys.readouterr()
    assert "--write" in err and not out


@pytest.mark.parametrize("order", ["02-left-hand-hob", "03-no-differential", "12-star-ring"])
def test_nothing_is_said_to_be_unsearched_where_a_shaft_is_too_fast_whatever_is_mounted(order):
    job = read_job(SCENARIOS / order / "job.toml")
    machine = job.machine
    part = next(name for name in machine.train.parts if "worm" in name)
    limits = replace(machine.limits, rpm={**machine.limits.rpm, part: (None, Fraction(1, 100))})
    member = plan(job, replace(machine, limits=limits), top=1).members[0]
    assert f'"{part}" would run at' in member.none_because and not member.not_searched
    assert not member.gears_to_get


@pytest.mark.parametrize(
    ("order", "keep", "says"),
    [
        ("03-no-differential", 7, "others may do"),
        ("06-orchestra-lift", 9, "no gears to get are named"),
    ],
)
def test_where_no_gears_to_get_are_named_it_is_said_how_far_they_were_looked_for(order, keep, says):
    job = read_job(SCENARIOS / order / "job.toml")
    machine = replace(job.machine, gear_sets=(GearSet("few", (), tuple(range(53, 53 + keep))),))
    member = plan(job, machine, top=1).members[0]
    assert member.none_because
    if not member.gears_to_get:
        assert says in member.not_searched
    assert bool(member.gears_to_get) is ("no gears to get" not in member.not_searched)


#: Gears as a sentence of advice names them, with the bracket.
ADVISED = re.compile(r'gears? of ([\d, and]+) teeth that fits? "([^"]+)"')


def test_gears_that_are_advised_for_random_jobs_plan_them():
    advised = 0
    for number in range(8):
        random = Random(f"advised {number}")
        machine = read_machine_text(machine_text(random))
        few = GearSet("few", (), tuple(sorted(random.sample(DRAWER, 14))))
        job = Job("made up", "made up", replace(machine, gear_sets=(few,)), *work_and_hob(random))
        member = plan(job, top=1).members[0]
        if member.gears_to_get:
            advised += 1
            named = {name: tuple(map(int, re.findall(r"\d+", gears))) for gears, name in ADVISED.findall(member.gears_to_get)}
            assert plan(replace(job, machine=with_gears(job.machine, named)), top=1).members[0].setups, number
    assert advised
