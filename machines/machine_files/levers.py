"""Levers, the states that they put links into, and where two of them fight over one."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from handlead.kinematics.frame.frozen import freeze
from handlead.machines.toml.places import Path_, quoted


@dataclass(frozen=True)
class Lever:
    """What the operator moves: for each position the states of the links that it moves."""

    positions: Mapping[str, Mapping[str, str]]
    normal: str

    def __post_init__(self) -> None:
        freeze(self, "positions")


@dataclass(frozen=True)
class Clash:
    """Two levers that put one link into different states, with the paths of both in the machine file."""

    link: str
    first: Path_
    second: Path_
    message: str


def clashes(levers: Mapping[str, Lever], positions: Mapping[str, str]) -> Iterator[Clash]:
    """Every link that two levers in these positions put into different states."""
    moved: dict[str, tuple[str, str]] = {}
    for name, position in positions.items():
        for link, state in levers[name].positions[position].items():
            if link in moved and moved[link][1] != state:
                other, otherwise = moved[link]
                yield Clash(
                    link,
                    ("levers", other, "positions", positions[other], link),
                    ("levers", name, "positions", position, link),
                    f"lever {quoted(name)} in {quoted(position)} puts {quoted(link)} in {quoted(state)}, "
                    f"but lever {quoted(other)} in {quoted(positions[other])} puts it in {quoted(otherwise)} "
                    "({also}). A link can be in one state only: let one lever move it",
                )
            moved.setdefault(link, (name, state))


def lever_of(values: Mapping[str, Any]) -> Lever:
    """A lever of its table."""
    return Lever({name: dict(states) for name, states in values["positions"].items()}, values["normal"])
