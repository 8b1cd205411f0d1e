"""The keys of every file, as tables: from them come reading, guesses at misspellings, writing and the reference.

A `Table` is a list of `Key`; each has the kind of value it takes, and one sentence of meaning. The
kinds of value know how to read what is written into an exact value in millimetres and degrees, and
what to say if it can't be used. Nothing here knows what the values are for.
"""

from __future__ import annotations

import difflib
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cache
from typing import Any

import voluptuous
from voluptuous import Invalid, MultipleInvalid

from handlead.kinematics.bracket import BRACKET_KEYS, Bracket
from handlead.kinematics.gear import MM_PER_INCH
from handlead.kinematics.requirement import WORK_KINDS
from handlead.kinematics.train import END_NAMES
from handlead.kinematics.words import POSITIVES, SWIVEL_TURNS, Feed, Hand, Sense

from . import numbers
from .errors import Complaint, Disagreement, Missing, Unknown, WrongValue
from .numbers import Decimal, NumberFault
from .places import Path_, Step, quoted

#: Limits of size, so that no file can exhaust the program.
MOST_TEETH = 100_000
MOST_PARTS = 200
MOST_LINKS = 300
LARGEST = 10**9

_LONGEST_TEXT = 2000


class Fault(Invalid):  # type: ignore[misc]
    """A complaint on its way to its place: its path grows as it is handed outwards."""

    def __init__(self, kind: type[Complaint], message: str, path: Path_ = (), also: Path_ | None = None):
        super().__init__(message, list(path))
        self.kind = kind
        self.also = None if also is None else list(also)

    def prepend(self, path: list[Step]) -> None:
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


def nearest(name: str, known: Iterable[str]) -> str | None:
    """The one of `known` that `name` was probably meant to be, or None."""
    known = list(known)
    if len(name) > 60:
        return None
    lower = {one.lower(): one for one in known}
    found = difflib.get_close_matches(name.lower(), lower, n=1, cutoff=0.6)
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
    """A kind of value. `says` completes "it must be …"."""

    @property
    def says(self) -> str:
        """What would be right, after "it must be"."""
        raise NotImplementedError

    def read(self, raw: Any, units: str) -> Any:
        """The value written. Raises `voluptuous.Invalid`."""
        raise NotImplementedError

    def references(self, raw: Any, path: Path_) -> Iterator[Reference]:
        """Every name in `raw` that stands for something defined elsewhere."""
        return iter(())

    def wrong(self, raw: object, why: str | None = None) -> Fault:
        """The complaint that `raw` can't be used."""
        return Fault(WrongValue, f"{shown(raw)} can't be used: {why or f'it must be {self.says}'}")


@dataclass(frozen=True)
class Text(Value):
    """Words for people; `one_of` closes the choice."""

    one_of: tuple[str, ...] = ()
    blank: bool = False

    @property
    def says(self) -> str:
        if self.one_of:
            *first, last = (quoted(word) for word in self.one_of)
            return f"{', '.join(first)} or {last}" if first else last
        return "a text in quotes"

    def read(self, raw: Any, units: str) -> str:
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

    @property
    def says(self) -> str:
        article = "an" if self.of[0] in "aeiou" else "a"
        return f"the name of {article} {self.of}, in quotes"

    def references(self, raw: Any, path: Path_) -> Iterator[Reference]:
        if isinstance(raw, str):
            yield path, self.of, raw


