"""Which faults explain what was seen, likeliest first, and which check tells most of them apart.

Every single fault, and every pair of common ones, is run exactly on the set-up; those that show all
that was seen stay as suspects. A suspect's weight is how often its faults are met times how closely
it fits; where nothing is measured, commonness alone decides.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from heapq import nsmallest
from typing import Any

from handlead.kinematics.law.outcome import Outcome
from handlead.kinematics.transfer.response import Running

from .evidence import Evidence, View, view_of_marks
from .faults import Fault, combined
from .inspections import LOOKS, NONE_OF_THESE, Check, Scene, is_not_sure
from .standing import Changes, Standing
from .study import Study

#: In a hundred wrong cuts so many have two faults at once (own judgement).
PAIRS_IN_HUNDRED = 10.0

#: In a hundred wrong cuts so many come of something that no row of the table holds (own judgement).
UNKNOWN_IN_HUNDRED = 5.0

#: How likely something of no known cause leaves a look at the machine as it was meant, and otherwise (own judgement).
LOOKS_AS_MEANT, LOOKS_OTHERWISE = 0.8, 0.1

#: From this share on the likeliest cause is looked at itself, whatever tells more of the others apart.
NEARLY_SURE = 0.95

#: With so great a share for something unknown, what the table has is no explanation.
FAR_FETCHED = 0.99

#: How likely just the count that was seen is where something slips, and any may be counted (own judgement).
ANY_COUNT = 1 / 40

#: So many near misses are named where nothing explains what was seen.
NEAREST = 5

#: Leans that lie nearer to each other are the same to a person: what a vernier protractor reads, 5' (from memory).
SAME_LEAN_DEG = 5 / 60

#: And spaces that miss each other by so much of a pitch more or less, after a turn (own judgement).
SAME_MISS = 1 / 10

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

    Teeth are the same here where nobody tells them apart (`SAME_LEAN_DEG`, `SAME_MISS`).

    `tried` counts the set-ups that were run. `unknown` is the share that is kept for something which no
    fault that is known here comes to; the suspects' weights share out the rest.
    """

    suspects: tuple[Suspect, ...]
    nearest: tuple[Miss, ...]
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
class Trial:
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
    found, tried = study.once(
        "what shows it", (evidence, as_set, tuple(faults)),
        lambda: _showing(trial, faults, evidence, progress, as_set),
    )  # fmt: skip
    left = _once(_answering(_needed(found, study), answers) or _answering(found, answers))
    suspects = _ranked(left)
    unknown = _unknown(trial, left, evidence, answers)
    nearest = () if suspects and unknown < FAR_FETCHED else _nearest(trial, faults, evidence, answers)
    return Explanation(suspects, nearest, tried, unknown)


def _showing(
    trial: Trial, faults: Sequence[Fault], evidence: Evidence, progress: Progress | None, as_set: Fault | None
) -> tuple[list[Suspect], int]:
    """Whatever shows what was seen and can be mounted, before any answer, and how many set-ups were run."""
    study = trial.study
    found: list[Suspect] = []
    tried = 0
    for candidate, prior, changes in _candidates(faults, as_set, progress):
        tried += 1
        suspect = _tried(trial, candidate, prior, changes, evidence)
        if suspect is not None:
            found.append(suspect)
    from .pairs import lean_seen

    # By the count alone thousands of pairs fit: they are looked at where nothing plainer does.
    plain = not lean_seen(evidence) and found and _unknown(trial, found, evidence, ()) < 0.5
    for first, second in () if plain else _uncommon_pairs(study, faults, evidence):
        both = combined(first, second)
        if both is not None:
            tried += 1
            suspect = _tried(trial, (first, second), pair_chance(first, second), both, evidence)
            if suspect is not None:
                found.append(suspect)
    return [suspect for suspect in found if study.can_stand(suspect.standing)], tried


#: So many pairs that may explain it are run exactly, those met most often first; fewer where only the count tells.
MOST_PAIRS, MOST_BY_COUNT = 6000, 1500


def _uncommon_pairs(
    study: Study, faults: Sequence[Fault], evidence: Evidence
) -> Sequence[tuple[Fault, Fault]]:
    """Pairs of which one at least isn't common, sieved by count and lean; none where these weren't seen."""
    if evidence.teeth is None:
        return ()
    from .pairs import lean_seen, may_explain

    found = may_explain(study, faults, evidence)
    most = MOST_PAIRS if lean_seen(evidence) else MOST_BY_COUNT
    # Among pairs that are met as often, what they change decides, not the order in which a file has its rows.
    words = {id(fault): sorted(map(repr, fault.changes.items())) for fault in faults}
    return nsmallest(
        most,
        found,
        key=lambda pair: (-float(f"{pair_chance(*pair):.9e}"), sorted(words[id(fault)] for fault in pair)),
    )


def _unknown(
    trial: Trial, left: Sequence[Suspect], evidence: Evidence, answers: Sequence[Answer]
) -> float:
    """The share of something that no known fault comes to, for what was seen and what was found at the checks."""
    study = trial.study
    assert study.running is not None
    meant = trial.suspect((), study.base, study.running, 1.0, 1.0)
    likely = UNKNOWN_IN_HUNDRED * evidence.by_chance(meant.view)
    for answer in answers:
        as_meant = answer.check.agrees(answer.found, answer.check.outcome(meant.scene))
        if not is_not_sure(answer.found):
            likely *= LOOKS_AS_MEANT if as_meant else LOOKS_OTHERWISE
    known = sum(suspect.prior * suspect.closeness for suspect in left)
    return likely / (likely + known)


