"""Several brackets filled from one drawer at once, cheapest first.

Every bracket has its own list, nearest sets first. The lists are searched together best first: a
combination is looked at only when nothing cheaper is left, so that what comes out first is the best that
can be mounted, and what comes next the next best. Cost is the sum, over the brackets, of each one's
weight times its relative error; a bracket whose ratio must be met exactly costs nothing.

Results differ in the ratio of at least one bracket. Of the gears that give the same ratios those are
taken that mean the least work in the first place, then in the second, and so on, the places that cost
most coming first and those met exactly last.
"""

from __future__ import annotations

import bisect
import heapq
import itertools
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence, Set
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cmp_to_key

from handlead.kinematics.brackets.drawer import Drawer, DrawerSet, share_out
from handlead.kinematics.frame.exact import Ratio
from handlead.kinematics.search.change_gears import ChangeGearSet
from handlead.kinematics.search.ratios import compare

from .choices import BracketChoices, factors_of
from .together import AT_ONCE, BracketPlace, Item, Left, Steps, Stock, why_none_alone, with_idlers


@dataclass(frozen=True)
class Filled:
    """What goes on each bracket, by name; its cost; and which gear set each gear is taken from."""

    sets: Mapping[str, ChangeGearSet]
    cost: float
    drawn_from: Mapping[str, tuple[tuple[int, str], ...]] = field(default_factory=dict)

    @property
    def ratios(self) -> tuple[Fraction, ...]:
        """The ratio of each bracket."""
        return tuple(one.ratio for one in self.sets.values())


@dataclass(frozen=True)
class BestFilled:
    """The best set-ups, in order; `none_because` says what stands in the way where there is none.

    `complete` means that there are no others at all.
    """

    best: tuple[Filled, ...]
    complete: bool
    none_because: str | None = None


def best_set_ups(
    places: Sequence[BracketPlace],
    gears: Drawer | Iterable[int] | Sequence[DrawerSet],
    *,
    limit: int = 5,
    steps: Steps | None = None,
) -> BestFilled:
    """The `limit` cheapest ways to fill all `places` together, from one drawer or from several gear sets.

    Nothing that can be mounted and isn't listed costs less than the last one listed, unless the `steps` given ran out.
    Raises `ValueError` for an empty drawer, two places of one name, or a limit below 1.
    """
    if limit < 1:
        raise ValueError(f"limit is {limit}; it must be 1 or more")
    stock = Stock.of(places, gears)
    search = Search(stock, places, steps=steps)
    found = search.best(limit, stock.full)
    cut_short = steps is not None and steps.ran_out
    if found:
        return BestFilled(tuple(found), len(found) < limit and not cut_short)
    if cut_short:
        return BestFilled((), False, "not every choice of gears was looked at")
    return BestFilled((), True, _why_none(places, stock))

#: Drawers of no more gears than this are small, and exact places with no more ways than this have few.
_SMALL, _FEW_WAYS = 24, 24

#: Costs nearer to each other than this share are compared exactly.
_DOUBT = 1e-11


@dataclass(frozen=True)
class _Partial:
    """Sets chosen for the first places, and what is left."""

    chosen: tuple[int, ...]
    left: Left


#: Bound; for every place so far the ratio's number and which of its sets, which settles the order of equals; the
#: cost and the ratios of the places before; the sets that the gears allow together.
_Open = tuple[float, tuple[tuple[int, int], ...], float, tuple[Fraction, ...], list[_Partial]]


