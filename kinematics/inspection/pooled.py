"""All records of a gear as one row of readings, and what stands there where the deepest passage made each point."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any

import numpy as np
import numpy.typing as npt

from .looked import Looked, beyond
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

    def mixed(self, other: Surface, share: Floats) -> Surface:
        """So much of another at each reading, and of this what is missing to one."""
        one = share[:, None]
        return Surface(
            self.marks + share * (other.marks - self.marks), self.waves + one * (other.waves - self.waves),
            self.tilt + one * (other.tilt - self.tilt),
        )  # fmt: skip


@dataclass(frozen=True, eq=False)
class FlankPoints:
    """All points of one flank that are looked at, and what of each goes into each reading (sparse matrices).

    That is `waves_in` for waves and `marks_in` for marks, of a reading without marks or as the mean of a cell, and
    `place_in` for both of a reading at its one place. `evened` says of which points marks by themselves come to
    nothing.
    """

    feel: Feel
    waves_in: Any
    marks_in: Any
    place_in: Any
    evened: npt.NDArray[np.bool_]

    @classmethod
    def of(cls, flank: Flank, looks: Sequence[_Placed], readings: int) -> FlankPoints:
        """The looks at a flank."""
        from scipy.sparse import csr_array

        parts: list[Any] = []
        for part in ("waves", "marks", "place"):
            rows, factors = [], []
            for one in looks:
                times, many = one.look.later.shape
                rows.append(np.tile(one.first + np.arange(many), times))
                factors.append(np.repeat(one.look.factors * (part in one.goes), many))
            row = np.concatenate(rows)
            parts.append(csr_array((np.concatenate(factors), (row, np.arange(len(row)))), shape=(readings, len(row))))
        place, later, over, metric = (
            np.concatenate([each.reshape(-1, *each.shape[2:]) for each in some])
            for some in zip(
                *((one.look.place, one.look.later, one.look.over, one.look.metric) for one in looks), strict=True
            )
        )
        feel = Feel(flank, np.ones(1), place[None], later[None], over[None], metric[None])
        evened = np.concatenate([np.full(one.look.later.size, one.look.evened) for one in looks])
        waves, marks, places = parts
        return cls(feel, waves, marks, places, evened)

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
class _Placed:
    """A look, the number of its first reading, and what of it goes into the reading, of "waves", "marks", "place"."""

    first: int
    look: Feel
    goes: tuple[str, ...]


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
        """Values, or columns, a row for each reading, with what is taken for zeros and slopes left out."""
        return beyond(self.plain, columns)

    def by_record(self, values: Floats) -> list[Floats]:
        """Values at all readings, record by record."""
        return np.split(values, self.ends[:-1])

    @cached_property
    def shows(self) -> Floats:
        """1 in the row of each reading where it says how much shows there: at its record, or where it may be of a cell.

        All those of cells were felt alike, and have the last column together.
        """
        alone = [at for at, one in enumerate(self.records) if not one.places]
        of_cells = [at for at, one in enumerate(self.records) if one.places]
        columns = [*(self.belongs[:, at] for at in alone), self.belongs[:, of_cells].sum(axis=1)]
        return np.stack(columns if of_cells else columns[:-1], axis=1)

    @cached_property
    def is_evened(self) -> npt.NDArray[np.bool_]:
        """Of which of its columns readings may be the mean of a cell of contacts."""
        return np.array([*(False for one in self.records if not one.places), *([True] if self._any_cell else [])])

    @property
    def _any_cell(self) -> bool:
        return any(one.places for one in self.records)

    def cut_with(
        self, sources: Sequence[WaveSource], amounts: Complexes, seam: Seam
    ) -> tuple[Surface, Surface]:
        """What stands at each reading where with these amounts the deepest passage made each point.

        First without marks, or as the mean of a cell, then at the one place of each reading.
        """
        orders = 2j * np.pi * np.array([float(one.order) for one in sources])
        size = len(self.um), len(sources)
        marked, waves = np.zeros((2, size[0], 3)), np.zeros((2, *size), dtype=complex)
        for one in self.flanks:
            gains = one.feel.gains(sources)
            about = one.feel.about(seam, float(np.abs(gains * amounts).sum(axis=1).max()))
            home = np.exp(about.turns[:, None] * orders) * gains
            away = np.exp(about.away[:, None] * orders)
            best = about.deepest(home * amounts, away)
            both, each = one.marked(about, best), home * away[best]
            marked += np.stack((one.marks_in @ both, one.place_in @ both))
            waves += np.stack((one.waves_in @ each, one.place_in @ each))
        first, second = (Surface(marks[:, 0], wave, marks[:, 1:]) for marks, wave in zip(marked, waves, strict=True))
        return first, second


@lru_cache(maxsize=_KEPT)
def pooled(records: tuple[Looked, ...]) -> Pooled:
    """These records as one row of readings."""
    looks: dict[int, list[_Placed]] = {}
    flanks: dict[int, Flank] = {}
    first = 0
    for one in records:
        goes = ("waves", "marks") if one.places else ("waves", "place")
        some: list[tuple[Feel, tuple[str, ...]]] = [(look, goes) for look in one.looks]
        some += [(look, ("place",)) for look in one.places]
        for look, into in some:
            side = look.flank.cut.flank.side
            flanks[side] = look.flank
            looks.setdefault(side, []).append(_Placed(first, look, into))
        first += one.size
    return Pooled(records, tuple(FlankPoints.of(flanks[side], placed, first) for side, placed in looks.items()))


@lru_cache(maxsize=_KEPT)
def thinned(records: tuple[Looked, ...], points: int) -> tuple[Looked, ...]:
    """The records with no more readings each than take about so many points."""
    return tuple(one.thinned(points) for one in records)


@lru_cache(maxsize=_KEPT)
def closely(records: tuple[Looked, ...]) -> tuple[Looked, ...]:
    """The records with their finer looks, where there are any."""
    return tuple(one.closely() for one in records)
