"""A TOML file as values and places: what is written, and the line and column where it stands.

The standard library reads the values; a syntax tree gives the places, and is only built once
somebody asks for one. Size and depth are checked before anything is parsed, so that no file
can hang or exhaust the program.
"""

from __future__ import annotations

import hashlib
import os
import re
import stat
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from .errors import Complaint, Disagreement, FileFault, Place, Unreadable
from .numbers import MOST_DIGITS, Decimal
from .read_only import read_only
from .visible import visible

if TYPE_CHECKING:
    from tree_sitter import Node, Parser

Step = str | int
Path_ = tuple[Step, ...]
_At = tuple[Path_, tuple[int, int]]

#: The largest file that is read, in bytes, and the deepest nesting of its brackets and tables.
LARGEST_FILE = 256 * 1024
DEEPEST = 16

_LONGEST_NUMBER = 2 * MOST_DIGITS + 20

# Strings and comments are stepped over whole; an unclosed one runs to the end of its line or file,
# and no alternative can fail after a long match, so that the scan is linear in the file.
_TOKEN = re.compile(
    r'''"""(?:[^"\\]++|\\(?s:.)|"(?!""))*+(?:"""|\\?\Z)'''
    r"""|'{3}(?s:.*?)(?:'{3}|\Z)"""
    r"""|"(?:[^"\\\n]++|\\.)*+"?|'[^'\n]*+'?|\#[^\n]*+"""
    r"""|(?P<open>[\[{])|(?P<close>[\]}])|(?P<word>[0-9A-Za-z_+.\-]++)"""
)
_WHERE = re.compile(
    r"(?P<what>.*) \(at (?:line (?P<line>\d+), column (?P<column>\d+)|end of document)\)", re.S
)

#: What the TOML reader says, in plain words, and what would be right.
_PLAINLY: tuple[tuple[str, str], ...] = (
    ("Invalid value", 'this value can\'t be read. Words and fractions stand in quotes: "right", "5/8"'),
    ("Expected newline", 'the line should end here. Words and fractions stand in quotes: "22d 42m", "5/8"'),
    ("Expected '=' after a key", "there is no = after the key. A line is written key = value"),
    ("Invalid statement", "this is neither a key = value, nor a [table], nor a # comment"),
    ("Invalid initial character for a key part", "a key can't begin like this. A name with spaces stands in quotes"),
    ("Unclosed array", "a [ is never closed. Write ] after the last value"),
    ("Unclosed inline table", "a { is never closed. Write } after the last value, on the same line"),
    ("Unterminated string", 'a quote is never closed. Write " at the end of the text'),
    ("Expected ']' at", "there is no ] after the table's name. A name with spaces stands in quotes"),
    ("Expected ']]' at", "there is no ]] after the name. One with spaces stands in quotes"),
    ("Expected \"'''\"", "a quote of three is never closed. Write ''' at the end of the text"),
    ("Illegal character '\\n'", 'a quote is never closed. Write " at the end of the text, on the same line'),
    ("Illegal character", "there is a control character here. Take it out"),
    ("Unescaped '\\' in a string", "a single \\ in a text must be written \\\\"),
    ("Cannot overwrite a value", "the key is given twice. Keep one"),
    ("Cannot declare", "the table is given twice. Put its keys together under one heading"),
    ("Duplicate inline table key", "the key is given twice. Keep one"),
    ("Cannot mutate immutable namespace", "the table or list was closed further up. Put this key there"),
    ("Cannot redefine namespace", "the table or list was closed further up. Put this key there"),
    ("Invalid date or datetime", "this looks like a date, and isn't one. A text stands in quotes"),
)  # fmt: skip


def quoted(text: object) -> str:
    """`text` from a file, fit for a message: in quotes, short, and without control characters."""
    shown = str(text)
    if len(shown) > 60:
        shown = shown[:57] + "..."
    return f'"{visible(shown)}"'


@dataclass(frozen=True)
class Document:
    """A file read as TOML. `values` is what it says, with decimals kept as written."""

    file: str
    text: str = field(repr=False)
    values: dict[str, Any] = field(repr=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "values", read_only(self.values))

    @cached_property
    def digest(self) -> str:
        """SHA-256 of the text, in hexadecimal."""
        return hashlib.sha256(self.text.encode()).hexdigest()

    @cached_property
    def _places(self) -> dict[Path_, tuple[int, int]]:
        places: dict[Path_, tuple[int, int]] = {}
        for path, spot in _walk(self.text):
            places.setdefault(path, spot)
        # A table that is never headed, but only implied by what is in it, stands where that stands.
        for path, spot in list(places.items()):
            while path := path[:-1]:
                places[path] = min(places.get(path, spot), spot)
        return places

    def place(self, *path: Step) -> Place:
        """Where the key at `path` stands, or else the nearest of the tables around it that stands anywhere."""
        while path:
            if (found := self._places.get(path)) is not None:
                return Place(self.file, *found)
            path = path[:-1]
        return Place(self.file, 1)

    def get(self, *path: Step) -> Any:
        """The value at `path`, or None if there is none."""
        value: Any = self.values
        for step in path:
            if isinstance(value, dict) and isinstance(step, str):
                value = value.get(step)
            elif isinstance(value, list) and isinstance(step, int) and step < len(value):
                value = value[step]
            else:
                return None
        return value


