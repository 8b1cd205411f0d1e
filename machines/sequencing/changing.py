"""What changing over takes from one set-up to the next: gears, idlers, levers, head, hob, fixture, each its time."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from handlead.kinematics.frame.frozen import freeze
from handlead.kinematics.links.mounted import Mounted
from handlead.machines.keys.machine_keys import CHANGE_TIMES

if TYPE_CHECKING:
    from handlead.kinematics.train.setup import Setup
    from handlead.kinematics.work.requirement import HobData
    from handlead.machines.job_files.job_file import Job
    from handlead.machines.machine_files.machine_file import Machine

#: The head is set to the minute: less isn't moved.
_HEAD_DEG = Fraction(1, 120)


@dataclass(frozen=True)
class StandsOnMachine:
    """What stands on a machine: gears by bracket, every lever, the head, the hob on its arbor, what holds the blank.

    `hob` None is an empty arbor; `fixture` "" is one that nobody has named, and is changed with every job.
    """

    change: Mapping[str, Mounted] = field(default_factory=dict)
    levers: Mapping[str, str] = field(default_factory=dict)
    swivel_deg: Fraction = Fraction(0)
    hob: HobData | None = None
    fixture: str = ""

    def __post_init__(self) -> None:
        freeze(self, "change", "levers")

    @classmethod
    def bare(cls, machine: Machine) -> StandsOnMachine:
        """A machine with nothing on it: brackets and arbor empty, levers as they are normally, head level."""
        return cls(levers=machine.normal_positions)

    @classmethod
    def of(cls, job: Job, setup: Setup, machine: Machine) -> StandsOnMachine:
        """What stands once a set-up is on its machine."""
        levers = {**machine.normal_positions, **setup.levers}
        # The blank of two halves stays clamped between them, unless it is turned over.
        stays = job.path if job.halves is not None and not job.halves.turned_over else ""
        return cls(setup.change, levers, setup.swivel_deg or Fraction(0), job.hob, job.fixture or stays)


@dataclass(frozen=True)
class Changes:
    """How much is done between two set-ups, by the keys of [change_over]."""

    gear_off: int = 0
    gear_on: int = 0
    idler: int = 0
    lever: int = 0
    head: int = 0
    hob: int = 0
    fixture: int = 0

    def minutes(self, times: Mapping[str, Fraction]) -> Fraction:
        """The time that it takes."""
        return sum((times[name] * count for name, count in vars(self).items() if count), Fraction(0))

    def as_json(self) -> dict[str, Any]:
        """The counts as plain values."""
        return dict(vars(self))


def changes(before: StandsOnMachine, after: StandsOnMachine) -> Changes:
    """What is done from one to the other. A gear stays where the same one stands at the same place of its bracket."""
    off = on = idlers = 0
    for name in {**before.change, **after.change}:
        old, new = before.change.get(name), after.change.get(name)
        stays = staying(old, new)
        off += len(old.gears if old else ()) - stays
        on += len(new.gears if new else ()) - stays
        one, other = (list(each.idlers if each else ()) for each in (old, new))
        kept = sum(min(one.count(teeth), other.count(teeth)) for teeth in set(one))
        idlers += len(one) + len(other) - 2 * kept
    return Changes(
        off,
        on,
        idlers,
        sum(before.levers.get(name) != position for name, position in after.levers.items()),
        int(abs(before.swivel_deg - after.swivel_deg) > _HEAD_DEG),
        int(before.hob != after.hob),
        int(not after.fixture or before.fixture != after.fixture),
    )


def staying(old: Mounted | None, new: Mounted | None) -> int:
    """How many gears stay on a bracket: none where one pair becomes two, since the studs are set afresh."""
    if old is None or new is None or len(old.gears) != len(new.gears):
        return 0
    return sum(one == other for one, other in zip(old.gears, new.gears, strict=True))


def times_of(machine: Machine) -> Mapping[str, Fraction]:
    """Minutes that each change takes: the machine's own, else the usual ones."""
    return {name: machine.change_over.get(name, usual) for name, (usual, _) in CHANGE_TIMES.items()}
