"""Worm and worm wheel: sizes of the blank, and the table's extra turning under tangential feed.

Everything is on the axial module, in mm: the worm's pitch along its axis over π. Source:
worm-gear tables of stock-gear handbooks (from memory); the table's turning is an own derivation.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from handlead.kinematics.frame import arguments


@dataclass(frozen=True)
class Throat:
    """The hollow turned round a worm wheel's blank: lengths in mm, heights from the middle of the face.

    In a plane through the wheel's axis it is an arc of `radius` about the worm's axis, which stands `centres` from
    the wheel's. Beside it the blank is turned to `rim_diameter`, or ends with its `face_width`.
    """

    centres: float
    radius: float
    rim_diameter: float
    face_width: float

    def __post_init__(self) -> None:
        for name in ("centres", "radius", "rim_diameter", "face_width"):
            value = arguments.number(name.replace("_", " ") + " of the throat", getattr(self, name), unit="mm", above=0)
            object.__setattr__(self, name, value)
        if self.radius >= self.centres:
            raise ValueError(
                f"throat radius is {self.radius:g} mm; it must be below the centre distance, {self.centres:g} mm"
            )
        if self.rim_diameter < self.diameter - 1e-9:
            raise ValueError(
                f"rim diameter is {self.rim_diameter:g} mm; it must be {self.diameter:.4f} mm or more, what the throat "
                "leaves in the middle"
            )

    @property
    def diameter(self) -> float:
        """Diameter at the bottom of the throat, in mm."""
        return 2 * (self.centres - self.radius)

    @property
    def half_width(self) -> float:
        """Height over mid-face at which the hollow ends, at the rim or at the face."""
        below = max(self.centres - self.rim_diameter / 2, 0.0)
        return min(math.sqrt(max(self.radius**2 - below**2, 0.0)), self.face_width / 2)

    def radius_at(self, height: float) -> float:
        """Radius of the blank at a height over mid-face, in mm."""
        if abs(height) >= self.radius:
            return self.rim_diameter / 2
        return min(self.centres - math.sqrt(self.radius**2 - height**2), self.rim_diameter / 2)

    def touch(self, tip_radius: float) -> float:
        """Centre distance in mm at which a hob of `tip_radius`, coming straight in, first touches the blank.

        A hob is greater than the hollow, by clearance and by the depth of the teeth, so that it comes down on the
        edges: R(z) + √(r² − z²) is greatest there. Own derivation; the head stands level, as for a hob of the worm's
        lead angle, and the hob is long enough.
        """
        tip = arguments.number("tip radius of the hob", tip_radius, unit="mm", above=0)
        edge = min(self.half_width, tip)
        at_edge = self.centres - math.sqrt(max(self.radius**2 - edge**2, 0.0)) + math.sqrt(tip**2 - edge**2)
        return max(at_edge, self.diameter / 2 + tip)

    def clears(self, tip_radius: float) -> float:
        """Centre distance in mm from which on a hob of `tip_radius` may pass along the axis, clear of the rim."""
        return self.rim_diameter / 2 + arguments.number("tip radius of the hob", tip_radius, unit="mm", above=0)


def usual_rim_diameter(throat_diameter: float, axial_module: float, starts: int) -> float:
    """Diameter in mm to which a wheel's rim is usually turned at most: d_a + 6·m / (k + 2).

    2 m over the throat for one start, 1.5 m for two, 1 m for four. Source: tables of worm gearing, from memory.
    """
    throat = arguments.number("throat diameter", throat_diameter, unit="mm", above=0)
    module = arguments.number("axial module", axial_module, unit="mm", above=0)
    return throat + 6 * module / (arguments.whole("starts", starts, at_least=1) + 2)


def threads_met(teeth: int, starts: int) -> int:
    """How many of the hob's threads one tooth space meets: k / gcd(z, k).

    Fewer than all: errors between the threads are copied onto the wheel, and a fly tool has to
    be indexed anew between passes. Own derivation.
    """
    k = arguments.whole("starts", starts, at_least=1)
    return k // math.gcd(arguments.whole("teeth", teeth, at_least=1), k)
