"""Pictures of what a blank has besides plain teeth: the two halves of a double helical gear, and teeth cut again."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from handlead.kinematics.witness.toothed import cut_again_section
from handlead.kinematics.work.requirement import gear_of
from handlead.machines.blanks.witness import NotCut, setting_of
from handlead.machines.judging_teeth.taking_up import taking_up
from handlead.machines.proving.halves_checks import groove_of
from handlead.machines.setups.case import Case
from handlead.machines.toml.units import dial, length
from handlead.viz.look import look
from handlead.viz.look.shop import Shop

from .pictures import NoPicture

if TYPE_CHECKING:
    from matplotlib.figure import Figure

#: Teeth shown side by side, and columns a tooth of the section.
_TEETH, _COLUMNS = 3, 400


def halves_picture(case: Case) -> Figure:
    """The outside of both halves, unrolled: spaces, groove, how far the hob reaches, and the line across the groove."""
    halves, found = case.job.halves, groove_of(case)
    if halves is None or found is None:
        raise NoPicture("the job has no [double_helical], or the hob's size isn't known")
    work, shop, units = case.job.work, Shop.of(case), case.job.units
    assert work.face_width is not None and work.hand is not None
    face, groove = shop.sized(float(work.face_width)), shop.sized(float(halves.groove))
    gear = gear_of(work)
    pitch = shop.sized(math.pi * gear.reference_diameter / work.teeth)
    slope = math.tan(math.radians(work.beta_deg))
    figure = look.new_figure(150, 170)
    axes = figure.add_axes((0.14, 0.16, 0.8, 0.74))
    own = 1 if found.half == "upper" else -1
    for side in (1, -1):
        inner, outer = side * groove / 2, side * (groove / 2 + face)
        lean = work.hand.value if side == own else -work.hand.value
        shifted = pitch / 2 if halves.staggered and side != own else 0.0
        for number in range(-3, 8):
            # At the inner faces both stand alike, on the line across the groove.
            at = number * pitch + shifted
            xs = [at, at + lean * slope * (outer - inner)]
            axes.plot(xs, [inner, outer], color=look.INK, linewidth=2.0 if side == own else 1.0)
    for y in (-groove / 2, groove / 2):
        axes.axhline(y, color=look.INK, linewidth=0.8)
    inner = own * groove / 2
    reach = inner - own * shop.sized(found.reckoned.overrun + found.reckoned.reach)
    axes.axhline(reach, color=look.INK, linewidth=0.8, linestyle="--")
    axes.text(0.05 * pitch, reach, "hob reaches to here", fontsize=look.TEXT, va="bottom" if own > 0 else "top")
    axes.plot([2 * pitch] * 2, [-groove / 2, groove / 2], color=look.INK, linewidth=1.2, linestyle=":")
    axes.text(2.05 * pitch, 0, "line across", fontsize=look.TEXT, va="center")
    axes.set_xlim(0, 4 * pitch)
    axes.set_ylim(-groove / 2 - face, groove / 2 + face)
    axes.set_xlabel(f"round the work, {units}", fontsize=look.TEXT)
    axes.set_ylabel(f"from the groove's middle, {units}", fontsize=look.TEXT)
    needed, wide = (dial(mm, units) for mm in (found.needed, float(halves.groove)))
    said = f"heavy: this half, {found.half}; groove {wide}, needs {needed}"
    axes.set_title(f"{case.job.title}\n{said}", fontsize=look.TEXT)
    return figure


def toothed_picture(case: Case) -> Figure:
    """A section of the toothed work at mid-face: the old teeth, and what the new cut leaves, as simulated."""
    found = taking_up(case)
    if found is None:
        raise NoPicture("the job has no [toothed], or nobody measured what there is to cut")
    gear, shop, units = found.gear, Shop.of(case), case.job.units
    columns, radius = _COLUMNS * gear.teeth, gear.reference_diameter / 2
    try:
        setting = setting_of(case).to_depth(gear)
        section = cut_again_section(setting, found.less_deep, found.meant_arc / (2 * math.pi * radius), columns)
    except (NotCut, ValueError) as fault:
        raise NoPicture(str(fault)) from fault
    shown = min(_TEETH * _COLUMNS, columns)
    angles = [2 * math.pi * index / columns * radius for index in range(shown)]
    figure = look.new_figure(190, 110)
    axes = figure.add_axes((0.1, 0.16, 0.86, 0.64))
    xs = [shop.sized(x) for x in angles]
    axes.plot(xs, [shop.sized(r) for r in section.old[:shown]], color=look.INK, linewidth=0.9, linestyle="--")
    axes.plot(xs, [shop.sized(r) for r in section.both[:shown]], color=look.INK, linewidth=2.0)
    axes.set_xlabel(f"along the reference circle, counter-clockwise, {units}", fontsize=look.TEXT)
    axes.set_ylabel(f"from the axis, {units}", fontsize=look.TEXT)
    clockwise, other = (length(found.nominal(flank), units) for flank in ("clockwise", "counter-clockwise"))
    axes.set_title(
        f"{case.job.title}\nbroken: the teeth there, unworn; heavy: cut again\n"
        f"to cut at the worst place: {clockwise} off the flank looking clockwise, {other} off the other",
        fontsize=look.TEXT,
    )  # fmt: skip
    return figure


#: The pictures that only some jobs have, by the name that the command line has for them.
SOME = {"halves": halves_picture, "toothed": toothed_picture}
