"""The orders in which the gears of a set can stand, where its idlers go, and how each is mounted."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from functools import lru_cache
from typing import TypeAlias

from handlead.kinematics.brackets.bracket import Bracket
from handlead.kinematics.brackets.drawer import Drawer
from handlead.kinematics.brackets.mounting import Mounting
from handlead.kinematics.links.mounted import Mounted


@lru_cache(maxsize=50_000)  # brackets filled together, and members of a pair, ask for the same sets many times
def first_mounting(
    gears: tuple[int, ...], drawer: Drawer, idlers: int, bracket: Bracket | None
) -> tuple[Mounted, Mounting | None] | None:
    """How `gears` in this order are mounted with the first idlers that serve; None where none do."""
    return next(mountings(gears, drawer, idlers, bracket), None)


def mountings(
    gears: tuple[int, ...], drawer: Drawer, idlers: int, bracket: Bracket | None
) -> Iterator[tuple[Mounted, Mounting | None]]:
    """Every choice of idlers out of `drawer` with which `gears`, taken from it, can be mounted in this order."""
    yield from with_idlers_from(drawer.without(gears) if idlers else drawer, gears, idlers, bracket)


def with_idlers_from(
    left: Drawer, gears: tuple[int, ...], idlers: int, bracket: Bracket | None
) -> Iterator[tuple[Mounted, Mounting | None]]:
    """Every choice of idlers out of the gears `left` over with which `gears` can be mounted in this order."""
    for chosen in combinations(left, idlers):
        mounted = Mounted(gears, chosen)
        if bracket is None:
            yield mounted, None
            continue
        outcome = _mounted_on(bracket, gears, chosen)
        if outcome is not None:
            yield mounted, outcome


@lru_cache(maxsize=100_000)  # what else lies in the drawer doesn't matter to the bracket
def _mounted_on(bracket: Bracket, gears: tuple[int, ...], idlers: tuple[int, ...]) -> Mounting | None:
    outcome = bracket.mount(gears, idlers)
    return outcome if isinstance(outcome, Mounting) else None


def combinations(drawer: Drawer, count: int) -> Iterator[tuple[int, ...]]:
    """Different choices of `count` gears, rising, in dictionary order."""
    if count == 0:
        yield ()
        return
    gears = tuple(z for z, n in drawer.owned for _ in range(min(n, count)))
    if count == 1:
        yield from ((z,) for z in dict.fromkeys(gears))
        return
    yield from dict.fromkeys(itertools.combinations(gears, count))


# -- what can be mounted ----------------------------------------------------------------------------


Order: TypeAlias = tuple[tuple[int, ...], tuple[int, ...]]


def arranged(drivers: Sequence[int], driven: Sequence[int], order: Order) -> tuple[int, ...]:
    """The gears a, b, c, d … as they stand in `order`."""
    return tuple(z for i, j in zip(*order, strict=True) for z in (drivers[i], driven[j]))


@lru_cache(maxsize=8)
def orders(k: int) -> list[Order]:
    """Orders of `k` drivers and `k` driven gears, such that rising gears give rising sets a, b, c, d …"""
    one_side = list(itertools.permutations(range(k)))
    both = list(itertools.product(one_side, one_side))
    return sorted(both, key=lambda order: [i for pair in zip(*order, strict=True) for i in pair])
