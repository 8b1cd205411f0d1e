"""How long planning takes on made-up machines, with and without a differential, with poor and huge drawers.

Run it as ``python tests/benchmarks/planning.py [JOBS] [SEED]``. Times are processor times of one plan each, the
tables of products that an earlier job has left behind forgotten first. A plain baseline, the first search of one
bracket from the same drawer, is printed beside them, since both run on the same machine in the same minute.
"""

from __future__ import annotations

import re
import statistics
import sys
import time
from collections import Counter
from fractions import Fraction
from pathlib import Path
from random import Random

sys.path.insert(0, str(Path(__file__).parents[1]))

from handlead.kinematics.frame.exact import PI, sine
from handlead.kinematics.search.change_gears import nearest_sets
from handlead.kinematics.search.products import products
from handlead.machines.job_files.job_file import Cutting, Job
from handlead.machines.machine_files.machine_file import read_machine_text
from handlead.machines.planning.planning import Plan, plan
from made_up import DRAWER, machine_text, work_and_hob

SIZES = (10, 14, 20, 30, 45, 80, 120, 243)


def drawer(random: Random, size: int) -> list[int]:
    """So many gears: a poor shop's from a short list of common ones, a rich one's with every count from 20 on."""
    if size <= len(DRAWER):
        return sorted(random.sample(DRAWER, size))
    return sorted([*DRAWER, *(random.randint(18, 127) for _ in range(size - len(DRAWER)))])


#: Room on the brackets, as it may be: none given, a clearance alone, or fixed centres.
BRACKETS = ("", "bracket = { module = 2, clearance = 15 }", "bracket = { module = 2, centres = 150, clearance = 12 }")


def made_up_job(random: Random, size: int) -> Job:
    """A job to plan on a made-up machine with so many gears."""
    text = machine_text(random)
    text = re.sub(r"\nteeth = \[[\d, ]+\]$", f"\nteeth = {drawer(random, size)}", text)
    bracket = random.choice(BRACKETS)
    text = text.replace("pairs = 2\nidlers", f"{bracket}\npairs = [1, 2]\nidlers")
    text = text.replace("pairs = [1, 2]\nidlers = [0, 1]", f"pairs = [1, 2]\nidlers = {random.choice(['[0, 1]', '[0]', '[0, 1]'])}")
    work, hob = work_and_hob(random)
    feed = random.choice([None, Fraction(1), Fraction(3, 2), Fraction(2)])
    cutting = Cutting(feed=feed, mark_um=random.choice([None, None, None, Fraction(5)]))
    machine = read_machine_text(text)
    return Job("made up", "made up", machine, work, hob, cutting=cutting, document=machine.document)


def timed(job: Job) -> tuple[float, float, Plan]:
    """Processor time to the first answer and to the whole plan, in seconds, and the plan."""
    products.cache_clear()
    told: list[float] = []
    begin = time.process_time()
    found = plan(job, so_far=lambda _: told.append(time.process_time() - begin))
    whole = time.process_time() - begin
    return min([*told, whole]), whole, found


def baseline(job: Job) -> float:
    """Processor time of one search of one bracket out of the same drawer."""
    products.cache_clear()
    begin = time.process_time()
    nearest_sets(25 * sine(15) / (PI * 2), job.machine.gear_sets[0].teeth, limit=20)
    return time.process_time() - begin


def main(jobs: int = 120, seed: int = 1) -> None:
    taken: dict[tuple[str, int], list[float]] = {}
    plain: list[float] = []
    firsts: list[float] = []
    kinds: Counter[str] = Counter()
    for number in range(jobs):
        random = Random(f"{seed}-{number}")
        size = SIZES[number % len(SIZES)]
        job = made_up_job(random, size)
        kind = "with differential" if "differential" in job.machine.levers else "without"
        first, seconds, found = timed(job)
        firsts.append(first)
        plain.append(baseline(job))
        taken.setdefault((kind, size), []).append(seconds)
        kinds["found" if found.is_found else "none"] += 1
        if seconds > 2:
            print(f"job {number}: {seconds:.1f} s, {kind}, {size} gears, {job.work.kind} {job.work.teeth}")
    every = sorted(seconds for each in taken.values() for seconds in each)
    for (kind, size), each in sorted(taken.items()):
        print(f"{kind:<18}{size:>4} gears: median {statistics.median(each):6.2f} s, worst {max(each):6.2f} s")
    print(f"{len(every)} jobs, {kinds['found']} planned, {kinds['none']} without a set-up")
    print(f"90 in 100 within {every[int(0.9 * len(every)) - 1]:.2f} s, the worst {every[-1]:.2f} s")
    firsts.sort()
    print(f"first answer: 90 in 100 within {firsts[int(0.9 * len(firsts)) - 1]:.2f} s, the last after {firsts[-1]:.2f} s")
    print(f"one bracket alone: {statistics.median(plain):.3f} s; a plan is {statistics.median(every) / statistics.median(plain):.0f} times that")


if __name__ == "__main__":
    main(*(int(each) for each in sys.argv[1:3]))
