"""What one gash passage after another takes out of a transverse row of the blank.

At the passage P the P-th gash stands nearest to the work axis when the hob has made P/gashes turns.
While it swings by the angle τ from there, table and slides go on moving; a point of the edge at
radius ρ and place w along the hob axis then stands at

    X = a − ρ·cos τ      Y = y + w·cos η − ρ·sin τ·sin η      Z = c + w·sin η + ρ·sin τ·cos η

with swivel η, centre distance a, and the hob's centre at height c and distance y to the right, all
at that instant. Turned back by the table's angle this is a point of the blank. All of it follows
from the frame; no law of generation enters.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import numpy.typing as npt
from handlead.kinematics.frame.guide import Guide
from handlead.kinematics.frame.motion import Led, Phase, Position, Ripple, Tilt

from .hob import Edge, Hob

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

TURN = 2 * math.pi


@dataclass(frozen=True)
class Passages:
    """The passages of one phase, one entry each, and how the ends move over a radian of hob.

    `first` is the number of the first passage; `thread` is the place along the hob axis of the
    thread whose number is 0. `begins` and `ends` bound the phase in hob turns.
    """

    first: int
    thread: Floats
    table: Floats
    height: Floats
    right: Floats
    distance: Floats
    table_rate: float
    height_rate: float
    right_rate: float
    distance_rate: float
    height_step: float
    begins: float
    ends: float
    gash: Ints
    gashes: int
    start: Position
    step: Position

    @property
    def count(self) -> int:
        """How many passages."""
        return int(self.thread.size)


def passages(phase: Phase, hob: Hob, centre_distance: float) -> Passages:
    """The gash passages of a phase, whose start is kept exactly and reduced to part of a turn.

    Raises `ValueError` where the hob stands still.
    """
    rate = phase.per_hob_turn
    if rate is None:
        raise ValueError(f"the hob stands still in phase {phase.name!r}; nothing is cut")
    begins, ends = sorted((phase.start.hob, phase.end.hob))
    quarter = Fraction(1, 4)
    first = math.ceil((begins - quarter) * hob.gashes)
    last = math.floor((ends + quarter) * hob.gashes)
    numbers = np.arange(first, last + 1, dtype=np.int64)
    at_first = phase.start + rate.times(Fraction(first, hob.gashes) - phase.start.hob)
    step = rate.times(Fraction(1, hob.gashes))
    count = np.arange(numbers.size, dtype=np.float64)
    # A thread is carried back along the axis as the gashes go round; whole pitches don't matter.
    pitches = np.mod(numbers * hob.starts, hob.gashes) / hob.gashes
    gash = np.mod(numbers, hob.gashes)
    _, axial, _ = hob.gash_errors()
    return Passages(
        first=first,
        thread=-hob.hand.value * hob.thread_pitch * pitches + hob.shift + axial[gash],
        table=TURN * np.mod(float(at_first.table % 1) + float(step.table) * count, 1.0),
        height=float(at_first.axial) + float(step.axial) * count,
        right=float(at_first.tangential) + float(step.tangential) * count,
        distance=centre_distance + float(at_first.radial) + float(step.radial) * count,
        table_rate=float(rate.table),
        height_rate=float(rate.axial) / TURN,
        right_rate=float(rate.tangential) / TURN,
        distance_rate=float(rate.radial) / TURN,
        height_step=float(step.axial),
        begins=float(begins - Fraction(first, hob.gashes)) * TURN,
        ends=float(ends - Fraction(first, hob.gashes)) * TURN,
        gash=gash,
        gashes=hob.gashes,
        start=at_first,
        step=step,
    )


@dataclass(frozen=True)
class Tool:
    """The edges that a sweep carries: one polyline for all gashes, or one for each where they differ.

    `lean` and `lean_lag` are what each stands out and lags a mm further to the right of `middle`, `reference` is the
    radius about which a hob leans; None on one that doesn't.
    """

    radius: Floats
    offset: Floats
    per_gash: bool
    lag: Floats
    tip: float
    pitch: float
    half_width: float
    tip_half: float
    steepness: float
    swivel: float
    lean: Floats | None = None
    lean_lag: Floats | None = None
    middle: float = 0.0
    reference: float = 0.0

    @property
    def points(self) -> int:
        """Points of an edge."""
        return int(self.offset.size)


def tool(hob: Hob, swivel_deg: float, fineness: float = 1.0, lowest: float | None = None) -> Tool:
    """The hob's edges as arrays, with runout and gash errors; `lowest` as for `Hob.edge`."""
    edge: Edge = hob.edge(fineness, lowest)
    radial, _, lag = hob.gash_errors()
    per_gash = bool(np.any(radial) or np.any(lag) or hob.wobble)
    radius = edge.radius[None, :] + radial[:, None] if per_gash else edge.radius[None, :]
    lean, lean_lag = hob.gash_leans() if hob.wobble else (None, None)
    # What a hob that leans reaches out more at its ends.
    farther = abs(hob.wobble) * 2 * hob.tip_radius
    return Tool(
        radius=np.ascontiguousarray(radius),
        offset=edge.offset,
        per_gash=per_gash,
        lag=lag,
        tip=float(radius.max()) + farther,
        pitch=hob.thread_pitch,
        half_width=float(np.abs(edge.offset).max()),
        tip_half=hob.half_thickness_at_form,
        steepness=1.3 * math.tan(math.radians(hob.pressure_angle_deg)) if hob.profile is None else math.inf,
        swivel=math.radians(swivel_deg),
        lean=lean,
        lean_lag=lean_lag,
        middle=hob.shift,
        reference=hob.pitch_diameter / 2,
    )


