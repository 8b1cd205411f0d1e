"""With what gears an order that can't be cut on a machine could be: for each way of setting it, by its brackets."""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from handlead.kinematics.brackets.drawer import Drawer, drawer_for
from handlead.machines.job_files.job_file import Job
from handlead.machines.machine_files.machine_file import Machine
from handlead.machines.members.found import Manner
from handlead.machines.members.lacking import lacking
from handlead.machines.members.member import search_member
from handlead.machines.members.places import (
    differential_place,
    error_allowed,
    feed_place,
    index_place,
    loose_places,
    speed_place,
)
from handlead.machines.planning.asked import Asked
from handlead.machines.planning.asking import demands, goes_by_feed
from handlead.machines.planning.gears_to_get import choices_tried, fillings_of
from handlead.machines.planning.planning import ASKED_FOR, members_of, wanted_for
from handlead.machines.planning.wanted import OBTAINABLE, Wanted

if TYPE_CHECKING:
    from handlead.kinematics.together.together import BracketPlace
    from handlead.kinematics.work.requirement import Work
    from handlead.machines.setups.ways import Needed

#: Ways of setting the machine that are offered for one member.
_MOST_WAYS = 3

#: Sets of a bracket among whose gears one more is looked for, where brackets ask for the same ones.
_LOOKED_AT = 30

#: For each bracket of a stage its name and the teeth of the choices that would do.
Brackets = tuple[tuple[str, tuple[tuple[int, ...], ...]], ...]


@dataclass(frozen=True)
class Offer:
    """A way to cut an order: the brackets of each member, with the gears that each would do with.

    `is_whole` where no other gears would do this way; else they are those that were thought of.
    """

    stages: tuple[Brackets, ...]
    is_whole: bool


def offers(piece: tuple[Job, Machine]) -> tuple[Offer, ...]:
    """Every offer for a job on a machine; none where no gears help."""
    job, machine = piece
    wanted = Wanted.of(job, machine, 1, {})
    members = [(wanted_for(wanted, name), work) for name, work in members_of(job) if name in ASKED_FOR]
    each = [list(itertools.islice(_of_member(asks, work), _MOST_WAYS)) for asks, work in members]
    return tuple(
        Offer(tuple(stage for one in chosen for stage in one.stages), all(one.is_whole for one in chosen))
        for chosen in itertools.product(*each)
    )


def _of_member(wanted: Wanted, work: Work) -> Iterator[Offer]:
    found = search_member(wanted, work, Manner(plain=True))
    if found.setups:
        yield Offer(((),), True)
    if found.setups or found.is_settled:
        return
    asked = Asked.of(wanted.job, work, wanted.machine)
    asks = list(demands(wanted, work, asked))
    for demand in asks:
        places = list(_places(wanted, demand, asked))
        brackets = tuple((place.name, _lacking(wanted, work, place)) for place in places)
        wanting = tuple(one for one in brackets if one[1] != ((),))
        if not all(choices for _, choices in wanting):
            continue
        tells_all = not goes_by_feed(demand) and not demand.way.loose
        # Each bracket can be filled alone, and together they can't: they ask for the same gears.
        yield Offer((wanting or _second_gears(wanted, places),), tells_all and bool(wanting))
    if not asks:
        for gears in itertools.islice(choices_tried(wanted, work), _MOST_WAYS):
            yield Offer((tuple((name, (teeth,)) for name, teeth in gears.items()),), False)


def _places(wanted: Wanted, demand: Needed, asked: Asked) -> Iterator[BracketPlace]:
    """The brackets that this way fills; one that goes by the feed that is taken isn't asked."""
    yield index_place(wanted, demand)
    yield from loose_places(wanted, demand)
    by_feed = goes_by_feed(demand)
    for place in (feed_place(wanted, demand, asked), speed_place(wanted, demand, asked)):
        if place is not None:
            yield place
    if not by_feed and (place := differential_place(wanted, demand)) is not None:
        yield place


def _lacking(wanted: Wanted, work: Work, place: BracketPlace) -> tuple[tuple[int, ...], ...]:
    """The least choices of gears for a bracket that its arm and shafts have room for."""
    drawer = drawer_for(place.name, wanted.gear_sets)
    off = 0.0 if place.exact or place.span is not None else error_allowed(work)
    found = lacking(place, drawer.counts, {*OBTAINABLE, *drawer.teeth}, off)
    return tuple(more for more in found if _takes(place, drawer, more, off))


def _takes(place: BracketPlace, drawer: Drawer, more: tuple[int, ...], off: float) -> bool:
    """Whether the bracket can be filled with these gears besides, room and idlers looked at."""
    rich = Drawer.of((*drawer.gears, *more)) if more or len(drawer) else drawer
    return any(
        place.exact or place.span is not None or abs(one.error) <= off for one in fillings_of(place, rich, 1)
    )


def _second_gears(wanted: Wanted, places: list[BracketPlace]) -> Brackets:
    """One more of each gear that the brackets may have in common."""
    seen: Counter[int] = Counter()
    names: dict[int, str] = {}
    for place in places:
        of_place = {
            teeth for one in fillings_of(place, drawer_for(place.name, wanted.gear_sets), _LOOKED_AT)
            for teeth in (*one.gears, *one.idlers)
        }  # fmt: skip
        seen.update(of_place)
        for teeth in of_place:
            names.setdefault(teeth, place.name)
    by_bracket: dict[str, list[tuple[int, ...]]] = {}
    for teeth, _ in seen.most_common():
        by_bracket.setdefault(names[teeth], []).append((teeth,))
    first = next(iter(by_bracket.items()), None)
    return ((first[0], tuple(first[1])),) if first else ()


def with_more(machine: Machine, gears: Mapping[tuple[int, int], int]) -> Machine:
    """The machine with more gears in its drawers: so many of each, told by the drawer's number and the teeth."""
    sets = list(machine.gear_sets)
    for (number, teeth), count in gears.items():
        sets[number] = replace(sets[number], teeth=(*sets[number].teeth, *[teeth] * count))
    return replace(machine, gear_sets=tuple(sets))
