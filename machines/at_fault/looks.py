"""Where on the gear the readings of a record were taken, and what of a µm on the flank goes into each.

The teeth are counted from one marked as the first, the same for all records; seen from above as the gear stood on the
table. A tooth's right flank is its clockwise one. The space of a tooth is the one after it, as counted. Pitch is read
along the reference circle, positive where a flank lies further the way the teeth are counted; helix, profile and
transmission error along the base tangent, positive out of the material; a ball in a space goes out by half of what both
flanks come nearer, over the sine at which it is touched. A transmission error is the mean along the line on which a
true gear touches the flank, over the whole face, tooth after tooth on a base pitch about the reference circle.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

import numpy as np
from handlead.kinematics.flank_cutting.flank_passages import FlankCut, active_rolls
from handlead.kinematics.inspection.looked import Looked
from handlead.kinematics.inspection.passage import Feel, Flank, Floats
from handlead.machines.blanks.flanks import Flanks
from handlead.machines.gear_records.records import Record

_SIDE = {"right": 1, "left": -1}

#: Looks to a cell of contacts, each way: a reading of pitch or runout may be their mean, marks let out of it; and how
#: many for the sizes in the end.
_IN_CELL, _IN_THE_END = 3, 5

#: Places over the face along the line on which a true gear touches: the one of these counts, both primes, that doesn't
#: go into the number of feed marks, so that each place stands elsewhere in its mark and the marks make up for another.
_OVER_FACE = (11, 13)


def sides_of(flanks: Flanks) -> dict[int, Flank]:
    """Both sides of the teeth as this set-up cuts them, without any errors. Raises `ValueError` without an involute."""
    motion = flanks.motion
    return {side: Flank(FlankCut.of(motion, flanks.setting, flanks.gear, side=side)) for side in (1, -1)}


def looked_at(record: Record, sides: Mapping[int, Flank]) -> Looked:
    """The record with the places of its readings."""
    if record.kind == "profile":
        return Looked(record.readings, (_along(record, sides),))
    if record.kind == "transmission error":
        return Looked(record.readings, (_rolled(record, sides[_SIDE[record.flank]]),))
    looks = [_round(record, sides[side], factor) for side, factor in _factors(record, sides)]
    if record.kind == "helix":
        return Looked(record.readings, tuple(looks))
    closely, more_closely = (tuple(one.spread(many) for one in looks) for many in (_IN_CELL, _IN_THE_END))
    return Looked(record.readings, closely, more_closely, tuple(looks))


def _factors(record: Record, sides: Mapping[int, Flank]) -> Iterator[tuple[int, float]]:
    """The sides that a reading looks at, and what of a µm that is proud there goes into it."""
    pressure, teeth = sides[1].cut.flank.pressure_angle, sides[1].cut.flank.gear.teeth
    if record.kind == "runout":
        touched = math.sin(pressure + math.pi / (2 * teeth))
        yield from ((side, 1 / (2 * touched)) for side in (1, -1))
    elif record.kind.startswith("pitch"):
        way = 1 if record.counted == "clockwise" else -1
        yield _SIDE[record.flank], way * _SIDE[record.flank] / math.cos(pressure)
    else:
        yield _SIDE[record.flank], 1.0


def _round(record: Record, flank: Flank, factor: float) -> Feel:
    readings, cut = record.readings, flank.cut
    height = _middle(cut) + record.at_height + (readings.height if record.kind == "helix" else 0.0 * readings.height)
    roll = np.full(len(readings.um), _roll(cut))
    look = Feel.at(flank, factor, roll, height, _space(record, readings.tooth, cut.flank.side))
    if readings.steps:
        before = _space(record, readings.tooth - 1, cut.flank.side)
        look = look.beside(Feel.at(flank, -factor, roll, height, before))
    return look


def _along(record: Record, sides: Mapping[int, Flank]) -> Feel:
    flank = sides[_SIDE[record.flank]]
    first, last = active_rolls(flank.cut)
    # What was read beyond the flank, at the base circle itself for one, is looked at where the flank is still near.
    roll = np.clip(record.readings.height / flank.cut.flank.base_radius, first / 2, 1.5 * last)
    height = np.full(len(roll), _middle(flank.cut) + record.at_height)
    return Feel.at(flank, 1.0, roll, height, _space(record, record.readings.tooth, flank.cut.flank.side))


def _rolled(record: Record, flank: Flank) -> Feel:
    """Where a true gear touches: a line at one tangent angle, across the face and on leaning teeth along the flank."""
    cut = flank.cut
    middle, pitch = _middle(cut), 2 * math.pi / cut.flank.gear.teeth
    at_middle = _space(record, record.readings.tooth, cut.flank.side)
    feed = 2 * math.pi * abs(cut.swept.height_rate / cut.swept.table_rate)
    marks = max(math.floor(2 * middle / feed), 1) if feed else 1
    count = next((one for one in _OVER_FACE if marks % one), _OVER_FACE[0])
    looks = []
    for part in (np.arange(count) + 0.5) / count - 0.5:
        height = middle + part * min(marks * feed or 2 * middle, 2 * middle)
        # Space 0 at another height is as far round as the twist takes it.
        place = at_middle - cut.flank.twist * (height - middle) / pitch
        space = np.rint(place)
        roll = _roll(cut) + cut.flank.side * (place - space) * pitch
        looks.append(Feel.at(flank, 1 / count, roll, np.full(len(roll), height), space))
    whole = looks[0]
    for look in looks[1:]:
        whole = whole.beside(look)
    return whole


def _space(record: Record, tooth: Floats, side: int) -> Floats:
    """The space beside which this tooth has its flank, or that comes after it."""
    ahead = record.counted == "counter-clockwise"
    at = (tooth - 1) if ahead else -(tooth - 1)
    if record.kind == "runout":
        return np.asarray(at + (1 if ahead else 0))
    return np.asarray(at + (0 if side > 0 else 1))


def _middle(cut: FlankCut) -> float:
    assert cut.flank.gear.face_width is not None
    return cut.flank.gear.face_width / 2


def _roll(cut: FlankCut) -> float:
    """The roll of the reference circle, or as near to it as the flank goes on to both sides."""
    first, last = active_rolls(cut)
    margin = (last - first) / 4
    return min(max(math.tan(cut.flank.pressure_angle), first + margin), last - margin)
