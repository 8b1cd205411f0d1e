"""What the solid pictures of a job show: its blank at any stage of the cut, its hob, and where both stand."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from typing import TYPE_CHECKING, Literal

from handlead.kinematics.blank import Blank, Field
from handlead.kinematics.cutting import scratch_cut
from handlead.kinematics.measured import full_distance
from handlead.kinematics.motion import Position
from handlead.kinematics.requirement import gear_of
from handlead.kinematics.words import direction
from handlead.machines.case import Case, face_width_mm
from handlead.machines.witness import NotCut, hob_of

from . import solid
from .cut_stages import Setting, Stages, stages_of

if TYPE_CHECKING:
    from pyvista import PolyData

#: How much deeper than it is the light cut is drawn, so that a mark of hundredths can be seen at all.
EXAGGERATED = 20.0

#: How far a stage on the way may stand off, in mm: its spaces have other places for corners.
_ON_THE_WAY = 0.04

Depth = Literal["scratch", "full"]


def setting_of(case: Case) -> Setting:
    """What the job's blank is cut with, at full depth.

    Raises `NotCut` where hob, table or slide isn't driven, or the hob's size isn't known.
    """
    if case.solution.is_locked or case.rates is None:
        raise NotCut("hob and table aren't both driven, so that there is nothing to picture")
    rates = case.rates
    if not rates.table:
        raise NotCut("the table stands still, so that no spaces are cut round the blank")
    if not rates.axial and not (
        case.job.work.kind == "worm wheel" and (rates.tangential or rates.radial < 0)
    ):
        raise NotCut("no slide feeds the hob over the work")
    gear, hob = gear_of(case.job.work), hob_of(case.job.hob)
    given = case.job.work.outside_diameter
    blank = Blank(float(given) if given else gear.tip_diameter, face_width_mm(case.job.work))
    return Setting(rates, hob, blank, case.swivel_deg, full_distance(hob, gear))


@dataclass(frozen=True)
class Scene:
    """A job's work and hob as solids in the machine's frame, from the set-up's own rates."""

    title: str
    setting: Setting

    @classmethod
    def of(cls, case: Case) -> Scene:
        """The scene of a set-up. Raises `NotCut` as `setting_of`."""
        return cls(case.job.title, setting_of(case))

    @cached_property
    def stages(self) -> Stages:
        """The cut on its way."""
        return stages_of(self.setting)

    @cached_property
    def finished(self) -> Field:
        """The blank when all is cut."""
        return self.stages.field(1.0)

    @cached_property
    def hob(self) -> PolyData:
        """The hob about Z, its middle at 0."""
        return solid.hob_mesh(self.setting.hob)

    @cached_property
    def _joints(self) -> solid.Joints:
        # Joined so that both the finished teeth and those that are on the way come out.
        half = self.stages.field(0.5)
        return solid.join(half, self.finished, tolerance=_ON_THE_WAY)

    def gear(self) -> PolyData:
        """The finished gear, closed, from face to face."""
        return solid.blank_mesh(self.finished, face_width=self.setting.blank.face_width)

    def on_the_way(self, progress: float) -> PolyData:
        """The blank when this part of the cut, 0 to 1, is done; always joined up in the same way."""
        field = self.stages.field(progress)
        return solid.blank_mesh(field, self._joints, face_width=self.setting.blank.face_width)

    def light_cut(self, exaggerate: float = EXAGGERATED) -> PolyData:
        """The blank after the first light cut, its marks drawn so many times as deep as they are."""
        setting = self.setting
        field = scratch_cut(setting.rates, setting.hob, setting.blank, setting.swivel_deg)
        return solid.blank_mesh(
            field, solid.join(field, tolerance=solid.TOLERANCE / exaggerate), exaggerate=exaggerate
        )

    def position(self, turns: Fraction) -> Position:
        """Where the ends stand after so many hob turns of the cut, exactly."""
        return self.stages.phase.at(turns)

    def hob_pose(self, turns: Fraction) -> solid.Floats:
        """Matrix that brings the hob to its place after so many hob turns."""
        return solid.hob_pose(self.position(turns), self.setting.swivel_deg, self.setting.centre_distance)

    def work_pose(self, turns: Fraction) -> solid.Floats:
        """Matrix that turns the work with the table after so many hob turns."""
        return solid.work_pose(self.position(turns))

    def progress_at(self, turns: Fraction) -> float:
        """The part of the cut that so many hob turns make, 0 to 1."""
        return min(max(float(turns / self.stages.phase.turns), 0.0), 1.0)

    def senses(self) -> dict[str, str]:
        """Which way each end runs as the hob cuts up, in the words of the trade; ends at rest are left out."""
        rates = self.setting.rates
        found = {"hob": direction("hob", 1)}
        for end in ("table", "axial", "tangential", "radial"):
            rate = getattr(rates, end)
            if rate:
                found[end] = direction(end, 1 if rate > 0 else -1)
        return found

