"""A cut that is to be looked at on its flanks: the flank nominal and made, and the passages that can cut it.

The passages tried are those whose contact lies near the point, on the flank that rates and swivel really
make (`action`); contacts form a skewed lattice over it, one step from gash to gash and one from table turn
to table turn (`lattice`, where it is shown that no other passage can cut).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from handlead.kinematics.cutting.hob import Hob
from handlead.kinematics.cutting.setting import Setting
from handlead.kinematics.cutting.sweep import TURN, Passages, passages
from handlead.kinematics.frame import arguments
from handlead.kinematics.frame.guide import Guide
from handlead.kinematics.frame.motion import Led, Motion, Phase, Tilt
from handlead.kinematics.gears.flank import NominalFlank
from handlead.kinematics.gears.gear import Gear

from .action import MadeFlank, made_flank
from .lattice import Lattice, Moving, lattice

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

#: So far below the straight flank of the hob, in radians of roll, a place may lie and still count as made by it.
ROLL_ALLOWED = 1e-4


@dataclass(frozen=True, eq=False)
class FlankCut:
    """A cut that is to be looked at on its flanks: one phase of it, the flank that is nominal and the one made.

    `steps` has the shortest two steps of the lattice of contacts as columns (gashes, table turns);
    `window` those steps of them, from the nearest contact, whose passages are tried, `low_window` those
    below `low_roll` (of the flank made), where the hob's rounded tip or the base cylinder is near.
    """

    swept: Passages
    hob: Hob
    flank: NominalFlank
    made: MadeFlank
    swivel: float
    ripples: tuple[Led, ...]
    middle: int
    steps: Ints
    window: Ints
    low_window: Ints
    low_roll: float

    @property
    def per_turn(self) -> int:
        """Gash passages that come nearest to a turn of the table, signed."""
        return round(self.swept.gashes / self.swept.table_rate)

    @property
    def middle_roll(self) -> float:
        """Roll amid what the hob's straight flanks make, in radians."""
        first, last = _made_rolls(self)
        return (first + last) / 2

    @classmethod
    def of(
        cls,
        motion: Motion,
        setting: Setting,
        gear: Gear,
        *,
        side: int = 1,
        phase: Phase | None = None,
        slack: float = 1.25,
    ) -> FlankCut:
        """Prepares flanks of `gear` under the last phase of the motion named "cut" (or `phase`).

        The nominal flank is laid through the space that the rates make at mid-face, whatever lead they
        make; where the setting leaves its centre distance open, it is the gear's own. `slack` widens the window of
        passages that are tried beyond the few that can matter on a true flank.
        Raises `ValueError` without a face width or an axial feed.
        """
        hob, distance = setting.hob, setting.centre_distance
        if gear.face_width is None:
            raise ValueError("face width is missing; the flank is looked at over it, so give it in mm")
        swivel = math.radians(arguments.number("swivel", setting.swivel_deg, unit="deg", above=-90, below=90))
        cut = phase or motion.named("cut")[-1]
        rate = cut.per_hob_turn
        if rate is None or not rate.axial or not rate.table:
            raise ValueError("hob, table and axial slide must all move in a cut whose flanks are looked at")
        swept = passages(cut, hob, gear.centres_with(hob.pitch_diameter) if distance is None else distance)
        middle = _passage_at(swept, gear.face_width / 2)
        two = _both_made(swept, hob, gear, swivel, middle)
        if two is None:
            raise NoInvolute(
                "with this hob, swivel and lead no involute is made; the flanks can't be measured against one"
            )
        flank, made = two[side]
        none = np.zeros((1, 2), dtype=np.int64)
        whole = np.eye(2, dtype=np.int64)
        bare = cls(swept, hob, flank, made, swivel, motion.ripples, middle, whole, none, none, 0.0)
        return _with_windows(bare, slack)


class NoInvolute(ValueError):
    """The hob stands so that it makes no involute: there is no flank to look at."""


def _passage_at(swept: Passages, height: float) -> int:
    passage = round(float(height - swept.height[0]) / swept.height_step)
    return min(max(passage, 0), swept.count - 1)


def _both_made(
    swept: Passages, hob: Hob, gear: Gear, swivel: float, passage: int
) -> dict[int, tuple[NominalFlank, MadeFlank]] | None:
    """Both flanks of a space, nominal and made, by side; the nominal space lies amid the one made, at mid-face."""
    assert gear.face_width is not None
    flanks = [NominalFlank(gear, side, _space_at(swept, gear, swivel, passage)) for side in (-1, 1)]
    made = [made_flank(swept, hob, flank, swivel, passage) for flank in flanks]
    low, high = made
    if low is None or high is None:
        return None
    roll, height = np.array([math.tan(flanks[0].pressure_angle)]), np.array([gear.face_width / 2])
    off = [
        one.along_normal(flank, roll, height, 0.0)[0][0]
        for one, flank in zip((low, high), flanks, strict=True)
    ]
    turned = float(off[0] - off[1]) / (2 * flanks[0].base_cosine * flanks[0].base_radius)
    if not math.isfinite(turned):
        return None
    flanks = [replace(flank, middle=flank.middle + turned) for flank in flanks]
    return {-1: (flanks[0], low), 1: (flanks[1], high)}


