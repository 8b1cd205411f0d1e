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
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .drawer import Drawer, GearSet, share_out
from .filling import Listed, fillings, least_work, listed
from .joint import Place, Search, SetUp, Steps, Stock
from .products import products, spread
from .ratios import Ratio, compare, relative_error

Floats = NDArray[np.float64]

#: Choices of the first ratios that are taken into account at most; beyond, those nearest their targets.
MOST_CHOICES = 400_000

#: Combinations that are tried on the brackets at most before a search in which hardly any fits is given up.
MOST_TRIES = 4000


@dataclass(frozen=True)
class Relation:
    """An equation between ratios: the sum over `terms` of coefficient times the ratios named is 0.

    A term is the set of bracket names whose ratios are multiplied, the empty set being a constant, so
    that each ratio stands to the first power. `stiffness`, of the same form, gives what an error of 1
    (not relative) in the last ratio costs, in the same coin as the weights; left out, the cost is the relative error.

    >>> Relation({frozenset(): Fraction(-24), frozenset({"index"}): Fraction(37)}).solved_for("index", {})
    Fraction(24, 37)
    """

    terms: Mapping[frozenset[str], Ratio]
    stiffness: Mapping[frozenset[str], Ratio] | None = None

    def solved_for(self, name: str, ratios: Mapping[str, Fraction]) -> Ratio | None:
        """What bracket `name` must give with the others as they are; None where nothing or anything would do."""
        given: Ratio = Fraction(0)
        wanted: Ratio = Fraction(0)
        for names, coefficient in self.terms.items():
            product = math.prod((ratios[one] for one in names if one != name), start=Fraction(1))
            if name in names:
                wanted = wanted + coefficient * product
            else:
                given = given + coefficient * product
        if _is_zero(wanted):
            return None
        return -given / wanted

    def cost(self, name: str, ratios: Mapping[str, Fraction], wanted: Ratio) -> float:
        """What the ratio of `name` costs where `wanted` is what it should be."""
        off = abs(relative_error(ratios[name], wanted))
        if self.stiffness is None:
            return off
        stiff: Ratio = Fraction(0)
        for names, coefficient in self.stiffness.items():
            stiff = stiff + coefficient * math.prod((ratios[one] for one in names), start=Fraction(1))
        return off * abs(float(wanted)) * abs(float(stiff))


def _is_zero(number: Ratio) -> bool:
    return isinstance(number, Fraction) and number == 0


@dataclass(frozen=True)
class CoupledSetUp:
    """A set-up, what the last ratio should be with the others as they are, and by how much it is off.

    `error` is relative, above 0 where the ratio is too great.
    """

    set_up: SetUp
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
    places: Sequence[Place],
    relation: Relation,
    gears: Drawer | Iterable[int] | Sequence[GearSet],
    *,
    limit: int = 5,
    most_choices: int = MOST_CHOICES,
    most_tries: int = MOST_TRIES,
) -> CoupledSetUps:
    """The cheapest ways to fill `places` together so that `relation` holds as nearly as can be.

    The last place is the one that makes up for the others. Its `span` bounds the ratios allowed (the
    whole feed range, say) and must be given; its target is what was asked for, from which what it should give
    may differ at the place's weight. The other places are held within their spans, where given; with two
    places the first one's span follows from the last one's. Exact places give their target and nothing else.

    Three pairs of gears aren't searched here. Raises `ValueError` for a single place, a last place
    without span, or places that allow neither one nor two pairs.
    """
    _check(places, relation, limit)
    stock = Stock.of(places, gears)
    last = places[-1]
    if len(places) == 2 and places[0].span is None and not places[0].exact:
        places = [replace(places[0], span=_span_from(places[0], last, relation)), last]
    lists = [_given_by(place, stock) for place in places[:-1]]
    complete = math.prod(len(one.ratios) for one in lists) <= most_choices
    if not complete:
        lists = _cut_down(lists, most_choices)
    mounts = _Mounts(places, stock)
    lists = [mounts.mountable(place, one) for place, one in zip(places[:-1], lists, strict=True)]
    choices = _Choices.of(places, lists, relation)
    values = _values(last, stock)
    found, tries = _search(places, relation, mounts, choices, values, limit, most_tries)
    complete = complete and tries < most_tries
    why = None if found else _why_none(places, lists, choices, values)
    return CoupledSetUps(tuple(found), len(choices.wanted), complete, why, tries)


