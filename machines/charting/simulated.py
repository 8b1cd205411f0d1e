"""The gear that a set-up cuts in simulation as an inspection report: traces, values as standards name them, classes.

Names and classes are those of ISO 1328-1; runout is held to what its annex gives (from memory).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

from handlead.kinematics.gears.tolerance import FlankTolerances, class_of, flank_tolerances
from handlead.kinematics.witness.traced import TracedFlank, TracedGear, trace_gear
from handlead.machines.blanks.flanks import Flanks
from handlead.machines.blanks.witness import NotCut
from handlead.machines.gear_records.exchange import read_records
from handlead.machines.setups.case import Case

from .beside import LaidOver, lay_beside


@dataclass(frozen=True)
class Quantity:
    """A value of a report: its name among the tolerances, the standard's sign and words, the page that it stands on."""

    name: str
    sign: str
    words: str
    page: str


#: Every value, in the order of the pages.
QUANTITIES = (
    Quantity("profile_slope", "f_Hα", "profile slope", "profile"),
    Quantity("profile_form", "f_fα", "profile form", "profile"),
    Quantity("profile_total", "F_α", "profile, total", "profile"),
    Quantity("helix_slope", "f_Hβ", "helix slope", "helix"),
    Quantity("helix_form", "f_fβ", "helix form", "helix"),
    Quantity("helix_total", "F_β", "helix, total", "helix"),
    Quantity("single_pitch", "f_p", "single pitch", "pitch"),
    Quantity("cumulative_pitch", "F_p", "cumulative pitch, total", "pitch"),
    Quantity("runout", "F_r", "runout", "runout"),
)

PAGES = ("profile", "helix", "pitch", "runout")


@dataclass(frozen=True)
class ReportedValue:
    """A value on the simulated gear (the greatest, in µm), what the drawing's class allows, and its own class.

    `measured_um` is the same of the records, None where none tells it.
    """

    quantity: Quantity
    um: float
    allowed_um: float
    quality: int | None
    measured_um: float | None
    measured_quality: int | None


@dataclass(frozen=True, eq=False)
class GearReport:
    """A simulated gear, taken up as a checker would, and the records of a real one where there are some."""

    case: Case
    traced: TracedGear
    laid: LaidOver

    @classmethod
    def of(cls, case: Case, records: Sequence[str | Path] = (), counted: str = "") -> GearReport:
        """The report of a set-up's gear, with these records over it.

        Raises `NotCut` where no flanks are there to be taken up, `FileFault` for records that can't be used.
        """
        flanks = Flanks.of(case)
        read = read_records(list(records), case.job.work.teeth, counted).records
        traced = trace_gear(flanks.motion, flanks.setting, flanks.gear, flanks.relief)
        if traced is None:
            raise NotCut("with this swivel and lead the hob makes too little of the drawing's involute to take it up")
        laid = lay_beside(traced, read)
        if laid.teeth:
            # The simulated teeth that lie where the measured ones do.
            traced = trace_gear(flanks.motion, flanks.setting, flanks.gear, flanks.relief, laid.teeth) or traced
        return cls(case, traced, laid)

    @cached_property
    def limits(self) -> FlankTolerances:
        """What the drawing's class allows."""
        return flank_tolerances(self.traced.gear, self.case.job.work.quality)

    @cached_property
    def values(self) -> tuple[ReportedValue, ...]:
        """Every value of the report."""
        return tuple(self._value(one) for one in QUANTITIES)

    def of_page(self, page: str) -> tuple[ReportedValue, ...]:
        """The values that stand on a page."""
        return tuple(one for one in self.values if one.quantity.page == page)

    def flanks(self, flank: str) -> Iterator[tuple[int, TracedFlank]]:
        """The traced flanks of this name, each with the number of its tooth as the report counts."""
        found = ((self.laid.number(one.tooth), one) for one in self.traced.flanks if one.flank == flank)
        yield from sorted(found, key=lambda one: one[0])

    def _value(self, one: Quantity) -> ReportedValue:
        gear, um = self.traced.gear, float(getattr(self.traced.deviations, one.name))
        measured = self.laid.deviation(one.name, gear)
        return ReportedValue(
            one, um, getattr(self.limits, one.name).um, class_of(gear, one.name, um),
            measured, None if measured is None else class_of(gear, one.name, measured),
        )  # fmt: skip

    @property
    def measured_quality(self) -> int | None:
        """The class that all measured values come to together; None where one comes to none, or nothing is measured."""
        classes = [one.measured_quality for one in self.values if one.measured_um is not None]
        return max((one for one in classes if one is not None), default=None) if None not in classes else None

    def as_json(self) -> dict[str, Any]:
        """The report as plain values."""
        return {
            "class": self.traced.quality,
            "wanted_class": self.limits.quality,
            "measured_class": self.measured_quality,
            "outside_scope": list(self.limits.outside_scope),
            "counted": self.laid.counted,
            "values": [
                {
                    "quantity": one.quantity.words,
                    "sign": one.quantity.sign,
                    "um": one.um,
                    "allowed_um": one.allowed_um,
                    "class": one.quality,
                    "measured_um": one.measured_um,
                    "measured_class": one.measured_quality,
                }
                for one in self.values
            ],
            "teeth": [
                {
                    "tooth": self.laid.number(one.tooth),
                    "flank": one.flank,
                    "profile_slope_um": one.measured.profile.slope_um,
                    "profile_form_um": one.measured.profile.form_um,
                    "profile_total_um": one.measured.profile.total_um,
                    "helix_slope_um": one.measured.helix.slope_um,
                    "helix_form_um": one.measured.helix.form_um,
                    "helix_total_um": one.measured.helix.total_um,
                }
                for one in self.traced.flanks
            ],
        }
