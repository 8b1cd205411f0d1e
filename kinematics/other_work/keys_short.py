"""Straight-sided keys while the hob isn't at full depth yet: how wide they are where they are measured.

The hob's thread rolls on the same circle, only farther out. A point of it that would touch a key's side at roll φ,
normal to the side there, then touches on the same normal where that passes through the point of rolling again: farther
along by e/sin φ, after a turn less by e·cot φ/r (e short of depth, r the rolling radius). So a key short of depth
isn't parallel: it is wider towards its foot. Own derivation; held against a rolled rack in the tests.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from .spline import RolledKeys, StraightSpline

#: Halvings that bring a length in a drawing to less than a nanometre.
_HALVINGS = 60


@dataclass(frozen=True)
class KeyMeasure:
    """A key as a tooth caliper measures it, its tongue set to `height` below the top (mm), half way down its side."""

    spline: StraightSpline
    rolling_radius: float
    height: float

    @classmethod
    def of(cls, spline: StraightSpline, rolling_diameter: float) -> KeyMeasure:
        """Half way between the top and where the sides come out straight to. Raises `ValueError` as `RolledKeys.of`."""
        straight = RolledKeys.of(spline, rolling_diameter).straight_from / 2
        low = math.sqrt(straight**2 - (spline.key_width / 2) ** 2)
        return cls(spline, rolling_diameter / 2, (spline.major_diameter / 2 - low) / 2)

    def width(self, short: float) -> float:
        """What it measures with the hob `short` of full depth, in mm; below 0 too deep.

        Raises `ValueError` where the fillet at the foot still reaches as far up, or the side isn't made so far up.
        """
        low, high = self._ends
        at = self.spline.major_diameter / 2 - self.height
        if not self._made(high, short)[1] <= at <= self._made(low, short)[1]:
            raise ValueError(f"at {short:.3f} mm off full depth the key's side isn't made {self.height:.3f} mm down")
        sine = _root(lambda one: self._made(one, short)[1] - at, low, high)
        return 2 * self._made(sine, short)[0]

    @property
    def longest(self) -> float:
        """The farthest off full depth, in mm, at which the side is made where it is measured, its fillet below."""
        foot, at = self._ends[1], self.spline.major_diameter / 2 - self.height
        return _root(lambda short: self._made(foot, short)[1] - at, 0.0, self.spline.depth)

    def short(self, width: float) -> float:
        """How far off full depth the hob is where a key measures so wide, in mm; below 0 too deep.

        Raises `ValueError` for a width that tells no depth: of keys so thick that the fillet still reaches up there, or
        so thin that their tops are gone.
        """
        low, high = self._deepest, self.longest * (1 - 1e-9)
        if not self.width(low) <= width <= self.width(high):
            raise ValueError(
                f"key width is {width:.3f} mm, and {self.height:.3f} mm down it tells the depth from "
                f"{self.width(low):.3f} mm to {self.width(high):.3f} mm only"
            )
        return _root(lambda one: self.width(one) - width, low, high)

    @property
    def _deepest(self) -> float:
        """The farthest past full depth at which the side is still made at its height."""
        top, at = self._ends[0], self.spline.major_diameter / 2 - self.height
        reach = -self.spline.depth
        if self._made(top, reach)[1] >= at:
            return reach
        return _root(lambda short: self._made(top, short)[1] - at, reach, 0.0) * (1 - 1e-9)

    @property
    def _ends(self) -> tuple[float, float]:
        """Sine of the roll at which the thread's two ends touch a side at full depth: at its top, and at its foot."""
        r = self.rolling_radius
        return self.spline.corner_place(r) / r, self.spline.foot_place(r) / r

    def _made(self, sine: float, short: float) -> tuple[float, float]:
        """Half the key's width, and the distance along its middle from the axis, that a point of the thread makes."""
        r = self.rolling_radius
        roll = math.asin(sine)
        later = -short / (math.tan(roll) * r)
        along = self.spline.key_width / 2 - r * sine + short / sine
        turned = roll + later
        return r * math.sin(turned) + along * math.cos(later), r * math.cos(turned) - along * math.sin(later)


def _root(gap: Callable[[float], float], low: float, high: float) -> float:
    """Where a difference changes its sign between two ends; the upper one where it doesn't."""
    rises = gap(low) < 0
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        if (gap(middle) < 0) is rises:
            low = middle
        else:
            high = middle
    return (low + high) / 2
