"""Change gears for a ratio: the nearest sets that are owned and can be mounted, with nothing nearer left out.

Sets are listed by their error, compared exactly; of equally near ones those with fewer gears come
first, then those with the smaller sum of teeth, then by the teeth themselves (drivers, then driven
gears, each from the smallest up), then by the order on the bracket, and last by the idlers.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cmp_to_key
from typing import Any

from handlead.kinematics.brackets.bracket import Bracket
from handlead.kinematics.brackets.drawer import Drawer
from handlead.kinematics.brackets.mounting import Mounting, Refusal
from handlead.kinematics.frame.exact import Ratio
from handlead.kinematics.links.mounted import Mounted

from .candidates import Different, Sought, candidates
from .gear_orders import arranged, combinations, first_mounting, orders
from .products import products
from .ratios import checked_target, compare, compare_errors, relative_error

_PAIRS_SEARCHED = (1, 2, 3)


@dataclass(frozen=True)
class ChangeGearSet:
    """A set that was found: what to mount, its ratio without sign, and where each stud sits.

    `error` is the ratio's relative error, above 0 where the ratio is too great, a float for show only:
    the order of a list was decided exactly. `mounting` is None where there is no bracket to fit.
    """

    mounted: Mounted
    ratio: Fraction
    error: float
    mounting: Mounting | None = field(default=None, compare=False)

    @property
    def gears(self) -> tuple[int, ...]:
        """The gears a, b, c, d … from the driving shaft on, without idlers."""
        return self.mounted.gears

    @property
    def idlers(self) -> tuple[int, ...]:
        """The idlers."""
        return self.mounted.idlers

    def __str__(self) -> str:
        return self.mounted.spoken


@dataclass(frozen=True)
class Refused:
    """A set as near as those listed, or nearer, that can't be mounted; `why` in the trade's words."""

    gears: tuple[int, ...]
    ratio: Fraction
    error: float
    why: str


@dataclass(frozen=True)
class NearestSets:
    """The nearest sets, and the nearer ones that were refused.

    `complete` means that there are no others at all; otherwise whatever was left out comes after the
    last one listed.
    """

    sets: tuple[ChangeGearSet, ...]
    refused: tuple[Refused, ...]
    complete: bool


def nearest_sets(
    target: Ratio | int,
    drawer: Drawer | Iterable[int],
    *,
    pairs: Iterable[int] = (2,),
    idlers: Iterable[int] = (0,),
    turns_over: bool | None = None,
    bracket: Bracket | None = None,
    limit: int = 20,
    different: Different = "gears",
    exact: bool = False,
    refused: int = 0,
) -> NearestSets:
    """The `limit` sets out of `drawer` nearest to `target`, of any number of `pairs` and `idlers` allowed.

    `target` is the ratio, drivers over driven, without sign; `turns_over` says whether meshes and idlers
    together must reverse the sense of turning (None: either will do). With `exact` only sets that give
    `target` itself are listed. `refused` asks for so many sets that would stand among those listed
    but can't be mounted, nearest first, with the reason for each. Nothing that can be mounted and isn't
    listed comes before the last one listed.

    Raises `ValueError` for an empty drawer, gears without teeth, a target at or below 0, numbers of
    pairs other than 1, 2 and 3, or a limit below 1.
    """
    target = checked_target(target)
    drawer = checked_drawer(drawer)
    if limit < 1:
        raise ValueError(f"limit is {limit}; it must be 1 or more")
    if different not in ("ratio", "gears", "order"):
        raise ValueError(f'different is {different!r}; it must be "ratio", "gears" or "order"')
    if exact and not isinstance(target, Fraction):
        raise ValueError(f"{target!r} is to be met exactly; gears can't give an irrational ratio")
    allowed = kinds(pairs, idlers, turns_over)
    _check_within_reach(target, drawer, allowed)
    every = [Sought(target, drawer, *kind, bracket, different, exact, limit) for kind in allowed]
    return _nearest(every, limit, refused)


def _nearest(every: Sequence[Sought], limit: int, refused: int) -> NearestSets:
    """The nearest of all kinds of sets sought, which differ in pairs and idlers only."""
    found: list[ChangeGearSet] = []
    complete = True
    for sought in every:
        taken = list(itertools.islice(sets_by_error(sought), limit))
        complete &= len(taken) < limit
        found.extend(taken)
    if every:
        found.sort(key=by_merit(every[0].target))
        if every[0].different == "ratio":
            found = _first_of_each_ratio(found)
    last = found[min(limit, len(found)) - 1] if found else None
    refusals = _refusals(every, refused, last) if refused else []
    return NearestSets(tuple(found[:limit]), tuple(refusals), complete and len(found) <= limit)


def checked_drawer(drawer: Drawer | Iterable[int]) -> Drawer:
    """`drawer` as a `Drawer`. Raises `ValueError` for an empty one and for gears without teeth."""
    if not isinstance(drawer, Drawer):
        return Drawer.of(drawer)
    if not len(drawer):
        raise ValueError("the drawer is empty; give the teeth of at least one gear")
    return drawer


def kinds(pairs: Iterable[int], idlers: Iterable[int], turns_over: bool | None) -> list[tuple[int, int]]:
    """The numbers of pairs and of idlers, together, that are allowed and give the sense wanted.

    Raises `ValueError` where a number of pairs isn't 1, 2 or 3, or one of idlers is below 0.
    """
    pairs, idlers = sorted(set(pairs)), sorted(set(idlers))
    for count in pairs:
        if count not in _PAIRS_SEARCHED:
            raise ValueError(f"pairs is {count}; a bracket is searched with 1, 2 or 3 pairs of gears")
    for count in idlers:
        if count < 0:
            raise ValueError(f"idlers is {count}; it must be 0 or more")
    if not pairs or not idlers:
        raise ValueError("no number of pairs, or none of idlers, is allowed; give at least one of each")
    return [(p, i) for p in pairs for i in idlers if turns_over is None or (p + i) % 2 == int(turns_over)]


def reach_of(drawer: Drawer, pairs: int) -> tuple[Fraction, Fraction] | None:
    """The least and the greatest ratio that so many pairs out of `drawer` give; None for too few gears."""
    gears = drawer.gears
    if len(gears) < 2 * pairs:
        return None
    greatest = Fraction(math.prod(gears[-pairs:]), math.prod(gears[:pairs]))
    return 1 / greatest, greatest


#: A ratio this much beyond the farthest that the gears reach is refused outright.
_BEYOND = Fraction(101, 100)


def _check_within_reach(target: Ratio, drawer: Drawer, allowed: list[tuple[int, int]]) -> None:
    """Raise `ValueError` where there are too few gears, or the ratio lies beyond what they reach."""
    if not allowed:
        return
    reaches = [reach for pairs, idlers in allowed if (reach := reach_of(drawer, pairs)) is not None]
    if not reaches:
        least = min(2 * pairs for pairs, _ in allowed)
        raise ValueError(f"the drawer holds {len(drawer)} gears; the bracket takes at least {least}")
    low, high = min(r[0] for r in reaches), max(r[1] for r in reaches)
    if compare(target, low / _BEYOND) < 0 or compare(target, high * _BEYOND) > 0:
        raise ValueError(
            f"ratio wanted is {float(target):.6g}, beyond the reach of these gears: "
            f"they give from {float(low):.6g} to {float(high):.6g}"
        )


def by_merit(target: Ratio) -> Callable[[ChangeGearSet], Any]:
    """Sort key: the error, exactly, then fewer gears, then the smaller sum, then the gears themselves."""

    def compare_sets(one: ChangeGearSet, other: ChangeGearSet) -> int:
        nearer = compare_errors(one.ratio, other.ratio, target)
        if nearer:
            return nearer
        mine, theirs = work_key(one.mounted), work_key(other.mounted)
        return (mine > theirs) - (mine < theirs)

    return cmp_to_key(compare_sets)


def work_key(mounted: Mounted) -> tuple[object, ...]:
    """What decides between two sets that are equally near."""
    drivers, driven = sorted(mounted.gears[::2]), sorted(mounted.gears[1::2])
    return (
        len(mounted.gears) + len(mounted.idlers),
        sum(mounted.gears),
        len(mounted.gears),
        drivers,
        driven,
        mounted.gears,
        sorted(mounted.idlers),
    )


def _first_of_each_ratio(sets: Iterable[ChangeGearSet]) -> list[ChangeGearSet]:
    seen: dict[Fraction, ChangeGearSet] = {}
    for one in sets:
        seen.setdefault(one.ratio, one)
    return list(seen.values())


def sets_by_error(sought: Sought) -> Iterator[ChangeGearSet]:
    """All sets of so many pairs and idlers that can be mounted, in the order of the list, as asked for."""
    drawer, pairs, idlers, bracket = sought.drawer, sought.pairs, sought.idlers, sought.bracket
    if len(drawer) < 2 * pairs + idlers:
        return
    if bracket is not None and bracket.never_takes(pairs, idlers):
        return
    table = products(drawer, pairs)
    found: set[Fraction] = set()
    for ratio, sets in candidates(sought, table, found):
        if sought.different == "ratio" and ratio in found:
            continue
        offered: set[tuple[int, ...]] = set()
        for gears in sets:
            if gears in offered:
                continue
            offered.add(gears)
            choice = first_mounting(gears, drawer, idlers, bracket)
            if choice is not None:
                found.add(ratio)
                error = 0.0 if sought.exact else relative_error(ratio, sought.target)
                yield ChangeGearSet(choice[0], ratio, error, choice[1])
                if sought.different != "order":
                    break


def _refusals(every: Sequence[Sought], limit: int, last: ChangeGearSet | None) -> list[Refused]:
    """The nearest sets, not beyond `last`, that the drawer holds and the bracket takes in no order."""
    refused: list[tuple[ChangeGearSet, str]] = []
    for sought in every:
        if sought.bracket is None:
            continue
        free = sets_by_error(replace(sought, bracket=None, different="gears", expected=4 * limit))
        kept = 0
        for one in itertools.islice(free, 2000):
            if kept >= limit or (last is not None and compare_errors(one.ratio, last.ratio, sought.target) > 0):
                break
            why = _why_not(one.gears, sought.drawer, sought.idlers, sought.bracket)
            if why is not None:
                refused.append((one, why))
                kept += 1
    if refused:
        key = by_merit(every[0].target)
        refused.sort(key=lambda pair: key(pair[0]))
    return [Refused(one.gears, one.ratio, one.error, why) for one, why in refused[:limit]]


def _why_not(gears: tuple[int, ...], drawer: Drawer, idlers: int, bracket: Bracket) -> str | None:
    """Why no order of these gears can be mounted: the reason for the first order; None where one can."""
    k = len(gears) // 2
    tops, bottoms = sorted(gears[::2]), sorted(gears[1::2])
    first = None
    for order in orders(k):
        gears_so = arranged(tops, bottoms, order)
        if first_mounting(gears_so, drawer, idlers, bracket) is not None:
            return None
        first = first or gears_so
    assert first is not None
    left = drawer.without(first) if idlers else drawer
    chosen = next(combinations(left, idlers), None)
    if chosen is None:
        return "no gear is left for the idler"
    outcome = bracket.mount(first, chosen)
    return outcome.why if isinstance(outcome, Refusal) else None
