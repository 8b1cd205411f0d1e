"""Every text that a file has had since the page knows it, kept beside the files, and figures that don't fit yet.

They lie in the folder ``.bench``: a version is a file of its own, written before the file that it is a version
of; a line in ``log.jsonl`` says when and what. Nothing in there is ever needed to read a job: throw the folder away
and only what can be brought back is lost.
"""

from __future__ import annotations

import datetime
import hashlib
import json
import os
import threading
from collections import OrderedDict
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import asdict, dataclass
from pathlib import Path

from handlead.machines.toml.errors import FileFault
from handlead.machines.toml.filing import put, read_text

#: The folder beside the files.
KEPT = ".bench"


@dataclass(frozen=True)
class Version:
    """A text that the file had: its `number`, of what version it was made (`parent`), when, and `what` was done."""

    number: int
    parent: int | None
    when: str
    what: str
    digest: str


def digest_of(text: str) -> str:
    """What tells one text from another."""
    return hashlib.sha256(text.encode()).hexdigest()[:24]


class Versions:
    """The versions of one file: `name` from the folder on."""

    def __init__(self, folder: Path, name: str) -> None:
        self.folder = folder / KEPT / "versions" / name
        self._log = self.folder / "log.jsonl"
        self._all = _logged(self._log)

    @property
    def all(self) -> tuple[Version, ...]:
        """Every version, first to last."""
        return self._all

    def of_text(self, text: str) -> Version | None:
        """The latest version that has this text."""
        return self.with_digest(digest_of(text))

    def with_digest(self, digest: str) -> Version | None:
        """The latest version whose text has this digest."""
        return next((one for one in reversed(self._all) if one.digest == digest), None)

    def text(self, number: int) -> str:
        """The text of a version. Raises `FileFault`."""
        return read_text(self.folder / f"{number:06d}.toml")

    def keep(self, text: str, what: str, parent: Version | None) -> Version:
        """Keep one more version. Raises `OSError` where the disk won't take it."""
        number = self._all[-1].number + 1 if self._all else 1
        now = datetime.datetime.now().isoformat(timespec="seconds")
        version = Version(number, parent.number if parent else None, now, what, digest_of(text))
        self.folder.mkdir(parents=True, exist_ok=True)
        kept = self.folder / f"{number:06d}.toml"
        kept.write_bytes(text.encode("utf-8"))
        with self._log.open("a+b") as stream:
            if (end := stream.seek(0, os.SEEK_END)) and stream.seek(end - 1) >= 0 and stream.read(1) != b"\n":
                stream.write(b"\n")  # a line that was cut off stays one by itself
            stream.write(json.dumps(asdict(version)).encode() + b"\n")
        # A killed server loses nothing of this; for a power cut it is settled while nobody waits.
        _settling.submit(_settle, kept, self._log)
        self._all = (*self._all, version)
        return version

    def found(self, text: str) -> Version:
        """The version that has the text found in the file; one that nobody kept yet is kept. Raises `OSError`."""
        what = "changed outside the page" if self._all else "as it was found"
        return self.of_text(text) or self.keep(text, what, self._all[-1] if self._all else None)

    def before(self, version: Version | None) -> Version | None:
        """The version of which this one was made."""
        if version is None or version.parent is None:
            return None
        return next((one for one in self._all if one.number == version.parent), None)

    def after(self, version: Version | None) -> Version | None:
        """The version that was made of this one last."""
        if version is None:
            return None
        return next((one for one in reversed(self._all) if one.parent == version.number), None)


#: Brings versions onto the disk itself: the file that they are versions of is there already.
_settling = ThreadPoolExecutor(1, thread_name_prefix="versions")


def _settle(*paths: Path) -> None:
    for path in paths:
        with suppress(OSError), path.open("rb") as stream:
            os.fsync(stream.fileno())


#: The logs that were read last: how far each was read, and what it said. After ten hours at one job a log has
#: thousands of lines, and every tap asks it.
_read: OrderedDict[Path, tuple[int, tuple[Version, ...]]] = OrderedDict()
_MOST_LOGS = 12
_reading = threading.Lock()


def _logged(log: Path) -> tuple[Version, ...]:
    """What a log says; only what was added since it was last read is read."""
    with _reading:
        at, known = _read.pop(log, (0, ()))
        found = list(known)
        try:
            with log.open("rb") as stream:
                size = stream.seek(0, os.SEEK_END)
                if size < at:  # another file lies there now
                    at, found = 0, []
                stream.seek(at)
                more = stream.read()
        except OSError:
            return ()
        whole = more[: more.rfind(b"\n") + 1]
        for line in whole.splitlines():
            # A line that was cut off when the power went says nothing.
            with suppress(ValueError, TypeError):
                found.append(Version(**json.loads(line)))
        _read[log] = at + len(whole), (known if not whole and at else tuple(found))
        while len(_read) > _MOST_LOGS:
            _read.popitem(last=False)
        return _read[log][1]


class Drafts:
    """Figures that were entered and don't make a file that can be used yet: by key, as they were typed.

    `base` is the text that they are put into; "" where that is the file's own. `of` tells the file's text that it was
    made of, so that a file changed elsewhere meanwhile is noticed.
    """

    def __init__(self, folder: Path, name: str) -> None:
        self._path = folder / KEPT / "drafts" / f"{name}.json"
        self.base = self.of = ""
        self.fields: dict[str, str] = {}
        with suppress(OSError, ValueError, KeyError, TypeError):
            held = json.loads(self._path.read_text(encoding="utf-8"))
            self.base, self.of = str(held["base"]), str(held.get("of", ""))
            self.fields = {str(key): str(value) for key, value in held["fields"].items()}

    @property
    def any(self) -> bool:
        """Whether there are any."""
        return bool(self.fields or self.base)

    def hold(self, fields: dict[str, str], base: str = "", of: str = "") -> None:
        """Keep these, on the disk at once."""
        self.base, self.of, self.fields = base, of, dict(fields)
        if not self.any:
            with suppress(OSError):
                self._path.unlink()
            return
        self._path.parent.mkdir(parents=True, exist_ok=True)
        put(json.dumps({"base": base, "of": of, "fields": self.fields}).encode(), self._path)


def kept_drafts(folder: Path) -> list[str]:
    """The names of files that were begun and aren't there yet."""
    drafts = folder / KEPT / "drafts"
    names = (path.relative_to(drafts).with_suffix("").as_posix() for path in sorted(drafts.rglob("*.json")))
    return [name for name in names if not (folder / name).exists() and Drafts(folder, name).base]


def text_or_none(path: Path) -> str | None:
    """The text of a file; None where there is none that can be read."""
    try:
        return read_text(path)
    except FileFault:
        return None
