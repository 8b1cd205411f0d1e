"""The set-ups that a member may be cut with: those that were planned, and the same ratios from other gears."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache

from handlead.kinematics.brackets.bracket import Bracket
from handlead.kinematics.brackets.drawer import drawer_for
from handlead.kinematics.search.change_gears import nearest_sets
from handlead.kinematics.train.mounted import ChangeGears, Mounted
from handlead.kinematics.train.setup import Setup
from handlead.kinematics.work.requirement import Work
from handlead.machines.job_files.job_file import Job
from handlead.machines.machine_files.machine_file import Machine
from handlead.machines.planning.planned import Planned, tenths
from handlead.machines.planning.planning import plan
from handlead.machines.proving.proof import Proof, prove_case
from handlead.machines.setups.case import Case
from handlead.machines.setups.drawers import drawers_of, shortfalls

#: Planned set-ups of a member that are gone on from, and ways of mounting one ratio that are looked at on a bracket.
_MOST_PLANNED, _MOST_MOUNTINGS = 5, 400

#: Choices of all brackets together that are looked at for each set-up that is kept.
_TRIED = 40

#: Pairs that are looked at on a bracket.
_PAIRS = (1, 2)


@dataclass(frozen=True)
class Candidates:
    """A member of a job, and what it may be cut with.

    `setups` as they were planned, `mountings` all that give one of their ratios on a bracket.
    """

    job: Job
    machine: Machine
    member: str
    work: Work
    setups: tuple[Setup, ...]
    mountings: Mapping[tuple[str, Fraction], tuple[Mounted, ...]]
    why: str = ""

    @property
    def title(self) -> str:
        """The job, and which member where it has two."""
        return f"{self.job.title}, {self.member}" if self.job.mate is not None else self.job.title

    def case(self, setup: Setup) -> Case:
        """The member with a set-up of its."""
        return Case.of(replace(self.job, machine=self.machine, work=self.work, mate=None, setup=setup), setup)

    def prove(self, setup: Setup) -> Proof:
        """Whether a set-up cuts it."""
        return prove_case(self.case(setup))


def candidates(piece: tuple[Job, Machine]) -> tuple[Candidates, ...]:
    """For each member that is asked for, what it may be cut with; a member without set-ups says why."""
    job, machine = piece
    found = []
    for member in plan(job, machine, top=_MOST_PLANNED).members:
        if member.name not in ("work", "mate"):
            continue
        setups = tuple(one.setup for one in _good_enough(member.setups, member.work))
        ratios = {(name, mounted.ratio) for setup in setups for name, mounted in setup.change.items()}
        mountings = {key: _mountings(machine, *key) for key in sorted(ratios)}
        found.append(
            Candidates(job, machine, member.name, member.work, setups, mountings, member.none_because or "")
        )
    return tuple(found)


def _good_enough(planned: Sequence[Planned], work: Work) -> Iterator[Planned]:
    """Those that keep what the best one keeps: what was asked for, and the class to a tenth of what it allows."""
    for one in planned:
        best = planned[0]
        keeps = len(one.against) <= len(best.against) and one.is_exact == best.is_exact
        if keeps and tenths(one.helix_slope_um, work) <= max(1, tenths(best.helix_slope_um, work)):
            yield one


def _mountings(machine: Machine, name: str, ratio: Fraction) -> tuple[Mounted, ...]:
    """Every way to mount a signed ratio on a bracket, as far as they are looked at; few gears first."""
    link = machine.train.link(name)
    assert isinstance(link, ChangeGears)
    drawer = drawer_for(name, drawers_of(machine))
    pairs = [number for number in link.pairs if number in _PAIRS]
    if not pairs or not len(drawer):
        return ()
    try:
        found = nearest_sets(
            abs(ratio), drawer, pairs=pairs, idlers=link.idlers, turns_over=ratio < 0, different="order", exact=True,
            bracket=Bracket.of(link.bracket) if link.bracket else None, limit=_MOST_MOUNTINGS,
        ).sets  # fmt: skip
    except ValueError:
        return ()
    return tuple(dict.fromkeys(one.mounted for one in found))


# ---------------------------------------------------------------- those that matter

_Place = tuple[int, int, int]
_Scored = tuple[int, Mounted]


class StandingChoices:
    """What may stand on each bracket for a member, or stands there now: gears that another may find in their places."""

    def __init__(self, stands: Mapping[str, Iterable[Mounted]]) -> None:
        self.groups: dict[str, set[frozenset[_Place]]] = {}
        for name, every in stands.items():
            groups = self.groups.setdefault(name, set())
            for mounted in every:
                groups.update(_groups(mounted))

    @classmethod
    def of(cls, member: Candidates) -> StandingChoices:
        """What may stand for a member."""
        found: dict[str, dict[Mounted, None]] = {}
        for setup in member.setups:
            for name, mounted in setup.change.items():
                every = (mounted, *member.mountings.get((name, mounted.ratio), ()))
                found.setdefault(name, {}).update(dict.fromkeys(every))
        return cls(found)

    def most_staying(self, name: str, mounted: Mounted) -> int:
        """How many gears of it can stay, or be left from it, at most."""
        groups = self.groups.get(name, ())
        return max((len(group) for group in _groups(mounted) if group in groups), default=0)

    def known(self, name: str) -> set[_Place]:
        """The gears in their places that it has."""
        return {place for group in self.groups.get(name, ()) if len(group) == 1 for place in group}


@lru_cache(maxsize=20_000)
def _groups(mounted: Mounted) -> tuple[frozenset[_Place], ...]:
    """Every group of its gears, each with its place among so many."""
    places = [(len(mounted.gears), at, teeth) for at, teeth in enumerate(mounted.gears)]
    return tuple(
        frozenset(group)
        for size in range(1, len(places) + 1)
        for group in itertools.combinations(places, size)
    )


def variants(of: Candidates, others: Sequence[StandingChoices], most: int) -> tuple[list[Setup], bool]:
    """The set-ups of a member that may keep most of what stands for the `others`, and whether none was left out."""
    found: dict[tuple[tuple[str, Mounted], ...], tuple[int, Setup]] = {}
    whole, scored = True, {}
    for setup in of.setups:
        lists = []
        for name, planned in setup.change.items():
            key = name, planned.ratio
            if key not in scored:
                scored[key] = _scored(of, name, planned, others, max(3, most // 2))
            lists.append(scored[key][0])
            whole = whole and scored[key][1]
        whole = whole and math.prod(map(len, lists)) <= _TRIED * most
        for chosen in itertools.islice(itertools.product(*lists), _TRIED * most):
            change = {name: mounted for (_, mounted), name in zip(chosen, setup.change, strict=True)}
            shared = sum(score for score, _ in chosen)
            found.setdefault(tuple(change.items()), (-shared, replace(setup, change=change)))
    ranked = [setup for _, setup in sorted(found.values(), key=lambda one: one[0])]
    allowed = (
        one for one in ranked if one not in of.setups[:1] and not any(shortfalls(of.machine, one.change))
    )
    # The planned one stays in: nothing stands against it.
    kept = [*of.setups[:1], *itertools.islice(allowed, most - 1)]
    return kept, whole and next(allowed, None) is None


def _scored(
    of: Candidates, name: str, planned: Mounted, others: Sequence[StandingChoices], room: int
) -> tuple[list[_Scored], bool]:
    """What may stand on a bracket, that first of which most can stay; of what is alike to all others only one."""
    every = dict.fromkeys((planned, *of.mountings.get((name, planned.ratio), ())))
    known = {place for one in others for place in one.known(name)}
    alike: dict[tuple[object, ...], Mounted] = {}
    for mounted in every:
        places = frozenset(place for place in _groups(mounted)[-1] if place in known)
        alike.setdefault((places, len(mounted.gears), mounted.idlers), mounted)
    scored = sorted(
        ((sum(one.most_staying(name, mounted) for one in others), mounted) for mounted in alike.values()),
        key=lambda one: (-one[0], len(one[1].idlers), len(one[1].gears), sum(one[1].gears)),
    )
    return scored[:room], len(scored) <= room and len(every) <= _MOST_MOUNTINGS
