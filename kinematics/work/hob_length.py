"""How much of a hob's length a cut takes: where it touches the blank, and where it finishes the flanks."""

from __future__ import annotations

import math

from handlead.kinematics.frame import arguments
from handlead.kinematics.gears.gear import Gear

#: Angles round the hob at which its touch is looked for.
_STEPS = 721


def touching_length(hob_tip_diameter: float, blank_diameter: float, centre_distance: float, swivel_deg: float) -> float:
    """Length of the hob in mm, its middle at the work's, over which it meets the blank anywhere at full depth.

    A point of the hob's tip cylinder at the angle f towards its axis' normal lies a - r cos f from the work's axis
    plane, and r sin f along the slide's way before the head is swung; it is in the blank while its place across, s cos
    n - r sin f sin n, stays within what the blank's circle leaves there. The farthest s over all f, both ways: own
    derivation. All of the blank's height counts, so that the way in is covered as well.
    """
    radius = arguments.number("tip diameter of the hob", hob_tip_diameter, unit="mm", above=0) / 2
    blank = arguments.number("diameter of the blank", blank_diameter, unit="mm", above=0) / 2
    swivel = math.radians(abs(arguments.number("swivel", swivel_deg, unit="deg", above=-90, below=90)))
    farthest = 0.0
    for step in range(_STEPS):
        angle = math.pi * (step / (_STEPS - 1) - 0.5)
        across = centre_distance - radius * math.cos(angle)
        if abs(across) < blank:
            reach = math.sqrt(blank**2 - across**2) + radius * math.sin(angle) * math.sin(swivel)
            farthest = max(farthest, reach / math.cos(swivel))
    return 2 * farthest


def finishing_length(gear: Gear, hob_addendum: float, tip_diameter: float) -> float:
    """Length of the hob in mm, its middle at the work's, over which its threads finish the flanks.

    Contact lies on the line of action, from the depth of the hob's tips, h / tan a along it, to where the work's tips
    leave it; a tooth thickness more lets both flanks be met. Source: law of gearing, own derivation.
    """
    angle = math.radians(gear.transverse_pressure_angle_deg)
    below = (hob_addendum - gear.profile_shift * gear.module_n) / math.tan(angle)
    radius = gear.reference_diameter / 2
    leaves = math.sqrt(max(tip_diameter**2 - gear.base_diameter**2, 0.0)) / 2 - radius * math.sin(angle)
    half = max(below, leaves * math.cos(angle)) + math.pi * gear.transverse_module / 4
    return 2 * half / math.cos(math.radians(gear.helix_angle_deg))
