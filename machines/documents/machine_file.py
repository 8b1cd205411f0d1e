"""A machine file, read: its train with the levers and change gears that the operator can alter."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache
from itertools import product
from pathlib import Path
from typing import TYPE_CHECKING, Any

from handlead.kinematics.frame.frozen import freeze
from handlead.kinematics.frame.words import POSITIVES, Sense, direction
from handlead.kinematics.gears.gear import MM_PER_INCH
from handlead.kinematics.train.links import (
    KINDS,
    Belt,
    BevelGears,
    Brake,
    Chain,
    ChangeGears,
    Clutch,
    Differential,
    GearPair,
    Link,
    Rack,
    Screw,
    Selector,
    Template,
    WormGear,
)  # fmt: skip
from handlead.kinematics.train.train import Drive, End, Train
from handlead.machines.toml import places
from handlead.machines.toml.errors import Disagreement, Missing, Place, WrongValue
from handlead.machines.toml.places import Document, Path_, Step, quoted
from handlead.machines.toml.question_marks import open_paths, with_stand_ins
from handlead.machines.toml.reading import Complaints, check_names, rows, table_of, values_of
from handlead.machines.toml.units import swivel_text
from handlead.machines.toml.values import guess

from .keys import LINK, MACHINE

if TYPE_CHECKING:
    from handlead.kinematics.train.setup import Setup


@dataclass(frozen=True)
class Lever:
    """What the operator moves: for each position the states of the links that it moves."""

    positions: Mapping[str, Mapping[str, str]]
    normal: str

    def __post_init__(self) -> None:
        freeze(self, "positions")


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
    an error comes back; `gear`, `runout`, `module_n` and `pressure_angle_deg` belong to a change gear that runs out.
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


Limit = tuple[Fraction | None, Fraction]
"""A least value, None where there is none, and a greatest one."""


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
        """The swivel for the vernier; where up isn't up at this machine, also which way its right-hand end goes."""
        text = swivel_text(swivel_deg, seen=seen)
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


@dataclass(frozen=True)
class Clash:
    """Two levers that put one link into different states, with the paths of both in the machine file."""

    link: str
    first: Path_
    second: Path_
    message: str


def clashes(levers: Mapping[str, Lever], positions: Mapping[str, str]) -> Iterator[Clash]:
    """Every link that two levers in these positions put into different states."""
    moved: dict[str, tuple[str, str]] = {}
    for name, position in positions.items():
        for link, state in levers[name].positions[position].items():
            if link in moved and moved[link][1] != state:
                other, otherwise = moved[link]
                yield Clash(
                    link,
                    ("levers", other, "positions", positions[other], link),
                    ("levers", name, "positions", position, link),
                    f"lever {quoted(name)} in {quoted(position)} puts {quoted(link)} in {quoted(state)}, "
                    f"but lever {quoted(other)} in {quoted(positions[other])} puts it in {quoted(otherwise)} "
                    "({also}). A link can be in one state only: let one lever move it",
                )
            moved.setdefault(link, (name, state))


# ---------------------------------------------------------------- reading


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
    _check(document, complaints)
    complaints.raise_any()
    assert values is not None
    try:
        return _built(document, values)
    except ValueError as fault:
        # What the train itself refuses and no check above has found.
        complaints.add(WrongValue, (), str(fault))
        complaints.raise_any()
        raise


def _check(document: Document, complaints: Complaints) -> None:
    """What ties one part of the file to another; each check leaves alone what isn't of its type."""
    if not all(isinstance(document.get(key) or {}, dict) for key in ("shafts", "slides")):
        return
    shafts, slides = table_of(document, "shafts"), table_of(document, "slides")
    links = {row["name"]: index for index, row in rows(document, "link") if isinstance(row.get("name"), str)}
    known: dict[str, Iterable[str]] = {"shaft": shafts, "slide": slides, "part": {**shafts, **slides}}
    if isinstance(document.get("link"), list):
        # A link whose kind can't be understood may be a bracket.
        may_be = [name for name, index in links.items() if _kind(document, index) in ("change gears", None)]
        known |= {"bracket": may_be, "link": links}
    check_names(document, MACHINE, known, complaints)
    _check_twice(document, complaints)
    _check_links(document, complaints)
    _check_levers(document, links, complaints)
    _check_imperfections(document, links, complaints)


def _kind(document: Document, index: int) -> str | None:
    kind = document.get("link", index, "kind")
    return kind if isinstance(kind, str) and kind in LINK else None


