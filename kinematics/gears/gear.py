"""External involute gears: rack, helix, and the sizes that a blank is turned to.

Lengths are millimetres and angles degrees throughout. A helix angle is measured from the
work axis and never negative: which way the teeth lean is the hand's business alone.

Sources: ISO 21771 for the geometry and its symbols, ISO 53 for the racks (both from memory);
a function says where it rests on something else.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from typing import TypeVar

from handlead.kinematics.frame import arguments
from handlead.kinematics.frame.words import Hand

Number = TypeVar("Number", float, Fraction)

MM_PER_INCH = Fraction(127, 5)

#: Clearance between the hob's root and the tip of the work, in modules, where nothing else is said.
ROOT_CLEARANCE = 0.25

#: Below this tangent, ``tan a - a`` is summed as a series: the plain difference loses its digits.
_SERIES_BELOW = 0.1


# ---------------------------------------------------------------- the rack


@dataclass(frozen=True)
class BasicRack:
    """A basic rack tooth profile; heights and radius in modules, from the datum line."""

    pressure_angle_deg: float = 20.0
    addendum: float = 1.0
    dedendum: float = 1.25
    root_radius: float = 0.38

    def __post_init__(self) -> None:
        arguments.number("pressure angle", self.pressure_angle_deg, unit="deg", above=0, at_most=45)
        arguments.number("addendum of the rack", self.addendum, unit="modules", above=0, at_most=3)
        arguments.number("dedendum of the rack", self.dedendum, unit="modules", above=0, at_most=3)
        arguments.number("root radius of the rack", self.root_radius, unit="modules", at_least=0, at_most=1)

    @property
    def form_height(self) -> float:
        """Height below the datum line to which the rack's flank is straight, in modules."""
        return self.dedendum - self.root_radius * (1 - math.sin(math.radians(self.pressure_angle_deg)))


#: Basic rack profiles of ISO 53, by their letter (numbers from memory): A for high torque, B and C
#: for ordinary service, D for flanks finished by grinding or shaving.
ISO_53: dict[str, BasicRack] = {
    "A": BasicRack(20.0, 1.0, 1.25, 0.38),
    "B": BasicRack(20.0, 1.0, 1.25, 0.30),
    "C": BasicRack(20.0, 1.0, 1.25, 0.25),
    "D": BasicRack(20.0, 1.0, 1.40, 0.39),
}


# ---------------------------------------------------------------- angles, pitches and the helix


def involute(angle_deg: float) -> float:
    """The involute function, tan a − a, a number (radians).

    Raises `ValueError` outside 0 to 90 deg, 90 left out.

    >>> round(involute(20), 8)
    0.01490438
    """
    angle = arguments.number("angle", angle_deg, unit="deg", at_least=0, below=90)
    return involute_of_tangent(math.tan(math.radians(angle)))


def inverse_involute(value: float) -> float:
    """The angle in degrees whose involute is `value`; `ValueError` below 0.

    >>> round(inverse_involute(0.0234052), 4)
    23.1126
    """
    value = arguments.number("involute", value, at_least=0)
    if value == 0:
        return 0.0
    # t − atan t is convex for t > 0, so that Newton's steps come down on the root from above.
    tangent = min(math.cbrt(3 * value) * (1 + math.cbrt(value)), value + math.pi / 2)
    for _ in range(60):
        square = tangent * tangent
        step = (involute_of_tangent(tangent) - value) * (1 + square) / square
        tangent -= step
        if abs(step) <= 1e-15 * tangent:
            break
    return math.degrees(math.atan(tangent))


def involute_of_tangent(tangent: float) -> float:
    """The involute of the angle with this tangent, in radians."""
    if tangent >= _SERIES_BELOW:
        return tangent - math.atan(tangent)
    square = tangent * tangent
    return tangent * square * sum((-square) ** n / (2 * n + 3) for n in range(8))


def diametral_pitch_from_module(module: Number) -> Number:
    """Diametral pitch in 1/in of a module in mm; a fraction stays one. `ValueError` at or below 0."""
    arguments.number("module", module, unit="mm", above=0)
    if isinstance(module, Fraction):
        return MM_PER_INCH / module
    return float(MM_PER_INCH) / module


def transverse_module(module_n: float, helix_angle_deg: float) -> float:
    """Module in the plane across the axis, in mm, from the one normal to the tooth."""
    return whole_module(module_n) / math.cos(helix_rad(helix_angle_deg))


def transverse_pressure_angle_deg(pressure_angle_n_deg: float, helix_angle_deg: float) -> float:
    """Pressure angle in the plane across the axis, in degrees, from the one normal to the tooth."""
    normal = math.radians(whole_pressure_angle(pressure_angle_n_deg))
    return math.degrees(math.atan(math.tan(normal) / math.cos(helix_rad(helix_angle_deg))))


def normal_pressure_angle_deg(pressure_angle_t_deg: float, helix_angle_deg: float) -> float:
    """Pressure angle normal to the tooth, in degrees, from the one in the plane across the axis."""
    angle = arguments.number("transverse pressure angle", pressure_angle_t_deg, unit="deg", above=0, below=90)
    return math.degrees(math.atan(math.tan(math.radians(angle)) * math.cos(helix_rad(helix_angle_deg))))


