"""What one bracket may be filled with, nearest first, read as far as somebody asks."""

from __future__ import annotations

import heapq
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from functools import cache

import numpy as np
from handlead.kinematics.frame.exact import Ratio
from handlead.kinematics.search.candidates import Different, Sought
from handlead.kinematics.search.change_gears import ChangeGearSet, by_merit, kinds, sets_by_error
from handlead.kinematics.search.ratios import compare, relative_error
from numpy.typing import NDArray

from .together import BracketPlace, Stock


class BracketChoices:
    """The sets for one place, by ratio, nearest first, and for each ratio by the work; fetched as needed."""

    def __init__(self, place: BracketPlace, stock: Stock) -> None:
        self.place = place
        self._stock = stock
        self.sets: list[ChangeGearSet] = []
        self.uses: list[NDArray[np.int16]] = []
        self._ratios: list[tuple[Fraction, float]] = []
        self._ratio_stream = self._fetch_ratios()
        self._ways: dict[Fraction, tuple[Iterator[ChangeGearSet], list[int]]] = {}

    def _streams(self, target: Ratio, different: Different, exact: bool) -> Iterator[ChangeGearSet]:
        """The sets of all numbers of pairs and idlers that are allowed, in order."""
        place, drawer = self.place, self._stock.drawers[self.place.name]
        streams = [
            sets_by_error(Sought(target, drawer, pairs, idlers, place.bracket, different, exact))
            for pairs, idlers in kinds(place.pairs, place.idlers, place.turns_over)
        ]
        return streams[0] if len(streams) == 1 else heapq.merge(*streams, key=by_merit(target))

    def _fetch_ratios(self) -> Iterator[Fraction]:
        """The different ratios, nearest to the target first, within the span."""
        place = self.place
        merged = self._streams(place.target, "ratio", place.exact)
        span = place.span
        widest = 0.0
        if span is not None:
            widest = max(abs(float(end / place.target - 1)) for end in span) * (1 + 1e-9) + 1e-12
        seen: set[Fraction] = set()
        for one in merged:
            if span is None or (compare(one.ratio, span[0]) >= 0 and compare(one.ratio, span[1]) <= 0):
                if one.ratio not in seen:
                    seen.add(one.ratio)
                    yield one.ratio
            elif abs(one.error) > widest:
                return

    def ratio(self, number: int) -> tuple[Fraction, float] | None:
        """Ratio `number` of the list and its cost; None past the end."""
        while len(self._ratios) <= number:
            following = next(self._ratio_stream, None)
            if following is None:
                return None
            self._ratios.append((following, self.place.cost(following)))
        return self._ratios[number]

    def ways(self, ratio: Fraction, begin: int, end: int) -> list[int]:
        """The sets from `begin` to `end` in the list of those that give `ratio`; fewer where it ends before."""
        if ratio not in self._ways:
            self._ways[ratio] = (self._streams(ratio, "gears", True), [])
        stream, known = self._ways[ratio]
        while len(known) < end:
            one = next(stream, None)
            if one is None:
                break
            # The error is that from what was wanted, not from the ratio which these sets give exactly.
            error = relative_error(ratio, self.place.target)
            known.append(len(self.sets))
            self.sets.append(replace(one, error=error))
            self.uses.append(self._stock.use(one.gears))
        return known[begin:end]

    def fitting(self, available: NDArray[np.int16]) -> Iterator[int]:
        """For a place to be met exactly: the sets, in order, whose gears are available."""
        assert isinstance(self.place.target, Fraction)
        begin, block = 0, 64
        while True:
            numbers = self.ways(self.place.target, begin, begin + block)
            if not numbers:
                return
            uses = np.array([self.uses[number] for number in numbers])
            for offset in np.flatnonzero((uses <= available).all(axis=1)):
                yield numbers[int(offset)]
            begin, block = begin + len(numbers), block * 2


@cache
def factors_of(number: int) -> Counter[int]:
    """The prime factors of a whole number, by their powers; what no gear could hold comes as it is."""
    found: Counter[int] = Counter()
    factor = 2
    while factor * factor <= number and factor < _NO_GEAR:
        while number % factor == 0:
            found[factor] += 1
            number //= factor
        factor += 1
    if number > 1:
        found[number] += 1
    return found


#: No gear has a prime factor as great as this.
_NO_GEAR = 100_000
