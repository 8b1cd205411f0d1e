"""What is loose drawn by chance, and what each draw leaves on the gear to the first order; its variances, exactly."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from handlead.kinematics.gears.gear import Gear
from handlead.kinematics.gears.tolerance import COARSEST, FINEST, flank_tolerances

from .passages import FlankMoments
from .waves import EVALUATED, PLAIN_SQUARE, UM, WAVE_SQUARE, CutShape, LooseSource, slope_of_wave

Floats = npt.NDArray[np.float64]
Complex = npt.NDArray[np.complex128]

#: Teeth on which profile and helix are traced (ISO 1328-1 asks for four at least, from memory).
_TRACED = 4

#: Stands for flanks that no class takes.
NO_CLASS = COARSEST + 1


@dataclass(frozen=True)
class Model:
    """A set-up's gear and all that is loose for it: `helix_um` is the slope that the set-up itself leaves, `off` by how
    many radians its head is off as it is. `moments` say when the flanks of the `traced` teeth are left, where that can
    be told; else waves are taken as if the hob cut everywhere at once."""

    gear: Gear
    shape: CutShape
    sources: tuple[LooseSource, ...]
    helix_um: float
    off: float
    moments: FlankMoments | None = None

    @property
    def traced(self) -> npt.NDArray[np.int64]:
        """The teeth on which profile and helix are traced."""
        return np.array(traced_teeth(self.shape.teeth))

    def thicker_um(self, swivel: Floats | float) -> Floats:
        """How much thicker, normal to the tooth, a head so many radians further off leaves the teeth than as it is.

        The flank goes off² · R cos α cot α / 2 into the tooth on either side (see `kinematics.cutting.action`).
        """
        each = UM * self.shape.hob_radius / math.tan(self.shape.normal_pressure)
        return np.asarray(each * (self.off**2 - (self.off + np.asarray(swivel)) ** 2))


def traced_teeth(teeth: int) -> list[int]:
    """Those of so many teeth on which profile and helix are traced."""
    return sorted({round(tooth * teeth / _TRACED) % teeth for tooth in range(min(_TRACED, teeth))})


@dataclass(frozen=True)
class Draws:
    """Some draws: for each quantity its deviations by tolerance, without sign, and a linear part of it.

    That of profile and helix is the right flank's on each tooth that is traced, one after the other.
    """

    deviations: Mapping[str, Floats]
    linear: Mapping[str, Floats]


def amounts(model: Model, seed: int, number: int, count: int) -> Complex:
    """What is drawn for each source, a row a draw: a wave's height with its phase, or a plain amount."""
    random = np.random.default_rng([seed, number])
    columns = []
    for source in model.sources:
        one, other, third = random.standard_normal(count), random.standard_normal(count), random.random(count)
        size = random.random(count)
        if source.wave is None:
            sign = np.where(third < 0.5, -1.0, 1.0)
            plain = {"normal": one / 2, "even": 2 * size - 1, "fixed": sign}[source.spread]
            columns.append(plain.astype(complex))
        elif source.spread == "normal":
            columns.append((one + 1j * other) / 2)
        else:
            height = size if source.spread == "even" else np.ones(count)
            columns.append(height * np.exp(2j * np.pi * third))
    return np.stack(columns, axis=1) if columns else np.zeros((count, 0), complex)


