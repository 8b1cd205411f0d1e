"""What can be entered on a machine's page, by the word that the page sends for it: each makes a text of a text.

The comments and the order of the file stay. What comes out is read again and held against what was meant.
"""

from __future__ import annotations

import copy
from collections.abc import Callable, Mapping
from typing import Any

import tomlkit
from handlead.machines.keys.imperfection_keys import IMPERFECTION, LOOSENESS
from handlead.machines.keys.link_keys import LINK
from handlead.machines.keys.machine_keys import GEAR_SET
from handlead.machines.tables.question_marks import UNKNOWN
from handlead.machines.tables.tables import Rows, Table, TableOf
from handlead.machines.tables.values import Listing, Name
from handlead.machines.toml.filing import as_it_came, plain
from handlead.machines.toml.places import Path_
from handlead.viz.bench_files.entered import NotEntered, shown, typed

from .entering import FieldsSheet, named_at

What = Mapping[str, Any]

#: What can be added to the train beside links, and the table that it stands in.
PARTS = {"shaft": "shafts", "slide": "slides"}

#: Rows that can be added outside the train: their tables by kind.
ROWS: Mapping[str, Mapping[str, Table]] = {
    "imperfection": IMPERFECTION,
    "looseness": LOOSENESS,
    "gear_set": {"": GEAR_SET},
}

_PAIR = 2

#: [levers.NAME.positions] is the innermost heading of a lever; each position stands on a line.
_LEVER_HEADINGS = 3


class Editing:
    """A machine's text being changed: the document as it is written, and beside it what it says."""

    def __init__(self, text: str) -> None:
        self._before = text
        self.document = tomlkit.parse(plain(text))
        self.values: dict[str, Any] = copy.deepcopy(self.document.unwrap())

    @property
    def sheet(self) -> FieldsSheet:
        """What stands in it now."""
        return FieldsSheet(self.values, {})

    @property
    def text(self) -> str:
        """The text as it is now. Raises `NotEntered` where it doesn't say what was meant."""
        text = tomlkit.dumps(self.document)
        try:
            said = tomlkit.parse(text).unwrap()
        except tomlkit.exceptions.TOMLKitError:
            said = {}
        if said != self.values:
            raise NotEntered("this can't be put into the file as it is written: change it there")
        return as_it_came(text, self._before)

    def put(self, path: Path_, value: Any) -> None:
        """A value at a path, with the tables on the way; None takes out what is there."""
        if value is None:
            self.take_out(path)
            return
        for here, is_text in ((self.document, True), (self.values, False)):
            inner: Any = here
            for depth in range(len(path) - 1):
                inner = _stepped(inner, path, depth, is_text)
            last = path[-1]
            if isinstance(last, int):
                while len(inner) < last:
                    inner.append(UNKNOWN)
                if last == len(inner):
                    inner.append(value)
                    continue
            inner[last] = value if is_text else _bare(value)

    def take_out(self, path: Path_) -> None:
        """Without what stands at a path; tables that are left empty on the way go too, but for those of parts."""
        for here in (self.document, self.values):
            inner: Any = here
            for step in path[:-1]:
                if not (step in inner if isinstance(inner, Mapping) else isinstance(step, int) and step < len(inner)):
                    return
                inner = inner[step]
            last = path[-1]
            if isinstance(last, int) and not 0 <= last < len(inner):
                raise NotEntered("that isn't there any more. Load the page again")
            if isinstance(last, int) or last in inner:
                del inner[last]

    def add_row(self, name: str, row: Mapping[str, Any], at: int | None = None) -> None:
        """One more row of an array of tables, at the end or before another."""
        table = tomlkit.table()
        for key, value in row.items():
            table[key] = value
        table.add(tomlkit.nl())
        if name not in self.document:
            self.document.add(tomlkit.nl())
            self.document[name] = tomlkit.aot()
            self.values[name] = []
        rows: Any = self.document[name]
        place = len(rows) if at is None else at
        rows.insert(place, table)
        self.values[name].insert(place, {key: _bare(value) for key, value in row.items()})

    def rename(self, of: str, old: str, new: str) -> None:
        """A shaft, slide or link called otherwise, wherever it is named."""
        if new in self.sheet.named("link" if of == "link" else "part"):
            raise NotEntered(f"another one is called {new} already")
        places = named_at(self.values, of, old)
        for path, is_key in places:
            if is_key:
                self._rename_key(path, new)
            else:
                self.put(path, new)
        if of != "link":
            self._rename_key((PARTS[of], old), new)

    def _rename_key(self, path: Path_, new: str) -> None:
        for here in (self.document, self.values):
            inner: Any = here
            for step in path[:-1]:
                inner = inner[step]
            held = list(inner.items())
            for key, _ in held:
                del inner[key]
            for key, value in held:
                inner[new if key == path[-1] else key] = value


