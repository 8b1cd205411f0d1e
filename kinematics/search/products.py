"""Products of gears from one drawer, sorted, and the pairs of products whose quotient is nearest to a ratio.

A train of k pairs has the ratio of two such products, drivers over driven. With the products sorted, the
driver products that suit a driven product lie side by side, so that a window about the ratio wanted is
found by bisection and need never be enumerated beyond what lies in it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from typing import Any, TypeAlias

import numpy as np
from handlead.kinematics.brackets.drawer import Drawer
from handlead.kinematics.frame.exact import Ratio
from numpy.typing import NDArray

from .ratios import by_error, compare_errors

Ints: TypeAlias = NDArray[np.int64]

#: Pairs of products drawn into one window at most, unless more than that are equally near.
_WIDEST = 1_500_000


@dataclass(frozen=True)
class Products:
    """All ways of taking `k` gears out of a drawer.

    `teeth` has a row a way, rising within the row, rows in dictionary order; `sums` their teeth together.
    `values` are the different products, rising; the ways to `values[i]` are
    ``order[start[i]:start[i + 1]]``, in dictionary order.
    """

    drawer: Drawer
    k: int
    teeth: NDArray[np.int16]
    sums: Ints
    values: Ints
    floats: NDArray[np.float64]
    order: NDArray[np.int32]
    start: Ints
    owned: NDArray[np.int16]

    def __len__(self) -> int:
        return len(self.teeth)

    @property
    def all_single(self) -> bool:
        """Whether no gear is owned twice."""
        return bool(self.owned.max() <= 1)


@lru_cache(maxsize=12)
def products(drawer: Drawer, k: int) -> Products:
    """The table for `k` gears out of `drawer`; kept, so that searches in one drawer share it."""
    different = np.array(drawer.teeth, dtype=np.int16)
    counts = np.array([n for _, n in drawer.owned], dtype=np.int64)
    rows = _ways(counts, k)
    teeth = different[rows]
    product = np.ones(len(rows), dtype=np.int64)
    sums = np.zeros(len(rows), dtype=np.int64)
    for column in range(k):
        product *= teeth[:, column]
        sums += teeth[:, column]
    order = np.argsort(product, kind="stable").astype(np.int32)
    ranked = product[order]
    first = (
        np.flatnonzero(np.concatenate([[True], ranked[1:] != ranked[:-1]])) if len(rows) else np.zeros(0, int)
    )
    values = ranked[first]
    owned = np.zeros(int(different.max()) + 1, dtype=np.int16)
    owned[different] = np.minimum(counts, 1000)
    return Products(
        drawer,
        k,
        teeth,
        sums,
        values,
        values.astype(np.float64),
        order,
        np.append(first, len(rows)).astype(np.int64),
        owned,
    )


def _ways(counts: Ints, k: int) -> NDArray[np.int16]:
    """Rising choices of `k` indices, index i at most ``counts[i]`` times, in dictionary order."""
    n = len(counts)
    rows = np.arange(n, dtype=np.int16)[:, None]
    repeats = np.ones(n, dtype=np.int64)  # how often the last index stands in the row so far
    for _ in range(k - 1):
        last = rows[:, -1].astype(np.int64)
        first_next = np.where(repeats < counts[last], last, last + 1)
        how_many = n - first_next
        source = np.repeat(np.arange(len(rows)), how_many)
        following = spread(first_next, how_many)
        repeats = np.where(following == last[source], repeats[source] + 1, 1)
        rows = np.concatenate([rows[source], following[:, None].astype(np.int16)], axis=1)
    return rows


def spread(first: Ints, how_many: Ints) -> Ints:
    """The runs ``first[i], first[i] + 1, …``, each `how_many` long, end to end."""
    total = int(how_many.sum())
    jumps = np.cumsum(how_many) - how_many
    runs: Ints = np.arange(total, dtype=np.int64) + np.repeat(first - jumps, how_many)
    return runs


@dataclass(frozen=True)
class Window:
    """Quotients of products, nearest first: ``values[tops] / values[bottoms]``.

    `rank` numbers the different errors, least first; it rises along the arrays and goes on from
    window to window. Two quotients of one rank are equal, or as far above the target as below it.
    """

    tops: Ints
    bottoms: Ints
    rank: Ints


def windows(table: Products, target: Ratio, expected: int) -> Iterator[Window]:
    """All quotients of two products of `table`, nearest to `target` first, a window at a time.

    `expected` is how many quotients the caller hopes to need. No quotient left for later windows is
    nearer than, or as near as, one already handed out: floats only select, and wherever their
    uncertainty could change the order the fractions themselves decide.
    """
    aim = float(target)
    values = table.floats
    largest = max(values[-1] / values[0] / aim - 1, 1 - values[0] / values[-1] / aim)
    everything = float(largest) * (1 + 1e-9) + 1e-9
    # Quotients of n products lie about n*n in number over a few units of the logarithm.
    width = min(everything, 2.0 * expected / len(values) ** 2)
    done, ranked = -1.0, 0
    while True:
        width, lows, highs = _suitable_width(values, aim, width, everything, done, expected)
        window, done = _window(table, target, (lows, highs), _Reach(width, done, width >= everything))
        if window is not None:
            window = Window(window.tops, window.bottoms, window.rank + ranked)
            ranked = int(window.rank[-1]) + 1
            yield window
        if width >= everything:
            return
        expected = min(expected * 4, _WIDEST // 2)
        width = min(everything, max(width * 2, 1e-15))


def _bounds(values: NDArray[np.float64], aim: float, width: float) -> tuple[Ints, Ints]:
    """Where the driver products within `width` of the ratio begin and end, for every driven product."""
    low = np.searchsorted(values, values * (aim * max(0.0, 1 - width) * (1 - 1e-13)))
    high = np.searchsorted(values, values * (aim * (1 + width) * (1 + 1e-13)), side="right")
    return low.astype(np.int64), high.astype(np.int64)


def _suitable_width(
    values: NDArray[np.float64], aim: float, width: float, everything: float, done: float, expected: int
) -> tuple[float, Ints, Ints]:
    """A width that takes in about as many quotients as expected beyond those already `done`."""
    least = max(done, 0.0)
    before = 0
    if done >= 0:
        lows, highs = _bounds(values, aim, done)
        before = int((highs - lows).sum())
    too_narrow = too_wide = None
    while True:
        lows, highs = _bounds(values, aim, width)
        fresh = int((highs - lows).sum()) - before
        if fresh < expected and width < everything:
            too_narrow = width
        elif fresh > 8 * max(expected, 512):
            too_wide = width
        else:
            return width, lows, highs
        if too_wide is None:
            grown = least + (width - least + 1e-15) * min(64.0, max(2.0, 2 * expected / max(fresh, 1)))
            width = min(everything, grown)
        elif too_wide - (too_narrow or least) < 1e-13:
            # So many are equally near that no width lies between too few and too many.
            return too_wide, *_bounds(values, aim, too_wide)
        else:
            width = ((too_narrow or least) + too_wide) / 2


@dataclass(frozen=True)
class _Reach:
    """Errors above `done` up to about `width`; with `last` all that there are."""

    width: float
    done: float = -1.0
    last: bool = True


@dataclass(frozen=True)
class _NearQuotients:
    """Quotients by the numbers of their products, as floats, and how far off the target each is."""

    tops: Ints
    bottoms: Ints
    values: NDArray[np.float64]
    errors: NDArray[np.float64]

    @classmethod
    def of(cls, table: Products, target: Ratio, tops: Ints, bottoms: Ints) -> _NearQuotients:
        """Those of these products."""
        values = table.floats[tops] / table.floats[bottoms]
        return cls(tops, bottoms, values, np.abs(values / float(target) - 1))

    def at(self, which: NDArray[Any] | slice) -> _NearQuotients:
        """Those with these numbers, or that are marked so."""
        return _NearQuotients(self.tops[which], self.bottoms[which], self.values[which], self.errors[which])


def _window(
    table: Products, target: Ratio, bounds: tuple[Ints, Ints], reach: _Reach
) -> tuple[Window | None, float]:
    """The quotients within `reach`, and the error up to which all are done.

    `bounds` are where their driver products begin and end for every driven product.
    """
    lows, highs = bounds
    how_many = highs - lows
    every = _NearQuotients.of(table, target, spread(lows, how_many), np.repeat(np.arange(len(lows)), how_many))
    fresh = every.errors > reach.done
    if not reach.last:
        fresh &= every.errors <= reach.width
    if not fresh.any():
        return None, reach.done
    return _ordered(table, target, every.at(fresh), reach)


def ranked_quotients(table: Products, target: Ratio, tops: Ints, bottoms: Ints) -> Window:
    """The quotients given, put in order; they must be all that lie within a range of errors."""
    every = _NearQuotients.of(table, target, tops, bottoms)
    window, _ = _ordered(table, target, every, _Reach(float(every.errors.max())))
    assert window is not None
    return window


def equal_quotients(table: Products, target: Fraction) -> Window:
    """The quotients that equal `target`, all of one rank; perhaps none."""
    numerator, denominator = target.as_integer_ratio()
    none = np.zeros(0, dtype=np.int64)
    if not len(table) or max(numerator, denominator) > table.values[-1]:
        return Window(none, none, none)
    times = table.values // numerator
    tops = np.flatnonzero((table.values % numerator == 0) & (times <= table.values[-1] // denominator))
    wanted = times[tops] * denominator
    bottoms = np.searchsorted(table.values, wanted)
    there = bottoms < len(table.values)
    there[there] = table.values[bottoms[there]] == wanted[there]
    return Window(tops[there], bottoms[there].astype(np.int64), np.zeros(int(there.sum()), dtype=np.int64))


def doubt_at(error: float) -> float:
    """How far apart two errors of about this size must be for floats to tell which is less.

    Half a dozen roundings, each of half a unit in the last place, stand between them and the true ones.
    """
    return 4e-15 * (1 + error)


def _ordered(
    table: Products, target: Ratio, every: _NearQuotients, reach: _Reach
) -> tuple[Window | None, float]:
    """The quotients by their errors, and the error up to which they are complete."""
    doubt = doubt_at(reach.width)
    every = every.at(np.lexsort((every.values, every.errors)))
    cluster = np.concatenate([[0], np.cumsum(np.diff(every.errors) > doubt)])
    if not reach.last and every.errors[-1] > reach.width - doubt:
        # The last cluster may go on beyond this window: it waits for the next one.
        keep = int(np.searchsorted(cluster, cluster[-1]))
        if keep == 0:
            return None, reach.done
        every, cluster = every.at(slice(keep)), cluster[:keep]
    return _ranked(table, target, every, cluster), float(every.errors[-1])


def _ranked(table: Products, target: Ratio, every: _NearQuotients, cluster: Ints) -> Window:
    """Order within clusters of errors that floats can't tell apart, by the fractions themselves."""
    tops, bottoms, quotients = every.tops, every.bottoms, every.values
    starts = np.searchsorted(cluster, np.arange(cluster[-1] + 2))
    mixed = np.maximum.reduceat(quotients, starts[:-1]) != np.minimum.reduceat(quotients, starts[:-1])
    if table.values[-1] >= 1 << 26:
        # Quotients of larger products may differ by less than a float shows.
        mixed |= np.diff(starts) > 1
    if not mixed.any():
        return Window(tops, bottoms, cluster.astype(np.int64))
    tops, bottoms = tops.copy(), bottoms.copy()
    step = np.zeros(len(tops), dtype=np.int64)
    step[starts[1:-1]] = 1
    for number in np.flatnonzero(mixed):
        begin, end = int(starts[number]), int(starts[number + 1])
        members: dict[Fraction, list[tuple[int, int]]] = {}
        for top, bottom in zip(tops[begin:end].tolist(), bottoms[begin:end].tolist(), strict=True):
            ratio = Fraction(int(table.values[top]), int(table.values[bottom]))
            members.setdefault(ratio, []).append((top, bottom))
        nearest_first = by_error(members, target)
        at, before = begin, None
        for ratio in nearest_first:
            if before is not None and compare_errors(before, ratio, target):
                step[at] = 1
            before = ratio
            for top, bottom in members[ratio]:
                tops[at], bottoms[at] = top, bottom
                at += 1
    return Window(tops, bottoms, np.cumsum(step))
