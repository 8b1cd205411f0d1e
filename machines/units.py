"""Lengths in the units that the job's own file is written in."""

from __future__ import annotations

from fractions import Fraction

from handlead.kinematics.gear import MM_PER_INCH


def length(mm: float, units: str, digits: int = 3) -> str:
    """A length with its unit, to so many decimals of a millimetre, or one more of an inch."""
    if units == "in":
        return f"{mm / MM_PER_INCH:.{digits + 1}f} in"
    return f"{mm:.{digits}f} mm"


def feed(mm: Fraction, units: str) -> str:
    """A feed per table turn; one out of all measure is said to be so."""
    if not 1e-9 < mm < 1e9:
        return "a feed out of all measure"
    size = float(mm)
    return f"{size / MM_PER_INCH:.4g} in per table turn" if units == "in" else f"{size:.4g} mm per table turn"
