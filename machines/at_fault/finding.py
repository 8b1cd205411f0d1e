"""The parts of a set-up that left what records of its gear show: the fit, told by the parts' names and sizes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from handlead.kinematics.inspection.fit import FittedSource, WavesFitted, fit_sources
from handlead.kinematics.inspection.looked import Looked
from handlead.machines.blanks.flanks import Flanks
from handlead.machines.gear_records.records import Record
from handlead.machines.setups.case import Case
from handlead.machines.studying.waves import CutShape

from .looks import looked_at, sides_of
from .parts import TurningPart, suspects_of
from .sizes import sizes_of


@dataclass(frozen=True)
class PartAtFault:
    """A part that may have left a wave: its name, waves in a turn of the table, and how big its fault must be.

    `size` and its standard error (twice it holds 95 of 100) are in the part's `unit`: "deg" of the driven part of its
    link to either side, "mm" of its slide to either side, "dial mm" as a dial reads over a turn. `part` is what one
    unit of it leaves.
    """

    name: str
    order: Fraction
    unit: str
    size: float
    error: float
    part: TurningPart


@dataclass(frozen=True)
class FoundWave:
    """A wave found: the parts that these records can't tell apart, those that would do nearly as well, and its size.

    `um` and `error_um` are its amplitude on the flank, along the base tangent, where it is bigger; `in_records` the
    most that it leaves at any reading of each record beside zeros and slope, `at_readings` all that it leaves at each.
    `amount` is that of the first part, with where in its wave it stands as the first tooth is cut at mid-face.
    """

    parts: tuple[PartAtFault, ...]
    rivals: tuple[PartAtFault, ...]
    um: float
    error_um: float
    chance: float
    in_records: tuple[float, ...]
    at_readings: tuple[tuple[float, ...], ...]
    amount: complex = 0j

    @property
    def is_certain(self) -> bool:
        """Whether one part, and no other, may have left it."""
        return len(self.parts) == 1 and not self.rivals


@dataclass(frozen=True)
class RecordFitted:
    """One record after the fit: r.m.s. before and left, slope (µm a mm), and by reading what is left, and marks."""

    path: str
    kind: str
    flank: str
    before_um: float
    left_um: float
    slope_um_per_mm: float | None
    left: tuple[float, ...]
    marks: tuple[float, ...]


@dataclass(frozen=True)
class NotShown:
    """A part that these records can't show, and why."""

    name: str
    order: Fraction
    why: str
    part: TurningPart


@dataclass(frozen=True)
class Inspection:
    """What was found on a gear: waves, biggest first, the records, the parts not shown, and how many were tried."""

    waves: tuple[FoundWave, ...]
    records: tuple[RecordFitted, ...]
    unseen: tuple[NotShown, ...]
    tried: int


def inspect_gear(case: Case, records: Sequence[Record]) -> Inspection:
    """Find the parts that left what the records of one gear show, all records together.

    Raises `NotCut` where the set-up cuts no involute flanks, `ValueError` for records too short to judge a wave by.
    """
    flanks = Flanks.of(case)
    assert case.rates is not None
    shape = CutShape.of(flanks.gear, case.rates, flanks.setting.hob)
    parts = suspects_of(case, shape)
    where = sides_of(flanks)
    looked = [looked_at(one, where) for one in records]
    fitted = fit_sources(looked, [part.source for part in parts])
    return Inspection(
        tuple(_wave(parts, looked, one) for one in fitted.found),
        tuple(_record(records, fitted, at) for at in range(len(records))),
        tuple(
            NotShown(parts[at].name, parts[at].order, _why(parts[at], records, shape), parts[at])
            for at in fitted.unseen
        ),
        fitted.tried,
    )


def _wave(parts: Sequence[TurningPart], looked: Sequence[Looked], found: FittedSource) -> FoundWave:
    amount, error = abs(found.amount), found.error
    every = (*found.sources, *found.rivals)
    sizes = dict(zip(every, sizes_of(looked, [parts[at].source for at in every], found.um), strict=True))
    first = found.sources[0]

    def at_fault(at: int) -> PartAtFault:
        one, share = parts[at], sizes[at] / max(sizes[first], 1e-300)
        return PartAtFault(one.name, one.order, one.unit, amount * share, error * share, one)

    on_flank = parts[first].on_flank
    return FoundWave(
        tuple(map(at_fault, found.sources)), tuple(map(at_fault, found.rivals)), amount * on_flank, error * on_flank,
        found.chance, tuple(map(_most, looked, found.um)), found.um, found.amount,
    )  # fmt: skip


def _most(looked: Looked, um: Sequence[float]) -> float:
    return float(np.abs(looked.leveled(np.array(um))).max())


def _record(records: Sequence[Record], fitted: WavesFitted, at: int) -> RecordFitted:
    one = records[at]
    return RecordFitted(
        one.path, one.kind, one.flank, fitted.before_um[at], fitted.left_um[at], fitted.slope_um_per_mm[at],
        fitted.left[at], fitted.marks[at],
    )  # fmt: skip


def _why(part: TurningPart, records: Sequence[Record], shape: CutShape) -> str:
    kinds = {one.kind for one in records}
    round_gear = {"pitch single", "pitch cumulative", "runout"}
    if part.order % shape.teeth == 0 and kinds <= round_gear:
        return "it comes alike with every tooth: pitch and runout don't show it, a helix or profile may"
    if abs(part.right + part.left) < 1e-3 * abs(part.right) and kinds <= {"pitch single", "pitch cumulative"}:
        return "it moves the teeth in and out alone"
    return "what it leaves is taken for the zero or the slope of these records"
