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
from .passage import Floats

#: Chance, at most, that noise alone has a source taken.
CHANCE = 0.01

#: Sources in a set at most, sets kept of each size, seams tried first, and again about the best.
MOST, _KEPT, _SEAMS, _FINER = 6, 12, 48, 12

Set = tuple[int, ...]


@dataclass(frozen=True, order=True)
class SourceSet:
    """A set of sources, the seam, and the sum of squares that it leaves."""

    left: float
    seam: float
    members: Set


def left_by(normal: Normal, sets: npt.NDArray[np.int64]) -> Floats:
    """Squares left by each set (a row of sources)."""
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
    return np.asarray(np.maximum(normal.whole - np.sum(found * toward, axis=1), 0.0))


def seams_of(laid: Laid) -> tuple[float, ...]:
    """Seams to be tried: one where all orders are whole, where it makes no difference."""
    if laid.is_whole:
        return (0.0,)
    return tuple((at + 0.37) / _SEAMS for at in range(_SEAMS))


class Choices:
    """The best sets of every size, over all seams."""

    def __init__(self, laid: Laid, most: int) -> None:
        self.laid, self.count = laid, len(laid.sources)
        self.normals: dict[float, Normal] = {}
        self.seams = seams_of(laid)
        self.found: list[dict[Set, SourceSet]] = [{} for _ in range(most + 1)]
        for seam in self.seams:
            self._build(self.normal(seam), most)

    def normal(self, seam: float) -> Normal:
        """The normal equations at a seam, laid once."""
        if seam not in self.normals:
            self.normals[seam] = self.laid.normal(seam)
        return self.normals[seam]

    def _build(self, normal: Normal, most: int) -> None:
        sets: list[Set] = [()]
        self._keep(normal, sets, np.array([normal.whole]))
        for _ in range(most):
            grown = sorted({tuple(sorted((*one, at))) for one in sets for at in range(self.count) if at not in one})
            if not grown:
                return
            left = left_by(normal, np.array(grown))
            best = np.argsort(left, kind="stable")[:_KEPT]
            sets = [grown[at] for at in best]
            self._keep(normal, sets, left[best])

    def _keep(self, normal: Normal, sets: Sequence[Set], left: Floats) -> None:
        for one, squares in zip(sets, left, strict=True):
            known = self.found[len(one)].get(one)
            if known is None or squares < known.left:
                self.found[len(one)][one] = SourceSet(float(squares), normal.seam, one)

    def best(self, size: int) -> SourceSet | None:
        """The best set of so many, its seam drawn closer."""
        known = self.found[size].values()
        return self.finer(min(known)) if known else None

    def finer(self, choice: SourceSet) -> SourceSet:
        """The same set with the seam drawn closer."""
        if len(self.seams) == 1:
            return choice
        step = 1 / len(self.seams)
        found = [choice]
        for seam in np.linspace(choice.seam - step, choice.seam + step, _FINER):
            found += self.at(float(seam), [choice.members])
        return min(found)

    def at(self, seam: float, sets: Iterable[Set]) -> list[SourceSet]:
        """These sets, all of one size, at a seam."""
        some = list(sets)
        if not some:
            return []
        left = left_by(self.normal(seam), np.array(some, dtype=np.int64).reshape(len(some), -1))
        return [SourceSet(float(squares), seam, one) for squares, one in zip(left, some, strict=True)]

    def best_of(self, sets: Iterable[Set]) -> SourceSet:
        """The best of these sets, all of one size, over all seams."""
        some = list(sets)
        return self.finer(min(one for seam in self.seams for one in self.at(seam, some)))

    def chance(self, fewer: SourceSet, more: SourceSet) -> float:
        """That noise alone makes the larger set so much better, times the number of sets and seams that were tried."""
        from scipy.special import fdtrc

        added = len(more.members) - len(fewer.members)
        free = self.laid.free - 2 * len(more.members)
        if free < 2 or added < 1:
            return 1.0
        tried = math.comb(self.count - len(fewer.members), added) * len(self.seams)
        after = max(more.left, 1e-12 * (1 + fewer.left))
        return float(fdtrc(2 * added, free, max(fewer.left - more.left, 0.0) / (2 * added) / (after / free))) * tried


def chosen(choices: Choices) -> tuple[SourceSet, dict[int, float]]:
    """The set that stands above noise, with the chance of each of its members.

    It grows by one, two or three at a time; then each that isn't needed beside the others is let go.
    """
    best = [choices.best(size) for size in range(len(choices.found))]
    now = best[0]
    assert now is not None
    while True:
        larger = (one for one in best[len(now.members) + 1 : len(now.members) + 4] if one is not None)
        more = next((one for one in larger if choices.chance(now, one) <= CHANCE), None)
        if more is None:
            break
        now = more
    while now.members:
        chances = chances_of(choices, now)
        weakest = max(now.members, key=lambda one: chances[one])
        if chances[weakest] <= CHANCE:
            return now, chances
        now = choices.best_of(combinations(now.members, len(now.members) - 1))
    return now, {}


def chances_of(choices: Choices, choice: SourceSet) -> dict[int, float]:
    """The chance of each member beside the others."""
    found = {}
    for one in choice.members:
        rest = tuple(other for other in choice.members if other != one)
        found[one] = choices.chance(choices.best_of([rest]), choice)
    return found
