"""The order of the day: least changing over, held against going through every order, and tried on the machine."""

from __future__ import annotations

import json
from fractions import Fraction
from pathlib import Path
from random import Random

import pytest
from handlead.kinematics.links.mounted import Mounted
from handlead.machines.job_files.job_file import read_job
from handlead.machines.machine_files.machine_file import read_machine
from handlead.machines.sequencing import sequence
from handlead.machines.sequencing.changing import Changes, StandsOnMachine, changes, times_of
from handlead.machines.sequencing.day import order_of_the_day, standing_now
from handlead.machines.sequencing.sequence import best_route
from handlead.machines.toml.errors import HandleadError
from handlead.viz.command import main
from random_shops import cheapest, random_costs

GOOD = Path(__file__).parent / "good"
SPUR = Path(__file__).parents[2] / "scenarios" / "02-left-hand-hob" / "job.toml"


@pytest.mark.parametrize("seed", range(12))
def test_the_cheapest_order_is_the_one_that_going_through_all_finds(seed):
    costs = random_costs(Random(seed), 2 + seed % 4)
    route = best_route(costs)
    assert route.cost == route.bound == cheapest(costs)
    assert sorted(job for job, _ in route.picks) == list(range(costs.jobs))


@pytest.mark.parametrize("seed", range(6))
def test_where_not_every_order_is_reckoned_with_the_bound_holds(seed, monkeypatch):
    costs = random_costs(Random(seed), 5)
    least = cheapest(costs)
    monkeypatch.setattr(sequence, "MOST_PROVED", 0)
    route = best_route(costs)
    assert route.bound <= least + 1e-9 <= route.cost + 2e-9
    assert sorted(job for job, _ in route.picks) == list(range(5))


def test_a_gear_stays_where_the_same_one_stands_at_its_place():
    before = StandsOnMachine(
        {"index": Mounted((20, 40, 30, 60)), "feed": Mounted((20, 30))}, {"range": "high"}, Fraction(2)
    )
    after = StandsOnMachine(
        {"index": Mounted((20, 40, 30, 65), (24,)), "feed": Mounted((20, 30))}, {"range": "low"}, Fraction(2)
    )
    assert changes(before, after) == Changes(gear_off=1, gear_on=1, idler=1, lever=1, fixture=1)
    turned_over = StandsOnMachine({"index": Mounted((30, 40, 20, 60))})
    assert changes(StandsOnMachine({"index": Mounted((20, 40, 30, 60))}), turned_over).gear_off == 2
    one_pair = StandsOnMachine({"index": Mounted((20, 60))})
    assert changes(before, one_pair).gear_on == 2


def test_blanks_that_one_fixture_holds_ask_for_no_other():
    one, other = StandsOnMachine(fixture="arbor of 25"), StandsOnMachine(fixture="arbor of 30")
    assert [changes(one, each).fixture for each in (one, other, StandsOnMachine())] == [0, 1, 1]


def test_a_machine_file_says_what_changing_over_takes_there():
    times = times_of(read_machine(GOOD / "imperfect.toml"))
    assert times["head"] == 8
    assert Changes(gear_off=2, head=1).minutes(times) == 9
    assert times_of(read_machine(GOOD / "small.toml"))["gear_on"] == Fraction(3, 2)
    assert read_job(GOOD / "worm-wheel-job.toml").fixture == "arbor of 25"


@pytest.fixture(scope="module")
def pile(tmp_path_factory):
    folder = tmp_path_factory.mktemp("day")
    drawing = SPUR.read_text(encoding="utf-8").split("[setup]")[0]
    for teeth in (24, 31, 36, 29):
        text = drawing.replace("teeth  = 43", f"teeth = {teeth}").replace(
            'title   = "', f'title = "{teeth}, '
        )
        (folder / f"z{teeth}.toml").write_text(text, encoding="utf-8")
    return [folder / f"z{teeth}.toml" for teeth in (24, 31, 36, 29)]


@pytest.fixture(scope="module")
def day(pile):
    (found,) = order_of_the_day([(job, job.machine) for job in map(read_job, pile)])
    return found


