"""The tree of an XML file, with the line of each element; no document types, so no entities of a file's own making."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from xml.parsers import expat

from handlead.machines.toml.errors import FileFault, Place, Unreadable

_MOST_BYTES, _DEEPEST = 20_000_000, 60


@dataclass
class Element:
    """An element: the words in its name, what it says, its line, and what stands in it."""

    name: str
    said: dict[str, str]
    line: int
    parent: Element | None
    text: str = ""
    inside: list[Element] = field(default_factory=list)

    @property
    def words(self) -> frozenset[str]:
        """The words in its name."""
        return frozenset(self.name.split("_"))

    @property
    def upwards(self) -> Iterator[Element]:
        """It and all that it stands in, the nearest first."""
        node: Element | None = self
        while node is not None:
            yield node
            node = node.parent

    def tells(self, names: Sequence[str]) -> str | None:
        """What is said under one of the names, by itself or by an element in it that holds nothing else."""
        plain = {one.name: one.text.strip() for one in self.inside if not one.inside}
        return next((value for name in names if (value := self.said.get(name, plain.get(name)))), None)


def tree_of(path: str, text: str) -> Element:
    """What a file's elements say; nothing in it is expanded, and no other file is looked at. Raises `FileFault`."""
    if len(text) > _MOST_BYTES:
        raise _refused(path, 1, f"it is larger than {_MOST_BYTES // 1_000_000} MB")
    try:
        return _TreeGrowing(path).grow(text.removeprefix("\ufeff"))
    except expat.ExpatError as fault:
        said = expat.errors.messages[fault.code]
        raise _refused(path, fault.lineno, f"it is no XML ({said})") from None
    except (LookupError, ValueError):
        raise _refused(path, 1, "it is in letters other than UTF-8") from None


class _TreeGrowing:
    """A tree while its file is gone through."""

    def __init__(self, path: str) -> None:
        self.path = path
        self.now = Element("", {}, 1, None)
        self.depth = 0
        self.parser = expat.ParserCreate("utf-8")
        self.parser.buffer_text = True
        self.parser.StartElementHandler = self.start
        self.parser.EndElementHandler = self.end
        self.parser.CharacterDataHandler = self.characters
        self.parser.StartDoctypeDeclHandler = self.declared

    def grow(self, text: str) -> Element:
        """The element above all."""
        self.parser.Parse(text.encode("utf-8"), True)
        return self.now

    def start(self, name: str, said: dict[str, str]) -> None:
        self.depth += 1
        if self.depth > _DEEPEST:
            raise _refused(
                self.path, self.parser.CurrentLineNumber, f"its elements stand {_DEEPEST} deep and more"
            )
        plain = {_plain(key): value.strip() for key, value in said.items()}
        new = Element(_plain(name), plain, self.parser.CurrentLineNumber, self.now)
        self.now.inside.append(new)
        self.now = new

    def end(self, _: str) -> None:
        self.depth -= 1
        assert self.now.parent is not None
        self.now = self.now.parent

    def characters(self, text: str) -> None:
        self.now.text += text

    def declared(self, *_: object) -> None:
        line = self.parser.CurrentLineNumber
        raise _refused(self.path, line, "it declares a document type; leave that line out (<!DOCTYPE …>)")


def _refused(path: str, line: int, message: str) -> FileFault:
    return FileFault([Unreadable(Place(path, line), "", message)])


def _plain(name: str) -> str:
    """A name without its prefix, in small letters with low lines between its words."""
    local = re.split(r"[:}]", name)[-1]
    return re.sub(r"[^a-z0-9]+", "_", re.sub(r"(?<=[a-z0-9])(?=[A-Z])", "_", local).lower()).strip("_")
