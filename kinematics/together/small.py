"""Every combination of ratios that hang together out of a small drawer, looked through to the last gear.

From ten gears or so a bracket has some thousand sets. As rows of bits it is seen at once which of them share no gear,
so that all combinations that serve can be listed, and where there are none it is certain. In large drawers there are
too many, and hardly any two sets are in each other's way.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

import numpy as np
from handlead.kinematics.brackets.drawer import DrawerSet
from handlead.kinematics.search.change_gears import kinds
from handlead.kinematics.search.products import spread
from numpy.typing import NDArray

from .relation import Floats, Relation, summed
from .together import BracketPlace, Stock

#: Drawers no larger than this are looked through.
SMALL = 16

#: Choices, and combinations, that are held at once at most; and different ones that are handed on.
_MOST_AT_ONCE, _MOST_HANDED_ON = 6_000_000, 2_000

Ints = NDArray[np.int64]


@dataclass(frozen=True)
class _SetRows:
    """Sets of one bracket, or choices of several: ratios, gears as bits, how many gears with idlers they take."""

    ratios: list[Floats]
    bits: Ints
    taken: Ints
    costs: Floats

    def at(self, numbers: Ints | NDArray[np.bool_]) -> _SetRows:
        """Those with these numbers."""
        ratios = [one[numbers] for one in self.ratios]
        return _SetRows(ratios, self.bits[numbers], self.taken[numbers], self.costs[numbers])

    def beside(self, other: _SetRows, room: int) -> _SetRows:
        """Every choice of one of these and one of the others that share no gear and leave enough."""
        apart = (self.bits[:, None] & other.bits[None, :]) == 0
        apart &= self.taken[:, None] + other.taken[None, :] <= room
        return self.joined(other, *np.nonzero(apart))

    def joined(self, other: _SetRows, mine: Ints, theirs: Ints) -> _SetRows:
        """Choices of these and the others, by number."""
        one, two = self.at(mine), other.at(theirs)
        return _SetRows(one.ratios + two.ratios, one.bits | two.bits, one.taken + two.taken, one.costs + two.costs)


def is_small(sets: Iterable[DrawerSet]) -> bool:
    """Whether the drawers hold so little that all of it can be looked through."""
    return sum(len(one.drawer) for one in sets) <= SMALL


def all_that_serve(
    places: Sequence[BracketPlace], relation: Relation, stock: Stock, serving: float, beside: int
) -> tuple[list[dict[str, Fraction]], bool]:
    """The ratios of one or two pairs that meet the relation to a cost of `serving`, the cheapest first.

    As many gears as `beside` have to be left. Whether they can be mounted isn't looked at. And whether these are all.
    """
    gears = [(z, one) for one in stock.sets for z in one.drawer.gears]
    room = len(gears) - beside
    rows = [
        _rows(place, tuple((n, z) for n, (z, one) in enumerate(gears) if one.serves(place.name))) for place in places
    ]
    choices = rows[0]
    for one in rows[1:-1]:
        if len(choices.bits) * len(one.bits) > _MOST_AT_ONCE:
            return [], False
        choices = choices.beside(one, room)
    found, complete = _meeting(places, relation, choices, rows[-1], (serving, room))
    order = np.argsort(found.costs, kind="stable")
    ratios = np.array([one[order] for one in found.ratios])
    _, first = np.unique(ratios, axis=1, return_index=True)
    first = np.sort(first)
    handed_on = ratios[:, first[:_MOST_HANDED_ON]]
    every = [
        {place.name: _fraction(value) for place, value in zip(places, column, strict=True)}
        for column in handed_on.T.tolist()
    ]
    return every, complete and len(first) <= _MOST_HANDED_ON


def _meeting(
    places: Sequence[BracketPlace], relation: Relation, choices: _SetRows, last: _SetRows, bounds: tuple[float, int]
) -> tuple[_SetRows, bool]:
    """The choices, each with every set of the last bracket that makes it serve; and whether these are all."""
    serving, room = bounds
    last = last.at(np.argsort(last.ratios[0], kind="stable"))
    ratios = {place.name: one for place, one in zip(places[:-1], choices.ratios, strict=True)}
    given, _ = summed(relation.terms, ratios, places[-1].name, False)
    divisor, _ = summed(relation.terms, ratios, places[-1].name, True)
    with np.errstate(divide="ignore", invalid="ignore"):
        wanted = np.where(divisor != 0, -given / divisor, -1.0)
    slopes = relation.slopes(ratios, places[-1].name, wanted)
    with np.errstate(divide="ignore", invalid="ignore"):
        off = np.where(slopes > 0, serving / slopes, np.inf)
    begin = np.searchsorted(last.ratios[0], wanted - off)
    many = np.maximum(np.searchsorted(last.ratios[0], wanted + off, side="right") - begin, 0)
    if many.sum() > _MOST_AT_ONCE:
        return choices.at(np.zeros(0, dtype=np.int64)).joined(last, *np.zeros((2, 0), dtype=np.int64)), False
    mine, theirs = np.repeat(np.arange(len(many)), many), spread(begin, many)
    apart = (choices.bits[mine] & last.bits[theirs]) == 0
    apart &= choices.taken[mine] + last.taken[theirs] <= room
    mine, theirs = mine[apart], theirs[apart]
    found = choices.joined(last, mine, theirs)
    costs = np.abs(last.ratios[0][theirs] - wanted[mine]) * slopes[mine]
    return _SetRows(found.ratios, found.bits, found.taken, found.costs + costs), True


def _fraction(value: float) -> Fraction:
    """The ratio of products of two gears that a float stands for: they lie farther apart than floats."""
    return Fraction(value).limit_denominator(200**2)


@lru_cache(maxsize=24)
def _every_set(pairs: tuple[int, ...], fits: tuple[tuple[int, int], ...]) -> tuple[Floats, Ints, Ints]:
    """Every set of one or two pairs out of these numbered gears: ratios, gears as bits, numbers of pairs."""
    parts = []
    for count in pairs:
        sides = list(itertools.combinations(fits, count))
        products = np.array([math.prod(z for _, z in side) for side in sides], dtype=np.int64)
        bits = np.array([sum(1 << n for n, _ in side) for side in sides], dtype=np.int64)
        tops, bottoms = np.nonzero((bits[:, None] & bits[None, :]) == 0)
        whole = np.full(len(tops), count, dtype=np.int64)
        parts.append((products[tops] / products[bottoms], bits[tops] | bits[bottoms], whole))
    empty = np.zeros(0), np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
    ratios, bits_of, counts = zip(empty, *parts, strict=True)
    return np.concatenate(ratios), np.concatenate(bits_of), np.concatenate(counts)


#: Drawers no larger than this are asked whether ratios can be had at once before they are tried on the brackets.
_NUMBERED = 32


class AtOnce:
    """Which ratios the drawers give on all of several brackets at once, for all that their gears alone say.

    Most choices out of a small drawer fail because two brackets ask for the same gear; that is seen in the bits.
    """

    def __init__(self, places: Sequence[BracketPlace], stock: Stock) -> None:
        gears = [(z, one) for one in stock.sets for z in one.drawer.gears]
        self._ways: list[_Ways] | None = None
        if len(gears) <= _NUMBERED and not any(place.largest for place in places):
            self._ways = [
                _ways(
                    tuple(sorted(pairs for pairs in set(place.pairs) if pairs < 3)),
                    tuple((n, z) for n, (z, one) in enumerate(gears) if one.serves(place.name)),
                )
                for place in places
            ]

    def may_be(self, ratios: Sequence[tuple[int, int]]) -> bool:
        """Whether no gear is wanted twice; True as well where there are too many gears to look."""
        if self._ways is None:
            return True
        used = [0]
        for (top, bottom), (order, starts) in zip(ratios, self._ways, strict=True):
            begin, end = starts.get(top / bottom, (0, 0))
            used = list({mine | theirs for theirs in order[begin:end] for mine in used if not mine & theirs})
            if not used:
                return False
        return True


#: Gears as bits, those that give one ratio side by side, and where each ratio's begin and end.
_Ways = tuple[list[int], dict[float, tuple[int, int]]]


@lru_cache(maxsize=24)
def _ways(pairs: tuple[int, ...], fits: tuple[tuple[int, int], ...]) -> _Ways:
    """The sets out of these numbered gears, by their ratio."""
    ratios, bits, _ = _every_set(pairs, fits)
    order = np.argsort(ratios, kind="stable")
    different, begin = np.unique(ratios[order], return_index=True)
    ends = [*begin[1:].tolist(), len(ratios)]
    return bits[order].tolist(), dict(zip(different.tolist(), zip(begin.tolist(), ends, strict=True), strict=True))


def _rows(place: BracketPlace, fits: tuple[tuple[int, int], ...]) -> _SetRows:
    """The sets of a place within its span, or for just its ratio."""
    idlers = dict(sorted(kinds(place.pairs, place.idlers, place.turns_over), reverse=True))
    ratios, bits, counts = _every_set(tuple(sorted(pairs for pairs in idlers if pairs < 3)), fits)
    target = float(place.target)
    if place.exact:
        good = np.abs(ratios / target - 1) < 1e-12
    else:
        low, high = (0.0, math.inf) if place.span is None else (float(place.span[0]), float(place.span[1]))
        good = (ratios >= low * (1 - 1e-12)) & (ratios <= high * (1 + 1e-12))
    taken = 2 * counts + np.array([idlers.get(count, 0) for count in range(4)], dtype=np.int64)[counts]
    costs = 0.0 * ratios if place.exact else float(place.weight) * np.abs(ratios / target - 1)
    return _SetRows([ratios[good]], bits[good], taken[good], costs[good])
