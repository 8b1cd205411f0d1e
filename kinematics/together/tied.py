"""Brackets whose ratios hang together: what one must give depends on what another does give.

Without a differential the index gears carry the lead's share and the feed gears fix how long it takes,
so that any index ratio near the plain one will do if the feed suits it. With a differential, a count
that can't be indexed is cut by the index gears of a neighbouring one, the feed and the differential making up
the rest. Both are one equation between the ratios, each of them in it to the first power.

Every choice of the first ratios asks for one exact value of the last. All values that the last bracket can
give are sorted once, and the choices are taken up in the order of what their nearest value costs.
"""

from __future__ import annotations

import heapq
import itertools
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

import numpy as np
from handlead.kinematics.brackets.drawer import Drawer, DrawerSet
from handlead.kinematics.frame.exact import Ratio
from handlead.kinematics.search.ratios import compare, relative_error
from numpy.typing import NDArray

from .cheapest import Filled
from .relation import Floats, Relation, summed
from .tied_mounts import Leftover, Living, Mounts
from .tied_ratios import Given, given_by, values_of
from .together import BracketPlace, Stock


@dataclass(frozen=True)
class Effort:
    """How far a search goes before it is given up.

    `choices`: choices of the first ratios that are taken into account; beyond, those nearest their targets. `tries`:
    combinations that are tried on the brackets.
    """

    choices: int = 400_000
    tries: int = 4000


@dataclass(frozen=True)
class CoupledSetUp:
    """A set-up, what the last ratio should be with the others as they are, and by how much it is off.

    `error` is relative, above 0 where the ratio is too great.
    """

    set_up: Filled
    wanted: float
    error: float


@dataclass(frozen=True)
class CoupledSetUps:
    """The best set-ups, in order. `choices` counts the choices of the first ratios that were considered, `tries`
    the combinations that were tried on the brackets.

    With `complete` these were all that the drawers and the spans allow, and nothing that can be mounted
    and isn't listed is cheaper than the last one listed; without, this holds among the choices considered.
    """

    best: tuple[CoupledSetUp, ...]
    choices: int
    complete: bool
    none_because: str | None = None
    tries: int = 0


def best_coupled_set_ups(
    places: Sequence[BracketPlace],
    relation: Relation,
    gears: Drawer | Iterable[int] | Sequence[DrawerSet],
    *,
    limit: int = 5,
    effort: Effort | None = None,
    beside: Leftover | None = None,
) -> CoupledSetUps:
    """The cheapest ways to fill `places` together so that `relation` holds as nearly as can be.

    The last place is the one that makes up for the others. Its `span` bounds the ratios allowed (the
    whole feed range, say) and must be given; its target is what was asked for, from which what it should give
    may differ at the place's weight. The other places are held within their spans, where given; with two
    places the first one's span follows from the last one's. Exact places give their target and nothing else.

    Only such are listed as leave gears for what goes `beside`.

    Three pairs of gears aren't searched here. Raises `ValueError` for a single place, a last place
    without span, or places that allow neither one nor two pairs.
    """
    _check(places, relation, limit)
    stock = Stock.of(places, gears)
    last = places[-1]
    if len(places) == 2 and places[0].span is None and not places[0].exact:
        places = [replace(places[0], span=_span_from(places[0], last, relation)), last]
    effort = effort or Effort()
    lists = [given_by(place, stock, effort.choices) for place in places[:-1]]
    complete = math.prod(len(one.ratios) for one in lists) <= effort.choices
    if not complete:
        lists = _cut_down(lists, effort.choices)
    mounts = Mounts(places, stock, beside)
    lists = [mounts.mountable(place, one) for place, one in zip(places[:-1], lists, strict=True)]
    choices = _TiedChoices.of(places, lists, relation)
    values = values_of(last, stock)
    search = _TiedSearch(places, relation, mounts, choices, values)
    found, tries = search.best(limit, effort.tries), len(search.tried)
    complete = complete and tries < effort.tries and not mounts.cut_short
    why = None if found else _why_none(places, lists, choices, values)
    return CoupledSetUps(tuple(found), len(choices.wanted), complete, why, tries)