@dataclass(frozen=True)
class Flag(Value):
    """true or false."""

    @property
    def says(self) -> str:
        return "true or false, without quotes"

    def read(self, raw: Any, units: str) -> bool:
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

    @property
    def says(self) -> str:
        words = self.what
        if self.low is not None and self.high < LARGEST:
            words += f" {'above' if self.above else 'from'} {self._in_unit(self.low)}"
            words += f" {'and at most' if self.above else 'to'} {self._in_unit(self.high)}"
        elif self.low is not None:
            words += f" above {self._in_unit(self.low)}" if self.above else f", {self._in_unit(self.low)} or more"
        elif self.high < LARGEST:
            words += f" from {self._in_unit(-self.high)} to {self._in_unit(self.high)}"
        return words

    def _in_unit(self, limit: Fraction | int) -> str:
        return f"{float(limit):g}{self.unit}"

    def read(self, raw: Any, units: str) -> Any:
        try:
            value = self._exact(raw, units)
        except NumberFault as fault:
            vague = str(fault) in ("it must be a number", "it must be a whole number")
            raise self.wrong(raw, None if vague else str(fault)) from None
        if self.low is None:
            inside = -self.high <= value <= self.high
        else:
            inside = (self.low < value if self.above else self.low <= value) and value <= self.high
        if not inside:
            raise self.wrong(raw)
        if value and abs(value) * LARGEST**2 < 1:
            raise self.wrong(raw, "it is too near to 0")
        return value

    def _exact(self, raw: Any, units: str) -> Fraction | int:
        return numbers.exact(raw)


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


@dataclass(frozen=True)
class Angle(Number):
    """An angle, read into degrees."""

    what = 'an angle, such as 22.5 or "22d 30m",'
    unit = " degrees"

    def _exact(self, raw: Any, units: str) -> Fraction:
        return numbers.angle(raw)


@dataclass(frozen=True)
class Listing(Value):
    """A list of values of one kind; `single` lets a lone value stand without brackets."""

    of: Value
    least: int = 1
    most: int = 500
    single: bool = False

    @property
    def says(self) -> str:
        count = f"{self.least}" if self.least == self.most else f"{self.least} or more"
        each = self.of.says.removeprefix("a ").removeprefix("an ")
        return f"a list of {count} in brackets, each {self.of.says}" if each else "a list"

    def read(self, raw: Any, units: str) -> tuple[Any, ...]:
        if self.single and not isinstance(raw, (list, dict)):
            return (self.of.read(raw, units),)
        if not isinstance(raw, list) or len(raw) < self.least:
            raise self.wrong(raw)
        if len(raw) > self.most:
            raise self.wrong(raw, None if self.least == self.most else f"{self.most} are the most")
        return tuple(_each(enumerate(raw), lambda item: self.of.read(item, units)).values())

    def references(self, raw: Any, path: Path_) -> Iterator[Reference]:
        if isinstance(raw, list):
            for index, item in enumerate(raw):
                yield from self.of.references(item, (*path, index))
        elif self.single:
            yield from self.of.references(raw, path)


@dataclass(frozen=True)
class Span(Value):
    """A greatest value, or a list of a least and a greatest one; read into both, the least perhaps None."""

    of: Number

    @property
    def says(self) -> str:
        return f"{self.of.says}: the greatest, or [least, greatest]"

    def read(self, raw: Any, units: str) -> tuple[Fraction | None, Fraction]:
        if not isinstance(raw, list):
            return None, self.of.read(raw, units)
        if len(raw) != 2:
            raise self.wrong(raw)
        low, high = _each(enumerate(raw), lambda item: self.of.read(item, units)).values()
        if low > high:
            raise self.wrong(raw, f"its least, {shown(raw[0])}, is greater than its greatest, {shown(raw[1])}")
        return low, high


@dataclass(frozen=True)
class TableOf(Value):
    """A table whose keys are names chosen in the file; `names` says what they name, if it is defined elsewhere."""

    of: Value
    what: str
    names: str = ""
    most: int = MOST_PARTS

    @property
    def says(self) -> str:
        return f"a table of {self.what}"

    def read(self, raw: Any, units: str) -> dict[str, Any]:
        if not isinstance(raw, dict):
            raise self.wrong(raw)
        if len(raw) > self.most:
            raise Fault(WrongValue, f"there are {len(raw)} {self.what}; {self.most} are the most")

        def check(name: str, item: Any) -> Any:
            if not name.strip() or len(name) > 100:
                raise Fault(WrongValue, f"{quoted(name)} can't be a name: it must have 1 to 100 characters")
            return self.of.read(item, units)

        return {name: value for (name, value) in _each(raw.items(), check, both=True).items()}

    def references(self, raw: Any, path: Path_) -> Iterator[Reference]:
        if isinstance(raw, dict):
            for name, item in raw.items():
                if self.names:
                    yield (*path, name), self.names, name
                yield from self.of.references(item, (*path, name))


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
    """Keys of which only one may be given, or exactly one must."""

    keys: tuple[str, ...]
    required: bool = False


