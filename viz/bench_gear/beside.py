"""The records that lie beside a job: what each says, or what is wrong with it, and new ones put there."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from handlead.machines.gear_records.exchange import is_exchange, records_in
from handlead.machines.gear_records.lines import text_in
from handlead.machines.gear_records.records import Record
from handlead.machines.gear_records.writing import sheet_of
from handlead.machines.inspecting.words import record_name
from handlead.machines.toml import filing
from handlead.machines.toml.errors import Complaint, FileFault
from handlead.viz.bench_desk.desk import Desk
from handlead.viz.bench_files.entered import NotEntered
from handlead.viz.bench_files.shelf import RECORDS
from handlead.viz.bench_files.versions import Drafts, Versions, digest_of

from .typed import KINDS, GearAtHand, typed_again

#: Records of a folder that are looked into: ticked ones first, then those called after the job.
_MOST = 100

#: Faults of one record that are told.
_MOST_FAULTS = 12


@dataclass(frozen=True)
class RecordBeside:
    """A file beside a job: what it says, and what is wrong with it for this gear, each with its line."""

    name: str
    told: tuple[str, ...]
    faults: tuple[str, ...]
    is_xml: bool
    by_hand: bool
    chosen: bool = False
    had_another: bool = False


class Chosen:
    """Which records of a job's gear are looked at, and which way an XML file's teeth are counted: kept on the disk."""

    def __init__(self, desk: Desk) -> None:
        self._drafts = Drafts(desk.shelf.folder, f"{desk.name}.inspected")
        held = self._drafts.fields
        self.counted = held.get("counted", "")
        self.names: tuple[str, ...] = ()
        try:
            self.names = tuple(map(str, json.loads(held.get("chosen", "[]"))))
        except (ValueError, TypeError):
            self.names = ()

    def hold(self, names: Sequence[str], counted: str) -> None:
        """Keep a choice."""
        self.names, self.counted = tuple(dict.fromkeys(names)), counted
        self._drafts.hold({"chosen": json.dumps(self.names), "counted": counted})

    def add(self, name: str) -> None:
        """Choose one more."""
        self.hold((*self.names, name), self.counted)


def records_beside(desk: Desk, gear: GearAtHand) -> tuple[tuple[RecordBeside, ...], int]:
    """The files beside the job that may be records of its gear, and how many more there are that weren't looked into.

    A text that is no record is somebody's note, and left out.
    """
    chosen = Chosen(desk)
    names = desk.shelf.records(desk.name)
    first = sorted(names, key=lambda name: name not in chosen.names)[:_MOST]
    found = []
    for name in (name for name in names if name in first):
        path = record_path(desk, name)
        stat = path.stat()
        one = _looked(str(path), stat.st_mtime_ns, stat.st_size, gear, chosen.counted)
        if not one[1] or not name.lower().endswith(".txt"):
            had = bool(_versions(desk, name).all)
            found.append(RecordBeside(name, *one, chosen=name in chosen.names and not one[1], had_another=had))
    return tuple(found), len(names) - len(first)


def record_path(desk: Desk, name: str) -> Path:
    """Where a record beside a job lies, or is to lie. Raises `FileFault` for a name that leads elsewhere."""
    if "/" in name:
        raise NotEntered("a record lies beside its job: write its name alone")
    return desk.shelf.path(Path(desk.name).with_name(name).as_posix(), RECORDS)


@lru_cache(maxsize=256)
def _looked(
    path: str, changed: int, size: int, gear: GearAtHand, counted: str
) -> tuple[tuple[str, ...], tuple[str, ...], bool, bool]:
    """What a file says, and its faults; whether it is XML, and can be typed again."""
    name = Path(path).name
    try:
        text = text_in(Path(path).read_bytes())
    except OSError as fault:
        return (), ((fault.strerror or str(fault)).lower(),), False, False
    try:
        some = records_in(text, name, gear.teeth, counted)
    except FileFault as fault:
        return (), faults_told(fault.complaints), is_exchange(text), False
    by_hand = not is_exchange(text) and all(one.kind in KINDS for one in some.records)
    left = tuple(f"line {one.line}: {one.message}" for one in some.left_out)
    said = (record_told(one, gear.units) for one in some.records)
    return (*said, *left), (), is_exchange(text), by_hand


def record_told(record: Record, units: str) -> str:
    """What a record is of, how many readings it has, and its day."""
    day = f", {record.date}" if record.date else ""
    return f"{record_name(record, units)}, {len(record.readings.um)} readings{day}"


def faults_told(complaints: Sequence[Complaint]) -> tuple[str, ...]:
    """What is wrong with a record, each with its line."""
    said = [f"line {one.line}: {f'{one.key}: ' if one.key else ''}{one.message}" for one in complaints]
    more = len(said) - _MOST_FAULTS
    return (*said[:_MOST_FAULTS], *([f"and {more} more"] if more > 0 else ()))


@dataclass(frozen=True)
class PutThere:
    """Whether a record was put beside its job; else what is in the way: `asks` whether to write over one, or faults."""

    name: str
    asks: str = ""
    faults: tuple[str, ...] = ()

    @property
    def is_there(self) -> bool:
        """Whether it lies there now."""
        return not self.asks and not self.faults


def put_beside(desk: Desk, name: str, content: bytes, over: str) -> PutThere:
    """Put a record beside its job, whole or not at all. `over` is what tells the text that may be written over; what
    was there is kept among its versions."""
    path = record_path(desk, name)
    there = path.read_bytes() if path.is_file() else None
    if there is not None and there != content:
        digest = digest_of(text_in(there))
        if over != digest:
            return PutThere(name, digest)
        _keep(_versions(desk, name), text_in(there), "written over")
    if there != content:
        try:
            filing.put(content, path)
        except OSError as fault:
            raise NotEntered(f"{name}: it can't be written ({(fault.strerror or str(fault)).lower()})") from None
    Chosen(desk).add(name)
    return PutThere(name)


def _versions(desk: Desk, name: str) -> Versions:
    return desk.shelf.versions(Path(desk.name).with_name(name).as_posix())


def _keep(versions: Versions, text: str, what: str) -> None:
    if versions.of_text(text) is None:
        versions.keep(text, what, versions.all[-1] if versions.all else None)


def bring_back(desk: Desk, name: str) -> None:
    """The record that was there before the last was written over it; what is there now is kept in turn."""
    path, versions = record_path(desk, name), _versions(desk, name)
    now = text_in(path.read_bytes()) if path.is_file() else ""
    before = next((one for one in reversed(versions.all) if one.digest != digest_of(now)), None)
    if before is None:
        raise NotEntered(f"{name}: nothing was there before it")
    text = versions.text(before.number)
    _keep(versions, now, "brought back from")
    filing.write_text(text, path, overwrite=True)


def take_file(desk: Desk, gear: GearAtHand, name: str, content: bytes, over: str) -> PutThere:
    """A record from elsewhere put beside its job as it came, once it can be used for this gear."""
    name = safe_name(name)
    try:
        records_in(text_in(content), name, gear.teeth, Chosen(desk).counted)
    except FileFault as fault:
        return PutThere(name, faults=faults_told(fault.complaints))
    return put_beside(desk, name, content, over)


def safe_name(name: str) -> str:
    """The name under which a file from elsewhere is kept. Raises `NotEntered` for one that is no record."""
    stem, dot, ending = Path(name.replace("\\", "/")).name.rpartition(".")
    if not dot or f".{ending.lower()}" not in RECORDS:
        raise NotEntered(f"a record's name ends in {', '.join(RECORDS)}")
    stem = re.sub(r"[^\w .()+-]", "-", stem).strip(" .")[:80]
    return f"{stem or 'record'}.{ending.lower()}"


def opened_again(desk: Desk, gear: GearAtHand, name: str) -> Mapping[str, str]:
    """What would be typed for a record that lies beside the job. Raises `FileFault`, `ValueError`."""
    path = record_path(desk, name)
    text = text_in(path.read_bytes()) if path.is_file() else None
    if text is None:
        raise NotEntered(f"{name}: it isn't there any more")
    return typed_again(sheet_of(text, name, gear.teeth), name)
