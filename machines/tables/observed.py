"""Kinds of value for what was seen: a number with how far it may be off, a word that one may not be sure of.

Both may be written bare, ``teeth = 30``, or as a table, ``lead = { value = "812 mm", within = "4 mm" }`` and
``hand = { value = "left", sure = false }``.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

from handlead.machines.toml import numbers

from .tables import Key, Table
from .values import Flag, Length, Number, Value


@dataclass(frozen=True)
class Reading:
    """What was read off: the value, by how much it may be off (None: as is usual), and whether one was sure."""

    value: Any
    within: Fraction | None = None
    is_sure: bool = True


@dataclass(frozen=True)
class Observed(Value):
    """A number that was counted or measured; `off` is the kind of its allowance."""

    of: Value
    off: Number
    _table: Table = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        keys = (
            Key("value", self.of, "What was counted or measured.", True),
            Key("within", self.off, "By how much it may be off, either way."),
        )
        object.__setattr__(self, "_table", Table("measured", "A number and how far it may be off.", keys))

    def _says(self) -> str:
        return f"{self.of.says}; or {{ value = …, within = … }}"

    def _read(self, raw: Any, units: str) -> Reading:
        if not isinstance(raw, dict):
            return Reading(self.of.read(raw, units))
        values = self._table.read(raw, units)
        return Reading(values["value"], values.get("within"))

    def write(self, value: Any, units: str) -> Any:
        """Bare where nothing is said of the allowance."""
        reading = value if isinstance(value, Reading) else Reading(value)
        if reading.within is None:
            return self.of.write(reading.value, units)
        return self._table.write({"value": reading.value, "within": reading.within}, units)


@dataclass(frozen=True)
class Told(Value):
    """Something seen that is told in a word, or by true and false."""

    of: Value
    _table: Table = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        keys = (
            Key("value", self.of, "What was seen.", True),
            Key("sure", Flag(), "Whether one is sure of it.", default="true"),
        )
        object.__setattr__(
            self, "_table", Table("told", "Something seen, and whether one is sure of it.", keys)
        )

    def _says(self) -> str:
        return f"{self.of.says}; or {{ value = …, sure = false }}"

    def _read(self, raw: Any, units: str) -> Reading:
        if not isinstance(raw, dict):
            return Reading(self.of.read(raw, units))
        values = self._table.read(raw, units)
        return Reading(values["value"], is_sure=values.get("sure", True))

    def write(self, value: Any, units: str) -> Any:
        """Bare where one is sure."""
        reading = value if isinstance(value, Reading) else Reading(value)
        if reading.is_sure:
            return self.of.write(reading.value, units)
        return self._table.write({"value": reading.value, "sure": False}, units)


@dataclass(frozen=True)
class Miss:
    """A miss along the circle in `pitches` or, where it was measured, in `mm`."""

    pitches: Fraction | None = None
    mm: Fraction | None = None


@dataclass(frozen=True)
class MissedBy(Value):
    """By how much a second cut misses the first: a number of pitches up to a half, or a length with its unit."""

    def _says(self) -> str:
        return 'a number of pitches from -0.5 to 0.5, or a length with its unit such as "2.3 mm"'

    def _read(self, raw: Any, units: str) -> Miss:
        if isinstance(raw, str) and raw.strip().endswith(tuple(numbers.UNITS)):
            return Miss(mm=Length(-10_000, 10_000).read(raw, units))
        pitches = Number(Fraction(-1, 2), Fraction(1, 2)).read(raw, units)
        return Miss(pitches=pitches)

    def write(self, value: Miss, units: str) -> Any:
        """Pitches as a number, a length with its unit."""
        if value.pitches is not None:
            return numbers.written(value.pitches)
        written = numbers.written_length(value.mm or Fraction(0), "mm")
        return written if isinstance(written, str) else f"{getattr(written, 'text', written)} mm"
