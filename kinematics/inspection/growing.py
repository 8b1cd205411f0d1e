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
_FEW = 180

#: Times that starts are drawn closer, and how many of them are followed on, by rounds.
_ROUNDS = ((3, 6), (5, 3))

#: Ends are one and the same where their sizes differ by less than about one in so many of twice as much.
_ALIKE = 4

#: Sources of each sort that are begun with.
_SMALL, _LINEAR, _BIG = 3, 2, 4

#: Sizes in what is left (r.m.s.) and phases in which big ones are tried, and by how much the fit may then still change
#: the size.
_SIZES, _PHASES, _SCALED = (1.6, 4.0), 6, (0.4, 2.5)

#: What is left, r.m.s. in µm, below which nothing big is looked for.
_LITTLE = 0.5

#: A wave may be big where from contact to contact it changes by more than this share of what the next stands off.
_BIG_SHARE = 0.25

#: Seams about a set's own at which big ones are tried, and all over, so many by gashes and by turns.
_ABOUT: tuple[Seam, ...] = ((0.0, 0.0), (1 / 3, 0.0), (2 / 3, 0.0))
_ALL = (3, 4)

#: Starts from which a source that stands is begun again.
_AGAIN = 6

#: Starts all over for several big ones together, by what shares of their sizes, and primes whose roots are the steps.
_ALL_OVER, _SMALLEST, _LARGEST = 32, 0.3, 2.0
_PRIMES = (2, 3, 5, 7, 11, 13, 17, 19, 23, 29, 31, 37, 41, 43)


@dataclass(frozen=True)
class Start:
    """A source to begin with beside a set: the squares that it promises to leave, its number, amount, and the seam."""

    left: float
    source: int
    seam: Seam
    amount: complex


def grown(deep: Deepest, tried: SetsTried, barred: Sequence[int] = ()) -> list[Deepest]:
    """Sets of one source more, none of the barred ones, drawn closer, the best first."""
    coarse, closed = deep.thinned(_FEW), {*deep.members, *barred}
    seams = _about(deep.seam) if deep.members else _all_seams()
    starts = [*_small_ones(coarse, closed), *_linear(coarse, tried, closed), *_begun(coarse, seams, closed)[:_BIG]]
    return drawn(starts, deep.laid)


def grown_widely(deep: Deepest) -> list[Deepest]:
    """Sets of one big source more, begun with at seams all over: marks may have led the set to a wrong one."""
    coarse = deep.thinned(_FEW)
    return drawn(_begun(coarse, _all_seams(), set(deep.members))[: 2 * _BIG], deep.laid)


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
    """The same sources, those that are big begun again at other seams, sizes and phases.

    Other passages cut deepest then, and records may bear that out as well.
    """
    gains = [deep.laid.sources[one].gain for one in deep.members]
    sizes = zip(deep.members, gains, deep.amounts, strict=True)
    big = [one for one, gain, amount in sizes if is_big(deep, one, gain * abs(amount))]
    coarse = deep.thinned(_FEW)
    found = [one for member in big for one in _anew(coarse, member)]
    return drawn([*found, *_scattered(coarse, big)] if len(big) > 1 else found, deep.laid)


def _anew(coarse: Deepest, member: int) -> list[Deepest]:
    """Starts with a member begun again beside the others."""
    others = set(range(len(coarse.laid.sources))) - {member}
    return _begun(coarse.without((member,)), _all_seams(), others, twice=True)[:_AGAIN]


def _scattered(coarse: Deepest, big: Sequence[int]) -> Iterator[Deepest]:
    """Starts all over: seams, and sizes and phases of the big ones, by multiples of irrational numbers."""
    at = [coarse.members.index(one) for one in big]
    steps = np.sqrt(_PRIMES[: 2 + 2 * len(at)])
    for number in range(1, _ALL_OVER + 1):
        place = number * steps % 1
        amounts = coarse.amounts.copy()
        amounts[at] *= _SMALLEST * (_LARGEST / _SMALLEST) ** place[2 : 2 + len(at)]
        amounts[at] *= np.exp(2j * np.pi * place[2 + len(at) :])
        yield replace(coarse, seam=(float(place[0]), float(place[1])), amounts=amounts)


