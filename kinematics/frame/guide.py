"""A template (a cam, a bar): one end is led by another through points, straight from one to the next or smoothly.

It is no linear relation, so the train knows nothing of it: it displaces an end over another's travel, in the motions.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

Point = tuple[Fraction, Fraction]


@dataclass(frozen=True)
class Guide:
    """What leads `end` over the travel of `over`: points (place of `over`, displacement of `end`), places rising.

    Straight from point to point, or `smooth`: through each point with the slope of the parabola through it and its two
    neighbours, a cubic between, so that three points make their parabola. Beyond the ends it goes on straight, as a
    follower would not: see `covers`. Exact. Raises `ValueError` for fewer than two points, or places that don't rise.
    """

    end: str
    over: str
    points: tuple[Point, ...]
    smooth: bool = False

    def __post_init__(self) -> None:
        points = tuple((Fraction(place), Fraction(off)) for place, off in self.points)
        object.__setattr__(self, "points", points)
        if len(points) < 2:
            raise ValueError("a template needs two points or more")
        for (before, _), (place, _) in itertools.pairwise(points):
            if place <= before:
                raise ValueError(f"places along a template must rise, and {float(place):g} follows {float(before):g}")

    @property
    def slopes(self) -> tuple[Fraction, ...]:
        """The slope at each point: of the parabola through it and its neighbours, with two points of their line."""
        chords = [(b[1] - a[1]) / (b[0] - a[0]) for a, b in itertools.pairwise(self.points)]
        if len(chords) == 1:
            return (chords[0], chords[0])
        widths = [b[0] - a[0] for a, b in itertools.pairwise(self.points)]
        inner = [
            (chords[n] * widths[n + 1] + chords[n + 1] * widths[n]) / (widths[n] + widths[n + 1])
            for n in range(len(chords) - 1)
        ]
        return (2 * chords[0] - inner[0], *inner, 2 * chords[-1] - inner[-1])

    def at(self, place: Fraction) -> Fraction:
        """The displacement where `over` stands at `place`, exactly."""
        place = Fraction(place)
        number = max(0, min(sum(x <= place for x, _ in self.points) - 1, len(self.points) - 2))
        (x, y), (to, high) = self.points[number], self.points[number + 1]
        width = to - x
        part = (place - x) / width
        if not self.smooth:
            return y + (high - y) * part
        first, last = self.slopes[number : number + 2]
        if place < x:
            return y + first * (place - x)
        if place > to:
            return high + last * (place - to)
        bend, back = first * width - (high - y), -last * width + (high - y)
        return y + (high - y) * part + part * (1 - part) * (bend * (1 - part) + back * part)

    def displaced(self, places: Floats) -> Floats:
        """As `at`, for many places at once, in decimals."""
        import numpy as np

        xs, ys = (np.array([float(value) for value in column]) for column in zip(*self.points, strict=True))
        slopes = np.array([float(slope) for slope in self.slopes])
        number = np.clip(np.searchsorted(xs, places, side="right") - 1, 0, xs.size - 2)
        width, rise = xs[number + 1] - xs[number], ys[number + 1] - ys[number]
        part = (places - xs[number]) / width
        if not self.smooth:
            return np.asarray(ys[number] + rise * part)
        bend, back = slopes[number] * width - rise, rise - slopes[number + 1] * width
        inside = np.clip(part, 0, 1)
        cubic = ys[number] + rise * inside + inside * (1 - inside) * (bend * (1 - inside) + back * inside)
        beyond = np.where(part < 0, slopes[number], slopes[number + 1]) * (part - inside) * width
        return np.asarray(cubic + beyond)

    def covers(self, low: Fraction, high: Fraction) -> bool:
        """Whether the template reaches from one place to another."""
        return self.points[0][0] <= low and high <= self.points[-1][0]

    @property
    def steepest(self) -> float:
        """A bound on how fast it displaces, in mm of the one end for a mm of the other."""
        chords = [abs((b[1] - a[1]) / (b[0] - a[0])) for a, b in itertools.pairwise(self.points)]
        steepest = max(chords)
        # The slope of a cubic between its ends is within three halves of its chord's and those at its ends.
        return float(Fraction(3, 2) * (steepest + max(map(abs, self.slopes))) if self.smooth else steepest)

    @property
    def whole(self) -> float:
        """How far apart the displacements of its points lie, in mm."""
        return float(max(off for _, off in self.points) - min(off for _, off in self.points))
