"""What records of a gear say of the machine that cut it: parts at fault, how to prove it, what mending is worth."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
from handlead.kinematics.flank_cutting.flank_passages import active_rolls
from handlead.kinematics.inspection.choosing import CHANCE
from handlead.kinematics.inspection.deepest import REPEATS
from handlead.kinematics.inspection.passage import Floats
from handlead.machines.at_fault.doubtful import Doubtful, doubtful_in
from handlead.machines.at_fault.finding import FoundWave, Inspection, PartAtFault
from handlead.machines.at_fault.looks import sides_of
from handlead.machines.blanks.flanks import Flanks
from handlead.machines.gear_records.exchange import read_records
from handlead.machines.gear_records.records import Record
from handlead.machines.job_files.job_file import Job
from handlead.machines.judging.checks import judge_set_up
from handlead.machines.setups.case import Case, face_width_mm
from handlead.machines.setups.findings import Finding
from handlead.machines.toml.errors import Complaint, HandleadError
from handlead.machines.toml.units import length

from .first_tooth import LaidFrom, LaidTogether, inspect_together
from .next_record import ROUND, RecordChoice, next_records
from .trying import Confirmation, confirmations_of
from .words import (
    candidates,
    is_far_fetched,
    on_flank_um,
    part_name,
    record_name,
    size_told,
    turns_told,
    where_told,
)
from .worth import Reached, Worth, worth_of

#: So many times the length that a gear has, a trace may have.
_OVER = 1.2


class NotInspected(HandleadError, ValueError):
    """Records that can't be held against the set-up: nothing of it cuts such flanks, or there is too little of them."""


