"""Every part of a set-up that may leave a wave on the flanks: its order, exactly, and what an amount of one leaves."""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction

from handlead.kinematics.frame.motion import Rates, Ripple
from handlead.kinematics.inspection.laid import WaveSource
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

#: What at its most leaves less on the flanks, in µm, doesn't come through.
_NOTHING = 0.1


@dataclass(frozen=True)
class TurningPart:
    """A part that may be at fault: its name, waves in a turn of the table, and what one unit of it leaves.

    `unit` says what an amount of one is: "deg" at the driven part of its link, "mm" of a slide, "dial mm" of runout.
    `right` and `left` are what one of it shifts the flanks by, in µm along the base tangent, clockwise from above, as
    complex amplitudes over the turns of the table to come. `fault` is an amount of one as a machine file has it; of a
    change gear it names the bracket as its link, and `place` says where in it the gear is mounted, from 0. Of a part
    that goes `back` in the time of the cut the phase in the file runs the other way.
    """

    name: str
    order: Fraction
    unit: str
    right: complex
    left: complex
    fault: Imperfection
    place: int = 0
    back: bool = False

    @property
    def on_flank(self) -> float:
        """µm that one of it leaves on the flank where it leaves more."""
        return max(abs(self.right), abs(self.left))

    @property
    def source(self) -> WaveSource:
        """The part as the fit has it. A right flank lies on the counter-clockwise side of its space."""
        return WaveSource(self.order, ((1, self.right), (-1, -self.left)), MOST[self.unit])


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
    """What leans, by a dial's reading of one: the table's axis twice a turn, the hob at the end of its threads.

    A blank that stands askew isn't one of them: in pitch and runout it is one that runs out by as much at mid-face.
    """
    face = Fraction(face_width_mm(case.job.work)).limit_denominator(1000)
    yield Imperfection("table wobble", runout=Fraction(1), over=face, waves=2)
    hob = case.job.hob
    yield Imperfection("hob wobble", runout=Fraction(1), over=(hob.length or _USUAL_LENGTH * hob.module_n) / 2)


def _part(
    case: Case, shape: CutShape, source: LooseSource, one: tuple[str, Imperfection]
) -> TurningPart | None:
    # What leans is looked at as at mid-face; what leads a slide leaves no wave.
    radius = shape.base_radius / math.cos(shape.pressure)
    errors = about_mid_face(source.ripples, shape.face / 2, radius)
    waves = [error for error in errors if isinstance(error, Ripple)]
    if not waves or case.rates is None:
        return None
    order = abs(_per_turn(waves[0], case.rates))
    right = left = 0j
    for ripple in waves:
        # A sine over a travel that goes the other way in time is the conjugate.
        turned = -1j * cmath.exp(2j * math.pi * ripple.phase_turn)
        turned = turned if _per_turn(ripple, case.rates) > 0 else turned.conjugate()
        by = shifts(ripple, shape)
        right, left = right + by[0] * turned, left + by[1] * turned
    unit, fault = one
    if not order or max(abs(right), abs(left)) * MOST[unit] < _NOTHING:
        return None
    if source.bracket:
        mounted = next(link.mounted for link in case.train.brackets if link.name == source.bracket)
        assert mounted is not None
        fault = replace(fault, link=source.bracket, gear=(*mounted.gears, *mounted.idlers)[source.place])
    back = _per_turn(waves[0], case.rates) < 0
    return TurningPart(source.name, order, unit, right, left, fault, source.place, back)


def _per_turn(ripple: Ripple, rates: Rates) -> Fraction:
    """Waves in a turn of the table, signed by which way the end goes by whose travel the ripple is told."""
    goes: Fraction = getattr(rates.per_turn, ripple.over)
    return ripple.per_unit * goes / abs(rates.table)
