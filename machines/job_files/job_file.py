"""A job file, read: the drawing, the hob, and what is bolted on the machine."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from pathlib import Path
from typing import Any

from handlead.kinematics.frame.frozen import freeze
from handlead.kinematics.frame.words import Feed, Hand
from handlead.kinematics.train.setup import Setup, SetupMove
from handlead.kinematics.work.requirement import HobData, Work
from handlead.machines.job_keys.job_keys import JOB
from handlead.machines.machine_files.catalogue import locate, no_such_machine
from handlead.machines.machine_files.machine_file import Machine, read_machine
from handlead.machines.machine_files.set_up_on_machine import (
    SLIDE_WAYS,
    check_setup,
    check_way,
    mounted_of,
    ways_given,
)
from handlead.machines.tables.observed import Miss, Reading
from handlead.machines.tables.reading import Complaints, values_of
from handlead.machines.toml import numbers, places
from handlead.machines.toml.errors import FileFault, Place, Unknown
from handlead.machines.toml.places import Document, Step

from .drawing import check_throat, hob_data_of, works_of
from .halves import Halves, halves_of
from .hob_rack import check_hob_is_there, hob_of_job
from .toothed import Toothed, toothed_of

#: Keys of [seen] that a `Seen` has by the same name, as they are read.
SEEN_BESIDES = (
    "spaces_meet", "second_cut_miss", "table_turned", "slide_moved", "hob_turns", "feed_marks", "marks",
    "thickness_miss", "span_miss", "depth_miss", "meshes", "runs_out", "one_tooth_out",
    "index_check", "index_check_way", "slide_check", "slide_check_way", "feed_check", "feed_check_way",
)  # fmt: skip


@dataclass(frozen=True)
class SeenCheck:
    """A check that was made: what was done, and what was found."""

    do: str
    found: str


@dataclass(frozen=True)
class Seen:
    """What is on the blank, or was measured on it: lengths in mm, angles in degrees, None if not looked at.

    `straight` is True where the teeth were seen not to lean; `hand` is None then. `helix_angle_deg` is at
    the reference cylinder, `outside_helix_angle_deg` where a protractor lies. The misses are what was
    measured less what was wanted. `within` says by
    key of the file how far a measure may be off, `unsure` which keys hold what one isn't sure of.
    """

    teeth: int | None = None
    hand: Hand | None = None
    straight: bool = False
    lead: Fraction | None = None
    helix_angle_deg: Fraction | None = None
    spaces_meet: bool | None = None
    second_cut_miss: Miss | None = None
    table_turned: str | None = None
    slide_moved: str | None = None
    hob_turns: Fraction | None = None
    feed_marks: Fraction | None = None
    marks: str | None = None
    outside_helix_angle_deg: Fraction | None = None
    thickness_miss: Fraction | None = None
    span_miss: Fraction | None = None
    depth_miss: Fraction | None = None
    meshes: bool | None = None
    runs_out: bool | None = None
    one_tooth_out: bool | None = None
    index_check: Fraction | None = None
    index_check_way: str | None = None
    slide_check: Fraction | None = None
    slide_check_way: str | None = None
    feed_check: Fraction | None = None
    feed_check_way: str | None = None
    within: Mapping[str, Fraction] = field(default_factory=dict)
    unsure: frozenset[str] = frozenset()
    checks: tuple[SeenCheck, ...] = ()

    def __post_init__(self) -> None:
        freeze(self, "within")


@dataclass(frozen=True)
class Cutting:
    """How the work is to be cut, as far as the job says: `feed` in mm per table turn, `mark_um` in µm.

    `material` None is taken as the usual one where a speed is proposed.
    """

    material: str | None = None
    hob_material: str = "high-speed steel"
    feed: Fraction | None = None
    hob_rpm: Fraction | None = None
    mark_um: Fraction | None = None
    cuts: int | None = None


@dataclass(frozen=True)
class Gauging:
    """What the teeth measured at some depth, in mm: `span` over so many teeth, `balls` of a diameter and the size over
    them, `chord` at the tongue's set height, `depth` from the tips; `dialled` the depth gone in by from the touch."""

    date: str = ""
    dialled: Fraction | None = None
    span: tuple[int, Fraction] | None = None
    balls: tuple[Fraction, Fraction] | None = None
    chord: Fraction | None = None
    depth: Fraction | None = None

    @property
    def is_empty(self) -> bool:
        """Whether nothing of the teeth was measured."""
        return self.span is None and self.balls is None and self.chord is None and self.depth is None


