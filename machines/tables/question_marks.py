"""Where a machine file holds "?" for a number or a sense that nobody knows yet."""

from __future__ import annotations

import copy
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from handlead.machines.toml.places import Document, Path_

from .reading import rows

#: What stands in a machine file for a number or sense that nobody knows.
UNKNOWN = "?"

#: Keys of a link that may be unknown, and what is read in their place meanwhile.
_STAND_INS: Mapping[str, Any] = {
    "teeth": 10,
    "starts": 1,
    "lead": 1,
    "travel": 1,
    "sun_ratio": -2,
    "diameters": 100,
    "sense": "same",
}


def open_paths(document: Document) -> Iterator[Path_]:
    """Where "?" stands for a number or sense that `fit` can find."""
    for index, row in rows(document, "link"):
        for key in _STAND_INS:
            value = row.get(key)
            if value == UNKNOWN:
                yield ("link", index, key)
            elif isinstance(value, list):
                yield from (("link", index, key, at) for at, each in enumerate(value) if each == UNKNOWN)
        ratios = row.get("ratios")
        if isinstance(ratios, dict):
            yield from (("link", index, "ratios", state) for state, each in ratios.items() if each == UNKNOWN)


def with_stand_ins(document: Document, unknown: Iterable[Path_]) -> Document:
    """The document with something that can be read at each of the paths."""
    values = copy.deepcopy(document.values)
    for path in unknown:
        inner: Any = values
        for step in path[:-1]:
            inner = inner[step]
        inner[path[-1]] = _STAND_INS.get(str(path[2]), 1)
    return Document(document.file, document.text, values)
