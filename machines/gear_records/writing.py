"""A record as it is taken down by hand, and its file: what is typed reads back as what was read at the machine."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from handlead.machines.job_keys.record_keys import COLUMNS, HEAD
from handlead.machines.toml.errors import FileFault

from .records import UNMEASURED, Record, read_record_text, rows_said

#: The columns that say where a reading was taken, as they stand in its line.
Where = tuple[str, ...]

#: What can't stand in a reading's cell without being taken for something else.
_ODD = re.compile(r'[#;"]')


@dataclass(frozen=True)
class RecordSheet:
    """A record as it is typed: `head` by its keys, and each reading by the cells that say where it was taken.

    A reading that wasn't taken is empty, a dash or a question mark.
    """

    head: Mapping[str, str]
    readings: Mapping[Where, str]

    @property
    def taken(self) -> dict[Where, str]:
        """The readings that were taken."""
        plain = {where: " ".join(typed.replace(",", ".").split()) for where, typed in self.readings.items()}
        return {where: typed for where, typed in plain.items() if typed not in UNMEASURED}

    def lines(self) -> tuple[list[str], dict[int, Where]]:
        """The file's lines, and which reading stands in which, from 1."""
        said = [(line.key, " ".join(self.head.get(line.key, "").split())) for line in HEAD]
        out = [f"# {key}: {value}" for key, value in said if value]
        out.append(", ".join(COLUMNS[self.head["quantity"]]))
        at: dict[int, Where] = {}
        for where, typed in self.taken.items():
            out.append(", ".join((*where, typed)))
            at[len(out)] = where
        return out, at

    @property
    def text(self) -> str:
        """The file."""
        return "\n".join(self.lines()[0]) + "\n"


@dataclass(frozen=True)
class CheckedSheet:
    """What is wrong with a record as it is typed: by the reading, by the key above them, and as a whole.

    `record` is None where anything is.
    """

    record: Record | None
    readings: Mapping[Where, str]
    head: Mapping[str, str]
    whole: tuple[str, ...]


def check_sheet(sheet: RecordSheet, path: str, teeth: int) -> CheckedSheet:
    """A typed record read as its file will be, every fault at its place."""
    lines, at = sheet.lines()
    readings = {
        where: f'"{typed[:40]}" is no number: one reading a field'
        for where, typed in sheet.taken.items()
        if _ODD.search(typed)
    }
    head: dict[str, str] = {}
    whole: list[str] = []
    record = None
    try:
        record = read_record_text("\n".join(lines), path, teeth)
    except FileFault as fault:
        for one in fault.complaints:
            where = at.get(one.line)
            if where is not None:
                readings.setdefault(where, one.message)
            elif one.key in {line.key for line in HEAD}:
                head.setdefault(one.key, one.message)
            else:
                whole.append(one.message)
    return CheckedSheet(None if readings else record, readings, head, tuple(whole))


def sheet_of(text: str, path: str, teeth: int) -> RecordSheet:
    """A record's file as it would be typed, in its own units. Raises `FileFault`."""
    said, rows = rows_said(text, path, teeth)
    by_height = len(COLUMNS[said["quantity"]]) > 2
    return RecordSheet(
        said,
        {(_said(row[0]), _said(row[1])) if by_height else (_said(row[0]),): _said(row[2]) for row in rows},
    )


def _said(number: float) -> str:
    return f"{number:.10g}"
