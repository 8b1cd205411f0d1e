"""What a proof looks at between hob and blank: whether they suit each other, how deep the hob goes, how it gets in."""

from __future__ import annotations

import math
from collections.abc import Iterator, Set

from handlead.kinematics.gear import ROOT_CLEARANCE
from handlead.kinematics.sizes import hob_addendum, outside_diameter, sprocket_of
from handlead.kinematics.solution import SLIDE_ENDS

from .case import Case
from .findings import Finding
from .mending import find_mend
from .units import decimal, length

#: What to give where a size is wanting.
_GIVE = {
    "roller_diameter": ("the diameter of the chain's rollers", "[work]"),
    "outside_diameter": ("the outside diameter of the blank", "[work]"),
    "addendum": ("how high the hob's tips stand over its datum line", "[hob]"),
}


def check_hob_suits(case: Case) -> Iterator[Finding]:
    """Module and pressure angle of hob and work, and the lead angle that the hob's sizes imply."""
    hob, work = case.job.hob, case.job.work
    if not math.isclose(hob.module_n, work.module_n, rel_tol=1e-6):
        yield Finding(
            "hob-doesnt-suit",
            "error",
            f"The hob is of module {decimal(hob.module_n)}, the work of module {decimal(work.module_n)}.",
            "Take a hob of the work's normal module.",
        )
    if hob.pressure_angle_deg != work.pressure_angle_deg:
        yield Finding(
            "hob-doesnt-suit",
            "error",
            f"The hob's pressure angle is {decimal(hob.pressure_angle_deg)}°, the work's "
            f"{decimal(work.pressure_angle_deg)}°.",
            "Take a hob of the work's normal pressure angle.",
        )
    geometric = hob.geometric_gamma_deg
    if hob.lead_angle_deg is not None and geometric is not None and abs(geometric - hob.lead_angle_deg) > 0.1:
        yield Finding(
            "lead-angle-disagrees",
            "warning",
            f"The hob's lead angle is given as {float(hob.lead_angle_deg):.3f}°, but starts, module and reference "
            f"diameter give {geometric:.3f}°.",
            "Read the hob's face again; a hob ground back has a smaller diameter and a larger angle.",
        )


def check_blank(case: Case) -> Iterator[Finding]:
    """Whether the hob reaches the blank and has room for its teeth, and what the depth depends on but nobody gave."""
    sizes, units = case.sizes, case.job.units
    for key in sizes.wanting:
        what, table = _GIVE[key]
        yield Finding(
            "size-not-known",
            "note",
            f"The depth isn't known: it depends on {what}.",
            f'Give it as "{key}" under {table}, or take the depth from the drawing.',
        )
    if sizes.wanting:
        return
    if sizes.depth <= 0:
        yield Finding(
            "blank-too-small",
            "error",
            f"The blank is {length(sizes.outside_diameter, units, 2)} across, and at full depth the hob's tips "
            f"stand at {length(sizes.root_diameter, units, 2)}: nothing would be cut.",
            "Compare the blank's outside diameter with module, count and helix angle on the drawing.",
        )
    elif case.job.work.kind == "sprocket":
        yield from _check_sprocket(case)
    else:
        yield from _check_room(case)


def _check_sprocket(case: Case) -> Iterator[Finding]:
    sprocket, units = sprocket_of(case.job.work), case.job.units
    assert sprocket is not None
    least, greatest = sprocket.tip_diameters
    outside = outside_diameter(case.job.work)
    if not least - 0.005 <= outside <= greatest + 0.005:
        yield Finding(
            "blank-off-standard",
            "warning",
            f"The blank is {length(outside, units, 2)} across; ISO 606 has it from {length(least, units, 2)} to "
            f"{length(greatest, units, 2)} for this chain.",
            "Compare it with the drawing.",
        )


def _check_room(case: Case) -> Iterator[Finding]:
    """Whether the tips fit between the hob's threads."""
    hob, units = case.job.hob, case.job.units
    # As `Hob.dedendum`: the rack's addendum and the usual clearance, unless the hob says otherwise.
    below = 1 + ROOT_CLEARANCE if hob.dedendum is None else float(hob.dedendum)
    room = hob_addendum(case.job.work, hob) + below * float(hob.module_n)
    if case.sizes.depth > room + 0.005:
        yield Finding(
            "blank-too-large",
            "warning",
            f"The hob goes {length(case.sizes.depth, units, 2)} deep into this blank, and its threads are only "
            f"{length(room, units, 2)} deep: their bottoms would rub the blank's outside away.",
            "Compare the blank's outside diameter with module, count and profile shift on the drawing.",
        )


def check_worm_wheel_feed(case: Case) -> Iterator[Finding]:
    """A worm wheel is cut by feeding in, or across at depth; along its axis it gets no hollow."""
    if case.job.work.kind != "worm wheel" or case.solution.is_locked:
        return
    driven = {end: case.solution.end_rate(end) or 0 for end in SLIDE_ENDS if end in case.train.ends}
    feeding = [end for end, rate in driven.items() if rate]
    if "axial" in feeding:
        yield Finding(
            "fed-along-the-axis",
            "error",
            "The axial slide feeds: that cuts plain helical teeth, without a worm wheel's hollow.",
            find_mend(case, lambda changed: _is_fed_in(changed) and bool(changed.rates))
            or f'{_other_ways(driven.keys())}; a wheel with plain helical teeth is work of kind "helical".',
        )
    elif not feeding and driven.keys() & {"radial", "tangential"}:
        yield Finding(
            "not-fed",
            "error",
            "No slide feeds the hob into the worm wheel.",
            find_mend(case, lambda changed: _is_fed_in(changed) and bool(changed.rates))
            or f"{_empty(case)}Let the radial or the tangential slide be driven.",
        )
    elif not feeding:
        yield Finding(
            "fed-by-hand",
            "warning",
            "The machine drives neither a radial nor a tangential slide: the hob is to be fed in by hand.",
            "Feed slowly and evenly, and let the table turn once more at full depth.",
        )
    elif not driven.get("tangential") and driven.get("radial", 0) > 0:
        way = case.job.machine.way("radial", 1)
        yield Finding(
            "infeed-goes-away",
            "error",
            f"The radial slide goes {way} from the work when the drive runs: nothing would be cut.",
            find_mend(case, lambda changed: (changed.solution.end_rate("radial") or 0) < 0)
            or "Reverse the feed.",
        )


def _is_fed_in(case: Case) -> bool:
    solution = case.solution
    if solution.is_locked or solution.end_rate("axial"):
        return False
    return bool(solution.end_rate("tangential")) or (solution.end_rate("radial") or 0) < 0


def _other_ways(ends: Set[str]) -> str:
    if ends & {"radial", "tangential"}:
        return "Feed radially or tangentially"
    return "Open the feed, and feed in by hand"


def _empty(case: Case) -> str:
    names = [f'"{link.name}"' for link in case.train.brackets if link.mounted is None]
    return f"No change gears are mounted in {' and '.join(names)}. " if names else ""
