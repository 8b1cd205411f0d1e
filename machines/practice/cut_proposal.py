"""Hob speed and feed to start from, for a job on its machine."""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

from handlead.kinematics.practice import cycle
from handlead.kinematics.practice.cutdata import (
    CuttingQuestion,
    Proposal,
    SpeedLimits,
    greatest_speed,
    propose,
    speed_range,
)
from handlead.kinematics.work.requirement import HobData, Work, gear_of
from handlead.kinematics.work.sizes import hob_tip_diameter
from handlead.machines.job_files.job_file import Cutting
from handlead.machines.machine_files.machine_file import Machine

from .cutting_data import shipped_cutting_data

#: Feed per table turn in mm where neither the job nor the cutting data say any (common practice).
USUAL_FEED = Fraction(3, 2)

#: What a speed is proposed for where the job names no material.
USUAL_MATERIAL = "steel to 700 N/mm2"

#: A hob speed that was asked for is met within this part of it: the nearest step of an old machine's speed gears.
ASKED_WITHIN = Fraction(1, 5)


def propose_cut(
    work: Work, hob: HobData, cutting: Cutting, machine: Machine, units: str = "mm"
) -> Proposal | str:
    """A starting value for speed and feed, its reasons in `units`, or in words why there is none."""
    tip = hob_tip_diameter(work, hob)
    if tip is None:
        return "no hob speed is proposed: the hob's diameter isn't given"
    cut = "radial" if work.kind == "worm wheel" else "finishing"
    mark = None if cutting.mark_um is None else float(cutting.mark_um)
    try:
        material = cutting.material or USUAL_MATERIAL
        wanted = CuttingQuestion(gear_of(work), material, cutting.hob_material, tip, hob.starts, cut, mark, units)
        return propose(shipped_cutting_data(), wanted, _limits(machine))
    except ValueError as why:
        return f"no starting value: {why}"


def _limits(machine: Machine) -> SpeedLimits:
    rpm = machine.limits.rpm.get(machine.train.ends["hob"].part)
    feed = machine.limits.feed_mm_per_table_turn
    return SpeedLimits(
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
    return Fraction(proposal.feed).limit_denominator(120)


def rpm_wanted(cutting: Cutting, proposal: Proposal | str) -> Fraction | None:
    """Hob speed: the job's, else the proposal's; None where there is neither."""
    if cutting.hob_rpm is not None:
        return cutting.hob_rpm
    if isinstance(proposal, str) or proposal.hob_rpm is None:
        return None
    return Fraction(round(proposal.hob_rpm))


@dataclass(frozen=True)
class SpeedLimit:
    """The upper end of the cutting data for a hob: `material` is the row's, `is_named` whether the job names it."""

    m_min: float
    rpm: float
    material: str
    is_named: bool
    hob_material: str


def speed_limit(work: Work, hob: HobData, cutting: Cutting) -> SpeedLimit | None:
    """The speed beyond which no hob is to run; None where the hob's diameter isn't known.

    The row's of the material that the job names; where it names none, the greatest that a hob of this kind has for any
    metal that is usually cut. Raises `ValueError` for a material or hob material that the table lacks.
    """
    tip, data = hob_tip_diameter(work, hob), shipped_cutting_data()
    if tip is None:
        return None
    if cutting.material is None:
        material, most = greatest_speed(data, cutting.hob_material)
    else:
        material, most = cutting.material, speed_range(data, cutting.material, cutting.hob_material)[1]
    return SpeedLimit(most, cycle.hob_rpm(most, tip), material, cutting.material is not None, cutting.hob_material)


@dataclass(frozen=True)
class SpeedWindow:
    """Hob speeds that will do: from `least` to `greatest`, nearest to `wanted`; `asked` by the job, or proposed.

    None where nothing is known: any speed then.
    """

    least: Fraction | None
    wanted: Fraction | None
    greatest: Fraction | None
    asked: bool


def speed_window(work: Work, hob: HobData, cutting: Cutting, proposal: Proposal | str) -> SpeedWindow:
    """The hob speeds that a plan may choose from.

    A speed that the job asks for holds, within a step of a speed gear; check_cutting_speed warns of one that is too
    much. Else the proposal's, down to half of it (slow costs time, not the hob) and up to the end of the row for the
    material that the job names, or of the usual one.
    """
    if cutting.hob_rpm is not None:
        asked = cutting.hob_rpm
        return SpeedWindow(asked * (1 - ASKED_WITHIN), asked, asked * (1 + ASKED_WITHIN), True)
    wanted = rpm_wanted(cutting, proposal)
    tip = hob_tip_diameter(work, hob)
    if wanted is None or tip is None:
        return SpeedWindow(None, wanted, None, False)
    material = cutting.material or USUAL_MATERIAL
    most = cycle.hob_rpm(speed_range(shipped_cutting_data(), material, cutting.hob_material)[1], tip)
    return SpeedWindow(wanted / 2, wanted, max(Fraction(math.floor(most)), wanted), False)
