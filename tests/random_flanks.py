"""Set-ups drawn at random, right and wrong, whose flanks are looked at: tried by every passage there is."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
from handlead.kinematics.cutting.field import axial_pass
from handlead.kinematics.flank_cutting.flank_passages import FlankCut, active_rolls
from handlead.kinematics.flank_cutting.flanks import passing
from handlead.kinematics.frame.words import Hand
from handlead.kinematics.gears.gear import Gear
from on_the_machine import set_up


def random_set_up(spots: np.random.Generator) -> dict[str, object]:
    """Arguments for `set_up`: one in four right, the others with the head up to 5° off, most helical leads up to 20 %."""
    module_n = float(spots.choice([1, 1.5, 2, 2.5, 3, 4, 5, 6, 8]))
    helix = float(spots.choice([0, spots.uniform(1, 45)]))
    starts = int(spots.choice([1, 1, 1, 2, 3]))
    wrong = spots.random() < 0.75
    lead_off = wrong and helix and spots.random() < 0.6
    return {
        "teeth": int(spots.integers(9, 120)),
        "module_n": module_n,
        "helix_deg": helix,
        "hand": int(spots.choice([-1, 1])),
        "starts": starts,
        "hob_hand": int(spots.choice([-1, 1])),
        "up": int(spots.choice([-1, 1])),
        "feed": Fraction(int(spots.integers(20, 450)), 100),
        "gashes": int(spots.integers(8, 21)),
        "face": float(spots.uniform(6, 60)),
        "hob_diameter": max(module_n * spots.uniform(14, 32), 45 if module_n < 3 else 0),
        "swivel_error_deg": float(spots.uniform(-5, 5)) if wrong else 0.0,
        "differential": 1 + (Fraction(int(spots.integers(-200, 201)), 1000) if lead_off else Fraction(0)),
    }


def cut_of(what: dict[str, object], side: int, **more: object) -> FlankCut:
    """The cut of such a set-up, one side of its spaces, to be looked at. Raises `NoInvolute` as `FlankCut.of`."""
    machine = set_up(**what)
    hand = Hand(what["hand"]) if what["helix_deg"] else None
    gear = Gear(what["teeth"], what["module_n"], what["helix_deg"], hand, face_width=what["face"])
    motion = axial_pass(machine)
    return FlankCut.of(motion, machine, gear, side=side, **more)


def random_points(cut: FlankCut, spots: np.random.Generator, count: int) -> tuple[np.ndarray, ...]:
    """Rolls, heights and spaces, some at the ends of the flank and of the face. Raises `NoInvolute` as `active_rolls`."""
    low, high = active_rolls(cut)
    face = cut.flank.gear.face_width
    roll, height = spots.uniform(low, high, count), spots.uniform(0, face, count)
    few = max(1, count // 8)
    roll[:few], roll[few : 2 * few] = low, high
    height[0], height[few - 1 : few + 1] = 0, face
    return roll, height, spots.integers(0, cut.flank.gear.teeth, count).astype(float)


def by_every_passage(cut: FlankCut, roll: np.ndarray, height: np.ndarray, space: np.ndarray) -> np.ndarray:
    """Deviation in mm by every passage in which the hob can reach the height, whatever any window says; NaN where none is made.

    A normal drawn through the tooth comes out of its other flank: what lies so far off isn't this one.
    """
    near, made_roll, _ = cut.made.along_normal(cut.flank, roll, height, space)
    every = np.arange(cut.swept.count)
    found = np.full(roll.size, np.nan)
    for spot in np.flatnonzero(made_roll >= cut.made.first_roll - 1e-4):
        some = every[np.abs(cut.swept.height - height[spot]) <= cut.hob.tip_radius + 2]
        place = (np.full(some.size, x[spot]) for x in (roll, height, space))
        stands = passing(cut, *place, some, near[spot])
        found[spot] = stands[stands > near[spot] - 0.2 * cut.hob.module_n].min(initial=np.inf)
    return found