@dataclass(frozen=True, repr=False)
class InspectedGear:
    """Records of a gear held against the set-up that cut it: `inspection` is the fit, `left_out` what wasn't read.

    `laid` says of records that weren't counted from the marked tooth, by their number, where they lie.
    """

    case: Case
    records: tuple[Record, ...]
    inspection: Inspection
    left_out: tuple[Complaint, ...] = ()
    laid: tuple[tuple[int, LaidFrom], ...] = ()

    def __repr__(self) -> str:
        return f"<InspectedGear: {len(self.records)} records of {self.case.job.title!r}, {self.verdict}>"

    @property
    def is_explained(self) -> bool:
        """Whether a part was found for what stands above the noise."""
        return bool(self.inspection.waves)

    @property
    def verdict(self) -> str:
        """The answer in a word or two."""
        return "explained" if self.is_explained else "not explained"

    @cached_property
    def against_set_up(self) -> tuple[Finding, ...]:
        """What is wrong with the set-up as the job has it: a gear that is right wasn't cut with that."""
        return tuple(one for one in judge_set_up(self.case) if one.severity == "error")

    def not_read(self, number: int) -> tuple[int, int] | None:
        """First and last tooth of a quarter of the gear or more that a record round it leaves out; None for none.

        And of those beyond its last tooth, where it ends earlier than its own gaps let it: of a gear with fewer teeth.
        """
        record, teeth = self.records[number], self.case.job.work.teeth
        if record.kind not in ROUND:
            return None
        read = np.unique(record.readings.tooth.astype(int))
        gaps = np.diff(np.append(read, read[0] + teeth))
        at = int(gaps.argmax())
        if record.marked and gaps[-1] > max(gaps[:-1], default=0):
            at = len(gaps) - 1
        elif gaps[at] <= teeth / 4:
            return None
        return int(read[at] % teeth + 1), int((read[at] + gaps[at] - 2) % teeth + 1)

    def doubtful(self, number: int) -> Doubtful | None:
        """A reading of a record that no part explains and no noise, or a jump from one to the next."""
        return doubtful_in(self.records[number], self.inspection.records[number].left)

    def beside_gear(self, number: int) -> str | None:
        """What of a trace's places doesn't go with this gear, in words; None where all does."""
        record, units = self.records[number], self.case.job.units
        low, high = float(record.readings.height.min()), float(record.readings.height.max())
        if abs(record.at_height) > _OVER * face_width_mm(self.case.job.work) / 2:
            return f"{length(abs(record.at_height), units, 1)} from mid-face, off its face"
        if record.kind == "helix" and high - low > _OVER * face_width_mm(self.case.job.work):
            return f"over {length(high - low, units, 1)}, wider than its face"
        if record.kind != "profile":
            return None
        first, last = rolls_mm(self.case)
        beyond = (_OVER - 1) * (last - first)
        if first - beyond <= low and high <= last + beyond:
            return None
        told = [length(each, units, 1) for each in (low, high, first, last)]
        return f"from {told[0]} to {told[1]} of roll, its flank goes from {told[2]} to {told[3]} off the base circle"

    @cached_property
    def worth(self) -> Worth:
        """The class as measured, and without each part's wave."""
        return worth_of(self.inspection, self.records, Flanks.of(self.case).gear)

    def parts(self, wave: FoundWave) -> tuple[PartAtFault, ...]:
        """The parts of a wave that can't be told apart, those first that need least out of the ordinary."""
        return candidates(self.case, wave)[0]

    def rivals(self, wave: FoundWave) -> tuple[PartAtFault, ...]:
        """Parts that would do nearly as well in their place, likewise."""
        return candidates(self.case, wave)[1]

    def likely(self, wave: FoundWave) -> tuple[PartAtFault, ...]:
        """The first of its parts, and those others, rivals too, that needn't be worse than is met with."""
        first, *others = (*self.parts(wave), *self.rivals(wave))
        return (first, *(one for one in others if not is_far_fetched(self.case, one)))

    def confirmations(self, wave: FoundWave) -> tuple[Confirmation, ...]:
        """How to prove the first of its parts, and how to tell it from the others that are likely."""
        return confirmations_of(self.case, self.likely(wave))

    def measure_next(self, wave: FoundWave) -> str | None:
        """What to measure besides, to tell its likely parts apart; None where there is one, or nothing does."""
        return ", and ".join(one.words for one in self._next(wave)) or None

    def records_next(self, wave: FoundWave) -> tuple[Record, ...]:
        """The same as the records that it makes, their readings not filled in; none where it is more of one at hand."""
        return tuple(record for one in self._next(wave) for record in one.records)

    def _next(self, wave: FoundWave) -> tuple[RecordChoice, ...]:
        likely = self.likely(wave)
        noise = [one.left_um for one in self.inspection.records]
        return next_records(self.case, self.records, likely, noise) if len(likely) > 1 else ()

    def shown(self, wave: FoundWave, number: int) -> Floats:
        """What a wave leaves at each reading of a record, in µm, beside what is taken for its zeros and slope."""
        return self._level(wave.at_readings[number], number)

    def marks_shown(self, number: int) -> Floats:
        """What feed marks and facets make of each reading, as much as the feeler shows of them, likewise."""
        return self._level(self.inspection.records[number].marks, number)

    def _level(self, values: Sequence[float], number: int) -> Floats:
        basis, _ = np.linalg.qr(self.records[number].readings.plain())
        um = np.array(values)
        return np.asarray(um - basis @ (basis.T @ um))

    def smallest_um(self, number: int) -> float:
        """The wave, about, that wouldn't stand out of this record alone, beside what is left in it."""
        from scipy.special import fdtri

        readings = self.records[number].readings
        # A dial that is read coarsely leaves so much even where it says the same all round; no checker repeats better.
        coarse = self.records[number].read_to_um / math.sqrt(12)
        left = max(self.inspection.records[number].left_um, coarse, REPEATS)
        free = max(len(readings.um) - readings.plain().shape[1] - 2 * len(self.inspection.waves) - 2, 2)
        needed = float(fdtri(2, free, 1 - CHANCE / max(self.inspection.tried, 1)))
        return left * math.sqrt(4 * needed / len(readings.um))

    @property
    def smallest_together_um(self) -> dict[str, float]:
        """The same of all records together: "round" the gear, and of each other kind."""
        alone: dict[str, list[float]] = {}
        for number, record in enumerate(self.records):
            kind = "round the gear" if record.kind in ROUND else f"in {record.kind}"
            alone.setdefault(kind, []).append(self.smallest_um(number))
        return {
            kind: float(sum(um**-2 for um in some if um) ** -0.5) for kind, some in alone.items() if any(some)
        }

    def as_json(self) -> dict[str, Any]:
        """The answer as one JSON object of the contract."""
        return {
            "job": self.case.job.path,
            "verdict": self.verdict,
            "set_up_as_written": {"as_wanted": not self.against_set_up},
            "records": [self._record_json(number) for number in range(len(self.records))],
            "waves": [self._wave_json(wave) for wave in self.inspection.waves],
            "not_shown": [
                {"part": part_name(self.case, one.part), "per_table_turn": str(one.order), "why": one.why}
                for one in self.inspection.unseen
            ],
            "classes": self._classes_json(),
            "left_out": [one.as_json() for one in self.left_out],
        }

    def _record_json(self, number: int) -> dict[str, Any]:
        record, fitted = self.records[number], self.inspection.records[number]
        return {
            "file": record.path,
            "date": record.date or None,
            "quantity": record.kind,
            "flank": record.flank or None,
            "counted": record.counted,
            "height_mm": record.at_height,
            "first_tooth_marked": record.marked,
            "laid_on_tooth": laid.first if (laid := dict(self.laid).get(number)) else None,
            "readings": len(record.readings.um),
            "before_um": fitted.before_um,
            "left_um": fitted.left_um,
            "slope_um_per_mm": fitted.slope_um_per_mm,
            "smallest_um": self.smallest_um(number),
            "doubtful": self._doubtful_json(number),
        }

    def _doubtful_json(self, number: int) -> dict[str, Any] | None:
        if (one := self.doubtful(number)) is None:
            return None
        tooth = self.records[number].readings.tooth
        after = None if one.after is None else float(tooth[one.after])
        return {"reading": one.at + 1, "tooth": float(tooth[one.at]), "jumps_after_tooth": after, "um": one.um}

    def _wave_json(self, wave: FoundWave) -> dict[str, Any]:
        parts = self.parts(wave)
        return {
            "um": on_flank_um(parts[0]),
            "standard_error_um": on_flank_um(parts[0]) * parts[0].error / max(parts[0].size, 1e-300),
            "chance": wave.chance,
            "certain": wave.is_certain,
            "parts": [self._part_json(one) for one in parts],
            "rivals": [self._part_json(one) for one in self.rivals(wave)],
            "measure_next": self.measure_next(wave),
            "in_records_um": list(wave.in_records),
            "to_prove": [
                {
                    "do": one.do,
                    "then": one.then,
                    "step": None if one.step is None else one.step.as_json(),
                    "per_table_turn": None if one.order is None else str(one.order),
                    "um": one.um,
                }
                for one in self.confirmations(wave)
            ],
        }

    def _part_json(self, one: PartAtFault) -> dict[str, Any]:
        return {
            "name": part_name(self.case, one.part),
            "kind": one.part.fault.kind,
            "link": one.part.fault.link,
            "per_table_turn": str(one.order),
            "comes": turns_told(self.case, one.order),
            "where": where_told(self.case, one.part),
            "unit": one.unit,
            "size": one.size,
            "standard_error": one.error,
            "words": size_told(self.case, one),
        }

    def _classes_json(self) -> dict[str, Any]:
        def plain(one: Reached) -> dict[str, Any]:
            return {"class": one.quality, "held_by": one.by, "um": one.um}

        return {
            "measured": plain(self.worth.measured),
            "without": [plain(one) for one in self.worth.without],
            "without_all": plain(self.worth.without_all),
            "mend_first": self.worth.first,
        }