def _needed(found: Sequence[Suspect], study: Study) -> list[Suspect]:
    """The suspects without what nothing on the blank speaks for.

    A second fault that changes nothing that can be seen, and any fault that leaves what the set-up as written
    leaves where that explains it all, is looked for only once answers have ruled the others out.
    """
    written = next((suspect.leaves for suspect in found if is_as_written(suspect, study)), None)
    blank = {id(suspect): number for number, group in enumerate(together(found)) for suspect in group}
    alone = {id(suspect.faults[0]): blank[id(suspect)] for suspect in found if len(suspect.faults) == 1}
    return [
        suspect
        for suspect in found
        if is_as_written(suspect, study)
        or (
            (written is None or suspect.leaves != written)
            and (
                len(suspect.faults) == 1
                or all(alone.get(id(fault)) != blank[id(suspect)] for fault in suspect.faults)
            )
        )
    ]


def is_as_written(suspect: Suspect, study: Study) -> bool:
    """Whether nothing stood otherwise than it is written."""
    return suspect.standing.key == study.base.key


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
    if standing.miscounted:
        evidence = evidence.recounted(standing.miscounted)
    possible = evidence.count_is_possible(running, hob.hand.value, hob.starts, float(hob.module_n))
    if not (possible or standing.slips):
        return None
    outcome, view = trial.study.view(standing, running)
    if standing.miscounted and evidence.teeth and evidence.teeth.value in view.counts:
        return None  # it was counted right
    closeness = evidence.closeness(view)
    if closeness is None and evidence.but_for_the_marks(view):
        # Whoever counts finds the marks that stand out, which needn't be the teeth, nor lean as they do.
        marks = trial.study.marks(standing, running, outcome, evidence.count_fits)
        if marks and evidence.count_fits((marks.count, *marks.others)):
            counts = view.counts | {marks.count, *marks.others}
            seen = (replace(view, counts=counts), view_of_marks(view, marks.count, marks.lean_deg))
            view, closeness = next(
                ((one, close) for one in seen if (close := evidence.closeness(one)) is not None), (view, None)
            )
    if closeness is not None and standing.slips and evidence.teeth:
        closeness *= ANY_COUNT
    return None if closeness is None else trial.suspect(faults, standing, running, prior, closeness, view)


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
    groups = together(weighed)
    for group in groups:
        group.sort(key=lambda suspect: (-suspect.weight, _name(suspect)))
    ordered = sorted(groups, key=lambda group: (-sum(one.weight for one in group), _name(group[0])))
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
    best: NextCheck | None = None
    for check in checks:
        splits = _splits(suspects, check)
        if len(splits) < 2:
            continue
        found = _worth(check, splits)
        if best is None or found.bits / found.check.minutes > best.bits / best.check.minutes:
            best = found
    return best


def _splits(suspects: Sequence[Suspect], check: Check) -> list[Split]:
    """What the check may show, with the suspects that are left then; one that may show either stands with both."""
    total = sum(suspect.weight for suspect in suspects) or 1.0
    outcomes = [check.outcomes(suspect.scene) for suspect in suspects]
    stands = check.together(each for either in outcomes for each in either)
    by_outcome: dict[str, list[tuple[int, float]]] = {}
    for number, either in enumerate(outcomes):
        for outcome in either:
            share = suspects[number].weight / total / len(either)
            by_outcome.setdefault(stands[outcome], []).append((number, share))
    return [
        Split(outcome, tuple(dict.fromkeys(number for number, _ in those)), sum(share for _, share in those))
        for outcome, those in by_outcome.items()
    ]


def _worth(check: Check, splits: list[Split]) -> NextCheck:
    bits = -sum(split.weight * math.log2(split.weight) for split in splits if split.weight > 0)
    splits.sort(key=lambda split: (-split.weight, split.outcome))
    return NextCheck(check, tuple(splits), bits)


def own_checks(suspect: Suspect, checks: Sequence[Check], meant: Scene) -> tuple[Check, ...]:
    """The checks that would find the suspect's faults themselves: those that could refute it."""
    as_written = suspect.standing.key == meant.standing.key
    own = []
    for fault in suspect.faults:
        for check in checks:
            there = check.looks_at == fault.kind.check and (not check.where or check.where in fault.where)
            if there and (as_written or check.outcome(suspect.scene) != check.outcome(meant)):
                own.append(check)
                break
    return tuple(dict.fromkeys(own))


def refuting_check(
    suspects: Sequence[Suspect], unknown: float, checks: Sequence[Check], made: Iterable[Check], meant: Scene
) -> NextCheck | None:
    """The next look at the likeliest suspect itself, which may speak against it; None where all were taken."""
    taken = set(made)
    for check in own_checks(suspects[0], checks, meant) if suspects else ():
        if check not in taken:
            splits = [replace(split, weight=split.weight * (1 - unknown)) for split in _splits(suspects, check)]
            return _worth(check, [*splits, Split(NONE_OF_THESE[0], (), unknown)])
    return None


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
