"""A machine whose index has two brackets one behind the other is planned, proved and told of as one."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from handlead.kinematics.links.mounted import Mounted
from handlead.machines.job_files.job_file import read_job, read_job_text
from handlead.machines.machine_files.catalogue import find_machine
from handlead.machines.planning.planning import plan
from handlead.machines.proving.proof import prove
from handlead.machines.setups.drawers import shortfalls
from handlead.viz.command import main

CASES = Path(__file__).parents[1] / "cases"
LEFT = CASES / "tarnholm-left.toml"


def job_for(**changes):
    text = LEFT.read_text(encoding="utf-8")
    for key, value in changes.items():
        lines = [f"{key} = {value}" if line.startswith(f"{key} = ") else line for line in text.splitlines()]
        text = "\n".join(lines)
    return read_job_text(text, beside=CASES)


def best(job, **more):
    found = plan(job, top=2, **more).members[0]
    assert found.setups, found.none_because
    return found.setups[0]


def product(setup):
    return setup.change["e f gears"].size * setup.change["index gears"].size


@pytest.mark.parametrize("teeth", [23, 30, 37, 74, 111])
def test_the_left_hand_wheel_is_planned_over_both_brackets(teeth):
    setup = best(job_for(teeth=teeth)).setup
    assert product(setup) == Fraction(24, teeth)
    proof = prove(job_for(teeth=teeth).with_setup(setup))
    assert proof.is_as_wanted
    assert proof.computed.outcome.teeth == teeth


def test_a_count_that_a_to_d_can_not_give_is_had_by_another_loose_pair():
    """24/600 is less than 20/100 times 20/98, the least of four gears that there are: 20 and 100 are owned once each."""
    setup = best(job_for(teeth=600, module=0.5)).setup
    assert product(setup) == Fraction(24, 600)
    assert setup.change["e f gears"].size != 1


def test_the_loose_pair_comes_out_of_the_same_drawer():
    setup = best(job_for()).setup
    machine = job_for().machine
    used = Counter(teeth for mounted in setup.change.values() for teeth in (*mounted.gears, *mounted.idlers))
    owned = Counter(machine.gear_sets[0].teeth)
    assert not used - owned
    assert not list(shortfalls(machine, setup.change))


def test_a_loose_pair_that_stands_and_will_do_stays():
    job = job_for()
    setup = best(job).setup
    standing = replace(setup, change={**setup.change, "e f gears": Mounted((20, 40))})
    again = best(job, lying=standing.change).setup
    assert again.change["e f gears"].gears == (20, 40)
    assert product(again) == Fraction(24, 30)


def test_a_second_bracket_in_the_feed_is_planned_as_one():
    text = LEFT.read_text(encoding="utf-8").replace("tarnholm.toml", "tarnholm-two-feed.toml")
    planned = best(read_job_text(text, beside=CASES))
    assert {"feed gears", "coarse fine gears"} <= set(planned.setup.change)
    assert planned.proof.is_as_wanted


def test_the_rules_name_both_brackets(capsys):
    assert main(["constants", str(CASES / "tarnholm.toml")]) == 0
    said = capsys.readouterr().out
    assert "e/f · a/b · c/d = 24 · k/z" in said
    assert "e/f in e f gears" in said


def test_an_empty_loose_bracket_stops_the_table_and_is_named():
    setup = best(job_for()).setup
    bare = {name: mounted for name, mounted in setup.change.items() if name != "e f gears"}
    proof = prove(job_for().with_setup(replace(setup, change=bare)))
    assert not proof.is_as_wanted
    assert any("e f gears" in finding.remedy for finding in proof.findings)


def test_another_machine_keeps_its_own_brackets():
    """The same job on a machine with one index bracket has no loose pair."""
    setup = best(job_for(), machine=find_machine("corvane-7")).setup
    assert "e f gears" not in setup.change
    assert read_job(LEFT).machine.name == "Tarnholm 16"
