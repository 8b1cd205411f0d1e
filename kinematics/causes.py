"""Which faults explain what was seen, likeliest first, and which check tells most of them apart.

Every single fault, and every pair of common ones, is run exactly on the set-up; those that show all
that was seen stay as suspects. A suspect's weight is how often its faults are met times how closely
it fits; where nothing is measured, commonness alone decides.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import Any

from .evidence import Evidence, View, view_of
from .faults import NOTHING_DONE, Changes, Fault, Standing, Study, combined
from .inspections import LOOKS, Check, Scene
from .outcome import Outcome
from .response import Running

#: In a hundred wrong cuts so many have two faults at once (own judgement).
PAIRS_IN_HUNDRED = 10.0

#: So many near misses are named where nothing explains what was seen.
NEAREST = 5

Progress = Callable[[float], None]


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
        """What is the same for all suspects whose blanks have the same teeth: count, hand, exact lead and size."""
        view, outcome = self.view, self.outcome
        lean = view.lead if view.lead is not None else round(view.helix_deg or 0.0, 9)
        against = outcome.real_teeth if outcome and not view.spaces_meet else None
        size = self.standing.hob.module_n if view.teeth is not None else None
        return (
            view.teeth,
            view.hand,
            lean,
            size,
            against,
            tuple(sorted(view.marks)) if view.teeth is None else (),
        )

    @property
    def scene(self) -> Scene:
        """What a person finds if this is what happened."""
        return Scene(self.standing, self.view, self.table_turns)


@dataclass(frozen=True)
class Miss:
    """A fault that nearly explains what was seen, and what speaks against it."""

    suspect: Suspect
    against: tuple[tuple[str, float], ...]


@dataclass(frozen=True)
class Explanation:
    """Suspects, those that leave the same teeth standing together, likeliest first; near misses if there are none.

    `tried` counts the set-ups that were run.
    """

    suspects: tuple[Suspect, ...]
    nearest: tuple[Miss, ...]
    tried: int

    @property
    def groups(self) -> tuple[tuple[Suspect, ...], ...]:
        """The suspects, those together that leave the same teeth."""
        groups: dict[tuple[Any, ...], list[Suspect]] = {}
        for suspect in self.suspects:
            groups.setdefault(suspect.leaves, []).append(suspect)
        return tuple(map(tuple, groups.values()))


@dataclass(frozen=True)
class Answer:
    """What a person found at a check."""

    check: Check
    found: str


@dataclass(frozen=True)
class Trial:
    """Set-ups run one after the other on the same bench, with what is the same for all kept."""

    study: Study
    mark_turns: int
    _views: dict[Any, tuple[Outcome | None, View]] = field(default_factory=dict)

    def run(self, standing: Standing) -> Running | None:
        """What the machine does; None where two levers fight."""
        return self.study.bench.running(standing)

    def view(self, standing: Standing, running: Running) -> tuple[Outcome | None, View]:
        """The gear that comes out, and what of it is seen."""
        falls_in = standing.between_cuts == NOTHING_DONE
        key = (running, standing.swivel_deg, standing.hob, falls_in)
        if key not in self._views:
            outcome = self.study.bench.outcome(standing, running)
            self._views[key] = (outcome, view_of(running, outcome, second_cut_falls_in=falls_in))
        return self._views[key]

    def suspect(
        self, faults: tuple[Fault, ...], standing: Standing, running: Running, prior: float, closeness: float
    ) -> Suspect:
        """The faults with all that they bring about."""
        outcome, view = self.view(standing, running)
        turns = None
        if running.rates is not None and running.hob_way:
            turns = running.rates.table * self.mark_turns * running.hob_way
        return Suspect(faults, standing, running, outcome, view, prior, closeness, table_turns=turns)


def mark_turns(study: Study) -> int:
    """Whole turns of the hob that bring the table about once round as the set-up is meant."""
    rates = study.running.rates if study.running else None
    return max(1, round(abs(1 / rates.table))) if rates is not None and rates.table else 1


def explain(
    study: Study,
    faults: Sequence[Fault],
    evidence: Evidence,
    answers: Sequence[Answer] = (),
    progress: Progress | None = None,
    *,
    as_set: Fault | None = None,
) -> Explanation:
    """Every fault, and every pair of common ones, that shows what was seen, and the answers besides.

    `as_set` stands for the set-up as it is written, where that may be the fault itself. Suspects stand
    by the weight of all that leave the same teeth, then by their own; the weights add up to 1.
    """
    trial = Trial(study, mark_turns(study))
    found: list[Suspect] = []
    tried = 0
    for candidate, prior, changes in _candidates(faults, as_set, progress):
        tried += 1
        suspect = _tried(trial, candidate, prior, changes, evidence)
        if suspect is not None:
            found.append(suspect)
    suspects = _ranked(_once(_answering(_needed(found), answers) or _answering(found, answers)))
    nearest = () if suspects else _nearest(trial, faults, evidence, answers)
    return Explanation(suspects, nearest, tried)


def _needed(found: Sequence[Suspect]) -> list[Suspect]:
    """The suspects without those pairs of which one fault alone leaves the same teeth.

    A second fault that changes nothing of what was seen is looked for only once answers have ruled
    all others out: nothing on the blank speaks for it.
    """
    alone = {id(suspect.faults[0]): suspect.leaves for suspect in found if len(suspect.faults) == 1}
    return [
        suspect
        for suspect in found
        if len(suspect.faults) == 1 or all(alone.get(id(fault)) != suspect.leaves for fault in suspect.faults)
    ]


def _answering(found: Iterable[Suspect], answers: Sequence[Answer]) -> list[Suspect]:
    """The suspects that show what was found at every check."""
    return [
        suspect
        for suspect in found
        if all(answer.check.agrees(answer.found, answer.check.outcome(suspect.scene)) for answer in answers)
    ]


def _candidates(
    faults: Sequence[Fault], as_set: Fault | None, progress: Progress | None
) -> Iterator[tuple[tuple[Fault, ...], float, Changes]]:
    if as_set is not None:
        yield (as_set,), as_set.chance, as_set.changes
    for fault in faults:
        yield (fault,), fault.chance, fault.changes
    common = [fault for fault in faults if fault.kind.is_common]
    for number, first in enumerate(common):
        if progress and number % 8 == 0:
            progress(1 - (1 - number / len(common)) ** 2)
        for second in common[number + 1 :]:
            changes = combined(first, second)
            if changes is not None:
                yield (first, second), pair_chance(first, second), changes
    if progress:
        progress(1.0)


def pair_chance(first: Fault, second: Fault) -> float:
    """How often two faults are met at once, in a hundred wrong cuts."""
    return first.chance * second.chance * PAIRS_IN_HUNDRED / 100**2


def _tried(
    trial: Trial, faults: tuple[Fault, ...], prior: float, changes: Changes, evidence: Evidence
) -> Suspect | None:
    """The faults as a suspect, if they show everything that was seen of the cut."""
    standing = trial.study.base.changed(changes)
    running = trial.run(standing)
    if running is None:
        return None
    hob = standing.hob
    if not evidence.count_is_possible(running, hob.hand.value, hob.starts, float(hob.module_n)):
        return None
    _, view = trial.view(standing, running)
    closeness = evidence.closeness(view)
    return None if closeness is None else trial.suspect(faults, standing, running, prior, closeness)


def _once(found: Iterable[Suspect]) -> list[Suspect]:
    """Faults that come to the very same set-up as one suspect, named after the commonest; their weights add up."""
    by_standing: dict[tuple[Any, ...], list[Suspect]] = {}
    for suspect in found:
        by_standing.setdefault(suspect.standing.key, []).append(suspect)
    once = []
    for same in by_standing.values():
        first, *others = sorted(same, key=lambda suspect: (-suspect.prior, _name(suspect)))
        once.append(
            replace(first, prior=sum(one.prior for one in same), also=tuple(other.faults for other in others))
        )
    return once


def _name(suspect: Suspect) -> tuple[tuple[str, str, str], ...]:
    return tuple(sorted((fault.kind.kind, fault.where, fault.detail) for fault in suspect.faults))


def _ranked(suspects: Sequence[Suspect]) -> tuple[Suspect, ...]:
    total = sum(suspect.prior * suspect.closeness for suspect in suspects)
    if not total:
        return ()
    weighed = [replace(suspect, weight=suspect.prior * suspect.closeness / total) for suspect in suspects]
    groups: dict[tuple[Any, ...], list[Suspect]] = {}
    for suspect in weighed:
        groups.setdefault(suspect.leaves, []).append(suspect)
    for group in groups.values():
        group.sort(key=lambda suspect: (-suspect.weight, _name(suspect)))
    ordered = sorted(groups.values(), key=lambda group: (-sum(one.weight for one in group), _name(group[0])))
    return tuple(suspect for group in ordered for suspect in group)


def _nearest(
    trial: Trial, faults: Sequence[Fault], evidence: Evidence, answers: Sequence[Answer]
) -> tuple[Miss, ...]:
    misses = []
    for fault in faults:
        standing = trial.study.base.changed(fault.changes)
        running = trial.run(standing)
        if running is None:
            continue
        suspect = trial.suspect((fault,), standing, running, fault.chance, 0.0)
        against = evidence.against(suspect.view)
        against += tuple(
            (answer.check.do, math.inf)
            for answer in answers
            if not answer.check.agrees(answer.found, answer.check.outcome(suspect.scene))
        )
        misses.append(Miss(suspect, against))
    misses.sort(key=_how_far)
    apart: dict[tuple[Any, ...], Miss] = {}
    for miss in misses:
        apart.setdefault(miss.suspect.leaves, miss)
    return tuple(apart.values())[:NEAREST]


def _how_far(miss: Miss) -> tuple[float, float, tuple[Any, ...]]:
    """Few things against it first; a misfit counts by its size, but none more than ten times its allowance."""
    return (sum(min(misfit, 10.0) for _, misfit in miss.against), -miss.suspect.prior, _name(miss.suspect))


# ---------------------------------------------------------------- the next check


@dataclass(frozen=True)
class Split:
    """What a check may show, and the suspects (by their place in the list, from 0) that are left then."""

    outcome: str
    suspects: tuple[int, ...]
    weight: float


@dataclass(frozen=True)
class NextCheck:
    """The check that tells most for the time it takes; `bits` is what it tells on the average."""

    check: Check
    splits: tuple[Split, ...]
    bits: float


def next_check(suspects: Sequence[Suspect], checks: Iterable[Check]) -> NextCheck | None:
    """The check that splits the suspects best for its minutes; None where none of them tells any apart.

    What is gained is the mean information of the answer, in bits, as the weights stand.
    Source: C. E. Shannon, "A Mathematical Theory of Communication", 1948 (from memory).
    """
    scenes = [suspect.scene for suspect in suspects]
    total = sum(suspect.weight for suspect in suspects) or 1.0
    best: NextCheck | None = None
    for check in checks:
        outcomes = [check.outcome(scene) for scene in scenes]
        stands = check.together(outcomes)
        by_outcome: dict[str, list[int]] = {}
        for number, outcome in enumerate(outcomes):
            by_outcome.setdefault(stands[outcome], []).append(number)
        if len(by_outcome) < 2:
            continue
        splits = [
            Split(outcome, tuple(numbers), sum(suspects[n].weight for n in numbers) / total)
            for outcome, numbers in by_outcome.items()
        ]
        bits = -sum(split.weight * math.log2(split.weight) for split in splits if split.weight > 0)
        if best is None or bits / check.minutes > best.bits / best.check.minutes:
            splits.sort(key=lambda split: (-split.weight, split.outcome))
            best = NextCheck(check, tuple(splits), bits)
    return best


def all_checks(
    rows: Iterable[tuple[str, str, float]], brackets: Iterable[str], levers: Iterable[str], turns: int
) -> tuple[Check, ...]:
    """The checks of the table at every place where they can be made.

    A row is what is looked at, what to do (with ``{where}`` and ``{turns}`` in it), and the minutes.
    Raises `ValueError` for a look that isn't known.
    """
    places: Mapping[str, Sequence[str]] = {"bracket": list(brackets), "lever": list(levers), "": [""]}
    checks = []
    for looks_at, do, minutes in rows:
        if looks_at not in LOOKS:
            raise ValueError(f"looks_at is {looks_at!r}; it must be one of {', '.join(LOOKS)}")
        for where in places[LOOKS[looks_at].at]:
            checks.append(Check(looks_at, where, do.format(where=where, turns=turns), minutes))
    return tuple(checks)
