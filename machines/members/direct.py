"""Gears for all brackets of a way, the count in the index gears alone."""

from __future__ import annotations

import itertools
from dataclasses import replace
from fractions import Fraction
from typing import Any

from handlead.kinematics.search.change_gears import reach_of
from handlead.kinematics.search.ratios import compare
from handlead.kinematics.together.cheapest import Search
from handlead.kinematics.together.filling import Listed, fillings
from handlead.kinematics.together.together import BracketPlace, Item, Steps, Stock, why_none_alone
from handlead.kinematics.work.requirement import Work
from handlead.machines.planning.asked import Asked
from handlead.machines.planning.asking import goes_by_feed
from handlead.machines.planning.planned import Planned
from handlead.machines.planning.wanted import Wanted
from handlead.machines.setups.ways import Needed, needed

from .found import INDEX, LIMITS, RATIOS, SPEED, TOGETHER, WIDTH, SearchLog, Sets
from .leftover import STEPS, filled_beside
from .places import (
    differential_list,
    differential_place,
    error_allowed,
    feed_list,
    feed_place,
    index_list,
    index_place,
    loose_places,
    ratio_per_mm,
    speed_list,
    speed_place,
)
from .reasons import no_feed, no_speed, speed_obtainable
from .tied import table_fed_sets

#: Choices of gears that are looked at for one way: without lists, where those give nothing; or quickly.
_MORE_STEPS, _QUICK = 800, 1_000


#: Feeds that are tried where the differential's ratio goes by the feed.
_FEEDS = 12


def direct_sets(
    wanted: Wanted, work: Work, demand: Needed, asked: Asked, log: SearchLog, lead_as: Planned | None
) -> list[Sets]:
    """Gears for all brackets, the count in the index gears alone; the likeliest first."""
    index, feed = index_place(wanted, demand), feed_place(wanted, demand, asked)
    differential, speed = differential_place(wanted, demand, lead_as), speed_place(wanted, demand, asked)
    loose = loose_places(wanted, demand)
    places = [place for place in (differential, index, feed, speed, *loose) if place]
    try:
        stock = Stock.of(places, wanted.gear_sets)
    except ValueError as fault:
        log.add(0, str(fault))
        return []
    indexes = index_list(index, stock, wanted)
    if not _stands(indexes, index, stock, log, INDEX):
        return []
    speeds = [speed_list(speed, stock, wanted, demand, asked)] if speed else []
    if speeds and not speeds[0].items:
        limit = SPEED if speed_obtainable(speeds[0].place, stock) else LIMITS
        log.add(limit, no_speed(wanted, demand, speeds[0].place, stock))
        return []
    speeds += [index_list(place, stock, wanted) for place in loose]
    if feed is None:
        return _filled(stock, [indexes, *speeds], wanted, log)
    feeds = feed_list(feed, stock, wanted, demand, asked)
    if not feeds.items:
        log.add(RATIOS, no_feed(wanted, demand, asked, feed, stock))
        return []
    if differential is None:
        return _filled(stock, [_spread(feeds, demand, asked), *_lying_first([indexes, *speeds])], wanted, log)
    if goes_by_feed(demand):
        found = _by_feeds(wanted, work, demand, log, stock, (indexes, feeds, speeds))
        return found or _fed_by_the_table(wanted, work, demand, asked, log)
    leads = differential_list(differential, stock, wanted, work)
    if not _in_reach(differential, stock, log) or not _stands(leads, differential, stock, log, RATIOS):
        return []
    if log.quick:
        leads = _in_class(leads, work)
    return _filled(stock, [leads, *_lying_first([indexes, feeds, *speeds])], wanted, log)


def _in_class(leads: Listed, work: Work) -> Listed:
    """Those leads alone that the drawing's class takes: where a single set-up is wanted no other needs to be tried."""
    return replace(leads, items=tuple(item for item in leads.items if abs(item.set.error) <= error_allowed(work)))


def _lying_first(lists: list[Listed]) -> list[Listed]:
    """Brackets on which something can stay ahead of the others, which then take what is left."""
    return sorted(lists, key=lambda one: not (one.items and one.items[0].lies))


def _stands(made: Listed, place: BracketPlace, stock: Stock, log: SearchLog, reached: int) -> bool:
    if not made.items:
        log.add(reached, f"{place.name}: {why_none_alone(place, stock)}")
    return bool(made.items)


