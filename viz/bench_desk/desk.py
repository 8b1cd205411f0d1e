"""One job on the desk: its file's text, the figures that don't fit yet, and what may be done to it.

Every change goes through the same reader as the commands' files: what is read back is the changed job, or nothing is
written. What was there stays as a version.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache
from pathlib import Path, PurePosixPath
from typing import Any

import tomlkit
from handlead.kinematics.links.mounted import LETTERS
from handlead.kinematics.train.setup import Setup
from handlead.machines.job_files.job_file import Job, read_job_text
from handlead.machines.job_files.pair_files import mate_beside, work_beside
from handlead.machines.proving.proof import Proof, prove_case
from handlead.machines.setups.case import Case
from handlead.machines.toml.errors import FileFault, HandleadError, NoSetup
from handlead.machines.toml.filing import plain, write_text
from handlead.machines.written.rewriting import with_setup
from handlead.viz.bench_files.shelf import Shelf
from handlead.viz.bench_files.versions import Drafts, Version, Versions, digest_of, text_or_none

from . import fields


class Elsewhere(HandleadError):
    """The file isn't as the page last showed it: it was changed elsewhere meanwhile. `text` is what it holds now."""

    def __init__(self, text: str) -> None:
        self.text = text
        super().__init__("The file was changed elsewhere meanwhile. Nothing was written over.")


@dataclass(frozen=True)
class Desk:
    """A job's file as it stands, with drafts put in where they make something that can be used.

    `text` is the file's, or what was begun where there is no file yet. `job` is None where it can't be used;
    `errors` are then what is wrong, by the key that it stands at.
    """

    shelf: Shelf
    name: str
    text: str
    drafts: Mapping[str, str]
    exists: bool
    job: Job | None
    errors: Mapping[str, tuple[str, ...]]

    @property
    def digest(self) -> str:
        """What tells this state of the file from another."""
        return digest_of(self.text)

    @property
    def path(self) -> Path:
        """Where the file is."""
        return self.shelf.path(self.name)

    @cached_property
    def values(self) -> Mapping[str, Any]:
        """What the file says, key by key, whether or not it can be used."""
        return fields.values_in(self.text, self.name)

    @property
    def units(self) -> str:
        """The file's own."""
        return "in" if self.values.get("units") == "in" else "mm"

    @property
    def title(self) -> str:
        """What the job is called."""
        return str(self.values.get("title") or Path(self.name).stem)

    @cached_property
    def case(self) -> Case | None:
        """The set-up on the machine; None where there is none, or it can't stand."""
        if self.job is None or self.job.setup is None:
            return None
        try:
            return Case.of(self.job)
        except FileFault:
            return None

    @cached_property
    def proof(self) -> Proof | None:
        """The verdict from the train; the blank stays uncut."""
        return None if self.case is None else proved(source_of(self, self.text))

    def letters(self, bracket: str) -> str:
        """What the gears of a bracket are called, from the driving shaft on."""
        return self.case.letters(bracket) if self.case else LETTERS

    @property
    def fights(self) -> str:
        """What the levers fight over where the set-up can't stand at all."""
        if self.job is None or self.job.setup is None or self.case is not None:
            return ""
        try:
            Case.of(self.job)
        except FileFault as fault:
            return "; ".join(each.message for each in fault.complaints)
        return ""

    @cached_property
    def versions(self) -> Versions:
        """What the file has been."""
        return self.shelf.versions(self.name)


def open_desk(shelf: Shelf, name: str) -> Desk:
    """The job called `name` in the folder. Raises `FileFault` where there is none."""
    text = text_or_none(shelf.path(name))
    drafts = Drafts(shelf.folder, name)
    exists = text is not None
    if text is None:
        text = drafts.base
        if not text:
            raise shelf.no_such(name)
    job, errors = _read(text, name, str(shelf.path(name).parent), shelf.stamp(name))
    if drafts.fields:
        _, wrong = _read(
            fields.with_fields(text, drafts.fields), name, str(shelf.path(name).parent), shelf.stamp(name)
        )
        errors = wrong
    return Desk(shelf, name, text, drafts.fields, exists, job, errors)


@lru_cache(maxsize=64)
def _read(
    text: str, name: str, beside: str, stamp: float
) -> tuple[Job | None, Mapping[str, tuple[str, ...]]]:
    """The job in a text, or what is wrong with it by key; `stamp` changes when the machines and hobs beside do."""
    try:
        return read_job_text(plain(text), name, beside), {}
    except FileFault as fault:
        return None, fields.told_beside(fault, text)


# ---------------------------------------------------------------- changing


def write(desk: Desk, text: str, what: str) -> Desk:
    """The file with another text, whole, and the one before kept; the desk as it is then.

    Raises `FileFault` where the text can't be used, `Elsewhere` where the file isn't what the desk has.
    """
    path = desk.path
    read_job_text(plain(text), desk.name, path.parent)
    now = text_or_none(path)
    if now != (desk.text if desk.exists else None):
        raise Elsewhere(now or "")
    if desk.exists and text == now:
        return desk
    parent = at_version(desk)
    desk.versions.keep(text, what, parent)
    write_text(text, path, overwrite=True)
    return open_desk(desk.shelf, desk.name)


def at_version(desk: Desk) -> Version | None:
    """The version that the file is; one that nobody kept yet is kept as what was found."""
    return desk.versions.found(desk.text) if desk.exists else None


