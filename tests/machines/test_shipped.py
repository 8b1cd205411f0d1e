"""The machines that ship: all read, all turn or name what locks them, and their constants are the plate's.

The constants are worked out here from the tooth counts, as a person would with a finger on the train;
own derivation, so that the arithmetic stands written out.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from functools import cache
from pathlib import Path

import pytest
from handlead.kinematics.brackets.bracket import Bracket
from handlead.kinematics.brackets.mounting import Mounting
from handlead.kinematics.frame.motion import Rates
from handlead.kinematics.frame.words import Sense
from handlead.kinematics.links.link import Link
from handlead.kinematics.links.links import (
    Belt,
    BevelGears,
    Clutch,
    Differential,
    GearPair,
    Screw,
    Selector,
    Template,
    WormGear,
)
from handlead.kinematics.links.mounted import ChangeGears, Mounted, SetRatio
from handlead.kinematics.train.solution import hob_rates, solve
from handlead.kinematics.train.train import Train
from handlead.kinematics.transfer.constants import Constants, find_constants
from handlead.machines.machine_files.catalogue import shipped_machines
from handlead.machines.machine_files.machine_file import Machine, read_machine
from hypothesis import given, settings
from hypothesis import strategies as st

#: The tables below are tooth counts; a short name keeps them readable.
F = Fraction

NAMES = sorted(shipped_machines())

#: Hob turns for a turn of the table with index gears of ratio 1: from the hob back to the main shaft,
#: from there to the index gears, and over the table worm.
INDEX_CONSTANTS = {
    # hob 80/20, sun 45/45, bevel differential 1, 28/40, worm 1:84
    ("corvane-7", ()): F(84) / (F(80, 20) * F(45, 45) * 1 * F(28, 40)),  # 30
    # hob 72/18, 40/40, worm 1:72, bevel differential 1
    ("tesmore-d2", ()): F(72) / (F(72, 18) * F(40, 40)),  # 18
    # hob 75/15, 20/60, worm 1:60
    ("brinnock-20", ()): F(60) / (F(75, 15) * F(20, 60)),  # 36
    # hob 72/24, range 1, 1/2 or 1/4, bevel differential 1, 38/38, worm 1:60
    ("ombrecht-l8", (("range", "coarse"),)): F(60) / (F(72, 24) * 1 * F(38, 38)),  # 20
    ("ombrecht-l8", (("range", "middle"),)): F(60) / (F(72, 24) * F(1, 2) * F(38, 38)),  # 40
    ("ombrecht-l8", (("range", "fine"),)): F(60) / (F(72, 24) * F(1, 4) * F(38, 38)),  # 80
    # hob 60/15, 45/30 to the sun, sun 24 to annulus 72, 50/50, 36/36, worm 1:64
    ("pellarn-4", ()): F(64) / (F(60, 15) * F(45, 30) * F(24, 72) * F(50, 50) * F(36, 36)),  # 32
    # hob 78/26, 36/36, released 20/40 * 30/30, 30/30, worm 1:75; pinned the epicyclic turns as one
    ("vaskerby-12", (("locking pin", "out"), ("differential", "held"))): F(75)
    / (F(78, 26) * F(36, 36) * F(20, 40) * F(30, 30) * F(30, 30)),  # 50
    ("vaskerby-12", (("locking pin", "in"), ("differential", "free"))): F(75)
    / (F(78, 26) * F(36, 36) * 1 * F(30, 30)),  # 25
    # hob 64/16, 36/36, bevel differential 1, worm 1:100; over both brackets of the index cabinet
    ("yarnwick-11", ()): F(100) / (F(64, 16) * F(36, 36)),  # 25
    # hob 72/24, sun 45/45, bevel differential 1, 30/40, worm 1:72
    ("dunscar-9", ()): F(72) / (F(72, 24) * F(45, 45) * 1 * F(30, 40)),  # 32
    # hob 60/15, 45/30 to the sun, sun 24 to annulus 72, 50/50, 36/36, worm 1:80
    ("quernby-6", ()): F(80) / (F(60, 15) * F(45, 30) * F(24, 72) * F(50, 50) * F(36, 36)),  # 40
    # hob 66/22 * 40/20, 40/60, worm 1:112, bevel differential 1
    ("thrawle-t", ()): F(112) / (F(66, 22) * F(40, 20) * F(40, 60)),  # 28
}

#: Slide in mm for a turn of the table with feed gears of ratio 1: table worm, feed worm, slide worm, screw.
FEED_CONSTANTS = {
    ("corvane-7", "axial", ()): F(84) * F(3, 42) * F(1, 20) * 10,  # 3
    ("tesmore-d2", "axial", ()): F(72) * F(2, 36) * F(1, 16) * 10,  # 2.5
    ("brinnock-20", "axial", ()): F(60) * F(2, 30) * F(1, 24) * 6,  # 1
    ("ombrecht-l8", "axial", ()): F(60) * F(2, 24) * F(1, 25) * 8,  # 1.6
    ("pellarn-4", "axial", ()): F(64) * F(1, 16) * F(1, 20) * F(1, 4) * F(254, 10),  # 0.050 in
    ("vaskerby-12", "axial", ()): F(75) * F(2, 25) * F(1, 24) * 8,  # 2
    ("yarnwick-11", "axial", ()): F(100) * F(2, 50) * F(1, 8) * 6,  # 3
    ("dunscar-9", "axial", ()): F(72) * F(3, 42) * F(1, 20) * 10,  # 18/7
    ("quernby-6", "axial", ()): F(80) * F(1, 16) * F(1, 20) * F(1, 4) * F(254, 10),  # 1/16 in
    ("thrawle-t", "axial", (("feed to", "axial"),)): F(112) * F(2, 56) * F(1, 20) * 12,  # 2.4
    ("thrawle-t", "tangential", (("feed to", "tangential"),)): F(112) * F(2, 56) * F(1, 30) * 6,  # 0.8
    ("thrawle-t", "radial", (("feed to", "radial"),)): F(112) * F(2, 56) * F(1, 40) * 5,  # 0.5
}

#: Constant of the differential gears, and the powers of teeth, starts and feed that go with it over the lead.
#: Each is 1 over what one mm (table-fed: one turn of the table) adds to the table through gears of ratio 1,
#: with index gears of constant * k / z where they come after the sum.
IN, DRIVEN = ("differential", "in"), ("differential", "driven")
DIFFERENTIAL_CONSTANTS = {
    # screw 1/10, tap 72/18, cage worm 4/24, sun twice the cage, 28/40, index 30 k/z, worm 1:84
    ("corvane-7", "axial", (IN,)): (
        1 / (F(1, 10) * F(72, 18) * F(4, 24) * 2 * F(28, 40) * 30 / 84), 1, -1, 0),  # 30 z/(k L)
    # screw 1/10, tap 80/20, cage worm 3/18, worm shaft twice the cage, worm 1:72
    ("tesmore-d2", "axial", (("cage brake", "off"), ("cage clutch", "in"))): (
        1 / (F(1, 10) * F(80, 20) * F(3, 18) * 2 / 72), 0, 0, 0),  # 540/L
    # worm shaft 60, tap 1/25, cage worm 1/12, sun twice the cage, 38/38, index 20 k/z, worm 1:60, for f mm
    ("ombrecht-l8", "axial", (IN,)): (
        1 / (60 * F(1, 25) * F(1, 12) * 2 * F(38, 38) * 20 / F(60)), 1, -1, 1),  # 7.5 f z/(k L)
    # screw 4 to the inch, tap 54/18, carrier worm 4/40, annulus 1 + 24/72, index 32 k/z, worm 1:64
    ("pellarn-4", "axial", (IN,)): (
        F(254, 10) / (4 * F(54, 18) * F(4, 40) * (1 + F(24, 72)) * F(50, 50) * 32 * F(36, 36) / 64), 1, -1, 0),
    # screw 1/8, tap 75/25, carrier worm 5/20, second sun 1 - 20/40 of the carrier, index 50 k/z, worm 1:75
    ("vaskerby-12", "axial", (DRIVEN,)): (
        1 / (F(1, 8) * F(75, 25) * F(5, 20) * (1 - F(20, 40)) * 50 / 75), 1, -1, 0),  # 32 z/(k L)
    # screw 1/6, worm 8, tap 30/30, cage worm 2/24, sun twice the cage, index 25 k/z, worm 1:100
    ("yarnwick-11", "axial", (("cage knob", "free"),)): (
        1 / (F(1, 6) * 8 * F(30, 30) * F(2, 24) * 2 * 25 / 100), 1, -1, 0),  # 18 z/(k L)
    # screw 1/10, tap 72/18, cage worm 4/24, sun twice the cage, 30/40, index 32 k/z, worm 1:72
    ("dunscar-9", "axial", (IN,)): (
        1 / (F(1, 10) * F(72, 18) * F(4, 24) * 2 * F(30, 40) * 32 / 72), 1, -1, 0),  # 22.5 z/(k L)
    # screw 4 to the inch, tap 60/20, carrier worm 4/40, annulus 1 + 24/72, index 40 k/z, worm 1:80
    ("quernby-6", "axial", (IN,)): (
        F(254, 10) / (4 * F(60, 20) * F(4, 40) * (1 + F(24, 72)) * F(50, 50) * 40 * F(36, 36) / 80), 1, -1, 0),
    # axial: screw 1/12, rod 20, tap 26/26, cage worm 1/30, worm shaft twice the cage, worm 1:112
    ("thrawle-t", "axial", (IN, ("feed to", "axial"))): (
        1 / (F(1, 12) * 20 * F(26, 26) * F(1, 30) * 2 / 112), 0, 0, 0),  # 1008/L
    # tangential: screw 1/6, rod 30, then the same
    ("thrawle-t", "tangential", (IN, ("feed to", "tangential"))): (
        1 / (F(1, 6) * 30 * F(26, 26) * F(1, 30) * 2 / 112), 0, 0, 0),  # 336/(pi m z)
}  # fmt: skip


@cache
def machine(name: str) -> Machine:
    return read_machine(shipped_machines()[name])


def moved(name: str, positions: tuple[tuple[str, str], ...] = ()) -> Train:
    shipped = machine(name)
    return shipped.train.with_states(shipped.states({**shipped.normal_positions, **dict(positions)}))


def combinations(name: str) -> Iterator[dict[str, str]]:
    levers = machine(name).levers
    for positions in itertools.product(*(lever.positions for lever in levers.values())):
        yield dict(zip(levers, positions, strict=True))


#: Gears with no prime in common between brackets, so that nothing cancels by accident.
_GEARS = ((29, 31), (37, 41), (43, 47), (53, 59))


def filled(train: Train) -> Train:
    """The train with a fixed odd set of the fewest pairs that each bracket takes."""
    return train.with_gears(
        {
            link.name: Mounted(gears * min(link.pairs))
            for link, gears in zip(train.brackets, _GEARS, strict=False)
        }
    )


def constants(name: str, positions: tuple[tuple[str, str], ...]) -> Constants:
    return find_constants(moved(name, positions), "main")


@pytest.mark.parametrize("name", NAMES)
def test_a_machine_says_first_what_makes_it_different_and_that_it_is_invented(name: str) -> None:
    lines = shipped_machines()[name].read_text(encoding="utf-8").splitlines()
    comment = list(itertools.takewhile(lambda line: line.startswith("#"), lines))
    assert 3 <= len(comment) <= 12
    assert "Invented" in comment[0]
    assert machine(name).name in comment[0]
    assert machine(name).summary


def test_the_list_of_machines_names_each() -> None:
    folder = Path(next(iter(shipped_machines().values()))).parent
    listed = (folder / "README.md").read_text(encoding="utf-8")
    assert all(f"`{name}.toml`" in listed for name in NAMES)


@pytest.mark.parametrize("name", NAMES)
def test_with_its_levers_as_they_normally_stand_a_machine_turns_hob_and_table_and_feeds(name: str) -> None:
    solution = solve(filled(moved(name)), "main")
    assert not solution.is_locked
    assert not solution.backdriven
    assert solution.freedom >= 1
    assert all(solution.end_rate(end) for end in ("hob", "table", "axial"))


@pytest.mark.parametrize("name", NAMES)
def test_the_hob_turns_its_own_positive_way_when_the_motor_does(name: str) -> None:
    solution = solve(filled(moved(name)), "main")
    rate = solution.rates[solution.train.ends["hob"].part]
    assert rate is not None
    assert rate > 0


@pytest.mark.parametrize("name", NAMES)
def test_wherever_the_levers_stand_each_drive_turns_or_what_locks_it_is_named(name: str) -> None:
    shipped = machine(name)
    for positions in combinations(name):
        train = filled(shipped.train.with_states(shipped.states(positions)))
        known = {link.name for link in train.links} | {f"drive {drive} at rest" for drive in train.drives}
        for drive in train.drives:
            solution = solve(train, drive)
            if solution.is_locked:
                assert set(solution.lock) <= known
                assert solution.rates[train.drives[drive].shaft] == 0
            else:
                assert solution.rates[train.drives[drive].shaft] == 1
                assert solution.lock == ()
            if drive == "main" and not solution.is_locked:
                assert solution.end_rate("hob")


def test_only_levers_that_fight_lock_a_machine() -> None:
    locked = {
        (name, *sorted(positions.items()))
        for name in NAMES
        for positions in combinations(name)
        if solve(filled(moved(name, tuple(positions.items()))), "main").is_locked
    }
    assert all(
        (name == "tesmore-d2" and {("cage brake", "on"), ("cage clutch", "in")} <= set(rest))
        or (name == "vaskerby-12" and {("locking pin", "in"), ("differential", "held")} <= set(rest))
        or (name == "vaskerby-12" and {("locking pin", "in"), ("differential", "driven")} <= set(rest))
        for name, *rest in locked
    )
    assert {name for name, *_ in locked} == {"tesmore-d2", "vaskerby-12"}


@pytest.mark.parametrize("name", NAMES)
def test_every_bracket_decides_something_in_some_position_of_the_levers(name: str) -> None:
    found: set[str] = set()
    for positions in combinations(name):
        rules = constants(name, tuple(positions.items()))
        found |= {rule.bracket for rule in rules.feeds} | {rule.bracket for rule in rules.differentials}
        found |= {rules.index.bracket} if rules.index else set()
        found |= {rules.speed} if rules.speed else set()
        found |= {name for series in rules.series for name in series.loose}
    assert found == {link.name for link in machine(name).train.brackets}


@pytest.mark.parametrize(("key", "wanted"), INDEX_CONSTANTS.items(), ids=str)
def test_the_index_constant_is_the_product_of_the_tooth_counts(
    key: tuple[str, tuple[tuple[str, str], ...]], wanted: F
) -> None:
    index = constants(*key).index
    assert index is not None
    assert abs(index.constant) == wanted


@pytest.mark.parametrize(("key", "wanted"), FEED_CONSTANTS.items(), ids=str)
def test_the_feed_constant_is_the_product_of_the_tooth_counts(
    key: tuple[str, str, tuple[tuple[str, str], ...]], wanted: F
) -> None:
    name, slide, positions = key
    (feed,) = constants(name, positions).feeds
    assert (feed.slide, feed.per) == (slide, "table")
    assert abs(feed.constant) == wanted


@pytest.mark.parametrize(("key", "wanted"), DIFFERENTIAL_CONSTANTS.items(), ids=str)
def test_the_differential_constant_is_the_product_of_the_tooth_counts(
    key: tuple[str, str, tuple[tuple[str, str], ...]], wanted: tuple[F, int, int, int]
) -> None:
    name, slide, positions = key
    (rule,) = constants(name, positions).differentials
    assert rule.slide == slide
    assert (rule.constant, rule.teeth_power, rule.starts_power, rule.feed_power) == wanted


def test_the_tables_here_leave_no_machine_out() -> None:
    assert {name for name, _ in INDEX_CONSTANTS} == set(NAMES)
    assert {name for name, *_ in FEED_CONSTANTS} == set(NAMES)
    without = {name for name in NAMES if not any(isinstance(x, Differential) for x in machine(name).train.links)}
    assert {name for name, *_ in DIFFERENTIAL_CONSTANTS} == set(NAMES) - without
    assert without == {"brinnock-20"}


@pytest.mark.parametrize("name", NAMES)
def test_the_drawer_of_each_bracket_holds_a_set_that_can_be_mounted(name: str) -> None:
    shipped = machine(name)
    for link in shipped.train.brackets:
        if isinstance(link, SetRatio):
            continue  # entered, out of no drawer
        teeth = sorted({z for held in shipped.gear_sets if link.name in held.fits for z in held.teeth})
        bracket = Bracket.of(link.bracket or {})
        pairs = min(link.pairs)
        sets = itertools.product(teeth[:: 1 if pairs == 1 else 6], repeat=2 * pairs)
        assert any(isinstance(bracket.mount(gears), Mounting) for gears in sets), link.name


@pytest.mark.parametrize("name", NAMES)
def test_a_drawer_holds_some_gears_twice(name: str) -> None:
    teeth = [z for held in machine(name).gear_sets for z in held.teeth]
    assert len(set(teeth)) < len(teeth)


@pytest.mark.parametrize("name", NAMES)
def test_what_the_plate_limits_is_there(name: str) -> None:
    limits = machine(name).limits
    train = machine(name).train
    assert set(limits.rpm) <= set(train.shafts)
    assert set(limits.travel) == {end.part for end in train.ends.values() if end.part in train.slides}
    assert train.ends["hob"].part in limits.rpm


def flips(train: Train) -> list[set[str]]:
    """Parts whose positives are free of the others': those that a clutch, bracket or differential ties go together."""
    groups = [{part} for part in train.parts]
    for link in train.links:
        if isinstance(link, Clutch | Differential | ChangeGears):
            tied = [group for group in groups if group & set(link.ports)]
            groups = [group for group in groups if group not in tied] + [set().union(*tied)]
    return groups


