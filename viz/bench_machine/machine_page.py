"""What the machine's page shows: the train and what it lacks, its links and levers with a field for every key, its
rules beside the plate's numbers, and what was counted on it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from handlead.kinematics.links.links import Brake, Clutch, Template
from handlead.machines.keys.imperfection_keys import IMPERFECTION, LOOSENESS
from handlead.machines.keys.link_keys import LINK
from handlead.machines.tables.tables import TableOf
from handlead.machines.toml.places import Path_
from handlead.viz.bench_files.versions import Version

from .counting import counted
from .entering import EntryGroup, FieldsSheet, KeyEntry, plainly
from .machine_desk import MachineDesk
from .plate import rules

#: The kinds of link that a lever can put into a state, and their states; a selector has those of its ratios.
_STATES: Mapping[str, tuple[str, ...]] = {"clutch": Clutch.states, "brake": Brake.states, "template": Template.states}

#: How the ratios of a selector are typed where its link is added.
_STATES_TYPED = "Write each state with its ratio, commas between: in = 1, back = -1, off = 0."

#: Versions that are shown, latest first.
_MOST_VERSIONS = 40


@dataclass(frozen=True)
class LinkCard:
    """A link as the page writes it: its fields, and what is wrong with it."""

    number: int
    name: str
    kind: str
    group: EntryGroup
    faults: tuple[str, ...]


@dataclass(frozen=True)
class PositionCard:
    """A position of a lever: for each link that has states, the one into which it is put; "" leaves it alone."""

    path: Path_
    name: str
    states: tuple[KeyEntry, ...]


@dataclass(frozen=True)
class LeverCard:
    """A lever, its normal position, and all its positions."""

    path: Path_
    name: str
    normal: KeyEntry
    positions: tuple[PositionCard, ...]
    faults: tuple[str, ...]


@dataclass(frozen=True)
class PartRow:
    """A shaft or slide: where it is, and the links that touch it."""

    path: Path_
    name: str
    where: KeyEntry
    links: tuple[str, ...]


@dataclass(frozen=True)
class Question:
    """A question about a new link: the field's name, its words, and the parts or words to choose from. `of` is "shaft"
    or "slide" where a part is asked for, one that isn't there yet among them."""

    name: str
    label: str
    meaning: str
    required: bool
    choices: tuple[str, ...]
    of: str
    unset: str


def questions(sheet: FieldsSheet, kind: str) -> Iterator[Question]:
    """What is asked about a new link of a kind, in the order of its keys."""
    row = FieldsSheet({**sheet.values, "link": [{"kind": kind, "name": "new"}]}, {})
    entries = row.group(("link", 0), kind, ("name", "bracket")).entries
    for key in LINK[kind].keys:
        if isinstance(key.value, TableOf):
            yield Question(key.name, key.name, f"{plainly(key.meaning)} {_STATES_TYPED}", key.required, (), "", "")
        for entry in entries:
            if entry.path[2] != key.name:
                continue
            of = getattr(key.value, "of", "")
            of = getattr(of, "of", of)
            of = {"part": "shaft"}.get(of, of) if isinstance(of, str) else ""
            name = ".".join(map(str, entry.path[2:]))
            choices = sheet.named(of) if of in ("shaft", "slide") else entry.choices
            yield Question(name, entry.label, entry.meaning, key.required, choices, of, key.default)


def view(desk: MachineDesk) -> dict[str, Any]:
    """All that the machine's page shows."""
    sheet = desk.sheet
    sets = [sheet.group(("gear_set", number), "", ("fits",)) for number, _ in enumerate(sheet.rows("gear_set"))]
    return {
        "desk": desk, "rules": rules(desk), "links": tuple(_links(sheet)),
        "kinds": {kind: plainly(table.meaning) for kind, table in LINK.items()},
        "parts": tuple(_parts(sheet)), "levers": tuple(_levers(sheet)), "states": tuple(_stateful(sheet)),
        "general": EntryGroup((), "", "", tuple(_general(sheet))),
        "ends": sheet.group(("ends",), "ends"), "drives": sheet.group(("drives",), "drives"),
        "sets": [(group, _fits(sheet, number)) for number, group in enumerate(sets)],
        "brackets": sheet.named("bracket"), "limits": _limits(sheet),
        "imperfections": tuple(_rows(sheet, "imperfection")), "looseness": tuple(_rows(sheet, "looseness")),
        "errors_of": {kind: table.meaning for kind, table in IMPERFECTION.items()},
        "loose_of": {kind: table.meaning for kind, table in LOOSENESS.items()},
        "change_over": sheet.group(("change_over",), "changing over"), "head": sheet.group(("head",), "head"),
        "others": tuple(_others(desk)), "counted": counted(desk), "versions": _versions(desk),
        "undo": desk.own and desk.versions.before(desk.versions.of_text(desk.text)) is not None,
        "redo": desk.own and desk.versions.after(desk.versions.of_text(desk.text)) is not None,
    }  # fmt: skip


