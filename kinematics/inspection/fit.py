"""Least squares of given orders on a record, together; which stand above the noise, and which can't be told apart.

Orders are taken one by one, the best first, each with its sine and cosine, and the whole laid anew through all. One is
taken only where the F-test of its two amounts, its chance multiplied by the number of orders and of seams that were
tried (Bonferroni's bound), leaves at most 1 in 100. Source: common practice in statistics; seam and merging are own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property

import numpy as np

from .passage import Floats, Passage

#: Chance, at most, that noise alone has an order taken; what correlation makes two orders one; what is too weak to see.
CHANCE, _SAME, _UNSEEN = 0.01, 0.95, 1e-4

#: Orders taken at most; seams tried first, and again about the best.
_MOST, _SEAMS, _FINER = 8, 48, 20


@dataclass(frozen=True)
class Trace:
    """A record's readings: tooth from 1, height above mid-face in mm, and µm.

    `steps`: each reading is the difference from the tooth before. `by_tooth`: each tooth has its own zero, and all a
    common slope over the face.
    """

    tooth: Floats
    height: Floats
    um: Floats
    steps: bool = False
    by_tooth: bool = False


@dataclass(frozen=True)
class FittedOrder:
    """A wave found: `orders` that this record can't tell apart, its amplitude and standard error in µm, and the test.

    `rivals` are other orders that would do nearly as well in its place.
    """

    orders: tuple[Fraction, ...]
    um: float
    error_um: float
    chance: float
    rivals: tuple[Fraction, ...] = ()


@dataclass(frozen=True)
class WavesFitted:
    """All that was found: waves, biggest first, orders it can't show, what is left (r.m.s.), slope over a mm."""

    waves: tuple[FittedOrder, ...]
    unseen: tuple[Fraction, ...]
    before_um: float
    left_um: float
    tried: int
    slope_um_per_mm: float | None


@dataclass(frozen=True)
class _TraceFit:
    """One trace with its orders; `clusters` are orders of which this record can show no difference."""

    trace: Trace
    passage: Passage
    orders: tuple[Fraction, ...]

    def columns(self, orders: Sequence[Fraction], seam: float) -> Floats:
        """Cosine and sine of each order, one after the other."""
        rates = 2 * np.pi * np.array([float(one) for one in orders])
        angle = self.passage.turns(self.trace.tooth, self.trace.height, seam)[:, None] * rates
        found = np.stack((np.cos(angle), np.sin(angle)), axis=2)
        if self.trace.steps:
            before = np.where(self.trace.tooth > 1, self.trace.tooth - 1, self.passage.teeth)
            angle = self.passage.turns(before, self.trace.height, seam)[:, None] * rates
            found -= np.stack((np.cos(angle), np.sin(angle)), axis=2)
        return found.reshape(len(self.trace.um), -1)

    @cached_property
    def plain(self) -> Floats:
        """What isn't a wave: the zero of the record, or of each tooth, and the slope over the face (last)."""
        if not self.trace.by_tooth:
            return np.ones((len(self.trace.um), 1))
        zeros = self.trace.tooth[:, None] == np.unique(self.trace.tooth)
        return np.column_stack((zeros.astype(float), self.trace.height))

    def beside(self, columns: Floats, taken: Sequence[Fraction], seam: float) -> Floats:
        """The columns with what zeros, slope and the orders taken explain of them left out."""
        base = np.column_stack((self.plain, self.columns(taken, seam))) if taken else self.plain
        left, sizes, _ = np.linalg.svd(base, full_matrices=False)
        basis = left[:, sizes > 1e-9 * sizes[0]]
        return columns - basis @ (basis.T @ columns)

    @cached_property
    def clusters(self) -> tuple[tuple[tuple[Fraction, ...], ...], tuple[Fraction, ...]]:
        """Orders in groups that this record can't tell apart, and those that it can't show at all."""
        seam = 0.37 / self.passage.teeth
        found = self.beside(self.columns(self.orders, seam), (), seam)
        groups: list[list[Fraction]] = []
        heads: list[Floats] = []
        unseen = []
        for at, order in enumerate(self.orders):
            span = _span(found[:, 2 * at : 2 * at + 2])
            if span.shape[1] == 0:
                unseen.append(order)
                continue
            like = (number for number, head in enumerate(heads) if _alike(head, span))
            if (number := next(like, None)) is None:
                groups.append([order])
                heads.append(span)
            else:
                groups[number].append(order)
        return tuple(map(tuple, groups)), tuple(unseen)

    @cached_property
    def heads(self) -> tuple[Fraction, ...]:
        """One order of each cluster."""
        return tuple(one[0] for one in self.clusters[0])

    @cached_property
    def seams(self) -> tuple[float, ...]:
        """Seams to be tried: one where all orders are whole, where it makes no difference."""
        if all(order.denominator == 1 for order in self.heads):
            return (0.0,)
        teeth = self.passage.teeth
        count = _SEAMS if self.trace.by_tooth else min(teeth, 4 * _SEAMS)
        return tuple((at + 0.37) / count for at in range(count))

    def gains(self, taken: Sequence[Fraction], seam: float) -> tuple[float, Floats]:
        """Squares left with these orders, and how many fewer with each further one."""
        um = self.beside(self.trace.um[:, None], taken, seam)[:, 0]
        columns = self.beside(self.columns(self.heads, seam), taken, seam)
        gains = np.zeros(len(self.heads))
        for at, order in enumerate(self.heads):
            if order not in taken:
                gains[at] = float(np.sum((_span(columns[:, 2 * at : 2 * at + 2]).T @ um) ** 2))
        return float(um @ um), gains