def axial_pitch(module_n: float, helix_angle_deg: float) -> float:
    """Distance along the axis from a tooth to the next, in mm: π·m_n / sin β.

    Raises `ValueError` at 0 deg: along a spur gear's axis there is no next tooth.
    """
    sine = math.sin(helix_rad(helix_angle_deg))
    pitch = math.pi * whole_module(module_n) / sine if sine else math.inf
    if not math.isfinite(pitch):
        raise ValueError(
            f"helix angle is {helix_angle_deg!r} deg; a spur gear has no lead and no axial pitch. "
            "Give an angle above 0"
        )
    return pitch


def lead(module_n: float, teeth: int, helix_angle_deg: float) -> float:
    """Travel along the work axis in which a tooth goes once round, in mm.

    `module_n` is normal to the tooth, in mm. Raises `ValueError` at 0 deg: a spur gear has no lead.

    >>> round(lead(2, 30, 15), 3)
    728.291
    """
    return arguments.whole("teeth", teeth, at_least=1) * axial_pitch(module_n, helix_angle_deg)


def helix_angle_at(diameter: float, lead: float) -> float:
    """Helix angle in degrees at a cylinder of `diameter`, both in mm: tan β = π·d / L."""
    diameter = arguments.number("diameter", diameter, unit="mm", above=0)
    return math.degrees(math.atan(math.pi * diameter / arguments.number("lead", lead, unit="mm", above=0)))


# ---------------------------------------------------------------- the gear


@dataclass(frozen=True)
class Gear:
    """An external gear as drawn: normal module and angles, hand, profile shift, width, rack.

    `hand` is None for a spur gear, and only for one. `profile_shift` is in normal modules. The
    rack's own pressure angle is not used: `pressure_angle_n_deg` is. Raises `ValueError` or
    `TypeError` for sizes that no gear can have.
    """

    teeth: int
    module_n: float
    helix_angle_deg: float = 0.0
    hand: Hand | None = None
    pressure_angle_n_deg: float = 20.0
    profile_shift: float = 0.0
    face_width: float | None = None
    rack: BasicRack = ISO_53["A"]

    def __post_init__(self) -> None:
        arguments.whole("teeth", self.teeth, at_least=1)
        # Sizes read from a file are fractions; geometry needs sines, so they become floats here, once.
        object.__setattr__(self, "module_n", whole_module(self.module_n))
        object.__setattr__(self, "helix_angle_deg", helix_of_hand(self.hand, self.helix_angle_deg))
        object.__setattr__(self, "pressure_angle_n_deg", whole_pressure_angle(self.pressure_angle_n_deg))
        shift = arguments.number("profile shift", self.profile_shift, unit="modules", at_least=-3, at_most=3)
        object.__setattr__(self, "profile_shift", shift)
        if self.face_width is not None:
            width = arguments.number("face width", self.face_width, unit="mm", above=0)
            object.__setattr__(self, "face_width", width)
        if self.root_diameter <= 0:
            raise ValueError(
                f"profile shift is {shift:g}; with {self.teeth} teeth nothing is left below the roots. "
                "A larger shift or more teeth would be right"
            )

    @property
    def transverse_module(self) -> float:
        """Module in the plane across the axis, in mm."""
        return self.module_n / math.cos(self._helix)

    @property
    def transverse_pressure_angle_deg(self) -> float:
        """Pressure angle in the plane across the axis, at the reference cylinder, in degrees."""
        return math.degrees(self.pressure_t_rad)

    @property
    def reference_diameter(self) -> float:
        """Diameter of the reference cylinder d, in mm."""
        return self.teeth * self.transverse_module

    @property
    def base_diameter(self) -> float:
        """Diameter of the base cylinder d_b, in mm."""
        return self.reference_diameter * math.cos(self.pressure_t_rad)

    @property
    def tip_diameter(self) -> float:
        """Outside diameter d_a of the blank, in mm, without any tip shortening."""
        return self.reference_diameter + 2 * self.addendum

    @property
    def root_diameter(self) -> float:
        """Diameter at the roots d_f, in mm, cut to the rack's full depth with no backlash allowance."""
        return self.reference_diameter - 2 * self.dedendum

    @property
    def addendum(self) -> float:
        """Height of the tooth above the reference cylinder h_a, in mm."""
        return self.module_n * (self.rack.addendum + self.profile_shift)

    @property
    def dedendum(self) -> float:
        """Depth of the space below the reference cylinder h_f, in mm."""
        return self.module_n * (self.rack.dedendum - self.profile_shift)

    def centres_with(self, diameter: float) -> float:
        """Distance of axes in mm, cut to full depth by a hob, or run by a worm, of this reference diameter."""
        return self.reference_diameter / 2 + self.profile_shift * self.module_n + diameter / 2

    @property
    def whole_depth(self) -> float:
        """Whole depth of the teeth h, in mm, from the unshortened tip."""
        return self.module_n * (self.rack.addendum + self.rack.dedendum)

    @property
    def twist(self) -> float:
        """Turn of the tooth about the axis per mm of height, in radians, right hand positive; 0 for straight teeth."""
        return 0.0 if self.lead is None or self.hand is None else 2 * math.pi * self.hand.value / self.lead

    @property
    def lead(self) -> float | None:
        """Travel along the axis in which a tooth goes once round, in mm; None for a spur gear."""
        return None if self.hand is None else lead(self.module_n, self.teeth, self.helix_angle_deg)

    @property
    def axial_pitch(self) -> float | None:
        """Distance along the axis from a tooth to the next, in mm; None for a spur gear."""
        return None if self.hand is None else axial_pitch(self.module_n, self.helix_angle_deg)

    @property
    def base_helix_angle_deg(self) -> float:
        """Helix angle at the base cylinder, in degrees: sin β_b = sin β·cos α_n."""
        return math.degrees(math.asin(math.sin(self._helix) * math.cos(self.pressure_n_rad)))

    @property
    def normal_base_pitch(self) -> float:
        """Distance from flank to flank of like side, normal to them p_bn, in mm."""
        return math.pi * self.module_n * math.cos(self.pressure_n_rad)

    @property
    def half_space_deg(self) -> float:
        """Half the angle of a space on the reference circle, seen from the axis, in degrees."""
        return math.degrees(math.pi / self.teeth - self.normal_thickness / (self.module_n * self.teeth))

    @property
    def normal_thickness(self) -> float:
        """Thickness of the tooth along the reference cylinder, normal to it s_n, in mm."""
        return self.module_n * (math.pi / 2 + 2 * self.profile_shift * math.tan(self.pressure_n_rad))

    @property
    def transverse_thickness(self) -> float:
        """Thickness of the tooth along the reference circle s_t, in mm."""
        return self.normal_thickness / math.cos(self._helix)

    @property
    def virtual_teeth(self) -> float:
        """Teeth of the spur gear whose teeth look like these, cut normal to them: z / cos³ β."""
        return self.teeth / math.cos(self._helix) ** 3

    @property
    def _helix(self) -> float:
        return math.radians(self.helix_angle_deg)

    @property
    def pressure_n_rad(self) -> float:
        """Pressure angle normal to the tooth, in radians."""
        return math.radians(self.pressure_angle_n_deg)

    @property
    def pressure_t_rad(self) -> float:
        """Transverse pressure angle at the reference cylinder, in radians."""
        return math.atan(math.tan(self.pressure_n_rad) / math.cos(self._helix))

    @property
    def involute_t(self) -> float:
        """The involute of that angle, in radians."""
        return involute_of_tangent(math.tan(self.pressure_t_rad))


