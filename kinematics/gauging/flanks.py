"""Measuring a cut flank as ISO 1328-1 defines it: profile, helix and pitch, and the marks left on it.

Works on deviations alone, whoever made them. Slopes and forms are in the transverse plane along the
line of action, in micrometres; marks are normal to the flank. What stands on the flank is positive.
Source: definitions of ISO 1328-1:2013 (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt
from handlead.kinematics.frame import arguments
from handlead.kinematics.frame.blank import FlankMap
from handlead.kinematics.gears.gear import Gear
from handlead.kinematics.gears.tolerance import COARSEST, FINEST, FlankTolerances, flank_tolerances

Floats = npt.NDArray[np.float64]

UM = 1000.0


@dataclass(frozen=True)
class FlankTrace:
    """One trace, in micrometres: slope (over its whole length, signed), form, and total deviation."""

    slope_um: float
    form_um: float
    total_um: float


@dataclass(frozen=True)
class Traces:
    """One flank: profile trace at mid-face, helix trace at mid-roll."""

    profile: FlankTrace
    helix: FlankTrace


@dataclass(frozen=True)
class GaugedFlank(Traces):
    """One flank with the marks over its map's middle.

    `feed_mark_um` is the height of what repeats along the tooth, `facet_um` of what repeats up and down
    it, each along single traces; `ripple_um` of both together. On helical work the marks run across one
    another and only the last is a height of its own.
    """

    feed_mark_um: float
    facet_um: float
    ripple_um: float


@dataclass(frozen=True)
class GaugedPitch:
    """Pitch of one flank side round the gear, in micrometres: largest single pitch deviation, total cumulative."""

    single_um: float
    cumulative_um: float


def gauge_flank(flank: FlankMap) -> GaugedFlank:
    """Measures one flank map. Raises `ValueError` for a map without enough finished flank to measure.

    Slopes of helices are over the map's whole face, also where not all of it is finished.
    """
    deviation = flank.deviation * UM
    rolls, faces = _finished(deviation)
    deviation = deviation[rolls, faces]
    roll, height = flank.roll_length[rolls], flank.heights[faces]
    if roll.size < 4 or height.size < 4:
        raise ValueError(
            "the flank map has fewer than 4 finished rolls or heights; nothing can be measured on it"
        )
    transverse = 1 / flank.base_cosine
    middle_roll, middle_face = roll.size // 2, height.size // 2
    inner = evaluated(height)
    profile = trace(roll, deviation[:, middle_face] * transverse, roll[-1] - roll[0])
    face = float(flank.heights[-1] - flank.heights[0])
    helix = trace(height[inner], deviation[middle_roll, inner] * transverse, face)
    feed, facet, both = _marks(roll, height, deviation)
    return GaugedFlank(profile, helix, feed, facet, both)


def gauge_traces(profile: FlankMap, helix: FlankMap) -> Traces:
    """Measures a flank of which a single height (`profile`) and a single roll (`helix`) are known.

    Raises `ValueError` where fewer than 4 places of a trace are finished.
    """
    up, along = profile.deviation[:, 0], helix.deviation[0]
    rolls, faces = _run(np.isfinite(up)), _run(np.isfinite(along))
    height, roll = helix.heights[faces], profile.roll_length[rolls]
    if roll.size < 4 or height.size < 4:
        raise ValueError("fewer than 4 places of a trace are finished; nothing can be measured on it")
    inner = evaluated(height)
    face = float(helix.heights[-1] - helix.heights[0])
    return Traces(
        trace(roll, up[rolls] * (UM / profile.base_cosine), roll[-1] - roll[0]),
        trace(height[inner], along[faces][inner] * (UM / helix.base_cosine), face),
    )


def trace(along: Floats, deviation_um: Floats, length: float) -> FlankTrace:
    """Slope, form and total of one trace; the slope is that of the mean line, taken over `length` (mm)."""
    slope, level = np.polyfit(along, deviation_um, 1)
    rest = deviation_um - (slope * along + level)
    return FlankTrace(float(slope * length), float(np.ptp(rest)), float(np.ptp(deviation_um)))


def gauge_pitch(index_um: Sequence[float] | Floats) -> GaugedPitch:
    """Single and cumulative pitch from the place of each flank in turn (µm along the reference circle).

    A flank's place is how far it stands from where even division puts it. Raises `ValueError` for
    fewer than three flanks.
    """
    index = np.asarray(index_um, dtype=float)
    if index.size < 3:
        raise ValueError(f"pitch is told from three or more flanks, not {index.size}")
    single = np.diff(np.append(index, index[0]))
    return GaugedPitch(float(np.abs(single).max()), float(np.ptp(index)))


def runout_um(
    ahead: Floats, behind: Floats, pressure_angle_t_deg: float, half_space_deg: float = 0.0
) -> float:
    """Runout in micrometres: from the deepest to the highest place of a ball that is laid into each space in turn."""
    return float(np.ptp(balls_um(ahead, behind, pressure_angle_t_deg, half_space_deg)))


def balls_um(
    ahead: Floats, behind: Floats, pressure_angle_t_deg: float, half_space_deg: float = 0.0
) -> Floats:
    """How far out a ball lies in each space, in micrometres from where it lies between flanks that stand right.

    `ahead` and `behind` are the places of each space's counter-clockwise and clockwise flank along the
    reference circle, in mm from where even division puts them, `half_space_deg` half the angle of a space there; 0 is
    a rack's. A ball that touches there has its middle where both normals meet: each makes α_t and half the space with
    the radius, so that where a space is wider by w the ball sinks by w/2·cos α_t/sin of both (own derivation, first
    order; what is known as the factor of a size over balls).
    """
    wider = np.asarray(ahead, dtype=float) - np.asarray(behind, dtype=float)
    pressure = math.radians(pressure_angle_t_deg)
    sinks = math.cos(pressure) / math.sin(pressure + math.radians(half_space_deg))
    return np.asarray(-UM * wider / 2 * sinks)


@dataclass(frozen=True)
class Deviations:
    """The largest of each deviation that a class limits, in micrometres, without signs; named as the tolerances."""

    single_pitch: float
    cumulative_pitch: float
    profile_slope: float
    profile_form: float
    profile_total: float
    helix_slope: float
    helix_form: float
    helix_total: float
    runout: float

    def beyond(self, limits: FlankTolerances) -> dict[str, tuple[float, float]]:
        """What is more than a class allows: found and allowed, in micrometres, the worst first."""
        pairs = {
            part.name: (float(getattr(self, part.name)), float(getattr(limits, part.name).um))
            for part in fields(self)
        }
        over = {name: pair for name, pair in pairs.items() if pair[0] > pair[1]}
        return dict(sorted(over.items(), key=lambda one: one[1][1] / one[1][0]))

    def quality(self, gear: Gear) -> int | None:
        """The finest class of ISO 1328-1 that takes them all in; None if none does.

        Runout is held to the value that the standard's annex gives (from memory). `gear` tells the sizes
        that tolerances depend on. Raises `ValueError` without a face width.
        """
        classes = range(FINEST, COARSEST + 1)
        return next((one for one in classes if not self.beyond(flank_tolerances(gear, one))), None)


def worst(gauged: Sequence[Traces], pitch: Sequence[GaugedPitch], runout_um: float = 0.0) -> Deviations:
    """The largest deviations of flanks and pitches. Raises `ValueError` for no flank at all."""
    if not gauged:
        raise ValueError("no flank was measured; give at least one")
    profiles, helices = [flank.profile for flank in gauged], [flank.helix for flank in gauged]
    return Deviations(
        single_pitch=max((found.single_um for found in pitch), default=0.0),
        cumulative_pitch=max((found.cumulative_um for found in pitch), default=0.0),
        profile_slope=max(abs(one.slope_um) for one in profiles),
        profile_form=max(one.form_um for one in profiles),
        profile_total=max(one.total_um for one in profiles),
        helix_slope=max(abs(one.slope_um) for one in helices),
        helix_form=max(one.form_um for one in helices),
        helix_total=max(one.total_um for one in helices),
        runout=runout_um,
    )


def helix_slope_um(gauged: Sequence[Traces]) -> float:
    """The largest helix slope deviation of these flanks, with its sign, in micrometres: what stands proud is more."""
    return max((flank.helix.slope_um for flank in gauged), key=abs)


def helix_slope_to_the_right_um(ahead: Sequence[Traces], behind: Sequence[Traces]) -> float:
    """The largest helix slope deviation of both flanks in micrometres, signed towards the right hand.

    `ahead` are flanks on the counter-clockwise side of their spaces, `behind` on the clockwise side. A tooth that
    leans too far to the right stands proud going up on the one and falls away on the other.
    """
    return max((-helix_slope_um(ahead), helix_slope_um(behind)), key=abs)


def _finished(deviation: Floats) -> tuple[slice, slice]:
    """The largest stretch of rolls and heights, from the middle outwards, that is finished throughout."""
    good = np.isfinite(deviation)
    rolls = _run(good[:, good.shape[1] // 4 : -(good.shape[1] // 4) or None].mean(axis=1) > 0.99)
    faces = _run(np.all(good[rolls], axis=0))
    rolls = _run(np.all(good[:, faces], axis=1))
    return rolls, faces


def _run(marks: npt.ArrayLike) -> slice:
    good = np.asarray(marks, dtype=bool)
    middle = good.size // 2
    if not good.size or not good[middle]:
        return slice(0, 0)
    bad = np.flatnonzero(~good)
    low = bad[bad < middle].max(initial=-1) + 1
    high = bad[bad > middle].min(initial=good.size)
    return slice(int(low), int(high))


def evaluated(height: Floats) -> slice:
    """The helix evaluation range: the face less 5 % at each end."""
    width = height[-1] - height[0]
    inside = np.flatnonzero((height >= height[0] + 0.05 * width) & (height <= height[-1] - 0.05 * width))
    return slice(int(inside[0]), int(inside[-1]) + 1)


def _marks(roll: Floats, height: Floats, deviation: Floats) -> tuple[float, float, float]:
    """Feed marks, facets and both together over the middle of the map, its plane and hollow taken out."""
    middle = slice(roll.size // 4, max(roll.size // 4 + 3, (3 * roll.size) // 4))
    across, along, level = roll[middle], height - height.mean(), deviation[middle]
    centre = across - across.mean()
    up, on = np.broadcast_arrays(centre[:, None], along[None, :])
    terms = (np.ones_like(level), up, on, up * on)
    plane = np.stack([term.ravel() for term in terms], axis=1)
    found, *_ = np.linalg.lstsq(plane, level.ravel(), rcond=None)
    rest = level - (plane @ found).reshape(level.shape)
    feed = float(np.median(np.ptp(rest, axis=1)))
    # Facets grow with the roll, as the involute flattens: bring them to what they are at the middle.
    even = (rest - rest.min()) * (across.mean() / across)[:, None]
    facet = float(np.median(np.ptp(even, axis=0)))
    return feed, facet, float(np.ptp(rest))


def even_division(places: Floats) -> Floats:
    """Places of flanks (mm along the reference circle, one a tooth) as distances from even division, in µm."""
    arguments.whole("flanks", int(places.size), at_least=1)
    return np.asarray((places - places.mean()) * UM)
