"""What was counted at a machine, in the file beside its own, so that `fit` finds the numbers that its file lacks."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

import tomlkit
from handlead.machines.documents.observations_file import read_observations_text, ways_of
from handlead.machines.toml.filing import plain, write_text
from handlead.viz.bench_files.entered import NotEntered, one_value, shown
from handlead.viz.bench_files.versions import Versions, text_or_none

from .editing import What, text_of
from .machine_desk import MachineDesk


def counts_name(desk: MachineDesk) -> str:
    """The file of what was counted on the machine, beside its own."""
    return f"{desk.stem}-counted.toml"


def counted(desk: MachineDesk) -> list[tuple[str, str]]:
    """What was counted so far: what was turned, and what moved."""
    text = text_or_none(desk.shelf.path(counts_name(desk)))
    rows = tomlkit.parse(plain(text)).unwrap().get("counted", []) if text else []
    return [(shown(row.get("turned")), shown(row.get("moved"))) for row in rows]


def add_count(desk: MachineDesk, what: What) -> None:
    """One more count on the machine, beside its file: as it was asked for, or one that somebody thought of.

    Raises `FileFault` and `NotEntered`.
    """
    if desk.unfitted is None:
        raise NotEntered("nothing is unknown in this machine's file")
    row: dict[str, Any] = {}
    if note := text_of(what, "note"):
        row["note"] = note
    turned: dict[str, Any] = {"part": text_of(what, "turned"), "by": one_value(text_of(what, "turns"))}
    moved: dict[str, Any] = {"part": text_of(what, "moved"), "by": one_value(text_of(what, "by"))}
    if not text_of(what, "by"):
        raise NotEntered("write how far it moved: turns such as 2.5 or 3/8, of a slide a length")
    if way := text_of(what, "way"):
        moved["way"] = way
        turned["way"] = text_of(what, "turned way") or next(iter(ways_of(desk.unfitted.machine, turned["part"])))
    if within := text_of(what, "within"):
        moved["within"] = one_value(within)
    row |= {"turned": turned, "moved": moved, **_stood(text_of(what, "stood"))}
    _write(desk, _with_row(desk, row), "counted")


def _stood(text: str) -> dict[str, Any]:
    """How the machine stood, as the page was given it: levers, gears in the brackets, parts held."""
    try:
        held = json.loads(text) if text else {}
    except ValueError:
        held = {}
    return {key: held[key] for key in ("levers", "change", "held") if isinstance(held, dict) and held.get(key)}


def _with_row(desk: MachineDesk, row: Mapping[str, Any]) -> str:
    """The text of the machine's counts with one more."""
    text = text_or_none(desk.shelf.path(counts_name(desk)))
    title = json.dumps(f"{desk.title}, counted", ensure_ascii=False)
    start = f'format = "observations/1"\ntitle  = {title}\nunits  = "{desk.values.get("units", "mm")}"\n\n'
    document = tomlkit.parse(plain(text or start))
    table = tomlkit.table()
    for key, value in row.items():
        table[key] = _inline(value)
    table.add(tomlkit.nl())
    if "counted" not in document:
        document["counted"] = tomlkit.aot()
    rows: Any = document["counted"]
    rows.append(table)
    return tomlkit.dumps(document)


def _inline(value: Any) -> Any:
    if not isinstance(value, Mapping):
        return value
    table = tomlkit.inline_table()
    for name, each in value.items():
        table[name] = _inline(each)
    return table


def take_back(desk: MachineDesk, number: int) -> None:
    """A count taken out that was entered wrong."""
    document = tomlkit.parse(plain(text_or_none(desk.shelf.path(counts_name(desk))) or ""))
    rows: Any = document.get("counted", [])
    if not 0 <= number < len(rows):
        raise NotEntered("that count isn't there any more")
    del rows[number]
    if not len(rows) and not {"cut", "bound"} & {*document}:
        # A file of counts has one at least; what it said stays among its versions.
        desk.shelf.path(counts_name(desk)).unlink()
        return
    _write(desk, tomlkit.dumps(document), "a count taken out")


def _write(desk: MachineDesk, text: str, what: str) -> None:
    assert desk.unfitted is not None
    name = counts_name(desk)
    read_observations_text(text, desk.unfitted.machine, name)
    versions = Versions(desk.shelf.folder, name)
    versions.keep(text, what, versions.all[-1] if versions.all else None)
    write_text(text, desk.shelf.path(name), overwrite=True)
