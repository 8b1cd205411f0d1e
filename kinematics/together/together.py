"""Several brackets that share their drawers: what each must give, and what gears the others leave it."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import TypeAlias

import numpy as np
from handlead.kinematics.brackets.bracket import Bracket
from handlead.kinematics.brackets.drawer import Drawer, DrawerSet, capacity, drawer_for
from handlead.kinematics.frame.exact import Irrational, Ratio
from handlead.kinematics.search.candidates import Sought
from handlead.kinematics.search.change_gears import ChangeGearSet, checked_drawer, kinds, sets_by_error
from handlead.kinematics.search.gear_orders import arranged, orders, with_idlers_from
from handlead.kinematics.search.ratios import checked_target, compare, relative_error
from numpy.typing import NDArray


@dataclass(frozen=True)
class BracketPlace:
    """A bracket to be filled: what it must give, and what it takes.

    `target` is the ratio wanted, without sign. With `exact` nothing else will do; otherwise a relative
    error costs `weight` times as much, and `span` gives the least and the greatest ratio allowed (a
    feed near the one asked for). `turns_over`: whether meshes and idlers must reverse the sense. With `largest` it
    takes no gears but any ratio of numbers up to it.
    """

    name: str
    target: Ratio
    pairs: tuple[int, ...] = (1, 2)
    idlers: tuple[int, ...] = (0, 1)
    turns_over: bool | None = None
    bracket: Bracket | None = None
    exact: bool = False
    span: tuple[Ratio, Ratio] | None = None
    weight: Fraction = Fraction(1)
    largest: int = 0

    def __post_init__(self) -> None:
        object.__setattr__(self, "target", checked_target(self.target, f"{self.name}: ratio wanted"))
        object.__setattr__(self, "weight", Fraction(self.weight))
        if self.weight < 0:
            raise ValueError(f"{self.name}: weight is {self.weight}; it must be 0 or more")
        if self.exact and isinstance(self.target, Irrational):
            raise ValueError(f"{self.name}: an irrational ratio can't be met exactly")
        if self.span is not None and compare(self.span[0], self.span[1]) > 0:
            raise ValueError(f"{self.name}: span is {self.span}; the lesser ratio comes first")
        kinds(self.pairs, self.idlers, self.turns_over)

    def cost(self, ratio: Fraction) -> float:
        """What `ratio` costs here, for show and for choosing; ties are settled by `exact_cost`."""
        return 0.0 if self.exact else float(self.weight) * abs(relative_error(ratio, self.target))

    def exact_cost(self, ratio: Fraction) -> Ratio:
        """What `ratio` costs here."""
        if self.exact or not self.weight:
            return Fraction(0)
        off = ratio / self.target - 1
        if compare(off, 0) < 0:
            off = -off
        return self.weight * off


Left: TypeAlias = tuple[NDArray[np.int16], ...]


@dataclass(frozen=True)
class Stock:
    """The gears of all sets, and for groups of places how many of each fit at least one of the group.

    Gears suffice for the places exactly where no group wants more than fits it (Hall's theorem), so
    what is left is kept per group. Groups that a larger group with the same gears includes are dropped.
    """

    sets: tuple[DrawerSet, ...]
    teeth: tuple[int, ...]
    groups: tuple[frozenset[str], ...]
    full: Left
    drawers: Mapping[str, Drawer]

    @classmethod
    def of(cls, places: Sequence[BracketPlace], gears: Drawer | Iterable[int] | Sequence[DrawerSet]) -> Stock:
        """The gears for `places`. Raises `ValueError` where a place has none, or two have one name."""
        names = [place.name for place in places]
        if not names:
            raise ValueError("places is empty; give at least one bracket to fill")
        if len(set(names)) < len(names):
            raise ValueError(f"places are {', '.join(names)}; every bracket has a name of its own")
        sets = _gear_sets(gears)
        drawers = {name: drawer_for(name, sets) for name in names}
        entered = {place.name for place in places if place.largest}
        for name, drawer in drawers.items():
            if not len(drawer) and name not in entered:
                raise ValueError(
                    f"{name}: the drawer holds no gears that fit; name this bracket under a gear set"
                )
        teeth = tuple(sorted({z for one in sets for z in one.drawer.teeth}))
        kept: list[tuple[frozenset[str], dict[int, int]]] = []
        for size in range(len(names), 0, -1):
            for group in itertools.combinations(names, size):
                counts = dict(capacity(group, sets))
                if not any(set(group) <= larger and counts == there for larger, there in kept):
                    kept.append((frozenset(group), counts))
        full = tuple(np.array([counts.get(z, 0) for z in teeth], dtype=np.int16) for _, counts in kept)
        return cls(tuple(sets), teeth, tuple(group for group, _ in kept), full, drawers)

    def use(self, gears: Iterable[int]) -> NDArray[np.int16]:
        """How many of each gear are used."""
        places = {z: i for i, z in enumerate(self.teeth)}
        used = np.zeros(len(self.teeth), dtype=np.int16)
        for z in gears:
            used[places[z]] += 1
        return used

    def take(self, left: Left, name: str, used: NDArray[np.int16]) -> Left | None:
        """What is left once bracket `name` has its gears; None where they don't suffice."""
        after = []
        for group, there in zip(self.groups, left, strict=True):
            if name in group:
                there = there - used
                if (there < 0).any():
                    return None
            after.append(there)
        return tuple(after)

    def after(self, sets: Mapping[str, ChangeGearSet]) -> Left | None:
        """What is left of the full drawers once the brackets have these sets; None where they don't suffice."""
        left: Left | None = self.full
        for name, one in sets.items():
            left = None if left is None else self.take(left, name, self.use((*one.gears, *one.idlers)))
        return left

    def available(self, left: Left, name: str) -> NDArray[np.int16]:
        """How many of each gear bracket `name` may still take."""
        there = [each for group, each in zip(self.groups, left, strict=True) if name in group]
        least: NDArray[np.int16] = np.minimum.reduce(there)
        return least

    def with_only(self, left: Left) -> Stock:
        """The stock once only what is `left` may be taken; sets still name where gears come from."""
        drawers = {name: self.drawer_left(left, name) for name in self.drawers}
        return replace(self, full=left, drawers=drawers)

    def drawer_left(self, left: Left, name: str) -> Drawer:
        """The gears that bracket `name` may still take; perhaps none."""
        counts = self.available(left, name).tolist()
        return Drawer(tuple((z, n) for z, n in zip(self.teeth, counts, strict=True) if n > 0))


def _gear_sets(gears: Drawer | Iterable[int] | Sequence[DrawerSet]) -> list[DrawerSet]:
    if not isinstance(gears, Drawer):
        listed = list(gears)
        if listed and all(isinstance(one, DrawerSet) for one in listed):
            return [one for one in listed if isinstance(one, DrawerSet)]
        gears = Drawer.of([one for one in listed if isinstance(one, int)])
    return [DrawerSet("change gears", checked_drawer(gears))]


#: No more sets of one ratio are looked at together.
AT_ONCE = 24


@dataclass(frozen=True)
class Item:
    """A set chosen for a place, and the numbers of idlers with which it may be mounted.

    `fixed`: the gears are settled but not their order, nor whether they can be mounted here. `lies`: they
    stand on their shafts from the last piece of work, and stay there; only the idlers are still free.
    """

    place: BracketPlace
    set: ChangeGearSet
    idlers: tuple[int, ...]
    fixed: bool = False
    lies: bool = False


def with_idlers(stock: Stock, items: Sequence[Item], left: Left, depth: int = 0) -> Iterator[list[ChangeGearSet]]:
    """Every place's set with idlers out of what is left, every possible choice of them."""
    if depth == len(items):
        yield []
        return
    item = items[depth]
    if item.idlers == (0,) and not item.fixed:
        yield from ([item.set, *others] for others in with_idlers(stock, items, left, depth + 1))
        return
    name = item.place.name
    free = stock.drawer_left(left, name)
    for count, these in itertools.product(item.idlers, _orders_of(item)):
        if len(free) < count:
            continue
        for mounted, mounting in with_idlers_from(free, these, count, item.place.bracket):
            after = stock.take(left, name, stock.use(mounted.idlers))
            if after is not None:
                chosen = ChangeGearSet(mounted, item.set.ratio, item.set.error, mounting)
                yield from ([chosen, *others] for others in with_idlers(stock, items, after, depth + 1))


def _orders_of(item: Item) -> list[tuple[int, ...]]:
    """The orders on the bracket in which an item's gears may stand, the best first."""
    gears = item.set.gears
    if item.lies:
        return [gears]
    drivers, driven = sorted(gears[::2]), sorted(gears[1::2])
    in_order = [arranged(drivers, driven, order) for order in orders(len(drivers))]
    # The order that another member has them in comes first, if it will do.
    return list(dict.fromkeys([gears, *in_order] if item.fixed else in_order))


class Steps:
    """How many choices may still be looked at; `ran_out` once there were more."""

    def __init__(self, most: int) -> None:
        self.left = most
        self.ran_out = False

    def take(self) -> bool:
        """Take one; False where none is left."""
        if self.left <= 0:
            self.ran_out = True
            return False
        self.left -= 1
        return True


def never_filled(place: BracketPlace) -> str:
    """Why no gears at all, whatever their teeth, can be mounted so that they turn as they must; empty if some may."""
    if place.largest:
        return ""
    allowed = kinds(place.pairs, place.idlers, place.turns_over)
    if not allowed:
        sense = "reverse" if place.turns_over else "keep"
        return f"no number of pairs and idlers allowed would {sense} the sense"
    whys = [place.bracket.never_takes(*kind) if place.bracket else None for kind in allowed]
    return str(whys[0]) if all(whys) else ""


def why_none_alone(place: BracketPlace, stock: Stock) -> str:
    """Why nothing serves a place, even if it has the whole drawer to itself."""
    never = never_filled(place)
    if never:
        return never
    allowed = kinds(place.pairs, place.idlers, place.turns_over)
    drawer = stock.drawers[place.name]
    wanted = f"exactly {place.target}" if place.exact else f"a ratio near {float(place.target):.6g}"
    free = any(
        next(sets_by_error(Sought(place.target, drawer, pairs, 0, None, "gears", place.exact, 1)), None)
        for pairs, _ in allowed
    )
    if not free:
        return f"no gears in the drawer give {wanted}"
    if place.span is not None:
        low, high = (float(each) for each in place.span)
        return f"no set that can be mounted gives a ratio from {low:.6g} to {high:.6g}"
    return f"the drawer has gears for {wanted}, but none of them can be mounted"