class Search:
    """The places of one member, those that cost most first, those that must be met exactly last."""

    def __init__(
        self, stock: Stock, places: Sequence[BracketPlace], *, all_costed: bool = False, steps: Steps | None = None
    ) -> None:
        self.stock = stock
        self.steps = steps
        self.named = [place.name for place in places]
        ordered = sorted(places, key=lambda p: (p.exact, -p.weight))
        self.choices = [BracketChoices(place, stock) for place in ordered]
        self.costed = [each for each in self.choices if all_costed or not each.place.exact]
        self.exact = [each for each in self.choices if not all_costed and each.place.exact]

    def best(self, limit: int, left: Left, pinned: Sequence[Item] = ()) -> list[Filled]:
        """The `limit` cheapest set-ups from what is `left` once the gears of `pinned` sets are out."""
        # Exact places that what is left can't fill together: nothing to search for, however long one looks.
        if self.exact and not self._can_be_exact(left, pinned):
            return []
        if self.costed and (few := self._few_exact(left)):
            return self._best_of_few(few, limit, pinned)
        settled = sum(item.place.cost(item.set.ratio) for item in pinned)
        found: list[Filled] = []
        costs: list[float] = []
        seen: set[tuple[Fraction, ...]] = set()
        for bound, ratios, partials in self.by_cost(left, seen):
            if len(found) >= limit and bound + settled > costs[limit - 1] * (1 + _DOUBT) + 1e-18:
                break
            done = self._completed(partials, pinned)
            if done is not None:
                seen.add(ratios)
                found.append(done)
                bisect.insort(costs, done.cost)
        return sorted(found, key=cmp_to_key(self._compare))[:limit]

    def _can_be_exact(self, left: Left, pinned: Sequence[Item]) -> bool:
        """Whether the exact places have their gears and idlers together, all others left empty."""
        if not self._has_factors(left):
            return False
        for each in self.exact:
            if next(each.fitting(self.stock.available(left, each.place.name)), None) is None:
                return False
        return any(
            next(with_idlers(self.stock, [*self._items(self.exact, way), *pinned], way.left), None)
            for way in self._with_exact(_Partial((), left), 0)
        )

    def _has_factors(self, left: Left) -> bool:
        """Whether what is left holds every prime factor of the exact ratios as often as they ask for it together.

        Two ratios with a factor of 29 each need two gears that it divides; 58 alone won't do.
        """
        wanted: Counter[int] = Counter()
        for each in self.exact:
            assert isinstance(each.place.target, Fraction)
            wanted += factors_of(each.place.target.numerator) + factors_of(each.place.target.denominator)
        # The first group is that of all places: what they may take between them.
        held: Counter[int] = Counter()
        for teeth, count in zip(self.stock.teeth, left[0].tolist(), strict=True):
            for factor, power in factors_of(teeth).items():
                held[factor] += power * count
        return all(held[factor] >= power for factor, power in wanted.items())

    @staticmethod
    def _items(places: Sequence[BracketChoices], partial: _Partial) -> list[Item]:
        """The sets chosen for these places, with the numbers of idlers that they are listed with."""
        return [
            Item(choices.place, choices.sets[number], (len(choices.sets[number].idlers),))
            for choices, number in zip(places, partial.chosen, strict=True)
        ]

    def _few_exact(self, left: Left) -> list[_Partial]:
        """The ways to fill the exact places where they are few, and the drawer small; else none at all."""
        if not self.exact or max(int(there.sum()) for there in left) > _SMALL:
            return []
        ways = list(itertools.islice(self._with_exact(_Partial((), left), 0), _FEW_WAYS + 1))
        return ways if len(ways) <= _FEW_WAYS else []

    def _best_of_few(self, ways: Sequence[_Partial], limit: int, pinned: Sequence[Item]) -> list[Filled]:
        """The cheapest set-ups, from the little that each way to fill the exact places leaves."""
        found: dict[tuple[Fraction, ...], Filled] = {}
        for way in ways:
            items = self._items(self.exact, way)
            rest = Search(
                self.stock.with_only(way.left), [each.place for each in self.costed], all_costed=True, steps=self.steps
            )
            for one in rest.best(limit, way.left, [*items, *pinned]):
                ratios = tuple(one.sets[each.place.name].ratio for each in self.costed)
                if ratios not in found:
                    names = [*self.named, *(name for name in one.sets if name not in self.named)]
                    found[ratios] = replace(one, sets={name: one.sets[name] for name in names})
        return sorted(found.values(), key=cmp_to_key(self._compare))[:limit]

    def _compare(self, one: Filled, other: Filled) -> int:
        if abs(one.cost - other.cost) > _DOUBT * max(one.cost, other.cost):
            return -1 if one.cost < other.cost else 1
        try:
            return compare(self._exact_cost(one), self._exact_cost(other))
        except ArithmeticError:
            return 0  # equal as far as anybody can tell: the order of finding stands

    def _exact_cost(self, one: Filled) -> Ratio:
        total: Ratio = Fraction(0)
        for each in self.costed:
            total = total + each.place.exact_cost(one.sets[each.place.name].ratio)
        return total

    def by_cost(
        self, left: Left, settled: Set[tuple[Fraction, ...]]
    ) -> Iterator[tuple[float, tuple[Fraction, ...], list[_Partial]]]:
        """Choices of a ratio for every costed place, cheapest first, with gears that can give them together.

        Ratios with many sets come several times, with other sets each time, until they are `settled`.
        """
        rest = self._rest()
        if rest is None:
            return
        heap: list[_Open] = [(rest[0], ((0, 0),), 0.0, (), [_Partial((), left)])]
        while heap and (self.steps is None or self.steps.take()):
            bound, path, before, ratios, partials = heapq.heappop(heap)
            depth, (number, part) = len(path) - 1, path[-1]
            if depth == len(self.costed):
                if ratios not in settled:
                    yield bound, ratios, partials
                continue
            choices = self.costed[depth]
            here = choices.ratio(number)
            if here is None:
                continue
            ratio, cost = here
            following = choices.ratio(number + 1) if part == 0 else None
            if following is not None:
                next_bound = before + following[1] + rest[depth + 1]
                heapq.heappush(heap, (next_bound, (*path[:-1], (number + 1, 0)), before, ratios, partials))
            if depth == len(self.costed) - 1 and (*ratios, ratio) in settled:
                continue
            ways = choices.ways(ratio, part * AT_ONCE, (part + 1) * AT_ONCE)
            if len(ways) == AT_ONCE:
                heapq.heappush(heap, (bound, (*path[:-1], (number, part + 1)), before, ratios, partials))
            taken = self._taken(choices, ways, partials)
            if taken:
                entry = (*path, (0, 0)), before + cost, (*ratios, ratio), taken
                heapq.heappush(heap, (before + cost + rest[depth + 1], *entry))

    def _rest(self) -> list[float] | None:
        """The least that the costed places from each on can cost together; None where one has no set at all."""
        least = [each.ratio(0) for each in self.costed]
        if None in least:
            return None
        costs = [first[1] for first in least if first is not None]
        return [sum(costs[i:]) for i in range(len(costs) + 1)]

    def _taken(self, choices: BracketChoices, numbers: Sequence[int], partials: list[_Partial]) -> list[_Partial]:
        """`partials`, each with each of the sets `numbers` that its gears allow."""
        result = []
        for partial in partials:
            for number in numbers:
                left = self.stock.take(partial.left, choices.place.name, choices.uses[number])
                if left is not None:
                    result.append(_Partial((*partial.chosen, number), left))
        return result

    def _completed(self, partials: list[_Partial], pinned: Sequence[Item]) -> Filled | None:
        """The first set-up in which exact places and idlers too have their gears; None where there is none."""
        for partial in partials:
            for full in self._with_exact(partial, 0):
                items = [*self._items(self.costed + self.exact, full), *pinned]
                sets = next(with_idlers(self.stock, items, full.left), None)
                if sets is not None:
                    return self._set_up(items, sets)
        return None

    def _with_exact(self, partial: _Partial, depth: int) -> Iterator[_Partial]:
        if depth == len(self.exact):
            yield partial
            return
        choices = self.exact[depth]
        name = choices.place.name
        for number in choices.fitting(self.stock.available(partial.left, name)):
            if self.steps is not None and not self.steps.take():
                return
            left = self.stock.take(partial.left, name, choices.uses[number])
            if left is not None:
                yield from self._with_exact(_Partial((*partial.chosen, number), left), depth + 1)

    def _set_up(self, items: Sequence[Item], sets: Sequence[ChangeGearSet]) -> Filled:
        by_name = {item.place.name: one for item, one in zip(items, sets, strict=True)}
        names = [*self.named, *(name for name in by_name if name not in self.named)]
        cost = sum(item.place.cost(item.set.ratio) for item in items)
        drawn = share_out(
            {name: (*by_name[name].gears, *by_name[name].idlers) for name in names}, self.stock.sets
        )
        assert drawn is not None
        return Filled({name: by_name[name] for name in names}, float(cost), drawn)


def _why_none(places: Sequence[BracketPlace], stock: Stock) -> str:
    """Which requirement fails: one bracket alone, two together, or only all of them."""
    for place in places:
        alone = Search(stock, [place])
        if not alone.best(1, stock.full):
            return f"{place.name}: {why_none_alone(place, stock)}"
    for one, other in itertools.combinations(places, 2):
        if len(places) > 2 and not Search(stock, [one, other]).best(1, stock.full):
            return (
                f"{one.name} and {other.name} can each be met alone, but not together: "
                "they ask for the same gears"
            )
    names = ", ".join(place.name for place in places)
    return f"{names} can't be met together: they ask for the same gears"
