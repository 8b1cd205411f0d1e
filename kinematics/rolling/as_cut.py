"""A gear as it was cut, for rolling: a map of one flank to either side, and what goes all round the gear.

An error of table or slides that comes back with the table's turn moves a flank, all along the line on which the hob
touches it at the time, by the same. That line has one tangent angle (at which the normal touches the base cylinder,
seen on the blank), and it is also the line on which the mate touches. So what goes all round is a function of the
tangent angle alone; the map of one flank, that function taken off, holds what every tooth has alike: marks, profile,
lead. Work that leans, or a table's axis, moves a flank by more at one height of the face than at another: by a function
of the tangent angle times the height.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
from handlead.kinematics.cutting.setting import Setting
from handlead.kinematics.flank_cutting.flank_passages import FlankCut, active_rolls
from handlead.kinematics.flank_cutting.flanks import cut_flank, standing_at
from handlead.kinematics.frame.arrays import HoldsArrays
from handlead.kinematics.frame.blank import FlankMap
from handlead.kinematics.frame.frozen import freeze
from handlead.kinematics.frame.motion import Motion, Tilt
from handlead.kinematics.gears.gear import Gear

Floats = npt.NDArray[np.float64]

TURN = 2 * math.pi

#: Both flanks of a space: that on its counter-clockwise side seen facing the table, and the one across.
SIDES = (1, -1)

#: Rolls and heights of a flank's map.
ROLLS, HEIGHTS = 64, 321

#: Places looked at in a turn, so that the teeth of usual table wheels are told apart; on a tooth at least, and at most.
_ROUND, _FEWEST, _MOST = 400, 2, 12

#: So near to either face, as a share of half of it, a lean is told from.
_NEAR_ENDS = 0.8

#: Points along and across a cell of marks from which one place is told.
_POINTS = 7


@dataclass(frozen=True, eq=False, repr=False)
class AllRound(HoldsArrays):
    """What goes all round on one side: how far flanks stand out of the material, in mm along the base tangent.

    Told at even steps of the tangent angle, from `begins` radians past that of flank 0 at roll 0 and mid-face.
    """

    begins: float
    stands: Floats

    def at_steps(self, first: float, steps: int, way: int = 1) -> Floats:
        """The same at so many steps to a turn, from the tangent angle `first` on, or against it: no wave is lost."""
        waves = np.fft.rfft(self.stands) / self.stands.size
        order = np.arange(waves.size)
        turned = waves * np.exp(1j * order * (first - self.begins))
        if way < 0:
            turned = turned.conj()
        wide = np.zeros(steps // 2 + 1, dtype=complex)
        kept = min(wide.size, turned.size)
        wide[:kept] = turned[:kept]
        return np.asarray(np.fft.irfft(wide, steps) * steps)

    def at(self, angles: Floats) -> Floats:
        """The same at any tangent angles."""
        fine = 32 * self.stands.size
        places = np.arange(fine + 1) * (TURN / fine)
        values = self.at_steps(self.begins, fine)
        return np.asarray(np.interp((angles - self.begins) % TURN, places, np.append(values, values[0])))


@dataclass(frozen=True, repr=False)
class CutGear:
    """A gear for rolling: by side the map of space 0's flank, and what goes all round the gear.

    Both are held against the flanks of `gear`, whose face width is known. `leaning` is what goes all round more for
    each mm above mid-face, in mm; empty where nothing leans.
    """

    gear: Gear
    flanks: Mapping[int, FlankMap]
    all_round: Mapping[int, AllRound]
    leaning: Mapping[int, AllRound] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if self.gear.face_width is None:
            raise ValueError("face width is missing; gears are rolled over it, so give it in mm")
        freeze(self, "flanks", "all_round", "leaning")

    def __repr__(self) -> str:
        return f"<CutGear of {self.gear.teeth} teeth>"

    @property
    def width(self) -> float:
        """Face width in mm."""
        assert self.gear.face_width is not None
        return self.gear.face_width

    @property
    def base_radius(self) -> float:
        """Radius of the base cylinder, in mm."""
        return self.gear.base_diameter / 2

    @property
    def twist(self) -> float:
        """Turn of the tooth about the axis per mm of height, in radians, right hand positive."""
        return self.gear.twist

    def reaches(self, side: int) -> tuple[float, float]:
        """Lengths of roll between which the flank on this side was looked at, in mm."""
        roll = self.flanks[side].roll_length
        return float(roll[0]), float(roll[-1])

    def every_tooth(self, side: int) -> Floats:
        """What all teeth have alike on this side, in mm along the base tangent, by the map's rolls and heights."""
        flank = self.flanks[side]
        rolls, heights = flank.roll_length / self.base_radius, flank.heights - self.width / 2
        angles = side * rolls[:, None] + self.twist * heights[None, :]
        round_gear = self.all_round[side].at(angles)
        if side in self.leaning:
            round_gear = round_gear + self.leaning[side].at(angles) * heights[None, :]
        return np.asarray(flank.deviation / flank.base_cosine - round_gear)


