"""What to measure next: the record that would tell parts apart that the records at hand can't."""

from __future__ import annotations

from collections.abc import Sequence

from handlead.kinematics.inspection.laid import Laid
from handlead.machines.at_fault.finding import PartAtFault
from handlead.machines.at_fault.looks import looked_at, sides_of
from handlead.machines.blanks.flanks import Flanks
from handlead.machines.gear_records.records import Record, Said, record_of
from handlead.machines.setups.case import Case

#: Records that go round the gear, tooth after tooth.
ROUND = ("pitch single", "pitch cumulative", "runout")

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
        gaps = [one for one in records if one.kind in ROUND and len(one.readings.um) < case.job.work.teeth]
        return "every tooth of it" if gaps else None
    flanks = sides_of(Flanks.of(case))
    sources = tuple(one.part.source for one in (first, *alike))

    def tells(kind: str, flank: str) -> bool:
        some = (*records, _blank_record(kind, flank, case.job.work.teeth))
        laid = Laid(tuple(looked_at(one, flanks) for one in some), sources, (1.0,) * len(some))
        return any(group == (0,) for group in laid.clusters[0])

    measured = {(one.kind, one.flank) for one in records}
    return next(
        (words for words, kind, flank in _RECORDS if (kind, flank) not in measured and tells(kind, flank)),
        None,
    )


def _blank_record(kind: str, flank: str, teeth: int) -> Record:
    """A record of every tooth that nobody has filled in yet."""
    return record_of(
        Said("", kind, flank, "clockwise"), [(float(tooth), 0.0, 0.0) for tooth in range(1, teeth + 1)], 1.0
    )