def enter(desk: Desk, path: str, value: str) -> Desk:
    """A figure typed into a field. It goes into the file as soon as all that was typed makes one; until then it is
    kept as it was typed, on the disk."""
    typed = {**_without_rivals(desk.drafts, path), path: value}
    base = "" if desk.exists else desk.text
    Drafts(desk.shelf.folder, desk.name).hold(typed, base)
    try:
        text = fields.with_fields(desk.text, typed)
        done = write(desk, text, f"{path.replace('.', ' ').replace('_', ' ')}: {value or 'taken out'}")
    except FileFault:
        return open_desk(desk.shelf, desk.name)
    Drafts(desk.shelf.folder, desk.name).hold({})
    return open_desk(done.shelf, done.name)


def _without_rivals(drafts: Mapping[str, str], path: str) -> dict[str, str]:
    """The drafts but for keys that this one stands in place of."""
    table, _, key = path.partition(".")
    rivals = {f"{table}.{other}" for group in fields.rivals(table, key) for other in group} - {path}
    return {at: value for at, value in drafts.items() if at not in rivals}


def forget_drafts(desk: Desk) -> Desk:
    """What was typed and doesn't fit goes; the file stays as it is."""
    Drafts(desk.shelf.folder, desk.name).hold({}, "" if desk.exists else desk.text)
    return open_desk(desk.shelf, desk.name)


def set_up(desk: Desk, change: Callable[[Setup], Setup], what: str) -> Desk:
    """The job with its set-up changed. Raises `FileFault`, `ValueError` for what can't be set, `NoSetup`."""
    if desk.job is None:
        raise NoSetup("The drawing or the hob isn't whole yet: see what stands beside their fields.")
    setup = change(desk.job.setup or Setup(desk.job.machine.normal_drive))
    return write(desk, with_setup(desk.text, setup), what)


def bring_back(desk: Desk, version: Version) -> Desk:
    """A version's text in the file again; what is there now stays kept."""
    at_version(desk)
    text = desk.versions.text(version.number)
    now = text_or_none(desk.path)
    if now != (desk.text if desk.exists else None):
        raise Elsewhere(now or "")
    read_job_text(plain(text), desk.name, desk.path.parent)
    write_text(text, desk.path, overwrite=True)
    Drafts(desk.shelf.folder, desk.name).hold({})
    return open_desk(desk.shelf, desk.name)


def gears_typed(text: str) -> tuple[int, ...]:
    """Gears as they are typed: ``24 58 48 40`` or ``24/58 · 48/40``. Raises `ValueError`."""
    found = re.findall(r"\d+", text)
    rest = re.sub(r"[\d\s/·.,x*-]", "", text)
    if rest or len(found) % 2:
        raise ValueError("gears come in pairs, driver and driven from the driving shaft on: 24 58 48 40")
    return tuple(map(int, found))


@dataclass(frozen=True)
class FileText:
    """A text of a job's file, and what it is read with: `stamp` changes when the machines and hobs beside do."""

    text: str
    name: str
    beside: str
    stamp: float


@dataclass(frozen=True)
class MateJob:
    """The job of a gear's mate in the same folder: its `name`, and whether it is there; or the gear `of`
    which this one is the mate."""

    name: str
    exists: bool
    of: str
    title: str


def mate_of(desk: Desk) -> MateJob:
    """The other job of the pair."""
    own = PurePosixPath(desk.name)
    work = work_beside(own)
    name, of = str(mate_beside(own)), str(work) if work else ""
    text = text_or_none(desk.shelf.path(of or name))
    title = str(fields.values_in(text, name).get("title") or name) if text is not None else ""
    return MateJob(name, text is not None and not of, of if text is not None else "", title)


def source_of(desk: Desk, text: str) -> FileText:
    """Another text of this file."""
    return FileText(text, desk.name, str(desk.path.parent), desk.shelf.stamp(desk.name))


def read_cached(source: FileText) -> tuple[Job | None, Mapping[str, tuple[str, ...]]]:
    """The job in a text, or what is wrong with it."""
    return _read(source.text, source.name, source.beside, source.stamp)


@lru_cache(maxsize=64)
def proved(source: FileText) -> Proof | None:
    """The proof of a text, kept: it is asked for again with every change that is made of it."""
    job, _ = read_cached(source)
    return prove_case(Case.of(job)) if job and job.setup else None


def settle(desk: Desk, what: str) -> Desk:
    """A job that was begun goes into its file once all that was typed makes one."""
    try:
        done = write(desk, fields.with_fields(desk.text, desk.drafts), what)
    except FileFault:
        return desk
    Drafts(desk.shelf.folder, desk.name).hold({})
    return open_desk(done.shelf, done.name)


def copied(desk: Desk, title: str, setup: Setup | None = None, machine: str | None = None) -> str:
    """A job like this one under another title, without what was seen and measured on its blanks; its file's name.

    With another set-up, and on another machine, where they are given. Raises `FileFault` where that can't be used.
    """
    text = fields.with_fields(desk.text, {"title": title})
    if setup is not None:
        text = with_setup(text, setup, machine)
    document = tomlkit.parse(plain(text))
    for table in ("seen", "measured"):
        if table in document:
            del document[table]
    name = desk.shelf.new_name(title)
    name = (Path(desk.name).parent / name).as_posix()
    fresh = tomlkit.dumps(document)
    read_job_text(fresh, name, desk.path.parent)
    write_text(fresh, desk.shelf.path(name))
    return name
