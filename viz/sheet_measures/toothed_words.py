"""Taking up work that is toothed already, on the sheet: this machine's levers, and how far each step may be off."""

from __future__ import annotations

import math

from handlead.machines.job_keys.toothed_keys import FLANKS
from handlead.machines.judging_teeth.taking_up import TakingUp, gear_steps
from handlead.machines.proving.proof import Proof
from handlead.machines.setups.case import Case, feed_opened_by
from handlead.machines.setups.clearing import how_to_draw_clear
from handlead.machines.toml.units import length
from handlead.viz.sheet.steps import Block, StepWords

#: Why the work is toothed, as the block's heading says it.
_BECAUSE = {"worn": "WORN WORK, CUT AGAIN", "gashed": "GASHED WORK", "gears were out": "SECOND CUT, THE GEARS WERE OUT"}


def toothed_block(proof: Proof) -> tuple[Block, ...]:
    """The steps; nothing for a plain blank."""
    toothed = proof.case.job.toothed
    if toothed is None:
        return ()
    steps = tuple(_steps(proof.case, proof.taking_up))
    return (Block(f"TAKING UP: {_BECAUSE[toothed.because]}", steps, _told(proof.taking_up)),)


def _told(found: TakingUp | None) -> str:
    if found is None:
        return "Stock not known: measure a span where the teeth aren't worn, and write it as [[measured]]."
    units, off = found.case.job.units, found.may_be_off
    each = "; ".join(f"flank looking {flank}: {length(found.nominal(flank), units)} to cut" for flank in FLANKS)
    lead = f", lead {off['lead_ppm']:.0f} ppm" if "lead_ppm" in off else ""
    return (
        f"{each[0].upper()}{each[1:]}. Each may be off alone by: along the reference circle "
        f"{length(off['along_circle_mm'], units)}, off centre {length(off['off_centre_mm'], units)}, short of depth "
        f"{length(off['less_deep_mm'], units)}{lead}."
    )


def _steps(case: Case, found: TakingUp | None) -> list[StepWords]:
    units = case.job.units
    steps = [
        StepWords(
            "Machine isolated, hob CLEAR. Clamp the work and true it by its OLD teeth: a ball in every few spaces, "
            "dial on "
            "it. Set gears, head and levers as this sheet says, all of them in.",
            (("teeth run out", f"{units}, whole reading"),),
        ),
        StepWords(
            f"Bring mid-hob to mid-face{_by_lever(case)}, then turn the drive by hand the way it runs until table and "
            "slide follow: the play is out. From here on nothing is opened: hob, table and slide belong together."
        ),
        StepWords(
            "Loosen the work on its arbor, table and hob at rest. Set the hob in by hand towards a space, and turn "
            "the WORK "
            "until a hob tooth stands in its middle, where it isn't worn: feelers alike on both "
            "flanks, or blue on both." + _gears(case),
            (("gap, one flank", units), ("gap, other flank", units)),
        ),
    ]
    if found is not None and found.towards is not None and found.shift > 0:
        steps.append(
            StepWords(
                f"Then turn the work {length(found.shift_arc, units)} along the reference circle "
                f"{found.towards.upper()}, by "
                f"the dial on a tooth: so the flank that looks {found.towards} is cut more.",
                (("dial moved", units),),
            )
        )
    return [*steps, *_proving_steps(case, found)]


def _proving_steps(case: Case, found: TakingUp | None) -> list[StepWords]:
    units = case.job.units
    steps = [
        StepWords(
            f"Clamp, {_clear(case)}. Turn by hand: half a turn of the table, set in, look: it proves the count and "
            "how true "
            "the work runs. Then, hob clear, run the slide to each end of the face THROUGH ITS GEARS and look again: "
            "it "
            "proves lead and hand.",
            (("middle, half a turn on", units), ("middle, lower end", units), ("middle, upper end", units)),
        ),
        StepWords(
            "First cut so light that it only brightens the blued flanks. Both flanks of every tooth must show it "
            "alike. One "
            "flank bright only: clear, turn the work by half of what is missing, and again. Then go to depth.",
            (("bright on", " / ".join((*FLANKS, "both"))),),
        ),
    ]
    for off, left in found.missed if found else ():
        if found is not None and off > float(found.toothed.set_within):
            steps.append(StepWords(_missed(found, off, left.lands, left.thinnest)))
    return steps


def _missed(found: TakingUp, off: float, lands: int, thinnest: float) -> str:
    units, teeth = found.case.job.units, found.gear.teeth
    what = (
        f"{lands} teeth are left {length(thinnest, units)} thick at the reference circle"
        if lands == teeth
        else f"{lands} ridges stand for {teeth} teeth, the thinnest {length(thinnest, units)} at the reference circle"
        if lands
        else "no tooth is left at the reference circle"
    )
    pitches = off / (math.pi * found.gear.reference_diameter / teeth)
    part = {0.25: "a quarter", 0.5: "half"}.get(round(pitches, 3), f"{pitches:.2f}")
    return (
        f"If it wasn't found: {part} of a pitch off ({length(off, units)}), run to depth in simulation, {what}, "
        "instead of "
        f"{length(found.gear.transverse_thickness, units)}. The work is lost: look before every deeper cut."
    )


def _by_lever(case: Case) -> str:
    """How the slide gets there alone, and what is closed again."""
    opened = feed_opened_by(case)
    if opened is None:
        return " by the drive"
    lever, position = opened
    stands = case.job.machine.positions(case.setup)[lever]
    return f", lever {lever} at {position.upper()}, and put it back to {stands.upper()}"


def _clear(case: Case) -> str:
    return f"draw the hob clear {how_to_draw_clear(case).how}"


def _gears(case: Case) -> str:
    """How finely the last index gear sets it where the work can't be turned on its arbor."""
    steps = gear_steps(case)
    units = case.job.units
    told = "; ".join(f"{step.bracket}, last gear {step.gear}: {length(step.mm, units)} a tooth" for step in steps)
    how = "Work that can't turn on its arbor: draw the last index gear, turn the worm shaft, mesh again"
    return f" {how} ({told})." if told else ""
