"""External involute gears: rack, sizes to turn the blank to, sizes to measure the teeth by.

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
    return _involute_of_tangent(math.tan(math.radians(angle)))


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
        step = (_involute_of_tangent(tangent) - value) * (1 + square) / square
        tangent -= step
        if abs(step) <= 1e-15 * tangent:
            break
    return math.degrees(math.atan(tangent))


def _involute_of_tangent(tangent: float) -> float:
    if tangent >= _SERIES_BELOW:
        return tangent - math.atan(tangent)
    square = tangent * tangent
    return tangent * square * sum((-square) ** n / (2 * n + 3) for n in range(8))


def module_from_diametral_pitch(diametral_pitch: Number) -> Number:
    """Module in mm of a diametral pitch in 1/in; a fraction stays one. `ValueError` at or below 0.

    >>> module_from_diametral_pitch(Fraction(12))
    Fraction(127, 60)
    """
    arguments.number("diametral pitch", diametral_pitch, unit="1/in", above=0)
    if isinstance(diametral_pitch, Fraction):
        return MM_PER_INCH / diametral_pitch
    return float(MM_PER_INCH) / diametral_pitch


def diametral_pitch_from_module(module: Number) -> Number:
    """Diametral pitch in 1/in of a module in mm; a fraction stays one. `ValueError` at or below 0."""
    arguments.number("module", module, unit="mm", above=0)
    if isinstance(module, Fraction):
        return MM_PER_INCH / module
    return float(MM_PER_INCH) / module


def transverse_module(module_n: float, helix_angle_deg: float) -> float:
    """Module in the plane across the axis, in mm, from the one normal to the tooth."""
    return _module(module_n) / math.cos(_helix_rad(helix_angle_deg))


def normal_module(module_t: float, helix_angle_deg: float) -> float:
    """Module normal to the tooth, in mm, from the one in the plane across the axis."""
    return _module(module_t) * math.cos(_helix_rad(helix_angle_deg))


def transverse_pressure_angle_deg(pressure_angle_n_deg: float, helix_angle_deg: float) -> float:
    """Pressure angle in the plane across the axis, in degrees, from the one normal to the tooth."""
    normal = math.radians(_pressure_angle(pressure_angle_n_deg))
    return math.degrees(math.atan(math.tan(normal) / math.cos(_helix_rad(helix_angle_deg))))


def normal_pressure_angle_deg(pressure_angle_t_deg: float, helix_angle_deg: float) -> float:
    """Pressure angle normal to the tooth, in degrees, from the one in the plane across the axis."""
    angle = arguments.number("transverse pressure angle", pressure_angle_t_deg, unit="deg", above=0, below=90)
    return math.degrees(math.atan(math.tan(math.radians(angle)) * math.cos(_helix_rad(helix_angle_deg))))


def axial_pitch(module_n: float, helix_angle_deg: float) -> float:
    """Distance along the axis from a tooth to the next, in mm: π·m_n / sin β.

    Raises `ValueError` at 0 deg: along a spur gear's axis there is no next tooth.
    """
    sine = math.sin(_helix_rad(helix_angle_deg))
    pitch = math.pi * _module(module_n) / sine if sine else math.inf
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


def helix_angle_from_lead(module_n: float, teeth: int, lead: float) -> float:
    """Helix angle in degrees of a gear known by its normal module and lead, both in mm.

    Raises `ValueError` where the lead is so short that no helix angle below 90 deg gives it.

    >>> round(helix_angle_from_lead(2, 30, 728.290915), 6)
    15.0
    """
    shortest = math.pi * _module(module_n) * arguments.whole("teeth", teeth, at_least=1)
    lead = arguments.number("lead", lead, unit="mm", above=0)
    if lead <= shortest:
        raise ValueError(
            f"lead is {lead:g} mm; {teeth} teeth of normal module {float(module_n):g} need one above "
            f"{shortest:.6g} mm"
        )
    return math.degrees(math.asin(shortest / lead))


def helix_angle_at(diameter: float, lead: float) -> float:
    """Helix angle in degrees at a cylinder of `diameter`, both in mm: tan β = π·d / L."""
    diameter = arguments.number("diameter", diameter, unit="mm", above=0)
    return math.degrees(math.atan(math.pi * diameter / arguments.number("lead", lead, unit="mm", above=0)))


# ---------------------------------------------------------------- hob and head


def hob_lead_angle_deg(module_n: float, starts: int, reference_diameter: float) -> float:
    """Lead angle of a hob in degrees: sin γ = k·m_n / d_0, all in mm.

    It grows as the hob is sharpened, since the reference diameter shrinks.

    >>> round(hob_lead_angle_deg(3, 2, 72.5), 6)
    4.747149
    """
    diameter = arguments.number("reference diameter of the hob", reference_diameter, unit="mm", above=0)
    sine = _module(module_n) * arguments.whole("starts", starts, at_least=1) / diameter
    if sine >= 1:
        raise ValueError(
            f"reference diameter of the hob is {diameter:g} mm; {starts} starts of module "
            f"{float(module_n):g} need one above {diameter * sine:g} mm"
        )
    return math.degrees(math.asin(sine))


def swivel_deg(
    hob_hand: Hand, lead_angle_deg: float, work_hand: Hand | None, helix_angle_deg: float
) -> float:
    """Turn of the hob head in degrees, counter-clockwise seen from behind the hob positive.

    h·γ − H·β, with hands right +1 and left −1: it lays the hob's thread along the tooth where
    they meet. `work_hand` is None for spur work. Raises `ValueError` where hand and helix angle
    don't go together. Source: common practice (the two angles add for unlike hands, subtract for
    like ones); the signs are an own derivation from the frame.

    >>> swivel_deg(Hand.RIGHT, 2.0, Hand.RIGHT, 20.0)
    -18.0
    """
    lead_angle = arguments.number("lead angle of the hob", lead_angle_deg, unit="deg", at_least=0, below=90)
    helix_angle = _helix_of_hand(work_hand, helix_angle_deg)
    return hob_hand.value * lead_angle - (work_hand.value * helix_angle if work_hand else 0.0)


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
        object.__setattr__(self, "module_n", _module(self.module_n))
        object.__setattr__(self, "helix_angle_deg", _helix_of_hand(self.hand, self.helix_angle_deg))
        object.__setattr__(self, "pressure_angle_n_deg", _pressure_angle(self.pressure_angle_n_deg))
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
        return math.degrees(self._pressure_t)

    @property
    def reference_diameter(self) -> float:
        """Diameter of the reference cylinder d, in mm."""
        return self.teeth * self.transverse_module

    @property
    def base_diameter(self) -> float:
        """Diameter of the base cylinder d_b, in mm."""
        return self.reference_diameter * math.cos(self._pressure_t)

    @property
    def tip_diameter(self) -> float:
        """Outside diameter d_a of the blank, in mm, without any tip shortening (see `mesh`)."""
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

    @property
    def whole_depth(self) -> float:
        """Whole depth of the teeth h, in mm, from the unshortened tip."""
        return self.module_n * (self.rack.addendum + self.rack.dedendum)

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
        return math.degrees(math.asin(math.sin(self._helix) * math.cos(self._pressure_n)))

    @property
    def normal_base_pitch(self) -> float:
        """Distance from flank to flank of like side, normal to them p_bn, in mm."""
        return math.pi * self.module_n * math.cos(self._pressure_n)

    @property
    def normal_thickness(self) -> float:
        """Thickness of the tooth along the reference cylinder, normal to it s_n, in mm."""
        return self.module_n * (math.pi / 2 + 2 * self.profile_shift * math.tan(self._pressure_n))

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
    def _pressure_n(self) -> float:
        return math.radians(self.pressure_angle_n_deg)

    @property
    def _pressure_t(self) -> float:
        return math.atan(math.tan(self._pressure_n) / math.cos(self._helix))

    @property
    def _involute_t(self) -> float:
        return _involute_of_tangent(math.tan(self._pressure_t))


def thickness_at(gear: Gear, diameter: float) -> float:
    """Thickness of the tooth along the circle of `diameter`, in mm, across the axis.

    Zero or less means that the flanks have met below that circle: the tooth is pointed.
    Raises `ValueError` below the base circle, where there is no involute.
    """
    base = gear.base_diameter
    diameter = arguments.number("diameter", diameter, unit="mm", at_least=base)
    tangent = math.sqrt(max((diameter / base) ** 2 - 1, 0.0))
    half_angle = gear.transverse_thickness / gear.reference_diameter
    return diameter * (half_angle + gear._involute_t - _involute_of_tangent(tangent))


def least_profile_shift(gear: Gear) -> float:
    """Smallest profile shift, in normal modules, at which the rack doesn't undercut the tooth.

    Own derivation: the end of the rack's straight flank reaches the point where the line of
    action touches the base circle, x = h − z·sin² α_t / (2·cos β).
    """
    return gear.rack.form_height - gear.teeth * math.sin(gear._pressure_t) ** 2 / (2 * math.cos(gear._helix))


# ---------------------------------------------------------------- measuring the teeth


def span_teeth(gear: Gear) -> int:
    """How many teeth to take a span over, so that the anvils touch near mid-flank; at least 2."""
    return min(gear.teeth, max(2, math.floor(ideal_span_teeth(gear) + 0.5)))


def ideal_span_teeth(gear: Gear) -> float:
    """The unrounded count for which the anvils touch at diameter d + 2·x·m_n.

    Own derivation from the span itself; for spur and helical gears alike it gives the values
    printed in stock-gear handbooks.
    """
    base = gear.base_diameter
    # The circle that halves a full-depth tooth, kept within the involute for few teeth or deep shifts.
    touched = max(gear.reference_diameter + 2 * gear.profile_shift * gear.module_n, base)
    width = math.sqrt(touched**2 - base**2) / math.cos(math.radians(gear.base_helix_angle_deg))
    return (width - _span_of_no_teeth(gear)) / gear.normal_base_pitch


def span(gear: Gear, teeth_spanned: int) -> float:
    """Base tangent length over `teeth_spanned` teeth W_k, in mm, with no backlash allowance.

    >>> round(span(Gear(24, 3, profile_shift=0.4), 4), 4)
    32.8266
    """
    spanned = arguments.whole("teeth spanned", teeth_spanned, at_least=1, at_most=gear.teeth)
    return spanned * gear.normal_base_pitch + _span_of_no_teeth(gear)


def span_contact_diameter(gear: Gear, teeth_spanned: int) -> float:
    """Diameter at which the anvils touch the flanks, in mm; the tip must lie above it."""
    across = span(gear, teeth_spanned) * math.cos(math.radians(gear.base_helix_angle_deg))
    return math.hypot(gear.base_diameter, across)


def span_least_face_width(gear: Gear, teeth_spanned: int) -> float:
    """Face width in mm that a span needs before both anvils find a flank: W_k·sin β_b.

    The anvils need a little more to rest on; some millimetres are common practice.
    """
    return span(gear, teeth_spanned) * math.sin(math.radians(gear.base_helix_angle_deg))


def span_fits(gear: Gear, teeth_spanned: int) -> bool | None:
    """Whether the span can be measured on this gear; None where its face width isn't known.

    It can where both anvils find a flank within the face width and touch it below the tip.
    A spur gear's span doesn't depend on the width.
    """
    if span_contact_diameter(gear, teeth_spanned) >= gear.tip_diameter:
        return False
    if gear.hand is None:
        return True
    if gear.face_width is None:
        return None
    return gear.face_width > span_least_face_width(gear, teeth_spanned)


def measurable_span(gear: Gear) -> int | None:
    """The count nearest to mid-flank over which a span can be measured on this gear; None where there is none.

    Fewer teeth than `span_teeth` where the face is too narrow, as long as the anvils still touch the
    flanks less than a module below the reference circle. They are given 1.2 mm + 0.018·W_k of the
    tooth's length to rest on (DIN 3960's advice, from memory). A face that isn't known is taken as wide enough.
    """
    for spanned in range(span_teeth(gear), 1, -1):
        if span_contact_diameter(gear, spanned) < gear.reference_diameter - 2 * gear.module_n:
            return None
        rest = (1.2 + 0.018 * span(gear, spanned)) * math.cos(math.radians(gear.base_helix_angle_deg))
        room = math.inf if gear.face_width is None or gear.hand is None else float(gear.face_width)
        if span_fits(gear, spanned) is not False and room > span_least_face_width(gear, spanned) + rest:
            return spanned
    return None


def _span_of_no_teeth(gear: Gear) -> float:
    """What remains of the span's formula at a count of 0."""
    shift = 2 * gear.profile_shift * math.tan(gear._pressure_n)
    factor = gear.teeth * gear._involute_t + shift - math.pi / 2
    return gear.module_n * math.cos(gear._pressure_n) * factor


