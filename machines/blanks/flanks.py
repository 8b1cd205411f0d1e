"""The flanks of a set-up, cut to full depth in simulation: for the proof, for its pictures, and tried with a change."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from typing import TYPE_CHECKING

from handlead.kinematics.work.requirement import gear_to_cut
from handlead.machines.setups.case import Case, face_width_mm
from handlead.machines.setups.templates import displacements_of, guides, relief_to_measure

from .witness import NotCut, setting_of

if TYPE_CHECKING:
    from handlead.kinematics.cutting.setting import Setting
    from handlead.kinematics.frame.blank import FlankMap
    from handlead.kinematics.frame.motion import Led, Motion
    from handlead.kinematics.gears.gear import Gear
    from handlead.kinematics.gears.relief import Relief
    from handlead.kinematics.witness.flank_quality import FlankQuality


@dataclass(frozen=True)
class Flanks:
    """What cuts the flanks of a case: its setting at full depth, and what displaces an end: errors, templates.

    `relief` is the drawing's crown and taper, where they are to be measured.
    """

    setting: Setting
    gear: Gear
    ripples: tuple[Led, ...]
    relief: Relief | None = None

    @classmethod
    def of(cls, case: Case) -> Flanks:
        """The flanks of a case. Raises `NotCut` where nothing moves that must, or for work without involute flanks."""
        work, rates = case.job.work, case.rates
        if not work.has_involutes:
            kind = "straight-sided spline" if work.has_keys else work.kind
            raise NotCut(f"the flanks of a {kind} aren't those of a cylindrical gear")
        if rates is None or case.solution.is_locked or not rates.axial or not rates.table:
            raise NotCut("hob, table and axial slide must all move")
        gear = replace(gear_to_cut(work), face_width=face_width_mm(work))
        return cls(setting_of(case).to_depth(gear), gear, displacements_of(case), relief_to_measure(case))

    @property
    def motion(self) -> Motion:
        """The pass over the face at full depth."""
        from handlead.kinematics.witness.measured import full_pass

        return full_pass(self.setting, self.ripples)

    def measure(self) -> FlankQuality | None:
        """What is measured of them; None where they can't be seen."""
        from handlead.kinematics.witness.flank_quality import measure_flanks

        return measure_flanks(self.motion, self.setting, self.gear, self.relief)

    def maps(self) -> dict[str, FlankMap]:
        """Maps of both flanks of one space, by their names. Raises `ValueError` where no involute is made."""
        from handlead.kinematics.flank_cutting.flank_passages import FlankCut
        from handlead.kinematics.flank_cutting.flanks import cut_flank

        return {
            name: cut_flank(FlankCut.of(self.motion, self.setting, self.gear, side=side))
            for name, side in (("counter-clockwise flank", 1), ("clockwise flank", -1))
        }

    def on_a_true_machine(self, case: Case) -> Flanks:
        """The same without what the machine's file says of its errors, arbor and blank; templates lead as they do."""
        led = guides(case.train, face_width_mm(case.job.work))
        hob = replace(self.setting.hob, runout=0.0, runout_gash=0.0, wobble=0.0, wobble_gash=0.0)
        return replace(self, ripples=led, setting=replace(self.setting, hob=hob))

    def fed(self, share: Fraction) -> Flanks:
        """The same at this share of the feed, the table turning with it so that the teeth stay as they are."""
        hob, rates = self.setting.hob, self.setting.rates
        index = -hob.hand.value * Fraction(hob.starts, self.gear.teeth)
        slower = replace(
            rates,
            table=index + (rates.table - index) * share,
            axial=rates.axial * share,
            tangential=rates.tangential * share,
            radial=rates.radial * share,
        )
        return replace(self, setting=replace(self.setting, rates=slower))
