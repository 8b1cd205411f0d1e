"""Lengths in the units that the job's own file is written in."""

from __future__ import annotations

from handlead.kinematics.gear import MM_PER_INCH


def length(mm: float, units: str, digits: int = 3) -> str:
    """A length with its unit, to so many decimals of a millimetre, or one more of an inch."""
    if units == "in":
        return f"{mm / MM_PER_INCH:.{digits + 1}f} in"
    return f"{mm:.{digits}f} mm"


def feed(mm: float, units: str) -> str:
    """A feed per table turn."""
    return f"{mm / MM_PER_INCH:.4g} in per table turn" if units == "in" else f"{mm:.4g} mm per table turn"
