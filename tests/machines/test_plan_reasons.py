"""Where there is no set-up the plan says what stands in the way, not what happened to be looked at last."""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from random import Random

import pytest
from handlead.machines.job_files.job_file import read_job, read_job_text
from handlead.machines.machine_files.catalogue import find_machine
from handlead.machines.machine_files.machine_file import read_machine_text
from handlead.machines.planning.asked import Asked
from handlead.machines.planning.asking import demands
from handlead.machines.planning.gears_to_get import with_gears
from handlead.machines.planning.gears_together import choices_together, choices_with_the_lead_in_index
from handlead.machines.planning.planning import plan
from handlead.machines.planning.wanted import Wanted
from handlead.machines.proving.proof import prove
from handlead.viz.command import main
from made_up import machine_text

SCENARIOS = Path(__file__).parents[2] / "scenarios"
CASES = Path(__file__).parents[1] / "cases"

EIGHT_TEETH = """
format = "job/1"
title = "Eight teeth"
machine = "corvane-7"
[work]
kind = "spur"
teeth = 8
module = 2
face_width = 20
quality = 8
[hob]
module = 2
starts = 1
hand = "right"
diameter = 60
"""


def test_a_crown_without_a_template_is_told_as_that_and_no_gears_are_hunted():
    job = read_job(SCENARIOS / "82-crowned-pinion" / "job.toml")
    member = plan(replace(job, setup=None), find_machine("corvane-7")).members[0]
    assert member.none_because.startswith("The teeth get a crown of 0.0 µm; the drawing wants 10.0 µm")
    assert "template" in member.none_because
    assert not member.not_searched and not member.gears_to_get


def test_a_groove_too_narrow_is_told_with_the_width_that_the_hob_needs():
    job = read_job(SCENARIOS / "74-herringbone-hoist" / "job.toml")
    narrow = replace(job, setup=None, halves=replace(job.halves, groove=Fraction(10)))
    for member in plan(narrow).members:
        assert re.search(r"needs \d+\.\d\d mm.*Turn the groove \d+\.\d\d mm wide or more", member.none_because)
        assert not member.not_searched and not member.gears_to_get


def test_gears_that_would_not_help_a_narrow_groove_are_not_told_as_tried_in_vain():
    job = read_job(SCENARIOS / "74-herringbone-hoist" / "job.toml")
    narrow = replace(job, setup=None, halves=replace(job.halves, groove=Fraction(10)))
    poor = [replace(one, teeth=one.teeth[::5]) for one in job.machine.gear_sets]
    member = plan(narrow, replace(job.machine, gear_sets=tuple(poor))).members[0]
    assert "groove" not in member.none_because
    assert "it still doesn't go: The groove is 10.00 mm wide" in member.not_searched


@pytest.mark.parametrize("machine", ["corvane-7", "yarnwick-11"])
def test_undercut_is_told_as_prove_tells_it_where_a_shaft_is_too_fast(machine, tmp_path, capsys):
    path = tmp_path / "job.toml"
    path.write_text(EIGHT_TEETH.replace("corvane-7", machine))
    planned = plan(read_job(path))
    member = planned.members[0]
    assert "would run at" in member.none_because and "not every choice" not in member.not_searched
    set_up = EIGHT_TEETH + '[setup]\nfeed = "conventional"\n'
    (of_prove,) = [one for one in prove(read_job_text(set_up)).findings if one.code == "undercut"]
    assert [one.message for one in member.warnings] == [of_prove.message]
    assert planned.as_json()["members"][0]["warnings"][0]["code"] == "undercut"
    assert main(["plan", str(path)]) == 1
    assert of_prove.message[:40] in " ".join(capsys.readouterr().out.split())


def test_a_bracket_that_takes_no_gears_at_all_is_named():
    text = machine_text(Random("shut"))
    bracket = "bracket = { module = 2, clearance = 10, studs = 0 }"
    shut = text.replace("pairs = 2\nidlers = [0, 1]", f"pairs = 2\nidlers = [0, 1]\n{bracket}")
    job = read_job_text(EIGHT_TEETH.replace("teeth = 8", "teeth = 30"))
    member = plan(replace(job, machine=read_machine_text(shut))).members[0]
    assert member.none_because == "index gears: 2 studs are needed and the bracket has 0"
    assert member.not_searched == 'no gears to get are named: none would do, whatever their teeth, on "index gears"'


