"""The cut flank: how far each passage of a gash stays off the nominal flank, and the least of them.

For a point of the flank and a passage the motion is inverted: along the point's normal the place is
sought at which the swept edge stands, together with the swing of the hob at which it does so. Two
unknowns, solved by Newton's method for all points at once. The passages tried are those whose
contact lies near the point; contacts form a skewed lattice over the flank, one step from gash to
gash and one from table turn to table turn.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from . import arguments
from .blank import FlankMap
from .flank import NominalFlank
from .gear import Gear
from .hob import Hob
from .lattice import Lattice, lattice
from .motion import Motion, Phase, Ripple
from .sweep import TURN, Passages, error, passages

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

_AT_ONCE = 40_000
_STEPS = 4


@dataclass(frozen=True)
class FlankCut:
    """A cut that is to be looked at on its flanks: one phase of it, with the flank that is nominal."""

    swept: Passages
    hob: Hob
    flank: NominalFlank
    swivel: float
    ripples: tuple[Ripple, ...]
    window: Ints


def flank_cut(
    motion: Motion,
    hob: Hob,
    gear: Gear,
    swivel_deg: float,
    centre_distance: float | None = None,
    *,
    side: int = 1,
    phase: Phase | None = None,
    slack: float = 1.25,
) -> FlankCut:
    """Prepares flanks of `gear` under the last phase of the motion named "cut" (or `phase`).

    The nominal flank is laid through the space that the rates make at mid-face, whatever lead they
    make; `centre_distance` is the gear's own where it is left out. `slack` widens the window of
    passages that are tried beyond the few that can matter on a true flank.
    Raises `ValueError` without a face width or an axial feed.
    """
    if gear.face_width is None:
        raise ValueError("face width is missing; the flank is looked at over it, so give it in mm")
    swivel = math.radians(arguments.number("swivel", swivel_deg, unit="deg", above=-90, below=90))
    cut = phase or motion.named("cut")[-1]
    rate = cut.per_hob_turn
    if rate is None or not rate.axial or not rate.table:
        raise ValueError("hob, table and axial slide must all move in a cut whose flanks are looked at")
    if centre_distance is None:
        centre_distance = (
            gear.reference_diameter / 2 + gear.profile_shift * gear.module_n + hob.pitch_diameter / 2
        )
    swept = passages(cut, hob, centre_distance)
    flank = NominalFlank(gear, side)
    flank = replace(flank, middle=_space_at(swept, hob, flank, swivel, gear.face_width / 2))
    bare = FlankCut(swept, hob, flank, swivel, motion.ripples, np.zeros((1, 2), dtype=np.int64))
    return replace(bare, window=_window(bare, slack))


def _space_at(swept: Passages, hob: Hob, flank: NominalFlank, swivel: float, height: float) -> float:
    """Angle of a space's middle at height 0 on a blank whose spaces run through where the hob stands at `height`."""
    passage = round((height - swept.height[0]) / swept.height_step)
    passage = min(max(passage, 0), swept.count - 1)
    place = swept.thread[passage]
    # Where that thread crosses the plane of the hob's centre, carried there along the tooth.
    beta = math.atan(flank.twist * flank.gear.reference_diameter / 2)
    across = place * (math.cos(swivel) - math.sin(swivel) * math.tan(beta)) + swept.right[passage]
    angle = across / (flank.gear.reference_diameter / 2) - swept.table[passage]
    return float(angle - flank.twist * swept.height[passage])


def _home(cut: FlankCut, roll: Floats, height: Floats, space: Floats | float) -> tuple[Floats, Floats]:
    """Passage (whole or not) and table turn (whole or not) in which a point is touched.

    The first is counted for the whole table turn nearest to the second.
    """
    swept, flank = cut.swept, cut.flank
    centre = height - flank.contact_shift * (roll - math.tan(flank.pressure_angle))
    passage = (centre - swept.height[0]) / swept.height_step
    per_passage = swept.table_rate * TURN / swept.gashes
    table = swept.table[0] + per_passage * passage
    wanted = flank.side * flank.pressure_angle - flank.tangent_angle(roll, height, space)
    turns = (table - wanted) / TURN
    return passage + (np.rint(turns) - turns) * TURN / per_passage, turns - np.rint(turns)


