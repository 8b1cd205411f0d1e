"""Change gears for a ratio: the nearest sets that are owned and can be mounted, with nothing nearer left out.

Sets are listed by their error, compared exactly; of equally near ones those with fewer gears come
first, then those with the smaller sum of teeth, then by the teeth themselves (drivers, then driven
gears, each from the smallest up), then by the order on the bracket, and last by the idlers.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cmp_to_key, lru_cache
from typing import Any, Literal, TypeAlias

import numpy as np
from handlead.kinematics.frame.exact import Ratio
from handlead.kinematics.train.links import Mounted
from numpy.typing import NDArray

from .bracket import Bracket, Mounting, Refusal
from .drawer import Drawer
from .products import (
    Ints,
    Products,
    Window,
    doubt_at,
    equal_quotients,
    products,
    ranked_quotients,
    spread,
    windows,
)
from .ratios import checked_target, compare, compare_errors, relative_error
from .scarce import allowed_orders

#: What makes two entries of a list different: their ratio, their gears whatever the order, or their order too.
Different: TypeAlias = Literal["ratio", "gears", "order"]

_PAIRS_SEARCHED = (1, 2, 3)


@dataclass(frozen=True)
class ChangeGearSet:
    """A set that was found: what to mount, its ratio without sign, and where each stud sits.

    `error` is the ratio's relative error, above 0 where the ratio is too great, a float for show only:
    the order of a list was decided exactly. `mounting` is None where there is no bracket to fit.
    """

    mounted: Mounted
    ratio: Fraction
    error: float
    mounting: Mounting | None = field(default=None, compare=False)

    @property
    def gears(self) -> tuple[int, ...]:
        """The gears a, b, c, d … from the driving shaft on, without idlers."""
        return self.mounted.gears

    @property
    def idlers(self) -> tuple[int, ...]:
        """The idlers."""
        return self.mounted.idlers

    def __str__(self) -> str:
        return self.mounted.spoken


@dataclass(frozen=True)
class Refused:
    """A set as near as those listed, or nearer, that can't be mounted; `why` in the trade's words."""

    gears: tuple[int, ...]
    ratio: Fraction
    error: float
    why: str


@dataclass(frozen=True)
class Found:
    """The nearest sets, and the nearer ones that were refused.

    `complete` means that there are no others at all; otherwise whatever was left out comes after the
    last one listed.
    """

    sets: tuple[ChangeGearSet, ...]
    refused: tuple[Refused, ...]
    complete: bool


def nearest_sets(
    target: Ratio | int,
    drawer: Drawer | Iterable[int],
    *,
    pairs: Iterable[int] = (2,),
    idlers: Iterable[int] = (0,),
    turns_over: bool | None = None,
    bracket: Bracket | None = None,
    limit: int = 20,
    different: Different = "gears",
    exact: bool = False,
    refused: int = 0,
) -> Found:
    """The `limit` sets out of `drawer` nearest to `target`, of any number of `pairs` and `idlers` allowed.

    `target` is the ratio, drivers over driven, without sign; `turns_over` says whether meshes and idlers
    together must reverse the sense of turning (None: either will do). With `exact` only sets that give
    `target` itself are listed. `refused` asks for so many sets that would stand among those listed
    but can't be mounted, nearest first, with the reason for each. Nothing that can be mounted and isn't
    listed comes before the last one listed.

    Raises `ValueError` for an empty drawer, gears without teeth, a target at or below 0, numbers of
    pairs other than 1, 2 and 3, or a limit below 1.
    """
    target = checked_target(target)
    drawer = checked_drawer(drawer)
    if limit < 1:
        raise ValueError(f"limit is {limit}; it must be 1 or more")
    if different not in ("ratio", "gears", "order"):
        raise ValueError(f'different is {different!r}; it must be "ratio", "gears" or "order"')
    found: list[ChangeGearSet] = []
    refusals: list[Refused] = []
    complete = True
    allowed = kinds(pairs, idlers, turns_over)
    _check_within_reach(target, drawer, allowed)
    if exact and not isinstance(target, Fraction):
        raise ValueError(f"{target!r} is to be met exactly; gears can't give an irrational ratio")
    for count, idle in allowed:
        stream = sets_by_error(target, drawer, count, idle, bracket, different, exact, limit)
        taken = list(itertools.islice(stream, limit))
        complete &= len(taken) < limit
        found.extend(taken)
    found = sorted(found, key=by_merit(target))
    if different == "ratio":
        found = _first_of_each_ratio(found)
    if refused and bracket is not None:
        last = found[min(limit, len(found)) - 1] if found else None
        refusals = _refusals(target, drawer, allowed, bracket, refused, last, exact)
    return Found(tuple(found[:limit]), tuple(refusals), complete and len(found) <= limit)


def checked_drawer(drawer: Drawer | Iterable[int]) -> Drawer:
    """`drawer` as a `Drawer`. Raises `ValueError` for an empty one and for gears without teeth."""
    if not isinstance(drawer, Drawer):
        return Drawer.of(drawer)
    if not len(drawer):
        raise ValueError("the drawer is empty; give the teeth of at least one gear")
    return drawer


def kinds(pairs: Iterable[int], idlers: Iterable[int], turns_over: bool | None) -> list[tuple[int, int]]:
    """The numbers of pairs and of idlers, together, that are allowed and give the sense wanted.

    Raises `ValueError` where a number of pairs isn't 1, 2 or 3, or one of idlers is below 0.
    """
    pairs, idlers = sorted(set(pairs)), sorted(set(idlers))
    for count in pairs:
        if count not in _PAIRS_SEARCHED:
            raise ValueError(f"pairs is {count}; a bracket is searched with 1, 2 or 3 pairs of gears")
    for count in idlers:
        if count < 0:
            raise ValueError(f"idlers is {count}; it must be 0 or more")
    if not pairs or not idlers:
        raise ValueError("no number of pairs, or none of idlers, is allowed; give at least one of each")
    return [(p, i) for p in pairs for i in idlers if turns_over is None or (p + i) % 2 == int(turns_over)]


def reach_of(drawer: Drawer, pairs: int) -> tuple[Fraction, Fraction] | None:
    """The least and the greatest ratio that so many pairs out of `drawer` give; None for too few gears."""
    gears = drawer.gears
    if len(gears) < 2 * pairs:
        return None
    greatest = Fraction(math.prod(gears[-pairs:]), math.prod(gears[:pairs]))
    return 1 / greatest, greatest


#: A ratio this much beyond the farthest that the gears reach is refused outright.
_BEYOND = Fraction(101, 100)


def _check_within_reach(target: Ratio, drawer: Drawer, allowed: list[tuple[int, int]]) -> None:
    """Raise `ValueError` where there are too few gears, or the ratio lies beyond what they reach."""
    if not allowed:
        return
    reaches = [reach for pairs, idlers in allowed if (reach := reach_of(drawer, pairs)) is not None]
    if not reaches:
        least = min(2 * pairs for pairs, _ in allowed)
        raise ValueError(f"the drawer holds {len(drawer)} gears; the bracket takes at least {least}")
    low, high = min(r[0] for r in reaches), max(r[1] for r in reaches)
    if compare(target, low / _BEYOND) < 0 or compare(target, high * _BEYOND) > 0:
        raise ValueError(
            f"ratio wanted is {float(target):.6g}, beyond the reach of these gears: "
            f"they give from {float(low):.6g} to {float(high):.6g}"
        )


def by_merit(target: Ratio) -> Callable[[ChangeGearSet], Any]:
    """Sort key: the error, exactly, then fewer gears, then the smaller sum, then the gears themselves."""

    def compare_sets(one: ChangeGearSet, other: ChangeGearSet) -> int:
        nearer = compare_errors(one.ratio, other.ratio, target)
        if nearer:
            return nearer
        mine, theirs = work_key(one.mounted), work_key(other.mounted)
        return (mine > theirs) - (mine < theirs)

    return cmp_to_key(compare_sets)


def work_key(mounted: Mounted) -> tuple[object, ...]:
    """What decides between two sets that are equally near."""
    drivers, driven = sorted(mounted.gears[::2]), sorted(mounted.gears[1::2])
    return (
        len(mounted.gears) + len(mounted.idlers),
        sum(mounted.gears),
        len(mounted.gears),
        drivers,
        driven,
        mounted.gears,
        sorted(mounted.idlers),
    )


def _first_of_each_ratio(sets: Iterable[ChangeGearSet]) -> list[ChangeGearSet]:
    seen: dict[Fraction, ChangeGearSet] = {}
    for one in sets:
        seen.setdefault(one.ratio, one)
    return list(seen.values())


# -- one number of pairs and idlers -----------------------------------------------------------------


def sets_by_error(
    target: Ratio,
    drawer: Drawer,
    pairs: int,
    idlers: int,
    bracket: Bracket | None,
    different: Different,
    exact: bool,
    expected: int,
) -> Iterator[ChangeGearSet]:
    """All sets of so many pairs and idlers that can be mounted, in the order of the list, as asked for."""
    if len(drawer) < 2 * pairs + idlers:
        return
    if bracket is not None and bracket.never_takes(pairs, idlers):
        return
    table = products(drawer, pairs)
    found: set[Fraction] = set()
    for ratio, sets in _candidates(table, target, pairs, idlers, bracket, exact, expected, found, different):
        if different == "ratio" and ratio in found:
            continue
        offered: set[tuple[int, ...]] = set()
        for gears in sets:
            if gears in offered:
                continue
            offered.add(gears)
            choice = first_mounting(gears, drawer, idlers, bracket)
            if choice is not None:
                found.add(ratio)
                yield ChangeGearSet(choice[0], ratio, relative_error(ratio, target), choice[1])
                if different != "order":
                    break


#: A way to a ratio: the ratio, and the orders of its gears that a bracket may take, best first.
_Candidate: TypeAlias = tuple[Fraction, Iterable[tuple[int, ...]]]

#: Ways tried, with hardly one in `_FEW` of use, before the bracket is asked how many it takes at all.
_TRIED, _FEW = 40_000, 500

#: Orders that a bracket may take and still be enumerated from its own side.
_MOST_ORDERS = 3_000_000


def _candidates(
    table: Products,
    target: Ratio,
    pairs: int,
    idlers: int,
    bracket: Bracket | None,
    exact: bool,
    expected: int,
    found: set[Fraction],
    different: Different,
) -> Iterator[_Candidate]:
    """Ways to ratios, in the order of the list, as far as the bracket's rules allow them.

    Starts with a window about the target; where the bracket refuses nearly all, changes over to
    enumerating what it takes, and goes on from there.
    """
    tried = handed_out = 0
    asked = bracket is None
    for chunk in _ways_by_error(table, target, exact, expected):
        tried += len(chunk.drivers)
        if different == "ratio":
            chunk = _without_ratios(chunk, found, table)
        for candidate in _likely(chunk, pairs, idlers, bracket, table.drawer.teeth[-1]):
            handed_out += 1
            yield candidate
        if not asked and tried > _TRIED and handed_out * _FEW < tried and bracket is not None:
            asked = True
            rules = bracket.rules(pairs, idlers, table.drawer.teeth[-1])
            rows = allowed_orders(table.drawer, rules, _MOST_ORDERS)
            if rows is not None:
                done = handed_out if different != "ratio" else 0
                yield from itertools.islice(_from_orders(rows, table, target, exact), done, None)
                return


def _from_orders(
    rows: NDArray[np.int16], table: Products, target: Ratio, exact: bool
) -> Iterator[_Candidate]:
    """The orders in `rows`, gathered into ways and put in the order of the list."""
    held = np.ones(len(rows), dtype=bool)
    for column in rows.T:
        held &= (rows == column[:, None]).sum(axis=1) <= table.owned[column]
    rows = rows[held]
    tops = np.searchsorted(table.values, rows[:, ::2].prod(axis=1, dtype=np.int64))
    bottoms = np.searchsorted(table.values, rows[:, 1::2].prod(axis=1, dtype=np.int64))
    errors = np.abs(table.floats[tops] / table.floats[bottoms] / float(target) - 1)
    nearest_first = np.argsort(errors, kind="stable")
    rows, tops, bottoms, errors = (each[nearest_first] for each in (rows, tops, bottoms, errors))
    begin, block = 0, 20_000
    while begin < len(rows):
        end = min(begin + block, len(rows))
        while end < len(rows) and errors[end] - errors[end - 1] <= doubt_at(errors[end]):
            end += 1
        part = slice(begin, end)
        ways = _gathered(
            rows[part], tops[part].astype(np.int64), bottoms[part].astype(np.int64), table, target
        )
        for ratio, orders_ in ways:
            if exact and ratio != target:
                return
            yield ratio, orders_
        begin = end


def _gathered(
    rows: NDArray[np.int16], tops: Ints, bottoms: Ints, table: Products, target: Ratio
) -> Iterator[_Candidate]:
    """Orders of the same gears together, in the order of the list."""
    many = len(table.values)
    keys, owner = np.unique(tops * many + bottoms, return_inverse=True)
    window = ranked_quotients(table, target, keys // many, keys % many)
    rank = window.rank[np.argsort(window.tops * many + window.bottoms)][owner.reshape(-1)]
    drivers, driven = np.sort(rows[:, ::2], axis=1), np.sort(rows[:, 1::2], axis=1)
    sums = rows.sum(axis=1, dtype=np.int64)
    columns = (*rows.T[::-1], *driven.T[::-1], *drivers.T[::-1], sums, rank)
    order = np.lexsort(columns)
    before: tuple[list[int], list[int]] | None = None
    gathered: list[tuple[int, ...]] = []
    for at in order.tolist():
        way = (drivers[at].tolist(), driven[at].tolist())
        if before is not None and way != before:
            yield Fraction(math.prod(before[0]), math.prod(before[1])), gathered
            gathered = []
        before = way
        gathered.append(tuple(rows[at].tolist()))
    if before is not None:
        yield Fraction(math.prod(before[0]), math.prod(before[1])), gathered


@lru_cache(maxsize=50_000)  # brackets filled together, and members of a pair, ask for the same sets many times
def first_mounting(
    gears: tuple[int, ...], drawer: Drawer, idlers: int, bracket: Bracket | None
) -> tuple[Mounted, Mounting | None] | None:
    """How `gears` in this order are mounted with the first idlers that serve; None where none do."""
    return next(mountings(gears, drawer, idlers, bracket), None)


def mountings(
    gears: tuple[int, ...], drawer: Drawer, idlers: int, bracket: Bracket | None
) -> Iterator[tuple[Mounted, Mounting | None]]:
    """Every choice of idlers out of `drawer` with which `gears`, taken from it, can be mounted in this order."""
    yield from with_idlers_from(drawer.without(gears) if idlers else drawer, gears, idlers, bracket)


def with_idlers_from(
    left: Drawer, gears: tuple[int, ...], idlers: int, bracket: Bracket | None
) -> Iterator[tuple[Mounted, Mounting | None]]:
    """Every choice of idlers out of the gears `left` over with which `gears` can be mounted in this order."""
    for chosen in _combinations(left, idlers):
        mounted = Mounted(gears, chosen)
        if bracket is None:
            yield mounted, None
            continue
        outcome = _mounted_on(bracket, gears, chosen)
        if outcome is not None:
            yield mounted, outcome


@lru_cache(maxsize=100_000)  # what else lies in the drawer doesn't matter to the bracket
def _mounted_on(bracket: Bracket, gears: tuple[int, ...], idlers: tuple[int, ...]) -> Mounting | None:
    outcome = bracket.mount(gears, idlers)
    return outcome if isinstance(outcome, Mounting) else None


def _combinations(drawer: Drawer, count: int) -> Iterator[tuple[int, ...]]:
    """Different choices of `count` gears, rising, in dictionary order."""
    if count == 0:
        yield ()
        return
    gears = tuple(z for z, n in drawer.owned for _ in range(min(n, count)))
    if count == 1:
        yield from ((z,) for z in dict.fromkeys(gears))
        return
    yield from dict.fromkeys(itertools.combinations(gears, count))


@dataclass(frozen=True)
class _Chunk:
    """Rows of drivers and of driven gears, each rising, in the order of the list."""

    drivers: NDArray[np.int16]
    driven: NDArray[np.int16]


def _ways_by_error(table: Products, target: Ratio, exact: bool, expected: int) -> Iterator[_Chunk]:
    """Drivers and driven gears that the drawer holds together, in the order of the list."""
    if exact:
        assert isinstance(target, Fraction)
        every: Iterable[Window] = (equal_quotients(table, target),)
    else:
        every = windows(table, target, expected)
    for window in every:
        for part in _parts(window, table):
            yield from _chunks(part, table)


def _parts(window: Window, table: Products, most: int = 200_000) -> Iterator[Window]:
    """`window` in parts of about `most` ways, never dividing a rank: it must be put in order as a whole."""
    ways = np.cumsum(np.diff(table.start)[window.tops] * np.diff(table.start)[window.bottoms])
    begin = 0
    while begin < len(ways):
        done = ways[begin - 1] if begin else 0
        end = int(np.searchsorted(ways, done + most, side="right"))
        if end < len(ways):
            end = int(np.searchsorted(window.rank, window.rank[end]))
            if end <= begin:
                end = int(np.searchsorted(window.rank, window.rank[begin], side="right"))
        yield Window(window.tops[begin:end], window.bottoms[begin:end], window.rank[begin:end])
        begin = end


def _chunks(part: Window, table: Products) -> Iterator[_Chunk]:
    """The ways to the quotients of `part`, in order, those taken out that the drawer doesn't hold."""
    if not len(part.tops):
        return
    tops, bottoms, rank = _ways_of(part, table)
    keys = _sort_keys(tops, bottoms, rank, table)
    if keys is None:
        ordering = np.lexsort((bottoms, tops, table.sums[tops] + table.sums[bottoms], rank))
        tops, bottoms = tops[ordering], bottoms[ordering]
    else:
        keys.sort()
        n = len(table)
        bottoms, tops = keys % n, keys // n % n
    begin, size = 0, 1024
    while begin < len(tops):
        drivers = table.teeth[tops[begin : begin + size]]
        driven = table.teeth[bottoms[begin : begin + size]]
        held = _held(drivers, driven, table)
        yield _Chunk(drivers[held], driven[held])
        begin += size
        size = min(4 * size, 65_536)


