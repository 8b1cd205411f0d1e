"""What a light cut shows where the spaces of successive table turns don't meet: how many marks, and how they lean.

Every space of every table turn leaves a touch on the outside of the blank, as long as the hob's tips reach in and as
wide as they are. With T spaces to a table turn and a feed f, touches lie on a lattice: n marks round the blank
with k waves to a millimetre of height belong to it where k = (n - j T) / f for a whole j. Which of them stands
out depends on how the touches lie along its lines, and how they lie over each other. At 127 1/2 spaces to a
turn, those of every second turn fall together: 255 marks are counted.
Source: own derivation; the lattice from a screw motion, the touch from two cylinders crossing at a light depth.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from handlead.kinematics.cutting.touch import Touch, depth_for, step_of
from handlead.kinematics.frame.motion import Rates
from handlead.kinematics.frame.words import Hand
from handlead.kinematics.gears.gear import ISO_53
from handlead.kinematics.other_work.spline import RolledKeys
from handlead.kinematics.work.requirement import USUAL_GASHES, HobData, Work, keys_of
from handlead.kinematics.work.sizes import (
    hob_addendum,
    hob_tip_diameter,
    outside_diameter,
    rolling_diameter_of,
    sprocket_of,
)

from .outcome import HobFacts


@dataclass(frozen=True)
class LightMarks:
    """The marks that stand out on a light cut.

    `count` of them are counted round the blank; `turns` table turns are needed for all of them, so that it is 1
    where those of one turn meet. `lean_deg` is how their lines lean on the outside, to the right positive.
    `others` are counts that stand out nearly as much: somebody else may count those.
    """

    count: int
    turns: int
    lean_deg: float
    others: tuple[int, ...] = ()

    @property
    def hand(self) -> Hand | None:
        """Which way the lines of marks lean; None where they stand along the axis."""
        return None if abs(self.lean_deg) < 1 / 60 else Hand(1 if self.lean_deg > 0 else -1)


#: Marks of up to so many table turns beside each other are looked for: with more the touches cover all.
_MOST_TURNS = 8

#: A pattern this much weaker than the strongest is no other that somebody might count. Own choice.
_NEARLY = 0.75

#: Places at which a touch's lattice cell is looked at, round the blank and along it.
_ACROSS, _ALONG = 20, 12


def light_marks(rates: Rates, work: Work, hob: HobData, swivel_deg: float) -> LightMarks | None:
    """The marks that these rates leave on a light cut of the work's blank.

    None where none can be counted: the table stands, runs against the hob, or the size of the hob isn't known.
    """
    touch = touch_of(rates, work, hob, swivel_deg)
    return None if touch is None else marks_of(rates, hob, touch)


def touch_of(rates: Rates, work: Work, hob: HobData, swivel_deg: float) -> Touch | None:
    """One touch of a light cut of this work by its hob; None where the hob's size isn't known."""
    tip, gamma = hob_tip_diameter(work, hob), hob.gamma_deg
    if tip is None or gamma is None:
        return None
    module, rack = float(hob.module_n), ISO_53[hob.rack]
    angle = math.radians(float(hob.pressure_angle_deg))
    land = math.pi * module / 4 - hob_addendum(work, hob) * math.tan(angle)
    rounding, sprocket = rack.root_radius if hob.tip_radius is None else float(hob.tip_radius), sprocket_of(work)
    keys = keys_of(work)
    if keys:
        land, rounding = max(RolledKeys.of(keys, rolling_diameter_of(work)).flat, 0.0) / 2, 0.0
    if sprocket:
        land, rounding = 0.0, sprocket.seating_radii[0] / module
    feed = float(abs(rates.axial / rates.table)) if rates.table else 0.0
    step, blank = step_of(module, hob.starts, hob.gashes or USUAL_GASHES), outside_diameter(work) / 2
    return Touch(
        blank_radius=blank,
        tip_radius=tip / 2,
        half_land=max(land, 0.0),
        rounding=module * rounding,
        pressure_angle_deg=float(hob.pressure_angle_deg),
        swivel_deg=swivel_deg,
        suited_deg=hob.hand.value * gamma - swivel_deg,
        depth=depth_for(feed, tip / 2, swivel_deg, module, step=step, blank_radius=blank),
    )


def marks_of(rates: Rates, hob: HobFacts, touch: Touch) -> LightMarks | None:
    """As `light_marks`, of touches that are known."""
    spaces = _spaces(rates, hob)
    if spaces is None:
        return None
    if not rates.axial:
        return _standing_marks(spaces, touch)
    lattice = _TouchLattice.of(rates, hob, touch, spaces)
    found = sorted(lattice.patterns(), key=lambda pattern: -pattern.size)
    if not found or not found[0].size:
        return None
    best = found[0]
    # A multiple along the same lines is the shape of the marks, not more of them.
    near = [one.count for one in found if one.size > _NEARLY * best.size and not one.is_multiple_of(best)]
    others = tuple(sorted(set(near)))
    lean = math.degrees(math.atan(2 * math.pi * touch.blank_radius * best.per_mm / best.count))
    return LightMarks(best.count, best.turns, lean, others)


def light_counts(rates: Rates, work: Work, hob: HobData, swivel_deg: float) -> frozenset[int]:
    """Every count that could stand out on a light cut, whichever does: quickly told, none of the touches drawn."""
    touch, spaces = touch_of(rates, work, hob, swivel_deg), _spaces(rates, hob)
    if touch is None or spaces is None:
        return frozenset()
    if not rates.axial:
        marks = _standing_marks(spaces, touch)
        return frozenset({marks.count} if marks else ())
    return frozenset(count for count, _ in _TouchLattice.of(rates, hob, touch, spaces).counts())


def _spaces(rates: Rates, hob: HobFacts) -> Fraction | None:
    """Spaces to a table turn; None where nobody could count them, or the table runs against the hob."""
    if rates.table * hob.hand.value >= 0:
        return None
    spaces = hob.starts / abs(rates.table)
    return spaces if _LEAST_SPACES <= spaces <= _MOST_SPACES else None


#: Spaces to a table turn outside of which nobody counts.
_LEAST_SPACES, _MOST_SPACES = 3, 2000


def _standing_marks(spaces: Fraction, touch: Touch) -> LightMarks | None:
    """Marks at one height, where no slide goes along the work: turn after turn they fall into each other or beside."""
    if spaces.denominator > _MOST_TURNS:
        return None
    return LightMarks(spaces.numerator, spaces.denominator, touch.suited_deg)


@dataclass(frozen=True)
class _Pattern:
    count: int
    turns: int
    per_mm: float
    size: float

    def is_multiple_of(self, other: _Pattern) -> bool:
        """Whether this is the other one over again so many times, or the other one itself."""
        return self.count * other.turns == other.count * self.turns and self.count % other.count == 0


class _TouchLattice:
    """Touches over the outside of the blank: `spaces` to a table turn, `feed` apart along the axis with its sign.

    The feed is positive where the hob, passing round the blank counter-clockwise, goes up. `rolling` is the
    radius in mm at which the blank would roll with the hob's teeth.
    """

    def __init__(self, spaces: float, feed: float, touch: Touch, rolling: float) -> None:
        self.spaces, self.feed, self.touch = spaces, feed, touch
        ahead = touch.blank_radius / rolling
        self.lean, self.slip = touch.lean(ahead), 1 - ahead
        self.round = 2 * math.pi * touch.blank_radius
        # From a touch to the next in order of cutting, and to one about a table turn later that lies close by.
        pitch, whole = self.round / spaces, round(spaces)
        self.next = pitch, feed / spaces
        self.above = pitch * (whole - spaces), feed * whole / spaces
        self.whole = whole

    @classmethod
    def of(cls, rates: Rates, hob: HobFacts, touch: Touch, spaces: Fraction) -> _TouchLattice:
        """The touches of a hob with so many spaces to a table turn, the slide going along the work."""
        feed = -float(rates.axial / rates.table)
        rolling = float(spaces * hob.module_n) / 2 / math.cos(math.radians(touch.suited_deg))
        return cls(float(spaces), feed, touch, rolling)

    def counts(self) -> Iterator[tuple[int, int]]:
        """Every count that might stand out, with the table turns after which its marks meet."""
        for turns in range(1, _MOST_TURNS + 1):
            along = turns * self.spaces / (1 - self.feed * self.lean / self.round)
            for count in (math.floor(along), math.floor(along) + 1):
                if count >= _LEAST_SPACES:
                    yield count, turns

    def patterns(self) -> list[_Pattern]:
        """Every count that might stand out, with how strongly it does."""
        cell = self._cell()
        rows = {turns: self._rows(cell, turns) for turns in range(1, _MOST_TURNS + 1)}
        return [
            _Pattern(count, turns, (count - turns * self.spaces) / self.feed, self._size(rows[turns], count, turns))
            for count, turns in self.counts()
        ]

    def _rows(self, cell: list[list[float]], turns: int) -> list[complex]:
        """Each row's part in a wave that goes `turns` times from touch to touch."""
        across = [cmath.exp(-2j * math.pi * turns * (a + 0.5) / _ACROSS) for a in range(_ACROSS)]
        return [sum(depth * wave for depth, wave in zip(row, across, strict=True)) for row in cell]

    def _size(self, rows: list[complex], count: int, turns: int) -> float:
        """Amplitude in mm of the wave that goes `count` times round, and `turns` times from touch to touch."""
        upward = turns * self.whole - count
        total = sum(
            cmath.exp(-2j * math.pi * upward * (b + 0.5) / _ALONG) * row for b, row in enumerate(rows)
        )
        return abs(total) / (_ACROSS * _ALONG)

    def _cell(self) -> list[list[float]]:
        """Depths over one cell of the lattice, in which everything on the blank is found once."""
        rise = self._rises()
        cell = []
        for b in range(_ALONG):
            row = []
            for a in range(_ACROSS):
                share, up = (a + 0.5) / _ACROSS, (b + 0.5) / _ALONG
                row.append(
                    self._depth(
                        share * self.next[0] + up * self.above[0],
                        share * self.next[1] + up * self.above[1],
                        rise,
                    )
                )
            cell.append(row)
        return cell

    def _rises(self) -> list[float]:
        """How the bottom of a touch rises to its side, at steps of a part of a pitch."""
        step = self.next[0] / _ACROSS
        rises: list[float] = []
        while len(rises) < _WIDEST and (not rises or rises[-1] < self.touch.depth):
            rises.append(self.touch.rise(len(rises) * step, self.slip))
        return rises

    def _depth(self, x: float, z: float, rises: list[float]) -> float:
        """Depth in mm of what was cut at this place: of all touches that reach there the deepest."""
        touch, deepest = self.touch, 0.0
        pitch, step = self.next[0], self.next[0] / _ACROSS
        wide = len(rises) * step
        low, high = sorted(((z - touch.half_length) / self.above[1], (z + touch.half_length) / self.above[1]))
        for turn in range(math.floor(low), math.ceil(high) + 1):
            # Touches of one table turn rise by next to nothing from one to the next.
            start_x, start_z = x - turn * self.above[0], z - turn * self.above[1]
            middle = round((start_x - self.lean * start_z) / pitch)
            reach = math.ceil(wide / pitch - 0.5)
            for number in range(middle - reach, middle + reach + 1):
                up = start_z - number * self.next[1]
                aside = abs(start_x - number * pitch - self.lean * up) / step
                place = int(aside)
                if place + 1 < len(rises):
                    rise = rises[place] + (aside - place) * (rises[place + 1] - rises[place])
                    deepest = max(deepest, touch.depth - 0.5 * touch.curvature_along * up * up - rise)
        return deepest


#: Steps to the side of a touch after which it is taken to end.
_WIDEST = 8 * _ACROSS
