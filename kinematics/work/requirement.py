"""What is wanted: the work on the drawing and the hob in hand, and the rates and swivel that they ask for."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from fractions import Fraction

from handlead.kinematics.frame.words import Hand
from handlead.kinematics.gears import gear, head
from handlead.kinematics.other_work import spline

#: Kinds of work, by the name they have in job files.
WORK_KINDS = ("spur", "helical", "worm wheel", "spline", "sprocket")


@dataclass(frozen=True)
class Work:
    """The work as the drawing gives it: lengths in mm, angles in degrees, exactly as written.

    A helical gear has a `hand` and either `helix_angle_deg` (at the reference cylinder, above 0)
    or `lead`; spur work has none of the three. For a worm wheel `module_n` is normal to the
    tooth and the helix angle equals the lead angle of its worm. `quality` is the ISO 1328-1
    flank tolerance class. `outside_diameter` is the blank's, where it isn't the standard one.
    `thinning` is the backlash allowance: by how much a tooth is to be thinner, normal to it at the reference
    cylinder. `roller_diameter` is that of the chain that runs on a sprocket, whose chain pitch is pi times the module.
    A worm wheel's blank is throated unless `is_plain`; `throat_radius` and `rim_diameter` are as the drawing has them.
    `crown` is by how much the flanks fall back at either end of the face, in the transverse plane along the base
    tangent, `taper` by how much a tooth is thicker at the upper end than at the lower, normal to it.
    A spline with a `key_width` is straight-sided, from its `outside_diameter` down to its `minor_diameter`; its hob,
    made for it, rolls on the circle that is as long as the module over the keys. `form_diameter` is down to where its
    sides must be straight.
    """

    kind: str
    teeth: int
    module_n: Fraction
    pressure_angle_deg: Fraction = Fraction(20)
    hand: Hand | None = None
    helix_angle_deg: Fraction | None = None
    lead: Fraction | None = None
    face_width: Fraction | None = None
    quality: int = 8
    profile_shift: Fraction = Fraction(0)
    outside_diameter: Fraction | None = None
    thinning: Fraction = Fraction(0)
    roller_diameter: Fraction | None = None
    is_plain: bool = False
    throat_radius: Fraction | None = None
    rim_diameter: Fraction | None = None
    bore: Fraction | None = None
    crown: Fraction = Fraction(0)
    taper: Fraction = Fraction(0)
    key_width: Fraction | None = None
    minor_diameter: Fraction | None = None
    form_diameter: Fraction | None = None

    def __post_init__(self) -> None:
        if self.kind not in WORK_KINDS:
            raise ValueError(f"kind is {self.kind!r}; it must be one of {', '.join(WORK_KINDS)}")
        if self.teeth < 1:
            raise ValueError(f"teeth is {self.teeth}; it must be 1 or more")
        if self.module_n <= 0:
            raise ValueError(f"module is {self.module_n}; it must be greater than 0")
        if self.lead is not None and self.lead <= math.pi * self.module_n * self.teeth:
            raise ValueError(
                f"lead is {float(self.lead):g} mm; with {self.teeth} teeth of module "
                f"{float(self.module_n):g} it must be longer than {math.pi * float(self.module_n) * self.teeth:.3f} mm"
            )
        if not 0 <= self.thinning < math.pi / 4 * self.module_n:
            raise ValueError(
                f"thinning is {float(self.thinning):g} mm; it must be from 0 to less than half of a tooth, "
                f"{math.pi / 4 * float(self.module_n):.3f} mm"
            )
        if self.helix_angle_deg is not None and not 0 <= self.helix_angle_deg < 90:
            raise ValueError(
                f"helix angle is {float(self.helix_angle_deg):g}; it must be from 0 to below 90 degrees"
            )

    @property
    def has_keys(self) -> bool:
        """Whether the work is a spline with straight-sided keys."""
        return self.key_width is not None

    @property
    def has_involutes(self) -> bool:
        """Whether its flanks are those of a cylindrical gear: not of a chain wheel, a worm wheel, or keys."""
        return self.kind not in ("sprocket", "worm wheel") and not self.has_keys

    @property
    def is_helical(self) -> bool:
        """Whether the teeth lean."""
        return self.hand is not None and (self.lead is not None or bool(self.helix_angle_deg))

    @property
    def beta_deg(self) -> float:
        """Helix angle at the reference cylinder, in degrees, 0 for spur work."""
        if not self.is_helical:
            return 0.0
        if self.lead is not None:
            return math.degrees(math.asin(math.pi * float(self.module_n) * self.teeth / float(self.lead)))
        return float(self.helix_angle_deg or 0)

    @property
    def signed_beta_deg(self) -> float:
        """Helix angle with the sign of the hand: right positive."""
        return self.beta_deg * (self.hand.value if self.hand else 0)

    @property
    def lead_mm(self) -> float | None:
        """Lead in mm, None for spur work. Source: ISO 21771, helix relations (from memory)."""
        if not self.is_helical:
            return None
        if self.lead is not None:
            return float(self.lead)
        return math.pi * float(self.module_n) * self.teeth / math.sin(math.radians(self.beta_deg))

    @property
    def signed_inverse_lead(self) -> float:
        """Turns of a tooth round the work per mm along its axis: right hand positive, spur 0."""
        lead = self.lead_mm
        return 0.0 if lead is None or self.hand is None else self.hand.value / lead


#: Gashes of a hob whose job doesn't count them (common practice for small single-start hobs).
USUAL_GASHES = 10


@dataclass(frozen=True)
class HobData:
    """The hob as its maker marked it: lengths in mm, angles in degrees, exactly as written.

    `lead_angle_deg` None leaves it to the geometry: sin of it is starts * module / `diameter`.
    `diameter` is the reference diameter, `outside_diameter` over the tips. `rack` names an
    ISO 53 basic rack (A to D); `addendum`, `dedendum` and `tip_radius`, as multiples of the
    module, take the place of its figures where given. See `handlead.kinematics.sizes` for what holds then.
    `length` is that of its threads, `name` what it is called in its rack. `gash_index` has how far each gash's face
    stands behind along the reference circle, `relief_angle_deg` goes with it; `thread_error` is how much too far the
    thread goes in a turn.
    """

    module_n: Fraction
    starts: int = 1
    hand: Hand = Hand.RIGHT
    lead_angle_deg: Fraction | None = None
    diameter: Fraction | None = None
    outside_diameter: Fraction | None = None
    gashes: int | None = None
    pressure_angle_deg: Fraction = Fraction(20)
    rack: str = "A"
    addendum: Fraction | None = None
    dedendum: Fraction | None = None
    tip_radius: Fraction | None = None
    length: Fraction | None = None
    name: str = field(default="", compare=False)
    gash_index: tuple[Fraction, ...] = ()
    relief_angle_deg: Fraction = Fraction(10)
    thread_error: Fraction = Fraction(0)

    def __post_init__(self) -> None:
        if self.starts < 1:
            raise ValueError(f"starts is {self.starts}; it must be 1 or more")
        if self.module_n <= 0:
            raise ValueError(f"module is {self.module_n}; it must be greater than 0")

    @property
    def gamma_deg(self) -> float | None:
        """Lead angle in degrees, as given or else from the geometry; None if neither says.

        Source: sin(gamma) = k m_n / d0, handbooks of hobbing (from memory).
        """
        if self.lead_angle_deg is not None:
            return float(self.lead_angle_deg)
        return self.geometric_gamma_deg

    @property
    def geometric_gamma_deg(self) -> float | None:
        """Lead angle that starts, module and reference diameter imply, in degrees; None without one.

        A hob whose diameter is known over its tips alone has what its addendum, or its rack's, leaves of that.
        """
        reference = self.diameter
        if reference is None and self.outside_diameter is not None:
            addendum = self.addendum
            if addendum is None:
                rack = spline.rack_for(float(self.pressure_angle_deg)) or gear.ISO_53[self.rack]
                addendum = Fraction(str(rack.dedendum))
            reference = self.outside_diameter - 2 * addendum * self.module_n
        if reference is None or reference <= 0:
            return None
        sine = self.starts * float(self.module_n) / float(reference)
        return math.degrees(math.asin(sine)) if sine < 1 else None


def swivel_deg(work: Work, hob: HobData) -> float:
    """Swivel that the work and the hob ask for, counter-clockwise seen from behind the hob positive.

    A hob whose lead angle isn't known counts as 0. See `handlead.kinematics.gears.head.swivel_deg`.
    """
    hand = work.hand if work.is_helical else None
    return head.swivel_deg(hob.hand, hob.gamma_deg or 0.0, hand, work.beta_deg)


def gear_of(work: Work) -> gear.Gear:
    """The wanted gear, with its sizes as floats, for what geometry and tolerances ask of it.

    A worm wheel's heights and profile shift are in axial modules, as in `handlead.kinematics.wormwheel`.
    """
    axial = 1 / math.cos(math.radians(work.beta_deg)) if work.kind == "worm wheel" else 1.0
    return gear.Gear(
        work.teeth,
        float(work.module_n),
        work.beta_deg,
        work.hand if work.is_helical else None,
        float(work.pressure_angle_deg),
        float(work.profile_shift) * axial,
        None if work.face_width is None else float(work.face_width),
        _rack_of(work, axial),
    )


def gear_to_cut(work: Work) -> gear.Gear:
    """The gear as the hob is to generate it: its teeth thinner by the backlash allowance, so its roots deeper.

    Its tips lie as much too deep: the blank's are those of `gear_of`. Source: generating profile shift
    x_E = x - E / (2 m_n tan alpha_n), ISO 21771 (from memory).
    """
    nominal = gear_of(work)
    less = float(work.thinning) / (2 * nominal.module_n * math.tan(math.radians(nominal.pressure_angle_n_deg)))
    return replace(nominal, profile_shift=nominal.profile_shift - less)


def keys_of(work: Work) -> spline.StraightSpline | None:
    """A straight-sided spline's keys; None for other work. Raises `ValueError` for sizes that no shaft can have."""
    if work.key_width is None or work.minor_diameter is None or work.outside_diameter is None:
        return None
    return spline.StraightSpline(
        work.teeth, float(work.minor_diameter), float(work.outside_diameter), float(work.key_width)
    )


