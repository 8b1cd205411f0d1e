"""Records out of an XML file as gear checkers exchange them (VDI/VDE 2610), as far as its elements say what they hold.

That standard was not at hand: what is read here goes by names of elements as they are remembered and as they explain
themselves, and was never tried on a file of a real checker. So nothing is taken for granted. A row of readings counts
only where an element about it names the quantity, and where flank, unit and place of each reading are said as well; if
one of them isn't, the file is refused with the line. Rows of anything else are left out, and that is told.

Declarations of document types are refused, and with them every entity of a file's own making.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from handlead.machines.job_keys.record_keys import COLUMNS, LENGTHS_IN, READ_IN
from handlead.machines.toml.errors import (
    Complaint,
    Disagreement,
    FileFault,
    Missing,
    Place,
    WrongValue,
)
from handlead.machines.toml.numbers import NumberFault, exact

from .elements import Element, tree_of
from .lines import text_of
from .records import LEAST, Record, Said, read_record_text, record_of

#: What the words in an element's name tell of its quantity, the first that holds.
_QUANTITIES: tuple[tuple[frozenset[str], str], ...] = (
    (frozenset({"pitch", "cumulative"}), "pitch cumulative"),
    (frozenset({"pitch", "index"}), "pitch cumulative"),
    (frozenset({"pitch", "single"}), "pitch single"),
    (frozenset({"pitch", "individual"}), "pitch single"),
    (frozenset({"runout"}), "runout"),
    (frozenset({"run", "out"}), "runout"),
    (frozenset({"helix"}), "helix"),
    (frozenset({"profile"}), "profile"),
)

#: Names by which a reading says its value, and its place.
_VALUES = ("deviation", "value", "dev", "")
_PLACES = {
    "tooth": ("tooth", "tooth_number", "number", "no", "index"),
    "height": ("height", "z", "face", "position"),
    "roll": ("roll", "length_of_roll", "roll_length", "position"),
}
_TEETH = ("number_of_teeth", "teeth")
_UNITS = {
    "mm": "mm",
    "um": "um",
    "µm": "um",
    "μm": "um",
    "micrometer": "um",
    "micrometre": "um",
    "in": "in",
    "inch": "in",
}


@dataclass(frozen=True)
class _ReadingRow:
    """Some readings in an element: each with its line, and its numbers by their names."""

    at: Element
    readings: tuple[tuple[int, Mapping[str, float]], ...]


@dataclass(frozen=True)
class Exchanged:
    """The records of one file, and what was left out of it and why."""

    records: tuple[Record, ...]
    left_out: tuple[Complaint, ...]


def is_exchange(text: str) -> bool:
    """Whether a file's text is XML rather than lines of readings."""
    return text.lstrip("\ufeff \t\r\n").startswith("<")


def read_exchange(path: str | Path, teeth: int, counted: str = "") -> Exchanged:
    """The records in a file of a gear of so many teeth, counted this way where the file doesn't say it itself.

    Raises `FileFault` with every fault and its line.
    """
    return _exchanged(text_of(path), str(path), teeth, counted)


def _exchanged(text: str, name: str, teeth: int, counted: str) -> Exchanged:
    rows = list(_rows(tree_of(name, text)))
    faults: list[Complaint] = []
    left_out: list[Complaint] = []
    found: dict[tuple[str, str, int], list[_ReadingRow]] = {}
    for row in rows:
        kind = _quantity(row.at)
        if kind is None:
            said = f"{len(row.readings)} numbers are left out: nothing about them says pitch, runout, helix or profile"
            left_out.append(WrongValue(Place(name, row.at.line), row.at.name, said))
            continue
        try:
            # Rows of several teeth are one record; two of the pitch are two.
            own = 0 if kind in ("helix", "profile") else id(row.at)
            found.setdefault((kind, _flank(name, row.at, kind), own), []).append(row)
        except FileFault as fault:
            faults += fault.complaints
    records = []
    for (kind, flank, _), some in found.items():
        try:
            records.append(_record(name, kind, flank, some, _GearCounted(teeth, counted)))
        except FileFault as fault:
            faults += fault.complaints
    if not records and not faults:
        said = "nothing in it is understood as readings of pitch, runout, helix or profile; write them as lines instead"
        faults.append(Missing(Place(name, 1), "", f"{said} (machines/FILES.md, record of a gear)"))
    if faults:
        raise FileFault(faults)
    return Exchanged(tuple(records), tuple(left_out))


def records_in(text: str, path: str, teeth: int, counted: str = "") -> Exchanged:
    """The records in one file's text, lines of readings or XML; `path` is its name in complaints.

    Raises `FileFault` with every fault.
    """
    if is_exchange(text):
        return _exchanged(text, path, teeth, counted)
    return Exchanged((read_record_text(text, path, teeth),), ())


def read_records(paths: Sequence[str | Path], teeth: int, counted: str = "") -> Exchanged:
    """The records of several files of one gear, lines of readings or XML. Raises `FileFault` with every fault."""
    records: list[Record] = []
    left_out: list[Complaint] = []
    faults: list[Complaint] = []
    for path in paths:
        try:
            one = records_in(text_of(path), str(path), teeth, counted)
            records += one.records
            left_out += one.left_out
        except FileFault as fault:
            faults += fault.complaints
    if faults:
        raise FileFault(faults)
    return Exchanged(tuple(records), tuple(left_out))


