"""Records of a finished gear: lines that say what was measured and how, then the readings, as CSV.

`job_keys.record_keys` is the table of what may stand in one. Semicolons or tabs between the values, with
decimal commas, do as well; a line with # that names no key is a note, and a tooth that wasn't measured is left out.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

import numpy as np
from handlead.kinematics.inspection.looked import Readings
from handlead.machines.job_keys.record_keys import COLUMNS, HEAD, LENGTHS_IN, READ_IN, HeadLine
from handlead.machines.toml.errors import Complaint, FileFault, Missing, Place, Unknown, WrongValue
from handlead.machines.toml.guesses import either, guess, nearest
from handlead.machines.toml.numbers import NumberFault, exact, length

from .lines import TextLine, lines_of, text_of

#: Readings beyond which a file is no record of a gear; fewer tell nothing.
_MOST, LEAST = 200_000, 6

#: Readings further apart than this many µm are no deviations of a gear; all within so few are in another unit.
_WIDEST, _NARROWEST = 5000.0, 0.05

#: Kinds that are taken at one height of the face, and the furthest from mid-face, in mm, that any gear goes.
AT_ONE_HEIGHT = ("pitch single", "pitch cumulative", "runout", "profile")
_HIGHEST = 1000.0

#: What stands for a reading that wasn't taken.
UNMEASURED = ("", "-", "–", "?")

#: Into how many parts a division is read, the fewest first.
_READ_TO = (1, 2, 4, 5, 10)

_KEYS = {word: line for line in HEAD for word in (line.key, *line.also)}


@dataclass(frozen=True)
class Record:
    """One record: its file, day ("" if unsaid), what was measured on which flank ("" for runout), the way counted.

    `readings` has the tooth from 1; of a transmission error it is a part of a tooth for every part of a turn. Its
    height is mm over mid-face, for a profile mm of roll. `division_um` is one division of the dial, 0 for a checker's.
    `at_height` is how many mm over mid-face pitch, runout or profile was taken, `marked` whether its first tooth is the
    one from which all are counted.
    """

    path: str
    date: str
    kind: str
    flank: str
    counted: str
    readings: Readings
    division_um: float = 0.0
    at_height: float = 0.0
    marked: bool = True

    @property
    def read_to(self) -> Fraction | None:
        """To what part of a division the dial was read, by the readings; None for no dial, or finer than a tenth."""
        if not self.division_um:
            return None
        divisions = self.readings.um / self.division_um
        every = ((part, divisions * part) for part in _READ_TO)
        return next((Fraction(1, part) for part, one in every if np.abs(one - np.round(one)).max() < 1e-4), None)

    @property
    def read_to_um(self) -> float:
        """The same in µm; 0 where it isn't known."""
        return float(self.read_to or 0) * self.division_um

    def turned(self, by: float, teeth: int) -> Record:
        """The record with its first tooth so many on, as it is counted, on a gear of so many teeth."""
        if not by:
            return self
        tooth = (self.readings.tooth - 1 + by) % teeth + 1
        return replace(self, readings=replace(self.readings, tooth=tooth))


@dataclass(frozen=True)
class Said:
    """What a record says of itself before its readings."""

    path: str
    kind: str
    flank: str
    counted: str
    date: str = ""
    division_um: float = 0.0
    at_height: float = 0.0
    marked: bool = True


def record_of(said: Said, rows: Sequence[tuple[float, float, float]], um: float) -> Record:
    """The record of rows of tooth, height or length of roll in mm, and reading, each of so many µm."""
    place, between, values = (np.array(column, float) for column in zip(*rows, strict=True))
    steps, by_tooth = said.kind == "pitch single", said.kind in ("helix", "profile")
    readings = Readings(place, between, values * um, steps=steps, by_tooth=by_tooth)
    return Record(
        said.path, said.date, said.kind, said.flank, said.counted, readings,
        said.division_um, said.at_height, said.marked,
    )


def read_record(path: str | Path, teeth: int) -> Record:
    """Read a record of a gear of so many teeth. Raises `FileFault` with every fault and its line."""
    return read_record_text(text_of(path), str(path), teeth)


def read_record_text(text: str, path: str, teeth: int) -> Record:
    """The record in a text, called `path` in complaints. Raises `FileFault` with every fault and its line."""
    return _RecordReader(path, teeth).read(text)


def rows_said(
    text: str, path: str, teeth: int
) -> tuple[dict[str, str], tuple[tuple[float, float, float], ...]]:
    """What a record's text says by its keys, and its rows in the units that it names: tooth, height or roll (0 where
    there is none), reading. Raises `FileFault`."""
    reader = _RecordReader(path, teeth)
    reader.read(text)
    return reader.said, reader.rows


