"""Where the jobs of a pair stand: the mate's beside the work's, under its name with an ending."""

from __future__ import annotations

from pathlib import PurePath
from typing import TypeVar

AnyPath = TypeVar("AnyPath", bound=PurePath)

_MATE = "-mate"


def mate_beside(path: AnyPath) -> AnyPath:
    """Where the job of the mate stands, of the work whose job is at `path`."""
    return path.with_name(f"{path.stem}{_MATE}{path.suffix}")


def work_beside(path: AnyPath) -> AnyPath | None:
    """Where the work's job stands, of the mate whose job is at `path`; None where its name is no mate's."""
    stem = path.stem.removesuffix(_MATE)
    return path.with_name(f"{stem}{path.suffix}") if stem and stem != path.stem else None
