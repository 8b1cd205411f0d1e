"""A blank that is toothed already, cut again: what is left on its flanks, measured on a section of the simulated work.

The old spaces are cut less deep, the new ones to depth and as far round as they miss; both by the same edges.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np
import numpy.typing as npt
from handlead.kinematics.cutting.field import axial_pass, cut_field
from handlead.kinematics.cutting.setting import Grid, Setting
from handlead.kinematics.frame.motion import Motion, Phase, Position

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Section:
    """Radii round the work at mid-face, in mm, at even steps counter-clockwise: of the old spaces, of the new alone."""

    old: Floats
    new: Floats

    @property
    def both(self) -> Floats:
        """What is left after both cuts."""
        return np.minimum(self.old, self.new)


@dataclass(frozen=True)
class LeftOnFlanks:
    """What the new cut takes off each flank at a radius, in mm along the circle there, at the tooth where it is least.

    Flanks are named by the way in which they look; below 0 the new cut doesn't reach the old flank. `lands` is how many
    teeth, or parts of teeth, are left at that radius, `thinnest` how thick the thinnest is.
    """

    counter_clockwise: float
    clockwise: float
    lands: int
    thinnest: float


def cut_again_section(setting: Setting, less_deep: float, off_turns: float, columns: int) -> Section:
    """Mid-face after an old cut `less_deep` mm short of the new one, the new spaces `off_turns` turns further round.

    Positive is counter-clockwise. Raises `ValueError` where the axial slide stands still.
    """
    new = axial_pass(setting).phases[0]
    old = replace(new, start=new.start + Position(radial=Fraction(less_deep).limit_denominator(10**6)))
    # A table that stands further back has the spaces further round on the blank.
    further = replace(new, start=new.start + Position(table=-Fraction(off_turns).limit_denominator(10**9)))
    return Section(_row(setting, old, columns), _row(setting, further, columns))


def _row(setting: Setting, phase: Phase, columns: int) -> Floats:
    middle = np.array([setting.blank.face_width / 2])
    field = cut_field(Motion((phase,)), setting, Grid(middle, columns=columns, fineness=0.5))
    row: Floats = field.radius[0]
    return row


def left_on_flanks(section: Section, radius: float) -> LeftOnFlanks | None:
    """What is taken off at this radius; None where old or new leave no teeth there."""
    old, new, both = (_lands(row, radius) for row in (section.old, section.new, section.both))
    if not old or not new:
        return None
    off: list[tuple[float, float]] = []
    for begin, end in old:
        nearest = min(new, key=lambda land: abs(_turned((land[0] + land[1]) / 2 - (begin + end) / 2)))
        off.append((_turned(end - nearest[1]), _turned(nearest[0] - begin)))
    return LeftOnFlanks(
        radius * min(ccw for ccw, _ in off),
        radius * min(cw for _, cw in off),
        len(both),
        radius * min((end - begin for begin, end in both), default=0.0),
    )


def _turned(angle: float) -> float:
    """An angle brought to half a turn either way."""
    return (angle + math.pi) % (2 * math.pi) - math.pi


def _lands(row: Floats, radius: float) -> list[tuple[float, float]]:
    """Where the row stands out beyond the radius: angles at which each land begins and ends, counter-clockwise."""
    high = row - radius
    following = np.roll(high, -1)
    step = 2 * math.pi / row.size
    index = np.arange(row.size)
    with np.errstate(divide="ignore", invalid="ignore"):
        crossing = step * (index + high / (high - following))
    rises = crossing[(high <= 0) & (following > 0)]
    falls = crossing[(high > 0) & (following <= 0)]
    if not rises.size or not falls.size:
        return []
    after = np.searchsorted(falls, rises)
    ends = np.where(after < falls.size, falls[after % falls.size], falls[after % falls.size] + 2 * math.pi)
    return list(zip(map(float, rises), map(float, ends), strict=True))
