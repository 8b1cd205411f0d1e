"""Which ratios can be mounted on a bracket, and gears for them, for brackets whose ratios hang together.

Many choices ask for the same ratio again, and so do other spans of feed and other ways of setting the machine: what
was found once is kept.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import lru_cache

import numpy as np
from handlead.kinematics.brackets.drawer import Drawer, DrawerSet, share_out
from handlead.kinematics.search.change_gears import ChangeGearSet
from numpy.typing import NDArray

from .cheapest import Filled, Search
from .filling import Listed, every_filling, fillings, has_any, least_work, listed
from .small import AtOnce
from .tied_ratios import Given, fractions_near
from .together import BracketPlace, Steps, Stock

#: Ratios of a bracket that are tried on it before they are combined with others, where its drawer is no larger than so.
_LOOKED_AT, _SMALL = 600, 50

#: A drawer of so few gears has few sets of one ratio; and so many lists of a bracket's sets are kept.
_FEW, _LISTS = 24, 3_000

#: Sets of one ratio that are looked at on a bracket, and choices among them.
_WAYS, _FILLINGS = 16, 500


#: Choices of gears for the same ratios that are asked whether they leave enough for what goes beside.
_OTHERS = 40


@dataclass(frozen=True)
class Leftover:
    """Other brackets that have to be filled from what is left: how many `gears` they take at the least, and how.

    `whole` gives a choice with theirs added; None where too little is left for them.
    """

    gears: int
    whole: Callable[[Mapping[str, ChangeGearSet]], Mapping[str, ChangeGearSet] | None]


class Mounts:
    """The sets that give a ratio on a bracket, looked up once."""

    def __init__(self, places: Sequence[BracketPlace], stock: Stock, beside: Leftover | None = None) -> None:
        self.places, self.stock, self.beside = places, stock, beside
        self._bare = {place.name: _bare(place) for place in places}
        self._known = {name: _known_on(bare, stock.drawers[name]) for name, bare in self._bare.items()}
        self._few = {name: len(stock.drawers[name]) <= _FEW for name in self._bare}
        self._at_once = AtOnce(list(self._bare.values()), stock)
        self._tried = _tried_on(tuple(self._bare.values()), stock.sets, beside)
        #: Whether a choice was given up with others for the same ratios not looked at.
        self.cut_short = False

    def on(self, place: BracketPlace, ratio: Fraction) -> Listed:
        """The sets that give just this ratio on one bracket."""
        key, sets = ratio.as_integer_ratio(), self._known[place.name].sets
        if key not in sets:
            if len(sets) >= _LISTS:
                sets.clear()
            exact = replace(self._bare[place.name], target=ratio)
            sets[key] = listed(exact, self.stock.drawers[place.name], least_work, _WAYS, keep=False)
        return sets[key]

    def mountable(self, place: BracketPlace, given: Given) -> Given:
        """The ratios of a list that some set gives which can be mounted, as far as a look at each costs little."""
        if len(given.ratios) > _LOOKED_AT or len(self.stock.drawers[place.name]) > _SMALL:
            return given
        pairs = zip(given.tops.tolist(), given.bottoms.tolist(), strict=True)
        keep = np.array([self.is_possible(place, p, q) for p, q in pairs], dtype=bool)
        return Given(given.tops[keep], given.bottoms[keep], given.ratios[keep], given.costs[keep])

    def is_possible(self, place: BracketPlace, top: int, bottom: int) -> bool:
        """Whether some set gives just this ratio, in its lowest terms, on a bracket that has the drawer to itself."""
        known = self._known[place.name].possible
        found = known.get((top, bottom))
        if found is None:
            ratio = Fraction(top, bottom)
            if self._few[place.name]:
                # Out of few gears there are few sets of one ratio, which will be wanted if there are any.
                found = bool(self.on(place, ratio).items)
            else:
                found = has_any(self._bare[place.name], ratio, self.stock.drawers[place.name])
            known[top, bottom] = found
        return found

    def fractions(self, value: float) -> set[Fraction]:
        """The ratios of the last bracket that the float `value` stands for."""
        last = self.places[-1]
        known = self._known[last.name].fractions
        if value not in known:
            known[value] = fractions_near(self.stock.drawers[last.name], last.pairs, value)
        return known[value]

    def may_be(self, ratios: Mapping[str, Fraction]) -> bool:
        """Whether no gear is wanted twice for just these ratios, as far as that costs little to see."""
        return self._at_once.may_be([ratios[place.name].as_integer_ratio() for place in self.places])

    def set_up(self, ratios: Mapping[str, Fraction], cost: float) -> Filled | None:
        """Gears and idlers for just these ratios, all from the drawer at once; None where there are none.

        Where others have to be filled beside, such as leave gears for them, and these with them.
        """
        if not self.may_be(ratios):
            return None
        key = tuple(ratios[place.name].as_integer_ratio() for place in self.places)
        if not all(self.is_possible(place, *ratio) for place, ratio in zip(self.places, key, strict=True)):
            return None
        if key not in self._tried:
            if len(self._tried) >= _REMEMBERED:
                self._tried.clear()
            self._tried[key] = self._filled(ratios)
        filled, cut_short = self._tried[key]
        self.cut_short |= cut_short
        return None if filled is None else replace(filled, cost=cost)

    def _filled(self, ratios: Mapping[str, Fraction]) -> tuple[Filled | None, bool]:
        """The same at no cost, and whether it was given up with others for the same ratios not looked at."""
        lists = [self.on(place, ratios[place.name]) for place in self.places]
        if not all(one.items for one in lists):
            return None, False
        steps = Steps(_FILLINGS)
        sets = next(iter(fillings(self.stock, lists, steps)), None)
        if sets is None and (not all(one.complete for one in lists) or steps.ran_out):
            best = Search(self.stock, [one.place for one in lists]).best(1, self.stock.full)
            sets = best[0].sets if best else None
        if sets is None:
            return None, False
        whole, cut_short = (sets, False) if self.beside is None else (self.beside.whole(sets), False)
        if whole is None:
            whole, cut_short = self._leaving_enough(lists)
        if whole is None:
            return None, cut_short
        wanted = {name: (*one.gears, *one.idlers) for name, one in whole.items()}
        drawn = share_out(wanted, self.stock.sets)
        assert drawn is not None
        return Filled(whole, 0.0, drawn), False

    def _leaving_enough(self, lists: Sequence[Listed]) -> tuple[Mapping[str, ChangeGearSet] | None, bool]:
        """Other gears, or idlers, for the same ratios, that leave enough for those beside.

        And whether it was given up with some not looked at.
        """
        assert self.beside is not None
        steps = Steps(_FILLINGS)
        seen: set[tuple[int, ...]] = set()
        for sets in every_filling(self.stock, lists, steps):
            used = tuple(sorted(z for one in sets.values() for z in (*one.gears, *one.idlers)))
            if used in seen:
                continue
            seen.add(used)
            whole = self.beside.whole(sets)
            if whole is not None:
                return whole, False
            if len(seen) >= _OTHERS:
                return None, True
        return None, steps.ran_out or not all(one.complete for one in lists)


class Living:
    """Which ratios of a list some set gives that can be mounted, looked at as they are asked for."""

    def __init__(self, mounts: Mounts, place: BracketPlace, given: Given) -> None:
        self._mounts, self._place, self._given = mounts, place, given
        #: Of each ratio: whether it may be possible for all that is known, and whether that has been looked at.
        self.may_be = np.ones(len(given.ratios), dtype=bool)
        self._seen: NDArray[np.bool_] = np.zeros(len(given.ratios), dtype=bool)

    def get(self, number: int) -> bool:
        """Whether ratio `number` of the list can be mounted."""
        if not self._seen[number]:
            self._seen[number] = True
            ratio = int(self._given.tops[number]), int(self._given.bottoms[number])
            self.may_be[number] = self._mounts.is_possible(self._place, *ratio)
        return bool(self.may_be[number])


def _bare(place: BracketPlace) -> BracketPlace:
    """The bracket that is to give one ratio exactly, whatever it is asked for otherwise."""
    pairs = tuple(pairs for pairs in place.pairs if pairs < 3)
    return replace(place, target=Fraction(1), exact=True, span=None, pairs=pairs)


@dataclass(frozen=True)
class _OnBracket:
    """What is known of single ratios on one bracket: whether any set that gives one can be mounted, and the sets.

    And which fractions a float stands for.
    """

    possible: dict[tuple[int, int], bool] = field(default_factory=dict)
    sets: dict[tuple[int, int], Listed] = field(default_factory=dict)
    fractions: dict[float, set[Fraction]] = field(default_factory=dict)


@lru_cache(maxsize=64)
def _known_on(bare: BracketPlace, drawer: Drawer) -> _OnBracket:
    """Of a bracket with this drawer, what is known of the ratios that were asked for so far."""
    return _OnBracket()


#: What was found for the same brackets, drawers and brackets beside: kept for wider spans of feed, up to so much.
_Tried = dict[tuple[tuple[int, int], ...], tuple[Filled | None, bool]]
_REMEMBERED = 20_000


@lru_cache(maxsize=16)
def _tried_on(bare: tuple[BracketPlace, ...], sets: tuple[DrawerSet, ...], beside: Leftover | None) -> _Tried:
    """Of brackets with these drawers, the gears for ratios that were tried together so far."""
    return {}