def test_every_turn_cuts_its_own_job(day):
    assert sorted(turn.proof.case.job.work.teeth for turn in day.turns) == [24, 29, 31, 36]
    for turn in day.turns:
        assert turn.proof.is_as_wanted
        assert turn.proof.computed.outcome.teeth == turn.proof.case.job.work.teeth


def test_changing_over_takes_no_longer_than_in_the_order_given_and_is_proved(day):
    assert day.minutes < day.as_given
    assert day.is_proved
    assert day.minutes == sum(turn.minutes for turn in day.turns)
    # Three changes of the count: one index gear each is the least that can be.
    assert day.moved("index gears") == 6
    assert day.moved("feed gears") == 0


def test_what_stands_on_the_machine_now_is_where_it_begins(pile, day):
    job = read_job(pile[0])
    last = day.turns[-1]
    now = StandsOnMachine.of(last.proof.case.job, last.setup, job.machine)
    (again,) = order_of_the_day(
        [(each, each.machine) for each in map(read_job, pile)], now={job.machine.name: now}
    )
    assert again.turns[0].job == last.job
    assert (again.turns[0].changes.gear_on, again.turns[0].changes.hob) == (0, 0)
    assert again.minutes < day.minutes


def test_what_stands_now_comes_from_jobs_that_are_set_up(pile, tmp_path):
    assert standing_now([SPUR])["Tesmore D2"].change["feed gears"].gears == (24, 45, 48, 32)
    with pytest.raises(HandleadError, match=r"no \[setup\]"):
        standing_now([pile[0]])
    with pytest.raises(HandleadError, match="already"):
        standing_now([SPUR, SPUR])


def test_the_command_tells_the_order_and_writes_its_sheets(pile, tmp_path, capsys):
    sheets = tmp_path / "day.pdf"
    files = [str(path) for path in pile[:2]]
    assert main(["survey", *files, "--order", "--now", str(SPUR), "--sheets", str(sheets), "--json"]) == 0
    (told,) = json.loads(capsys.readouterr().out)["order"]
    assert told["proved"]
    assert told["turns"][0]["changes"]["hob"] == 0
    assert sheets.read_bytes().startswith(b"%PDF")


HERRINGBONE = SPUR.parents[1] / "74-herringbone-hoist" / "job.toml"


def test_the_second_half_of_a_blank_comes_straight_after_the_first_and_is_proved_as_its_own(pile):
    jobs = [read_job(HERRINGBONE), read_job(SPUR.parents[1] / "01-fly-winch-pair" / "wheel.toml")]
    now = standing_now([HERRINGBONE])
    (found,) = order_of_the_day([(job, job.machine) for job in jobs], now=now)
    first, second = [at for at, turn in enumerate(found.turns) if turn.job == jobs[0].path]
    assert second == first + 1
    assert [found.turns[at].title.rsplit(", ", 1)[1] for at in (first, second)] == ["first half", "second half"]
    assert [found.turns[at].proof.computed.outcome.hand.word for at in (first, second)] == ["right", "left"]
    assert found.turns[second].changes.hob == 0
    assert found.minutes <= found.as_given


def test_a_blank_stays_clamped_for_its_second_half_unless_it_is_turned_over(tmp_path):
    lines = HERRINGBONE.read_text(encoding="utf-8").replace("[double_helical]", "[double_helical]\nturned_over = false")
    job = tmp_path / "job.toml"
    job.write_text(lines, encoding="utf-8")
    taken = []
    for path in (HERRINGBONE, job):
        (found,) = order_of_the_day([(each, each.machine) for each in [read_job(path)]])
        taken.append([turn.changes.fixture for turn in found.turns])
    assert taken == [[1, 1], [1, 0]]


@pytest.mark.parametrize(
    ("arguments", "said"),
    [(["--now", "x.toml"], "--now goes with --order"), (["--order", "--sheets", "x.txt"], "must end in")],
)
def test_what_goes_with_the_order_alone_is_refused_without_it(arguments, said, pile, capsys):
    assert main(["survey", str(pile[0]), *arguments]) == 2
    assert said in capsys.readouterr().err
