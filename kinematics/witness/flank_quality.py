"""What an inspector would write down of the flanks of a simulated gear, and the class that it comes to.

Profile and helix are traced on four teeth spread round the gear, both flanks each, as ISO 1328-1:2013
asks at least (from memory); pitch, runout and thickness are told from all teeth.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from handlead.kinematics.cutting.setting import Setting
from handlead.kinematics.flank_cutting.flank_passages import FlankCut, NoInvolute, active_rolls
from handlead.kinematics.flank_cutting.flanks import cut_flank, cut_pitch, deviations
from handlead.kinematics.frame.blank import FlankMap
from handlead.kinematics.frame.motion import Motion
from handlead.kinematics.gauging.flanks import (
    UM,
    Deviations,
    GaugedFlank,
    Traces,
    even_division,
    gauge_flank,
    gauge_pitch,
    gauge_traces,
    helix_slope_to_the_right_um,
    runout_um,
    worst,
)
from handlead.kinematics.gears.gear import Gear
from handlead.kinematics.gears.relief import Relief, measured_relief

Floats = npt.NDArray[np.float64]

#: Rolls and heights of a flank map that is to be measured; a feed has eight heights at least.
_ROLLS, _HEIGHTS, _MOST_HEIGHTS = 48, 161, 801

#: Teeth whose profile and helix are traced. ISO 1328-1 asks for four at least (from memory).
_TEETH = 4

#: Places of a tooth, up and along each, from which its pitch is told.
_PITCH_PLACES = 5

#: What belongs to a gear's accuracy and isn't looked at on the simulated one.
OF_HOB, OF_BLANK = "errors of the hob and of its arbor", "errors in mounting the blank"
NOT_MEASURED = (
    "the profile near the root, where the hob's tip rounds it",
    "roughness, wear and chatter",
    OF_HOB,
    OF_BLANK,
    "errors of the machine that its file doesn't give",
)


@dataclass(frozen=True)
class FlankQuality:
    """Both flanks of a gear, in micrometres; `quality` is the finest ISO 1328-1 class that takes all in, or None.

    Marks are normal to the flank, on one tooth; on helical work `feed_mark_um` and `facet_um` are heights
    along single traces of one two-way pattern, whose own height is `ripple_um`. Slopes are the largest
    of the `traced_teeth`, that of the helix signed towards the right hand whichever flank it is on; pitch,
    `runout_um` (radial) and `thickness_um` are from all teeth: by how much these are thicker than the
    drawing's, normal to the tooth at the reference cylinder, on average, and `span_um` by how much more is
    spanned over several. `deviations` has all that the class is made of. `relief` is the crown and taper that is on it,
    where the drawing wants some or the hob was led; the rest is then counted from the drawing's own.
    """

    feed_mark_um: float
    facet_um: float
    ripple_um: float
    helix_slope_um: float
    profile_slope_um: float
    single_pitch_um: float
    cumulative_pitch_um: float
    runout_um: float
    thickness_um: float
    span_um: float
    traced_teeth: int
    deviations: Deviations
    quality: int | None
    relief: Relief | None = None


def measure_flanks(
    motion: Motion, setting: Setting, gear: Gear, wanted: Relief | None = None
) -> FlankQuality | None:
    """Marks, slopes, pitch, runout, thickness and class of flanks cut to full depth.

    With `wanted` crown and taper are told, and all else counted from a flank that has them, as an inspector does.
    None where too little of them is finished, or no involute at all is made.
    """
    from_it = wanted or Relief()
    assert gear.face_width is not None
    try:
        cuts = [FlankCut.of(motion, setting, gear, side=side) for side in (1, -1)]
        marks = [_marks(cut, from_it) for cut in cuts]
        places = [places_of(cut) for cut in cuts]
        if not np.isfinite(places).all() or any(one is None for one in marks):
            return None
        teeth = traced_teeth(gear.teeth)
        by_flank = [[_traces(cut, tooth, from_it) for tooth in teeth] for cut in cuts]
        relief = None if wanted is None else _relief(cuts)
    except NoInvolute:
        return None
    first = [one for one in marks if one is not None]
    found = worst_of(gear, by_flank, places)
    thicker = _thicker_um(gear, places)
    return FlankQuality(
        feed_mark_um=max(flank.feed_mark_um for flank in first),
        facet_um=max(flank.facet_um for flank in first),
        ripple_um=max(flank.ripple_um for flank in first),
        helix_slope_um=helix_slope_to_the_right_um(*by_flank),
        profile_slope_um=max((flank.profile.slope_um for traced in by_flank for flank in traced), key=abs),
        single_pitch_um=found.single_pitch,
        cumulative_pitch_um=found.cumulative_pitch,
        runout_um=found.runout,
        thickness_um=thicker,
        span_um=thicker * math.cos(math.radians(gear.pressure_angle_n_deg)),
        traced_teeth=len(teeth),
        deviations=found,
        quality=found.quality(gear),
        relief=relief,
    )


def _thicker_um(gear: Gear, places: list[Floats]) -> float:
    """By how much the teeth are thicker than the drawing's on average, normal to them."""
    return -UM * float(np.mean(places[0] - places[1])) * math.cos(math.radians(gear.helix_angle_deg))


