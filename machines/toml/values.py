"""The kinds of value that a file may hold: what may be written, what it becomes, what to say if it can't be used.

Every kind reads what is written into an exact value in millimetres and degrees, whole tables with
all their faults in one go. What the keys are, and what they mean, stands in `keys`.
"""

from __future__ import annotations

import difflib
from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cache
from typing import Any

import voluptuous
from handlead.kinematics.frame.words import SWIVEL_TURNS
from voluptuous import Invalid, MultipleInvalid

from . import numbers
from .errors import Complaint, Disagreement, Missing, Unknown, WrongValue
from .numbers import Decimal, NumberFault
from .places import Path_, quoted

#: Limits of size, so that no file can exhaust the program.
MOST_PARTS = 200
MOST_LINKS = 300
LARGEST = 10**9
_LEAST = Fraction(1, LARGEST**2)

_LONGEST_TEXT = 2000


class Fault(Invalid):
    """A complaint on its way to its place: its path grows as it is handed outwards."""

    def __init__(self, kind: type[Complaint], message: str, path: Path_ = (), also: Path_ | None = None):
        super().__init__(message, list(path))
        self.kind = kind
        self.also: list[Hashable] | None = None if also is None else list(also)

    def prepend(self, path: list[Hashable]) -> None:
        """Put `path` before its own, and before the other path that it speaks of."""
        super().prepend(path)
        if self.also is not None:
            self.also = [*path, *self.also]


def shown(raw: object) -> str:
    """A value of a file, fit for a message."""
    if isinstance(raw, str):
        return quoted(raw)
    if isinstance(raw, bool):
        return str(raw).lower()
    if isinstance(raw, Decimal):
        return raw.text if len(raw.text) <= 40 else f"{raw.text[:37]}..."
    if isinstance(raw, int):
        return str(raw) if abs(raw) < 10**40 else "a number of more than 40 digits"
    if isinstance(raw, list):
        return f"a list of {len(raw)}" if raw else "an empty list"
    if isinstance(raw, dict):
        return "a table"
    return "a date or time"


#: What people write for words of the files; a guess by spelling alone would go astray.
_OTHERWISE: dict[str, tuple[str, ...]] = {
    "anticlockwise": ("counter-clockwise",),
    "anti-clockwise": ("counter-clockwise",),
    "ccw": ("counter-clockwise",),
    "cw": ("clockwise",),
    "rh": ("right",),
    "lh": ("left",),
    "herringbone": ("helical",),
    "double helical": ("helical",),
    "straight": ("spur", "none"),
    "metric": ("mm",),
    "millimetres": ("mm",),
    "inch": ("in",),
    "inches": ("in",),
    "dp": ("diametral_pitch",),
    "width": ("face_width",),
    "flutes": ("gashes",),
    "threads": ("starts",),
    "class": ("quality",),
    "angle": ("helix_angle", "lead_angle"),
    "gears": ("teeth",),
    "direction": ("sense", "turn"),
    "speed": ("rpm",),
    "crossed_belt": ("crossed",),
}


def nearest(name: str, known: Iterable[str]) -> str | None:
    """The one of `known` that `name` was probably meant to be, or None."""
    known = list(known)
    if len(name) > 60:
        return None
    otherwise = _OTHERWISE.get(name.lower(), ())
    if (meant := next((word for word in otherwise if word in known), None)) is not None:
        return meant
    lower = {one.lower(): one for one in known}
    found = difflib.get_close_matches(name.lower(), lower, n=1, cutoff=0.6)
    if not found and len(name) > 2:
        # A name cut short, as "feed" for "feed gears".
        begun = [one for one in lower if one.startswith(name.lower())]
        found = begun if len(begun) == 1 else []
    return lower[found[0]] if found else None


def guess(name: str, known: Iterable[str]) -> str:
    """The second half of a complaint about an unknown `name`: the nearest of `known`, or all of them."""
    known = list(known)
    if (found := nearest(name, known)) is not None:
        return f"Did you mean {quoted(found)}?"
    if not known:
        return "There is none to choose from"
    some = ", ".join(quoted(one) for one in known[:12])
    return f"There {'is' if len(known) == 1 else 'are'} {some}{' and others' if len(known) > 12 else ''}"


# ---------------------------------------------------------------- kinds of value

Reference = tuple[Path_, str, str]
"""Where a name stands, what it names (``"shaft"``, ``"bracket"``, …), and the name."""


class Value:
    """A kind of value."""

    @property
    def says(self) -> str:
        """What would be right, after "it must be"."""
        return self._says()

    def read(self, raw: Any, units: str) -> Any:
        """The value written, bare lengths being in `units`. Raises `voluptuous.Invalid`."""
        return self._read(raw, units)

    def references(self, raw: Any, path: Path_) -> Iterator[Reference]:
        """Every name in `raw`, which stands at `path`, that means something defined elsewhere."""
        return self._references(raw, path)

    def write(self, value: Any, units: str) -> Any:
        """What to write for `value`, so that reading it gives `value` again."""
        return value

    def wrong(self, raw: object, why: str | None = None) -> Fault:
        """The complaint that `raw` can't be used."""
        return Fault(WrongValue, f"{shown(raw)} can't be used: {why or f'it must be {self.says}'}")

    def _says(self) -> str:
        raise NotImplementedError

    def _read(self, raw: Any, units: str) -> Any:
        raise NotImplementedError

    def _references(self, raw: Any, path: Path_) -> Iterator[Reference]:
        return iter(())


