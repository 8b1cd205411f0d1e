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
from handlead.kinematics.frame.motion import Led, Rates, Ripple
from handlead.kinematics.gears.gear import Gear
from handlead.kinematics.links.link import TwoPort
from handlead.kinematics.train.imperfections import PeriodicError, ripples
from handlead.machines.machine_files.machine_file import Looseness
from handlead.machines.setups.case import Case
from handlead.machines.setups.imperfections import (
    about_mid_face,
    carried,
    errors_of,
    idler_at,
    lost_motion,
    runout_at,
)

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

    @property
    def ball_sine(self) -> float:
        """Sine of the angle from the radius at which a ball in a space is touched (see `gauging.flanks.runout_um`)."""
        return math.sin(self.pressure + math.pi / (2 * self.teeth))

    def along_face(self, per_turn: float) -> float:
        """How many waves lie along the face of one flank, of so many in a turn of the table."""
        whole = round(per_turn)
        return self.face * ((per_turn - whole) / self.feed + whole * self.turn_per_mm)


@dataclass(frozen=True)
class FlankWave:
    """A wave of both flanks, for an amount of one: waves a turn of the table, shift and phase of each flank.

    `lean_right` and `lean_left` are helix slopes that come and go with it round the gear, as on work that stands askew.
    """

    per_turn: float
    right: complex
    left: complex
    lean_right: complex = 0j
    lean_left: complex = 0j


@dataclass(frozen=True)
class LooseSource:
    """One thing that is loose: what and where it is, how it is spread, and what an amount of one leaves.

    `wave` is None for an amount without a wave: `helix_um` is the helix slope that it leaves, `taper_um` what it leaves
    on the right flanks and the other way on the left ones, `swivel` by how many radians it takes the head off,
    `thicker_um` by how much it leaves the teeth thicker. `ripples` is what it does to a cut, but for what goes into
    the rates. `profile_um` is the slope of the profile that a hob leaves whose thread is out by `thread_mm` in a turn.
    `bow_um` is how far it leaves the right and the left flanks hollow at the ends of the part of the face that is
    evaluated. Of a change gear `bracket` and `place`, from 0 along the train and idlers last, say where it is mounted.
    """

    name: str
    comes_from: str
    spread: str
    wave: FlankWave | None = None
    helix_um: float = 0.0
    swivel: float = 0.0
    thicker_um: float = 0.0
    ripples: tuple[Led, ...] = ()
    bracket: str = ""
    place: int = 0
    taper_um: float = 0.0
    profile_um: float = 0.0
    thread_mm: float = 0.0
    bow_um: tuple[float, float] = (0.0, 0.0)

    @property
    def bows(self) -> bool:
        """Whether it leaves the flanks hollow or humped over the face."""
        return any(self.bow_um)


#: The part of the face on which a helix is evaluated: all but 5 % at each end (see `gauging.flanks.evaluated`).
EVALUATED = 0.9


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
            case "once per turn" | "tooth by tooth" | "worm float":
                for error in errors_of(case.train, one.amount):
                    name = f"{one.amount.link}, {one.kind}"
                    if one.kind == "once per turn":
                        name += f" of the {error.part}"
                    yield from _of_train(case, one, name, error, shape)
            case "pitch" | "play" | "worm end play":
                yield from _drifting(case, one, shape)
            case "work runout" | "hob runout" | "hob wobble":
                yield _running_out(one, shape)
            case "hob gashes":
                yield _uneven_gashes(case, one, shape)
            case "hob thread":
                yield _out_of_lead(case, one, shape)
            case "work tilt" | "table wobble":
                yield _askew(one, shape)
            case "slide not parallel" | "slide bow":
                yield _off_the_axis(one, shape)
            case _:
                yield _of_head_and_blank(case, one, shape)


def _gears(case: Case, one: Looseness, shape: CutShape) -> Iterator[LooseSource]:
    """Every change gear that is mounted, each off its centre by itself."""
    for link in case.train.brackets:
        for at, teeth in enumerate(link.mounted.gears if link.mounted else ()):
            if error := runout_at(link, at, one.amount):
                for source in _of_train(case, one, f"gear of {teeth}, {link.name}", error, shape):
                    yield replace(source, bracket=link.name, place=at)
        before = len(link.mounted.gears) if link.mounted else 0
        for at, teeth in enumerate(link.mounted.idlers if link.mounted else ()):
            if error := idler_at(link, at, one.amount):
                for source in _of_train(case, one, f"idler of {teeth}, {link.name}", error, shape):
                    yield replace(source, bracket=link.name, place=before + at)


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
        assert amount.over is not None and amount.length is not None
        # A share of the way that the driven part goes over the face.
        far = float(amount.length / amount.over * abs(moved / travel)) * shape.face
    else:
        far = float(lost_motion(case.train, amount))
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
    name, once = "the hob on its arbor", Ripple("radial", "hob", Fraction(1), off / UM)
    if one.kind == "hob wobble":
        # A hob that leans has its edges to and fro along its axis, once a turn, by that at its reference radius.
        helix = math.tan(shape.normal_pressure) / math.tan(shape.pressure)
        along = off / UM / float(one.amount.over or 1) * shape.hob_radius / helix
        name, once = "the hob leaning on its arbor", Ripple("tangential", "hob", Fraction(1), along)
    wave = FlankWave(shape.hob_turns, *_shifts(once, shape.hob_turns, shape))
    return LooseSource(name, one.comes_from, one.spread, wave, ripples=(once,))


