"""Content into files, whole or not at all, and what was there before kept beside."""

from __future__ import annotations

import datetime
import itertools
import os
import stat
import tempfile
from contextlib import suppress
from pathlib import Path

from .errors import FileFault, Place, Unwritable


def read_text(path: str | os.PathLike[str]) -> str:
    """The text of a file with the line ends that it has. Raises `FileFault` where it can't be read."""
    try:
        return Path(path).read_bytes().decode("utf-8")
    except (OSError, UnicodeDecodeError) as fault:
        raise refused(path, f"it can't be read ({_reason(fault)})") from None


_MARK = "\ufeff"


def plain(text: str) -> str:
    """The text with plain line ends and without the mark that some systems put at its head."""
    return text.removeprefix(_MARK).replace("\r\n", "\n")


def as_it_came(text: str, before: str) -> str:
    """A plain text with the line ends, and the mark at its head, of the text `before` it."""
    ended = text.replace("\n", "\r\n") if "\r\n" in before else text
    return _MARK + ended if before.startswith(_MARK) else ended


def write_text(text: str, path: str | os.PathLike[str], overwrite: bool = False) -> None:
    """Put `text` into the file at `path`, whole or not at all.

    A file that is written over keeps its mode, and where `path` is a link, the link stays. Raises `FileFault` for
    a file that is there already, unless told to `overwrite` it, for one that is read-only, and where it can't be
    written.
    """
    try:
        before = _before(path)
        if before is not None and not overwrite:
            raise refused(path, "it is there already. Give the name of a new file")
        if before is not None and not before.st_mode & 0o222:
            # Without this a read-only file would be replaced by a new one wherever its folder may be written.
            raise refused(path, "it is read-only. Make it writable if it may be changed")
        put(text.encode("utf-8"), path)
    except OSError as fault:
        raise refused(path, f"it can't be written ({_reason(fault)})") from None


def keep_beside(path: str | os.PathLike[str], day: datetime.date | None = None) -> Path:
    """Copy the file to one beside it that carries the day in its name; returns that.

    A copy of the same text that is there already will do. Raises `FileFault` where it can't be written.
    """
    source = Path(path)
    text = read_text(source)
    for kept in _names(source, day or datetime.date.today()):
        if not kept.exists():
            write_text(text, kept)
            with suppress(OSError):
                kept.chmod(stat.S_IMODE(source.stat().st_mode))
            return kept
        with suppress(FileFault):
            if read_text(kept) == text:
                return kept
    raise AssertionError("names never end")


def _names(source: Path, day: datetime.date) -> itertools.chain[Path]:
    """Names beside a file, with the day: ``job.2026-11-27.toml``, then ``job.2026-11-27.2.toml`` and so on."""
    stem = f"{source.stem}.{day.isoformat()}"
    first = source.with_name(f"{stem}{source.suffix}")
    return itertools.chain(
        (first,), (source.with_name(f"{stem}.{number}{source.suffix}") for number in itertools.count(2))
    )


def put(content: bytes, path: str | os.PathLike[str]) -> None:
    """Put the bytes into the file at `path`, whole or not at all; over one that is there, keeping its mode and a link.

    Raises `OSError` where it can't be written.
    """
    target, before = Path(os.path.realpath(path)), _before(path)
    handle, name = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name[:100]}.")
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(content)
            stream.flush()
            # A disk that is full may say so no sooner.
            os.fsync(stream.fileno())
        Path(name).chmod(stat.S_IMODE(before.st_mode) if before else 0o666 & ~_umask())
        if before is not None and hasattr(os, "chown"):
            with suppress(OSError):
                os.chown(name, before.st_uid, before.st_gid)
        Path(name).replace(target)
    except BaseException:
        with suppress(OSError):
            Path(name).unlink()
        raise


def _before(path: str | os.PathLike[str]) -> os.stat_result | None:
    try:
        return Path(path).stat()
    except FileNotFoundError:
        return None


def _umask() -> int:
    """What a new file isn't allowed; it can only be asked for by setting it."""
    now = os.umask(0o077)
    os.umask(now)
    return now


def refused(path: str | os.PathLike[str], message: str) -> FileFault:
    """The complaint of a file that can't be read, or isn't written, as a whole."""
    return FileFault([Unwritable(Place(os.fspath(path), 1), "", message)])


def _reason(fault: Exception) -> str:
    return (getattr(fault, "strerror", None) or str(fault)).lower()
