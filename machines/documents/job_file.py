"""A job file, read: the drawing, the hob, and what is bolted on the machine."""

from __future__ import annotations

import math
import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from pathlib import Path
from typing import Any

from handlead.kinematics.frame.frozen import freeze
from handlead.kinematics.frame.words import POSITIVES, STILL, Feed, Hand
from handlead.kinematics.gears.gear import MM_PER_INCH
from handlead.kinematics.gears.profiles import straight_spline
from handlead.kinematics.train.links import PI, Mounted
from handlead.kinematics.train.setup import Setup, SetupMove
from handlead.kinematics.train.solution import SLIDE_ENDS
from handlead.kinematics.work.requirement import HobData, Work, gear_to_cut, keys_of
from handlead.kinematics.work.sizes import drawn_throat, sprocket_of
from handlead.machines.toml import numbers, places
from handlead.machines.toml.errors import Disagreement, FileFault, Missing, Place, Unknown, WrongValue
from handlead.machines.toml.observed import Miss, Reading
from handlead.machines.toml.places import Document, Path_, Step, quoted
from handlead.machines.toml.reading import Complaints, table_of, values_of
from handlead.machines.toml.values import guess

from .catalogue import locate, no_such_machine
from .halves import Halves, halves_of
from .hob_rack import check_hob_is_there, hob_of_job
from .keys import JOB, TOOTH_SIZES
from .levers import clashes
from .machine_file import Machine, read_machine
from .toothed import Toothed, toothed_of

#: Keys of [seen] that a `Seen` has by the same name, as they are read.
SEEN_BESIDES = (
    "spaces_meet", "second_cut_miss", "table_turned", "slide_moved", "hob_turns", "feed_marks", "marks",
    "thickness_miss", "span_miss", "depth_miss", "meshes", "runs_out", "one_tooth_out",
    "index_check", "index_check_way", "slide_check", "slide_check_way", "feed_check", "feed_check_way",
)  # fmt: skip

#: Keys of [seen] that tell the way of a slide.
_SLIDE_WAYS = ("slide_moved", "feed_check_way")

#: Decimals kept, in modules of 1 mm or in degrees, where a conversion through the helix is irrational.
DECIMALS = 12

#: The keys of [work] that a worm wheel alone has.
THROAT_KEYS = ("blank", "throat_radius", "rim_diameter")

#: The keys of [work] that a straight-sided spline alone has.
SPLINE_KEYS = ("key_width", "minor_diameter", "form_diameter")

