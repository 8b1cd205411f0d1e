"""One touch of the hob on the outside of the blank, at the depth of a light cut: how deep, long and wide it is.

Two cylinders cross, the blank and the one over the hob's tips, and sink into each other by a trifle. Only
geometry enters here, nothing of what turns.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

#: Depth of a scratch cut in mm. Source: common practice, a cut just deep enough to be counted.
SCRATCH_DEPTH = 0.05

#: Touches of one table turn reach over so many feeds, so that they lie over those of the turn before. Own choice.
_FEEDS_A_TOUCH = 1.6

#: A light cut goes no deeper than this part of a module, whatever the feed: what it leaves are marks, not teeth.
_DEEPEST = 0.4


#: Gashes stand so close that a tooth of the hob is in the blank for so many of their steps. Own choice.
_STEPS_A_TOUCH = 1.3


def depth_for(
    feed: float, tip_radius: float, swivel_deg: float, module_n: float, *, step: float, blank_radius: float
) -> float:
    """Depth in mm of a light cut by this feed a table turn: the usual one, or as deep as makes touches meet.

    The touch of a hob of tip radius r, sunk in by d, is 2 sqrt(2 d r) long across its axis, and as long round a
    blank of that radius. `step` is by how much the rack that the hob stands for goes on from gash to gash: with many
    starts and few gashes a very light cut leaves out whole spaces.
    """
    length = _FEEDS_A_TOUCH * abs(feed) * math.cos(math.radians(swivel_deg))
    along = length * length / (8 * tip_radius)
    round_it = (_STEPS_A_TOUCH * step) ** 2 / (8 * blank_radius)
    return max(SCRATCH_DEPTH, min(max(along, round_it), _DEEPEST * module_n))


def step_of(module_n: float, starts: int, gashes: int) -> float:
    """How far the hob's rack goes on from one gash to the next, in mm."""
    return math.pi * module_n * starts / gashes


def touch_length(depth: float, tip_radius: float, swivel_deg: float) -> float:
    """How far along the work's axis a touch of this depth reaches, in mm, on a blank as good as flat."""
    return 2 * math.sqrt(2 * depth * tip_radius) / math.cos(math.radians(swivel_deg))


@dataclass(frozen=True)
class Touch:
    """Where a tooth of the hob has sunk `depth` into the blank; lengths in mm.

    `half_land` is half the width of the hob's tips where its flanks, unrounded, end; `rounding` the radius at
    their corners. `suited_deg` is how the thread leans against the work's axis, to the right positive.
    """

    blank_radius: float
    tip_radius: float
    half_land: float
    rounding: float
    pressure_angle_deg: float
    swivel_deg: float
    suited_deg: float
    depth: float

    @cached_property
    def _swing(self) -> tuple[float, float]:
        return math.cos(math.radians(self.swivel_deg)), math.sin(math.radians(self.swivel_deg))

    @cached_property
    def curvature_across(self) -> float:
        """Curvature, in 1/mm, with which hob and blank part round the blank: in y at one height."""
        return 1 / self.blank_radius + self._swing[1] ** 2 / self.tip_radius

    @cached_property
    def wander(self) -> float:
        """How far round the blank the deepest place stands for each mm of height, where the hob's axis is swung."""
        cosine, sine = self._swing
        return cosine * sine / self.tip_radius / self.curvature_across

    @cached_property
    def curvature_along(self) -> float:
        """Curvature with which they part along the line of deepest places, per mm of height."""
        cosine, sine = self._swing
        return (
            cosine * cosine / self.tip_radius - (cosine * sine / self.tip_radius) ** 2 / self.curvature_across
        )

    @cached_property
    def half_length(self) -> float:
        """How far up and down from its middle the touch reaches."""
        return math.sqrt(2 * self.depth / self.curvature_along)

    @cached_property
    def half_reach(self) -> float:
        """How far round the blank from its middle a tooth of the hob is in the blank."""
        return math.sqrt(2 * self.depth / self.curvature_across)

    def lean(self, ahead: float) -> float:
        """Tangent of the angle at which the touch lies on the blank, to the right positive.

        The blank's outside goes `ahead` times as far as the hob's teeth. Where both go alike the touch lies as the
        thread does; else it is drawn out, since its upper and its lower end are cut at other times.
        """
        return math.tan(math.radians(self.suited_deg)) * ahead - (ahead - 1) * self.wander

    def rise(self, aside: float, slip: float) -> float:
        """How much higher than in its middle the bottom of the touch stands `aside` of it, in mm.

        While the tooth passes, the blank's outside gains on it by `slip` times the way.
        """
        return min(
            0.5 * self.curvature_across * way * way + self._shape(aside - way * slip)
            for way in (self.half_reach * step / _STEPS for step in range(-_STEPS, _STEPS + 1))
        )

    def _shape(self, aside: float) -> float:
        """How far below its tip the tooth is as wide as twice `aside`."""
        angle = math.radians(self.pressure_angle_deg)
        corner = self.rounding * (1 - math.sin(angle)) / math.cos(angle)
        beyond = abs(aside) - max(self.half_land - corner, 0.0)
        if beyond <= 0:
            return 0.0
        arc = self.rounding * math.cos(angle)
        if beyond <= arc:
            return self.rounding - math.sqrt(self.rounding * self.rounding - beyond * beyond)
        return self.rounding * (1 - math.sin(angle)) + (beyond - arc) / math.tan(angle)


#: Places of a tooth on its way through the blank that are looked at, to each side of the middle.
_STEPS = 8