def draw(piece: tuple[Model, int, int, int]) -> Draws:
    """One piece of the draws, without cutting a flank."""
    model, seed, number, count = piece
    drawn = amounts(model, seed, number, count)
    shape, teeth = model.shape, model.shape.teeth
    plain, waves, per_turn = parts_of(model, drawn)
    helix = (plain @ column(model, "helix_um"))[:, None] + model.helix_um
    every = np.arange(teeth)
    helices, profiles, places = [], [], []
    leant = (plain @ column(model, "profile_um"))[:, None]
    tapered = (plain @ column(model, "taper_um"))[:, None]
    for side, (flank, leans) in enumerate(zip(_flanks(model), _leans(model), strict=True)):
        gains = flank[:, None] * slope_factors(model, "face", side) + 1j * leans[:, None]
        helices.append(helix + (-1) ** side * tapered + _on_traced(model, waves, gains).imag)
        on_profile = flank[:, None] * slope_factors(model, "profile", side)
        profiles.append(leant + _on_traced(model, waves, on_profile).imag)
        places.append(_at(waves * flank, per_turn, every, teeth).real / math.cos(shape.pressure))
    single = [np.abs(np.diff(one, axis=1, append=one[:, :1])).max(axis=1) for one in places]
    spaces = [_at(waves * flank, per_turn, every, teeth).real for flank in _of_spaces(model)]
    wider = np.ptp(spaces[0] - spaces[1], axis=1) / 2 / shape.ball_sine
    swivel = plain @ column(model, "swivel")
    thicker = model.thicker_um(swivel) + plain @ column(model, "thicker_um")
    bows = plain @ column(model, "bow_um").reshape(-1, 2)
    return Draws(
        {
            **_over_face(helices, bows),
            "profile_slope": np.abs(np.concatenate(profiles, axis=1)).max(axis=1),
            "single_pitch": np.maximum(*single),
            "cumulative_pitch": np.maximum(*(np.ptp(one, axis=1) for one in places)),
            "runout": wider,
        },
        {
            "helix": helices[0].ravel(),
            "helix form": bows[:, 0],
            "profile": profiles[0].ravel(),
            "pitch": _beside_the_mean(places[0]),
            "runout": _beside_the_mean((spaces[0] - spaces[1]) / 2 / shape.ball_sine),
            "thickness": thicker,
        },
    )


def _over_face(helices: Sequence[Floats], bows: Floats) -> dict[str, Floats]:
    """Slope, form and total over the face, by the slopes of right and left flanks, and how hollow either is."""
    totals = [_total(np.abs(bow)[:, None], np.abs(slope)) for bow, slope in zip(bows.T, helices, strict=True)]
    return {
        "helix_slope": np.abs(np.concatenate(helices, axis=1)).max(axis=1),
        "helix_form": np.abs(bows).max(axis=1),
        "helix_total": np.concatenate(totals, axis=1).max(axis=1),
    }


def _total(hollow: Floats, slope: Floats) -> Floats:
    """From the lowest place to the highest of an arc so hollow at the ends of what is evaluated, leaning by a slope.

    Of h·u² + (s/2)·u for u from -1 to 1: its foot lies at -s/4h, where it is s²/16h deep, if that isn't beyond the end.
    """
    over = EVALUATED * slope
    inside = over < 4 * hollow
    deep = over**2 / (16 * np.where(inside, hollow, np.inf))
    return np.asarray(np.where(inside, hollow + over / 2 + deep, over))


def _beside_the_mean(places: Floats) -> Floats:
    """How far the first tooth stands from the mean of all."""
    return np.asarray(places[:, 0] - places.mean(axis=1))


def parts_of(model: Model, drawn: Complex) -> tuple[Floats, Complex, Floats]:
    """Plain amounts of all sources, waves of those that have one (else nought), and the waves' turns."""
    has_wave = np.array([one.wave is not None for one in model.sources], dtype=bool)
    per_turn = np.array([one.wave.per_turn if one.wave else 0.0 for one in model.sources])
    return np.where(has_wave, 0.0, drawn.real), np.where(has_wave, drawn, 0.0), per_turn


def column(model: Model, what: str) -> Floats:
    """One value of every source."""
    return np.array([getattr(one, what) for one in model.sources])


def _flanks(model: Model) -> tuple[Complex, Complex]:
    """What an amount of one shifts the right and the left flanks by."""
    right = np.array([one.wave.right if one.wave else 0.0 for one in model.sources], complex)
    left = np.array([one.wave.left if one.wave else 0.0 for one in model.sources], complex)
    return right, left


def _of_spaces(model: Model) -> tuple[Complex, Complex]:
    """As `_flanks`, of both flanks about a space: the right one of the tooth to one side, the left one of the next."""
    right, left = _flanks(model)
    apart = np.array([model.shape.apart(one.wave.per_turn) ** 2 if one.wave else 1.0 for one in model.sources], complex)
    return right / apart, left * apart


def _leans(model: Model) -> tuple[Complex, Complex]:
    """The helix slopes that come and go with the waves of an amount of one, on the right and the left flanks.

    Turned, as `slope_factors`, to where the wave stands at mid-face.
    """
    waves = [one.wave for one in model.sources]
    turned = np.exp(1j * np.pi * np.array([model.shape.along_face(one.per_turn) if one else 0.0 for one in waves]))
    right = np.array([one.lean_right if one else 0.0 for one in waves], complex)
    left = np.array([one.lean_left if one else 0.0 for one in waves], complex)
    return right * turned, left * turned