@dataclass(frozen=True, eq=False)
class Table(Value):
    """A table with fixed keys."""

    name: str
    meaning: str
    keys: tuple[Key, ...]
    one_of: tuple[OneOf, ...] = ()
    #: What is made of the values once each is right by itself; a `ValueError` becomes a complaint.
    together: Callable[[dict[str, Any]], dict[str, Any]] | None = None

    @property
    def says(self) -> str:
        return "a table"

    @property
    def names(self) -> tuple[str, ...]:
        """The keys' names, in their order."""
        return tuple(key.name for key in self.keys)

    def key(self, name: str) -> Key:
        """The key called `name`. Raises `KeyError`."""
        return _by_name(self)[name]

    def read(self, raw: Any, units: str) -> dict[str, Any]:
        if not isinstance(raw, dict):
            raise self.wrong(raw)
        values: dict[str, Any] = {}
        faults: list[Invalid] = []
        try:
            values = _schema(self, units)(raw)
        except MultipleInvalid as many:
            faults.extend(self._in_our_words(fault, raw) for fault in many.errors)
        faults.extend(self._choices(raw))
        if faults:
            raise MultipleInvalid(faults)
        try:
            return self.together(values) if self.together else values
        except ValueError as fault:
            raise Fault(WrongValue, str(fault)) from None

    def _in_our_words(self, fault: Invalid, raw: dict[str, Any]) -> Invalid:
        if isinstance(fault, Fault):
            return fault
        name = str(fault.path[-1])
        if isinstance(fault, voluptuous.RequiredFieldInvalid):
            return Fault(Missing, f"{quoted(name)} is missing. {self._advice(self.key(name), raw)}", (name,))
        return Fault(Unknown, f"unknown key {quoted(name)}. {guess(name, self.names)}", tuple(fault.path))

    def _advice(self, key: Key, raw: dict[str, Any]) -> str:
        if not key.advice:
            return f"It must be {key.value.says}"
        advice = key.advice
        for end in ("from", "to"):
            name = raw.get(end)
            advice = advice.replace(f"{{{end}}}", quoted(name) if isinstance(name, str) else f"the part in {end!r}")
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
            if choice.required and not given:
                *first, last = (quoted(name) for name in choice.keys)
                names = f"{', '.join(first)} or {last}" if first else last
                misspelt = [n for n in raw if n not in self.names and nearest(n, choice.keys)]
                if not misspelt:
                    yield Fault(Missing, f"{names} is missing. Give one of them", (choice.keys[0],))

    def references(self, raw: Any, path: Path_) -> Iterator[Reference]:
        if isinstance(raw, dict):
            for key in self.keys:
                if key.name in raw:
                    yield from key.value.references(raw[key.name], (*path, key.name))


@dataclass(frozen=True)
class Swivel(Value):
    """The swivel table, read into signed degrees; a bare 0 is allowed, since it has no way."""

    of: Table

    @property
    def says(self) -> str:
        return 'a table such as { angle = "22d 42m", turn = "clockwise" }'

    def read(self, raw: Any, units: str) -> Fraction:
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


