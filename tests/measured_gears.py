"""Gears cut by the exact motion of a machine with errors in it, and measured: records as a checker would give them.

Nothing of what the fit reckons with enters: flanks are cut passage by passage, and read where a feeler would touch them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from handlead.kinematics.flank_cutting.flank_passages import FlankCut, active_rolls, lattice_at
from handlead.kinematics.flank_cutting.flanks import deviations, standing_at
from handlead.kinematics.frame.motion import Led
from handlead.kinematics.inspection.looked import Readings
from handlead.machines.blanks.flanks import Flanks
from handlead.machines.gear_records.records import Record
from handlead.machines.machine_files.machine_file import Imperfection
from handlead.machines.setups.case import Case

SIDES = {"right": 1, "left": -1}

#: Points each way, over a cell of contacts, of which a reading of pitch or runout is the mean.
SAMPLES = 5


@dataclass(frozen=True)
class MeasuredGear:
    """A gear cut with what a case has wrong, and with `ripples` besides, ready to be measured.

    It is read where passages go by as they would with the first tooth elsewhere in them: by so many gashes and turns of
    the table, its `seam`. A reading of pitch or runout is the mean over a cell of contacts, or as a checker's ball feels
    it `at_one_place`, marks and all.
    """

    case: Case
    ripples: tuple[Led, ...] = ()
    seam: tuple[float, float] = (0.0, 0.0)
    at_one_place: bool = False

    @classmethod
    def with_errors(cls, case: Case, errors: Sequence[Imperfection], ripples: Sequence[Led] = ()) -> MeasuredGear:
        machine = replace(case.job.machine, imperfections=tuple(errors))
        return cls(Case.of(replace(case.job, machine=machine), case.setup), tuple(ripples))

    @cached_property
    def flanks(self) -> Flanks:
        found = Flanks.of(self.case)
        return replace(found, ripples=(*found.ripples, *self.ripples))

    @cached_property
    def cuts(self) -> dict[int, FlankCut]:
        motion = self.flanks.motion
        return {side: FlankCut.of(motion, self.flanks.setting, self.flanks.gear, side=side) for side in (1, -1)}

    @property
    def teeth(self) -> int:
        return self.flanks.gear.teeth

    def roll(self, side: int) -> float:
        """Where pitch and helix are looked at: the reference circle, or as near to it as the flank goes."""
        first, last = active_rolls(self.cuts[side])
        margin = (last - first) / 4
        return min(max(math.tan(self.cuts[side].flank.pressure_angle), first + margin), last - margin)

    def moved(self, side: int, roll: float) -> tuple[float, float]:
        """By how much roll and height such a place lies off, at a roll."""
        cut = self.cuts[side]
        steps = np.linalg.solve(cut.steps, np.array(self.seam))
        by_roll, by_height = lattice_at(cut, roll).by(cut.steps).basis @ steps
        return float(by_roll), float(by_height)

    @cached_property
    def proud(self) -> dict[int, np.ndarray]:
        """By side, how far each space's flank stands proud about mid-face, in µm along the base tangent."""
        return self.proud_at(0.0)

    def proud_at(self, above: float) -> dict[int, np.ndarray]:
        """The same so many mm above mid-face."""
        found = {}
        for side, cut in self.cuts.items():
            by_roll, by_height = self.moved(side, self.roll(side))
            if self.at_one_place:
                roll, height = self.roll(side) + by_roll, self.flanks.gear.face_width / 2 + above + by_height
                stands = deviations(cut, np.full(self.teeth, roll), np.full(self.teeth, height), np.arange(self.teeth))
            else:
                stands = standing_at(cut, self.roll(side) + by_roll, SAMPLES, above + by_height)
            found[side] = 1000 * stands / cut.flank.base_cosine
        return found

    def space(self, tooth: int, counted: str, flank: str) -> int:
        """The space on whose side a tooth's flank lies; for flank "" that after the tooth, as counted."""
        way = 1 if counted == "counter-clockwise" else -1
        at = way * (tooth - 1)
        beyond = {"right": 0, "left": 1, "": 1 if way > 0 else 0}[flank]
        return (at + beyond) % self.teeth

    def round_gear(
        self, kind: str, flank: str = "", counted: str = "clockwise", every: int = 1, at_height: float = 0.0
    ) -> Record:
        """A record of pitch or runout."""
        proud = self.proud_at(at_height) if at_height else self.proud
        numbers = np.arange(1, self.teeth + 1)
        spaces = np.array([self.space(int(one), counted, flank) for one in numbers])
        pressure = math.radians(self.flanks.gear.transverse_pressure_angle_deg)
        if kind == "runout":
            um = (proud[1][spaces] + proud[-1][spaces]) / (2 * math.sin(pressure + math.pi / (2 * self.teeth)))
        else:
            side = SIDES[flank]
            way = (-1 if counted == "counter-clockwise" else 1) * side
            um = way * proud[side][spaces] / math.cos(pressure)
            if kind == "pitch single":
                um = um - np.roll(um, 1)
        kept = numbers[::every]
        readings = Readings(kept.astype(float), np.zeros(len(kept)), um[::every], steps=kind == "pitch single")
        return Record(f"{kind} {flank}", "", kind, flank, counted, readings, at_height=at_height)

    def rolled(self, flank: str, points: int, counted: str = "clockwise", over: int = 90) -> Record:
        """Its transmission error with a true master gear: the mean along the line where that touches, over a turn."""
        side, teeth = SIDES[flank], self.teeth
        cut, pitch = self.cuts[side], 2 * math.pi / self.teeth
        width = self.flanks.gear.face_width
        assert width is not None
        tooth = 1 + teeth * np.arange(points) / points
        first = self.space(1, counted, flank)
        place = first + (tooth - 1) * (1 if counted == "counter-clockwise" else -1)
        # The master touches where the normal touches the base cylinder, at one angle on the gear at a time.
        angle = cut.flank.tangent_angle(np.full(points, self.roll(side)), np.full(points, width / 2), place)
        um = np.zeros(points)
        for height in (np.arange(over) + 0.5) / over * width:
            there = cut.flank.tangent_angle(np.zeros(points), np.full(points, height), 0.0)
            # A tooth further round takes over where its roll comes nearer to the middle.
            turns = np.arange(-2 * teeth, 2 * teeth)
            rolls = side * ((angle - there)[:, None] - pitch * turns[None, :])
            own = np.abs(rolls - self.roll(side)).argmin(axis=1)
            roll = rolls[np.arange(points), own]
            space = turns[own].astype(float) % teeth
            um += 1000 / cut.flank.base_cosine * deviations(cut, roll, np.full(points, height), space) / over
        readings = Readings(tooth, np.zeros(points), um)
        return Record("rolled", "", "transmission error", flank, counted, readings)

    def along(self, kind: str, flank: str, teeth: Sequence[int], points: int, counted: str = "clockwise") -> Record:
        """A record of helix or profile of some teeth."""
        side = SIDES[flank]
        cut = self.cuts[side]
        width = self.flanks.gear.face_width
        assert width is not None
        first, last = active_rolls(cut)
        roll, height = np.full(points, self.roll(side)), np.full(points, width / 2)
        if kind == "helix":
            height = np.linspace(0.02, 0.98, points) * width
            place = height - width / 2
        else:
            roll = np.linspace(first + 0.02 * (last - first), last - 0.02 * (last - first), points)
            place = roll * cut.flank.base_radius
        by_roll, by_height = self.moved(side, self.roll(side))
        roll, height = roll + by_roll, height + by_height
        um = [
            1000 / cut.flank.base_cosine * deviations(cut, roll, height, float(self.space(one, counted, flank)))
            for one in teeth
        ]
        readings = Readings(
            np.repeat(np.array(teeth, float), points), np.tile(place, len(teeth)), np.concatenate(um), by_tooth=True
        )
        return Record(f"{kind} {flank}", "", kind, flank, counted, readings)


def with_noise(record: Record, um: float, seed: np.random.Generator) -> Record:
    """The same record with normal noise of so many µm on each reading."""
    readings = record.readings
    return replace(record, readings=replace(readings, um=readings.um + seed.normal(0, um, len(readings.um))))