def _check(places: Sequence[Place], relation: Relation, limit: int) -> None:
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


def _span_from(first: Place, last: Place, relation: Relation) -> tuple[Ratio, Ratio]:
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


# -- what a bracket can give ------------------------------------------------------------------------


@dataclass(frozen=True)
class _Given:
    """Different ratios that a place can give, cheapest first, as whole numbers over whole numbers, and their costs."""

    tops: NDArray[np.int64]
    bottoms: NDArray[np.int64]
    ratios: Floats
    costs: Floats

    def first(self, count: int) -> _Given:
        return _Given(self.tops[:count], self.bottoms[:count], self.ratios[:count], self.costs[:count])


def _quotients(
    drawer: Drawer, pairs: int, low: float, high: float
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """All quotients of `pairs` gears over `pairs` gears of `drawer` from `low` to `high`."""
    table = products(drawer, pairs)
    begin = np.searchsorted(table.floats, table.floats * low * (1 - 1e-13))
    end = np.searchsorted(table.floats, table.floats * high * (1 + 1e-13), side="right")
    many = np.maximum(end - begin, 0).astype(np.int64)
    return table.values[spread(begin.astype(np.int64), many)], np.repeat(table.values, many)


def _given_by(place: Place, stock: Stock) -> _Given:
    """The different ratios of one place, from all its numbers of pairs, within its span."""
    drawer = stock.drawers[place.name]
    if place.exact:
        assert isinstance(place.target, Fraction)
        top, bottom = place.target.as_integer_ratio()
        one = np.array([top], dtype=np.int64), np.array([bottom], dtype=np.int64)
        return _Given(*one, one[0] / one[1], np.zeros(1))
    low, high = (0.0, 1e12) if place.span is None else (float(place.span[0]), float(place.span[1]))
    parts = [
        _quotients(drawer, pairs, low, high)
        for pairs in place.pairs
        if pairs < 3 and len(drawer) >= 2 * pairs
    ]
    tops = np.concatenate([part[0] for part in parts] or [np.zeros(0, np.int64)])
    bottoms = np.concatenate([part[1] for part in parts] or [np.zeros(0, np.int64)])
    common = np.gcd(tops, bottoms)
    tops, bottoms = tops // np.maximum(common, 1), bottoms // np.maximum(common, 1)
    order = np.lexsort((bottoms, tops))
    tops, bottoms = tops[order], bottoms[order]
    fresh = np.ones(len(tops), dtype=bool)
    fresh[1:] = (tops[1:] != tops[:-1]) | (bottoms[1:] != bottoms[:-1])
    tops, bottoms = tops[fresh], bottoms[fresh]
    ratios = tops / bottoms
    off = np.abs(ratios / float(place.target) - 1)
    cheapest = np.argsort(off, kind="stable")
    return _Given(tops[cheapest], bottoms[cheapest], ratios[cheapest], float(place.weight) * off[cheapest])


def _cut_down(lists: list[_Given], most: int) -> list[_Given]:
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
class _Choices:
    """Choices of the first ratios: their places in the lists, what they ask of the last, and how surely.

    `doubt` is how far, relatively, the float `wanted` may be off; `gain` what a relative error costs.
    """

    lists: list[_Given]
    numbers: NDArray[np.int64]
    wanted: Floats
    doubt: Floats
    gain: Floats
    costs: Floats

    @classmethod
    def of(cls, places: Sequence[Place], lists: list[_Given], relation: Relation) -> _Choices:
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
        given, given_size = _sum(relation.terms, ratios, last.name, False)
        divisor, divisor_size = _sum(relation.terms, ratios, last.name, True)
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
            stiff, _ = _sum(
                relation.stiffness, {name: each[good] for name, each in ratios.items()}, "", False
            )
            gain = np.abs(wanted * stiff)
        costs = float(last.weight) * np.abs(wanted / float(last.target) - 1)
        for one, number in zip(lists, numbers, strict=True):
            costs = costs + one.costs[number]
        return cls(lists, numbers, wanted, doubt, gain, costs)

    def ratios(self, places: Sequence[Place], choice: int) -> dict[str, Fraction]:
        """The first ratios of a choice, exactly."""
        return {
            place.name: Fraction(int(one.tops[number]), int(one.bottoms[number]))
            for place, one, number in zip(places[:-1], self.lists, self.numbers[:, choice], strict=True)
        }


def _sum(
    terms: Mapping[frozenset[str], Ratio], ratios: Mapping[str, Floats], last: str, with_last: bool
) -> tuple[Any, Any]:
    """The terms that hold the last ratio, or those that don't, without it: their sum and the sum of their sizes."""
    total: Any = 0.0
    size: Any = 0.0
    shape = next(iter(ratios.values())).shape
    for names, coefficient in terms.items():
        if (last in names) == with_last:
            term: Any = np.full(shape, float(coefficient))
            for name in names - {last}:
                term = term * ratios[name]
            total, size = total + term, size + np.abs(term)
    return total + np.zeros(shape), size + np.zeros(shape)


def _values(last: Place, stock: Stock) -> Floats:
    """All different ratios that the last place can give within its span, rising, as floats."""
    assert last.span is not None
    pairs = tuple(pairs for pairs in last.pairs if pairs < 3)
    return _all_values(stock.drawers[last.name], pairs, float(last.span[0]), float(last.span[1]))


@lru_cache(maxsize=4)  # every way of setting the machine asks for them again, and there may be millions
def _all_values(drawer: Drawer, pairs: tuple[int, ...], low: float, high: float) -> Floats:
    parts = []
    for count in pairs:
        if len(drawer) >= 2 * count:
            tops, bottoms = _quotients(drawer, count, low, high)
            parts.append(tops / bottoms)
    values = np.sort(np.concatenate(parts)) if parts else np.zeros(0)
    return values[np.concatenate([[True], values[1:] != values[:-1]])] if len(values) else values


def _fractions_near(drawer: Drawer, pairs: Iterable[int], value: float) -> set[Fraction]:
    """The ratios that the float `value` stands for."""
    found: set[Fraction] = set()
    for count in pairs:
        if count < 3 and len(drawer) >= 2 * count:
            tops, bottoms = _quotients(drawer, count, value, value)
            same = tops / bottoms == value
            found |= {Fraction(int(p), int(q)) for p, q in zip(tops[same], bottoms[same], strict=True)}
    return found


# -- best first -------------------------------------------------------------------------------------


def _search(
    places: Sequence[Place],
    relation: Relation,
    mounts: _Mounts,
    choices: _Choices,
    values: Floats,
    limit: int,
    most_tries: int,
) -> tuple[list[CoupledSetUp], int]:
    """The cheapest choices that can be mounted, each with the value of the last ratio that it takes.

    And how many combinations were tried on the brackets.
    """
    if not len(values) or not len(choices.wanted):
        return [], 0
    last = places[-1]
    drawer = mounts.stock.drawers[last.name]
    above = np.searchsorted(values, choices.wanted)
    least = _least_cost(choices, values, np.arange(len(choices.wanted)), np.minimum(above, len(values) - 1))
    least = np.minimum(
        least, _least_cost(choices, values, np.arange(len(choices.wanted)), np.maximum(above - 1, 0))
    )
    opening = np.argsort(least, kind="stable")
    opened = 0
    # Cost, or the least that it can be; running number; choice; its first ratios and what they ask for;
    # then either a place in `values` and a direction, or the fraction found there.
    heap: list[tuple[float, int, int, Any, Ratio | None, int, int, Fraction | None]] = []
    counter = itertools.count()
    found: list[CoupledSetUp] = []
    seen: set[tuple[Fraction, ...]] = set()
    numbers = choices.numbers
    living = [_Living(mounts, place, one) for place, one in zip(places[:-1], choices.lists, strict=True)]
    while len(found) < limit and len(seen) < most_tries:
        while opened < len(opening) and (not heap or least[opening[opened]] <= heap[0][0]):
            choice = int(opening[opened])
            opened += 1
            if not all(alive.get(number) for alive, number in zip(living, numbers[:, choice].tolist(), strict=True)):
                continue
            ratios = choices.ratios(places, choice)
            wanted = relation.solved_for(last.name, ratios)
            for at, step in ((int(above[choice]), 1), (int(above[choice]) - 1, -1)):
                if wanted is not None and 0 <= at < len(values):
                    bound = float(_least_cost(choices, values, choice, at))
                    heapq.heappush(heap, (bound, next(counter), choice, ratios, wanted, at, step, None))
        if not heap:
            break
        cost, _, choice, ratios, wanted, at, step, fraction = heapq.heappop(heap)
        assert wanted is not None
        if fraction is None:
            for one in _fractions_near(drawer, last.pairs, float(values[at])):
                if not _within(one, last):
                    continue
                exact = choices.costs[choice] + relation.cost(last.name, {**ratios, last.name: one}, wanted)
                heapq.heappush(heap, (float(exact), next(counter), choice, ratios, wanted, at, 0, one))
            at += step
            if 0 <= at < len(values):
                bound = float(_least_cost(choices, values, choice, at))
                heapq.heappush(heap, (bound, next(counter), choice, ratios, wanted, at, step, None))
            continue
        key = (*ratios.values(), fraction)
        if key in seen:
            continue
        seen.add(key)
        set_up = mounts.set_up({**ratios, last.name: fraction}, cost)
        if set_up is not None:
            error = relative_error(fraction, wanted)
            found.append(CoupledSetUp(_with_error(set_up, last.name, error), float(wanted), error))
    return found, len(seen)


def _least_cost(choices: _Choices, values: Floats, choice: Any, at: Any) -> Any:
    """The least that the value at `at` can cost a choice, for all that floats know."""
    off = np.abs(values[at] / choices.wanted[choice] - 1) - choices.doubt[choice]
    return choices.costs[choice] * (1 - 1e-12) + choices.gain[choice] * np.maximum(off, 0) * (1 - 1e-12)


def _within(ratio: Fraction, place: Place) -> bool:
    assert place.span is not None
    return compare(ratio, place.span[0]) >= 0 and compare(ratio, place.span[1]) <= 0


class _Mounts:
    """The sets that give a ratio on a bracket, looked up once: many choices ask for the same ratios again."""

    def __init__(self, places: Sequence[Place], stock: Stock) -> None:
        self.places, self.stock = places, stock
        self._known: dict[tuple[str, Fraction], Listed] = {}
        self._possible: dict[tuple[str, Fraction], bool] = {}

    def on(self, place: Place, ratio: Fraction) -> Listed:
        """The sets that give just this ratio on one bracket."""
        key = (place.name, ratio)
        if key not in self._known:
            self._known[key] = _giving(self._exactly(place, ratio), self.stock.drawers[place.name], _WAYS)
        return self._known[key]

    def mountable(self, place: Place, given: _Given) -> _Given:
        """The ratios of a list that some set gives which can be mounted, as far as a look at each costs little."""
        if len(given.ratios) > _LOOKED_AT or len(self.stock.drawers[place.name]) > _SMALL:
            return given
        pairs = zip(given.tops.tolist(), given.bottoms.tolist(), strict=True)
        keep = np.array([self.is_possible(place, Fraction(p, q)) for p, q in pairs], dtype=bool)
        return _Given(given.tops[keep], given.bottoms[keep], given.ratios[keep], given.costs[keep])

    def is_possible(self, place: Place, ratio: Fraction) -> bool:
        """Whether some set gives just this ratio on a bracket that has the drawer to itself."""
        key = (place.name, ratio)
        if key not in self._possible:
            self._possible[key] = bool(_giving(self._exactly(place, ratio), self.stock.drawers[place.name], 1).items)
        return self._possible[key]

    @staticmethod
    def _exactly(place: Place, ratio: Fraction) -> Place:
        pairs = tuple(pairs for pairs in place.pairs if pairs < 3)
        return replace(place, target=ratio, exact=True, span=None, pairs=pairs)

    def set_up(self, ratios: Mapping[str, Fraction], cost: float) -> SetUp | None:
        """Gears and idlers for just these ratios, all from the drawer at once; None where there are none."""
        if not all(self.is_possible(place, ratios[place.name]) for place in self.places):
            return None
        lists = [self.on(place, ratios[place.name]) for place in self.places]
        if not all(one.items for one in lists):
            return None
        steps = Steps(_FILLINGS)
        sets = next(iter(fillings(self.stock, lists, steps)), None)
        if sets is not None:
            wanted = {name: (*one.gears, *one.idlers) for name, one in sets.items()}
            drawn = share_out(wanted, self.stock.sets)
            assert drawn is not None
            return SetUp(sets, cost, drawn)
        if all(one.complete for one in lists) and not steps.ran_out:
            return None
        best = Search(self.stock, [one.place for one in lists]).best(1, self.stock.full)
        return replace(best[0], cost=cost) if best else None


@lru_cache(maxsize=30_000)  # ways of setting the machine, and spans of feed, ask for the same again
def _giving(exact: Place, drawer: Drawer, most: int) -> Listed:
    """The sets out of a drawer that give just the ratio of a place."""
    return listed(exact, drawer, least_work, most)


class _Living:
    """Which ratios of a list some set gives that can be mounted, looked at as they are asked for."""

    def __init__(self, mounts: _Mounts, place: Place, given: _Given) -> None:
        self._mounts, self._place, self._given = mounts, place, given
        self._known: dict[int, bool] = {}

    def get(self, number: int) -> bool:
        """Whether ratio `number` of the list can be mounted."""
        known = self._known.get(number)
        if known is None:
            ratio = Fraction(int(self._given.tops[number]), int(self._given.bottoms[number]))
            known = self._known[number] = self._mounts.is_possible(self._place, ratio)
        return known


#: Ratios of a bracket that are tried on it before they are combined with others, where its drawer is no larger than so.
_LOOKED_AT, _SMALL = 600, 50

#: Sets of one ratio that are looked at on a bracket, and choices among them.
_WAYS, _FILLINGS = 16, 500


def _with_error(set_up: SetUp, name: str, error: float) -> SetUp:
    sets = {each: replace(one, error=error) if each == name else one for each, one in set_up.sets.items()}
    return replace(set_up, sets=sets)


def _why_none(places: Sequence[Place], lists: Sequence[_Given], choices: _Choices, values: Floats) -> str:
    for place, one in zip(places[:-1], lists, strict=True):
        if not len(one.ratios):
            return f"{place.name}: no gears in the drawer give a ratio within the span"
    last = places[-1]
    if not len(choices.wanted):
        return f"whatever the other brackets give, {last.name} would have to lie outside its span"
    if not len(values):
        return f"{last.name}: no gears in the drawer give a ratio within the span"
    return "no choice can be mounted from the drawer on all brackets at once"
