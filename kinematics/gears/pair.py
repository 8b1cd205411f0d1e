"""Two gears on parallel shafts as they will run: working angle, backlash, contact ratios, clearance, interference.

All at the centre distance that is there, on the blanks that are there, with the backlash allowances that are cut.
Lengths in mm, angles in degrees. Source: ISO 21771 (from memory) unless a function says otherwise.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from handlead.kinematics.frame import arguments
from handlead.kinematics.frame.words import Hand

from .gear import Gear, inverse_involute, involute_of_tangent, least_profile_shift, thickness_at


@dataclass(frozen=True)
class PairRunning:
    """How a pair runs at its centre distance.

    `shift_sum` is the sum of profile shifts at which it would have no backlash there. `backlash` is along the base
    tangent, normal to the flanks, as a feeler finds it; below 0 the teeth don't go in. `overlap_ratio` is None where no
    face width is known. `clearances` are from the tips of the first to the roots of the second, and the other way
    round. `interferes` says for each member whether the other's tips reach flank of it that the hob doesn't finish as
    an involute.
    """

    centre_distance: float
    reference_distance: float
    working_pressure_angle_deg: float
    shift_sum: float
    backlash: float
    transverse_contact_ratio: float
    overlap_ratio: float | None
    clearances: tuple[float, float]
    interferes: tuple[bool, bool]

    @property
    def total_contact_ratio(self) -> float:
        """Pairs of teeth that share the work, on an average."""
        return self.transverse_contact_ratio + (self.overlap_ratio or 0.0)


def run_together(
    first: Gear, second: Gear, tips: tuple[float, float], roots: tuple[float, float], distance: float
) -> PairRunning:
    """The pair at a centre distance; `tips` and `roots` are diameters of the blanks as they are and as they are cut.

    Profile shifts that hold a backlash allowance make the backlash. Raises `ValueError` for a distance at
    which the base circles overlap.
    """
    bases = (first.base_diameter + second.base_diameter) / 2
    distance = arguments.number("centre distance", distance, unit="mm", above=bases)
    working = math.acos(bases / distance)
    gap = gap_at(first, second, distance)
    pitch = math.pi * first.base_diameter / first.teeth
    paths = [_beyond_base(gear, tip) for gear, tip in zip((first, second), tips, strict=True)]
    length = distance * math.sin(working)
    return PairRunning(
        centre_distance=distance,
        reference_distance=(first.reference_diameter + second.reference_diameter) / 2,
        working_pressure_angle_deg=math.degrees(working),
        shift_sum=profile_shift_sum(first, second, distance),
        backlash=gap * math.cos(working) * math.cos(math.radians(first.base_helix_angle_deg)),
        transverse_contact_ratio=(sum(paths) - length) / pitch,
        overlap_ratio=_overlap(first, second),
        clearances=(distance - (tips[0] + roots[1]) / 2, distance - (tips[1] + roots[0]) / 2),
        interferes=(_is_fouled(first, length - paths[1]), _is_fouled(second, length - paths[0])),
    )


def distance_without_backlash(first: Gear, second: Gear) -> float:
    """Centre distance at which teeth of these shifts touch on both flanks. Raises `ValueError` where there is none."""
    shifts = first.profile_shift + second.profile_shift
    tangent = math.tan(math.radians(first.pressure_angle_n_deg))
    angle = math.radians(first.transverse_pressure_angle_deg)
    working = math.tan(angle) - angle + 2 * tangent * shifts / (first.teeth + second.teeth)
    if working <= 0:
        raise ValueError(f"profile shifts sum to {shifts:g}; the pair would have no involute in contact")
    return (first.base_diameter + second.base_diameter) / 2 / math.cos(math.radians(inverse_involute(working)))


def usual_least_backlash(distance: float, module_n: float) -> float:
    """Least backlash normal to the flanks, in mm, that pairs of steel in iron housings are given where nobody says.

    2/3 (0.06 + 0.0005 a + 0.03 m_n), from ISO/TR 10064-2 (from memory); common practice for slow and medium speeds.
    """
    return 2 / 3 * (0.06 + 0.0005 * distance + 0.03 * module_n)


def distance_with_backlash(first: Gear, second: Gear, backlash: float) -> float:
    """Centre distance at which a pair has so much backlash normal to the flanks, all in mm.

    Raises `ValueError` as `distance_without_backlash`.
    """
    distance = distance_without_backlash(first, second)
    bases = (first.base_diameter + second.base_diameter) / 2
    across = math.cos(math.radians(first.base_helix_angle_deg))
    for _ in range(8):
        # Each flank gives way by sin α_w of what the axes are moved apart (Newton's method).
        found = gap_at(first, second, distance) * bases / distance * across
        distance += (backlash - found) / (2 * across * math.sqrt(1 - (bases / distance) ** 2))
    return distance


def crossing_angle(first_deg: float, first: Hand | None, second_deg: float, second: Hand | None) -> float:
    """Angle between the shafts of a crossed pair: the sum of its signed helix angles, without sign.

    Like hands add, unlike hands take off; parallel shafts are at 0.
    """
    return abs(first_deg * (first.value if first else 0) + second_deg * (second.value if second else 0))


def crossed_distance(first: Gear, second: Gear) -> float:
    """Distance from shaft to shaft at which a crossed helical pair has no backlash, in mm.

    Half of both reference diameters, and m_n times the sum of shifts exactly: the crossing angle holds the working
    angle normal to the teeth at the rack's own. Own derivation from the common normal.
    """
    shifts = first.profile_shift + second.profile_shift
    return (first.reference_diameter + second.reference_diameter) / 2 + shifts * first.module_n


def sliding_share(first: Gear, second: Gear) -> float:
    """Sliding along the teeth of a crossed pair at the pitch point, as a share of the first's speed there.

    sin Σ / cos β_2, with Σ the crossing angle; handbook relation (from memory).
    """
    cross = crossing_angle(first.helix_angle_deg, first.hand, second.helix_angle_deg, second.hand)
    return math.sin(math.radians(cross)) / math.cos(math.radians(second.helix_angle_deg))


def tip_thickness(gear: Gear, tip_diameter: float) -> float:
    """Thickness of a tooth at its tip, normal to it, in mm; 0 or less where it comes to a point below.

    The helix at the tip is steeper than at the reference cylinder.
    """
    tangent = math.tan(math.radians(gear.helix_angle_deg)) * tip_diameter / gear.reference_diameter
    return thickness_at(gear, tip_diameter) * math.cos(math.atan(tangent))


def is_undercut(gear: Gear) -> bool:
    """Whether the rack undercuts the teeth at their roots."""
    return gear.profile_shift < least_profile_shift(gear) - 1e-9


def gap_at(first: Gear, second: Gear, distance: float) -> float:
    """Backlash along the working circle at a centre distance, in mm: what pitch the two thicknesses leave there."""
    circles = [2 * distance * gear.teeth / (first.teeth + second.teeth) for gear in (first, second)]
    pitch = math.pi * circles[0] / first.teeth
    return pitch - sum(thickness_at(gear, circle) for gear, circle in zip((first, second), circles, strict=True))


def _beyond_base(gear: Gear, diameter: float) -> float:
    """Length of roll at a diameter: from the base circle's point of touch to where the flank ends."""
    return math.sqrt(max(diameter**2 - gear.base_diameter**2, 0.0)) / 2


