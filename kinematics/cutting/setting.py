"""What a cut is made with, and where the blank is looked at."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from handlead.kinematics.frame import arguments
from handlead.kinematics.frame.blank import Blank
from handlead.kinematics.frame.motion import Rates
from handlead.kinematics.gears.gear import Gear

from .hob import Hob
from .sweep import reach, tool

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Setting:
    """How hob and blank are set to each other: rates, hob, blank, the head's swivel and the centre distance.

    `rates` are those per turn of a hob cutting up, `swivel_deg` is signed in the frame. `centre_distance` in mm is
    from the work's axis to the hob's where the radial position is 0; None where the depth isn't settled yet: a light
    cut finds its own.
    """

    rates: Rates
    hob: Hob
    blank: Blank
    swivel_deg: float
    centre_distance: float | None = None

    @property
    def distance(self) -> float:
        """The centre distance. Raises `ValueError` where it isn't settled."""
        if self.centre_distance is None:
            raise ValueError("centre distance is missing; it says how deep the hob stands, so give it in mm")
        return self.centre_distance

    @property
    def deep(self) -> float:
        """How far in from its first touch the hob stands, in mm; 0 or less: it never reaches the blank."""
        return self.blank.radius + self.hob.tip_radius - self.distance

    def sunk(self, depth: float) -> Setting:
        """The same with the hob so many mm in from where it first touches the blank."""
        return replace(self, centre_distance=self.blank.radius + self.hob.tip_radius - depth)

    def to_depth(self, gear: Gear) -> Setting:
        """The same with the hob as deep as the gear's drawing has it."""
        return replace(self, centre_distance=gear.centres_with(self.hob.pitch_diameter))

    @property
    def feed(self) -> float:
        """Travel of the axial slide in a turn of the table, in mm; 0 where one of them stands still."""
        return float(abs(self.rates.axial / self.rates.table)) if self.rates.table else 0.0

    def beside(self) -> tuple[float, float]:
        """How far from its lowest point the hob may touch the blank, up or down, and sideways with its teeth, in mm."""
        cutter = tool(self.hob, self.swivel_deg, 0.3)
        up, side = reach(cutter, self.distance, self.blank.radius)
        return up, side + cutter.half_width


@dataclass(frozen=True, eq=False)
class Grid:
    """Where the blank is looked at, and how finely.

    Rows stand at `heights` in mm, or so many `rows` evenly over the face; each has so many `columns`, which begin at
    its angle of `start` in radians (0 where left out). `fineness` refines the hob's edges (see `Hob.edge`).
    """

    heights: Floats | None = None
    start: Floats | None = None
    rows: int = 41
    columns: int = 1024
    fineness: float = 1.0

    def over(self, face_width: float) -> Grid:
        """With the heights and starts of all its rows told, on a face of this width. Raises `ValueError` as checked."""
        heights = self.heights
        if heights is None:
            heights = np.linspace(0, face_width, arguments.whole("rows", self.rows, at_least=2))
        heights = np.asarray(heights, dtype=float)
        start = np.zeros(heights.size) if self.start is None else np.asarray(self.start, dtype=float)
        return replace(self, heights=heights, start=start, columns=arguments.whole("columns", self.columns, at_least=8))

    def some(self, rows: slice | npt.NDArray[np.bool_]) -> Grid:
        """Some of its rows."""
        assert self.heights is not None
        return replace(
            self, heights=self.heights[rows], start=None if self.start is None else self.start[rows]
        )


def scattered(heights: Floats, columns: int) -> Grid:
    """Rows that each start at some other part of a column, always the same ones.

    So what is too fine for the columns comes out as a little noise and can't pose as something coarse.
    """
    start = np.random.default_rng(1).random(heights.size) * (2 * math.pi / columns)
    return Grid(heights, start, columns=columns, fineness=0.7)
