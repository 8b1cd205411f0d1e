"""Gears for the hob's speed, and loose ones, from what the other brackets leave."""

from __future__ import annotations

from fractions import Fraction
from functools import cache

from handlead.kinematics.together.filling import Listed, fillings
from handlead.kinematics.together.tied_mounts import Leftover
from handlead.kinematics.together.together import BracketPlace, Steps, Stock
from handlead.machines.planning.asked import Asked
from handlead.machines.planning.wanted import Wanted
from handlead.machines.setups.ways import Needed

from .found import LIMITS, RATIOS, SPEED, SearchLog, Sets
from .places import index_list, loose_places, speed_list, speed_place
from .reasons import no_speed, speed_obtainable

#: Choices of gears from lists that are looked at for one way of setting the machine.
STEPS = 6_000


def _with_speed(stock: Stock, sets: Sets, speeds: list[Listed]) -> Sets | None:
    """The sets and one for the hob's speed, from what they leave in the drawers; None where none is left."""
    if not speeds:
        return sets
    left = stock.after(sets)
    if left is None:
        return None
    whole = fillings(stock.with_only(left), speeds, Steps(STEPS))
    found = next(iter(whole), None)
    return None if found is None else {**sets, **found}


def filled_beside(wanted: Wanted, demand: Needed, asked: Asked, log: SearchLog) -> Leftover | None:
    """How gears for the hob's speed, and loose ones, are put beside others; None where there are none to be."""
    speed, loose = speed_place(wanted, demand, asked), loose_places(wanted, demand)
    places = [*([speed] if speed else []), *loose]
    if not places:
        return None

    @cache
    def stock_and_lists(names: tuple[str, ...]) -> tuple[Stock, list[Listed]] | None:
        there = [BracketPlace(name, Fraction(1), exact=True) for name in names]
        try:
            stock = Stock.of([*places, *there], wanted.gear_sets)
        except ValueError as fault:
            log.add(RATIOS, str(fault))
            return None
        speeds = [speed_list(speed, stock, wanted, demand, asked)] if speed else []
        if speed and not speeds[0].items:
            limit = SPEED if speed_obtainable(speed, stock) else LIMITS
            log.add(limit, no_speed(wanted, demand, speed, stock))
        return stock, [*speeds, *(index_list(place, stock, wanted) for place in loose)]

    def whole(sets: Sets) -> Sets | None:
        known = stock_and_lists(tuple(sets))
        if known is None:
            return None
        stock, lists = known
        return _with_speed(stock, sets, lists) or _from_the_rest(wanted, demand, asked, stock, sets)

    return Leftover(sum(0 if place.largest else 2 * min(place.pairs) for place in places), whole)


#: What is left of a drawer is looked through for the hob's speed to the last gear where it is no more than this.
_REST = 12


def _from_the_rest(wanted: Wanted, demand: Needed, asked: Asked, stock: Stock, sets: Sets) -> Sets | None:
    """The sets and one for the hob's speed that no list had, its list being cut short, from the few gears left."""
    speed = speed_place(wanted, demand, asked)
    left = stock.after(sets)
    if speed is None or left is None or len(stock.drawer_left(left, speed.name)) > _REST:
        return None
    rest = stock.with_only(left)
    lists = [speed_list(speed, rest, wanted, demand, asked)]
    lists += [index_list(place, rest, wanted) for place in loose_places(wanted, demand)]
    found = next(iter(fillings(rest, lists, Steps(STEPS))), None) if all(one.items for one in lists) else None
    return None if found is None else {**sets, **found}
