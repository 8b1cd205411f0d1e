"""Every part of a set-up that may leave a wave on the flanks: its order, exactly, and what an amount of one leaves."""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from handlead.kinematics.frame.motion import Led, Rates, Ripple, Tilt
from handlead.kinematics.inspection.passage import WaveSource
from handlead.kinematics.links.link import TwoPort
from handlead.kinematics.links.links import BevelGears, Clutch, GearPair, WormGear
from handlead.kinematics.links.mounted import ChangeGears
from handlead.machines.machine_files.machine_file import Imperfection, Looseness
from handlead.machines.setups.case import Case, face_width_mm
from handlead.machines.setups.imperfections import about_mid_face
from handlead.machines.studying.waves import CutShape, LooseSource, shifts, sources

#: More than this no part is at fault by that still runs: a shaft half a degree to either side, a slide a fifth of a mm,
#: half a mm on the dial. Own choice.
MOST = {"deg": 0.5, "mm": 0.2, "dial mm": 0.5}

#: Length of a hob that nobody gives, in modules (common practice: some eight axial pitches).
_USUAL_LENGTH = 25

#: An axis that leans about a place so many mm below the blank goes to and fro alike at both faces, as good as. Own
#: choice.
FAR_BELOW = Fraction(1000)
_ALIKE = "the table's axis, to and fro at both faces alike"

#: What at its most leaves less on the flanks, in µm, doesn't come through.
_NOTHING = 0.1


@dataclass(frozen=True)
class TurningPart:
    """A part that may be at fault: its name, waves in a turn of the table, and what one unit of it leaves.

    `unit` says what an amount of one is: "deg" at the driven part of its link, "mm" of a slide, "dial mm" of runout.
    `right` and `left` are what one of it shifts the flanks by at mid-face, in µm along the base tangent, clockwise from
    above, as complex amplitudes over the turns of the table to come; `lean` is by how much more, right and left, at the
    upper face, `half_face` mm above. `fault` is an amount of one as a machine file has it; of a change gear it names
    the bracket as its link, and `place` says where in it the gear is mounted, from 0. Of a part that goes `back` in the
    time of the cut the phase in the file runs the other way.
    """

    name: str
    order: Fraction
    unit: str
    right: complex
    left: complex
    fault: Imperfection
    place: int = 0
    back: bool = False
    lean: tuple[complex, complex] = (0j, 0j)
    half_face: float = 1.0

    @property
    def on_flank(self) -> float:
        """µm that one of it leaves on the flank, and at the height of the face, where it leaves most."""
        sides = zip((self.right, self.left), self.lean, strict=True)
        return max(abs(side + sign * more) for side, more in sides for sign in (-1, 1))

    @property
    def leans(self) -> bool:
        """Whether it leaves more at one end of the face than at the other."""
        return any(self.lean)

    @property
    def source(self) -> WaveSource:
        """The part as the fit has it. A right flank lies on the counter-clockwise side of its space."""
        right, left = (one / self.half_face for one in self.lean)
        leans = ((1, right), (-1, -left)) if self.leans else ()
        return WaveSource(self.order, ((1, self.right), (-1, -self.left)), MOST[self.unit], leans)


def suspects_of(case: Case, shape: CutShape) -> tuple[TurningPart, ...]:
    """Every part that turns and comes through to a flank in this set-up, blank and hob on their arbors with them."""
    found: dict[tuple[str, Fraction], TurningPart] = {}
    for unit, looseness in _looseness(case):
        machine = replace(case.job.machine, looseness=(looseness,))
        loose = replace(case, job=replace(case.job, machine=machine))
        for source in sources(loose, shape):
            if one := _part(case, shape, source, (unit, looseness.amount)):
                found.setdefault((one.name, one.order), one)
    return tuple(sorted(found.values(), key=lambda one: one.order))


