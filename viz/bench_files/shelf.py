"""The shelf: a folder's machines, hobs and jobs. The files are the truth; an index makes finding quick.

The index is an SQLite file that can be thrown away at any time: it is made anew from the files. Nothing outside the
folder is ever read or written by a name that comes from a browser.
"""

from __future__ import annotations

import os
import re
import sqlite3
import threading
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from handlead.machines.job_files.hob_rack import read_rack
from handlead.machines.job_files.job_file import Job, read_job
from handlead.machines.machine_files.catalogue import shipped_machines
from handlead.machines.machine_files.machine_file import read_machine
from handlead.machines.toml.errors import FileFault, Place, Unreadable

from .versions import KEPT, kept_drafts

#: A copy that a command kept beside a file, with the day in its name.
_KEPT_COPY = re.compile(r"\.\d{4}-\d\d-\d\d(\.\d+)?\.toml$")

#: Names of jobs and machines that the page may make.
_NEW_NAME = re.compile(r"[a-z0-9][a-z0-9_-]{0,60}")

#: So many files are looked at; a folder with more is no shelf.
MOST_FILES = 50_000


@dataclass(frozen=True)
class ShelfEntry:
    """A file on the shelf: `kind` is job, machine, hobs or unusable; figures are None where it has none."""

    name: str
    kind: str
    title: str
    machine: str = ""
    work: str = ""
    teeth: int | None = None
    size: str = ""
    lean: str = ""
    hand: str = ""
    gears: str = ""
    lead: float | None = None

    @property
    def told(self) -> str:
        """What it is, in a line."""
        parts = (
            self.work,
            self.teeth and f"{self.teeth} teeth",
            self.size,
            self.lean,
            self.hand,
            self.machine,
        )
        return " · ".join(str(part) for part in parts if part)


