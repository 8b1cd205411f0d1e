"""Double helical work on the sheet: the groove, the order of work, which mark goes where, and what an error does."""

from __future__ import annotations

from handlead.kinematics.frame.words import Feed
from handlead.kinematics.other_work.double_helix import apex_shift
from handlead.machines.job_files.halves import Halves
from handlead.machines.proving.halves_checks import HalfInGroove, OtherHalf, groove_of
from handlead.machines.proving.proof import Proof
from handlead.machines.toml.units import dial, length
from handlead.viz.sheet.steps import Block, StepWords


def halves_block(proof: Proof) -> tuple[Block, ...]:
    """The steps for both halves; nothing for other work."""
    halves, found = proof.case.job.halves, groove_of(proof.case)
    if halves is None or found is None:
        return ()
    steps = _second(proof, halves, found) if halves.is_second else _first(proof, halves, found)
    which = "SECOND" if halves.is_second else "FIRST"
    title = f"DOUBLE HELICAL, this sheet: the {which} half, {found.half.upper()}"
    return (Block(title, tuple(steps)),)


def _first(proof: Proof, halves: Halves, found: HalfInGroove) -> list[StepWords]:
    units = proof.case.job.units
    steps = [StepWords(_turned(proof, halves, found), (("groove found", units), ("groove diameter found", units)))]
    steps.append(StepWords(_cut(proof, found)))
    steps.append(StepWords(_marked(halves)))
    steps.append(StepWords(_change_over(proof, halves)))
    return [*steps, *_set_second(proof, halves)]


def _second(proof: Proof, halves: Halves, found: HalfInGroove) -> list[StepWords]:
    marked = StepWords(f"The first half is cut and its line is there: if it isn't, draw it now. {_marked(halves)}")
    return [marked, StepWords(_cut(proof, found)), *_set_second(proof, halves)]


def _turned(proof: Proof, halves: Halves, found: HalfInGroove) -> str:
    units, face = proof.case.job.units, proof.case.job.work.face_width
    assert face is not None
    bottom = f", down to {dial(float(halves.groove_diameter), units)}" if halves.groove_diameter else ""
    return (
        f"Turn the blank: two faces of {dial(float(face), units)}, between them a groove "
        f"{dial(float(halves.groove), units)} "
        f"wide{bottom} (the hob needs {dial(found.needed, units)}, its tips go to "
        f"{dial(proof.case.sizes.root_diameter, units)} across). Scribe the middle of the groove all round."
    )


def _cut(proof: Proof, found: HalfInGroove) -> str:
    units, reckoned = proof.case.job.units, found.reckoned
    if found.feeds_into:
        return (
            f"Cut this half from its outer face INTO the groove. STOP when mid-hob is {dial(reckoned.overrun, units)} "
            "past "
            f"the inner face; never more than {dial(found.stop_past, units)}: from there the hob meets the other half."
        )
    return (
        f"This half is cut OUT of the groove: begin with mid-hob {dial(reckoned.reach, units)} before its inner face, "
        "no "
        "nearer to the other half than that; go to depth there, hob clear of both halves."
    )


def _marked(halves: Halves) -> str:
    what = "the middle of a TOOTH" if halves.staggered else "the middle of a SPACE"
    return (
        "Before the work is moved: at the inner face of the half just cut, mark the middle of a SPACE, and carry the "
        "mark "
        "STRAIGHT across the groove, along the axis, on to the outside of the other half (square from the table, or a "
        f"scriber in the slide with the table at rest). At ITS inner face {what} must come on that line: the two "
        "halves "
        "lean alike to either side of the groove's middle, so at like distances from it they stand alike."
    )


def _change_over(proof: Proof, halves: Halves) -> str:
    other, hand = proof.other_half, proof.case.job.work.hand
    assert hand is not None
    turned = "Turn the work end for end and true it again. " if halves.turned_over else (
        "Leave the work clamped; the slide goes on to the other half. "
    )
    steps = " ".join(step.words for step in other.steps) if other else ""
    how = steps or "No few changes lead there on this machine: plan the second half, it has a sheet of its own."
    return f"{turned}Change over to the {hand.other.word.upper()} hand. {how}{_fed(halves, other)}"


def _fed(halves: Halves, other: OtherHalf | None) -> str:
    """Which way the second half is fed, where the work stays clamped for it."""
    if halves.turned_over or other is None or other.feed is None:
        return ""
    backlash = ": take up the slide's backlash before it cuts" if other.feed is Feed.CLIMB else ""
    return f" The slide feeds the other way for it, {other.feed.value.upper()}{backlash}."


def _set_second(proof: Proof, halves: Halves) -> list[StepWords]:
    job, units = proof.case.job, proof.case.job.units
    off = float(halves.set_within)
    shift = length(apex_shift(off, job.work.beta_deg), units)
    where = "between two touches (a tooth)" if halves.staggered else "in the middle of a touch (a space)"
    return [
        StepWords(
            "For the second half let the hob just touch at the inner face, hob and table running, a hair deep, and "
            "look "
            f"where the line stands: it must be {where}. Off: stop the machine, hob clear, turn the work on its arbor "
            "by what is "
            "missing, "
            "clamp, touch again. All play taken up the same way each time.",
            (("line off the touch", f"{units}, along the circle"), ("and again", units)),
        ),
        StepWords(
            f"How truly: {length(off, units)} along the circle moves the apex by {shift} along the axis, and the "
            "pinion "
            "must float so far before both halves carry. Light cut, then measure the apex: a pin or ball in a space of "
            "each half, the same distance from the groove's middle, stands alike against a square.",
            (("apex found off", f"{units}, along the axis"),),
        ),
    ]
