"""Two faults at once out of many: which pairs may leave what was seen, sieved in floats before any is run exactly.

A made-up drawer allows half a million pairs. Each fault multiplies the ratios of some brackets, puts a lever
elsewhere or takes another hob; rates are quotients of polynomials in the ratios, so that a row of pairs is a
few products of arrays. What passes is run exactly by whoever asks; what doesn't can't have the count with the
lean that was seen.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from handlead.kinematics.slips.evidence import STRAIGHT_DEG, Evidence
from handlead.kinematics.slips.faults import Fault
from handlead.kinematics.slips.standing import Standing
from handlead.kinematics.slips.study import Circumstances, Study
from handlead.kinematics.transfer.response import Response
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: A pair passes a little outside of what was allowed: floats, and a count that the swivel decides.
_ROOM = 1.02

#: Changes that the sieve knows; faults with others are left out.
_KNOWN = frozenset({"gears", "idlers", "stamps", "lever", "swivel", "hob", "sheet"})


@dataclass(frozen=True)
class _Effects:
    """The effect of each fault: factors on the brackets' ratios, the hob's sign, starts and module, the levers."""

    faults: Sequence[Fault]
    factors: Floats
    signs: Floats
    starts: Floats
    modules: Floats
    levers: list[tuple[tuple[str, str], ...]]


def may_explain(
    study: Study, faults: Sequence[Fault], evidence: Evidence
) -> Iterator[tuple[Fault, Fault]]:
    """The pairs, at least one of them not common, whose rates may have the count and the lean that were seen.

    Where no lean was seen the count alone tells, and lets thousands through.
    """
    lean = _lean(evidence)
    if evidence.teeth is None or not evidence.teeth.value:
        return
    effects = _effects(study, faults)
    base = study.base.setup.levers
    for moved in sorted(set(effects.levers)):
        response = study.bench.response(study.base.changed({("lever", name): place for name, place in moved}))
        if response is None or not response.is_quick or len(moved) > 1:
            continue
        sieve = _Sieve(study, response, evidence, lean)
        still = [number for number, levers in enumerate(effects.levers) if not levers]
        rows = still if not moved else [n for n, levers in enumerate(effects.levers) if levers == moved]
        assert all(base[name] != place for name, place in moved)
        for row in rows:
            others = np.array([n for n in still if n > row] if not moved else still, dtype=int)
            for other in others[sieve.passes(effects, row, others)] if len(others) else ():
                first, second = effects.faults[row], effects.faults[other]
                if not (first.kind.is_common and second.kind.is_common):
                    yield first, second


def lean_seen(evidence: Evidence) -> bool:
    """Whether what was seen says anything of how far the teeth lean."""
    return _lean(evidence) is not None


def _lean(evidence: Evidence) -> tuple[float, float] | None:
    """The least and the greatest lean in degrees, of unknown hand; None where none was seen."""
    if evidence.helix is not None:
        value, within = float(evidence.helix.value), float(evidence.helix.within)
        return max(value - _ROOM * within, 0.0), value + _ROOM * within
    if evidence.hand is not None and evidence.hand.value == "none" and evidence.hand.is_sure:
        return 0.0, STRAIGHT_DEG
    return None if evidence.lead is None and evidence.outside is None else (0.0, 90.0)


def _effects(study: Study, faults: Sequence[Fault]) -> _Effects:
    base = study.base
    names = tuple(base.change)
    meant_ratios = {name: _ratio(study.bench, base, name) for name in names}
    chosen, rows = [], []
    for fault in faults:
        what = {key[0] for key in fault.changes}
        if not what or not what <= _KNOWN:
            continue
        standing = base.changed(fault.changes)
        if tuple(standing.change) != names:
            continue  # an emptied bracket is another train
        factors = [_ratio(study.bench, standing, name) / meant_ratios[name] for name in names]
        hob, meant = standing.hob, base.hob
        sign, starts = hob.hand.value * meant.hand.value, hob.starts / meant.starts
        chosen.append(fault)
        rows.append((*factors, sign, starts, float(hob.module_n / meant.module_n)))
    table = np.array(rows, dtype=float).reshape(len(rows), len(names) + 3)
    levers = [
        tuple((key[1], place) for key, place in fault.changes.items() if key[0] == "lever") for fault in chosen
    ]
    return _Effects(chosen, table[:, :-3], table[:, -3], table[:, -2], table[:, -1], levers)


def _ratio(bench: Circumstances, standing: Standing, bracket: str) -> float:
    return float(bench.ratio(standing.change[bracket]))


class _Sieve:
    """What is the same for all pairs with the levers in one place."""

    def __init__(
        self, study: Study, response: Response, evidence: Evidence, lean: tuple[float, float] | None
    ) -> None:
        assert evidence.teeth is not None
        base = study.base
        self.hob, self.evidence, self.lean = base.hob, evidence, lean or (0.0, 90.0)
        self.any_lean = lean is None
        meet = evidence.spaces_meet
        #: Whether the spaces were seen not to meet: then the rates' own count is near the one seen.
        self.open = meet is not None and meet.is_sure and meet.value == "no"
        self.base = np.array([_ratio(study.bench, base, name) for name in response.filled])
        self.order = [list(base.change).index(name) for name in response.filled]
        self.ends = response.polynomials
        self.teeth = float(evidence.teeth.value)
        self.within = float(evidence.teeth.within)

    def passes(self, effects: _Effects, row: int, others: NDArray[np.int_]) -> NDArray[np.bool_]:
        """Which of these pairs have a count near the one seen and, for that count, the lean and the hand."""
        ratios = self.base * (effects.factors[row] * effects.factors[others])[:, self.order]
        hob = self._end("hob", ratios)
        with np.errstate(divide="ignore", invalid="ignore"):
            table, axial = self._end("table", ratios) / hob, self._end("axial", ratios) / hob
            starts = self.hob.starts * effects.starts[row] * effects.starts[others]
            sign = self.hob.hand.value * effects.signs[row] * effects.signs[others]
            module = float(self.hob.module_n) * effects.modules[row] * effects.modules[others]
            rest = table * self.teeth + sign * starts
            sine = -math.pi * module * rest / axial
            real = -sign * starts / table
            fed = np.abs(axial) > 0
            # A count that is off by so much changes the sine by so much; without a feed only the count tells.
            wide = math.pi * module * np.abs(table) * self.within / np.abs(axial)
            lean = np.degrees(np.arcsin(np.clip(np.abs(sine), 0.0, 1.0)))
            low, high = self.lean
            room = np.degrees(np.minimum(wide, 2.0)) + 1e-6
            near = np.abs(real - self.teeth) <= self.within + 1.0
            meets = (np.abs(sine) <= 1 + wide) & (lean >= low - room) & (lean <= high + room)
            fits = near if self.open else np.where(fed, meets | near & self.any_lean, near)
            fits &= (table * sign < 0) & np.isfinite(real)
            if self.within == 0 and (hand := self._hand()) is not None:
                fits &= ~fed | (sine * hand >= -math.sin(math.radians(STRAIGHT_DEG)))
        found: NDArray[np.bool_] = fits
        return found

    def _hand(self) -> int | None:
        hand = self.evidence.hand
        return {"right": 1, "left": -1}.get(hand.value) if hand and hand.is_sure else None

    def _end(self, name: str, ratios: Floats) -> Floats:
        total = np.zeros(len(ratios))
        for chosen, coefficient in self.ends.get(name) or ():
            term = np.full(len(ratios), float(coefficient))
            for bracket in range(ratios.shape[1]):
                if chosen >> bracket & 1:
                    term = term * ratios[:, bracket]
            total += term
        return total
