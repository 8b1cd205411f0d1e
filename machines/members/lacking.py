"""What a bracket lacks: every least choice of gears, besides those that are there, with which it can be filled."""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from handlead.kinematics.search.change_gears import kinds
from handlead.kinematics.search.ratios import compare

if TYPE_CHECKING:
    from handlead.kinematics.together.together import BracketPlace

#: Gears that one bracket may be given; more are hardly ever got for one order.
MOST_FOR_A_BRACKET = 2

#: No gears give a ratio that is less.
_LEAST = 1e-6

#: Sums of logarithms agree to so much where ratios are equal.
_EQUAL = 1e-11


def lacking(
    place: BracketPlace, owned: Mapping[int, int], obtainable: Iterable[int], tolerance: float = 0.0,
    most: int = MOST_FOR_A_BRACKET,
) -> tuple[tuple[int, ...], ...]:  # fmt: skip
    """Every least choice of at most so many gears with which one or two pairs give the ratio; ``((),)`` if none lacks.

    `tolerance` is how far the ratio may be off, relatively. Only numbers of teeth are looked at: whether the bracket
    takes the gears is to be tried.
    """
    may_be_got = frozenset(obtainable)
    teeth = sorted({*owned, *may_be_got})
    found: set[tuple[int, ...]] = set()
    numbers = {pairs for pairs, _ in kinds(place.pairs, place.idlers, place.turns_over)}
    for pairs in sorted(numbers & {1, 2}):
        for gears in _sets(place, teeth, owned, pairs, tolerance, most):
            if _gives(place, gears, tolerance):
                found.add(_short(gears, owned))
                if () in found:
                    return ((),)
    return _least(choice for choice in found if len(choice) <= most and may_be_got.issuperset(choice))


def _short(gears: Sequence[int], owned: Mapping[int, int]) -> tuple[int, ...]:
    """Those of the gears that aren't there, or not often enough."""
    if len(set(gears)) == len(gears):
        return tuple(sorted(z for z in gears if not owned.get(z)))
    wanted = Counter(gears)
    return tuple(
        sorted(itertools.chain.from_iterable([z] * max(0, n - owned.get(z, 0)) for z, n in wanted.items()))
    )


def _least(choices: Iterable[tuple[int, ...]]) -> tuple[tuple[int, ...], ...]:
    """Those choices that hold no other one."""
    kept: list[tuple[int, ...]] = []
    for choice in sorted(choices, key=lambda one: (len(one), one)):
        counts = Counter(choice)
        if not any(Counter(one) <= counts for one in kept):
            kept.append(choice)
    return tuple(kept)


def _gives(place: BracketPlace, gears: Sequence[int], tolerance: float) -> bool:
    ratio = Fraction(1)
    for driver, driven in zip(gears[::2], gears[1::2], strict=True):
        ratio *= Fraction(driver, driven)
    if place.exact:
        return ratio == place.target
    if place.span is not None:
        return compare(ratio, place.span[0]) >= 0 and compare(ratio, place.span[1]) <= 0
    return abs(float(ratio) / float(place.target) - 1) <= tolerance


def _window(place: BracketPlace, tolerance: float) -> tuple[float, float]:
    """The least and the greatest ratio, a hair wider than they are; never nought, which has no logarithm."""
    if place.span is not None and not place.exact:
        return max(_LEAST, float(place.span[0])) * (1 - 1e-9), float(place.span[1]) * (1 + 1e-9)
    off = 0.0 if place.exact else tolerance
    return float(place.target) * (1 - off), float(place.target) * (1 + off)


def _sets(
    place: BracketPlace, teeth: Sequence[int], owned: Mapping[int, int], pairs: int, tolerance: float, most: int
) -> Iterator[tuple[int, ...]]:
    """Sets near the ratio, drivers and driven in turn, those that lack fewest first; some may lack too many."""
    import numpy as np

    sides = _sides(teeth, owned, pairs, most)
    low, high = np.log(_window(place, tolerance))
    logs = {
        short: np.array([np.log(np.array(one, float)).sum() for one in side]) for short, side in sides.items()
    }
    orders = {short: np.argsort(one) for short, one in logs.items()}
    for total in range(most + 1):
        for short in range(total + 1):
            drivers, driven = sides.get(short), sides.get(total - short)
            if not drivers or not driven:
                continue
            order = orders[total - short]
            rising = logs[total - short][order]
            first = np.searchsorted(rising, logs[short] - high - _EQUAL, "left")
            last = np.searchsorted(rising, logs[short] - low + _EQUAL, "right")
            for number in np.nonzero(last > first)[0]:
                for at in order[first[number] : last[number]]:
                    yield tuple(itertools.chain.from_iterable(zip(drivers[number], driven[at], strict=True)))


def _sides(teeth: Sequence[int], owned: Mapping[int, int], pairs: int, most: int) -> Mapping[int, list[Any]]:
    """So many gears of one side each, by how many of them aren't there."""
    found: dict[int, list[Any]] = {}
    for side in itertools.combinations_with_replacement(teeth, pairs):
        short = len(_short(side, owned))
        if short <= most:
            found.setdefault(short, []).append(side)
    return found