class Shelf:
    """A folder, and the index over it."""

    def __init__(self, folder: Path) -> None:
        self.folder = Path(os.path.realpath(folder))
        self._lock = threading.Lock()
        self._database: sqlite3.Connection | None = None

    # -- names

    def path(self, name: str) -> Path:
        """The path of a file in the folder. Raises `FileFault` for a name that leads out of it, or to what is no file
        of these."""
        parts = name.split("/")
        shown = name if name.isprintable() else "file"
        bad = not name or "\\" in name or "\0" in name or not name.endswith(".toml")
        if bad or any(part in ("", ".", "..") or part.startswith(".") for part in parts):
            raise FileFault([Unreadable(Place(shown[:200], 1), "", "it isn't a file of this folder")])
        path = self.folder.joinpath(*parts)
        if not Path(os.path.realpath(path)).is_relative_to(self.folder):
            raise FileFault([Unreadable(Place(shown[:200], 1), "", "it leads out of this folder")])
        return path

    def no_such(self, name: str) -> FileFault:
        """The complaint that a file isn't there."""
        return FileFault([Unreadable(Place(name, 1), "", "there is no such file in this folder")])

    def new_name(self, words: str) -> str:
        """A free name for a job or machine that is called so."""
        stem = re.sub(r"[^a-z0-9]+", "-", words.casefold()).strip("-")[:50] or "job"
        name, number = f"{stem}.toml", 2
        while (self.folder / name).exists() or (self.folder / KEPT / "drafts" / f"{name}.json").exists():
            name, number = f"{stem}-{number}.toml", number + 1
        return name

    def stamp(self, name: str) -> float:
        """When a file beside this one last changed: a machine or a rack of hobs may be among them."""
        folder, latest = self.path(name).parent, 0.0
        with suppress(OSError):
            for entry in os.scandir(folder):
                if entry.name.endswith(".toml") and entry.name != Path(name).name:
                    latest = max(latest, entry.stat().st_mtime)
        return latest

    def files(self) -> Iterator[tuple[str, float, int]]:
        """The folder's TOML files: name, when changed, size; hidden folders and kept copies left out."""
        number = 0
        for root, folders, names in os.walk(self.folder):
            folders[:] = sorted(each for each in folders if not each.startswith("."))
            for name in sorted(names):
                if name.endswith(".toml") and not name.startswith(".") and not _KEPT_COPY.search(name):
                    path = Path(root, name)
                    with suppress(OSError):
                        seen = path.stat()
                        yield path.relative_to(self.folder).as_posix(), seen.st_mtime, seen.st_size
                    number += 1
                    if number >= MOST_FILES:
                        return

    @property
    def machines(self) -> dict[str, str]:
        """Machines by the name that a job asks for them, and what each is called: the folder's, then those shipped."""
        own = {
            entry.name.removesuffix(".toml"): entry.title
            for entry in self.find("", "machine")
            if "/" not in entry.name
        }
        return own | {name: _title(str(path)) for name, path in shipped_machines().items() if name not in own}

    # -- the index

    def _open(self) -> sqlite3.Connection:
        if self._database is None:
            place = self.folder / KEPT / "index.sqlite"
            try:
                place.parent.mkdir(exist_ok=True)
                self._database = _connect(str(place))
            except (OSError, sqlite3.DatabaseError):
                # A folder that can't be written, or an index that is broken: one in memory does as well.
                with suppress(OSError):
                    place.unlink()
                self._database = _connect(":memory:")
        return self._database

    def close(self) -> None:
        """Let go of the index; it is opened again when it is asked."""
        with self._lock:
            if self._database is not None:
                self._database.close()
                self._database = None

    def refresh(self) -> None:
        """Bring the index up to the files: only what changed is read."""
        with self._lock:
            base = self._open()
            known = {row[0]: (row[1], row[2]) for row in base.execute("SELECT name, changed, size FROM file")}
            there = {name: (changed, size) for name, changed, size in self.files()}
            for name in known.keys() - there.keys():
                _forget(base, name)
            for name in sorted(there.keys() - {each for each in known if known[each] == there.get(each)}):
                _forget(base, name)
                _put(base, _entry(self.folder, name), *there[name])
            base.commit()

    def find(self, words: str = "", kind: str = "", limit: int = 200) -> list[ShelfEntry]:
        """Entries that have all these words, parts of words included; of one kind if given. Numbers find counts."""
        asked = re.findall(r"[\w.]+", words.casefold())
        query = "SELECT " + ", ".join(f"entry.{key}" for key in _KEYS) + " FROM entry"
        where, given = [], []
        if asked:
            query += " JOIN words ON words.rowid = entry.id"
            where.append("words MATCH ?")
            given.append(" AND ".join(f'"{word}"*' for word in asked))
        if kind:
            where.append("entry.kind = ?")
            given.append(kind)
        condition = f" WHERE {' AND '.join(where)}" if where else ""
        with self._lock:
            rows = self._open().execute(f"{query}{condition} ORDER BY entry.name LIMIT {limit:d}", given)
            return [ShelfEntry(*row) for row in rows.fetchall()]

    def begun(self) -> list[str]:
        """Jobs that were begun and aren't whole yet."""
        return kept_drafts(self.folder)

    def alike(self, job: Job, name: str, limit: int = 5) -> list[ShelfEntry]:
        """Jobs like this one: the same kind and size of tooth, nearest in count, on this machine first."""
        size = _size(job)
        with self._lock:
            rows = self._open().execute(
                "SELECT "
                + ", ".join(_KEYS)
                + " FROM entry WHERE kind = 'job' AND name != ? AND work = ? AND size = ? "
                "ORDER BY machine != ?, abs(teeth - ?), hand != ?, abs(coalesce(lead, 1e9) - ?) LIMIT ?",
                (
                    name,
                    job.work.kind,
                    size,
                    job.machine.name,
                    job.work.teeth,
                    _hand(job),
                    job.work.lead_mm or 1e9,
                    limit,
                ),
            )
            return [ShelfEntry(*row) for row in rows.fetchall()]