def _is_fouled(gear: Gear, reached: float) -> bool:
    """Whether the other's tips go to a length of roll below the one at which the rack's straight flank ends.

    Own derivation: the rack's flank ends a form height under the datum line, so that it finishes the involute from
    d/2 sin α_t - (h - x) m / sin α_t on.
    """
    angle = math.radians(gear.transverse_pressure_angle_deg)
    below = (gear.rack.form_height - gear.profile_shift) * gear.module_n
    return reached < gear.reference_diameter / 2 * math.sin(angle) - below / math.sin(angle) - 1e-9 or reached < 0


def _overlap(first: Gear, second: Gear) -> float | None:
    widths = [gear.face_width for gear in (first, second) if gear.face_width is not None]
    if not widths:
        return None
    return min(widths) * math.sin(math.radians(first.helix_angle_deg)) / (math.pi * first.module_n)


def profile_shift_sum(pinion: Gear, wheel: Gear, centre_distance: float) -> float:
    """Sum of the two profile shifts, in modules, that brings the pair to `centre_distance` (mm).

    The gears' own profile shifts are left aside. Raises `ValueError` for a distance at which the
    base circles overlap.
    """
    teeth = pinion.teeth + wheel.teeth
    bases = teeth * pinion.transverse_module * math.cos(pinion.pressure_t_rad) / 2
    distance = arguments.number("centre distance", centre_distance, unit="mm", at_least=bases)
    working = involute_of_tangent(math.sqrt(max((distance / bases) ** 2 - 1, 0.0)))
    return teeth * (working - pinion.involute_t) / (2 * math.tan(pinion.pressure_n_rad))