def read(path: str | os.PathLike[str], shown: str | None = None) -> Document:
    """The file at `path`, called `shown` in complaints. Raises `FileFault` if it can't be read."""
    file = shown or os.fspath(path)
    return parse(_text(_bytes(path, file), file), file)


def _bytes(path: str | os.PathLike[str], file: str) -> bytes:
    try:
        status = Path(path).stat()
        if not stat.S_ISREG(status.st_mode):
            what = "it is a folder" if stat.S_ISDIR(status.st_mode) else "it is not a plain file"
            raise _unreadable(file, f"{what}. Give the path of a TOML file")
        with Path(path).open("rb") as stream:
            return stream.read(LARGEST_FILE + 1)
    except FileNotFoundError:
        raise _unreadable(file, "there is no such file. Check the path and its spelling") from None
    except (OSError, ValueError) as fault:
        reason = getattr(fault, "strerror", None) or str(fault)
        raise _unreadable(file, f"it can't be read ({reason.lower()})") from None


def _text(data: bytes, file: str) -> str:
    if len(data) > LARGEST_FILE:
        raise _unreadable(file, f"it is larger than {LARGEST_FILE // 1024} KiB, the most that is read")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        line = data.count(b"\n", 0, fault.start) + 1
        raise _unreadable(
            file, "there is a character that isn't UTF-8. Save the file as UTF-8 text", line
        ) from None


def parse(text: str, file: str) -> Document:
    """`text` as a document called `file` in complaints. Raises `FileFault` for what isn't TOML, or too deep."""
    if len(text) > LARGEST_FILE:
        raise _unreadable(file, f"it is larger than {LARGEST_FILE // 1024} KiB, the most that is read")
    text = text.replace("\r\n", "\n")
    faults = list(_too_much(text, file))
    if faults:
        raise FileFault(faults[:1])
    try:
        values = tomllib.loads(text, parse_float=Decimal)
    except tomllib.TOMLDecodeError as fault:
        raise FileFault([_syntax(text, file, str(fault))]) from None
    except (ValueError, RecursionError, OverflowError) as fault:
        # Dates with impossible fields are the only way here that is known.
        raise _unreadable(file, f"it is not TOML ({str(fault)[:100]})") from None
    document = Document(file, text, values)
    if (deep := _too_deep(values)) is not None:
        raise FileFault([Unreadable(document.place(*deep), "", _DEEP)])
    return document


_DEEP = f"brackets or dotted keys are nested deeper than {DEEPEST}, the most that is read"


def _too_much(text: str, file: str) -> Iterator[Complaint]:
    """What would take the reader too long: deep brackets, keys of many dotted parts, endless numbers."""
    depth = dots = end = 0
    for token in _TOKEN.finditer(text):
        kind = token.lastgroup
        if kind == "open":
            depth, dots = depth + 1, 0
        elif kind == "close":
            depth, dots = max(depth - 1, 0), 0
        elif kind == "word":
            if len(token[0]) > _LONGEST_NUMBER and token[0][0] in "+-0123456789" and "." not in token[0]:
                what = f"a number of {len(token[0])} characters; {MOST_DIGITS} digits are the most"
                yield Unreadable(_at(text, file, token.start()), "", what)
                return
            # The parts of a dotted key follow each other with nothing but blanks between them.
            dots = token[0].count(".") + (0 if text[end : token.start()].strip(" \t") else dots)
        elif text[end : token.start()].strip(" \t"):
            dots = 0
        end = token.end()
        if depth > DEEPEST or dots > DEEPEST:
            yield Unreadable(_at(text, file, token.start()), "", _DEEP)
            return


def _too_deep(values: dict[str, Any]) -> Path_ | None:
    waiting: list[tuple[Path_, Any]] = [((), values)]
    while waiting:
        path, value = waiting.pop()
        if len(path) > DEEPEST:
            return path
        if isinstance(value, dict):
            waiting.extend(
                ((*path, key), item) for key, item in value.items() if isinstance(item, (dict, list))
            )
        else:
            waiting.extend(
                ((*path, index), item) for index, item in enumerate(value) if isinstance(item, (dict, list))
            )
    return None


def _at(text: str, file: str, offset: int) -> Place:
    return Place(file, text.count("\n", 0, offset) + 1, offset - text.rfind("\n", 0, offset))


def _unreadable(file: str, message: str, line: int = 1) -> FileFault:
    return FileFault([Unreadable(Place(file, line), "", message)])


def _syntax(text: str, file: str, said: str) -> Complaint:
    match = _WHERE.fullmatch(said)
    what = match["what"] if match else said
    line = int(match["line"]) if match and match["line"] else text.removesuffix("\n").count("\n") + 1
    place = Place(file, line, int(match["column"]) if match and match["line"] else 1)
    plain = next((words for start, words in _PLAINLY if what.startswith(start)), what)
    if "twice" in plain and (twice := _first_of_two(text, line)):
        name, (first, column) = twice
        earlier = Place(file, first, column)
        key, _, rest = plain.partition(" is given twice")
        message = f"{key} {quoted(name)} is given twice (also line {first}){rest}"
        return Disagreement(place, "", message, (earlier,))
    return Unreadable(place, "", plain)


