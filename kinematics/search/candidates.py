"""Every set of gears near a ratio, nearest first, as drivers and driven gears; mounting is asked elsewhere.

The errors are sorted in floats and put right exactly where two lie too close to be told apart so.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal, TypeAlias

import numpy as np
from handlead.kinematics.brackets.bracket import Bracket
from handlead.kinematics.brackets.drawer import Drawer
from handlead.kinematics.frame.exact import Ratio
from numpy.typing import NDArray

from .gear_orders import arranged, orders
from .products import Ints, Products, Window, doubt_at, equal_quotients, ranked_quotients, spread, windows
from .scarce import allowed_orders

#: What makes two entries of a list different: their ratio, their gears whatever the order, or their order too.
Different: TypeAlias = Literal["ratio", "gears", "order"]


#: A way to a ratio: the ratio, and the orders of its gears that a bracket may take, best first.
_Candidate: TypeAlias = tuple[Fraction, Iterable[tuple[int, ...]]]

#: Ways tried, with hardly one in `_FEW` of use, before the bracket is asked how many it takes at all.
_TRIED, _FEW = 40_000, 500

#: Orders that a bracket may take and still be enumerated from its own side.
_MOST_ORDERS = 3_000_000


@dataclass(frozen=True)
class Sought:
    """What sets are sought: so many `pairs` and `idlers` out of `drawer`, near `target`, on `bracket` if there is one.

    With `exact` only those that give `target` itself; about `expected` of them will be asked for.
    """

    target: Ratio
    drawer: Drawer
    pairs: int
    idlers: int
    bracket: Bracket | None = None
    different: Different = "gears"
    exact: bool = False
    expected: int = 64


def candidates(sought: Sought, table: Products, found: set[Fraction]) -> Iterator[_Candidate]:
    """Ways to ratios, in the order of the list, as far as the bracket's rules allow them.

    Starts with a window about the target; where the bracket refuses nearly all, changes over to
    enumerating what it takes, and goes on from there.
    """
    target, exact, different = sought.target, sought.exact, sought.different
    pairs, idlers, bracket = sought.pairs, sought.idlers, sought.bracket
    tried = handed_out = 0
    asked = bracket is None
    for chunk in _ways_by_error(table, target, exact, sought.expected):
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