@dataclass(frozen=True)
class Cutters:
    """Threads that may reach the blank: for each its row, its passage and its place on the hob axis."""

    row: Ints
    passage: Ints
    place: Floats


def reach(cutter: Tool, nearest: float, uncut: float) -> tuple[float, float]:
    """How far from its lowest point the hob's tip touches a blank of radius `uncut`: up or down, and sideways."""
    gap = nearest - uncut
    if gap >= cutter.tip:
        return 0.0, 0.0
    gap = max(gap, 0.0)
    up = math.sqrt(cutter.tip**2 - gap**2)
    side = math.sqrt(max(uncut**2 - max(nearest - cutter.tip, 0.0) ** 2, 0.0))
    return up, side


def cutters(swept: Passages, cutter: Tool, heights: Floats, uncut: float) -> Cutters:
    """Every thread of every passage that may touch the blank in these rows."""
    nearest = float(swept.distance.min())
    up, side = reach(cutter, nearest, uncut)
    empty = Cutters(np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64), np.zeros(0))
    if not up or not swept.count:
        return empty
    sine, cosine = math.sin(cutter.swivel), math.cos(cutter.swivel)
    side += cutter.half_width / cosine
    slack = abs(swept.height_rate) * math.pi / 2
    span = (up + side * abs(sine)) / abs(cosine) + cutter.half_width * abs(sine) + slack
    row, number = _in_span(swept, heights, span)
    if not row.size:
        return empty
    above = heights[row] - swept.height[number]
    # Threads whose Y lies within reach: Y = y + w / cos η − (z − c)·tan η.
    middle = (above * sine / cosine - swept.right[number]) * cosine
    low = np.ceil((middle - side * cosine - swept.thread[number]) / cutter.pitch)
    most = math.floor(2 * side * abs(cosine) / cutter.pitch) + 1
    place = swept.thread[number][:, None] + (low[:, None] + np.arange(most)) * cutter.pitch
    along = (above[:, None] - place * sine) / cosine
    across = swept.right[number][:, None] + place * cosine - along * sine
    # Where the work is wide enough a thread reaches it with its tip before its flanks.
    tip_first = side * cutter.steepness < nearest - cutter.tip
    half = cutter.tip_half if tip_first else cutter.half_width
    along = np.maximum(np.abs(along) - half * abs(sine) - slack, 0)
    across = np.maximum(np.abs(across) - half - abs(swept.right_rate) * math.pi / 2, 0)
    distance = swept.distance[number] - abs(swept.distance_rate) * math.pi / 2
    depth = distance[:, None] - np.sqrt(np.maximum(cutter.tip**2 - along**2, 0))
    touches = (along < cutter.tip) & (depth**2 + across**2 < uncut**2)
    which, _ = np.nonzero(touches)
    return Cutters(row[which], number[which], place[touches])


def _in_span(swept: Passages, heights: Floats, span: float) -> tuple[Ints, Ints]:
    """Pairs of row and passage whose heights differ by no more than `span`."""
    if swept.height_step == 0:
        rows = np.flatnonzero(np.abs(heights - swept.height[0]) <= span)
        row = np.repeat(rows, swept.count)
        return row.astype(np.int64), np.tile(np.arange(swept.count, dtype=np.int64), rows.size)
    centre = (heights - swept.height[0]) / swept.height_step
    width = span / abs(swept.height_step)
    low = np.clip(np.ceil(centre - width), 0, swept.count).astype(np.int64)
    high = np.clip(np.floor(centre + width) + 1, 0, swept.count).astype(np.int64)
    counts = np.maximum(high - low, 0)
    row = np.repeat(np.arange(heights.size, dtype=np.int64), counts)
    before = np.repeat(np.cumsum(counts) - counts, counts)
    return row, np.arange(row.size, dtype=np.int64) - before + np.repeat(low, counts)


