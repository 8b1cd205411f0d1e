"""What can be tapped on a job's page, by the word that the page sends for it: each makes a desk of a desk."""

from __future__ import annotations

import datetime
import re
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import tomlkit
from handlead.kinematics.frame.words import Feed
from handlead.kinematics.train.setup import Setup, SetupMove
from handlead.machines.job_files.hob_rack import RACK
from handlead.machines.toml import numbers
from handlead.machines.toml.errors import HandleadError
from handlead.machines.toml.filing import as_it_came, plain
from handlead.machines.toml.numbers import NumberFault
from handlead.machines.written.rewriting import with_setup
from handlead.machines.written.writing import measured_text
from handlead.viz.bench_files.versions import Drafts

from . import desk as desks
from . import fields
from .choices import at_place
from .desk import Desk
from .rack import RackFile, typed_of
from .work import corrected

What = Mapping[str, Any]


class NotDone(HandleadError, ValueError):
    """Something was tapped that can't be done; the message says why."""


def do(desk: Desk, what: What) -> Desk:
    """The desk after something was tapped. Raises `HandleadError` or `ValueError` in plain words."""
    if desk.digest != what.get("digest"):
        raise desks.Elsewhere(desk.text)
    action = ACTIONS.get(str(what.get("do")))
    if action is None:
        raise NotDone("the page asked for something that isn't known here. Load it again")
    return action(desk, what)


def _text(what: What, key: str, longest: int = 400) -> str:
    value = what.get(key)
    if not isinstance(value, str) or len(value) > longest or not value.isprintable():
        raise NotDone(f"{key}: it must be a short text on one line")
    return value


def _field(desk: Desk, what: What) -> Desk:
    path = _text(what, "path")
    table, _, key = path.partition(".")
    if path not in ("title", "units") and (
        table not in fields.TABLES or key not in fields.TABLES[table].names
    ):
        raise NotDone(f"there is no field {path}")
    return desks.enter(desk, path, _text(what, "value"))


def _hob(desk: Desk, what: What) -> Desk:
    """A hob from the rack by its name; its own numbers go, since the rack has them."""
    name = _text(what, "name")
    document = tomlkit.parse(plain(desk.text))
    if not name:
        raise NotDone("type the hob's numbers into the fields: they take its place")
    if "hob" in document:
        del document["hob"]
    tables = [key for key, value in document.items() if isinstance(value, Mapping)]
    rest = {key: document.pop(key) for key in tables}
    document["hob"] = name
    for key, value in rest.items():
        document.append(key, value)
    text = as_it_came(tomlkit.dumps(document), desk.text)
    if not desk.exists:
        held = {path: value for path, value in desk.drafts.items() if not path.startswith("hob.")}
        Drafts(desk.shelf.folder, desk.name).hold(held, text)
        fresh = desks.open_desk(desk.shelf, desk.name)
        return desks.settle(fresh, f"hob: {name}")
    return desks.write(desk, text, f"hob: {name}")


def _hang(desk: Desk, what: What) -> Desk:
    """The job's own hob into the rack beside it, from which the job then takes it by its name."""
    name = _text(what, "name", 80).strip()
    own = desk.values.get("hob")
    if not name or not isinstance(own, Mapping) or desk.job is None:
        raise NotDone("a hob is hung in the rack by a name, once its figures make one")
    hung = RackFile.at(desk.shelf, Path(desk.name).with_name(RACK).as_posix(), desk.units)
    if hung.units != desk.units:
        raise NotDone(f"the rack is in {hung.units} and this job in {desk.units}: hang it on the rack's own page")
    hung.write(hung.hang(None, {**typed_of(own), "name": name}), f"hob: {name}")
    return _hob(desks.open_desk(desk.shelf, desk.name), {"name": name})


def _gear(desk: Desk, what: What) -> Desk:
    bracket, place, teeth = _text(what, "bracket"), _text(what, "place"), what.get("teeth")
    if not (teeth is None or (isinstance(teeth, int) and 1 <= teeth <= 1000)):
        raise NotDone("a gear has a whole number of teeth")
    if not re.fullmatch("[0-7]|idler [0-7]", place):
        raise NotDone(f"there is no place {place} in a bracket")
    where = place if place.startswith("idler") else f"gear {desk.letters(bracket)[int(place)]}"
    said = f"{bracket}, {where}: {teeth or 'taken out'}"
    return desks.set_up(desk, lambda setup: at_place(setup, bracket, place, teeth), said)


def _gears(desk: Desk, what: What) -> Desk:
    bracket, gears = _text(what, "bracket"), desks.gears_typed(_text(what, "text"))
    if desk.job is not None:
        desk.job.machine.check_bracket(bracket)
    said = f"{bracket}: {' '.join(map(str, gears)) or 'empty'}"
    return desks.set_up(desk, lambda setup: setup.with_gears(bracket, gears or None), said)


def _lever(desk: Desk, what: What) -> Desk:
    lever, position = _text(what, "lever"), _text(what, "position")
    if desk.job is not None:
        desk.job.machine.check_position(lever, position)
    return desks.set_up(desk, lambda setup: setup.with_lever(lever, position), f"lever {lever}: {position}")


def _swivel(desk: Desk, what: What) -> Desk:
    degrees, minutes = _text(what, "degrees").strip() or "0", _text(what, "minutes").strip() or "0"
    turn = _text(what, "turn")
    angle = f"{degrees}d {minutes}m" if "." not in degrees else degrees
    swung = numbers.angle(angle)
    return desks.set_up(desk, lambda setup: setup.with_swivel(swung, turn), f"head: {angle} {turn}")


