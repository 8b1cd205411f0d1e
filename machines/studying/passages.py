"""When each place of a flank is left, and by that what slope a wave leaves on it.

A flank is the envelope of single passages of the hob. While a wave is so low that the deepest passage at a place stays
the deepest, it shifts that place by what it comes to at that passage (first order, own derivation). Along a profile it
goes on by gashes, and on helical work it leaps by a whole turn of the table where the next pass takes over; so a wave
that comes back many times a turn, or not a whole number of times, isn't seen there as a smooth one would be. The slope
is the sum over the places of its height at their moments, each by its weight in the line that is laid through.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np
import numpy.typing as npt
from handlead.kinematics.flank_cutting.flank_passages import FlankCut, NoInvolute, active_rolls
from handlead.kinematics.flank_cutting.flanks import deviations
from handlead.kinematics.frame.motion import Ripple
from handlead.kinematics.gauging.flanks import evaluated
from handlead.machines.blanks.flanks import Flanks

Floats = npt.NDArray[np.float64]
Complex = npt.NDArray[np.complex128]

#: Places of a profile and of a helix that are looked at.
_ROLLS, _HEIGHTS = 97, 241

#: A wave that tells the time: one in so many turns of the table, so many mm high. It changes nothing else.
_TURNS, _LOW_MM = 1000, 1e-6

#: Places that a line is laid through, at least.
_FEWEST = 4


@dataclass(frozen=True)
class Moments:
    """Turns of the table at which the places of a trace are left, a row a tooth, and what each weighs in the slope."""

    turns: tuple[tuple[float, ...], ...]
    weights: tuple[float, ...]

    def slope(self, per_turn: float) -> Complex:
        """Slope on each tooth, over the length looked at, of a wave of height one, from its phase at mid-length."""
        turns = np.array(self.turns)
        # Passes of one place are whole turns apart: what the table stands at there is the same.
        middle = np.angle(np.exp(2j * np.pi * turns).mean(axis=1, keepdims=True)) / (2 * np.pi)
        middle = middle + np.rint(turns.mean(axis=1, keepdims=True) - middle)
        return np.asarray(np.exp(2j * np.pi * per_turn * (turns - middle)) @ np.array(self.weights))


@dataclass(frozen=True)
class FlankMoments:
    """The moments of both flanks, the right one first, of profiles at mid-face and of helices at mid-roll."""

    profile: tuple[Moments, Moments]
    face: tuple[Moments, Moments]


def flank_moments(flanks: Flanks, teeth: Sequence[int]) -> FlankMoments | None:
    """When the flanks of these teeth are left; None where too little of one is finished."""
    try:
        right, left = (_of_flank(flanks, teeth, side) for side in (1, -1))
    except NoInvolute:
        return None
    if right is None or left is None:
        return None
    return FlankMoments((right[0], left[0]), (right[1], left[1]))


def _of_flank(flanks: Flanks, teeth: Sequence[int], side: int) -> tuple[Moments, Moments] | None:
    """The moments of profile and helix of one side."""
    low = _LOW_MM / (math.pi * flanks.gear.base_diameter)
    told = [_cut(flanks, side, (Ripple("table", "table", Fraction(1, _TURNS), low, phase),)) for phase in (0.0, 0.25)]
    plain = _cut(flanks, side, ())
    face = flanks.gear.face_width
    assert face is not None
    first, last = active_rolls(plain)
    rolls, heights = np.linspace(first, last, _ROLLS), np.linspace(0, face, _HEIGHTS)
    heights = heights[evaluated(heights)]
    middle = np.full(heights.size, (first + last) / 2)
    profile = _moments(plain, told, (rolls, np.full(rolls.size, face / 2), rolls), teeth, None)
    helix = _moments(plain, told, (middle, heights, heights), teeth, face)
    return None if profile is None or helix is None else (profile, helix)


def _cut(flanks: Flanks, side: int, ripples: tuple[Ripple, ...]) -> FlankCut:
    with_them = replace(flanks, ripples=(*flanks.ripples, *ripples))
    return FlankCut.of(with_them.motion, flanks.setting, flanks.gear, side=side)


def _moments(
    plain: FlankCut, told: Sequence[FlankCut], trace: tuple[Floats, Floats, Floats], teeth: Sequence[int],
    length: float | None,
) -> Moments | None:  # fmt: skip
    """The moments of a trace: its rolls, heights, and where along it they stand; its slope is told over `length`.

    The shift by the long wave from nought on is its sine at that moment, that by the same a quarter later its cosine.
    """
    roll, height, along = trace
    sense = math.copysign(1.0, plain.swept.table_rate)
    rows = []
    for tooth in teeth:
        flat, sine, cosine = (deviations(cut, roll, height, float(tooth)) for cut in (plain, *told))
        rows.append(cosine - flat + 1j * (sine - flat))
    waves = np.array(rows)
    there = np.isfinite(waves).all(axis=0)
    if np.count_nonzero(there) < _FEWEST:
        return None
    angles = np.unwrap(np.angle(waves[:, there]), axis=1)
    turns = sense * _TURNS * angles / (2 * np.pi)
    return Moments(tuple(map(tuple, turns.tolist())), tuple(_weights(along[there], length).tolist()))


def _weights(along: Floats, length: float | None) -> Floats:
    """What each place adds to the slope of the line laid by least squares, per unit of its height; ends count half."""
    counts = np.gradient(along)
    counts[[0, -1]] /= 2
    off = along - np.sum(counts * along) / np.sum(counts)
    over = along[-1] - along[0] if length is None else length
    return np.asarray(over * counts * off / np.sum(counts * off * off))
