"""Tables of keys as kinds of value: keys with what they take, choices between keys, tables in rows."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cache
from typing import Any

import voluptuous
from handlead.kinematics.frame.words import SWIVEL_TURNS
from handlead.machines.toml.errors import Disagreement, Missing, Unknown, WrongValue
from handlead.machines.toml.guesses import guess, nearest, shown
from handlead.machines.toml.numbers import Decimal
from handlead.machines.toml.places import Path_, quoted
from voluptuous import Invalid, MultipleInvalid

from .values import MOST_LINKS, MOST_PARTS, Reference, Text, Value, ValueFault, each_value


@dataclass(frozen=True)
class TableOf(Value):
    """A table whose keys are names chosen in the file; `names` says what they name, if it is defined elsewhere."""

    of: Value
    what: str
    names: str = ""
    most: int = MOST_PARTS

    def _says(self) -> str:
        return f"a table of {self.what}"

    def _read(self, raw: Any, units: str) -> dict[str, Any]:
        if not isinstance(raw, dict):
            raise self.wrong(raw)
        if len(raw) > self.most:
            raise ValueFault(WrongValue, f"there are {len(raw)} {self.what}; {self.most} are the most")

        def check(name: str, item: Any) -> Any:
            if not name.strip() or len(name) > 100:
                raise ValueFault(WrongValue, f"{quoted(name)} can't be a name: it must have 1 to 100 characters")
            return self.of.read(item, units)

        return each_value(raw.items(), check, both=True)

    def _references(self, raw: Any, path: Path_) -> Iterator[Reference]:
        if isinstance(raw, dict):
            for name, item in raw.items():
                if self.names:
                    yield (*path, name), self.names, name
                yield from self.of.references(item, (*path, name))

    def write(self, value: Any, units: str) -> Any:
        """Each item as it is written."""
        return {name: self.of.write(item, units) for name, item in value.items()}


@dataclass(frozen=True)
class Key:
    """A key: what it takes, what it means, and what holds without it.

    `advice` tells what to do if it is missing; ``{from}`` and ``{to}`` in it stand for those keys' values.
    `default` is for people: what holds if the key is left out.
    """

    name: str
    value: Value
    meaning: str
    required: bool = False
    default: str = ""
    advice: str = ""


@dataclass(frozen=True)
class OneOf:
    """Keys of which only one may be given, or exactly one must, but where a key of `unless` is there."""

    keys: tuple[str, ...]
    required: bool = False
    unless: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Table(Value):
    """A table with fixed keys."""

    name: str
    meaning: str
    keys: tuple[Key, ...]
    one_of: tuple[OneOf, ...] = ()
    #: What is made of the values once each is right by itself; a `ValueError` becomes a complaint.
    together: Callable[[dict[str, Any]], dict[str, Any]] | None = None

    def _says(self) -> str:
        return "a table"

    @property
    def names(self) -> tuple[str, ...]:
        """The keys' names, in their order."""
        return tuple(key.name for key in self.keys)

    def key(self, name: str) -> Key:
        """The key called `name`. Raises `KeyError`."""
        return _by_name(self)[name]

    def _read(self, raw: Any, units: str) -> dict[str, Any]:
        if not isinstance(raw, dict):
            raise self.wrong(raw)
        values: dict[str, Any] = {}
        faults: list[Invalid] = []
        try:
            values = _schema(self, units)(raw)
        except MultipleInvalid as many:
            faults.extend(many.errors)
        faults.extend(self._choices(raw))
        if faults:
            raise MultipleInvalid(self._in_our_words(faults, raw))
        try:
            return self.together(values) if self.together else values
        except ValueError as fault:
            raise ValueFault(WrongValue, str(fault)) from None

    def write(self, value: Any, units: str) -> Any:
        """The keys that `value` has, in the table's order; None counts as not there."""
        return {
            key.name: key.value.write(value[key.name], units)
            for key in self.keys
            if value.get(key.name) is not None
        }

    def _in_our_words(self, faults: list[Invalid], raw: dict[str, Any]) -> list[Invalid]:
        """The faults in the table's order, without those for a key that is only misspelt."""
        misspelt = {nearest(name, self.names) for name in raw if name not in self.names}
        ours: list[Invalid] = []
        for fault in faults:
            name = str(fault.path[0]) if fault.path else ""
            if isinstance(fault, voluptuous.RequiredFieldInvalid):
                if name in misspelt:
                    continue
                advice = self._advice(self.key(name), raw)
                ours.append(ValueFault(Missing, f"{quoted(name)} is missing. {advice}", (name,)))
            elif isinstance(fault, ValueFault):
                ours.append(fault)
            else:
                ours.append(ValueFault(Unknown, f"unknown key {quoted(name)}. {guess(name, self.names)}", (name,)))
        order = {name: index for index, name in enumerate(self.names)}
        return sorted(ours, key=lambda it: order.get(str(it.path[0]) if it.path else "", len(order)))

    def _advice(self, key: Key, raw: dict[str, Any]) -> str:
        if not key.advice:
            return f"It must be {key.value.says}"
        advice = key.advice
        for end in ("from", "to"):
            name = raw.get(end)
            advice = advice.replace(
                f"{{{end}}}", quoted(name) if isinstance(name, str) else f"the part in {end!r}"
            )
        return advice

    def _choices(self, raw: dict[str, Any]) -> Iterator[ValueFault]:
        for choice in self.one_of:
            given = [name for name in choice.keys if name in raw]
            for other in given[1:]:
                yield ValueFault(
                    Disagreement,
                    f"both {quoted(given[0])} ({{also}}) and {quoted(other)} are given. Keep one",
                    (other,),
                    (given[0],),
                )
            if choice.required and not given and not any(name in raw for name in choice.unless):
                *first, last = (quoted(name) for name in choice.keys)
                names = f"{', '.join(first)} or {last}" if first else last
                if not any(nearest(name, choice.keys) for name in raw if name not in self.names):
                    yield ValueFault(Missing, f"{names} is missing. Give one of them", (choice.keys[0],))

    def _references(self, raw: Any, path: Path_) -> Iterator[Reference]:
        if isinstance(raw, dict):
            for key in self.keys:
                if key.name in raw:
                    yield from key.value.references(raw[key.name], (*path, key.name))


