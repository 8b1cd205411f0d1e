"""Suspects: faults with all that they bring about, and which of them leave the same teeth."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from handlead.kinematics.law.outcome import Outcome
from handlead.kinematics.slips.evidence import View
from handlead.kinematics.slips.faults import Fault
from handlead.kinematics.slips.standing import Standing
from handlead.kinematics.slips.study import Study
from handlead.kinematics.transfer.response import Running

from .inspections import Check, SetUpShown

#: Leans that lie nearer to each other are the same to a person: what a vernier protractor reads, 5' (from memory).
SAME_LEAN_DEG = 5 / 60

#: And spaces that miss each other by so much of a pitch more or less, after a turn (own judgement).
SAME_MISS = 1 / 10


@dataclass(frozen=True)
class Suspect:
    """One or two faults, the set-up as it would then have stood, and what it leaves.

    `weight` is the share among all suspects; `prior` how often the faults are met, before anything
    was seen. `also` names other faults that come to the very same set-up.
    """

    faults: tuple[Fault, ...]
    standing: Standing
    running: Running
    outcome: Outcome | None
    view: View
    prior: float
    closeness: float
    weight: float = 0.0
    also: tuple[tuple[Fault, ...], ...] = ()
    #: The table's turns for the hob turns that a check by the mark asks for.
    table_turns: Fraction | None = None

    @property
    def leaves(self) -> tuple[Any, ...]:
        """What is the same for all suspects whose blanks have the same teeth: count, hand, exact lead and size.

        Where the spaces don't meet the count is the rates' own, no whole number: the nearest one hangs on the swivel.
        """
        view, outcome = self.view, self.outcome
        lean = view.lead if view.lead is not None else round(view.helix_deg or 0.0, 9)
        against = outcome.real_teeth if outcome and not view.spaces_meet else None
        size = self.standing.hob.module_n if view.teeth is not None else None
        return (
            view.teeth if against is None else None,
            view.hand,
            lean,
            size,
            against,
            tuple(sorted(view.marks)) if view.teeth is None else (),
        )

    @property
    def scene(self) -> SetUpShown:
        """What a person finds if this is what happened."""
        return SetUpShown(self.standing, self.view, self.table_turns)


@dataclass(frozen=True)
class NearMiss:
    """A fault that nearly explains what was seen, and what speaks against it."""

    suspect: Suspect
    against: tuple[tuple[str, float], ...]


@dataclass(frozen=True)
class Explanation:
    """Suspects, those that leave the same teeth standing together, likeliest first; near misses if there are none.

    Teeth are the same here where nobody tells them apart (`SAME_LEAN_DEG`, `SAME_MISS`).

    `tried` counts the set-ups that were run. `unknown` is the share that is kept for something which no
    fault that is known here comes to; the suspects' weights share out the rest.
    """

    suspects: tuple[Suspect, ...]
    nearest: tuple[NearMiss, ...]
    tried: int
    unknown: float = 0.0

    @property
    def groups(self) -> tuple[tuple[Suspect, ...], ...]:
        """The suspects, those together that leave the same teeth; in the order in which the suspects stand."""
        place = {id(suspect): number for number, suspect in enumerate(self.suspects)}
        groups = [sorted(group, key=lambda one: place[id(one)]) for group in together(self.suspects)]
        return tuple(map(tuple, sorted(groups, key=lambda group: place[id(group[0])])))


def together(suspects: Iterable[Suspect]) -> list[list[Suspect]]:
    """The suspects by the teeth that they leave: alike in count, hand and size, in the lean as near as can be told.

    Spaces that don't meet are alike where they miss by as much, and their marks lean as much.
    """
    alike: dict[tuple[Any, ...], list[Suspect]] = {}
    for suspect in suspects:
        teeth, hand, _, size, against, marks = suspect.leaves
        alike.setdefault((teeth, hand, size, against is None, marks), []).append(suspect)
    return [
        group
        for those in alike.values()
        for near in _near(those, lambda suspect: float(suspect.leaves[4] or 0), SAME_MISS)
        for group in _near(near, _leaning, SAME_LEAN_DEG)
    ]


def _leaning(suspect: Suspect) -> float:
    view = suspect.view
    return view.helix_deg if view.helix_deg is not None else view.outside_deg or 0.0


def _near(
    suspects: Iterable[Suspect], of: Callable[[Suspect], float], within: float
) -> Iterator[list[Suspect]]:
    """The suspects in lots: from the least on, each takes in what lies so near to its first."""
    lot: list[Suspect] = []
    for value, suspect in sorted(((of(suspect), suspect) for suspect in suspects), key=lambda one: one[0]):
        if lot and value > of(lot[0]) + within:
            yield lot
            lot = []
        lot.append(suspect)
    if lot:
        yield lot


@dataclass(frozen=True)
class Answer:
    """What a person found at a check."""

    check: Check
    found: str


@dataclass(frozen=True)
class Tryout:
    """Set-ups run one after the other on the same bench."""

    study: Study
    mark_turns: int
    def run(self, standing: Standing) -> Running | None:
        """What the machine does; None where two levers fight."""
        return self.study.bench.running(standing)

    def suspect(
        self, faults: tuple[Fault, ...], standing: Standing, running: Running, prior: float, closeness: float,
        shown: View | None = None,
    ) -> Suspect:  # fmt: skip
        """The faults with all that they bring about; `shown` is what is seen of it where that is known already."""
        outcome, view = self.study.view(standing, running)
        view = shown or view
        turns = None
        if running.rates is not None and running.hob_way:
            turns = running.rates.table * self.mark_turns * running.hob_way
        return Suspect(faults, standing, running, outcome, view, prior, closeness, table_turns=turns)


def mark_turns(study: Study) -> int:
    """Whole turns of the hob that bring the table about once round as the set-up is meant."""
    rates = study.running.rates if study.running else None
    return max(1, round(abs(1 / rates.table))) if rates is not None and rates.table else 1


def is_as_written(suspect: Suspect, study: Study) -> bool:
    """Whether nothing stood otherwise than it is written."""
    return suspect.standing.key == study.base.key


def answering(found: Iterable[Suspect], answers: Sequence[Answer]) -> list[Suspect]:
    """The suspects that show what was found at every check."""
    return [
        suspect
        for suspect in found
        if all(answer.check.agrees(answer.found, answer.check.outcome(suspect.scene)) for answer in answers)
    ]


def each_once(found: Iterable[Suspect]) -> list[Suspect]:
    """Faults that come to the very same set-up as one suspect, named after the commonest; their weights add up."""
    by_standing: dict[tuple[Any, ...], list[Suspect]] = {}
    for suspect in found:
        by_standing.setdefault(suspect.standing.key, []).append(suspect)
    once = []
    for same in by_standing.values():
        first, *others = sorted(same, key=lambda suspect: (-suspect.prior, name_of(suspect)))
        once.append(
            replace(first, prior=sum(one.prior for one in same), also=tuple(other.faults for other in others))
        )
    return once


def name_of(suspect: Suspect) -> tuple[tuple[str, str, str], ...]:
    """What a suspect is called where two weigh the same: its faults, in the order of the alphabet."""
    return tuple(sorted((fault.kind.kind, fault.where, fault.detail) for fault in suspect.faults))


def ranked(suspects: Sequence[Suspect]) -> tuple[Suspect, ...]:
    """With their weights, which add up to 1; those that leave the same teeth together, likeliest first."""
    total = sum(suspect.prior * suspect.closeness for suspect in suspects)
    if not total:
        return ()
    weighed = [replace(suspect, weight=suspect.prior * suspect.closeness / total) for suspect in suspects]
    groups = together(weighed)
    for group in groups:
        group.sort(key=lambda suspect: (-suspect.weight, name_of(suspect)))
    ordered = sorted(groups, key=lambda group: (-sum(one.weight for one in group), name_of(group[0])))
    return tuple(suspect for group in ordered for suspect in group)
