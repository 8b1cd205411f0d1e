"""A machine file, read: its train with the levers and change gears that the operator can alter."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import lru_cache
from itertools import product
from pathlib import Path
from typing import TYPE_CHECKING, Any

from handlead.kinematics.frame.frozen import freeze
from handlead.kinematics.frame.words import POSITIVES, direction
from handlead.kinematics.links.mounted import SetRatio
from handlead.kinematics.train.train import Drive, End, Train
from handlead.machines.keys.head_scale import HeadScale
from handlead.machines.keys.machine_keys import MACHINE
from handlead.machines.tables.question_marks import open_paths, with_stand_ins
from handlead.machines.tables.reading import Complaints, rows, values_of
from handlead.machines.toml import places
from handlead.machines.toml.errors import Disagreement, Place, WrongValue
from handlead.machines.toml.guesses import guess
from handlead.machines.toml.places import Document, Path_, Step
from handlead.machines.toml.units import swivel_text

from .levers import Lever, clashes, lever_of
from .machine_checks import check_machine
from .machine_links import link_of, module_of

if TYPE_CHECKING:
    from handlead.kinematics.train.setup import Setup


@dataclass(frozen=True)
class GearSet:
    """Change gears in the drawer: their teeth, a count twice if there are two, and the brackets they fit."""

    name: str
    fits: tuple[str, ...]
    teeth: tuple[int, ...]


@dataclass(frozen=True)
class Imperfection:
    """Something that the machine doesn't do perfectly, by its kind; angles in degrees, lengths in mm.

    `angle_deg` or `length` is the amount at the driven part of `link`, `turn_of` the part with whose turn
    an error comes back; `gear`, `runout`, `module_n` and `pressure_angle_deg` belong to a change gear that runs out,
    `between_deg` to one that idles, `link` and `place` (from 1 along its bracket) tell it from others of its count.
    `runout` is read, or `length` told, `over` so much height or travel; `way` is that
    in which a slide goes off, `waves` how often in a turn the table wobbles, about a place `below` the blank.
    `comes_from` says how it is known, `inspected` on which day a gear showed it, "" where it isn't said.
    """

    kind: str
    link: str | None = None
    angle_deg: Fraction | None = None
    length: Fraction | None = None
    turn_of: str | None = None
    phase_deg: Fraction = Fraction(0)
    gear: int | None = None
    runout: Fraction | None = None
    module_n: Fraction | None = None
    pressure_angle_deg: Fraction = Fraction(20)
    between_deg: Fraction = Fraction(180)
    over: Fraction | None = None
    way: str | None = None
    waves: int = 1
    below: Fraction = Fraction(0)
    comes_from: str = ""
    inspected: str = ""
    place: int | None = None


@dataclass(frozen=True)
class Looseness:
    """Something that is known of the machine only within bounds: its kind, what it comes from, how it is spread.

    `amount` holds what is known as an imperfection has it.
    """

    kind: str
    comes_from: str
    spread: str
    amount: Imperfection


Limit = tuple[Fraction | None, Fraction]


@dataclass(frozen=True)
class Limits:
    """What the machine can do: lengths and module in mm, angles in degrees; None where the file says nothing."""

    rpm: Mapping[str, Limit] = field(default_factory=dict)
    travel: Mapping[str, Fraction] = field(default_factory=dict)
    swivel_deg: tuple[Fraction, Fraction] | None = None
    work_diameter: Fraction | None = None
    face_width: Fraction | None = None
    module_n: Fraction | None = None
    feed_mm_per_table_turn: Limit | None = None

    def __post_init__(self) -> None:
        freeze(self, "rpm", "travel")


@dataclass(frozen=True, repr=False)
class Machine:
    """A machine as its file describes it.

    `train` has every lever out of consideration: each link in the state that it has by itself
    (clutches in, brakes on, others as their ``state`` says), and every bracket empty; `set_up`
    moves the levers and mounts the gears. `units` is the file's own; every length here is in mm.
    `called` holds the machine's own words for the ways of its ends, by end and by the frame's word, `change_over` the
    minutes that changing over takes, as far as the file says.
    """

    name: str
    summary: str
    units: str
    train: Train
    levers: Mapping[str, Lever]
    gear_sets: tuple[GearSet, ...]
    limits: Limits
    document: Document = field(repr=False, compare=False)
    imperfections: tuple[Imperfection, ...] = ()
    called: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    change_over: Mapping[str, Fraction] = field(default_factory=dict)
    looseness: tuple[Looseness, ...] = ()
    head: HeadScale = field(default_factory=HeadScale)

    def __post_init__(self) -> None:
        freeze(self, "levers", "called", "change_over")

    def __repr__(self) -> str:
        levers, brackets = len(self.levers), len(self.train.brackets)
        return f"<Machine {self.name!r}: {len(self.train.links)} links, {levers} levers, {brackets} brackets>"

    @property
    def path(self) -> str:
        """The file, as complaints call it."""
        return self.document.file

    @property
    def digest(self) -> str:
        """SHA-256 of the file's text."""
        return self.document.digest

    def way(self, end: str, sign: int) -> str:
        """What the frame's positive (`sign` 1) or negative (-1) way of an end is called at this machine."""
        word = direction(end, sign)
        return self.called.get(end, {}).get(word, word)

    def right_hand_end(self, swivel_deg: float) -> str:
        """Which way the head's right-hand end goes, seen from behind the hob, as the head is swung from level."""
        return self.way("axial", 1 if swivel_deg > 0 else -1)

    def swivel_text(self, swivel_deg: float, *, seen: bool = True) -> str:
        """The swivel for the vernier, in its scale's words as well where it has some.

        Where up isn't up at this machine, also which way the right-hand end goes.
        """
        text = swivel_text(swivel_deg, seen=seen)
        scale = self.head.words(swivel_deg)
        text += f", on its scale {scale}" if scale else ""
        if self.way("axial", 1) == direction("axial", 1) or not round(swivel_deg * 60):
            return text
        return f"{text}, right-hand end {self.right_hand_end(swivel_deg)}"

    @property
    def normal_positions(self) -> Mapping[str, str]:
        """The position of each lever unless a job says otherwise."""
        return {name: lever.normal for name, lever in self.levers.items()}

    @property
    def normal_drive(self) -> str:
        """The drive that turns the machine unless a job says otherwise: ``main``, or else the first."""
        return "main" if "main" in self.train.drives else next(iter(self.train.drives))

    def place(self, *what: Step) -> Place:
        """Where a thing stands in the file, for complaints.

        ``place("link", "index worm", "sense")``, ``place("gear_set", "change gears")``,
        ``place("levers", "range", "positions", "low")``, ``place("limits", "rpm", "hob")``; the
        nearest place around it if the file doesn't have it.
        """
        return self.document.place(*self._path(what))

    def _path(self, what: tuple[Step, ...]) -> Path_:
        if len(what) > 1 and what[0] in ("link", "gear_set") and isinstance(what[1], str):
            for index, row in rows(self.document, str(what[0])):
                if row.get("name") == what[1]:
                    return (what[0], index, *what[2:])
            return ()
        return what

    def positions(self, setup: Setup | None = None) -> dict[str, str]:
        """The position of every lever: the set-up's, or else the normal one."""
        given = setup.levers if setup else {}
        return {name: given.get(name, lever.normal) for name, lever in self.levers.items()}

    def lever_combinations(self) -> Iterator[dict[str, str]]:
        """Every combination of lever positions, normal ones first; also those in which two levers clash."""
        choices = [
            sorted(lever.positions, key=lever.normal.__ne__) for lever in self.levers.values()
        ]
        for positions in product(*choices):
            yield dict(zip(self.levers, positions, strict=True))

    def can_stand(self, positions: Mapping[str, str]) -> bool:
        """Whether no two levers in these positions fight over a link."""
        return not any(clashes(self.levers, positions))

    def states(self, positions: Mapping[str, str]) -> dict[str, str]:
        """The states into which the levers put links in these positions.

        Raises `ValueError` for a lever or position that isn't there, and `FileFault` where two
        levers put one link into different states.
        """
        for name, position in positions.items():
            self.check_position(name, position)
        clash = next(clashes(self.levers, positions), None)
        if clash is not None:
            complaints = Complaints(self.document)
            complaints.add(Disagreement, clash.second, clash.message, clash.first)
            complaints.raise_any()
        return {
            link: state
            for name, position in positions.items()
            for link, state in self.levers[name].positions[position].items()
        }

    def check_position(self, lever: str, position: str) -> None:
        """Raise `ValueError` where the machine has no such lever, or the lever no such position."""
        if lever not in self.levers:
            raise ValueError(f"there is no lever {lever!r}. {guess(lever, self.levers)}")
        known = self.levers[lever].positions
        if position not in known:
            raise ValueError(f"lever {lever!r} has no position {position!r}. {guess(position, known)}")

    def check_bracket(self, name: str) -> None:
        """Raise `ValueError` where the machine has no change-gear bracket called `name`."""
        known = [bracket.name for bracket in self.train.brackets]
        if name not in known:
            raise ValueError(f"there is no change-gear bracket {name!r}. {guess(name, known)}")

    def set_up(self, setup: Setup | None = None) -> Train:
        """The train with the levers moved, normal where `setup` doesn't say, and its change gears mounted.

        Raises `ValueError` for a lever, position or bracket that isn't there, and `FileFault`
        where two levers put one link into different states.
        """
        given = setup.levers if setup else {}
        train = self.train.with_states(self.states({**self.normal_positions, **given}))
        for bracket in setup.change if setup else ():
            self.check_bracket(bracket)
        return train.with_gears(dict(setup.change)) if setup else train


