"""The order of the day: in which order jobs follow one another on each machine, and with which set-ups."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from pathlib import Path
from typing import Any

from handlead.kinematics.train.setup import Setup
from handlead.machines.job_files.job_file import Job, read_job
from handlead.machines.machine_files.machine_file import Machine
from handlead.machines.planning.planning import SECOND_HALF
from handlead.machines.proving.proof import Proof
from handlead.machines.shop.crew import Crew, each_done
from handlead.machines.shop.survey import Survey
from handlead.machines.toml.errors import HandleadError

from .changing import Changes, StandsOnMachine, changes, times_of
from .variants import Candidates, StandingChoices, candidates, variants

#: Set-ups of each member that are chosen from; fewer where there are many members.
_MOST_SETUPS, _SETUPS_IN_ALL, _LEAST_SETUPS = 24, 300, 4

#: Rounds in which a chosen set-up that isn't as wanted is struck out.
_MOST_ROUNDS = 5


@dataclass(frozen=True)
class Turn:
    """One member's turn: its set-up, proved, and what is changed for it; `minutes` is what that takes."""

    title: str
    job: str
    member: str
    proof: Proof
    changes: Changes
    minutes: Fraction

    @property
    def setup(self) -> Setup:
        """The set-up."""
        return self.proof.case.setup

    def as_json(self) -> dict[str, Any]:
        """The turn as plain values."""
        return {
            "job": self.job,
            "title": self.title,
            "member": self.member,
            "change": {
                name: {"gears": list(one.gears), "idlers": list(one.idlers)}
                for name, one in self.setup.change.items()
            },
            "levers": dict(self.setup.levers),
            "changes": self.changes.as_json(),
            "minutes": float(self.minutes),
        }


@dataclass(frozen=True, repr=False)
class Day:
    """The turns on one machine in their order.

    `bound` is the least that changing over could take with the set-ups that were chosen from, `as_given` what it takes
    in the order in which the jobs were given, each with the set-up that `plan` puts first. `is_whole` where no set-up
    of the planned ratios was left out of the choice; `left_out` are members without a set-up, each with why.
    """

    machine: Machine
    turns: tuple[Turn, ...]
    bound: float
    as_given: Fraction
    is_whole: bool
    left_out: tuple[tuple[str, str], ...] = ()

    def __repr__(self) -> str:
        return f"<Day on {self.machine.name!r}: {len(self.turns)} turns, {float(self.minutes):g} minutes between>"

    @cached_property
    def minutes(self) -> Fraction:
        """What all changing over takes."""
        return sum((turn.minutes for turn in self.turns), Fraction(0))

    @property
    def is_proved(self) -> bool:
        """Whether no order of these jobs, with the set-ups that were chosen from, takes less."""
        return float(self.minutes) <= self.bound + 1e-6

    def moved(self, bracket: str) -> int:
        """How many gears are taken off or put on a bracket over the day, beginning after the first job."""
        pairs = zip(self.turns, self.turns[1:], strict=False)
        each = ((one.setup.change.get(bracket), other.setup.change.get(bracket)) for one, other in pairs)
        return sum(_moved(old, new) for old, new in each)

    def as_json(self) -> dict[str, Any]:
        """The day as plain values."""
        return {
            "machine": self.machine.name,
            "minutes": float(self.minutes),
            "bound_minutes": self.bound,
            "proved": self.is_proved,
            "every_set_up_looked_at": self.is_whole,
            "as_given_minutes": float(self.as_given),
            "turns": [turn.as_json() for turn in self.turns],
            "left_out": [{"title": title, "why": why} for title, why in self.left_out],
        }


def _moved(old: Any, new: Any) -> int:
    found = changes(StandsOnMachine({"": old} if old else {}), StandsOnMachine({"": new} if new else {}))
    return found.gear_off + found.gear_on


def order_of_the_day(
    pairs: Sequence[tuple[Job, Machine]], *,
    now: Mapping[str, StandsOnMachine] | None = None, executor: Executor | Crew | None = None,
) -> tuple[Day, ...]:  # fmt: skip
    """The order of these jobs on their machines, one day for each machine.

    `pairs` hold each job with the machine that is to cut it; `now` says by a machine's name what stands on it.
    """
    found = dict(each_done(candidates, pairs, executor))
    machines = {machine.digest: machine for _, machine in pairs}
    return tuple(
        _day(
            machine,
            [one for at, (_, on) in enumerate(pairs) if on.digest == digest for one in found[at]],
            (now or {}).get(machine.name) or StandsOnMachine.bare(machine),
        )
        for digest, machine in machines.items()
    )


def _day(machine: Machine, members: Sequence[Candidates], start: StandsOnMachine) -> Day:
    can = [one for one in members if one.setups]
    left_out = tuple((one.title, one.why) for one in members if not one.setups)
    if not can:
        return Day(machine, (), 0.0, Fraction(0), True, left_out)
    struck: set[tuple[int, Setup]] = set()
    for _ in range(_MOST_ROUNDS):
        choices, whole = _choices(can, start, struck)
        picks, bound = _best(can, choices, start, machine)
        proofs = [can[member].prove(setup) for member, setup in picks]
        wrong = [pick for pick, proof in zip(picks, proofs, strict=True) if not proof.is_as_wanted]
        if not wrong:
            return Day(
                machine,
                _turns(can, picks, proofs, start),
                bound,
                _as_given(can, start, machine),
                whole,
                left_out,
            )
        struck.update(wrong)
    raise HandleadError(f"{machine.name}: no order could be proved of the set-ups that were chosen from")


