"""Waves laid through records by the passages that cut deepest with them: how big they are, and what is left.

A big wave has another passage cut deepest, so that what it leaves is no plain wave any more. The amounts, the passages
and the seam are drawn closer by turns. Own method.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from .choosing import GASHES, TURNS
from .laid import Complexes, Laid, Normal
from .passage import Floats, Seam

#: Times that amounts and passages are drawn closer for one seam, first and then, and that the seam is drawn closer.
_FIRST, _AGAIN, _CLOSER = 4, 1, 3

#: Seams that are looked at for how sure a size is, and how closely.
_AWAY = ((0.0, 0.03), (0.0, -0.03), (0.0, 0.125), (0.0, -0.125), (0.0, 0.25), (0.0, 0.5), (1 / 3, 0.0))
_SPREAD = 1

#: Share of a size that the reckoning may be off (measured: see tests/benchmarks/inspecting.py).
_RECKONED = 0.04

#: So far two waves go against one another that both may be none.
_AGAINST = -0.5

#: Readings that the noise of all records counts for beside those of one.
_BELIEVED = 15


@dataclass(frozen=True, eq=False)
class Deepest:
    """Some of the sources (`members`) laid through the records with these amounts, cut deepest passage by passage."""

    laid: Laid
    members: tuple[int, ...]
    seam: Seam
    amounts: Complexes

    @cached_property
    def _cut(self) -> list[tuple[Floats, Complexes]]:
        """By record, marks and what one of each source leaves."""
        alone = self.laid.only(self.members)
        return [one.cut_with(alone.sources, self.amounts, self.seam) for one in self.laid.records]

    @cached_property
    def _beside(self) -> list[tuple[Floats, Floats]]:
        """By record two columns for each member, and the readings, with zeros, slopes and marks taken out."""
        return [one.beside(*cut) for one, cut in zip(self.laid.records, self._cut, strict=True)]

    @cached_property
    def left(self) -> list[Floats]:
        """What these amounts leave at every reading, zeros, slopes and marks taken out."""
        amounts = np.stack((self.amounts.real, self.amounts.imag), axis=1).ravel()
        return [um - columns @ amounts for columns, um in self._beside]

    @cached_property
    def marks(self) -> list[Floats]:
        """What of the marks between contacts shows at every reading of each record."""
        shown = []
        for one, (marks, wave) in zip(self.laid.records, self._cut, strict=True):
            beside = one.basis(marks)[:, one.plain.shape[1] :]
            shown.append(beside @ (beside.T @ (one.readings.um - (wave @ self.amounts).real)))
        return shown

    @cached_property
    def squares(self) -> float:
        """Their sum, weighted."""
        return sum(by**2 * float(one @ one) for by, one in zip(self.laid.weights, self.left, strict=True))

    @property
    def is_possible(self) -> bool:
        """Whether it takes no more of any source than there can be."""
        most = [self.laid.sources[one].most for one in self.members]
        return bool(np.all(np.abs(self.amounts) <= np.array(most)))

    def laid_anew(self) -> Deepest:
        """With the amounts that fit best while the same passages cut deepest."""
        um = np.concatenate([by * um for by, (_, um) in zip(self.laid.weights, self._beside, strict=True)])
        found, *_ = np.linalg.lstsq(self.columns(), um, rcond=None)
        return replace(self, amounts=np.asarray(found[0::2] + 1j * found[1::2]))

    def columns(self) -> Floats:
        """Two columns for each member, weighted, zeros, slopes and marks taken out."""
        return np.concatenate([by * columns for by, (columns, _) in zip(self.laid.weights, self._beside, strict=True)])

    def closer(self, times: int) -> Deepest:
        """Amounts and passages drawn closer by turns, the best that was met."""
        best = now = self
        for _ in range(times if self.members else 0):
            then = now.laid_anew()
            # Half the way keeps passages from changing to and fro.
            now = then if not now.amounts.any() else replace(then, amounts=(then.amounts + now.amounts) / 2)
            best = min(best, then, now, key=lambda one: one.squares)
        return best

    def at_best_seam(self) -> Deepest:
        """The seam drawn closer as well."""
        best, step = self.closer(_FIRST), np.array([0.5 / GASHES, 0.5 / TURNS])
        for _ in range(_CLOSER):
            for way in ((1, 0), (-1, 0), (0, 1), (0, -1)):
                seam = (best.seam[0] + way[0] * step[0], best.seam[1] + way[1] * step[1])
                best = min(best, replace(best, seam=seam).closer(_AGAIN), key=lambda one: one.squares)
            step = step / 2
        return best

    def against_one_another(self) -> tuple[tuple[int, int], ...]:
        """Pairs of members that take off from one another most of what either leaves."""
        alone = [np.concatenate([by * np.array(um) for by, um in zip(self.laid.weights, self.um(at), strict=True)])
                 for at in range(len(self.members))]  # fmt: skip
        sizes = [max(float(np.linalg.norm(one)), 1e-12) for one in alone]
        return tuple(
            (self.members[at], self.members[other])
            for at in range(len(alone))
            for other in range(at)
            if float(alone[at] @ alone[other]) < _AGAINST * sizes[at] * sizes[other]
        )

    def without(self, some: Sequence[int]) -> Deepest:
        """The other members alone, drawn closer from here; the seam stays."""
        kept = [at for at, one in enumerate(self.members) if one not in some]
        fewer = replace(self, members=tuple(self.members[at] for at in kept), amounts=self.amounts[kept])
        return fewer.closer(_FIRST)

    def normal(self) -> tuple[Normal, ...]:
        """By record the normal equations of all sources, each point by the passage that cuts deepest there."""
        every = np.zeros(len(self.laid.sources), dtype=complex)
        every[list(self.members)] = self.amounts
        found = []
        for one in self.laid.records:
            columns, um = one.beside(*one.cut_with(self.laid.sources, every, self.seam))
            found.append(Normal(self.seam, columns.T @ columns, columns.T @ um, float(um @ um)))
        return tuple(found)

    def weights(self) -> tuple[float, ...]:
        """One over the noise of each record, the largest of them as 1.

        A short record that happens to fit well isn't believed by that alone: its noise is drawn towards that of all.
        """
        free = [
            max(one.size - one.plain.shape[1] - 2 * len(self.members) / len(self.left), 1) for one in self.laid.records
        ]
        squares = [float(rest @ rest) for rest in self.left]
        common = sum(squares) / sum(free)
        spread = [
            (one + _BELIEVED * common) / (count + _BELIEVED) for one, count in zip(squares, free, strict=True)
        ]
        largest = max(max(spread), 1e-12)
        # One that fits all through isn't worth more than a hundred others.
        return tuple(float(np.sqrt(largest / max(one, 0.01 * largest))) for one in spread)

    def um(self, at: int) -> tuple[tuple[float, ...], ...]:
        """What the member at this place leaves at every reading of every record."""
        return tuple(tuple(map(float, (wave[:, at] * self.amounts[at]).real)) for _, wave in self._cut)

    def errors(self) -> Sequence[float]:
        """Half of what holds the amount of each member in 95 of 100, all laid together, wherever the seam may lie.

        To it comes a share of the size for what the reckoning of passages leaves out.
        """
        parts = (self._plain_errors(), self._spread_over_seams(), _RECKONED * np.abs(self.amounts))
        return tuple(float(np.linalg.norm(one)) for one in zip(*parts, strict=True))

    def _spread_over_seams(self) -> Floats:
        """By how much the sizes differ from seam to seam, each counted by how well it fits."""
        if not self.members:
            return np.zeros(0)
        variance = max(self.squares / max(self.laid.free - 2 * len(self.members), 1), 1e-12)
        total, weight = np.zeros(len(self.members)), 1.0
        for away in _AWAY:
            other = replace(self, seam=(self.seam[0] + away[0], self.seam[1] + away[1])).closer(_SPREAD)
            likely = float(np.exp(-max(other.squares - self.squares, 0.0) / (2 * variance)))
            total += likely * (np.abs(other.amounts) - np.abs(self.amounts)) ** 2
            weight += likely
        return np.sqrt(total / weight)

    def _plain_errors(self) -> Sequence[float]:
        from scipy.special import stdtrit

        if not self.members:
            return ()
        columns = self.columns()
        free = max(self.laid.free - columns.shape[1], 1)
        spread = np.linalg.pinv(columns.T @ columns) * (self.squares / free)
        toward = np.stack((self.amounts.real, self.amounts.imag), axis=1)
        toward = toward / np.maximum(np.abs(self.amounts), 1e-300)[:, None]
        twos = [spread[at : at + 2, at : at + 2] for at in range(0, columns.shape[1], 2)]
        squares = [float(way @ two @ way) for way, two in zip(toward, twos, strict=True)]
        return tuple(float(np.sqrt(max(one, 0.0)) * stdtrit(free, 0.975) / 2) for one in squares)