def thickness_at(gear: Gear, diameter: float) -> float:
    """Thickness of the tooth along the circle of `diameter`, in mm, across the axis.

    Zero or less means that the flanks have met below that circle: the tooth is pointed.
    Raises `ValueError` below the base circle, where there is no involute.
    """
    base = gear.base_diameter
    diameter = arguments.number("diameter", diameter, unit="mm", at_least=base)
    tangent = math.sqrt(max((diameter / base) ** 2 - 1, 0.0))
    half_angle = gear.transverse_thickness / gear.reference_diameter
    return diameter * (half_angle + gear.involute_t - involute_of_tangent(tangent))


def least_profile_shift(gear: Gear) -> float:
    """Smallest profile shift, in normal modules, at which the rack doesn't undercut the tooth.

    Own derivation: the end of the rack's straight flank reaches the point where the line of
    action touches the base circle, x = h − z·sin² α_t / (2·cos β).
    """
    return gear.rack.form_height - gear.teeth * math.sin(gear.pressure_t_rad) ** 2 / (2 * math.cos(gear._helix))


# ---------------------------------------------------------------- checks at the door


def whole_module(module: float) -> float:
    """A module in mm as a float, checked."""
    return arguments.number("module", module, unit="mm", above=0, at_most=1000)


def helix_rad(helix_angle_deg: float) -> float:
    """A helix angle given in degrees, checked, in radians."""
    return math.radians(_whole_helix_angle(helix_angle_deg))


def _whole_helix_angle(helix_angle_deg: float) -> float:
    return arguments.number("helix angle", helix_angle_deg, unit="deg", at_least=0, below=90)


def whole_pressure_angle(pressure_angle_deg: float) -> float:
    """A pressure angle in degrees as a float, checked."""
    return arguments.number("pressure angle", pressure_angle_deg, unit="deg", above=0, at_most=45)


def helix_of_hand(hand: Hand | None, helix_angle_deg: float) -> float:
    """A helix angle in degrees, checked against the hand that goes with it."""
    helix_angle = _whole_helix_angle(helix_angle_deg)
    if hand is None and helix_angle != 0:
        raise ValueError(f"hand is missing; at a helix angle of {helix_angle:g} deg it must be right or left")
    if hand is not None and helix_angle == 0:
        raise ValueError(f"hand is {hand.word} at a helix angle of 0; leave the hand out for spur work")
    return helix_angle