@dataclass(frozen=True)
class Text(Value):
    """Words for people; `one_of` closes the choice."""

    one_of: tuple[str, ...] = ()
    blank: bool = False

    def _says(self) -> str:
        if self.one_of:
            *first, last = (quoted(word) for word in self.one_of)
            return f"{', '.join(first)} or {last}" if first else last
        return "a text in quotes"

    def _read(self, raw: Any, units: str) -> str:
        if isinstance(raw, str) and self.one_of and raw not in self.one_of:
            found = nearest(raw, self.one_of)
            raise self.wrong(raw, f"did you mean {quoted(found)}? It must be {self.says}" if found else None)
        if not isinstance(raw, str):
            raise self.wrong(raw)
        if not raw.strip() and not self.blank:
            raise self.wrong(raw, "it is blank")
        if len(raw) > _LONGEST_TEXT:
            raise self.wrong(raw, f"it is longer than {_LONGEST_TEXT} characters")
        return raw


@dataclass(frozen=True)
class Name(Text):
    """The name of something defined elsewhere: `of` says what."""

    of: str = ""

    def _says(self) -> str:
        article = "an" if self.of[0] in "aeiou" else "a"
        return f"the name of {article} {self.of}, in quotes"

    def _references(self, raw: Any, path: Path_) -> Iterator[Reference]:
        if isinstance(raw, str):
            yield path, self.of, raw


@dataclass(frozen=True)
class Flag(Value):
    """true or false."""

    def _says(self) -> str:
        return "true or false, without quotes"

    def _read(self, raw: Any, units: str) -> bool:
        if not isinstance(raw, bool):
            raise self.wrong(raw)
        return raw


@dataclass(frozen=True)
class Number(Value):
    """An exact number from `low` to `high`; `above` leaves `low` itself out."""

    low: Fraction | int | None = None
    high: Fraction | int = LARGEST
    above: bool = False

    #: What is counted or measured, and in what.
    what = "a number"
    unit = ""

    def _says(self) -> str:
        words = self.what
        if self.low is not None and self.high < LARGEST:
            words += f" {'above' if self.above else 'from'} {self._in_unit(self.low)}"
            words += f" {'and at most' if self.above else 'to'} {self._in_unit(self.high)}"
        elif self.low is not None:
            words += (
                f" above {self._in_unit(self.low)}" if self.above else f", {self._in_unit(self.low)} or more"
            )
        elif self.high < LARGEST:
            words += f" from {self._in_unit(-self.high)} to {self._in_unit(self.high)}"
        return words

    def _in_unit(self, limit: Fraction | int) -> str:
        return f"{float(limit):g}{self.unit}"

    def _read(self, raw: Any, units: str) -> Any:
        try:
            value = self._exact(raw, units)
        except NumberFault as fault:
            vague = str(fault).startswith(("it must be a number", "it must be a whole number"))
            raise self.wrong(raw, None if vague else str(fault)) from None
        if self.low is None:
            inside = -self.high <= value <= self.high
        else:
            inside = (self.low < value if self.above else self.low <= value) and value <= self.high
        if not inside:
            raise self.wrong(raw)
        if value and abs(Fraction(value)) < _LEAST:
            raise self.wrong(raw, "it is too near to 0")
        return value

    def _exact(self, raw: Any, units: str) -> Fraction | int:
        return numbers.exact(raw)

    def write(self, value: Any, units: str) -> Any:
        """A whole number or decimal where it is one, else a fraction in quotes."""
        return numbers.written(value)


@dataclass(frozen=True)
class Whole(Number):
    """A whole number."""

    what = "a whole number"

    def _in_unit(self, limit: Fraction | int) -> str:
        return str(limit)

    def _exact(self, raw: Any, units: str) -> int:
        return numbers.whole(raw)


@dataclass(frozen=True)
class Length(Number):
    """A length, read into mm; `units` fixes the unit of a bare number, else it is the file's."""

    units: str = ""
    what = "a length"
    unit = " mm"

    def _exact(self, raw: Any, units: str) -> Fraction:
        return numbers.length(raw, self.units or units)

    def write(self, value: Any, units: str) -> Any:
        """The length in the file's units."""
        return numbers.written_length(value, self.units or units)


@dataclass(frozen=True)
class Angle(Number):
    """An angle, read into degrees."""

    what = 'an angle, such as 22.5 or "22d 30m",'
    unit = " degrees"

    def _exact(self, raw: Any, units: str) -> Fraction:
        return numbers.angle(raw)

    def write(self, value: Any, units: str) -> Any:
        """Decimal degrees where they are short, else degrees, minutes and seconds."""
        return numbers.written_angle(value)