@dataclass(frozen=True, repr=False)
class Job:
    """A piece of work. `mate` is the pair's other member, complete; `setup` is None for a job to plan.

    `machine_name` is how the file asks for its machine, `units` the file's own; every length here is in mm.
    `fixture` is what holds the blank, by the shop's name for it. `unusable_machine` is what is wrong with the machine
    that the file names, where it was read for another one instead.
    """

    title: str
    machine_name: str
    machine: Machine
    work: Work
    hob: HobData
    mate: Work | None = None
    setup: Setup | None = None
    seen: Seen | None = None
    cutting: Cutting = Cutting()
    centre_distance: Fraction | None = None
    crossing_angle_deg: Fraction | None = None
    least_backlash: Fraction | None = None
    measured: tuple[Gauging, ...] = ()
    halves: Halves | None = None
    fixture: str = ""
    toothed: Toothed | None = None
    units: str = "mm"
    unusable_machine: str = ""
    document: Document = field(default=Document("job", "", {}), repr=False, compare=False)

    @property
    def path(self) -> str:
        """The file, as complaints call it."""
        return self.document.file

    @property
    def digest(self) -> str:
        """SHA-256 of the file's text."""
        return self.document.digest

    def place(self, *path: Step) -> Place:
        """Where the key at `path` stands, ``place("setup", "change", "index")``; or the nearest place around it."""
        return self.document.place(*path)

    def __repr__(self) -> str:
        state = "to plan" if self.setup is None else "set up"
        return f"<Job {self.title!r} on {self.machine.name!r}: {self.work.kind}, {self.work.teeth} teeth, {state}>"

    def with_gears(self, bracket: str, gears: Sequence[int] | None, idlers: Sequence[int] | None = None) -> Job:
        """With other gears in a bracket, as `Setup.with_gears`. Raises `ValueError` for an unknown one."""
        self.machine.check_bracket(bracket)
        return replace(self, setup=self._setup_or_bare.with_gears(bracket, gears, idlers))

    def with_idler(self, bracket: str, *teeth: int) -> Job:
        """With these idlers in a bracket, as `Setup.with_idler`."""
        self.machine.check_bracket(bracket)
        return replace(self, setup=self._setup_or_bare.with_idler(bracket, *teeth))

    def with_lever(self, lever: str, position: str) -> Job:
        """With a lever in another position. Raises `ValueError` for what the machine doesn't have."""
        self.machine.check_position(lever, position)
        return replace(self, setup=self._setup_or_bare.with_lever(lever, position))

    def with_swivel(self, angle_deg: Fraction | float | str, turn: str) -> Job:
        """With the head swung, as `Setup.with_swivel`; `"22d 42m"` will do for an angle.

        Raises `ValueError` for what is no angle.
        """
        angle = numbers.angle(angle_deg) if isinstance(angle_deg, str) else angle_deg
        return replace(self, setup=self._setup_or_bare.with_swivel(angle, turn))

    @property
    def _setup_or_bare(self) -> Setup:
        return self.setup or Setup(self.machine.normal_drive)

    def with_setup(self, setup: Setup | None) -> Job:
        """The same job with another set-up."""
        return replace(self, setup=setup)

    def with_seen(self, seen: Seen | None) -> Job:
        """The same job with something else seen on the blank."""
        return replace(self, seen=seen)


def read_job(
    path: str | os.PathLike[str], shown: str | None = None, instead: Machine | None = None
) -> Job:
    """The job in the file at `path`, called `shown` in complaints, with its machine.

    Where that one can't be used, a machine given `instead` takes its place: of the set-up nothing is then left but how
    the feed is meant. Raises `FileFault` with everything that is wrong with the job's file and the machine's.
    """
    file = shown or os.fspath(path)
    return _job(places.read(path, file), os.fspath(Path(path).parent), instead)


def read_job_text(text: str, file: str = "job.toml", beside: str | os.PathLike[str] = "") -> Job:
    """The job in `text`, called `file` in complaints, with the machines in the folder `beside` at hand.

    Raises `FileFault`.
    """
    return _job(places.parse(text, file), os.fspath(beside))


