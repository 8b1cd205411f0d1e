"""The window of passages against all passages, on random set-ups; and how long a flank map takes.

Run with ``python tests/benchmarks/flank_window.py [SET-UPS [SEED]]``. One set-up in four is right; the others
have the head up to 5° off and, if helical, mostly a lead up to 20 % off. Thirty points of each flank are looked at,
some at its ends, by the window and by every passage in which the hob reaches their height. Times are processor times.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from handlead.kinematics.cutting.field import axial_pass
from handlead.kinematics.flank_cutting.flank_passages import FlankCut, NoInvolute
from handlead.kinematics.flank_cutting.flanks import cut_flank, deviations
from handlead.kinematics.frame.words import Hand
from handlead.kinematics.gears.gear import Gear
from on_the_machine import set_up
from random_flanks import by_every_passage, cut_of, random_points, random_set_up

#: Two flanks are the same within this, in mm.
SAME = 1e-5


def main(count: int, seed: int) -> None:
    spots = np.random.default_rng(seed)
    sizes, off, none, wrong, points = [], [], 0, 0, 0
    for number in range(count):
        what = random_set_up(spots)
        for side in (1, -1):
            try:
                cut = cut_of(what, side)
                place = random_points(cut, spots, 30)
            except NoInvolute:
                none += 1
                continue
            sizes.append(len(cut.window))
            ours, every = deviations(cut, *place), by_every_passage(cut, *place)
            unlike = np.isfinite(ours) != np.isfinite(every)
            apart = np.nan_to_num(np.abs(ours - every))
            points += int(np.isfinite(every).sum())
            off.append(1000 * float(apart.max()))
            if unlike.any() or apart.max() > SAME:
                wrong += 1
                print(f"set-up {number}, side {side}: {off[-1]:.3f} µm apart, {unlike.sum()} unlike; {what}")
    print(
        f"{count} set-ups of seed {seed}: {len(off)} flanks, {points} points; {wrong} flanks apart by more than 0.01 µm, "
        f"most {max(off):.6f} µm; no flank of the drawing's made on {none}"
    )
    print(f"passages in a window: median {np.median(sizes):g}, most {max(sizes)}")
    machine = set_up()
    gear = Gear(29, 3, 25, Hand.RIGHT, face_width=40)
    motion = axial_pass(machine)
    times = []
    for _ in range(5):
        begin = time.process_time()
        cut_flank(FlankCut.of(motion, machine, gear), rolls=64, heights=321)
        times.append(time.process_time() - begin)
    print(f"flank map 64 x 321, module 3, 29 teeth, 25°: {1000 * min(times):.0f} ms")


if __name__ == "__main__":
    given = [int(word) for word in sys.argv[1:]]
    main(given[0] if given else 300, given[1] if len(given) > 1 else 1)