def _space_at(swept: Passages, gear: Gear, swivel: float, passage: int) -> float:
    """About where, as an angle at height 0, a space runs through where the hob stands in a passage."""
    place = swept.thread[passage]
    # Where that thread crosses the plane of the hob's centre, carried there along the tooth.
    twist = NominalFlank(gear, 1).twist
    across = place * (math.cos(swivel) - math.sin(swivel) * twist * gear.reference_diameter / 2)
    angle = (across + swept.right[passage]) / (gear.reference_diameter / 2) - swept.table[passage]
    return float(angle - twist * swept.height[passage])


def lattice_place(cut: FlankCut, roll: Floats, height: Floats, space: Floats | float) -> Floats:
    """Where these points of the flank that is made lie in the lattice of contacts: a row of steps for each point."""
    swept, made = cut.swept, cut.made
    lower = math.tan(cut.swivel)
    centre = height - made.rise - made.contact_shift * roll + swept.right[0] * lower
    step = swept.height_step - float(swept.step.tangential) * lower
    passage = (centre - swept.height[0]) / step
    table = swept.table[0] + swept.table_rate * TURN / swept.gashes * passage
    turns = (table + made.tangent_angle(roll, height, space) - made.contact_angle) / TURN
    passage = passage - made.swing(roll) * (swept.gashes / TURN)
    whole = np.stack([passage - turns * cut.per_turn, turns])
    return np.asarray(np.linalg.solve(cut.steps, whole).T)


def nearest(cut: FlankCut, roll: Floats, height: Floats, space: Floats | float) -> Ints:
    """Passages whose contact on the flank that is made lies nearest to these points of it."""
    found = np.rint(lattice_place(cut, roll, height, space))
    return np.asarray(found @ cut.steps.T @ np.array([1, cut.per_turn])).astype(np.int64)


def lattice_at(cut: FlankCut, roll: float) -> Lattice:
    """The lattice of contacts on the flank that is made, with the valley around each, at one roll of it."""
    swept = cut.swept
    moving = Moving(
        cut.swivel,
        float(swept.distance[cut.middle]),
        swept.table_rate,
        swept.height_rate,
        swept.right_rate,
        swept.gashes,
    )
    return lattice(cut.made, cut.hob, moving, roll)


def _with_windows(cut: FlankCut, slack: float) -> FlankCut:
    """With the steps from the nearest contact to all those that can come nearest to the flank somewhere."""
    first, last = _made_rolls(cut)
    lattices = [lattice_at(cut, roll) for roll in (first, (first + last) / 2, last)]
    steps = lattices[1].shortest()
    lattices = [one.by(steps) for one in lattices]
    passages = np.array([1, cut.per_turn]) @ steps
    greatest = float(_error(cut, np.zeros(1, dtype=np.int64), greatest=True)[0])

    def near(one: Lattice, one_side: bool = False) -> Ints:
        return one.nearest_steps(
            slack, lambda away: _error(cut, away @ passages), greatest, one_side=one_side
        )

    window = np.unique(np.concatenate([near(one) for one in lattices]), axis=0)
    low = lattices[0]
    return replace(
        cut,
        steps=steps,
        window=window,
        low_window=np.unique(np.concatenate([window, near(low, one_side=True)]), axis=0),
        low_roll=_low_roll(cut, low, window),
    )


def _low_roll(cut: FlankCut, low: Lattice, window: Ints) -> float:
    """Roll below which a passage of the window may reach a point with its rounded tip, or undercut it."""
    made = cut.made
    roll = made.first_roll
    turned = np.array([made.side, made.twist])
    arm = np.array([made.away[0] + made.away[1] * roll, made.up[0] + made.up[1] * roll])
    spoke = arm / np.hypot(*arm)
    # What carries a point off or on the hob's tip: the table's turn, and the hob's height.
    contact = -made.side * roll * made.base_radius * math.cos(
        made.contact_angle
    ) + made.base_radius * math.sin(made.contact_angle)
    aside = cut.swept.distance[cut.middle] - arm[0]
    by_turn = spoke @ np.array([contact, -aside * math.sin(cut.swivel)])
    by_level = spoke[1] * math.cos(cut.swivel)
    gradient = by_turn * turned - by_level * np.array([made.contact_shift, -1.0])
    by_roll = abs(float(spoke @ np.array([made.away[1], made.up[1]])))
    # Half as much again for what the swing of the hob adds.
    tip = roll + 1.5 * low.farthest(window, gradient) / by_roll
    return max(tip, 3 * low.farthest(window, turned))


