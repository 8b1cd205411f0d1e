"""The second witness: a blank cut in simulation at given rates, and all that is measured on it.

It puts cutting and gauging together and adds nothing of its own. Neither a prediction nor a
requirement enters: the drawing is only what flank deviations are counted from, as for any inspector.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Literal

import numpy as np

from .blank import Blank, Field
from .cutting import (
    axial_pass,
    band,
    cut_field,
    light_depth,
    radial_plunge,
    scratch_cut,
    scratch_grid,
    table_turn,
    tangential_pass,
)
from .flank_quality import FlankQuality, measure_flanks
from .gauging import Gauged, gauge
from .gear import Gear
from .hob import Hob
from .motion import Motion, Rates, Ripple
from .touch import step_of

#: Rows and columns a space of a full-depth field that is to be measured.
_FULL_ROWS, _FULL_COLUMNS = 90, 25


@dataclass(frozen=True)
class Measured:
    """What is measured on the simulated blank: the field's count, hand and lead, and the flanks if they can be seen."""

    gauged: Gauged
    flanks: FlankQuality | None
    field: Field


def measure_cut(
    rates: Rates,
    hob: Hob,
    blank: Blank,
    swivel_deg: float,
    *,
    gear: Gear | None = None,
    depth: Literal["scratch", "full"] = "scratch",
    ripples: tuple[Ripple, ...] = (),
    progress: Callable[[float], None] | None = None,
) -> Measured:
    """Cut a blank at these rates, count and measure it.

    With `gear`, the drawing, its flanks are measured as well, provided that count and hand on the
    blank are the drawing's and that the hob makes involutes. `depth` "full" needs it too, for the
    centre distance. Raises `ValueError` for motions that can't cut.
    """
    if depth == "full":
        if gear is None:
            raise ValueError("depth is 'full'; the drawing is needed to know how deep that is")
        field = _full_field(rates, hob, blank, swivel_deg, gear, ripples, progress)
    else:
        field = scratch_cut(rates, hob, blank, swivel_deg, progress=progress)
    along, strike = bool(rates.axial), strike_deg(rates, hob, blank, swivel_deg)
    if gear is None:
        return Measured(gauge(field, fed_along=along, strike_deg=strike), None, field)
    addendum = (blank.radius - gear.reference_diameter / 2) / gear.module_n
    found = gauge(field, module_n=gear.module_n, addendum=addendum, fed_along=along, strike_deg=strike)
    hand = "none" if gear.hand is None else gear.hand.word
    seen = rates.axial and rates.table and hob.profile is None and gear.face_width is not None
    if not seen or (found.teeth, found.hand) != (gear.teeth, hand):
        return Measured(found, None, field)
    motion = full_pass(rates, hob, blank, swivel_deg, gear, ripples)
    return Measured(found, measure_flanks(motion, hob, gear, swivel_deg), field)


def strike_deg(rates: Rates, hob: Hob, blank: Blank, swivel_deg: float) -> float:
    """By how much the marks of a light cut may lean against the hob's thread, in degrees.

    A single gash leaves a mark square to the hob's axis, a lead angle off its thread; where many strike one after
    the other in a space, their marks together lie as the thread does. Own derivation, from how many strike.
    """
    reach = math.sqrt(2 * light_depth(rates, hob, blank, swivel_deg) * blank.radius)
    few = step_of(hob.module_n, hob.starts, hob.gashes) / (2 * reach)
    return hob.geometric_lead_angle_deg * min(1.0, few)


def full_distance(hob: Hob, gear: Gear) -> float:
    """Distance between work axis and hob axis at full depth, in mm."""
    return gear.reference_diameter / 2 + gear.profile_shift * gear.module_n + hob.pitch_diameter / 2


def full_pass(
    rates: Rates, hob: Hob, blank: Blank, swivel_deg: float, gear: Gear, ripples: tuple[Ripple, ...] = ()
) -> Motion:
    """One pass over the whole face at full depth, with the periodic errors of the machine."""
    motion = axial_pass(rates, blank, hob, swivel_deg, full_distance(hob, gear))
    return replace(motion, ripples=ripples)


#: Table turns of a radial infeed that are cut before the one at depth: what went before is all cut away again.
_LAST_TURNS = Fraction(3)


def _to_depth(rates: Rates, hob: Hob, blank: Blank, swivel_deg: float, distance: float) -> Motion:
    """The cut to full depth, by whichever slide feeds; fed in by hand where none does, the table turning once."""
    if rates.axial:
        return axial_pass(rates, blank, hob, swivel_deg, distance)
    if rates.tangential:
        return tangential_pass(rates, blank, hob, swivel_deg, distance)
    if rates.radial:
        deep = blank.radius + hob.tip_radius - distance
        return radial_plunge(rates, blank, deep, last=_LAST_TURNS)
    return table_turn(rates, blank)


def _full_field(
    rates: Rates,
    hob: Hob,
    blank: Blank,
    swivel_deg: float,
    gear: Gear,
    ripples: tuple[Ripple, ...],
    progress: Callable[[float], None] | None,
) -> Field:
    distance = full_distance(hob, gear)
    deep = blank.radius + hob.tip_radius - distance
    if deep <= 0:
        raise ValueError("the hob doesn't reach the blank at full depth")
    motion = Motion(_to_depth(rates, hob, blank, swivel_deg, distance).phases, ripples)
    if rates.axial:
        heights, _, _ = scratch_grid(rates, hob, blank)
        if heights.size > _FULL_ROWS:
            # As many rows as there is time for, in the middle, as dense as they were.
            first = (heights.size - _FULL_ROWS) // 2
            heights = heights[first : first + _FULL_ROWS]
    else:
        heights = band(hob, blank, deep)
    columns = 1 + 2 * round(_FULL_COLUMNS / 2 * min(max(float(hob.starts / abs(rates.table)), 12.0), 400.0))
    start = np.random.default_rng(1).random(heights.size) * (2 * math.pi / columns)
    return cut_field(
        motion,
        hob,
        blank,
        swivel_deg,
        distance,
        heights=heights,
        columns=columns,
        start=start,
        fineness=0.7,
        progress=progress,
    )