def _check_called(end: str, called: Mapping[str, object], complaints: Complaints) -> None:
    """The two ways of an end have two words, whether the file gives them or the frame does."""
    one, other = (called.get(way, way) for way in POSITIVES[end])
    if one == other:
        first, second = POSITIVES[end]
        message = f"{first} and {second} are both called {quoted(str(one))}. Give each way a word of its own"
        complaints.add(WrongValue, ("ends", end, "called"), message)


def _check_twice(document: Document, complaints: Complaints) -> None:
    for slide in table_of(document, "slides"):
        if slide in table_of(document, "shafts"):
            message = f"{quoted(slide)} is also a shaft ({{also}}). Give the two parts two names"
            complaints.add(Disagreement, ("slides", slide), message, ("shafts", slide))
    for key, what in (("link", "link"), ("gear_set", "gear set")):
        first: dict[str, int] = {}
        for index, row in rows(document, key):
            name = row.get("name")
            if isinstance(name, str) and first.setdefault(name, index) != index:
                message = (
                    f"another {what} has the name {quoted(name)} ({{also}}). Give each a name of its own"
                )
                complaints.add(Disagreement, (key, index, "name"), message, (key, first[name], "name"))
    used: dict[str, str] = {}
    for end, row in table_of(document, "ends").items():
        part = row.get("part") if isinstance(row, dict) else None
        if isinstance(part, str) and used.setdefault(part, end) != end:
            message = f"{quoted(part)} is already the part at {used[part]} ({{also}}). Each end has a part of its own"
            complaints.add(Disagreement, ("ends", end, "part"), message, ("ends", used[part], "part"))
        called = row.get("called") if isinstance(row, dict) else None
        if isinstance(called, dict) and end in POSITIVES:
            _check_called(end, called, complaints)


_PORTS = (("from",), ("to",), ("suns", 0), ("suns", 1), ("carrier",))


def _check_links(document: Document, complaints: Complaints) -> None:
    for index, row in rows(document, "link"):
        at: dict[str, Path_] = {}
        for port in _PORTS:
            path: Path_ = ("link", index, *port)
            part = document.get(*path)
            if isinstance(part, str) and at.setdefault(part, path) != path:
                message = f"the link joins {quoted(part)} to itself ({{also}}). It must join different parts"
                complaints.add(Disagreement, path, message, at[part])
        if row.get("kind") == "differential":
            _check_sun_ratio(document, index, complaints)
        if row.get("kind") == "rack" and "teeth" not in row and ("module" in row or "diametral_pitch" in row):
            message = '"teeth" is missing. The travel for a turn needs the teeth of the pinion'
            complaints.add(Missing, ("link", index, "teeth"), message)
        if row.get("kind") == "selector":
            _check_selector(document, index, row, complaints)
        if row.get("kind") == "template":
            _check_template(document, index, row, complaints)


def _check_sun_ratio(document: Document, index: int, complaints: Complaints) -> None:
    path = ("link", index, "sun_ratio")
    written = document.get(*path)
    if written in (0, 1) and not isinstance(written, bool):
        why = "the suns would not turn each other" if written == 0 else "the carrier would have no say"
        message = f"{written} can't be used: {why}. For the plain bevel kind write -1"
        complaints.add(WrongValue, path, message)


def _check_template(document: Document, index: int, row: dict[str, Any], complaints: Complaints) -> None:
    """A template leads the radial slide while the axial one moves; no other pair of slides is led so."""
    for key, end in (("from", "axial"), ("to", "radial")):
        part = document.get("ends", end, "part")
        if isinstance(row.get(key), str) and row[key] != part:
            there = f"that is {quoted(part)}" if isinstance(part, str) else "this machine has none under [ends]"
            goes = "a template goes from the axial slide to the radial one"
            message = f"{goes}, and {quoted(row[key])} isn't the {end} end: {there}"
            complaints.add(WrongValue, ("link", index, key), message)


def _check_selector(document: Document, index: int, row: dict[str, Any], complaints: Complaints) -> None:
    ratios = row.get("ratios")
    if not isinstance(ratios, dict):
        return
    if not ratios:
        complaints.add(WrongValue, ("link", index, "ratios"), "it is empty. Write a ratio for each state")
        return
    state = row.get("state")
    if isinstance(state, str) and state not in ratios:
        complaints.named("state", state, ("link", index, "state"), ratios, " in its ratios")
    if state is None and len(ratios) > 1 and not _always_moved(document, row.get("name")):
        message = (
            '"state" is missing. No lever puts this link into a state in each of its positions, '
            f"so write the state in which it stands. {guess('', ratios)}"
        )
        complaints.add(Missing, ("link", index, "state"), message)


