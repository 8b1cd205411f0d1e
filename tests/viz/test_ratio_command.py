"""Change gears for a bare ratio, from the command line: drawers, ranges, and what a bracket takes."""

from __future__ import annotations

import json

import pytest
from handlead.kinematics.brackets.bracket import Bracket
from handlead.kinematics.brackets.mounting import Mounting
from handlead.machines.machine_files.catalogue import find_machine
from handlead.viz.command import main


def told(capsys, *options, status=0):
    assert main(["plan", "--ratio", *options]) == status
    return capsys.readouterr()


def found(capsys, *options):
    return json.loads(told(capsys, *options, "--json").out)


def test_a_single_pair_that_serves_comes_before_two(capsys):
    first, *others = told(capsys, "1.27", "--drawer", "20,40,50,80,100,127").out.splitlines()
    assert first.startswith("127/100 ") and "+0.0000 ppm" in first
    assert any("·" in line for line in others)


def test_two_pairs_alone_where_two_are_asked_for(capsys):
    sets = found(capsys, "1.27", "--drawer", "20,40,50,80,100,127", "--pairs", "2")["sets"]
    assert {len(one["gears"]) for one in sets} == {4}


def test_gears_are_put_in_an_order_that_a_usual_bracket_takes(capsys):
    # 20/40 · 127/50 fouls: the 127 needs more than 20 + 40 beside the first shaft; the other way about it stands.
    (one,) = found(capsys, "127/100", "--drawer", "20,40,50,127", "--top", "1")["sets"]
    assert isinstance(Bracket(clearance=15).mount(one["gears"]), Mounting)
    assert not one["roomy_bracket_only"]


def test_a_set_that_no_usual_bracket_takes_is_said_to_want_a_roomy_one(capsys):
    # Whichever way about: 13 + 14 teeth are no more than 12 + 15.
    options = ("13/15", "--drawer", "12,13,14,14", "--pairs", "2", "--top", "1")
    assert "fits only a roomy bracket" in told(capsys, *options).out
    (one,) = found(capsys, *options)["sets"]
    assert one["roomy_bracket_only"] and one["why"]
    assert "roomy" not in told(capsys, "1.27", "--drawer", "127,100").out


@pytest.mark.parametrize(
    ("drawer", "teeth"),
    [("20-24", {20, 21, 22, 23, 24}), ("20-40/5,127", {20, 25, 30, 35, 40, 127}), ("30", {30}), ("24-24", {24})],
)
def test_a_range_stands_for_every_gear_in_it(drawer, teeth):
    from handlead.viz.machine_commands.ratio import _drawer

    assert set(_drawer(drawer)) == teeth


@pytest.mark.parametrize(
    ("drawer", "words"),
    [
        ("100-20", "runs backwards; write a range from its least gear"),
        ("20-", "'' in --drawer isn't a gear's teeth"),
        ("a-20", "a range is written 20-100"),
        ("20-9000", "stands for 8981 gears; a range may stand for 500"),
        ("30/5", "is no range"),
        ("20-40/0", "isn't a gear's teeth|runs backwards"),
        ("", "no gears: give those that are owned"),
    ],
)
def test_a_drawer_that_can_not_be_read_is_a_plain_complaint(drawer, words, capsys):
    import re

    assert re.search(words, told(capsys, "1.27", "--drawer", drawer, status=2).err)


def test_a_machine_s_own_drawer_and_bracket_are_kept_to(capsys):
    machine = find_machine("corvane-7")
    link = machine.train.link("index gears")
    result = found(capsys, "1.27", "--machine", "corvane-7", "--bracket", "index gears")
    owned = [teeth for one in machine.gear_sets for teeth in one.teeth]
    for one in result["sets"]:
        assert all(owned.count(teeth) >= one["gears"].count(teeth) for teeth in one["gears"])
        assert isinstance(Bracket.of(link.bracket).mount(one["gears"], one["idlers"]), Mounting)
    assert "62 gears at hand" in told(capsys, "1.27", "--machine", "corvane-7", "--bracket", "index gears").out


def test_a_machine_s_bracket_with_another_drawer(capsys):
    result = found(
        capsys, "1", "--machine", "corvane-7", "--bracket", "index gears", "--drawer", "40,40,50,50", "--top", "1"
    )
    assert set(result["sets"][0]["gears"]) <= {40, 50}


def test_nearer_sets_that_the_bracket_refuses_are_told_with_the_reason(capsys):
    # Index bracket of the Thrawle: shafts 140 mm apart, module 2.5, so that 112 teeth must reach across at least.
    options = ("1", "--machine", "thrawle-t", "--bracket", "index gears", "--drawer", "20,20,21,21,60,61,62,64")
    result = found(capsys, *options)
    nearest = abs(result["sets"][0]["error_ppm"])
    assert result["refused"] and all(other["why"] for other in result["refused"])
    assert min(abs(other["error_ppm"]) for other in result["refused"]) <= nearest
    assert "nearer, but not to be mounted" in told(capsys, *options).out


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--machine", "corvane-7"], 'has more than one bracket; name one with --bracket: "speed gears"'),
        (["--machine", "corvane-7", "--bracket", "feed"], 'has no bracket "feed"'),
        (["--bracket", "feed gears"], "add --machine"),
        (["--machine", "nonesuch", "--bracket", "x"], 'there is no machine "nonesuch"'),
        ([], "no gears"),
    ],
)
def test_a_machine_or_bracket_that_is_not_there_is_a_plain_complaint(options, words, capsys):
    assert words in told(capsys, "1.27", *options, status=2).err


def test_a_job_goes_without_the_options_of_a_ratio(capsys):
    assert main(["plan", "job.toml", "--drawer", "20-40"]) == 2
    assert "--drawer goes with --ratio" in capsys.readouterr().err
    assert main(["plan", "job.toml", "--ratio", "1.27", "--drawer", "20-40"]) == 2
    assert "leave the JOB out" in capsys.readouterr().err
