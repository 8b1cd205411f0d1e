"""One member of a pair as its set-up cuts it in simulation, ready to be rolled."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from handlead.kinematics.frame.words import Hand
from handlead.kinematics.gears.gear import Gear
from handlead.kinematics.work.requirement import Work, gear_to_cut
from handlead.kinematics.work.sizes import gear_on_blank, outside_diameter
from handlead.machines.blanks.witness import NotCut, cut_blank, setting_of
from handlead.machines.job_files.job_file import Job
from handlead.machines.setups.case import Case, face_width_mm
from handlead.machines.setups.imperfections import ripples_of

if TYPE_CHECKING:
    from handlead.kinematics.gauging.field import Gauged
    from handlead.kinematics.rolling.as_cut import CutGear

#: A lead that is off by more than this over the face, in modules, is rolled as that of the gear that was found.
_ANOTHER_LEAD = 0.05


@dataclass(frozen=True)
class RolledMember:
    """A member: its drawing, what was measured on its simulated blank, and the gear that was cut there.

    `found` is None for the drawing's own gear, which nobody cut. `gear` is None where nothing could be made of the
    blank; `why_not` says why.
    """

    work: Work
    found: Gauged | None = None
    gear: CutGear | None = None
    why_not: str = ""

    @property
    def hand(self) -> str:
        """The hand that it has: measured, or the drawing's."""
        if self.found is not None and self.found.hand is not None:
            return self.found.hand
        return self.hand_wanted

    @property
    def hand_wanted(self) -> str:
        """The hand on its drawing."""
        return self.work.hand.word if self.work.is_helical and self.work.hand else "none"

    @property
    def teeth(self) -> int | None:
        """Its count: measured, or the drawing's."""
        return self.work.teeth if self.found is None else self.found.teeth

    @property
    def lean_um(self) -> float | None:
        """By how much the teeth lean too far to the right over the face, in µm along the base tangent, on average.

        None where their flanks weren't looked at, or aren't finished, and where they lean to another hand than drawn:
        lines that cross have no slope against each other.
        """
        if self.gear is None or self.hand != self.hand_wanted:
            return None
        import numpy as np
        from handlead.kinematics.rolling.as_cut import SIDES

        leans = []
        for side in SIDES:
            flank = self.gear.flanks[side]
            # What goes round with the gear leans each tooth another way.
            stands = self.gear.every_tooth(side)
            rows = stands[np.isfinite(stands).all(axis=1)]
            if not rows.size:
                return None
            slope = np.polyfit(flank.heights, rows.mean(axis=0), 1)[0]
            leans.append(-side * float(slope) * self.gear.width * 1000)
        # At the drawing's base cylinder, as helix slopes are measured.
        off = (self.gear.twist - _twist_wanted(self.work)) * gear_to_cut(self.work).base_diameter / 2
        return sum(leans) / len(leans) + off * self.gear.width * 1000


def _twist_wanted(work: Work) -> float:
    return 2 * math.pi * work.signed_inverse_lead


def as_drawn(work: Work) -> RolledMember:
    """The drawing's own gear, without any error."""
    from handlead.kinematics.rolling.as_cut import perfect

    try:
        return RolledMember(work, None, perfect(_on_its_blank(work)))
    except ValueError as why:
        return RolledMember(work, None, None, str(why))


def as_cut(job: Job) -> RolledMember:
    """The gear that a job's set-up cuts: measured first, then both flanks looked at. Raises `NoSetup`, `FileFault`."""
    from handlead.kinematics.rolling.as_cut import gear_as_cut
    from handlead.kinematics.witness.measured import full_pass

    case = Case.of(job)
    try:
        found = cut_blank(case).gauged
    except NotCut as why:
        return RolledMember(job.work, None, None, str(why))
    if found.teeth is None:
        return RolledMember(job.work, found, None, "no even teeth are left on the blank")
    try:
        gear = _as_found(job.work, found)
        setting = setting_of(case).to_depth(_on_its_blank(job.work))
        return RolledMember(job.work, found, gear_as_cut(full_pass(setting, ripples_of(case)), setting, gear))
    except ValueError as why:
        return RolledMember(job.work, found, None, str(why))


def _on_its_blank(work: Work) -> Gear:
    """The drawing's gear, its tips where its blank ends."""
    return replace(gear_on_blank(work) or gear_to_cut(work), face_width=face_width_mm(work))


def _as_found(work: Work, found: Gauged) -> Gear:
    """What flanks are held against: the drawing's gear, or, where count, hand or lead are another's, the gear found.

    That one's shift is such that the hob stands as deep, and its tips are where the blank ends.
    """
    drawn = _on_its_blank(work)
    hand = None if found.hand == "none" else Hand[str(found.hand).upper()]
    inverse = hand.value / found.lead_mm if hand and found.lead_mm else 0.0
    leans = math.pi * drawn.base_diameter * face_width_mm(work) * abs(inverse - work.signed_inverse_lead)
    if found.teeth == drawn.teeth and leans < _ANOTHER_LEAD * drawn.module_n:
        return drawn
    assert found.teeth is not None
    sine = math.pi * drawn.module_n * found.teeth * abs(inverse)
    if sine >= 1:
        raise ValueError("a lead so short belongs to no gear of this module")
    helix = math.degrees(math.asin(sine))
    other = replace(
        drawn, teeth=found.teeth, helix_angle_deg=helix, hand=hand if helix else None, profile_shift=0.0
    )
    shift = drawn.profile_shift + (drawn.reference_diameter - other.reference_diameter) / 2 / drawn.module_n
    addendum = (outside_diameter(work) - other.reference_diameter) / 2 / drawn.module_n - shift
    if not 0 < addendum <= 3:
        raise ValueError("the blank is too small for its teeth, or too large")
    return replace(other, profile_shift=shift, rack=replace(drawn.rack, addendum=addendum))
