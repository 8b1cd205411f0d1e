"""Blanks that stand askew or run out, and tables that wobble, planted in made-up machines, cut and measured.

    python tests/benchmarks/leaning.py [MACHINES [SEED]] [-v]

Each gear is measured twice over: pitch of both flanks, runout and the helix of five teeth; and pitch with the runout at both
ends of the face. With noise of 1 µm (a checker) and of 5 µm (a dial), for which twice as much is planted.
"""

from __future__ import annotations

import sys
from collections import Counter
from fractions import Fraction
from pathlib import Path
from random import Random

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

import made_up
from handlead.machines.at_fault.finding import inspect_gear
from handlead.machines.gear_records.records import Record
from handlead.machines.machine_files.machine_file import Imperfection
from handlead.machines.setups.case import Case
from measured_gears import MeasuredGear, with_noise

ARBOR, ASKEW = "the blank on its arbor", "the blank standing askew"
ALIKE, WOBBLING = "the table's axis, to and fro at both faces alike", "the table's axis, wobbling"


def planted(random: Random, face: Fraction, what: str, times: int) -> tuple[list[Imperfection], dict[str, float]]:
    """What is planted, and by name how large each part then is."""
    dial, other = (Fraction(times * random.randint(20, 60), 1000) for _ in range(2))
    phases = [Fraction(random.randrange(360)) for _ in range(2)]
    tilt = Imperfection("work tilt", runout=dial, over=face, phase_deg=phases[0])
    off = Imperfection("work runout", runout=other, phase_deg=phases[1])
    if what == "wobble":
        below = Fraction(random.randint(20, 80))
        lean = dial / (face + below)
        row = Imperfection("table wobble", runout=dial, over=face + below, waves=2, below=below, phase_deg=phases[0])
        return [row], {WOBBLING: float(lean * face), ALIKE: float(lean * below)}
    rows = {"askew": [tilt], "off": [off], "both": [tilt, off], "nothing": []}[what]
    sizes = {"work tilt": (ASKEW, dial), "work runout": (ARBOR, other)}
    return rows, {sizes[one.kind][0]: float(sizes[one.kind][1]) for one in rows}


def records(gear: MeasuredGear, how: str, noise: float, draws: np.random.Generator) -> list[Record]:
    """The gear measured one way or the other."""
    assert gear.flanks.gear.face_width is not None
    end = 0.4 * gear.flanks.gear.face_width
    made = [gear.round_gear("pitch cumulative", flank) for flank in ("right", "left")]
    if how == "ends":
        made += [gear.round_gear("runout", at_height=height) for height in (-end, end)]
    else:
        teeth = [1 + gear.teeth * at // 5 for at in range(5)]
        made += [gear.round_gear("runout"), gear.along("helix", "right", teeth, 60 if noise < 2 else 20)]
    return [with_noise(one, noise, draws) for one in made]


def main(machines: int = 6, seed: int = 1) -> None:
    tally: Counter = Counter()
    for number in range(machines):
        random = Random(f"leaning {seed} {number}")
        case = Case.of(made_up.right_job(random))
        for what in ("nothing", "askew", "off", "both", "wobble"):
            for noise in (1.0, 5.0):
                rows, sizes = planted(random, case.job.work.face_width, what, 1 if noise < 2 else 2)
                gear = MeasuredGear.with_errors(case, rows)
                for how in ("helices", "ends"):
                    draws = np.random.default_rng(random.randrange(2**32))
                    found = inspect_gear(case, records(gear, how, noise, draws)).waves
                    judge(found, sizes, tally, (what, noise, how))
                    if "-v" in sys.argv:
                        told = [[(one.name, round(one.size, 4), round(2 * one.error, 4)) for one in wave.parts] for wave in found]
                        print(number, case.job.work.teeth, what, noise, how, sizes, told, flush=True)
    words = ("gears", "right", "all named", "falsely accused", "sized", "within", "off %")
    print("planted", "noise", "by", *words, sep=" | ")
    for key in sorted({one[0] for one in tally}):
        print(*key, *(tally[key, word] for word in words[:-1]), round(tally[key, "off %"] / max(tally[key, "sized"], 1), 1), sep=" | ")
    print("all", {word: sum(tally[key, word] for key in {one[0] for one in tally}) for word in words[:-1]})


def judge(found, sizes: dict[str, float], tally: Counter, key: tuple) -> None:
    """Count what is right."""
    named = {one.name for wave in found for one in (*wave.parts, *wave.rivals)}
    certain = {wave.parts[0].name for wave in found if wave.is_certain}
    strange = [wave for wave in found if not {one.name for one in (*wave.parts, *wave.rivals)} & set(sizes)]
    tally[key, "gears"] += 1
    tally[key, "right"] += set(sizes) <= named and not strange
    tally[key, "all named"] += set(sizes) <= named
    tally[key, "falsely accused"] += bool(certain - set(sizes))
    told = {one.name: one for wave in found for one in wave.parts}
    for name, size in sizes.items():
        if name in told:
            tally[key, "sized"] += 1
            tally[key, "within"] += abs(told[name].size - size) <= 2 * told[name].error
            tally[key, "off %"] += 100 * abs(told[name].size / size - 1)


if __name__ == "__main__":
    main(*(int(one) for one in sys.argv[1:] if one != "-v"))
