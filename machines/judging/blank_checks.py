"""What a proof looks at between hob and blank: whether they suit each other, how deep the hob goes, how it gets in."""

from __future__ import annotations

import math
from collections.abc import Iterator, Set
from fractions import Fraction

from handlead.kinematics.frame.words import angle_text
from handlead.kinematics.gears.gear import ROOT_CLEARANCE, diametral_pitch_from_module
from handlead.kinematics.other_work.sprocket import pitch_diameter
from handlead.kinematics.train.solution import SLIDE_ENDS
from handlead.kinematics.work.requirement import Work, gear_of
from handlead.kinematics.work.sizes import (
    hob_addendum,
    outside_diameter,
    spline_is_unknown,
    sprocket_of,
)
from handlead.machines.setups.case import Case, empty_brackets
from handlead.machines.setups.findings import Finding
from handlead.machines.toml.units import decimal, length, quoted

#: What to give where a size is wanting.
_GIVE = {
    "roller_diameter": ("the diameter of the chain's rollers", "[work]"),
    "outside_diameter": ("the outside diameter of the blank", "[work]"),
    "addendum": ("how high the hob's tips stand over its datum line", "[hob]"),
}


def check_hob_suits(case: Case) -> Iterator[Finding]:
    """Module and pressure angle of hob and work, and the lead angle that the hob's sizes imply."""
    hob, work = case.job.hob, case.job.work
    if not _modules_agree(case):
        yield Finding(
            "hob-doesnt-suit",
            "error",
            f"The hob is of {size_text(hob.module_n, case)}, the work of {size_text(work.module_n, case)}"
            f"{', normal to the thread' if work.kind == 'worm wheel' else ''}.",
            _other_hob(case),
            {"hob_module_mm": hob.module_n, "work_module_mm": work.module_n},
        )
    if abs(hob.pressure_angle_deg - work.pressure_angle_deg) > _angle_agrees(work):
        yield Finding(
            "hob-doesnt-suit",
            "error",
            f"The hob's pressure angle is {decimal(hob.pressure_angle_deg)}°, the work's "
            f"{decimal(work.pressure_angle_deg)}°.",
            "Take a hob of the work's normal pressure angle.",
            {"hob_pressure_angle_deg": hob.pressure_angle_deg, "work_pressure_angle_deg": work.pressure_angle_deg},
        )
    geometric = hob.geometric_gamma_deg
    if hob.lead_angle_deg is not None and geometric is not None and abs(geometric - hob.lead_angle_deg) > 0.1:
        yield Finding(
            "lead-angle-disagrees",
            "warning",
            f"The hob's lead angle is given as {float(hob.lead_angle_deg):.3f}°, but starts, module and reference "
            f"diameter give {geometric:.3f}°.",
            "Read the hob's face again; a hob ground back has a smaller diameter and a larger angle.",
            {"lead_angle_deg": hob.lead_angle_deg, "geometric_lead_angle_deg": geometric},
        )


#: Places after the point to which a normal module, or a diametral pitch, of a worm is worked out at least.
_PLACES = 2

#: How far apart the normal pressure angles of a worm's hob and its wheel may be, in degrees: rounded to two places.
_ROUNDED_DEG = Fraction(1, 200)


def _modules_agree(case: Case) -> bool:
    """Whether hob and work are of one module; a worm wheel's, worked out from the axial one, to the places written."""
    hob, work = case.job.hob.module_n, case.job.work.module_n
    if math.isclose(hob, work, rel_tol=1e-6):
        return True
    if case.job.work.kind != "worm wheel":
        return False
    pitches = Fraction(diametral_pitch_from_module(hob)), Fraction(diametral_pitch_from_module(work))
    return any(_same_to_its_places(*pair) for pair in ((hob, work), pitches))


def _same_to_its_places(written: Fraction, exact: Fraction) -> bool:
    """Whether `written`, a short decimal, is `exact` rounded to as many places as it has, or to two."""
    places = next((places for places in range(_PLACES, 8) if not (written * 10**places).denominator > 1), None)
    return places is not None and abs(written - exact) * 2 * 10**places <= 1


def _angle_agrees(work: Work) -> Fraction:
    return _ROUNDED_DEG if work.kind == "worm wheel" else Fraction(0)


