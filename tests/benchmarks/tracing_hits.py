"""How often a planted fault is found: its place among the causes, and whether following the checks ends at it.

Run with ``python tests/benchmarks/tracing_hits.py [CASES [SEED]]``. Machines and jobs are made up; a fault is
drawn as often as the table of faults says (``by weight``) or every kind as often as any other (``by kind``). What
is seen is the count, the hand and the helix angle, rounded to half a degree after an error of up to a quarter. A
fault that leaves nothing to be seen of all this is drawn again. Where the spaces don't meet, that is seen, and the marks of one
turn are counted. A hit is
the planted fault, or one that leaves the same teeth to the last digit of the lead.
"""

from __future__ import annotations

import sys
from collections import Counter
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from random import Random

sys.path.insert(0, str(Path(__file__).parents[1]))

from handlead.kinematics.causes import Suspect, combined
from handlead.kinematics.evidence import View, view_of
from handlead.kinematics.faults import Fault, Study, find_faults
from handlead.kinematics.words import Hand
from handlead.machines.diagnosis import AS_WANTED, Diagnosis, study_of, trace, with_answer
from handlead.machines.fault_table import fault_table
from handlead.machines.job_file import Job, Seen
from made_up import right_job


@dataclass(frozen=True)
class Planted:
    """A job with what was seen after one or two faults, and what really stood there."""

    job: Job
    truth: Suspect


def seen_of(view: View, random: Random) -> Seen:
    """What a person notes of this view."""
    if view.teeth is None:
        return Seen(teeth=1 if "one notch" in view.marks else 0)
    if not view.spaces_meet:
        # The marks of the first turn can be counted; hand and angle can't be told.
        return Seen(teeth=random.choice(sorted(view.counts)), spaces_meet=False)
    measured = (view.helix_deg or 0.0) + random.uniform(-0.25, 0.25)
    half_degrees = Fraction(round(2 * max(measured, 0.0)), 2)
    if view.hand == "none" or (view.helix_deg or 0.0) < 0.25:
        return Seen(teeth=view.teeth, straight=True)
    return Seen(view.teeth, Hand[(view.hand or "").upper()], helix_angle_deg=half_degrees)


def standing_after(study: Study, faults: tuple[Fault, ...]) -> Suspect | None:
    """What these faults come to; None where they can't both be made, or levers fight."""
    changes = faults[0].changes if len(faults) == 1 else combined(*faults)
    if changes is None:
        return None
    standing = study.base.changed(changes)
    running = study.bench.running(standing)
    if running is None:
        return None
    outcome = study.bench.outcome(standing, running)
    rates = running.rates
    from handlead.kinematics.causes import mark_turns

    turns = rates.table * mark_turns(study) * (running.hob_way or 0) if rates else None
    view = view_of(running, outcome, second_cut_falls_in=standing.between_cuts == "nothing")
    return Suspect(faults, standing, running, outcome, view, 0.0, 1.0, table_turns=turns)


def plant(random: Random, how: str, number: int = 1) -> Planted:
    """A right job, one or two faults, and what is then seen; drawn until there is something to be seen."""
    while True:
        job = right_job(random)
        study = study_of(job, fault_table())
        faults = find_faults(fault_table().kinds, study)
        if number == 2:
            faults = tuple(fault for fault in faults if fault.kind.is_common)
        for _ in range(5):
            drawn = tuple(draw(random, faults, how) for _ in range(number))
            truth = standing_after(study, drawn)
            if truth is None or not truth.running.hob_way:
                continue
            if number == 2 and any(alike(truth, standing_after(study, (one,))) for one in drawn):
                continue  # one of the two can't be seen
            seen = seen_of(truth.view, random)
            wrong = job.with_seen(seen)
            if trace(wrong).verdict != AS_WANTED:
                return Planted(wrong, truth)


def alike(truth: Suspect, other: Suspect | None) -> bool:
    return other is not None and truth.leaves == other.leaves


def draw(random: Random, faults: tuple[Fault, ...], how: str) -> Fault:
    """A fault by its weight, or first a kind and then one of its places by theirs."""
    if how == "by kind":
        kind = random.choice(sorted({fault.kind.kind for fault in faults}))
        faults = tuple(fault for fault in faults if fault.kind.kind == kind)
    return random.choices(faults, [fault.chance for fault in faults])[0]


def place_of(found: Diagnosis, truth: Suspect) -> tuple[int | None, int | None]:
    """The truth's place among the causes and among the groups, from 1; None if it isn't there."""
    causes = next((n for n, s in enumerate(found.suspects, 1) if s.leaves == truth.leaves), None)
    groups = next((n for n, g in enumerate(found.explanation.groups, 1) if g[0].leaves == truth.leaves), None)
    return causes, groups


def follow(planted: Planted, most: int = 30) -> tuple[bool, int, float]:
    """Whether answering each next check truly ends at the planted fault; how many there were, and the minutes."""
    job, found, asked, minutes = planted.job, trace(planted.job), 0, 0.0
    while found.next is not None and asked < most:
        check = found.next.check
        job = with_answer(job, check, check.outcome(planted.truth.scene))
        found, asked, minutes = trace(job), asked + 1, minutes + check.minutes
    ends = len(found.suspects) == 1 and found.suspects[0].standing.key == planted.truth.standing.key
    return ends, asked, minutes


def share(part: int, whole: int) -> str:
    return f"{part:4d} of {whole} ({part / whole:6.1%})"


def singles(cases: int, seed: int, how: str) -> None:
    random = Random(seed)
    ranks: list[tuple[int | None, int | None]] = []
    missed: Counter[str] = Counter()
    ended = checks = 0
    minutes = 0.0
    for _ in range(cases):
        planted = plant(random, how)
        found = trace(planted.job)
        ranks.append(place_of(found, planted.truth))
        if ranks[-1][0] is None or ranks[-1][0] > 3:
            missed[planted.truth.faults[0].kind.kind] += 1
        ends, asked, took = follow(planted)
        ended, checks, minutes = ended + ends, checks + asked, minutes + took
        if not ends:
            print("  the checks didn't end at", planted.truth.faults, planted.job.seen)
    print(f"single faults, {how}")
    for name, index in (("cause", 0), ("kind of blank", 1)):
        places = [rank[index] or 10**9 for rank in ranks]
        print(f"  first {name}:            {share(sum(place <= 1 for place in places), cases)}")
        print(f"  in the first three {name}s: {share(sum(place <= 3 for place in places), cases)}")
    print(f"  not listed at all:      {share(sum(rank[0] is None for rank in ranks), cases)}")
    print(
        f"  checks end at it:       {share(ended, cases)}, after {checks / cases:.1f} checks, "
        f"{minutes / cases:.0f} min on the average"
    )
    print("  not in the first three:", ", ".join(f"{kind} {count}" for kind, count in missed.most_common()))


def pairs(cases: int, seed: int, how: str) -> None:
    random = Random(seed)
    places = []
    for _ in range(cases):
        planted = plant(random, how, 2)
        places.append(place_of(trace(planted.job), planted.truth))
    print(f"pairs of common faults, {how}")
    for name, index in (("cause", 0), ("kind of blank", 1)):
        hits = sum((rank[index] or 10**9) <= 10 for rank in places)
        print(f"  in the first ten {name}s: {share(hits, cases)}")


def main() -> None:
    cases = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 5
    for how in ("by weight", "by kind"):
        singles(cases, seed, how)
        pairs(cases, seed, how)


if __name__ == "__main__":
    main()
