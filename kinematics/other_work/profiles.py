"""Threads of hobs that don't cut involutes: points of the normal section, from root to tip.

Each function returns (height over the rolling line, half thickness) pairs in mm for `Hob.profile`.
The work's rolling circle is as long as its spaces times the hob's pitch.
"""

from __future__ import annotations

import math

from handlead.kinematics.frame import arguments

from .spline import RolledKeys, StraightSpline, rack_half

Profile = tuple[tuple[float, float], ...]


def straight_spline(spline: StraightSpline, points: int = 60, rolling_diameter: float | None = None) -> Profile:
    """Thread that generates parallel-sided keys, rolling on their major diameter or on another circle, in mm.

    A key's side touches the rack where its normal goes through the pitch point; the thread is what
    the keys leave of the rack, down to the minor diameter. Where the touch ends on the way to the
    bottom a fillet stays, as it must. The hob's module is the rolling diameter over the keys.
    Source: law of gearing, own derivation; rolling on the major diameter is common practice.
    Raises `ValueError` where the circle is too small for the tops of the sides, or the thread pointed before it is as
    deep as the minor diameter.
    """
    count = arguments.whole("points", points, at_least=2)
    rolled = RolledKeys.of(spline, rolling_diameter)
    if rolled.bottom <= 0:
        raise ValueError(
            f"the thread of a hob for these keys is pointed before it reaches their minor diameter of "
            f"{spline.minor_diameter:g} mm"
        )
    radius, half = rolled.rolling_diameter / 2, spline.key_width / 2
    pitch = 2 * math.pi * radius / spline.keys
    first, last = spline.corner_place(radius) / radius, spline.foot_place(radius) / radius
    outline: list[tuple[float, float]] = []
    for step in range(count + 1):
        sine = first + (last - first) * step / count
        # The key's side in the rack's frame, counted from the middle of the key.
        height = radius * sine * sine - half * sine
        if not outline or height > outline[-1][0]:
            outline.append((height, pitch / 2 - rack_half(half, radius, sine)))
    below = outline[0][0] - 0.1 * spline.depth
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
