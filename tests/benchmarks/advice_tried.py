"""Whether gears that planning advises to get do what it says: with them in the drawer the job must plan.

Run it as ``python tests/benchmarks/advice_tried.py [NONES] [SEED]``: random jobs on made-up machines until so many of
them have no set-up. Every third is drawn with a drawer as it comes, poor mostly; of the others one to three gears
that a plan had used were taken out of the drawer, so that they are known to lack no more. Each piece of advice is
carried out, on the sentence alone as a person would read it, and the job planned anew.
"""

from __future__ import annotations

import re
import sys
import time
from collections import Counter
from dataclasses import replace
from pathlib import Path
from random import Random

sys.path.insert(0, str(Path(__file__).parents[1]))
sys.path.insert(0, str(Path(__file__).parent))

from handlead.machines.job_files.job_file import Job
from handlead.machines.planning.gears_to_get import with_gears
from handlead.machines.planning.planning import plan
from planning import SIZES, made_up_job

#: "gears of 27 and 81 teeth that fit "index gears"", as the sentence has it.
_GEARS = re.compile(r'gears? of ([\d, and]+) teeth that fits? "([^"]+)"')


def read(sentence: str) -> dict[str, tuple[int, ...]]:
    """The gears that a sentence of advice names, by bracket."""
    return {name: tuple(map(int, re.findall(r"\d+", teeth))) for teeth, name in _GEARS.findall(sentence)}


def carried_out(job: Job, sentence: str) -> bool:
    """Whether the job has a set-up with the gears that the sentence names."""
    gears = read(sentence)
    assert gears, sentence
    richer = replace(job, machine=with_gears(job.machine, gears))
    return bool(plan(richer, top=1).members[0].setups)


def drawn(random: Random, number: int) -> Job:
    """A job with a drawer as it comes."""
    return made_up_job(random, SIZES[number % len(SIZES)] if number % 2 else random.choice(SIZES[:3]))


def short_of_a_few(random: Random) -> Job | None:
    """A job out of whose drawer one to three gears that it takes are gone; None where it can't be planned with them."""
    job = made_up_job(random, random.choice([12, 14, 16, 20, 30]))
    setups = plan(job, top=1).members[0].setups
    if not setups:
        return None
    left = list(job.machine.gear_sets[0].teeth)
    used = [z for one in setups[0].setup.change.values() for z in (*one.gears, *one.idlers)]
    for teeth in random.sample(used, random.randint(1, 3)):
        left.remove(teeth)
    poorer = replace(job.machine.gear_sets[0], teeth=tuple(left))
    return replace(job, machine=replace(job.machine, gear_sets=(poorer,)))


def main(nones: int = 100, seed: int = 1) -> None:
    kinds: Counter[str] = Counter()
    begin = time.process_time()
    number = 0
    while kinds["none"] < nones:
        random = Random(f"advice-{seed}-{number}")
        few = kinds["none"] % 3 > 0
        job = short_of_a_few(random) if few else drawn(random, number)
        number += 1
        work = plan(job, top=1).members[0] if job else None
        if job is None or work is None or work.setups:
            continue
        kinds["none"] += 1
        lacks = "lacks three at most" if few else "as it comes"
        if not work.gears_to_get:
            kinds[f"{lacks}: no advice"] += 1
            kinds["no advice, and not said why"] += "gears to get" not in work.not_searched
            print(f"job {number - 1}, {lacks}: {job.work.kind} {job.work.teeth}: {work.none_because}; {work.not_searched}")
            continue
        holds = carried_out(job, work.gears_to_get)
        kinds[f"{lacks}: advice that plans" if holds else "ADVICE THAT DOESN'T PLAN"] += 1
        kinds[f"advice of {sum(map(len, read(work.gears_to_get).values()))} gears"] += 1
        if not holds:
            print(f"job {number - 1}: {job.work.kind} {job.work.teeth}: {work.gears_to_get}")
    for kind, count in sorted(kinds.items()):
        print(f"{count:>5} {kind}")
    print(f"{number} jobs, {time.process_time() - begin:.0f} s")


if __name__ == "__main__":
    main(*(int(each) for each in sys.argv[1:3]))
