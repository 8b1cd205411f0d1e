"""Set-ups with a slip or two in them, made by chance from right ones: shipped orders, and cases that nobody tuned for."""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import made_up
from handlead.kinematics.brackets.drawer import drawer_for
from handlead.kinematics.links.mounted import Mounted
from handlead.kinematics.train.setup import Setup
from handlead.machines.job_files.job_file import Job, read_job
from handlead.machines.proving.proof import prove
from handlead.machines.setups.drawers import drawers_of
from handlead.machines.toml.errors import FileFault, NoSetup

ROOT = Path(__file__).parents[1]


def jobs() -> list[Job]:
    """Every job with a set-up that ships or stands among the cases, without the moves that some make."""
    files = [*sorted(ROOT.glob("scenarios/*/*.toml")), *sorted((ROOT / "tests" / "cases").glob("*.toml"))]
    found = []
    for file in files:
        if 'format  = "job/1"' in file.read_text() or 'format = "job/1"' in file.read_text():
            job = read_job(file)
            if job.setup is not None:
                found.append(replace(job, setup=replace(job.setup, moves=())))
    return found


def right_jobs() -> list[Job]:
    """Those that are as wanted."""
    return [job for job in jobs() if prove(job).is_as_wanted]


def made_up_jobs(number: int, seed: int) -> list[Job]:
    """So many jobs set up right on machines that nobody wrote down."""
    chance = random.Random(seed)
    return [made_up.right_job(chance) for _ in range(number)]


def wrong_jobs(number: int, seed: int, right: Sequence[Job] = ()) -> Iterator[tuple[str, Job]]:
    """So many set-ups with one slip or two, in words, of these right ones or all; the same for the same seed."""
    chance, right = random.Random(seed), right or right_jobs()
    made = 0
    while made < number:
        job = chance.choice(right)
        slips = []
        for _ in range(chance.choice((1, 1, 1, 2))):
            slip = chance.choice(SLIPS)(chance, job)
            if slip is not None:
                job = replace(job, setup=slip[1])
                slips.append(slip[0])
        try:
            if not slips or prove(job).is_as_wanted:
                continue
        except (FileFault, NoSetup):
            continue
        made += 1
        yield f"{job.title}: {'; '.join(slips)}", job


Slip = tuple[str, Setup] | None


def _setup(job: Job) -> Setup:
    assert job.setup is not None
    return job.setup


def _bracket(chance: random.Random, job: Job) -> tuple[str, Mounted]:
    return chance.choice(sorted(_setup(job).change.items()))


def _with(job: Job, name: str, mounted: Mounted) -> Setup:
    setup = _setup(job)
    return replace(setup, change={**setup.change, name: mounted})


def other_gear(chance: random.Random, job: Job) -> Slip:
    name, mounted = _bracket(chance, job)
    teeth = drawer_for(name, drawers_of(job.machine)).teeth
    place, gears = chance.randrange(len(mounted.gears)), list(mounted.gears)
    gears[place] = chance.choice(teeth or (gears[place] + 1,))
    return f"{gears[place]} for {mounted.gears[place]} in {name}", _with(job, name, replace(mounted, gears=tuple(gears)))


def gear_nobody_has(chance: random.Random, job: Job) -> Slip:
    name, mounted = _bracket(chance, job)
    place, gears = chance.randrange(len(mounted.gears)), list(mounted.gears)
    gears[place] += chance.choice((-1, 1))
    return f"{gears[place]} for {mounted.gears[place]} in {name}", _with(job, name, replace(mounted, gears=tuple(gears)))


def exchanged(chance: random.Random, job: Job) -> Slip:
    name, mounted = _bracket(chance, job)
    one, other = chance.sample(range(len(mounted.gears)), 2)
    gears = list(mounted.gears)
    gears[one], gears[other] = gears[other], gears[one]
    return f"{gears[one]} and {gears[other]} exchanged in {name}", _with(job, name, replace(mounted, gears=tuple(gears)))


def end_for_end(chance: random.Random, job: Job) -> Slip:
    name, mounted = _bracket(chance, job)
    return f"{name} end for end", _with(job, name, replace(mounted, gears=mounted.gears[::-1]))


def idler(chance: random.Random, job: Job) -> Slip:
    name, mounted = _bracket(chance, job)
    if mounted.idlers:
        return f"idler out of {name}", _with(job, name, replace(mounted, idlers=()))
    teeth = chance.choice(drawer_for(name, drawers_of(job.machine)).teeth or (30,))
    return f"idler {teeth} in {name}", _with(job, name, replace(mounted, idlers=(teeth,)))


def between(chance: random.Random, job: Job) -> Slip:
    change = _setup(job).change
    if len(change) < 2:
        return None
    one, other = chance.sample(sorted(change), 2)
    first, second = list(change[one].gears), list(change[other].gears)
    here, there = chance.randrange(len(first)), chance.randrange(len(second))
    first[here], second[there] = second[there], first[here]
    setup = _with(job, one, replace(change[one], gears=tuple(first)))
    change = {**setup.change, other: replace(change[other], gears=tuple(second))}
    return f"{first[here]} in {one}, {second[there]} in {other}", replace(setup, change=change)


def emptied(chance: random.Random, job: Job) -> Slip:
    name, _ = _bracket(chance, job)
    change = {each: mounted for each, mounted in _setup(job).change.items() if each != name}
    return f"{name} empty", replace(_setup(job), change=change)


def lever(chance: random.Random, job: Job) -> Slip:
    if not job.machine.levers:
        return None
    name = chance.choice(sorted(job.machine.levers))
    position = chance.choice(sorted(job.machine.levers[name].positions))
    if position == job.machine.positions(_setup(job))[name]:
        return None
    return f"{name} at {position}", replace(_setup(job), levers={**_setup(job).levers, name: position})


def swung(chance: random.Random, job: Job) -> Slip:
    now = _setup(job).swivel_deg or Fraction(0)
    then = chance.choice((-now, Fraction(0), now + chance.randint(-9, 9)))
    return f"head at {float(then):.2f}", replace(_setup(job), swivel_deg=then)


SLIPS = (
    other_gear, other_gear, gear_nobody_has, exchanged, end_for_end, idler, idler, between, emptied, lever, lever, swung,
)  # fmt: skip
