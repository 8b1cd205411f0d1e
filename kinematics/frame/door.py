"""A package's front door: names that are loaded when they are first asked for, so that importing it costs nothing."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from importlib import import_module
from typing import Any


def opener(package: str, homes: Mapping[str, Sequence[str]]) -> Callable[[str], Any]:
    """A module's ``__getattr__`` that fetches each name of `homes` (module -> names) when it is asked for.

    A name written ``"constants = find_rules"`` is called the second thing in its own module.
    """
    found = {}
    for home, names in homes.items():
        for name in names:
            here, _, there = name.partition(" = ")
            found[here] = (home, there or here)

    def fetch(name: str) -> Any:
        if name not in found:
            raise AttributeError(f"module {package!r} has no attribute {name!r}")
        home, there = found[name]
        return getattr(import_module(home, package), there)

    return fetch
