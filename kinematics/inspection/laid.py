"""All records of a gear laid against all waves that may stand in them: one least-squares problem for each seam.

One and the same complex amount of a source, two unknown numbers, is sought in all records together, as if waves were so
small that the nearest passage made each point.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from .looked import Looked, pairs
from .passage import Floats, Seam, WaveSource

#: Two sources are one and the same to the records where all that either does there is the other's, but for so little.
_SAME = 0.9999

#: A source shows in the records where, of what it leaves there, more than this share isn't taken for zero or slope.
_UNSEEN = 1e-3


@dataclass(frozen=True, eq=False)
class Normal:
    """The normal equations at one seam, zeros, slopes and marks taken out: two columns a source."""

    seam: Seam
    square: Floats
    toward: Floats
    whole: float


@dataclass(frozen=True, eq=False)
class Laid:
    """Records, the sources, and by how much each record is weighted."""

    records: tuple[Looked, ...]
    sources: tuple[WaveSource, ...]
    weights: tuple[float, ...]

    def columns(self, seam: Seam) -> list[tuple[Floats, Floats]]:
        """By record two columns a source, for real and imaginary part of what is sought, and the readings.

        Zeros, slopes and marks are taken out.
        """
        return [one.beside(*one.made(self.sources, seam)) for one in self.records]

    @cached_property
    def free(self) -> int:
        """Readings beyond zeros, slopes and marks."""
        return sum(one.size - one.plain.shape[1] - 1 for one in self.records)

    def parts(self, seam: Seam) -> tuple[Normal, ...]:
        """The normal equations of each record by itself, without weights."""
        return tuple(
            Normal(seam, columns.T @ columns, columns.T @ um, float(um @ um)) for columns, um in self.columns(seam)
        )

    def weighed(self, parts: Sequence[Normal]) -> Normal:
        """Those of all records together."""
        squares = [one**2 for one in self.weights]
        return Normal(
            parts[0].seam,
            np.asarray(sum(by * one.square for by, one in zip(squares, parts, strict=True))),
            np.asarray(sum(by * one.toward for by, one in zip(squares, parts, strict=True))),
            sum(by * one.whole for by, one in zip(squares, parts, strict=True)),
        )

    @cached_property
    def clusters(self) -> tuple[tuple[tuple[int, ...], ...], tuple[tuple[int, ...], ...]]:
        """Sources in groups that these records can't tell apart: those that show, and those that don't while small."""
        seam = (0.37, 0.0137)
        columns = np.concatenate([one for one, _ in self.columns(seam)])
        waves = pairs(np.concatenate([one.made(self.sources, seam)[1] for one in self.records]))
        shown: list[tuple[Floats, list[int]]] = []
        hidden: list[tuple[Floats, list[int]]] = []
        for at in range(len(self.sources)):
            there, two = (each[:, 2 * at : 2 * at + 2] for each in (waves, columns))
            size = float(np.sum(there**2))
            is_seen = bool(size) and float(np.sum(two**2)) >= _UNSEEN * size
            groups, span = (shown, _span(two)) if is_seen else (hidden, _span(there))
            like = next((members for head, members in groups if _alike(head, span)), None)
            if like is None:
                groups.append((span, [at]))
            else:
                like.append(at)
        both = (tuple(tuple(members) for _, members in groups) for groups in (shown, hidden))
        first, second = both
        return first, second

    def only(self, kept: Sequence[int]) -> Laid:
        """With these sources alone."""
        return Laid(self.records, tuple(self.sources[at] for at in kept), self.weights)


def _span(columns: Floats) -> Floats:
    """An orthonormal basis of two columns; of one where they are one and the same."""
    left, sizes, _ = np.linalg.svd(columns, full_matrices=False)
    return np.asarray(left[:, sizes > 1e-4 * sizes[0]])


def _alike(one: Floats, other: Floats) -> bool:
    if one.shape != other.shape:
        return False
    return bool(np.linalg.svd(one.T @ other, compute_uv=False).min() > _SAME)
