"""The sets of sources that explain records best as if all waves were small: they hide one another in records with gaps.

At each seam the best sets of one, two, three … sources are built up from the best few of one fewer, all sources tried
with each. Source: own.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from .laid import Laid, Normal
from .passage import Floats, Seam

#: Chance, at most, that noise alone has a source taken.
CHANCE = 0.0003

#: Sources in a set at most, and sets kept of each size.
MOST, _KEPT = 6, 12

#: Seams that are tried, by gashes and by turns: more where there are few readings, each of which tells more.
GASHES, TURNS, _MANY = 3, 16, 400

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

    def __init__(self, laid: Laid, normals: Sequence[Normal], size: int) -> None:
        self.laid, self.size, self.count = laid, size, len(laid.sources)
        self.most = np.array([one.most for one in laid.sources])
        self.normals = {one.seam: one for one in normals}
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

    def at(self, seam: Seam, sets: Iterable[Set]) -> list[SourceSet]:
        """These sets, all of one size, at one of the seams tried first."""
        some = list(sets)
        if not some:
            return []
        left = left_by(self.normals[seam], np.array(some, dtype=np.int64).reshape(len(some), -1), self.most)
        return [SourceSet(float(squares), seam, one) for squares, one in zip(left, some, strict=True)]
