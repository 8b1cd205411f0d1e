"""What a hob and the work ask of the head: the hob's lead angle, and the swivel.

Lengths in mm, angles in degrees. Sources as in `gear`.
"""

from __future__ import annotations

import math

from handlead.kinematics.frame import arguments
from handlead.kinematics.frame.words import Hand

from .gear import helix_of_hand, whole_module


def hob_lead_angle_deg(module_n: float, starts: int, reference_diameter: float) -> float:
    """Lead angle of a hob in degrees: sin γ = k·m_n / d_0, all in mm.

    It grows as the hob is sharpened, since the reference diameter shrinks.

    >>> round(hob_lead_angle_deg(3, 2, 72.5), 6)
    4.747149
    """
    diameter = arguments.number("reference diameter of the hob", reference_diameter, unit="mm", above=0)
    sine = whole_module(module_n) * arguments.whole("starts", starts, at_least=1) / diameter
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
    helix_angle = helix_of_hand(work_hand, helix_angle_deg)
    return hob_hand.value * lead_angle - (work_hand.value * helix_angle if work_hand else 0.0)
