"""Which passage of the hob made each measured point: the one whose contact lies nearest, of the lattice of contacts.

Contacts follow one another from gash to gash and from turn to turn of the table. Where the lattice lies to the first
tooth no record says: that is the `seam`, a share of a gash and of a turn, one for all records of a gear.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt
from handlead.kinematics.flank_cutting.flank_passages import FlankCut, lattice_at, lattice_place

Floats = npt.NDArray[np.float64]

Seam = tuple[float, float]

UM = 1000.0

#: Seams whose passages are kept at hand.
_KEPT = 4

#: Steps to either side of the nearest contact that are looked at, at most.
_FAR = 3


@dataclass(frozen=True, eq=False)
class Flank:
    """One side of a gear's teeth, by the cut that makes it: its lattice of contacts, and what passes how much later."""

    cut: FlankCut

    def metric_at(self, roll: float) -> Floats:
        """How far a passage stands off so many steps from its contact, in µm along the base tangent, at a roll."""
        return lattice_at(self.cut, roll).by(self.cut.steps).metric * (UM / self.cut.flank.base_cosine)

    @cached_property
    def metric(self) -> Floats:
        """The same at mid-flank."""
        return self.metric_at(self.cut.middle_roll)

    @cached_property
    def unrolled(self) -> Floats:
        """Steps of the lattice for a step of gashes and one of turns."""
        return np.linalg.inv(self.cut.steps)

    def window(self, wrong: float) -> Floats:
        """Steps to passages that may cut deepest where waves move the flank by so many µm to either side."""
        key = math.ceil(wrong)
        if key not in self._windows:
            self._windows[key] = self._window(key)
        return self._windows[key]

    @cached_property
    def _windows(self) -> dict[int, Floats]:
        return {}

    def _window(self, wrong: int) -> Floats:
        # Beyond a contact that stands off by more than the nearest and the wave from crest to trough nothing can.
        metric = self.metric
        corner = metric[0, 0] / 4 + metric[1, 1] / 4 + abs(metric[0, 1]) / 2
        reach = np.sqrt((corner + 2 * wrong) * np.diag(np.linalg.inv(metric)))
        first, second = (np.arange(-n, n + 1.0) for n in np.clip(np.floor(reach + 0.5), 1, _FAR).astype(int))
        return np.stack(np.meshgrid(first, second, indexing="ij"), axis=-1).reshape(-1, 2)

    @cached_property
    def turns_a_step(self) -> Floats:
        """Turns of the table from a contact to the next, by each of the two steps."""
        cut = self.cut
        passages = np.array([1, cut.per_turn]) @ cut.steps
        return np.asarray(passages * abs(cut.swept.table_rate) / cut.swept.gashes)


@dataclass(frozen=True, eq=False)
class Feel:
    """Points of one flank that are looked at, a row of as many as there are readings for each time one is looked at.

    `factors` (one for each row) say what of a µm there goes into a reading. `place` is where each point lies, in steps
    of the lattice; `later` by how many turns of the table after its passage the point was made; `over` how many mm it
    lies above mid-face.
    """

    flank: Flank
    factors: Floats
    place: Floats
    later: Floats
    over: Floats
    metric: Floats

    @classmethod
    def at(cls, flank: Flank, factor: float, roll: Floats, height: Floats, space: Floats) -> Feel:
        """At these rolls (radians), heights over the lower face (mm) and spaces, one for each reading."""
        place = lattice_place(flank.cut, roll, height, space)
        later = flank.cut.made.swing(roll) * abs(flank.cut.swept.table_rate) / (2 * np.pi)
        over = height - (flank.cut.flank.gear.face_width or 0.0) / 2
        return cls(
            flank, np.array([factor]), place[None], np.asarray(later)[None], over[None], _metric(flank, roll)[None]
        )  # fmt: skip

    def spread(self, each_way: int) -> Feel:
        """Looks all over a gash by a turn of the table about each point, of which a reading is the mean."""
        part = (np.arange(each_way) + 0.5) / each_way - 0.5
        cell = np.stack(np.meshgrid(part, part, indexing="ij"), axis=-1).reshape(-1, 1, 2) @ self.flank.unrolled.T
        place = (self.place[:, None] + cell).reshape(-1, *self.place.shape[1:])
        many = len(cell)
        factors = np.repeat(self.factors / many, many)
        later, over, metric = (np.repeat(one, many, axis=0) for one in (self.later, self.over, self.metric))
        return Feel(self.flank, factors, place, later, over, metric)

    def beside(self, other: Feel) -> Feel:
        """This look and another at the same flank, as one."""
        return Feel(
            self.flank,
            np.concatenate((self.factors, other.factors)),
            np.concatenate((self.place, other.place)),
            np.concatenate((self.later, other.later)),
            np.concatenate((self.over, other.over)),
            np.concatenate((self.metric, other.metric)),
        )

    def only(self, kept: npt.NDArray[np.int64]) -> Feel:
        """At these readings alone."""
        later, over, metric = (one[:, kept] for one in (self.later, self.over, self.metric))
        return Feel(self.flank, self.factors, self.place[:, kept], later, over, metric)

    def read(self, values: npt.NDArray[Any]) -> npt.NDArray[Any]:
        """What of values at all points (one after the other, and columns if need be) goes into each reading."""
        rows = values.reshape(*self.later.shape, *values.shape[1:])
        return np.asarray(np.tensordot(self.factors, rows, axes=1))

    def near(self, seam: Seam, wrong: float = 0.0) -> Near:
        """The passages that may have made each point, where waves move the flank by so many µm to either side."""
        window = self.flank.window(wrong)
        key = seam, len(window)
        if key not in self._kept:
            # The same seam is looked at again with other waves; more than the last few aren't kept.
            if len(self._kept) >= _KEPT:
                self._kept.pop(next(iter(self._kept)))
            self._kept[key] = self._near(seam, window)
        return self._kept[key]

    @cached_property
    def _kept(self) -> dict[tuple[Seam, int], Near]:
        return {}

    def _near(self, seam: Seam, window: Floats) -> Near:
        place = self.place.reshape(-1, 2) + self.flank.unrolled @ np.array(seam)
        home = np.rint(place)
        off = home - place
        one, both, other = (self.metric[..., at].reshape(-1, 1) for at in range(3))
        first, second = off[:, :1] + window[:, 0], off[:, 1:] + window[:, 1]
        stands = first * (one * first + 2 * both * second) + other * second**2
        a_step = self.flank.turns_a_step
        return Near(stands, home @ a_step + self.later.ravel(), window @ a_step)

    def made(self, seam: Seam) -> tuple[Floats, Floats]:
        """How far the passage that made each point stands off, in µm, and when it went by, in turns of the table."""
        near = self.near(seam)
        best = near.stands.argmin(axis=1)
        return near.stands[np.arange(len(best)), best], near.turns + near.away[best]


@dataclass(frozen=True, eq=False)
class Near:
    """Passages near points: how far each stands off in µm (a row for a point), turns of the nearest, and turns away."""

    stands: Floats
    turns: Floats
    away: Floats


def _metric(flank: Flank, roll: Floats) -> Floats:
    """How far passages stand off at these rolls: a row of three for each."""
    rolls = np.unique(np.linspace(roll.min(), roll.max(), 5))
    known = np.array([flank.metric_at(float(one))[(0, 0, 1), (0, 1, 1)] for one in rolls])
    return np.stack([np.interp(roll, rolls, known[:, at]) for at in range(3)], axis=1)
