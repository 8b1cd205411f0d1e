"""Measuring at the machine, on the sheet: the first lead with a dial, and the teeth as they come to depth."""

from __future__ import annotations

import math
from collections.abc import Iterator
from fractions import Fraction

from handlead.kinematics.gears.gear import MM_PER_INCH
from handlead.machines.job_files.job_file import Gauging, Job
from handlead.machines.machine_files.machine_file import Machine
from handlead.machines.measuring.first_lead import FirstLead, first_lead
from handlead.machines.measuring.going_deeper import DepthMeasure, NotMeasured, measures_of
from handlead.machines.measuring.part_sizes import PartSizes, part_sizes
from handlead.machines.proving.proof import Proof
from handlead.machines.setups.case import Case
from handlead.machines.setups.clearing import draw_clear
from handlead.machines.toml.units import dial, length
from handlead.viz.sheet.steps import Block, StepWords


def first_lead_block(proof: Proof) -> tuple[Block, ...]:
    """How the lead of the light first cut is measured with a dial; nothing where there is none to be measured."""
    found = first_lead(proof.case)
    if found is None:
        return ()
    title = "THE FIRST LEAD, measured on the machine" if found.lead else "STRAIGHT TEETH, tried on the machine"
    return (Block(title, tuple(_lead_steps(proof.case, found)), _lead_told(found, proof.case.job.units)),)


def _lead_told(found: FirstLead, units: str) -> str:
    deep = "0.02 in" if units == "in" else "Half a mm"
    told = f"{deep} deep there is flank enough for a stylus; a scratch is sighted with a loupe."
    if found.lead and not found.tells_class:
        told += " A dial can't tell the class here: it proves gears, idlers and levers."
    return told


def _aside_step(case: Case, found: FirstLead, up: str) -> StepWords:
    """How far the dial goes aside as the slide goes up, and by how much the table is turned until it stands at 0."""
    units, hand = case.job.units, case.job.work.hand
    aside = "" if hand is None else f" to the {hand.word.upper()}, seen from behind the hob"
    keep = "Or keep" if found.teeth else "Keep"
    constant = length(math.pi * found.outside * found.rise, "mm", 1).removesuffix(" mm")
    if units == "in":
        constant = f"{math.pi * found.outside * found.rise / float(MM_PER_INCH) ** 2:.3f}"
    return StepWords(
        f"{keep} the stylus on its flank at the outside, slide {length(found.rise, units)} {up}: the dial goes "
        f"{length(found.reading, units)} aside{aside}, ± {length(found.off_reading, units)} by the class. The lead is "
        f"{constant} over the reading. Or turn the drive by hand until the dial stands at 0: the table has turned "
        f"{found.table_deg:.2f}°.",
        (("reading found", units), ("table turned", "degrees"), ("lead", f"{units}, for [seen]")),
    )


def _lead_steps(case: Case, found: FirstLead) -> Iterator[StepWords]:
    units, machine = case.job.units, case.job.machine
    up = machine.way("axial", 1)
    yield StepWords(
        f"Machine stopped and isolated; {draw_clear(case)}. {_parted(found)} Dial on the hob's slide, its stylus on a "
        "flank near "
        f"the {_low(machine)}, square to the axis, at 0."
    )
    if found.teeth:
        many = "the next tooth" if found.teeth == 1 else f"the {found.teeth}th tooth from it"
        yield StepWords(
            f"Stylus out, slide {up} until it stands at 0 on {many}, its like flank: after "
            f"{length(found.travel, units)}, ± {length(found.off_travel, units)} by the class. The lead is "
            f"{_times(found)} the travel.",
            (("travel found", units), ("lead", f"{units}, for [seen]")),
        )
    if found.lead:
        yield _aside_step(case, found, up)
    else:
        yield StepWords(
            f"Stylus on its flank, slide {length(found.rise, units)} {up}: the dial must stand, "
            f"± {length(found.off_reading, units)} by the class.",
            (("reading found", units), ("towards", "right / left")),
        )
    yield StepWords(
        f"Slide back to where the dial stood at 0, to the same division{_back(found)}: else the next cut misses this "
        "one. "
        "Dial off, then hob to START as this sheet says.",
        (("dial back at 0", "yes / no"),),
    )


def _low(machine: Machine) -> str:
    """The face that is below in the frame, as people at the machine say it."""
    way = machine.way("axial", -1)
    return "lower face" if way == "down" else f"face {way}"


def _times(found: FirstLead) -> str:
    return f"{found.count} times" if found.teeth == 1 else f"{Fraction(found.count, found.teeth)} times"


def _parted(found: FirstLead) -> str:
    """How the slide is parted from table and hob."""
    if found.levers is None:
        return "Take the feed gears out, and the differential's, so that the slide moves alone; clamp the table."
    put = ", ".join(f"lever {lever} to {place.upper()}" for lever, place in found.levers.items())
    put = f"{put[:1].upper()}{put[1:]}"
    clamp = "; clamp the table, it is free" if found.clamp else "; the table stands"
    return f"{put}: the slide moves alone{clamp}." if put else f"The slide moves alone{clamp}."


def _back(found: FirstLead) -> str:
    if found.back is None:
        return ", then all gears in again"
    put = ", ".join(f"{lever} to {place.upper()}" for lever, place in found.back.items())
    return f", then {put}" if put else ""


# ---------------------------------------------------------------- as the teeth come to depth


def measures_block(proof: Proof) -> tuple[Block, ...]:
    """Boxes for what the teeth measure short of depth, what that asks for, and what must then be read."""
    steps = tuple(_measure_steps(proof.case))
    if not steps:
        return ()
    told = "Write each under [[measured]] with its date, or give it to handlead measure: it tells how much deeper."
    return (Block("MEASURE SHORT OF DEPTH, then go deeper", steps, told),)


def _measure_steps(case: Case) -> Iterator[StepWords]:
    job, units = case.job, case.job.units
    over = float(MM_PER_INCH) / 250 if units == "in" else 0.1
    sizes = part_sizes(case)
    for name, taken in _short_of(sizes, over):
        for measure in _asked(job, taken):
            height = f", tongue set {dial(sizes.chord.height, units)}" if name == "chord" and sizes.chord else ""
            yield StepWords(
                f"{measure.what[0].upper()}{measure.what[1:]}{height}: {length(measure.wanted, units)} at full depth. "
                "Each "
                f"{length(over, units)} {'short' if name == 'depth' else 'over'}: go {length(measure.deeper, units)} "
                "deeper.",
                ((f"{name} found", units), ("dialled", units), ("then read", units)),
            )


def _short_of(sizes: PartSizes, over: float) -> Iterator[tuple[str, Gauging]]:
    """Each measure of the work as it reads so much off its size at full depth."""
    if sizes.span:
        yield "span", Gauging(span=(sizes.span.teeth, Fraction(sizes.span.size + over)))
    balls = sizes.balls or sizes.pins
    if balls:
        yield "balls", Gauging(balls=(Fraction(balls.ball), Fraction(balls.size + over)))
    if sizes.chord:
        yield "chord", Gauging(chord=Fraction(sizes.chord.thickness + over))
    if sizes.whole_depth is not None:
        yield "depth", Gauging(depth=Fraction(sizes.whole_depth - over))


def _asked(job: Job, taken: Gauging) -> tuple[DepthMeasure, ...]:
    try:
        return tuple(measures_of(job, taken))
    except NotMeasured:
        return ()
