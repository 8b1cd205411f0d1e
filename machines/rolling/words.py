"""Words for how a pair runs: which way the work turns, and where along the face a flank bears."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from handlead.kinematics.rolling.bearing import Bearing

#: Which way the work turns when it drives, by the side of the flanks that then touch: seen facing the table, as it lay.
DRIVES = {-1: "counter-clockwise", 1: "clockwise"}

#: Where a flank bears, by which of the lower, middle and upper third of the face do.
_WHERE = {
    (True, True, True): "whole face",
    (True, False, False): "lower end",
    (False, False, True): "upper end",
    (True, True, False): "lower part",
    (False, True, True): "upper part",
    (False, True, False): "middle",
    (True, False, True): "both ends",
    (False, False, False): "nowhere",
}

#: The same in a sentence.
AT = {
    "lower end": "at the lower end only",
    "upper end": "at the upper end only",
    "lower part": "on the lower part of the face",
    "upper part": "on the upper part of the face",
    "middle": "in the middle of the face",
    "both ends": "at both ends and not between",
}


def where(found: Bearing) -> str:
    """Where along the face a flank bears: "whole face", an end or a part of it, "middle", "both ends", or "nowhere"."""
    return _WHERE[found.bearing_thirds]


def at_the_machine(words: str, way: Callable[[str, int], str]) -> str:
    """The same where the machine has other words for up and down, as `Machine.way` gives them."""
    for plain, sign in (("upper", 1), ("lower", -1)):
        called = way("axial", sign)
        if called not in ("up", "down"):
            words = words.replace(f"{plain} part of the face", f"part of the face {called}").replace(
                f"{plain} end", f"end {called}"
            )
            words = words.replace(f"{plain} part", f"part {called}")
    return words