#: Keys that a straight-sided spline can't have: its sides are planes along the axis.
_NOT_OF_KEYS = (
    "helix_angle", "lead", "hand", "profile_shift", "thinning", "pressure_angle", "transverse_pressure_angle",
    "transverse_module", "transverse_diametral_pitch", "crown", "taper",
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
    `fixture` is what holds the blank, by the shop's name for it.
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
    measured: tuple[Gauging, ...] = ()
    halves: Halves | None = None
    fixture: str = ""
    toothed: Toothed | None = None
    units: str = "mm"
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


# ---------------------------------------------------------------- reading


def read_job(path: str | os.PathLike[str], shown: str | None = None) -> Job:
    """The job in the file at `path`, called `shown` in complaints, with its machine.

    Raises `FileFault` with everything that is wrong with the job's file and the machine's.
    """
    file = shown or os.fspath(path)
    return _job(places.read(path, file), os.fspath(Path(path).parent))


def read_job_text(text: str, file: str = "job.toml", beside: str | os.PathLike[str] = "") -> Job:
    """The job in `text`, called `file` in complaints, with the machines in the folder `beside` at hand.

    Raises `FileFault`.
    """
    return _job(places.parse(text, file), os.fspath(beside))


def _job(document: Document, beside: str) -> Job:
    complaints = Complaints(document)
    values = values_of(document, JOB, complaints)
    check_hob_is_there(document, beside, complaints)
    machine, fault = _machine(document, beside, complaints)
    if machine is not None:
        _check_setup(document, machine, complaints)
        _check_way(document, machine, complaints)
    work, mate = _works(values, complaints) if values is not None else (None, None)
    complaints.raise_any(fault)
    assert values is not None and machine is not None and work is not None
    hob_values = hob_of_job(values, document, beside, work, complaints)
    complaints.raise_any(fault)
    hob = _hob(hob_values, work)
    _check_throat(work, hob, complaints)
    halves, toothed = halves_of(values, work, complaints), toothed_of(values, work, complaints)
    complaints.raise_any(fault)
    return Job(
        title=values.get("title") or Path(document.file).stem,
        machine_name=values["machine"],
        machine=machine,
        work=work,
        hob=hob,
        mate=mate,
        setup=_setup(values["setup"], machine) if "setup" in values else None,
        seen=_seen(values["seen"], machine) if "seen" in values else None,
        cutting=_cutting(values.get("cutting", {})),
        centre_distance=values.get("mate", {}).get("centre_distance"),
        crossing_angle_deg=values.get("mate", {}).get("crossing_angle"),
        measured=tuple(_gauging(row) for row in values.get("measured", ())),
        halves=halves,
        fixture=values.get("fixture", ""),
        toothed=toothed,
        units=values.get("units", "mm"),
        document=document,
    )


def _machine(
    document: Document, beside: str, complaints: Complaints
) -> tuple[Machine | None, FileFault | None]:
    name = document.get("machine")
    if not isinstance(name, str) or not name.strip() or document.get("format") != "job/1":
        return None, None
    found = locate(name, beside)
    if found is None:
        complaints.add(Unknown, ("machine",), no_such_machine(name, beside))
        return None, None
    try:
        return read_machine(*found), None
    except FileFault as fault:
        return None, fault


# ---------------------------------------------------------------- the set-up against the machine


def _check_setup(document: Document, machine: Machine, complaints: Complaints) -> None:
    """Names of levers, positions, brackets and drives; what is wrong with the set-up itself is not a file's fault."""
    _check_drive(document, machine, ("setup", "drive"), complaints)
    positions = _check_levers(document, machine, complaints, ("setup", "levers"), machine.normal_positions)
    _check_moves(document, machine, complaints, positions)
    brackets = [bracket.name for bracket in machine.train.brackets]
    for name in table_of(document, "setup", "change"):
        path = ("setup", "change", name)
        if name not in brackets:
            what = f"the machine has no change-gear bracket {quoted(name)}"
            _unknown(complaints, machine, what, name, path, brackets, "link")
        gears = document.get(*path, "gears")
        if isinstance(gears, list) and len(gears) % 2:
            message = f"there are {len(gears)} gears. They come in pairs, driver and driven: a/b · c/d"
            complaints.add(WrongValue, (*path, "gears"), message)
        if gears == [] and document.get(*path, "idlers"):
            complaints.add(
                WrongValue, (*path, "idlers"), "an idler needs gears to stand between. Write them in gears"
            )


def _ways(machine: Machine) -> dict[str, str]:
    """What may be said of the slide that feeds: the frame's words and the machine's own, with the frame's for each."""
    own = {
        machine.way(end, sign): word
        for end in SLIDE_ENDS
        if end in machine.train.ends
        for word, sign in POSITIVES[end].items()
    }
    plain = {word: word for end in SLIDE_ENDS for word in POSITIVES[end]}
    return {**plain, **own, STILL: STILL}


def _check_way(document: Document, machine: Machine, complaints: Complaints) -> None:
    for key in _SLIDE_WAYS:
        told = document.get("seen", key)
        path: Path_ = ("seen", key)
        if isinstance(told, dict):
            told, path = told.get("value"), (*path, "value")
        known = _ways(machine)
        if isinstance(told, str) and told not in known:
            complaints.add(WrongValue, path, f"{quoted(told)} is no way of a slide. {guess(told, known)}")


def _check_drive(document: Document, machine: Machine, path: Path_, complaints: Complaints) -> None:
    drive = document.get(*path)
    if isinstance(drive, str) and drive not in machine.train.drives:
        what = f"the machine has no drive {quoted(drive)}"
        _unknown(complaints, machine, what, drive, path, machine.train.drives, "drives")


def _check_levers(
    document: Document, machine: Machine, complaints: Complaints, at: Path_, standing: Mapping[str, str]
) -> dict[str, str]:
    """Check the levers moved in the table at `at`; returns where all stand after that."""
    positions, found = dict(standing), document.get(*at)
    given = found if isinstance(found, dict) else {}
    for name, position in given.items():
        path = (*at, name)
        if name not in machine.levers:
            what = f"the machine has no lever {quoted(name)}"
            _unknown(complaints, machine, what, name, path, machine.levers, "levers")
        elif isinstance(position, str) and position not in machine.levers[name].positions:
            known = machine.levers[name].positions
            what = f"the lever has no position {quoted(position)}"
            _unknown(complaints, machine, what, position, path, known, "levers", name, "positions")
        elif isinstance(position, str):
            positions[name] = position
    for clash in clashes(machine.levers, positions):
        first, second = (machine.document.place(*path) for path in (clash.first, clash.second))
        moved = (str(name) for name in (clash.second[1], clash.first[1]) if name in given)
        where = (*at, *([name] if (name := next(moved, "")) else []))
        also = f"{first}, against {second.seen_from(first)}"
        complaints.add(Disagreement, where, clash.message.replace("{also}", also), first)
    return positions


def _check_moves(
    document: Document, machine: Machine, complaints: Complaints, positions: dict[str, str]
) -> None:
    """Names in the moves, and levers as they stand before each of them."""
    moves = document.get("setup", "moves")
    for index, move in enumerate(moves) if isinstance(moves, list) else ():
        if not isinstance(move, dict):
            continue
        path: Path_ = ("setup", "moves", index)
        _check_drive(document, machine, (*path, "drive"), complaints)
        if "levers" in move:
            positions = _check_levers(document, machine, complaints, (*path, "levers"), positions)
        if index and "from" in move:
            message = "only the first move starts anywhere; each other one starts where the one before it ended"
            complaints.add(WrongValue, (*path, "from"), message)
        _check_by_hand(move, path, complaints)
        for key in ("from", "to"):
            for end in move[key] if isinstance(move.get(key), dict) else ():
                if end in SLIDE_ENDS and end not in machine.train.ends:
                    _check_slide_not_driven(machine, move, (*path, key, end), complaints)


def _check_by_hand(move: Mapping[str, Any], path: Path_, complaints: Complaints) -> None:
    """A handwheel goes to a place, and no drive runs meanwhile."""
    if move.get("by_hand") is not True:
        return
    if "to" not in move:
        message = "a move by hand needs a place to go to. Write it: to = { radial = 8 }"
        complaints.add(WrongValue, (*path, "by_hand"), message)
    for key in ("drive", "backwards"):
        if key in move:
            message = "no drive runs while a slide is moved by hand. Take one of them out"
            complaints.add(Disagreement, (*path, key), message, (*path, "by_hand"))


def _check_slide_not_driven(
    machine: Machine, move: Mapping[str, Any], path: Path_, complaints: Complaints
) -> None:
    """A slide that the machine file doesn't name; the centre distance can be set on any machine, by hand."""
    key, end = path[-2], str(path[-1])
    if end == "radial" and (key == "from" or move.get("by_hand") is True):
        return
    what = f"the machine has no {end} slide"
    if end == "radial":
        message = f"{what} that a drive moves. Where it is moved by hand, add by_hand = true to the move"
        complaints.add(WrongValue, path, message)
        return
    _unknown(complaints, machine, what, end, path, machine.train.ends, "ends")


def _unknown(
    complaints: Complaints, machine: Machine, what: str, name: str, path: Path_,
    known: Iterable[str], *place: str,
) -> None:  # fmt: skip
    """A complaint that the machine file doesn't have a name, with the nearest of `known` and its place there."""
    guessed = guess(name, known)
    found = next((one for one in known if guessed == f"Did you mean {quoted(one)}?"), None)
    spot = machine.place(*place, found) if found is not None else machine.place(*place)
    guessed = f"{guessed.removesuffix('?')} ({spot}){'?' if guessed.endswith('?') else ''}"
    complaints.add(Unknown, path, f"{what}. {guessed}", spot)


# ---------------------------------------------------------------- the drawing


def _works(values: dict[str, Any], complaints: Complaints) -> tuple[Work | None, Work | None]:
    given = values["work"]
    work = _work(given, "work", complaints)
    if work is None or "mate" not in values:
        return work, None
    if work.has_keys:
        message = "a straight-sided spline's mate is a hub, which no hob cuts ({also}). Leave the mate out"
        complaints.add(Disagreement, ("mate",), message, ("work", "key_width"))
        return None, None
    return work, _work(_mate_keys(given, values["mate"]), "mate", complaints)


def _mate_keys(work: dict[str, Any], mate: dict[str, Any]) -> dict[str, Any]:
    """The mate's keys: its own, and for the rest the work's, turned over where a pair turns them over.

    On parallel shafts the hands are unlike and the helix angles alike, so that the leads are as
    the teeth. A worm wheel's mate is its worm, of the same hand, and at right angles to it.
    """
    keys = dict(work)
    for group in (TOOTH_SIZES, ("helix_angle", "lead"), ("pressure_angle", "transverse_pressure_angle")):
        if any(key in mate for key in group):
            keys = {key: value for key, value in keys.items() if key not in group}
    if mate.get("teeth", work["teeth"]) != work["teeth"]:
        keys.pop("outside_diameter", None)
    if mate.get("kind", "sprocket") != "sprocket":
        keys.pop("roller_diameter", None)
    keys = {key: value for key, value in keys.items() if key not in (*THROAT_KEYS, *SPLINE_KEYS, "crown", "taper")}
    if mate.get("kind") in ("spur", "spline", "sprocket"):
        keys = {key: value for key, value in keys.items() if key not in ("hand", "helix_angle", "lead")}
    if "hand" in keys and work["kind"] != "worm wheel":
        keys["hand"] = Hand[keys["hand"].upper()].other.word
    if "lead" in keys:
        keys["lead"] = keys["lead"] * Fraction(mate.get("teeth", work["teeth"]), work["teeth"])
    keys.update(mate)
    if mate.get("crossing_angle") and "hand" in keys and "hand" not in mate:
        keys["hand"] = work["hand"]  # most crossed pairs have like hands
    return _worm_keys(work, mate, keys) if work["kind"] == "worm wheel" and "kind" not in mate else keys


def _worm_keys(work: dict[str, Any], mate: dict[str, Any], keys: dict[str, Any]) -> dict[str, Any]:
    keys["kind"] = "helical"
    if "lead" in mate or "helix_angle" in mate:
        return keys
    wheel = _shape(work)
    keys.pop("lead", None)
    keys["helix_angle"] = _limited(90 - (wheel.beta_deg if wheel else 0.0))
    return keys


def _shape(values: dict[str, Any]) -> Work | None:
    try:
        return _built(values)
    except ValueError:
        return None


def _work(values: dict[str, Any], table: str, complaints: Complaints) -> Work | None:
    before = bool(complaints)
    lean = next((key for key in ("helix_angle", "lead") if values.get(key)), None)
    kind, hand = values["kind"], values.get("hand")
    if kind == "spur" and (lean or hand):
        message = f'{quoted(lean or "hand")} is given, but the kind is "spur" ({{also}}). Keep one of the two'
        complaints.add(Disagreement, (table, lean or "hand"), message, (table, "kind"))
        return None
    if kind != "sprocket" and "roller_diameter" in values:
        message = (
            f'"roller_diameter" is given, but the kind is {quoted(kind)} ({{also}}). Only sprockets have one'
        )
        complaints.add(Disagreement, (table, "roller_diameter"), message, (table, "kind"))
        return None
    hollow = next((key for key in THROAT_KEYS if key in values), None)
    if hollow and kind != "worm wheel":
        message = f'"{hollow}" is given, but the kind is {quoted(kind)} ({{also}}). Only worm wheels have a hollow'
        complaints.add(Disagreement, (table, hollow), message, (table, "kind"))
        return None
    if not _keys_are_whole(values, table, complaints):
        return None
    plain = next((key for key in THROAT_KEYS[1:] if key in values), None)
    if plain and values.get("blank") == "plain":
        message = f'"{plain}" is given, but the blank is plain ({{also}}). Keep one of the two'
        complaints.add(Disagreement, (table, plain), message, (table, "blank"))
        return None
    led = next((key for key in ("crown", "taper") if values.get(key)), None)
    if led and kind in ("sprocket", "worm wheel"):
        message = f'"{led}" is given, but the kind is {quoted(kind)} ({{also}}). Only gears and splines have one'
        complaints.add(Disagreement, (table, led), message, (table, "kind"))
        return None
    if kind == "sprocket" and "thinning" in values:
        message = 'only gears and splines run with backlash, but the kind is "sprocket" ({also}). Leave it out'
        complaints.add(Disagreement, (table, "thinning"), message, (table, "kind"))
        return None
    if kind == "helical" and not lean:
        complaints.add(
            Missing,
            (table, "helix_angle"),
            '"helix_angle" or "lead" is missing. Helical work has one of them, above 0',
        )
        return None
    if lean and not hand:
        complaints.add(
            Missing, (table, "hand"), '"hand" is missing. Write "right" or "left", as the teeth lean'
        )
        return None
    if hand and not lean:
        worm = "; a worm wheel's helix angle is the lead angle of its worm" if kind == "worm wheel" else ""
        message = f'"helix_angle" or "lead" is missing. A hand goes with one of them, above 0{worm}'
        complaints.add(Missing, (table, "helix_angle"), message)
        return None
    try:
        work = _built(values)
        _check_keys(work)
        gear_to_cut(work)
        sprocket_of(work)
    except ValueError as fault:
        key = next(
            (
                key
                for key in ("lead", "profile_shift", "thinning", "roller_diameter", "key_width", "minor_diameter",
                            "form_diameter", "module")
                if key in values and key.replace("_", " ") in str(fault)
            ),
            "",
        )
        complaints.add(WrongValue, (table, key) if key else (table,), str(fault))
        return None
    return None if before else work


def _keys_are_whole(values: dict[str, Any], table: str, complaints: Complaints) -> bool:
    """Whether a straight-sided spline has what it takes, and nothing that it can't have; complains of what isn't."""
    given = next((key for key in SPLINE_KEYS if key in values), None)
    if given is None:
        return True
    if values["kind"] != "spline":
        message = f'"{given}" is given, but the kind is {quoted(values["kind"])} ({{also}}). Only splines have keys'
        complaints.add(Disagreement, (table, given), message, (table, "kind"))
        return False
    whole = True
    for key in ("key_width", "minor_diameter", "outside_diameter"):
        if key not in values:
            whole = False
            message = f'"{key}" is missing. Keys are told by their width and the diameters at their foot and over them'
            complaints.add(Missing, (table, key), message)
    for key in _NOT_OF_KEYS:
        if key in values:
            whole = False
            message = f'"{key}" is given, but the spline has straight-sided keys ({{also}}). Leave it out'
            complaints.add(Disagreement, (table, key), message, (table, given))
    return whole


def _check_keys(work: Work) -> None:
    """Raises `ValueError` for keys that no shaft can have, or that no hob can roll on the circle that is given."""
    keys = keys_of(work)
    if keys is None:
        return
    rolling, least = work.teeth * float(work.module_n), keys.least_rolling_diameter
    if rolling < least:
        raise ValueError(
            f"module is {float(work.module_n):.6g}: a hob of it rolls on {rolling:.6g} mm, and the sides of these keys "
            f"come out straight to their tops only from {least:.6g} mm up. Leave it out, or give one from "
            f"{least / work.teeth:.6g} up"
        )
    # As deep as the minor diameter its thread must still have a flat.
    straight_spline(keys, rolling_diameter=rolling)
    low, high = float(work.minor_diameter or 0), float(work.outside_diameter or 0)
    if work.form_diameter is not None and not low < work.form_diameter < high:
        raise ValueError(
            f"form diameter is {float(work.form_diameter):g} mm; it must lie between the minor diameter of {low:g} mm "
            f"and the outside of {high:g} mm"
        )


def _check_throat(work: Work, hob: HobData, complaints: Complaints) -> None:
    """A hollow that the drawing gives must go with wheel and worm."""
    given = [key for key in THROAT_KEYS[1:] if getattr(work, key) is not None]
    try:
        drawn_throat(work, hob)
    except ValueError as fault:
        for key in given[:1]:
            named = next((key for key in given if key.replace("_", " ") in str(fault)), key)
            complaints.add(WrongValue, ("work", named), str(fault))


def _built(values: dict[str, Any]) -> Work:
    cosine = _cosine(values)
    return Work(
        kind=values["kind"],
        teeth=values["teeth"],
        module_n=_module_n(values, cosine),
        pressure_angle_deg=_pressure_angle(values, cosine),
        hand=Hand[values["hand"].upper()] if "hand" in values else None,
        helix_angle_deg=values.get("helix_angle") if values.get("hand") else None,
        lead=values.get("lead"),
        face_width=values.get("face_width"),
        quality=values.get("quality", 8),
        profile_shift=values.get("profile_shift", Fraction(0)),
        outside_diameter=values.get("outside_diameter"),
        thinning=values.get("thinning", Fraction(0)),
        roller_diameter=values.get("roller_diameter"),
        is_plain=values.get("blank") == "plain",
        throat_radius=values.get("throat_radius"),
        rim_diameter=values.get("rim_diameter"),
        crown=values.get("crown", Fraction(0)),
        taper=values.get("taper", Fraction(0)),
        key_width=values.get("key_width"),
        minor_diameter=values.get("minor_diameter"),
        form_diameter=values.get("form_diameter"),
    )


def _cosine(values: dict[str, Any]) -> float | None:
    """Cosine of the helix angle, as far as it is known without the normal module; None for straight teeth."""
    if values.get("helix_angle"):
        return math.cos(math.radians(values["helix_angle"]))
    transverse = _transverse_module(values)
    if "lead" in values and transverse is not None:
        # tan β = π·m_t·z / L at the reference cylinder
        return math.cos(math.atan(math.pi * float(transverse) * values["teeth"] / float(values["lead"])))
    if "lead" in values:
        sine = math.pi * float(_module_n(values, None)) * values["teeth"] / float(values["lead"])
        return math.sqrt(1 - sine * sine) if sine < 1 else None
    return None


def _transverse_module(values: dict[str, Any]) -> Fraction | None:
    if "transverse_diametral_pitch" in values:
        return MM_PER_INCH / Fraction(values["transverse_diametral_pitch"])
    module: Fraction | None = values.get("transverse_module")
    return module


def _module_n(values: dict[str, Any], cosine: float | None) -> Fraction:
    """Normal module in mm; from a transverse one on a helix it holds `DECIMALS` decimals, else it is exact.

    A circular pitch is divided by π to forty decimals.
    """
    if "diametral_pitch" in values:
        return MM_PER_INCH / Fraction(values["diametral_pitch"])
    if "pitch" in values:
        return Fraction(values["pitch"]) / PI
    transverse = _transverse_module(values)
    if transverse is None and "module" not in values and "key_width" in values:
        return Fraction(Fraction(values["outside_diameter"]) / values["teeth"])
    if transverse is None:
        return Fraction(values["module"])
    return Fraction(transverse) if cosine is None else _limited(float(transverse) * cosine)


def _pressure_angle(values: dict[str, Any], cosine: float | None) -> Fraction:
    """Normal pressure angle in degrees; from a transverse one on a helix it holds `DECIMALS` decimals."""
    if "transverse_pressure_angle" not in values:
        return Fraction(values.get("pressure_angle", 20))
    transverse = Fraction(values["transverse_pressure_angle"])
    if cosine is None:
        return transverse
    return _limited(math.degrees(math.atan(math.tan(math.radians(transverse)) * cosine)))


def _limited(value: float) -> Fraction:
    return Fraction(f"{value:.{DECIMALS}f}")


# ---------------------------------------------------------------- the rest


def _hob(values: dict[str, Any], work: Work) -> HobData:
    return HobData(
        module_n=_module_n(values, None),
        starts=values.get("starts", 1),
        hand=Hand[values.get("hand", "right").upper()],
        lead_angle_deg=values.get("lead_angle"),
        diameter=values.get("diameter"),
        outside_diameter=values.get("outside_diameter"),
        gashes=values.get("gashes"),
        pressure_angle_deg=values.get("pressure_angle", work.pressure_angle_deg),
        rack=values.get("rack", "A"),
        addendum=values.get("addendum", _height_for_keys(work)),
        dedendum=values.get("dedendum"),
        tip_radius=values.get("tip_radius"),
        length=values.get("length"),
        name=values.get("name", ""),
    )


def _height_for_keys(work: Work) -> Fraction | None:
    """Height in modules of the tips of a hob for these keys over the circle that it rolls on; None without keys."""
    if not work.has_keys or work.minor_diameter is None:
        return None
    return Fraction(work.teeth - work.minor_diameter / work.module_n) / 2


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


def _setup(values: dict[str, Any], machine: Machine) -> Setup:
    return Setup(
        drive=values.get("drive", machine.normal_drive),
        swivel_deg=values.get("swivel"),
        feed=Feed(values["feed"]) if "feed" in values else None,
        levers=values.get("levers", {}),
        change={
            name: Mounted(row["gears"], row.get("idlers", ()))
            for name, row in values.get("change", {}).items()
            if row["gears"]
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
    for key in _SLIDE_WAYS:
        if key in plain:
            plain[key] = _ways(machine)[plain[key]]
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
