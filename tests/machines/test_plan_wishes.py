"""Wishes in a plan: begin from what stands on the machine, and leave a bracket as it stands."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from handlead.kinematics.links.mounted import Mounted
from handlead.machines.job_files.job_file import read_job
from handlead.machines.planning.planning import plan
from handlead.machines.proving.proof import prove
from handlead.machines.sequencing.changing import StandsOnMachine, changes
from handlead.viz.command import main

SCENARIOS = Path(__file__).parents[2] / "scenarios"
SPUR = SCENARIOS / "02-left-hand-hob" / "job.toml"
RING = SCENARIOS / "12-star-ring" / "job.toml"


def planned(capsys, *arguments):
    status = main(["plan", "--json", "--top", "1", *map(str, arguments)])
    return status, json.loads(capsys.readouterr().out)


def gears(found, bracket):
    return [
        member["setups"][0]["change"][bracket]["gears"] for member in found["members"] if member["setups"]
    ]


def test_a_bracket_that_is_held_keeps_its_gears(capsys):
    stands = list(read_job(SPUR).setup.change["feed gears"].gears)
    free, held = planned(capsys, SPUR), planned(capsys, SPUR, "--hold", "feed gears")
    assert free[0] == held[0] == 0
    assert gears(free[1], "feed gears") != [stands]
    assert gears(held[1], "feed gears") == [stands]


def test_what_is_held_is_what_stands_on_the_machine_now(tmp_path, capsys):
    other = tmp_path / "job.toml"
    drawing = SPUR.read_text(encoding="utf-8").split("[setup]")[0]
    other.write_text(drawing.replace("teeth  = 43", "teeth = 57"), encoding="utf-8")
    stands = list(read_job(SPUR).setup.change["feed gears"].gears)
    status, found = planned(capsys, other, "--now", SPUR, "--hold", "feed gears")
    assert status == 0
    assert gears(found, "feed gears") == [stands]


def test_gears_held_on_a_bracket_that_is_not_needed_are_in_no_other():
    job = read_job(RING)
    spur = read_job(SPUR)
    standing = {
        "differential gears": job.with_gears("differential gears", (43, 52, 39, 44)).setup.change[
            "differential gears"
        ]
    }
    found = plan(spur, top=5, lying=standing, hold=["differential gears"])
    once = {
        each for each in (43, 52, 39, 44) if sum(one.teeth.count(each) for one in spur.machine.gear_sets) == 1
    }
    assert once
    for setup in (one.setup for member in found.members for one in member.setups):
        used = {
            teeth for name, one in setup.change.items() if name != "differential gears" for teeth in one.gears
        }
        assert not used & once


def test_where_what_is_held_will_not_do_that_is_said(capsys):
    status, found = planned(capsys, RING, "--now", SPUR, "--hold", "index gears")
    assert status == 1
    assert "index gears is held at 20/43 · 36/40" in found["members"][0]["none_because"]


def test_of_equally_true_set_ups_the_one_that_changes_least_comes_first(capsys):
    stands = list(read_job(SPUR).setup.change["index gears"].gears)
    assert gears(planned(capsys, SPUR)[1], "index gears") != [stands]
    assert gears(planned(capsys, SPUR, "--now", SPUR)[1], "index gears") == [stands]


#: A machine without a differential, a level one, one that measures in inches; with a bracket that can be held there.
OTHERS = [("09-curtain-sprocket", "feed gears"), ("11-thunder-run-pinion", "feed gears"), ("08-inch-winch", "feed gears")]


@pytest.mark.parametrize(("order", "bracket"), OTHERS)
def test_on_every_kind_of_machine_the_next_count_is_set_with_what_stands_there_as_it_is(order, bracket):
    job = read_job(SCENARIOS / order / "job.toml")
    following = replace(job, work=replace(job.work, teeth=job.work.teeth + 1), setup=None)
    stands = StandsOnMachine.of(job, job.setup, job.machine)

    def moved(**wishes):
        best = plan(following, top=1, **wishes).members[0].setups[0]
        done = changes(stands, StandsOnMachine.of(following, best.setup, job.machine))
        assert prove(following.with_setup(best.setup)).is_as_wanted
        return done.gear_off + done.gear_on + done.idler, best.setup.change[bracket].gears

    free, begun = moved()[0], moved(lying=job.setup.change)[0]
    held, gears = moved(lying=job.setup.change, hold=[bracket])
    assert gears == job.setup.change[bracket].gears
    assert held <= begun <= free
    assert held < free


@pytest.mark.parametrize("order", ["09-curtain-sprocket", "03-no-differential", "11-thunder-run-pinion", "08-inch-winch"])
def test_a_bracket_held_at_gears_for_another_count_is_what_stands_in_the_way(order):
    job = read_job(SCENARIOS / order / "job.toml")
    following = replace(job, work=replace(job.work, teeth=job.work.teeth + 1), setup=None)
    found = plan(following, top=1, lying=job.setup.change, hold=["index gears"]).members[0]
    assert not found.setups
    gears = str(Mounted(job.setup.change["index gears"].gears))
    assert found.none_because == (
        f"index gears is held at {gears}: with that there is no set-up, and without it there is one"
    )
    assert not found.gears_to_get
    assert plan(following, top=1, lying=job.setup.change).members[0].setups


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ((SPUR, "--hold", "fead gears"), 'Did you mean "feed gears"'),
        ((SPUR, "--hold", "differential gears"), "nothing stands there"),
        ((SPUR, "--now", SCENARIOS / "01-fly-winch-pair" / "pinion.toml"), "stands on Corvane 7"),
    ],
)  # fmt: skip
def test_what_cannot_be_held_is_told(arguments, said, capsys):
    assert main(["plan", *map(str, arguments)]) == 2
    assert said in capsys.readouterr().err