def _versions(desk: MachineDesk) -> tuple[Version, ...]:
    return tuple(reversed(desk.versions.all[-_MOST_VERSIONS:])) if desk.own else ()


def _general(sheet: FieldsSheet) -> Iterator[KeyEntry]:
    whole = FieldsSheet({**sheet.values}, sheet.faults)
    for name, label in (("name", "name"), ("summary", "in one line"), ("units", "lengths without a unit are in")):
        value = whole.value((name,))
        shown = str(sheet.at((name,)) or "")
        yield KeyEntry((name,), label, shown, "", name == "name", sheet.choices(value), "",
                       sheet.faults.get((name,), ()))  # fmt: skip


def _links(sheet: FieldsSheet) -> Iterator[LinkCard]:
    rows = sheet.values.get("link")
    for number, row in enumerate(rows if isinstance(rows, list) else ()):
        kind = str(row.get("kind", "")) if isinstance(row, Mapping) else ""
        if kind not in LINK:
            yield LinkCard(number, "", kind, EntryGroup((), "", "", ()), ("it has no kind that is known",))
            continue
        group = sheet.group(("link", number), kind)
        yield LinkCard(number, str(row.get("name", "")), kind, group, tuple(dict.fromkeys(group.all_faults)))


def _parts(sheet: FieldsSheet) -> Iterator[PartRow]:
    joined: dict[str, list[str]] = {}
    for row in sheet.rows("link"):
        suns = row.get("suns")
        ports = [row.get(key) for key in ("from", "to", "carrier", "shaft")]
        for part in [*ports, *(suns if isinstance(suns, list) else ())]:
            joined.setdefault(str(part), []).append(str(row.get("name", "")))
    for table, of in (("shafts", "shaft"), ("slides", "slide")):
        for name in sheet.named(of):
            path = (table, name)
            where = KeyEntry(path, f"where {name} is", str(sheet.at(path) or ""), "", faults=sheet.faults.get(path, ()))
            yield PartRow(path, name, where, tuple(joined.get(name, ())))


def _stateful(sheet: FieldsSheet) -> Iterator[tuple[str, tuple[str, ...]]]:
    """The links that a lever can put into a state, with their states."""
    for row in sheet.rows("link"):
        ratios = row.get("ratios")
        states = tuple(map(str, ratios)) if isinstance(ratios, Mapping) else _STATES.get(str(row.get("kind")), ())
        if states and row.get("name"):
            yield str(row["name"]), states


def _levers(sheet: FieldsSheet) -> Iterator[LeverCard]:
    levers = sheet.values.get("levers")
    for name, lever in levers.items() if isinstance(levers, Mapping) else ():
        held = lever.get("positions") if isinstance(lever, Mapping) else None
        positions = held if isinstance(held, Mapping) else {}
        path: Path_ = ("levers", name)
        normal = KeyEntry(
            (*path, "normal"), "normal position", str(lever.get("normal", "")),
            "The position in which it stands unless a job says otherwise.", True, tuple(positions),
            faults=sheet.faults.get((*path, "normal"), ()),
        )  # fmt: skip
        cards = tuple(_position(sheet, (*path, "positions", position), position) for position in positions)
        faults = dict.fromkeys(words for at, told in sheet.faults.items() if at[:2] == path for words in told)
        yield LeverCard(path, name, normal, cards, tuple(faults))


def _position(sheet: FieldsSheet, path: Path_, name: str) -> PositionCard:
    states = tuple(
        KeyEntry((*path, link), link, str(sheet.at((*path, link)) or ""), "", False, states)
        for link, states in _stateful(sheet)
    )
    return PositionCard(path, name, states)


def _fits(sheet: FieldsSheet, number: int) -> tuple[tuple[str, bool], ...]:
    there = sheet.at(("gear_set", number, "fits"))
    chosen = [there] if isinstance(there, str) else there or []
    return tuple((name, name in chosen) for name in sheet.named("bracket"))


def _limits(sheet: FieldsSheet) -> EntryGroup:
    return sheet.group(("limits",), "limits")


def _rows(sheet: FieldsSheet, name: str) -> Iterator[EntryGroup]:
    for number, row in enumerate(sheet.rows(name)):
        try:
            yield sheet.group((name, number), str(row.get("kind", "")))
        except ValueError:
            yield EntryGroup((name, number), str(row.get("kind", "")), "", (), (), ("it has no kind that is known",))


def _others(desk: MachineDesk) -> Iterator[str]:
    """What is wrong and has no field to stand beside; what the train lacks is told with its drawing."""
    for path, words in desk.faults.items():
        if len(path) < 2:
            yield from (each for each in words if not each.startswith('"link" is missing'))