def read_machine(path: str | os.PathLike[str], shown: str | None = None) -> Machine:
    """The machine described by the file at `path`, called `shown` in complaints.

    A file is read once as long as it doesn't change. Raises `FileFault` with everything that is
    wrong with the file.
    """
    file = shown or os.fspath(path)
    try:
        status = Path(path).stat()
    except (OSError, ValueError):
        places.read(path, file)  # says why
        raise
    return _read(os.fspath(Path(path).absolute()), file, status.st_mtime_ns, status.st_size)


@lru_cache(maxsize=128)
def _read(path: str, file: str, modified_ns: int, size: int) -> Machine:
    return machine_of(places.read(path, file))


def read_machine_text(text: str, file: str = "machine.toml") -> Machine:
    """The machine described by `text`, called `file` in complaints. Raises `FileFault`."""
    return machine_of(places.parse(text, file))


def machine_of(document: Document) -> Machine:
    """The machine that the document describes. Raises `FileFault`."""
    complaints = Complaints(document)
    unknown = list(open_paths(document))
    for path in unknown:
        message = "it is not known yet: run handlead fit on what was counted at the machine, or write what it is"
        complaints.add(WrongValue, path, message)
    if unknown:
        document = with_stand_ins(document, unknown)
    values = values_of(document, MACHINE, complaints)
    check_machine(document, complaints)
    complaints.raise_any()
    assert values is not None
    try:
        return _built(document, values)
    except ValueError as fault:
        # What the train itself refuses and no check above has found.
        complaints.add(WrongValue, (), str(fault))
        complaints.raise_any()
        raise


