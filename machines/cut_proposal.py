"""Hob speed and feed to start from, for a job on its machine."""

from __future__ import annotations

from fractions import Fraction

from handlead.kinematics.cutdata import Job as CutJob
from handlead.kinematics.cutdata import Limits as CutLimits
from handlead.kinematics.cutdata import Proposal, propose
from handlead.kinematics.requirement import HobData, Work, gear_of
from handlead.kinematics.sizes import hob_tip_diameter

from .cutting_data import shipped_cutting_data
from .job_file import Cutting
from .machine_file import Machine

#: Feed per table turn in mm where neither the job nor the cutting data say any (common practice).
USUAL_FEED = Fraction(3, 2)


def propose_cut(work: Work, hob: HobData, cutting: Cutting, machine: Machine) -> Proposal | str:
    """A starting value for speed and feed, or in words why there is none."""
    tip = hob_tip_diameter(work, hob)
    if tip is None:
        return "no hob speed is proposed: the hob's diameter isn't given"
    cut = "radial" if work.kind == "worm wheel" else "finishing"
    mark = None if cutting.mark_um is None else float(cutting.mark_um)
    try:
        wanted = CutJob(gear_of(work), cutting.material, cutting.hob_material, tip, hob.starts, cut, mark)
        return propose(shipped_cutting_data(), wanted, _limits(machine))
    except ValueError as why:
        return f"no starting value: {why}"


def _limits(machine: Machine) -> CutLimits:
    rpm = machine.limits.rpm.get(machine.train.ends["hob"].part)
    feed = machine.limits.feed_mm_per_table_turn
    return CutLimits(
        hob_rpms=None if rpm is None else (float(rpm[0] or 1), float(rpm[1])),
        hob_rpms_are_range=True,
        feeds=None if feed is None else (float(feed[0] or Fraction(1, 100)), float(feed[1])),
        feeds_are_range=True,
    )


def feed_wanted(cutting: Cutting, proposal: Proposal | str) -> Fraction:
    """Feed per table turn in mm: the job's, else the proposal's, else a usual one."""
    if cutting.feed is not None:
        return cutting.feed
    if isinstance(proposal, str):
        return USUAL_FEED
    return Fraction(round(proposal.feed * 100), 100)


def rpm_wanted(cutting: Cutting, proposal: Proposal | str) -> Fraction | None:
    """Hob speed: the job's, else the proposal's; None where there is neither."""
    if cutting.hob_rpm is not None:
        return cutting.hob_rpm
    if isinstance(proposal, str) or proposal.hob_rpm is None:
        return None
    return Fraction(round(proposal.hob_rpm))
