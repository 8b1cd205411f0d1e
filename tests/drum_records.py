"""The records of order 92: a wheel cut by a machine with two faults in it, read as a checker and a hand with a dial would.

    python tests/drum_records.py        writes them anew
"""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import numpy as np
from handlead.machines.gear_records.records import Record
from handlead.machines.job_files.job_file import read_job
from handlead.machines.machine_files.machine_file import Imperfection
from handlead.machines.setups.case import Case
from measured_gears import MeasuredGear, with_noise

ORDER = Path(__file__).parents[1] / "scenarios" / "92-cloud-drum-wheel"

#: The slide screw has its slide 0.02 mm ahead and behind once in each of its turns; the blank runs out by 0.04 mm.
PLANTED = (
    Imperfection("once per turn", "slide screw", length=Fraction(2, 100), turn_of="driving", phase_deg=Fraction(70)),
    Imperfection("work runout", runout=Fraction(4, 100), phase_deg=Fraction(200)),
)

SEED = 92


def records() -> dict[str, str]:
    """Each file by its name: a checker with noise of 1 µm, decimal commas and semicolons; a dial read to half a division."""
    gear = MeasuredGear.with_errors(Case.of(read_job(ORDER / "job.toml")), PLANTED)
    noise = np.random.default_rng(SEED)
    found = {}
    for flank in ("right", "left"):
        helix = with_noise(gear.along("helix", flank, (1, 23, 45), 41), 1.0, noise)
        found[f"helix-{flank}.csv"] = _of_checker(helix)
    found["pitch.csv"] = _of_checker(with_noise(gear.round_gear("pitch cumulative", "right"), 1.0, noise))
    found["runout.csv"] = _by_hand(with_noise(gear.round_gear("runout", every=3), 4.0, noise))
    return found


def _of_checker(record: Record) -> str:
    lines = [f"# quantity: {record.kind}", "# unit: um", f"# flank: {record.flank}", "# counted: clockwise"]
    columns = "tooth; height; deviation" if record.kind == "helix" else "tooth; deviation"
    lines += ["# date: 2026-11-12", columns]
    for tooth, height, um in zip(record.readings.tooth, record.readings.height, record.readings.um, strict=True):
        between = f"{height:.2f}; " if record.kind == "helix" else ""
        lines.append(f"{tooth:.0f}; {between}{um:.1f}".replace(".", ","))
    return "\n".join(lines) + "\n"


def _by_hand(record: Record) -> str:
    lines = ["# By hand, a ball in every third space, old dial.", "# quantity: runout", "# unit: divisions"]
    lines += ["# division: 0.01 mm", "# counted: clockwise", "# date: 2026-11-09", "space, reading"]
    for tooth, um in zip(record.readings.tooth, record.readings.um, strict=True):
        lines.append(f"{tooth:.0f}, {round(um / 5) / 2:g}")
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    for name, text in records().items():
        (ORDER / name).write_text(text, encoding="utf-8")