def _always_moved(document: Document, link: object) -> bool:
    """Whether some lever puts the link into a state in every position; one that can't be understood may."""
    known = {row.get("name") for _, row in rows(document, "link") if isinstance(row.get("name"), str)}
    for lever in table_of(document, "levers").values():
        positions = lever.get("positions") if isinstance(lever, dict) else None
        if not isinstance(positions, dict) or not all(isinstance(p, dict) for p in positions.values()):
            return True
        if positions and all(link in states or not known.issuperset(states) for states in positions.values()):
            return True
    return False


def _check_levers(document: Document, links: dict[str, int], complaints: Complaints) -> None:
    good = not complaints
    for name, lever in table_of(document, "levers").items():
        positions = table_of(document, "levers", name, "positions")
        if isinstance(lever, dict) and lever.get("positions") == {}:
            complaints.add(
                WrongValue, ("levers", name, "positions"), "it is empty. Write a line for each position"
            )
        normal = lever.get("normal") if isinstance(lever, dict) else None
        if isinstance(normal, str) and positions and normal not in positions:
            complaints.named("position", normal, ("levers", name, "normal"), positions)
        for position, states in positions.items():
            for link, state in states.items() if isinstance(states, dict) else ():
                path = ("levers", name, "positions", position, link)
                if link in links and isinstance(state, str):
                    _check_state(document, path, links[link], state, complaints)
    if good and not complaints:
        levers = {name: _lever(lever) for name, lever in table_of(document, "levers").items()}
        for clash in clashes(levers, {name: lever.normal for name, lever in levers.items()}):
            complaints.add(Disagreement, clash.second, clash.message, clash.first)


#: Kinds of link that have no driven part, or whose driven part can't be told from the driving one.
_UNDRIVEN = ("differential", "brake")
_WITH_TEETH = ("gear pair", "bevel gears", "worm gear")


def _check_imperfections(document: Document, links: dict[str, int], complaints: Complaints) -> None:
    """Whether the link of each can have such an error, and its amount is told by what the driven part does."""
    for index, row in rows(document, "imperfection"):
        link, path = row.get("link"), ("imperfection", index, "link")
        if not isinstance(link, str) or link not in links or (kind := _kind(document, links[link])) is None:
            continue
        if kind in _UNDRIVEN:
            message = f"{quoted(link)} is a link of the kind {quoted(kind)}, which has no driving and driven part"
            complaints.add(WrongValue, path, message)
        elif row.get("kind") == "tooth by tooth" and kind not in _WITH_TEETH:
            message = f"{quoted(link)} is a link of the kind {quoted(kind)}. It must be a {_or(_WITH_TEETH)}"
            complaints.add(WrongValue, path, message)
        elif kind in ("screw", "rack") and "angle" in row:
            message = f"the driven part of {quoted(link)} is a slide ({{also}}). Give a length"
            complaints.add(Disagreement, ("imperfection", index, "angle"), message, ("link", links[link]))
        elif kind not in ("screw", "rack") and "length" in row:
            message = f"the driven part of {quoted(link)} is a shaft ({{also}}). Give an angle"
            complaints.add(Disagreement, ("imperfection", index, "length"), message, ("link", links[link]))
        if kind in ("screw", "rack") and row.get("turn_of") == "driven":
            message = f"the driven part of {quoted(link)} is a slide, which has no turns. It must be \"driving\""
            complaints.add(WrongValue, ("imperfection", index, "turn_of"), message)


def _or(words: tuple[str, ...]) -> str:
    return f"{', '.join(words[:-1])} or {words[-1]}"


def _check_state(document: Document, path: Path_, index: int, state: str, complaints: Complaints) -> None:
    kind, ratios = _kind(document, index), document.get("link", index, "ratios")
    if kind is None:
        return
    states: tuple[str, ...] | None = KINDS[kind].states or None
    if kind == "selector":
        states = tuple(ratios) if isinstance(ratios, dict) else None
    elif states is None:
        message = (
            f"{quoted(path[-1])} is a link of the kind {quoted(kind)}, which has no states to be put into"
        )
        complaints.add(WrongValue, path, message)
    if states is not None and state not in states:
        complaints.named("state", state, path, states, f" of the {kind} {quoted(path[-1])}")


# ---------------------------------------------------------------- building


