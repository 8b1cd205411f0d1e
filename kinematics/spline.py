"""Splines that are hobbed: involute ones as gears on another rack, straight-sided ones by rolling.

Lengths are mm, angles degrees.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from . import arguments
from .gear import BasicRack, Gear

#: Racks of external involute splines (ISO 4156-1, numbers from memory), by pressure angle and root form.
INVOLUTE_RACKS: dict[str, BasicRack] = {
    "30 flat root": BasicRack(30.0, 0.5, 0.75, 0.2),
    "30 fillet root": BasicRack(30.0, 0.5, 0.9, 0.4),
    "37.5 fillet root": BasicRack(37.5, 0.45, 0.7, 0.3),
    "45 fillet root": BasicRack(45.0, 0.4, 0.6, 0.25),
}


def involute_spline(teeth: int, module: float, rack: str, face_width: float | None = None) -> Gear:
    """The shaft's side of an involute spline, as the gear that it is to the hobbing machine.

    `rack` is a key of `INVOLUTE_RACKS`. Raises `ValueError` for another, naming those there are.

    >>> involute_spline(20, 2, "30 flat root").tip_diameter
    42.0
    """
    if rack not in INVOLUTE_RACKS:
        raise ValueError(f"rack is {rack!r}; it must be one of {', '.join(map(repr, INVOLUTE_RACKS))}")
    profile = INVOLUTE_RACKS[rack]
    return Gear(
        teeth,
        module,
        pressure_angle_n_deg=profile.pressure_angle_deg,
        face_width=face_width,
        rack=profile,
    )


def rack_for(pressure_angle_deg: float) -> BasicRack | None:
    """A rack of that pressure angle; None where there is none. With 30° the flat root's, the shallower."""
    return next(
        (rack for rack in INVOLUTE_RACKS.values() if rack.pressure_angle_deg == pressure_angle_deg), None
    )


def has_one_root(pressure_angle_deg: float) -> bool:
    """Whether the racks of that pressure angle all have the same depth, so that it is known without the hob's."""
    depths = {
        rack.dedendum for rack in INVOLUTE_RACKS.values() if rack.pressure_angle_deg == pressure_angle_deg
    }
    return len(depths) == 1


@dataclass(frozen=True)
class StraightSpline:
    """A shaft with parallel-sided keys, for a hob made for this very count and diameter."""

    keys: int
    minor_diameter: float
    major_diameter: float
    key_width: float

    def __post_init__(self) -> None:
        arguments.whole("keys", self.keys, at_least=3)
        minor = arguments.number("minor diameter", self.minor_diameter, unit="mm", above=0)
        major = arguments.number("major diameter", self.major_diameter, unit="mm", above=minor)
        widest = minor * math.sin(math.pi / self.keys)
        width = arguments.number("key width", self.key_width, unit="mm", above=0)
        if width >= widest:
            raise ValueError(
                f"key width is {width:g} mm; {self.keys} keys on a minor diameter of {minor:g} mm leave "
                f"room for less than {widest:.6g} mm"
            )
        object.__setattr__(self, "minor_diameter", minor)
        object.__setattr__(self, "major_diameter", major)
        object.__setattr__(self, "key_width", width)

    @property
    def least_rolling_diameter(self) -> float:
        """Smallest circle on which a hob can roll and still cut the side of the key to its top.

        √(D² − 0.75·B²): own derivation, below it the rack's profile runs back on itself; the same
        formula stands in handbooks of hob design (from memory).
        """
        return math.sqrt(self.major_diameter**2 - 0.75 * self.key_width**2)

    @property
    def depth(self) -> float:
        """Depth of the spaces, in mm."""
        return (self.major_diameter - self.minor_diameter) / 2


def fillet_diameter(spline: StraightSpline, rolling_diameter: float | None = None) -> float:
    """Diameter down to which the sides of the keys come out straight, in mm; a fillet lies below.

    It is never the minor diameter: no rack rolls a corner. `rolling_diameter` is the hob's, the
    smallest that serves if it isn't given. Own derivation, for a hob with sharp tip corners: the
    side's point at distance t from the foot of its perpendicular is cut when its normal passes
    through the point of rolling, at depth s·(s − B/2)/r with s² = r² − t².
    """
    least = spline.least_rolling_diameter
    rolling = least if rolling_diameter is None else rolling_diameter
    r = arguments.number("rolling diameter", rolling, unit="mm", at_least=least) / 2
    half = spline.key_width / 2
    s = (half + math.sqrt(half**2 + 4 * r * (r - spline.minor_diameter / 2))) / 2
    return 2 * math.sqrt(r * r - s * s + half**2)
