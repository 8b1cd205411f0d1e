"""What a record has of every order that a part of the set-up turns with: of those found what they leave, else what is
left."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np
from handlead.kinematics.inspection.laid import Laid
from handlead.kinematics.inspection.passage import Floats
from handlead.machines.at_fault.looks import looked_at, sides_of
from handlead.machines.at_fault.parts import TurningPart, suspects_of
from handlead.machines.blanks.flanks import Flanks
from handlead.machines.studying.waves import CutShape

from .words import part_name

if TYPE_CHECKING:
    from .answer import InspectedGear

#: Seams at which what is left is looked through; the largest amplitude is told.
_SEAMS = 8


@dataclass(frozen=True)
class SpectrumLine:
    """One order: waves in a turn of the table, its amplitude as it shows in the record, in µm, the parts that turn so.

    `wave` is the number of the wave that was found there; None where nothing was.
    """

    order: Fraction
    um: float
    names: tuple[str, ...]
    wave: int | None


def spectrum_of(found: InspectedGear, number: int) -> tuple[SpectrumLine, ...]:
    """The orders that show in a record, slowest first."""
    case, record = found.case, found.records[number]
    flanks = Flanks.of(case)
    assert case.rates is not None
    shape = CutShape.of(flanks.gear, case.rates, flanks.setting.hob)
    names: dict[Fraction, list[str]] = {}
    loudest: dict[Fraction, TurningPart] = {}
    for part in suspects_of(case, shape):
        names.setdefault(part.order, []).append(part_name(case, part))
        loudest[part.order] = max(part, loudest.get(part.order, part), key=lambda one: one.on_flank)
    left = replace(record.readings, um=np.array(found.inspection.records[number].left))
    looked = looked_at(replace(record, readings=left), sides_of(flanks))
    orders = sorted(names)
    laid = Laid((looked,), tuple(loudest[one].source for one in orders), (1.0,))
    at = {wave.parts[0].order: which for which, wave in enumerate(found.inspection.waves)}
    um = [
        _amplitude(found.shown(found.inspection.waves[at[order]], number)) if order in at else rest
        for order, rest in zip(orders, _amplitudes(laid), strict=True)
    ]
    unseen = {orders[one] for group in laid.clusters[1] for one in group} - at.keys()
    return tuple(
        SpectrumLine(order, size, tuple(names[order]), at.get(order))
        for order, size in zip(orders, um, strict=True)
        if order not in unseen
    )


def _amplitudes(laid: Laid) -> Sequence[float]:
    """What the readings have of each source taken alone, the largest over the seams."""
    largest = np.zeros(len(laid.sources))
    for seam in np.arange(_SEAMS) / _SEAMS:
        ((columns, um),) = laid.columns((0.0, float(seam)))
        for at in range(len(laid.sources)):
            two = columns[:, 2 * at : 2 * at + 2]
            pair, *_ = np.linalg.lstsq(two, um, rcond=0.03)
            largest[at] = max(largest[at], _amplitude(two @ pair))
    return [float(one) for one in largest]


def _amplitude(um: Floats) -> float:
    """Of a wave by its mean square: one that comes near the count of teeth shows little, however large it is."""
    return float(np.sqrt(2 * np.mean(um**2)))
