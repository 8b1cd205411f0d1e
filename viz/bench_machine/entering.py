"""The fields of a machine's file, made of the tables of keys that its reader goes by: what can be typed, and where.

No key has a field of its own in code: one that is added to a table stands on the page.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from handlead.machines.keys.machine_keys import MACHINE
from handlead.machines.tables.question_marks import UNKNOWN
from handlead.machines.tables.tables import Key, OneOf, Rows, Table, TableOf
from handlead.machines.tables.values import Flag, Listing, Name, Text, Value
from handlead.machines.toml.places import Path_, Step
from handlead.viz.bench_files.entered import NotEntered, shown

#: Keys of a table that aren't asked for again once it is there.
_TOLD_ABOVE = ("kind", "format")

#: What a key is called beside its field, where the file's word says too little there.
_LABELS = {"from": "driving part (from)", "to": "driven part (to)", "carrier": "carrier, the cage", "shaft": "part"}

#: Said of a sense: what a positive is, and how it is found out.
_SENSE = (
    "Chalk an arrow on each shaft between, any way; of hob, table and slides the positive is what stands under "
    "What meets the work. Turn the driving part along its arrow: the driven one goes along its own (same) or "
    "against it (opposite)."
)

#: What the two numbers of a pair belong to.
_OF_TWO = {"teeth": ("driving", "driven"), "diameters": ("driving", "driven"), "suns": ("first", "second")}


@dataclass(frozen=True)
class KeyEntry:
    """A field: where its value stands in the file, what is there, what it means, the words to choose from, and what is
    wrong with it. `unset` is what holds while it is empty."""

    path: Path_
    label: str
    value: str
    meaning: str
    required: bool = False
    choices: tuple[str, ...] = ()
    unset: str = ""
    faults: tuple[str, ...] = ()

    @property
    def mark(self) -> str:
        """What the page calls it."""
        return "-".join("".join(one if one.isalnum() else "_" for one in str(step)) for step in self.path)


@dataclass(frozen=True)
class EntryGroup:
    """The fields of one table: its title and meaning, fields, the tables within it, and what is wrong with it as a
    whole. `names` are those that a further line may take, None where it takes no further line, () for any."""

    path: Path_
    title: str
    meaning: str
    entries: tuple[KeyEntry, ...]
    inner: tuple[EntryGroup, ...] = ()
    faults: tuple[str, ...] = ()
    names: tuple[str, ...] | None = None
    one_of: tuple[str, ...] = ()

    @property
    def all_faults(self) -> Iterator[str]:
        """What is wrong here and further in."""
        yield from self.faults
        for entry in self.entries:
            yield from entry.faults
        for group in self.inner:
            yield from group.all_faults

    @property
    def filled(self) -> bool:
        """Whether anything is entered here or further in."""
        return any(entry.value for entry in self.entries) or any(group.filled for group in self.inner)


Faults = Mapping[Path_, tuple[str, ...]]


@dataclass(frozen=True)
class FieldsSheet:
    """What the fields are made of: the file's values, and what is wrong at each place in it."""

    values: Mapping[str, Any]
    faults: Faults

    def at(self, path: Path_) -> Any:
        """What stands at a path; None for nothing."""
        here: Any = self.values
        for step in path:
            if isinstance(here, Mapping):
                here = here.get(str(step))
            elif isinstance(here, list) and isinstance(step, int) and 0 <= step < len(here):
                here = here[step]
            else:
                return None
        return here

    def value(self, path: Path_) -> Value:
        """The kind of value that belongs at a path. Raises `NotEntered` where a machine's file has no such place."""
        here: Value = MACHINE
        for depth, step in enumerate(path):
            inner = _inner(here, step, self.at(path[: depth + 1]))
            if inner is None:
                raise NotEntered(f"a machine's file has no {'.'.join(map(str, path))}")
            here = inner
        return here

    def named(self, of: str) -> tuple[str, ...]:
        """The names that are there of a kind of thing: shaft, slide, part, link or bracket."""
        shafts, slides = (tuple(self._table(name)) for name in ("shafts", "slides"))
        if of in ("shaft", "slide", "part"):
            return {"shaft": shafts, "slide": slides, "part": shafts + slides}[of]
        rows = [row for row in self.rows("link") if of != "bracket" or row.get("kind") == "change gears"]
        return tuple(str(row["name"]) for row in rows if row.get("name"))

    def rows(self, name: str) -> list[Mapping[str, Any]]:
        """The rows of an array of tables."""
        rows = self.values.get(name)
        return [row for row in rows if isinstance(row, Mapping)] if isinstance(rows, list) else []

    def _table(self, name: str) -> Mapping[str, Any]:
        value = self.values.get(name)
        return value if isinstance(value, Mapping) else {}

    # -- groups

    def group(self, path: Path_, title: str, leave_out: tuple[str, ...] = ()) -> EntryGroup:
        """The fields of the table at a path; the keys of `leave_out` have fields elsewhere."""
        value = self.value(path)
        faults = self.faults.get(path, ())
        if isinstance(value, TableOf):
            return self._open_group(path, title, value, faults)
        if not isinstance(value, Table):
            raise NotEntered(f"{title}: it isn't a table")
        entries: list[KeyEntry] = []
        inner: list[EntryGroup] = []
        for key in value.keys:
            if key.name in (*_TOLD_ABOVE, *leave_out):
                continue
            at = (*path, key.name)
            if isinstance(key.value, Table | TableOf):
                inner.append(self.group(at, _words(key.name)))
            else:
                entries.extend(self._entries(at, key))
        rivals = tuple(map(rivals_told, value.one_of))
        return EntryGroup(path, title, plainly(value.meaning), tuple(entries), tuple(inner), faults, None, rivals)

    def _open_group(self, path: Path_, title: str, value: TableOf, faults: tuple[str, ...]) -> EntryGroup:
        """A table whose keys are names: a field for each that is there."""
        there = self.at(path)
        held = there if isinstance(there, Mapping) else {}
        if isinstance(value.of, Table | TableOf):
            inner = tuple(self.group((*path, name), name) for name in held)
            return EntryGroup(path, title, "", (), inner, faults, self._free(value, held))
        entries = tuple(
            entry
            for name in held
            for entry in self._entries((*path, name), Key(name, value.of, ""), name)
        )
        return EntryGroup(path, title, "", entries, (), faults, self._free(value, held))

    def _free(self, value: TableOf, held: Mapping[str, Any]) -> tuple[str, ...]:
        return tuple(name for name in self.named(value.names) if name not in held) if value.names else ()

    def _entries(self, path: Path_, key: Key, called: str = "") -> Iterator[KeyEntry]:
        """The field of a key, or of a name that is `called` so; two for a pair."""
        there, meaning, label = self.at(path), _sentence(key), called or _words(key.name)
        value = key.value
        if isinstance(value, Listing) and value.least == value.most == 2 and not isinstance(value.of, Listing):
            both = there if isinstance(there, list) else []
            whole = self.faults.get(path, ())
            for number, which in enumerate(_OF_TWO.get(key.name, ("first", "second"))):
                one = shown(both[number]) if number < len(both) else ""
                yield KeyEntry(
                    (*path, number), f"{label}, {which}", one, meaning, key.required,
                    self.choices(value.of), key.default, self.faults.get((*path, number), whole),
                )  # fmt: skip
            return
        yield KeyEntry(
            path, label, shown(there), meaning,
            key.required, self._choices(path, value), key.default.strip("[]"), tuple(self._deep_faults(path)),
        )  # fmt: skip

    def _choices(self, path: Path_, value: Value) -> tuple[str, ...]:
        """As `choices`; of a selector's state the states that it has."""
        ratios = self.at((*path[:-1], "ratios"))
        return tuple(ratios) if path[-1] == "state" and isinstance(ratios, Mapping) else self.choices(value)

    def _deep_faults(self, path: Path_) -> Iterator[str]:
        for at, words in self.faults.items():
            if at[: len(path)] == path:
                yield from words

    def choices(self, value: Value) -> tuple[str, ...]:
        """The words that a field can be chosen from; () where it is typed."""
        if isinstance(value, Name):
            return self.named(value.of)
        if isinstance(value, Text) and value.one_of:
            return (*value.one_of, UNKNOWN) if value.one_of == ("same", "opposite") else value.one_of
        return ("yes", "no") if isinstance(value, Flag) else ()


