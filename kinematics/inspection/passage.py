"""Which passage of the hob made each measured point: the one whose contact lies nearest, of the lattice of contacts.

Contacts follow one another from gash to gash and from turn to turn of the table. Where the lattice lies to the first
tooth no record says: that is the `seam`, a share of a gash and of a turn, one for all records of a gear.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt
from handlead.kinematics.flank_cutting.flank_passages import FlankCut, lattice_at, lattice_place

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Complexes = npt.NDArray[np.complex128]

Seam = tuple[float, float]

UM = 1000.0

#: Steps to either side of the nearest contact that are looked at, at most.
_FAR = 4


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
    def gain(self) -> float:
        """µm that one of it leaves at mid-face, on the flank where it leaves more."""
        return max(abs(one) for _, one in self.proud)

    @property
    def largest(self) -> float:
        """µm that the most of it there can be leaves on a flank."""
        return self.most * self.gain

    def on(self, side: int) -> complex:
        """µm that one of it leaves on this side, at mid-face."""
        return dict(self.proud).get(side, 0j)

    def more_on(self, side: int) -> complex:
        """µm that one of it leaves more on this side for a mm above mid-face."""
        return dict(self.leans).get(side, 0j)


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
    lies above mid-face. `evened`: the looks are all over a cell of contacts, so that marks by themselves come to
    nothing.
    """

    flank: Flank
    factors: Floats
    place: Floats
    later: Floats
    over: Floats
    metric: Floats
    evened: bool = False

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
        return Feel(self.flank, factors, place, later, over, metric, evened=True)

    def beside(self, other: Feel) -> Feel:
        """This look and another at the same flank, as one."""
        return Feel(
            self.flank,
            np.concatenate((self.factors, other.factors)),
            np.concatenate((self.place, other.place)),
            np.concatenate((self.later, other.later)),
            np.concatenate((self.over, other.over)),
            np.concatenate((self.metric, other.metric)),
            self.evened,
        )

    def only(self, kept: Ints) -> Feel:
        """At these readings alone."""
        later, over, metric = (one[:, kept] for one in (self.later, self.over, self.metric))
        return Feel(self.flank, self.factors, self.place[:, kept], later, over, metric, self.evened)

    def read(self, values: npt.NDArray[Any]) -> npt.NDArray[Any]:
        """What of values at all points (one after the other, and columns if need be) goes into each reading."""
        rows = values.reshape(*self.later.shape, *values.shape[1:])
        return np.asarray(np.einsum("l,l...->...", self.factors, rows))

    @cached_property
    def _points(self) -> tuple[Floats, Floats, Floats]:
        """All points one after the other: place, how much later, and their metric."""
        return self.place.reshape(-1, 2), self.later.ravel(), self.metric.reshape(-1, 3)

    def made(self, seam: Seam) -> tuple[Floats, Floats]:
        """How far the passage that made each point stands off, in µm, and when it went by, in turns of the table."""
        about = self.about(seam, 0.0)
        best = about.stands.argmin(axis=1)
        return about.off_at(best), about.turns + about.away[best]

    def about(self, seam: Seam, wrong: float) -> About:
        """The passages that may have made each point, where waves move the flank by so many µm to either side."""
        place, later, metric = self._points
        window = self.flank.window(wrong)
        place = place + self.flank.unrolled @ np.array(seam)
        home = np.rint(place)
        a_step = self.flank.turns_a_step
        return About(home - place, metric, home @ a_step + later, window @ a_step, window)

    def gains(self, sources: Sequence[WaveSource]) -> Complexes:
        """µm that one of each source leaves at each point looked at; one row for all where none of them leans."""
        side = self.flank.cut.flank.side
        gains = np.array([one.on(side) for one in sources], dtype=complex)
        more = np.array([one.more_on(side) for one in sources], dtype=complex)
        return gains + self.over.reshape(-1, 1) * more if more.any() else gains[None]


@dataclass(frozen=True, eq=False)
class About:
    """Passages about points, by steps from a home near each.

    `off` is how many steps from the point home lies, `metric` how that stands off; `window` how many steps from home
    the passages lie, `turns` when home went by, in turns of the table, `away` how much later the others do.
    """

    off: Floats
    metric: Floats
    turns: Floats
    away: Floats
    window: Floats

    @cached_property
    def _split(self) -> tuple[Floats, Floats]:
        """Two factors of how far each passage stands off each point: of the points, and of the window."""
        (one, both, other), (first, second) = self.metric.T, self.off.T
        slope, rise = one * first + both * second, both * first + other * second
        points = np.stack((first * slope + second * rise, 2 * slope, 2 * rise, one, both, other), axis=1)
        along, across = self.window.T
        return points, np.stack((np.ones(len(along)), along, across, along**2, 2 * along * across, across**2))

    @property
    def stands(self) -> Floats:
        """How far each passage of the window stands off each point, in µm: a row for a point."""
        points, window = self._split
        return points @ window

    def deepest(self, here: Complexes, away: Complexes) -> Ints:
        """Which of the window goes deepest, with waves that are `here` at home and go by `away` from there."""
        points, window = self._split
        whole = np.concatenate((points, here.real, -here.imag), axis=1)
        return np.asarray((whole @ np.concatenate((window, away.real.T, away.imag.T))).argmin(axis=1))

    def only(self, some: npt.NDArray[np.bool_]) -> About:
        """About these points alone."""
        return replace(self, off=self.off[some], metric=self.metric[some], turns=self.turns[some])

    def nearest(self, window: Floats) -> About:
        """The same with the nearest passages as homes, which lie in this window."""
        near = replace(self, window=window)
        return replace(near, off=self.off + window[near.stands.argmin(axis=1)])

    def off_at(self, best: Ints | None = None) -> Floats:
        """How far these passages of the window, or home, stand off, in µm."""
        points, window = self._split
        return points[:, 0] if best is None else np.asarray(np.einsum("pk,kp->p", points, window[:, best]))

    def leans_at(self, best: Ints | None = None) -> Floats:
        """By how much more they stand off for a step of the point's place, by each of the two steps."""
        one, both, other = self.metric.T
        first, second = self.off.T if best is None else (self.off + self.window[best]).T
        return -2 * np.stack((one * first + both * second, both * first + other * second), axis=1)


def _metric(flank: Flank, roll: Floats) -> Floats:
    """How far passages stand off at these rolls: a row of three for each."""
    rolls = np.unique(np.linspace(roll.min(), roll.max(), 5))
    known = np.array([flank.metric_at(float(one))[(0, 0, 1), (0, 1, 1)] for one in rolls])
    return np.stack([np.interp(roll, rolls, known[:, at]) for at in range(3)], axis=1)
