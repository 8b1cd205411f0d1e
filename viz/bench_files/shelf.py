"""The shelf: a folder's machines, hobs and jobs. The files are the truth; an index makes finding quick.

Nothing outside the folder is ever read or written by a name that comes from a browser.
"""

from __future__ import annotations

import os
import re
from contextlib import suppress
from pathlib import Path

from handlead.machines.job_files.job_file import Job
from handlead.machines.machine_files.catalogue import shipped_machines
from handlead.machines.machine_files.machine_file import read_machine
from handlead.machines.toml.errors import FileFault, Place, Unreadable

from .index import Index, ShelfEntry
from .versions import KEPT, Drafts, Versions, kept_drafts

#: What the names of records of gears end in.
RECORDS = (".csv", ".txt", ".xml")


class Shelf:
    """A folder, and the index over it."""

    def __init__(self, folder: Path) -> None:
        self.folder = Path(os.path.realpath(folder))
        self.index = Index(self.folder)
        #: Files that the index hasn't read yet.
        self.left = 0

    # -- names

    def path(self, name: str, endings: tuple[str, ...] = (".toml",)) -> Path:
        """The path of a file in the folder. Raises `FileFault` for a name that leads out of it, or to what is no file
        of these."""
        parts = name.split("/")
        shown = name if name.isprintable() else "file"
        bad = not name or "\\" in name or "\0" in name or not name.lower().endswith(endings)
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

    def versions(self, name: str) -> Versions:
        """What a file has been."""
        return Versions(self.folder, name)

    def records(self, name: str) -> list[str]:
        """The names of the files beside a job that may be records of gears, those called after the job first."""
        stem, found = Path(name).stem, []
        with suppress(OSError):
            found = [
                entry.name for entry in os.scandir(self.path(name).parent)
                if entry.name.lower().endswith(RECORDS) and not entry.name.startswith(".") and entry.is_file()
            ]  # fmt: skip
        return sorted(found, key=lambda each: (not each.startswith(stem), each.casefold()))

    def stamp(self, name: str) -> float:
        """When a file beside this one last changed: a machine or a rack of hobs may be among them."""
        folder, latest = self.path(name).parent, 0.0
        with suppress(OSError):
            for entry in os.scandir(folder):
                if entry.name.endswith(".toml") and entry.name != Path(name).name:
                    latest = max(latest, entry.stat().st_mtime)
        return latest

    @property
    def machines(self) -> dict[str, str]:
        """Machines by the name that a job asks for them, and what each is called: the folder's, then those shipped."""
        own = {
            entry.name.removesuffix(".toml"): entry.title
            for entry in self.find("", "machine")
            if "/" not in entry.name
        }
        return own | {name: _title(str(path)) for name, path in shipped_machines().items() if name not in own}

    # -- finding

    def refresh(self, seconds: float | None = None) -> int:
        """Bring the index up to the files, no longer than so; returns how many files are left to be read."""
        self.left = self.index.bring_up(seconds)
        return self.left

    def close(self) -> None:
        """Let go of the index; it is opened again when it is asked."""
        self.index.close()

    def find(self, words: str = "", kind: str = "", limit: int = 200) -> list[ShelfEntry]:
        """Entries that have all these words and figures; of one kind if given."""
        return self.index.find(words, kind, limit)

    def begun(self) -> list[tuple[str, bool]]:
        """Jobs and machines that were begun and aren't whole yet: their names, and whether it is a machine."""
        return [(name, '"machine/' in Drafts(self.folder, name).base) for name in kept_drafts(self.folder)]

    def alike(self, job: Job, name: str, limit: int = 5) -> list[ShelfEntry]:
        """Jobs like this one that have been set up before, the most alike first."""
        return self.index.alike(job, name, limit)


def _title(path: str) -> str:
    try:
        return read_machine(path).name
    except FileFault:
        return Path(path).stem
