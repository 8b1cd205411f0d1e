"""Brackets filled out of lists in an order of preference: the first choice that leaves gears for all the others.

`joint` finds what is nearest; a person who sets a machine wants more than that: no idler if it can be had
without, few gears, and those left in place that stand there already. Here every bracket has a list of the sets that
would do, the likeliest first, and the lists are gone through like the digits of a number. A list that was
cut short is known to be so: where nothing is found then, nothing has been proved.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from typing import Any

import numpy as np
from handlead.kinematics.brackets.drawer import Drawer
from handlead.kinematics.links.mounted import Dialled, Mounted
from handlead.kinematics.search.candidates import Sought
from handlead.kinematics.search.change_gears import ChangeGearSet, kinds, sets_by_error
from handlead.kinematics.search.gear_orders import with_idlers_from
from handlead.kinematics.search.ratios import compare, nearest_fraction, relative_error
from numpy.typing import NDArray

from .together import BracketPlace, Item, Left, Steps, Stock, with_idlers

#: The key by which the sets of a list are put in order; the least comes first.
Preference = Callable[[ChangeGearSet], Any]


@dataclass(frozen=True)
class Listed:
    """The sets that would do on one bracket, in order; `complete` where there are no others."""

    place: BracketPlace
    items: tuple[Item, ...]
    complete: bool


def least_work(one: ChangeGearSet) -> Any:
    """A preference: no idler, few gears, small ones."""
    return len(one.idlers), len(one.gears), sum(one.gears), one.gears


def listed(
    place: BracketPlace, gears: Stock | Drawer, prefer: Preference, most: int = 120, keep: bool = True
) -> Listed:
    """The nearest sets for a place, `most` of each number of pairs and idlers, put in order by `prefer`.

    Three pairs are looked at only where one and two give nothing. With `keep` the sets are kept for whoever asks the
    same again: other ways of setting the machine, and the other members, do.
    """
    if place.largest:
        return entered(place)
    drawer = gears if isinstance(gears, Drawer) else gears.drawers[place.name]
    allowed = kinds(place.pairs, place.idlers, place.turns_over)
    nearest = _kept if keep else _nearest
    for kinds_tried in ([kind for kind in allowed if kind[0] < 3], [kind for kind in allowed if kind[0] >= 3]):
        some = [nearest(place, drawer, kind, most) for kind in kinds_tried]
        found = sorted((one for sets, _ in some for one in sets), key=prefer)
        if found:
            break
    items = tuple(Item(place, one, (len(one.idlers),)) for one in found)
    return Listed(place, items, all(complete for _, complete in some))


#: Figures of the numbers that are tried for a ratio which may be any within a span: few are told and entered safely.
_SPAN_FIGURES = (10, 100, 1000)


def entered(place: BracketPlace) -> Listed:
    """The ratios to enter: the one wanted where its numbers go in, else the nearest; within a span a short one too."""
    sign = -1 if place.turns_over else 1
    sizes = [place.largest]
    if place.span is not None:
        sizes = [*(size for size in _SPAN_FIGURES if size < place.largest), place.largest]
    found: dict[Fraction, Item] = {}
    for size in sizes:
        ratio = nearest_fraction(place.target, size)
        if place.span and (compare(ratio, place.span[0]) < 0 or compare(ratio, place.span[1]) > 0):
            continue
        one = ChangeGearSet(Dialled.of(sign * ratio), ratio, relative_error(ratio, place.target))
        found.setdefault(ratio, Item(place, one, (0,)))
    return Listed(place, tuple(found.values()), True)


def has_any(place: BracketPlace, ratio: Fraction, drawer: Drawer) -> bool:
    """Whether any set out of the drawer gives just this ratio on a place, of one or two pairs."""
    allowed = kinds(place.pairs, place.idlers, place.turns_over)
    few = sorted((kind for kind in allowed if kind[0] < 3), key=lambda kind: (kind[1], kind[0]))
    each = (sets_by_error(Sought(ratio, drawer, *kind, place.bracket, "gears", True)) for kind in few)
    return any(next(sets, None) is not None for sets in each)


_Nearest = tuple[tuple[ChangeGearSet, ...], bool]


def _nearest(place: BracketPlace, drawer: Drawer, kind: tuple[int, int], most: int) -> _Nearest:
    """The `most` nearest sets of so many pairs and idlers, and whether there are no others."""
    some = tuple(itertools.islice(_stream(place, drawer, *kind), most + 1))
    return some[:most], len(some) <= most


_kept = lru_cache(maxsize=128)(_nearest)


def _stream(place: BracketPlace, drawer: Drawer, pairs: int, idlers: int) -> Iterator[ChangeGearSet]:
    """The sets of one kind, nearest first, as far as the place's span goes."""
    found = sets_by_error(Sought(place.target, drawer, pairs, idlers, place.bracket, "gears", place.exact))
    if place.span is None:
        yield from found
        return
    low, high = place.span
    widest = max(abs(float(end / place.target - 1)) for end in place.span) * (1 + 1e-9) + 1e-12
    for one in found:
        if compare(one.ratio, low) >= 0 and compare(one.ratio, high) <= 0:
            yield one
        elif abs(one.error) > widest:
            return