def _stepped(inner: Any, path: Path_, depth: int, is_text: bool) -> Any:
    """One step further in along a path; what isn't there is made: a table under a heading of its own at the head of
    the file and for levers, else within a line."""
    step, after = path[depth], path[depth + 1]
    if isinstance(inner, list):
        if not isinstance(step, int) or not 0 <= step < len(inner):
            raise NotEntered("that isn't there any more. Load the page again")
    elif step not in inner:
        if isinstance(after, int):
            inner[step] = []
        elif not is_text:
            inner[step] = {}
        elif depth == 0 or (path[0] == "levers" and depth < _LEVER_HEADINGS):
            inner[step] = tomlkit.table(is_super_table=path[0] == "levers" and depth == 0)
        else:
            inner[step] = tomlkit.inline_table()
    return inner[step]


def _bare(value: Any) -> Any:
    """A value as the standard library would have it."""
    return value.unwrap() if hasattr(value, "unwrap") else copy.deepcopy(value)


# ---------------------------------------------------------------- what the page sends


def text_of(what: What, key: str) -> str:
    """A line that was typed. Raises `NotEntered`."""
    value = what.get(key, "")
    if not isinstance(value, str) or len(value) > 2000 or not value.isprintable():
        raise NotEntered(f"{key}: it must be a text on one line")
    return value.strip()


def number_of(what: What) -> int:
    """Which of several is spoken of, from 0. Raises `NotEntered`."""
    number = what.get("number")
    if not isinstance(number, int) or number < 0:
        raise NotEntered("that isn't there any more. Load the page again")
    return number


def path_of(what: What) -> Path_:
    """The place in the file that is spoken of."""
    path = what.get("path")
    if not isinstance(path, list) or not path or not all(isinstance(step, str | int) for step in path):
        raise NotEntered("the page asked for something that isn't known here. Load it again")
    return tuple(path)


def edited(text: str, what: What) -> tuple[str, str]:
    """The text after something was entered, and what that was in words. Raises `NotEntered`."""
    action = _ACTIONS.get(str(what.get("do")))
    if action is None:
        raise NotEntered("the page asked for something that isn't known here. Load it again")
    editing = Editing(text)
    said = action(editing, what)
    return editing.text, said[:160]


def _set(editing: Editing, what: What) -> str:
    """A field."""
    path, value = path_of(what), text_of(what, "value")
    kind = editing.sheet.value(path)
    if isinstance(kind, Table | TableOf | Rows):
        raise NotEntered("that isn't a field")
    if path[0] == "link" and path[-1] == "name" and value:
        editing.rename("link", str(editing.sheet.at(path)), value)
    # Of a pair the one that isn't known yet is left open.
    editing.put(path, UNKNOWN if isinstance(path[-1], int) and not value else typed(kind, value))
    return f"{_called(editing, path)}: {shown(editing.sheet.at(path)) or 'taken out'}"


def _called(editing: Editing, path: Path_) -> str:
    """A place in words: the name of its row, and the key."""
    row = editing.sheet.at(path[:2]) if len(path) > 1 and isinstance(path[1], int) else None
    name = str(row.get("name") or row.get("kind") or "") if isinstance(row, Mapping) else ""
    rest = path[2:] if name else path
    return " ".join([name, *(str(step).replace("_", " ") for step in rest if isinstance(step, str))]).strip()


def _add(editing: Editing, what: What) -> str:
    """A shaft, slide or link, with all that was asked for."""
    kind, name = text_of(what, "kind"), text_of(what, "name")
    if not name:
        raise NotEntered("it has no name: write what is painted on it, or where it is")
    if kind in PARTS:
        if name in editing.sheet.named("part"):
            raise NotEntered(f"there is a {name} already")
        editing.put((PARTS[kind], name), text_of(what, "where"))
        return f"{kind} {name} added"
    if kind not in LINK:
        raise NotEntered(f"there is no link of the kind {kind}")
    if name in editing.sheet.named("link"):
        raise NotEntered(f"a link is called {name} already")
    row: dict[str, Any] = {"name": name, "kind": kind}
    for key in LINK[kind].keys:
        if key.name not in row and (value := _asked(editing, what, kind, key.name)) is not None:
            row[key.name] = value
    after = text_of(what, "after")
    links = list(editing.sheet.named("link"))
    editing.add_row("link", row, links.index(after) + 1 if after in links else None)
    return f"link {name} added"