def named_backwards(train: Train, parts: set[str]) -> Train:
    """The same machine, with the positives of `parts` called the other way and every statement adjusted to it."""
    links = [
        turned(link) if len(link.ports) == 2 and len(set(link.ports) & parts) == 1 else link for link in train.links
    ]
    ends = {name: replace(end, sign=-end.sign) if end.part in parts else end for name, end in train.ends.items()}
    return replace(train, links=tuple(links), ends=ends)


def turned(link: Link) -> Link:
    """The link with its sense stated the other way."""
    if isinstance(link, Belt):
        return replace(link, crossed=not link.crossed)
    if isinstance(link, Selector):
        return replace(link, ratios={state: -ratio for state, ratio in link.ratios.items()})
    if isinstance(link, GearPair):
        return replace(link, sense=Sense.SAME if link.ratio < 0 else Sense.OPPOSITE)
    if isinstance(link, Template):
        return link  # no part of the rates
    assert isinstance(link, BevelGears | WormGear | Screw), link
    return replace(link, sense=Sense.SAME if link.sense is Sense.OPPOSITE else Sense.OPPOSITE)


def rates(train: Train) -> Rates | None:
    return hob_rates(solve(train, "main"))


@given(st.data())
@settings(deadline=None, max_examples=60)
def test_naming_a_part_backwards_cuts_the_same_gear(data: st.DataObject) -> None:
    name = data.draw(st.sampled_from(NAMES))
    positions = data.draw(st.sampled_from(list(combinations(name))))
    train = filled(moved(name, tuple(positions.items())))
    parts = set().union(*data.draw(st.lists(st.sampled_from(flips(train)), min_size=1)))
    backwards = named_backwards(train, parts)
    assert rates(backwards) == rates(train)
    assert solve(backwards, "main").lock == solve(train, "main").lock
    assert find_constants(backwards, "main") == find_constants(train, "main")


@pytest.mark.parametrize("name", NAMES)
def test_the_order_of_the_links_in_the_file_changes_nothing(name: str) -> None:
    train = filled(moved(name))
    assert rates(replace(train, links=train.links[::-1])) == rates(train)