def as_it_lies(place: BracketPlace, stock: Stock, mounted: Mounted) -> Item | None:
    """The gears that stand on a bracket, as they stand, idlers put in or taken out; None where they won't do."""
    if place.largest:
        return None  # entering another costs no more than looking whether it stands there
    drawer, pairs = stock.drawers[place.name], len(mounted.pairs)
    ratio = mounted.size
    if not drawer.holds(mounted.gears) or (place.exact and ratio != place.target):
        return None
    if place.span and (compare(ratio, place.span[0]) < 0 or compare(ratio, place.span[1]) > 0):
        return None
    counts = tuple(idle for one, idle in kinds(place.pairs, place.idlers, place.turns_over) if one == pairs)
    left = drawer.without(mounted.gears)
    for count in counts:
        if len(left) >= count and next(with_idlers_from(left, mounted.gears, count, place.bracket), None):
            one = ChangeGearSet(Mounted(mounted.gears), ratio, relative_error(ratio, place.target))
            return Item(place, one, (count,), fixed=True, lies=True)
    return None


def fillings(stock: Stock, lists: Sequence[Listed], steps: Steps) -> Iterator[Mapping[str, ChangeGearSet]]:
    """For each set of the first list, the first choice out of the others that the drawers allow with it."""
    filling = _Filling.of(stock, lists, steps)
    for number in range(len(lists[0].items)):
        found = next(filling.beginning(number), None)
        if found is not None:
            yield found
        if steps.ran_out:
            return


def every_filling(stock: Stock, lists: Sequence[Listed], steps: Steps) -> Iterator[Mapping[str, ChangeGearSet]]:
    """Every choice that the drawers allow, with every choice of idlers, in the order of the lists."""
    filling = _Filling.of(stock, lists, steps)
    for number in range(len(lists[0].items)):
        yield from filling.beginning(number)


def _uses(stock: Stock, one: Listed) -> NDArray[np.int16]:
    rows = [stock.use(() if one.place.largest else item.set.gears) for item in one.items]
    return np.array(rows, dtype=np.int16).reshape(len(rows), len(stock.teeth))


@dataclass(frozen=True)
class _Filling:
    """Lists that are being gone through; `least` is how many gears the lists from each one on take at the least."""

    stock: Stock
    lists: Sequence[Listed]
    uses: Sequence[NDArray[np.int16]]
    least: Sequence[int]
    steps: Steps

    @classmethod
    def of(cls, stock: Stock, lists: Sequence[Listed], steps: Steps) -> _Filling:
        """The lists, with what each of their sets takes."""
        few = [min((_taken_by(item) for item in one.items), default=0) for one in lists]
        least = [sum(few[depth:]) for depth in range(len(few) + 1)]
        return cls(stock, lists, [_uses(stock, one) for one in lists], least, steps)

    def beginning(self, number: int) -> Iterator[Mapping[str, ChangeGearSet]]:
        """The choices with set `number` of the first list."""
        return self._from(0, self.stock.full, [], number)

    def _from(
        self, depth: int, left: Left, chosen: list[Item], number: int | None = None
    ) -> Iterator[Mapping[str, ChangeGearSet]]:
        if depth == len(self.lists):
            for sets in with_idlers(self.stock, chosen, left):
                yield {item.place.name: one for item, one in zip(chosen, sets, strict=True)}
            return
        name, rows = self.lists[depth].place.name, self.uses[depth]
        available = self.stock.available(left, name)
        fits = [number] if number is not None else np.flatnonzero((rows <= available).all(axis=1)).tolist()
        # The first group is that of all places: idlers and the other brackets have to live on it.
        room = int(left[0].sum()) - self.least[depth + 1] - sum(min(item.idlers) for item in chosen)
        for at in fits:
            item = self.lists[depth].items[at]
            if _taken_by(item) > room:
                continue
            if not self.steps.take():
                return
            after = self.stock.take(left, name, rows[at])
            if after is not None:
                yield from self._from(depth + 1, after, [*chosen, item])


def _taken_by(item: Item) -> int:
    """How many gears a set takes at the least, its idlers among them."""
    return 0 if item.place.largest else len(item.set.gears) + min(item.idlers)
