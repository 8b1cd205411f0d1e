"""An observations file, read: what was turned and counted on a machine, and set-ups known to have cut a gear."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import Any

from handlead.kinematics.frame.words import POSITIVES, Hand
from handlead.kinematics.train.setup import Setup
from handlead.machines.job_keys.observation_keys import (
    OBSERVATIONS,
    OWN_WAYS,
    USUAL_LEAD,
    USUAL_TRAVEL,
    USUAL_TURNS,
    Amount,
)
from handlead.machines.machine_files.levers import clashes
from handlead.machines.machine_files.machine_file import Machine
from handlead.machines.machine_files.set_up_on_machine import mounted_of
from handlead.machines.tables.reading import Complaints, rows, values_of
from handlead.machines.toml import places
from handlead.machines.toml.errors import Disagreement, Place, Unknown, WrongValue
from handlead.machines.toml.guesses import guess
from handlead.machines.toml.numbers import UNITS
from handlead.machines.toml.places import Document, Path_, quoted

Bounds = tuple[Fraction, Fraction]


@dataclass(frozen=True)
class Movement:
    """How far a part moved, between `bounds`: turns or mm by its own positive, or only the size if not `is_signed`."""

    part: str
    bounds: Bounds
    is_signed: bool


@dataclass(frozen=True)
class Counted:
    """A part was turned, another watched; the parts `held` stood still."""

    path: Path_
    note: str
    setup: Setup
    turned: Movement
    moved: Movement
    held: tuple[str, ...] = ()


@dataclass(frozen=True)
class CutSeen:
    """A set-up known to have cut this gear; lead in mm between bounds, None where nobody measured."""

    path: Path_
    note: str
    setup: Setup
    starts: int
    hob_hand: Hand
    teeth: int
    is_straight: bool
    hand: Hand | None
    lead: Bounds | None


@dataclass(frozen=True)
class Observations:
    """Everything seen on a machine, in the file's order.

    `bounds` are of unknowns by name, as they are written, None where open; `units` is the file's own.
    """

    title: str
    seen: tuple[Counted | CutSeen, ...]
    bounds: Mapping[str, tuple[Amount | None, Amount | None]]
    units: str
    document: Document = field(repr=False, compare=False)

    @property
    def path(self) -> str:
        """The file, as complaints call it."""
        return self.document.file

    def place(self, number: int) -> Place:
        """Where an observation stands in the file, by its number in `seen`."""
        return self.document.place(*self.seen[number].path)

    def name(self, number: int) -> str:
        """What to call an observation: its note, or else its kind and number."""
        seen = self.seen[number]
        return f'"{seen.note}"' if seen.note else f"{seen.path[0]} {int(seen.path[1]) + 1}"


def read_observations(
    path: str | os.PathLike[str], machine: Machine, shown: str | None = None
) -> Observations:
    """The observations in the file at `path`, made on `machine`. Raises `FileFault` with everything wrong with it."""
    return _observations(places.read(path, shown or os.fspath(path)), machine)


def read_observations_text(text: str, machine: Machine, file: str = "observations.toml") -> Observations:
    """The observations in `text`, made on `machine`. Raises `FileFault`."""
    return _observations(places.parse(text, file), machine)


def _observations(document: Document, machine: Machine) -> Observations:
    complaints = Complaints(document)
    values = values_of(document, OBSERVATIONS, complaints)
    for kind in ("counted", "cut"):
        for index, row in rows(document, kind):
            _check_setup(machine, (kind, index), row, complaints)
    for index, row in rows(document, "counted"):
        _check_parts(machine, index, row, complaints)
    if values is not None and not values.get("counted") and not values.get("cut"):
        message = (
            "there is nothing in it. Write a [[counted]] table for each thing that was turned and watched"
        )
        complaints.add(WrongValue, (), message)
    complaints.raise_any()
    assert values is not None
    reader = _Reader(machine, values.get("units", "mm"), complaints)
    # In the order in which the two kinds stand in the file.
    places_of = {
        (kind, index): document.place(kind, index)
        for kind in ("counted", "cut")
        for index, _ in rows(document, kind)
    }
    order = sorted(places_of, key=lambda key: (places_of[key].line, places_of[key].column))
    seen = [
        reader.counted(index, values[kind][index])
        if kind == "counted"
        else reader.cut(index, values[kind][index])
        for kind, index in order
    ]
    bounds = {row["unknown"]: reader.bound(index, row) for index, row in enumerate(values.get("bound", ()))}
    complaints.raise_any()
    title = values.get("title") or Path(document.file).stem
    return Observations(title, tuple(each for each in seen if each), bounds, reader.units, document)


def _check_setup(machine: Machine, base: Path_, row: Mapping[str, Any], complaints: Complaints) -> None:
    """Names of drives, levers, positions and brackets that the machine has."""
    drive = row.get("drive")
    if isinstance(drive, str) and drive not in machine.train.drives:
        complaints.named("drive", drive, (*base, "drive"), machine.train.drives, f" on {machine.path}")
    positions = dict(machine.normal_positions)
    levers = row.get("levers")
    for name, position in levers.items() if isinstance(levers, dict) else ():
        path = (*base, "levers", name)
        if name not in machine.levers:
            complaints.named("lever", name, path, machine.levers, f" on {machine.path}")
        elif isinstance(position, str) and position not in machine.levers[name].positions:
            known = machine.levers[name].positions
            complaints.named("position", position, path, known, f" of the lever {quoted(name)}")
        elif isinstance(position, str):
            positions[name] = position
    for clash in clashes(machine.levers, positions):
        also = str(machine.document.place(*clash.first))
        complaints.add(Disagreement, (*base, "levers"), clash.message.replace("{also}", also))
    brackets = [bracket.name for bracket in machine.train.brackets]
    change = row.get("change")
    for name, mounted in change.items() if isinstance(change, dict) else ():
        path = (*base, "change", name)
        if name not in brackets:
            complaints.named("change-gear bracket", name, path, brackets, f" on {machine.path}")
        gears = mounted.get("gears") if isinstance(mounted, dict) else None
        if isinstance(gears, list) and len(gears) % 2:
            message = f"there are {len(gears)} gears. They come in pairs, driver and driven: a/b · c/d"
            complaints.add(WrongValue, (*path, "gears"), message)


def _check_parts(machine: Machine, index: int, row: Mapping[str, Any], complaints: Complaints) -> None:
    """Parts and ways that the machine has."""
    base: Path_ = ("counted", index)
    for key in ("turned", "moved"):
        movement = row.get(key)
        part = movement.get("part") if isinstance(movement, dict) else None
        if not isinstance(movement, dict) or not isinstance(part, str):
            continue
        if part not in machine.train:
            complaints.named("part", part, (*base, key, "part"), machine.train.parts, f" on {machine.path}")
            continue
        way = movement.get("way")
        known = ways_of(machine, part)
        if isinstance(way, str) and way not in known:
            message = f"{quoted(way)} is no way of {quoted(part)}. {guess(way, known)}"
            complaints.add(WrongValue, (*base, key, "way"), message)
    held = row.get("held")
    for at, part in enumerate(held) if isinstance(held, list) else ():
        if isinstance(part, str) and part not in machine.train:
            complaints.named("part", part, (*base, "held", at), machine.train.parts, f" on {machine.path}")
    if isinstance(held, str) and held not in machine.train:
        complaints.named("part", held, (*base, "held"), machine.train.parts, f" on {machine.path}")
    turned, moved = (
        row[key].get("part") if isinstance(row.get(key), dict) else None for key in ("turned", "moved")
    )
    if isinstance(turned, str) and turned == moved:
        message = f"{quoted(moved)} is the part that was turned ({{also}}). Say which other part was watched"
        complaints.add(Disagreement, (*base, "moved", "part"), message, (*base, "turned", "part"))


def ways_of(machine: Machine, part: str) -> dict[str, int]:
    """The words for the two ways of a part, each with its sign by the part's own positive."""
    words: dict[str, int] = {}
    for name, end in machine.train.ends.items():
        if end.part == part:
            words |= {word: sign * end.sign for word, sign in POSITIVES[name].items()}
    return words | OWN_WAYS