def _in_reach(place: BracketPlace, stock: Stock, log: SearchLog) -> bool:
    """Whether the ratio lies within what the gears reach at all."""
    if place.largest:
        return True
    reaches = [reach for pairs in place.pairs if (reach := reach_of(stock.drawers[place.name], pairs))]
    low, high = min((r[0] for r in reaches), default=Fraction(1)), max((r[1] for r in reaches), default=Fraction(1))
    if compare(place.target, low * Fraction(99, 100)) >= 0 and compare(place.target, high * Fraction(101, 100)) <= 0:
        return True
    log.add(
        RATIOS,
        f"{place.name}: the lead takes a ratio of {float(place.target):.6g}, and the gears that there are give "
        f"from {float(low):.6g} to {float(high):.6g}",
    )
    return False


def _filled(stock: Stock, lists: list[Listed], wanted: Wanted, log: SearchLog) -> list[Sets]:
    """The likeliest choices that the drawers allow together."""
    steps, found = Steps(_QUICK if log.quick else STEPS), _left_standing(stock, lists, log)
    for sets in fillings(stock, lists, steps):
        found.append(sets)
        if log.quick or len(found) >= max(WIDTH, wanted.top):
            return found
    if found:
        return found
    if (steps.ran_out or not all(one.complete for one in lists)) and not log.quick:
        more = Steps(_MORE_STEPS)
        best = Search(stock, [one.place for one in lists], steps=more).best(WIDTH, stock.full)
        if best:
            return [each.sets for each in best]
        log.cut_short |= more.ran_out
    names = [one.place.name for one in lists]
    log.add(
        TOGETHER,
        f"{', '.join(names[:-1])} and {names[-1]} can each be met alone, but not together: they ask for the same gears",
    )
    return []


def _left_standing(stock: Stock, lists: list[Listed], log: SearchLog) -> list[Sets]:
    """For each bracket on which gears can stay the likeliest choice with them; the first list has its say anyway."""
    found: list[Sets] = []
    for number, one in enumerate(lists):
        if number and one.items and one.items[0].lies and not log.quick:
            led = [replace(one, items=one.items[:1]), *lists[:number], *lists[number + 1 :]]
            found += itertools.islice(fillings(stock, led, Steps(_QUICK)), 1)
    return [sets for number, sets in enumerate(found) if sets not in found[:number]]


def _spread(feeds: Listed, demand: Needed, asked: Asked) -> Listed:
    """Feeds that differ so that it matters ahead of those that hardly differ."""
    per_mm = ratio_per_mm(demand)
    seen: dict[Any, int] = {}
    first: list[Item] = []
    after: list[Item] = []
    for item in feeds.items:
        feed = item.set.ratio / per_mm
        step = asked.feed.steps(feed)
        kind = (step, step and feed < asked.feed.aim, len(item.idlers and item.set.idlers))
        seen[kind] = seen.get(kind, 0) + 1
        (first if seen[kind] == 1 else after).append(item)
    if first and seen:
        # A few more of the best kind right behind the first: it may be the only one that goes with the other gears.
        return replace(feeds, items=(*first[:1], *after[:6], *first[1:], *after[6:]))
    return feeds


def _by_feeds(
    wanted: Wanted, work: Work, demand: Needed, log: SearchLog, stock: Stock,
    lists: tuple[Listed, Listed, list[Listed]],
) -> list[Sets]:  # fmt: skip
    """Where the differential's ratio goes by the feed: one feed after the other, each with its own gears.

    `lists` are index gears, feeds and speeds.
    """
    indexes, feeds, speeds = lists
    per_mm = ratio_per_mm(demand)
    found: list[Sets] = []
    for item in feeds.items[:_FEEDS]:
        feed = item.set.ratio / per_mm * (1 if demand.feed > 0 else -1)
        exact = needed(demand.way, work, wanted.job.hob, demand.slide, feed)
        place = differential_place(wanted, exact) if exact else None
        if place is None or not _in_reach(place, stock, log):
            continue
        leads = differential_list(place, stock, wanted, work)
        if log.quick:
            leads = _in_class(leads, work)
        one = Listed(feeds.place, (item,), True)
        some = fillings(stock, [leads, one, indexes, *speeds], Steps(STEPS // _FEEDS))
        found += [sets for sets, _ in zip(some, range(2), strict=False)]
        if len(found) >= max(WIDTH, wanted.top) or (found and log.quick):
            return found
    return found


def _fed_by_the_table(wanted: Wanted, work: Work, demand: Needed, asked: Asked, log: SearchLog) -> list[Sets]:
    """Feed and differential gears looked for as one, where no feed by itself has its own."""
    found, complete = table_fed_sets(wanted, work, demand, asked, filled_beside(wanted, demand, asked, log))
    if not found:
        log.cut_short |= not complete
        log.add(TOGETHER, "no feed was found whose own differential gears are at hand beside the index gears")
    return found