@dataclass(frozen=True)
class Rows(Value):
    """An array of tables; a row's table goes by its `kind` if there are several."""

    tables: Mapping[str, Table] = field(hash=False)
    what: str
    most: int = MOST_LINKS

    @property
    def says(self) -> str:
        return f"one [[{self.what}]] table or more"

    def read(self, raw: Any, units: str) -> tuple[dict[str, Any], ...]:
        if not isinstance(raw, list):
            raise self.wrong(raw, f"each one stands under its own heading [[{self.what}]], in double brackets")
        if len(raw) > self.most:
            raise Fault(WrongValue, f"there are {len(raw)} of them; {self.most} are the most")
        return tuple(_each(enumerate(raw), lambda row: self._row(row, units)).values())

    def _row(self, row: Any, units: str) -> dict[str, Any]:
        if not isinstance(row, dict):
            raise Fault(WrongValue, f"{shown(row)} can't be used: each [[{self.what}]] is a table of keys")
        table = self.table(row)
        if table is not None:
            return table.read(row, units)
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

    def references(self, raw: Any, path: Path_) -> Iterator[Reference]:
        if isinstance(raw, list):
            for index, row in enumerate(raw):
                if isinstance(row, dict) and (table := self.table(row)) is not None:
                    yield from table.references(row, (*path, index))


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


# ---------------------------------------------------------------- what the keys take

_TEETH = Whole(1, MOST_TEETH)
_TWO_TEETH = Listing(_TEETH, 2, 2)
_SIZE = Length(0, above=True)
_MODULE = Length(0, 1000, above=True, units="mm")
_PITCH = Number(0, 10_000, above=True)
_SENSE = Text(tuple(sense.word for sense in (Sense.SAME, Sense.OPPOSITE)))
_HAND = Text(tuple(hand.word for hand in (Hand.RIGHT, Hand.LEFT)))
_PRESSURE = Angle(0, 45, above=True)
_HELIX = Angle(0, Fraction(8999, 100))
_UNITS = Key(
    "units", Text(("mm", "in")), "What every length without a unit of its own is in.", default="mm"
)


# ---------------------------------------------------------------- a machine file

END = {
    end: Table(
        f"ends.{end}",
        "A part that meets the work, and which way its positive runs in the frame.",
        (
            Key("part", Name(of="shaft" if end in ("hob", "table") else "slide"), "The part.", True),
            Key(
                "positive",
                Text(tuple(POSITIVES[end])),
                "Which way the part's own positive runs.",
                True,
            ),
        ),
    )
    for end in END_NAMES
}

_END_MEANINGS = {
    "hob": "The hob's spindle.",
    "table": "The table that carries the work.",
    "axial": "The slide that moves along the work axis.",
    "tangential": "The slide that moves the hob along its own axis.",
    "radial": "The slide that moves towards the work axis and away from it.",
}

ENDS = Table(
    "ends",
    "Which parts meet the work.",
    tuple(
        Key(
            end,
            END[end],
            _END_MEANINGS[end],
            end in ("hob", "table"),
            advice=f'Write {end} = {{ part = "…", positive = {Text(tuple(POSITIVES[end])).says} }}',
        )
        for end in END_NAMES
    ),
)

DRIVE = Table(
    "drives.NAME",
    "Something that can turn the machine.",
    (
        Key("shaft", Name(of="shaft"), "The shaft that it turns.", True),
        Key("rpm", Number(0, 100_000, above=True), "Its speed in turns a minute."),
        Key(
            "at_rest",
            Text(("still", "free")),
            "What the shaft does while another drive is in use.",
            default="still",
        ),
    ),
)

LEVER = Table(
    "levers.NAME",
    "Something that the operator moves.",
    (
        Key(
            "normal",
            Text(),
            "The position in which it stands unless a job says otherwise.",
            True,
            advice="Write the position in which the lever stands for plain work",
        ),
        Key(
            "positions",
            TableOf(
                TableOf(Text(), "states", names="link"),
                "positions",
            ),
            "For each position, the state into which it puts each link that it moves.",
            True,
            advice='Write for each position the states it sets: in = { "clutch" = "in" }',
        ),
    ),
)

#: Measures of a bracket that may be 0.
_MAY_BE_ZERO = frozenset({"clearance", "gap", "slack", "studs", "addendum"})


def _bracket_value(key: str, unit: str) -> Value:
    low = 0 if key in _MAY_BE_ZERO else None
    if key == "module":
        return _MODULE
    if key == "pivot":
        return Text(("driving", "driven"))
    if unit == "mm":
        return Length(0, above=low is None)
    if key in ("clearance", "addendum"):
        return Number(0, 1000)
    return Whole(0 if low == 0 else 1, MOST_TEETH)