def _job(document: Document, beside: str, instead: Machine | None = None) -> Job:
    complaints = Complaints(document)
    values = values_of(document, JOB, complaints)
    check_hob_is_there(document, beside, complaints)
    machine, fault = _machine(document, beside)
    if machine is not None:
        check_setup(document, machine, complaints)
        check_way(document, machine, complaints)
    unusable = str(fault) if fault is not None and instead is not None else ""
    if unusable:
        machine, fault = instead, None
    work, mate = works_of(values, complaints) if values is not None else (None, None)
    complaints.raise_any(fault)
    assert values is not None and machine is not None and work is not None
    hob_values = hob_of_job(values, document, beside, work, complaints)
    complaints.raise_any(fault)
    hob = hob_data_of(hob_values, work)
    check_throat(work, hob, complaints)
    halves, toothed = halves_of(values, work, complaints), toothed_of(values, work, complaints)
    complaints.raise_any(fault)
    return Job(
        title=values.get("title") or Path(document.file).stem,
        machine_name=values["machine"],
        machine=machine,
        work=work,
        hob=hob,
        mate=mate,
        setup=_setup(values["setup"], machine, whole=not unusable) if "setup" in values else None,
        seen=_seen(values["seen"], machine) if "seen" in values else None,
        cutting=_cutting(values.get("cutting", {})),
        **_stands_with_mate(values.get("mate", {})),
        measured=tuple(_gauging(row) for row in values.get("measured", ())),
        halves=halves,
        fixture=values.get("fixture", ""),
        toothed=toothed,
        units=values.get("units", "mm"),
        unusable_machine=unusable,
        document=document,
    )


def _machine(document: Document, beside: str) -> tuple[Machine | None, FileFault | None]:
    """The machine that the file names, or what is wrong with it; neither where the file says so little of it that it
    is complained of anyway."""
    name = document.get("machine")
    if not isinstance(name, str) or not name.strip() or document.get("format") != "job/1":
        return None, None
    found = locate(name, beside)
    if found is None:
        return None, FileFault([Unknown(document.place("machine"), "machine", no_such_machine(name, beside))])
    try:
        return read_machine(*found), None
    except FileFault as fault:
        return None, fault


def _stands_with_mate(values: dict[str, Any]) -> dict[str, Any]:
    return {
        "centre_distance": values.get("centre_distance"),
        "crossing_angle_deg": values.get("crossing_angle"),
        "least_backlash": values.get("least_backlash"),
    }


def _gauging(row: dict[str, Any]) -> Gauging:
    def value(key: str) -> Any:
        return row[key].value if key in row else None

    span, balls = row.get("span"), row.get("balls")
    return Gauging(
        date=row.get("date", ""),
        dialled=row.get("dialled"),
        span=span and (span["teeth"], span["length"].value),
        balls=balls and (balls["diameter"], balls["over"].value),
        chord=value("chord"),
        depth=value("depth"),
    )


def _setup(values: dict[str, Any], machine: Machine, *, whole: bool = True) -> Setup:
    """The set-up on its machine; if not `whole`, what of it holds on any: how the feed is meant."""
    values = values if whole else {key: value for key, value in values.items() if key == "feed"}
    return Setup(
        drive=values.get("drive", machine.normal_drive),
        swivel_deg=values.get("swivel"),
        feed=Feed(values["feed"]) if "feed" in values else None,
        levers=values.get("levers", {}),
        change={
            name: mounted_of(row)
            for name, row in values.get("change", {}).items()
            if row.get("gears") or row.get("ratio")
        },
        moves=tuple(_move(row) for row in values.get("moves", ())),
    )


def _move(row: dict[str, Any]) -> SetupMove:
    turned = next((key for key in ("hob", "table", "drive") if f"{key}_turns" in row), None)
    end, place = next(iter(row["to"].items())) if turned is None else (turned, None)
    return SetupMove(
        name=row["name"],
        end="" if end == "drive" else end,
        place=place,
        turns=None if turned is None else Fraction(row[f"{turned}_turns"]),
        drive=row.get("drive"),
        backwards=row.get("backwards", False),
        levers=row.get("levers", {}),
        start=row.get("from", {}),
        by_hand=row.get("by_hand", False),
    )


def _seen(values: dict[str, Any], machine: Machine) -> Seen:
    readings = {key: reading for key, reading in values.items() if isinstance(reading, Reading)}
    plain = {key: reading.value for key, reading in readings.items()}
    hand = plain.get("hand")
    for key in SLIDE_WAYS:
        if key in plain:
            # Ways of a machine that can't be used are no other's.
            plain[key] = ways_given(machine).get(plain[key])
    return Seen(
        teeth=plain.get("teeth"),
        hand=Hand[hand.upper()] if hand in ("right", "left") else None,
        straight=hand == "none",
        lead=plain.get("lead"),
        helix_angle_deg=plain.get("helix_angle"),
        outside_helix_angle_deg=plain.get("outside_helix_angle"),
        **{key: plain.get(key) for key in SEEN_BESIDES},
        within={key: reading.within for key, reading in readings.items() if reading.within is not None},
        unsure=frozenset(key for key, reading in readings.items() if not reading.is_sure),
        checks=tuple(SeenCheck(row["do"], row["found"]) for row in values.get("check", ())),
    )


def _cutting(values: dict[str, Any]) -> Cutting:
    given = {("mark_um" if key == "mark" else key): value for key, value in values.items()}
    return Cutting(**given)
