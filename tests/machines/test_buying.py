"""Gears to get: the fewest that serve every order, held against going through all, and tried on the machine."""

from __future__ import annotations

import json
from fractions import Fraction
from pathlib import Path
from random import Random

import pytest
from handlead.kinematics.together.together import BracketPlace
from handlead.machines.buying.buying import gears_to_buy
from handlead.machines.buying.cover import fewest_gears
from handlead.machines.buying.offers import with_more
from handlead.machines.job_files.job_file import read_job
from handlead.machines.members.lacking import lacking
from handlead.machines.planning.planning import plan
from handlead.viz.command import main
from random_shops import as_ways, enumerated, fewest_for, random_drawer, random_orders

SPUR = Path(__file__).parents[2] / "scenarios" / "02-left-hand-hob" / "job.toml"


@pytest.mark.parametrize("seed", range(12))
def test_the_fewest_gears_are_those_that_going_through_all_finds(seed):
    orders = random_orders(Random(seed))
    fewest, _ = enumerated(orders, None)
    found = fewest_gears(orders)
    assert found is not None
    assert found.proved
    if fewest is not None:
        assert found.bound == sum(found.gears.values()) == fewest
    else:
        assert found.bound > 5


@pytest.mark.parametrize("seed", range(12))
def test_so_many_gears_serve_the_most_orders_that_they_can(seed):
    orders, most = random_orders(Random(seed)), seed % 4
    found = fewest_gears(orders, most)
    assert found is not None
    assert sum(found.gears.values()) <= most
    assert found.bound == len(found.ways) == enumerated(orders, most)[1]


@pytest.mark.parametrize("seed", range(6))
def test_what_brackets_lack_comes_to_the_fewest_that_filling_them_every_way_finds(seed):
    owned, obtainable, places = random_drawer(Random(seed))
    fewest = fewest_for(owned, obtainable, places, 2)
    found = fewest_gears(as_ways(owned, obtainable, places))
    if fewest is None:
        assert found is None or found.bound > 2
    else:
        assert found is not None
        assert found.bound == fewest


@pytest.fixture(scope="module")
def pile(tmp_path_factory):
    """Small wheels of prime counts, on the machine without a differential."""
    folder = tmp_path_factory.mktemp("pile")
    drawing = SPUR.read_text(encoding="utf-8").split("[setup]")[0].replace("tesmore-d2", "brinnock-20")
    small = drawing.replace("module = 2.5", "module = 0.9").replace("diameter   = 75", "diameter = 30")
    for teeth in (43, 101, 103, 202):
        text = small.replace("teeth  = 43", f"teeth = {teeth}").replace('title   = "', f'title = "{teeth}, ')
        (folder / f"z{teeth}.toml").write_text(text, encoding="utf-8")
    return [read_job(path) for path in sorted(folder.glob("*.toml"))]


@pytest.fixture(scope="module")
def bought(pile):
    return gears_to_buy(pile)


def test_one_gear_serves_every_order_that_shares_its_prime(pile, bought):
    assert [(one.teeth, one.count) for one in bought.gears] == [(101, 1), (103, 1)]
    assert (bought.number, bought.bound, bought.proved, bought.already) == (2, 2, True, 1)
    assert [len(one.used) for one in bought.gears] == [2, 1]
    assert all(bracket == "index gears" for one in bought.gears for _, bracket in one.used)


def test_with_the_gears_every_order_can_be_planned_and_without_one_it_cannot(pile, bought):
    machine = pile[0].machine
    drawer = next(at for at, one in enumerate(machine.gear_sets) if one.name == bought.gears[0].drawer)
    rich = with_more(machine, {(drawer, 101): 1, (drawer, 103): 1})
    assert all(plan(job, rich, top=1).is_found for job in pile)
    poor = with_more(machine, {(drawer, 101): 1})
    assert [job.work.teeth for job in pile if not plan(job, poor, top=1).is_found] == [103]


def test_a_single_gear_is_the_one_that_serves_most(pile):
    found = gears_to_buy(pile, most=1)
    assert [one.teeth for one in found.gears] == [101]
    assert [row.title.split(",")[0] for row in found.unserved] == ["103"]
    assert found.bound == 3


def test_where_every_order_can_be_cut_nothing_is_to_be_got(pile):
    found = gears_to_buy([pile[-1]])
    assert (found.number, found.bound, found.proved, found.already) == (0, 0, True, 1)


def test_gears_for_the_speed_are_got_where_a_worm_would_run_too_fast_and_a_plan_names_them(tmp_path):
    # 14 teeth turn the table fast: the worm overruns with every pair of speed gears that lies in the drawer.
    drawing = SPUR.read_text(encoding="utf-8").split("[setup]")[0].replace("tesmore-d2", "corvane-7")
    small = drawing.replace("teeth  = 43", "teeth = 14").replace("diameter   = 75", "diameter = 50")
    (tmp_path / "job.toml").write_text(small.replace("module = 2.5", "module = 1.5"), encoding="utf-8")
    job = read_job(tmp_path / "job.toml")
    (member,) = plan(job, top=1).members
    assert "worm shaft" in member.none_because
    found = gears_to_buy([job])
    assert [one.drawer for one in found.gears] == ["speed gears"] * len(found.gears)
    assert (found.number, found.bound, found.unserved) == (2, 2, ())
    assert all(f"{one.teeth}" in member.gears_to_get for one in found.gears)
    drawer = next(at for at, one in enumerate(job.machine.gear_sets) if one.name == "speed gears")
    rich = with_more(job.machine, {(drawer, one.teeth): one.count for one in found.gears})
    assert plan(job, rich, top=1).is_found


def test_a_span_of_ratios_that_begins_at_nought_is_filled_like_any_other():
    place = BracketPlace("speed", Fraction(1, 2), span=(Fraction(0), Fraction(1, 2)), pairs=(1,))
    assert lacking(place, {40: 1}, range(60, 90)) == tuple((teeth,) for teeth in range(80, 90))


def test_the_command_says_what_each_gear_is_for(pile, capsys):
    files = [job.path for job in pile]
    assert main(["survey", *files, "--gears-to-get"]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "2 gears" in said
    assert "101 teeth" in said
    assert "no fewer will do" in said
    assert main(["survey", *files, "--gears-to-get", "1", "--json"]) == 1
    told = json.loads(capsys.readouterr().out)["gears_to_get"]
    assert (told["number"], told["asked_for"], told["gears"][0]["teeth"]) == (1, 1, 101)


def test_a_number_of_gears_that_cannot_be_is_refused(pile, capsys):
    with pytest.raises(SystemExit) as stopped:
        main(["survey", pile[0].path, "--gears-to-get", "some"])
    assert stopped.value.code == 2
    assert main(["survey", pile[0].path, "--gears-to-get=-1"]) == 2
    assert "--gears-to-get" in capsys.readouterr().err
