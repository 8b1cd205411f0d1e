"""The hob: starts, gashes and rack, and the cutting edges that they leave on an exact involute worm.

An edge lies on a gash face in a plane through the hob axis. Where the rack is straight the edge is
the axial section of an involute helicoid, the one worm that generates an exact involute tooth; it
is slightly curved, and a straight line in its place would be out by micrometres.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from handlead.kinematics.frame import arguments
from handlead.kinematics.frame.words import Hand
from handlead.kinematics.gears.gear import ISO_53, ROOT_CLEARANCE, BasicRack
from handlead.kinematics.gears.head import hob_lead_angle_deg

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Edge:
    """A cutting edge as a polyline: `radius` from the hob axis and `offset` along it, in mm.

    It runs from the middle of the gap on one side of a thread over the tip to the middle of the
    next gap; `offset` is counted from the middle of the thread.
    """

    radius: Floats
    offset: Floats


@dataclass(frozen=True)
class Hob:
    """A hob with straight gashes: lengths in mm, angles in degrees.

    `rack` is the basic rack of the work, so that the hob's own addendum is the rack's dedendum
    and the radius at its tip the rack's root radius; its pressure angle is not used,
    `pressure_angle_deg` is. One of `reference_diameter`, `outside_diameter` and the stamped
    `lead_angle_deg` has to be given; the others follow (sin γ = k·m_n/d_0). `profile` replaces the
    rack for sprockets and straight-sided splines: points (height above the reference line, half
    thickness) of one thread in the normal section, from root to tip, the same on both sides.

    `shift` moves the hob along its axis. `runout` is the distance between hob axis and axis of
    turning, towards the gash that is `runout_gash` gashes from the first. `gash_radial` and
    `gash_axial` say by how much each gash's edges stand out, and are displaced along the axis,
    `gash_late` how far its face stands behind where even division has it, along the reference circle:
    one entry a gash, or none. Behind a face the teeth fall away by `relief_deg`. `wobble` is how much its axis leans
    off the axis of turning, in mm for a mm along it, to the right of its middle towards the gash that is `wobble_gash`
    gashes from the first; `lead_error` by how much a thread goes too far in a turn.

    Raises `ValueError` or `TypeError` for sizes that no hob can have.
    """

    module_n: float
    starts: int = 1
    hand: Hand = Hand.RIGHT
    gashes: int = 10
    reference_diameter: float | None = None
    outside_diameter: float | None = None
    lead_angle_deg: float | None = None
    pressure_angle_deg: float = 20.0
    rack: BasicRack = ISO_53["A"]
    profile: tuple[tuple[float, float], ...] | None = None
    shift: float = 0.0
    runout: float = 0.0
    runout_gash: float = 0.0
    gash_radial: tuple[float, ...] = ()
    gash_axial: tuple[float, ...] = ()
    gash_late: tuple[float, ...] = ()
    relief_deg: float = 0.0
    wobble: float = 0.0
    wobble_gash: float = 0.0
    lead_error: float = 0.0

    def __post_init__(self) -> None:
        arguments.number("module of the hob", self.module_n, unit="mm", above=0)
        arguments.whole("starts of the hob", self.starts, at_least=1)
        arguments.whole("gashes of the hob", self.gashes, at_least=1)
        arguments.number(
            "pressure angle of the hob", self.pressure_angle_deg, unit="deg", above=0, at_most=60
        )
        object.__setattr__(self, "module_n", float(self.module_n))
        if self.profile is not None:
            _check_profile(self.profile, math.pi * self.module_n)
        for name in ("gash_radial", "gash_axial", "gash_late"):
            given = len(getattr(self, name))
            if given not in (0, self.gashes):
                raise ValueError(f"{name} has {given} entries; a hob with {self.gashes} gashes needs as many")
        object.__setattr__(self, "reference_diameter", self._sized())
        object.__setattr__(self, "outside_diameter", self.pitch_diameter + 2 * self.addendum)
        if self.root_radius <= self.base_radius:
            raise ValueError(
                f"reference diameter of the hob is {self.pitch_diameter:g} mm; its threads would reach "
                f"below the base cylinder. A larger hob or fewer starts would be right"
            )

    def _sized(self) -> float:
        if self.reference_diameter is not None:
            diameter = arguments.number(
                "reference diameter of the hob", self.reference_diameter, unit="mm", above=0
            )
        elif self.outside_diameter is not None:
            diameter = arguments.number(
                "outside diameter of the hob", self.outside_diameter, unit="mm", above=0
            )
            diameter -= 2 * self.addendum
        elif self.lead_angle_deg is not None:
            angle = arguments.number(
                "lead angle of the hob", self.lead_angle_deg, unit="deg", above=0, below=90
            )
            diameter = self.starts * self.module_n / math.sin(math.radians(angle))
        else:
            raise ValueError("the hob has no size; give its reference or outside diameter, or its lead angle")
        hob_lead_angle_deg(self.module_n, self.starts, diameter)
        return diameter

    @property
    def pitch_diameter(self) -> float:
        """Reference diameter d_0 in mm, whichever way the size was given."""
        assert self.reference_diameter is not None
        return self.reference_diameter

    @property
    def addendum(self) -> float:
        """Height of the thread above the reference line, in mm."""
        if self.profile is not None:
            return self.profile[-1][0]
        return self.rack.dedendum * self.module_n

    @property
    def dedendum(self) -> float:
        """Depth of the gap between threads below the reference line, in mm."""
        if self.profile is not None:
            return -self.profile[0][0]
        return (self.rack.addendum + ROOT_CLEARANCE) * self.module_n

    @property
    def tip_radius(self) -> float:
        """Half the outside diameter, in mm."""
        return self.pitch_diameter / 2 + self.addendum

    @property
    def root_radius(self) -> float:
        """Half the diameter at the bottom of the gaps, in mm."""
        return self.pitch_diameter / 2 - self.dedendum

    @property
    def geometric_lead_angle_deg(self) -> float:
        """Lead angle that module, starts and reference diameter imply, in degrees."""
        return hob_lead_angle_deg(self.module_n, self.starts, self.pitch_diameter)

    @property
    def axial_pitch(self) -> float:
        """Distance from thread to thread along the hob axis, in mm."""
        return math.pi * self.module_n / math.cos(math.radians(self.geometric_lead_angle_deg))

    @property
    def thread_pitch(self) -> float:
        """Distance from thread to thread along the axis as the hob has it, its thread's error included, in mm."""
        return self.axial_pitch + self.lead_error / self.starts

    @property
    def lead(self) -> float:
        """Advance of a thread in a turn, in mm."""
        return self.starts * self.axial_pitch

    @property
    def base_radius(self) -> float:
        """Radius of the base cylinder in mm: the involute worm is a gear of `starts` teeth, its helix angle 90° − γ."""
        if self.profile is not None:
            return 0.0
        sine = math.sin(math.radians(self.geometric_lead_angle_deg))
        return (
            self.pitch_diameter
            / 2
            * math.cos(math.atan2(math.tan(math.radians(self.pressure_angle_deg)), sine))
        )

    def half_thickness(self, radius: Floats) -> Floats:
        """Half the thread's thickness along the axis at these radii, on its unrounded flanks, in mm.

        Axial section of an involute helicoid: s/2 + p·(inv α_0 − inv α), with p the lead over 2π.
        Source: involute worm (flank form I) as a helical gear of few teeth, own derivation from the
        helix relations of ISO 21771.
        """
        import numpy as np

        gamma = math.radians(self.geometric_lead_angle_deg)
        if self.profile is not None:
            heights, halves = np.array(self.profile, dtype=float).T
            return np.asarray(np.interp(radius - self.pitch_diameter / 2, heights, halves) / math.cos(gamma))
        per_radian = self.lead / (2 * math.pi)
        at_reference = math.pi * self.module_n / 4 / math.cos(gamma)
        return np.asarray(
            at_reference
            + per_radian * (self._involute(np.array(self.pitch_diameter / 2)) - self._involute(radius))
        )

    def flank(self, radius: Floats) -> tuple[Floats, Floats]:
        """Half the thread's thickness along the axis with its rounded tip, and its slope over the radius.

        Beyond the tip there is no edge: the thickness is −inf there.
        """
        import numpy as np

        half = self.half_thickness(radius)
        if self.profile is not None:
            step = 1e-6 * self.module_n
            slope = (self.half_thickness(radius + step) - self.half_thickness(radius - step)) / (2 * step)
            return np.where(radius > self.tip_radius, -np.inf, half), slope
        per_radian = self.lead / (2 * math.pi)
        slope = -per_radian * np.sqrt((radius / self.base_radius) ** 2 - 1) / radius
        rounding = self._tip_rounding()
        rounded = radius > self.form_radius
        if not rounded.any():
            return half, slope
        alpha = math.radians(self.pressure_angle_deg)
        up = radius - (self.tip_radius - rounding)
        across = np.sqrt(np.maximum(rounding * rounding - up * up, 0))
        back = rounding / math.cos(alpha) - up * math.tan(alpha) - across
        half = half - np.where(rounded, back / math.cos(math.radians(self.geometric_lead_angle_deg)), 0)
        return np.where(radius > self.tip_radius, -np.inf, half), slope

    @property
    def form_radius(self) -> float:
        """Radius up to which the flanks of the thread are unrounded, in mm."""
        if self.profile is not None:
            return self.tip_radius
        return self.tip_radius - self._tip_rounding() * (1 - math.sin(math.radians(self.pressure_angle_deg)))

    @property
    def half_thickness_at_form(self) -> float:
        """Half the thread's thickness along the axis where its unrounded flanks end, in mm."""
        import numpy as np

        return float(self.half_thickness(np.array(self.form_radius)))

    def _involute(self, radius: Floats) -> Floats:
        import numpy as np

        tangent = np.sqrt((radius / self.base_radius) ** 2 - 1)
        return np.asarray(tangent - np.arctan(tangent))

    def edge(self, fineness: float = 1.0, lowest: float | None = None) -> Edge:
        """The cutting edge as a polyline, tip land, rounded tip, flanks and gap alike.

        `fineness` 1 keeps the polyline within about a micrometre of the curve for module 3;
        `lowest` leaves out what lies below that height over the reference line (mm).
        """
        import numpy as np

        low = -self.dedendum if lowest is None else max(lowest, -self.dedendum)
        heights, halves = self._right_side(fineness, low)
        mid_gap = self.axial_pitch / 2
        if low == -self.dedendum and halves[0] < mid_gap:
            gap = np.linspace(mid_gap, halves[0], 4)[:-1]
            heights = np.concatenate([np.full(gap.size, heights[0]), heights])
            halves = np.concatenate([gap, halves])
        if halves[-1] > 1e-9:
            land = np.linspace(
                halves[-1], 0, 1 + max(1, math.ceil(12 * fineness * halves[-1] / self.module_n))
            )[1:]
            heights = np.concatenate([heights, np.full(land.size, heights[-1])])
            halves = np.concatenate([halves, land])
        else:
            halves[-1] = 0.0
        radius = self.pitch_diameter / 2 + heights
        return Edge(np.concatenate([radius, radius[-2::-1]]), np.concatenate([-halves, halves[-2::-1]]))

    def _right_side(self, fineness: float, low: float) -> tuple[Floats, Floats]:
        """Heights and half thicknesses of one flank with its rounded tip, from `low` to the tip."""
        import numpy as np

        reference = self.pitch_diameter / 2
        if self.profile is not None:
            given = np.array([height for height, _ in self.profile])
            even = np.linspace(low, given[-1], max(4, round(24 * fineness)))
            heights = np.unique(np.concatenate([given[given > low], even]))
            return heights, self.half_thickness(reference + heights)
        rounding = self._tip_rounding()
        alpha = math.radians(self.pressure_angle_deg)
        gamma = math.radians(self.geometric_lead_angle_deg)
        form = self.addendum - rounding * (1 - math.sin(alpha))
        count = max(3, round(10 * fineness))
        straight = np.linspace(low, form, count)[:-1] if low < form else np.zeros(0)
        start = alpha if low < form else math.asin(max(-1.0, (low - self.addendum) / rounding + 1))
        turn = np.linspace(start, math.pi / 2, max(3, round(8 * fineness)))
        arc = self.addendum - rounding * (1 - np.sin(turn))
        # How far the round stands back from the straight flank, in the normal section.
        back = (self.addendum - rounding - arc) * math.tan(alpha) + rounding * (
            1 / math.cos(alpha) - np.cos(turn)
        )
        heights = np.concatenate([straight, arc])
        halves = self.half_thickness(reference + heights)
        halves[straight.size :] -= back / math.cos(gamma)
        return heights, halves

    def _tip_rounding(self) -> float:
        """Radius at the tip in mm: the rack's, or the largest that the thread's top has room for."""
        alpha = math.radians(self.pressure_angle_deg)
        at_tip = math.pi * self.module_n / 4 - self.addendum * math.tan(alpha)
        if at_tip <= 0:
            raise ValueError(
                f"the thread of the hob is pointed below its tip (pressure angle {self.pressure_angle_deg:g} deg, "
                f"addendum {self.addendum:g} mm); a shorter addendum would be right"
            )
        room = at_tip * math.cos(alpha) / (1 - math.sin(alpha)) * (1 - 1e-9)
        return max(min(self.rack.root_radius * self.module_n, room), 1e-6 * self.module_n)

    def gash_errors(self) -> tuple[Floats, Floats, Floats]:
        """What each gash's edges stand out, are displaced along the axis, and lag: mm, mm, radians.

        With runout e the edge of a gash that follows the high side by the angle δ stands out by
        e·cos δ and comes to its place e·sin δ / radius radians early (first order in e).
        A face that stands behind by ε radians has its edge on the same thread, so much further along it, and, the
        teeth being relieved, lower by ε·radius·tan of the relief. A hob that leans by ψ has the edges that follow
        the side to which it leans by δ further left by ψ·radius·cos δ. Own derivations.
        """
        import numpy as np

        radius, none = self.pitch_diameter / 2, np.zeros(self.gashes)
        out, standing, late = (
            np.array(given) if given else none for given in (self.gash_radial, self.gash_axial, self.gash_late)
        )
        angle = self._behind(self.runout_gash)
        radial = self.runout * np.cos(angle) + out - math.tan(math.radians(self.relief_deg)) * late
        along = self.hand.value * self.lead / (2 * math.pi) * late / radius
        axial = standing - along - self.wobble * radius * np.cos(self._behind(self.wobble_gash))
        lag = (late - self.runout * np.sin(angle)) / radius
        return np.asarray(radial), np.asarray(axial), np.asarray(lag)

    def gash_leans(self) -> tuple[Floats, Floats]:
        """What each gash's edges stand out more, and lag more, a mm further to the right on a hob that leans.

        In mm and radians for a mm; to the first order, as for a hob that runs out by so much there.
        """
        import numpy as np

        angle = self._behind(self.wobble_gash)
        lag = -self.wobble * np.sin(angle) / (self.pitch_diameter / 2)
        return np.asarray(self.wobble * np.cos(angle)), np.asarray(lag)

    def _behind(self, gash: float) -> Floats:
        """By what angle each gash follows this one."""
        import numpy as np

        return np.asarray(2 * math.pi * (np.arange(self.gashes) - gash) / self.gashes)


def _check_profile(profile: tuple[tuple[float, float], ...], pitch: float) -> None:
    heights = [height for height, _ in profile]
    if len(profile) < 2 or any(b <= a for a, b in itertools.pairwise(heights)):
        raise ValueError("profile of the hob must be two or more points with rising heights, root to tip")
    if any(not 0 <= half <= pitch / 2 * (1 + 1e-9) for _, half in profile):
        raise ValueError(
            f"half thicknesses of the hob's profile must be from 0 to half its pitch ({pitch / 2:g} mm)"
        )
