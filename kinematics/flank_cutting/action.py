"""The flank that a hob really makes at given rates and swivel, and the line along which the two touch.

An involute worm and an involute helicoid of the same normal base pitch run together whatever the angle
and the distance between their axes (crossed helical gears). So a head that is off, a lead that isn't the
drawing's, or a hob of another pitch still leaves involute helicoids: on the base cylinder that the
hob's base pitch gives with the count and lead of the rates, only elsewhere. They touch along a straight
line, the common tangent of both base cylinders. Its direction n is fixed by what it makes with the two
axes; where it passes, by the hob's screw: M_a(n) = −h·p·(n·a) about the hob axis a, with p the lead
over 2π, since the screw's own motion slides along its flank.

With the head off by d from where it suits, the line moves d·R·cot α along the tooth, and the flank
d²·R·cos α·cot α/2 into it (R the hob's reference radius), to the lowest order.
Source: own derivation, from the law of gearing; crossed helical involute gears as in the handbooks (from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np
import numpy.typing as npt
from handlead.kinematics.cutting.hob import Hob
from handlead.kinematics.cutting.sweep import Passages
from handlead.kinematics.gears.flank import TURN, NominalFlank

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class MadeFlank:
    """The involute helicoid that the hob's threads envelop, in radians and mm, on the blank.

    `start` is the tangent angle of space 0 at roll 0 and height 0. `contact_angle` is that at which the
    line of action touches the base cylinder in the machine, `rise` how far over the hob's centre it does
    so (mm, to be counted at the height at which the hob axis crosses the plane Y = 0). `away` and `up`
    say how far a contact is from the hob axis towards the work and square to both: at roll 0, and by how
    much more a radian of roll. `first_roll` is the roll down to which the straight flanks of the hob make it.
    """

    side: int
    teeth: int
    base_radius: float
    twist: float
    start: float
    contact_angle: float
    rise: float
    away: tuple[float, float]
    up: tuple[float, float]
    first_roll: float

    @property
    def base_cosine(self) -> float:
        """Cosine of the base helix angle."""
        return 1 / math.hypot(1, self.twist * self.base_radius)

    @property
    def contact_shift(self) -> float:
        """How much higher over the hob's centre a point is touched, in mm per radian of roll."""
        return self.side * self.twist * self.base_radius**2

    def swing(self, roll: Floats) -> Floats:
        """Angle of a contact on the hob, from the common normal of the axes: so much after its passage it is made."""
        return np.arctan2(self.up[0] + self.up[1] * roll, self.away[0] + self.away[1] * roll)

    def swing_rate(self, roll: float) -> float:
        """How much of that angle a radian of roll adds."""
        away, up = (first + by_roll * roll for first, by_roll in (self.away, self.up))
        return (away * self.up[1] - up * self.away[1]) / (away**2 + up**2)

    def tangent_angle(self, roll: Floats, height: Floats, space: Floats | float = 0.0) -> Floats:
        """Angle at which the normal through a point touches the base cylinder, in radians on the blank."""
        return np.asarray(self.start + TURN * space / self.teeth + self.side * roll + self.twist * height)

    def along_normal(
        self, nominal: NominalFlank, roll: Floats, height: Floats, space: Floats | float
    ) -> tuple[Floats, Floats, Floats]:
        """Where the normals of nominal points pierce this flank: deviation (mm), and its roll and height there.

        By Newton's method on the angle that is missing. NaN where a normal runs below the base cylinder.
        """
        base, out, side = nominal.base_radius, nominal.base_cosine, self.side
        up = side * nominal.twist * base * out
        angle = (
            nominal.tangent_angle(roll, height, space) - self.start - TURN * np.asarray(space) / self.teeth
        )
        off = np.zeros(np.shape(roll))
        with np.errstate(invalid="ignore"):
            for _ in range(5):
                unrolled = roll + out / base * off
                square = (base / self.base_radius) ** 2 * (1 + unrolled**2) - 1
                here = np.sqrt(square)
                missing = angle - side * (np.arctan(unrolled) + here - np.arctan(here))
                missing = missing - self.twist * (height + up * off)
                by_here = square / (1 + square) * unrolled * out * base / (self.base_radius**2 * here)
                by_off = -side * (out / base / (1 + unrolled**2) + by_here) - self.twist * up
                off = off - missing / by_off
            unrolled = roll + out / base * off
            here = np.sqrt((base / self.base_radius) ** 2 * (1 + unrolled**2) - 1)
        return off, here, height + up * off


