"""From no source at all to the set that stands in the records, cut by the passages that cut deepest.

One source more at a time, or two together where one alone doesn't show; one for another; one fewer: whatever explains
the records better by a measure that charges each source for all that might have been taken in its place. Own method.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from .choosing import CHANCE, MOST, SetsTried, seams
from .deepest import REPEATS, Deepest, plain_start
from .growing import drawn, grown, grown_widely, is_big, otherwise, two_more
from .laid import Laid

#: Seams from which nothing but marks is laid through the records; sets of each size, and seams of each, that
#: seem to fit best at first.
_PLAIN, _LIKELY = 2, 2

#: The largest sets that are looked through as if all waves were small.
_SMALL_ONES = 4

#: Sources that are looked for at once to begin with: in records with gaps waves hide one another.
_AT_ONCE = 3

#: Other ends of the set that is found that are looked at closely.
_ENDS = 3

#: A set must measure less by so much to be taken instead: a trifle is seen to in the end.
_MATTERS = 0.5

#: Times that the set is changed at most, and that records are weighed anew.
_CHANGES, _WEIGHED = 12, 3

#: Sets with one more from which yet another is tried, where one alone doesn't show.
_TOGETHER = 1

#: The largest set in which two are tried in the place of one, and with how many others first.
_TWO_INSTEAD, _INSTEAD = 4, 1

#: By how much a set may measure more than another and still be stirred, and how many are.
_NEARLY, _STIRRED = 12.0, 2

#: From here on, in what the next contact stands off, a wave's change to it makes it big: others may stand in its place.
_BIG = 1.0

#: Another source that would do less than this share of what a small one does can't stand in its place.
_FAR_LESS = 0.6

#: A wave that fewer gashes cut passes for a slower one, and is charged so much more. Own choice.
_GASHES_A_WAVE, _TOO_QUICK = 3, 8.0

#: Waves on a flank, in µm, that machines still at work leave: of larger ones there are far fewer. Own choice.
_USUAL = 15.0


@dataclass(frozen=True, eq=False)
class Settled:
    """The set that stands, the chance of each of its members, and other sets of as many that were met on the way.

    `closely` is the set through the finer looks, `ends` other amounts of its sources that fit nearly as well there.
    """

    deep: Deepest
    chances: dict[int, float]
    others: tuple[Deepest, ...]
    closely: Deepest
    ends: tuple[Deepest, ...]


def settle(laid: Laid, hidden: int = 0) -> Settled:
    """The sources that stand in the records; of the sources the last few, `hidden`, don't show unless they are big."""
    return _Settling(laid, hidden).settled()