def _edges(gash: Ints, cutter: Tool, threads: Floats) -> tuple[Floats, Floats, Floats | None]:
    """Radius and place of every point of these threads' edges, and by what angle each comes late, if any does."""
    radius = cutter.radius[gash] if cutter.per_gash else cutter.radius
    place = threads[:, None] + cutter.offset[None, :]
    if cutter.lean is not None:
        out = cutter.lean[gash]
        place = place - out[:, None] * (radius - cutter.reference)
        radius = radius + (out * (threads - cutter.middle))[:, None]
    if not cutter.per_gash:
        return radius, place, None
    lag = cutter.lag[gash]
    if cutter.lean_lag is not None:
        lag = lag + cutter.lean_lag[gash] * (threads - cutter.middle)
    return radius, place, lag


def crossings(
    swept: Passages, cutter: Tool, cut: Cutters, heights: Floats, ripples: tuple[Led, ...] = ()
) -> tuple[Floats, Floats]:
    """Where the edges of these threads cross their rows: angles on the blank (radians) and 1/radius.

    A point that never comes to the row, or not within the phase, has 1/radius 0. Shapes: threads × points.
    """
    sine, cosine = math.sin(cutter.swivel), math.cos(cutter.swivel)
    number = cut.passage
    radius, place, lag = _edges(swept.gash[number], cutter, cut.place)
    level_error = error(ripples, "axial", swept, number, 0.0)
    rise = (heights[cut.row] - swept.height[number] - level_error)[:, None] - place * sine
    leaning = lean(ripples, swept, number[:, None], 0.0)
    if leaning is not None:
        # Where work leans a row dips; how far out it is cut is told closely enough from the hob's lowest point.
        towards, across = swept.distance[number][:, None] - radius, swept.right[number][:, None] + place * cosine
        rise = rise - (leaning[0] * towards + leaning[1] * across)
    lever = radius * cosine
    share = rise / lever
    never = np.abs(share) >= 1
    if never.any():
        share = np.where(never, 0.0, share)
    swing = np.arcsin(share)
    level = np.sqrt(1 - share * share)
    if swept.height_rate:
        # The slide moves on while the edge swings: one Newton step from the slide at rest.
        # Sine and cosine of the small step to the second order, good to 1e-11.
        step = -swept.height_rate * swing / (lever * level + swept.height_rate)
        swing += step
        bend = 1 - 0.5 * step * step
        share, level = share * bend + level * step, level * bend - share * step
    x = (swept.distance[number] + error(ripples, "radial", swept, number, 0.0))[:, None] - radius * level
    y = (swept.right[number] + error(ripples, "tangential", swept, number, 0.0))[:, None]
    y = y + place * cosine - radius * share * sine
    hob_angle = swing if lag is None else swing + lag[:, None]
    angle, inverse = _on_the_blank(swept, (x, y, heights[cut.row][:, None]), number, hob_angle, ripples)
    if never.any():
        inverse[never] = 0.0
    return angle, inverse


def _on_the_blank(
    swept: Passages, place: tuple[Floats, Floats, Floats], number: Ints, hob_angle: Floats, ripples: tuple[Led, ...]
) -> tuple[Floats, Floats]:
    """Points of the hob as angles on the blank and 1/radius, once slides and table have gone on with the hob.

    `place` is across the axes with the slides where the passage began, and the row's height. Beyond the phase 1/radius
    is 0.
    """
    x, y, height = place
    if swept.distance_rate:
        x = x + swept.distance_rate * hob_angle
    if swept.right_rate:
        y = y + swept.right_rate * hob_angle
    if (leaning := lean(ripples, swept, number[:, None], 0.0)) is not None:
        x, y = x - leaning[0] * height - leaning[2], y - leaning[1] * height - leaning[3]
    angle = np.arctan2(y, x) - swept.table[number][:, None] - swept.table_rate * hob_angle
    if ripples:
        angle -= TURN * error(ripples, "table", swept, number[:, None], hob_angle)
    inverse = 1 / np.sqrt(x * x + y * y)
    if int(number.min()) <= swept.gashes or int(number.max()) >= swept.count - swept.gashes:
        turned = number[:, None] * (TURN / swept.gashes) + hob_angle
        inverse[(turned < swept.begins) | (turned > swept.ends)] = 0.0
    return angle, inverse


