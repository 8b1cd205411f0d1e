"""A job's text with another set-up in it: what people noted in it stays, every comment, line ends and all."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field

import tomlkit
from handlead.kinematics.train.setup import Setup
from handlead.machines.toml.filing import as_it_came, plain
from handlead.machines.toml.places import Path_, Statement, comments, statements

from .writing import setup_text


@dataclass
class _Notes:
    """Comments at one statement: on lines over it, and beside it or in the midst of it."""

    over: list[str] = field(default_factory=list)
    beside: list[str] = field(default_factory=list)


def with_setup(text: str, setup: Setup, machine: str | None = None) -> str:
    """The text of a job file with `setup` under [setup], and its machine's name if given.

    A comment beside or over a key of the old set-up goes with that key; where the new one lacks it, under the set-up.
    """
    here = plain(text)
    if machine is not None:
        document = tomlkit.parse(here)
        document["machine"] = machine
        here = tomlkit.dumps(document)
    return as_it_came(_replaced(here, setup_text(setup)), text)


def _replaced(text: str, block: str) -> str:
    """The text with its [setup] and all under it taken out, and the block put in where it began, or at the end."""
    lines = text.split("\n")
    every = sorted(statements(text), key=lambda it: it.first)
    old = [it for it in every if it.path[0] == "setup"]
    if not old:
        return f"{text.rstrip()}\n\n{block}" if text.strip() else block
    taken, noted = _notes(lines, every)
    new = _with_notes(block, noted)
    # A key at the head of the file can't make room for a table: what follows it would become the table's.
    at = old[0].first if old[0].is_heading else len(lines)
    before = [line for row, line in enumerate(lines[:at]) if row not in taken]
    after = [line for row, line in enumerate(lines[at:], at) if row not in taken]
    if at == len(lines):
        return "\n".join([*_without_blank_end(before), "", *new, ""])
    gap = [""] if after and after[0].startswith("[") else []
    return "\n".join([*before, *new, *gap, *after] if any(map(str.strip, after)) else [*before, *new, ""])


def _without_blank_end(lines: list[str]) -> list[str]:
    while lines and not lines[-1].strip():
        lines = lines[:-1]
    return lines


def _notes(lines: list[str], every: list[Statement]) -> tuple[set[int], dict[Path_, _Notes]]:
    """The rows that go out with the old set-up, and the comments in them by the path of what they stand at.

    Comments over the first of it and those after the last stay where they are; so do those that a blank line parts
    from what follows, if they stand under something that stays.
    """
    taken: set[int] = set()
    noted: dict[Path_, _Notes] = defaultdict(_Notes)
    seen = False
    for before, here in zip([None, *every], every, strict=False):
        if here.path[0] != "setup":
            continue
        if seen:
            start = before.last + 1 if before else 0
            rows = range(start, here.first)
            if before and before.path[0] != "setup":
                blank = max((row for row in rows if not lines[row].strip()), default=start - 1)
                rows = range(blank + 1, here.first)
            taken.update(rows)
            noted[here.path].over += [lines[row].strip() for row in rows if lines[row].strip()]
        seen = True
        taken.update(range(here.first, here.last + 1))
        noted[here.path].beside += comments("\n".join(lines[here.first : here.last + 1]))
    return taken, noted


def _with_notes(block: str, noted: dict[Path_, _Notes]) -> list[str]:
    """The block's lines with the comments at the keys that it has, and the others under it."""
    lines = block.rstrip("\n").split("\n")
    new = {it.path: it for it in statements(block)}
    over: dict[int, list[str]] = defaultdict(list)
    beside: dict[int, list[str]] = defaultdict(list)
    rest: list[str] = []
    for path, words in noted.items():
        # What was noted at a part of a bracket goes with the bracket.
        at = next((new[path[:end]] for end in range(len(path), 2, -1) if path[:end] in new), new.get(path))
        if at is None:
            rest += words.over + words.beside
            continue
        over[at.first] += words.over
        beside[at.last] += words.beside
    for row, added in beside.items():
        lines[row] = "  ".join([lines[row].rstrip(), *added])
    return [*(each for row, line in enumerate(lines) for each in (*over[row], line)), *rest]
