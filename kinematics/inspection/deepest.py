"""Waves laid through records by the passages that cut deepest with them: how big they are, and what is left.

A big wave has another passage cut deepest, so that what it leaves is no plain wave any more. How deep the deepest
passage goes changes steadily with the amounts and with the seam, so that all are drawn closer together. Method:
Levenberg and Marquardt's damped least squares (in any textbook of numerical methods); the deepest passage's own slope
is that of all, wherever another doesn't take over.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from .laid import Laid
from .looked import beyond, pairs
from .passage import Complexes, Floats, Seam
from .pooled import Pooled, Surface, closely, pooled, thinned

#: Times that all is drawn closer, and the share of what is left below which another time gains nothing.
_TIMES, _GAINS = 12, 1e-3

#: Damping at first, by how much it goes down and up, between which bounds; how far the seam goes at a time.
_DAMPED, _DOWN, _UP, _LEAST, _MOST, _FAR = 1e-2, 4.0, 6.0, 1e-6, 1e3, 0.2

#: By how much the seam is stirred, and times that all is drawn closer then.
_STIRRED, _AGAIN = (0.15, 0.05), 6

#: By how much marks may show otherwise than they are taken to, where readings may be of a cell and elsewhere: a
#: feeler's tip is round, a checker filters. More of them than so much can't show. Own choice.
_HELD_TO, _ALL, _BETWEEN = (0.08, 0.2), 1.5, 0.15

#: What the best checkers repeat to, in µm (common practice: some tenths), and marks are reckoned to.
REPEATS = 0.3

#: Share of a size that the reckoning may be off (measured: see tests/benchmarks/inspecting.py).
_RECKONED = 0.04

#: What the reckoning of passages is off by, r.m.s. in µm, where waves show little (measured on gears that were cut).
_OFF = 0.07

#: Squares, in those of the noise, by which other amounts of the same sources may fit worse and be right in 5 of 100.
_AS_WELL = 4.0

#: So far two waves go against one another that both may be none.
_AGAINST = -0.5

#: Readings that the noise of all records counts for beside those of one.
_BELIEVED = 15


@dataclass(frozen=True, eq=False)
class Deepest:
    """Some of the sources (`members`) laid through the records with these amounts, cut deepest passage by passage.

    `shown` is how much of the marks between contacts shows in each record: 1 where the feeler goes to their ground; and
    of all readings that may be means of cells of contacts together, how much they are of their one place instead.
    `at_place` says which of the two they are taken for.
    """

    laid: Laid
    members: tuple[int, ...]
    seam: Seam
    amounts: Complexes
    shown: tuple[float, ...] = ()
    at_place: bool = False

    @cached_property
    def _shown(self) -> Floats:
        return np.array(self.shown) if self.shown else self._usual

    @property
    def _usual(self) -> Floats:
        return np.where(self.pooled.is_evened, float(self.at_place), 1.0)

    @property
    def _bounds(self) -> tuple[Floats, Floats]:
        """The least and the most that can show: readings are of a cell or of one place, hardly between."""
        evened, usual = self.pooled.is_evened, self._usual
        return np.where(evened, usual - _BETWEEN, 0.0), np.where(evened, usual + _BETWEEN, _ALL)

    @cached_property
    def _share(self) -> Floats:
        """How much shows at each reading."""
        return np.asarray(self.pooled.shows @ self._shown)

    @cached_property
    def _alone(self) -> Laid:
        return self.laid.only(self.members)

    @cached_property
    def pooled(self) -> Pooled:
        """All readings in a row."""
        return pooled(self.laid.records)

    @cached_property
    def of_place(self) -> Floats:
        """How much each reading that may be the mean of a cell is of its one place; nothing of others."""
        return np.asarray(self._share * (self.pooled.shows @ self.pooled.is_evened))

    @cached_property
    def of_cell(self) -> Floats:
        """What is missing of it to one."""
        return 1 - self.of_place

    @cached_property
    def _surfaces(self) -> tuple[Surface, Surface]:
        return self.pooled.cut_with(self._alone.sources, self.amounts, self.seam)

    @cached_property
    def surface(self) -> Surface:
        """What stands at each reading, as much of it as shows there, and what one of each member leaves."""
        first, second = self._surfaces
        return first.mixed(second, self._share)

    @cached_property
    def _rows(self) -> tuple[Floats, Floats]:
        """How the readings go with seam, amounts and what shows, and what is left: weighted, plain taken out."""
        cut, whole = self.surface, self.pooled
        first, second = self._surfaces
        more = second.marks - first.marks + ((second.waves - first.waves) @ self.amounts).real
        rest = whole.um - cut.marks - (cut.waves @ self.amounts).real
        rows = np.column_stack((cut.tilt, pairs(cut.waves), whole.shows * more[:, None], rest))
        rows = whole.leveled(rows) * self._by[:, None]
        # That marks show as is usual is itself like a reading, of so much noise.
        held, held_to = np.zeros((len(self._shown), rows.shape[1])), np.where(whole.is_evened, *_HELD_TO)
        held[:, -1 - len(self._shown) : -1] = np.diag(1 / held_to)
        held[:, -1] = (self._usual - self._shown) / held_to
        rows = np.concatenate((rows, held))
        return rows[:, :-1], rows[:, -1]

    @cached_property
    def _by(self) -> Floats:
        """The weight of each reading."""
        return np.asarray(self.pooled.belongs @ np.array(self.laid.weights))

    @property
    def slopes(self) -> Floats:
        """How the readings, weighted and plain taken out, go with the seam, each amount's two parts, and the marks."""
        return self._rows[0]

    @property
    def rest(self) -> Floats:
        """What is left of them, weighted; in the end by how much the marks show otherwise than cut."""
        return self._rows[1]

    @cached_property
    def squares(self) -> float:
        """The sum of the squares of all that is left."""
        return float(self.rest @ self.rest)

    @cached_property
    def left(self) -> list[Floats]:
        """What is left at every reading of each record, in µm, plain taken out."""
        return self.pooled.by_record(self.rest[: len(self._by)] / self._by)

    @cached_property
    def marks(self) -> list[Floats]:
        """What of the marks between contacts shows at every reading of each record."""
        return self.pooled.by_record(self.pooled.leveled(self.surface.marks))

    @property
    def is_possible(self) -> bool:
        """Whether it takes no more of any source than there can be."""
        most = [one.most for one in self._alone.sources]
        return bool(np.all(np.abs(self.amounts) <= np.array(most)))

    def closer(self, times: int = _TIMES) -> Deepest:
        """Seam, amounts and what shows of the marks drawn closer to where least is left."""
        now, damped = self, _DAMPED
        for _ in range(times):
            then = now._moved(damped)
            if then.squares < now.squares:
                done = now.squares - then.squares < _GAINS * now.squares
                now, damped = then, max(damped / _DOWN, _LEAST)
                if done:
                    break
            else:
                damped *= _UP
                if damped > _MOST:
                    break
        return now

    def stirred(self) -> Deepest:
        """Drawn closer again from seams to all sides: where passages change places, the way down has steps in it."""
        best = self
        for by in _STIRRED:
            for gash, turn in ((by, 0.0), (-by, 0.0), (0.0, by), (0.0, -by)):
                other = replace(best, seam=(best.seam[0] + gash, best.seam[1] + turn)).closer(_AGAIN)
                best = min(best, other, key=lambda one: one.squares)
        return best

    def _moved(self, damped: float) -> Deepest:
        slopes, left = self._rows
        square = slopes.T @ slopes
        scale = 1 / np.sqrt(np.maximum(np.diag(square), 1e-9))
        square = square * scale[:, None] * scale + damped * np.eye(len(scale))
        by = scale * np.linalg.solve(square, scale * (slopes.T @ left))
        by[:2] *= min(1.0, _FAR / max(float(np.abs(by[:2]).max()), 1e-12))
        last = 2 + 2 * len(self.members)
        return replace(
            self,
            seam=(float(self.seam[0] + by[0]), float(self.seam[1] + by[1])),
            amounts=self.amounts + by[2:last:2] + 1j * by[3:last:2],
            shown=tuple(map(float, np.clip(self._shown + by[last:], *self._bounds))),
        )

    def against_one_another(self) -> tuple[tuple[int, int], ...]:
        """Pairs of members that take off from one another most of what either leaves."""
        alone = list((self._by[:, None] * (self.surface.waves * self.amounts).real).T)
        sizes = [max(float(np.linalg.norm(one)), 1e-12) for one in alone]
        return tuple(
            (self.members[at], self.members[other])
            for at in range(len(alone))
            for other in range(at)
            if float(alone[at] @ alone[other]) < _AGAINST * sizes[at] * sizes[other]
        )

    def felt_otherwise(self) -> Deepest:
        """With readings that were taken for means of cells taken for those of one place, or the other way."""
        return replace(self, at_place=not self.at_place, shown=())

    def without(self, some: Sequence[int]) -> Deepest:
        """The other members alone, as they stand."""
        kept = [at for at, one in enumerate(self.members) if one not in some]
        return replace(self, members=tuple(self.members[at] for at in kept), amounts=self.amounts[kept])

    def thinned(self, points: int) -> Deepest:
        """Through fewer readings: no more of each record than take about so many points."""
        return replace(self, laid=replace(self.laid, records=thinned(self.laid.records, points)))

    def closely(self) -> Deepest:
        """Through the finer looks."""
        return replace(self, laid=replace(self.laid, records=closely(self.laid.records)))

    def in_order(self, members: Sequence[int]) -> Deepest:
        """The same with its members in this order."""
        at = [self.members.index(one) for one in members]
        return replace(self, members=tuple(members), amounts=self.amounts[at])

    def beside(self, source: int, amount: complex) -> Deepest:
        """With one source more."""
        return replace(self, members=(*self.members, source), amounts=np.append(self.amounts, amount))

    def promises(self) -> tuple[Floats, Complexes]:
        """By how much each source would lessen the squares, were it small, and its amount then."""
        every = np.zeros(len(self.laid.sources), dtype=complex)
        every[list(self.members)] = self.amounts
        first, second = self.pooled.cut_with(self.laid.sources, every, self.seam)
        columns, left = self.beyond(pairs(first.mixed(second, self._share).waves))
        twos = columns.reshape(len(left), -1, 2)
        square = np.einsum("nsa,nsb->sab", twos, twos)
        size = np.maximum(np.trace(square, axis1=1, axis2=2), 1e-12)
        square = square + 1e-6 * size[:, None, None] * np.eye(2)
        toward = np.einsum("nsa,n->sa", twos, left)
        found = np.linalg.solve(square, toward[:, :, None])[:, :, 0]
        return np.sum(found * toward, axis=1), found[:, 0] + 1j * found[:, 1]

    def beyond(self, columns: Floats) -> tuple[Floats, Floats]:
        """Columns, a row for each reading, weighted, and what is left: but for what the set can make up for."""
        weighted = self._by[:, None] * self.pooled.leveled(columns)
        whole = np.concatenate((weighted, np.zeros((len(self._shown), columns.shape[1]))))
        return beyond(self.basis, whole), beyond(self.basis, self.rest)

    @cached_property
    def basis(self) -> Floats:
        """An orthonormal basis of what seam, amounts and marks can do to the readings."""
        scale = np.maximum(np.linalg.norm(self.slopes, axis=0), 1e-9)
        left, sizes, _ = np.linalg.svd(self.slopes / scale, full_matrices=False)
        return np.asarray(left[:, sizes > 1e-6])

    def weights(self) -> tuple[float, ...]:
        """One over the noise of each record, in µm.

        A short record that happens to fit well isn't believed by that alone: its noise is drawn towards that of all.
        No record repeats better than the best checkers do.
        """
        free = [
            max(one.size - one.plain.shape[1] - 2 * (len(self.members) + 1) / len(self.left), 1)
            for one in self.laid.records
        ]
        squares = [float(rest @ rest) for rest in self.left]
        common = sum(squares) / sum(free)
        spread = [(one + _BELIEVED * common) / (count + _BELIEVED) for one, count in zip(squares, free, strict=True)]
        return tuple(float(1 / np.sqrt(one + REPEATS**2)) for one in spread)

    def um(self, at: int) -> tuple[tuple[float, ...], ...]:
        """What the member at this place leaves at every reading of every record."""
        left = (self.surface.waves[:, at] * self.amounts[at]).real
        return tuple(tuple(map(float, one)) for one in self.pooled.by_record(left))

    def errors(self, others: Sequence[Deepest] = ()) -> Sequence[float]:
        """Half of what holds the amount of each member in 95 of 100, all laid together, wherever the seam may lie.

        To it comes a share of the size for what the reckoning of passages leaves out. Where in `others` the same
        members fit nearly as well with other amounts, it reaches over these too.
        """
        sizes = np.abs(self.amounts)
        found = np.hypot(self._plain_errors(), _RECKONED * sizes)
        variance = max(self.squares / self.free, 1e-12)
        for other in others:
            if sorted(other.members) != sorted(self.members) or other.squares - self.squares > _AS_WELL * variance:
                continue
            like = other.in_order(self.members)
            far = np.abs(np.abs(like.amounts) - sizes)
            found = np.maximum(found, far / 2 + np.array(like._plain_errors()))
        return tuple(map(float, found))

    @property
    def free(self) -> int:
        """Readings beyond all that is sought."""
        return max(self.laid.free - 2 * len(self.members) - 2, 1)

    def _plain_errors(self) -> Sequence[float]:
        from scipy.special import stdtrit

        if not self.members:
            return []
        noise = self.squares / self.free * float(stdtrit(self.free, 0.975)) ** 2 / 4
        # What the reckoning is off by at all readings may go the way of a wave.
        off = float(np.sum((_OFF * self._by) ** 2))
        spread = np.linalg.pinv(self.slopes.T @ self.slopes, hermitian=True) * (noise + off)
        toward = np.stack((self.amounts.real, self.amounts.imag), axis=1)
        toward = toward / np.maximum(np.abs(self.amounts), 1e-300)[:, None]
        twos = [spread[at : at + 2, at : at + 2] for at in range(2, 2 + 2 * len(self.members), 2)]
        return tuple(math.sqrt(max(float(way @ two @ way), 0.0)) for way, two in zip(toward, twos, strict=True))


def plain_start(laid: Laid, seam: Seam) -> Deepest:
    """No source at all, at this seam."""
    return Deepest(laid, (), seam, np.zeros(0, dtype=complex))
