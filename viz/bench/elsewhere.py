"""A file that was changed elsewhere meanwhile: both texts side by side, and one of them chosen for the whole file.

Nothing is mixed, and nothing is lost: the text that isn't chosen stays among the file's versions.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

from handlead.machines.toml.errors import HandleadError
from handlead.viz.bench_desk import desk as desks
from handlead.viz.bench_desk import doing
from handlead.viz.bench_desk.desk import Desk, Elsewhere
from handlead.viz.bench_drawn import parts
from handlead.viz.bench_files.shelf import Shelf
from handlead.viz.bench_files.versions import digest_of

#: Lines that are shown round one that differs.
_ROUND = 2


@dataclass(frozen=True)
class SideLine:
    """A line of both texts; `what` is same, other, only left, only right, or left out."""

    left: str
    right: str
    what: str


def side_by_side(left: str, right: str) -> Iterator[SideLine]:
    """Both texts, line by line; long stretches that are the same are left out."""
    one, other = left.splitlines(), right.splitlines()
    for tag, a, b, c, d in difflib.SequenceMatcher(None, one, other, autojunk=False).get_opcodes():
        for number in range(max(b - a, d - c)):
            near = number < _ROUND or number >= b - a - _ROUND
            if tag == "equal" and not near:
                if number == _ROUND:
                    yield SideLine("…", "…", "left out")
                continue
            here = one[a + number] if a + number < b else None
            there = other[c + number] if c + number < d else None
            differs = "only right" if here is None else "only left" if there is None else "other"
            yield SideLine(here or "", there or "", "same" if tag == "equal" else differs)


def panel(theirs: str, ours: str | None, pending: str = "", reason: str = "") -> str:
    """Both texts and the two buttons; `ours` is None where what the page had isn't kept. `pending` is what was entered
    on the page and isn't in either."""
    lines = tuple(side_by_side(theirs, ours)) if ours is not None else ()
    return parts.render(
        "conflict", lines=lines, theirs=digest_of(theirs), ours=digest_of(ours) if ours is not None else "",
        pending=pending, reason=reason,
    )  # fmt: skip


def kept_text(shelf: Shelf, name: str, digest: str) -> str | None:
    """A text that the file had, by its digest; None where it isn't kept."""
    versions = shelf.versions(name)
    found = versions.with_digest(digest)
    with suppress(HandleadError):
        return versions.text(found.number) if found else None
    return None


def entered(what: Mapping[str, Any]) -> str:
    """What was entered, in a few words."""
    path = what.get("path")
    where = [path.replace(".", " ")] if isinstance(path, str) else map(str, path) if isinstance(path, list) else []
    said = [str(what[key]) for key in ("lever", "bracket", "key", "name", "position", "kind") if what.get(key)]
    value = what.get("value", what.get("teeth", what.get("text")))
    first = [] if path else [str(what.get("do", ""))]
    return " ".join([*first, *where, *said, *([f"= {value}"] if value is not None else [])])[:160]


def take_ours(shelf: Shelf, name: str, what: Mapping[str, Any], theirs: str) -> Desk:
    """The job as the page had it, with what was entered on it, in the place of the file that was changed elsewhere.

    `theirs` tells the text that was shown beside it; raises `Elsewhere` where the file has changed again since.
    """
    desk = desks.open_desk(shelf, name)
    if desk.digest != theirs:
        raise Elsewhere(desk.text)
    found = desk.versions.with_digest(str(what.get("digest")))
    if found is None:
        raise doing.NotDone("what this page had isn't kept any more: the file stays as it is now")
    before = desks.at_version(desk)
    mine = desks.bring_back(desk, found)
    if str(what.get("do", "")) not in doing.ACTIONS:
        return mine
    try:
        return doing.do(mine, what)
    except (HandleadError, ValueError):
        if before is not None:
            desks.bring_back(desks.open_desk(shelf, name), before)
        raise
