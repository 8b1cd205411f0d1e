"""A field of radii as waves: angular orders round the blank, waves per millimetre up it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from handlead.kinematics.frame.blank import Field

Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]

TURN = 2 * math.pi


@dataclass(frozen=True)
class Wave:
    """One place of the spectrum: `order` round the blank, `per_mm` waves along it, and its amplitude."""

    order: int
    per_mm: float
    amplitude: complex

    @property
    def size(self) -> float:
        """Absolute amplitude, in mm."""
        return abs(self.amplitude)


class Spectrum:
    """Orders round the blank, each with its waves along the height; windowed, in mm of depth."""

    def __init__(self, field: Field) -> None:
        depth = field.uncut - field.radius
        cut = np.flatnonzero(depth.max(axis=1) > 1e-9 * field.uncut)
        rows = slice(int(cut[0]), int(cut[-1]) + 1) if cut.size else slice(0, 0)
        self.heights = field.heights[rows]
        self.face = float(self.heights[-1] - self.heights[0]) if cut.size else 0.0
        orders = np.fft.rfft(depth[rows], axis=1) / field.columns
        orders *= np.exp(-1j * np.outer(field.start[rows], np.arange(orders.shape[1])))
        self.orders: Complexes = orders
        # Once round the blank, with the deepest places counting for nearly everything: where single
        # turns cut deepest stays plain even where spaces of two turns lie side by side half as deep.
        deep = (depth[rows] / (depth.max() or 1.0)) ** 8
        around = np.exp(-1j * (field.angles[None, :] + field.start[rows][:, None]))
        self.deepest: Complexes = np.asarray((deep * around).mean(axis=1))
        count = self.heights.size
        # Hann's window: what lies at other places of the spectrum then leaks next to nothing.
        place = (self.heights - self.heights.mean()) / (self.face or 1.0) if count else self.heights
        window = np.cos(math.pi * place * count / (count + 1)) ** 2
        self.window = window / window.sum() if count else window
        gaps = np.diff(self.heights)
        self.finest = 0.5 / float(gaps.max()) if gaps.size else 0.0

    def along(self, order: int, per_mm: Floats) -> Complexes:
        """Amplitudes of one order at these waves per mm (positive: a right-hand lean).

        Order −1 stands for the first order of the deepest places alone, without a unit.
        """
        heights = self.heights - self.heights.mean()
        turned = np.exp(1j * TURN * np.outer(per_mm, heights))
        rows = self.deepest if order < 0 else self.orders[:, order]
        return np.asarray(turned @ (self.window * rows))

    def grid(self) -> Floats:
        """Waves per mm fine enough that no peak falls between, within what the rows can tell apart."""
        steps = max(1, math.ceil(4 * self.finest * self.face))
        return np.linspace(-self.finest, self.finest, 2 * steps + 1)

    def peak(self, order: int, near: float, width: float) -> Wave:
        """The highest place of one order within `width` of `near`, to the last digits."""
        for _ in range(12):
            tried = np.linspace(near - width, near + width, 17)
            near = float(tried[np.argmax(np.abs(self.along(order, tried)))])
            width /= 6
        sides = np.linspace(near - width * 50, near + width * 50, 3)
        low, middle, high = np.abs(self.along(order, sides))
        bend = low - 2 * middle + high
        if bend < 0:
            near += float(0.5 * (low - high) / bend * (sides[1] - sides[0]))
        return Wave(order, near, complex(self.along(order, np.array([near]))[0]))
