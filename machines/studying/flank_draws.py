"""Draws that are cut in simulation: the flank with all its marks, and what is loose on top of them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from fractions import Fraction

import numpy as np
from handlead.kinematics.frame.guide import Guide
from handlead.kinematics.frame.motion import Led, Tilt
from handlead.kinematics.gauging.flanks import Deviations
from handlead.machines.blanks.flanks import Flanks
from handlead.machines.setups.case import Case

from .draws import NO_CLASS, Complex, Model, amounts, classes_of, column, parts_of
from .waves import UM, LooseSource

#: Of a flank that was cut in simulation all of these are limited.
_ON_THE_FLANK: Mapping[str, tuple[str, ...]] = {
    "helix": ("helix_slope", "helix_form", "helix_total"),
    "profile": ("profile_slope", "profile_form", "profile_total"),
    "pitch": ("single_pitch", "cumulative_pitch"),
    "runout": ("runout",),
}

#: Where the seeds of these draws begin: those without a flank take other ones.
_SEEDS_FROM = 1_000_000


def draw_flanks(piece: tuple[Case, Model, int, int, int]) -> dict[str, list[int]]:
    """The classes of some draws that are cut in simulation and measured, by quantity.

    What makes the helix lean goes into the rates, waves into the motion, the head's angle into the swivel.
    """
    case, model, seed, number, count = piece
    drawn = amounts(model, seed, _SEEDS_FROM + number, count)
    found: dict[str, list[int]] = {name: [] for name in (*_ON_THE_FLANK, "together")}
    for row in drawn:
        quality = cut_draw(case, model, row)
        classes = {}
        for name, parts in _ON_THE_FLANK.items():
            classes[name] = max(
                int(classes_of(model.gear, part, np.array([abs(getattr(quality, part))]))[0])
                if quality
                else NO_CLASS
                for part in parts
            )
            found[name].append(classes[name])
        found["together"].append(max(classes.values()))
    return found


def cut_draw(case: Case, model: Model, row: Complex) -> Deviations | None:
    """What is measured of one draw's flanks; None where nothing can be."""
    flanks = Flanks.of(case)
    plain, _, _ = parts_of(model, row[None, :])
    slope, swivel = float((plain @ column(model, "helix_um"))[0]), float((plain @ column(model, "swivel"))[0])
    setting, shape = flanks.setting, model.shape
    turn = Fraction(slope / UM / (2 * math.pi * shape.base_radius * shape.face)).limit_denominator(10**15)
    rates = replace(setting.rates, table=setting.rates.table + turn * setting.rates.axial)
    thread = float((plain @ column(model, "thread_mm"))[0])
    hob = replace(setting.hob, lead_error=setting.hob.lead_error + thread)
    setting = replace(setting, rates=rates, hob=hob, swivel_deg=setting.swivel_deg + math.degrees(swivel))
    drawn = zip(model.sources, row, strict=True)
    ripples = tuple(each for source, amount in drawn for each in _rippled(source, amount))
    measured = replace(flanks, setting=setting, ripples=(*flanks.ripples, *ripples)).measure()
    return measured.deviations if measured else None


def _rippled(source: LooseSource, amount: complex) -> Sequence[Led]:
    """A source's ripples as high and in such a phase as drawn; what leads a slide, as far off."""
    return [_drawn(one, amount) for one in source.ripples]


def _drawn(one: Led, amount: complex) -> Led:
    phase = math.atan2(amount.imag, amount.real) / (2 * math.pi)
    if isinstance(one, Guide):
        share = Fraction(amount.real)
        return replace(one, points=tuple((place, off * share) for place, off in one.points))
    turned = (phase + one.phase_turn) % 1.0
    if isinstance(one, Tilt):
        return replace(one, slope=one.slope * abs(amount), phase_turn=turned)
    return replace(one, amplitude=one.amplitude * abs(amount), phase_turn=turned)
