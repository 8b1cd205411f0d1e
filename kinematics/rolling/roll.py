"""Two gears as cut rolled together on parallel shafts, section by section, at a centre distance.

In every section across the axes two involutes touch on the common tangent of their base circles, whatever stands on
them: there the gap between two flanks, in mm along that line, is what the line is longer than both lengths of roll and
what stands on both. So a pair of teeth is at its tightest where the sum of all that stands out, and of what helices
that don't match make, is greatest; and of all pairs in the mesh the tightest sets the other gear on its way. What goes
all round a gear (`as_cut`) is the same wherever they touch at the time.
What stands on a flank is taken across the axis (deviations along the normal over cos β_b); its own slope is left out,
which is of the second order. Corners that touch off the line aren't looked at, nor anything that gives under load.
Source: own derivation from the involute's law; the frame and the sides of flanks are those of `flank`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt
from handlead.kinematics.frame import arguments
from handlead.kinematics.frame.arrays import HoldsArrays
from handlead.kinematics.frame.frozen import freeze
from handlead.kinematics.gears.flank import NominalFlank
from handlead.kinematics.gears.pair import gap_at

from .as_cut import HEIGHTS, SIDES, TURN, CutGear

Floats = npt.NDArray[np.float64]

#: Steps to a tooth, and most steps of the whole cycle until the same teeth meet again.
_STEPS, _LEAST_STEPS, _MOST_POSITIONS = 64, 8, 1_500_000

#: Leans of both gears together for which the tightest is looked up.
_LEANS = 65

#: Base pitches across the axis that differ by more than this share are of other racks; less, of another lead.
_UNLIKE = 0.05


@dataclass(frozen=True, eq=False, repr=False)
class RolledSide(HoldsArrays):
    """One flank side of a pair, through the whole cycle until the same teeth meet again.

    `ahead` is how far the driven gear is ahead of where two perfect gears would have it, in mm along the base tangent:
    a row for each tooth that meets, a column for each step of its way; NaN where no two flanks touch on the line.
    `apart` has how far apart flanks still are where they are nearest, in mm along the base tangent: a row for each
    length of roll that the first gear has at mid-face (`lengths`), a column for each height from mid-face (`heights`),
    where that gear's roll is less by `lead` for each mm. NaN where they never meet. Of work that leans it is that of a
    tooth where the lean is nought.
    """

    side: int
    ahead: Floats
    apart: Floats
    lengths: Floats
    heights: Floats
    lead: float

    @property
    def error_um(self) -> float:
        """Transmission error through the cycle, from least to greatest, in µm along the base tangent."""
        return float(1000 * np.ptp(self.ahead)) if np.isfinite(self.ahead).all() else math.nan

    @property
    def never_touching(self) -> float:
        """Share of the way on which no two flanks touch on the line."""
        return float(np.mean(~np.isfinite(self.ahead)))

    def on_flank(self, lengths: Floats) -> Floats:
        """`apart` by the first gear's own lengths of roll, a row each, and heights, a column each."""
        shown = np.full((lengths.size, self.heights.size), np.nan)
        for column, height in enumerate(self.heights):
            own = self.lengths - self.lead * height
            shown[:, column] = np.interp(lengths, own, self.apart[:, column], left=np.nan, right=np.nan)
        return shown


@dataclass(frozen=True, repr=False)
class Rolled:
    """A pair rolled together: both sides of the teeth, and the play that is left between them.

    The first gear turns counter-clockwise driving on side -1, clockwise on side 1. `nominal_play` is what the gears
    that the maps are held against have at this distance, in mm along the base tangent across the axis.
    """

    first: CutGear
    second: CutGear
    distance: float
    nominal_play: float
    sides: Mapping[int, RolledSide]

    def __post_init__(self) -> None:
        freeze(self, "sides")

    def __repr__(self) -> str:
        return f"<Rolled: {self.first.gear.teeth} with {self.second.gear.teeth} teeth at {self.distance:.3f} mm>"

    @property
    def working_angle_deg(self) -> float:
        """Working pressure angle across the axis, in degrees."""
        bases = self.first.base_radius + self.second.base_radius
        return math.degrees(math.acos(bases / self.distance))

    @cached_property
    def play(self) -> Floats:
        """Backlash normal to the flanks through the cycle, in mm, as `RolledSide.ahead`; below 0 they don't go in."""
        cosine = math.cos(math.radians(self.first.gear.base_helix_angle_deg))
        both: Floats = self.sides[1].ahead + self.sides[-1].ahead
        return np.asarray((self.nominal_play - both) * cosine)

    @property
    def lean(self) -> float:
        """How far the helices lean apart over the common face, in mm along the base tangent; 0 where they match."""
        width = min(self.first.width, self.second.width)
        return width * (
            self.first.base_radius * self.first.twist + self.second.base_radius * self.second.twist
        )


