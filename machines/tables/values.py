"""The kinds of value that a file may hold: what may be written, what it becomes, what to say if it can't be used.

Every kind reads what is written into an exact value in millimetres and degrees, whole tables with
all their faults in one go. What the keys are, and what they mean, stands in `keys`.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from handlead.machines.toml import numbers
from handlead.machines.toml.errors import Complaint, WrongValue
from handlead.machines.toml.guesses import nearest, shown
from handlead.machines.toml.numbers import NumberFault
from handlead.machines.toml.places import Path_, quoted
from voluptuous import Invalid, MultipleInvalid

#: Limits of size, so that no file can exhaust the program.
MOST_PARTS = 200
MOST_LINKS = 300
LARGEST = 10**9
_LEAST = Fraction(1, LARGEST**2)

_LONGEST_TEXT = 2000


class ValueFault(Invalid):
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


Reference = tuple[Path_, str, str]


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

    def wrong(self, raw: object, why: str | None = None) -> ValueFault:
        """The complaint that `raw` can't be used."""
        return ValueFault(WrongValue, f"{shown(raw)} can't be used: {why or f'it must be {self.says}'}")

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
        return tuple(each_value(enumerate(raw), lambda item: self.of.read(item, units)).values())

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
        low, high = each_value(enumerate(raw), lambda item: self.of.read(item, units)).values()
        if low > high:
            raise self.wrong(
                raw, f"its least, {shown(raw[0])}, is greater than its greatest, {shown(raw[1])}"
            )
        return low, high

    def write(self, value: Any, units: str) -> Any:
        """The greatest alone, or both."""
        low, high = value
        return self.of.write(high, units) if low is None else [self.of.write(limit, units) for limit in value]


def each_value(items: Iterable[tuple[Any, Any]], read: Callable[..., Any], both: bool = False) -> dict[Any, Any]:
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