def _other_hob(case: Case) -> str:
    """What hob to take, or what to write where its axial module seems to stand for the normal one."""
    hob, work = case.job.hob, case.job.work
    axial = float(work.module_n) / math.cos(math.radians(work.beta_deg))
    if work.kind == "worm wheel" and math.isclose(hob.module_n, axial, rel_tol=1e-4):
        wanted = f"module = {decimal(work.module_n)}"
        if case.job.units == "in":
            wanted = f"diametral_pitch = {decimal(Fraction(diametral_pitch_from_module(work.module_n)))}"
        return f"If that is its axial size, write what it is normal to the thread: {wanted}; else take such a hob."
    if work.has_keys:
        return "Take the hob that is made for these keys: their count, width and diameters are marked on it."
    if work.kind == "sprocket":
        return f"Take a hob for a chain of {size_text(work.module_n, case)}."
    return "Take a hob of the work's normal module or pitch."


#: A hob's two diameters may disagree with its addendum by so many modules before it is told.
_DIAMETERS_AGREE = 0.05

#: Tips may be shorter than usual by so many modules before it is told.
_SHORT_TIPS = 0.1


#: Hobs of a smaller pressure angle than this are of older racks, with tips so many modules high: the 14 1/2 degree
#: tooth of inch practice, 2.157 over the pitch deep (from memory).
_ISO_PRESSURE_DEG, _OLD_ADDENDUM = 20, 1.157


#: A worm's lead angle below this leaves a wheel that may be cut straight, in degrees. Own choice.
_STRAIGHT_WORM_DEG = 1.0


def check_hob_sizes(case: Case) -> Iterator[Finding]:
    """A hob whose diameters leave another height for its tips than its rack; an old one that says none."""
    work, hob, units = case.job.work, case.job.hob, case.job.units
    if case.sizes.wanting:
        return
    if hob.diameter is None or hob.outside_diameter is None:
        yield from _depth_taken_for_granted(case)
        return
    height, ours = float(hob.outside_diameter - hob.diameter) / 2, hob_addendum(work, hob)
    if abs(height - ours) > _DIAMETERS_AGREE * float(hob.module_n):
        yield Finding(
            "hob-sizes-disagree",
            "warning",
            f"The hob's two diameters leave {length(height, units, 2)} for its tips over the datum line; the depth is "
            f"worked out with {length(ours, units, 2)}.",
            'Measure the hob over its tips, and give its "addendum" in modules if it isn\'t the rack\'s.',
            {"tip_height_mm": height, "reckoned_tip_height_mm": ours},
        )


def _depth_taken_for_granted(case: Case) -> Iterator[Finding]:
    """A hob of an older rack than ISO's, with nothing that says how high its tips stand: ISO's may be too deep."""
    work, hob, units = case.job.work, case.job.hob, case.job.units
    is_gear = work.kind in ("spur", "helical")
    if not is_gear or hob.addendum is not None or hob.pressure_angle_deg >= _ISO_PRESSURE_DEG:
        return
    module, ours = float(hob.module_n), hob_addendum(work, hob)
    old = _OLD_ADDENDUM * module
    yield Finding(
        "depth-taken-for-granted",
        "warning",
        f"Nothing says how high the hob's tips stand: {length(ours, units, 2)} over the datum line is taken, as with "
        f"hobs of today. Hobs of {float(hob.pressure_angle_deg):g}° mostly have {length(old, units, 2)}, and then the "
        f"depth is {length(ours - old, units, 2)} less.",
        f'Read the depth that is marked on the hob; write addendum = {_OLD_ADDENDUM:g} under [hob] for a full depth of '
        f"{1 + _OLD_ADDENDUM:g} over the pitch, or what it is in modules.",
        {"reckoned_tip_height_mm": ours, "old_tip_height_mm": old},
    )


def size_text(module_n: Fraction, case: Case) -> str:
    """The size of teeth as the job's units and its kind of work have it."""
    if case.job.work.kind == "sprocket":
        return f"pitch {length(math.pi * float(module_n), case.job.units)}"
    if case.job.units == "in":
        return f"{decimal(diametral_pitch_from_module(module_n))} DP"
    return f"module {decimal(module_n)}"


def check_blank(case: Case) -> Iterator[Finding]:
    """Whether the hob reaches the blank and has room for its teeth, and what the depth depends on but nobody gave."""
    sizes, units = case.sizes, case.job.units
    for key in sizes.wanting[:1]:
        what, table = _GIVE[key]
        yield Finding(
            "size-not-known",
            "note",
            f"The depth isn't known: it depends on {what}.",
            f'Give it as "{key}" under {table}, or take the depth from the drawing.',
        )
    if "outside_diameter" in sizes.wanting:
        return
    outside, least = sizes.outside_diameter, _least_outside(case)
    if outside <= least:
        yield Finding(
            "blank-too-small",
            "error",
            f"The blank is {length(outside, units, 2)} across; for these teeth it must be more than "
            f"{length(least, units, 2)}.",
            "Compare the blank's outside diameter with count, size of the teeth and helix angle on the drawing.",
            {"outside_diameter_mm": outside, "least_mm": least},
        )
        return
    if case.job.work.kind == "sprocket":
        yield from _check_sprocket(case)
        return
    yield from _check_tips(case)
    if not sizes.wanting:
        yield from _check_room(case)


