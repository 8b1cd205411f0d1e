"""Which waves of exactly known orders stand in the records of a gear, how big they are, and what can't be told apart.

All records are laid together. A source is taken only where the F-test of its two amounts, its chance multiplied by
the number of sources that were tried (Bonferroni's bound), leaves at most 3 in 10,000; where passages lie to the first
tooth is fitted with the sources and without them. Source: common practice in statistics; seam, search and rivals are
own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .deepest import Deepest
from .laid import Laid
from .looked import Looked
from .passage import Floats, WaveSource
from .settling import Settled, settle

#: From this share of a wave on, of its error, others that come as often may have left it. Own choice.
_LOOSELY = 0.5

#: Chance that a set which is worse by so much is the right one all the same.
_WORSE = 0.01


@dataclass(frozen=True)
class FittedSource:
    """A source found: `sources` (numbers) that the records can't tell apart, its amount, standard error, the test.

    Twice the error holds 95 of 100. `rivals` are other sources that would do nearly as well in its place. `um` is what
    it leaves at every reading of every record.
    """

    sources: tuple[int, ...]
    amount: complex
    error: float
    chance: float
    rivals: tuple[int, ...]
    um: tuple[tuple[float, ...], ...]


@dataclass(frozen=True)
class WavesFitted:
    """All that was found: sources, biggest first, those that don't show, what is left (r.m.s.) and its slope by record.

    `left` is what is left at every reading, `marks` what shows there of the marks between contacts, which no part
    leaves. `before_um` and `left_um` are root mean squares.
    """

    found: tuple[FittedSource, ...]
    unseen: tuple[int, ...]
    tried: int
    before_um: tuple[float, ...]
    left_um: tuple[float, ...]
    slope_um_per_mm: tuple[float | None, ...]
    left: tuple[tuple[float, ...], ...]
    marks: tuple[tuple[float, ...], ...]


def fit_sources(records: Sequence[Looked], sources: Sequence[WaveSource]) -> WavesFitted:
    """Find which of the sources stand in the records of one gear, and how big they are.

    Raises `ValueError` for fewer readings than it takes to judge one wave.
    """
    laid = Laid(tuple(records), tuple(sources), (1.0,) * len(records))
    if laid.free < 4 or any(one.size < one.plain.shape[1] + 2 for one in records):
        raise ValueError(f"{min(one.size for one in records)} readings are too few to tell a wave from noise")
    groups, hidden = laid.clusters
    # The first of each speaks for all: the one that may leave most.
    groups = tuple(tuple(sorted(one, key=lambda at: -sources[at].largest)) for one in (*groups, *hidden))
    settled = settle(laid.only([one[0] for one in groups]), len(hidden))
    return _told(settled, groups, len(hidden), _rivals(settled))


def _rivals(settled: Settled) -> dict[int, tuple[int, ...]]:
    """For each member the sources that stand in its place in sets that are hardly worse."""
    from scipy.special import fdtri

    deep = settled.deep
    allowed = deep.squares * (1 + 2 * float(fdtri(2, deep.free, 1 - _WORSE)) / deep.free) + 1e-12
    sets = [set(other.members) for other in settled.others if other.squares <= allowed]
    own = set(deep.members)
    return {member: tuple(sorted(set().union(*(one - own for one in sets if member not in one)))) for member in own}


def _told(
    settled: Settled, groups: Sequence[tuple[int, ...]], hidden: int, rivals: dict[int, tuple[int, ...]]
) -> WavesFitted:
    found_too = {one for member in settled.deep.members for one in groups[member]}
    unseen = tuple(sorted({one for group in groups[len(groups) - hidden :] for one in group} - found_too))
    deep, chances = settled.closely, settled.chances
    errors, before = deep.errors(settled.ends), [one.level for one in deep.laid.records]
    found = [
        FittedSource(
            groups[member], complex(deep.amounts[at]), errors[at], chances[member],
            tuple(other for head in sorted(instead) for other in groups[head]), deep.um(at),
        )
        for at, member in enumerate(deep.members)
        for instead in [{*rivals[member], *_as_often(deep, at, errors[at])}]
    ]  # fmt: skip
    return WavesFitted(
        tuple(sorted(found, key=lambda one: -_most(deep, one))), unseen,
        len(groups) - hidden, tuple(map(_rms, before)), tuple(map(_rms, deep.left)), _slopes(deep, found),
        tuple(tuple(map(float, one)) for one in deep.left), tuple(tuple(map(float, one)) for one in deep.marks),
    )  # fmt: skip


def _most(deep: Deepest, one: FittedSource) -> float:
    """The r.m.s. of a wave where it is biggest. Beside the zeros: passages that cut deeper move all alike."""
    records = deep.laid.records
    return max(_rms(each.leveled(np.array(um))) for each, um in zip(records, one.um, strict=True))


def _as_often(deep: Deepest, at: int, error: float) -> set[int]:
    """Sources that come as often as a member whose size is hardly told: what it is, is told no better."""
    if error < _LOOSELY * abs(deep.amounts[at]):
        return set()
    sources = deep.laid.sources
    order = sources[deep.members[at]].order
    return {head for head, one in enumerate(sources) if one.order == order and head not in deep.members}


def _rms(values: Floats | tuple[float, ...]) -> float:
    return float(np.sqrt(np.mean(np.asarray(values) ** 2)))


def _slopes(deep: Deepest, found: Sequence[FittedSource]) -> tuple[float | None, ...]:
    """The slope over the face, or the flank, that each record with zeros by tooth has beside its waves."""
    slopes: list[float | None] = []
    for at, record in enumerate(deep.laid.records):
        one = record.readings
        if not one.by_tooth:
            slopes.append(None)
            continue
        rest = one.um - sum((np.array(each.um[at]) for each in found), np.zeros(record.size))
        slopes.append(float(np.linalg.lstsq(one.plain(), rest, rcond=None)[0][-1]))
    return tuple(slopes)