def _uneven_gashes(case: Case, one: Looseness, shape: CutShape) -> LooseSource:
    """Gashes off their places: a face that stands behind is lower by that times tan of the relief, as of a hob that
    runs out by so much."""
    lower = float(one.amount.length or 0) * math.tan(math.radians(case.job.hob.relief_angle_deg))
    once = Ripple("radial", "hob", Fraction(1), lower)
    wave = FlankWave(shape.hob_turns, *_shifts(once, shape.hob_turns, shape))
    return LooseSource("the hob's gashes", one.comes_from, one.spread, wave, ripples=(once,))


def _out_of_lead(case: Case, one: Looseness, shape: CutShape) -> LooseSource:
    """A thread that goes too far: each turn of the hob cuts further on by that, and leaves a slope of the profile.

    It is that over the hob's lead, of the length of roll, over the square of the base helix angle's cosine: a thread
    comes after a normal base pitch along the line of contacts.
    """
    hob = case.job.hob
    off, length = float(one.amount.length or 0), 2 * math.pi * shape.rolled * shape.base_radius
    lead = hob.starts * math.pi * float(hob.module_n) / math.cos(math.radians(hob.gamma_deg or 0.0))
    leans = 1 + (2 * math.pi * shape.base_radius * shape.turn_per_mm) ** 2
    slope = UM * off / lead * length * leans
    return LooseSource("the hob's thread", one.comes_from, one.spread, profile_um=slope, thread_mm=off)


def _askew(one: Looseness, shape: CutShape) -> LooseSource:
    """Work or table whose axis leans: it runs out and dips as at mid-face, and runs out more towards one end."""
    leaning = carried(one.amount, Fraction(0))
    waves = one.amount.waves
    radius = shape.base_radius / math.cos(shape.pressure)
    at_middle = _summed(about_mid_face(leaning, shape.face / 2, radius), waves, shape)
    at_ends = (_summed(about_mid_face(leaning, height, radius), waves, shape) for height in (0.0, shape.face))
    low, high = at_ends
    wave = FlankWave(float(waves), *at_middle, high[0] - low[0], high[1] - low[1])
    name = "the blank standing askew" if one.kind == "work tilt" else "the table's axis, wobbling"
    return LooseSource(name, one.comes_from, one.spread, wave, ripples=leaning)


def _summed(errors: tuple[Led, ...], per_turn: float, shape: CutShape) -> tuple[complex, complex]:
    """What errors over the table leave together, right and left, each by its phase as the table goes round."""
    right = left = 0j
    for error in errors:
        if isinstance(error, Ripple):
            phase = cmath.exp(2j * math.pi * error.phase_turn)
            phase = phase if shape.sense > 0 else -phase.conjugate()
            by = _shifts(error, per_turn, shape)
            right, left = right + by[0] * phase, left + by[1] * phase
    return right, left


def _off_the_axis(one: Looseness, shape: CutShape) -> LooseSource:
    """A slide's way beside the table's axis: across it the teeth lean, towards it they taper.

    So much aside on the hob is that times the cosine of the pressure angle along the base tangent, so much in or away
    that times its sine. A way that is bowed leaves no slope, but as an arc stands off by the square of the way from
    mid-face: that much hollow, across it on one flank and humped on the other.
    """
    amount = one.amount
    assert amount.length is not None and amount.over is not None
    moved = carried(amount, Fraction(shape.face) / 2)
    if one.kind == "slide bow":
        hollow = UM * float(amount.length) * (EVALUATED * shape.face / float(amount.over)) ** 2
        into, across = hollow * math.sin(shape.pressure), hollow * math.cos(shape.pressure)
        bow = (into, into) if amount.way in ("in", "away") else (across, -across)
        return LooseSource("the slide's way, bowed", one.comes_from, one.spread, ripples=moved, bow_um=bow)
    name, off = "the slide's way beside the axis", UM * float(amount.length / amount.over) * shape.face
    if amount.way in ("in", "away"):
        taper = off * math.sin(shape.pressure)
        return LooseSource(name, one.comes_from, one.spread, ripples=moved, taper_um=taper)
    return LooseSource(name, one.comes_from, one.spread, helix_um=off * math.cos(shape.pressure))


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