def _bracket(values: dict[str, Any]) -> dict[str, Any]:
    """The keys as `handlead.kinematics.bracket` takes them. Raises `ValueError` for what no bracket can be."""
    keys = {key: value for key, value in values.items() if key != "diametral_pitch"}
    if "diametral_pitch" in values:
        keys["module"] = MM_PER_INCH / values["diametral_pitch"]
    Bracket.of(keys)
    return keys


BRACKET = Table(
    "link.bracket",
    "What can physically be mounted in a change-gear bracket; each key is optional, and without any there is no limit.",
    (
        *(
            Key(key, _bracket_value(key, unit), f"{meaning[0].upper()}{meaning[1:]}.")
            for key, (meaning, unit) in BRACKET_KEYS.items()
        ),
        Key("diametral_pitch", _PITCH, "Diametral pitch of the change gears, in 1/in, instead of the module."),
    ),
    (OneOf(("module", "diametral_pitch")),),
    _bracket,
)

_SENSE_ADVICE = (
    'Turn {from} its positive way by hand: if {to} goes its own positive way, write sense = "same", '
    'else sense = "opposite"'
)


def _link(kind: str, meaning: str, *keys: Key, ports: tuple[str, str] | None = ("shaft", "shaft"), one_of: tuple[OneOf, ...] = ()) -> Table:
    between = () if ports is None else (
        Key("from", Name(of=ports[0]), "The part at the driving side.", True),
        Key("to", Name(of=ports[1]), "The part at the driven side.", True),
    )  # fmt: skip
    return Table(
        "link",
        meaning,
        (
            Key("name", Text(), "What the link is called on the machine and in the reports.", True),
            Key("kind", Text(), f'"{kind}".', True),
            *between,
            *keys,
        ),
        one_of,
    )


def _sense(required: bool = True, default: str = "") -> Key:
    return Key(
        "sense",
        _SENSE,
        "Whether the positives of both parts go together (same) or against each other (opposite).",
        required,
        default,
        _SENSE_ADVICE,
    )


def _state(default: str, *states: str) -> Key:
    return Key(
        "state", Text(states), "The state in which it is where no lever puts it into another.", default=default
    )


_PULLEYS = (
    Key("teeth", _TWO_TEETH, "Teeth of both, the driving one first."),
    Key("diameters", Listing(_SIZE, 2, 2), "Diameters of both, the driving one first."),
    Key("crossed", Flag(), "Whether it is crossed, which turns the sense over.", default="false"),
)

