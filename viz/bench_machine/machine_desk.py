"""One machine on the desk: its file as text, written part by part, and usable as soon as its reader takes it.

A machine of the folder is its file; one that ships is shown and can be copied. What isn't whole yet is kept as it was
entered, on the disk, and goes into its file once the reader takes it, numbers written "?" included.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from pathlib import Path
from typing import Any

import tomlkit
from handlead.machines.keys.link_keys import LINK
from handlead.machines.keys.machine_keys import LIMITS
from handlead.machines.machine_files.catalogue import shipped_machines
from handlead.machines.machine_files.machine_file import Machine, read_machine_text
from handlead.machines.machine_files.unfitted import Unfitted, read_unfitted_text
from handlead.machines.toml.errors import FileFault
from handlead.machines.toml.filing import as_it_came, plain, read_text, write_text
from handlead.machines.toml.places import statements
from handlead.machines.toml.tables import Key
from handlead.viz.bench_files.entered import NotEntered
from handlead.viz.bench_files.shelf import Shelf
from handlead.viz.bench_files.versions import Drafts, Versions, digest_of, text_or_none


@dataclass(frozen=True)
class MachineDesk:
    """A machine's text. `own`: it is the folder's; `machine` and `unfitted` are None while it can't be used.

    `faults` are what is wrong: where it stands ("link 3", or a table's name), and the words.
    """

    shelf: Shelf
    stem: str
    text: str
    own: bool
    exists: bool
    machine: Machine | None
    unfitted: Unfitted | None
    faults: tuple[tuple[str, str], ...]

    @property
    def name(self) -> str:
        """Its file's name."""
        return f"{self.stem}.toml"

    @property
    def digest(self) -> str:
        """What tells this state from another."""
        return digest_of(self.text)

    @cached_property
    def values(self) -> Mapping[str, Any]:
        """What the text says."""
        try:
            return tomlkit.parse(plain(self.text)).unwrap()
        except tomlkit.exceptions.TOMLKitError:
            return {}

    @property
    def title(self) -> str:
        """What it is called."""
        return str(self.values.get("name") or self.stem)

    @property
    def parts(self) -> tuple[str, ...]:
        """Shafts, then slides."""
        return (*self._table("shafts"), *self._table("slides"))

    def _table(self, name: str) -> Mapping[str, Any]:
        value = self.values.get(name)
        return value if isinstance(value, Mapping) else {}

    @property
    def links(self) -> tuple[Mapping[str, Any], ...]:
        """The links as they are written."""
        rows = self.values.get("link")
        return tuple(row for row in rows if isinstance(row, Mapping)) if isinstance(rows, list) else ()

    @property
    def open_figures(self) -> tuple[str, ...]:
        """The numbers that are still "?"."""
        return tuple(each.key for each in self.unfitted.figures) if self.unfitted else ()

    def loose(self) -> tuple[str, ...]:
        """Parts that no link touches, and parts that nothing joins to a drive, while the train grows."""
        return tuple(_loose(self))


def _ports(row: Mapping[str, Any]) -> list[str]:
    suns = row.get("suns")
    both = [
        row.get("from"),
        row.get("to"),
        row.get("carrier"),
        row.get("shaft"),
        *(suns if isinstance(suns, list) else ()),
    ]
    return [str(part) for part in both if part]


def _loose(desk: MachineDesk) -> Iterator[str]:
    touched = {part for row in desk.links for part in _ports(row)}
    for part in desk.parts:
        if part not in touched:
            yield f"{part}: no link touches it yet"
    drives = desk.values.get("drives")
    starts = {
        str(one.get("shaft"))
        for one in (drives.values() if isinstance(drives, Mapping) else ())
        if isinstance(one, Mapping)
    }
    reached, before = set(starts), 0
    while len(reached) != before:
        before = len(reached)
        for row in desk.links:
            ports = _ports(row)
            if reached & set(ports):
                reached |= set(ports)
    for part in desk.parts:
        if starts and part in touched and part not in reached:
            yield f"{part}: nothing joins it to a drive"


def open_machine(shelf: Shelf, stem: str) -> MachineDesk:
    """The machine called so: of the folder, begun, or shipped. Raises `FileFault` where there is none."""
    path = shelf.path(f"{stem}.toml")
    drafts = Drafts(shelf.folder, f"{stem}.toml")
    there = text_or_none(path)
    own = there is not None or bool(drafts.base)
    text = drafts.base or there
    if text is None:
        shipped = shipped_machines().get(stem)
        if shipped is None:
            raise shelf.no_such(f"{stem}.toml")
        text = read_text(shipped)
    return _read(shelf, stem, text, own, there is not None)


def _read(shelf: Shelf, stem: str, text: str, own: bool, exists: bool) -> MachineDesk:
    machine, unfitted = None, None
    faults: tuple[tuple[str, str], ...] = ()
    try:
        machine = read_machine_text(plain(text), f"{stem}.toml")
    except FileFault as fault:
        faults = tuple(_where(fault, text))
        try:
            unfitted = read_unfitted_text(plain(text), f"{stem}.toml")
            if unfitted.figures:
                faults = ()
        except FileFault as other:
            faults = tuple(_where(other, text))
    return MachineDesk(shelf, stem, text, own, exists, machine, unfitted, faults)


def _where(fault: FileFault, text: str) -> Iterator[tuple[str, str]]:
    """Each complaint with the part of the page where it belongs."""
    links = [one.first + 1 for one in statements(plain(text)) if one.is_heading and one.path == ("link",)]
    heads = [(one.first + 1, str(one.path[0])) for one in statements(plain(text)) if one.is_heading]
    for complaint in fault.complaints:
        head = next((name for line, name in reversed(heads) if line <= complaint.line), "")
        if (head == "link" and "is missing" not in complaint.message[:20]) or complaint.key.startswith(
            "link"
        ):
            number = sum(1 for line in links if line <= complaint.line)
            yield (
                f"link {max(number - 1, 0)}",
                f"{complaint.key}: {complaint.message}" if complaint.key else complaint.message,
            )
        else:
            yield (
                head if complaint.key else "",
                f"{complaint.key}: {complaint.message}" if complaint.key else complaint.message,
            )


# ---------------------------------------------------------------- changing


def put(desk: MachineDesk, text: str, what: str) -> MachineDesk:
    """The machine with another text: into its file where the reader takes it, else kept until it does."""
    if not desk.own:
        raise NotEntered("a machine that ships isn't written over: make a copy of it first")
    fresh = _read(desk.shelf, desk.stem, text, True, desk.exists)
    drafts = Drafts(desk.shelf.folder, desk.name)
    if fresh.faults:
        drafts.hold({}, text)
        return open_machine(desk.shelf, desk.stem)
    path = desk.shelf.path(desk.name)
    versions, now = Versions(desk.shelf.folder, desk.name), text_or_none(path)
    parent = versions.of_text(now) if now is not None else None
    if now is not None and parent is None:
        parent = versions.keep(now, "as it was found", versions.all[-1] if versions.all else None)
    if now != text:
        versions.keep(text, what, parent)
        write_text(text, path, overwrite=True)
    drafts.hold({})
    return open_machine(desk.shelf, desk.stem)


def set_at(desk: MachineDesk, path: list[Any], value: Any, what: str) -> MachineDesk:
    """The machine with a value at a path of its file, or without what is there where the value is None."""
    document = tomlkit.parse(plain(desk.text))
    here: Any = document
    for step, after in pairwise(path):
        if isinstance(step, int):
            if not isinstance(here, list) or not 0 <= step < len(here):
                raise NotEntered("that isn't there any more. Load the page again")
        elif step not in here:
            here[step] = tomlkit.aot() if isinstance(after, int) else tomlkit.table()
        here = here[step]
    last = path[-1]
    if value is None:
        if (isinstance(last, int) and isinstance(here, list) and 0 <= last < len(here)) or last in here:
            del here[last]
    elif isinstance(last, int):
        row = tomlkit.table()
        for key, each in value.items():
            row[key] = each
        here.append(row)
    else:
        here[last] = value
    return put(desk, as_it_came(tomlkit.dumps(document), desk.text), what)


def keys_of(kind: str) -> tuple[Key, ...]:
    """The keys of a link of this kind beside its name and kind; the bracket's own are left to the file."""
    table = LINK.get(kind)
    return tuple(key for key in table.keys if key.name not in ("name", "kind", "bracket")) if table else ()


def limit_keys() -> tuple[Key, ...]:
    """The keys of [limits]."""
    return LIMITS.keys


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


def begin(shelf: Shelf, title: str, alike: str, units: str, quote: Callable[[str], str]) -> str:
    """A new machine: a copy of the one most alike, or a bare one; returns its stem."""
    stem = Path(shelf.new_name(title)).stem
    if not alike:
        Drafts(shelf.folder, f"{stem}.toml").hold({}, BARE.format(name=quote(title), units=units))
        return stem
    source = open_machine(shelf, alike)
    document = tomlkit.parse(plain(source.text))
    document["name"] = title
    put(
        MachineDesk(shelf, stem, "", True, False, None, None, ()),
        tomlkit.dumps(document),
        f"begun from {source.title}",
    )
    return stem
