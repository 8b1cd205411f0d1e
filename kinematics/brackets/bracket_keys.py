"""The keys of a bracket: what each means, its unit, and which may be nought."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

#: Keys of a bracket: what each means, and its unit. Every one may be left out, and then limits nothing.
BRACKET_KEYS: dict[str, tuple[str, str]] = {
    "module": ("module of the change gears", "mm"),
    "centres": ("distance between the driving and the driven shaft, both fixed", "mm"),
    "clearance": (
        "rule of thumb for shafts and studs whose collars aren't given: a gear clears the shaft or stud "
        "next to its own where the pair in mesh between them has at least the gear's own teeth and so many more",
        "teeth",
    ),
    "addendum": ("height of the gears' teeth above the pitch circle, in modules; 1 unless given", "modules"),
    "driving_collar": ("diameter of the collar or nut on the driving shaft", "mm"),
    "stud_collar": ("diameter of the collar or nut on a stud", "mm"),
    "driven_collar": ("diameter of the collar or nut on the driven shaft", "mm"),
    "gap": ("air left between a gear's tips and whatever it passes", "mm"),
    "least_sum": ("least number of teeth that two gears in mesh have together", "teeth"),
    "greatest_sum": ("greatest number of teeth that two gears in mesh have together", "teeth"),
    "slack": ("how far a single pair may miss the centres, either way", "mm"),
    "pivot": ('the shaft about which the arm swings, "driving" or "driven" (driven unless given)', "word"),
    "least_reach": ("least distance of a stud from the pivot, along the arm's slot", "mm"),
    "greatest_reach": ("greatest distance of a stud from the pivot, along the arm's slot", "mm"),
    "studs": ("how many studs there are", "count"),
    "stud_length": ("length of a stud that gears can stand on", "mm"),
    "gear_width": ("width of a gear with its spacer", "mm"),
    "idler_width": ("width of an idler; one wider than a gear stands in its neighbours' planes too", "mm"),
}

IN_MM = tuple(key for key, (_, unit) in BRACKET_KEYS.items() if unit == "mm")
COUNTED = tuple(key for key, (_, unit) in BRACKET_KEYS.items() if unit in ("teeth", "count"))
MAY_BE_ZERO = frozenset({"clearance", "gap", "slack", "studs", "addendum"})


def checked_measure(key: str, value: Any) -> int | Fraction | None:
    """A bracket's number as it is kept: teeth and counts whole, all else a fraction; None where it isn't given.

    Raises `TypeError` for what is no number, `ValueError` for a number that no bracket can have.
    """
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, (int, Fraction)):
        raise TypeError(f"bracket: {key} is {value!r}; give a whole number or a Fraction")
    whole = key in COUNTED and key != "clearance"
    if whole and Fraction(value).denominator != 1:
        raise ValueError(f"bracket: {key} is {value}; it must be a whole number")
    if value < 0 or (value == 0 and key not in MAY_BE_ZERO):
        right = "0 or more" if key in MAY_BE_ZERO else "above 0"
        raise ValueError(f"bracket: {key} is {value}; it must be {right}")
    return int(value) if whole else Fraction(value)
