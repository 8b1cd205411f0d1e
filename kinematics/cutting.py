"""The cut: a hob's edges swept through a blank, phase by phase, row by row."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from . import arguments
from .blank import Blank, Field
from .hob import Hob
from .motion import Motion, Position, Rates, steady_cut
from .sweep import Cutters, Passages, Tool, crossings, cutters, lay_down, passages, reach, tool
from .touch import depth_for, step_of

Floats = npt.NDArray[np.float64]

#: Points of edges worked on at once: small enough to stay in the processor's cache.
_AT_ONCE = 40_000

#: Rows to a feed and rows in all of a scratch cut that is to be measured.
_ROWS_A_FEED = 6.3
_MOST_ROWS = 360
_COLUMNS_A_SPACE = 160
_MOST_COLUMNS = 9000.0
_MOST_CELLS = 1_300_000

#: Rows that are worked on together.
_BLOCK = 8

#: Points of edges from which on compiling pays.
_LONG = 8e7


def axial_pass(
    rates: Rates,
    blank: Blank,
    hob: Hob,
    swivel_deg: float,
    centre_distance: float,
) -> Motion:
    """One pass of the slide over the whole face, from clear of the blank to clear of it.

    The hob turns cutting up and the slide goes its way by `rates`. Raises `ValueError` where the
    axial slide stands still.
    """
    if not rates.axial:
        raise ValueError("axial is 0 mm per turn of the hob; a pass over the face needs an axial feed")
    margin = _clear(hob, blank, swivel_deg, centre_distance) + abs(rates.axial)
    below, above = -margin, Fraction(blank.face_width) + margin
    begin = below if rates.axial > 0 else above
    turns = (above - below) / abs(rates.axial)
    return Motion((steady_cut(rates, Position(axial=begin), turns),))


def tangential_pass(
    rates: Rates,
    blank: Blank,
    hob: Hob,
    swivel_deg: float,
    centre_distance: float,
    height: float | None = None,
) -> Motion:
    """One pass of the tangential slide, from clear of the blank on one side to clear of it on the other.

    The hob stands at `height` (mid-face where left out), at full depth all the way, as for worm
    wheels cut with a taper hob or a fly tool. Raises `ValueError` where the tangential slide stands still.
    """
    if not rates.tangential:
        raise ValueError("tangential is 0 mm per turn of the hob; a tangential pass needs its feed")
    cutter = tool(hob, swivel_deg, 0.3)
    _, side = reach(cutter, centre_distance, blank.radius)
    margin = Fraction(math.ceil(side + cutter.half_width) + 1) + abs(rates.tangential)
    begin = -margin if rates.tangential > 0 else margin
    where = Fraction(blank.face_width if height is None else 2 * height) / 2
    start = Position(tangential=begin, axial=where)
    return Motion((steady_cut(rates, start, 2 * margin / abs(rates.tangential)),))


def radial_plunge(
    rates: Rates, blank: Blank, depth: float, height: float | None = None, *, last: Fraction | None = None
) -> Motion:
    """Radial infeed at `height` (mid-face where left out) to where the radial position is 0, then one table turn more.

    `depth` in mm is how far in the feed starts outside; `last` shortens it to the last so many table
    turns of feed, where only what they leave matters. Rates are per turn of a hob cutting up: where they take
    the slide away from the work, the hob cuts down and the motion is run backwards in time, the table turn first;
    what is left of the blank is the same. Raises `ValueError` where the radial slide or the table stands still.
    """
    if not rates.radial or not rates.table:
        raise ValueError("radial slide and table must both move with the hob for a radial infeed")
    where = Fraction(blank.face_width if height is None else 2 * height) / 2
    turns = Fraction(depth).limit_denominator(10**6) / abs(rates.radial)
    if last is not None:
        turns = min(turns, last / abs(rates.table))
    still, once = Rates(rates.table, rates.axial, rates.tangential), 1 / abs(rates.table)
    if rates.radial > 0:
        at_depth = steady_cut(still, Position(axial=where), once)
        return Motion((at_depth, steady_cut(rates, at_depth.end, turns, "infeed")))
    infeed = steady_cut(rates, Position(axial=where, radial=-rates.radial * turns), turns, "infeed")
    return Motion((infeed, steady_cut(still, infeed.end, once)))


def table_turn(rates: Rates, blank: Blank) -> Motion:
    """One turn of the table with the hob at mid-face, no slide moving, as where it was fed in by hand."""
    begin = Position(axial=Fraction(blank.face_width) / 2)
    return Motion((steady_cut(Rates(rates.table), begin, 1 / abs(rates.table)),))


def _clear(hob: Hob, blank: Blank, swivel_deg: float, centre_distance: float) -> Fraction:
    """Distance from face to hob centre at which the hob is clear of the blank, rounded up to 1/64 mm."""
    cutter = tool(hob, swivel_deg, 0.3)
    up, side = reach(cutter, centre_distance, blank.radius)
    swivel = math.radians(swivel_deg)
    clear = (up + (side + cutter.half_width) * abs(math.sin(swivel))) / math.cos(swivel)
    return Fraction(math.ceil(64 * clear) + 1, 64)


def scratch_cut(
    rates: Rates,
    hob: Hob,
    blank: Blank,
    swivel_deg: float,
    *,
    depth: float | None = None,
    progress: Callable[[float], None] | None = None,
) -> Field:
    """A first light cut over the whole face, just deep enough that it can be counted and measured.

    `depth` in mm; left out, the usual one, or what a coarse feed needs for its touches to meet. Rows and
    columns are as many as measuring needs: six rows a feed, a hundred and sixty columns a space; where the
    feed is fine only the middle of the face is looked at. Without an axial feed the hob is fed across, or in,
    or runs for one table turn, at mid-face. Raises `ValueError` where nothing moves but the hob.
    """
    if depth is None:
        depth = light_depth(rates, hob, blank, swivel_deg)
    distance = blank.radius + hob.tip_radius - arguments.number("depth", depth, unit="mm", above=0)
    heights, start, columns = scratch_grid(rates, hob, blank)
    if rates.axial:
        motion = axial_pass(rates, blank, hob, swivel_deg, distance)
    else:
        heights, start = band(hob, blank, depth), np.zeros(13)
        if rates.tangential:
            motion = tangential_pass(rates, blank, hob, swivel_deg, distance)
        elif rates.radial:
            motion = radial_plunge(rates, blank, 2 * depth)
        elif rates.table:
            motion = table_turn(rates, blank)
        else:
            raise ValueError("table and slides stand still; nothing can be cut that could be counted")
    return cut_field(
        motion,
        hob,
        blank,
        swivel_deg,
        distance,
        heights=heights,
        columns=columns,
        start=start,
        fineness=0.7,
        progress=progress,
    )


def light_depth(rates: Rates, hob: Hob, blank: Blank, swivel_deg: float) -> float:
    """Depth in mm at which a light cut of this blank can be counted."""
    step = step_of(hob.module_n, hob.starts, hob.gashes)
    feed = _feed(rates)
    return depth_for(feed, hob.tip_radius, swivel_deg, hob.module_n, step=step, blank_radius=blank.radius)


def _feed(rates: Rates) -> float:
    """Travel of the axial slide in a turn of the table, in mm."""
    return float(abs(rates.axial / rates.table)) if rates.table else 0.0


def band(hob: Hob, blank: Blank, depth: float) -> Floats:
    """Heights over the middle of the mark that a hob leaves which isn't fed along the work."""
    half = min(0.5 * math.sqrt(2 * hob.tip_radius * depth), blank.face_width / 2)
    return np.asarray(blank.face_width / 2 + np.linspace(-half, half, 13))


