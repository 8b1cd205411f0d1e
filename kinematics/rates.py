"""How the ends of a train move together: what a cut is made of."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction


@dataclass(frozen=True)
class Rates:
    """Exact rates per turn of the hob, signed in the frame: table in turns, slides in mm."""

    table: Fraction
    axial: Fraction = Fraction(0)
    tangential: Fraction = Fraction(0)
    radial: Fraction = Fraction(0)