def deviations(cut: FlankCut, roll: Floats, height: Floats, space: Floats | float = 0.0) -> Floats:
    """Deviation of the cut flank at these points (arrays of one shape), in mm out of the material.

    NaN where no passage of the phase finishes the place.
    """
    roll, height, space = (
        np.ravel(x) for x in np.broadcast_arrays(roll, height, np.asarray(space, dtype=float))
    )
    result = np.empty(roll.size)
    at_once = max(1, _AT_ONCE // cut.window.shape[0])
    for first in range(0, roll.size, at_once):
        some = slice(first, first + at_once)
        result[some] = _least(cut, roll[some], height[some], space[some])
    return np.where(np.isfinite(result), result, np.nan)


def _least(cut: FlankCut, roll: Floats, height: Floats, space: Floats) -> Floats:
    exact, _ = _home(cut, roll, height, space)
    steps = cut.window @ np.array([1, round(cut.swept.gashes / cut.swept.table_rate)])
    number = np.rint(exact).astype(np.int64)[:, None] + steps[None, :]
    inside = (number >= 0) & (number < cut.swept.count)
    points = roll.size, number.shape[1]
    number_in = np.clip(number, 0, cut.swept.count - 1).ravel()
    spread = [np.broadcast_to(x[:, None], points).ravel() for x in (roll, height, space)]
    stands = passing(cut, spread[0], spread[1], spread[2], number_in)
    return np.asarray(np.where(inside, stands.reshape(points), np.inf).min(axis=1))


def passing(cut: FlankCut, roll: Floats, height: Floats, space: Floats, number: Ints) -> Floats:
    """How far off each point's nominal place the edge of one given passage goes by, in mm; inf if it never does."""
    swept, flank, hob = cut.swept, cut.flank, cut.hob
    sine, cosine = math.sin(cut.swivel), math.cos(cut.swivel)
    side = float(flank.side)
    base, twist = flank.base_radius, flank.twist
    radial, _, lag = hob.gash_errors()
    gash = swept.gash[number]
    table = swept.table[number]
    centre = swept.height[number] + error(cut.ripples, "axial", swept, number, 0.0)
    right = swept.right[number] + error(cut.ripples, "tangential", swept, number, 0.0)
    distance = swept.distance[number] + error(cut.ripples, "radial", swept, number, 0.0)
    # In the frame of the tangent to the base cylinder a point is (base, −side·base·roll), its
    # normal (0, −side) times cos β_b with a rise of side·tan β_b.
    angle = flank.tangent_angle(roll, height, space) + table
    out = flank.base_cosine
    rise = side * twist * base * out
    deviation = np.zeros(roll.size)
    swing = np.zeros(roll.size)
    has_lag, has_radial = bool(np.any(lag)), bool(np.any(radial))
    for step in range(_STEPS):
        hob_angle = swing + lag[gash] if has_lag else swing
        turned = angle + swept.table_rate * hob_angle
        if cut.ripples:
            turned = turned + TURN * error(cut.ripples, "table", swept, number, hob_angle)
        c, s = np.cos(turned), np.sin(turned)
        aside = -side * (base * roll + out * deviation)
        x = base * c - aside * s
        y = base * s + aside * c
        a = distance + swept.distance_rate * hob_angle - x
        b = y - right - swept.right_rate * hob_angle
        z = height + rise * deviation - centre - swept.height_rate * hob_angle
        place = b * cosine + z * sine
        up = -b * sine + z * cosine
        radius = np.sqrt(a * a + up * up)
        half, slope = hob.flank(radius - radial[gash] if has_radial else radius)
        if step == 0:
            thread = swept.thread[number]
            inner = place - side * np.where(np.isfinite(half), half, 0.25 * hob.axial_pitch) - thread
            thread = thread + hob.axial_pitch * np.rint(inner / hob.axial_pitch)
        late = np.arctan2(up, a) - swing
        off = place - thread - side * half
        # By the deviation, and by the swing.
        a_d, b_d, z_d = -side * out * s, -side * out * c, rise
        up_d, place_d = -b_d * sine + z_d * cosine, b_d * cosine + z_d * sine
        a_t = swept.table_rate * y + swept.distance_rate
        b_t, z_t = swept.table_rate * x - swept.right_rate, -swept.height_rate
        up_t, place_t = -b_t * sine + z_t * cosine, b_t * cosine + z_t * sine
        square = radius * radius
        late_d, late_t = (a * up_d - up * a_d) / square, (a * up_t - up * a_t) / square - 1
        off_d = place_d - side * slope * (a * a_d + up * up_d) / radius
        off_t = place_t - side * slope * (a * a_t + up * up_t) / radius
        by = late_t * off_d - late_d * off_t
        meets = np.isfinite(off)
        off = np.where(meets, off, 0)
        deviation = deviation - np.where(meets, (late_t * off - off_t * late) / by, 0)
        swing = swing - np.where(meets, (late * off_d - off * late_d) / by, 0)
    deviation = np.where(meets & (np.abs(off) < 1e-6 * hob.module_n), deviation, np.inf)
    if np.any((number <= swept.gashes) | (number >= swept.count - swept.gashes)):
        turned = number * (TURN / swept.gashes) + hob_angle
        deviation = np.where((turned < swept.begins) | (turned > swept.ends), np.inf, deviation)
    return deviation


def lattice_at(cut: FlankCut, roll: float) -> Lattice:
    """The lattice of contacts, with the valley around each, that this cut would leave if it were true."""
    swept = cut.swept
    beta = math.atan(cut.flank.twist * cut.flank.gear.reference_diameter / 2)
    true_swivel = cut.hob.hand.value * math.radians(cut.hob.geometric_lead_angle_deg) - beta
    return lattice(
        cut.flank, cut.hob, true_swivel, roll, swept.table_rate * TURN / swept.gashes, swept.height_step
    )


def _window(cut: FlankCut, slack: float) -> Ints:
    """Steps from the nearest contact to all those that can come nearest to the flank somewhere, at any roll."""
    first, last = roll_range(cut.hob, cut.flank.gear)
    near = [
        lattice_at(cut, float(roll)).nearest_steps(slack) for roll in np.linspace(first, last, 5)[[0, 2, 4]]
    ]
    return np.asarray(np.unique(np.concatenate(near), axis=0))


def roll_range(hob: Hob, gear: Gear) -> tuple[float, float]:
    """Rolls between which the hob's straight flanks make the whole involute up to the tip, in radians.

    At the lower end the contact runs up to where the tip of the hob is rounded.
    """
    pressure = math.radians(gear.transverse_pressure_angle_deg)
    down = hob.form_radius - hob.pitch_diameter / 2 - gear.profile_shift * gear.module_n
    first = math.tan(pressure) - down / (gear.base_diameter / 2 * math.sin(pressure))
    last = math.sqrt((gear.tip_diameter / gear.base_diameter) ** 2 - 1)
    return max(first, 0.05 * last), last


def cut_flank(
    motion: Motion,
    hob: Hob,
    gear: Gear,
    swivel_deg: float,
    centre_distance: float | None = None,
    *,
    side: int = 1,
    rolls: int = 64,
    heights: int = 321,
    space: int = 0,
    progress: Callable[[float], None] | None = None,
) -> FlankMap:
    """Map of one flank over its active roll and its face: deviation along the nominal's normal, in mm.

    Raises `ValueError` as `flank_cut`.
    """
    cut = flank_cut(motion, hob, gear, swivel_deg, centre_distance, side=side)
    assert gear.face_width is not None
    first, last = roll_range(hob, gear)
    over_roll = np.linspace(first, last, arguments.whole("rolls", rolls, at_least=2))
    over_face = np.linspace(0, gear.face_width, arguments.whole("heights", heights, at_least=2))
    deviation = np.empty((rolls, heights))
    for row, roll in enumerate(over_roll):
        deviation[row] = deviations(cut, np.full(heights, roll), over_face, float(space))
        if progress is not None:
            progress((row + 1) / rolls)
    return FlankMap(deviation, over_roll * cut.flank.base_radius, over_face, cut.flank.base_cosine)


def cut_pitch(cut: FlankCut, samples: int = 9) -> Floats:
    """Where each flank stands along the reference circle from even division, in mm, counter-clockwise positive.

    Each is the mean over one cell of the lattice of contacts about the middle of the tooth, so that
    marks don't count; looked at on the reference circle, or as near to it as the flank goes on to both sides, since
    what an involute is displaced by is the same all along it. For `flank_gauging.gauge_pitch`, times 1000.
    """
    flank = cut.flank
    gear = flank.gear
    assert gear.face_width is not None
    first, last = roll_range(cut.hob, gear)
    margin = (last - first) / 4
    roll = min(max(math.tan(flank.pressure_angle), first + margin), last - margin)
    lattice = lattice_at(cut, roll)
    part = (np.arange(arguments.whole("samples", samples, at_least=1)) + 0.5) / samples - 0.5
    a, b = (x.ravel() for x in np.meshgrid(part, part, indexing="ij"))
    rolls = roll + lattice.basis[0, 0] * a + lattice.basis[0, 1] * b
    heights = gear.face_width / 2 + lattice.basis[1, 0] * a + lattice.basis[1, 1] * b
    spaces = np.repeat(np.arange(gear.teeth, dtype=float), a.size)
    found = deviations(cut, np.tile(rolls, gear.teeth), np.tile(heights, gear.teeth), spaces)
    mean = found.reshape(gear.teeth, a.size).mean(axis=1)
    return np.asarray(-flank.side * mean / (flank.base_cosine * math.cos(flank.pressure_angle)))
