"""A reading that no part explains and no noise: a figure typed or read wrongly, or a gear that was moved between two.

Both spoil every wave beside them, so that a person has to look at them first. Only the worst of a record is named; the
rest may well be in order once that is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from handlead.kinematics.inspection.passage import Floats
from handlead.machines.gear_records.records import Record

#: So many times what the others stray by, no noise goes; what can't be a slip of hand or eye, in µm. Own choice.
_FAR, _LEAST_UM = 6.0, 10.0

#: From the median of what readings stray by to their standard error, for normal noise.
_OF_MEDIAN = 1.4826

#: Kinds whose readings go on from one tooth to the next.
_GOING_ON = ("pitch cumulative", "runout")


@dataclass(frozen=True)
class Doubtful:
    """A reading, by its number, that stands so many µm off; with `after`, the last before they all jump by so much."""

    at: int
    um: float
    after: int | None = None


def doubtful_in(record: Record, left: Sequence[float]) -> Doubtful | None:
    """The reading, or the jump, that stands furthest out of what is `left` at each, µm; None where none does."""
    least = max(_LEAST_UM, 2 * record.read_to_um)
    rest = np.array(left)
    off = rest - np.median(rest)
    at = int(np.abs(off).argmax())
    if _stands_out(off, at, np.delete(off, at), least):
        return Doubtful(at, float(abs(off[at])))
    if record.kind not in _GOING_ON:
        return None
    order = np.argsort(record.readings.tooth)
    steps = np.diff(rest[order])
    worst = int(np.abs(steps).argmax())
    if not _stands_out(steps, worst, np.delete(steps, worst), least):
        return None
    return Doubtful(int(order[worst + 1]), float(abs(steps[worst])), int(order[worst]))


def _stands_out(every: Floats, at: int, others: Floats, least: float) -> bool:
    """Whether one of these is beyond noise, and further off than all others lie apart."""
    usual = _OF_MEDIAN * float(np.median(np.abs(every)))
    return bool(abs(every[at]) > max(_FAR * usual, float(np.ptp(others)), least))
