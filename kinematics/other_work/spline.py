"""Splines that are hobbed: involute ones as gears on another rack, straight-sided ones by rolling.

Lengths are mm, angles degrees.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from handlead.kinematics.frame import arguments
from handlead.kinematics.gears.gear import BasicRack, Gear

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
        """Smallest circle on which a hob can roll, in mm, and still cut the side of the key from its foot to its top.

        For the top √(D² − 0.75·B²): own derivation, below it the rack's profile runs back on itself; the same formula
        stands in handbooks of hob design (from memory). For the foot r + √(r² − (B/2)²), r being half the minor
        diameter: below it no point of the rack comes as deep on the side (own derivation, see `foot_place`); it counts
        only where few wide keys are low.
        """
        root, half = self.minor_diameter / 2, self.key_width / 2
        to_the_top = math.sqrt(self.major_diameter**2 - 0.75 * self.key_width**2)
        return max(to_the_top, root + math.sqrt(root**2 - half**2))

    @property
    def depth(self) -> float:
        """Depth of the spaces, in mm."""
        return (self.major_diameter - self.minor_diameter) / 2

    def corner_place(self, rolling_radius: float) -> float:
        """Distance s = r·sin φ at which the top corner of a key's side touches the rack that rolls on radius r, in mm.

        Own derivation: see `handlead.kinematics.profiles.straight_spline`.
        """
        half = self.key_width / 2
        return math.sqrt(max(rolling_radius**2 - (self.major_diameter / 2) ** 2 + half**2, 0.0))

    def foot_place(self, rolling_radius: float) -> float:
        """The same where the rack is as deep as the minor diameter asks: s·(s − B/2)/r is that depth."""
        half = self.key_width / 2
        deep = rolling_radius * (rolling_radius - self.minor_diameter / 2)
        return (half + math.sqrt(max(half**2 + 4 * deep, 0.0))) / 2


@dataclass(frozen=True)
class RolledKeys:
    """What a hob of sharp corners leaves of keys when it rolls on `rolling_diameter`; diameters in mm.

    The sides are straight down to `straight_from`, below which a fillet thickens them to `foot_width` at the minor
    diameter. `bottom` is the width of the bottom between two fillets, along the minor diameter: 0 or less where the
    hob's thread is pointed before it is as deep; `flat` is the width over the tip of that thread.
    """

    rolling_diameter: float
    straight_from: float
    foot_width: float
    bottom: float
    flat: float

    @classmethod
    def of(cls, spline: StraightSpline, rolling_diameter: float | None = None) -> RolledKeys:
        """Roll a hob for `spline`; on the major diameter unless another circle is given.

        The flat of the hob's tip, w wide, touches the bottom along w/r radians; the rest of the pitch is the key and
        its fillets. Own derivation. Raises `ValueError` for a circle on which the tops of the sides aren't cut.
        """
        rolling = _rolling(spline, spline.major_diameter if rolling_diameter is None else rolling_diameter)
        r = rolling / 2
        sine = spline.foot_place(r) / r
        half = spline.key_width / 2
        flat = 2 * (math.pi * r / spline.keys - rack_half(half, r, sine))
        foot = math.pi / spline.keys - flat / (2 * r)
        root = spline.minor_diameter / 2
        return cls(rolling, fillet_diameter(spline, rolling), 2 * root * math.sin(foot), flat / r * root, flat)


    @classmethod
    def best(cls, spline: StraightSpline) -> RolledKeys:
        """What the hob leaves whose fillets are least, rolling between the least circle that serves and the tops.

        Where no circle leaves a flat at the thread's tip, the least one's.
        """
        least, most = spline.least_rolling_diameter, spline.major_diameter
        tried = [cls.of(spline, least + (most - least) * step / _CIRCLES) for step in range(_CIRCLES + 1)]
        return min((one for one in tried if one.bottom > 0), key=lambda one: one.straight_from, default=tried[0])


#: Circles that are tried for the best one.
_CIRCLES = 200


def rack_half(half_key: float, r: float, sine: float) -> float:
    """Half of the space that a key's side leaves in the rack, where its point of touch lies at angle φ, sin φ given."""
    angle, cosine = math.asin(sine), math.sqrt(1 - sine * sine)
    return half_key * cosine - r * cosine * sine + r * angle


def _rolling(spline: StraightSpline, diameter: float) -> float:
    least = spline.least_rolling_diameter
    return arguments.number("rolling diameter", diameter, unit="mm", at_least=least * (1 - 1e-12))


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
    s = spline.foot_place(r)
    return 2 * math.sqrt(r * r - s * s + half**2)
