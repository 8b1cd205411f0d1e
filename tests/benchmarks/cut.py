"""How long the simulated cut takes, against a plain double loop, and how it grows. Run as a script.

Module 3, 29 teeth, 25 deg, face 40, feed 2 mm, 10 gashes throughout. Times are processor times
unless wall clock is said.
"""

from __future__ import annotations

import math
import resource
import time
from collections.abc import Callable
from fractions import Fraction

import numpy as np
from handlead.kinematics.cutting import compiled
from handlead.kinematics.cutting.field import axial_pass, cut_field, scratch_cut
from handlead.kinematics.cutting.hob import Hob
from handlead.kinematics.cutting.setting import Grid, Setting
from handlead.kinematics.flank_cutting.flank_passages import FlankCut
from handlead.kinematics.flank_cutting.flanks import cut_flank
from handlead.kinematics.frame.blank import Blank
from handlead.kinematics.frame.motion import Rates
from handlead.kinematics.frame.words import Hand
from handlead.kinematics.gauging.field import gauge
from handlead.kinematics.gears.gear import Gear
from handlead.kinematics.witness.measured import measure_cut


def machine(teeth: int = 29, face: float = 40, feed: Fraction = Fraction(2)):
    hob = Hob(module_n=3, reference_diameter=72.5, gashes=10)
    gear = Gear(teeth, 3, 25, Hand.RIGHT, face_width=face)
    per_mm = Fraction(1 / gear.lead).limit_denominator(10**8)
    table = Fraction(1, teeth) / (1 - feed * per_mm)
    return (
        Rates(table=-table, axial=feed * table),
        hob,
        Blank(gear.tip_diameter, face),
        hob.geometric_lead_angle_deg - 25,
        gear,
    )


def field(
    rows: int, columns: int, use_compiled: bool, teeth: int = 29, face: float = 40, spread: bool = True
):
    rates, hob, blank, swivel, gear = machine(teeth, face)
    distance = gear.reference_diameter / 2 + hob.pitch_diameter / 2
    setting = Setting(rates, hob, blank, swivel, distance)
    grid = Grid(np.linspace(0, face, rows), columns=columns)
    return cut_field(axial_pass(setting), setting, grid, compiled=use_compiled)


def plain_loop(columns: int):
    """One row by a double loop over passages and points, in Python numbers and without any window."""
    rates, hob, blank, swivel, gear = machine()
    distance = gear.reference_diameter / 2 + hob.pitch_diameter / 2
    phase = axial_pass(Setting(rates, hob, blank, swivel, distance)).phases[0]
    edge = hob.edge()
    eta, height = math.radians(swivel), 20.0
    row = [blank.radius] * columns
    step = 2 * math.pi / columns
    per_turn, start = float(phase.per_turn.axial), float(phase.start.axial)
    table = float(phase.per_turn.table)
    first = math.ceil((height - 30 - start) / per_turn * hob.gashes)
    last = math.floor((height + 30 - start) / per_turn * hob.gashes)
    for number in range(first, last + 1):
        turn = number / hob.gashes
        centre = start + per_turn * turn
        for pitches in range(-4, 5):
            place = -hob.lead * (number % hob.gashes) / hob.gashes + pitches * hob.axial_pitch
            before = None
            for rho, aside in zip(edge.radius.tolist(), edge.offset.tolist(), strict=True):
                w = place + aside
                share = (height - centre - w * math.sin(eta)) / (rho * math.cos(eta))
                if abs(share) >= 1:
                    before = None
                    continue
                swing = math.asin(share)
                swing = math.asin(share - per_turn / (2 * math.pi) * swing / (rho * math.cos(eta)))
                x = distance - rho * math.cos(swing)
                y = w * math.cos(eta) - rho * math.sin(swing) * math.sin(eta)
                spot = (math.atan2(y, x) - 2 * math.pi * table * turn - table * swing) / step
                radius = math.hypot(x, y)
                if before is not None and min(radius, before[1]) < blank.radius:
                    low, high = sorted((spot, before[0]))
                    for column in range(math.ceil(low), math.floor(high) + 1):
                        part = (column - before[0]) / (spot - before[0])
                        at = before[1] + part * (radius - before[1])
                        row[column % columns] = min(row[column % columns], at)
                before = (spot, radius)
    return row


def timed(work: Callable[[], object], wall: bool = False) -> float:
    clock = time.perf_counter if wall else time.process_time
    begin = clock()
    work()
    return clock() - begin


def main() -> None:
    rates, hob, blank, swivel, gear = machine()
    distance = gear.reference_diameter / 2 + hob.pitch_diameter / 2
    setting = Setting(rates, hob, blank, swivel, distance)
    motion = axial_pass(setting)
    say = lambda what, seconds, more="": print(f"{what:58s} {seconds:8.3f} s  {more}")  # noqa: E731
    scratch_cut(setting)
    say("scratch cut and measuring", timed(lambda: gauge(scratch_cut(setting))))
    say(
        "the whole witness, flanks and class with it",
        timed(lambda: measure_cut(setting, gear=gear)),
    )
    say("flank map 64 x 321", timed(lambda: cut_flank(FlankCut.of(motion, setting, gear), rolls=64, heights=321)))
    one = timed(lambda: field(1, 6000, False))
    loop = timed(lambda: plain_loop(6000))
    say("one row of 6000, double loop in plain Python", loop)
    say("one row of 6000, arrays", one, f"ratio {loop / one:.0f}")
    whole = timed(lambda: field(161, 6000, False))
    say("whole field 161 x 6000, arrays", whole)
    if compiled.available():
        first = timed(lambda: field(2, 6000, True), wall=True)
        say("compiling, or fetching what was compiled (wall clock)", first)
        wall = timed(lambda: field(161, 6000, False), wall=True)
        quick_wall = timed(lambda: field(161, 6000, True), wall=True)
        quick = timed(lambda: field(161, 6000, True))
        say("whole field 161 x 6000, compiled", quick, f"ratio {whole / quick:.1f}")
        say("the same by the wall clock, all processors", quick_wall, f"ratio {wall / quick_wall:.1f}")
    print("growth of the array path, full depth (seconds):")
    print("  rows    ", {n: round(timed(lambda n=n: field(n, 2000, False)), 2) for n in (10, 20, 40)})
    print(
        "  columns ", {n: round(timed(lambda n=n: field(10, n, False)), 2) for n in (1500, 3000, 6000, 12000)}
    )
    print(
        "  teeth   ", {n: round(timed(lambda n=n: field(10, 2000, False, teeth=n)), 2) for n in (20, 40, 80)}
    )
    per_mm = {b: round(timed(lambda b=b: field(b, 2000, False, face=b)), 2) for b in (10, 20, 40)}
    print("  face, a row a millimetre", per_mm)
    print(f"most memory held: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")


if __name__ == "__main__":
    main()
