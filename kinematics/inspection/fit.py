"""Which waves of exactly known orders stand in the records of a gear, how big they are, and what can't be told apart.

All records are laid together. A source is taken only where the F-test of its two amounts, its chance multiplied by the
number of sources and of seams that were tried (Bonferroni's bound), leaves at most 1 in 100. Source: common practice in
statistics; seam, search and rivals are own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .choosing import MOST, Choices, SourceSet, chosen
from .laid import Laid, WaveSource
from .passage import Floats, Passage
from .readings import Readings

#: Times that the records' weights are drawn from what was left in each.
_WEIGHINGS = 3

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

    `left` is what is left at every reading. `before_um` and `left_um` are root mean squares.
    """

    found: tuple[FittedSource, ...]
    unseen: tuple[int, ...]
    tried: int
    before_um: tuple[float, ...]
    left_um: tuple[float, ...]
    slope_um_per_mm: tuple[float | None, ...]
    left: tuple[tuple[float, ...], ...]


def fit_sources(
    readings: Sequence[Readings], passages: Sequence[Passage], sources: Sequence[WaveSource]
) -> WavesFitted:
    """Find which of the sources stand in the records of one gear, and how big they are.

    Raises `ValueError` for fewer readings than it takes to judge one wave.
    """
    for one in readings:
        if len(one.um) < one.plain().shape[1] + 2:
            raise ValueError(f"{len(one.um)} readings are too few to tell a wave from noise")
    laid = Laid(tuple(readings), tuple(passages), tuple(sources), (1.0,) * len(readings))
    if laid.free < 4:
        raise ValueError(f"{laid.um.size} readings are too few to tell a wave from noise")
    groups, unseen = laid.clusters
    heads = [one[0] for one in groups]
    if not heads:
        return _told(laid, groups, unseen, None, SourceSet(0.0, 0.0, ()), {})
    most = min(MOST, len(heads), (laid.free - 2) // 2)
    for _ in range(_WEIGHINGS):
        choices = Choices(laid.only(heads), most)
        choice, chances = chosen(choices)
        weights = _weights(choices.laid, choice)
        if len(readings) == 1 or np.allclose(weights, laid.weights, rtol=0.05):
            break
        laid = Laid(laid.readings, laid.passages, laid.sources, weights)
    return _told(laid, groups, unseen, choices, choice, chances)


def _weights(laid: Laid, choice: SourceSet) -> tuple[float, ...]:
    """One over what is left in each record, the middle of them as 1."""
    left = _split(laid, laid.um - _laid_through(laid, choice)[1])
    spread = []
    for one, weight, rest in zip(laid.readings, laid.weights, left, strict=True):
        free = max(len(one.um) - one.plain().shape[1] - 2 * len(choice.members) / len(left), 1)
        spread.append(np.sqrt(float(rest @ rest) / free) / weight)
    largest = max(max(spread), 1e-9)
    # One that happens to fit all through isn't worth more than a hundred others.
    return tuple(float(largest / max(one, 0.1 * largest)) for one in spread)


def _laid_through(laid: Laid, choice: SourceSet) -> tuple[Floats, Floats]:
    """The amounts of a set's members, two numbers each, and what they make at the readings."""
    if not choice.members:
        return np.zeros(0), np.zeros(laid.um.size)
    columns = laid.only(choice.members).columns(choice.seam)
    found, *_ = np.linalg.lstsq(columns, laid.um, rcond=None)
    return np.asarray(found), np.asarray(columns @ found)


def _split(laid: Laid, values: Floats) -> list[Floats]:
    return np.split(values, np.cumsum([len(one.um) for one in laid.readings])[:-1])


def _told(
    laid: Laid, groups: Sequence[tuple[int, ...]], unseen: tuple[int, ...], choices: Choices | None,
    choice: SourceSet, chances: dict[int, float],
) -> WavesFitted:  # fmt: skip
    heads = laid.only([one[0] for one in groups])
    amounts, made = _laid_through(heads, choice)
    left = laid.um - made
    rivals = _rivals(choices, choice) if choices else {}
    found = [
        FittedSource(
            groups[member], complex(amounts[2 * at], amounts[2 * at + 1]), error, chances[member],
            tuple(other for head in rivals[member] for other in groups[head]),
            _um(heads, choice, member, complex(amounts[2 * at], amounts[2 * at + 1])),
        )
        for at, (member, error) in enumerate(zip(choice.members, _errors(heads, choice, amounts, left), strict=True))
    ]  # fmt: skip
    rest = [one / weight for one, weight in zip(_split(laid, left), laid.weights, strict=True)]
    before = [one / weight for one, weight in zip(_split(laid, laid.um), laid.weights, strict=True)]
    return WavesFitted(
        tuple(sorted(found, key=lambda one: -max(_rms(um) for um in one.um))), unseen, len(groups),
        tuple(map(_rms, before)), tuple(map(_rms, rest)), _slopes(heads, found),
        tuple(tuple(map(float, one)) for one in rest),
    )  # fmt: skip


def _rms(values: Floats | Sequence[float]) -> float:
    return float(np.sqrt(np.mean(np.square(values))))


def _um(laid: Laid, choice: SourceSet, member: int, amount: complex) -> tuple[tuple[float, ...], ...]:
    values = _split(laid, (laid.only([member]).waves(choice.seam)[:, 0] * amount).real)
    return tuple(tuple(map(float, one / weight)) for one, weight in zip(values, laid.weights, strict=True))


def _errors(laid: Laid, choice: SourceSet, amounts: Floats, left: Floats) -> list[float]:
    """Half of what holds the amount of each member in 95 of 100, all laid together."""
    from scipy.special import stdtrit

    if not choice.members:
        return []
    columns = laid.only(choice.members).columns(choice.seam)
    free = max(laid.free - columns.shape[1], 1)
    spread = np.linalg.pinv(columns.T @ columns) * float(left @ left) / free
    errors = []
    for at in range(0, len(amounts), 2):
        pair = amounts[at : at + 2]
        toward = pair / max(float(np.hypot(*pair)), 1e-300)
        errors.append(float(np.sqrt(toward @ spread[at : at + 2, at : at + 2] @ toward) * stdtrit(free, 0.975) / 2))
    return errors


def _rivals(choices: Choices, choice: SourceSet) -> dict[int, tuple[int, ...]]:
    """For each member the sources that stand in its place in sets that are hardly worse."""
    from scipy.special import fdtri

    free = choices.laid.free - 2 * len(choice.members)
    allowed = choice.left * (1 + 2 * float(fdtri(2, max(free, 1), 1 - _WORSE)) / max(free, 1)) + 1e-12
    sets = {one.members for one in choices.found[len(choice.members)].values() if one.left <= allowed}
    others = range(choices.count)
    for member in choice.members:
        rest = tuple(one for one in choice.members if one != member)
        swapped = [tuple(sorted((*rest, one))) for one in others if one not in choice.members]
        for seam in (choice.seam, *choices.seams):
            sets |= {one.members for one in choices.at(seam, swapped) if one.left <= allowed}
    found = {}
    for member in choice.members:
        without = (one for one in sets if member not in one)
        found[member] = tuple(sorted({one for each in without for one in each if one not in choice.members}))
    return found


def _slopes(laid: Laid, found: Sequence[FittedSource]) -> tuple[float | None, ...]:
    """The slope over the face, or the flank, that each record with zeros by tooth has beside its waves."""
    slopes: list[float | None] = []
    for at, one in enumerate(laid.readings):
        if not one.by_tooth:
            slopes.append(None)
            continue
        rest = one.um - sum((np.array(each.um[at]) for each in found), np.zeros(len(one.um)))
        slopes.append(float(np.linalg.lstsq(one.plain(), rest, rcond=None)[0][-1]))
    return tuple(slopes)
