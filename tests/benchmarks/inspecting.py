"""Errors planted in made-up machines, their gears cut and measured in simulation: which parts are named, how big.

    python tests/benchmarks/inspecting.py [GEARS [SEED]]

Each gear is cut passage by passage by the exact motion with the errors in it; records are read off its flanks where a
checker's feeler would touch them, with noise of 1 µm (a checker) or 5 µm (a dial), of all teeth or every third; of every
second gear pitch and runout are read at one place, marks and all, of the others over a cell of contacts. Nothing of the
fit's own reckoning enters them.
"""

from __future__ import annotations

import sys
import time
from collections import Counter
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from random import Random

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

import made_up
from handlead.kinematics.frame.motion import Ripple
from handlead.kinematics.inspection.laid import Laid
from handlead.machines.at_fault.finding import Inspection, inspect_gear
from handlead.machines.at_fault.looks import looked_at, sides_of
from handlead.machines.at_fault.parts import TurningPart, suspects_of
from handlead.machines.gear_records.records import Record
from handlead.machines.setups.case import Case
from handlead.machines.studying.waves import CutShape
from measured_gears import MeasuredGear, with_noise

#: Made-up machines with the module of their change gears, so that one that runs out is known to leave so much.
_plain = made_up.machine_text
made_up.machine_text = lambda random: _plain(random).replace(
    "idlers = [0, 1]", "idlers = [0, 1]\nbracket = { module = 2 }"
)

#: Noise in µm, and how many teeth are left out between.
RECORDS = [(1.0, 1), (5.0, 1), (1.0, 3), (5.0, 3)]


@dataclass(frozen=True)
class Planted:
    """What is planted: the part, and how much of it."""

    part: TurningPart
    size: float


def plant(random: Random, case: Case, parts: tuple[TurningPart, ...], count: int, noise: float) -> list[Planted]:
    """So many parts at fault, of 4 to 12 µm on the flank, 12 to 30 for a dial, half of what may be at most; orders differ."""
    found: list[Planted] = []
    # What leans has a benchmark of its own, leaning.py: records as they are taken here seldom tell it.
    pool = [one for one in parts if one.fault.kind not in ("table wobble", "work tilt")]
    while pool and len(found) < count:
        part = pool.pop(random.randrange(len(pool)))
        mounted = [teeth for one in case.setup.change.values() for teeth in (*one.gears, *one.idlers)]
        if part.fault.gear is not None and mounted.count(part.fault.gear) > 1:
            continue  # a machine file couldn't say which of the two it is
        size = random.uniform(*((4, 12) if noise < 2 else (12, 30))) / part.on_flank
        if size > part.source.most / 2 or any(part.order == one.part.order for one in found):
            continue
        found.append(Planted(part, size))
    return found


def cut(case: Case, planted: list[Planted], phases: list[int]) -> MeasuredGear:
    """The gear cut with all of it."""
    errors, ripples = [], []
    for one, degrees in zip(planted, phases, strict=True):
        phase, fault = Fraction(degrees), one.part.fault
        if fault.kind in ("work runout", "hob runout"):
            off, turn = one.size / 2, degrees / 360
            if fault.kind == "hob runout":
                ripples.append(Ripple("radial", "hob", Fraction(1), off, turn))
            else:
                # The blank's middle goes round: nearer and further, and aside a quarter of a turn later.
                ripples.append(Ripple("radial", "table", Fraction(1), off, turn + 0.25))
                ripples.append(Ripple("tangential", "table", Fraction(1), off, turn))
        elif fault.runout is not None:
            errors.append(replace(fault, runout=Fraction(one.size), phase_deg=phase))
        elif fault.length is not None:
            errors.append(replace(fault, length=Fraction(one.size), phase_deg=phase))
        else:
            errors.append(replace(fault, angle_deg=Fraction(one.size), phase_deg=phase))
    return MeasuredGear.with_errors(case, errors, ripples)


