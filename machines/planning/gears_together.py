"""Gears to get, looked for in index, feed and differential at once: what the others take of the drawer is gone.

Where the likeliest gears for each bracket ask for one another, or where the differential's ratio goes by the feed, what
each bracket lacks by itself says little.
"""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from handlead.kinematics.brackets.drawer import Drawer, drawer_for
from handlead.kinematics.search.change_gears import ChangeGearSet
from handlead.kinematics.together.filling import Listed, fillings, least_work, listed
from handlead.kinematics.together.together import BracketPlace, Steps, Stock
from handlead.kinematics.work.requirement import Work
from handlead.machines.machine_files.machine_file import GearSet, Machine
from handlead.machines.members.lacking import MOST_FOR_A_BRACKET, lacking
from handlead.machines.members.places import (
    differential_place,
    differential_preference,
    error_allowed,
    feed_place,
    feed_preference,
    index_place,
    ratio_per_mm,
)
from handlead.machines.setups.ways import Needed, needed

from .asked import Asked
from .wanted import OBTAINABLE, Wanted

#: Gears for each bracket, sorted.
Gears = Mapping[str, tuple[int, ...]]

#: Choices of gears for index and feed that are looked at, sets of the feed gears with each, choices for the
#: differential with each of those, how many of all are held against one another, and what is looked at for that.
_FOR_BOTH, _FEEDS, _LEADS, _HELD, _STEPS = 12, 8, 4, 80, 200


@dataclass(frozen=True)
class _GotTogether:
    """Gears to get by bracket, and the sets with which they are to serve: one of the feed gears, and index gears."""

    rank: int
    more: Gears
    lead: BracketPlace
    feed: Listed
    indexes: Listed

    @property
    def count(self) -> int:
        """How many gears are to be got."""
        return _count(self.more)


def _count(gears: Gears) -> int:
    return sum(map(len, gears.values()))


def choices_together(
    wanted: Wanted, work: Work, demand: Needed, offered: Mapping[str, Sequence[tuple[int, ...]]], most: int
) -> Iterator[Gears]:
    """Choices of at most so many gears with which index, feed and differential can be filled at once, fewest first.

    `offered` has the gears with which index and feed by themselves might do.
    """
    found = sorted(_choices(wanted, work, demand, offered, most), key=lambda one: (one.count, one.rank))
    for one in found[:_HELD]:
        richer = wanted.on(with_gears(wanted.machine, one.more))
        stock = Stock.of([one.lead, one.feed.place, one.indexes.place], richer.gear_sets)
        leads = listed(one.lead, stock, differential_preference(one.lead, work), 2 * _LEADS, keep=False)
        true = tuple(item for item in leads.items if abs(item.set.error) <= error_allowed(work))
        if next(fillings(stock, [replace(leads, items=true), one.feed, one.indexes], Steps(_STEPS)), None):
            yield one.more


def _choices(
    wanted: Wanted, work: Work, demand: Needed, offered: Mapping[str, Sequence[tuple[int, ...]]], most: int
) -> Iterator[_GotTogether]:
    bracket = demand.way.differential(demand.slide) if demand.slide else None
    asked = Asked.of(wanted.job, work, wanted.machine)
    feed, index = feed_place(wanted, demand, asked), index_place(wanted, demand)
    if bracket is None or feed is None:
        return
    both = map(dict, itertools.product(*([(name, one) for one in each] for name, each in offered.items())))
    for more in sorted(both, key=_count)[:_FOR_BOTH]:
        room = min(most - _count(more), MOST_FOR_A_BRACKET)
        indexes = listed(index, _with(wanted, index.name, more), least_work, 60)
        feeds = listed(feed, _with(wanted, feed.name, more), feed_preference(demand, asked), 4 * _FEEDS)
        for rank, one in enumerate(feeds.items[:_FEEDS] if room >= 0 and indexes.items else ()):
            place = _lead(wanted, work, demand, one.set)
            if place is None:
                continue
            left = Counter(_with(wanted, bracket, more).counts)
            left.subtract(one.set.gears)
            for gears in _lacked(place, +left, error_allowed(work), room)[:_LEADS]:
                choice = {name: got for name, got in {**more, bracket: gears}.items() if got}
                if choice:
                    yield _GotTogether(rank, choice, place, Listed(feed, (one,), True), indexes)


