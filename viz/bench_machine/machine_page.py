"""What the machine's page shows: its rules beside the plate's numbers, its links, drawers and limits, and what `fit`
asks for next."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

import tomlkit
from handlead.kinematics.gears.gear import MM_PER_INCH
from handlead.machines.keys.link_keys import LINK
from handlead.machines.keys.machine_keys import LIMITS
from handlead.machines.machine_files.machine_file import Machine
from handlead.machines.planning.rules import find_rules, where_text
from handlead.machines.toml.filing import plain
from handlead.machines.toml.filing import put as put_bytes
from handlead.machines.toml.numbers import NumberFault, exact
from handlead.machines.toml.units import decimal
from handlead.viz.bench_files.entered import shown
from handlead.viz.bench_files.versions import KEPT, text_or_none

from .machine_desk import MachineDesk, keys_of


@dataclass(frozen=True)
class Rule:
    """One rule: what it is for, its constant, the levers that it holds for, and what the plate says."""

    key: str
    name: str
    constant: str
    where: str
    plate: str
    differs: str


def rules(desk: MachineDesk) -> tuple[Rule, ...]:
    """The machine's own rules, each beside what was read on the plate."""
    if desk.machine is None:
        return ()
    plate = read_plate(desk)
    found: dict[str, tuple[str, Fraction, list[Mapping[str, str]]]] = {}
    for each in find_rules(desk.machine).sets:
        for name, value in _constants(each.constants, desk.machine):
            at = found.setdefault(f"{name}: {value}", (name, value, []))
            at[2].extend(each.positions)
    told = []
    for number, (name, value, where) in enumerate(found.values()):
        key = f"{name} {number}"
        says = plate.get(key, "")
        told.append(
            Rule(key, name, decimal(value), where_text(where, desk.machine), says, _differs(says, value))
        )
    return tuple(told)


def _constants(constants: Any, machine: Machine) -> Any:
    """Every constant of a set of rules in the machine's own units, without its sign: a plate has none."""
    scale = Fraction(MM_PER_INCH) if machine.units == "in" else Fraction(1)
    if constants.index:
        yield f"index constant, {constants.index.bracket}", abs(constants.index.constant)
    for feed in constants.feeds:
        yield (
            f"feed constant, {feed.bracket}, {feed.slide} slide, {machine.units} per turn of the {feed.per}",
            abs(feed.constant) / scale,
        )
    for one in constants.differentials:
        if one.constant is not None:
            power = 1 - one.feed_power
            yield f"differential constant, {one.bracket}, {one.slide} slide", abs(one.constant) / scale**power


def _differs(says: str, value: Fraction) -> str:
    """By how much the plate's number is off; a plate is rounded, so that its own last place counts."""
    if not says:
        return ""
    try:
        number = exact(says)
    except NumberFault:
        return "this isn't a number"
    _, _, tail = says.partition(".")
    within = Fraction(1, 2 * 10 ** len(tail)) if "/" not in says else Fraction(0)
    if abs(number - value) <= within:
        return "the same, as far as the plate says"
    return f"DIFFERS: plate over train {decimal(number / value)}" if value else "DIFFERS"


def _plate_path(desk: MachineDesk) -> Any:
    return desk.shelf.folder / KEPT / "plates" / f"{desk.stem}.json"


def read_plate(desk: MachineDesk) -> dict[str, str]:
    """What was read on the plate, by rule."""
    with suppress(OSError, ValueError):
        held = json.loads(_plate_path(desk).read_text(encoding="utf-8"))
        return {str(key): str(value) for key, value in held.items()}
    return {}


def write_plate(desk: MachineDesk, key: str, value: str) -> None:
    """Keep what was read on the plate for a rule."""
    path = _plate_path(desk)
    path.parent.mkdir(parents=True, exist_ok=True)
    put_bytes(json.dumps({**read_plate(desk), key: value.strip()}).encode(), path)


@dataclass(frozen=True)
class KeyEntry:
    """A key of a link: what stands there, whether it must, the words to choose from."""

    key: str
    value: str
    meaning: str
    required: bool
    choices: tuple[str, ...]


@dataclass(frozen=True)
class LinkRow:
    """A link as the page writes it."""

    number: int
    name: str
    kind: str
    meaning: str
    entries: tuple[KeyEntry, ...]
    faults: tuple[str, ...]


