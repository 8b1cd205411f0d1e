"""How often a planted fault is found: its place among the causes, and whether following the checks ends at it.

Run with ``python tests/benchmarks/tracing_hits.py [CASES [SEED]]``. Machines and jobs are made up; a fault is
drawn as often as the table of faults says (``by weight``) or every kind as often as any other (``by kind``). What
is seen is the count, the hand and the helix angle, rounded to half a degree after an error of up to a quarter. A
fault that leaves nothing to be seen of all this is drawn again. Where the spaces don't meet, that is seen, and the marks of one
turn are counted. A hit among
the causes is the planted fault, or one that leaves the same teeth to the last digit of the lead; among the kinds of
blank, the group in which it stands: leans within 5' of each other, or spaces that miss by a tenth of a pitch more or less.

Beside what was hit stands what the shares themselves promise: more than that no order of the causes can do in the
long run, if the table's chances are those by which the faults are drawn.

Pairs are drawn from the faults that are met often, and from all of them. At last come realities that no row of
the table holds: numbers of the machine file that are wrong, what was seen noted wrongly, three slips at once, gears
and hobs of no known size. Each next check is answered as that machine would; a wrong certainty is an end at one
cause, confirmed or with at least 95 of 100 on it, that names a slip which wasn't made.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from random import Random
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1]))

from handlead.kinematics.frame.words import Hand
from handlead.kinematics.slips.evidence import View
from handlead.kinematics.slips.faults import Fault, find_faults
from handlead.kinematics.slips.study import Study
from handlead.kinematics.suspects.causes import combined
from handlead.kinematics.suspects.suspects import Suspect, Tryout, mark_turns, together
from handlead.machines.job_files.job_file import Job, Seen
from handlead.machines.tracing.diagnosis import AS_WANTED, Diagnosis, trace, with_answer
from handlead.machines.tracing.fault_table import fault_table
from handlead.machines.tracing.studied import study_of
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
    return Tryout(study, mark_turns(study)).suspect(faults, standing, running, 0.0, 1.0)


def plant(random: Random, how: str, number: int = 1, *, common: bool = True) -> Planted:
    """A right job, one or two faults, and what is then seen; drawn until there is something to be seen."""
    while True:
        job = right_job(random)
        study = study_of(job, fault_table())
        faults = find_faults(fault_table().kinds, study)
        if number == 2 and common:
            faults = tuple(fault for fault in faults if fault.kind.is_common)
        for _ in range(5):
            drawn = tuple(draw(random, faults, how) for _ in range(number))
            truth = standing_after(study, drawn)
            if truth is None or not truth.running.hob_way or not study.can_stand(truth.standing):
                continue
            if truth.standing.miscounted or truth.standing.slips:
                continue  # what is seen then isn't what the machine does
            if number == 2 and any(alike(truth, standing_after(study, (one,))) for one in drawn):
                continue  # one of the two can't be seen
            seen = seen_of(truth.view, random)
            wrong = job.with_seen(seen)
            if trace(wrong).verdict != AS_WANTED:
                return Planted(wrong, truth)


def alike(truth: Suspect, other: Suspect | None) -> bool:
    """Whether nobody could tell the two blanks apart."""
    return other is not None and len(together((truth, other))) == 1


def draw(random: Random, faults: tuple[Fault, ...], how: str) -> Fault:
    """A fault by its weight, or first a kind and then one of its places by theirs."""
    if how == "by kind":
        kind = random.choice(sorted({fault.kind.kind for fault in faults}))
        faults = tuple(fault for fault in faults if fault.kind.kind == kind)
    return random.choices(faults, [fault.chance for fault in faults])[0]


def place_of(found: Diagnosis, truth: Suspect) -> tuple[int | None, int | None]:
    """The truth's place among the causes and among the groups, from 1; None if it isn't there."""
    causes = next((n for n, s in enumerate(found.suspects, 1) if s.leaves == truth.leaves), None)
    groups = next((n for n, g in enumerate(found.explanation.groups, 1) if any(s.leaves == truth.leaves for s in g)), None)
    return causes, groups


def promise(found: Diagnosis, most: int) -> float:
    """The share of the first kinds of blank, by the weights of the causes."""
    return sum(suspect.weight for group in found.explanation.groups[:most] for suspect in group)


def follow(planted: Planted, most: int = 30) -> tuple[bool, int, float]:
    """Whether answering each next check truly ends at the planted fault; how many there were, and the minutes."""
    job, found, asked, minutes = planted.job, trace(planted.job), 0, 0.0
    while found.next is not None and asked < most:
        check = found.next.check
        job = with_answer(job, check, check.outcomes(planted.truth.scene)[0])
        found, asked, minutes = trace(job), asked + 1, minutes + check.minutes
    ends = len(found.suspects) == 1 and found.suspects[0].standing.key == planted.truth.standing.key
    return ends, asked, minutes


# ---------------------------------------------------------------- realities that no row holds

#: What may be wrong in the machine file, by link: the number, and by how much.
WRONG_NUMBERS = (
    ("index worm", "teeth", 1), ("feed worm", "starts", 1), ("differential worm", "teeth", 2), ("slide screw", "lead", 1),
)  # fmt: skip


def with_wrong_number(job: Job, name: str, key: str, by: int) -> Job | None:
    """The job on the machine as it is in truth, whose file has one number wrong; None without such a link."""
    train = job.machine.train
    if name not in {link.name for link in train.links}:
        return None
    link = train.link(name)
    true = train.replacing(replace(link, **{key: getattr(link, key) + by}))
    return replace(job, machine=replace(job.machine, train=true))


def on_another_machine(name: str, key: str, by: int) -> Callable[[Job, Random], tuple[Suspect, Seen] | None]:
    """The set-up as it is meant, on a machine whose file has this number wrong."""

    def reality(job: Job, random: Random) -> tuple[Suspect, Seen] | None:
        true = with_wrong_number(job, name, key, by)
        if true is None:
            return None
        study = study_of(true, fault_table())
        assert study.running is not None
        truth = Tryout(study, mark_turns(study)).suspect((), study.base, study.running, 0.0, 1.0)
        return truth, seen_of(truth.view, random)

    return reality


def noted_wrongly(how: Callable[[Seen, Random], Seen]) -> Callable[[Job, Random], tuple[Suspect, Seen] | None]:
    """The cut as it is meant, of which something was noted wrongly."""

    def reality(job: Job, random: Random) -> tuple[Suspect, Seen] | None:
        study = study_of(job, fault_table())
        assert study.running is not None
        truth = Tryout(study, mark_turns(study)).suspect((), study.base, study.running, 0.0, 1.0)
        return truth, how(seen_of(truth.view, random), random)

    return reality


def many_faults(number: int, kind: str = "") -> Callable[[Job, Random], tuple[Suspect, Seen] | None]:
    """So many faults at once, which have nothing to do with each other."""

    def reality(job: Job, random: Random) -> tuple[Suspect, Seen] | None:
        study = study_of(job, fault_table())
        faults = [f for f in find_faults(fault_table().kinds, study) if not kind or f.kind.kind == kind]
        drawn = random.choices(faults, [fault.chance for fault in faults], k=number)
        changes: dict[Any, Any] = {}
        for fault in drawn:
            if changes.keys() & fault.changes.keys():
                return None
            changes |= fault.changes
        standing = study.base.changed(changes)
        running = study.bench.running(standing)
        if running is None or not running.hob_way or not study.can_stand(standing):
            return None
        if standing.miscounted or standing.slips or standing.beside:
            return None
        truth = Tryout(study, mark_turns(study)).suspect(tuple(drawn), standing, running, 0.0, 1.0)
        return truth, seen_of(truth.view, random)

    return reality


def odd_hob(times: Fraction) -> Callable[[Job, Random], tuple[Suspect, Seen] | None]:
    """A hob of no size that is in any table."""

    def reality(job: Job, random: Random) -> tuple[Suspect, Seen] | None:
        study = study_of(job, fault_table())
        standing = study.base.changed({("hob", "module"): job.hob.module_n * times})
        assert study.running is not None
        truth = Tryout(study, mark_turns(study)).suspect((), standing, study.running, 0.0, 1.0)
        return truth, seen_of(truth.view, random)

    return reality


def other_hand(seen: Seen, random: Random) -> Seen:
    return seen if seen.hand is None else replace(seen, hand=seen.hand.other)


def leaned(seen: Seen, random: Random) -> Seen:
    return replace(seen, straight=False, hand=seen.hand or Hand.LEFT, helix_angle_deg=(seen.helix_angle_deg or 0) + 4)


def miscounted(by: int) -> Callable[[Seen, Random], Seen]:
    return lambda seen, random: replace(seen, teeth=(seen.teeth or 0) + random.choice([-by, by]))


#: Twelve realities that no row of the table holds; a miscount by one or two has its own.
REALITIES: dict[str, Callable[[Job, Random], tuple[Suspect, Seen] | None]] = {
    **{f"{name} {key}": on_another_machine(name, key, by) for name, key, by in WRONG_NUMBERS},
    "index worm two out": on_another_machine("index worm", "teeth", -2),
    "miscounted by three": noted_wrongly(miscounted(3)),
    "miscounted by one": noted_wrongly(miscounted(1)),
    "hand noted wrongly": noted_wrongly(other_hand),
    "lean misread": noted_wrongly(leaned),
    "three slips": many_faults(3),
    "two gears off their stamps": many_faults(2, "gear-off-its-stamp"),
    "hob of no known size": odd_hob(Fraction(107, 100)),
}


def unheld(cases: int, seed: int) -> None:
    random = Random(seed)
    wrong, ends = Counter(), Counter()
    for name, reality in REALITIES.items():
        done = 0
        while done < cases:
            job = right_job(random)
            found = reality(job, random)
            if found is None:
                continue
            truth, seen = found
            planted = Planted(job.with_seen(seen), truth)
            if trace(planted.job).verdict == AS_WANTED:
                continue
            done += 1
            end = last_word(planted)
            one = len(end.suspects) == 1 and (
                end.is_certain or end.suspects[0].weight * (1 - end.explanation.unknown) >= 0.95
            )
            if one and names_what_is_not_there(end.suspects[0], truth):
                wrong[name] += 1
            ends[end.verdict] += 1
    whole = cases * len(REALITIES)
    print("realities that no row holds")
    print(f"  a wrong certainty:      {share(sum(wrong.values()), whole)}", dict(wrong))
    print(f"  ends: {dict(ends)}")


def names_what_is_not_there(suspect: Suspect, truth: Suspect) -> bool:
    """Whether a slip is named that wasn't made; another one besides, which nothing on the blank shows, may be missing.

    A miscount found as one is the truth: nothing stood otherwise.
    """
    made = {(key, value) for fault in truth.faults for key, value in fault.changes.items()}
    named = {(key, value) for fault in suspect.faults for key, value in fault.changes.items()}
    return bool({pair for pair in named if pair[0] != ("miscounted",)} - made)


def last_word(planted: Planted, most: int = 40) -> Diagnosis:
    """What is said once every check that was asked for is answered as it stands at the machine."""
    job, found = planted.job, trace(planted.job)
    while found.next is not None and most:
        check = found.next.check
        job = with_answer(job, check, check.outcomes(planted.truth.scene)[0])
        found, most = trace(job), most - 1
    return found


def share(part: int, whole: int) -> str:
    return f"{part:4d} of {whole} ({part / whole:6.1%})" if whole else "   none of them"


def singles(cases: int, seed: int, how: str) -> None:
    random = Random(seed)
    ranks: list[tuple[int | None, int | None]] = []
    leaning: list[int] = []
    promised: list[float] = []
    missed: Counter[str] = Counter()
    ended = checks = 0
    minutes = 0.0
    for _ in range(cases):
        planted = plant(random, how)
        found = trace(planted.job)
        ranks.append(place_of(found, planted.truth))
        promised.append(promise(found, 3))
        if planted.truth.view.spaces_meet:
            leaning.append(ranks[-1][1] or 10**9)
        if ranks[-1][0] is None or ranks[-1][0] > 3:
            missed[planted.truth.faults[0].kind.kind] += 1
        ends, asked, took = follow(planted)
        ended, checks, minutes = ended + ends, checks + asked, minutes + took
        if not ends:
            print("  the checks didn't end at", planted.truth.faults, planted.job.seen)
    print(f"single faults, {how}")
    print(f"  promised by the shares, in the first three kinds of blank: {sum(promised) / cases:.1%}")
    for name, index in (("cause", 0), ("kind of blank", 1)):
        places = [rank[index] or 10**9 for rank in ranks]
        print(f"  first {name}:            {share(sum(place <= 1 for place in places), cases)}")
        print(f"  in the first three {name}s: {share(sum(place <= 3 for place in places), cases)}")
    for most in (1, 3):
        hits = sum(place <= most for place in leaning)
        print(f"  of those that show hand and lean, in the first {most}: {share(hits, len(leaning))}")
    print(f"  not listed at all:      {share(sum(rank[0] is None for rank in ranks), cases)}")
    print(
        f"  checks end at it:       {share(ended, cases)}, after {checks / cases:.1f} checks, "
        f"{minutes / cases:.0f} min on the average"
    )
    print("  not in the first three:", ", ".join(f"{kind} {count}" for kind, count in missed.most_common()))


def pairs(cases: int, seed: int, how: str, *, common: bool = True) -> None:
    random = Random(seed)
    places, leaning, promised = [], [], []
    for _ in range(cases):
        planted = plant(random, how, 2, common=common)
        found = trace(planted.job)
        places.append(place_of(found, planted.truth))
        promised.append(promise(found, 10))
        if planted.truth.view.spaces_meet:
            leaning.append(places[-1])
    print(f"pairs of {'common' if common else 'any two'} faults, {how}")
    print(f"  share of the first ten kinds of blank, single faults counted likelier: {sum(promised) / cases:.1%}")
    for name, index in (("cause", 0), ("kind of blank", 1)):
        hits = sum((rank[index] or 10**9) <= 10 for rank in places)
        print(f"  in the first ten {name}s: {share(hits, cases)}")
    hits = sum((rank[1] or 10**9) <= 10 for rank in leaning)
    print(f"  of those that show hand and lean, in the first ten kinds of blank: {share(hits, len(leaning))}")


def main() -> None:
    cases = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 5
    print(f"{cases} cases of each sort, seed {seed}", flush=True)
    for how in ("by weight", "by kind"):
        singles(cases, seed, how)
        pairs(cases, seed, how)
        pairs(cases, seed, how, common=False)
    unheld(max(1, cases // 10), seed)


if __name__ == "__main__":
    main()