LINK: dict[str, Table] = {
    "gear pair": _link(
        "gear pair",
        "Two gears in mesh. External ones turn against each other, an internal pair together, unless `sense` says so.",
        Key("teeth", _TWO_TEETH, "Teeth of both gears, the driving one first.", True),
        Key("internal", Flag(), "Whether one is a ring with teeth inside.", default="false"),
        _sense(False, "opposite, or same for an internal pair"),
    ),
    "bevel gears": _link(
        "bevel gears",
        "Two bevel gears; their sense depends on how they face.",
        Key("teeth", _TWO_TEETH, "Teeth of both gears, the driving one first.", True),
        _sense(),
    ),
    "worm gear": _link(
        "worm gear",
        "A worm (`from`) and its wheel (`to`), which never drives it.",
        Key("starts", Whole(1, 100), "Starts of the worm.", True),
        Key("teeth", _TEETH, "Teeth of the wheel.", True),
        _sense(),
    ),
    "belt": _link(
        "belt", "A belt between two pulleys.", *_PULLEYS, one_of=(OneOf(("teeth", "diameters"), True),)
    ),
    "chain": _link(
        "chain", "A chain between two sprockets.", *_PULLEYS, one_of=(OneOf(("teeth", "diameters"), True),)
    ),
    "change gears": _link(
        "change gears",
        "A bracket for change gears, empty until a job mounts some.",
        Key(
            "pairs",
            Listing(Whole(1, 10), 1, 10, single=True),
            "The numbers of pairs that it takes.",
            default="[1, 2]",
        ),
        Key(
            "idlers",
            Listing(Whole(0, 10), 1, 11, single=True),
            "The numbers of idlers that it takes.",
            default="[0, 1]",
        ),
        Key("bracket", BRACKET, "What can physically be mounted.", default="no limit"),
    ),
    "differential": _link(
        "differential",
        "An epicyclic train of two suns p, q and a carrier c: q − c = sun_ratio·(p − c).",
        Key("suns", Listing(Name(of="shaft"), 2, 2), "The suns p and q.", True),
        Key("carrier", Name(of="shaft"), "The carrier c.", True),
        Key(
            "sun_ratio",
            Number(),
            "Rate of q over rate of p with the carrier held.",
            default="-1, the plain bevel kind",
        ),
        ports=None,
    ),
    "clutch": _link(
        "clutch",
        "In, both shafts turn as one; out, nothing passes.",
        _state("in", "in", "out"),
    ),
    "brake": _link(
        "brake",
        "On, the part stands still; off, it is free.",
        Key("shaft", Name(of="part"), "The part that it holds.", True),
        _state("on", "on", "off"),
        ports=None,
    ),
    "selector": _link(
        "selector",
        "A reverser or range box: its ratio goes by its state.",
        Key(
            "ratios",
            TableOf(Number(), "ratios"),
            "For each state the rate of `to` over that of `from`; 0 passes nothing.",
            True,
            advice="Write the ratio of each state: { high = 1, low = \"1/2\", neutral = 0 }",
        ),
        _state(""),
    ),
    "screw": _link(
        "screw",
        "A screw that moves a slide.",
        Key("lead", _SIZE, "Travel of the slide for a turn of the screw, its starts counted in.", True),
        _sense(),
        ports=("shaft", "slide"),
    ),
    "rack": _link(
        "rack",
        "A pinion that moves a slide by its rack.",
        Key("teeth", _TEETH, "Teeth of the pinion."),
        Key("module", _MODULE, "Module of the pinion, in mm; its travel then holds π to forty decimals."),
        Key("diametral_pitch", _PITCH, "Diametral pitch of the pinion, in 1/in, instead of the module."),
        Key("travel", _SIZE, "Travel for a turn of the pinion, instead of teeth and module; it stays exact."),
        _sense(),
        ports=("shaft", "slide"),
        one_of=(OneOf(("travel", "module", "diametral_pitch"), True),),
    ),
}  # fmt: skip

GEAR_SET = Table(
    "gear_set",
    "Change gears that lie in the drawer.",
    (
        Key("name", Text(), "What the set is called.", True),
        Key(
            "fits",
            Listing(Name(of="bracket"), single=True),
            "The change-gear links into which they can be put.",
            default="every one",
        ),
        Key("teeth", Listing(_TEETH), "Their teeth; a count given twice is owned twice.", True),
    ),
)

LIMITS = Table(
    "limits",
    "What the machine can do; `prove` warns of set-ups beyond it.",
    (
        Key(
            "rpm",
            TableOf(Span(Number(0, 100_000)), "speeds", names="shaft"),
            "For a shaft its greatest speed in turns a minute, or [least, greatest].",
        ),
        Key(
            "travel",
            TableOf(Length(0, above=True), "travels", names="slide"),
            "For a slide the whole length of its travel.",
        ),
        Key(
            "swivel",
            Span(Angle(None, 180)),
            "How far the head swings to either side, in degrees, or [least, greatest] with counter-clockwise positive.",
        ),
        Key("work_diameter", _SIZE, "Largest diameter of the work."),
        Key("face_width", _SIZE, "Largest face width of the work."),
        Key("module", _MODULE, "Largest module, in mm."),
        Key("diametral_pitch", _PITCH, "Coarsest diametral pitch, in 1/in, instead of the module."),
        Key(
            "feed",
            Span(Length(0, above=True)),
            "Greatest feed along the axis for a turn of the table, or [least, greatest].",
        ),
    ),
    (OneOf(("module", "diametral_pitch")),),
)

