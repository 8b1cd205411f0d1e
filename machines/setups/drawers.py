"""Whether a set-up's gears lie in the drawers, as often as they are used, and what can be mounted of those left."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

from handlead.kinematics.brackets.bracket import Bracket
from handlead.kinematics.brackets.drawer import Drawer, DrawerSet, capacity, share_out
from handlead.kinematics.links.mounted import ChangeGears, Mounted
from handlead.machines.machine_files.machine_file import Machine

if TYPE_CHECKING:
    from handlead.kinematics.search.change_gears import ChangeGearSet


@dataclass(frozen=True)
class Shortfall:
    """A tooth count that is mounted more often than the drawers allow."""

    teeth: int
    brackets: tuple[str, ...]
    used: int
    owned: int


def drawers_of(machine: Machine) -> list[DrawerSet]:
    """The machine's gear sets as the searches take them."""
    return [DrawerSet(one.name, Drawer.of(one.teeth), frozenset(one.fits)) for one in machine.gear_sets]


def shortfalls(machine: Machine, change: Mapping[str, Mounted]) -> Iterator[Shortfall]:
    """The tooth counts for which the drawers don't hold enough gears that fit, smallest first.

    A bracket for which the machine file lists no drawer is taken at its word.
    """
    sets = drawers_of(machine)
    wanted: dict[int, dict[str, list[int]]] = {}
    for bracket, mounted in change.items():
        if any(one.serves(bracket) for one in sets):
            for teeth in (*mounted.gears, *mounted.idlers):
                wanted.setdefault(teeth, {}).setdefault(bracket, []).append(teeth)
    for teeth, users in sorted(wanted.items()):
        if share_out(users, sets) is None:
            used = sum(len(gears) for gears in users.values())
            yield Shortfall(teeth, tuple(users), used, capacity(users, sets).get(teeth, 0))


def gears_left(machine: Machine, change: Mapping[str, Mounted], bracket: str) -> tuple[int, ...] | None:
    """The gears at hand for a bracket beside those that are mounted; None where the machine file lists none for it.

    Gears that fit few brackets are taken for those first, so that the others stay for this one.
    """
    sets = sorted(drawers_of(machine), key=lambda one: len(one.fits) or len(change) + 1)
    if not any(one.serves(bracket) for one in sets):
        return None
    short = {each.teeth for each in shortfalls(machine, change)}
    users = {
        name: [teeth for teeth in (*mounted.gears, *mounted.idlers) if teeth not in short]
        for name, mounted in change.items()
        if any(one.serves(name) for one in sets)
    }
    taken = [each for gears in (share_out(users, sets) or {}).values() for each in gears]
    left = [
        teeth
        for one in sets
        if one.serves(bracket)
        for teeth in one.drawer.without([teeth for teeth, name in taken if name == one.name]).gears
        if teeth not in short
    ]
    return tuple(sorted(left))


#: Pairs that are searched; three are slow to search and rare on a bracket.
_MOST_PAIRS = 2


def nearest_mounted(
    link: ChangeGears, ratio: Fraction, gears: Sequence[int], *,
    pairs: int | None = None, limit: int = 1, exact: bool = False,
) -> tuple[ChangeGearSet, ...]:  # fmt: skip
    """Sets out of `gears` that the bracket takes, nearest first to a signed ratio; none where nothing comes near.

    With `pairs` those of so many, else of any number up to two that the bracket takes; with `exact` only those
    that come to the ratio itself.
    """
    from handlead.kinematics.search.change_gears import nearest_sets

    numbers = [number for number in link.pairs if number <= _MOST_PAIRS and pairs in (None, number)]
    if not gears or not numbers or not ratio:
        return ()
    try:
        return nearest_sets(
            abs(ratio), gears, pairs=numbers, idlers=link.idlers, turns_over=ratio < 0, limit=limit, exact=exact,
            bracket=Bracket.of(link.bracket) if link.bracket else None,
        ).sets  # fmt: skip
    except ValueError:
        return ()  # a ratio that no gears of this drawer come near
