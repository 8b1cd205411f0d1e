"""All records of a gear laid against all waves that may stand in them: one least-squares problem for each seam.

A source that goes to and fro by ``Re(c·exp(2πi·ν·t))`` over the table's turns t stands in a record as ``Re(c·g·…)``,
with the complex gain g of that record: so one and the same c, two unknown numbers, is sought in all of them together.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property

import numpy as np
import numpy.typing as npt

from .passage import Floats, Passage
from .readings import Readings

#: Two sources are one and the same to the records where all that either does there is the other's, but for so little.
_SAME = 0.9999

#: A source shows in the records where, of what it leaves there, more than this share isn't taken for zero or slope.
_UNSEEN = 1e-3


@dataclass(frozen=True)
class WaveSource:
    """What may leave a wave: waves in a turn of the table, exactly, and µm (complex) in each record for one of it."""

    order: Fraction
    gains: tuple[complex, ...]


@dataclass(frozen=True, eq=False)
class Normal:
    """The normal equations at one seam, zeros and slopes taken out: two columns a source."""

    seam: float
    square: Floats
    toward: Floats
    whole: float


@dataclass(frozen=True, eq=False)
class Laid:
    """Records, how each passed under the hob, the sources, and by how much each record is weighted."""

    readings: tuple[Readings, ...]
    passages: tuple[Passage, ...]
    sources: tuple[WaveSource, ...]
    weights: tuple[float, ...]

    @cached_property
    def um(self) -> Floats:
        """All readings, weighted, zeros and slopes taken out."""
        return self._beside(np.concatenate([w * one.um for w, one in zip(self.weights, self.readings, strict=True)]))

    @cached_property
    def plain(self) -> Floats:
        """An orthonormal basis of zeros and slopes of all records."""
        blocks = [w * one.plain() for w, one in zip(self.weights, self.readings, strict=True)]
        whole = np.zeros((sum(map(len, blocks)), sum(one.shape[1] for one in blocks)))
        row = column = 0
        for one in blocks:
            whole[row : row + one.shape[0], column : column + one.shape[1]] = one
            row, column = row + one.shape[0], column + one.shape[1]
        left, sizes, _ = np.linalg.svd(whole, full_matrices=False)
        return np.asarray(left[:, sizes > 1e-9 * sizes[0]])

    @property
    def free(self) -> int:
        """Readings beyond zeros and slopes."""
        return int(self.um.size - self.plain.shape[1])

    def _beside(self, columns: Floats) -> Floats:
        return np.asarray(columns - self.plain @ (self.plain.T @ columns))

    @cached_property
    def _orders(self) -> Floats:
        return np.array([float(one.order) for one in self.sources])

    @cached_property
    def _still(self) -> list[npt.NDArray[np.complex128]]:
        """What each source leaves in each record but for whole turns, for readings and for the teeth before them."""
        found = []
        for at, (one, way, weight) in enumerate(zip(self.readings, self.passages, self.weights, strict=True)):
            gains = weight * np.array([source.gains[at] for source in self.sources])
            for tooth in self._looked_at(one, way):
                turns = way.into_turn(tooth, one.height)
                found.append(gains * np.exp(2j * np.pi * turns[:, None] * self._orders))
        return found

    @staticmethod
    def _looked_at(one: Readings, way: Passage) -> Iterable[Floats]:
        yield one.tooth
        if one.steps:
            yield np.where(one.tooth > 1, one.tooth - 1, way.teeth)

    def waves(self, seam: float) -> npt.NDArray[np.complex128]:
        """What one of each source leaves at each reading, weighted, as a complex amplitude."""
        fraction = np.array([float(one.order % 1) for one in self.sources])
        rows, still = [], iter(self._still)
        for one, way in zip(self.readings, self.passages, strict=True):
            parts = []
            for tooth in self._looked_at(one, way):
                passes = way.passes(tooth, one.height, seam)
                each, where = np.unique(passes, return_inverse=True)
                parts.append(next(still) * np.exp(2j * np.pi * each[:, None] * fraction)[where])
            rows.append(parts[0] - parts[1] if one.steps else parts[0])
        return np.concatenate(rows)

    def columns(self, seam: float) -> Floats:
        """Two columns a source, for the real and the imaginary part of what is sought, zeros and slopes taken out."""
        waves = self.waves(seam)
        pairs = np.stack((waves.real, -waves.imag), axis=2).reshape(len(waves), -1)
        return self._beside(pairs)

    def normal(self, seam: float) -> Normal:
        """The normal equations at a seam."""
        columns = self.columns(seam)
        return Normal(seam, columns.T @ columns, columns.T @ self.um, float(self.um @ self.um))

    @property
    def is_whole(self) -> bool:
        """Whether all orders are whole, so that it makes no difference where the seam lies."""
        return all(one.order.denominator == 1 for one in self.sources)

    @cached_property
    def clusters(self) -> tuple[tuple[tuple[int, ...], ...], tuple[int, ...]]:
        """Sources in groups that these records can't tell apart, and those that they can't show at all."""
        seam = 0.37 / self.passages[0].teeth
        waves, columns = self.waves(seam), self.columns(seam)
        groups: list[list[int]] = []
        spans: list[Floats] = []
        unseen = []
        for at in range(len(self.sources)):
            two = columns[:, 2 * at : 2 * at + 2]
            there = float(np.sum(np.abs(waves[:, at]) ** 2))
            if not there or float(np.sum(two**2)) < _UNSEEN * there:
                unseen.append(at)
                continue
            span = _span(two)
            like = next((number for number, head in enumerate(spans) if _alike(head, span)), None)
            if like is None:
                groups.append([at])
                spans.append(span)
            else:
                groups[like].append(at)
        return tuple(map(tuple, groups)), tuple(unseen)

    def only(self, kept: Sequence[int]) -> Laid:
        """With these sources alone."""
        return Laid(self.readings, self.passages, tuple(self.sources[at] for at in kept), self.weights)


def _span(columns: Floats) -> Floats:
    """An orthonormal basis of two columns; of one where they are one and the same."""
    left, sizes, _ = np.linalg.svd(columns, full_matrices=False)
    return np.asarray(left[:, sizes > 1e-4 * sizes[0]])


def _alike(one: Floats, other: Floats) -> bool:
    if one.shape != other.shape:
        return False
    return bool(np.linalg.svd(one.T @ other, compute_uv=False).min() > _SAME)