def _rows(top: Element) -> Iterator[_ReadingRow]:
    """Every row of at least so many numbers: in one text, or one in each of some elements of one name."""
    waiting = [top]
    while waiting:
        node = waiting.pop()
        waiting += reversed(node.inside)
        numbers = [_number(one) for one in re.split(r"[\s;]+", node.text.strip())]
        if len(numbers) >= LEAST and None not in numbers:
            yield _ReadingRow(node, tuple((node.line, {"": one}) for one in numbers if one is not None))
        alike: dict[str, list[Element]] = {}
        for one in node.inside:
            alike.setdefault(one.name, []).append(one)
        for some in alike.values():
            told = [(one.line, _numbers(one)) for one in some]
            if len(told) >= LEAST and all(set(numbers) & set(_VALUES) for _, numbers in told):
                yield _ReadingRow(node, tuple(told))


def _numbers(node: Element) -> dict[str, float]:
    """The numbers that an element says of itself, by their names; its own text has none."""
    said = {
        **node.said,
        "": node.text.strip(),
        **{one.name: one.text.strip() for one in node.inside if not one.inside},
    }
    return {name: number for name, text in said.items() if (number := _number(text)) is not None}


def _number(text: str) -> float | None:
    try:
        return float(exact(text))
    except (NumberFault, OverflowError):
        return None


def _quantity(node: Element) -> str | None:
    for one in node.upwards:
        words = one.words | frozenset(one.said.get("type", "").lower().replace("_", " ").split())
        if (kind := next((kind for needed, kind in _QUANTITIES if needed <= words), None)) is not None:
            return kind
    return None


def _flank(path: str, node: Element, kind: str) -> str:
    if kind == "runout":
        return ""
    for one in node.upwards:
        said = (one.tells(("flank", "side")) or "").lower()
        for flank in ("right", "left"):
            if flank in one.words or flank in said.split():
                return flank
    raise FileFault([Missing(Place(path, node.line), node.name, "which flank it is isn't said; right or left must "
                             "stand in the name of an element about it, or as its flank")])  # fmt: skip


@dataclass(frozen=True)
class _GearCounted:
    teeth: int
    counted: str


def _record(path: str, kind: str, flank: str, rows: Sequence[_ReadingRow], gear: _GearCounted) -> Record:
    """One record of the rows that belong together. Raises `FileFault`."""
    first = rows[0].at
    unit, counted = _unit(path, first), _counted(path, first, gear)
    _check_teeth(path, first, gear.teeth)
    column = COLUMNS[kind][-2]
    readings: list[tuple[float, float, float]] = []
    for row in rows:
        tooth = None if column == "tooth" else _tooth(path, row.at, gear.teeth)
        for number, (line, said) in enumerate(row.readings, 1):
            value = next(said[name] for name in _VALUES if name in said)
            place = next((said[name] for name in _PLACES[column] if name in said), None)
            if place is None and column == "tooth" and len(row.readings) == gear.teeth:
                place = float(number)
            if place is None:
                needed = (
                    ""
                    if column != "tooth"
                    else f"; without one there must be {gear.teeth}, a reading a tooth"
                )
                raise FileFault(
                    [Missing(Place(path, line), column, f"it isn't said at which {column} this is{needed}")]
                )
            if tooth is None and not (place == int(place) and 1 <= place <= gear.teeth):
                raise FileFault([WrongValue(Place(path, line), column, f"{place:g} is no tooth of this gear; they are "
                                            f"1 to {gear.teeth}")])  # fmt: skip
            readings.append(
                (place, 0.0, value) if tooth is None else (tooth, place * LENGTHS_IN["mm"], value)
            )
    if len({one[:2] for one in readings}) < len(readings):
        raise FileFault(
            [WrongValue(Place(path, first.line), first.name, "several readings are of one place")]
        )
    return record_of(Said(path, kind, flank, counted), readings, READ_IN[unit])


def _unit(path: str, node: Element) -> str:
    for one in node.upwards:
        said = one.tells(("unit", "units"))
        if said is not None and said.lower() in _UNITS:
            return _UNITS[said.lower()]
        if said is not None:
            raise FileFault([WrongValue(Place(path, one.line), "unit", f'"{said[:20]}" is no unit that is known here; '
                                        "um, mm or in")])  # fmt: skip
    raise FileFault([Missing(Place(path, node.line), node.name, "in which unit it is isn't said; unit must stand with "
                             "an element about it: um, mm or in")])  # fmt: skip


def _counted(path: str, node: Element, gear: _GearCounted) -> str:
    for one in node.upwards:
        said = (one.tells(("counted", "counting", "counting_direction")) or "").lower()
        if said in ("clockwise", "counter-clockwise"):
            return said
    if gear.counted:
        return gear.counted
    raise FileFault([Missing(Place(path, 1), "counted", "which way the teeth are counted isn't said in it, facing the "
                             "table as the gear lay when it was cut; say it with --counted")])  # fmt: skip


def _check_teeth(path: str, node: Element, teeth: int) -> None:
    for one in node.upwards:
        said = _number(one.tells(_TEETH) or "")
        if said is not None and abs(said) != teeth:
            raise FileFault([Disagreement(Place(path, one.line), "teeth", f"{abs(said):g} teeth here, and {teeth} in "
                                          "the job: is it another gear?")])  # fmt: skip


def _tooth(path: str, node: Element, teeth: int) -> float:
    for one in node.upwards:
        said = _number(one.tells(_PLACES["tooth"]) or "")
        if said is not None and said == int(said) and 1 <= said <= teeth:
            return said
    raise FileFault([Missing(Place(path, node.line), node.name, "on which tooth it was taken isn't said; its number "
                             "must stand with it, as tooth")])  # fmt: skip
