"""Set-ups on a machine that has no train: table, slide and swivel are simply given.

What a right set-up is comes from the drawing of the gear and the frame of the machine, written out
here once more so that no test leans on the module it is to watch.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

from handlead.kinematics.cutting.hob import Hob
from handlead.kinematics.cutting.setting import Setting
from handlead.kinematics.frame.blank import Blank
from handlead.kinematics.frame.motion import Rates
from handlead.kinematics.frame.words import Hand


@dataclass(frozen=True, kw_only=True)
class OnTheMachine(Setting):
    """A setting to full depth; with the lead that its rates make (mm, + right hand)."""

    lead: float | None
    module_n: float
    spaces_per_turn: Fraction


def set_up(
    teeth: int = 29,
    module_n: float = 3,
    helix_deg: float = 25,
    hand: int = 1,
    starts: int = 1,
    hob_hand: int = 1,
    up: int = 1,
    feed: Fraction = Fraction(2),
    gashes: int = 10,
    face: float = 40,
    hob_diameter: float = 72.5,
    index_for: Fraction | None = None,
    differential: Fraction = Fraction(1),
    swivel_error_deg: float = 0,
    hob_starts: int | None = None,
) -> OnTheMachine:
    """A right set-up, or a wrong one: indexed for another count, the differential's part multiplied
    by `differential`, the head swivelled wrong, a hob of other starts put in.
    """
    beta = math.radians(helix_deg)
    hob = Hob(
        module_n=module_n,
        starts=hob_starts or starts,
        hand=Hand(hob_hand),
        gashes=gashes,
        reference_diameter=hob_diameter,
    )
    wanted = Fraction(hand * math.sin(beta) / (math.pi * module_n * teeth)).limit_denominator(10**8)
    turns_per_mm = wanted * differential
    # Table turns in the sense in which the hob drives it; the slide's part is added or taken away.
    table = Fraction(starts) / (index_for or teeth) / (1 - hob_hand * turns_per_mm * up * feed)
    reference = module_n * teeth / math.cos(beta)
    return OnTheMachine(
        hob=hob,
        blank=Blank(reference + 2 * module_n, face),
        rates=Rates(table=-hob_hand * table, axial=up * feed * table),
        swivel_deg=hob_hand * math.degrees(math.asin(starts * module_n / hob_diameter))
        - hand * helix_deg
        + swivel_error_deg,
        centre_distance=reference / 2 + hob_diameter / 2,
        lead=float(1 / turns_per_mm) if turns_per_mm else None,
        module_n=module_n,
        spaces_per_turn=hob.starts / table,
    )