class _Settling:
    """The search, and the sets met on its way."""

    def __init__(self, laid: Laid, hidden: int) -> None:
        self.laid, self.hidden = laid, hidden
        shown = laid.only(range(len(laid.sources) - hidden))
        self.parts = [shown.parts(seam) for seam in seams(sum(one.size for one in laid.records))]
        cut = laid.records[0].looks[0].flank.cut
        self.quickest = abs(cut.per_turn) / _GASHES_A_WAVE
        self.size = min(MOST, len(laid.sources), (laid.free - 2) // 2)
        self.tried = self._linear(laid)
        self.met: list[Deepest] = []

    def _linear(self, laid: Laid) -> SetsTried:
        shown = laid.only(range(len(laid.sources) - self.hidden))
        size = min(self.size, len(shown.sources), _SMALL_ONES)
        return SetsTried(shown, [shown.weighed(one) for one in self.parts], size)

    def settled(self) -> Settled:
        now = self._weighed(min(self._first(), key=self.measure))
        for _ in range(_CHANGES):
            better = self._better(now)
            if better is None:
                break
            now = self._weighed(better)
        now, chances = self._needed(now)
        ends = [one for one in self._like(now) if set(one.members) == set(now.members)]
        closely, others = self._closely(now, ends)
        return Settled(now, chances, self._like(now), closely, others)

    def _closely(self, now: Deepest, ends: Sequence[Deepest]) -> tuple[Deepest, tuple[Deepest, ...]]:
        """The set laid through the finer looks, and where its sources came to other amounts and fit nearly as well."""
        best = sorted(ends, key=self.measure)[:_ENDS]
        fine = [one.closely().closer() for one in (now, *best)]
        # What just could be may come out as a trifle more than there can be.
        possible = [one for one in fine if one.is_possible] or [now]
        first, *others = sorted(possible, key=self.measure)
        return first.in_order(now.members), tuple(others)

    def measure(self, deep: Deepest) -> float:
        """What is left, by its logarithm, with what each source is charged: less is better.

        The charge is what noise alone seldom comes to in any of all that might have been taken; and the more
        there is of a wave, or the fewer gashes cut one, the less likely it is that just that is what shows.
        """
        alone = self.laid.only(deep.members)
        largest = np.array([one.gain for one in alone.sources]) * np.abs(deep.amounts)
        rare = 4 * float(np.sum(np.log1p((largest / _USUAL) ** 2)))
        rare += _TOO_QUICK * sum(one.order > self.quickest for one in alone.sources)
        charge = 2 * math.log(max(len(self.laid.sources), 1) / CHANCE)
        # Below what no record repeats better than, what is left counts against that.
        least, free = _least(deep), deep.laid.free
        below = min(deep.squares / least - 1, 0.0)
        return free * (math.log(max(deep.squares, least) / free) + below) + charge * len(deep.members) + rare

    def _first(self) -> Iterator[Deepest]:
        """Nothing, and what would stand if all waves were small."""
        plainly = sorted((plain_start(self.laid, seam) for seam in self.tried.normals), key=lambda one: one.squares)
        for bare in plainly[:_PLAIN]:
            yield from (felt.closer() for felt in self._felt(bare))
        for size in range(1, min(self.tried.size, _AT_ONCE) + 1):
            starts = []
            for one in sorted(self.tried.found[size].values())[:_LIKELY]:
                places = sorted(each for seam in self.tried.normals for each in self.tried.at(seam, [one.members]))
                nothing = np.zeros(size, dtype=complex)
                begun = [Deepest(self.laid, one.members, each.seam, nothing) for each in places[:_PLAIN]]
                starts += [each for one in begun for each in self._felt(one)]
            yield from drawn(starts, self.laid)

    def _felt(self, deep: Deepest) -> list[Deepest]:
        """The set itself, and where there are readings that may be of a cell or of one place, taken otherwise."""
        return [deep, deep.felt_otherwise()] if deep.pooled.is_evened.any() else [deep]

    def _felt_otherwise(self, now: Deepest) -> list[Deepest]:
        return [found for one in self._felt(now)[1:] for then in [one.closer()] for found in (then, *self._more(then))]

    def _better(self, now: Deepest) -> Deepest | None:
        """A set that explains more: of one more, one fewer, other sizes, one other, two more, or two for one."""
        least, more = self.measure(now), self._more(now)
        ways: tuple[Callable[[Deepest], list[Deepest]], ...] = (
            lambda _: more, self._fewer, self._felt_otherwise, self._more_widely, self._otherwise, self._instead,
            lambda _: self._two_more(now, more), self._two_instead,
        )  # fmt: skip
        for way in ways:
            best = min(way(now), key=self.measure, default=None)
            if best is not None and self.measure(best) < least - _MATTERS:
                return best
        return None

    def _more(self, now: Deepest) -> list[Deepest]:
        return self._keep(grown(now, self.tried)) if len(now.members) < self.size else []

    def _more_widely(self, now: Deepest) -> list[Deepest]:
        if len(now.members) >= self.size:
            return []
        return self._keep(self._stirred(grown_widely(now), self.measure(now) + _NEARLY))

    def _stirred(self, found: list[Deepest], most: float) -> list[Deepest]:
        """The best few that measure at most so much, and have a big source, stirred: they come down all the way."""
        return [
            one.stirred()
            if number < _STIRRED and self.measure(one) < most and any(self._is_big(one, each) for each in one.members)
            else one
            for number, one in enumerate(found)
        ]

    def _keep(self, found: list[Deepest]) -> list[Deepest]:
        self.met += found
        return found

    def _fewer(self, now: Deepest) -> list[Deepest]:
        return [now.without((one,)).closer() for one in now.members]

    def _otherwise(self, now: Deepest) -> list[Deepest]:
        """The same sources, each begun with other sizes and phases: other passages may cut deepest then."""
        return self._keep(self._stirred([now, *otherwise(now)], self.measure(now) + _NEARLY))

    def _instead(self, now: Deepest) -> list[Deepest]:
        found: list[Deepest] = []
        for one in now.members:
            rest = now.without((one,)).closer()
            if self._may_be_another(now, one, rest):
                found += grown(rest, self.tried, (one,))
        return self._keep(found)

    def _may_be_another(self, now: Deepest, member: int, rest: Deepest) -> bool:
        """Whether another source may stand in its place: not where it is small, and of all small ones does far more."""
        if self._is_big(now, member):
            return True
        promise, _ = rest.promises()
        others = np.delete(promise, member)
        return bool(len(others) and others.max() > _FAR_LESS * promise[member])

    def _is_big(self, deep: Deepest, member: int) -> bool:
        amount = abs(deep.amounts[deep.members.index(member)])
        return is_big(deep, member, self.laid.sources[member].gain * amount, _BIG)

    def _two_more(self, now: Deepest, more: Sequence[Deepest]) -> list[Deepest]:
        """Two at once: the best pairs of small ones, and whatever goes with a big one."""
        if len(now.members) + 2 > self.size:
            return []
        found = drawn(two_more(now, self.tried), now.laid)
        for one in more[:_TOGETHER]:
            (new,) = set(one.members) - set(now.members)
            found += grown(one, self.tried) if self._is_big(one, new) else []
        return found

    def _two_instead(self, now: Deepest) -> list[Deepest]:
        """Two others in the place of one that is needed least: it may stand for both."""
        if len(now.members) + 1 > min(self.size, _TWO_INSTEAD) or not any(
            self._is_big(now, one) for one in now.members
        ):
            return []
        fewer = sorted(((one, now.without((one,)).closer()) for one in now.members), key=lambda one: one[1].squares)
        return [
            two for one, rest in fewer[:_TOGETHER] for other in grown(rest, self.tried, (one,))[:_INSTEAD]
            for two in grown(other, self.tried, (one,))
        ]  # fmt: skip

    def _weighed(self, deep: Deepest) -> Deepest:
        """With each record weighed by what is left in it."""
        for _ in range(_WEIGHED):
            laid = replace(self.laid, weights=deep.weights())
            deep = replace(deep, laid=laid).closer()
        self.laid, self.tried, self.met = laid, self._linear(laid), []
        return deep

    def _like(self, deep: Deepest) -> tuple[Deepest, ...]:
        return tuple(one for one in self.met if len(one.members) == len(deep.members))

    def _needed(self, deep: Deepest) -> tuple[Deepest, dict[int, float]]:
        """The members that are needed even so, with their chances: without them nothing else makes up for it."""
        while deep.members:
            chances = {}
            for few in (*((one,) for one in deep.members), *deep.against_one_another()):
                fewer = deep.without(few).closer()
                chance = self.chance(fewer, deep)
                if chance > CHANCE:
                    deep = fewer
                    break
                if len(few) == 1:
                    chances[few[0]] = chance
            else:
                return deep, chances
        return deep, {}

    def chance(self, fewer: Deepest, more: Deepest) -> float:
        """That noise alone makes the larger set so much better, times all that might have been taken."""
        from scipy.special import fdtrc

        added = len(more.members) - len(fewer.members)
        if added < 1:
            return 1.0
        after = max(more.squares, _least(more))
        better = max(fewer.squares - more.squares, 0.0) / (2 * added) / (after / more.free)
        many = math.comb(max(len(self.laid.sources) - len(fewer.members), added), added)
        return float(fdtrc(2 * added, more.free, better)) * many


def _least(deep: Deepest) -> float:
    """The squares that no record repeats better than."""
    return deep.free * (REPEATS * max(deep.laid.weights)) ** 2