def _small_ones(coarse: Deepest, closed: set[int]) -> list[Deepest]:
    promise, amounts = coarse.promises()
    most = np.array([one.most for one in coarse.laid.sources])
    some = [int(at) for at in np.argsort(-promise) if int(at) not in closed and abs(amounts[at]) <= most[at]]
    return [coarse.beside(at, complex(amounts[at])) for at in some[:_SMALL]]


def _begun(coarse: Deepest, seams: Sequence[Seam], closed: set[int], *, twice: bool = False) -> list[Deepest]:
    """Big sources begun with beside the set at these seams, the most promising first: one of each at a turn's part."""
    best: dict[tuple[int, object], Start] = {}
    for seam in seams:
        for start in _big_ones(replace(coarse, seam=seam), closed):
            key: tuple[int, object] = (start.source, seam if twice else seam[1])
            best[key] = min(best.get(key, start), start, key=lambda one: one.left)
    starts = sorted(best.values(), key=lambda one: one.left)
    return [replace(coarse, seam=one.seam).beside(one.source, one.amount) for one in starts]


def two_more(deep: Deepest, tried: SetsTried) -> list[Deepest]:
    """Starts with two small sources more."""
    return list(_linear(deep.thinned(_FEW), tried, set(deep.members), 2))


def _linear(coarse: Deepest, tried: SetsTried, closed: set[int], more: int = 1) -> Iterator[Deepest]:
    """The sets of so many more that did best at any seam as if all waves were small."""
    size = len(coarse.members) + more
    if size > tried.size:
        return
    members = set(coarse.members)
    fitting = (one for one in sorted(tried.found[size].values()) if members <= set(one.members))
    free = (one for one in fitting if not (set(one.members) - members) & closed)
    for one, _ in zip(free, range(_LINEAR), strict=False):
        yield replace(coarse, members=one.members, seam=one.seam, amounts=np.zeros(size, dtype=complex), shown=())


def _about(seam: Seam) -> list[Seam]:
    return [(seam[0] + gash, seam[1] + turn) for gash, turn in _ABOUT]


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


def is_big(deep: Deepest, at: int, um: float, share: float = _BIG_SHARE) -> bool:
    """Whether so many µm of a source on the flank have other passages cut deepest than would otherwise.

    They change from contact to contact by more than this share of what the next stands off.
    """
    order = float(deep.laid.sources[at].order)
    for one in deep.pooled.flanks:
        flank = one.feel.flank
        changes = um * np.abs(np.exp(2j * np.pi * order * flank.turns_a_step) - 1)
        if np.any(changes > share * np.diag(flank.metric)):
            return True
    return False


def _leaves(deep: Deepest, tried: Sequence[tuple[int, Complexes]]) -> Floats:
    """What each amount that is tried leaves at the readings, more than the set does by itself."""
    sources = [deep.laid.sources[at] for at in deep.members] + [deep.laid.sources[at] for at, _ in tried]
    orders = 2j * np.pi * np.array([float(one.order) for one in sources])
    own, total = len(deep.members), np.zeros((len(deep.pooled.um), sum(len(amounts) for _, amounts in tried)))
    most = np.array([*np.abs(deep.amounts), *(float(np.abs(amounts).max()) for _, amounts in tried)])
    for one in deep.pooled.flanks:
        gains = one.feel.gains(sources)
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
        more = np.stack(heights, axis=1) - stands.min(axis=1)[:, None]
        total += deep.of_cell[:, None] * (one.waves_in @ more) + deep.of_place[:, None] * (one.place_in @ more)
    return total


def _least(stands: npt.NDArray[np.float32], home: Complexes, away: Complexes) -> npt.NDArray[np.float32]:
    """How deep the deepest goes at each point with a wave besides."""
    here = np.stack((home.real, -home.imag), axis=1).astype(np.float32)
    there = np.stack((away.real, away.imag)).astype(np.float32)
    wave = here @ there
    wave += stands
    return np.asarray(wave.min(axis=1))