def _asked(editing: Editing, what: What, kind: str, key: str) -> Any:
    """What was entered for a key of a new link; a part that isn't there yet is added to the others."""
    value = LINK[kind].key(key).value
    names = [f"{key}.{number}" for number in range(_PAIR)] if f"{key}.0" in what else [key]
    each = value.of if len(names) == _PAIR and isinstance(value, Listing) else value
    if isinstance(each, Table):
        return None
    if isinstance(each, Name) and each.of in ("shaft", "slide", "part"):
        given: list[Any] = [text_of(what, f"{name} new") or text_of(what, name) for name in names]
        for part in given:
            if part and part not in editing.sheet.named("part"):
                editing.put((PARTS.get(each.of, "shafts"), part), "")
    else:
        given = [typed(each, text_of(what, name)) for name in names]
    given = [None if one == "" else one for one in given]
    if len(names) == 1:
        return given[0]
    # Of a pair the one that isn't known yet is left open.
    return None if given == [None, None] else [UNKNOWN if one is None else one for one in given]


def _row(editing: Editing, what: What) -> str:
    """A row of what the machine does not do perfectly, or of a drawer."""
    table, kind = text_of(what, "table"), text_of(what, "kind")
    if kind not in ROWS.get(table, {}):
        raise NotEntered("there is no such kind")
    row: dict[str, Any] = {"kind": kind} if kind else {}
    for key in ROWS[table][kind].keys:
        given = what.get(key.name)
        text = ", ".join(given) if isinstance(given, list) else text_of(what, key.name)
        if key.name not in row and (value := typed(key.value, text)) is not None:
            row[key.name] = value
    editing.add_row(table, row)
    return f"{kind or 'drawer'} added"


def _fits(editing: Editing, what: What) -> str:
    """The brackets that a drawer's gears fit; none means every one."""
    number, chosen = number_of(what), what.get("fits", [])
    names = [chosen] if isinstance(chosen, str) else list(map(str, chosen)) if isinstance(chosen, list) else []
    path: Path_ = ("gear_set", number, "fits")
    editing.sheet.value(path)
    editing.put(path, [name for name in names if name in editing.sheet.named("bracket")] or None)
    return f"{_called(editing, path)}: {', '.join(names) or 'every bracket'}"


def _named(editing: Editing, what: What) -> str:
    """One more name in a table of names: a state of a selector, a limit of a shaft, a drive."""
    path, name = path_of(what), text_of(what, "name")
    if not name:
        raise NotEntered("it has no name")
    if editing.sheet.at((*path, name)) is not None:
        raise NotEntered(f"there is a {name} already")
    kind = editing.sheet.value((*path, name))
    value: Any = {} if not isinstance(kind, Table) else tomlkit.inline_table()
    if not isinstance(kind, Table) and (value := typed(kind, text_of(what, "value"))) is None:
        value = UNKNOWN
    editing.put((*path, name), value)
    return f"{_called(editing, path)}: {name}"


def _position(editing: Editing, what: What) -> str:
    """A lever, or one more position of it."""
    lever, position = text_of(what, "lever"), text_of(what, "position")
    if not lever or not position:
        raise NotEntered("a lever has a name, and each of its positions too")
    if editing.sheet.at(("levers", lever, "positions", position)) is not None:
        raise NotEntered(f"lever {lever} has a position {position} already")
    if editing.sheet.at(("levers", lever)) is None:
        editing.put(("levers", lever, "normal"), position)
    editing.put(("levers", lever, "positions", position), tomlkit.inline_table())
    return f"lever {lever}: position {position}"


def _out(editing: Editing, what: What) -> str:
    """Something taken out; what is still joined to it is named instead."""
    path = path_of(what)
    if path[0] in ("shafts", "slides"):
        of = "shaft" if path[0] == "shafts" else "slide"
        users = [_called(editing, at) for at, _ in named_at(editing.values, of, str(path[1]))]
        if users:
            raise NotEntered(f"{path[1]} is still joined: {', '.join(dict.fromkeys(users))}. Take these out first")
    said = _called(editing, path)
    if path[0] == "link" and len(path) == 2:
        _forget_link(editing, str(editing.sheet.at((*path, "name"))))
    editing.take_out(path)
    return f"{said} taken out"


def _forget_link(editing: Editing, name: str) -> None:
    """Levers, drawers and limits that name a link no longer do; what is known of it otherwise stands in the way."""
    for path, is_key in reversed(named_at(editing.values, "link", name)):
        if path[0] in ("imperfection", "looseness"):
            raise NotEntered(f"{path[0]} {int(path[1]) + 1} is of {name}. Take it out first")
        if is_key or path[0] == "gear_set":
            editing.take_out(path)


def _rename(editing: Editing, what: What) -> str:
    path, new = path_of(what), text_of(what, "name")
    of = {"shafts": "shaft", "slides": "slide"}.get(str(path[0]))
    if of is None or len(path) != 2 or not new:
        raise NotEntered("a shaft or slide has a name")
    editing.rename(of, str(path[1]), new)
    return f"{path[1]} called {new}"


_ACTIONS: Mapping[str, Callable[[Editing, What], str]] = {
    "set": _set, "add": _add, "row": _row, "fits": _fits, "named": _named, "position": _position, "out": _out,
    "rename": _rename,
}  # fmt: skip
