"""Which fractions lie nearest to a ratio that is wanted, exact or irrational, and by how much they are off.

Nothing is rounded: which of two gear sets is nearer to an irrational ratio is decided by drawing its two bounds closer
until it is certain.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Iterable, Iterator
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


def continued_fraction(number: Ratio | int) -> Iterator[int]:
    """The terms of the continued fraction of `number`; without end where it is irrational.

    >>> list(continued_fraction(Fraction(191, 23)))
    [8, 3, 3, 2]
    """
    if not isinstance(number, Irrational):
        rest = Fraction(number)
        while True:
            whole = math.floor(rest)
            yield whole
            if rest == whole:
                return
            rest = 1 / (rest - whole)
    given, bits = 0, FIRST_BITS
    while bits <= MOST_BITS:
        sure = _common_terms(*number.bounds(bits))
        yield from sure[given:]
        given = max(given, len(sure))
        bits *= 2
    raise ArithmeticError(f"no more terms of {number.name} within {MOST_BITS} binary places")


def _common_terms(low: Fraction, high: Fraction) -> list[int]:
    """Terms that every number between `low` and `high` shares."""
    terms: list[int] = []
    while True:
        whole = math.floor(low)
        # A bound that is whole itself may be the end of one expansion and not of the other.
        if whole != math.floor(high) or low == whole or high == whole:
            return terms
        terms.append(whole)
        low, high = 1 / (high - whole), 1 / (low - whole)


def convergents(number: Ratio | int) -> Iterator[Fraction]:
    """The convergents of the continued fraction of `number`: each nearer than any shorter fraction.

    >>> [str(f) for f in convergents(Fraction(191, 23))]
    ['8', '25/3', '83/10', '191/23']
    """
    before, last = (0, 1), (1, 0)
    for term in continued_fraction(number):
        before, last = last, (term * last[0] + before[0], term * last[1] + before[1])
        yield Fraction(*last)


def stern_brocot_path(number: Ratio | int) -> Iterator[Fraction]:
    """The fractions passed on the way from 1/1 down the Stern-Brocot tree to `number`, itself included.

    Without end where the number is irrational. Raises `ValueError` at 0 or below.
    """
    number = checked_target(number, "number")
    left, right = (0, 1), (1, 0)
    while True:
        node = (left[0] + right[0], left[1] + right[1])
        here = Fraction(*node)
        yield here
        side = compare(number, here)
        if side == 0:
            return
        left, right = (left, node) if side < 0 else (node, right)


def nearest_fractions(number: Ratio | int, greatest_denominator: int, limit: int = 10) -> list[Fraction]:
    """The `limit` fractions above 0 nearest to `number` with no denominator above `greatest_denominator`.

    Nearest first, of two equally near the lesser first; nothing left out is nearer than the last.
    """
    number = checked_target(number, "number")
    for name, value in (("greatest denominator", greatest_denominator), ("limit", limit)):
        if value < 1:
            raise ValueError(f"{name} is {value}; it must be 1 or more")

    floors = _floors_of_multiples(number, greatest_denominator)
    spread = 1
    while True:
        pool = {
            Fraction(p, q)
            for q, whole in enumerate(floors, start=1)
            for p in range(max(1, whole - spread + 1), whole + spread + 1)
        }
        # Fractions with the denominators reached are all in the pool up to this distance from the number.
        reach = Fraction(spread - 1, greatest_denominator)
        middle = number.bounds(64)[0] if isinstance(number, Irrational) else number
        inside = [f for f in pool if abs(f - middle) <= reach]
        if len(inside) > limit or (
            spread > 1 and len(inside) >= limit and not isinstance(number, Irrational)
        ):
            shortlist = heapq.nsmallest(2 * limit + 4, inside, key=lambda f: abs(f - middle))
            return by_error(shortlist, number)[:limit]
        spread *= 2


def _floors_of_multiples(number: Ratio, most: int) -> list[int]:
    """The whole part of 1, 2, … `most` times `number`."""
    if not isinstance(number, Irrational):
        return [math.floor(number * q) for q in range(1, most + 1)]
    bits = FIRST_BITS + most.bit_length()
    while True:
        low, high = number.bounds(bits)
        floors = [math.floor(low * q) for q in range(1, most + 1)]
        if floors == [math.floor(high * q) for q in range(1, most + 1)]:
            return floors
        bits *= 2
        if bits > MOST_BITS:
            raise ArithmeticError(
                f"{number.name} can't be told from a fraction of denominator {most} or less"
            )