def gear_as_cut(
    motion: Motion, setting: Setting, gear: Gear, *, rolls: int = ROLLS, heights: int = HEIGHTS
) -> CutGear:
    """Cut both flanks of a space, and look how all others stand. Raises `ValueError` as `FlankCut.of`."""
    cuts = {side: FlankCut.of(motion, setting, gear, side=side) for side in SIDES}
    maps = {side: cut_flank(cut, rolls=rolls, heights=heights) for side, cut in cuts.items()}
    leans = any(isinstance(one, Tilt) for one in motion.ripples)
    leaning = {side: _leaning(cut) for side, cut in cuts.items()} if leans else {}
    return CutGear(gear, maps, {side: _all_round(cut) for side, cut in cuts.items()}, leaning)


def _leaning(cut: FlankCut) -> AllRound:
    """What goes all round more for each mm of height: from near the lower face to near the upper one."""
    assert cut.flank.gear.face_width is not None
    above = _NEAR_ENDS * cut.flank.gear.face_width / 2
    low, high = (_all_round(cut, height) for height in (-above, above))
    return AllRound(low.begins, (high.stands - low.stands) / (2 * above))


def _all_round(cut: FlankCut, above: float = 0.0) -> AllRound:
    """Looked at so far above mid-face, on every tooth at several rolls that together take up one pitch.

    A line at one tangent angle lies at another roll there, or on the tooth that has come round to it.
    """
    teeth, side = cut.flank.gear.teeth, cut.flank.side
    number = min(max(_FEWEST, math.ceil(_ROUND / teeth)), _MOST)
    pitch = TURN / teeth
    middle = sum(active_rolls(cut)) / 2
    angles = side * middle + pitch / number * (np.arange(number) - (number - 1) / 2)
    stands = []
    for angle in angles - cut.flank.twist * above:
        # So many spaces on, the roll lies about mid-flank again.
        on = round((angle - side * middle) / pitch)
        stands.append(np.roll(standing_at(cut, side * float(angle - on * pitch), _POINTS, above), -on))
    found = np.stack(stands, axis=1)
    # What all teeth have alike belongs to the flank, not to the round.
    found = (found - found.mean(axis=0)) / cut.flank.base_cosine
    return AllRound(float(angles[0]), np.where(np.isfinite(found), found, 0.0).ravel())


def perfect(gear: Gear, *, rolls: int = ROLLS, heights: int = HEIGHTS) -> CutGear:
    """The gear of the drawing, without any error: from where the rack's straight flank ends to the tips.

    Raises `ValueError` without a face width, and where no involute is left.
    """
    if gear.face_width is None:
        raise ValueError("face width is missing; gears are rolled over it, so give it in mm")
    first, last = involute_lengths(gear)
    if first >= last:
        raise ValueError("nothing of the involute is left between roots and tips")
    flank = FlankMap(
        np.zeros((rolls, heights)),
        np.linspace(first, last, rolls),
        np.linspace(0, gear.face_width, heights),
        math.cos(math.radians(gear.base_helix_angle_deg)),
    )
    none = AllRound(0.0, np.zeros(gear.teeth))
    return CutGear(gear, dict.fromkeys(SIDES, flank), dict.fromkeys(SIDES, none))


def involute_lengths(gear: Gear) -> tuple[float, float]:
    """Lengths of roll in mm between which a rack's straight flank makes the involute, up to the tips.

    The lower is d/2 sin α_t - (h - x) m / sin α_t, with h the height to which the rack's flank is straight; own
    derivation.
    """
    sine = math.sin(math.radians(gear.transverse_pressure_angle_deg))
    below = (gear.rack.form_height - gear.profile_shift) * gear.module_n
    last = math.sqrt(max(gear.tip_diameter**2 - gear.base_diameter**2, 0.0)) / 2
    return max(gear.reference_diameter / 2 * sine - below / sine, 0.05 * last), last
