"""A survey's rows kept in a file as they come, so that one that was stopped goes on where it was.

The file grows by a line a row, written through at once. It is the one file here that isn't written whole: what a stop
leaves half written is its last line, which is passed over when it is read again.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any, Self, TextIO

from handlead.machines.toml.errors import FileFault, HandleadError, Place, Unreadable
from handlead.machines.toml.filing import read_text

from .survey import BROKEN, MemberRow, SurveyRow

#: The first line of the file.
_HEAD = {"format": "survey/1"}


class Kept:
    """The rows that a file holds, by what each depends on; `keep` puts another in. Use it as a context.

    Raises `FileFault` for a file that is something else or can't be read, `HandleadError` where it can't be written.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._rows = _read(path)
        self._stream: TextIO | None = None

    def __enter__(self) -> Self:
        try:
            whole = self.path.exists() and self.path.read_bytes().endswith(b"\n")
            self._stream = self.path.open("a", encoding="utf-8", newline="\n")
            if not self.path.stat().st_size:
                self._line(_HEAD)
            elif not whole:
                self._stream.write("\n")
        except OSError as fault:
            why = (fault.strerror or str(fault)).lower()
            raise HandleadError(f"{self.path}: it can't be written ({why})") from None
        return self

    def __exit__(self, *_: object) -> None:
        if self._stream is not None:
            self._stream.close()

    def __len__(self) -> int:
        return len(self._rows)

    def row(self, key: str) -> SurveyRow | None:
        """The row kept under `key`, if there is one."""
        return self._rows.get(key)

    def keep(self, key: str, row: SurveyRow) -> None:
        """Put a row in; one that broke inside the program is left out, so that it is tried again."""
        if row.status != BROKEN:
            self._line({"key": key, "row": _plain(row)})

    def _line(self, value: Any) -> None:
        assert self._stream is not None
        self._stream.write(json.dumps(value, ensure_ascii=True) + "\n")
        self._stream.flush()


def _plain(row: SurveyRow) -> dict[str, Any]:
    members = [
        {**vars(member), "gears": dict(member.gears), "mounted": dict(member.mounted)}
        for member in row.members
    ]
    return {**vars(row), "members": members}


def _read(path: Path) -> dict[str, SurveyRow]:
    if not path.exists() or not (lines := read_text(path).split("\n"))[0]:
        return {}
    if _value(lines[0]) != _HEAD:
        why = 'it isn\'t a survey that was kept. Give the name of a new file, or of one that begins with "survey/1"'
        raise FileFault([Unreadable(Place(str(path), 1), "", why)])
    found = {}
    for line in lines[1:]:
        value = _value(line)
        if isinstance(value, dict) and isinstance(value.get("row"), dict):
            try:
                found[str(value["key"])] = _row(value["row"])
            except (TypeError, KeyError):
                continue  # of another version: it is looked at again
    return found


def _value(line: str) -> Any:
    try:
        return json.loads(line)
    except ValueError:
        return None


def _row(value: dict[str, Any]) -> SurveyRow:
    return SurveyRow(**{**value, "members": tuple(MemberRow(**one) for one in value["members"])})
