"""A record typed by hand: which fields it has, what stands in them, and what is wrong with it, each at its field."""

from __future__ import annotations

import datetime
import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property

from handlead.kinematics.gears.gear import MM_PER_INCH
from handlead.machines.gear_records.records import AT_ONE_HEIGHT
from handlead.machines.gear_records.writing import CheckedSheet, RecordSheet, Where, check_sheet
from handlead.machines.job_keys.record_keys import COLUMNS, HEAD
from handlead.machines.toml.numbers import NumberFault, exact

#: What is taken by hand: nobody reads the transmission error off a dial.
KINDS = tuple(kind for kind in COLUMNS if kind != "transmission error")

#: Kinds that are taken along a tooth rather than round the gear.
TRACES = ("helix", "profile")

#: How the units of readings are called where people read them.
UNITS = {
    "um": "µm", "mm": "mm", "in": "inches", "thou": "thou (0.001 in)", "tenths": "tenths (0.0001 in)",
    "divisions": "dial divisions",
}  # fmt: skip

#: Fields that a page shows at once; beyond, a gear is read every so many teeth.
MOST_FIELDS = 400

#: Places along a flank where nothing else is asked for.
_ALONG = 11

#: The fields that say where a gear is read.
PLACED = ("every", "teeth", "heights")

MEANINGS = {line.key: line.meaning for line in HEAD}


@dataclass(frozen=True)
class GearAtHand:
    """The gear that is measured: its job's name without folder and ending, teeth, face width, the job's units, lengths
    of roll of its flank in mm (None: not worked out), and the day."""

    stem: str
    teeth: int
    face_mm: float
    units: str
    rolls_mm: tuple[float, float] | None = None
    today: str = field(default_factory=lambda: datetime.date.today().isoformat())

    @property
    def mm(self) -> float:
        """Millimetres of one of the job's units."""
        return float(MM_PER_INCH) if self.units == "in" else 1.0


@dataclass(frozen=True)
class ReadingField:
    """A field for a reading: its key among what was typed, where it is taken, its name, and what stands in it."""

    key: str
    where: Where
    label: str
    value: str


@dataclass(frozen=True)
class ToothFields:
    """Fields that stand together: all round the gear, or those along one tooth (`title`)."""

    title: str
    readings: tuple[ReadingField, ...]


