"""What the solid pictures of a job show: its blank at any stage of the cut, its hob, and where both stand."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from typing import TYPE_CHECKING, Literal

from handlead.kinematics.cutting.setting import Setting
from handlead.kinematics.frame.blank import Field
from handlead.kinematics.frame.motion import ENDS, Led, Position
from handlead.kinematics.frame.words import angle_text, swing, swivel_words
from handlead.kinematics.law.outcome import Outcome
from handlead.kinematics.work.requirement import gear_to_cut
from handlead.machines.blanks.light_touch import light_field
from handlead.machines.blanks.witness import NotCut, setting_of
from handlead.machines.judging.result_checks import SWIVEL_LIMIT_DEG
from handlead.machines.setups.case import Case
from handlead.machines.setups.imperfections import ripples_of
from handlead.machines.toml.units import length
from handlead.viz.look.shop import PLAIN, Shop

from . import mesh as solid_mesh
from .cut_stages import StagedCut, Stages, stages_of

if TYPE_CHECKING:
    from pyvista import PolyData

#: How much deeper than it is the light cut is drawn, so that a mark of hundredths can be seen at all.
EXAGGERATED = 20.0

#: How far a stage on the way may stand off, in mm: its spaces have other places for corners.
_ON_THE_WAY = 0.04

Depth = Literal["scratch", "full"]


def staged_of(case: Case) -> StagedCut:
    """What the job's blank is cut with, at full depth.

    Raises `NotCut` where hob, table or slide isn't driven, or the hob's size isn't known.
    """
    if case.solution.is_locked or case.rates is None:
        raise NotCut("hob and table aren't both driven, so that there is nothing to picture")
    rates = case.rates
    cuts_up = (case.solution.end_rate("hob") or 0) > 0
    infeed = (case.solution.end_rate("radial") or 0) < 0
    if not rates.table:
        raise NotCut("the table stands still, so that no spaces are cut round the blank")
    if not rates.axial and not (case.job.work.kind == "worm wheel" and (rates.tangential or infeed)):
        raise NotCut("no slide feeds the hob over the work")
    return StagedCut(setting_of(case).to_depth(gear_to_cut(case.job.work)), cuts_up, case.sizes.throat)


@dataclass(frozen=True)
class Scene:
    """A job's work and hob as solids in the machine's frame, from the set-up's own rates.

    `cuts` says in words what the rates would cut; `shop` has the job's own units and the machine's own words. `led` are
    the machine's errors, which a light cut shows.
    """

    title: str
    cut: StagedCut
    shop: Shop = PLAIN
    cuts: str = ""
    led: tuple[Led, ...] = ()

    @classmethod
    def of(cls, case: Case) -> Scene:
        """The scene of a set-up. Raises `NotCut` as `staged_of`."""
        return cls(case.job.title, staged_of(case), Shop.of(case), _what_is_cut(case.outcome), ripples_of(case))

    @property
    def setting(self) -> Setting:
        """Hob, blank, rates, swivel and distance of the cut."""
        return self.cut.setting

    @cached_property
    def stages(self) -> Stages:
        """The cut on its way."""
        return stages_of(self.cut)

    @cached_property
    def finished(self) -> Field:
        """The blank when all is cut."""
        return self.stages.field(1.0)

    @cached_property
    def hob(self) -> PolyData:
        """The hob about Z, its middle at 0."""
        return solid_mesh.hob_mesh(self.setting.hob, cuts_up=self.cut.cuts_up)

    @cached_property
    def _joints(self) -> solid_mesh.Joints:
        # Joined so that both the finished teeth and those that are on the way come out.
        half = self.stages.field(0.5)
        return solid_mesh.join(half, self.finished, tolerance=_ON_THE_WAY)

    def gear(self) -> PolyData:
        """The finished gear, closed, from face to face."""
        return solid_mesh.blank_mesh(self.finished, face_width=self.setting.blank.face_width)

    def on_the_way(self, progress: float, *, one_of_many: bool = True) -> PolyData:
        """The blank when this part of the cut, 0 to 1, is done.

        One of many is joined up as all others are, which takes its time once; a single one is quicker.
        """
        field = self.stages.field(progress)
        joints = self._joints if one_of_many else solid_mesh.join(field, tolerance=_ON_THE_WAY)
        return solid_mesh.blank_mesh(field, joints, face_width=self.setting.blank.face_width)

    def light_cut(self, exaggerate: float = EXAGGERATED) -> PolyData:
        """The blank after the first light cut, its marks drawn so many times as deep as they are."""
        field = light_field(self.setting, self.led)
        return solid_mesh.blank_mesh(
            field, solid_mesh.join(field, tolerance=solid_mesh.TOLERANCE / exaggerate), exaggerate=exaggerate
        )

    def position(self, turns: Fraction) -> Position:
        """Where the ends stand after so many hob turns of the cut, exactly."""
        return self.stages.phase.at(turns)

    def hob_pose(self, turns: Fraction) -> solid_mesh.Floats:
        """Matrix that brings the hob to its place after so many hob turns."""
        return solid_mesh.hob_pose(self.position(turns), self.setting.swivel_deg, self.setting.distance)

    def head_pose(self, turns: Fraction) -> solid_mesh.Floats:
        """Matrix that brings what doesn't turn with the hob, about its own axis Z, to its place."""
        place = replace(self.position(turns), hob=Fraction(0))
        return solid_mesh.hob_pose(place, self.setting.swivel_deg, self.setting.distance)

    def work_pose(self, turns: Fraction) -> solid_mesh.Floats:
        """Matrix that turns the work with the table after so many hob turns."""
        return solid_mesh.work_pose(self.position(turns))

    def progress_at(self, turns: Fraction) -> float:
        """The part of the cut that so many hob turns make, 0 to 1."""
        return min(max(float(turns / self.stages.phase.turns), 0.0), 1.0)

    def senses(self) -> dict[str, str]:
        """Which way each end runs with the drive, in the words of the trade; ends at rest are left out."""
        per_turn = self.cut.per_turn
        rates = {end: getattr(per_turn, end) for end in ENDS}
        return {end: self.shop.way(end, 1 if rate > 0 else -1) for end, rate in rates.items() if rate}

    def words(self, turns: Fraction, *, upright: bool = True) -> str:
        """What is to be seen after so many hob turns, in lines: what is cut, the head, what runs which way, where.

        A picture that lays a level machine's work down isn't `upright`.
        """
        names = {"axial": "slide", "tangential": "tangential slide", "radial": "radial slide"}
        runs = ", ".join(f"{names.get(end, end)} {way}" for end, way in self.senses().items())
        return "\n".join((self.title, self.cuts, self._head(upright), runs, self._place(self.position(turns))))

    def _head(self, upright: bool) -> str:
        swivel = self.setting.swivel_deg
        up = f"; up in this picture is {self.shop.up}" if self.shop.up and upright else ""
        if not swing(swivel):
            return f"head level{up}"
        return f"head swung {swivel_words(swivel)}, seen from behind the hob{up}"

    def _place(self, position: Position) -> str:
        rates = self.setting.rates
        end = "axial" if rates.axial else "tangential" if rates.tangential else "radial"
        place = float(getattr(position, end))
        told = length(abs(place), self.shop.units, 2 if end == "radial" else 1)
        where = self.shop.placed(end, told, 1 if place >= 0 else -1)
        return where if end == "radial" else f"{'centre' if end == 'axial' else 'middle'} of the hob {where}"


def _what_is_cut(outcome: Outcome | None) -> str:
    """The gear that the rates would cut, in words."""
    if outcome is None or outcome.runs_against_hob:
        return "no teeth: the table runs against the hob"
    if outcome.teeth is None:
        return "no whole number of teeth"
    if not outcome.is_steady:
        return f"about {outcome.teeth} teeth; the spaces of one table turn miss those of the one before"
    hand = f", {outcome.hand.word} hand" if outcome.hand else ""
    feed = f", {outcome.feed.value} feed" if outcome.feed else ""
    off = outcome.swivel_error_deg or 0.0
    spoilt = f"; head {angle_text(off)} from what they need" if abs(off) > SWIVEL_LIMIT_DEG else ""
    return f"{outcome.teeth} teeth{hand}{feed}{spoilt}"