def _looseness(case: Case) -> Iterator[tuple[str, Looseness]]:
    """An amount of one of everything, with its unit. Of change gears each runs out by itself."""
    for link in case.train.links:
        if not isinstance(link, TwoPort) or isinstance(link, Clutch | ChangeGears) or not link.ratio:
            continue
        slides = link.to_part in case.train.slides
        amount = Imperfection("once per turn", link.name)
        amount = replace(amount, length=Fraction(1)) if slides else replace(amount, angle_deg=Fraction(1))
        unit = "mm" if slides else "deg"
        for turn_of, part in (("driving", link.from_part), ("driven", link.to_part)):
            if part not in case.train.slides:
                yield unit, Looseness("once per turn", "", "fixed", replace(amount, turn_of=turn_of))
        if isinstance(link, WormGear | GearPair | BevelGears):
            by_tooth = replace(amount, kind="tooth by tooth")
            yield unit, Looseness("tooth by tooth", "", "fixed", by_tooth)
    for kind in ("gear runout", "work runout", "hob runout"):
        yield "dial mm", Looseness(kind, "", "fixed", Imperfection(kind, runout=Fraction(1)))
    for one in _leaning(case):
        yield "dial mm", Looseness(one.kind, "", "fixed", one)


def _leaning(case: Case) -> Iterator[Imperfection]:
    """What leans, by a dial's reading of one.

    The blank at its upper face; the table's axis, twice a turn, about the blank's lower face or about a place so far
    below that it goes to and fro alike at both faces; the hob at the end of its threads. A table's axis that leans once
    a turn leaves what a blank does that stands askew and runs out as well.
    """
    face = Fraction(face_width_mm(case.job.work)).limit_denominator(1000)
    yield Imperfection("work tilt", runout=Fraction(1), over=face)
    yield Imperfection("table wobble", runout=Fraction(1), over=face, waves=2)
    yield Imperfection("table wobble", runout=Fraction(1), over=FAR_BELOW + face / 2, waves=2, below=FAR_BELOW)
    hob = case.job.hob
    yield Imperfection("hob wobble", runout=Fraction(1), over=(hob.length or _USUAL_LENGTH * hob.module_n) / 2)


def _part(
    case: Case, shape: CutShape, source: LooseSource, one: tuple[str, Imperfection]
) -> TurningPart | None:
    rates = case.rates
    waves = [error for error in source.ripples if isinstance(error, Ripple | Tilt)]
    # What leads a slide leaves no wave.
    if not waves or rates is None:
        return None
    low, middle, high = (_left_at(waves, height, shape, rates) for height in (0.0, shape.face / 2, shape.face))
    lean = ((high[0] - low[0]) / 2, (high[1] - low[1]) / 2) if any(isinstance(it, Tilt) for it in waves) else (0j, 0j)
    way = _per_turn(next(iter(about_mid_face(waves, 0.0, 0.0))), rates)
    unit, fault = one
    if source.bracket:
        mounted = next(link.mounted for link in case.train.brackets if link.name == source.bracket)
        assert mounted is not None
        fault = replace(fault, link=source.bracket, gear=(*mounted.gears, *mounted.idlers)[source.place])
    name = _ALIKE if fault.below >= FAR_BELOW else source.name
    found = TurningPart(name, abs(way), unit, *middle, fault, source.place, way < 0, lean, shape.face / 2)
    return found if found.order and found.on_flank * MOST[unit] >= _NOTHING else None


def _left_at(
    errors: Sequence[Ripple | Tilt], height: float, shape: CutShape, rates: Rates
) -> tuple[complex, complex]:
    """What errors shift the right and the left flank by at a height of the face, in µm, over the turns to come."""
    right = left = 0j
    for ripple in about_mid_face(errors, height, shape.base_radius / math.cos(shape.pressure)):
        assert isinstance(ripple, Ripple)
        # A sine over a travel that goes the other way in time is the conjugate.
        turned = -1j * cmath.exp(2j * math.pi * ripple.phase_turn)
        turned = turned if _per_turn(ripple, rates) > 0 else turned.conjugate()
        by = shifts(ripple, shape)
        right, left = right + by[0] * turned, left + by[1] * turned
    return right, left


def _per_turn(ripple: Led, rates: Rates) -> Fraction:
    """Waves in a turn of the table, signed by which way the end goes by whose travel the ripple is told."""
    assert isinstance(ripple, Ripple)
    goes: Fraction = getattr(rates.per_turn, ripple.over)
    return ripple.per_unit * goes / abs(rates.table)