def _inner(value: Value, step: Step, there: Any) -> Value | None:
    """The kind of value one step further in; None where there is no such step."""
    if isinstance(value, Table) and isinstance(step, str) and step in value.names:
        return value.key(step).value
    if isinstance(value, TableOf) and isinstance(step, str):
        return value.of
    if isinstance(value, Rows) and isinstance(step, int):
        return value.table(there) if isinstance(there, Mapping) else None
    if isinstance(value, Listing) and isinstance(step, int):
        return value.of
    return None


def _words(name: str) -> str:
    return _LABELS.get(name, name.replace("_", " "))


def _sentence(key: Key) -> str:
    said = _SENSE if key.name == "sense" else f"{key.meaning} {key.advice}".strip()
    return plainly(said.replace("{from}", "the driving part").replace("{to}", "the driven part"))


def rivals_told(choice: OneOf) -> str:
    """Which keys stand in each other's place, in words."""
    names = " or ".join(map(_words, choice.keys))
    return f"One of these must be there, and no more: {names}." if choice.required else f"No more than one: {names}."


def plainly(words: str) -> str:
    """What the reference says of a key, without the marks of a file's words."""
    return words.replace("`prove`", "the verdict").replace("`study`", "the study").replace("`", "")


def named_at(values: Mapping[str, Any], of: str, name: str) -> list[tuple[Path_, bool]]:
    """Every place where a shaft, slide or link of this name is named; True where the name is a key there."""
    kinds = ("link", "bracket") if of == "link" else (of, "part")
    sheet = FieldsSheet(values, {})
    return [
        (path, path[-1] == name and sheet.at(path) != name)
        for path, kind, called in MACHINE.references(values, ())
        if kind in kinds and called == name
    ]
