"""What to measure next: the record that would tell parts apart that the records at hand can't."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from handlead.kinematics.inspection.choosing import seams
from handlead.kinematics.inspection.laid import Laid
from handlead.kinematics.inspection.passage import Flank, Floats, WaveSource
from handlead.machines.at_fault.finding import PartAtFault
from handlead.machines.at_fault.looks import looked_at, sides_of
from handlead.machines.blanks.flanks import Flanks
from handlead.machines.gear_records.records import Record, Said, record_of
from handlead.machines.setups.case import Case, face_width_mm
from handlead.machines.toml.units import length

#: Records that go round the gear, tooth after tooth.
ROUND = ("pitch single", "pitch cumulative", "runout")

#: Squares, over those of the noise, by which a wave must differ from what another part leaves at the best to be told
#: from it: some 24 are asked of a wave among so many parts and seams (F-test and Bonferroni's bound), and noise varies.
_TOLD = 40.0

#: No record repeats better, in µm.
_LEAST_NOISE = 0.3

#: How far from either face, as a share of it, the ends of a face are read, and readings of a helix a tooth.
_FROM_END, _POINTS = 0.1, 40


@dataclass(frozen=True, eq=False)
class RecordChoice:
    """Something to measure: its words, and the records that it makes, not filled in yet.

    No record where it is more readings of one that is at hand.
    """

    words: str
    records: tuple[Record, ...]


def next_records(
    case: Case, records: Sequence[Record], parts: Sequence[PartAtFault], noise: Sequence[float]
) -> tuple[RecordChoice, ...]:
    """The easiest record, or two, that tell the first of these parts from the others; none where none does.

    `noise` is what is left of each record, in µm r.m.s.
    """
    first, *others = parts
    alike = [one for one in others if one.order == first.order]
    if len(alike) < len(others):
        gaps = [one for one in records if one.kind in ROUND and len(one.readings.um) < case.job.work.teeth]
        return (RecordChoice("every tooth of it", ()),) if gaps else ()
    flanks = sides_of(Flanks.of(case))
    sources = tuple(one.part.source for one in (first, *alike))
    at_hand = _columns(records, noise, sources, flanks)
    usual = [float(np.median(noise))]
    choices = [one for one in _choices(case) if not _measured(one, records)]
    columns = {one.words: _columns(one.records, usual * len(one.records), sources, flanks) for one in choices}
    for count in (1, 2):
        for some in combinations(choices, count):
            if _told(first.size, np.concatenate([at_hand, *(columns[one.words] for one in some)])):
                return some
    return ()


def _choices(case: Case) -> Iterator[RecordChoice]:
    """What can be measured, the easiest first."""
    teeth, face = case.job.work.teeth, face_width_mm(case.job.work)
    yield RecordChoice("the runout, with a ball in the spaces", (_of_every_tooth("runout", "", teeth),))
    for flank in ("right", "left"):
        yield RecordChoice(f"the pitch of the {flank} flanks", (_of_every_tooth("pitch cumulative", flank, teeth),))
    end = (0.5 - _FROM_END) * face
    far = length(_FROM_END * face, case.job.units, 1)
    yield RecordChoice(
        f"the runout at both ends of the face, with a ball in the spaces {far} from either",
        tuple(_of_every_tooth("runout", "", teeth, height) for height in (-end, end)),
    )
    for apart, words in ((4, "four teeth a quarter"), (5, "five teeth a fifth")):
        for flank in ("right", "left"):
            rows = [
                (float(1 + teeth * at // apart), float(height), 0.0)
                for at in range(apart)
                for height in np.linspace(-end, end, _POINTS)
            ]
            record = record_of(Said("", "helix", flank, "clockwise"), rows, 1.0)
            yield RecordChoice(f"the helix of the {flank} flanks of {words} of the gear apart", (record,))


def _of_every_tooth(kind: str, flank: str, teeth: int, height: float = 0.0) -> Record:
    """A record of every tooth that nobody has filled in yet."""
    said = Said("", kind, flank, "clockwise", at_height=height)
    return record_of(said, [(float(tooth), 0.0, 0.0) for tooth in range(1, teeth + 1)], 1.0)


def _measured(choice: RecordChoice, records: Sequence[Record]) -> bool:
    """Whether just this was measured round the gear already; a helix may have been of other teeth."""
    have = {(one.kind, one.flank, one.at_height) for one in records}
    return all(one.kind in ROUND and (one.kind, one.flank, one.at_height) in have for one in choice.records)


def _columns(
    records: Sequence[Record], noise: Sequence[float], sources: Sequence[WaveSource], flanks: Mapping[int, Flank]
) -> Floats:
    """What one of each source leaves in records, over their noise: two columns a source, zeros and slopes taken out."""
    if not records:
        return np.zeros((0, 2 * len(sources)))
    laid = Laid(tuple(looked_at(one, flanks) for one in records), tuple(sources), (1.0,) * len(records))
    seam = seams(len(records[0].readings.um))[0]
    return np.concatenate(
        [one / max(by, _LEAST_NOISE) for (one, _), by in zip(laid.columns(seam), noise, strict=True)]
    )


def _told(size: float, columns: Floats) -> bool:
    """Whether so much of the first source, at any phase, is more than any other one can make of it."""
    first = columns[:, :2]
    for at in range(2, columns.shape[1], 2):
        other = np.linalg.qr(columns[:, at : at + 2])[0]
        left = first - other @ (other.T @ first)
        if (size * np.linalg.svd(left, compute_uv=False)[-1]) ** 2 < _TOLD:
            return False
    return True