def scratch_grid(rates: Rates, hob: Hob, blank: Blank) -> tuple[Floats, Floats, int]:
    """Heights of the rows, angles at which they start, and number of columns with which a light cut is measured.

    Each row starts at some other part of a column (always the same ones), so that what is too fine
    for the columns comes out as a little noise and can't pose as something coarse.
    """
    spaces = float(hob.starts / abs(rates.table)) if rates.table else 40.0
    feed = _feed(rates) or blank.face_width / 8
    # Gashes leave a raster finer than the spaces. Columns half-way between its multiples are out of tune with it.
    strokes = spaces * hob.gashes / hob.starts
    wanted = min(max(_COLUMNS_A_SPACE * spaces, 1200.0), _MOST_COLUMNS)
    columns = 1 + 2 * round(min(strokes * (math.floor(wanted / strokes) + 0.5), 2 * _MOST_COLUMNS) / 2)
    rows = math.ceil(blank.face_width / feed * _ROWS_A_FEED)
    most = min(_MOST_ROWS, _MOST_CELLS // columns)
    span = blank.face_width * min(1.0, most / rows)
    middle = blank.face_width / 2
    heights = np.linspace(middle - span / 2, middle + span / 2, max(9, min(rows, most)) + 1)
    start = np.random.default_rng(1).random(heights.size) * (2 * math.pi / columns)
    return heights, start, columns


def cut_field(
    motion: Motion,
    hob: Hob,
    blank: Blank,
    swivel_deg: float,
    centre_distance: float,
    *,
    heights: Floats | None = None,
    rows: int = 41,
    columns: int = 1024,
    fineness: float = 1.0,
    start: Floats | None = None,
    compiled: bool | None = None,
    progress: Callable[[float], None] | None = None,
) -> Field:
    """The blank after the motion: every gash passage of every phase taken off, row by row.

    `centre_distance` is between work axis and hob axis where the motion's radial position is 0.
    Rows stand at `heights`, or evenly over the face. `fineness` refines the edges (see
    `Hob.edge`). `progress` is told the part done, 0 to 1. Phases in which the hob stands still
    cut nothing. `compiled` asks for (True) or forbids (False) the path through numba; left open, it
    is taken where numba is there and the cut is long.
    """
    swivel = arguments.number("swivel", swivel_deg, unit="deg", above=-90, below=90)
    arguments.number("centre distance", centre_distance, unit="mm", above=0)
    if heights is None:
        heights = np.linspace(0, blank.face_width, arguments.whole("rows", rows, at_least=2))
    heights = np.asarray(heights, dtype=float)
    start = np.zeros(heights.size) if start is None else np.asarray(start, dtype=float)
    inverse = np.full((heights.size, arguments.whole("columns", columns, at_least=8)), 1 / blank.radius)
    cutting = [phase for phase in motion.phases if phase.per_turn.hob and phase.turns]
    for index, phase in enumerate(cutting):
        swept = passages(phase, hob, centre_distance)
        cutter = tool(hob, swivel, fineness, _lowest(hob, swept, blank))
        for done in _cut_phase(inverse, swept, cutter, heights, start, blank.radius, motion, compiled):
            if progress is not None:
                progress((index + done) / len(cutting))
    return Field(1 / inverse, np.asarray(heights), np.asarray(start), blank.radius)


def steady_field(
    rates: Rates,
    hob: Hob,
    blank: Blank,
    swivel_deg: float,
    centre_distance: float,
    *,
    rows: int = 161,
    columns: int = 6000,
    fineness: float = 1.0,
) -> Field:
    """The steady part of a cut at constant rates from a single row, by the symmetry of its motion.

    A turn of the hob brings every edge back to its place on a blank that the table has turned and the
    slide has passed along: the field is the same one turn of the table's part further round and one
    of the slide's further up. Rows stand at whole numbers of hob turns, as evenly over the face as
    that allows, each with its own start angle. Only the motion's rates carry the row along, so a lead
    measured on such a field is no witness; the plain `cut_field` is.
    Raises `ValueError` where the axial slide stands still.
    """
    motion = axial_pass(rates, blank, hob, swivel_deg, centre_distance)
    middle = blank.face_width / 2
    single = cut_field(
        motion,
        hob,
        blank,
        swivel_deg,
        centre_distance,
        heights=np.array([middle]),
        columns=columns,
        fineness=fineness,
        compiled=False,
    )
    per_turn = float(rates.axial)
    wanted = np.linspace(0, blank.face_width, arguments.whole("rows", rows, at_least=2)) - middle
    turns = np.unique(np.rint(wanted / per_turn).astype(np.int64))
    turns = turns if per_turn > 0 else turns[::-1]
    # The table's turn, exactly, as whole columns and a rest that the row starts late by.
    late = np.array([float(-rates.table * int(n) % 1) * columns for n in turns])
    whole = np.rint(late).astype(np.int64)
    radius = np.stack([np.roll(single.radius[0], int(n)) for n in whole])
    starts = np.asarray((late - whole) * (2 * math.pi / columns))
    return Field(radius, np.asarray(middle + per_turn * turns), starts, blank.radius)


def _lowest(hob: Hob, swept: Passages, blank: Blank) -> float:
    """Lowest height on the thread that can reach the blank: what lies below it needn't be followed."""
    gap = float(swept.distance.min()) - blank.radius
    swing = abs(swept.distance_rate) * math.pi / 2
    spread = abs(hob.runout) + max((abs(x) for x in hob.gash_radial), default=0.0)
    return gap - hob.pitch_diameter / 2 - spread - swing - 0.02 * hob.module_n


def _cut_phase(
    inverse: Floats,
    swept: Passages,
    cutter: Tool,
    heights: Floats,
    start: Floats,
    uncut: float,
    motion: Motion,
    compiled: bool | None,
) -> Iterator[float]:
    if compiled is None:
        compiled = _points(swept, cutter, heights, uncut) > _LONG
    block = _BLOCK if not compiled else 4 * _BLOCK
    for low in range(0, heights.size, block):
        rows = slice(low, low + block)
        part = swept, cutter, heights[rows], start[rows], uncut
        if motion.ripples or not compiled or not _cut_compiled(inverse[rows], *part):
            _cut_plainly(inverse[rows], *part, motion)
        yield min(1.0, (low + block) / heights.size)


def _cut_plainly(
    inverse: Floats,
    swept: Passages,
    cutter: Tool,
    heights: Floats,
    start: Floats,
    uncut: float,
    motion: Motion,
) -> None:
    columns = inverse.shape[1]
    twice = np.concatenate([inverse, np.zeros_like(inverse)], axis=1)
    found = cutters(swept, cutter, heights, uncut)
    count = max(1, _AT_ONCE // cutter.points)
    for first in range(0, found.row.size, count):
        some = slice(first, first + count)
        part = Cutters(found.row[some], found.passage[some], found.place[some])
        angle, value = crossings(swept, cutter, part, heights, motion.ripples)
        lay_down(twice, part.row, angle, value, start, 1 / uncut)
    np.maximum(twice[:, :columns], twice[:, columns:], out=inverse)


def _cut_compiled(
    inverse: Floats, swept: Passages, cutter: Tool, heights: Floats, start: Floats, uncut: float
) -> bool:
    from .compiled import cut_rows

    return cut_rows(inverse, swept, cutter, heights, start, uncut)


def _points(swept: Passages, cutter: Tool, heights: Floats, uncut: float) -> float:
    """Roughly how many points of edges have to be followed."""
    up, side = reach(cutter, float(swept.distance.min()), uncut)
    if not swept.count or not up:
        return 0.0
    passages_a_row = (
        float(swept.count) if not swept.height_step else min(swept.count, 2 * up / abs(swept.height_step))
    )
    return heights.size * passages_a_row * (1 + 1.3 * side / cutter.pitch) * cutter.points
