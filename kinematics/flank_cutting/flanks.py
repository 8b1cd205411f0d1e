"""The cut flank: how far each passage of a gash stays off the nominal flank, and the least of them.

For a point of the flank and a passage the motion is inverted: along the point's normal the place is
sought at which the swept edge stands, together with the swing of the hob at which it does so. Two
unknowns, solved by Newton's method for all points at once.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import numpy.typing as npt
from handlead.kinematics.cutting.sweep import TURN, error, lean
from handlead.kinematics.frame import arguments
from handlead.kinematics.frame.blank import FlankMap

from .flank_passages import ROLL_ALLOWED, FlankCut, active_rolls, lattice_at, nearest

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

_AT_ONCE = 40_000
_STEPS = 4


def deviations(cut: FlankCut, roll: Floats, height: Floats, space: Floats | float = 0.0) -> Floats:
    """Deviation of the cut flank at these points (arrays of one shape), in mm out of the material.

    NaN where no passage of the phase finishes the place.
    """
    roll, height, space = (
        np.ravel(x) for x in np.broadcast_arrays(roll, height, np.asarray(space, dtype=float))
    )
    result = np.full(roll.size, np.inf)
    near, made_roll, made_height = cut.made.along_normal(cut.flank, roll, height, space)
    found = made_roll >= cut.made.first_roll - ROLL_ALLOWED
    low = found & (made_roll < cut.low_roll)
    for which, window in ((found & ~low, cut.window), (low, cut.low_window)):
        numbers = np.flatnonzero(which)
        at_once = max(1, _AT_ONCE // window.shape[0])
        for first in range(0, numbers.size, at_once):
            some = numbers[first : first + at_once]
            home = nearest(cut, made_roll[some], made_height[some], space[some])
            points = np.stack([roll[some], height[some], space[some], near[some]])
            result[some] = _least(cut, points, home, window)
    return np.where(np.isfinite(result), result, np.nan)


def _least(cut: FlankCut, points: Floats, home: Ints, window: Ints) -> Floats:
    """The deepest of the passages in a window about the home of each point.

    `points` are rows of rolls, heights, spaces, and where the flank that is made is to be expected.
    """
    number = home[:, None] + (window @ cut.steps.T @ np.array([1, cut.per_turn]))[None, :]
    inside = (number >= 0) & (number < cut.swept.count)
    number_in = np.clip(number, 0, cut.swept.count - 1).ravel()
    roll, height, space, near = (np.broadcast_to(x[:, None], number.shape).ravel() for x in points)
    stands = passing(cut, roll, height, space, number_in, near)
    return np.asarray(np.where(inside, stands.reshape(number.shape), np.inf).min(axis=1))


def passing(
    cut: FlankCut, roll: Floats, height: Floats, space: Floats, number: Ints, near: Floats | float = 0.0
) -> Floats:
    """How far off each point's nominal place the edge of one given passage goes by, in mm; inf if it never does.

    It is sought from `near` on, where the flank that is made is to be expected.
    """
    swept, flank, hob = cut.swept, cut.flank, cut.hob
    sine, cosine = math.sin(cut.swivel), math.cos(cut.swivel)
    side = float(flank.side)
    base, twist = flank.base_radius, flank.twist
    radial, _, lag = hob.gash_errors()
    gash = swept.gash[number]
    table = swept.table[number]
    centre = swept.height[number] + error(cut.ripples, "axial", swept, number, 0.0)
    right = swept.right[number] + error(cut.ripples, "tangential", swept, number, 0.0)
    distance = swept.distance[number] + error(cut.ripples, "radial", swept, number, 0.0)
    # In the frame of the tangent to the base cylinder a point is (base, −side·base·roll), its
    # normal (0, −side) times cos β_b with a rise of side·tan β_b.
    angle = flank.tangent_angle(roll, height, space) + table
    out = flank.base_cosine
    rise = side * twist * base * out
    deviation = np.zeros(roll.size) + near
    swing = np.zeros(roll.size)
    screw = hob.hand.value * hob.lead / TURN
    has_lag, has_radial = bool(np.any(lag)), bool(np.any(radial))
    leans = hob.gash_leans() if hob.wobble else None
    along: Floats | float = 0.0
    for step in range(_STEPS):
        hob_angle = swing + lag[gash] if has_lag else swing
        if leans is not None:
            hob_angle = hob_angle + leans[1][gash] * along
        turned = angle + swept.table_rate * hob_angle
        if cut.ripples:
            turned = turned + TURN * error(cut.ripples, "table", swept, number, hob_angle)
        c, s = np.cos(turned), np.sin(turned)
        aside = -side * (base * roll + out * deviation)
        x = base * c - aside * s
        y = base * s + aside * c
        a = distance + swept.distance_rate * hob_angle - x
        b = y - right - swept.right_rate * hob_angle
        z = height + rise * deviation - centre - swept.height_rate * hob_angle
        if leaning := lean(cut.ripples, swept, number, hob_angle):
            level = height + rise * deviation
            a = a - leaning[0] * level - leaning[2]
            b = b + leaning[1] * level + leaning[3]
            z = z - leaning[0] * x - leaning[1] * y
        place = b * cosine + z * sine
        up = -b * sine + z * cosine
        radius = np.sqrt(a * a + up * up)
        on_hob = radius - radial[gash] if has_radial else radius
        if leans is not None:
            on_hob = on_hob - leans[0][gash] * along
            place = place + leans[0][gash] * (radius - hob.pitch_diameter / 2)
        half, slope = hob.flank(on_hob)
        if step == 0:
            thread = swept.thread[number]
            # The thread is carried along the axis as it goes round.
            inner = place - side * np.where(np.isfinite(half), half, 0.25 * hob.axial_pitch)
            inner = inner - thread - screw * np.arctan2(up, a)
            thread = thread + hob.thread_pitch * np.rint(inner / hob.thread_pitch)
            along = thread - hob.shift
        late = np.arctan2(up, a) - swing
        off = place - thread - side * half
        # By the deviation, and by the swing.
        a_d, b_d, z_d = -side * out * s, -side * out * c, rise
        up_d, place_d = -b_d * sine + z_d * cosine, b_d * cosine + z_d * sine
        a_t = swept.table_rate * y + swept.distance_rate
        b_t, z_t = swept.table_rate * x - swept.right_rate, -swept.height_rate
        up_t, place_t = -b_t * sine + z_t * cosine, b_t * cosine + z_t * sine
        square = radius * radius
        late_d, late_t = (a * up_d - up * a_d) / square, (a * up_t - up * a_t) / square - 1
        off_d = place_d - side * slope * (a * a_d + up * up_d) / radius
        off_t = place_t - side * slope * (a * a_t + up * up_t) / radius
        by = late_t * off_d - late_d * off_t
        meets = np.isfinite(off)
        off = np.where(meets, off, 0)
        deviation = deviation - np.where(meets, (late_t * off - off_t * late) / by, 0)
        swing = swing - np.where(meets, (late * off_d - off * late_d) / by, 0)
    deviation = np.where(meets & (np.abs(off) < 1e-6 * hob.module_n), deviation, np.inf)
    if np.any((number <= swept.gashes) | (number >= swept.count - swept.gashes)):
        turned = number * (TURN / swept.gashes) + hob_angle
        deviation = np.where((turned < swept.begins) | (turned > swept.ends), np.inf, deviation)
    return deviation


def cut_flank(
    cut: FlankCut,
    *,
    rolls: int = 64,
    heights: int = 321,
    space: int = 0,
    progress: Callable[[float], None] | None = None,
) -> FlankMap:
    """Map of one flank over its active roll and its face: deviation along the nominal's normal, in mm.

    Raises `NoInvolute` where nothing of the tooth is left.
    """
    face = cut.flank.gear.face_width
    assert face is not None
    first, last = active_rolls(cut)
    over_roll = np.linspace(first, last, arguments.whole("rolls", rolls, at_least=2))
    over_face = np.linspace(0, face, arguments.whole("heights", heights, at_least=2))
    deviation = np.empty((rolls, heights))
    for row, roll in enumerate(over_roll):
        deviation[row] = deviations(cut, np.full(heights, roll), over_face, float(space))
        if progress is not None:
            progress((row + 1) / rolls)
    return FlankMap(deviation, over_roll * cut.flank.base_radius, over_face, cut.flank.base_cosine)


def cut_pitch(cut: FlankCut, samples: int = 9) -> Floats:
    """Where each flank stands along the reference circle from even division, in mm, counter-clockwise positive.

    Looked at on the reference circle, or as near to it as the flank goes on to both sides, since what an involute is
    displaced by is the same all along it. For `flank_gauging.gauge_pitch`, times 1000.
    """
    flank = cut.flank
    first, last = active_rolls(cut)
    margin = (last - first) / 4
    roll = min(max(math.tan(flank.pressure_angle), first + margin), last - margin)
    mean = standing_at(cut, roll, samples)
    return np.asarray(-flank.side * mean / (flank.base_cosine * math.cos(flank.pressure_angle)))


def standing_at(cut: FlankCut, roll: float, samples: int = 9, above: float = 0.0) -> Floats:
    """How far each space's flank stands out of the material at a roll, in mm along its normal.

    That is about mid-face, or so many mm `above`.

    Each is the mean over one cell of the lattice of contacts, so that marks don't count.
    """
    gear = cut.flank.gear
    assert gear.face_width is not None
    lattice = lattice_at(cut, roll)
    part = (np.arange(arguments.whole("samples", samples, at_least=1)) + 0.5) / samples - 0.5
    a, b = (x.ravel() for x in np.meshgrid(part, part, indexing="ij"))
    rolls = roll + lattice.basis[0, 0] * a + lattice.basis[0, 1] * b
    heights = gear.face_width / 2 + above + lattice.basis[1, 0] * a + lattice.basis[1, 1] * b
    spaces = np.repeat(np.arange(gear.teeth, dtype=float), a.size)
    found = deviations(cut, np.tile(rolls, gear.teeth), np.tile(heights, gear.teeth), spaces)
    return np.asarray(found.reshape(gear.teeth, a.size).mean(axis=1))
