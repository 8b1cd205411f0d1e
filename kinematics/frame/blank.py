"""The blank that is cut, and the cut blank as a field of radii over angle and height."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from . import arguments
from .arrays import HoldsArrays

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Blank:
    """A turned blank: outside `diameter` and `face_width` in mm.

    Heights run from 0 at the lower face to the face width.
    """

    diameter: float
    face_width: float

    def __post_init__(self) -> None:
        arguments.number("diameter of the blank", self.diameter, unit="mm", above=0)
        arguments.number("face width of the blank", self.face_width, unit="mm", above=0)
        object.__setattr__(self, "diameter", float(self.diameter))
        object.__setattr__(self, "face_width", float(self.face_width))

    @property
    def radius(self) -> float:
        """Half the diameter, in mm."""
        return self.diameter / 2


@dataclass(frozen=True, eq=False, repr=False)
class Field(HoldsArrays):
    """The cut blank: `radius` in mm, one row a height, one column an angle.

    Column c of row r stands at 2π·c/columns + start[r] radians, counter-clockwise seen facing the
    table; `heights` are in mm above the lower face, rising. `uncut` is the blank's radius.
    """

    radius: Floats
    heights: Floats
    start: Floats
    uncut: float

    def __post_init__(self) -> None:
        super().__post_init__()
        rows, _ = self.radius.shape
        if self.heights.shape != (rows,) or self.start.shape != (rows,):
            raise ValueError(f"{rows} rows of radii need as many heights and start angles")

    @property
    def rows(self) -> int:
        """How many heights."""
        return int(self.radius.shape[0])

    @property
    def columns(self) -> int:
        """How many angles."""
        return int(self.radius.shape[1])

    @property
    def angles(self) -> Floats:
        """Angles of the columns in radians, of a row that starts at 0."""
        return 2 * math.pi * np.arange(self.columns) / self.columns

    def aligned(self) -> Field:
        """The same blank with every row starting at angle 0; radii between columns are interpolated."""
        if not self.start.any():
            return self
        step = 2 * math.pi / self.columns
        place = (self.angles[None, :] - self.start[:, None]) / step
        low = np.floor(place).astype(np.int64)
        part = place - low
        rows = np.arange(self.rows)[:, None]
        radius = (1 - part) * self.radius[rows, low % self.columns] + part * self.radius[
            rows, (low + 1) % self.columns
        ]
        return replace(self, radius=radius, start=np.zeros(self.rows))


@dataclass(frozen=True, eq=False, repr=False)
class FlankMap(HoldsArrays):
    """Deviation of one cut flank from its nominal, along the nominal's normal, out of the material.

    `deviation` in mm has a row for each roll and a column for each height: what stands on the flank
    is positive. `roll_length` is the length of roll r_b·ξ in mm, the path along which profiles are
    traced; `heights` mm over the lower face. `base_cosine` (cos β_b) brings deviations into the
    transverse plane. Places that no edge finishes are NaN.
    """

    deviation: Floats
    roll_length: Floats
    heights: Floats
    base_cosine: float = 1.0

    def __post_init__(self) -> None:
        super().__post_init__()
        if self.deviation.shape != (self.roll_length.size, self.heights.size):
            raise ValueError("a flank map needs a row for each roll and a column for each height")