def over_balls(gear: Gear, ball: float) -> float:
    """Size over two balls of diameter `ball`, in opposite spaces or nearly so, M_dK, in mm.

    Balls, not pins: over pins, a helical gear with an odd count reads differently. Raises
    `ValueError` for a ball so small that it would drop between the flanks.

    >>> round(over_balls(Gear(20, 1), 1.7), 4)
    22.2941
    """
    centres = gear.base_diameter * math.hypot(1, math.tan(_ball_pressure(gear, ball)))
    if gear.teeth % 2:
        centres *= math.cos(math.pi / (2 * gear.teeth))
    return centres + ball


def ball_contact_diameter(gear: Gear, ball: float) -> float:
    """Diameter at which a ball in a tooth space touches the flanks, in mm.

    Own derivation: the ball's radius, along the flank's normal, leads from its centre back
    towards the base cylinder. Raises `ValueError` where the ball would touch below the base
    circle, off the involute.
    """
    base = gear.base_diameter
    reach = base * math.tan(_ball_pressure(gear, ball))
    left = reach - ball * math.cos(math.radians(gear.base_helix_angle_deg))
    if left < 0:
        raise ValueError(
            f"ball is {ball:g} mm; it touches below the base circle. A larger ball would be right"
        )
    return math.hypot(base, left)


