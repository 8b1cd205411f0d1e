"""How often the system of a random worn gear is found, and how surely: ``python tests/benchmarks/sample.py [GEARS]``.

Gears are made by the relations of the gear itself, worn, and read as a shop reads them; the seed is fixed.
"""

from __future__ import annotations

import random
import sys
import time
from dataclasses import replace
from typing import Any

from handlead.kinematics.gears import gear as gears
from handlead.kinematics.gears import measures
from handlead.kinematics.gears.readings import Candidate, Sample, Taken, ToothSystem
from handlead.kinematics.gears.sample import gear_of, identify
from handlead.machines.documents.tooth_systems import tooth_systems

SEED = 11


def random_gear(dice: random.Random, systems: list[ToothSystem]) -> tuple[ToothSystem, gears.Gear]:
    """A gear as shops meet them: mostly common systems, whole helix angles, no shift."""
    while True:
        system = dice.choices(systems, [2.718 ** (-each.rank / 2) for each in systems])[0]
        teeth = dice.randint(9, 120)
        leans = system.transverse or dice.random() < 0.6
        kind = dice.random()
        angle = 0.0 if not leans else dice.randint(5, 40) + (0.5 if 0.7 < kind < 0.85 else dice.random() if kind > 0.85 else 0)
        shift = 0.0 if dice.random() < 0.75 else min(max(dice.gauss(0.15, 0.3), -0.5), 0.9)
        try:
            gear = gear_of(system, teeth, angle, round(shift, 3))
        except ValueError:
            continue
        if gears.least_profile_shift(gear) < gear.profile_shift + 0.4 and gear.tip_diameter < 900:
            return system, gear


def sample_of(dice: random.Random, gear: gears.Gear) -> Sample:
    """The gear worn and read, with the allowances that a shop would state."""
    module = gear.module_n
    thinner, lower = abs(dice.gauss(0, 0.02 * module + 0.02)), abs(dice.gauss(0, 0.04 * module))
    worn = replace(gear, profile_shift=gear.profile_shift - thinner / (2 * module * gears.math.tan(gear.pressure_n_rad)))

    def read(value: float, within: float, wear: float = 0.0) -> Taken:
        return Taken(value + dice.gauss(0, within / 2), within, wear)

    usual = min(measures.span_teeth(gear), gear.teeth - 1)
    spans: Any = tuple((count, read(measures.span(worn, count), 0.02, 0.05 * module)) for count in (usual, usual + 1))
    outside = read(gear.tip_diameter - lower, 0.05, 0.08 * module)
    lean = None
    if gear.lead:
        lean = read(gears.helix_angle_at(outside.value, gear.lead), 0.5)
    return Sample(gear.teeth, leans=gear.lead is not None, outside=outside, spans=spans, lean=lean)


def is_same(found: Candidate, system: ToothSystem, gear: gears.Gear) -> bool:
    """Whether it is that system, or one that can't be told from it by anything that is cut; the helix to a degree."""
    if abs(found.helix_angle_deg - gear.helix_angle_deg) >= 1.0:
        return False
    if found.system == system:
        return True
    other = gear_of(found.system, gear.teeth, found.helix_angle_deg)
    return (
        abs(other.module_n / gear.module_n - 1) < 1e-3
        and abs(other.pressure_angle_n_deg - gear.pressure_angle_n_deg) < 0.3
        and abs(found.system.addendum * float(found.system.module) / float(system.module) - system.addendum) < 0.05
    )


def main(count: int) -> None:
    dice, systems = random.Random(SEED), list(tooth_systems())
    first = three = sure = wrongly = 0
    begun = time.process_time()
    for _ in range(count):
        system, gear = random_gear(dice, systems)
        sample = sample_of(dice, gear)
        identity = identify(sample, systems)
        hits = [is_same(each, system, gear) for each in identity.candidates[:3]]
        first += bool(hits and hits[0])
        three += any(hits)
        sure += identity.is_sure
        wrong = identity.is_sure and not hits[0]
        wrongly += wrong
        if (wrong or not any(hits)) and "-v" in sys.argv:
            names = [(c.system.name, c.helix_angle_deg, round(c.profile_shift, 2), round(c.cost, 1)) for c in identity.candidates[:3]]
            print("SURE AND WRONG" if wrong else "missed", system.name, gear.teeth, gear.helix_angle_deg, gear.profile_shift, names)
    each_ms = 1000 * (time.process_time() - begun) / count
    print(f"{count} gears, seed {SEED}: first {first / count:.1%}, in three {three / count:.1%}, "
          f"sure {sure / count:.1%}, sure and wrong {wrongly}; {each_ms:.0f} ms each")  # fmt: skip


if __name__ == "__main__":
    main(int(next((a for a in sys.argv[1:] if a.isdigit()), 500)))
