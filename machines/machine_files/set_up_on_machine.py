"""A job's set-up as its file has it, held against the machine: levers, brackets, drive and moves."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from fractions import Fraction
from typing import Any

from handlead.kinematics.frame.words import POSITIVES, STILL
from handlead.kinematics.links.mounted import Dialled, Mounted, SetRatio
from handlead.kinematics.train.solution import SLIDE_ENDS
from handlead.machines.tables.reading import Complaints, table_of
from handlead.machines.toml import numbers
from handlead.machines.toml.errors import Disagreement, Place, Unknown, WrongValue
from handlead.machines.toml.guesses import guess
from handlead.machines.toml.places import Document, Path_, quoted

from .levers import clashes
from .machine_file import Machine

#: Keys of [seen] that tell the way of a slide.
SLIDE_WAYS = ("slide_moved", "feed_check_way")


def mounted_of(row: Mapping[str, Any]) -> Mounted:
    """What a row of [setup.change] has: gears, or a ratio that is entered."""
    if "ratio" in row:
        return Dialled.of(Fraction(row["ratio"]))
    return Mounted(row["gears"], row.get("idlers", ()))


def check_setup(document: Document, machine: Machine, complaints: Complaints) -> None:
    """Names of levers, positions, brackets and drives; what is wrong with the set-up itself is not a file's fault."""
    _check_drive(document, machine, ("setup", "drive"), complaints)
    positions = _check_levers(document, machine, complaints, ("setup", "levers"), machine.normal_positions)
    _check_moves(document, machine, complaints, positions)
    brackets = [bracket.name for bracket in machine.train.brackets]
    for name in table_of(document, "setup", "change"):
        path = ("setup", "change", name)
        if name not in brackets:
            what = f"the machine has no change-gear bracket {quoted(name)}"
            complaints.add(Unknown, path, *_unknown(machine, what, name, brackets, "link"))
        gears = document.get(*path, "gears")
        _check_entered(document, machine, path, complaints)
        if isinstance(gears, list) and len(gears) % 2:
            message = f"there are {len(gears)} gears. They come in pairs, driver and driven: a/b · c/d"
            complaints.add(WrongValue, (*path, "gears"), message)
        if gears == [] and document.get(*path, "idlers"):
            complaints.add(
                WrongValue, (*path, "idlers"), "an idler needs gears to stand between. Write them in gears"
            )


def _check_entered(document: Document, machine: Machine, path: Path_, complaints: Complaints) -> None:
    """A link that takes an entered ratio has one, of numbers that it takes; a bracket has gears."""
    name = str(path[-1])
    link = next((one for one in machine.train.brackets if one.name == name), None)
    if link is None:
        return
    raw, entered = document.get(*path, "ratio"), isinstance(link, SetRatio)
    if entered and document.get(*path, "gears") is not None:
        message = f'{quoted(name)} takes no gears, its ratio is entered. Write it: ratio = "24/29"'
        complaints.add(WrongValue, (*path, "gears"), message)
    if raw is None:
        return
    if not entered:
        message = f"{quoted(name)} takes change gears, no ratio. Write them: gears = [24, 58, 48, 40]"
        complaints.add(WrongValue, (*path, "ratio"), message)
        return
    try:
        ratio = numbers.exact(raw)
    except numbers.NumberFault:
        return  # told where it is read
    assert isinstance(link, SetRatio)
    if not ratio:
        message = "a ratio of 0 passes nothing. Enter another, or leave the link out"
        complaints.add(WrongValue, (*path, "ratio"), message)
    elif max(abs(ratio.numerator), ratio.denominator) > link.largest:
        message = f"{ratio} can't be entered: {link.largest} is the greatest number that {quoted(name)} takes"
        complaints.add(WrongValue, (*path, "ratio"), message)


def ways_given(machine: Machine) -> dict[str, str]:
    """What may be said of the slide that feeds: the frame's words and the machine's own, with the frame's for each."""
    own = {
        machine.way(end, sign): word
        for end in SLIDE_ENDS
        if end in machine.train.ends
        for word, sign in POSITIVES[end].items()
    }
    plain = {word: word for end in SLIDE_ENDS for word in POSITIVES[end]}
    return {**plain, **own, STILL: STILL}


def check_way(document: Document, machine: Machine, complaints: Complaints) -> None:
    """Ways that were seen are those of a slide that the machine has."""
    for key in SLIDE_WAYS:
        told = document.get("seen", key)
        path: Path_ = ("seen", key)
        if isinstance(told, dict):
            told, path = told.get("value"), (*path, "value")
        known = ways_given(machine)
        if isinstance(told, str) and told not in known:
            complaints.add(WrongValue, path, f"{quoted(told)} is no way of a slide. {guess(told, known)}")


