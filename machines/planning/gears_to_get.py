"""Gears to get where a member can't be set with those that there are: named only once it has been planned with them."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from typing import Any

from handlead.kinematics.brackets.drawer import Drawer, drawer_for
from handlead.kinematics.search.candidates import Sought
from handlead.kinematics.search.change_gears import ChangeGearSet, kinds, sets_by_error
from handlead.kinematics.search.ratios import compare
from handlead.kinematics.together.filling import least_work
from handlead.kinematics.together.together import BracketPlace, never_filled
from handlead.kinematics.work.requirement import Work
from handlead.machines.members.found import Found, Manner, tell_share
from handlead.machines.members.lacking import lacking
from handlead.machines.members.member import search_member
from handlead.machines.members.places import (
    Preference,
    differential_place,
    differential_preference,
    error_allowed,
    feed_place,
    feed_preference,
    index_place,
    speed_place,
)
from handlead.machines.members.tied import coupled_demands
from handlead.machines.setups.ways import Needed
from handlead.machines.toml.places import quoted

from .asked import Asked
from .asking import demands, goes_by_feed
from .gears_together import choices_together, choices_with_the_lead_in_index, with_gears
from .wanted import OBTAINABLE, Wanted

#: No more gears than this are advised, and no more choices of them than this are tried: fewer where each is a search
#: through many feeds.
_MOST_GEARS, _MOST_TRIED, _FEW_TRIED = 3, 18, 5

#: Ways of setting the machine for which gears are looked for: such as ask different ratios of the index gears.
_WAYS = 2

#: Sets of a bracket that are looked at, fewer where an idler must be found for each; choices of gears that it lacks
#: which are tried on it, and choices that it offers.
_LOOKED_AT, _WITH_IDLERS, _LACKING, _OFFERED = 80, 10, 30, 3

#: What would have to be got: for each bracket the gears, sorted.
_Gears = dict[str, tuple[int, ...]]


def gears_to_get(wanted: Wanted, work: Work) -> tuple[str, str]:
    """The fewest more gears found with which the job can be planned, in a sentence, or else why none are named."""
    if not wanted.machine.gear_sets:
        return "", ""
    in_vain: list[Found] = []
    asks = list(demands(wanted, work, Asked.of(wanted.job, work, wanted.machine)))
    quick = bool(asks) and not any(goes_by_feed(demand) for demand in asks)
    for turn in _turns(wanted, work, quick=quick):
        choices = list(turn)
        for number, gears in enumerate(choices):
            tell_share("choices of gears to get", number, len(choices))
            found = search_member(wanted.on(with_gears(wanted.machine, gears)), work, Manner(plain=True))
            if found.setups:
                return _sentence(gears), ""
            in_vain.append(found)
        if in_vain and all(found.is_settled for found in in_vain):
            break  # what stands against it no gears mend
    return "", _none_named(wanted, work, in_vain)


def _turns(wanted: Wanted, work: Work, *, quick: bool) -> Iterator[Iterator[_Gears]]:
    """What is tried, for each bracket by itself and together; fewer where each is a long search."""
    each, together = choices_tried(wanted, work), _choices_together(wanted, work)
    if quick:
        yield itertools.islice(each, _MOST_TRIED)
        yield itertools.islice(together, _MOST_TRIED)
    else:
        yield itertools.islice(_by_turns(together, each), 2 * _FEW_TRIED)


def _by_turns(*several: Iterator[_Gears]) -> Iterator[_Gears]:
    """One of each in turn, as long as any has more."""
    for row in itertools.zip_longest(*several):
        yield from (each for each in row if each is not None)


def _none_named(wanted: Wanted, work: Work, in_vain: list[Found]) -> str:
    """That no gears to get are named, and how far they were looked for, or what stands against them all."""
    asked = Asked.of(wanted.job, work, wanted.machine)
    asks = _asks(wanted, work, asked)
    shut = [_shut(wanted, work, demand, asked) for demand in asks]
    if shut and all(shut):
        return f"no gears to get are named: none would do, whatever their teeth, on {shut[0]}"
    if in_vain and all(found.is_settled for found in in_vain):
        return f"no gears to get are named: with those that it takes it still doesn't go: {in_vain[0].none_because}"
    most, tried = f"up to {_MOST_GEARS} more", len(in_vain)
    why = f"the {tried} likeliest choices of {most} were tried in vain" if tried else f"no choice of {most} was found"
    together = not any(demands(wanted, work, asked))
    others = "; where index and feed gears hang together, others may do" if together else ""
    return f"no gears to get are named: {why}{others}"


def _shut(wanted: Wanted, work: Work, demand: Needed, asked: Asked) -> str:
    """A bracket that can't be filled as it must with any gears at all; empty if there is none."""
    places = (place for place, _ in _places(wanted, work, demand, asked))
    return next((quoted(place.name) for place in places if never_filled(place)), "")


def _sentence(gears: _Gears) -> str:
    parts = []
    for bracket, teeth in gears.items():
        *most, last = [str(each) for each in teeth]
        listed = f"{', '.join(most)} and {last}" if most else last
        which = ("gears", "fit") if most else ("a gear", "fits")
        parts.append(f'{which[0]} of {listed} teeth that {which[1]} "{bracket}"')
    return f"with {' and '.join(parts)} besides, it can be set"


