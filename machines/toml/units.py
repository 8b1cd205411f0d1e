"""Numbers for people: lengths in the units that the job's own file is written in, deviations, plain decimals."""

from __future__ import annotations

import re
from collections.abc import Sequence
from fractions import Fraction

from handlead.kinematics.frame.words import swing, swivel_words
from handlead.kinematics.gears.gear import MM_PER_INCH


def length(mm: float, units: str, digits: int = 3) -> str:
    """A length with its unit, to so many decimals of a millimetre, or one more of an inch."""
    if units == "in":
        return f"{mm / MM_PER_INCH:.{digits + 1}f} in"
    return f"{mm:.{digits}f} mm"


def dial(mm: float, units: str) -> str:
    """A length that is set or measured: to a hundredth of a millimetre, or the tenth of a thousandth of an inch."""
    return length(mm, units, 3 if units == "in" else 2)


def feed(mm: Fraction, units: str) -> str:
    """A feed per table turn; one out of all measure is said to be so."""
    if not 1e-9 < mm < 1e9:
        return "a feed out of all measure"
    size = float(mm)
    return f"{size / MM_PER_INCH:.4g} in per table turn" if units == "in" else f"{size:.4g} mm per table turn"


MM_PER_FOOT = 12 * MM_PER_INCH


def surface_speed(m_min: float, units: str) -> str:
    """A cutting speed with its unit."""
    return f"{m_min * 1000 / float(MM_PER_FOOT):.0f} ft/min" if units == "in" else f"{m_min:.0f} m/min"


_MICROMETRES_PER_INCH = 1000 * float(MM_PER_INCH)

#: A deviation beyond this many µm is said in millimetres.
_MICROMETRES_UP_TO = 1000


def deviation(um: float, units: str = "mm") -> str:
    """A deviation with its sign, in micrometres, or in millimetres where it is out of all measure; or in inches."""
    if units == "in":
        return f"{round(um / _MICROMETRES_PER_INCH, 5) + 0:+.5f} in"
    if abs(um) >= _MICROMETRES_UP_TO:
        return f"{um / 1000:+.2f} mm"
    # Adding nothing turns a rounded -0.0 into 0.0.
    return f"{round(um, 1) + 0:+.1f} µm"


def height(um: float, units: str) -> str:
    """The size of what stands up or off, such as a feed mark: in micrometres, or as a length where it is out of all
    measure; or in inches."""
    if units == "in":
        return f"{um / _MICROMETRES_PER_INCH:.5f} in"
    return f"{um:.1f} µm" if abs(um) < _MICROMETRES_UP_TO else f"{um / 1000:.2f} mm"


def decimal(value: Fraction | None, digits: int = 6) -> str:
    """A number for people: whole if it is, else to so many digits, and in words if it is out of all measure."""
    if value is None:
        return "no"
    if value and not 1e-12 < abs(value) < 1e12:
        return "more than anybody can count" if abs(value) > 1 else "next to nothing"
    return str(value) if value.denominator == 1 else f"{float(value):.{digits}g}"


def swivel_text(swivel_deg: float, *, seen: bool = True) -> str:
    """The swivel for the vernier, in degrees and minutes, with the way to swing; `seen` says from where."""
    if not swing(swivel_deg):
        return "0° (level)"
    return f"{swivel_words(swivel_deg)}{' (seen from behind the hob)' if seen else ''}"


def quoted(names: Sequence[str]) -> str:
    """Names in a sentence, each in quotation marks."""
    *most, last = [f'"{name}"' for name in names] or ["nothing"]
    return f"{', '.join(most)} and {last}" if most else last


def lengths_in(sentence: str, units: str) -> str:
    """A sentence whose lengths are in millimetres, with each of them in these units.

    >>> lengths_in("it needs 127 mm between the axes", "in")
    'it needs 5.000 in between the axes'
    """
    if units != "in":
        return sentence
    return re.sub(r"([\d.]+) mm\b", lambda found: length(float(found[1]), units, 2), sentence)
