"""The ratios that one bracket can give, for brackets whose ratios hang together: different ones, nearest first.

From a drawer of a hundred gears two pairs give millions of ratios. Where no more than so many are asked for, only a
window about the target is drawn, just wide enough.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

import numpy as np
from handlead.kinematics.brackets.drawer import Drawer
from handlead.kinematics.search.products import products, spread
from numpy.typing import NDArray

from .together import BracketPlace, Stock

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: By how much bounds of windows, as floats, are let out; ends of windows are drawn in by more.
_ROUNDING = 1e-13


@dataclass(frozen=True)
class Given:
    """Different ratios that a place can give, cheapest first, as whole numbers over whole numbers, and their costs."""

    tops: Ints
    bottoms: Ints
    ratios: Floats
    costs: Floats

    def first(self, count: int) -> Given:
        """The cheapest so many."""
        return Given(self.tops[:count], self.bottoms[:count], self.ratios[:count], self.costs[:count])


def given_by(place: BracketPlace, stock: Stock, most: int) -> Given:
    """The different ratios of one place, nearest first, from all its numbers of pairs, within its span.

    Where there are more than `most`, at least one more than that.
    """
    if place.exact:
        assert isinstance(place.target, Fraction)
        top, bottom = place.target.as_integer_ratio()
        one = np.array([top], dtype=np.int64), np.array([bottom], dtype=np.int64)
        return Given(*one, one[0] / one[1], np.zeros(1))
    span = (0.0, 1e12) if place.span is None else (float(place.span[0]), float(place.span[1]))
    pairs = _searched(place)
    tops, bottoms, ratios, off = _nearest(stock.drawers[place.name], pairs, span, float(place.target), most)
    return Given(tops, bottoms, ratios, float(place.weight) * off)


def values_of(last: BracketPlace, stock: Stock) -> Floats:
    """All different ratios that the last place can give within its span, rising, as floats."""
    assert last.span is not None
    return _all_values(stock.drawers[last.name], _searched(last), float(last.span[0]), float(last.span[1]))


def fractions_near(drawer: Drawer, pairs: Iterable[int], value: float) -> set[Fraction]:
    """The ratios that the float `value` stands for."""
    found: set[Fraction] = set()
    for count in pairs:
        if count < 3 and len(drawer) >= 2 * count:
            tops, bottoms = _quotients(drawer, count, value, value)
            same = tops / bottoms == value
            found |= {Fraction(int(p), int(q)) for p, q in zip(tops[same], bottoms[same], strict=True)}
    return found


def _searched(place: BracketPlace) -> tuple[int, ...]:
    return tuple(pairs for pairs in place.pairs if pairs < 3)


@lru_cache(maxsize=32)  # both senses of another bracket, and other ways of setting the machine, ask for the same again
def _nearest(
    drawer: Drawer, pairs: tuple[int, ...], span: tuple[float, float], target: float, most: int
) -> tuple[Ints, Ints, Floats, Floats]:
    """Different ratios nearest to `target`, more than `most` of them if there are, and by how much they are off."""
    pairs = tuple(count for count in pairs if len(drawer) >= 2 * count)
    everything = max(abs(span[0] / target - 1), abs(span[1] / target - 1)) + 1e-9
    # Each ratio comes more than once, by as many ways as its factors can be shared out.
    width, wanted = everything, 4 * (most + 1)
    whole = sum(_count(drawer, count, *span) for count in pairs)
    if whole > 2 * wanted:
        width = _width(drawer, pairs, span, target, wanted)
    while True:
        found = _within_width(drawer, pairs, span, target, width)
        if len(found[0]) > most or width >= everything:
            return found
        width = min(2 * width, everything)


def _width(drawer: Drawer, pairs: tuple[int, ...], span: tuple[float, float], target: float, wanted: int) -> float:
    """How far from the target about `wanted` quotients reach."""
    low, high = 0.0, max(abs(span[0] / target - 1), abs(span[1] / target - 1))
    for _ in range(12):
        middle = (low + high) / 2
        window = max(span[0], target * (1 - middle)), min(span[1], target * (1 + middle))
        if sum(_count(drawer, count, *window) for count in pairs) < wanted:
            low = middle
        else:
            high = middle
    return high


def _within_width(
    drawer: Drawer, pairs: tuple[int, ...], span: tuple[float, float], target: float, width: float
) -> tuple[Ints, Ints, Floats, Floats]:
    """The different ratios within the span and no farther from the target than `width`, nearest first."""
    low, high = max(span[0], target * (1 - width)), min(span[1], target * (1 + width))
    parts = [_quotients(drawer, count, low, high) for count in pairs]
    tops = np.concatenate([part[0] for part in parts] or [np.zeros(0, np.int64)])
    bottoms = np.concatenate([part[1] for part in parts] or [np.zeros(0, np.int64)])
    # Ratios of products of two gears lie farther apart than floats, so that equal floats are equal ratios.
    ratios, first = np.unique(tops / bottoms, return_index=True)
    tops, bottoms = tops[first], bottoms[first]
    common = np.gcd(tops, bottoms)
    tops, bottoms = tops // np.maximum(common, 1), bottoms // np.maximum(common, 1)
    off = np.abs(ratios / target - 1)
    # At the rim of a window that was narrowed not all need be there.
    sure = off <= width * (1 - 1e-9) if width < max(abs(span[0] / target - 1), abs(span[1] / target - 1)) else off >= 0
    nearest = np.lexsort((bottoms, tops, off))
    nearest = nearest[sure[nearest]]
    return tops[nearest], bottoms[nearest], ratios[nearest], off[nearest]


def _count(drawer: Drawer, pairs: int, low: float, high: float) -> int:
    """How many quotients of `pairs` gears over `pairs` gears lie from `low` to `high`."""
    return int(_runs(drawer, pairs, low, high)[1].sum())


def _runs(drawer: Drawer, pairs: int, low: float, high: float) -> tuple[Ints, Ints]:
    """For every product below the line, the first product above it that is great enough, and how many are."""
    table = products(drawer, pairs)
    begin = np.searchsorted(table.floats, table.floats * low * (1 - _ROUNDING))
    end = np.searchsorted(table.floats, table.floats * high * (1 + _ROUNDING), side="right")
    return begin.astype(np.int64), np.maximum(end - begin, 0).astype(np.int64)


def _quotients(drawer: Drawer, pairs: int, low: float, high: float) -> tuple[Ints, Ints]:
    """All quotients of `pairs` gears over `pairs` gears of `drawer` from `low` to `high`."""
    table = products(drawer, pairs)
    begin, many = _runs(drawer, pairs, low, high)
    return table.values[spread(begin, many)], np.repeat(table.values, many)


@lru_cache(maxsize=4)  # every way of setting the machine asks for them again, and there may be millions
def _all_values(drawer: Drawer, pairs: tuple[int, ...], low: float, high: float) -> Floats:
    parts = []
    for count in pairs:
        if len(drawer) >= 2 * count:
            tops, bottoms = _quotients(drawer, count, low, high)
            parts.append(tops / bottoms)
    values = np.sort(np.concatenate(parts)) if parts else np.zeros(0)
    return values[np.concatenate([[True], values[1:] != values[:-1]])] if len(values) else values