def _lever(values: Mapping[str, Any]) -> Lever:
    return Lever({name: dict(states) for name, states in values["positions"].items()}, values["normal"])


def _built(document: Document, values: dict[str, Any]) -> Machine:
    train = Train(
        shafts=values["shafts"],
        slides=values.get("slides", {}),
        links=tuple(_link(row) for row in values["link"]),
        ends={
            end: End(row["part"], POSITIVES[end][row["positive"]])
            for end, row in values["ends"].items()
        },
        drives={
            name: Drive(row["shaft"], row.get("rpm"), row.get("at_rest") == "free")
            for name, row in values["drives"].items()
        },
    )  # fmt: skip
    every = tuple(bracket.name for bracket in train.brackets)
    return Machine(
        name=values["name"],
        summary=values.get("summary", ""),
        units=values.get("units", "mm"),
        train=train,
        levers={name: _lever(lever) for name, lever in values.get("levers", {}).items()},
        gear_sets=tuple(
            GearSet(row["name"], row.get("fits", every), row["teeth"]) for row in values.get("gear_set", ())
        ),
        limits=_limits(values.get("limits", {})),
        document=document,
        imperfections=tuple(_imperfection(row) for row in values.get("imperfection", ())),
        called={end: row["called"] for end, row in values["ends"].items() if "called" in row},
        change_over=values.get("change_over", {}),
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
        row.get("module"),
        row.get("pressure_angle", Fraction(20)),
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


def module_of(values: Mapping[str, Any]) -> Fraction | None:
    """The module in mm, as it is or from the diametral pitch; None if neither is there."""
    if "diametral_pitch" in values:
        return MM_PER_INCH / Fraction(values["diametral_pitch"])
    module: Fraction | None = values.get("module")
    return module


def _link(row: Mapping[str, Any]) -> Link:
    return _BUILDERS[row["kind"]](row)


def _two(row: Mapping[str, Any]) -> tuple[str, str, str]:
    return row["name"], row["from"], row["to"]


def _sense(row: Mapping[str, Any]) -> Sense:
    return Sense[row["sense"].upper()]


def _pulleys(row: Mapping[str, Any]) -> tuple[tuple[Fraction, Fraction], bool]:
    first, second = row.get("teeth") or row["diameters"]
    return (Fraction(first), Fraction(second)), row.get("crossed", False)


def _gear_pair(row: Mapping[str, Any]) -> Link:
    sense = _sense(row) if "sense" in row else None
    return GearPair(*_two(row), row["teeth"], row.get("internal", False), sense)


def _change_gears(row: Mapping[str, Any]) -> Link:
    return ChangeGears(
        *_two(row),
        pairs=tuple(sorted(set(row.get("pairs", (1, 2))))),
        idlers=tuple(sorted(set(row.get("idlers", (0, 1))))),
        bracket=row.get("bracket"),
    )


def _selector(row: Mapping[str, Any]) -> Link:
    ratios = row["ratios"]
    return Selector(
        *_two(row), ratios=ratios, state=row.get("state", next(iter(ratios)) if len(ratios) == 1 else "")
    )


def _rack(row: Mapping[str, Any]) -> Link:
    module = module_of(row)
    if module is None:
        return Rack(*_two(row), travel=row["travel"], sense=_sense(row))
    return Rack.of_module(*_two(row), teeth=row["teeth"], module=module, sense=_sense(row))


_BUILDERS: dict[str, Callable[[Mapping[str, Any]], Link]] = {
    "gear pair": _gear_pair,
    "bevel gears": lambda row: BevelGears(*_two(row), row["teeth"], _sense(row)),
    "worm gear": lambda row: WormGear(*_two(row), row["starts"], row["teeth"], _sense(row)),
    "belt": lambda row: Belt(*_two(row), *_pulleys(row)),
    "chain": lambda row: Chain(*_two(row), *_pulleys(row)),
    "change gears": _change_gears,
    "differential": lambda row: Differential(
        row["name"], row["suns"], row["carrier"], row.get("sun_ratio", Fraction(-1))
    ),
    "clutch": lambda row: Clutch(*_two(row), row.get("state", "in")),
    "brake": lambda row: Brake(row["name"], row["shaft"], row.get("state", "on")),
    "selector": _selector,
    "screw": lambda row: Screw(*_two(row), row["lead"], _sense(row)),
    "rack": _rack,
    "template": lambda row: Template(
        *_two(row), points=row["points"], smooth=row.get("law") == "smooth", state=row.get("state", "in")
    ),
}
