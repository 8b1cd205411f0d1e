"""Records of a real gear laid over the simulated one: tooth upon tooth, by the turn in which they lie best.

Nobody knows where on the blank the first tooth stood as it was cut. Where pitch or runout was measured the simulated
gear is turned by whole teeth to where it strays least from it (least squares); else the first lies on the first.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import numpy.typing as npt
from handlead.kinematics.gears.gear import Gear
from handlead.kinematics.witness.traced import TracedGear
from handlead.machines.gear_records.records import Record
from handlead.machines.inspecting.worth import deviations_of

Floats = npt.NDArray[np.float64]

#: Teeth whose traces go on one page.
MOST_TRACED = 6

#: Kinds of record that tell of every tooth, and so how far the gear is turned.
_ROUND = ("pitch cumulative", "pitch single", "runout")

#: Values that a kind of record tells.
_TELLS: Mapping[str, tuple[str, ...]] = {
    "profile": ("profile_slope", "profile_form", "profile_total"),
    "helix": ("helix_slope", "helix_form", "helix_total"),
    "pitch single": ("single_pitch", "cumulative_pitch"),
    "pitch cumulative": ("single_pitch", "cumulative_pitch"),
    "runout": ("runout",),
}


@dataclass(frozen=True, eq=False)
class LaidOver:
    """Records over a gear of so many teeth, counted as they are: their tooth 1 lies on the simulated tooth `first`."""

    records: tuple[Record, ...]
    count: int
    counted: str = "counter-clockwise"
    first: int = 1

    @property
    def way(self) -> int:
        """1 where teeth are counted counter-clockwise, as the simulated ones are."""
        return 1 if self.counted == "counter-clockwise" else -1

    def simulated(self, number: int) -> int:
        """The simulated tooth that a tooth of the records lies on."""
        return 1 + (self.first - 1 + self.way * (number - 1)) % self.count

    def number(self, tooth: int) -> int:
        """The number of a simulated tooth as the records count."""
        return 1 + (self.way * (tooth - self.first)) % self.count

    @cached_property
    def order(self) -> npt.NDArray[np.int64]:
        """The simulated teeth, from 0, in the order in which the records count theirs."""
        return np.array([self.simulated(number) - 1 for number in range(1, self.count + 1)])

    def pitch(self, traced: TracedGear, flank: str) -> Floats:
        """How far the simulated flanks stand the way the records count, beside their mean, as the records count."""
        return np.asarray(self.way * traced.pitch_um[flank][self.order])

    def balls(self, traced: TracedGear) -> Floats:
        """How far out a ball lies in the space after each tooth, as the records count."""
        # Counted clockwise, the space after a tooth is the one before it the other way round.
        at = self.order if self.way > 0 else (self.order - 1) % self.count
        return np.asarray(traced.ball_um[at])

    def of_kind(self, *kinds: str) -> tuple[Record, ...]:
        """The records of these kinds."""
        return tuple(one for one in self.records if one.kind in kinds)

    @cached_property
    def traced(self) -> tuple[int, ...]:
        """The teeth whose profile or helix was recorded, by the numbers of the records."""
        return tuple(sorted({int(tooth) for one in self.of_kind("profile", "helix") for tooth in one.readings.tooth}))

    @property
    def teeth(self) -> tuple[int, ...]:
        """The simulated teeth under those, as many as a page has room for; empty where none was."""
        return tuple(self.simulated(number) for number in self.traced[:MOST_TRACED])

    def deviation(self, name: str, gear: Gear) -> float | None:
        """The greatest deviation of this name that the records show, in µm; None where none tells it."""
        telling = [one for one in self.records if name in _TELLS.get(one.kind, ())]
        if not telling:
            return None
        return float(getattr(deviations_of(telling, [one.readings.um for one in telling], gear), name))


def lay_beside(traced: TracedGear, records: Sequence[Record]) -> LaidOver:
    """Records over the simulated gear; where they are counted both ways, as the first is."""
    count = traced.gear.teeth
    counted = records[0].counted if records else "counter-clockwise"
    alike = tuple(one for one in records if one.counted == counted)
    round_gear = [one for one in alike if one.kind in _ROUND]
    if not round_gear:
        return LaidOver(alike, count, counted)
    # The simulated gear is looked at about mid-face.
    marked = [one for one in round_gear if one.marked]
    telling = [one for one in marked if not one.at_height] or marked or round_gear[:1]
    turned = [LaidOver(alike, count, counted, first) for first in range(1, count + 1)]
    best = min(turned, key=lambda laid: sum(_strays(laid, traced, one) for one in telling))
    return replace(best, records=tuple(_begun_where_it_goes(best, traced, one) for one in alike))


def _begun_where_it_goes(laid: LaidOver, traced: TracedGear, record: Record) -> Record:
    """A record round the gear that wasn't counted from the marked tooth, turned by itself; any other as it is."""
    if record.marked or record.kind not in _ROUND:
        return record
    turned = (record.turned(by, laid.count) for by in range(laid.count))
    return min(turned, key=lambda one: _strays(laid, traced, one))


def _strays(laid: LaidOver, traced: TracedGear, record: Record) -> float:
    """Squares by which a record strays from the simulated gear, the zero of either left out."""
    told = expected_of(laid, traced, record)
    at = np.round(record.readings.tooth).astype(int) - 1
    apart = record.readings.um - told[at % laid.count]
    return float(np.sum((apart - apart.mean()) ** 2))


def expected_of(laid: LaidOver, traced: TracedGear, record: Record) -> Floats:
    """What the simulated gear would read tooth after tooth in a record of this kind."""
    read: Mapping[str, Callable[[], Floats]] = {
        "runout": lambda: laid.balls(traced),
        "pitch cumulative": lambda: laid.pitch(traced, record.flank),
        "pitch single": lambda: single(laid.pitch(traced, record.flank)),
    }
    return read[record.kind]()


def single(pitch: Floats) -> Floats:
    """Single pitches of a row of places: each from the one before."""
    return np.asarray(np.diff(pitch, prepend=pitch[-1:]))