class _RecordReader:
    """One file being read; every fault is kept, and told together."""

    def __init__(self, path: str, teeth: int) -> None:
        self.path, self.teeth = path, teeth
        self.faults: list[Complaint] = []
        self.said: dict[str, str] = {}
        self.told: set[str] = set()
        self.division_um = 0.0
        self.height: tuple[int, str] | None = None
        self.rows: tuple[tuple[float, float, float], ...] = ()
        self.near = ""

    def fault(self, line: int, key: str, message: str, kind: type[Complaint] = WrongValue) -> None:
        """Keep what is wrong at a line."""
        self.faults.append(kind(Place(self.path, line), key, message))
        self.told.add(key)

    def read(self, text: str) -> Record:
        """The record. Raises `FileFault`."""
        lines = list(lines_of(text))
        firsts = {columns[0] for columns in COLUMNS.values()}
        at = next((at for at, line in enumerate(lines) if line.columns[0] in firsts and not line.noted), None)
        if at is None:
            self.fault(
                1,
                "tooth",
                'the readings begin nowhere; write "tooth, deviation" in a line above them',
                Missing,
            )
            self._head(line for line in lines if not _is_number(line.cells[0]))
            raise FileFault(self.faults)
        self._head(lines[:at])
        height = self._at_height()
        self.rows = tuple(self._rows(lines[at], [line for line in lines[at + 1 :] if not line.noted]))
        self._whole(lines[at].number, self.rows)
        if self.faults:
            raise FileFault(self.faults)
        return self._record(self.rows, height)

    def _head(self, lines: Iterator[TextLine] | Sequence[TextLine]) -> None:
        for line in lines:
            word, value = line.said or (line.text.lower(), "")
            meant = _KEYS.get(word)
            if meant is not None and (line.said or not line.noted):
                self._keep(line.number, meant, value)
            elif not line.noted or (line.said and nearest(word, _KEYS)):
                near = nearest(word, _KEYS)
                right = (
                    guess(word, _KEYS)
                    if near
                    else f"Put # before a note; {either([one.key for one in HEAD])} are read"
                )
                self.fault(line.number, word[:40], f"there is no such key. {right}", Unknown)
                if near is not None:
                    self.told.add(_KEYS[near].key)
        for needed in HEAD:
            if needed.key not in self.said and needed.key not in self.told and self._needs(needed.key):
                also = (
                    f"{needed.key}: {either(needed.words)}" if needed.words else f"{needed.key}: {needed.takes}"
                )
                self.fault(1, needed.key, f"it isn't said above the readings; write # {also}", Missing)

    def _needs(self, key: str) -> bool:
        match key:
            case "flank":
                return self.said.get("quantity") != "runout"
            case "division":
                return self.said.get("unit") == "divisions"
            case _:
                return key in ("quantity", "unit", "counted")

    def _keep(self, number: int, line: HeadLine, value: str) -> None:
        value = _ordered(value, line.words)
        word = nearest(value, line.words)
        if line.key in self.said:
            self.fault(number, line.key, "it is said twice; leave one of the two lines out")
        elif line.words and value.lower() not in line.words:
            meant = f'. Did you mean "{word}"?' if word else ""
            if line.key == "quantity" and word is not None:
                self.near = word
            self.fault(number, line.key, f'it must be {either(line.words)}, not "{value[:40]}"{meant}')
        else:
            self.said[line.key] = value.lower()
            if line.key == "date":
                self._date(number, value)
            if line.key == "division":
                self._division(number, value)
            if line.key == "height":
                self.height = number, value

    def _date(self, number: int, value: str) -> None:
        try:
            self.said["date"] = datetime.date.fromisoformat(value).isoformat()
        except ValueError:
            self.fault(number, "date", f'"{value[:40]}" is no day; write year, month and day, as 2026-11-20')

    def _division(self, number: int, value: str) -> None:
        try:
            if value[-1:].isdigit():
                raise NumberFault('write its unit with it, "mm" or "in"')
            self.division_um = 1000 * float(length(value.replace(",", "."), "mm"))
        except NumberFault as fault:
            self.fault(number, "division", f'"{value[:40]}" is no length: {fault}')
            return
        if not 0.1 <= self.division_um <= 1000:
            self.fault(
                number,
                "division",
                f"{value[:40]} is no division of a dial; 0.01 mm or 0.0005 in would be one",
            )

    def _at_height(self) -> float:
        """The height at which it was taken, in mm over mid-face; a bare number is in the unit of lengths."""
        if self.height is None:
            return 0.0
        (number, value), kind = self.height, self.said.get("quantity")
        if kind not in AT_ONE_HEIGHT:
            if kind is not None:
                self.fault(number, "height", f"{kind} isn't taken at one height; leave it out")
            return 0.0
        try:
            found = float(length(value.replace(",", "."), self.said.get("lengths", "mm")))
        except (NumberFault, OverflowError) as fault:
            self.fault(number, "height", f'"{value[:40]}" is no height: {fault}')
            return 0.0
        if abs(found) > _HIGHEST:
            self.fault(number, "height", f"{value[:40]} is out of all measure for a gear")
        return found

    def _rows(self, head: TextLine, lines: list[TextLine]) -> Iterator[tuple[float, float, float]]:
        # One that is only misspelt tells enough to look through its readings.
        kind = self.said.get("quantity") or self.near
        if not kind:
            return
        wanted = COLUMNS[kind]
        if head.columns != wanted:
            self.fault(head.number, head.cells[0], f'the columns of {kind} must be "{", ".join(wanted)}"')
            return
        if len(lines) > _MOST:
            self.fault(head.number, "", f"{len(lines)} readings are too many; at most {_MOST} are read")
            return
        seen: dict[tuple[float, float], int] = {}
        for line in lines:
            row = self._row(line, wanted)
            if row is None:
                continue
            if row[:2] in seen:
                self.fault(line.number, wanted[0], f"{wanted[0]} {row[0]:g} stands in line {seen[row[:2]]} already; "
                           "leave one out")  # fmt: skip
                continue
            seen[row[:2]] = line.number
            yield row

    def _row(self, line: TextLine, wanted: tuple[str, ...]) -> tuple[float, float, float] | None:
        cells = line.cells
        while len(cells) > len(wanted) and not cells[-1]:
            cells = cells[:-1]
        if len(cells) <= len(wanted) and (len(cells) == 1 or cells[-1] in UNMEASURED):
            self._number(line.number, wanted[0], cells[0])
            return None
        if len(cells) != len(wanted):
            commas = (
                "; where commas stand in the numbers, put semicolons between them"
                if len(cells) > len(wanted)
                else ""
            )
            self.fault(
                line.number,
                "",
                f"{len(cells)} values; there must be {len(wanted)}: {', '.join(wanted)}{commas}",
            )
            return None
        numbers = [self._number(line.number, key, cell) for key, cell in zip(wanted, cells, strict=True)]
        sure = [number for number in numbers if number is not None]
        if len(sure) < len(wanted) or not self._is_on_gear(line.number, wanted[0], sure[0]):
            return None
        return sure[0], sure[1] if len(wanted) == 3 else 0.0, sure[-1]

    def _is_on_gear(self, number: int, key: str, place: float) -> bool:
        if key == "angle":
            if not -360 <= place <= 720:
                self.fault(number, key, f"{place:g} is no angle of a turn; they go from 0 to 360 degrees")
            return -360 <= place <= 720
        right = place == int(place) and 1 <= place <= self.teeth
        if not right:
            self.fault(number, key, f"{place:g} is no tooth of this gear; they are 1 to {self.teeth}")
        return right

    def _number(self, line: int, key: str, cell: str) -> float | None:
        try:
            number = float(exact(cell))
        except (NumberFault, OverflowError) as fault:
            self.fault(line, key, f'"{cell[:40]}" is no number: {fault}')
            return None
        if abs(number) > 1e6:
            self.fault(line, key, f"{cell[:40]} is out of all measure for a gear")
            return None
        return number

    def _um(self) -> float:
        """µm in one of a reading."""
        unit = self.said["unit"]
        return self.division_um if unit == "divisions" else READ_IN[unit]

    def _whole(self, number: int, rows: Sequence[tuple[float, float, float]]) -> None:
        """What can be said of the readings only together."""
        if self.faults:
            return
        if len(rows) < LEAST:
            told = "1 reading tells" if len(rows) == 1 else f"{len(rows)} readings tell"
            self.fault(number, "", f"{told} nothing; there must be {LEAST} at the least")
            return
        values = [row[2] for row in rows]
        apart = (max(values) - min(values)) * self._um()
        far = f"{apart / 1000:.3g} mm" if apart > 1000 else f"{apart:.3g} µm"
        said = f'lie {far} apart in all; is "{self.said["unit"]}" their unit?'
        if apart > _WIDEST:
            self.fault(number, "unit", f"the readings {said} No gear is so far out")
        elif 0 < apart < _NARROWEST:
            self.fault(number, "unit", f"the readings {said} No gauge reads so little")

    def _record(self, rows: Sequence[tuple[float, float, float]], height: float) -> Record:
        kind, lengths = self.said["quantity"], LENGTHS_IN[self.said.get("lengths", "mm")]
        if kind == "transmission error":
            rows = [(1 + angle / 360 * self.teeth, between, value) for angle, between, value in rows]
        said = Said(
            self.path,
            kind,
            "" if kind == "runout" else self.said["flank"],
            self.said["counted"],
            self.said.get("date", ""),
            self.division_um,
            height,
            self.said.get("first tooth") != "unknown",
        )
        return record_of(
            said, [(place, between * lengths, value) for place, between, value in rows], self._um()
        )


def _ordered(value: str, words: Sequence[str]) -> str:
    """The one of `words` that the value is in another order, as "cumulative pitch"; else the value."""
    said = sorted(value.lower().replace(",", " ").split())
    return next((word for word in words if sorted(word.split()) == said), value)


def _is_number(cell: str) -> bool:
    try:
        exact(cell)
    except (NumberFault, OverflowError):
        return False
    return True