#: How far index gears may be from the count's own ratio where the lead's share is in them (own choice).
_NEAR = Fraction(1, 20)


def choices_with_the_lead_in_index(wanted: Wanted, work: Work, demand: Needed, most: int) -> Iterator[Gears]:
    """Choices of feed gears to be got where no differential makes the lead: index gears that there are, the lead's
    share in them, and the feed that makes it just so long; the fewest first, then the feed nearest to what is asked.

    A table that turns τ a hob turn runs ahead of the count's −h·k/z by −H·a/L, a being the slide's way: so a is known.
    """
    rule, indexing = demand.way.feed_rule("axial"), demand.way.constants.index
    if rule is None or indexing is None or work.lead_mm is None or work.hand is None or demand.way.has_differential:
        return
    asked, hob = Asked.of(wanted.job, work, wanted.machine), wanted.job.hob
    aim = abs(demand.index)
    place = wanted.place(indexing.bracket, demand.index, span=(aim * (1 - _NEAR), aim * (1 + _NEAR)))
    found: list[tuple[int, float, tuple[int, ...]]] = []
    for item in listed(place, drawer_for(place.name, wanted.gear_sets), least_work, _HELD).items:
        table = item.set.ratio * (1 if demand.index > 0 else -1) / indexing.constant
        way = -(table + hob.hand.value * Fraction(hob.starts, work.teeth)) * work.hand.value * Fraction(work.lead_mm)
        feed = way / table
        if not asked.feed.least <= abs(feed) <= asked.feed.most or (feed > 0) is not (demand.feed > 0):
            continue
        lead = wanted.place(rule.bracket, (feed if rule.per == "table" else way) / rule.constant)
        left = Counter(drawer_for(rule.bracket, wanted.gear_sets).counts)
        left.subtract(item.set.gears)
        far = abs(float(feed / asked.feed.aim) - 1)
        lacked = _lacked(lead, +left, error_allowed(work), min(most, MOST_FOR_A_BRACKET))
        found += [(len(gears), far, gears) for gears in lacked[:_LEADS] if gears]
    yield from ({rule.bracket: gears} for _, _, gears in dict.fromkeys(sorted(found)))


def _lacked(place: BracketPlace, left: Mapping[int, int], off: float, most: int) -> Sequence[tuple[int, ...]]:
    """The choices of the fewest gears with which the bracket can be filled out of what is left, and them."""
    each = (lacking(place, left, {*OBTAINABLE, *left}, off, number) for number in range(most + 1))
    return next((some for some in each if some), ())


def _with(wanted: Wanted, name: str, more: Gears) -> Drawer:
    """What a bracket is filled from once the gears for the others are got; they lie where the others' lie."""
    drawer = drawer_for(name, wanted.gear_sets)
    alike = (gears for bracket, gears in more.items() if drawer_for(bracket, wanted.gear_sets) == drawer)
    return Drawer.of([*drawer.gears, *itertools.chain.from_iterable(alike)])


def _lead(wanted: Wanted, work: Work, demand: Needed, feed: ChangeGearSet) -> BracketPlace | None:
    """The differential's bracket at the feed that these gears give."""
    size = feed.ratio / ratio_per_mm(demand)
    signed = Fraction(size if demand.feed > 0 else -size)
    exact = needed(demand.way, work, wanted.job.hob, demand.slide, signed)
    return differential_place(wanted, exact) if exact else None


def with_gears(machine: Machine, gears: Gears) -> Machine:
    """The machine with more gears in its drawers, each of the set that its bracket is filled from."""
    sets = list(machine.gear_sets)
    for bracket, teeth in gears.items():
        home = next((i for i, one in enumerate(sets) if not one.fits or bracket in one.fits), None)
        if home is None:
            sets.append(GearSet(f"gears for {bracket}", (bracket,), teeth))
        else:
            sets[home] = replace(sets[home], teeth=(*sets[home].teeth, *teeth))
    return replace(machine, gear_sets=tuple(sets))
