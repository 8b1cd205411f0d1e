"""From the sets of sources that explain records best to the one that stands, cut by the passages that cut deepest.

A big wave leaves another flank than a small one: so sets are chosen first as if waves were small, then anew with the
passages that cut deepest, until the same set comes out; and where much is left, sources are tried that are big from the
start. What isn't needed in the end is let go. Own method.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from .choosing import CHANCE, MOST, SetsTried, SourceSet, seams
from .deepest import Deepest
from .laid import Laid
from .passage import Floats, Seam

#: Times that the set is chosen anew, seams from which the passages that cut deepest are sought, how closely at first,
#: and how much bigger the waves may be than they seem.
_AGAIN, _STARTS, _BEGUN, _BIGGER = 4, 4, 3, (1.7, 2.8)

#: How much smaller and bigger each wave is tried in the end, and by what share of what is left it must then fit better.
_OTHERWISE, _BETTER = (0.55, 1.8), 1e-3

#: Other sets of each size that are tried in the place of one.
_OTHERS = 2

#: From this chance on, another seam may do without a source.
_DOUBTFUL = 1e-9

#: What is left of records, r.m.s. in µm, from which a big wave is looked for in it; readings of each that it takes,
#: phases and seams, the most promising that are followed, how many at once, and how often.
_MUCH, _FEW, _PHASES, _SEAMS, _FOLLOWED, _AT_ONCE, _BIG_ONES = 1.5, 60, 4, 3, 2, 2, 3

Settled = tuple[Deepest, SetsTried, dict[int, float]]


def settle(laid: Laid) -> Settled:
    """The sources that stand in the records, the sets that were tried at last, and the chance of each member."""
    deep, tried, chances = _chosen(laid)
    for _ in range(_BIG_ONES):
        big = _with_a_big_one(tried, deep)
        if big is None:
            break
        deep, chances = _needed(tried, big)
        tried = _as_cut(deep, tried)
    better = _sized(_simpler(tried, deep))
    if better is not deep:
        deep, chances = _needed(tried, better)
        tried = _as_cut(deep, tried)
    return deep, tried, chances


def _sized(deep: Deepest) -> Deepest:
    """With each wave tried bigger and smaller than it seems: other passages may cut deepest then, and fit better."""
    best = deep
    for at in range(len(deep.members)):
        for by in _OTHERWISE:
            amounts = deep.amounts.copy()
            amounts[at] *= by
            other = replace(deep, amounts=amounts).closer(_BEGUN)
            if other.is_possible and other.squares < (1 - _BETTER) * best.squares:
                best = other
    return best if best is deep else best.at_best_seam()


def _simpler(tried: SetsTried, deep: Deepest) -> Deepest:
    """The set itself, or one of no more sources that does as well: with the passages as they are now it may show."""
    most = len(deep.members)
    for size in range(max(most - 2, 1), most + 1) if most > 2 else ():
        for one in sorted(tried.found[size].values())[:_OTHERS]:
            if one.members == deep.members:
                continue
            nothing = np.zeros(size, dtype=complex)
            other = Deepest(deep.laid, one.members, deep.seam, nothing).closer(_BEGUN).at_best_seam()
            as_well = _chance(tried, other, deep) > CHANCE if size < most else other.squares < deep.squares
            if as_well and other.is_possible:
                return other
    return deep


def _chosen(laid: Laid) -> Settled:
    """The set that comes out again with the passages that cut deepest."""
    parts = {seam: laid.parts(seam) for seam in seams(sum(one.size for one in laid.records))}
    size = min(MOST, len(laid.sources), (laid.free - 2) // 2)
    tried = SetsTried(laid, [laid.weighed(one) for one in parts.values()], size, len(parts))
    deep = _deepest(tried, tried.chosen()[0].members)
    for _ in range(_AGAIN):
        laid = replace(laid, weights=deep.weights())
        tried = SetsTried(laid, [laid.weighed(deep.normal())], size, len(parts))
        members = tried.chosen()[0].members
        if members == deep.members:
            deep = replace(deep, laid=laid).closer(2)
            break
        everywhere = SetsTried(laid, [laid.weighed(each) for each in parts.values()], 0, len(parts))
        deep = _deepest(everywhere, members)
    deep, chances = _needed(tried, deep)
    return deep, _as_cut(deep, tried), chances


def _as_cut(deep: Deepest, tried: SetsTried) -> SetsTried:
    """All sets with the passages that cut deepest now."""
    return SetsTried(deep.laid, [deep.laid.weighed(deep.normal())], tried.size, tried.seams)


def _deepest(tried: SetsTried, members: tuple[int, ...]) -> Deepest:
    """These members laid through by the passages that cut deepest, from the few seams that fit best to begin with."""
    starts = sorted(each for seam in tried.normals for each in tried.at(seam, [members]))[:_STARTS]
    nothing = np.zeros(len(members), dtype=complex)
    plainly = [Deepest(tried.laid, members, one.seam, nothing).closer(_BEGUN) for one in starts]
    best = min(plainly, key=lambda one: one.squares)
    bigger = [replace(best, amounts=by * best.amounts).closer(_BEGUN) for by in _BIGGER] if members else []
    return min((best, *bigger), key=lambda one: one.squares).at_best_seam()


def _needed(tried: SetsTried, deep: Deepest) -> tuple[Deepest, dict[int, float]]:
    """The members that are needed even so, with their chances: without them no other passages make up for it."""
    while deep.members:
        chances = {}
        for few in (*((one,) for one in deep.members), *deep.against_one_another()):
            fewer = deep.without(few)
            chance = _chance(tried, fewer, deep)
            if _DOUBTFUL < chance < CHANCE:
                fewer = fewer.at_best_seam()
                chance = _chance(tried, fewer, deep)
            if chance > CHANCE:
                deep = fewer.at_best_seam()
                break
            if len(few) == 1:
                chances[few[0]] = chance
        else:
            return deep, chances
    return deep, {}


def _chance(tried: SetsTried, fewer: Deepest, more: Deepest) -> float:
    sets = (SourceSet(one.squares, one.seam, one.members) for one in (fewer, more))
    return tried.chance(*sets)


# ---------------------------------------------------------------- big waves


def _with_a_big_one(tried: SetsTried, deep: Deepest) -> Deepest | None:
    """The set with one source more that is big, or with two, where much is left and they explain it; or None."""
    coarse = replace(deep.laid, records=tuple(one.thinned(_FEW) for one in deep.laid.records))
    now = [deep]
    for _ in range(_AT_ONCE):
        begun = [one for each in now for one in _begun(coarse, each, tried.size) if one.is_possible]
        firsts: dict[tuple[int, ...], Deepest] = {}
        for one in sorted(begun, key=lambda one: one.squares):
            firsts.setdefault(tuple(sorted(one.members)), one)
        followed = [replace(one, laid=deep.laid).closer(_BEGUN) for one in list(firsts.values())[:_FOLLOWED]]
        now = sorted((one for one in followed if one.is_possible), key=lambda one: one.squares)
        if not now:
            return None
        best = now[0].at_best_seam()
        if best.is_possible and _chance(tried, deep, best) <= CHANCE / _PHASES:
            return best
    return None


def _begun(coarse: Laid, deep: Deepest, most: int) -> Iterator[Deepest]:
    """Each other source beside the members, as big as what is left may be, at some phases and seams."""
    left = np.sqrt(2) * max(map(_rms, deep.left))
    if len(deep.members) >= most or left < np.sqrt(2) * _MUCH:
        return
    for at, source in enumerate(coarse.sources):
        if at in deep.members:
            continue
        gain = max(abs(one) for _, one in source.proud)
        size = min(1.5 * left / gain, source.most)
        for seam in _seams_about(deep.seam):
            for phase in range(_PHASES):
                amounts = np.append(deep.amounts, size * np.exp(2j * np.pi * phase / _PHASES))
                yield Deepest(coarse, (*deep.members, at), seam, amounts).laid_anew()


def _seams_about(seam: Seam) -> Iterator[Seam]:
    yield from ((seam[0], seam[1] + at / _SEAMS) for at in range(_SEAMS))


def _rms(values: Floats) -> float:
    return float(np.sqrt(np.mean(values**2)))
