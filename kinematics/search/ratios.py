"""Which fractions lie nearest to a ratio that is wanted, exact or irrational, and by how much they are off.

Nothing is rounded: which of two gear sets is nearer to an irrational ratio is decided by drawing its two bounds closer
until it is certain.
"""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from functools import cmp_to_key

from handlead.kinematics.frame.exact import FIRST_BITS, MOST_BITS, Irrational, Ratio


def compare(a: Ratio | int, b: Ratio | int) -> int:
    """-1, 0 or +1 as `a` is less than, equal to or greater than `b`, exactly.

    Raises `ArithmeticError` where an irrational can't be told from the other within `MOST_BITS` places.
    """
    if isinstance(a, Irrational):
        return a.compare(b)
    if isinstance(b, Irrational):
        return -b.compare(a)
    return (a > b) - (a < b)


def compare_errors(first: Fraction, second: Fraction, target: Ratio) -> int:
    """-1 where `first` is nearer to `target` than `second`, +1 where it is farther, 0 where equally near.

    Which is nearer depends only on the side of the middle between them on which the target lies,
    so that one comparison settles it, however close the two errors are.
    """
    if first == second:
        return 0
    side = compare((first + second) / 2, target)
    return side if first > second else -side


def by_error(ratios: Iterable[Fraction], target: Ratio) -> list[Fraction]:
    """The fractions, nearest to `target` first; of two equally near the lesser first."""

    def nearer(one: Fraction, other: Fraction) -> int:
        return compare_errors(one, other, target)

    return sorted(sorted(ratios), key=cmp_to_key(nearer))


def relative_error(ratio: Fraction, target: Ratio) -> float:
    """How far `ratio` is above `target` (below: negative), as a share of the target, to full float accuracy."""
    if not isinstance(target, Irrational):
        return float(Fraction(ratio) / target - 1)
    bits = FIRST_BITS
    while True:
        low, high = target.bounds(bits)
        off = ratio - low
        if (off < 0 or ratio > high) and (high - low) * (1 << 60) <= abs(off):
            return float(off / low)
        if bits > MOST_BITS:
            return 0.0
        bits *= 2


def checked_target(target: Ratio | int, what: str = "ratio wanted") -> Ratio:
    """`target` as a `Ratio` above 0.

    Raises `TypeError` for a float, which has already been rounded, and `ValueError` at 0 or below.
    """
    if isinstance(target, bool) or not isinstance(target, (int, Fraction, Irrational)):
        raise TypeError(
            f"{what} is {target!r}; give a whole number, a Fraction or an Irrational: "
            "a float has been rounded already"
        )
    result = target if isinstance(target, Irrational) else Fraction(target)
    if compare(result, 0) <= 0:
        raise ValueError(f"{what} is {result}; it must be greater than 0 (the sense is the idlers' affair)")
    return result


# -- fractions near a number ----------------------------------------------------------------------


def nearest_fraction(number: Ratio | int, largest: int) -> Fraction:
    """The fraction nearest to a ratio above 0 whose numerator and denominator are no greater than `largest`.

    Above 1 it is the nearest turned over, by turns of the driving side. An irrational ratio is taken to far more places
    than any two such fractions lie apart.

    >>> nearest_fraction(Fraction(355, 113), 50)
    Fraction(22, 7)
    """
    target = checked_target(number)
    if isinstance(target, Irrational):
        near = sum(target.bounds(4 * largest.bit_length() + 16), Fraction(0)) / 2
    else:
        near = target
    if near <= 1:
        return near.limit_denominator(largest) or Fraction(1, largest)
    return 1 / ((1 / near).limit_denominator(largest) or Fraction(1, largest))
