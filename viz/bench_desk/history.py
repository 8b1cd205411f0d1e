"""What was found on the blanks of a job, each time, with its day: out of the file and its versions."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any

from handlead.machines.job_files.job_file import Gauging
from handlead.machines.toml.errors import FileFault
from handlead.machines.toml.filing import plain, read_text
from handlead.machines.toml.units import length

from .desk import Desk


def found_before(desk: Desk) -> tuple[tuple[str, str], ...]:
    """What was seen on each blank, by its day, latest first: the last that was entered before it was cleared, or on
    that day."""
    rows: list[tuple[str, str]] = []
    goes_on = False
    known = _known(desk.versions.folder)
    for version in desk.versions.all:
        if version.number not in known:
            known[version.number] = _seen(desk.versions.folder, version.number)
        seen = known[version.number]
        day = version.when[:10]
        if seen and goes_on and rows[-1][0] == day:
            rows[-1] = (day, seen)
        elif seen and (not rows or not goes_on or rows[-1][1] != seen):
            rows.append((day, seen))
        goes_on = bool(seen)
    return tuple(reversed(rows))


@lru_cache(maxsize=12)
def _known(folder: Path) -> dict[int, str]:
    """What the versions of a file say of the blank, by their numbers, as far as looked at; none ever changes."""
    return {}


def _seen(folder: Path, number: int) -> str:
    """What a version says of the blank, in words."""
    try:
        text = plain(read_text(folder / f"{number:06d}.toml"))
        seen = tomllib.loads(text).get("seen", {}) if "seen" in text else {}
    except (FileFault, ValueError):
        return ""
    return ", ".join(_words(seen)) if isinstance(seen, Mapping) else ""


def _words(seen: Mapping[str, Any]) -> Iterator[str]:
    for key, value in seen.items():
        if isinstance(value, list):
            yield from (f"{one.get('do')}: {one.get('found')}" for one in value if isinstance(one, Mapping))
        elif not isinstance(value, Mapping):
            yield f"{key.replace('_', ' ')} {value}"


def measured_before(desk: Desk) -> tuple[tuple[str, str], ...]:
    """What the teeth measured each time, by its day, latest first."""
    job = desk.job
    if job is None:
        return ()
    return tuple((one.date or "no date", ", ".join(_sizes(one, job.units))) for one in reversed(job.measured))


def _sizes(gauging: Gauging, units: str) -> Iterator[str]:
    if gauging.span:
        yield f"span over {gauging.span[0]} teeth {length(float(gauging.span[1]), units)}"
    if gauging.balls:
        yield f"over balls of {length(float(gauging.balls[0]), units)} {length(float(gauging.balls[1]), units)}"
    for name in ("chord", "depth", "dialled"):
        if (value := getattr(gauging, name)) is not None:
            yield f"{name} {length(float(value), units)}"
