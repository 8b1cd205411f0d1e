"""The set-ups that a member may be cut with: those that were planned, and the same ratios from other gears."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from handlead.kinematics.brackets.bracket import Bracket
from handlead.kinematics.brackets.drawer import drawer_for
from handlead.kinematics.links.mounted import ChangeGears, Mounted
from handlead.kinematics.search.change_gears import nearest_sets
from handlead.kinematics.train.setup import Setup
from handlead.kinematics.work.requirement import Work
from handlead.machines.job_files.job_file import Job
from handlead.machines.machine_files.machine_file import Machine
from handlead.machines.planning.planned import Planned, tenths
from handlead.machines.planning.planning import ASKED_FOR, SECOND_HALF, plan
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
        if self.job.halves is not None and self.member == "work":
            return f"{self.job.title}, first half"
        several = self.job.mate is not None or self.job.halves is not None
        return f"{self.job.title}, {self.member}" if several else self.job.title

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
        if member.name not in ASKED_FOR:
            continue
        # A second half lies on the other side of the groove.
        half = job.halves.other if job.halves is not None and member.name == SECOND_HALF else job.halves
        setups = tuple(one.setup for one in _good_enough(member.setups, member.work))
        ratios = {(name, mounted.ratio) for setup in setups for name, mounted in setup.change.items()}
        mountings = {key: _mountings(machine, *key) for key in sorted(ratios)}
        found.append(
            Candidates(
                replace(job, halves=half), machine, member.name, member.work, setups, mountings,
                member.none_because or "",
            )
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
    """What may stand on each bracket for every member, or stands there now: what another may find in its place.

    Every group of gears in their places is kept with those for whom it may stand, as bits of a number: how many gears
    can stay for all the others is then counted at once.
    """

    def __init__(self, members: Sequence[Candidates], now: Mapping[str, Mounted]) -> None:
        self._bits: dict[str, dict[tuple[_Place, ...], int]] = {}
        for number, member in enumerate(members):
            for setup in member.setups:
                for name, mounted in setup.change.items():
                    for one in (mounted, *member.mountings.get((name, mounted.ratio), ())):
                        self._note(name, one, 1 << number)
        for name, mounted in now.items():
            self._note(name, mounted, 1 << len(members))

    def _note(self, name: str, mounted: Mounted, bit: int) -> None:
        bits = self._bits.setdefault(name, {})
        for group in _groups(mounted):
            bits[group] = bits.get(group, 0) | bit

    def staying(self, name: str, mounted: Mounted, number: int) -> int:
        """How many gears can stay, or be left from it, at most: for each of the others, summed up."""
        bits, counted, total = self._bits.get(name, {}), 1 << number, 0
        for group in _groups(mounted):
            new = bits.get(group, 0) & ~counted
            total += len(group) * new.bit_count()
            counted |= new
        return total

    def known(self, name: str, mounted: Mounted, number: int) -> tuple[_Place, ...]:
        """Those of its gears that may stand in their places for any other."""
        bits = self._bits.get(name, {})
        return tuple(place for place in _places(mounted) if bits.get((place,), 0) & ~(1 << number))


def _places(mounted: Mounted) -> list[_Place]:
    """Its gears, each with its place among so many."""
    return [(len(mounted.gears), at, teeth) for at, teeth in enumerate(mounted.gears)]


def _groups(mounted: Mounted) -> Iterator[tuple[_Place, ...]]:
    """Every group of its gears in their places, the largest first."""
    places = _places(mounted)
    for size in range(len(places), 0, -1):
        yield from itertools.combinations(places, size)


def variants(of: Candidates, number: int, stands: StandingChoices, most: int) -> tuple[list[Setup], bool]:
    """The set-ups of a member that may keep most of what stands for the others, and whether none was left out.

    `number` is its place among the members for whom gears stand.
    """
    found: dict[tuple[tuple[str, Mounted], ...], tuple[int, Setup]] = {}
    whole, scored = True, {}
    for setup in of.setups:
        lists = []
        for name, planned in setup.change.items():
            key = name, planned.ratio
            if key not in scored:
                scored[key] = _scored(of, name, planned, (number, stands), max(3, most // 2))
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
    of: Candidates, name: str, planned: Mounted, among: tuple[int, StandingChoices], room: int
) -> tuple[list[_Scored], bool]:
    """What may stand on a bracket, that first of which most can stay; of what is alike to all others only one."""
    number, stands = among
    every = dict.fromkeys((planned, *of.mountings.get((name, planned.ratio), ())))
    alike: dict[tuple[object, ...], Mounted] = {}
    for mounted in every:
        known = stands.known(name, mounted, number)
        alike.setdefault((known, len(mounted.gears), mounted.idlers), mounted)
    scored = sorted(
        ((stands.staying(name, mounted, number), mounted) for mounted in alike.values()),
        key=lambda one: (-one[0], len(one[1].idlers), len(one[1].gears), sum(one[1].gears)),
    )
    return scored[:room], len(scored) <= room and len(every) <= _MOST_MOUNTINGS