@pytest.mark.parametrize(("machine", "teeth"), [("corvane-7", 14), ("pellarn-4", 8)])
def test_speed_gears_that_would_keep_the_worm_within_its_speed_are_named_and_do_it(machine, teeth):
    job = read_job_text(EIGHT_TEETH.replace("corvane-7", machine).replace("teeth = 8", f"teeth = {teeth}"))
    member = plan(job).members[0]
    assert '"worm shaft" would run at' in member.none_because
    more = tuple(int(z) for z in re.findall(r"\d+", member.gears_to_get.split("teeth")[0]))
    assert len(more) <= 2 and '"speed gears"' in member.gears_to_get
    better = plan(job, with_gears(job.machine, {"speed gears": more})).members[0].setups[0]
    assert set(more) <= {*better.setup.change["speed gears"].gears}
    assert better.proof.is_as_wanted


def named(sentence):
    """The gears that a sentence of advice names, by bracket, as a person reads it."""
    found = re.findall(r'gears? of ([\d, and]+) teeth that fits? "([^"]+)"', sentence)
    return {bracket: tuple(map(int, re.findall(r"\d+", teeth))) for teeth, bracket in found}


def test_gears_are_named_where_the_differential_goes_by_the_feed_and_no_bracket_lacks_them_by_itself():
    """Its differential can be filled at some feed or other, and its feed too; only at one and the same they can't."""
    job = read_job(CASES / "quenbeck-40.toml")
    member = plan(job, top=1).members[0]
    assert not member.setups
    gears = named(member.gears_to_get)
    assert len(gears) > 1 and sum(map(len, gears.values())) <= 3
    better = plan(job, with_gears(job.machine, gears), top=1).members[0]
    assert better.setups and better.setups[0].proof.is_as_wanted


def test_choices_that_are_to_stand_together_do_so_and_the_fewest_gears_come_first():
    job = read_job(CASES / "quenbeck-40.toml")
    wanted = Wanted.of(job, job.machine, 1, {}, ())
    asked = Asked.of(job, job.work, job.machine)
    demand = next(one for one in demands(wanted, job.work, asked) if abs(one.index) == Fraction(12, 5))
    offered = {"index gears": [(15,), (24,)], "feed gears": [()]}
    found = list(choices_together(wanted, job.work, demand, offered, 3))
    assert found
    counts = [sum(map(len, each.values())) for each in found]
    assert counts == sorted(counts) and counts[0] > 0 and counts[-1] <= 3
    assert all(set(each) <= {"index gears", "feed gears", "differential gears"} and all(each.values()) for each in found)


@pytest.mark.parametrize(
    ("path", "drawer"),
    [
        (SCENARIOS / "03-no-differential" / "job.toml", (27, 32, 35, 36, 44, 48, 50, 51, 53, 62, 72, 75)),
        (CASES / "wexcombe-good-lean.toml", (20, 24, 25, 28, 30, 36, 40, 48, 53, 55, 60, 64)),
    ],
    ids=["in millimetres", "level, in inches"],
)
def test_feed_gears_are_named_where_no_differential_makes_the_lead(path, drawer):
    """The lead's share is in the index gears that there are; what is wanting is the feed that makes it so long."""
    job = replace(read_job(path).with_setup(None), mate=None)
    poor = replace(job, machine=replace(job.machine, gear_sets=(replace(job.machine.gear_sets[0], teeth=drawer),)))
    member = plan(poor, top=1).members[0]
    assert not member.setups
    gears = named(member.gears_to_get)
    assert set(gears) == {"feed gears"}
    better = plan(poor, with_gears(poor.machine, gears), top=1).members[0].setups[0]
    assert better.proof.is_as_wanted
    assert set(gears["feed gears"]) <= {teeth for mounted in better.setup.change.values() for teeth in mounted.every}


def test_nothing_is_looked_for_in_the_index_gears_of_straight_teeth_or_beside_a_differential():
    straight = read_job_text(EIGHT_TEETH.replace("teeth = 8", "teeth = 30"))
    leaning = read_job(SCENARIOS / "01-fly-winch-pair" / "pinion.toml")
    for job in (straight, leaning):
        wanted = Wanted.of(job, job.machine, 1, {}, ())
        asks = demands(wanted, job.work, Asked.of(job, job.work, job.machine))
        assert not [one for ask in asks for one in choices_with_the_lead_in_index(wanted, job.work, ask, 3)]