def _built(document: Document, values: dict[str, Any]) -> Machine:
    train = Train(
        shafts=values["shafts"],
        slides=values.get("slides", {}),
        links=tuple(link_of(row) for row in values["link"]),
        ends={
            end: End(row["part"], POSITIVES[end][row["positive"]])
            for end, row in values["ends"].items()
        },
        drives={
            name: Drive(row["shaft"], row.get("rpm"), row.get("at_rest") == "free")
            for name, row in values["drives"].items()
        },
    )  # fmt: skip
    every = tuple(bracket.name for bracket in train.brackets if not isinstance(bracket, SetRatio))
    return Machine(
        name=values["name"],
        summary=values.get("summary", ""),
        units=values.get("units", "mm"),
        train=train,
        levers={name: lever_of(lever) for name, lever in values.get("levers", {}).items()},
        gear_sets=tuple(
            GearSet(row["name"], row.get("fits", every), row["teeth"]) for row in values.get("gear_set", ())
        ),
        limits=_limits(values.get("limits", {})),
        document=document,
        imperfections=tuple(_imperfection(row) for row in values.get("imperfection", ())),
        head=HeadScale.of(values.get("head")),
        called={end: row["called"] for end, row in values["ends"].items() if "called" in row},
        change_over=values.get("change_over", {}),
        looseness=tuple(
            Looseness(
                row["kind"],
                row["comes_from"],
                row.get("spread", "normal"),
                replace(_imperfection(row), comes_from=""),
            )
            for row in values.get("looseness", ())
        ),
    )


def _imperfection(row: Mapping[str, Any]) -> Imperfection:
    return Imperfection(
        row["kind"],
        row.get("link"),
        row.get("angle"),
        row.get("length"),
        row.get("turn_of"),
        row.get("phase", Fraction(0)),
        row.get("gear"),
        row.get("runout"),
        module_of(row),
        row.get("pressure_angle", Fraction(20)),
        row.get("between", Fraction(180)),
        row.get("over"),
        row.get("way"),
        row.get("waves", 1),
        row.get("below", Fraction(0)),
        row.get("comes_from", ""),
        row.get("inspected", ""),
        row.get("place"),
    )


def _limits(values: Mapping[str, Any]) -> Limits:
    swivel = values.get("swivel")
    return Limits(
        rpm=values.get("rpm", {}),
        travel=values.get("travel", {}),
        swivel_deg=swivel and (-swivel[1] if swivel[0] is None else swivel[0], swivel[1]),
        work_diameter=values.get("work_diameter"),
        face_width=values.get("face_width"),
        module_n=module_of(values),
        feed_mm_per_table_turn=values.get("feed"),
    )