def ball_pressure_angle_deg(gear: Gear, ball: float) -> float:
    """Transverse pressure angle at the ball's centre α_K, in degrees; `ValueError` as `over_balls`."""
    return math.degrees(_ball_pressure(gear, ball))


def ball_fits(gear: Gear, ball: float) -> bool:
    """Whether the ball rests on both flanks, clear of the root, and stands out above the tips."""
    try:
        touched = ball_contact_diameter(gear, ball)
    except ValueError:
        return False
    centre = gear.base_diameter * math.hypot(1, math.tan(_ball_pressure(gear, ball)))
    clear_of_root = centre - ball > gear.root_diameter
    return touched < gear.tip_diameter and clear_of_root and centre + ball > gear.tip_diameter


def ideal_ball(gear: Gear) -> float:
    """Diameter in mm of the ball that touches the flanks at diameter d + 2·x·m_n.

    Own derivation: found by halving on the diameter at which the ball touches.
    """
    wanted = max(gear.reference_diameter + 2 * gear.profile_shift * gear.module_n, 1.001 * gear.base_diameter)
    low, high = 0.0, 6 * gear.module_n
    for _ in range(60):
        ball = (low + high) / 2
        try:
            too_small = ball_contact_diameter(gear, ball) < wanted
        except ValueError:
            too_small = True
        low, high = (ball, high) if too_small else (low, ball)
    return (low + high) / 2


