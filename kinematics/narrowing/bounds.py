"""Bounds of unknown numbers in floating point, always rounded outwards: what lies between them, and powers of it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from random import Random

#: Bounds are widened by this part after a chain of floating-point steps, far more than they can round.
SLACK = 1e-13


class Empty(Exception):
    """No value is left for a variable, or a condition can't hold."""


@dataclass
class Narrowed:
    """Bounds so far. `low` and `high` of a sign are -1 and 1, or both what it is."""

    low: dict[str, float]
    high: dict[str, float]
    value: dict[str, Fraction] = field(default_factory=dict)
    chance: Random = field(default_factory=lambda: Random(0))

    def copy(self) -> Narrowed:
        """The same, to be drawn closer by itself."""
        return Narrowed(dict(self.low), dict(self.high), dict(self.value), self.chance)


def size(bounds: tuple[float, float]) -> tuple[float, float]:
    """Bounds of the size of a number between `bounds`."""
    low, high = bounds
    return (0.0 if low <= 0 <= high else min(abs(low), abs(high)), max(abs(low), abs(high)))


def power(low: float, high: float, exponent: int) -> tuple[float, float]:
    """Bounds of a power of a number above 0, as floating point has them; the caller widens."""
    return (low**exponent, high**exponent) if exponent > 0 else (high**exponent, low**exponent)


def root(low: float, high: float, exponent: int) -> tuple[float, float]:
    """Bounds of a number whose power lies between `low` and `high`, widened."""
    if exponent < 0:
        low, high = (0.0 if math.isinf(high) else 1 / high), (1 / low if low > 0 else math.inf)
        exponent = -exponent
    if exponent > 1:
        low, high = low ** (1 / exponent), high ** (1 / exponent) if not math.isinf(high) else high
    return low * (1 - SLACK), high * (1 + SLACK)


def term_ends(
    state: Narrowed, numbers: Sequence[tuple[str, int]], signs: Sequence[str], low: float, high: float
) -> tuple[float, float]:
    """Bounds of a term: a coefficient between `low` and `high` times powers of numbers and times signs."""
    least = greatest = 1.0
    for name, each in numbers:
        ends = power(state.low[name], state.high[name], each)
        least, greatest = least * ends[0], greatest * ends[1]
    if any(name not in state.value for name in signs):
        most = max(abs(low), abs(high)) * greatest * (1 + SLACK)
        return -most, most
    sign = math.prod(float(state.value[name]) for name in signs)
    if sign < 0:
        low, high = -high, -low
    bottom = low * (least if low > 0 else greatest)
    top = high * (greatest if high > 0 else least)
    return bottom - SLACK * abs(bottom), top + SLACK * abs(top)