def slope_factors(model: Model, along: str, side: int = 0) -> Complex:
    """What slope a wave of height one leaves along face or profile, turned to where it stands at mid-length.

    A row a source, a column a tooth that is traced, on the right flanks or, with `side` 1, the left ones.
    """
    found = []
    for one in model.sources:
        per_turn = one.wave.per_turn if one.wave else 0.0
        waves = model.shape.along_face(per_turn) if along == "face" else per_turn * model.shape.rolled
        turned = np.exp(1j * np.pi * waves)
        if model.moments is None:
            found.append(np.full(len(model.traced), -slope_of_wave(waves) * turned))
        else:
            moments = model.moments.face if along == "face" else model.moments.profile
            found.append(1j * moments[side].slope(per_turn) * turned)
    return np.array(found, complex).reshape(len(model.sources), len(model.traced))


def _on_traced(model: Model, waves: Complex, gains: Complex) -> Complex:
    """The waves, all sources together, on each tooth that is traced, where each has its own gain."""
    per_turn = np.array([one.wave.per_turn if one.wave else 0.0 for one in model.sources])
    turned = np.exp(2j * np.pi * per_turn[:, None] * model.traced[None, :] / model.shape.teeth)
    return np.asarray(waves @ (gains * turned))


def _at(waves: Complex, per_turn: Floats, teeth: npt.NDArray[np.int64], count: int) -> Complex:
    """The waves, all sources together, on each of these teeth."""
    turned = np.exp(2j * np.pi * per_turn[:, None] * teeth[None, :] / count)
    return np.asarray(waves @ turned)


def classes_of(gear: Gear, part: str, um: Floats) -> npt.NDArray[np.int64]:
    """The finest class that takes each deviation; `NO_CLASS` where none does."""
    limits = [getattr(flank_tolerances(gear, one), part).um for one in range(FINEST, COARSEST + 1)]
    return FINEST + np.searchsorted(np.array(limits), um, side="left")


def variances(model: Model, name: str) -> list[float]:
    """What each source adds to the variance of a quantity's linear part, exactly, in µm².

    That part is a tooth's slope, the mean of those that are traced, how hollow a right flank is over the face, how far
    one tooth or space stands from the mean of all, or the thickness.
    """
    shape = model.shape
    (right, _), (leans, _), spaces = _flanks(model), _leans(model), _of_spaces(model)
    on_face, on_profile = slope_factors(model, "face"), slope_factors(model, "profile")
    found = []
    for at, source in enumerate(model.sources):
        if source.wave is None:
            found.append(_plain_variance(model, source, name))
            continue
        phases = np.exp(2j * np.pi * source.wave.per_turn * np.arange(shape.teeth) / shape.teeth)
        beside = abs(1 - phases.mean()) ** 2
        size = {
            "helix": np.mean(np.abs(right[at] * on_face[at] + 1j * leans[at]) ** 2),
            "helix form": 0.0,
            "profile": np.mean(np.abs(right[at] * on_profile[at]) ** 2),
            "pitch": beside * abs(right[at] / math.cos(shape.pressure)) ** 2,
            "runout": beside * abs((spaces[0][at] - spaces[1][at]) / (2 * shape.ball_sine)) ** 2,
            "thickness": 0.0,
        }[name]
        # Half of a wave's square is its mean over all phases.
        found.append(float(WAVE_SQUARE[source.spread] * size / 2))
    return found


def _plain_variance(model: Model, source: LooseSource, name: str) -> float:
    square = PLAIN_SQUARE[source.spread]
    if name == "profile":
        return square * source.profile_um**2
    if name == "helix form":
        return square * source.bow_um[0] ** 2
    if name == "helix":
        return square * (source.helix_um + source.taper_um) ** 2
    if name != "thickness":
        return 0.0
    # The head's share goes by the square of what it is off: -(c d^2 + 2 c off d), with fourth moments 3 s^4, 1/5, 1.
    curve = UM * model.shape.hob_radius / math.tan(model.shape.normal_pressure)
    fourth = {"normal": 3 / 16, "even": 1 / 5, "fixed": 1.0}[source.spread]
    straight = square * (source.thicker_um - 2 * curve * model.off * source.swivel) ** 2
    return straight + (fourth - square**2) * (curve * source.swivel**2) ** 2