def rolls_mm(case: Case) -> tuple[float, float]:
    """The lengths of roll between which the hob makes the flank. Raises `NotCut` where the work has no such flanks."""
    cut = sides_of(Flanks.of(case))[1].cut
    first, last = (roll * cut.flank.base_radius for roll in active_rolls(cut))
    return first, last


def inspect(job: Job, *records: str | Path | Record, counted: str = "") -> InspectedGear:
    """Find the parts of the job's machine that left what the records of its gear show; records are files or read ones.

    `counted` is the way of counting for XML files that don't say it. Raises `NoSetup` for a job without a set-up,
    `FileFault` with what is wrong with the files, `NotInspected` where nothing can be made of them.
    """
    case = Case.of(job)
    files = read_records([one for one in records if not isinstance(one, Record)], job.work.teeth, counted)
    some = (*files.records, *(one for one in records if isinstance(one, Record)))
    found = _fitted(case, some)
    return InspectedGear(case, found.records, found.inspection, files.left_out, tuple(found.laid.items()))


def _fitted(case: Case, records: Sequence[Record]) -> LaidTogether:
    from handlead.machines.blanks.witness import NotCut

    if not records:
        raise NotInspected("there is no record to look at")
    try:
        return inspect_together(case, records)
    except NotCut as why:
        raise NotInspected(f"the set-up cuts nothing to hold records against: {why}") from why
    except ValueError as why:
        named = ", ".join(dict.fromkeys(f"{one.path} ({record_name(one, case.job.units)})" for one in records))
        wrong = next((one.message for one in judge_set_up(case) if one.severity == "error"), None)
        also = f". The job's set-up isn't as wanted: {wrong} Was the gear cut with it?" if wrong else ""
        raise NotInspected(f"{named}: {why}{also}") from why
