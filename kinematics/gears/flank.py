"""The nominal flank: the involute helicoid on the drawing, point by point, with its normals.

A point is named by its roll (radians of the involute's unwinding), its height over the lower face
and the space that it bounds. `side` +1 is the flank on the counter-clockwise side of a space seen
facing the table, −1 the one across.
Source: involute helicoid, ISO 21771 (from memory); signs follow from the frame.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from .gear import Gear

Floats = npt.NDArray[np.float64]

TURN = 2 * math.pi


@dataclass(frozen=True)
class NominalFlank:
    """One side of the spaces of a gear; `middle` is the angle of space 0 at height 0, in radians."""

    gear: Gear
    side: int
    middle: float = 0.0

    def __post_init__(self) -> None:
        if self.side not in (-1, 1):
            raise ValueError(f"side of the flank is {self.side}; it must be 1 or -1")

    @property
    def base_radius(self) -> float:
        """Radius of the base cylinder, in mm."""
        return self.gear.base_diameter / 2

    @property
    def twist(self) -> float:
        """Turn of the tooth about the axis per mm of height, in radians, right hand positive."""
        return self.gear.twist

    @property
    def pressure_angle(self) -> float:
        """Transverse pressure angle at the reference cylinder, in radians."""
        return math.radians(self.gear.transverse_pressure_angle_deg)

    @property
    def base_cosine(self) -> float:
        """Cosine of the base helix angle: what a transverse distance along the line of action is reduced by."""
        return math.cos(math.radians(self.gear.base_helix_angle_deg))

    @property
    def _start(self) -> float:
        # Angle of the base point of the involute, from the middle of its space.
        gear = self.gear
        half_tooth = gear.normal_thickness / (gear.module_n * gear.teeth)
        involute = math.tan(self.pressure_angle) - self.pressure_angle
        return self.side * (math.pi / gear.teeth - half_tooth - involute)

    def tangent_angle(self, roll: Floats, height: Floats, space: Floats | float = 0.0) -> Floats:
        """Angle at which the normal through a point touches the base cylinder, in radians on the blank."""
        turned = self.middle + TURN * space / self.gear.teeth + self._start
        return np.asarray(turned + self.side * roll + self.twist * height)