def measured(gear: MeasuredGear, noise: float, every: int, counted: str, place: bool) -> list[Record]:
    """Pitch of both flanks, runout and a helix; a dial's helix is coarse. Pitch at one `place`, or over a cell."""
    points = 60 if noise < 2 else 20
    gear = replace(gear, at_one_place=place)
    return [
        gear.round_gear("pitch cumulative", "right", counted, every),
        gear.round_gear("pitch cumulative", "left", counted, every),
        gear.round_gear("runout", "", counted, every),
        gear.along("helix", "right", [1, 1 + gear.teeth // 3, 1 + 2 * gear.teeth // 3], points, counted),
    ]


#: What a part must leave in the records for anybody to find it there: squares over those of the noise; and by how many
#: gashes at least each of its waves must be cut.
SHOWS, GASHES = 60, 3

#: Small changes: of a part's size, of where in its wave it stands (degrees), and of the seam.
SIZED, TURNED, MOVED = 1.1, 6, 0.08


def shows(case: Case, planted: list[Planted], phases: list[int], records: list[Record], how: tuple) -> list[bool]:
    """Whether each part clearly shows: by cutting without it beside the others, and with it alone.

    What the others, a little larger or smaller or elsewhere in their waves, or the first tooth a little elsewhere among
    the passages would make up for doesn't count.
    """
    nothing = cut(case, [], [])
    plainly, per_turn = measured(nothing, *how), abs(nothing.cuts[1].per_turn)
    alone_changes = _moved(nothing, plainly, how)
    whole = cut(case, planted, phases)
    changes = [_changed(case, planted, phases, at, records, how) for at in range(len(planted))]
    found = []
    for at in range(len(planted)):
        without = measured(cut(case, planted[:at] + planted[at + 1 :], phases[:at] + phases[at + 1 :]), *how)
        alone = measured(cut(case, planted[at : at + 1], phases[at : at + 1]), *how)
        others = [one for number, both in enumerate(changes) if number != at for one in both]
        beside = _apart(records, without, [*_moved(whole, records, how), *others])
        least = min(beside, _apart(alone, plainly, alone_changes)) / how[0] ** 2
        found.append(least >= SHOWS and GASHES * planted[at].part.order <= per_turn)
    return found


def _moved(gear: MeasuredGear, records: list[Record], how: tuple) -> list[np.ndarray]:
    """How the records of a gear change with the seam."""
    return [_level(measured(replace(gear, seam=by), *how), records) for by in ((MOVED, 0.0), (0.0, MOVED))]


def _changed(
    case: Case, planted: list[Planted], phases: list[int], at: int, records: list[Record], how: tuple
) -> list[np.ndarray]:
    """How the records change with a part's size, and with where in its wave it stands."""
    larger, turned = list(planted), list(phases)
    larger[at], turned[at] = replace(planted[at], size=planted[at].size * SIZED), phases[at] + TURNED
    return [_level(measured(one, *how), records) for one in (cut(case, larger, phases), cut(case, planted, turned))]


def _apart(records: list[Record], others: list[Record], changes: list[np.ndarray]) -> float:
    """Sum of squares between records, zeros, slopes and small changes taken out."""
    apart = _level(records, others)
    basis, sizes, _ = np.linalg.svd(np.stack(changes, axis=1), full_matrices=False)
    basis = basis[:, sizes > 1e-3]
    return float(np.sum((apart - basis @ (basis.T @ apart)) ** 2))


def _level(records: list[Record], others: list[Record]) -> np.ndarray:
    """What lies between records, zeros and slopes taken out."""
    found = []
    for one, other in zip(records, others, strict=True):
        plain = np.linalg.qr(one.readings.plain())[0]
        apart = one.readings.um - other.readings.um
        found.append(apart - plain @ (plain.T @ apart))
    return np.concatenate(found)


def judged(found: Inspection, planted: list[Planted], seen: list[bool], tally: Counter, key: tuple) -> None:
    """Count what is right."""
    names = {one.part.name for one in planted}
    needed = {one.part.name for one, shown in zip(planted, seen, strict=True) if shown}
    accused = {one.parts[0].name for one in found.waves if one.is_certain}
    named = {other.name for one in found.waves for other in (*one.parts, *one.rivals)}
    alike = [one for one in found.waves if not names & {other.name for other in (*one.parts, *one.rivals)}]
    tally[key, "gears"] += 1
    tally[key, "right"] += needed <= named and not alike
    tally[key, "all named"] += needed <= named
    tally[key, "wave too many"] += bool(alike)
    tally[key, "falsely accused"] += bool(accused - names)
    tally[key, "planted"] += len(planted)
    tally[key, "shown"] += len(needed)
    sizes = {other.name: other for one in found.waves for other in one.parts}
    for one, shown in zip(planted, seen, strict=True):
        if one.part.name in sizes and shown:
            at = sizes[one.part.name]
            tally[key, "sized"] += 1
            tally[key, "within"] += abs(at.size - one.size) <= 2 * at.error
            tally[key, "uncertainty %"] += round(100 * at.error / at.size)
            tally[key, "off %"] += round(100 * abs(at.size / one.size - 1))
            tally[key, "certain"] += one.part.name in accused


def many_readings(gear: MeasuredGear, draws: np.random.Generator) -> list[Record]:
    """About 2,000 readings of a gear, as a checker takes them: pitch and runout of all teeth, helices of some."""
    teeth = gear.teeth
    points = (2000 - 3 * teeth) // 12
    some = [1 + number * teeth // 6 for number in range(6)]
    records = [gear.round_gear("pitch cumulative", flank) for flank in ("right", "left")]
    records += [gear.round_gear("runout"), *(gear.along("helix", flank, some, points) for flank in ("right", "left"))]
    return [with_noise(one, 1.0, draws) for one in records]


def timed(seed: int) -> None:
    """Processor time of records of about 2,000 readings, against one plain least-squares fit of all parts' waves."""
    for number in range(4):
        random = Random(f"{seed} timed {number}")
        case = Case.of(made_up.right_job(random))
        clean = MeasuredGear.with_errors(case, [])
        parts = suspects_of(case, CutShape.of(clean.flanks.gear, case.rates, clean.flanks.setting.hob))
        planted = plant(random, case, parts, 1 + number % 3, 1.0)
        records = many_readings(cut(case, planted, [random.randrange(360) for _ in planted]), np.random.default_rng(1))
        inspect_gear(case, records)
        before = time.process_time()
        inspect_gear(case, records)
        took = time.process_time() - before
        before = time.process_time()
        sides = sides_of(clean.flanks)
        laid = Laid(tuple(looked_at(one, sides) for one in records), tuple(one.source for one in parts), (1.0,) * len(records))
        columns, um = (np.concatenate(some) for some in zip(*laid.columns((0.37, 0.37)), strict=True))
        np.linalg.lstsq(columns, um, rcond=None)
        plainly = time.process_time() - before
        readings = sum(len(one.readings.um) for one in records)
        print(f"{readings} readings, {len(parts)} parts, {len(planted)} planted: {took:.2f} s, {took / plainly:.0f} plain fits")


def main(gears: int = 10, seed: int = 1) -> None:
    tally: Counter = Counter()
    took = []
    for number in range(gears):
        random = Random(f"{seed} {number}")
        case = Case.of(made_up.right_job(random))
        clean = MeasuredGear.with_errors(case, [])
        shape = CutShape.of(clean.flanks.gear, case.rates, clean.flanks.setting.hob)
        parts = suspects_of(case, shape)
        for count in (0, 1, 2, 3, 4):
            for noise, every in RECORDS:
                planted = plant(random, case, parts, count, noise)
                phases = [random.randrange(360) for _ in planted]
                how = (noise, every, random.choice(["clockwise", "counter-clockwise"]), number % 2 == 1)
                records = measured(cut(case, planted, phases), *how)
                seen = shows(case, planted, phases, records, how)
                draws = np.random.default_rng(random.randrange(2**32))
                noisy = [with_noise(one, noise, draws) for one in records]
                before = time.process_time()
                found = inspect_gear(case, noisy)
                took.append(time.process_time() - before)
                judged(found, planted, seen, tally, (count, noise, every))
                if "-v" in sys.argv:
                    print(number, case.job.work.teeth, count, noise, every, seen, [(p.part.name, float(p.part.order), round(p.size * p.part.on_flank, 1), p.size) for p in planted])
                    for w in found.waves:
                        print("     ", [(p.name, float(p.order), p.size, p.error) for p in w.parts], [p.name for p in w.rivals], round(w.um, 1), round(w.error_um, 2), w.chance)
                    print("     left", [round(one.left_um, 2) for one in found.records])
    words = ("gears", "right", "all named", "wave too many", "falsely accused", "planted", "shown", "sized", "certain", "within")
    print("planted noise every", *words, "uncertainty %", "off %", sep=" | ")
    for key in sorted({one[0] for one in tally}):
        of = max(tally[key, "sized"], 1)
        rest = [round(tally[key, word] / of, 1) for word in ("uncertainty %", "off %")]
        print(*key, *(tally[key, word] for word in words), *rest, sep=" | ")
    every = {word: sum(tally[key, word] for key in {one[0] for one in tally}) for word in words}
    print("all", every)
    print(f"fits took {np.median(took):.2f} s in the middle, {max(took):.2f} s at most")
    timed(seed)


if __name__ == "__main__":
    main(*(int(one) for one in sys.argv[1:] if one != "-v"))
