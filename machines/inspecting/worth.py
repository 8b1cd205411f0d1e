"""The class that records come to, and the one that they would come to without a part's wave: which is worth mending.

Classes are those of ISO 1328-1, by the records that there are: what wasn't measured isn't held against the gear, and
noise of the dial is in them. Of a pitch record with gaps single pitches count where two teeth stand beside one another.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
from handlead.kinematics.gauging.flanks import Deviations, trace
from handlead.kinematics.gears.gear import Gear
from handlead.kinematics.gears.tolerance import COARSEST, flank_tolerances
from handlead.kinematics.inspection.passage import Floats
from handlead.machines.at_fault.finding import Inspection
from handlead.machines.gear_records.records import Record

_NONE = Deviations(*(0.0 for _ in fields(Deviations)))

#: Points below which a trace has no slope and form of its own.
_FEWEST = 4


@dataclass(frozen=True)
class Reached:
    """A class (None: coarser than any), the quantity that holds it there, and that quantity's deviation in µm."""

    quality: int | None
    by: str
    um: float


@dataclass(frozen=True)
class Worth:
    """The class as measured, without each wave (by its number), without all of them, and which to mend first.

    `first` is None where no single wave changes the class.
    """

    measured: Reached
    without: tuple[Reached, ...]
    without_all: Reached
    first: int | None


def worth_of(inspection: Inspection, records: Sequence[Record], gear: Gear) -> Worth:
    """What mending each part would be worth."""
    readings = [record.readings.um for record in records]
    waves = [[np.array(one) for one in wave.at_readings] for wave in inspection.waves]

    def reached(leaving_out: Sequence[int]) -> Reached:
        left = [
            um - sum((waves[at][number] for at in leaving_out), np.zeros(um.size))
            for number, um in enumerate(readings)
        ]
        return _reached(deviations_of(records, left, gear), gear)

    measured = reached(())
    without = tuple(reached((at,)) for at in range(len(waves)))
    best = min(range(len(waves)), key=lambda at: rank(without[at]), default=None)
    first = best if best is not None and rank(without[best]) < rank(measured) else None
    return Worth(measured, without, reached(range(len(waves))), first)


def rank(reached: Reached) -> int:
    """The class, the finest least; beyond the coarsest for none."""
    return COARSEST + 1 if reached.quality is None else reached.quality


def _reached(found: Deviations, gear: Gear) -> Reached:
    quality = found.quality(gear)
    limits = flank_tolerances(gear, quality or COARSEST)
    name = max(
        (part.name for part in fields(found)),
        key=lambda part: getattr(found, part) / getattr(limits, part).um,
    )
    return Reached(quality, name.replace("_", " "), getattr(found, name))


def deviations_of(records: Sequence[Record], um: Sequence[Floats], gear: Gear) -> Deviations:
    """The largest of each deviation that these readings show; 0 for what wasn't measured."""
    found: dict[str, float] = {}
    for record, values in zip(records, um, strict=True):
        for name, value in _of_record(record, values, gear):
            found[name] = max(found.get(name, 0.0), float(value))
    return replace(_NONE, **found)


def _of_record(record: Record, um: Floats, gear: Gear) -> Iterator[tuple[str, float]]:
    match record.kind:
        case "runout":
            yield "runout", float(np.ptp(um))
        case "pitch single":
            beside = um - um.mean()
            yield "single_pitch", float(np.abs(beside).max())
            if len(um) == gear.teeth:
                yield "cumulative_pitch", float(np.ptp(np.cumsum(beside[np.argsort(record.readings.tooth)])))
        case "pitch cumulative":
            yield "cumulative_pitch", float(np.ptp(um))
            places = dict(zip(record.readings.tooth.astype(int).tolist(), um.tolist(), strict=True))
            yield "single_pitch", max(_steps(places, gear.teeth), default=0.0)
        case "helix":
            assert gear.face_width is not None
            yield from _of_traces(record, um, "helix", gear.face_width)
        case "profile":
            yield from _of_traces(record, um, "profile", float(np.ptp(record.readings.height)))
        case _:
            return


def _steps(places: Mapping[int, float], teeth: int) -> Iterator[float]:
    for tooth, value in places.items():
        before = tooth - 1 if tooth > 1 else teeth
        if before in places:
            yield abs(value - places[before])


def _of_traces(record: Record, um: Floats, kind: str, length: float) -> Iterator[tuple[str, float]]:
    """Slope, form and total of the trace of each tooth."""
    for tooth in np.unique(record.readings.tooth):
        here = record.readings.tooth == tooth
        along = record.readings.height[here]
        if along.size < _FEWEST or not np.ptp(along):
            continue
        found = trace(along, um[here], length)
        yield f"{kind}_slope", abs(found.slope_um)
        yield f"{kind}_form", found.form_um
        yield f"{kind}_total", found.total_um
