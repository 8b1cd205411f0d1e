"""How long it takes to roll a pair: ``python tests/benchmarks/mesh.py``.

Two gears with flank maps of 64 by 321 to either side, through the whole cycle until the same teeth meet again, against the
time that cutting one such map in simulation takes.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from handlead.kinematics.gears.pair import distance_with_backlash
from handlead.kinematics.rolling.bearing import bearing
from handlead.kinematics.rolling.roll import roll
from handlead.kinematics.rolling.waves import waves
from handlead.machines.blanks.flanks import Flanks
from handlead.machines.job_files.job_file import read_job
from handlead.machines.rolling.members import as_cut
from handlead.machines.setups.case import Case

PAIR = Path(__file__).parents[2] / "scenarios" / "01-fly-winch-pair"


def least(timed: Callable[[], Any], times: int = 5) -> float:
    """Processor seconds of the quickest of some runs."""
    taken = []
    for _ in range(times):
        begun = time.process_time()
        timed()
        taken.append(time.process_time() - begun)
    return min(taken)


def main() -> None:
    """Print the times and their ratio."""
    jobs = [read_job(PAIR / name) for name in ("pinion.toml", "wheel.toml")]
    first, second = (as_cut(job).gear for job in jobs)
    assert first is not None and second is not None
    assert first.flanks[1].deviation.shape == (64, 321)
    distance = distance_with_backlash(first.gear, second.gear, 0.15)

    def mesh() -> None:
        rolled = roll(first, second, distance)
        for side in rolled.sides.values():
            waves(1000 * side.ahead, (first.gear.teeth, second.gear.teeth))
            bearing(side)

    rolling, cutting = least(mesh), least(lambda: Flanks.of(Case.of(jobs[0])).maps(), 2) / 2
    print(f"rolling two gears of 64 x 321: {rolling:.3f} s of processor time, both sides, 1702 teeth")
    print(f"cutting one map of 64 x 321:   {cutting:.3f} s; rolling takes {rolling / cutting:.2f} times that")


if __name__ == "__main__":
    main()