def _made_rolls(cut: FlankCut) -> tuple[float, float]:
    """Least and greatest roll of the flank that is made, over all that is looked at of the nominal one."""
    gear = cut.flank.gear
    assert gear.face_width is not None
    rolls, heights = np.meshgrid(active_rolls(cut), [0.0, gear.face_width])
    _, made, _ = cut.made.along_normal(cut.flank, rolls.ravel(), heights.ravel(), 0.0)
    made = made[np.isfinite(made)]
    last = float(made.max(initial=max(cut.made.first_roll, 0.0) + 1e-3))
    return max(float(made.min(initial=last)), cut.made.first_roll, 0.05 * last), last


def _error(cut: FlankCut, away: Ints, greatest: bool = False) -> Floats:
    """Bound, in mm, on how differently two passages so many passages apart go wrong along the flank's normal.

    Periodic errors a·sin differ by 2a·|sin| of half the phase between, by which they come through at most.
    `greatest` asks for the bound on any two.
    """
    flank, hob = cut.flank, cut.hob
    by_end = {
        "table": TURN * flank.base_radius * flank.base_cosine,
        "axial": abs(flank.twist) * flank.base_radius * flank.base_cosine,
        "tangential": flank.base_cosine,
        "radial": flank.base_cosine,
    }
    total = np.zeros(away.size)
    for ripple in cut.ripples:
        if isinstance(ripple, Tilt):
            # What it leans by over the face, and how far it dips at the tips.
            farthest = max(abs(ripple.pivot), abs(ripple.pivot - (flank.gear.face_width or 0.0)))
            lever = math.hypot(farthest, abs(flank.twist) * flank.base_radius * flank.gear.tip_diameter / 2)
            # Work that turns with the table is off, not uneven: what it is off by goes with the tooth.
            apart = 1.0 if greatest else np.abs(np.sin(math.pi * float(cut.swept.step.table) * ripple.waves * away))
            total = total + 2 * abs(ripple.slope) * lever * apart
            continue
        if isinstance(ripple, Guide):
            steep = ripple.steepest * abs(float(getattr(cut.swept.step, ripple.over)))
            far = np.full(away.size, np.inf) if greatest else steep * np.abs(away)
            total = total + by_end.get(ripple.end, 0.0) * np.minimum(far, ripple.whole)
            continue
        half = math.pi * float(ripple.per_unit * getattr(cut.swept.step, ripple.over)) * away
        apart = 1.0 if greatest else np.abs(np.sin(half))
        total = total + 2 * abs(ripple.amplitude) * by_end.get(ripple.end, 0.0) * apart
    radial, axial, lag = hob.gash_errors()
    wrong = float(np.ptp(radial) + np.ptp(axial) + hob.lead / TURN * np.ptp(lag))
    # Within what is tried for a point its place on the hob differs by less than a turn of the thread.
    wrong += abs(hob.lead_error) + 4 * abs(hob.wobble) * hob.lead
    other = np.ones(away.size, dtype=bool) if greatest else away % hob.gashes != 0
    return np.asarray(total + np.where(other, wrong, 0.0))


def roll_range(hob: Hob, gear: Gear) -> tuple[float, float]:
    """Rolls between which the hob's straight flanks make the whole involute up to the tip, in radians.

    At the lower end the contact runs up to where the tip of the hob is rounded.
    """
    pressure = math.radians(gear.transverse_pressure_angle_deg)
    down = hob.form_radius - hob.pitch_diameter / 2 - gear.profile_shift * gear.module_n
    first = math.tan(pressure) - down / (gear.base_diameter / 2 * math.sin(pressure))
    last = math.sqrt((gear.tip_diameter / gear.base_diameter) ** 2 - 1)
    return max(first, 0.05 * last), last


def active_rolls(cut: FlankCut) -> tuple[float, float]:
    """Rolls of the nominal flank between which the hob's straight flanks make all of it as this cut has it, in radians.

    `roll_range` where the head stands right. Over the whole face if there they make half of the flank
    at least, else at mid-face. Raises `NoInvolute` where nothing of the tooth is left.
    """
    first, last = roll_range(cut.hob, cut.flank.gear)
    face = cut.flank.gear.face_width
    assert face is not None
    over_face = _first_made(cut, first, last, np.array([0.0, face / 2, face]))
    if over_face <= (first + last) / 2:
        return over_face, last
    at_middle = _first_made(cut, first, last, np.array([face / 2]))
    if at_middle >= last:
        raise NoInvolute("the hob's straight flanks make nothing of the tooth at this swivel and lead")
    return at_middle, last


def _first_made(cut: FlankCut, first: float, last: float, heights: Floats) -> float:
    """Least roll of the nominal flank, from `first` on, that is made at all these heights."""
    for _ in range(4):
        _, made, _ = cut.made.along_normal(cut.flank, np.full(heights.size, first), heights, 0.0)
        short = float((cut.made.first_roll - made).max())
        # Below the base cylinder of the flank that is made there is no roll to count from.
        first += max(0.0, short) if math.isfinite(short) else 0.1 * last
    return first