def _check(places: Sequence[BracketPlace], relation: Relation, limit: int) -> None:
    if len(places) < 2:
        raise ValueError(f"places are {len(places)}; ratios hang together from two places on")
    if limit < 1:
        raise ValueError(f"limit is {limit}; it must be 1 or more")
    last = places[-1]
    if last.span is None:
        raise ValueError(
            f"{last.name}: span isn't given; the last place needs the range that it may choose from"
        )
    for place in places:
        if not set(place.pairs) & {1, 2}:
            raise ValueError(f"{place.name}: pairs is {place.pairs}; one or two pairs are searched here")
    named = set().union(*relation.terms)
    unknown = named - {place.name for place in places}
    if unknown:
        raise ValueError(f"the relation names {', '.join(sorted(unknown))}, which isn't a place to fill")
    if last.name not in named:
        raise ValueError(f"the relation doesn't name {last.name}, which is to make it hold")


def _span_from(first: BracketPlace, last: BracketPlace, relation: Relation) -> tuple[Ratio, Ratio]:
    """The ratios of the first place that the span of the last one amounts to."""
    assert last.span is not None
    ends = []
    for end in last.span:
        # The ends are only to bound a search that checks every value again: a near fraction will do.
        value = relation.solved_for(first.name, {last.name: Fraction(float(end)).limit_denominator(10**9)})
        if value is not None:
            ends.append(float(value))
    if len(ends) < 2:
        return Fraction(0), Fraction(10**9)
    return Fraction(min(ends) * (1 - 1e-9)), Fraction(max(ends) * (1 + 1e-9))


# -- choices of the first ratios ----------------------------------------------------------------------