MACHINE = Table(
    "machine file",
    "A hobbing machine: its train from drive to work, its levers, and the change gears that go with it.",
    (
        Key("format", Text(("machine/1",)), "What the file is.", True, advice='Write format = "machine/1"'),
        Key("name", Text(), "What the machine is called.", True),
        _UNITS,
        Key("summary", Text(blank=True), "The machine in one line."),
        Key(
            "shafts",
            TableOf(Text(blank=True), "shafts"),
            "Every turning part, with a word on where to find it.",
            True,
            advice='Write a table [shafts] with a line for each turning part: "motor" = "main motor"',
        ),
        Key("slides", TableOf(Text(blank=True), "slides"), "Every sliding part, with a word on what it carries."),
        Key("ends", ENDS, ENDS.meaning, True, advice="Write a table [ends] that says which parts meet the work"),
        Key(
            "drives",
            TableOf(DRIVE, "drives"),
            "What can turn the machine.",
            True,
            advice='Write a table [drives] with a line for each: main = { shaft = "motor", rpm = 1440 }',
        ),
        Key("levers", TableOf(LEVER, "levers"), "What the operator moves."),
        Key(
            "link",
            Rows(LINK, "link"),
            "The connections, in the order in which a person would trace the train.",
            True,
            advice="Write a [[link]] for each connection between parts",
        ),
        Key("gear_set", Rows({"": GEAR_SET}, "gear_set"), GEAR_SET.meaning),
        Key("limits", LIMITS, LIMITS.meaning),
    ),
)


# ---------------------------------------------------------------- a job file

_SIZE_OF_TOOTH = (
    Key("module", _MODULE, "Module normal to the tooth, in mm."),
    Key("diametral_pitch", _PITCH, "Diametral pitch normal to the tooth, in 1/in."),
    Key(
        "pitch",
        Length(0, 3000, above=True),
        "Circular pitch normal to the tooth, as for chains and splines; the module is this over π, to forty decimals.",
    ),
)
_NORMAL_SIZES = tuple(key.name for key in _SIZE_OF_TOOTH)
#: The keys of which a drawing gives one: the size of its teeth.
TOOTH_SIZES = (*_NORMAL_SIZES, "transverse_module", "transverse_diametral_pitch")

_WORK_KEYS = (
    Key("kind", Text(WORK_KINDS), "What is to be cut.", True),
    Key("teeth", _TEETH, "Number of teeth.", True),
    *_SIZE_OF_TOOTH,
    Key("transverse_module", _MODULE, "Module in the plane across the axis, in mm."),
    Key("transverse_diametral_pitch", _PITCH, "Diametral pitch in the plane across the axis, in 1/in."),
    Key("pressure_angle", _PRESSURE, "Pressure angle normal to the tooth.", default="20"),
    Key("transverse_pressure_angle", _PRESSURE, "Pressure angle in the plane across the axis."),
    Key("helix_angle", _HELIX, "Helix angle at the reference cylinder, from the axis."),
    Key("lead", _SIZE, "Travel along the axis in which a tooth goes once round, instead of the helix angle."),
    Key("hand", _HAND, "Hand of the helix: right or left."),
    Key("face_width", _SIZE, "Width of the face."),
    Key("quality", Whole(1, 11), "Flank tolerance class of ISO 1328-1.", default="8"),
    Key("profile_shift", Number(-3, 3), "Profile shift, in modules.", default="0"),
    Key("outside_diameter", _SIZE, "Outside diameter of the blank.", default="from module and teeth"),
)
_WORK_CHOICES = (
    OneOf(TOOTH_SIZES, True),
    OneOf(("helix_angle", "lead")),
    OneOf(("pressure_angle", "transverse_pressure_angle")),
)

WORK = Table("work", "The drawing: what is to be cut.", _WORK_KEYS, _WORK_CHOICES)

MATE = Table(
    "mate",
    "The other member of the pair; what it leaves out is as in [work], but for the hand, which is the other one.",
    tuple(
        Key(key.name, key.value, key.meaning, False, "as in [work]") for key in _WORK_KEYS
    ),
    tuple(OneOf(choice.keys) for choice in _WORK_CHOICES),
)

