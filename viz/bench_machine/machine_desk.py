"""One machine on the desk: its file as text, written part by part, and usable as soon as its reader takes it.

A machine of the folder is its file; one that ships is shown and can be copied. What isn't whole yet is kept as it was
entered, on the disk, and goes into its file once the reader takes it, numbers written "?" included. Every text that it
has had can be brought back.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import tomlkit
from handlead.machines.machine_files.catalogue import shipped_machines
from handlead.machines.machine_files.machine_file import Machine, read_machine_text
from handlead.machines.machine_files.unfitted import Unfitted, read_unfitted_text
from handlead.machines.toml.errors import FileFault
from handlead.machines.toml.filing import plain, read_text, write_text
from handlead.machines.toml.places import Path_, parse
from handlead.viz.bench_desk.desk import Elsewhere
from handlead.viz.bench_files.entered import NotEntered
from handlead.viz.bench_files.shelf import Shelf
from handlead.viz.bench_files.versions import Drafts, Version, Versions, digest_of, text_or_none

from .entering import FieldsSheet

Faults = Mapping[Path_, tuple[str, ...]]


@dataclass(frozen=True)
class MachineDesk:
    """A machine's text. `own`: it is the folder's; `machine` and `unfitted` are None while it can't be used.

    `there` is the file's own text, None where there is no file yet. `apart`: what was entered was made of another
    text than the file has now. `faults` are what is wrong, by the place in the file.
    """

    shelf: Shelf
    stem: str
    text: str
    own: bool
    there: str | None
    apart: bool
    machine: Machine | None
    unfitted: Unfitted | None
    faults: Faults

    @property
    def name(self) -> str:
        """Its file's name."""
        return f"{self.stem}.toml"

    @property
    def exists(self) -> bool:
        """Whether there is a file."""
        return self.there is not None

    @property
    def is_draft(self) -> bool:
        """Whether what is shown isn't in the file."""
        return self.own and self.text != self.there

    @property
    def digest(self) -> str:
        """What tells this state from another."""
        return digest_of(self.text + ("\0" + (self.there or "") if self.apart else ""))

    @property
    def there_digest(self) -> str:
        """What tells the file's text from another; "" where there is none."""
        return digest_of(self.there) if self.there is not None else ""

    @cached_property
    def values(self) -> Mapping[str, Any]:
        """What the text says."""
        try:
            return parse(plain(self.text), self.name).values
        except FileFault:
            return {}

    @cached_property
    def sheet(self) -> FieldsSheet:
        """What its fields are made of."""
        return FieldsSheet(self.values, self.faults)

    @property
    def title(self) -> str:
        """What it is called."""
        return str(self.values.get("name") or self.stem)

    @property
    def parts(self) -> tuple[str, ...]:
        """Shafts, then slides."""
        return self.sheet.named("part")

    @property
    def open_figures(self) -> tuple[str, ...]:
        """The numbers that are still "?"."""
        return tuple(each.key for each in self.unfitted.figures) if self.unfitted else ()

    @cached_property
    def versions(self) -> Versions:
        """What it has been."""
        return self.shelf.versions(self.name)


def open_machine(shelf: Shelf, stem: str) -> MachineDesk:
    """The machine called so: of the folder, begun, or shipped. Raises `FileFault` where there is none."""
    there = text_or_none(shelf.path(f"{stem}.toml"))
    drafts = Drafts(shelf.folder, f"{stem}.toml")
    text = drafts.base or there
    apart = bool(drafts.base) and there is not None and drafts.of != digest_of(there)
    if text is None:
        shipped = shipped_machines().get(stem)
        if shipped is None:
            raise shelf.no_such(f"{stem}.toml")
        return _read(shelf, stem, read_text(shipped), None, False)
    return _read(shelf, stem, text, there, apart, own=True)


def _read(
    shelf: Shelf, stem: str, text: str, there: str | None, apart: bool, own: bool = False
) -> MachineDesk:
    machine, unfitted = None, None
    faults: Faults = {}
    try:
        machine = read_machine_text(plain(text), f"{stem}.toml")
    except FileFault as fault:
        faults = _placed(fault, text)
        try:
            unfitted = read_unfitted_text(plain(text), f"{stem}.toml")
            faults = {} if unfitted.figures else faults
        except FileFault as other:
            faults = _placed(other, text)
    return MachineDesk(shelf, stem, text, own, there, apart, machine, unfitted, faults)