def _ways_of(part: Window, table: Products) -> tuple[Ints, Ints, Ints]:
    """Every way to every quotient: row numbers of drivers and of driven gears, and the rank."""
    many = np.diff(table.start)
    per_top, per_bottom = many[part.tops], many[part.bottoms]
    ways = per_top * per_bottom
    owner = np.repeat(np.arange(len(ways)), ways)
    number = spread(np.zeros(len(ways), dtype=np.int64), ways)
    tops = table.order[table.start[part.tops][owner] + number // per_bottom[owner]]
    bottoms = table.order[table.start[part.bottoms][owner] + number % per_bottom[owner]]
    return tops.astype(np.int64), bottoms.astype(np.int64), part.rank[owner]


def _sort_keys(tops: Ints, bottoms: Ints, rank: Ints, table: Products) -> Ints | None:
    """Rank, sum of teeth, drivers and driven gears in one whole number each; None where they don't fit."""
    n = len(table)
    sums = table.sums[tops] + table.sums[bottoms]
    rank = rank - rank[0]
    lowest, span = int(sums.min()), int(sums.max() - sums.min()) + 1
    if (int(rank[-1]) + 1) * span * n * n >= 1 << 62:
        return None
    keys = rank * span + (sums - lowest)
    keys *= n
    keys += tops
    keys *= n
    keys += bottoms
    return keys


def _held(drivers: NDArray[np.int16], driven: NDArray[np.int16], table: Products) -> NDArray[np.bool_]:
    """Whether the drawer holds the drivers and the driven gears together."""
    k = drivers.shape[1]
    held = np.ones(len(drivers), dtype=bool)
    if table.all_single:
        for i, j in itertools.product(range(k), repeat=2):
            held &= drivers[:, i] != driven[:, j]
        return held
    for i in range(k):
        used = np.zeros(len(drivers), dtype=np.int16)
        for j in range(k):
            used += drivers[:, i] == drivers[:, j]
            used += drivers[:, i] == driven[:, j]
        held &= used <= table.owned[drivers[:, i]]
    return held


# -- what can be mounted ----------------------------------------------------------------------------


Order: TypeAlias = tuple[tuple[int, ...], tuple[int, ...]]


def arranged(drivers: Sequence[int], driven: Sequence[int], order: Order) -> tuple[int, ...]:
    """The gears a, b, c, d … as they stand in `order`."""
    return tuple(z for i, j in zip(*order, strict=True) for z in (drivers[i], driven[j]))


@lru_cache(maxsize=8)
def orders(k: int) -> list[Order]:
    """Orders of `k` drivers and `k` driven gears, such that rising gears give rising sets a, b, c, d …"""
    one_side = list(itertools.permutations(range(k)))
    both = list(itertools.product(one_side, one_side))
    return sorted(both, key=lambda order: [i for pair in zip(*order, strict=True) for i in pair])


def _likely(
    chunk: _Chunk, pairs: int, idlers: int, bracket: Bracket | None, largest: int
) -> Iterator[_Candidate]:
    """The ratio of each row and the orders in which the bracket may take it, best first; none: no row."""
    drivers, driven, every = chunk.drivers, chunk.driven, orders(pairs)
    may: NDArray[np.bool_] | None = None
    if bracket is not None and len(drivers):
        may = bracket.may_take(drivers, driven, every, idlers, largest)
        some = may.any(axis=1)
        drivers, driven, may = drivers[some], driven[some], may[some]
    for row, (tops, bottoms) in enumerate(zip(drivers.tolist(), driven.tolist(), strict=True)):
        allowed = every if may is None else [every[i] for i in np.flatnonzero(may[row])]
        sets = (arranged(tops, bottoms, order) for order in allowed)
        yield Fraction(math.prod(tops), math.prod(bottoms)), sets


def _without_ratios(chunk: _Chunk, found: set[Fraction], table: Products) -> _Chunk:
    """`chunk` without the rows whose ratio has been found, as far as floats are sure of it."""
    if not found or table.values[-1] >= 1 << 26:
        return chunk
    quotients = chunk.drivers.prod(axis=1, dtype=np.float64) / chunk.driven.prod(axis=1, dtype=np.float64)
    fresh = ~np.isin(quotients, [float(ratio) for ratio in found])
    return _Chunk(chunk.drivers[fresh], chunk.driven[fresh])


def _refusals(
    target: Ratio,
    drawer: Drawer,
    allowed: list[tuple[int, int]],
    bracket: Bracket,
    limit: int,
    last: ChangeGearSet | None,
    exact: bool,
) -> list[Refused]:
    """The nearest sets, not beyond `last`, that the drawer holds and the bracket takes in no order."""
    refused: list[tuple[ChangeGearSet, str]] = []
    key = by_merit(target)
    for pairs, idlers in allowed:
        free = itertools.islice(
            sets_by_error(target, drawer, pairs, idlers, None, "gears", exact, 4 * limit), 2000
        )
        kept = 0
        for one in free:
            if kept >= limit or (last is not None and compare_errors(one.ratio, last.ratio, target) > 0):
                break
            why = _why_not(one.gears, drawer, idlers, bracket)
            if why is not None:
                refused.append((one, why))
                kept += 1
    refused.sort(key=lambda pair: key(pair[0]))
    return [Refused(one.gears, one.ratio, one.error, why) for one, why in refused[:limit]]


def _why_not(gears: tuple[int, ...], drawer: Drawer, idlers: int, bracket: Bracket) -> str | None:
    """Why no order of these gears can be mounted: the reason for the first order; None where one can."""
    k = len(gears) // 2
    tops, bottoms = sorted(gears[::2]), sorted(gears[1::2])
    first = None
    for order in orders(k):
        gears_so = arranged(tops, bottoms, order)
        if first_mounting(gears_so, drawer, idlers, bracket) is not None:
            return None
        first = first or gears_so
    assert first is not None
    left = drawer.without(first) if idlers else drawer
    chosen = next(_combinations(left, idlers), None)
    if chosen is None:
        return "no gear is left for the idler"
    outcome = bracket.mount(first, chosen)
    return outcome.why if isinstance(outcome, Refusal) else None
