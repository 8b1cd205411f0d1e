"""A second cut held against the first on the blank: both are cut lightly, and the spaces of each are found.

Each leaves its spaces on a blank of its own, clamped alike: so neither wipes out what the other shows. How far
the one stands round from the other is measured from the fields alone.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction

from handlead.kinematics.cutting.field import cut_field, light_depth, scratch_grid
from handlead.kinematics.cutting.setting import Setting
from handlead.kinematics.frame.blank import Field
from handlead.kinematics.frame.motion import Led, Motion, Phase, Position, Rates
from handlead.kinematics.gauging.field import line_of_spaces


@dataclass(frozen=True)
class SecondCut:
    """By how many pitches the spaces of a second cut miss those of the first, as measured.

    `low` and `high` are the misses at the lower and the upper of the heights that were asked about, positive where
    the second cut's spaces stand counter-clockwise, seen facing the table; the lower one lies between a half less
    and a half more.
    """

    low: float
    high: float


def measure_second_cut(
    first: Phase,
    second: Phase,
    setting: Setting,
    between: tuple[Fraction, Fraction],
    ripples: tuple[Led, ...] = (),
) -> SecondCut | None:
    """Cut the blank by both phases, lightly, and measure how their spaces stand at the heights `between`.

    None where either leaves no spaces that could be told, or no height is common to them. Both phases go along
    the work's axis; how deep they stand makes no difference here, nor do the setting's own rates.
    """
    fields = _fields(first, second, setting, between, ripples)
    if fields is None:
        return None
    lines = [line_of_spaces(field) for field in fields]
    if lines[0] is None or lines[1] is None or lines[0].teeth != lines[1].teeth:
        return None
    low, high = (lines[1].at(float(height)) - lines[0].at(float(height)) for height in between)
    whole = round(low)
    return SecondCut(low - whole, high - whole)


def _fields(
    first: Phase,
    second: Phase,
    setting: Setting,
    between: tuple[Fraction, Fraction],
    ripples: tuple[Led, ...],
) -> list[Field] | None:
    rates = first.per_hob_turn
    if rates is None or second.per_hob_turn is None or not rates.axial or not second.per_turn.axial:
        return None
    setting = replace(setting, rates=Rates(rates.table, rates.axial))
    grid = scratch_grid(setting)
    assert grid.heights is not None
    inside = (grid.heights >= float(between[0])) & (grid.heights <= float(between[1]))
    if inside.sum() < _FEWEST_ROWS:
        return None
    setting, grid = setting.sunk(light_depth(setting)), grid.some(inside)
    return [cut_field(Motion((_at_light_depth(phase),), ripples), setting, grid) for phase in (first, second)]


#: Rows from which on a lead can be told.
_FEWEST_ROWS = 9


def _at_light_depth(phase: Phase) -> Phase:
    """The phase with its radial slide where a light cut has it."""
    return Phase(
        replace(phase.start, radial=Fraction(0)), _without_radial(phase.per_turn), phase.turns, phase.name
    )


def _without_radial(rates: Position) -> Position:
    return replace(rates, radial=Fraction(0))
