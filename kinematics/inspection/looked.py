"""What was read off a gear, where on it, and what a wave of some source leaves there.

A source that goes to and fro by ``Re(c·exp(2πi·ν·t))`` over the table's turns t stands proud on a flank by
``Re(c·g·…)``, with the complex gain g of that flank, where t is when the passage went by that made the point. What the
passages leave between their contacts, feed marks and facets, stands in traces along a flank beside the waves.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from handlead.kinematics.frame.arrays import HoldsArrays

from .passage import Complexes, Feel, Floats, Seam, WaveSource

#: Marks that differ by less than this from reading to reading, in µm r.m.s., are none.
_FLAT = 0.05

#: The golden section: its multiples, but for the whole, lie evenly in 0 to 1 and never in step.
_GOLDEN = 0.6180339887498949


@dataclass(frozen=True, eq=False, repr=False)
class Readings(HoldsArrays):
    """A record's readings: tooth from 1, height above mid-face (of a profile, roll length) in mm, and µm.

    `steps`: each reading is the difference from the tooth before. `by_tooth`: each tooth has its own zero, and all a
    common slope over the face, or over the flank.
    """

    tooth: Floats
    height: Floats
    um: Floats
    steps: bool = False
    by_tooth: bool = False

    def plain(self) -> Floats:
        """What isn't a wave: the zero of the record, or of each tooth, and the common slope (last)."""
        if not self.by_tooth:
            return np.ones((len(self.um), 1))
        zeros = self.tooth[:, None] == np.unique(self.tooth)
        return np.column_stack((zeros.astype(float), self.height))


@dataclass(frozen=True, eq=False)
class Looked:
    """A record and where on the gear each of its readings was taken.

    A reading may be the mean of a cell of contacts, or what is felt at one place, or between the two: then `looks` are
    all over the cell, `finer` more of them, and `places` the one place of each reading. Else `looks` are its places.
    """

    readings: Readings
    looks: tuple[Feel, ...]
    finer: tuple[Feel, ...] = ()
    places: tuple[Feel, ...] = ()

    @cached_property
    def plain(self) -> Floats:
        """An orthonormal basis of the record's zeros and slope."""
        left, sizes, _ = np.linalg.svd(self.readings.plain(), full_matrices=False)
        return np.asarray(left[:, sizes > 1e-9 * sizes[0]])

    @property
    def level(self) -> Floats:
        """The readings with zeros and slope taken out."""
        return self.leveled(self.readings.um)

    def leveled(self, values: Floats) -> Floats:
        """Values, or columns, a row for each reading, with what is taken for zeros and slope left out."""
        return beyond(self.plain, values)

    def basis(self, marks: Floats) -> Floats:
        """The same with the marks beside it, as much as the feeler shows of them."""
        beside = self.leveled(marks)
        size = float(np.linalg.norm(beside))
        return self.plain if size < _FLAT * np.sqrt(self.size) else np.column_stack((self.plain, beside / size))

    def beside(self, marks: Floats, waves: Complexes) -> tuple[Floats, Floats]:
        """Two columns for each wave, and the readings, with zeros, slopes and marks taken out."""
        basis, both = self.basis(marks), np.column_stack((pairs(waves), self.readings.um))
        both = beyond(basis, both)
        return both[:, :-1], both[:, -1]

    def made(self, sources: Sequence[WaveSource], seam: Seam) -> tuple[Floats, Complexes]:
        """At each reading what passages leave between their contacts, in µm, and the wave of one of each source."""
        orders = 2j * np.pi * np.array([float(one.order) for one in sources])
        marks, total = np.zeros(self.size), np.zeros((self.size, len(sources)), dtype=complex)
        for look in self.looks:
            stands, turns = look.made(seam)
            marks += 0.0 if look.evened else look.read(stands)
            total += look.read(np.exp(turns[:, None] * orders) * look.gains(sources))
        marks += sum((look.read(look.made(seam)[0]) for look in self.places), np.zeros(self.size))
        return marks, total

    def thinned(self, points: int) -> Looked:
        """With no more readings than take about so many points, here and there.

        At even steps one wave would pass for another.
        """
        most = points // max(len(look.factors) for look in self.looks)
        if self.size <= most:
            return self
        kept = np.unique((np.arange(1, most + 1) * _GOLDEN % 1 * self.size).astype(int))
        one = self.readings
        readings = replace(one, tooth=one.tooth[kept], height=one.height[kept], um=one.um[kept])
        looks, places = (tuple(look.only(kept) for look in some) for some in (self.looks, self.places))
        return Looked(readings, looks, (), places)

    def closely(self) -> Looked:
        """The same through the finer looks, if there are any."""
        return replace(self, looks=self.finer or self.looks)

    @property
    def size(self) -> int:
        """How many readings."""
        return len(self.readings.um)


def beyond(basis: Floats, values: Floats) -> Floats:
    """Values, or columns of them, less what the columns of an orthonormal basis make of them."""
    return np.asarray(values - basis @ (basis.T @ values))


def pairs(waves: Complexes) -> Floats:
    """Two columns for each complex one: what the real and the imaginary part of an amount leave."""
    return np.stack((waves.real, -waves.imag), axis=2).reshape(len(waves), -1)
