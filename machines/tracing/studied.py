"""A job as it is studied: its machine, drawers, drawing and set-up, as the slips want them."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache
from itertools import islice
from typing import Any

from handlead.kinematics.links.mounted import Mounted
from handlead.kinematics.slips.standing import Standing, meant_swivel
from handlead.kinematics.slips.study import Circumstances, GearSearch, OtherRules, Study, Takes
from handlead.kinematics.transfer.constants import Constants, find_constants
from handlead.machines.job_files.job_file import Job
from handlead.machines.machine_files.catalogue import shipped_machines
from handlead.machines.machine_files.machine_file import Machine, read_machine
from handlead.machines.setups.drawers import nearest_mounted, shortfalls
from handlead.machines.setups.mending import refusal

from .fault_table import FaultTable

#: Combinations of lever positions whose rules are looked at, on this machine and on others.
MOST_COMBINATIONS = 64


@dataclass(frozen=True)
class _StudyKey:
    """What a study is made of; the machine counts as the same only where it is the very one that was read."""

    job: Job
    modules: tuple[Fraction, ...]

    def __hash__(self) -> int:
        return hash(id(self.job.machine))

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, _StudyKey) or self.job.machine is not other.job.machine:
            return False
        return all(of(self) == of(other) for of in _ASKED)


_ASKED: tuple[Callable[[_StudyKey], Any], ...] = (
    lambda asked: asked.job.setup,
    lambda asked: asked.job.work,
    lambda asked: asked.job.mate,
    lambda asked: asked.job.hob,
    lambda asked: asked.modules,
)


def study_of(job: Job, table: FaultTable) -> Study:
    """The job's machine, drawers, drawing and set-up, as the faults want them; kept from one answer to the next."""
    return _study(_StudyKey(job, table.modules))


@lru_cache(maxsize=1)
def _study(asked: _StudyKey) -> Study:
    job = asked.job
    assert job.setup is not None
    machine, setup = job.machine, job.setup
    positions = machine.positions(setup)
    owned = {
        link.name: tuple(
            teeth for gear_set in machine.gear_sets if link.name in gear_set.fits for teeth in gear_set.teeth
        )
        for link in machine.train.brackets
    }
    bench = Circumstances(
        train=machine.train,
        levers={name: tuple(lever.positions) for name, lever in machine.levers.items()},
        states=lambda levers: machine.states(levers) if machine.can_stand(levers) else None,
        owned={name: teeth for name, teeth in owned.items() if teeth},
        work=job.work,
        mate=job.mate,
        constants=_constants(machine, positions, setup.drive),
        ranges=tuple(_ranges(machine, positions, setup.drive)),
        others=_others(machine),
        search=_search(machine, owned),
        modules=asked.modules,
        takes=_takes(machine),
        lacking=lambda mounted: {one.teeth: one.used - one.owned for one in shortfalls(machine, mounted)},
    )
    swivel = meant_swivel(job.work, job.hob) if setup.swivel_deg is None else setup.swivel_deg
    return Study(bench, Standing(replace(setup, levers=positions, swivel_deg=swivel), job.hob))


def _takes(machine: Machine) -> Takes:
    """Whether a bracket takes gears and idlers, as `handlead prove` looks at it."""
    brackets = {link.name: link for link in machine.train.brackets}

    def takes(name: str, mounted: Mounted) -> bool:
        link = brackets[name]
        if len(mounted.pairs) not in link.pairs or len(mounted.idlers) not in link.idlers:
            return False
        return refusal(link, mounted) is None

    return takes


def _constants(machine: Machine, positions: Mapping[str, str], drive: str) -> Constants:
    return find_constants(machine.train.with_states(machine.states(positions)), drive)


def _ranges(machine: Machine, positions: Mapping[str, str], drive: str) -> Iterator[OtherRules]:
    """The rules that hold with one lever elsewhere, where they are other rules."""
    known = [_sizes(_constants(machine, positions, drive))]
    for name, lever in machine.levers.items():
        for position in lever.positions:
            moved = {**positions, name: position}
            if position == positions[name] or not machine.can_stand(moved):
                continue
            constants = _constants(machine, moved, drive)
            sizes = _sizes(constants)
            if sizes[0] is not None and sizes not in known:
                known.append(sizes)
                yield OtherRules(f"lever {name} at {position}", constants)


def _sizes(constants: Constants) -> tuple[Any, ...]:
    index = constants.index
    rules = [(rule.constant, rule.teeth_power) for rule in constants.differentials]
    return (abs(index.constant) if index else None, tuple(rules))


def _others(machine: Machine) -> tuple[OtherRules, ...]:
    """The rules of the other machines that ship, each with its levers as they stand for helical work."""
    return tuple(
        sheet
        for path in shipped_machines().values()
        if (sheet := _rules_of(path)) is not None and sheet.name != machine.name
    )


@lru_cache(maxsize=64)
def _rules_of(path: Any) -> OtherRules | None:
    """The first rules of a machine, its normal levers first, that have index and differential, or else an index."""
    machine = read_machine(path)
    plain = None
    for positions in islice(machine.lever_combinations(), MOST_COMBINATIONS):
        if not machine.can_stand(positions):
            continue
        constants = _constants(machine, positions, machine.normal_drive)
        if constants.index and any(rule.constant for rule in constants.differentials):
            return OtherRules(machine.name, constants)
        if constants.index and plain is None:
            plain = OtherRules(machine.name, constants)
    return plain


def _search(machine: Machine, owned: Mapping[str, tuple[int, ...]]) -> GearSearch:
    """Finds gears that are in the drawer and can be mounted, nearest to a ratio."""
    brackets = {link.name: link for link in machine.train.brackets}

    def search(ratio: Fraction, bracket: str, taken: Sequence[int], exact: bool) -> Mounted | None:
        gears = list(owned.get(bracket, ()))
        for teeth in taken:
            if teeth in gears:
                gears.remove(teeth)
        found = nearest_mounted(brackets[bracket], ratio, gears, exact=exact)
        return found[0].mounted if found else None

    return search
