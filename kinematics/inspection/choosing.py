"""The sets of sources that explain records best, looked for together: waves hide one another in records with gaps.

At each seam the best sets of one, two, three … sources are built up from the best few of one fewer, all sources tried
with each. Source: own; the F-test and Bonferroni's bound are common practice in statistics.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import numpy.typing as npt

from .laid import Laid, Normal
from .passage import Floats, Seam

#: Chance, at most, that noise alone has a source taken.
CHANCE = 0.01

#: Sources in a set at most, and sets kept of each size.
MOST, _KEPT = 6, 12

#: What readings of the best checkers repeat to, in µm (common practice: some tenths), and marks are reckoned to.
_REPEATS = 0.3

#: Seams that are tried, by gashes and by turns: more where there are few readings, each of which tells more.
GASHES, TURNS, _MANY = 3, 16, 400

#: Sources that are tried together where one more doesn't show by itself.
_TOGETHER = 3

Set = tuple[int, ...]


@dataclass(frozen=True, order=True)
class SourceSet:
    """A set of sources, the seam, and the sum of squares that it leaves."""

    left: float
    seam: Seam
    members: Set


def left_by(normal: Normal, sets: npt.NDArray[np.int64], most: Floats) -> Floats:
    """Squares left by each set (a row of sources); infinite where it takes more of a source than there can be."""
    count, size = sets.shape
    if not size:
        return np.full(count, normal.whole)
    at = np.stack((2 * sets, 2 * sets + 1), axis=2).reshape(count, -1)
    square = normal.square[at[:, :, None], at[:, None, :]]
    scale = np.sqrt(np.maximum(np.einsum("nii->ni", square), 1e-300))
    square = square / scale[:, :, None] / scale[:, None, :]
    toward = normal.toward[at] / scale
    # A trifle on the diagonal, so that two that are nearly one stay solvable.
    square = square + 1e-8 * np.eye(2 * size)
    found = np.linalg.solve(square, toward[:, :, None])[:, :, 0]
    left = np.maximum(normal.whole - np.sum(found * toward, axis=1), 0.0)
    amounts = np.hypot(*(found / scale).reshape(count, size, 2).transpose(2, 0, 1))
    return np.where(np.any(amounts > most[sets], axis=1), np.inf, left)


def seams(readings: int) -> tuple[Seam, ...]:
    """Seams that are tried for so many readings."""
    gashes, turns = (GASHES, TURNS) if readings > _MANY else (2, 3 * TURNS)
    return tuple(((gash + 0.37) / gashes, (turn + 0.37) / turns) for gash in range(gashes) for turn in range(turns))


class SetsTried:
    """The best sets of every size, over all seams that were laid."""

    def __init__(self, laid: Laid, normals: Sequence[Normal], size: int, seams: int) -> None:
        self.laid, self.size, self.count = laid, size, len(laid.sources)
        self.most = np.array([one.most for one in laid.sources])
        self.normals = {one.seam: one for one in normals}
        self.seams = seams
        self.found: list[dict[Set, SourceSet]] = [{} for _ in range(self.size + 1)]
        for one in normals:
            self._build(one)

    def _build(self, normal: Normal) -> None:
        sets: list[Set] = [()]
        self._keep(normal, sets, np.array([normal.whole]))
        for _ in range(self.size):
            grown = sorted({tuple(sorted((*one, at))) for one in sets for at in range(self.count) if at not in one})
            if not grown:
                return
            left = left_by(normal, np.array(grown), self.most)
            best = [at for at in np.argsort(left, kind="stable")[:_KEPT] if np.isfinite(left[at])]
            sets = [grown[at] for at in best]
            if not sets:
                return
            self._keep(normal, sets, left[best])

    def _keep(self, normal: Normal, sets: Sequence[Set], left: Floats) -> None:
        for one, squares in zip(sets, left, strict=True):
            known = self.found[len(one)].get(one)
            if known is None or squares < known.left:
                self.found[len(one)][one] = SourceSet(float(squares), normal.seam, one)

    def best(self, size: int) -> SourceSet | None:
        """The best set of so many."""
        return min(self.found[size].values(), default=None) if size <= self.size else None

    def at(self, seam: Seam, sets: Iterable[Set]) -> list[SourceSet]:
        """These sets, all of one size, at one of the seams tried first."""
        some = list(sets)
        if not some:
            return []
        left = left_by(self.normals[seam], np.array(some, dtype=np.int64).reshape(len(some), -1), self.most)
        return [SourceSet(float(squares), seam, one) for squares, one in zip(left, some, strict=True)]

    def best_of(self, sets: Iterable[Set]) -> SourceSet:
        """The best of these sets, all of one size, over all seams."""
        some = list(sets)
        return min(one for seam in self.normals for one in self.at(seam, some))

    def chance(self, fewer: SourceSet, more: SourceSet) -> float:
        """That noise alone makes the larger set so much better, times the number of sets and seams that were tried."""
        from scipy.special import fdtrc

        added = len(more.members) - len(fewer.members)
        free = self.laid.free - 2 * len(more.members)
        if free < 2 or added < 1 or not math.isfinite(more.left):
            return 1.0
        if not math.isfinite(fewer.left):
            return 0.0
        tried = math.comb(self.count - len(fewer.members), added) * self.seams
        # No record repeats better than so much, whatever is left of it.
        after = max(more.left, free * (_REPEATS * max(self.laid.weights)) ** 2)
        better = max(fewer.left - more.left, 0.0) / (2 * added) / (after / free)
        return float(fdtrc(2 * added, free, better)) * tried

    def chosen(self) -> tuple[SourceSet, dict[int, float]]:
        """The set that stands above noise, with the chance of each of its members.

        It grows by one, two or three at a time; then each that isn't needed beside the others is let go.
        """
        now = self.best(0)
        assert now is not None
        while True:
            sizes = range(len(now.members) + 1, len(now.members) + 1 + _TOGETHER)
            larger = (one for size in sizes if (one := self.best(size)) is not None)
            more = next((one for one in larger if self.chance(now, one) <= CHANCE), None)
            if more is None:
                break
            now = more
        while now.members:
            chances = self.chances_of(now)
            if max(chances.values()) <= CHANCE:
                return now, chances
            now = self.best_of(combinations(now.members, len(now.members) - 1))
        return now, {}

    def chances_of(self, one: SourceSet) -> dict[int, float]:
        """The chance of each member beside the others."""
        rest = {member: tuple(other for other in one.members if other != member) for member in one.members}
        return {member: self.chance(self.best_of([others]), one) for member, others in rest.items()}
