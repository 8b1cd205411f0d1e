"""The index over a folder's files: an SQLite file that makes finding quick, and is made anew whenever it is not to be
trusted. Nothing stands in it that no file says."""

from __future__ import annotations

import os
import re
import sqlite3
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any, TypeVar

from handlead.machines.job_files.hob_rack import read_rack
from handlead.machines.job_files.job_file import Job, read_job
from handlead.machines.machine_files.machine_file import read_machine
from handlead.machines.toml.errors import FileFault

from .versions import KEPT

#: A copy that a command kept beside a file, with the day in its name.
_KEPT_COPY = re.compile(r"\.\d{4}-\d\d-\d\d(\.\d+)?\.toml$")

#: So many files are looked at; a folder with more is no shelf.
MOST_FILES = 50_000

#: What tells an index of this layout from any other SQLite file; a new layout takes the next number.
_OURS, _LAYOUT = 0x6865616C, 3

#: Files that are read in one go, before others get a turn at the index.
_BATCH = 40


@dataclass(frozen=True)
class ShelfEntry:
    """A file on the shelf: `kind` is job, machine, hobs or unusable; figures are None where it has none. `lead`
    is in mm, `found` what stands in it of blanks and measures."""

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
    found: str = ""

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


_KEYS = tuple(each.name for each in fields(ShelfEntry))
_COLUMNS = ", ".join(f"entry.{key}" for key in _KEYS)
_TYPES = {"teeth": "INTEGER", "lead": "REAL"}

_Found = TypeVar("_Found")