def made_flank(
    swept: Passages, hob: Hob, nominal: NominalFlank, swivel: float, passage: int
) -> MadeFlank | None:
    """The flank made in space 0, the one that the 0th thread of this passage stands in; `swivel` in radians.

    None where hob and work have no common tangent: a head so far off that no involute is generated,
    a hob that cuts none, or a lead so short that no gear has it.
    """
    cylinder = None if hob.profile is not None else _base(swept, hob, nominal.gear.teeth, swivel)
    if cylinder is None:
        return None
    base, twist, out = cylinder
    side, teeth, hand = nominal.side, nominal.gear.teeth, hob.hand.value
    sine, cosine = math.sin(swivel), math.cos(swivel)
    screw = hob.lead / TURN
    slant = hob.base_radius / math.hypot(hob.base_radius, screw)
    turned = (slant / out + twist * base * sine) / cosine
    if not -1 < turned < 1:
        return None
    theta = side * math.acos(turned)
    radial = np.array([math.cos(theta), math.sin(theta), 0.0])
    tangent = np.array([-math.sin(theta), math.cos(theta), 0.0])
    upright = np.array([0.0, 0.0, 1.0])
    normal = out * (-side * tangent + side * twist * base * upright)
    axis = np.array([0.0, cosine, sine])
    distance = np.array([float(swept.distance[passage]), 0.0, 0.0])
    level = float(axis @ np.cross(upright, normal))
    moment = float(axis @ np.cross(base * radial - distance, normal))
    rise = (-hand * screw * float(normal @ axis) - moment) / level
    # The arm from the hob axis to the contact at roll 0, and what a radian of roll adds to it.
    arm, by_roll = base * radial + rise * upright - distance, base / out * normal
    away = -float(arm[0]), -float(by_roll[0])
    square_to_both = np.array([0.0, -sine, cosine])
    up = float(arm @ square_to_both), float(by_roll @ square_to_both)
    first = _roll_at(away, up, hob.form_radius)
    if first is None:
        return None
    made = MadeFlank(side, teeth, base, twist, 0.0, theta, rise, away, up, first)
    along = float((arm + first * by_roll) @ axis)
    return replace(made, start=_start(made, swept, hob, passage, swivel, along))


def _base(swept: Passages, hob: Hob, teeth: int, swivel: float) -> tuple[float, float, float] | None:
    """Base radius (mm), twist (radians per mm) and base cosine of the helicoid; None where the lead is too short."""
    sine, cosine = math.sin(swivel), math.cos(swivel)
    twist = _twist(swept, hob, teeth, sine / cosine, cosine)
    reach = teeth * hob.module_n * math.cos(math.radians(hob.pressure_angle_deg)) / 2
    if twist is None or abs(twist * reach) >= 1:
        return None
    base = reach / math.sqrt(1 - (twist * reach) ** 2)
    return base, twist, reach / base


def _start(made: MadeFlank, swept: Passages, hob: Hob, passage: int, swivel: float, along: float) -> float:
    """The tangent angle of space 0 at roll 0 and height 0; the contact at the first roll lies `along` the hob axis."""
    half = float(hob.half_thickness(np.array(hob.form_radius)))
    late = float(made.swing(np.array(made.first_roll)))
    thread = along - made.side * half - hob.hand.value * hob.lead / TURN * late
    # A hob's centre beside the work's axis is as good as one lower or higher, its threads further on.
    aside = float(swept.right[passage])
    ahead = float(swept.thread[passage]) + aside / math.cos(swivel) - thread
    centre = float(swept.height[passage]) - aside * math.sin(swivel) / math.cos(swivel)
    angle = made.contact_angle + TURN * ahead / (hob.axial_pitch * made.teeth) - float(swept.table[passage])
    risen = centre + made.rise + made.contact_shift * made.first_roll
    return angle - made.side * made.first_roll - made.twist * risen


def _twist(swept: Passages, hob: Hob, teeth: int, tangent: float, cosine: float) -> float | None:
    """Turn of the tooth per mm of height that the rates make with this count, in radians; None without a feed."""
    index = swept.step.table * hob.gashes + hob.hand.value * Fraction(hob.starts, teeth)
    across = float(swept.step.tangential * hob.gashes)
    feed = float(swept.step.axial * hob.gashes) - across * tangent
    if not feed:
        return None
    return -TURN * (float(index) - across / cosine / (hob.axial_pitch * teeth)) / feed


def _roll_at(away: tuple[float, float], up: tuple[float, float], radius: float) -> float | None:
    """The lesser roll at which the contact is so far from the hob axis; None if it never is."""
    square = away[1] ** 2 + up[1] ** 2
    twice = away[0] * away[1] + up[0] * up[1]
    under = twice**2 - square * (away[0] ** 2 + up[0] ** 2 - radius**2)
    return None if under < 0 or not square else (-twice - math.sqrt(under)) / square