def _cut_down(lists: list[Given], most: int) -> list[Given]:
    """The first of each list, so that there are at most so many choices: the longest are cut first."""
    lengths = [len(one.ratios) for one in lists]
    while math.prod(lengths) > most:
        longest = max(range(len(lengths)), key=lengths.__getitem__)
        others = math.prod(lengths) // lengths[longest]
        second = max((length for i, length in enumerate(lengths) if i != longest), default=1)
        lengths[longest] = max(most // others, min(second, lengths[longest] - 1) if others > 1 else 1, 1)
        if lengths[longest] == second and math.prod(lengths) > most:
            even = max(1, int(most ** (1 / len(lengths))))
            lengths = [min(length, max(even, 1)) for length in lengths]
    return [one.first(length) for one, length in zip(lists, lengths, strict=True)]


@dataclass(frozen=True)
class _TiedChoices:
    """Choices of the first ratios: their places in the lists, what they ask of the last, and how surely.

    `doubt` is how far, relatively, the float `wanted` may be off; `gain` what a relative error costs.
    """

    lists: list[Given]
    numbers: NDArray[np.int64]
    wanted: Floats
    doubt: Floats
    gain: Floats
    costs: Floats

    @classmethod
    def of(cls, places: Sequence[BracketPlace], lists: list[Given], relation: Relation) -> _TiedChoices:
        """All choices for which the last place's ratio lies within its span."""
        last = places[-1]
        lengths = [len(one.ratios) for one in lists]
        numbers = np.array(np.unravel_index(np.arange(math.prod(lengths)), lengths)) if all(lengths) else None
        if numbers is None:
            empty = np.zeros(0)
            return cls(lists, np.zeros((len(lists), 0), np.int64), empty, empty, empty, empty)
        ratios = {
            place.name: one.ratios[number]
            for place, one, number in zip(places[:-1], lists, numbers, strict=True)
        }
        given, given_size = summed(relation.terms, ratios, last.name, False)
        divisor, divisor_size = summed(relation.terms, ratios, last.name, True)
        with np.errstate(divide="ignore", invalid="ignore"):
            wanted = -given / divisor
            doubt = 1e-15 * (2 + given_size / np.abs(given) + divisor_size / np.abs(divisor))
        assert last.span is not None
        low, high = float(last.span[0]), float(last.span[1])
        good = np.isfinite(wanted) & (wanted >= low * (1 - 1e-9)) & (wanted <= high * (1 + 1e-9))
        good &= np.isfinite(doubt)
        numbers, wanted, doubt = numbers[:, good], wanted[good], doubt[good]
        gain = np.ones_like(wanted)
        if relation.stiffness is not None:
            stiff, _ = summed(
                relation.stiffness, {name: each[good] for name, each in ratios.items()}, "", False
            )
            gain = np.abs(wanted * stiff)
        costs = float(last.weight) * np.abs(wanted / float(last.target) - 1)
        for one, number in zip(lists, numbers, strict=True):
            costs = costs + one.costs[number]
        return cls(lists, numbers, wanted, doubt, gain, costs)

    def ratios(self, places: Sequence[BracketPlace], choice: int) -> dict[str, Fraction]:
        """The first ratios of a choice, exactly."""
        return {
            place.name: Fraction(int(one.tops[number]), int(one.bottoms[number]))
            for place, one, number in zip(places[:-1], self.lists, self.numbers[:, choice], strict=True)
        }


# -- best first -------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Asks:
    """A choice of the first ratios, and what it asks of the last one."""

    choice: int
    ratios: dict[str, Fraction]
    wanted: Ratio


class _TiedSearch:
    """Choices in the order of the least that they can cost, each tried with the values nearest to what it asks for.

    `tried` are the combinations that were tried on the brackets.
    """

    def __init__(
        self, places: Sequence[BracketPlace], relation: Relation, mounts: Mounts, choices: _TiedChoices, values: Floats
    ) -> None:
        self.places, self.relation, self.mounts = places, relation, mounts
        self.choices, self.values, self.last = choices, values, places[-1]
        self.tried: set[tuple[Fraction, ...]] = set()
        self._living = [
            Living(mounts, place, one) for place, one in zip(places[:-1], choices.lists, strict=True)
        ]
        # Cost, or the least that it can be; running number; the choice; then either a place in `values` and a
        # direction, or the fraction found there.
        self._heap: list[tuple[float, int, _Asks, int, int, Fraction | None]] = []
        self._counter = itertools.count()

    def best(self, limit: int, most_tries: int) -> list[CoupledSetUp]:
        """The cheapest choices that can be mounted, each with the value of the last ratio that it takes."""
        found: list[CoupledSetUp] = []
        if not len(self.values) or not len(self.choices.wanted):
            return found
        opening = self._opening()
        following = next(opening, None)
        while len(found) < limit and len(self.tried) < most_tries:
            while following is not None and (not self._heap or following[0] <= self._heap[0][0]):
                self._open(following[1])
                following = next(opening, None)
            if not self._heap:
                break
            cost, _, asks, at, step, fraction = heapq.heappop(self._heap)
            if fraction is None:
                self._take_up(asks, at, step)
                continue
            one = self._mounted(asks, fraction, cost)
            if one is not None:
                found.append(one)
        return found

    def _opening(self) -> Iterator[tuple[float, int]]:
        """The least that a choice can cost, and its number; those with a ratio known to go nowhere are left out."""
        count, numbers = len(self.choices.wanted), self.choices.numbers
        every, top = np.arange(count), len(self.values) - 1
        above = self._above = np.searchsorted(self.values, self.choices.wanted)
        least = np.minimum(
            self._least_cost(every, np.minimum(above, top)), self._least_cost(every, np.maximum(above - 1, 0))
        )
        order = np.argsort(least, kind="stable")
        for begin in range(0, count, _CHUNK):
            may = _may_live(self._living, numbers, order, begin)
            for choice in order[begin : begin + _CHUNK][may].tolist():
                yield float(least[choice]), choice

    def _open(self, choice: int) -> None:
        """Begin with the values on both sides of what a choice asks for, if all its ratios can be mounted."""
        numbers = self.choices.numbers[:, choice].tolist()
        if not all(alive.get(number) for alive, number in zip(self._living, numbers, strict=True)):
            return
        ratios = self.choices.ratios(self.places, choice)
        wanted = self.relation.solved_for(self.last.name, ratios)
        if wanted is not None:
            above = int(self._above[choice])
            self._go_on(_Asks(choice, ratios, wanted), above, 1)
            self._go_on(_Asks(choice, ratios, wanted), above - 1, -1)

    def _go_on(self, asks: _Asks, at: int, step: int) -> None:
        if 0 <= at < len(self.values):
            bound = float(self._least_cost(asks.choice, at))
            heapq.heappush(self._heap, (bound, next(self._counter), asks, at, step, None))

    def _take_up(self, asks: _Asks, at: int, step: int) -> None:
        """The fractions at a value, each with what it costs exactly, and after them the next value."""
        for one in self.mounts.fractions(float(self.values[at])):
            if not _within(one, self.last):
                continue
            whole = {**asks.ratios, self.last.name: one}
            if not self.mounts.may_be(whole):
                # Tried in vain, without a need to know what it would cost.
                self.tried.add(tuple(whole.values()))
                continue
            cost = self.choices.costs[asks.choice] + self.relation.cost(self.last.name, whole, asks.wanted)
            heapq.heappush(self._heap, (float(cost), next(self._counter), asks, at, 0, one))
        self._go_on(asks, at + step, step)

    def _mounted(self, asks: _Asks, fraction: Fraction, cost: float) -> CoupledSetUp | None:
        key = (*asks.ratios.values(), fraction)
        if key in self.tried:
            return None
        self.tried.add(key)
        set_up = self.mounts.set_up({**asks.ratios, self.last.name: fraction}, cost)
        if set_up is None:
            return None
        error = relative_error(fraction, asks.wanted)
        return CoupledSetUp(_with_error(set_up, self.last.name, error), float(asks.wanted), error)

    def _least_cost(self, choice: Any, at: Any) -> Any:
        """The least that the value at `at` can cost a choice, for all that floats know."""
        choices = self.choices
        off = np.abs(self.values[at] / choices.wanted[choice] - 1) - choices.doubt[choice]
        return choices.costs[choice] * (1 - 1e-12) + choices.gain[choice] * np.maximum(off, 0) * (1 - 1e-12)


#: Choices that are looked through at once for ratios which are known to be out of the question.
_CHUNK = 512


def _may_live(
    living: Sequence[Living], numbers: NDArray[np.int64], opening: NDArray[np.int64], begin: int
) -> NDArray[np.bool_]:
    """Which of the next choices have no ratio that is known to go on no bracket."""
    rows = numbers[:, opening[begin : begin + _CHUNK]]
    may = [alive.may_be[row] for alive, row in zip(living, rows, strict=True)]
    return np.asarray(np.logical_and.reduce(may), dtype=bool)


def _within(ratio: Fraction, place: BracketPlace) -> bool:
    assert place.span is not None
    return compare(ratio, place.span[0]) >= 0 and compare(ratio, place.span[1]) <= 0


def _with_error(set_up: Filled, name: str, error: float) -> Filled:
    sets = {each: replace(one, error=error) if each == name else one for each, one in set_up.sets.items()}
    return replace(set_up, sets=sets)


def _why_none(places: Sequence[BracketPlace], lists: Sequence[Given], choices: _TiedChoices, values: Floats) -> str:
    for place, one in zip(places[:-1], lists, strict=True):
        if not len(one.ratios):
            return f"{place.name}: no gears in the drawer give a ratio within the span"
    last = places[-1]
    if not len(choices.wanted):
        return f"whatever the other brackets give, {last.name} would have to lie outside its span"
    if not len(values):
        return f"{last.name}: no gears in the drawer give a ratio within the span"
    return "no choice can be mounted from the drawer on all brackets at once"