class TypedRecord:
    """What has been typed of a record of a gear, `kept` by key; what hasn't been is as it is usual."""

    def __init__(self, gear: GearAtHand, kept: Mapping[str, str]) -> None:
        self.gear, self.kept = gear, kept

    @property
    def quantity(self) -> str:
        """What is measured; runout until something else is chosen, which a dial and a ball can take."""
        kind = self.kept.get("quantity", "")
        return kind if kind in KINDS else "runout"

    @property
    def is_trace(self) -> bool:
        """Whether it is taken along teeth."""
        return self.quantity in TRACES

    def value(self, key: str) -> str:
        """What stands in a field above the readings."""
        return self.kept[key] if key in self.kept else self._usual(key)

    def _usual(self, key: str) -> str:
        inches = self.gear.units == "in"
        match key:
            case "quantity":
                return "runout"
            case "unit":
                return "tenths" if inches else "divisions"
            case "division" if self.value("unit") == "divisions":
                return "0.0005 in" if inches else "0.01 mm"
            case "lengths":
                return self.gear.units
            case "date":
                return self.gear.today
            case "every":
                return "1"
            case "teeth":
                third = self.gear.teeth / 3
                return " ".join(str(one) for one in dict.fromkeys(1 + int(third * part) for part in range(3)))
            case "heights":
                return self._usual_heights()
            case "name":
                return self.usual_name
            case _:
                return ""

    def _usual_heights(self) -> str:
        """So many places over nine tenths of the face, or of the flank, in figures that a scale has."""
        if self.quantity == "profile":
            if self.gear.rolls_mm is None:
                return ""
            low, high = self.gear.rolls_mm
        else:
            low, high = -self.gear.face_mm / 2, self.gear.face_mm / 2
        low, high = low / self.gear.mm, high / self.gear.mm
        step = _rounded_down(0.9 * (high - low) / (_ALONG - 1))
        middle = 0.0 if self.quantity == "helix" else round((low + high) / 2 / step) * step
        half = step * (_ALONG - 1) / 2
        return f"{middle - half:g} to {middle + half:g} by {step:g}"

    @property
    def usual_name(self) -> str:
        """A file's name that tells job, quantity and flank."""
        flank = f"-{flank}" if self.quantity != "runout" and (flank := self.value("flank")) else ""
        return f"{self.gear.stem}-{self.quantity.replace(' ', '-')}{flank}.csv"

    # -- where it is read

    @cached_property
    def placed(self) -> tuple[dict[str, str], tuple[tuple[str, tuple[str, ...]], ...]]:
        """What is wrong with the fields that say where it is read; and those: tooth and heights, or "" and teeth."""
        wrong: dict[str, str] = {}
        if not self.is_trace:
            every = self._every(wrong)
            teeth = tuple(str(tooth) for tooth in range(1, self.gear.teeth + 1, every))
            if len(teeth) > MOST_FIELDS:
                least = math.ceil(self.gear.teeth / MOST_FIELDS)
                wrong["every"] = f"a page has {MOST_FIELDS} fields at most: read every {least} teeth, or take a file"
                teeth = ()
            return wrong, (("", teeth),)
        teeth, heights = self._teeth(wrong), self._heights(wrong)
        if not wrong and len(teeth) * len(heights) > MOST_FIELDS:
            wrong["heights"] = f"a page has {MOST_FIELDS} fields at most: fewer teeth or places, or take a file"
        return wrong, () if wrong else tuple((tooth, heights) for tooth in teeth)

    def _every(self, wrong: dict[str, str]) -> int:
        said = self.value("every").strip()
        if said.isdecimal() and 1 <= int(said[:6]) <= max(self.gear.teeth // 2, 1):
            return int(said)
        wrong["every"] = f'it must be a whole number from 1 to {max(self.gear.teeth // 2, 1)}, not "{said[:20]}"'
        return 1

    def _teeth(self, wrong: dict[str, str]) -> tuple[str, ...]:
        said = re.split(r"[\s,;]+", self.value("teeth").strip())
        teeth = tuple(dict.fromkeys(said))
        if not all(one.isdecimal() and 1 <= int(one[:6]) <= self.gear.teeth for one in teeth):
            wrong["teeth"] = f"write the numbers of the teeth that are read, from 1 to {self.gear.teeth}: 1 12 23"
            return ()
        return tuple(str(int(one)) for one in teeth)

    def _heights(self, wrong: dict[str, str]) -> tuple[str, ...]:
        try:
            return tuple(dict.fromkeys(f"{one:.10g}" for one in _numbers(self.value("heights"))))
        except (NumberFault, OverflowError, ValueError):
            wrong["heights"] = 'write them one after the other, or as "-18 to 18 by 3.6"'
            return ()

    # -- the readings

    def rows(self) -> Iterator[ToothFields]:
        """The fields, as they stand together."""
        for number, (tooth, places) in enumerate(self.placed[1]):
            readings = []
            for at, place in enumerate(places):
                key = f"{self.quantity[0]}:{number}:{at}" if self.is_trace else f"t:{at}"
                where = (tooth, place) if tooth else (place,)
                readings.append(ReadingField(key, where, place, self.kept.get(key, "")))
            yield ToothFields(f"tooth {tooth}" if tooth else "", tuple(readings))

    @cached_property
    def readings(self) -> dict[str, ReadingField]:
        """Every field by its key."""
        return {one.key: one for row in self.rows() for one in row.readings}

    @property
    def beyond(self) -> tuple[str, ...]:
        """The keys of readings that were typed and have no field any more."""
        mark = f"{self.quantity[0]}:" if self.is_trace else "t:"
        return tuple(
            key
            for key, typed in self.kept.items()
            if key.startswith(mark) and typed.strip() and key not in self.readings
        )

    @property
    def taken(self) -> int:
        """How many readings there are."""
        return len(self.sheet.taken)

    @cached_property
    def sheet(self) -> RecordSheet:
        """The record as its file will have it."""
        head = {"quantity": self.quantity}
        for key in ("unit", "flank", "counted", "date", "division", "lengths", "height", "first tooth"):
            head[key] = self.value(key).strip()
        if self.quantity == "runout":
            del head["flank"]
        if not self.is_trace:
            del head["lengths"]
        if self.quantity not in AT_ONE_HEIGHT:
            del head["height"]
        elif head["height"]:
            head["height"] = _with_unit(head["height"], self.gear.units)
        return RecordSheet(head, {one.where: one.value for one in self.readings.values()})

    def check(self) -> tuple[CheckedSheet, dict[str, str]]:
        """The record read as its file will be, and what is wrong with it by the field that it stands at."""
        checked = check_sheet(self.sheet, self.value("name"), self.gear.teeth)
        at = {one.where: key for key, one in self.readings.items()}
        wrong = {at[where]: words for where, words in checked.readings.items() if where in at}
        asked = {key: words for key, words in _ASKED.items() if not self.sheet.head.get(key, "-")}
        if self.value("unit") == "divisions" and not self.value("division").strip():
            asked["division"] = "say how much one division is, such as 0.01 mm or 0.0005 in"
        wrong |= dict(checked.head) | asked | self.placed[0]
        if self.beyond:
            said = f"{len(self.beyond)} readings were typed that have no field any more: clear them, or read at more"
            wrong.setdefault("heights" if self.is_trace else "every", f"{said} places")
        return checked, wrong


#: What is asked for where nothing is chosen yet.
_ASKED = {
    "flank": "choose the flank that the feeler touched",
    "counted": "choose which way the teeth were counted",
}


#: What may be said of a record that is begun: the rest stays as it was typed for the one before.
_BEGUN = ("quantity", "flank", "height", "every", "teeth")


def begun_again(kept: Mapping[str, str], fields: Mapping[str, str]) -> dict[str, str]:
    """What was typed, without readings and name, and with what is said of a record that is begun."""
    stays = {key: value for key, value in kept.items() if ":" not in key and key not in (*_BEGUN, "name", "heights")}
    return stays | {key: value for key, value in fields.items() if key in _BEGUN}


def _numbers(said: str) -> list[float]:
    """Numbers one after the other, or from one to another by steps. Raises `NumberFault`."""
    said = said.strip().replace("−", "-")
    run = re.fullmatch(r"(\S+)\s+to\s+(\S+)\s+by\s+(\S+)", said)
    if run is None:
        some = [one.replace(",", ".") for one in re.split(r"[\s;]+|,\s+", said) if one]
        numbers = [float(exact(one)) for one in some]
    else:
        low, high, step = (exact(one.replace(",", ".")) for one in run.groups())
        if step <= 0 or high < low or (high - low) / step > MOST_FIELDS:
            raise NumberFault("no such steps")
        numbers = [float(low + at * step) for at in range(int((high - low) / step) + 1)]
    if not numbers:
        raise NumberFault("no place")
    return numbers


def _with_unit(said: str, unit: str) -> str:
    """A length with its unit, this one where it has none."""
    return f"{said} {unit}" if said[-1:].isdigit() else said


def _rounded_down(step: float) -> float:
    """The next smaller of the steps that a scale has: 1, 2 or 5 of a power of ten."""
    power = 10.0 ** math.floor(math.log10(step))
    return max(each * power for each in (1, 2, 5) if each * power <= step * (1 + 1e-9))


def typed_again(sheet: RecordSheet, name: str) -> dict[str, str]:
    """What would be typed for a record that lies in a file. Raises `ValueError` for one that isn't taken by hand."""
    if sheet.head["quantity"] not in KINDS:
        raise ValueError(f"{sheet.head['quantity']} isn't typed by hand")
    keys = ("quantity", "unit", "flank", "counted", "date", "division", "height", "first tooth")
    kept = {key: sheet.head.get(key, "") for key in keys}
    kept |= {"lengths": sheet.head.get("lengths", "mm"), "name": name}
    kept["height"] = _with_unit(kept["height"], kept["lengths"])
    if kept["quantity"] not in TRACES:
        places = sorted(int(where[0]) for where in sheet.readings)
        every = math.gcd(*(place - 1 for place in places)) or 1
        kept["every"] = str(every)
        return kept | {f"t:{(int(where[0]) - 1) // every}": typed for where, typed in sheet.readings.items()}
    traced = list(dict.fromkeys(where[0] for where in sheet.readings))
    heights = sorted({where[1] for where in sheet.readings}, key=float)
    kept |= {"teeth": " ".join(traced), "heights": " ".join(heights)}
    mark = kept["quantity"][0]
    return kept | {
        f"{mark}:{traced.index(tooth)}:{heights.index(height)}": typed
        for (tooth, height), typed in sheet.readings.items()
    }
