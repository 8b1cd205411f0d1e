"""How to prove that a part is the one: what to do at the machine, and what must then be otherwise on the next gear.

What is said of a change has been carried out on the machine first: the set-up is judged after it, and the part's wave
is worked out anew from the train as it then stands.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

from handlead.kinematics.gears.gear import MM_PER_INCH
from handlead.kinematics.links.link import TwoPort
from handlead.kinematics.links.links import WormGear
from handlead.machines.at_fault.finding import PartAtFault
from handlead.machines.at_fault.parts import FAR_BELOW, TurningPart, suspects_of
from handlead.machines.blanks.flanks import Flanks
from handlead.machines.judging.checks import judge_set_up
from handlead.machines.setups.case import Case
from handlead.machines.setups.mending import Step, carried_out, exchange_steps, free_gears, other_idler_steps
from handlead.machines.studying.waves import CutShape
from handlead.machines.toml.units import height, length

from .words import BOUND, bracket_of, face_told, is_idler, is_upright, on_flank_um, table_name, turns_told


@dataclass(frozen=True)
class Confirmation:
    """One thing to do, and what must then be so if the part is the one; `order` and `um` are the wave's after it.

    `step` is what it changes of the set-up; None where nothing of it changes.
    """

    do: str
    then: str
    step: Step | None = None
    order: Fraction | None = None
    um: float | None = None


def confirmations_of(case: Case, parts: Sequence[PartAtFault]) -> tuple[Confirmation, ...]:
    """What proves that the first of these parts left their wave: at the part itself, then by another cut.

    A change gear among the others is told from the rest by another cut as well.
    """
    gear = next((one for one in parts if one.part.fault.kind == "gear runout"), None)
    return (_by_dial(case, parts[0]), *(() if gear is None else (_cut_again(case, gear),)))


def _cut_again(case: Case, gear: PartAtFault) -> Confirmation:
    if is_idler(case, gear.part):
        return (*_another_idler(case, gear), *_half_round(case, gear))[0]
    return (*_elsewhere(case, gear), *_another_gear(case, gear), *_half_round(case, gear))[0]


def _elsewhere(case: Case, found: PartAtFault) -> tuple[Confirmation, ...]:
    """The gear on other shafts of its bracket, where the ratio stays and the set-up is as right as before.

    First those after which records by the tooth show where its wave has gone.
    """
    link = bracket_of(case, found.part)
    assert link.mounted is not None
    shown: list[Confirmation] = []
    gone: list[Confirmation] = []
    for step in exchange_steps(link, link.mounted, same_ratio=True):
        then = step.change.mounted[link.name]
        if then.ratio != link.mounted.ratio or then.gears[found.part.place] == found.part.fault.gear:
            continue
        after = _after(case, step, found)
        if after is None or abs(_folded(case, after.order) - _folded(case, found.order)) < _APART:
            continue
        um = found.size * after.on_flank
        shows = _folded(case, after.order) >= _APART
        come = f"one of {height(um, case.job.units)} must come {turns_told(case, after.order)}"
        if not shows:
            come = f"none come in its place: {turns_told(case, after.order)} it comes alike on all teeth"
        said = f"The wave that comes {turns_told(case, found.order)} must be gone, and {come}. If it stays, it isn't"
        one = Confirmation(f"{step.words} Cut another gear.", f"{said} this gear.", step, after.order, um)
        (shown if shows else gone).append(one)
    return (*shown, *gone)


#: Waves round the gear by which two orders, folded by the count of teeth, must lie apart to be told.
_APART = Fraction(1, 2)


def _folded(case: Case, order: Fraction) -> Fraction:
    """How many waves round the gear its teeth show of an order."""
    teeth = case.job.work.teeth
    return min(order % teeth, -order % teeth)


def _after(case: Case, step: Step, found: PartAtFault) -> TurningPart | None:
    """The same gear as a suspect of the set-up after a step; None where that isn't right any more."""
    if not _is_as_right(case, step):
        return None
    done = carried_out(case, (step,))
    flanks = Flanks.of(done)
    assert done.rates is not None
    fault, before = found.part.fault, bracket_of(case, found.part).mounted
    then = step.change.mounted[fault.link or ""]
    assert before is not None
    # Others of its count may stay where they stand: it is the one that stands where none of them stood.
    both = enumerate(zip(before.gears, then.gears, strict=True))
    places = [at for at, (was, now) in both if was != now == fault.gear]
    moved = (
        one
        for one in suspects_of(done, CutShape.of(flanks.gear, done.rates, flanks.setting.hob))
        if (one.fault.kind, one.fault.link, one.fault.gear) == (fault.kind, fault.link, fault.gear)
        and one.place in places
    )
    return next(moved, None)