def default_ball(gear: Gear, *, inch: bool = False) -> float:
    """A ball likely to be at hand, near to `ideal_ball`, in mm.

    In steps of 0.1 mm below 2 mm, then of 0.5 mm; `inch` balls in steps of 1/64 in below 1/8 in, then of 1/32 in.
    The steps are common practice, not a standard: measure the balls that you have. Where no step
    near by fits, the ideal itself comes back: a ball to be looked for.
    """
    ideal = ideal_ball(gear)
    steps = 10.0 if ideal < 2 else 2.0
    if inch:
        steps = (64 if ideal < MM_PER_INCH / 8 else 32) / float(MM_PER_INCH)
    nearest = round(ideal * steps)
    # On to larger ones: over a tooth that is higher than usual the ideal ball doesn't stand out.
    for ball in ((nearest + step) / steps for step in (0, 1, -1, 2, 3, 4, 5, 6, 7, 8)):
        if ball > 0 and ball_fits(gear, ball):
            return ball
    return ideal


def _ball_pressure(gear: Gear, ball: float) -> float:
    ball = arguments.number("ball", ball, unit="mm", above=0)
    value = (
        ball / (gear.module_n * math.cos(gear._pressure_n))
        - math.pi / 2
        + gear.teeth * gear._involute_t
        + 2 * gear.profile_shift * math.tan(gear._pressure_n)
    ) / gear.teeth
    if value < 0:
        raise ValueError(
            f"ball is {ball:g} mm; it would drop between the flanks. A larger ball would be right"
        )
    return math.radians(inverse_involute(value))


def chordal_thickness(gear: Gear) -> float:
    """Thickness of the tooth along the chord, for a gear-tooth caliper, normal to the tooth, in mm.

    Source: "Elements of Metric Gear Technology", section 10.
    """
    return gear.virtual_teeth * gear.module_n * math.sin(_half_thickness_angle(gear))


def chordal_height(gear: Gear, tip_diameter: float | None = None) -> float:
    """Height from the tip to that chord, to set on the caliper's tongue, in mm.

    `tip_diameter`, measured on the blank in mm, stands in for the drawing's where it is given.
    Source: as `chordal_thickness`.
    """
    addendum = gear.addendum
    if tip_diameter is not None:
        tip = arguments.number("tip diameter", tip_diameter, unit="mm", above=gear.reference_diameter)
        addendum = (tip - gear.reference_diameter) / 2
    rise = gear.virtual_teeth * gear.module_n * (1 - math.cos(_half_thickness_angle(gear))) / 2
    return addendum + rise


def _half_thickness_angle(gear: Gear) -> float:
    shift = 2 * gear.profile_shift * math.tan(gear._pressure_n)
    return (math.pi / 2 + shift) / gear.virtual_teeth