@dataclass(frozen=True)
class _Reader:
    """Rows to records; what can't be used is noted."""

    machine: Machine
    units: str
    complaints: Complaints

    def counted(self, index: int, row: Mapping[str, Any]) -> Counted | None:
        base: Path_ = ("counted", index)
        turned = self._movement((*base, "turned"), row["turned"], Fraction(0), way=1)
        moved = self._movement((*base, "moved"), row["moved"], None, way=None)
        if turned is None or moved is None:
            return None
        if turned.bounds[0] <= 0 <= turned.bounds[1]:
            message = "the part was not turned for certain. It must be turned further than its uncertainty"
            self.complaints.add(WrongValue, (*base, "turned"), message)
            return None
        setup = self._setup(row, turned.part)
        return Counted(base, row.get("note", ""), setup, turned, moved, tuple(row.get("held", ())))

    def cut(self, index: int, row: Mapping[str, Any]) -> CutSeen | None:
        base: Path_ = ("cut", index)
        hand, hob = row.get("hand"), row.get("hob", {})
        lead: Bounds | None = None
        if "lead" in row:
            value, within = row["lead"].value, row["lead"].within
            within = value * USUAL_LEAD if within is None else within
            lead = (value - within, value + within)
            if hand not in ("right", "left"):
                message = (
                    '"hand" is missing, or none. A lead goes with the hand of the teeth, "right" or "left"'
                )
                self.complaints.add(WrongValue, (*base, "lead"), message)
                return None
            if lead[0] <= 0:
                message = "it may be off by as much as itself. A lead is longer than its uncertainty"
                self.complaints.add(WrongValue, (*base, "lead"), message)
                return None
        return CutSeen(
            base, row.get("note", ""), self._setup(row), hob.get("starts", 1),
            Hand[hob.get("hand", "right").upper()], row["teeth"], hand == "none",
            Hand[hand.upper()] if hand in ("right", "left") else None, lead,
        )  # fmt: skip

    def bound(self, index: int, row: Mapping[str, Any]) -> tuple[Amount | None, Amount | None]:
        least, greatest = row.get("least"), row.get("greatest")
        if least is None and greatest is None:
            message = '"least" or "greatest" is missing. Give one of them, or both'
            self.complaints.add(WrongValue, ("bound", index), message)
        elif least and greatest:
            sizes = [each.value * UNITS[each.unit or self.units] for each in (least, greatest)]
            if sizes[0] > sizes[1]:
                message = "it is greater than the greatest ({also}). Change the two round"
                self.complaints.add(
                    Disagreement, ("bound", index, "least"), message, ("bound", index, "greatest")
                )
        return least, greatest

    def _setup(self, row: Mapping[str, Any], turned: str = "") -> Setup:
        train = self.machine.train
        # A drive that is turned by hand is the one that runs.
        by_hand = next((name for name, drive in train.drives.items() if drive.shaft == turned), None)
        return Setup(
            drive=row.get("drive") or by_hand or self.machine.normal_drive,
            levers=row.get("levers", {}),
            change={
                name: mounted_of(each)
                for name, each in row.get("change", {}).items()
                if each.get("gears") or each.get("ratio")
            },
        )

    def _movement(
        self, path: Path_, row: Mapping[str, Any], within: Fraction | None, way: int | None
    ) -> Movement | None:
        """A movement; `within` and `way` hold where the row doesn't say (None: as is usual; not noted)."""
        part = row["part"]
        is_slide = part in self.machine.train.slides
        scale = Fraction(1)
        if "teeth" in row:
            if "of" not in row or is_slide:
                message = (
                    f"{quoted(part)} is a slide, which has no gear to count. Give its travel in by"
                    if is_slide
                    else '"of" is missing. Write how many teeth the gear has that was counted'
                )
                self.complaints.add(WrongValue, (*path, "teeth"), message)
                return None
            scale = Fraction(1, row["of"])
            size = Fraction(row["teeth"]) * scale
        else:
            size = self._amount((*path, "by"), row["by"], part)
        if "within" in row:
            within = self._amount((*path, "within"), row["within"], part) * scale
        elif within is None:
            within = scale / 2 if "teeth" in row else USUAL_TRAVEL if is_slide else USUAL_TURNS
        if "way" in row:
            way = ways_of(self.machine, part)[row["way"]]
        if way is None and size == 0:
            way = 1
        low, high = size - within, size + within
        if way is None:
            return Movement(part, (max(low, Fraction(0)), high), False)
        return Movement(part, (low, high) if way > 0 else (-high, -low), True)

    def _amount(self, path: Path_, amount: Amount, part: str) -> Fraction:
        is_slide = part in self.machine.train.slides
        if amount.unit and not is_slide:
            message = f"{quoted(part)} turns, so it must be a number of turns, without {quoted(amount.unit)}"
            self.complaints.add(WrongValue, path, message)
        return self._in_mm(amount, is_slide)

    def _in_mm(self, amount: Amount, is_length: bool) -> Fraction:
        return amount.value * UNITS[amount.unit or self.units] if is_length else amount.value


def bounds_in_mm(
    observations: Observations, known: Mapping[str, bool]
) -> dict[str, tuple[Fraction | None, Fraction | None]]:
    """The bounds of the unknowns `known`, each with whether it is a length: numbers, or lengths in mm.

    Raises `FileFault` for bounds of anything else.
    """
    complaints = Complaints(observations.document)
    found: dict[str, tuple[Fraction | None, Fraction | None]] = {}
    for index, row in rows(observations.document, "bound"):
        name = row["unknown"]
        if name not in known:
            message = f"nothing unknown is called {quoted(name)}. {guess(name, known)}"
            complaints.add(Unknown, ("bound", index, "unknown"), message)
            continue
        ends: list[Fraction | None] = []
        for amount in observations.bounds[name]:
            scale = UNITS[amount.unit or observations.units] if amount and known[name] else Fraction(1)
            ends.append(amount.value * scale if amount else None)
        found[name] = (ends[0], ends[1])
    complaints.raise_any()
    return found
