"""Threads of hobs that don't cut involutes: points of the normal section, from root to tip.

Each function returns (height over the rolling line, half thickness) pairs in mm for `Hob.profile`.
The work's rolling circle is as long as its spaces times the hob's pitch.
"""

from __future__ import annotations

import math

from . import arguments
from .spline import StraightSpline

Profile = tuple[tuple[float, float], ...]


def straight_spline(spline: StraightSpline, points: int = 60) -> Profile:
    """Thread that generates parallel-sided keys, rolling on their major diameter, in mm.

    A key's side touches the rack where its normal goes through the pitch point; the thread is what
    the keys leave of the rack, down to the minor diameter. Where the touch ends on the way to the
    bottom a fillet stays, as it must. The hob's module is the major diameter over the keys.
    Source: law of gearing, own derivation; rolling on the major diameter is common practice.
    """
    count = arguments.whole("points", points, at_least=2)
    radius, half = spline.major_diameter / 2, spline.key_width / 2
    pitch = 2 * math.pi * radius / spline.keys
    first = half / radius
    last = (half + math.sqrt(half * half + 4 * radius * spline.depth)) / (2 * radius)
    outline = []
    for step in range(count + 1):
        sine = first + (last - first) * step / count
        angle, cosine = math.asin(sine), math.sqrt(1 - sine * sine)
        # The key's side in the rack's frame, counted from the middle of the key.
        key = half * cosine - radius * cosine * sine + radius * angle
        outline.append((radius * sine * sine - half * sine, pitch / 2 - key))
    below = -0.1 * spline.depth
    return ((below, outline[0][1]), *outline)


def rounded_rack(
    pitch: float,
    tip_radius: float,
    flank_angle_deg: float,
    addendum: float,
    dedendum: float,
    points: int = 24,
) -> Profile:
    """Thread with straight flanks into one full round at the tip, as hobs for roller chain wheels have, in mm.

    The round stands for the roller's seat: ISO 606 sets its radius from 0.505 roller diameters up
    (from memory). Raises `ValueError` where the thread gets wider than the pitch.
    """
    angle = math.radians(arguments.number("flank angle", flank_angle_deg, unit="deg", above=0, below=60))
    round_ = arguments.number("tip radius", tip_radius, unit="mm", above=0, below=pitch / 2)
    centre = addendum - round_
    outline = []
    join = centre + round_ * math.sin(angle)
    half = round_ * math.cos(angle)
    root = half + (join + dedendum) * math.tan(angle)
    if root > pitch / 2:
        raise ValueError(f"a thread {2 * root:g} mm wide at its root doesn't fit a pitch of {pitch:g} mm")
    outline.append((-dedendum, root))
    for step in range(points + 1):
        turn = angle + (math.pi / 2 - angle) * step / points
        outline.append((centre + round_ * math.sin(turn), max(round_ * math.cos(turn), 0.0)))
    return tuple(outline)
