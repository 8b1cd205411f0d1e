"""What an unknown number can be: whole numbers, or fractions of a millimetre or an inch."""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from typing import Protocol

from .bounds import SLACK


class Domain(Protocol):
    """The values that a number may have, all above 0."""

    @property
    def low(self) -> Fraction:
        """No value is less."""

    @property
    def high(self) -> Fraction:
        """No value is greater."""

    def count(self, low: float, high: float) -> float:
        """About how many values lie between; 0 only if none does."""

    def values(self, low: float, high: float) -> list[Fraction]:
        """The values that lie between, the simplest first."""

    def simplest(self, low: Fraction, high: Fraction) -> Fraction | None:
        """The plainest of the values that lie between, or None."""

    def plainness(self, value: Fraction) -> tuple[int, int]:
        """Less for a plainer value: rank of the unit of which it is a fraction, and its denominator there."""


@dataclass(frozen=True)
class Wholes:
    """The whole numbers from `low` to `high`."""

    low: Fraction
    high: Fraction

    def count(self, low: float, high: float) -> float:
        """How many whole numbers lie between."""
        first, last = self.within(low, high)
        return max(0, last - first + 1)

    def values(self, low: float, high: float) -> list[Fraction]:
        """The whole numbers that lie between."""
        first, last = self.within(low, high)
        return [Fraction(value) for value in range(first, last + 1)]

    def simplest(self, low: Fraction, high: Fraction) -> Fraction | None:
        """A whole number in the middle, or None."""
        first, last = math.ceil(max(low, self.low)), math.floor(min(high, self.high))
        return Fraction((first + last) // 2) if first <= last else None

    def plainness(self, value: Fraction) -> tuple[int, int]:
        """One whole number is as plain as another."""
        return 0, value.denominator

    def within(self, low: float, high: float) -> tuple[int, int]:
        """The first and the last of the whole numbers that lie between."""
        first = max(math.ceil(self.low), math.ceil(low) if math.isfinite(low) else 0)
        return first, min(math.floor(self.high), math.floor(high) if math.isfinite(high) else 10**18)


@dataclass(frozen=True)
class Fractions:
    """Fractions of each of `units` from `low` to `high`, with denominators up to what goes with the unit.

    A lead is a fraction of a millimetre or of an inch: ``units = ((Fraction(1), 20), (Fraction(127, 5), 32))``. A
    fraction of the first unit is plainer than any of those behind it.
    """

    low: Fraction
    high: Fraction
    units: tuple[tuple[Fraction, int], ...] = ((Fraction(1), 100),)

    def count(self, low: float, high: float) -> float:
        """About how many: there are 3/pi^2 n^2 fractions with denominators to n from one whole number to the next."""
        low, high = max(low, float(self.low)), min(high, float(self.high))
        if low > high * (1 + SLACK):
            return 0
        return 1 + sum(0.304 * most * most * (high - low) / float(unit) for unit, most in self.units)

    def values(self, low: float, high: float) -> list[Fraction]:
        """The fractions that lie between, those with the least denominators first."""
        found: dict[Fraction, int] = {}
        bottom, top = max(Fraction(low), self.low), min(Fraction(high), self.high)
        for unit, most in self.units:
            for below in range(1, most + 1):
                first, last = math.ceil(bottom / unit * below), math.floor(top / unit * below)
                for above in range(first, last + 1):
                    found.setdefault(unit * Fraction(above, below), below)
        return sorted(found, key=lambda value: (found[value], value))

    def simplest(self, low: Fraction, high: Fraction) -> Fraction | None:
        """One with the least denominator of the fractions of the first unit that has any between; or None."""
        low, high = max(low, self.low), min(high, self.high)
        for unit, most in self.units:
            for below in range(1, most + 1):
                first, last = math.ceil(low / unit * below), math.floor(high / unit * below)
                if first <= last:
                    return unit * Fraction((first + last) // 2, below)
        return None

    def plainness(self, value: Fraction) -> tuple[int, int]:
        """Less for a plainer value: rank of the unit of which it is a fraction, and its denominator there."""
        for rank, (unit, most) in enumerate(self.units):
            if (value / unit).denominator <= most:
                return rank, (value / unit).denominator
        return len(self.units), (value / self.units[0][0]).denominator
