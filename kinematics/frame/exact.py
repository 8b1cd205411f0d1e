"""Numbers that gears bring in and that no fraction is: pi, sines, roots, held as closely as anybody asks.

An irrational number is never rounded: it is an `Irrational`, which gives two fractions that hold it between them, as
close together as anybody asks. Whatever has to be decided about it is decided by drawing the two closer until it is
certain.
"""

from __future__ import annotations

import math
import operator
from collections.abc import Callable
from fractions import Fraction
from functools import lru_cache
from typing import Any, TypeAlias

#: Enclosures are drawn closer up to this many binary places before a question is given up as undecidable.
MOST_BITS = 8192

#: Places to begin with.
FIRST_BITS = 96

Bounds = tuple[Fraction, Fraction]


class Irrational:
    """A real number held between two fractions that can be drawn together at will.

    `recipe`, a function and its arguments that make the number anew, lets it be pickled.
    `enclose(bits)` returns two fractions that hold the number between them; the more `bits`, the
    closer, without limit. Numbers of this kind and fractions add, subtract, multiply, divide and
    compare with each other. A comparison that isn't settled within `MOST_BITS` binary places, as of
    a number with itself in another guise, raises `ArithmeticError`: give such a number as a fraction.

    >>> round(float(sine(Fraction(15)) / (PI * 2)), 5)
    0.04119
    """

    __slots__ = ("_best", "_enclose", "_recipe", "name")

    def __init__(
        self,
        enclose: Callable[[int], Bounds],
        name: str = "an irrational number",
        recipe: tuple[Callable[..., Any], tuple[Any, ...]] | None = None,
    ) -> None:
        self._enclose = enclose
        self._recipe = recipe
        self._best: tuple[int, Fraction, Fraction] | None = None
        self.name = name

    def bounds(self, bits: int = FIRST_BITS) -> Bounds:
        """Two fractions that hold the number between them, at most 2**-bits apart."""
        width = Fraction(1, 1 << bits)
        working = bits
        while True:
            if self._best is not None and self._best[2] - self._best[1] <= width:
                return self._best[1], self._best[2]
            if working > 4 * MOST_BITS:
                raise ArithmeticError(f"{self.name} can't be held more closely than to {bits} binary places")
            low, high = self._enclose(working)
            if low > high:
                raise ValueError(f"{self.name} was enclosed by {low} and {high}: the lesser comes first")
            if self._best is not None:
                low, high = max(low, self._best[1]), min(high, self._best[2])
                if low > high:
                    raise ValueError(f"two enclosures of {self.name} have nothing in common")
            self._best = working, low, high
            working += max(16, working // 2)

    def compare(self, other: Ratio | int) -> int:
        """-1 where this number is less than `other`, +1 where it is greater; 0 only for itself.

        Raises `ArithmeticError` where `MOST_BITS` binary places don't tell them apart.
        """
        if other is self:
            return 0
        bits = FIRST_BITS
        while bits <= MOST_BITS:
            low, high = self.bounds(bits)
            if isinstance(other, Irrational):
                other_low, other_high = other.bounds(bits)
            else:
                other_low = other_high = Fraction(other)
            if high < other_low:
                return -1
            if low > other_high:
                return 1
            bits *= 2
        raise ArithmeticError(
            f"{self.name} and {getattr(other, 'name', other)} agree to {MOST_BITS} binary places; "
            "if they are the same number, give it as a fraction"
        )

    def __lt__(self, other: Ratio | int) -> bool:
        return self.compare(other) < 0

    def __gt__(self, other: Ratio | int) -> bool:
        return self.compare(other) > 0

    def __le__(self, other: Ratio | int) -> bool:
        return self.compare(other) <= 0

    def __ge__(self, other: Ratio | int) -> bool:
        return self.compare(other) >= 0

    def __bool__(self) -> bool:
        return self.compare(0) != 0

    def __float__(self) -> float:
        bits = FIRST_BITS
        while True:
            low, high = self.bounds(bits)
            if (low > 0 or high < 0) and (high - low) * (1 << 60) <= abs(low):
                return float(low)
            if bits > MOST_BITS:
                return 0.0
            bits *= 2

    def __repr__(self) -> str:
        return f"Irrational({self.name})"

    def __reduce__(self) -> tuple[Callable[..., Any], tuple[Any, ...]]:
        return self._recipe if self._recipe is not None else (Irrational, (self._enclose, self.name))

    def __neg__(self) -> Irrational:
        return _combine(operator.neg, (self,), lambda a: (-a[1], -a[0]))

    def __abs__(self) -> Irrational:
        return -self if self.compare(0) < 0 else self

    def __add__(self, other: Ratio | int) -> Irrational:
        return _combine(operator.add, (self, other), lambda a, b: (a[0] + b[0], a[1] + b[1]))

    __radd__ = __add__

    def __sub__(self, other: Ratio | int) -> Irrational:
        return _combine(operator.sub, (self, other), lambda a, b: (a[0] - b[1], a[1] - b[0]))

    def __rsub__(self, other: Ratio | int) -> Irrational:
        return _combine(operator.sub, (other, self), lambda a, b: (a[0] - b[1], a[1] - b[0]))

    def __mul__(self, other: Ratio | int) -> Ratio:
        if not isinstance(other, Irrational) and other == 0:
            return Fraction(0)
        return _combine(operator.mul, (self, other), _product)

    __rmul__ = __mul__

    def __truediv__(self, other: Ratio | int) -> Irrational:
        if not isinstance(other, Irrational) and other == 0:
            raise ZeroDivisionError(f"{self.name} is divided by 0")
        return _combine(operator.truediv, (self, other), _quotient)

    def __rtruediv__(self, other: Fraction | int) -> Ratio:
        if other == 0:
            return Fraction(0)
        return _combine(operator.truediv, (other, self), _quotient)


Ratio: TypeAlias = Fraction | Irrational


def _product(a: Bounds, b: Bounds) -> Bounds:
    corners = [x * y for x in a for y in b]
    return min(corners), max(corners)


def _quotient(a: Bounds, b: Bounds) -> Bounds | None:
    if b[0] <= 0 <= b[1]:
        return None
    corners = [x / y for x in a for y in b]
    return min(corners), max(corners)


_SIGNS = {operator.neg: "-", operator.add: "+", operator.sub: "-", operator.mul: "*", operator.truediv: "/"}


def _combine(
    operation: Callable[..., Any], terms: tuple[Ratio | int, ...], rule: Callable[..., Bounds | None]
) -> Irrational:
    """The number that `rule` makes of the bounds of `terms`; None from `rule` asks for closer bounds."""

    def enclose(bits: int) -> Bounds:
        working = bits + 8
        while working <= 4 * MOST_BITS:
            result = rule(
                *(t.bounds(working) if isinstance(t, Irrational) else (Fraction(t),) * 2 for t in terms)
            )
            if result is not None:
                return _rounded_outwards(result, bits)
            working *= 2
        raise ZeroDivisionError("division by a number that can't be told from 0")

    names = [t.name if isinstance(t, Irrational) else str(t) for t in terms]
    sign = _SIGNS[operation]
    name = sign + names[0] if len(names) == 1 else f"({names[0]} {sign} {names[1]})"
    return Irrational(enclose, name, (operation, terms))


def _rounded_outwards(bounds: Bounds, bits: int) -> Bounds:
    """`bounds` to `bits` and a few binary places, never narrower: keeps the fractions short."""
    scale = 1 << (bits + 8)
    return (
        Fraction(bounds[0].numerator * scale // bounds[0].denominator, scale),
        Fraction(-(-bounds[1].numerator * scale // bounds[1].denominator), scale),
    )


# -- the irrational numbers that gears bring in ---------------------------------------------------


@lru_cache(maxsize=32)
def _scaled_pi(bits: int) -> int:
    """Pi times 2**bits, wrong by less than 1. Machin's formula, pi/4 = 4 atan 1/5 - atan 1/239."""
    guard = bits.bit_length() + 8
    one = 1 << (bits + guard)

    def inverse_tangent(n: int) -> int:
        power, total, k = one // n, 0, 0
        while power:
            total += (-1) ** k * (power // (2 * k + 1))
            power //= n * n
            k += 1
        return total

    return (16 * inverse_tangent(5) - 4 * inverse_tangent(239)) >> guard


def _pi_bounds(bits: int) -> Bounds:
    middle, scale = _scaled_pi(bits), 1 << bits
    return Fraction(middle - 1, scale), Fraction(middle + 2, scale)


def _pi() -> Irrational:
    return PI


def pi_to(decimals: int) -> Fraction:
    """Pi rounded to so many decimals, for where a fraction has to stand for it."""
    return round(Fraction(_scaled_pi(4 * decimals), 1 << 4 * decimals), decimals)


#: The ratio of a circle's circumference to its diameter.
PI = Irrational(_pi_bounds, "pi", (_pi, ()))


def sine(angle_deg: Fraction | int) -> Ratio:
    """Sine of an angle in degrees, exact where it is a fraction (at multiples of 30 degrees only).

    Raises `TypeError` for a float: an angle read off a drawing is exact as written.
    """
    if isinstance(angle_deg, float):
        raise TypeError(f"the angle is the float {angle_deg!r}; give it as a whole number or a Fraction")
    angle = Fraction(angle_deg) % 360
    sign = 1
    if angle >= 180:
        angle, sign = angle - 180, -1
    if angle > 90:
        angle = 180 - angle
    # The sine of a whole fraction of a turn is rational only at 0, 1/2 and 1 (Niven's theorem).
    known = {Fraction(0): Fraction(0), Fraction(30): Fraction(1, 2), Fraction(90): Fraction(1)}
    if angle in known:
        return sign * known[angle]

    def enclose(bits: int) -> Bounds:
        low, high = _sine_bounds(angle, bits) if angle <= 45 else _cosine_bounds(90 - angle, bits)
        return (low, high) if sign > 0 else (-high, -low)

    return Irrational(enclose, f"sin {float(angle_deg):g} deg", (sine, (angle_deg,)))


def cosine(angle_deg: Fraction | int) -> Ratio:
    """Cosine of an angle in degrees, exact where it is a fraction. Raises `TypeError` for a float."""
    if isinstance(angle_deg, float):
        raise TypeError(f"the angle is the float {angle_deg!r}; give it as a whole number or a Fraction")
    return sine(90 - Fraction(angle_deg))


def _series_bounds(angle_deg: Fraction, bits: int, first_power: int) -> Bounds:
    """Sine (`first_power` 1) or cosine (0) of 0 to 45 degrees by its power series, in whole numbers.

    Each division loses less than a unit in the last place, so the loss is bounded by the terms counted.
    """
    working = bits + 16
    x = _scaled_pi(working) * angle_deg.numerator // (180 * angle_deg.denominator)
    square = x * x >> working
    term = x if first_power else 1 << working
    total, power, terms = 0, first_power, 0
    while term:
        total += term if terms % 2 == 0 else -term
        term = (term * square >> working) // ((power + 1) * (power + 2))
        power += 2
        terms += 1
    lost = 4 * terms + 8
    scale = 1 << working
    return Fraction(total - lost, scale), Fraction(total + lost, scale)


def _sine_bounds(angle_deg: Fraction, bits: int) -> Bounds:
    return _series_bounds(angle_deg, bits, 1)


def _cosine_bounds(angle_deg: Fraction, bits: int) -> Bounds:
    return _series_bounds(angle_deg, bits, 0)


def square_root(number: Ratio | int) -> Ratio:
    """Square root, exact where it is a fraction. Raises `ValueError` below 0."""
    if isinstance(number, Irrational):
        if number < 0:
            raise ValueError(f"the square root of {number!r} is asked for; it must be 0 or more")
        inner = number

        def enclose(bits: int) -> Bounds:
            low, high = inner.bounds(2 * bits + 4)
            return _root_bounds(max(low, Fraction(0)), bits)[0], _root_bounds(high, bits)[1]

        return Irrational(enclose, f"sqrt {number.name}", (square_root, (number,)))
    exact = Fraction(number)
    if exact < 0:
        raise ValueError(f"the square root of {exact} is asked for; it must be 0 or more")
    root = Fraction(math.isqrt(exact.numerator), math.isqrt(exact.denominator))
    if root * root == exact:
        return root
    return Irrational(lambda bits: _root_bounds(exact, bits), f"sqrt {exact}", (square_root, (exact,)))


def _root_bounds(number: Fraction, bits: int) -> Bounds:
    scale = 1 << bits
    root = math.isqrt(number.numerator * scale * scale // number.denominator)
    return Fraction(root, scale), Fraction(root + 1, scale)