def _placed(fault: FileFault, text: str) -> Faults:
    """Each complaint with the place in the file that it is about; () for the file as a whole."""
    try:
        document = parse(plain(text), "")
    except FileFault:
        return {(): tuple(each.message for each in fault.complaints)}
    at: dict[tuple[int, int], Path_] = {}
    for path in _paths(document.values, ()):
        spot = document.place(*path)
        # Of a table and what first stands in it, the table: its own key has a place further on.
        at.setdefault((spot.line, spot.column), path)
    found: dict[Path_, list[str]] = {}
    for complaint in fault.complaints:
        path = at.get((complaint.line, complaint.column), ())
        found.setdefault(path, []).append(complaint.message[:1].upper() + complaint.message[1:])
    return {path: tuple(words) for path, words in found.items()}


def _paths(value: Any, path: Path_) -> list[Path_]:
    found = [path] if path else []
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for step, inner in items:
        found.extend(_paths(inner, (*path, step)))
    return found


# ---------------------------------------------------------------- changing


def put(desk: MachineDesk, text: str, what: str, version: Version | None = None) -> MachineDesk:
    """The machine with another text: into its file where the reader takes it, else kept until it does.

    `version` is the one that has this text already. Raises `NotEntered` for one that ships, `Elsewhere` where the
    file isn't what the desk has.
    """
    if not desk.own:
        raise NotEntered("a machine that ships isn't written over: make a copy of it first")
    path, drafts = desk.shelf.path(desk.name), Drafts(desk.shelf.folder, desk.name)
    if desk.apart or text_or_none(path) != desk.there:
        raise Elsewhere(text_or_none(path) or "")
    if text != desk.text and version is None:
        desk.versions.keep(text, what, at_version(desk))
    if _read(desk.shelf, desk.stem, text, desk.there, False, own=True).faults:
        drafts.hold({}, text, desk.there_digest)
    else:
        if text != desk.there:
            write_text(text, path, overwrite=True)
        drafts.hold({})
    return open_machine(desk.shelf, desk.stem)


def at_version(desk: MachineDesk) -> Version | None:
    """The version that is shown; one that nobody kept yet is kept as what was found."""
    return desk.versions.found(desk.text) if desk.text else None


def bring_back(desk: MachineDesk, version: Version) -> MachineDesk:
    """A version's text again; what is there now stays kept."""
    at_version(desk)
    return put(desk, desk.versions.text(version.number), version.what, version)


def take_theirs(desk: MachineDesk) -> MachineDesk:
    """Go on with the file as it is; what was entered and isn't in it stays among the versions."""
    at_version(desk)
    Drafts(desk.shelf.folder, desk.name).hold({})
    fresh = open_machine(desk.shelf, desk.stem)
    at_version(fresh)
    return fresh


def take_ours(desk: MachineDesk, version: Version | None) -> MachineDesk:
    """What the page has (a version, or what was entered last) in the file's place; the file's text stays kept."""
    text = desk.versions.text(version.number) if version else desk.text
    if desk.there is not None:
        desk.versions.found(desk.there)
    Drafts(desk.shelf.folder, desk.name).hold({})
    return put(open_machine(desk.shelf, desk.stem), text, "put in the place of what was changed elsewhere", version)


#: A machine with nothing in it but what every one has: a motor, a hob and a table.
BARE = """format  = "machine/1"
name    = {name}
units   = "{units}"

[shafts]
"motor" = "main motor"
"hob"   = "hob spindle"
"table" = "table"

[ends]
hob   = {{ part = "hob", positive = "cutting up" }}
table = {{ part = "table", positive = "counter-clockwise" }}

[drives]
main = {{ shaft = "motor" }}
"""


def begin(shelf: Shelf, title: str, alike: str, units: str) -> str:
    """A new machine: a copy of the one most alike, or a bare one; returns its stem."""
    stem = Path(shelf.new_name(title)).stem
    quoted = json.dumps(title, ensure_ascii=False)
    if not alike:
        Drafts(shelf.folder, f"{stem}.toml").hold({}, BARE.format(name=quoted, units=units))
        return stem
    source = open_machine(shelf, alike)
    # What its head says is said of the other machine.
    head = re.sub(r"\A(?:[ \t]*#[^\n]*\n|\s*\n)+", "", plain(source.text))
    document = tomlkit.parse(f"# Begun from {source.title}.\n{head}")
    document["name"] = title
    document.pop("summary", None)
    empty = MachineDesk(shelf, stem, "", True, None, False, None, None, {})
    put(empty, tomlkit.dumps(document), f"begun from {source.title}")
    return stem
