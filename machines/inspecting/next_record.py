"""What to measure next: the record that would tell parts apart that the records at hand can't."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from handlead.machines.blanks.flanks import Flanks
from handlead.machines.setups.case import Case
from handlead.machines.studying.waves import CutShape

from .finding import PartAtFault
from .parts import TurningPart
from .records import Record

#: Two parts of one order are told apart where what they leave in all records together goes less together than this.
_TOGETHER = 0.95

#: What can be measured besides, the easiest first: its words, kind, and flank.
_RECORDS = (
    ("the runout, with a ball in the spaces", "runout", ""),
    ("the pitch of the right flanks", "pitch cumulative", "right"),
    ("the pitch of the left flanks", "pitch cumulative", "left"),
)


def next_record(case: Case, records: Sequence[Record], parts: Sequence[PartAtFault]) -> str | None:
    """The easiest record, in words, that tells the first of these parts from the others; None where none does."""
    first, *others = parts
    alike = [one for one in others if one.order == first.order]
    if len(alike) < len(others):
        gaps = [one for one in records if one.kind in _ROUND and len(one.readings.um) < case.job.work.teeth]
        return "every tooth of it" if gaps else None
    flanks = Flanks.of(case)
    assert case.rates is not None
    shape = CutShape.of(flanks.gear, case.rates, flanks.setting.hob)

    def tells(kind: str, flank: str) -> bool:
        looked_at = [(one.kind, one.flank, one.counted) for one in records] + [
            (kind, flank, records[0].counted)
        ]
        pairs = [(first.part, one.part) for one in alike]
        return all(_together(shape, *pair, looked_at) < _TOGETHER for pair in pairs)

    measured = {(one.kind, one.flank) for one in records}
    return next(
        (words for words, kind, flank in _RECORDS if (kind, flank) not in measured and tells(kind, flank)),
        None,
    )


_ROUND = ("pitch single", "pitch cumulative", "runout")


def _together(
    shape: CutShape, one: TurningPart, other: TurningPart, looked_at: Sequence[tuple[str, str, str]]
) -> float:
    """1 where two parts leave one and the same in all of these records, but for its size."""
    left, right = (np.array([part.gain(shape, *each) for each in looked_at]) for part in (one, other))
    return float(abs(np.vdot(left, right)) / max(float(np.linalg.norm(left) * np.linalg.norm(right)), 1e-300))
