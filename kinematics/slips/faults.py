"""What can be done wrong at the machine: every fault that a set-up allows, and how often it is met.

How common a fault is, and in which words it is told, stands in a table elsewhere.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from handlead.kinematics.frame.frozen import freeze

from .at_the_machine import AT_THE_MACHINE
from .on_the_sheet import ON_THE_SHEET
from .standing import Changes
from .study import Numbers, Places, Slip, Study

#: Every kind of change, by its name in the table of faults.
CHANGES: Mapping[str, Places] = {**AT_THE_MACHINE, **ON_THE_SHEET}


@dataclass(frozen=True)
class FaultKind:
    """A row of the table of faults: `weight` is how often it is met among a hundred wrong cuts.

    `change` is a key of `CHANGES`, `numbers` what it wants to know, `check` the look that finds it. `cure`
    is what to do about it, with {right} for what should stand there and {where} for the place.
    """

    kind: str
    change: str
    meaning: str
    weight: float
    is_common: bool
    check: str
    cure: str = ""
    numbers: Numbers = field(default_factory=dict, hash=False)

    def __post_init__(self) -> None:
        freeze(self, "numbers")


@dataclass(frozen=True)
class Fault:
    """A fault at one place: `chance` is its share of a hundred wrong cuts on this machine and set-up."""

    kind: FaultKind
    where: str
    detail: str
    changes: Changes = field(hash=False)
    chance: float = 0.0

    def __post_init__(self) -> None:
        freeze(self, "changes")


def find_faults(kinds: Iterable[FaultKind], study: Study) -> tuple[Fault, ...]:
    """Every fault that can have been made with this set-up on this machine.

    The places of a kind share its weight. Raises `ValueError` for a change that isn't in `CHANGES`.
    """
    faults: list[Fault] = []
    for kind in kinds:
        if kind.change not in CHANGES:
            raise ValueError(
                f"change of fault {kind.kind!r} is {kind.change!r}; it must be one of {', '.join(CHANGES)}"
            )
        places = [place for place in CHANGES[kind.change](study, kind.numbers) if _can_be(study, place)]
        total = sum(place.likelihood for place in places)
        faults += [
            Fault(kind, place.where, place.detail, place.changes, kind.weight * place.likelihood / total)
            for place in places
        ]
    return tuple(faults)


def _can_be(study: Study, place: Slip) -> bool:
    """Whether the brackets that it changes take what would then be in them."""
    brackets = {where[0] for what, *where in place.changes if what in ("gears", "idlers")}
    if not brackets:
        return True
    standing = study.base.changed(place.changes)
    return all(study.bench.can_hold(bracket, standing) for bracket in brackets)


def combined(first: Fault, second: Fault) -> Changes | None:
    """Both faults' changes together; None where they change the same thing."""
    if first.changes.keys() & second.changes.keys():
        return None
    return {**first.changes, **second.changes}