def choices_tried(wanted: Wanted, work: Work) -> Iterator[_Gears]:
    """What may be got, the fewest gears first, no two choices alike."""
    asked = Asked.of(wanted.job, work, wanted.machine)
    found: dict[tuple[tuple[str, tuple[int, ...]], ...], None] = {}
    for demand in _unlike(_asks(wanted, work, asked)):
        per_bracket = [
            [(place.name, gears) for gears in _offered(wanted, work, place, prefer)]
            for place, prefer in _places(wanted, work, demand, asked)
        ]
        for each in itertools.product(*per_bracket):
            gears = tuple((name, more) for name, more in each if more)
            if gears and sum(len(more) for _, more in gears) <= _MOST_GEARS:
                found[gears] = None
    fewest = sorted(found, key=lambda gears: (sum(len(more) for _, more in gears), len(gears)))
    return (dict(gears) for gears in fewest)


def _choices_together(wanted: Wanted, work: Work) -> Iterator[_Gears]:
    """What may be got where the likeliest for each bracket don't go together, and the hob's speed lacks no gears."""
    asked = Asked.of(wanted.job, work, wanted.machine)
    asks = list(demands(wanted, work, asked))
    for demand in [] if asks else coupled_demands(wanted, work, asked):
        yield from map(dict, choices_with_the_lead_in_index(wanted, work, demand, _MOST_GEARS))
    for demand in _unlike(asks):
        places = list(_places(wanted, work, demand, asked))
        if any(place.name == demand.way.constants.speed for place, _ in places):
            continue
        offered = {place.name: _offered(wanted, work, place, prefer) for place, prefer in places[:2]}
        yield from map(dict, choices_together(wanted, work, demand, offered, _MOST_GEARS))


def _unlike(asks: Sequence[Needed]) -> Iterator[Needed]:
    """The first few that ask different ratios of the index gears."""
    unlike = {abs(demand.index): demand for demand in reversed(asks)}
    return itertools.islice(reversed(unlike.values()), _WAYS)


def _asks(wanted: Wanted, work: Work, asked: Asked) -> list[Needed]:
    """What the ways of setting the machine ask of their brackets."""
    return list(demands(wanted, work, asked)) or list(coupled_demands(wanted, work, asked))


def _places(wanted: Wanted, work: Work, demand: Needed, asked: Asked) -> Iterator[tuple[BracketPlace, Preference]]:
    """The brackets for which gears may be wanting, with what is preferred on each."""
    yield index_place(wanted, demand), least_work
    feed, differential = feed_place(wanted, demand, asked), differential_place(wanted, demand)
    if feed is not None:
        yield feed, feed_preference(demand, asked)
    if differential is not None and not goes_by_feed(demand):
        yield differential, differential_preference(differential, work)
    speed = speed_place(wanted, demand, asked)
    if speed is not None and next(fillings_of(speed, drawer_for(speed.name, wanted.gear_sets), 1), None) is None:
        yield speed, lambda one: (len(one.idlers), len(one.gears), abs(one.error))


def _offered(
    wanted: Wanted, work: Work, place: BracketPlace, prefer: Preference
) -> list[tuple[int, ...]]:
    """The gears that a bracket might do with: none, if it can be filled as it is, and the fewest that serve."""
    drawer = drawer_for(place.name, wanted.gear_sets)
    off = 0.0 if place.exact or place.span is not None else error_allowed(work)
    ranked: dict[tuple[int, ...], tuple[int, Any]] = {}

    def offer(one: ChangeGearSet | None) -> None:
        if one is None or (abs(one.error) > off and place.span is None):
            return
        more = drawer.lacking((*one.gears, *one.idlers))
        key = (len(more), prefer(one))
        if len(more) <= _MOST_GEARS and (more not in ranked or key < ranked[more]):
            ranked[more] = key

    if len(drawer):
        offer(next(fillings_of(place, drawer, 1), None))
    if () not in ranked:
        for more in lacking(place, drawer.counts, {*OBTAINABLE, *drawer.teeth}, off)[:_LACKING]:
            offer(next(fillings_of(place, Drawer.of([*drawer.gears, *more]), 1), None))
    for one in fillings_of(place, Drawer.of([*drawer.gears, *OBTAINABLE]), _LOOKED_AT):
        offer(one)
    fewest = sorted((more for more in ranked if more), key=lambda more: ranked[more])[:_OFFERED]
    return [*([()] if () in ranked else []), *fewest]


def fillings_of(place: BracketPlace, drawer: Drawer, most: int) -> Iterator[ChangeGearSet]:
    """Sets of gears for a place, so many of each number of pairs and idlers."""
    for pairs, idlers in kinds(place.pairs, place.idlers, place.turns_over):
        if pairs < 3:
            nearest = sets_by_error(Sought(place.target, drawer, pairs, idlers, place.bracket, "gears", place.exact))
            for one in itertools.islice(nearest, min(most, _WITH_IDLERS) if idlers else most):
                span = place.span
                if span is None or (compare(one.ratio, span[0]) >= 0 and compare(one.ratio, span[1]) <= 0):
                    yield one