def _is_as_right(case: Case, step: Step) -> bool:
    """Whether the set-up after a step has no error that it hadn't before."""
    before, after = (
        {one.code for one in judge_set_up(each) if one.severity == "error"}
        for each in (case, carried_out(case, (step,)))
    )
    return after <= before


def _another_gear(case: Case, found: PartAtFault) -> Iterator[Confirmation]:
    """Another gear of the same count in its place, where the drawer has one."""
    teeth, bracket = found.part.fault.gear, found.part.fault.link or ""
    if teeth in (free_gears(case, bracket) or ()):
        yield Confirmation(
            f'Put the other gear of {teeth} out of the drawer in its place in "{bracket}", and cut another gear.',
            f"The wave that comes {turns_told(case, found.order)} must be gone; what is left of it is that gear's.",
            order=found.order, um=0.0,
        )  # fmt: skip


def _another_idler(case: Case, found: PartAtFault) -> Iterator[Confirmation]:
    """Another idler in its place, of whatever count goes in: the ratio doesn't ask for it."""
    link = bracket_of(case, found.part)
    assert link.mounted is not None
    for step in other_idler_steps(case, link, link.mounted):
        if found.part.fault.gear not in step.change.mounted[link.name].idlers and _is_as_right(case, step):
            yield Confirmation(
                f"{step.words} Cut another gear.",
                f"The wave that comes {turns_told(case, found.order)} must be gone. If it stays, it isn't this idler.",
                step, um=0.0,
            )  # fmt: skip
            return


def _half_round(case: Case, found: PartAtFault) -> Iterator[Confirmation]:
    """The gear turned by half on its own shaft: its runout, and so its wave, turns over."""
    fault = found.part.fault
    yield Confirmation(
        f'If its shaft takes it so, turn the gear of {fault.gear} in "{fault.link}" by half on it; mesh all others '
        "tooth for tooth as they were, and cut another gear from the same place of table and slide.",
        f"The wave must stay as big, {turns_told(case, found.order)}, and stand out where it stood in. If it stands "
        "where it stood, it isn't this gear.",
        order=found.order, um=on_flank_um(found),
    )  # fmt: skip


def _by_dial(case: Case, found: PartAtFault) -> Confirmation:
    """What must show at the part itself, turned by hand; on the next gear where no dial can be set to it."""
    units, fault = case.job.units, found.part.fault
    reads, also = _between(found, 1.0, units), ""
    match fault.kind:
        case "gear runout":
            where = f'with a ball or pin in the spaces of the gear of {fault.gear}, as it is mounted in "{fault.link}"'
        case "work runout":
            where = (
                "with the dial at the blank's bore or its turned band at mid-face, as it is clamped; where it reads "
                "otherwise at either face it stands askew as well"
            )
            also = _round_by_half(table_name(case))
        case "work tilt":
            where = (
                f"with the dial at the blank's bore or its turned band at its {face_told(case, 1)}, as it is clamped; "
                f"where it reads something at its {face_told(case, -1)} it runs out as well"
            )
            also = _round_by_half(table_name(case))
        case "hob runout":
            where = "with the dial at the hub of the hob, as it is clamped on its arbor"
        case "hob wobble":
            where = "with the dial at both hubs of the hob, high on one where it is low on the other, as it is clamped"
        case "table wobble":
            far = length(float(fault.over or 0) - float(fault.below), units, 1)
            off = f"{far} {'over' if is_upright(case) else 'from'} where the blank's {face_told(case, -1)} stands"
            where = f"with the dial at a true arbor in the {table_name(case)}'s bore, {off}"
            also = " It must be high twice and low twice"
            less = "; the further down the less." if is_upright(case) else f"; the less the further {_down(case)}."
            also += ", and alike at any height." if fault.below >= FAR_BELOW else less
        case _:
            return _of_a_link(case, found)
    return Confirmation(f"{_BY_HAND}, {where}.", f"A dial must read {reads} over its turn.{also}")


