"""Whether the gears of a set-up lie in the drawers, as often as they are used."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

import rustworkx as rx
from handlead.kinematics.links import Mounted

from .machine_file import GearSet


@dataclass(frozen=True)
class Shortfall:
    """A tooth count that is mounted more often than the drawers allow."""

    teeth: int
    brackets: tuple[str, ...]
    used: int
    owned: int


def shortfalls(gear_sets: Iterable[GearSet], change: Mapping[str, Mounted]) -> Iterator[Shortfall]:
    """The tooth counts for which the drawers don't hold enough gears that fit, smallest first.

    A bracket for which the machine file lists no drawer is taken at its word.
    """
    sets = tuple(gear_sets)
    stocked = {bracket for gear_set in sets for bracket in gear_set.fits}
    wanted: dict[int, list[str]] = {}
    for bracket, mounted in change.items():
        for teeth in (*mounted.gears, *mounted.idlers):
            if bracket in stocked:
                wanted.setdefault(teeth, []).append(bracket)
    for teeth, brackets in sorted(wanted.items()):
        owned = [gear_set for gear_set in sets for count in gear_set.teeth if count == teeth]
        if _most_served(brackets, owned) < len(brackets):
            fitting = sum(bool(set(gear_set.fits) & set(brackets)) for gear_set in owned)
            yield Shortfall(teeth, tuple(dict.fromkeys(brackets)), len(brackets), fitting)


def _most_served(brackets: list[str], owned: list[GearSet]) -> int:
    """How many of the brackets can have a gear at once, each gear being in one place only."""
    graph: rx.PyGraph[str, None] = rx.PyGraph()
    users = [graph.add_node(bracket) for bracket in brackets]
    gears = [graph.add_node(gear_set.name) for gear_set in owned]
    for user, bracket in zip(users, brackets, strict=True):
        for gear, gear_set in zip(gears, owned, strict=True):
            if bracket in gear_set.fits:
                graph.add_edge(user, gear, None)
    return len(rx.max_weight_matching(graph, max_cardinality=True))
