"""Flank tolerances of ISO 1328-1:2013, classes 1 (finest) to 11, in micrometres.

Formulas and rounding from memory of the standard; its scope as in the catalogue pages of
BS ISO 1328-1:2013 and DS/ISO 1328-1:2013. Sizes outside the scope are still worked out, by the
same formulas, and the result says that they are outside: a starting point, not a tolerance.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from handlead.kinematics.frame import arguments

from .gear import Gear

FINEST, COARSEST = 1, 11

#: Least and greatest value of each size that the standard covers: words, limits, unit.
SCOPE: dict[str, tuple[float, float, str]] = {
    "teeth": (5, 1000, ""),
    "reference diameter": (5, 15_000, " mm"),
    "normal module": (0.5, 70, " mm"),
    "face width": (4, 1200, " mm"),
    "helix angle": (0, 45, " deg"),
}


@dataclass(frozen=True)
class Tolerance:
    """One tolerance in micrometres: as the standard rounds it, and before rounding."""

    um: float
    unrounded_um: float


@dataclass(frozen=True)
class FlankTolerances:
    """All flank tolerances of one gear in one class; `outside_scope` says what is beyond the standard."""

    quality: int
    single_pitch: Tolerance
    """Single pitch deviation, f_pT."""
    cumulative_pitch: Tolerance
    """Total cumulative pitch (index) deviation, F_pT."""
    profile_slope: Tolerance
    """Profile slope deviation, f_HαT."""
    profile_form: Tolerance
    """Profile form deviation, f_fαT."""
    profile_total: Tolerance
    """Total profile deviation, F_αT."""
    helix_slope: Tolerance
    """Helix slope deviation, f_HβT."""
    helix_form: Tolerance
    """Helix form deviation, f_fβT."""
    helix_total: Tolerance
    """Total helix deviation, F_βT."""
    runout: Tolerance
    """Runout, F_rT; informative in the standard."""
    outside_scope: tuple[str, ...]


def flank_tolerances(gear: Gear, quality: int) -> FlankTolerances:
    """All flank tolerances of `gear` in class `quality`.

    Raises `ValueError` for a class that doesn't exist or a gear whose face width isn't known.
    """
    if gear.face_width is None:
        raise ValueError("face width is missing; helix tolerances depend on it, so give it in mm")
    m_n, d, b = gear.module_n, gear.reference_diameter, gear.face_width
    pitch = 0.002 * d + 0.55 * math.sqrt(d) + 0.7 * m_n + 12
    profile_slope = 0.4 * m_n + 0.001 * d + 4
    profile_form = 0.55 * m_n + 5
    helix_slope = _helix_slope(d, b)
    helix_form = 0.07 * math.sqrt(d) + 0.45 * math.sqrt(b) + 4
    step = _step(quality)

    def tolerance(class_5_um: float) -> Tolerance:
        return Tolerance(rounded(class_5_um * step), class_5_um * step)

    return FlankTolerances(
        quality=quality,
        single_pitch=tolerance(0.001 * d + 0.4 * m_n + 5),
        cumulative_pitch=tolerance(pitch),
        profile_slope=tolerance(profile_slope),
        profile_form=tolerance(profile_form),
        # Totals come from the unrounded parts.
        profile_total=tolerance(math.hypot(profile_slope, profile_form)),
        helix_slope=tolerance(helix_slope),
        helix_form=tolerance(helix_form),
        helix_total=tolerance(math.hypot(helix_slope, helix_form)),
        runout=tolerance(0.9 * pitch),
        outside_scope=outside_scope(gear),
    )


def class_of(gear: Gear, name: str, um: float) -> int | None:
    """The finest class whose tolerance of this name takes in a deviation, either way; None if none does."""
    classes = range(FINEST, COARSEST + 1)
    return next((one for one in classes if abs(um) <= getattr(flank_tolerances(gear, one), name).um), None)


def outside_scope(gear: Gear) -> tuple[str, ...]:
    """What about `gear` the standard doesn't cover, in words; empty where it covers all of it."""
    sizes: dict[str, float | None] = {
        "teeth": gear.teeth,
        "reference diameter": gear.reference_diameter,
        "normal module": gear.module_n,
        "face width": gear.face_width,
        "helix angle": gear.helix_angle_deg,
    }
    return tuple(
        f"{name} {size:g}{unit} is outside {low:g} to {high:g}{unit}"
        for name, (low, high, unit) in SCOPE.items()
        if (size := sizes[name]) is not None and not low <= size <= high
    )


def helix_slope_um(reference_diameter: float, face_width: float, quality: int) -> float:
    """Helix slope tolerance f_HβT in micrometres, rounded as the standard does; sizes in mm.

    >>> helix_slope_um(120, 20, 7)
    12.0
    """
    return rounded(_helix_slope(reference_diameter, face_width) * _step(quality))


def helix_slope_class(deviation_um: float, reference_diameter: float, face_width: float) -> int | None:
    """The finest class whose helix slope tolerance takes in the deviation, either way; None if none does.

    `deviation_um` is over the whole face width; diameters and widths in mm.

    >>> helix_slope_class(-12, 120, 20)
    7
    """
    deviation = abs(arguments.number("deviation", deviation_um, unit="micrometres"))
    return next(
        (
            quality
            for quality in range(FINEST, COARSEST + 1)
            if deviation <= helix_slope_um(reference_diameter, face_width, quality)
        ),
        None,
    )


def rounded(um: float) -> float:
    """A tolerance as the standard rounds it: to 1 above 10 µm, to 0.5 above 5 µm, else to 0.1 µm."""
    parts = 1 if um > 10 else 2 if um > 5 else 10
    return math.floor(um * parts + 0.5) / parts


def _helix_slope(reference_diameter: float, face_width: float) -> float:
    d = arguments.number("reference diameter", reference_diameter, unit="mm", above=0)
    b = arguments.number("face width", face_width, unit="mm", above=0)
    return 0.05 * math.sqrt(d) + 0.35 * math.sqrt(b) + 4


def _step(quality: int) -> float:
    """Factor from class 5, in which the formulas are written."""
    return math.sqrt(2) ** (arguments.whole("quality", quality, at_least=FINEST, at_most=COARSEST) - 5)