def link_rows(desk: MachineDesk) -> tuple[LinkRow, ...]:
    """Every link with its keys."""
    told = []
    for number, row in enumerate(desk.links):
        kind = str(row.get("kind", ""))
        entries = tuple(
            KeyEntry(
                key.name,
                shown(row.get(key.name)),
                key.meaning,
                key.required,
                _words(desk, kind, key.name, key.value),
            )
            for key in keys_of(kind)
        )
        wrong = tuple(words for where, words in desk.faults if where == f"link {number}")
        meaning = LINK[kind].meaning if kind in LINK else ""
        told.append(LinkRow(number, str(row.get("name", "")), kind, meaning, entries, wrong))
    return tuple(told)


def _words(desk: MachineDesk, kind: str, key: str, value: Any) -> tuple[str, ...]:
    if key in ("from", "to", "carrier", "shaft"):
        return desk.parts
    if key == "sense":
        return ("same", "opposite", "?")
    one_of = getattr(value, "one_of", ()) or ()
    return tuple(one_of) or (("yes", "no") if type(value).__name__ == "Flag" else ())


def view(desk: MachineDesk) -> dict[str, Any]:
    """All that the machine's page shows."""
    values = desk.values
    rows, held = values.get("gear_set"), values.get("limits")
    sets = [one for one in rows if isinstance(one, Mapping)] if isinstance(rows, list) else []
    limits = held if isinstance(held, Mapping) else {}
    others = tuple((where, words) for where, words in desk.faults if not where.startswith("link "))
    return {
        "desk": desk, "rules": rules(desk), "links": link_rows(desk),
        "kinds": {kind: table.meaning for kind, table in LINK.items()},
        "sets": [{key: shown(one.get(key)) for key in ("name", "fits", "teeth")} for one in sets],
        "limits": [(key.name, shown(limits.get(key.name)), key.meaning) for key in LIMITS.keys],
        "shafts": _rows(values.get("shafts")), "slides": _rows(values.get("slides")),
        "levers": _told(values.get("levers"), _lever), "ends": _told(values.get("ends"), _end),
        "drives": _told(values.get("drives"), _drive),
        "others": others, "loose": desk.loose(), "counted": counted(desk),
    }  # fmt: skip


def _rows(value: Any) -> list[tuple[str, str]]:
    return [(str(key), shown(each)) for key, each in value.items()] if isinstance(value, Mapping) else []


def _told(value: Any, words: Callable[[Mapping[str, Any]], str]) -> list[tuple[str, str]]:
    """Tables by their names, each in words; one that isn't a table yet as it stands."""
    if not isinstance(value, Mapping):
        return []
    return [(str(key), words(each) if isinstance(each, Mapping) else shown(each)) for key, each in value.items()]


def _lever(lever: Mapping[str, Any]) -> str:
    positions = lever.get("positions")
    if not isinstance(positions, Mapping):
        return shown(lever)
    normal = lever.get("normal")
    return "; ".join(
        f"{name}{' (normal)' if name == normal else ''} puts {shown(states)}" for name, states in positions.items()
    )


def _end(end: Mapping[str, Any]) -> str:
    return f"{shown(end.get('part'))}; positive is {shown(end.get('positive')) or 'not said'}"


def _drive(drive: Mapping[str, Any]) -> str:
    rpm = f" at {shown(drive['rpm'])} a minute" if "rpm" in drive else ""
    return f"turns {shown(drive.get('shaft'))}{rpm}"


# ---------------------------------------------------------------- counting


def counts_name(desk: MachineDesk) -> str:
    """The file of what was counted on the machine, beside its own."""
    return f"{desk.stem}-counted.toml"


def counted(desk: MachineDesk) -> list[tuple[str, str]]:
    """What was counted so far: what was turned, and what moved."""
    text = text_or_none(desk.shelf.path(counts_name(desk)))
    rows = tomlkit.parse(plain(text)).unwrap().get("counted", []) if text else []
    return [(shown(row.get("turned")), shown(row.get("moved"))) for row in rows]


def with_count(desk: MachineDesk, turned: Mapping[str, Any], moved: Mapping[str, Any], note: str) -> str:
    """The text of the machine's counts with one more."""
    text = text_or_none(desk.shelf.path(counts_name(desk)))
    units = desk.values.get("units", "mm")
    start = (
        text
        or f'format = "observations/1"\ntitle = {json.dumps(desk.title + ", counted")}\nunits = "{units}"\n'
    )
    document = tomlkit.parse(plain(start))
    row = tomlkit.table()
    if note:
        row["note"] = note
    for key, values in (("turned", turned), ("moved", moved)):
        table = tomlkit.inline_table()
        for name, value in values.items():
            table[name] = value
        row[key] = table
    if "counted" not in document:
        document["counted"] = tomlkit.aot()
    rows: Any = document["counted"]
    rows.append(row)
    return tomlkit.dumps(document)
