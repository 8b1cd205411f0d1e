"""Everything that can be wrong with a file, and the root of every exception that this product raises of its own.

Complaint             something at a place in a file
├── Unreadable        nothing can be made of the file: absent, too large, not TOML
├── Missing           a key that must be there isn't
├── Unknown           a key or a name that nothing answers to
├── WrongValue        a value of the wrong type, or out of its limits
├── Disagreement      two places that can't both hold: it names both
└── Unwritable        a file that can't be written, or mustn't be written over

HandleadError         whatever is raised on purpose
├── FileFault         carries every complaint about a file, worst first
├── NoSetup           the job has nothing bolted on yet
├── NotCut            the blank can't be cut in simulation       (witness.py)
├── NotRolled         two jobs that aren't a pair to roll      (pair_rolled.py)
├── NumberFault       a number that can't be read                (numbers.py)
├── CuttingDataError  the table of cutting data can't be used    (cutting_data.py)
├── NoPicture         a picture that can't be made of this job   (viz/pictures/pictures.py)
├── NoWriter          a film without what writes it              (viz/solids/view.py)
└── NoOpenGL          nothing here draws solids                  (viz/solids/opengl.py)
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import ClassVar


@dataclass(frozen=True)
class Place:
    """A place in a file; line and column count from 1, in characters."""

    file: str
    line: int
    column: int = 1

    def __str__(self) -> str:
        return f"{self.file}:{self.line}"

    def seen_from(self, other: Place) -> str:
        """How to name this place in a complaint that stands at `other`: without the file if it is the same."""
        return f"line {self.line}" if self.file == other.file else str(self)


#: A key longer than this is told by its beginning.
_LONGEST = 200


@dataclass(frozen=True)
class Complaint:
    """What is wrong at a place, and what would be right.

    `key` says which key, in the words of the file (``link "index worm": sense``); it may be empty.
    `also` holds the other places that the message speaks of.
    """

    #: Which kinds come first: lower is worse.
    rank: ClassVar[int] = 9

    place: Place
    key: str
    message: str
    also: tuple[Place, ...] = ()

    @property
    def file(self) -> str:
        """The file complained about."""
        return self.place.file

    @property
    def line(self) -> int:
        """The line, from 1."""
        return self.place.line

    @property
    def column(self) -> int:
        """The column, from 1."""
        return self.place.column

    def __str__(self) -> str:
        # What somebody wrote as a key may be as long as a page.
        key = self.key if len(self.key) <= _LONGEST else f"{self.key[: _LONGEST - 3]}..."
        return f"{self.place}: {key}: {self.message}" if key else f"{self.place}: {self.message}"

    def as_json(self) -> dict[str, object]:
        """The complaint as plain values for a JSON object."""
        return {
            "file": self.file,
            "line": self.line,
            "column": self.column,
            "key": self.key,
            "message": self.message,
        }


class Unreadable(Complaint):
    """Nothing can be made of the file."""

    rank = 0


class Missing(Complaint):
    """A key that must be there isn't."""

    rank = 1


class Unknown(Complaint):
    """A key or a name that nothing answers to."""

    rank = 2


class WrongValue(Complaint):
    """A value of the wrong type, or out of its limits."""

    rank = 3


class Disagreement(Complaint):
    """Two places that can't both hold."""

    rank = 4


class Unwritable(Complaint):
    """A file that can't be written, or mustn't be written over."""

    rank = 0


#: More complaints than this about one file help nobody; the rest are counted.
MOST_COMPLAINTS = 50


class HandleadError(Exception):
    """Whatever this product raises on purpose: the message is for the person at the machine."""


class NoSetup(HandleadError, ValueError):
    """The job has no [setup]: there is nothing to prove, to trace or to show yet."""


class FileFault(HandleadError):
    """A file, or several, that can't be used; `complaints` holds every reason, worst first within a file.

    `left_out` counts the complaints beyond `MOST_COMPLAINTS` of a file.
    """

    def __init__(self, complaints: Iterable[Complaint], left_out: int = 0) -> None:
        once = list(dict.fromkeys(complaints))
        files = list(dict.fromkeys(complaint.file for complaint in once))
        ordered = sorted(once, key=lambda it: (files.index(it.file), it.rank, it.line, it.column))
        self.complaints: tuple[Complaint, ...] = tuple(ordered)
        self.left_out = left_out
        super().__init__(str(self))

    def __str__(self) -> str:
        lines = [str(complaint) for complaint in self.complaints]
        if self.left_out:
            lines.append(f"{self.complaints[-1].file}: and {self.left_out} more")
        return "\n".join(lines)
