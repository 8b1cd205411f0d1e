"""Records whose first tooth isn't the marked one, turned by whole teeth to where they go with the others.

How often each part comes and how much it leaves is told by such a record as by any other; where its waves stand against
those of the others isn't. So it is laid once for each part that may have left the biggest wave of the others, where
that leaves least of it (least squares, own method); where several do about as well all together, none of them is sure.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from handlead.kinematics.inspection.choosing import seams
from handlead.kinematics.inspection.looked import Looked
from handlead.kinematics.inspection.passage import WaveSource
from handlead.machines.at_fault.finding import FoundWave, Inspection, inspect_gear
from handlead.machines.at_fault.looks import looked_at, sides_of
from handlead.machines.at_fault.parts import TurningPart
from handlead.machines.blanks.flanks import Flanks
from handlead.machines.gear_records.records import Record
from handlead.machines.setups.case import Case

#: Of the seams that the fit tries, about so many.
_SEAMS = 8

#: Parts of a tooth by which a transmission error is turned.
_A_TOOTH = 4

#: Squares of the noise by which another tooth, or another part, must do worse not to do nearly as well: what holds 95
#: of 100 of one unknown, and 99 of 100 of two (common practice in statistics).
_AS_WELL, _AS_LIKELY = 3.84, 9.21

#: Of the places that do best for one part, those at which all is fitted anew: the next tooth may be the right one.
_FITTED = 2

#: Ways in which records are laid that are followed, the best first.
_WAYS = 4


@dataclass(frozen=True)
class LaidFrom:
    """Where a record was laid: its first tooth on tooth `first` of the others; of `as_well` any does nearly as well.

    A transmission error begins anywhere, so that it may be a part of a tooth. With nothing found in the others that it
    could be laid by, `first` is None and it is left as it was counted.
    """

    first: float | None
    as_well: tuple[float, ...] = ()


@dataclass(frozen=True)
class LaidTogether:
    """Records counted from one first tooth, by number where those lie that weren't, and what was found in them."""

    records: tuple[Record, ...]
    laid: Mapping[int, LaidFrom]
    inspection: Inspection


def inspect_together(case: Case, records: Sequence[Record]) -> LaidTogether:
    """Find the parts that left what the records show, those that weren't counted from the marked tooth laid first.

    Where none was counted from it, all are from that of the one with the most readings. Raises as `inspect_gear`.
    """
    unknown = sorted(
        (at for at, one in enumerate(records) if not one.marked), key=lambda at: -len(records[at].readings.um)
    )
    known = {at: one for at, one in enumerate(records) if one.marked}
    if not known and unknown:
        first, *unknown = unknown
        known[first] = records[first]
    ways: list[tuple[dict[int, Record], dict[int, LaidFrom]]] = [(known, {})]
    for at in unknown:
        more = []
        for laid, told in ways:
            found = inspect_gear(case, [laid[one] for one in sorted(laid)])
            for squares, here in _laid(case, records[at], found):
                turned = records[at].turned((here.first or 1.0) - 1, case.job.work.teeth)
                more.append((squares, {**laid, at: turned}, {**told, at: here}))
        ways = [(laid, told) for _, laid, told in sorted(more, key=lambda one: one[0])[:_WAYS]]
    done = [
        LaidTogether(some := tuple(laid[at] for at in range(len(records))), told, inspect_gear(case, some))
        for laid, told in ways
    ]
    return _best_of(done)


def _best_of(done: Sequence[LaidTogether]) -> LaidTogether:
    """The way of laying records in which least is left; parts that others name which do as well are its rivals."""
    best = min(done, key=lambda one: _strays(one, done[0]))
    others = [one for one in done if one is not best and _strays(one, best) - _strays(best, best) <= _AS_LIKELY]
    rivals = [part for one in others for wave in one.inspection.waves for part in (*wave.parts, *wave.rivals)]

    def with_rivals(wave: FoundWave) -> FoundWave:
        have = {one.name for one in (*wave.parts, *wave.rivals)}
        more = {one.name: one for one in rivals if one.order == wave.parts[0].order and one.name not in have}
        return replace(wave, rivals=(*wave.rivals, *more.values()))

    waves = tuple(with_rivals(wave) for wave in best.inspection.waves)
    return replace(best, inspection=replace(best.inspection, waves=waves))


def _strays(one: LaidTogether, by: LaidTogether) -> float:
    """Squares that are left of all records, by what is left of each in another way of laying them."""
    return sum(
        len(record.readings.um) * (here.left_um / max(there.left_um, 1e-9)) ** 2
        for record, here, there in zip(one.records, one.inspection.records, by.inspection.records, strict=True)
    )


def _laid(case: Case, record: Record, found: Inspection) -> Iterator[tuple[float, LaidFrom]]:
    """Where a record may lie, once for each part that may have left the biggest wave, with the squares left of it."""
    if not found.waves:
        yield 0.0, LaidFrom(None)
        return
    teeth, sides = case.job.work.teeth, sides_of(Flanks.of(case))
    parts = _A_TOOTH if record.kind == "transmission error" else 1
    turns = [part / parts for part in range(teeth * parts)]
    looked = [looked_at(record.turned(by, teeth), sides) for by in turns]
    free = max(looked[0].size - looked[0].plain.shape[1] - 1, 1)
    # Where the others have their waves isn't surer than how big they are.
    unsure = max(2 * one.error_um / max(one.um, 1e-9) for one in found.waves)
    tried: set[float | None] = set()
    for waves in _waves(found):
        left, shown = np.array([_left(one, waves) for one in looked]).T
        best = int(left.argmin())
        well = np.flatnonzero(left <= left[best] * (1 + _AS_WELL / free) + unsure**2 * shown[best])
        # Where nothing that was found shows in it, it goes as well anywhere.
        likely = [best] if len(well) == len(turns) else np.argsort(left, kind="stable")[:_FITTED]
        for at in likely:
            as_well = tuple(turns[one] + 1 for one in well if one != at)
            here = LaidFrom(None) if len(well) == len(turns) else LaidFrom(turns[at] + 1, as_well)
            if here.first not in tried:
                tried.add(here.first)
                yield float(left[at]) / free, here


def _waves(found: Inspection) -> Iterator[list[tuple[WaveSource, complex]]]:
    """All waves that were found, the biggest by each part that may have left it."""
    first, *rest = found.waves
    others = [(one.parts[0].part.source, one.amount) for one in rest]
    for one in (*first.parts, *first.rivals):
        if one.order == first.parts[0].order:
            yield [(one.part.source, first.amount * _like(first.parts[0].part, one.part)), *others]


def _like(part: TurningPart, other: TurningPart) -> complex:
    """How much of another part leaves what one of a part does, on a flank that both move."""
    return part.right / other.right if other.right and part.right else part.left / other.left


def _left(looked: Looked, waves: Sequence[tuple[WaveSource, complex]]) -> tuple[float, float]:
    """Squares of a record that the waves found elsewhere leave, at the seam where they leave least, and their own."""
    sources, amounts = [one for one, _ in waves], np.array([amount for _, amount in waves])
    least, shown = np.inf, 0.0
    tried = seams(looked.size)
    for seam in tried[:: max(len(tried) // _SEAMS, 1)]:
        wave = looked.leveled((looked.made(sources, seam)[1] @ amounts).real)
        rest = looked.level - wave
        if (squares := float(rest @ rest)) < least:
            least, shown = squares, float(wave @ wave)
    return least, shown
