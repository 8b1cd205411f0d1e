"""Rows of imperfections in a machine's file: some taken out, others in their place, and every other line as it was."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import tomlkit
from handlead.machines.keys.imperfection_keys import IMPERFECTION
from handlead.machines.machine_files.machine_file import Imperfection, Machine, read_machine_text
from handlead.machines.toml.filing import refused
from handlead.machines.toml.places import comments, quoted, statements
from handlead.machines.written.layout import document_text
from handlead.machines.written.machine_values import imperfection_values


def with_rows(
    text: str, path: Path, machine: Machine, replaced: dict[int, Imperfection | None], new: Sequence[Imperfection]
) -> str:
    """The text with some rows taken out, others in their place, and new ones after the last."""
    if not replaced and not new:
        return text
    lines = text.split("\n")
    rows = list(_rows(text))
    if len(rows) != len(machine.imperfections):
        raise refused(
            path, "its imperfections stand in one line. Write each as a table [[imperfection]] of its own"
        )
    out: list[str] = []
    at = 0
    for index, (first, last) in enumerate(rows):
        if index not in replaced:
            continue
        out += lines[at:first]
        one = replaced[index]
        kept = comments("\n".join(lines[first : last + 1]))
        out += [*kept, *(_block(one, machine) if one is not None else [])]
        at = last + 1
        if one is None and not kept:
            # Two rows of one part: the second goes with the blank line behind it.
            at += 1 if at < len(lines) and not lines[at].strip() else 0
    blocks = [line for one in new for line in ("", *_block(one, machine))]
    end = rows[-1][1] + 1 if rows else len(lines)
    before, after = [*out, *lines[at:end]], lines[end:]
    while not after and before and not before[-1].strip():
        before.pop()
    return "\n".join([*before, *blocks, *(after or [""])])


def _rows(text: str) -> Iterator[tuple[int, int]]:
    """First and last line of each table of imperfections."""
    first = last = None
    for one in sorted(statements(text), key=lambda it: it.first):
        mine = one.path[0] == "imperfection"
        if first is not None and last is not None and (one.is_heading or not mine):
            yield first, last
            first = None
        if mine and one.is_heading:
            first = one.first
        if mine:
            last = one.last
    if first is not None and last is not None:
        yield first, last


def _block(one: Imperfection, machine: Machine) -> list[str]:
    """The lines of a row."""
    table = IMPERFECTION[one.kind]
    row = table.write(imperfection_values(one, machine.units), machine.units)
    return tomlkit.dumps(document_text({"imperfection": [row]})).strip().split("\n")


def check_reads(
    text: str,
    path: Path,
    machine: Machine,
    replaced: dict[int, Imperfection | None],
    done: Sequence[Imperfection],
) -> None:
    """Raises `RuntimeError` where the new text would read as another machine."""
    again = read_machine_text(text, os.fspath(path))
    others = [one for index, one in enumerate(machine.imperfections) if index not in replaced]
    wanted = {*others, *done}
    if {*again.imperfections} != wanted or replace(again, imperfections=machine.imperfections) != machine:
        raise RuntimeError(f"{quoted(os.fspath(path))} would read as another machine")

