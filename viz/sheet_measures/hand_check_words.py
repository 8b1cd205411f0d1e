"""The hand checks in words: what to move, where the levers go for it and back, and what must answer."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

from handlead.kinematics.frame.words import POSITIVES, STILL
from handlead.machines.job_files.job_file import Job
from handlead.machines.job_keys.hand_keys import HAND_KEYS
from handlead.machines.measuring.hand_checks import HandCheck
from handlead.machines.proving.proof import Proof
from handlead.machines.toml.units import length
from handlead.viz.sheet.steps import Block, StepWords


def hand_check_block(proof: Proof) -> tuple[Block, ...]:
    """The checks with boxes for what was found; nothing where nothing can be turned by hand."""
    job = proof.case.job
    steps = tuple(StepWords(check_words(job, check), _boxes(job, check)) for check in proof.hand_checks)
    if not steps:
        return ()
    told = (
        "Drive isolated and locked out, all guards but the handwheel's shut, hob CLEAR of the work. Go to the start of "
        "each turn the same way, so that all play is taken up. Found otherwise: write it under [seen], then trace."
    )
    return (Block("HAND CHECKS, before any metal is cut", steps, told),)


def check_words(job: Job, check: HandCheck) -> str:
    """One check as it is done and what it must give."""
    put = _levers(check.levers)
    out = "" if check.levers or not check.feed_parted else "Feed gears out"
    first = f"Lever {put}" if put else out or "All in as set"
    back = f"lever {_levers(check.back)}" if check.back else ("put the feed gears in again" if out else "")
    if check.turn != "hob":
        back = f"the slide back by as much{f', then {back}' if back else ''}"
    return f"{first}. {_moved(job, check)}: {_answer(job, check)}.{f' Then {back}.' if back else ''}"


def _levers(levers: Mapping[str, str]) -> str:
    return ", ".join(f"{name} to {position.upper()}" for name, position in levers.items())


def _moved(job: Job, check: HandCheck) -> str:
    way = job.machine.way(check.turn, _sign(check.turn, check.way))
    if check.turn == "hob":
        return f"{_number(check.amount)} turns of the hob, {way}"
    return f"Hob at rest, the {check.turn} slide {length(float(check.amount), job.units, 1)} {way} by its handwheel"


def _answer(job: Job, check: HandCheck) -> str:
    way = STILL
    if check.moves_way != STILL:
        way = job.machine.way(check.moves, _sign(check.moves, check.moves_way))
    if check.moves != "table":
        return f"the {check.moves} slide goes {length(float(check.by), job.units)} {way}, on a dial"
    if check.moves_way == STILL:
        return "the table must stand"
    if check.key in ("", "hob_turns"):
        return f"{_number(check.by)} turn of the table, {way} seen facing it"
    if check.key == "slide_check":
        return f"the table turns {check.by_teeth:.2f} teeth ({check.by_deg:.1f}°) {way}"
    return f"the table turns {check.by_deg:.1f}° {way}"


def _sign(end: str, way: str) -> int:
    return POSITIVES[end][way]


def _number(value: Fraction) -> str:
    whole, part = divmod(value, 1)
    return f"{whole} {part}" if part and whole else f"{part}" if part else f"{whole}"


def _boxes(job: Job, check: HandCheck) -> tuple[tuple[str, str], ...]:
    if not check.key:
        return ()
    if check.key not in HAND_KEYS:
        return ((check.key, "to 1 table turn, feed IN"),)
    units = {"index_check": "degrees", "slide_check": "teeth", "feed_check": job.units}[check.key]
    ways = " / ".join(job.machine.way(check.moves, sign) for sign in (1, -1))
    return ((check.key, units), (f"{check.key}_way", f"{ways} / {STILL}"))