class Index:
    """The index over a folder. Every question is answered, whatever has become of the file that it is kept in."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.place = folder / KEPT / "index.sqlite"
        self._lock = threading.Lock()
        self._base: sqlite3.Connection | None = None

    def bring_up(self, seconds: float | None = None) -> int:
        """Bring it up to the files: only what changed is read, and no longer than so; returns how many are left."""
        end = None if seconds is None else time.monotonic() + seconds
        there = {name: (changed, size) for name, changed, size in files(self.folder)}
        known = self._ask(lambda base: {
            row[0]: (row[1], row[2]) for row in base.execute("SELECT name, changed, size FROM file")
        })  # fmt: skip
        gone = [name for name in known if name not in there]
        stale = sorted(name for name in there if known.get(name) != there[name])
        while gone or stale:
            now, stale = stale[:_BATCH], stale[_BATCH:]
            entries = [(name, entry_of(self.folder, name)) for name in now]
            self._ask(lambda base, gone=gone, entries=entries: _write(base, gone, entries, there))  # type: ignore[misc]
            gone = []
            if end is not None and time.monotonic() > end:
                break
        return len(stale)

    def find(self, words: str = "", kind: str = "", limit: int = 200) -> list[ShelfEntry]:
        """Entries that have all these words, parts of words included, and these figures; of one kind if given."""
        asked = SearchAsked.of(words)
        query, where, given = f"SELECT {_COLUMNS} FROM entry", list(asked.where), list(asked.given)
        if asked.words:
            query += " JOIN words ON words.rowid = entry.id"
            where.append("words MATCH ?")
            given.append(" AND ".join(f'"{word}"*' for word in asked.words))
        if kind:
            where.append("entry.kind = ?")
            given.append(kind)
        condition = f" WHERE {' AND '.join(where)}" if where else ""
        rows = self._ask(lambda base: base.execute(
            f"{query}{condition} ORDER BY entry.name LIMIT {limit:d}", given).fetchall())  # fmt: skip
        return [ShelfEntry(*row) for row in rows]

    def alike(self, job: Job, name: str, limit: int = 5) -> list[ShelfEntry]:
        """Jobs like this one that have been set up: the same kind and size of tooth, on this machine first, then
        nearest in count, hand and lead."""
        given = (name, job.work.kind, size_of(job), job.machine.name, job.work.teeth, _hand(job),
                 float(job.work.lead_mm or 0), limit)  # fmt: skip
        rows = self._ask(lambda base: base.execute(
            f"SELECT {_COLUMNS} FROM entry WHERE kind = 'job' AND gears != '' AND name != ? AND work = ? AND size = ? "
            "ORDER BY machine != ?, abs(teeth - ?), hand != ?, abs(coalesce(lead, 0) - ?), name LIMIT ?", given
        ).fetchall())  # fmt: skip
        return [ShelfEntry(*row) for row in rows]

    def close(self) -> None:
        """Let go of its file; it is opened again when it is asked."""
        with self._lock:
            self._close()

    # -- the file that it is kept in

    def _ask(self, question: Callable[[sqlite3.Connection], _Found]) -> _Found:
        """The answer to a question; from an index made anew where this one is broken, foreign or gone."""
        with self._lock:
            for _ in range(2):
                try:
                    return question(self._open())
                except sqlite3.DatabaseError as fault:
                    if getattr(fault, "sqlite_errorcode", None) in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
                        # Another server writes it just now: one of its own does meanwhile.
                        self._close()
                        self._base = _made(":memory:")
                    else:
                        self._throw_away()
            self._close()
            self._base = _made(":memory:")
            return question(self._base)

    def _open(self) -> sqlite3.Connection:
        if self._base is None:
            with suppress(OSError):
                self.place.parent.mkdir(exist_ok=True)
            try:
                self._base = _made(str(self.place))
            except sqlite3.OperationalError:
                # A folder that can't be written: one in memory does as well.
                self._base = _made(":memory:")
        elif not self.place.exists() and not _is_in_memory(self._base):
            self._close()
            return self._open()
        return self._base

    def _throw_away(self) -> None:
        self._close()
        for end in ("", "-wal", "-shm", "-journal"):
            with suppress(OSError):
                self.place.with_name(self.place.name + end).unlink()

    def _close(self) -> None:
        if self._base is not None:
            with suppress(sqlite3.Error):
                self._base.close()
        self._base = None


def _is_in_memory(base: sqlite3.Connection) -> bool:
    return not base.execute("PRAGMA database_list").fetchone()[2]


def _made(place: str) -> sqlite3.Connection:
    """An index in a file, with its tables. Raises `sqlite3.DatabaseError` for a file that is something else."""
    base = sqlite3.connect(place, check_same_thread=False, timeout=2.0)
    try:
        marks = tuple(base.execute(f"PRAGMA {mark}").fetchone()[0] for mark in ("application_id", "user_version"))
        if marks != (_OURS, _LAYOUT):
            if marks != (0, 0) or base.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]:
                raise _foreign()
            _lay_out(base)
        base.execute("PRAGMA journal_mode = WAL")
        base.execute("PRAGMA synchronous = NORMAL")
    except sqlite3.Error:
        base.close()
        raise
    return base


def _foreign() -> sqlite3.DatabaseError:
    fault = sqlite3.DatabaseError("another program's file, or an index of another layout")
    fault.sqlite_errorcode = sqlite3.SQLITE_NOTADB
    return fault


def _lay_out(base: sqlite3.Connection) -> None:
    columns = ", ".join(f"{key} {_TYPES.get(key, 'TEXT')}" for key in _KEYS)
    base.execute("CREATE TABLE file (name TEXT PRIMARY KEY, changed REAL, size INTEGER)")
    base.execute(f"CREATE TABLE entry (id INTEGER PRIMARY KEY, {columns}, UNIQUE (name))")
    base.execute("CREATE INDEX alike ON entry (kind, work, size)")
    base.execute("CREATE INDEX teeth ON entry (teeth)")
    base.execute("CREATE VIRTUAL TABLE words USING fts5 (text)")
    base.execute(f"PRAGMA application_id = {_OURS}")
    base.execute(f"PRAGMA user_version = {_LAYOUT}")
    base.commit()


def _write(
    base: sqlite3.Connection, gone: list[str], entries: list[tuple[str, ShelfEntry | None]],
    there: dict[str, tuple[float, int]],
) -> None:  # fmt: skip
    """These files forgotten, and those put in as they are now."""
    try:
        for name in (*gone, *(name for name, _ in entries)):
            row = base.execute("SELECT id FROM entry WHERE name = ?", (name,)).fetchone()
            if row:
                base.execute("DELETE FROM words WHERE rowid = ?", row)
                base.execute("DELETE FROM entry WHERE id = ?", row)
            base.execute("DELETE FROM file WHERE name = ?", (name,))
        for name, entry in entries:
            if entry is not None:
                _put(base, entry)
            base.execute("INSERT OR REPLACE INTO file VALUES (?, ?, ?)", (name, *there[name]))
        base.commit()
    except sqlite3.Error:
        base.rollback()
        raise


def _put(base: sqlite3.Connection, entry: ShelfEntry) -> None:
    values = tuple(getattr(entry, key) for key in _KEYS)
    marks = ", ".join("?" * len(_KEYS))
    made = base.execute(f"INSERT INTO entry ({', '.join(_KEYS)}) VALUES ({marks})", values)
    text = " ".join(str(value) for value in values if value is not None).casefold()
    base.execute("INSERT INTO words (rowid, text) VALUES (?, ?)", (made.lastrowid, text))


# ---------------------------------------------------------------- what is asked for

_NUMBER = r"(\d{1,9}(?:\.\d{1,9})?)"

#: A lead is found that is no further off than this part of it: people remember three figures.
_LEAD_OFF = 0.002


@dataclass(frozen=True)
class SearchAsked:
    """What was typed: figures as conditions on the columns, and the words that are left."""

    where: tuple[str, ...]
    given: tuple[Any, ...]
    words: tuple[str, ...]

    @classmethod
    def of(cls, text: str) -> SearchAsked:
        """``74 teeth module 3 lead 812 winch``: count, size and lead by their figures, the rest as words."""
        where: list[str] = []
        given: list[Any] = []
        rest = text.casefold()
        for pattern, condition, values in _FIGURES:
            found = re.search(pattern, rest)
            if found:
                where.append(condition)
                given.extend(values(found))
                rest = f"{rest[: found.start()]} {rest[found.end() :]}"
        return cls(tuple(where), tuple(given), tuple(re.findall(r"[\w.]+", rest)))


def _lead(found: re.Match[str]) -> tuple[float, float]:
    lead = float(found[1]) * (25.4 if found[2] == "in" else 1.0)
    return lead * (1 - _LEAD_OFF), lead * (1 + _LEAD_OFF)


_FIGURES: tuple[tuple[str, str, Callable[[re.Match[str]], tuple[Any, ...]]], ...] = (
    (rf"\blead (?:of )?{_NUMBER} ?(mm|in)?(?![\w.])", "entry.lead BETWEEN ? AND ?", _lead),
    (r"(?<![\w.])(\d{1,9}) ?(?:teeth|tooth)\b", "entry.teeth = ?", lambda found: (int(found[1]),)),
    (r"\b(?:teeth|z) ?=? ?(\d{1,9})(?![\w.])", "entry.teeth = ?", lambda found: (int(found[1]),)),
    (rf"\b(?:module|m) ?{_NUMBER}(?![\w.])", "entry.size = ?", lambda found: (f"module {float(found[1]):g}",)),
    (rf"(?<![\w.]){_NUMBER} ?(?:dp|diametral pitch)\b", "entry.size = ?", lambda found: (f"{float(found[1]):g} DP",)),
)

# ---------------------------------------------------------------- the files


def files(folder: Path) -> Iterator[tuple[str, float, int]]:
    """The folder's TOML files: name, when changed, size; hidden folders and kept copies left out."""
    number, waiting = 0, [("", os.fspath(folder))]
    while waiting:
        before, place = waiting.pop()
        try:
            inside = list(os.scandir(place))
        except OSError:
            continue
        for each in inside:
            if each.name.startswith("."):
                continue
            if each.name.endswith(".toml"):
                if _KEPT_COPY.search(each.name):
                    continue
                with suppress(OSError):
                    seen = each.stat()
                    yield before + each.name, seen.st_mtime, seen.st_size
                number += 1
                if number >= MOST_FILES:
                    return
            elif each.is_dir(follow_symlinks=False):
                waiting.append((f"{before}{each.name}/", each.path))


def entry_of(folder: Path, name: str) -> ShelfEntry | None:
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
    return ShelfEntry(name, "job", job.title, job.machine.name, work.kind, work.teeth, size_of(job), lean, _hand(job),
                      gears, lead, _found(job))  # fmt: skip


def _found(job: Job) -> str:
    """When it was last measured, and whether a blank was looked at."""
    measured = f"measured {job.measured[-1].date or 'on a day not noted'}" if job.measured else ""
    return ", ".join(filter(None, ("a blank was looked at" if job.seen else "", measured)))


def size_of(job: Job) -> str:
    """The size of the teeth as the trade says it."""
    module = job.work.module_n
    pitch = 25.4 / float(module)
    if job.units == "in" and abs(pitch - round(pitch, 3)) < 1e-9:
        return f"{pitch:g} DP"
    return f"module {float(module):g}"


def _hand(job: Job) -> str:
    return f"{job.work.hand.word} hand" if job.work.is_helical and job.work.hand else ""