def error(
    ripples: tuple[Led, ...], end: str, swept: Passages, number: Ints, hob_angle: Floats | float
) -> Floats | float:
    """What periodic errors and templates displace `end` by at these passages, the hob `hob_angle` radians past them."""
    total: Floats | float = 0.0
    for ripple in ripples:
        if isinstance(ripple, Tilt):
            continue
        if ripple.end == end and isinstance(ripple, Guide):
            first, by = (float(getattr(one, ripple.over)) for one in (swept.start, swept.step))
            # By where the other end stands as the gash passes: what it moves while that swings doesn't count.
            total = total + ripple.displaced(first + by * np.asarray(number, dtype=float))
        elif ripple.end == end and isinstance(ripple, Ripple):
            at_first = float(ripple.per_unit * getattr(swept.start, ripple.over) % 1) + ripple.phase_turn
            per_passage = float(ripple.per_unit * getattr(swept.step, ripple.over))
            turns = at_first + per_passage * (number + hob_angle * (swept.gashes / TURN))
            total = total + ripple.amplitude * np.sin(TURN * turns)
    return total


def _shows(value: Floats, floor: float) -> npt.NDArray[np.bool_]:
    """Which stretches between points of an edge cut at all, and not wholly outside 1/`floor`."""
    high = value > floor
    lively = high[:, 1:] | high[:, :-1]
    if not np.all(value):
        lively &= (value[:, :-1] > 0) & (value[:, 1:] > 0)
    return np.asarray(lively)


def lean(
    ripples: tuple[Led, ...], swept: Passages, number: Ints, hob_angle: Floats | float
) -> tuple[Floats, Floats, Floats, Floats] | None:
    """How the work leans at these passages: towards the hob and to the right by a mm of height, and both at height 0.

    None where it stands straight.
    """
    found = None
    for one in ripples:
        if isinstance(one, Tilt):
            at_first = float(swept.start.table * one.waves % 1) + one.phase_turn
            turns = at_first + float(swept.step.table * one.waves) * (number + hob_angle * (swept.gashes / TURN))
            towards, across = one.slope * np.cos(TURN * turns), one.slope * np.sin(TURN * turns)
            this = towards, across, -one.pivot * towards, -one.pivot * across
            found = this if found is None else tuple(a + b for a, b in zip(found, this, strict=True))
    return found


def lay_down(twice: Floats, row: Ints, angle: Floats, value: Floats, start: Floats, floor: float) -> None:
    """Take crossings off rows of the blank: `twice` (rows × 2·columns of 1/radius) is raised in place.

    Column c and column c + columns are the same angle, so that no edge has to be wrapped; the two
    halves are brought together in the end. Between two points of an edge the tool is a straight
    line in the row, and 1/radius of a straight line bends by minus itself over the angle. Crossings
    wholly outside 1/`floor` leave no trace.
    """
    columns = twice.shape[1] // 2
    step = TURN / columns
    spot = (angle - start[row][:, None]) / step
    spot -= columns * np.floor(spot.min(axis=1) / columns)[:, None]
    place = np.floor(spot).astype(np.int32)
    counts = np.abs(np.diff(place, axis=1))
    which = np.flatnonzero((counts > 0) & _shows(value, floor))
    if not which.size:
        return
    # Longest stretches first: then those that still have columns to go are always the first few.
    count = counts.ravel()[which].astype(np.uint16)
    order = np.argsort(np.uint16(65535) - count, kind="stable")
    which, count = which[order], count[order]
    width = np.diff(spot, axis=1)
    near = value[:, :-1].ravel()[which]
    bend = near * (-0.5 * step * step)
    slope = (np.diff(value, axis=1) / np.where(width == 0, 1.0, width)).ravel()[which] - bend * width.ravel()[
        which
    ]
    first = np.minimum(place[:, 1:], place[:, :-1]).ravel()[which] + 1
    run = first - spot[:, :-1].ravel()[which]
    flat = twice.reshape(-1)
    target = row[which // counts.shape[1]] * (2 * columns) + first
    left = count.size - np.cumsum(np.bincount(count, minlength=int(count[0]) + 1))
    for active in left[:-1]:
        some = slice(0, int(active))
        np.maximum.at(flat, target[some], (bend[some] * run[some] + slope[some]) * run[some] + near[some])
        target[some] += 1
        run[some] += 1
