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
from handlead.kinematics.cutting.field import (
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
from handlead.kinematics.cutting.setting import Grid, Setting, scattered
from handlead.kinematics.cutting.touch import step_of
from handlead.kinematics.frame.blank import Field
from handlead.kinematics.frame.motion import Led, Motion
from handlead.kinematics.gauging.field import Gauged, gauge
from handlead.kinematics.gauging.keys import KeysFound, gauge_keys
from handlead.kinematics.gears.gear import Gear
from handlead.kinematics.gears.relief import Relief

from .flank_quality import FlankQuality, measure_flanks

#: Rows and columns a space of a full-depth field that is to be measured.
_FULL_ROWS, _FULL_COLUMNS = 90, 25


@dataclass(frozen=True)
class Measured:
    """What is measured on the simulated blank: the field's count, hand and lead, and the flanks if they can be seen."""

    gauged: Gauged
    flanks: FlankQuality | None
    field: Field
    keys: KeysFound | None = None


def measure_cut(
    setting: Setting,
    *,
    gear: Gear | None = None,
    depth: Literal["scratch", "full"] = "scratch",
    ripples: tuple[Led, ...] = (),
    relief: Relief | None = None,
    progress: Callable[[float], None] | None = None,
) -> Measured:
    """Cut a blank at these rates, count and measure it.

    `relief` is the drawing's crown and taper, where it has some or the hob is led. A light cut is made without the
    `ripples`: its count, hand and lead are held against the rates, and what errors leave is seen on the flanks.
    With `gear`, the drawing, its flanks are measured as well, provided that count and hand on the
    blank are the drawing's and that the hob makes involutes. `depth` "full" needs it too, for the
    centre distance. Raises `ValueError` for motions that can't cut.
    """
    if depth == "full":
        if gear is None:
            raise ValueError("depth is 'full'; the drawing is needed to know how deep that is")
        field = _full_field(setting.to_depth(gear), ripples, progress)
    else:
        field = scratch_cut(setting, progress=progress)
    rates = setting.rates
    along, strike = bool(rates.axial), strike_deg(setting)
    if gear is None:
        return Measured(gauge(field, fed_along=along, strike_deg=strike), None, field)
    addendum = (setting.blank.radius - gear.reference_diameter / 2) / gear.module_n
    found = gauge(field, module_n=gear.module_n, addendum=addendum, fed_along=along, strike_deg=strike)
    hand = "none" if gear.hand is None else gear.hand.word
    seen = rates.axial and rates.table and setting.hob.profile is None and gear.face_width is not None
    if not seen or (found.teeth, found.hand) != (gear.teeth, hand):
        return Measured(found, None, field)
    setting = setting.to_depth(gear)
    return Measured(found, measure_flanks(full_pass(setting, ripples), setting, gear, relief), field)


#: Columns round the blank, and rows over a table turn's feed, of the band on which keys are measured.
_KEY_COLUMNS, _KEY_ROWS = 12_000, 5


def measure_keys(setting: Setting, between: tuple[float, float]) -> KeysFound | None:
    """Cut a band of the blank, as high as a table turn's feed, to full depth, and measure its keys.

    `setting` has the hob at full depth; `between` are the two diameters between which the sides are measured, in
    mm. None where the spaces aren't those of keys.
    """
    fed = min(setting.feed, setting.blank.face_width)
    heights = setting.blank.face_width / 2 + fed * (np.arange(_KEY_ROWS) / _KEY_ROWS - 0.5)
    field = cut_field(axial_pass(setting), setting, Grid(heights, columns=_KEY_COLUMNS), compiled=False)
    return gauge_keys(field, *between)


def strike_deg(setting: Setting) -> float:
    """By how much the marks of a light cut may lean against the hob's thread, in degrees.

    A single gash leaves a mark square to the hob's axis, a lead angle off its thread; where many strike one after
    the other in a space, their marks together lie as the thread does. Own derivation, from how many strike.
    """
    hob = setting.hob
    reach = math.sqrt(2 * light_depth(setting) * setting.blank.radius)
    few = step_of(hob.module_n, hob.starts, hob.gashes) / (2 * reach)
    return hob.geometric_lead_angle_deg * min(1.0, few)


def full_pass(setting: Setting, ripples: tuple[Led, ...] = ()) -> Motion:
    """One pass over the whole face at full depth, with the periodic errors of the machine."""
    return replace(axial_pass(setting), ripples=ripples)


#: Table turns of a radial infeed that are cut before the one at depth: what went before is all cut away again.
_LAST_TURNS = Fraction(3)


def _feeding(setting: Setting) -> Motion:
    """The cut to full depth, by whichever slide feeds; fed in by hand where none does, the table turning once."""
    rates = setting.rates
    if rates.axial:
        return axial_pass(setting)
    if rates.tangential:
        return tangential_pass(setting)
    if rates.radial:
        return radial_plunge(rates, setting.blank, setting.deep, last=_LAST_TURNS)
    return table_turn(rates, setting.blank)


def _full_field(
    setting: Setting, ripples: tuple[Led, ...], progress: Callable[[float], None] | None
) -> Field:
    if setting.deep <= 0:
        raise ValueError("the hob doesn't reach the blank at full depth")
    motion = Motion(_feeding(setting).phases, ripples)
    return cut_field(motion, setting, _full_grid(setting), progress=progress)


def _full_grid(setting: Setting) -> Grid:
    """Where a cut to full depth is looked at so that it can be measured."""
    hob, rates = setting.hob, setting.rates
    if rates.axial:
        heights = scratch_grid(setting).heights
        assert heights is not None
        if heights.size > _FULL_ROWS:
            # As many rows as there is time for, in the middle, as dense as they were.
            first = (heights.size - _FULL_ROWS) // 2
            heights = heights[first : first + _FULL_ROWS]
    else:
        heights = band(hob, setting.blank, setting.deep)
    columns = 1 + 2 * round(_FULL_COLUMNS / 2 * min(max(float(hob.starts / abs(rates.table)), 12.0), 400.0))
    return scattered(heights, columns)
