"""From a document and its table of keys to values, or to complaints that stand at their places."""

from __future__ import annotations

import copy
import re
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from handlead.machines.toml.errors import (
    MOST_COMPLAINTS,
    Complaint,
    FileFault,
    Missing,
    Place,
    Unknown,
    WrongValue,
)
from handlead.machines.toml.guesses import guess, shown
from handlead.machines.toml.places import Document, Path_, quoted
from voluptuous import Invalid, MultipleInvalid

from .tables import Table
from .values import ValueFault

_BARE = re.compile(r"[A-Za-z0-9_-]+")


def where(document: Document, path: Path_) -> str:
    """A path in the words of the file: ``link "index worm": sense``, ``[work] teeth``, ``units``."""
    if len(path) >= 2 and isinstance(path[1], int):
        name = document.get(path[0], path[1], "name")
        title = quoted(name) if isinstance(name, str) and name.strip() else str(path[1] + 1)
        rest = _dotted(path[2:])
        return f"{path[0]} {title}: {rest}" if rest else f"{path[0]} {title}"
    if len(path) > 1 or (path and isinstance(document.get(*path), dict)):
        tables = path if isinstance(document.get(*path), dict) else path[:-1]
        while tables and not isinstance(document.get(*tables), dict):
            tables = tables[:-1]
        rest = _dotted(path[len(tables) :])
        return f"[{_dotted(tables)}] {rest}".rstrip()
    return _dotted(path)


def _dotted(path: Path_) -> str:
    words: list[str] = []
    for step in path:
        if isinstance(step, int) and words:
            words[-1] += f" number {step + 1}"
        else:
            words.append(step if isinstance(step, str) and _BARE.fullmatch(step) else quoted(step))
    return ".".join(words)


class Complaints:
    """The complaints about one document, gathered until it has been looked through."""

    def __init__(self, document: Document) -> None:
        self._document = document
        self._faults: list[tuple[Path_, type[Complaint], str, Path_ | Place | None]] = []

    def __bool__(self) -> bool:
        return bool(self._faults)

    @property
    def units(self) -> str:
        """What the document's lengths are in, `mm` or `in`, for sizes in complaints."""
        return "in" if self._document.get("units") == "in" else "mm"

    def add(
        self, kind: type[Complaint], path: Path_, message: str, also: Path_ | Place | None = None
    ) -> None:
        """A complaint about the key at `path`; ``{also}`` in the message becomes the place of `also`."""
        self._faults.append((path, kind, message, also))

    def named(self, kind: str, name: str, path: Path_, known: Iterable[str], whose: str = "") -> None:
        """A complaint that `name` is no `kind`, with a guess among `known`."""
        self.add(Unknown, path, f"there is no {kind} {quoted(name)}{whose}. {guess(name, known)}")

    def raise_any(self, about_others: FileFault | None = None) -> None:
        """Raise `FileFault` with every complaint, those `about_others` first, if there is one."""
        ordered = sorted(self._faults, key=lambda fault: fault[1].rank)
        left_out = max(len(ordered) - MOST_COMPLAINTS, 0)
        placed = [self._placed(*fault) for fault in ordered[:MOST_COMPLAINTS]]
        if about_others is not None:
            raise FileFault([*about_others.complaints, *placed], left_out + about_others.left_out) from None
        if placed:
            raise FileFault(placed, left_out)

    def _placed(
        self, path: Path_, kind: type[Complaint], message: str, also: Path_ | Place | None
    ) -> Complaint:
        document = self._document
        others: tuple[Place, ...] = ()
        if also is not None:
            place = document.place(*path)
            other = also if isinstance(also, Place) else document.place(*also)
            message = message.replace("{also}", other.seen_from(place))
            others = (other,)
        inner = (
            path[:-1] if kind is Missing or (kind is Unknown and message.startswith("unknown key")) else path
        )
        return kind(document.place(*path), where(document, inner), message, others)


def values_of(document: Document, table: Table, complaints: Complaints) -> dict[str, Any] | None:
    """The document's values by its `table`, lengths in mm; None, with every fault noted, if there is any.

    A file of another format is told so, and looked at no further.
    """
    units = document.get("units")
    mistaken = _wrong_format(document, table)
    if mistaken:
        complaints.add(WrongValue, ("format",), mistaken)
        return None
    try:
        values: dict[str, Any] = table.read(copy.deepcopy(document.values), units if units in ("mm", "in") else "mm")
    except MultipleInvalid as many:
        for fault in many.errors:
            _note(fault, complaints)
        return None
    except Invalid as fault:
        _note(fault, complaints)
        return None
    return values


def _wrong_format(document: Document, table: Table) -> str | None:
    said = document.get("format")
    (right,) = table.key("format").value.one_of  # type: ignore[attr-defined]
    kind = right.partition("/")[0]
    if isinstance(said, str) and said != right and re.fullmatch(r"\w+/\d+", said):
        other = said.partition("/")[0]
        if other != kind:
            return f"this is a {other} file ({quoted(said)}), not a {kind} file. A {kind} file says {quoted(right)}"
        return (
            f"{shown(said)} is not a version that can be read. Write {quoted(right)}, or get a newer handlead"
        )
    return None


def _note(fault: Invalid, complaints: Complaints) -> None:
    if isinstance(fault, ValueFault):
        also = None if fault.also is None else _path(fault.also)
        complaints.add(fault.kind, _path(fault.path), fault.msg, also)
    else:
        complaints.add(WrongValue, _path(fault.path), fault.msg)


def _path(steps: Iterable[object]) -> Path_:
    return tuple(step for step in steps if isinstance(step, (str, int)))


def check_names(
    document: Document, table: Table, known: Mapping[str, Iterable[str]], complaints: Complaints
) -> None:
    """Complain of every name in the document that stands for something which isn't defined in it.

    `known` holds the names of each kind of thing; a kind that it leaves out isn't looked at.
    """
    for path, kind, name in table.references(document.values, ()):
        if kind in known and name not in known[kind]:
            other = next((other for other in known if other != "part" and name in known[other]), None)
            if other is not None and kind in ("shaft", "slide", "bracket"):
                message = f"{quoted(name)} is a {other}, and a {kind} must stand here"
                complaints.add(WrongValue, path, message)
            else:
                complaints.named(kind, name, path, known[kind])


def rows(document: Document, key: str) -> Iterator[tuple[int, dict[str, Any]]]:
    """The rows of an array of tables that are tables at all, with their numbers."""
    found = document.get(key)
    if isinstance(found, list):
        yield from ((index, row) for index, row in enumerate(found) if isinstance(row, dict))


def table_of(document: Document, *path: str) -> dict[str, Any]:
    """The table at `path`, or an empty one."""
    found = document.get(*path)
    return found if isinstance(found, dict) else {}