@dataclass(frozen=True)
class Listing(Value):
    """A list of values of one kind; `single` lets a lone value stand without brackets."""

    of: Value
    least: int = 1
    most: int = 500
    single: bool = False

    def _says(self) -> str:
        count = f" of {self.least}" if self.least == self.most else f" of {self.least} or more"
        return f"a list{count if self.least else ''} in brackets, each {self.of.says}"

    def _read(self, raw: Any, units: str) -> tuple[Any, ...]:
        if self.single and not isinstance(raw, (list, dict)):
            return (self.of.read(raw, units),)
        if not isinstance(raw, list) or len(raw) < self.least:
            raise self.wrong(raw)
        if len(raw) > self.most:
            raise self.wrong(raw, None if self.least == self.most else f"{self.most} are the most")
        return tuple(_each(enumerate(raw), lambda item: self.of.read(item, units)).values())

    def _references(self, raw: Any, path: Path_) -> Iterator[Reference]:
        if isinstance(raw, list):
            for index, item in enumerate(raw):
                yield from self.of.references(item, (*path, index))
        elif self.single:
            yield from self.of.references(raw, path)

    def write(self, value: Any, units: str) -> Any:
        """Each item as it is written."""
        return [self.of.write(item, units) for item in value]


@dataclass(frozen=True)
class Span(Value):
    """A greatest value, or a list of a least and a greatest one; read into both, the least perhaps None."""

    of: Number

    def _says(self) -> str:
        return f"{self.of.says}: the greatest, or [least, greatest]"

    def _read(self, raw: Any, units: str) -> tuple[Fraction | None, Fraction]:
        if not isinstance(raw, list):
            return None, self.of.read(raw, units)
        if len(raw) != 2:
            raise self.wrong(raw)
        low, high = _each(enumerate(raw), lambda item: self.of.read(item, units)).values()
        if low > high:
            raise self.wrong(
                raw, f"its least, {shown(raw[0])}, is greater than its greatest, {shown(raw[1])}"
            )
        return low, high

    def write(self, value: Any, units: str) -> Any:
        """The greatest alone, or both."""
        low, high = value
        return self.of.write(high, units) if low is None else [self.of.write(limit, units) for limit in value]


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
            raise Fault(WrongValue, f"there are {len(raw)} {self.what}; {self.most} are the most")

        def check(name: str, item: Any) -> Any:
            if not name.strip() or len(name) > 100:
                raise Fault(WrongValue, f"{quoted(name)} can't be a name: it must have 1 to 100 characters")
            return self.of.read(item, units)

        return _each(raw.items(), check, both=True)

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
            raise Fault(WrongValue, str(fault)) from None

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
                ours.append(Fault(Missing, f"{quoted(name)} is missing. {advice}", (name,)))
            elif isinstance(fault, Fault):
                ours.append(fault)
            else:
                ours.append(Fault(Unknown, f"unknown key {quoted(name)}. {guess(name, self.names)}", (name,)))
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

    def _choices(self, raw: dict[str, Any]) -> Iterator[Fault]:
        for choice in self.one_of:
            given = [name for name in choice.keys if name in raw]
            for other in given[1:]:
                yield Fault(
                    Disagreement,
                    f"both {quoted(given[0])} ({{also}}) and {quoted(other)} are given. Keep one",
                    (other,),
                    (given[0],),
                )
            if choice.required and not given and not any(name in raw for name in choice.unless):
                *first, last = (quoted(name) for name in choice.keys)
                names = f"{', '.join(first)} or {last}" if first else last
                if not any(nearest(name, choice.keys) for name in raw if name not in self.names):
                    yield Fault(Missing, f"{names} is missing. Give one of them", (choice.keys[0],))

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
            raise Fault(Missing, f'"turn" is missing. {advice}', ("turn",))
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
            raise Fault(WrongValue, f"there are {len(raw)} of them; {self.most} are the most")
        return tuple(_each(enumerate(raw), lambda row: self._row(row, units)).values())

    def _row(self, row: Any, units: str) -> dict[str, Any]:
        if not isinstance(row, dict):
            raise Fault(WrongValue, f"{shown(row)} can't be used: each [[{self.what}]] is a table of keys")
        table = self.table(row)
        if table is not None:
            values: dict[str, Any] = table.read(row, units)
            return values
        kinds = tuple(self.tables)
        if "kind" not in row:
            raise Fault(Missing, f'"kind" is missing. It must be {Text(kinds).says}', ("kind",))
        try:
            Text(kinds).read(row["kind"], units)
        except Fault as fault:
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


def _each(items: Iterable[tuple[Any, Any]], read: Callable[..., Any], both: bool = False) -> dict[Any, Any]:
    """Every item read; all their faults in one, each with its item's key or number ahead of its path."""
    values: dict[Any, Any] = {}
    faults: list[Invalid] = []
    for step, item in items:
        try:
            values[step] = read(step, item) if both else read(item)
        except MultipleInvalid as many:
            many.prepend([step])
            faults.extend(many.errors)
        except Invalid as fault:
            fault.prepend([step])
            faults.append(fault)
    if faults:
        raise MultipleInvalid(faults)
    return values