# ---------------------------------------------------------------- a pair


@dataclass(frozen=True)
class Mesh:
    """Two gears in mesh without backlash; diameters and distances in mm, angles in degrees."""

    centre_distance: float
    reference_centre_distance: float
    working_pressure_angle_deg: float
    involute_working: float
    centre_distance_modification: float
    """(a − a_0) / m_n, in modules."""
    tip_shortening: float
    """What each blank's radius may be turned down by, to keep the rack's bottom clearance, in mm."""
    addenda: tuple[float, float]
    tip_diameters: tuple[float, float]
    whole_depth: float


def mesh(pinion: Gear, wheel: Gear) -> Mesh:
    """The pair on parallel shafts: centre distance, working pressure angle, shortened tips.

    Raises `ValueError` for gears that can't mesh on parallel shafts (module, pressure angle,
    helix angle or hands) or whose profile shifts leave no involute in contact.
    """
    for name, one, other in (
        ("module", pinion.module_n, wheel.module_n),
        ("pressure angle", pinion.pressure_angle_n_deg, wheel.pressure_angle_n_deg),
        ("helix angle", pinion.helix_angle_deg, wheel.helix_angle_deg),
    ):
        if not math.isclose(one, other, rel_tol=1e-9, abs_tol=1e-9):
            raise ValueError(f"{name} is {one:g} on one gear and {other:g} on the other; they must be equal")
    if pinion.hand is not None and pinion.hand is wheel.hand:
        raise ValueError(
            f"both gears are {pinion.hand.word}-hand; on parallel shafts one must be right, the other left"
        )
    return _mesh(pinion, wheel)


def _mesh(pinion: Gear, wheel: Gear) -> Mesh:
    teeth = pinion.teeth + wheel.teeth
    shifts = pinion.profile_shift + wheel.profile_shift
    working = pinion._involute_t + 2 * math.tan(pinion._pressure_n) * shifts / teeth
    if working < 0:
        raise ValueError(f"profile shifts sum to {shifts:g}; the pair would have no involute in contact")
    angle_deg = inverse_involute(working)
    reference = teeth * pinion.transverse_module / 2
    distance = reference * math.cos(pinion._pressure_t) / math.cos(math.radians(angle_deg))
    modification = (distance - reference) / pinion.module_n
    shortening = pinion.module_n * (shifts - modification)
    addenda = (pinion.addendum - shortening, wheel.addendum - shortening)
    return Mesh(
        centre_distance=distance,
        reference_centre_distance=reference,
        working_pressure_angle_deg=angle_deg,
        involute_working=working,
        centre_distance_modification=modification,
        tip_shortening=shortening,
        addenda=addenda,
        tip_diameters=(
            pinion.reference_diameter + 2 * addenda[0],
            wheel.reference_diameter + 2 * addenda[1],
        ),
        whole_depth=pinion.whole_depth - shortening,
    )


def profile_shift_sum(pinion: Gear, wheel: Gear, centre_distance: float) -> float:
    """Sum of the two profile shifts, in modules, that brings the pair to `centre_distance` (mm).

    The gears' own profile shifts are left aside. Raises `ValueError` for a distance at which the
    base circles overlap.
    """
    teeth = pinion.teeth + wheel.teeth
    bases = teeth * pinion.transverse_module * math.cos(pinion._pressure_t) / 2
    distance = arguments.number("centre distance", centre_distance, unit="mm", at_least=bases)
    working = _involute_of_tangent(math.sqrt(max((distance / bases) ** 2 - 1, 0.0)))
    return teeth * (working - pinion._involute_t) / (2 * math.tan(pinion._pressure_n))


# ---------------------------------------------------------------- checks at the door


def _module(module: float) -> float:
    return arguments.number("module", module, unit="mm", above=0, at_most=1000)


def _helix_rad(helix_angle_deg: float) -> float:
    return math.radians(arguments.number("helix angle", helix_angle_deg, unit="deg", at_least=0, below=90))


def _pressure_angle(pressure_angle_deg: float) -> float:
    return arguments.number("pressure angle", pressure_angle_deg, unit="deg", above=0, at_most=45)


def _helix_of_hand(hand: Hand | None, helix_angle_deg: float) -> float:
    helix_angle = arguments.number("helix angle", helix_angle_deg, unit="deg", at_least=0, below=90)
    if hand is None and helix_angle != 0:
        raise ValueError(f"hand is missing; at a helix angle of {helix_angle:g} deg it must be right or left")
    if hand is not None and helix_angle == 0:
        raise ValueError(f"hand is {hand.word} at a helix angle of 0; leave the hand out for spur work")
    return helix_angle
