"""From a set of sources to sets of one more: the sources that promise most, small ones and big ones.

What a small wave leaves goes with its amount, so that its promise is read off at once. A big one has other passages cut
deepest: of each that may be so big, what it would leave is laid beside what is left, at some sizes, phases and seams.
Own method.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from .choosing import SetsTried
from .deepest import Deepest
from .laid import Laid
from .passage import Complexes, Floats, Seam

#: Points of each record that a first look takes.
_FEW = 240

#: Times that starts are drawn closer, and how many of them are followed on, by rounds.
_ROUNDS = ((4, 7), (5, 4))

#: Ends are one and the same where their sizes differ by less than about one in so many of twice as much.
_ALIKE = 4

#: Sources of each sort that are begun with.
_SMALL, _LINEAR, _BIG = 4, 3, 4

#: Sizes in what is left (r.m.s.) and phases in which big ones are tried, and by how much the fit may then still change
#: the size.
_SIZES, _PHASES, _SCALED = (1.6, 4.0), 6, (0.4, 2.5)

#: What is left, r.m.s. in µm, below which nothing big is looked for.
_LITTLE = 0.5

#: A wave is big where from contact to contact it changes by more than this share of what the next stands off.
_BIG_SHARE = 0.25

#: Seams about a set's own at which big ones are tried, and all over, so many by gashes and by turns.
_ABOUT: tuple[Seam, ...] = ((0.0, 0.0), (1 / 3, 0.0), (2 / 3, 0.0))
_ALL = (3, 4)

#: Starts from which a source that stands is begun again.
_AGAIN = 6


@dataclass(frozen=True, order=True)
class Start:
    """A source to begin with beside a set: the squares that it promises to leave, its number, amount, and the seam."""

    left: float
    source: int
    seam: Seam
    amount: complex


def grown(deep: Deepest, tried: SetsTried, barred: Sequence[int] = ()) -> list[Deepest]:
    """Sets of one source more, none of the barred ones, drawn closer, the best first."""
    return drawn(list(_starts(deep, deep.thinned(_FEW), tried, barred)), deep.laid)


def drawn(starts: Sequence[Deepest], laid: Laid) -> list[Deepest]:
    """The best of these starts drawn closer, fewer of them each time, at last with all readings; the best first."""
    now = list(starts)
    for times, most in _ROUNDS:
        now = _best_of([one.closer(times) for one in now])[:most]
    return _best_of([replace(one, laid=laid).closer() for one in now])


def _best_of(some: Sequence[Deepest]) -> list[Deepest]:
    """Those that can be, the best of each set and place alone, the best first."""
    found: dict[tuple[object, ...], Deepest] = {}
    for one in sorted((one for one in some if one.is_possible), key=lambda one: one.squares):
        sizes = (round(float(np.log2(abs(size) + 1e-12)) * _ALIKE) for size in one.amounts)
        found.setdefault(tuple(sorted(zip(one.members, sizes, strict=True))), one)
    return list(found.values())


def otherwise(deep: Deepest) -> list[Deepest]:
    """The same sources, each that is big begun again at other seams, sizes and phases, drawn closer.

    Other passages cut deepest then, and records may bear that out as well.
    """
    coarse, found = deep.thinned(_FEW), []
    for at, member in enumerate(deep.members):
        if not is_big(deep, member, deep.laid.sources[member].gain * abs(deep.amounts[at])):
            continue
        rest = coarse.without((member,))
        others = set(range(len(deep.laid.sources))) - {member}
        starts = [one for seam in _all_seams() for one in _big_ones(replace(rest, seam=seam), others)]
        best = sorted(starts, key=lambda one: one.left)[:_AGAIN]
        found += [replace(rest, seam=one.seam).beside(member, one.amount) for one in best]
    return drawn(found, deep.laid)


def _starts(deep: Deepest, coarse: Deepest, tried: SetsTried, barred: Sequence[int]) -> Iterator[Deepest]:
    closed = {*deep.members, *barred}
    promise, amounts = coarse.promises()
    most = np.array([one.most for one in deep.laid.sources])
    some = [int(at) for at in np.argsort(-promise) if int(at) not in closed and abs(amounts[at]) <= most[at]]
    yield from (coarse.beside(at, complex(amounts[at])) for at in some[:_SMALL])
    yield from _linear(coarse, tried, closed)
    best: dict[int, Start] = {}
    for seam in _seams(deep):
        for start in _big_ones(replace(coarse, seam=seam), closed):
            best[start.source] = min(best.get(start.source, start), start, key=lambda one: one.left)
    for start in sorted(best.values(), key=lambda one: one.left)[:_BIG]:
        yield replace(coarse, seam=start.seam).beside(start.source, start.amount)


def _linear(coarse: Deepest, tried: SetsTried, closed: set[int]) -> Iterator[Deepest]:
    """The sets of one more that did best at any seam as if all waves were small."""
    size = len(coarse.members) + 1
    if size > tried.size:
        return
    members = set(coarse.members)
    fitting = (one for one in sorted(tried.found[size].values()) if members <= set(one.members))
    free = (one for one in fitting if not (set(one.members) - members) & closed)
    for one, _ in zip(free, range(_LINEAR), strict=False):
        yield replace(coarse, members=one.members, seam=one.seam, amounts=np.zeros(size, dtype=complex), shown=())


def _seams(deep: Deepest) -> list[Seam]:
    if not deep.members:
        return _all_seams()
    return [(deep.seam[0] + gash, deep.seam[1] + turn) for gash, turn in _ABOUT]


def _all_seams() -> list[Seam]:
    gashes, turns = _ALL
    return [((gash + 0.37) / gashes, (turn + 0.37) / turns) for gash in range(gashes) for turn in range(turns)]


# ---------------------------------------------------------------- big waves


def _big_ones(deep: Deepest, closed: set[int]) -> Iterator[Start]:
    """Of each source that may be big beside the set, at this seam, the size and phase that promise most."""
    size = max(float(np.sqrt(np.mean(one**2))) for one in deep.left)
    if size < _LITTLE:
        return
    tried = [
        (at, amounts) for at in range(len(deep.laid.sources))
        if at not in closed and len(amounts := _amounts(deep, at, size))
    ]  # fmt: skip
    if not tried:
        return
    columns, left = deep.beyond(_leaves(deep, tried))
    square = np.maximum(np.sum(columns**2, axis=0), 1e-12)
    scale = np.clip((left @ columns) / square, *_SCALED)
    promise = 2 * scale * (left @ columns) - scale**2 * square
    first = 0
    for at, amounts in tried:
        last = first + len(amounts)
        best = int(promise[first:last].argmax())
        by = float(scale[first + best])
        yield Start(float(left @ left - promise[first + best]), at, deep.seam, complex(amounts[best] * by))
        first = last


def _amounts(deep: Deepest, at: int, size: float) -> Complexes:
    """The amounts of a source that are tried, of those that there can be; none where it would be small."""
    source = deep.laid.sources[at]
    gain = source.gain
    sizes = [many * size / gain for many in _SIZES if many * size / gain <= source.most]
    some = [one for one in sizes if is_big(deep, at, one * gain)]
    phases = np.exp(2j * np.pi * np.arange(_PHASES) / _PHASES)
    return np.outer(np.array(some, dtype=complex), phases).ravel()


def is_big(deep: Deepest, at: int, um: float) -> bool:
    """Whether so many µm of a source on the flank have other passages cut deepest than would otherwise."""
    order = float(deep.laid.sources[at].order)
    for one in deep.pooled.flanks:
        flank = one.feel.flank
        changes = um * np.abs(np.exp(2j * np.pi * order * flank.turns_a_step) - 1)
        if np.any(changes > _BIG_SHARE * np.diag(flank.metric)):
            return True
    return False


def _leaves(deep: Deepest, tried: Sequence[tuple[int, Complexes]]) -> Floats:
    """What each amount that is tried leaves at the readings, more than the set does by itself."""
    sources = [deep.laid.sources[at] for at in deep.members] + [deep.laid.sources[at] for at, _ in tried]
    orders = 2j * np.pi * np.array([float(one.order) for one in sources])
    own, total = len(deep.members), np.zeros((len(deep.pooled.um), sum(len(amounts) for _, amounts in tried)))
    most = np.array([*np.abs(deep.amounts), *(float(np.abs(amounts).max()) for _, amounts in tried)])
    for one in deep.pooled.flanks:
        gains = one.gains(sources)
        wrong = np.abs(gains * most).max(axis=0)
        about = one.feel.about(deep.seam, float(wrong[:own].sum() + wrong[own:].max()))
        home = np.exp(about.turns[:, None] * orders) * gains
        away = np.exp(about.away[:, None] * orders)
        here = home[:, :own] * deep.amounts
        # A look is only for which promise most: half the digits do.
        stands = (about.stands + here.real @ away[:, :own].real.T - here.imag @ away[:, :own].imag.T).astype(np.float32)
        heights = [
            _least(stands, home[:, at] * amount, away[:, at])
            for at, (_, amounts) in enumerate(tried, own)
            for amount in amounts
        ]
        total += one.into @ (np.stack(heights, axis=1) - stands.min(axis=1)[:, None])
    return total


def _least(stands: npt.NDArray[np.float32], home: Complexes, away: Complexes) -> npt.NDArray[np.float32]:
    """How deep the deepest goes at each point with a wave besides."""
    here = np.stack((home.real, -home.imag), axis=1).astype(np.float32)
    there = np.stack((away.real, away.imag)).astype(np.float32)
    wave = here @ there
    wave += stands
    return np.asarray(wave.min(axis=1))