HOB = Table(
    "hob",
    "The hob, as its maker marked it.",
    (
        *_SIZE_OF_TOOTH,
        Key("starts", Whole(1, 20), "Number of starts.", default="1"),
        Key("hand", _HAND, "Hand of the hob: right or left.", default="right"),
        Key("lead_angle", Angle(0, 60), "Lead angle, from the plane across its axis.", default="from the diameter"),
        Key("diameter", _SIZE, "Reference diameter."),
        Key("outside_diameter", _SIZE, "Diameter over the tips."),
        Key("gashes", Whole(1, 100), "Number of gashes."),
        Key("pressure_angle", _PRESSURE, "Pressure angle normal to the tooth.", default="as the work's"),
        Key("rack", Text(("A", "B", "C", "D")), "Basic rack of ISO 53.", default="A"),
        Key("addendum", Number(0, 5, above=True), "Tip of the hob above its reference line, in modules, instead of the rack's."),
        Key("dedendum", Number(0, 5, above=True), "Root of the hob below its reference line, in modules, instead of the rack's."),
        Key("tip_radius", Number(0, 2), "Radius at the tips of the hob, in modules, instead of the rack's."),
    ),
    (OneOf(_NORMAL_SIZES, True),),
)  # fmt: skip

SWIVEL = Table(
    "setup.swivel",
    "How far the hob head is swung, and which way.",
    (
        Key("angle", Angle(0, 180), "The angle.", True),
        Key("turn", Text(tuple(SWIVEL_TURNS)), "Which way, seen from behind the hob."),
    ),
)

MOUNTED = Table(
    "setup.change.NAME",
    "What lies in a change-gear bracket.",
    (
        Key(
            "gears",
            Listing(_TEETH, 0, 20),
            "Teeth a b c d from the driving shaft on: a/b · c/d.",
            True,
            advice="Write the teeth from the driving shaft on: gears = [24, 58, 48, 40]",
        ),
        Key("idlers", Listing(_TEETH, 0, 10, single=True), "Teeth of the idlers.", default="none"),
    ),
)

SETUP = Table(
    "setup",
    "What is bolted on, and where the levers stand.",
    (
        Key("swivel", Swivel(SWIVEL), SWIVEL.meaning, default="not looked at"),
        Key("feed", Text(tuple(feed.value for feed in Feed)), "How the feed is meant to run; the train says how it does."),
        Key("drive", Text(), "The drive that turns the machine.", default='"main", or else the first'),
        Key("levers", TableOf(Text(), "levers"), "The position of each lever.", default="the machine's normal ones"),
        Key("change", TableOf(MOUNTED, "brackets"), "What lies in each change-gear bracket.", default="empty"),
    ),
)  # fmt: skip

SEEN = Table(
    "seen",
    "What is on the blank, or was measured on it.",
    (
        Key("teeth", Whole(0, MOST_TEETH), "Teeth counted."),
        Key("hand", Text((*_HAND.one_of, "none")), "Which way they lean; none for straight teeth."),
        Key("lead", _SIZE, "Lead measured."),
        Key("helix_angle", _HELIX, "Helix angle measured."),
    ),
)

JOB = Table(
    "job file",
    "A piece of work: the drawing, the hob, and what is bolted on the machine.",
    (
        Key("format", Text(("job/1",)), "What the file is.", True, advice='Write format = "job/1"'),
        Key("title", Text(blank=True), "The job in one line.", default="the file's name"),
        _UNITS,
        Key(
            "machine",
            Text(),
            "The name of a machine that ships, or the path of a machine file next to this one.",
            True,
        ),
        Key("work", WORK, WORK.meaning, True, advice="Write a table [work] with what the drawing says"),
        Key("mate", MATE, MATE.meaning),
        Key("hob", HOB, HOB.meaning, True, advice="Write a table [hob] with what is marked on the hob"),
        Key("setup", SETUP, SETUP.meaning, default="none: a job to plan"),
        Key("seen", SEEN, SEEN.meaning),
    ),
)