def _choices(
    members: Sequence[Candidates], start: StandsOnMachine, struck: set[tuple[int, Setup]]
) -> tuple[list[list[Setup]], bool]:
    """For each member the set-ups that are chosen from, and whether none was left out."""
    most = max(_LEAST_SETUPS, min(_MOST_SETUPS, _SETUPS_IN_ALL // len(members)))
    stands = StandingChoices(members, start.change)
    choices, whole = [], True
    for at, one in enumerate(members):
        found, complete = variants(one, at, stands, most)
        choices.append([setup for setup in found if (at, setup) not in struck] or list(one.setups[:1]))
        whole = whole and complete
    return choices, whole


_Pick = tuple[int, Setup]
"""A member by its number, and the set-up taken for it."""


@dataclass(frozen=True)
class _Together:
    """What is set one after the other with nothing between: a member, or the two halves of one blank.

    `within` are the minutes that changing over takes from the first to the last.
    """

    picks: tuple[_Pick, ...]
    first: StandsOnMachine
    last: StandsOnMachine
    within: Fraction


def _runs(members: Sequence[Candidates], choices: Sequence[Sequence[Setup]], machine: Machine) -> list[list[_Together]]:
    """The runs to be put in order, with the choices of each; of two halves those pairs that change over quickest."""
    found: list[list[_Together]] = []
    for at, (one, setups) in enumerate(zip(members, choices, strict=True)):
        runs = [
            _Together(((at, setup),), stand, stand, Fraction(0))
            for setup in setups
            for stand in [StandsOnMachine.of(one.job, setup, machine)]
        ]
        is_second = one.member == SECOND_HALF and at and members[at - 1].job.path == one.job.path
        if is_second:
            most = max(len(found[-1]), len(runs))
            both = (_after(first, second, machine) for first in found[-1] for second in runs)
            found[-1] = sorted(both, key=lambda run: run.within)[:most]
        else:
            found.append(runs)
    return found


def _after(one: _Together, other: _Together, machine: Machine) -> _Together:
    between = changes(one.last, other.first).minutes(times_of(machine))
    return _Together((*one.picks, *other.picks), one.first, other.last, one.within + between + other.within)


def _best(
    members: Sequence[Candidates], choices: Sequence[Sequence[Setup]], start: StandsOnMachine, machine: Machine
) -> tuple[list[_Pick], float]:
    """The order with the set-up of each, and the least that it could cost."""
    import numpy as np

    from .sequence import Costs, best_route

    times = times_of(machine)
    runs = _runs(members, choices, machine)
    rows = [(at, run) for at, each in enumerate(runs) for run in each]
    between = np.zeros((len(rows), len(rows)))
    for one, (at, before) in enumerate(rows):
        for other, (to, after) in enumerate(rows):
            if at != to:
                between[one, other] = changes(before.last, after.first).minutes(times) + after.within
    first = np.array([float(changes(start, run.first).minutes(times) + run.within) for _, run in rows])
    route = best_route(Costs(first, between, np.array([at for at, _ in rows])))
    return [pick for at, which in route.picks for pick in runs[at][which].picks], route.bound


def _turns(
    members: Sequence[Candidates],
    picks: Sequence[tuple[int, Setup]],
    proofs: Sequence[Proof],
    start: StandsOnMachine,
) -> tuple[Turn, ...]:
    turns, before = [], start
    for (at, setup), proof in zip(picks, proofs, strict=True):
        one = members[at]
        after = StandsOnMachine.of(one.job, setup, one.machine)
        done = changes(before, after)
        turns.append(
            Turn(one.title, one.job.path, one.member, proof, done, done.minutes(times_of(one.machine)))
        )
        before = after
    return tuple(turns)


def _as_given(members: Sequence[Candidates], start: StandsOnMachine, machine: Machine) -> Fraction:
    """What changing over takes in the order given, with the set-ups that were planned first."""
    before, total, times = start, Fraction(0), times_of(machine)
    for one in members:
        after = StandsOnMachine.of(one.job, one.setups[0], machine)
        total += changes(before, after).minutes(times)
        before = after
    return total


def on_best_machines(
    found: Survey, jobs: Sequence[Job], machines: Sequence[Machine] = ()
) -> list[tuple[Job, Machine]]:
    """Each job that can be cut with the machine that a survey put first for it."""
    by_name = {machine.name: machine for machine in (*(job.machine for job in jobs), *machines)}
    best = found.best
    return [(job, by_name[row.machine]) for job in jobs if (row := best[job.path]) is not None]


def standing_now(paths: Iterable[Path]) -> dict[str, StandsOnMachine]:
    """What stands on machines now, by their names, from job files that have been set up there.

    Raises `HandleadError` for a job without a set-up, and for two on one machine.
    """
    found: dict[str, StandsOnMachine] = {}
    for path in paths:
        job = read_job(path)
        if job.setup is None:
            raise HandleadError(
                f"{path}: it has no [setup], so it can't be what stands on {job.machine.name} now"
            )
        if job.machine.name in found:
            raise HandleadError(
                f"{path}: another job stands on {job.machine.name} already. Name one for each machine"
            )
        found[job.machine.name] = StandsOnMachine.of(job, job.setup, job.machine)
    return found