_KEYS = ("name", "kind", "title", "machine", "work", "teeth", "size", "lean", "hand", "gears", "lead")


def _connect(place: str) -> sqlite3.Connection:
    base = sqlite3.connect(place, check_same_thread=False)
    base.execute("PRAGMA journal_mode = WAL")
    base.execute("CREATE TABLE IF NOT EXISTS file (name TEXT PRIMARY KEY, changed REAL, size INTEGER)")
    base.execute(
        "CREATE TABLE IF NOT EXISTS entry (id INTEGER PRIMARY KEY, name TEXT UNIQUE, kind TEXT, title TEXT, "
        "machine TEXT, work TEXT, teeth INTEGER, size TEXT, lean TEXT, hand TEXT, gears TEXT, lead REAL)"
    )
    base.execute("CREATE INDEX IF NOT EXISTS alike ON entry (kind, work, size)")
    base.execute("CREATE VIRTUAL TABLE IF NOT EXISTS words USING fts5 (text)")
    return base


def _forget(base: sqlite3.Connection, name: str) -> None:
    row = base.execute("SELECT id FROM entry WHERE name = ?", (name,)).fetchone()
    if row:
        base.execute("DELETE FROM words WHERE rowid = ?", row)
        base.execute("DELETE FROM entry WHERE id = ?", row)
    base.execute("DELETE FROM file WHERE name = ?", (name,))


def _put(base: sqlite3.Connection, entry: ShelfEntry | None, changed: float, size: int) -> None:
    if entry is None:
        return
    marks = ", ".join("?" * len(_KEYS))
    values = tuple(getattr(entry, key) for key in _KEYS)
    made = base.execute(f"INSERT INTO entry ({', '.join(_KEYS)}) VALUES ({marks})", values)
    text = " ".join(str(value) for value in values if value is not None).casefold()
    base.execute("INSERT INTO words (rowid, text) VALUES (?, ?)", (made.lastrowid, text))
    base.execute("INSERT OR REPLACE INTO file VALUES (?, ?, ?)", (entry.name, changed, size))


def _entry(folder: Path, name: str) -> ShelfEntry | None:
    """What a file is, as far as its first lines and its reader tell."""
    path = folder / name
    try:
        with path.open("rb") as stream:
            head = stream.read(2000)
    except OSError:
        return None
    try:
        if b'"machine/' in head:
            machine = read_machine(path, name)
            return ShelfEntry(name, "machine", machine.name)
        if b'"hobs/' in head:
            return ShelfEntry(name, "hobs", ", ".join(read_rack(path, name)))
        if b'"job/' in head:
            return _job_entry(read_job(path, name), name)
    except FileFault as fault:
        kind = "begun" if b'"machine/' in head else "unusable"
        return ShelfEntry(name, kind, str(fault.complaints[0]))
    return ShelfEntry(name, "other", name)


def _job_entry(job: Job, name: str) -> ShelfEntry:
    work = job.work
    gears = (
        "; ".join(f"{bracket} {mounted}" for bracket, mounted in job.setup.change.items())
        if job.setup
        else ""
    )
    lean = f"{float(work.beta_deg):.4g}°" if work.is_helical else "straight"
    lead = float(work.lead_mm) if work.lead_mm else None
    return ShelfEntry(name, "job", job.title, job.machine.name, work.kind, work.teeth, _size(job), lean, _hand(job),
                      gears, lead)  # fmt: skip


def _size(job: Job) -> str:
    """The size of the teeth as the trade says it."""
    module = job.work.module_n
    pitch = 25.4 / float(module)
    if job.units == "in" and abs(pitch - round(pitch, 3)) < 1e-9:
        return f"{pitch:g} DP"
    return f"module {float(module):g}"


def _hand(job: Job) -> str:
    return f"{job.work.hand.word} hand" if job.work.is_helical and job.work.hand else ""


def _title(path: str) -> str:
    try:
        return read_machine(path).name
    except FileFault:
        return Path(path).stem
