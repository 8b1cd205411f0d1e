"""All records of a gear as one row of readings, and what stands there where the deepest passage made each point."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt

from .looked import Looked
from .passage import About, Complexes, Feel, Flank, Floats, Seam, WaveSource

#: Records whose points are kept together: those in hand, a first look at them, and the finer one.
_KEPT = 8


@dataclass(frozen=True, eq=False)
class Surface:
    """At each reading: µm left between contacts, the wave of one of each source, and how marks go with the seam.

    `tilt` is by how much the marks rise as the seam is shifted, by gashes and by turns.
    """

    marks: Floats
    waves: Complexes
    tilt: Floats


@dataclass(frozen=True, eq=False)
class FlankPoints:
    """All points of one flank that are looked at; `into` what of each goes into each reading (a sparse matrix).

    `evened` says of which points marks by themselves come to nothing.
    """

    feel: Feel
    into: Any
    evened: npt.NDArray[np.bool_]

    @classmethod
    def of(cls, flank: Flank, looks: Sequence[tuple[int, Feel]], readings: int) -> FlankPoints:
        """The looks at a flank, each with the number of its first reading."""
        from scipy.sparse import csr_array

        rows, factors = [], []
        for first, look in looks:
            times, many = look.later.shape
            rows.append(np.tile(first + np.arange(many), times))
            factors.append(np.repeat(look.factors, many))
        row, factor = np.concatenate(rows), np.concatenate(factors)
        into = csr_array((factor, (row, np.arange(len(row)))), shape=(readings, len(row)))
        place, later, over, metric = (
            np.concatenate([each.reshape(-1, *each.shape[2:]) for each in some])
            for some in zip(*((one.place, one.later, one.over, one.metric) for _, one in looks), strict=True)
        )
        feel = Feel(flank, np.ones(1), place[None], later[None], over[None], metric[None])
        evened = np.concatenate([np.full(one.later.size, one.evened) for _, one in looks])
        return cls(feel, into, evened)

    def gains(self, sources: Sequence[WaveSource]) -> Complexes:
        """µm that one of each source leaves at each point; one row for all where none of them leans."""
        return self.feel.gains(sources)

    def marked(self, about: About, best: npt.NDArray[np.int64]) -> Floats:
        """At each point what these passages leave off their contacts, and by how much more as the seam is shifted.

        What stands off as the nearest passages go doesn't count where looks are evened: so few would make waves of it.
        """
        found = np.column_stack((about.off_at(best), about.leans_at(best) @ self.feel.flank.unrolled))
        if self.evened.any():
            near = about.only(self.evened).nearest(self.feel.flank.window(0.0))
            found[self.evened] -= np.column_stack((near.off_at(), near.leans_at() @ self.feel.flank.unrolled))
        return found


@dataclass(frozen=True, eq=False)
class Pooled:
    """Records as one row of readings: where each begins and ends, their µm, and the points by flank."""

    records: tuple[Looked, ...]
    flanks: tuple[FlankPoints, ...]

    @cached_property
    def ends(self) -> npt.NDArray[np.int64]:
        """The number after the last reading of each record."""
        return np.cumsum([one.size for one in self.records])

    @cached_property
    def um(self) -> Floats:
        """All readings, in µm."""
        return np.concatenate([one.readings.um for one in self.records])

    @cached_property
    def belongs(self) -> Floats:
        """1 in the row of each reading at its record, else 0."""
        return np.repeat(np.eye(len(self.records)), [one.size for one in self.records], axis=0)

    @cached_property
    def plain(self) -> Floats:
        """An orthonormal basis of all zeros and slopes."""
        widths = [one.plain.shape[1] for one in self.records]
        whole, row, column = np.zeros((len(self.um), sum(widths))), 0, 0
        for one, width in zip(self.records, widths, strict=True):
            whole[row : row + one.size, column : column + width] = one.plain
            row, column = row + one.size, column + width
        return whole

    def leveled(self, columns: Floats) -> Floats:
        """Columns, a row for each reading, with what is taken for zeros and slopes left out."""
        return np.asarray(columns - self.plain @ (self.plain.T @ columns))

    def by_record(self, values: Floats) -> list[Floats]:
        """Values at all readings, record by record."""
        return np.split(values, self.ends[:-1])

    def cut_with(self, sources: Sequence[WaveSource], amounts: Complexes, seam: Seam) -> Surface:
        """What stands at each reading where with these amounts the deepest passage made each point."""
        orders = 2j * np.pi * np.array([float(one.order) for one in sources])
        marked, waves = np.zeros((len(self.um), 3)), np.zeros((len(self.um), len(sources)), dtype=complex)
        for one in self.flanks:
            gains = one.gains(sources)
            about = one.feel.about(seam, float(np.abs(gains * amounts).sum(axis=1).max()))
            home = np.exp(about.turns[:, None] * orders) * gains
            away = np.exp(about.away[:, None] * orders)
            best = about.deepest(home * amounts, away)
            marked += one.into @ one.marked(about, best)
            waves += one.into @ (home * away[best])
        return Surface(marked[:, 0], waves, marked[:, 1:])


@lru_cache(maxsize=_KEPT)
def pooled(records: tuple[Looked, ...]) -> Pooled:
    """These records as one row of readings."""
    looks: dict[int, list[tuple[int, Feel]]] = {}
    flanks: dict[int, Flank] = {}
    first = 0
    for one in records:
        for look in one.looks:
            side = look.flank.cut.flank.side
            flanks[side] = look.flank
            looks.setdefault(side, []).append((first, look))
        first += one.size
    return Pooled(records, tuple(FlankPoints.of(flanks[side], some, first) for side, some in looks.items()))


@lru_cache(maxsize=_KEPT)
def thinned(records: tuple[Looked, ...], points: int) -> tuple[Looked, ...]:
    """The records with no more readings each than take about so many points."""
    return tuple(one.thinned(points) for one in records)


@lru_cache(maxsize=_KEPT)
def closely(records: tuple[Looked, ...]) -> tuple[Looked, ...]:
    """The records with their finer looks, where there are any."""
    return tuple(one.closely() for one in records)