@dataclass(frozen=True)
class NameOr(Value):
    """A table, or in its place the bare name of one that is kept elsewhere, which is read as its ``name``."""

    of: Table

    def _says(self) -> str:
        return f"{self.of.says}, or a name"

    def _read(self, raw: Any, units: str) -> Any:
        if isinstance(raw, str):
            if not raw.strip():
                raise self.wrong(raw)
            return {"name": raw}
        return self.of.read(raw, units)

    def _references(self, raw: Any, path: Path_) -> Iterator[Reference]:
        if isinstance(raw, dict):
            yield from self.of.references(raw, path)

    def write(self, value: Any, units: str) -> Any:
        """The table as it is written."""
        return self.of.write(value, units)


@dataclass(frozen=True)
class Swivel(Value):
    """The swivel table, read into signed degrees; a bare 0 is allowed, since it has no way."""

    of: Table

    def _says(self) -> str:
        return 'a table such as { angle = "22d 42m", turn = "clockwise" }'

    def _read(self, raw: Any, units: str) -> Fraction:
        if not isinstance(raw, (bool, dict)) and raw in (0, Decimal("0.0")):
            return Fraction(0)
        if not isinstance(raw, dict):
            raise self.wrong(raw)
        values = self.of.read(raw, units)
        angle: Fraction = values["angle"]
        if angle and "turn" not in values:
            advice = 'Seen from behind the hob, write "clockwise" or "counter-clockwise"'
            raise ValueFault(Missing, f'"turn" is missing. {advice}', ("turn",))
        return angle * SWIVEL_TURNS[values["turn"]] if angle else angle

    def write(self, value: Any, units: str) -> Any:
        """The size of the angle, and which way."""
        turn = next((word for word, sign in SWIVEL_TURNS.items() if value * sign > 0), None)
        return self.of.write({"angle": abs(value), "turn": turn}, units)


@dataclass(frozen=True)
class Rows(Value):
    """An array of tables; a row's table goes by its `kind` if there are several."""

    tables: Mapping[str, Table] = field(hash=False)
    what: str
    most: int = MOST_LINKS

    def _says(self) -> str:
        return f"one [[{self.what}]] table or more"

    def _read(self, raw: Any, units: str) -> tuple[dict[str, Any], ...]:
        if not isinstance(raw, list):
            raise self.wrong(
                raw, f"each one stands under its own heading [[{self.what}]], in double brackets"
            )
        if len(raw) > self.most:
            raise ValueFault(WrongValue, f"there are {len(raw)} of them; {self.most} are the most")
        return tuple(each_value(enumerate(raw), lambda row: self._row(row, units)).values())

    def _row(self, row: Any, units: str) -> dict[str, Any]:
        if not isinstance(row, dict):
            raise ValueFault(WrongValue, f"{shown(row)} can't be used: each [[{self.what}]] is a table of keys")
        table = self.table(row)
        if table is not None:
            values: dict[str, Any] = table.read(row, units)
            return values
        kinds = tuple(self.tables)
        if "kind" not in row:
            raise ValueFault(Missing, f'"kind" is missing. It must be {Text(kinds).says}', ("kind",))
        try:
            Text(kinds).read(row["kind"], units)
        except ValueFault as fault:
            fault.prepend(["kind"])
            raise
        raise AssertionError("a known kind has a table")

    def table(self, row: Mapping[str, Any]) -> Table | None:
        """The table that `row` follows, or None if its kind isn't known."""
        if len(self.tables) == 1:
            return next(iter(self.tables.values()))
        kind = row.get("kind")
        return self.tables.get(kind) if isinstance(kind, str) else None

    def _references(self, raw: Any, path: Path_) -> Iterator[Reference]:
        if isinstance(raw, list):
            for index, row in enumerate(raw):
                if isinstance(row, dict) and (table := self.table(row)) is not None:
                    yield from table.references(row, (*path, index))

    def write(self, value: Any, units: str) -> Any:
        """Each row by its table."""
        tables = (self.table(row) for row in value)
        return [table.write(row, units) for table, row in zip(tables, value, strict=True) if table]


@cache
def _by_name(table: Table) -> dict[str, Key]:
    return {key.name: key for key in table.keys}


@cache
def _schema(table: Table, units: str) -> voluptuous.Schema:
    def reader(value: Value) -> Callable[[Any], Any]:
        return lambda raw: value.read(raw, units)

    return voluptuous.Schema(
        {
            (voluptuous.Required if key.required else voluptuous.Optional)(key.name): reader(key.value)
            for key in table.keys
        }
    )
