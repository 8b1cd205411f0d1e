"""A simulated gear as a checker takes it up: profile and helix of some teeth, pitch of both flanks, a ball in a space.

Told of the same traces and places as `flank_quality`. Deviations are in µm, profile and helix along the base tangent in
the transverse section, positive out of the material; pitch along the reference circle.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from handlead.kinematics.cutting.setting import Setting
from handlead.kinematics.flank_cutting.flank_passages import FlankCut, NoInvolute
from handlead.kinematics.frame.frozen import freeze
from handlead.kinematics.frame.motion import Motion
from handlead.kinematics.gauging.flanks import UM, Deviations, Traces, balls_um, even_division, gauge_traces
from handlead.kinematics.gears.gear import Gear
from handlead.kinematics.gears.relief import Relief

from .flank_quality import places_of, space_at, traced_teeth, traces_of, worst_of

Floats = npt.NDArray[np.float64]

#: Flanks of a tooth by the side of the space that they are on: a right one lies clockwise of its tooth.
FLANKS: Mapping[str, int] = {"right": 1, "left": -1}


@dataclass(frozen=True, eq=False)
class TracedFlank:
    """One flank of one tooth, counted counter-clockwise from 1: its two traces, and what is measured on them.

    `roll` is the length of roll in mm, `height` mm over the lower face.
    """

    tooth: int
    flank: str
    roll: Floats
    profile_um: Floats
    height: Floats
    helix_um: Floats
    measured: Traces


@dataclass(frozen=True, eq=False)
class TracedGear:
    """All of it. `pitch_um` has for each flank how far it stands counter-clockwise of even division, tooth after tooth;
    `ball_um` how far out a ball lies, beside the mean, in the space counter-clockwise of each tooth."""

    gear: Gear
    flanks: tuple[TracedFlank, ...]
    pitch_um: Mapping[str, Floats]
    ball_um: Floats
    deviations: Deviations
    quality: int | None

    def __post_init__(self) -> None:
        freeze(self, "pitch_um")


def trace_gear(
    motion: Motion, setting: Setting, gear: Gear, wanted: Relief | None = None, teeth: tuple[int, ...] = ()
) -> TracedGear | None:
    """Take up the gear that this cuts to full depth, on these teeth (left out: four); None where too little is there.

    With `wanted` the rest is counted from a flank that has its crown and taper.
    """
    try:
        cuts = {name: FlankCut.of(motion, setting, gear, side=side) for name, side in FLANKS.items()}
        places = {name: places_of(cut) for name, cut in cuts.items()}
        if not all(np.isfinite(one).all() for one in places.values()):
            return None
        flanks = [
            _traced(cut, name, tooth, wanted or Relief())
            for name, cut in cuts.items()
            for tooth in teeth or traced_teeth(gear.teeth)
        ]
    except (NoInvolute, ValueError):
        return None
    by_flank = [[one.measured for one in flanks if one.flank == name] for name in FLANKS]
    every = np.arange(1, gear.teeth + 1)
    pitch = {
        name: even_division(places[name])[[space_at(int(tooth), cuts[name]) for tooth in every]] for name in FLANKS
    }
    out = balls_um(places["right"], places["left"], gear.transverse_pressure_angle_deg, gear.half_space_deg)
    found = worst_of(gear, by_flank, [places[name] for name in FLANKS])
    return TracedGear(
        gear, tuple(flanks), pitch, (out - out.mean())[every % gear.teeth], found, found.quality(gear)
    )


def _traced(cut: FlankCut, name: str, tooth: int, wanted: Relief) -> TracedFlank:
    profile, helix = traces_of(cut, space_at(tooth, cut), wanted)
    transverse = UM / cut.flank.base_cosine
    return TracedFlank(
        tooth,
        name,
        profile.roll_length,
        profile.deviation[:, 0] * transverse,
        helix.heights,
        helix.deviation[0] * transverse,
        gauge_traces(profile, helix),
    )
