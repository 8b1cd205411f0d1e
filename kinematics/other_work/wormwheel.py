"""Worm and worm wheel: sizes of the blank, and the table's extra turning under tangential feed.

Everything is on the axial module, in mm: the worm's pitch along its axis over π. Source:
worm-gear tables of stock-gear handbooks (from memory); the table's turning is an own derivation.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from handlead.kinematics.frame import arguments
from handlead.kinematics.frame.words import Hand


@dataclass(frozen=True)
class WormDrive:
    """A cylindrical worm and its throated wheel on crossed shafts, of one hand."""

    teeth: int
    """Teeth of the wheel."""
    starts: int
    axial_module: float
    worm_diameter: float
    """Reference diameter of the worm."""
    hand: Hand = Hand.RIGHT
    profile_shift: float = 0.0
    """Of the wheel, in axial modules."""
    addendum: float = 1.0
    dedendum: float = 1.25

    def __post_init__(self) -> None:
        arguments.whole("teeth", self.teeth, at_least=2)
        arguments.whole("starts", self.starts, at_least=1)
        for name, value, unit in (
            ("axial module", self.axial_module, "mm"),
            ("worm diameter", self.worm_diameter, "mm"),
            ("addendum", self.addendum, "modules"),
            ("dedendum", self.dedendum, "modules"),
        ):
            field = name.replace(" ", "_")
            object.__setattr__(self, field, arguments.number(name, value, unit=unit, above=0))
        shift = arguments.number("profile shift", self.profile_shift, unit="modules", at_least=-2, at_most=2)
        object.__setattr__(self, "profile_shift", shift)
        if self.worm_root_diameter <= 0:
            raise ValueError(
                f"worm diameter is {self.worm_diameter:g} mm; it must be above "
                f"{2 * self.dedendum * self.axial_module:g} mm, twice the dedendum"
            )

    @property
    def lead_angle_deg(self) -> float:
        """Lead angle of the worm at its reference cylinder, and helix angle of the wheel's teeth."""
        return math.degrees(math.atan(self.starts * self.axial_module / self.worm_diameter))

    @property
    def normal_module(self) -> float:
        """Module normal to the thread, in mm."""
        return self.axial_module * math.cos(math.radians(self.lead_angle_deg))

    @property
    def worm_lead(self) -> float:
        """Travel of a thread along the worm's axis in one turn, in mm."""
        return math.pi * self.axial_module * self.starts

    @property
    def worm_tip_diameter(self) -> float:
        """Outside diameter of the worm, in mm."""
        return self.worm_diameter + 2 * self.addendum * self.axial_module

    @property
    def worm_root_diameter(self) -> float:
        """Diameter at the worm's roots, in mm."""
        return self.worm_diameter - 2 * self.dedendum * self.axial_module

    @property
    def reference_diameter(self) -> float:
        """Reference diameter of the wheel, in mm."""
        return self.axial_module * self.teeth

    @property
    def throat_diameter(self) -> float:
        """Diameter at the bottom of the wheel's throat, in mm."""
        return self.reference_diameter + 2 * self.axial_module * (self.addendum + self.profile_shift)

    @property
    def throat_radius(self) -> float:
        """Radius of the hollow turned around the wheel, in mm."""
        return self.centre_distance - self.throat_diameter / 2

    @property
    def root_diameter(self) -> float:
        """Diameter at the wheel's roots, in its middle plane, in mm."""
        return self.reference_diameter - 2 * self.axial_module * (self.dedendum - self.profile_shift)

    @property
    def centre_distance(self) -> float:
        """Distance of the two shafts, in mm."""
        return (self.worm_diameter + self.reference_diameter) / 2 + self.profile_shift * self.axial_module

    @property
    def whole_depth(self) -> float:
        """Depth of the teeth, in mm."""
        return self.axial_module * (self.addendum + self.dedendum)


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


def table_per_tangential_mm(module: float, teeth: int, lead_angle_deg: float = 0.0) -> float:
    """Table turns per mm of travel along the hob's axis, as an amount.

    1 / (π·m_x·z) for a hob whose axis stands as the worm's, with the axial module; or, with the
    normal module and the hob's lead angle, cos γ / (π·m_n·z), which is the same thing. The sense
    is that of rolling.
    """
    m = arguments.number("module", module, unit="mm", above=0)
    angle = arguments.number("lead angle of the hob", lead_angle_deg, unit="deg", at_least=0, below=90)
    return math.cos(math.radians(angle)) / (math.pi * m * arguments.whole("teeth", teeth, at_least=1))


def threads_met(teeth: int, starts: int) -> int:
    """How many of the hob's threads one tooth space meets: k / gcd(z, k).

    Fewer than all: errors between the threads are copied onto the wheel, and a fly tool has to
    be indexed anew between passes. Own derivation.
    """
    k = arguments.whole("starts", starts, at_least=1)
    return k // math.gcd(arguments.whole("teeth", teeth, at_least=1), k)
