"""All records of a gear laid against all waves that may stand in them: one least-squares problem for each seam.

A source that goes to and fro by ``Re(c·exp(2πi·ν·t))`` over the table's turns t stands proud on a flank by
``Re(c·g·…)``, with the complex gain g of that flank, where t is when the passage went by that made the point. One and
the same c, two unknown numbers, is sought in all records together. What the passages leave between their contacts,
feed marks and facets, stands in traces along a flank beside the waves.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property

import numpy as np
import numpy.typing as npt

from .passage import Feel, Floats, Seam
from .readings import Readings

Complexes = npt.NDArray[np.complex128]

#: Two sources are one and the same to the records where all that either does there is the other's, but for so little.
_SAME = 0.9999

#: Marks that differ by less than this from reading to reading, in µm r.m.s., are none.
_FLAT = 0.05

#: A source shows in the records where, of what it leaves there, more than this share isn't taken for zero or slope.
_UNSEEN = 1e-3


@dataclass(frozen=True)
class WaveSource:
    """What may leave a wave: waves in a turn of the table, exactly, and µm (complex) of one of it.

    By side, +1 the counter-clockwise one of a space, by how much the flank stands proud at mid-face, along the base
    tangent, and in `leans` by how much more for a mm above it. There can't be more of it than `most`.
    """

    order: Fraction
    proud: tuple[tuple[int, complex], ...]
    most: float = np.inf
    leans: tuple[tuple[int, complex], ...] = ()

    @property
    def largest(self) -> float:
        """µm that the most of it there can be leaves on a flank."""
        return self.most * max(abs(one) for _, one in self.proud)

    def on(self, side: int) -> complex:
        """µm that one of it leaves on this side, at mid-face."""
        return dict(self.proud).get(side, 0j)

    def more_on(self, side: int) -> complex:
        """µm that one of it leaves more on this side for a mm above mid-face."""
        return dict(self.leans).get(side, 0j)


@dataclass(frozen=True, eq=False)
class Looked:
    """A record and where on the gear each of its readings was taken."""

    readings: Readings
    looks: tuple[Feel, ...]

    @cached_property
    def plain(self) -> Floats:
        """An orthonormal basis of the record's zeros and slope."""
        left, sizes, _ = np.linalg.svd(self.readings.plain(), full_matrices=False)
        return np.asarray(left[:, sizes > 1e-9 * sizes[0]])

    @property
    def level(self) -> Floats:
        """The readings with zeros and slope taken out."""
        return np.asarray(self.readings.um - self.plain @ (self.plain.T @ self.readings.um))

    def basis(self, marks: Floats) -> Floats:
        """The same with the marks beside it, as much as the feeler shows of them."""
        beside = marks - self.plain @ (self.plain.T @ marks)
        size = float(np.linalg.norm(beside))
        return self.plain if size < _FLAT * np.sqrt(self.size) else np.column_stack((self.plain, beside / size))

    def beside(self, marks: Floats, waves: Complexes) -> tuple[Floats, Floats]:
        """Two columns for each wave, and the readings, with zeros, slopes and marks taken out."""
        basis, both = self.basis(marks), np.column_stack((pairs(waves), self.readings.um))
        both = both - basis @ (basis.T @ both)
        return both[:, :-1], both[:, -1]

    def made(self, sources: Sequence[WaveSource], seam: Seam) -> tuple[Floats, Complexes]:
        """At each reading what passages leave between their contacts, in µm, and the wave of one of each source."""
        orders = 2j * np.pi * np.array([float(one.order) for one in sources])
        marks, total = np.zeros(self.size), np.zeros((self.size, len(sources)), dtype=complex)
        for look in self.looks:
            stands, turns = look.made(seam)
            marks += look.read(stands)
            total += look.read(np.exp(turns[:, None] * orders) * _gains(look, sources))
        return marks, total

    def cut_with(self, sources: Sequence[WaveSource], amounts: Complexes, seam: Seam) -> tuple[Floats, Complexes]:
        """The same where with these amounts the deepest passage made each point."""
        orders = 2j * np.pi * np.array([float(one.order) for one in sources])
        marks, total = np.zeros(self.size), np.zeros((self.size, len(sources)), dtype=complex)
        moved = np.flatnonzero(amounts)
        for look in self.looks:
            gains = _gains(look, sources)
            near = look.near(seam, float(np.abs(gains * amounts).sum(axis=1).max()))
            home = np.exp(near.turns[:, None] * orders) * gains
            away = np.exp(near.away[:, None] * orders)
            here, there = home[:, moved] * amounts[moved], away[:, moved].T
            wave = here.real @ there.real - here.imag @ there.imag
            best = (near.stands + wave).argmin(axis=1)
            marks += look.read(near.stands[np.arange(len(best)), best])
            total += look.read(home * away[best])
        return marks, total

    def thinned(self, most: int) -> Looked:
        """With every so manieth reading alone, so that there are no more than about so many."""
        step = self.size // most
        if step < 2:
            return self
        kept = np.arange(0, self.size, step)
        one = self.readings
        readings = replace(one, tooth=one.tooth[kept], height=one.height[kept], um=one.um[kept])
        return Looked(readings, tuple(look.only(kept) for look in self.looks))

    @property
    def size(self) -> int:
        """How many readings."""
        return len(self.readings.um)


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
    def clusters(self) -> tuple[tuple[tuple[int, ...], ...], tuple[int, ...]]:
        """Sources in groups that these records can't tell apart, and those that they can't show at all."""
        seam = (0.37, 0.0137)
        columns = np.concatenate([one for one, _ in self.columns(seam)])
        waves = np.concatenate([one.made(self.sources, seam)[1] for one in self.records])
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
        return Laid(self.records, tuple(self.sources[at] for at in kept), self.weights)


def _gains(look: Feel, sources: Sequence[WaveSource]) -> Complexes:
    """µm that one of each source leaves at each point looked at; one row for all where none of them leans."""
    side = look.flank.cut.flank.side
    gains = np.array([one.on(side) for one in sources], dtype=complex)
    more = np.array([one.more_on(side) for one in sources], dtype=complex)
    return gains + look.over.reshape(-1, 1) * more if more.any() else gains[None]


def pairs(waves: Complexes) -> Floats:
    """Two columns for each complex one: what the real and the imaginary part of an amount leave."""
    return np.stack((waves.real, -waves.imag), axis=2).reshape(len(waves), -1)


def _span(columns: Floats) -> Floats:
    """An orthonormal basis of two columns; of one where they are one and the same."""
    left, sizes, _ = np.linalg.svd(columns, full_matrices=False)
    return np.asarray(left[:, sizes > 1e-4 * sizes[0]])


def _alike(one: Floats, other: Floats) -> bool:
    if one.shape != other.shape:
        return False
    return bool(np.linalg.svd(one.T @ other, compute_uv=False).min() > _SAME)
