"""Where the axes of a chain stand in the plane, or the first thing in their way: for none, one, two or three studs.

With two studs at most the answer is exact; three are tried by steps of the arm.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import TYPE_CHECKING

from .mounting import AxisChain, Need, Refusal

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from .bracket import Bracket

_Needs = Mapping[tuple[int, int], Need]
_Points = Sequence[tuple[float, float]]


def _in_a_line(chain: AxisChain) -> _Points:
    places = itertools.accumulate(chain.sums, initial=0)
    return [(float(x), 0.0) for x in places]


def _place_none(bracket: Bracket, chain: AxisChain, needs: _Needs) -> _Points | Refusal:
    """No stud: the pair must suit the centres."""
    fixed, (sum_,) = bracket.centres_in_teeth, chain.sums
    if fixed is not None and abs(sum_ - fixed) > bracket.in_teeth(bracket.slack):
        one, other = chain.meshes[0]
        return Refusal(
            f"{one} + {other} = {sum_} teeth span {bracket.mm(sum_)}, and the shafts stand {bracket.mm(fixed)} apart"
        )
    return [(0.0, 0.0), (float(fixed if fixed is not None else sum_), 0.0)]


def _does_not_close(bracket: Bracket, chain: AxisChain) -> Refusal | None:
    """Why the chain of meshes can't span the centres, where it can't."""
    fixed = bracket.centres_in_teeth
    assert fixed is not None
    whole = sum(chain.sums)
    if whole < fixed:
        return Refusal(
            f"the gears reach {bracket.mm(whole)} in all, and the shafts stand {bracket.mm(fixed)} apart"
        )
    longest = max(chain.sums)
    if longest > fixed + (whole - longest):
        one, other = chain.meshes[chain.sums.index(longest)]
        return Refusal(
            f"{one} and {other} stand {bracket.mm(longest)} apart: too far for the other gears to close "
            f"the train over centres of {bracket.mm(fixed)}"
        )
    return None


def _place_one(bracket: Bracket, chain: AxisChain, needs: _Needs) -> _Points | Refusal:
    """One stud: the corner of a triangle."""
    fixed = bracket.centres_in_teeth
    if fixed is None:
        return _in_a_line(chain)
    open_ = _does_not_close(bracket, chain)
    if open_ is not None:
        return open_
    first, second = chain.sums
    x = (first * first - second * second + fixed * fixed) / (2 * fixed)
    return [(0.0, 0.0), (float(x), math.sqrt(max(0.0, float(first * first - x * x)))), (float(fixed), 0.0)]


def _place_two(bracket: Bracket, chain: AxisChain, needs: _Needs) -> _Points | Refusal:
    """Two studs: a four-bar chain with one freedom left, settled exactly by its two diagonals.

    Once the diagonal that ends on the pivot is chosen, the other is longest with the chain open, and
    over the range of the first it rises to a single greatest value and falls again; the greatest lies
    where two sides make one line. So the other diagonal need only be looked at in one place.
    """
    fixed = bracket.centres_in_teeth
    if fixed is None:
        return _place_two_freely(bracket, chain, needs)
    open_ = _does_not_close(bracket, chain)
    if open_ is not None:
        return open_
    turned = bracket.pivot == "driving"
    r1, r2, r3 = (Fraction(s) for s in (chain.sums[::-1] if turned else chain.sums))
    near, far = ((0, 2), (1, 3)) if turned else ((1, 3), (0, 2))
    least, greatest = bracket.reach_in_teeth
    low = max(abs(r1 - fixed), abs(r2 - r3), needs[near].teeth, least, Fraction(1))
    high = min(r1 + fixed, r2 + r3)
    if greatest is not None and low > greatest:
        if needs[near].teeth > greatest:
            return Refusal(needs[near].says(bracket, greatest) + ", where the slot ends")
        return Refusal(bracket.reach_complaint(low) or "")
    if low > high:
        complaint = bracket.reach_complaint(high) if high < least else None
        return Refusal(complaint or needs[near].says(bracket, high))
    if greatest is not None:
        high = min(high, greatest)
    diagonal = _peak(r1, r2, r3, fixed, low, high)
    u = float(diagonal) if isinstance(diagonal, Fraction) else math.sqrt(float(diagonal[0]))
    sides = (float(r1), float(r2), float(r3), float(fixed))
    if not _other_diagonal_reaches(r1, r2, r3, fixed, diagonal, needs[far].teeth):
        longest = math.hypot(*_four_bar(*sides, u, False)[2])
        return Refusal(needs[far].says(bracket, longest))
    return _four_bar(*sides, u, turned)


#: A diagonal, or the square of one that is irrational, as a tuple of one.
_Diagonal = Fraction | tuple[Fraction]


def _peak(r1: Fraction, r2: Fraction, r3: Fraction, c: Fraction, low: Fraction, high: Fraction) -> _Diagonal:
    """The diagonal from `low` to `high` with which the other is longest (Stewart's theorem)."""
    if c + r3 <= r1 + r2:
        square = (r1 * r1 * r3 + r2 * r2 * c) / (c + r3) - c * r3
    else:
        square = (c * c * r2 + r3 * r3 * r1) / (r1 + r2) - r1 * r2
    if square <= low * low:
        return low
    if square >= high * high:
        return high
    return (square,)


def _other_diagonal_reaches(
    r1: Fraction, r2: Fraction, r3: Fraction, c: Fraction, diagonal: _Diagonal, need: Fraction
) -> bool:
    """Whether the other diagonal can be `need` long, exactly."""
    if isinstance(diagonal, tuple):
        return min(c + r3, r1 + r2) >= need
    u2 = diagonal * diagonal
    first, second = c * c + u2 - r1 * r1, u2 + r3 * r3 - r2 * r2
    even = c * c + r3 * r3 - first * second / (2 * u2)
    under_root = (4 * c * c * u2 - first * first) * (4 * u2 * r3 * r3 - second * second) / (4 * u2 * u2)
    short = need * need - even
    return short <= 0 or under_root >= short * short


def _four_bar(r1: float, r2: float, r3: float, c: float, u: float, turned: bool) -> _Points:
    """The four axes: the first stud `u` from the driven shaft, the second on the open side of that line."""
    at_end = math.acos(max(-1.0, min(1.0, (c * c + u * u - r1 * r1) / (2 * c * u))))
    beyond = math.acos(max(-1.0, min(1.0, (u * u + r3 * r3 - r2 * r2) / (2 * u * r3))))
    first = (c - u * math.cos(at_end), u * math.sin(at_end))
    second = (c - r3 * math.cos(at_end + beyond), r3 * math.sin(at_end + beyond))
    if turned:
        return [(0.0, 0.0), (c - second[0], second[1]), (c - first[0], first[1]), (c, 0.0)]
    return [(0.0, 0.0), first, second, (c, 0.0)]


def _place_two_freely(bracket: Bracket, chain: AxisChain, needs: _Needs) -> _Points | Refusal:
    """Two studs and no fixed centres: both corners may open until the chain is straight."""
    r1, r2, r3 = chain.sums
    least, greatest = bracket.reach_in_teeth
    for (i, j), spans in (((0, 2), (r1, r2)), ((1, 3), (r2, r3))):
        far, close = Fraction(sum(spans)), Fraction(abs(spans[0] - spans[1]))
        if needs[i, j].teeth > far:
            return Refusal(needs[i, j].says(bracket, far))
        if (bracket.pivot == "driving") == (i == 0):
            if far < least:
                return Refusal(bracket.reach_complaint(far) or "")
            if greatest is not None and max(close, needs[i, j].teeth) > greatest:
                return Refusal(bracket.reach_complaint(max(close, needs[i, j].teeth)) or "")
    return _in_a_line(chain)


#: No more studs than this are placed.
MOST_STUDS = 3

#: Steps in which the arm is tried round a whole turn, with three studs.
_STEPS = 72


def _place_three(bracket: Bracket, chain: AxisChain, needs: _Needs) -> _Points | Refusal:
    """Three studs: the first and the last are tried by steps about their shafts, the middle one follows."""
    import numpy as np

    fixed = bracket.centres_in_teeth
    if fixed is None:
        return _place_straight(bracket, chain, needs)
    open_ = _does_not_close(bracket, chain)
    if open_ is not None:
        return open_
    c = float(fixed)
    r1, r2, r3, r4 = (float(s) for s in chain.sums)
    angles = np.linspace(0, 2 * np.pi, _STEPS, endpoint=False)
    p = (r1 * np.exp(1j * angles))[:, None]
    q = (c - r4 * np.exp(-1j * angles))[None, :]
    apart = np.abs(q - p)
    with np.errstate(divide="ignore", invalid="ignore"):
        along = (apart**2 + r2 * r2 - r3 * r3) / (2 * apart)
        up = np.sqrt(np.maximum(r2 * r2 - along**2, 0))
        way = (q - p) / apart
        meets = (apart <= r2 + r3) & (apart >= abs(r2 - r3)) & (apart > 0)
    for side in (1, -1):
        middle = np.where(meets, p + way * (along + 1j * side * up), 0)
        places = [np.zeros_like(middle), p + 0 * middle, middle, q + 0 * middle, np.full_like(middle, c)]
        good = meets & _are_clear(bracket, needs, places)
        if good.any():
            best = tuple(np.argwhere(good)[0])
            return [(float(place[best].real), float(place[best].imag)) for place in places]
    return Refusal("no place was found for the three studs that keeps every gear clear of the others")


def _place_straight(bracket: Bracket, chain: AxisChain, needs: _Needs) -> _Points | Refusal:
    """Axes where the shafts' distance is free: no two stand farther apart than with the chain straight."""
    points = _in_a_line(chain)
    for (i, j), need in needs.items():
        if need.teeth > points[j][0] - points[i][0]:
            return Refusal(need.says(bracket, points[j][0] - points[i][0]))
    return points


def _are_clear(bracket: Bracket, needs: _Needs, places: list[NDArray[np.complex128]]) -> NDArray[np.bool_]:
    """For every place tried, whether the gears clear one another and the arm holds the studs between the shafts."""
    import numpy as np

    sure = 1e-9
    least, greatest = bracket.reach_in_teeth
    last = len(places) - 1
    good = np.ones(places[0].shape, dtype=bool)
    for (i, j), need in needs.items():
        if j > i + 1 and (i, j) != (0, last):
            good &= np.abs(places[i] - places[j]) >= float(need.teeth) + sure
    pivot = 0 if bracket.pivot == "driving" else last
    for stud in range(1, last):
        reached = np.abs(places[stud] - places[pivot])
        good &= reached >= float(least) - sure
        if greatest is not None:
            good &= reached <= float(greatest) + sure
    return good


PLACERS = (_place_none, _place_one, _place_two, _place_three)