def traced_teeth(teeth: int) -> tuple[int, ...]:
    """The teeth, from 1, whose profile and helix are traced: four, spread round the gear."""
    return tuple(sorted({1 + round(number * teeth / _TEETH) for number in range(min(_TEETH, teeth))}))


def _traces(cut: FlankCut, tooth: int, wanted: Relief) -> Traces:
    """Profile at mid-face and helix at mid-roll of one flank of one tooth, measured."""
    return gauge_traces(*traces_of(cut, space_at(tooth, cut), wanted))


def space_at(tooth: int, cut: FlankCut) -> int:
    """The space that a tooth's flank of this cut's side stands in, counted counter-clockwise.

    Tooth 1 has space 0 clockwise of it, whose counter-clockwise side is the tooth's right flank.
    """
    return (tooth - 1 if cut.flank.side > 0 else tooth) % cut.flank.gear.teeth


def places_of(cut: FlankCut) -> Floats:
    """Where the flank of each space stands along the reference circle; see `cut_pitch`."""
    return cut_pitch(cut, samples=_PITCH_PLACES)


def worst_of(gear: Gear, by_flank: list[list[Traces]], places: list[Floats]) -> Deviations:
    """The greatest deviations of the traces of both flanks, and of the places of all teeth, flank by flank."""
    traced = [one for flank in by_flank for one in flank]
    pitch = [gauge_pitch(even_division(place)) for place in places]
    ball = runout_um(places[0], places[1], gear.transverse_pressure_angle_deg, gear.half_space_deg)
    return worst(traced, pitch, ball)


def _relief(cuts: list[FlankCut]) -> Relief | None:
    """Crown and taper of the first space's flanks, traced at mid-roll."""
    heights, traces = np.zeros(0), []
    for cut in cuts:
        heights, _, trace = _helix(cut, 0)
        traces.append(trace / cut.flank.base_cosine)
    return measured_relief(heights, (traces[0], traces[1]), cuts[0].flank.gear)


def _helix(cut: FlankCut, space: int) -> tuple[Floats, float, Floats]:
    """Heights, the roll at mid-flank, and the deviation there, in mm normal to the flank."""
    face = cut.flank.gear.face_width
    assert face is not None
    first, last = active_rolls(cut)
    roll = float(np.linspace(first, last, _ROLLS)[_ROLLS // 2])
    heights = np.linspace(0, face, _heights(cut))
    return heights, roll, deviations(cut, np.full(heights.size, roll), heights, float(space))


def _heights(cut: FlankCut) -> int:
    """Heights over the face, as many as show the feed."""
    face = cut.flank.gear.face_width
    assert face is not None
    feed = abs(cut.swept.height_step * cut.swept.gashes / cut.swept.table_rate)
    return min(max(_HEIGHTS, 1 + math.ceil(8 * face / feed)), _MOST_HEIGHTS)


def _marks(cut: FlankCut, wanted: Relief) -> GaugedFlank | None:
    """The marks on one flank, from a map of it; None where too little of it is finished."""
    flank = cut_flank(cut, rolls=_ROLLS, heights=_heights(cut))
    if wanted:
        design = wanted.deviation(flank.heights, cut.flank.gear) * cut.flank.base_cosine
        flank = replace(flank, deviation=flank.deviation - design[None, :])
    return gauge_flank(flank) if np.isfinite(flank.deviation).mean() >= 0.5 else None


def traces_of(cut: FlankCut, space: int, wanted: Relief) -> tuple[FlankMap, FlankMap]:
    """Profile at mid-face and helix at mid-roll of one flank of one space, counted from what is wanted."""
    face = cut.flank.gear.face_width
    assert face is not None
    first, last = active_rolls(cut)
    rolls = np.linspace(first, last, _ROLLS)
    profile = deviations(cut, rolls, np.full(rolls.size, face / 2), float(space))
    heights, roll, helix = _helix(cut, space)
    base, cosine = cut.flank.base_radius, cut.flank.base_cosine
    if wanted:
        helix = helix - wanted.deviation(heights, cut.flank.gear) * cosine
    return (
        FlankMap(profile[:, None], rolls * base, np.array([face / 2]), cosine),
        FlankMap(helix[None, :], np.array([roll * base]), heights, cosine),
    )
