"""Checks of arguments at the door: a complaint shows the name, the value, and what would be right."""

from __future__ import annotations

import math
from fractions import Fraction


def number(
    name: str,
    value: float | Fraction,
    *,
    unit: str = "",
    above: float | None = None,
    at_least: float | None = None,
    below: float | None = None,
    at_most: float | None = None,
) -> float:
    """`value` as a float, once it is known to be finite and within the limits given.

    Raises `TypeError` for what is no number, `ValueError` for one out of limits.
    """
    if isinstance(value, bool) or not isinstance(value, (int, float, Fraction)):
        raise TypeError(f"{name} is {value!r}; it must be a number{_in(unit)}")
    right = _limits(above, at_least, below, at_most)
    try:
        result = float(value)
    except OverflowError:
        result = math.inf
    if (
        not math.isfinite(result)
        or (above is not None and not result > above)
        or (at_least is not None and not result >= at_least)
        or (below is not None and not result < below)
        or (at_most is not None and not result <= at_most)
    ):
        raise ValueError(f"{name} is {_shown(value)}; it must be a number{right}{_in(unit)}")
    return result


def whole(name: str, value: int, *, at_least: int, at_most: int | None = None) -> int:
    """`value`, once it is known to be a whole number within the limits given.

    Raises `TypeError` for what is no whole number, `ValueError` for one out of limits.
    """
    right = _limits(None, at_least, None, at_most)
    if isinstance(value, bool) or not isinstance(value, int):
        raise TypeError(f"{name} is {value!r}; it must be a whole number{right}")
    if value < at_least or (at_most is not None and value > at_most):
        raise ValueError(f"{name} is {_shown(value)}; it must be a whole number{right}")
    return value


def _limits(above: float | None, at_least: float | None, below: float | None, at_most: float | None) -> str:
    limits = [
        f"{words} {limit:g}"
        for words, limit in (("above", above), ("at least", at_least), ("below", below), ("at most", at_most))
        if limit is not None
    ]
    return " " + " and ".join(limits) if limits else ""


def _in(unit: str) -> str:
    return f" ({unit})" if unit else ""


def _shown(value: float | Fraction) -> str:
    # A number of a million digits must not become a message of a million digits.
    if isinstance(value, float):
        return f"{value:.12g}"
    if abs(value) >= 10**15 or value.denominator >= 10**15:
        return "out of all measure" if abs(value) >= 10**15 else f"{float(value):.12g}"
    return str(value)