def _span(columns: Floats) -> Floats:
    """An orthonormal basis of two columns; of fewer where they are nothing, or one and the same."""
    left, sizes, _ = np.linalg.svd(columns, full_matrices=False)
    return np.asarray(left[:, sizes**2 > _UNSEEN * len(columns)])


def _alike(one: Floats, other: Floats) -> bool:
    if one.shape != other.shape:
        return False
    return bool(np.linalg.svd(one.T @ other, compute_uv=False).min() > _SAME)


def fit_orders(trace: Trace, passage: Passage, orders: Sequence[Fraction]) -> WavesFitted:
    """Find which of the orders (waves in a turn of the table) stand in a record, and how big they are.

    Raises `ValueError` for fewer readings than it takes to judge one wave.
    """
    fit = _TraceFit(trace, passage, tuple(sorted(set(orders))))
    if len(trace.um) < fit.plain.shape[1] + 4:
        raise ValueError(f"{len(trace.um)} readings are too few to tell a wave from noise")
    taken: list[Fraction] = []
    chances: list[float] = []
    seam = fit.seams[0]
    while len(taken) < min(_MOST, len(fit.heads)):
        best = _next(fit, taken, len(fit.heads) * len(fit.seams))
        if best is None:
            break
        order, seam, chance = best
        taken.append(order)
        chances.append(chance)
    return _told(fit, taken, chances, seam)


def _next(fit: _TraceFit, taken: Sequence[Fraction], tried: int) -> tuple[Fraction, float, float] | None:
    """The order that explains most of what is left, the seam, and its chance; None where none passes."""
    from scipy.stats import f

    free = len(fit.trace.um) - fit.plain.shape[1] - 2 * (len(taken) + 1)
    if free < 2:
        return None
    rows = [(seam, *fit.gains(taken, seam)) for seam in fit.seams]
    if len(rows) > 1:
        at = min(rows, key=lambda row: row[1] - row[2].max())[0]
        step = 1 / len(rows)
        rows += [(s, *fit.gains(taken, s)) for s in np.linspace(at - step, at + step, _FINER)]
    before = min(row[1] for row in rows)
    seam, left, gains = min(rows, key=lambda row: row[1] - row[2].max())
    after = max(left - gains.max(), 1e-12 * (1 + before))
    chance = float(f.sf((before - after) / 2 / (after / free), 2, free)) * tried
    if chance > CHANCE:
        return None
    return fit.heads[int(gains.argmax())], seam, chance


def _told(fit: _TraceFit, taken: Sequence[Fraction], chances: Sequence[float], seam: float) -> WavesFitted:
    """Sizes and their errors from all orders laid together."""
    um, plain = fit.trace.um, fit.plain
    base = np.column_stack((plain, fit.columns(taken, seam))) if taken else plain
    found, *_ = np.linalg.lstsq(base, um, rcond=None)
    left = um - base @ found
    free = max(len(um) - base.shape[1], 1)
    spread = np.linalg.pinv(base.T @ base) * float(left @ left) / free
    waves = []
    for at, order in enumerate(taken):
        here = slice(plain.shape[1] + 2 * at, plain.shape[1] + 2 * at + 2)
        pair = found[here]
        size = float(np.hypot(*pair))
        toward = pair / size
        error = float(np.sqrt(toward @ spread[here, here] @ toward))
        alike = next(one for one in fit.clusters[0] if one[0] == order)
        waves.append(FittedOrder(alike, size, error, chances[at], _rivals(fit, taken, order, seam)))
    beside = fit.beside(um[:, None], (), 0.0)[:, 0]
    return WavesFitted(
        tuple(sorted(waves, key=lambda one: -one.um)), fit.clusters[1], float(np.sqrt(np.mean(beside**2))),
        float(np.sqrt(left @ left / free)), len(fit.heads),
        float(found[plain.shape[1] - 1]) if fit.trace.by_tooth else None,
    )  # fmt: skip


def _rivals(fit: _TraceFit, taken: Sequence[Fraction], order: Fraction, seam: float) -> tuple[Fraction, ...]:
    """Orders that in the place of this one leave a sum of squares less than 1 in 100 of chance worse."""
    others = [one for one in taken if one != order]
    left, gains = fit.gains(others, seam)
    after = max(left - gains[fit.heads.index(order)], 1e-12)
    # Twice the log of the ratio of likelihoods, against chi-squared of two at 1 in 100.
    worse = len(fit.trace.um) * np.log(np.maximum(left - gains, 1e-12) / after)
    return tuple(
        rival
        for at, one in enumerate(fit.heads)
        if one not in taken and worse[at] < 9.2
        for rival in next(group for group in fit.clusters[0] if group[0] == one)
    )
