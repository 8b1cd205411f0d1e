"""The hob's cutting speed as the set-up really runs, held against the table of cutting data."""

from __future__ import annotations

import math
from collections.abc import Iterator

from handlead.kinematics.practice import cycle
from handlead.kinematics.work.sizes import hob_tip_diameter
from handlead.machines.practice.cut_proposal import SpeedLimit, speed_limit
from handlead.machines.setups.case import Case, hob_rpm
from handlead.machines.setups.findings import Finding
from handlead.machines.toml.units import length, surface_speed

#: Floating point may take a speed at the end of a row for one beyond it.
_ROUNDING = 1e-9


def check_cutting_speed(case: Case) -> Iterator[Finding]:
    """A hob that runs faster than the upper end of its table, for the material that the job names or for any."""
    work, hob, cutting = case.job.work, case.job.hob, case.job.cutting
    rpm, tip = hob_rpm(case), hob_tip_diameter(work, hob)
    if rpm is None or tip is None or case.solution.is_locked or case.solution.backdriven:
        return
    try:
        limit = speed_limit(work, hob, cutting)
    except ValueError as why:
        yield Finding(
            "cutting-speed",
            "note",
            f"The cutting speed isn't held against anything: {why}.",
            "Name a material of the table under [cutting], or hold the speed against a table of your own.",
        )
        return
    speed = cycle.cutting_speed_m_min(rpm, tip)
    if limit is None or speed <= limit.m_min * (1 + _ROUNDING):
        return
    units = case.job.units
    yield Finding(
        "cutting-speed",
        "warning",
        f"The hob would run at {rpm:.4g} rpm: {_exceeding(speed, limit, units)} over its tips, {length(tip, units, 1)} "
        f"across. {_ends(limit, units)}",
        _slower(case, limit),
        facts={
            "hob_rpm": rpm,
            "cutting_speed_m_min": speed,
            "tip_diameter_mm": tip,
            "greatest_rpm": limit.rpm,
            "greatest_m_min": limit.m_min,
            "material": limit.material,
            "is_named": limit.is_named,
            "hob_material": limit.hob_material,
        },
    )


def _exceeding(speed: float, limit: SpeedLimit, units: str) -> str:
    """The speed, rounded so that it reads as more than what it is more than."""
    told = surface_speed(speed, units)
    return told if told != surface_speed(limit.m_min, units) else f"a little over {told}"


def _slower(case: Case, limit: SpeedLimit) -> str:
    machine = case.job.machine
    least, _ = machine.limits.rpm.get(machine.train.ends["hob"].part, (None, None))
    if least is not None and least > limit.rpm:
        return (
            f"The machine's slowest for the hob, {float(least):g} rpm, is too fast as well: take a smaller hob, or one "
            "that may run faster."
        )
    return f"Run the hob at {_floored(limit.rpm)} rpm or less{'' if limit.is_named else _NAME_IT}."


_NAME_IT = ', and name the material under [cutting]: steel asks for less'


def _ends(limit: SpeedLimit, units: str) -> str:
    most = surface_speed(limit.m_min, units)
    if limit.is_named:
        return f"For {limit.material} and a hob of {limit.hob_material} the table of cutting data ends at {most}."
    return (
        f"No material is named; the table of cutting data ends at {most} for a hob of {limit.hob_material}, and that "
        f"is for {limit.material}."
    )


def _floored(rpm: float) -> str:
    """A speed that isn't to be passed, rounded down to three digits."""
    step = 10.0 ** (math.floor(math.log10(rpm)) - 2)
    return f"{math.floor(rpm / step + _ROUNDING) * step:.4g}"