def _feed(desk: Desk, what: What) -> Desk:
    way = Feed(_text(what, "feed"))
    return desks.set_up(desk, lambda setup: replace(setup, feed=way), f"feed meant: {way.value}")


def _remedy(desk: Desk, what: What) -> Desk:
    """The steps of the correction, every one of them, as they were proved."""
    proof = desk.proof
    correction = proof.correction if proof else None
    if proof is None or correction is None:
        raise NotDone("there is nothing to put right, or nothing that was tried does it")
    after = corrected(proof.case.setup, correction.steps)
    if after is None:
        raise NotDone("a ratio alone can't be mounted: plan the set-up for gears")
    return desks.set_up(desk, lambda _: after, f"put right: {correction.steps[0].words}"[:160])


def _undo(desk: Desk, what: What) -> Desk:
    now = desks.at_version(desk)
    before = desk.versions.before(now)
    if desk.drafts:
        return desks.forget_drafts(desk)
    if before is None:
        raise NotDone("there is no version before this one")
    return desks.bring_back(desk, before)


def _redo(desk: Desk, what: What) -> Desk:
    after = desk.versions.after(desks.at_version(desk))
    if after is None:
        raise NotDone("nothing was made of this version yet")
    return desks.bring_back(desk, after)


def _version(desk: Desk, what: What) -> Desk:
    found = next((one for one in desk.versions.all if one.number == what.get("number")), None)
    if found is None:
        raise NotDone("there is no such version")
    return desks.bring_back(desk, found)


def _answer(desk: Desk, what: What) -> Desk:
    """What was found at a check that the trace asked for, into [seen]."""
    check, found = _text(what, "check", 1000), _text(what, "found", 1000)
    document = tomlkit.parse(plain(desk.text))
    if not isinstance(document.get("seen"), Mapping):
        raise NotDone("enter first what was counted on the blank")
    row = tomlkit.table()
    row["do"], row["found"] = check, found
    rows: Any = document["seen"].get("check")
    if rows is None:
        rows = tomlkit.aot()
        rows.append(row)
        document["seen"]["check"] = rows
    else:
        rows.append(row)
    return desks.write(desk, as_it_came(tomlkit.dumps(document), desk.text), f"found: {found}"[:160])


def _forget_answers(desk: Desk, what: What) -> Desk:
    document = tomlkit.parse(plain(desk.text))
    seen: Any = document.get("seen")
    if isinstance(seen, Mapping) and "check" in seen:
        del document["seen"]["check"]
    return desks.write(desk, as_it_came(tomlkit.dumps(document), desk.text), "answers forgotten")


def _cure(desk: Desk, what: What) -> Desk:
    """The set-up put right where it is written wrong, and what was seen of the blank before it taken out: the next
    blank is looked at afresh. What was seen stays in the versions, with its day."""
    text, said = desk.text, "cured: the machine is set as written"
    proof = desk.proof
    if proof is not None and not proof.is_as_wanted:
        correction = proof.correction
        after = corrected(proof.case.setup, correction.steps) if correction else None
        if after is None:
            raise NotDone("no change of the set-up that was tried puts it right")
        text, said = with_setup(text, after), "cured: the set-up is put right"
    document = tomlkit.parse(plain(text))
    if "seen" in document:
        del document["seen"]
    return desks.write(desk, as_it_came(tomlkit.dumps(document), text), said)


def _measure(desk: Desk, what: What) -> Desk:
    """One more [[measured]], dated today."""
    from argparse import Namespace

    from handlead.viz.gear_commands.measure import gauging_of

    given = what.get("given")
    if not isinstance(given, Mapping) or desk.job is None:
        raise NotDone("nothing was measured")
    names = ("span", "balls", "chord", "depth", "dialled")
    typed = Namespace(**{name: str(given[name])[:80] if name in given else None for name in names})
    try:
        gauging = gauging_of(typed, desk.job)
    except NumberFault as fault:
        raise NotDone(str(fault).replace("--", "")) from None
    if gauging is None or gauging.is_empty:
        raise NotDone("nothing of the teeth was measured")
    gauging = replace(gauging, date=datetime.date.today().isoformat())
    ends = "\r\n" if "\r\n" in desk.text else "\n"
    more = measured_text(gauging, desk.job.units).replace("\n", ends)
    return desks.write(desk, f"{desk.text.rstrip()}{ends}{ends}{more}", "measured")


def take(desk: Desk, setup: Setup, said: str) -> Desk:
    """A planned set-up, whole; the moves that the job asks for stay."""
    moves: tuple[SetupMove, ...] = desk.job.setup.moves if desk.job and desk.job.setup else ()
    return desks.set_up(desk, lambda _: replace(setup, moves=moves), said)


#: What is tapped at the brackets, levers and head: the verdict on it comes before all else.
AT_THE_MACHINE = ("gear", "gears", "lever", "swivel", "feed")

ACTIONS: Mapping[str, Callable[[Desk, What], Desk]] = {
    "field": _field, "hob": _hob, "gear": _gear, "gears": _gears, "lever": _lever, "swivel": _swivel, "feed": _feed,
    "remedy": _remedy, "undo": _undo, "redo": _redo, "version": _version, "answer": _answer, "cure": _cure,
    "forget": lambda desk, what: desks.forget_drafts(desk), "forget answers": _forget_answers, "measure": _measure,
    "hang": _hang,
}  # fmt: skip
