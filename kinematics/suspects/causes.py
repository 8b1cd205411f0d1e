"""Which faults explain what was seen, likeliest first, and which check tells most of them apart.

Every single fault, and every pair of common ones, is run exactly on the set-up; those that show all
that was seen stay as suspects. A suspect's weight is how often its faults are met times how closely
it fits; where nothing is measured, commonness alone decides.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from heapq import nsmallest
from typing import Any

from handlead.kinematics.slips.evidence import Evidence, view_of_marks
from handlead.kinematics.slips.faults import Fault, combined
from handlead.kinematics.slips.standing import Changes
from handlead.kinematics.slips.study import Study

from .inspections import is_not_sure
from .suspects import (
    Answer,
    Explanation,
    NearMiss,
    Suspect,
    Tryout,
    answering,
    each_once,
    is_as_written,
    mark_turns,
    name_of,
    ranked,
    together,
)

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

Progress = Callable[[float], None]


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
    trial = Tryout(study, mark_turns(study))
    found, tried = study.once(
        "what shows it", (evidence, as_set, tuple(faults)),
        lambda: _showing(trial, faults, evidence, progress, as_set),
    )  # fmt: skip
    left = each_once(answering(_needed(found, study), answers) or answering(found, answers))
    suspects = ranked(left)
    unknown = _unknown(trial, left, evidence, answers)
    nearest = () if suspects and unknown < FAR_FETCHED else _nearest(trial, faults, evidence, answers)
    return Explanation(suspects, nearest, tried, unknown)


def _showing(
    trial: Tryout, faults: Sequence[Fault], evidence: Evidence, progress: Progress | None, as_set: Fault | None
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
    trial: Tryout, left: Sequence[Suspect], evidence: Evidence, answers: Sequence[Answer]
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
    trial: Tryout, faults: tuple[Fault, ...], prior: float, changes: Changes, evidence: Evidence
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


def _nearest(
    trial: Tryout, faults: Sequence[Fault], evidence: Evidence, answers: Sequence[Answer]
) -> tuple[NearMiss, ...]:
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
        misses.append(NearMiss(suspect, against))
    misses.sort(key=_how_far)
    apart: dict[tuple[Any, ...], NearMiss] = {}
    for miss in misses:
        apart.setdefault(miss.suspect.leaves, miss)
    return tuple(apart.values())[:NEAREST]


def _how_far(miss: NearMiss) -> tuple[float, float, tuple[Any, ...]]:
    """Few things against it first; a misfit counts by its size, but none more than ten times its allowance."""
    return (sum(min(misfit, 10.0) for _, misfit in miss.against), -miss.suspect.prior, name_of(miss.suspect))