# ---------------------------------------------------------------- places


@dataclass(frozen=True)
class Statement:
    """A table's heading, or a key with its value: its path, and the lines from `first` to `last`, counted from 0."""

    path: Path_
    first: int
    last: int
    is_heading: bool


def statements(text: str) -> Iterator[Statement]:
    """The statements of a TOML text that can be read, as they stand in it; line ends must be plain."""
    for node in _parser().parse(text.encode()).root_node.named_children:
        if node.type == "pair":
            yield _statement((), node)
        elif node.type in ("table", "table_array_element") and node.named_children:
            heading = node.named_children[0]
            path = tuple(name for name, _ in _key(heading))
            yield Statement(path, heading.start_point[0], heading.end_point[0], is_heading=True)
            yield from (_statement(path, child) for child in node.named_children[1:] if child.type == "pair")


def _statement(table: Path_, pair: Node) -> Statement:
    path = (*table, *(name for name, _ in _key(pair.named_children[0])))
    return Statement(path, pair.start_point[0], pair.end_point[0], is_heading=False)


def comments(text: str) -> list[str]:
    """The comments in a TOML text, each from its # to the end of its line."""
    return [token[0].rstrip() for token in _TOKEN.finditer(text) if token[0].startswith("#")]


@lru_cache(maxsize=1)
def _parser() -> Parser:
    # Here, not at the top: a file without a fault never needs it.
    import tree_sitter
    import tree_sitter_toml

    return tree_sitter.Parser(tree_sitter.Language(tree_sitter_toml.language()))


def _first_of_two(text: str, line: int) -> tuple[str, tuple[int, int]] | None:
    first: dict[Path_, tuple[int, int]] = {}
    for path, place in _walk(text):
        if path in first and place[0] == line and first[path] != place:
            return ".".join(step for step in path if isinstance(step, str)), first[path]
        if place[0] > line:
            break
        first.setdefault(path, place)
    return None


def _walk(text: str) -> Iterator[_At]:
    """Every key, table and list item with its line and column; the tables that a dotted key implies come too."""
    return _Walk(text).every()


class _Walk:
    """A walk through one text; `_counts` numbers the rows of its arrays of tables as they come."""

    def __init__(self, text: str) -> None:
        self._text = text
        self._lines = None if text.isascii() else text.split("\n")
        self._counts: dict[Path_, int] = {}

    def every(self) -> Iterator[_At]:
        """All places from the top down."""
        for node in _parser().parse(self._text.encode()).root_node.named_children:
            if node.type == "pair":
                yield from self._pair((), node)
            elif node.type in ("table", "table_array_element") and node.named_children:
                base = self._header(node)
                if not base:
                    continue
                yield base, self._spot(node)
                for child in node.named_children[1:]:
                    if child.type == "pair":
                        yield from self._pair(base, child)

    def _spot(self, node: Node) -> tuple[int, int]:
        row, column = node.start_point
        if self._lines is not None:
            column = len(self._lines[row].encode()[:column].decode(errors="replace"))
        return row + 1, column + 1

    def _value(self, path: Path_, node: Node) -> Iterator[_At]:
        if node.type == "inline_table":
            for child in node.named_children:
                if child.type == "pair":
                    yield from self._pair(path, child)
        elif node.type == "array":
            items = [child for child in node.named_children if child.type != "comment"]
            for index, item in enumerate(items):
                yield (*path, index), self._spot(item)
                yield from self._value((*path, index), item)

    def _pair(self, base: Path_, node: Node) -> Iterator[_At]:
        children = [child for child in node.named_children if child.type != "comment"]
        if len(children) < 2:
            return
        path = base
        for name, part in _key(children[0]):
            path = (*path, name)
            yield path, self._spot(part)
        yield from self._value(path, children[1])

    def _header(self, node: Node) -> Path_:
        path: Path_ = ()
        names = [name for name, _ in _key(node.named_children[0])]
        for index, name in enumerate(names):
            path = (*path, name)
            last = index == len(names) - 1
            if last and node.type == "table_array_element":
                self._counts[path] = self._counts.get(path, -1) + 1
            if path in self._counts:
                path = (*path, self._counts[path])
        return path


def _key(node: Node) -> list[tuple[str, Node]]:
    """The parts of a key with their nodes; those of a key that is deeper than any that is read are left out."""
    parts: list[Node] = []
    waiting = [node]
    while waiting:
        part = waiting.pop()
        if part.type == "dotted_key":
            waiting.extend(reversed(part.named_children))
        else:
            parts.append(part)
    return [(name, part) for part in parts[: DEEPEST + 2] if (name := _name(part)) is not None]


def _name(node: Node) -> str | None:
    text = (node.text or b"").decode()
    if node.type == "bare_key":
        return text
    try:
        return next(iter(tomllib.loads(f"{text} = 0")))
    except (tomllib.TOMLDecodeError, StopIteration):
        return None