def _least_outside(case: Case) -> float:
    """The diameter in mm up to which there are no teeth over the middle of their height, or none at all."""
    work = case.job.work
    if work.kind == "sprocket":
        return pitch_diameter(work.teeth, math.pi * float(work.module_n))
    if work.has_keys:
        return case.sizes.root_diameter
    gear = gear_of(work)
    middle = gear.reference_diameter + 2 * gear.profile_shift * gear.module_n
    return max(middle, case.sizes.root_diameter)


def _check_tips(case: Case) -> Iterator[Finding]:
    """Whether the teeth come out as high as is usual."""
    work, units = case.job.work, case.job.units
    short = (gear_of(work).tip_diameter - case.sizes.outside_diameter) / 2
    if spline_is_unknown(work) or work.has_keys:
        return
    if short > _SHORT_TIPS * float(work.module_n):
        yield Finding(
            "tips-short",
            "warning",
            f"The blank is {length(case.sizes.outside_diameter, units, 2)} across: the tips come out "
            f"{length(short, units, 2)} shorter than usual.",
            "Compare the blank's outside diameter with the drawing.",
            {"outside_diameter_mm": case.sizes.outside_diameter, "shorter_by_mm": short},
        )


def _check_sprocket(case: Case) -> Iterator[Finding]:
    sprocket, units = sprocket_of(case.job.work), case.job.units
    if sprocket is None:
        return
    least, greatest = sprocket.tip_diameters
    outside = outside_diameter(case.job.work)
    if not least - 0.005 <= outside <= greatest + 0.005:
        yield Finding(
            "blank-off-standard",
            "warning",
            f"The blank is {length(outside, units, 2)} across; ISO 606 has it from {length(least, units, 2)} to "
            f"{length(greatest, units, 2)} for this chain.",
            "Compare it with the drawing.",
            {"outside_diameter_mm": outside, "least_mm": least, "greatest_mm": greatest},
        )


def _check_room(case: Case) -> Iterator[Finding]:
    """Whether the tips fit between the hob's threads."""
    hob, units = case.job.hob, case.job.units
    if case.job.work.has_keys:
        return  # a hob that is made for the shaft has room for its keys
    # As `Hob.dedendum`: the rack's addendum and the usual clearance, unless the hob says otherwise.
    below = 1 + ROOT_CLEARANCE if hob.dedendum is None else float(hob.dedendum)
    room = hob_addendum(case.job.work, hob) + below * float(hob.module_n)
    if case.sizes.depth > room + 0.005:
        yield Finding(
            "blank-too-large",
            "warning",
            f"The hob goes {length(case.sizes.depth, units, 2)} deep into this blank, and its threads are only "
            f"{length(room, units, 2)} deep: their bottoms would rub the blank's outside away.",
            "Compare blank, profile shift and thinning with the drawing, and the hob's dedendum with the hob.",
            {"depth_mm": case.sizes.depth, "room_mm": room},
        )


def check_worm_wheel_lean(case: Case) -> Iterator[Finding]:
    """A worm wheel's teeth lean as the worm's thread does, where their shafts cross at right angles."""
    work, gamma = case.job.work, case.job.hob.gamma_deg
    if work.kind == "worm wheel" and not work.is_helical and gamma and gamma > _STRAIGHT_WORM_DEG:
        yield Finding(
            "worm-wheel-straight",
            "warning",
            f"The drawing gives the worm wheel straight teeth, and the hob has a lead angle of {angle_text(gamma)}: "
            "it would run with its worm only on shafts that don't cross at right angles.",
            'Give "hand" and, as "helix_angle", the lead angle of the worm.',
            {"lead_angle_deg": gamma},
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
            f'{_other_ways(driven.keys())}; a wheel with plain helical teeth is work of kind "helical".',
        )
    elif not feeding and driven.keys() & {"radial", "tangential"}:
        yield Finding(
            "not-fed",
            "error",
            "No slide feeds the hob into the worm wheel.",
            f"No change gears are mounted in {quoted(empty)}."
            if (empty := empty_brackets(case, ("radial", "tangential")))
            else "Let the radial or the tangential slide be driven.",
            {"empty_brackets": empty},
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
            "The radial slide must go towards the work when the drive runs.",
            {"goes": way},
        )


def _other_ways(ends: Set[str]) -> str:
    if ends & {"radial", "tangential"}:
        return "Feed radially or tangentially"
    return "Open the feed, and feed in by hand"