def _down(case: Case) -> str:
    return case.job.machine.way("axial", -1)


def _round_by_half(table: str) -> str:
    """How the blank is told from what it is clamped on."""
    return (
        " Turn the gear by half on its arbor and read again: where the high place goes with the gear it is the blank, "
        f"where it stays with the {table} it is the arbor, or the {table} itself."
    )


def _of_a_link(case: Case, found: PartAtFault) -> Confirmation:
    fault, units = found.part.fault, case.job.units
    link = case.train.link(fault.link) if fault.link is not None else None
    if not isinstance(link, TwoPort):
        return Confirmation(f"{_BY_HAND}: see to {found.name}.", f"{found.size:.2g} {found.unit} must show.")
    turns = link.from_part if fault.turn_of == "driving" else link.to_part
    each = "tooth after tooth of the" if fault.kind == "tooth by tooth" else "over a turn of the"
    if link.to_part in case.train.slides:
        far = _between(found, 2.0, units)
        return Confirmation(
            f"{_BY_HAND}, a dial against the {link.to_part}, {each} {turns}, and write down how far it has gone at "
            "each part of it.",
            f"Beside even travel it must stray by {far} from most ahead to most behind.",
        )
    if isinstance(link, WormGear) and fault.turn_of == "driving":
        share = 2 * found.size * link.teeth / 360
        pitch = 12.7 if units == "in" else 10.0
        told = f"{share:.2g} of its pitch: {length(share * pitch, units, 3)} if that is {length(pitch, units, 0)}"
        if link.pitch is not None:
            told = length(share * link.pitch, units, 3)
        return Confirmation(
            f"{_BY_HAND}, a dial against the end of the {turns}, over a turn.",
            f"A worm that goes to and fro must read {told}. If it stands still, look for a worm that runs out, or a "
            "thread that is worn on one side.",
        )
    if fault.kind == "once per turn" and turns == table_name(case):
        return Confirmation(
            f"Mark on the gear, and on the next one before it is cut, where the {turns}'s own mark stands.",
            f"The wave, {height(on_flank_um(found), units)} once round, must stand at the same place against the mark "
            "on both. One that comes from how the blank was clamped stands anywhere.",
        )
    return _of_a_mesh(case, link, found)


def _of_a_mesh(case: Case, link: TwoPort, found: PartAtFault) -> Confirmation:
    """Any other pair of gears: how their play must come and go, and by how much the driven one strays."""
    units, fault = case.job.units, found.part.fault
    turns = link.from_part if fault.turn_of == "driving" else link.to_part
    with_teeth = fault.kind == "tooth by tooth"
    often = "with each tooth" if with_teeth else f"once a turn of the {turns}"
    # The way at a radius, from most ahead to most behind.
    radius = 2 * float(MM_PER_INCH) if units == "in" else 50.0
    stray = length(2 * math.radians(found.size) * radius, units, 3)
    little = "; a hand feels that in the play" if found.size > _FELT else ", little for a hand to feel"
    return Confirmation(
        f"{_BY_HAND}, {'tooth after tooth' if with_teeth else 'over a turn'} of the {turns}, and feel how the play in "
        f"{link.name} grows and shrinks.",
        f"It must do so {often}. The {link.to_part} strays by {stray} from most ahead to most behind, "
        f"{length(radius, units, 0)} from its axis{little}.",
    )


#: Degrees to either side from which a hand feels it in the play. Own judgement.
_FELT = 0.02

_BY_HAND = "Drive isolated and locked, turn by hand"


def _between(found: PartAtFault, times: float, units: str) -> str:
    low, high = (times * max(found.size + sign * BOUND * found.error, 0.0) for sign in (-1, 1))
    told = length(low, units, 3).split()[0], length(high, units, 3)
    return told[1] if told[0] == told[1].split()[0] else f"{told[0]} to {told[1]}"