#: The least height of a rack's tooth over its datum line, in modules: a hob for keys may roll on their very tops.
_LEAST_HEIGHT = 1e-6


def _rack_of(work: Work, axial: float) -> gear.BasicRack:
    keys = keys_of(work)
    if keys is not None:
        rolling, module = work.teeth * float(work.module_n), float(work.module_n)
        over, below = ((half / (2 * module)) for half in (keys.major_diameter - rolling, rolling - keys.minor_diameter))
        return gear.BasicRack(20.0, max(over, _LEAST_HEIGHT), max(below, _LEAST_HEIGHT), 0.0)
    if work.kind == "spline":
        return spline.rack_for(float(work.pressure_angle_deg)) or gear.ISO_53["A"]
    rack = gear.ISO_53["A"]
    return replace(rack, addendum=rack.addendum * axial, dedendum=rack.dedendum * axial)


def table_per_hob(work: Work, hob: HobData) -> Fraction:
    """Turns of the table per turn of the hob, all slides still, signed in the frame: -h k / z.

    Source: ratio from hob starts and gear teeth (J. Edgar, 1914); the sign follows from the frame.
    """
    return -hob.hand.value * Fraction(hob.starts, work.teeth)


def table_per_axial(work: Work) -> float:
    """Turns of the table per mm of axial slide, the hob still, signed in the frame: -H / L."""
    return -work.signed_inverse_lead


def table_per_tangential(work: Work) -> float:
    """Turns of the table per mm of tangential slide, the hob still: cos(beta) / (pi m_n z).

    Source: shift of a hob along its axis as a rack of pitch pi m_n, own derivation.
    """
    return math.cos(math.radians(work.beta_deg)) / (math.pi * float(work.module_n) * work.teeth)