def roll(first: CutGear, second: CutGear, distance: float, *, sections: int = HEIGHTS) -> Rolled:
    """Roll two gears together, mid-face on mid-face, over the width that both have.

    Raises `ValueError` for gears of unlike base pitch, a distance at which base circles overlap, and where nothing of
    the flanks meets.
    """
    bases = first.base_radius + second.base_radius
    distance = arguments.number("centre distance", distance, unit="mm", above=bases)
    line = _LineOfAction(first, second, math.sqrt(distance**2 - bases**2), math.acos(bases / distance), sections)
    if not math.isclose(*line.pitches, rel_tol=_UNLIKE):
        raise ValueError(
            f"base pitches of {line.pitches[0]:.4f} and {line.pitches[1]:.4f} mm don't run together"
        )
    play = gap_at(first.gear, second.gear, distance) * bases / distance
    return Rolled(first, second, distance, play, {side: _side(line, side) for side in SIDES})


@dataclass(frozen=True, eq=False)
class _LineOfAction:
    """The line of action: its `length` between both base circles in mm, and the working angle in radians."""

    first: CutGear
    second: CutGear
    length: float
    working: float
    sections: int

    @cached_property
    def pitches(self) -> tuple[float, float]:
        """Base pitches across the axis, in mm."""
        one, other = (TURN * each.base_radius / each.gear.teeth for each in (self.first, self.second))
        return one, other

    @cached_property
    def heights(self) -> Floats:
        half = min(self.first.width, self.second.width) / 2
        return np.linspace(-half, half, self.sections)

    @cached_property
    def cycle(self) -> int:
        """Teeth that meet until the same two meet again."""
        return math.lcm(self.first.gear.teeth, self.second.gear.teeth)

    @cached_property
    def steps(self) -> int:
        return max(_LEAST_STEPS, min(_STEPS, _MOST_POSITIONS // self.cycle))

    def begins(self, side: int) -> float:
        """Length of roll at mid-face of the first gear's flank 0 on this side, with that gear at 0."""
        flank = NominalFlank(self.first.gear, side)
        angle = float(flank.tangent_angle(np.zeros(1), np.array([self.first.width / 2]))[0])
        return self.first.base_radius * (self.working - side * angle)

    def leads(self, side: int) -> tuple[float, float]:
        """How much less roll a point of either gear has on the line, per mm of height."""
        return tuple(side * one.base_radius * one.twist for one in (self.first, self.second))  # type: ignore[return-value]


def _side(line: _LineOfAction, side: int) -> RolledSide:
    lead, against = line.leads(side)
    low, high = line.first.reaches(side)
    other_low, other_high = line.second.reaches(side)
    low, high = max(low, line.length - other_high), min(high, line.length - other_low)
    if low >= high:
        raise ValueError("nothing of the flanks that the hob finishes meets at this centre distance")
    # A flank's place at mid-face, in pitches past where flank 0 began; each step turns the gear on by a part of one.
    spread = abs(lead) * float(line.heights[-1])
    begin, pitch = line.begins(side), line.pitches[0]
    ends = sorted(-side * (edge - begin) / pitch for edge in (low - spread, high + spread))
    numbers = np.arange(math.floor(ends[0]) - 1, math.ceil(ends[1]) + 1)
    part = np.arange(line.steps) / line.steps
    lengths = begin - side * pitch * (numbers[None, :] + part[:, None])
    stands = _standing(line, side, lengths.ravel(), lead, against).reshape(*lengths.shape, -1)
    tightest = np.max(stands, axis=(1, 2), initial=-np.inf)
    start = float(lengths[0, 0]), int(numbers[0])
    ahead = _all_round(line, side, *start) + _tightest(stands, line, _leaning(line, side, *start))
    order = np.argsort(lengths.ravel())
    with np.errstate(invalid="ignore"):
        apart = (tightest[:, None, None] - stands).reshape(-1, line.sections)[order]
    met = np.isfinite(apart)
    return RolledSide(
        side, np.where(np.isfinite(ahead), ahead, np.nan), np.where(met, apart, np.nan), lengths.ravel()[order],
        line.heights, lead,
    )  # fmt: skip


def _standing(line: _LineOfAction, side: int, lengths: Floats, lead: float, against: float) -> Floats:
    """What stands between two flanks, by the first's length of roll at mid-face and by height; -inf where none meet."""
    first = lengths[:, None] - lead * line.heights[None, :]
    # Base pitches across the axis differ where helices do; the counts keep the gears in step all the same.
    past = (1 - line.pitches[1] / line.pitches[0]) * (
        lengths - line.first.base_radius * math.tan(line.working)
    )
    total = past[:, None] - (lead + against) * line.heights[None, :]
    for gear, roll in ((line.first, first), (line.second, line.length - first)):
        flank = gear.flanks[side]
        columns = _columns(flank.heights, gear, line)
        total = total + _looked_up(gear.every_tooth(side), flank.roll_length, roll, columns)
    return np.where(np.isfinite(total), total, -np.inf)


def _columns(heights: Floats, gear: CutGear, line: _LineOfAction) -> Floats:
    """Columns of a map, with parts, at which the sections lie."""
    step = (heights[-1] - heights[0]) / (heights.size - 1)
    return np.asarray(np.clip((line.heights + gear.width / 2 - heights[0]) / step, 0, heights.size - 1))


def _looked_up(deviation: Floats, lengths: Floats, roll: Floats, columns: Floats) -> Floats:
    """Deviations at lengths of roll (a column a section), between rows and columns in a straight line; NaN beyond."""
    left = np.minimum(columns.astype(np.int64), deviation.shape[1] - 2)
    right = columns - left
    rows = (
        deviation[:, left] * (1 - right) + deviation[:, left + 1] * right
        if right.any()
        else deviation[:, left]
    )
    place = (roll - lengths[0]) * ((lengths.size - 1) / (lengths[-1] - lengths[0]))
    inside = (place >= -1e-9) & (place <= lengths.size - 1 + 1e-9)
    low = np.clip(place.astype(np.int64), 0, lengths.size - 2)
    part, section = place - low, np.arange(columns.size)
    between = rows[low, section] * (1 - part) + rows[low + 1, section] * part
    return np.where(inside, between, np.nan)


def _tightest(stands: Floats, line: _LineOfAction, leans: Floats | None) -> Floats:
    """What stands between the flanks at their tightest, in mm: a row for each tooth that meets, a column a step.

    A lean of so many mm in a mm, another on each tooth, has them touch towards one end of the face. The tightest is
    looked up for some leans; between them it goes, convex in the lean, nearly straight.
    """
    if leans is None or not np.any(leans):
        return np.asarray(np.max(stands, axis=(1, 2), initial=-np.inf)[None, :])
    most = float(np.abs(leans).max())
    grid = np.linspace(-most, most, _LEANS)
    tight = np.stack([np.max(stands + one * line.heights, axis=(1, 2), initial=-np.inf) for one in grid])
    place = (leans + most) / (2 * most) * (_LEANS - 1)
    low = np.clip(place.astype(np.int64), 0, _LEANS - 2)
    step = np.arange(leans.shape[1])[None, :]
    with np.errstate(invalid="ignore"):
        return np.asarray(tight[low, step] * (1 - place + low) + tight[low + 1, step] * (place - low))


def _leaning(line: _LineOfAction, side: int, length: float, tooth: int) -> Floats | None:
    """What both gears have all round more for each mm of height, as `_all_round`; None where neither leans."""
    if not (line.first.leaning or line.second.leaning):
        return None
    return _all_round(line, side, length, tooth, lean=True)


def _all_round(line: _LineOfAction, side: int, length: float, tooth: int, *, lean: bool = False) -> Floats:
    """What goes all round both gears through the cycle, in mm: from where the first's flank `tooth` has this length of
    roll at mid-face. With `lean`, by how much more for each mm of height."""
    other = -tooth if side == 1 else 1 - tooth
    total = np.zeros(line.cycle * line.steps)
    places = ((line.first, tooth, length, -1), (line.second, other, line.length - length, 1))
    for gear, number, roll, way in places:
        round_gear = gear.leaning if lean else gear.all_round
        if side not in round_gear:
            continue
        # Flank k of the first gear meets flank -k of the second, or the one on that tooth's other side.
        angle = TURN * number / gear.gear.teeth + side * roll / gear.base_radius
        once = round_gear[side].at_steps(angle, gear.gear.teeth * line.steps, way)
        total = total + np.tile(once, line.cycle // gear.gear.teeth)
    return total.reshape(line.cycle, line.steps)