def _check_drive(document: Document, machine: Machine, path: Path_, complaints: Complaints) -> None:
    drive = document.get(*path)
    if isinstance(drive, str) and drive not in machine.train.drives:
        what = f"the machine has no drive {quoted(drive)}"
        complaints.add(Unknown, path, *_unknown(machine, what, drive, machine.train.drives, "drives"))


def _check_levers(
    document: Document, machine: Machine, complaints: Complaints, at: Path_, standing: Mapping[str, str]
) -> dict[str, str]:
    """Check the levers moved in the table at `at`; returns where all stand after that."""
    positions, found = dict(standing), document.get(*at)
    given = found if isinstance(found, dict) else {}
    for name, position in given.items():
        path = (*at, name)
        if name not in machine.levers:
            what = f"the machine has no lever {quoted(name)}"
            complaints.add(Unknown, path, *_unknown(machine, what, name, machine.levers, "levers"))
        elif isinstance(position, str) and position not in machine.levers[name].positions:
            known = machine.levers[name].positions
            what = f"the lever has no position {quoted(position)}"
            complaints.add(Unknown, path, *_unknown(machine, what, position, known, "levers", name, "positions"))
        elif isinstance(position, str):
            positions[name] = position
    for clash in clashes(machine.levers, positions):
        first, second = (machine.document.place(*path) for path in (clash.first, clash.second))
        moved = (str(name) for name in (clash.second[1], clash.first[1]) if name in given)
        where = (*at, *([name] if (name := next(moved, "")) else []))
        also = f"{first}, against {second.seen_from(first)}"
        complaints.add(Disagreement, where, clash.message.replace("{also}", also), first)
    return positions


def _check_moves(
    document: Document, machine: Machine, complaints: Complaints, positions: dict[str, str]
) -> None:
    """Names in the moves, and levers as they stand before each of them."""
    moves = document.get("setup", "moves")
    for index, move in enumerate(moves) if isinstance(moves, list) else ():
        if not isinstance(move, dict):
            continue
        path: Path_ = ("setup", "moves", index)
        _check_drive(document, machine, (*path, "drive"), complaints)
        if "levers" in move:
            positions = _check_levers(document, machine, complaints, (*path, "levers"), positions)
        if index and "from" in move:
            message = "only the first move starts anywhere; each other one starts where the one before it ended"
            complaints.add(WrongValue, (*path, "from"), message)
        _check_by_hand(move, path, complaints)
        for key in ("from", "to"):
            for end in move[key] if isinstance(move.get(key), dict) else ():
                if end in SLIDE_ENDS and end not in machine.train.ends:
                    _check_slide_not_driven(machine, move, (*path, key, end), complaints)


def _check_by_hand(move: Mapping[str, Any], path: Path_, complaints: Complaints) -> None:
    """A handwheel goes to a place, and no drive runs meanwhile."""
    if move.get("by_hand") is not True:
        return
    if "to" not in move:
        message = "a move by hand needs a place to go to. Write it: to = { radial = 8 }"
        complaints.add(WrongValue, (*path, "by_hand"), message)
    for key in ("drive", "backwards"):
        if key in move:
            message = "no drive runs while a slide is moved by hand. Take one of them out"
            complaints.add(Disagreement, (*path, key), message, (*path, "by_hand"))


def _check_slide_not_driven(
    machine: Machine, move: Mapping[str, Any], path: Path_, complaints: Complaints
) -> None:
    """A slide that the machine file doesn't name; the centre distance can be set on any machine, by hand."""
    key, end = path[-2], str(path[-1])
    if end == "radial" and (key == "from" or move.get("by_hand") is True):
        return
    what = f"the machine has no {end} slide"
    if end == "radial":
        message = f"{what} that a drive moves. Where it is moved by hand, add by_hand = true to the move"
        complaints.add(WrongValue, path, message)
        return
    complaints.add(Unknown, path, *_unknown(machine, what, end, machine.train.ends, "ends"))


def _unknown(
    machine: Machine, what: str, name: str, known: Iterable[str], *place: str
) -> tuple[str, Place]:
    """The message that the machine file doesn't have a name, with the nearest of `known`, and its place there."""
    guessed = guess(name, known)
    found = next((one for one in known if guessed == f"Did you mean {quoted(one)}?"), None)
    spot = machine.place(*place, found) if found is not None else machine.place(*place)
    guessed = f"{guessed.removesuffix('?')} ({spot}){'?' if guessed.endswith('?') else ''}"
    return f"{what}. {guessed}", spot
