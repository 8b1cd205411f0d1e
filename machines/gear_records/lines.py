"""The lines of a record's file, as checkers, spreadsheets and people write them: notes, what is said, cells."""

from __future__ import annotations

import codecs
import csv
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from handlead.machines.job_keys.record_keys import ALSO_COLUMNS
from handlead.machines.toml.filing import read_text

#: Characters of a line that are looked at.
_LONGEST = 10_000

_SAYS = re.compile(r"([^\W\d][\w -]*?)\s*[:=;,\t]\s*(.*)")


def text_of(path: str | Path) -> str:
    """The text of a record's file. Raises `FileFault`."""
    try:
        return text_in(Path(path).read_bytes())
    except OSError:
        return read_text(path)  # which says why


def text_in(content: bytes) -> str:
    """The text of a record, in UTF-8 or in the letters that old checkers and spreadsheets write."""
    if content.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return content.decode("utf-16", errors="replace")
    try:
        return content.decode("utf-8")
    except UnicodeDecodeError:
        return content.decode("cp1252", errors="replace")


@dataclass(frozen=True)
class TextLine:
    """A line with its number: whether # stands before it, its text, and its cells."""

    number: int
    noted: bool
    text: str

    @property
    def cells(self) -> tuple[str, ...]:
        """The values in it, decimal commas as points."""
        between = next((sign for sign in (";", "\t") if sign in self.text), ",")
        # No line of a record is so long; the reader of tables raises at one.
        some = [self.text[:_LONGEST]]
        cells = next(csv.reader(some, delimiter=between, skipinitialspace=True), [""])
        # A comma that is left stands in a number.
        return tuple(_plain_number(cell.strip().strip('"').strip().replace(",", ".")) for cell in cells)

    @property
    def columns(self) -> tuple[str, ...]:
        """The cells as names of columns."""
        return tuple(ALSO_COLUMNS.get(cell.lower(), cell.lower()) for cell in self.cells)

    @property
    def said(self) -> tuple[str, str] | None:
        """The key and what it is said to be; None where the line is none of these."""
        # An inch sign is no quotation mark.
        text = re.sub(r"(?<=\d)\s*(?:\"|″)\s*$", " in", self.text) if self.text.count('"') % 2 else self.text
        found = _SAYS.fullmatch(text.replace('"', "").replace("″", " in"))
        return (found[1].lower(), found[2].strip().rstrip(",; \t")) if found else None


def lines_of(text: str) -> Iterator[TextLine]:
    """The lines of a text that say anything."""
    for number, line in enumerate(text.lstrip("\ufeff").splitlines(), 1):
        noted = line.lstrip().startswith("#")
        plain = line.strip().lstrip("#") if noted else line.partition("#")[0]
        # Spreadsheets fill up short lines with empty cells.
        if plain.strip(",; \t"):
            yield TextLine(number, noted, plain.strip().rstrip(",;\t ") if noted else plain.strip())


def _plain_number(cell: str) -> str:
    """A cell as numbers are written elsewhere: with a plain minus, and a nought before the point."""
    return re.sub(r"^([+-]?)\.(?=\d)", r"\g<1>0.", cell.replace("−", "-"))
