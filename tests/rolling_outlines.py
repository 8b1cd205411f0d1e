"""Another way to roll gears: outlines of their teeth, point by point, turned in small until they touch.

Knows nothing of lines of action: only points, how far each is from the other gear's axis, and at which angle a flank
passes there.
"""

from __future__ import annotations

import math

import numpy as np

TURN = 2 * math.pi


def outline(cut, side, space, height, points=1500):
    """Radii and angles of one flank on the blank, in a section at this height over mid-face."""
    flank, gear, base = cut.flanks[side], cut.gear, cut.base_radius
    lengths = np.linspace(flank.roll_length[0], flank.roll_length[-1], points)
    column = np.array([np.interp(cut.width / 2 + height, flank.heights, row) for row in flank.deviation]) / flank.base_cosine
    own = cut.all_round[side]
    start = cut.twist * height
    # Space 0's flank as its map has it; another tooth's by what goes all round.
    def round_at(roll, of):
        return own.at(TURN * of / gear.teeth + side * roll / base + start)

    stands = np.interp(lengths, flank.roll_length, column) + round_at(lengths, space) - round_at(lengths, 0)
    half = gear.normal_thickness / (gear.module_n * gear.teeth)
    pressure = math.radians(gear.transverse_pressure_angle_deg)
    begin = side * (math.pi / gear.teeth - half - (math.tan(pressure) - pressure))
    whole = cut.twist * (cut.width / 2 + height)
    tangent = begin + TURN * space / gear.teeth + side * lengths / base + whole
    aside = -side * (lengths + stands)
    return np.hypot(base, aside), tangent + np.arctan2(aside, base)


def pushed_ahead(first, second, distance, side, steps, per_tooth, heights):
    """How far ahead the second gear is pushed, in mm along its base tangent, at each of these steps of the first.

    The tooth after space 0 of the first stands in the middle of space 0 of the second, at mid-face, with both at rest.
    """
    pitch = TURN / second.gear.teeth
    middle = math.pi / first.gear.teeth + first.twist * first.width / 2
    rest = -middle * first.gear.teeth / second.gear.teeth - second.twist * second.width / 2
    some = range(-4, 5)
    found = []
    for step in steps:
        turn = TURN * step / per_tooth / first.gear.teeth
        tightest = -np.inf
        for height in heights:
            ones, others = [], []
            around = round(-(turn) / TURN * first.gear.teeth)
            for space in some:
                radius, angle = outline(first, side, around + space, height)
                x, y = radius * np.cos(angle + turn), radius * np.sin(angle + turn)
                # As seen from the second gear, whose own angle 0 looks at the first.
                ones.append((np.hypot(distance - x, y), np.arctan2(-y, distance - x)))
            back = rest - turn * first.gear.teeth / second.gear.teeth
            around = round(-back / TURN * second.gear.teeth)
            for space in some:
                radius, angle = outline(second, side, around + space, height)
                others.append((radius, (angle + back + math.pi) % TURN - math.pi))
            for radius, angle in ones:
                for other_radius, other_angle in others:
                    meets = (radius >= other_radius[0]) & (radius <= other_radius[-1])
                    if not meets.any():
                        continue
                    there = np.interp(radius[meets], other_radius, other_angle)
                    off = side * (there - angle[meets])
                    # Of all flanks that pass there, the one that is met.
                    near = np.abs(off) < pitch / 4
                    if near.any():
                        tightest = max(tightest, float(-off[near].min()))
        found.append(tightest * second.base_radius)
    return np.array(found)
