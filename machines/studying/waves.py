"""What a loose part leaves on the flanks, for so much of it: waves, slopes and thickness, each to the first order.

A wave comes back so many times in a turn of the table. Along the face only what is left of it beside whole waves a turn
shows, table turns being a feed apart; along the profile, as much as the table turns while a flank is rolled off; from
tooth to tooth, all of it. Shifts are along the base tangent in the transverse plane, in µm (own derivations).
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction

from handlead.kinematics.cutting.hob import Hob
from handlead.kinematics.flank_cutting.flank_passages import roll_range
from handlead.kinematics.frame.motion import Rates, Ripple
from handlead.kinematics.gears.gear import Gear
from handlead.kinematics.train.imperfections import PeriodicError, ripples
from handlead.kinematics.train.link import TwoPort
from handlead.machines.machine_files.machine_file import Looseness
from handlead.machines.setups.case import Case
from handlead.machines.setups.imperfections import errors_of, runout_at

UM = 1000.0

#: Mean square of a wave's amplitude, and variance of a plain amount, for an amount of one, by how it is spread. Of a
#: normal wave both parts, sine and cosine, have half the amount as their standard deviation.
WAVE_SQUARE = {"normal": 0.5, "even": 1 / 3, "fixed": 1.0}
PLAIN_SQUARE = {"normal": 0.25, "even": 1 / 3, "fixed": 1.0}


@dataclass(frozen=True)
class CutShape:
    """What of a cut gear the sizes of errors depend on: lengths in mm, angles in radians."""

    teeth: int
    base_radius: float
    pressure: float
    normal_pressure: float
    face: float
    rolled: float
    feed: float
    turn_per_mm: float
    hob_turns: float
    hob_radius: float
    sense: int

    @classmethod
    def of(cls, gear: Gear, rates: Rates, hob: Hob) -> CutShape:
        """The shape of a gear cut at these rates."""
        assert gear.face_width is not None
        first, last = roll_range(hob, gear)
        hand = 0 if gear.hand is None else gear.hand.value
        sense = 1 if rates.table > 0 else -1
        return cls(
            gear.teeth,
            gear.base_diameter / 2,
            math.radians(gear.transverse_pressure_angle_deg),
            math.radians(gear.pressure_angle_n_deg),
            gear.face_width,
            (last - first) / (2 * math.pi),
            float(rates.axial / abs(rates.table)),
            -sense * hand / gear.lead if gear.lead else 0.0,
            float(1 / abs(rates.table)),
            hob.pitch_diameter / 2,
            sense,
        )

    def apart(self, per_turn: float) -> complex:
        """By how much of a wave the right flank of a tooth is cut later than its middle; the left as much sooner."""
        return cmath.exp(2j * math.pi * self.sense * per_turn / (4 * self.teeth))

    def along_face(self, per_turn: float) -> float:
        """How many waves lie along the face of one flank, of so many in a turn of the table."""
        whole = round(per_turn)
        return self.face * ((per_turn - whole) / self.feed + whole * self.turn_per_mm)


@dataclass(frozen=True)
class FlankWave:
    """A wave of both flanks, for an amount of one: waves a turn of the table, shift and phase of each flank."""

    per_turn: float
    right: complex
    left: complex


@dataclass(frozen=True)
class LooseSource:
    """One thing that is loose: what and where it is, how it is spread, and what an amount of one leaves.

    `wave` is None for an amount without a wave: `helix_um` is the helix slope that it leaves, `swivel` by how many
    radians it takes the head off, `thicker_um` by how much it leaves the teeth thicker. Of a change gear `bracket` and
    `place`, from 0 along the train, say where it is mounted.
    """

    name: str
    comes_from: str
    spread: str
    wave: FlankWave | None = None
    helix_um: float = 0.0
    swivel: float = 0.0
    thicker_um: float = 0.0
    ripples: tuple[Ripple, ...] = ()
    bracket: str = ""
    place: int = 0


def slope_of_wave(waves: float) -> float:
    """Slope, over the length looked at, of the line laid by least squares through so many waves of height one.

    Of ``sin(2 pi (K u + p))`` for u from -1/2 to 1/2 it is this times ``cos(2 pi p)``: 12 times the mean of u against
    the wave. For a small part of a wave, ``2 pi K``.
    """
    turn = 2 * math.pi * waves
    if abs(turn) < 1e-3:
        return turn
    return 24 * (math.sin(turn / 2) / turn**2 - math.cos(turn / 2) / (2 * turn))


def sources(case: Case, shape: CutShape) -> Iterator[LooseSource]:
    """What is loose in a set-up, as its machine's file says; what doesn't move in it leaves nothing."""
    for one in case.job.machine.looseness:
        match one.kind:
            case "gear runout":
                yield from _gears(case, one, shape)
            case "once per turn" | "tooth by tooth":
                for error in errors_of(case.train, one.amount):
                    name = f"{one.amount.link}, {one.kind}"
                    if one.kind == "once per turn":
                        name += f" of the {error.part}"
                    yield from _of_train(case, one, name, error, shape)
            case "pitch" | "play":
                yield from _drifting(case, one, shape)
            case "work runout" | "hob runout":
                yield _running_out(one, shape)
            case _:
                yield _of_head_and_blank(case, one, shape)


def _gears(case: Case, one: Looseness, shape: CutShape) -> Iterator[LooseSource]:
    """Every change gear that is mounted, each off its centre by itself."""
    for link in case.train.brackets:
        for at, teeth in enumerate(link.mounted.gears if link.mounted else ()):
            if error := runout_at(link, at, one.amount):
                for source in _of_train(case, one, f"gear of {teeth}, {link.name}", error, shape):
                    yield replace(source, bracket=link.name, place=at)


def _of_train(
    case: Case, one: Looseness, name: str, error: PeriodicError, shape: CutShape
) -> Iterator[LooseSource]:
    """What comes through the train to table and slides, as one wave."""
    found = ripples(case.train, case.setup.drive, error)
    waves = [
        (per_turn, *_shifts(ripple, per_turn, shape))
        for ripple in found
        if (per_turn := _per_turn(case, ripple))
    ]
    if waves:
        right, left = sum(wave[1] for wave in waves), sum(wave[2] for wave in waves)
        yield LooseSource(
            name, one.comes_from, one.spread, FlankWave(waves[0][0], right, left), ripples=found
        )


def _per_turn(case: Case, ripple: Ripple) -> float:
    """Waves in a turn of the table."""
    assert case.rates is not None
    rates: dict[str, Fraction] = {
        "hob": Fraction(1),
        "table": case.rates.table,
        "axial": case.rates.axial,
        "tangential": case.rates.tangential,
        "radial": case.rates.radial,
    }
    return abs(float(ripple.per_unit * rates[ripple.over] / case.rates.table))


def shifts(ripple: Ripple, shape: CutShape) -> tuple[float, float]:
    """What a ripple of an end shifts the right and the left flank by at its crest, in µm, clockwise from above.

    A right flank, on the clockwise side of its tooth, stands proud by so much, a left one short. A slide that takes the
    table along as the helix asks shifts nothing.
    """
    match ripple.end:
        case "table":
            shift = UM * 2 * math.pi * shape.base_radius * ripple.amplitude
        case "axial":
            shift = -shape.sense * UM * 2 * math.pi * shape.base_radius * shape.turn_per_mm * ripple.amplitude
        case "radial":
            out = UM * math.sin(shape.pressure) * ripple.amplitude
            return out, -out
        case _:
            shift = -UM * math.cos(shape.pressure) * ripple.amplitude
    return shift, shift


def _shifts(ripple: Ripple, per_turn: float, shape: CutShape) -> tuple[complex, complex]:
    """The same with the right and the left flank cut a quarter of a pitch apart."""
    right, left = shifts(ripple, shape)
    return right * shape.apart(per_turn), left / shape.apart(per_turn)


def _drifting(case: Case, one: Looseness, shape: CutShape) -> Iterator[LooseSource]:
    """A driven part that gets ahead over the face: by a share of its way, or as far as its play lets it."""
    assert one.amount.link is not None
    link, amount = case.train.link(one.amount.link), one.amount
    assert isinstance(link, TwoPort)
    moved, travel = case.solution.rates.get(link.to_part), case.solution.end_rate("axial")
    if not moved or not travel:
        return
    if one.kind == "pitch":
        assert one.over is not None and amount.length is not None
        # A share of the way that the driven part goes over the face.
        far = float(amount.length / one.over * abs(moved / travel)) * shape.face
    else:
        far = float(amount.length if amount.length is not None else (amount.angle_deg or Fraction(0)) / 360)
    unit = PeriodicError(link.name, link.to_part, Fraction(1), 1.0)
    found = [ripple for ripple in ripples(case.train, case.setup.drive, unit) if ripple.end != "radial"]
    slope = sum(_shifts(ripple, 0.0, shape)[0].real for ripple in found)
    if slope and far:
        yield LooseSource(f"{link.name}, {one.kind}", one.comes_from, one.spread, helix_um=slope * far)


def _running_out(one: Looseness, shape: CutShape) -> LooseSource:
    """Blank or hob off their axes by half the dial's reading.

    A blank off by e, its middle at −e·(cos θ, sin θ) with the table at θ, stands clear of the hob by e·cos θ and aside
    by −e·sin θ, as if the table lagged: e·sin(α − θ) along the right flank's base tangent and −e·sin(α + θ) along the
    left's. A hob off by e goes in and out once a turn.
    """
    assert one.amount.runout is not None
    off = UM * float(one.amount.runout) / 2
    if one.kind == "work runout":
        turned = cmath.exp(1j * shape.sense * shape.pressure) / shape.apart(1.0)
        aside = off / UM / (2 * math.pi * shape.base_radius / math.cos(shape.pressure))
        moved = (
            Ripple("radial", "table", Fraction(1), off / UM, 0.25),
            Ripple("table", "table", Fraction(1), -aside),
        )
        wave = FlankWave(1.0, off / turned, off * turned)
        return LooseSource("the blank on its arbor", one.comes_from, one.spread, wave, ripples=moved)
    shift, apart = off * math.sin(shape.pressure), shape.apart(shape.hob_turns)
    wave = FlankWave(shape.hob_turns, shift * apart, -shift / apart)
    in_and_out = (Ripple("radial", "hob", Fraction(1), off / UM),)
    return LooseSource("the hob on its arbor", one.comes_from, one.spread, wave, ripples=in_and_out)


def _of_head_and_blank(case: Case, one: Looseness, shape: CutShape) -> LooseSource:
    """What tells on the thickness alone: the head, the hob's diameter by way of its lead angle, the blank's."""
    amount = float(one.amount.length or 0)
    if one.kind == "blank diameter":
        # So much too large on diameter, the hob is left half as far out; each flank moves by that times tan alpha.
        return LooseSource(
            "the blank's diameter",
            one.comes_from,
            one.spread,
            thicker_um=UM * amount * math.tan(shape.normal_pressure),
        )
    if one.kind == "swivel":
        off = math.radians(float(one.amount.angle_deg or 0))
        return LooseSource("the head's angle", one.comes_from, one.spread, swivel=off)
    # sin gamma = k m / d: a share of the diameter is that share of tan gamma.
    lead_angle = math.radians(case.job.hob.gamma_deg or 0.0)
    turned = math.tan(lead_angle) * amount / (2 * shape.hob_radius)
    return LooseSource("the hob's diameter", one.comes_from, one.spread, swivel=turned)
