"""The cut: a hob's edges swept through a blank, phase by phase, row by row."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np
import numpy.typing as npt
from handlead.kinematics.frame import arguments
from handlead.kinematics.frame.blank import Blank, Field
from handlead.kinematics.frame.motion import Led, Motion, Position, Rates, steady_cut

from .hob import Hob
from .setting import Grid, Setting, scattered
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


def axial_pass(setting: Setting) -> Motion:
    """One pass of the slide over the whole face, from clear of the blank to clear of it.

    The hob turns cutting up and the slide goes its way by the rates. Raises `ValueError` where the
    axial slide stands still.
    """
    rates = setting.rates
    if not rates.axial:
        raise ValueError("axial is 0 mm per turn of the hob; a pass over the face needs an axial feed")
    margin = _clear(setting) + abs(rates.axial)
    below, above = -margin, Fraction(setting.blank.face_width) + margin
    begin = below if rates.axial > 0 else above
    turns = (above - below) / abs(rates.axial)
    # A radial slide that is geared to the axial one is where the depth has it as the hob passes mid-face.
    radial = rates.radial / rates.axial * (begin - Fraction(setting.blank.face_width) / 2)
    return Motion((steady_cut(rates, Position(axial=begin, radial=radial), turns),))


def tangential_pass(setting: Setting, height: float | None = None) -> Motion:
    """One pass of the tangential slide, from clear of the blank on one side to clear of it on the other.

    The hob stands at `height` (mid-face where left out), at full depth all the way, as for worm
    wheels cut with a taper hob or a fly tool. Raises `ValueError` where the tangential slide stands still.
    """
    rates = setting.rates
    if not rates.tangential:
        raise ValueError("tangential is 0 mm per turn of the hob; a tangential pass needs its feed")
    margin = Fraction(math.ceil(setting.beside()[1]) + 1) + abs(rates.tangential)
    begin = -margin if rates.tangential > 0 else margin
    where = Fraction(setting.blank.face_width if height is None else 2 * height) / 2
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


def _clear(setting: Setting) -> Fraction:
    """Distance from face to hob centre at which the hob is clear of the blank, rounded up to 1/64 mm."""
    up, side = setting.beside()
    swivel = math.radians(setting.swivel_deg)
    clear = (up + side * abs(math.sin(swivel))) / math.cos(swivel)
    return Fraction(math.ceil(64 * clear) + 1, 64)


def scratch_cut(
    setting: Setting,
    *,
    depth: float | None = None,
    ripples: tuple[Led, ...] = (),
    progress: Callable[[float], None] | None = None,
) -> Field:
    """A first light cut over the whole face, just deep enough that it can be counted and measured.

    `depth` in mm; left out, the usual one, or what a coarse feed needs for its touches to meet; the setting's own
    centre distance doesn't matter. Rows and columns are as many as measuring needs: six rows a feed, a hundred and
    sixty columns a space; where the feed is fine only the middle of the face is looked at. Without an axial feed the
    hob is fed across, or in, or runs for one table turn, at mid-face. `ripples` are the machine's errors, which bring
    the hob no nearer than that depth. Raises `ValueError` where nothing moves but the hob.
    """
    rates, blank = setting.rates, setting.blank
    if depth is None:
        depth = light_depth(setting)
    setting = setting.sunk(arguments.number("depth", depth, unit="mm", above=0))
    grid = scratch_grid(setting)
    if not rates.axial:
        grid = replace(grid, heights=band(setting.hob, blank, depth), start=None)
    if rates.axial:
        motion = axial_pass(setting)
    elif rates.tangential:
        motion = tangential_pass(setting)
    elif rates.radial:
        motion = radial_plunge(rates, blank, 2 * depth)
    elif rates.table:
        motion = table_turn(rates, blank)
    else:
        raise ValueError("table and slides stand still; nothing can be cut that could be counted")
    return cut_field(replace(motion, ripples=ripples), setting, grid, progress=progress)


def light_depth(setting: Setting) -> float:
    """Depth in mm at which a light cut of this blank can be counted."""
    hob = setting.hob
    step = step_of(hob.module_n, hob.starts, hob.gashes)
    return depth_for(
        setting.feed, hob.tip_radius, setting.swivel_deg, hob.module_n,
        step=step, blank_radius=setting.blank.radius,
    )  # fmt: skip


def band(hob: Hob, blank: Blank, depth: float) -> Floats:
    """Heights over the middle of the mark that a hob leaves which isn't fed along the work."""
    half = min(0.5 * math.sqrt(2 * hob.tip_radius * depth), blank.face_width / 2)
    return np.asarray(blank.face_width / 2 + np.linspace(-half, half, 13))


def scratch_grid(setting: Setting) -> Grid:
    """Where a light cut is looked at so that it can be measured."""
    hob, face = setting.hob, setting.blank.face_width
    spaces = float(hob.starts / abs(setting.rates.table)) if setting.rates.table else 40.0
    # Gashes leave a raster finer than the spaces. Columns half-way between its multiples are out of tune with it.
    strokes = spaces * hob.gashes / hob.starts
    wanted = min(max(_COLUMNS_A_SPACE * spaces, 1200.0), _MOST_COLUMNS)
    columns = 1 + 2 * round(min(strokes * (math.floor(wanted / strokes) + 0.5), 2 * _MOST_COLUMNS) / 2)
    rows = math.ceil(face / (setting.feed or face / 8) * _ROWS_A_FEED)
    most = min(_MOST_ROWS, _MOST_CELLS // columns)
    span = face * min(1.0, most / rows)
    heights = np.linspace(face / 2 - span / 2, face / 2 + span / 2, max(9, min(rows, most)) + 1)
    return scattered(heights, columns)


def cut_field(
    motion: Motion,
    setting: Setting,
    grid: Grid = Grid(),  # noqa: B008 - frozen
    *,
    compiled: bool | None = None,
    progress: Callable[[float], None] | None = None,
) -> Field:
    """The blank after the motion: every gash passage of every phase taken off, row by row of the grid.

    `progress` is told the part done, 0 to 1. Phases in which the hob stands still cut nothing; only the motion's
    rates count, not the setting's. `compiled` asks for (True) or forbids (False) the path through numba; left open,
    it is taken where numba is there and the cut is long.
    """
    hob, blank = setting.hob, setting.blank
    swivel = arguments.number("swivel", setting.swivel_deg, unit="deg", above=-90, below=90)
    distance = arguments.number("centre distance", setting.distance, unit="mm", above=0)
    grid = grid.over(blank.face_width)
    assert grid.heights is not None
    assert grid.start is not None
    inverse = np.full((grid.heights.size, grid.columns), 1 / blank.radius)
    cutting = [phase for phase in motion.phases if phase.per_turn.hob and phase.turns]
    for index, phase in enumerate(cutting):
        swept = passages(phase, hob, distance)
        cutter = tool(hob, swivel, grid.fineness, _lowest(hob, swept, blank))
        taken = _PhaseTaken(swept, cutter, grid.heights, grid.start, blank.radius)
        for done in _cut_phase(inverse, taken, motion, compiled):
            if progress is not None:
                progress((index + done) / len(cutting))
    return Field(1 / inverse, grid.heights, grid.start, blank.radius)


def _lowest(hob: Hob, swept: Passages, blank: Blank) -> float:
    """Lowest height on the thread that can reach the blank: what lies below it needn't be followed."""
    gap = float(swept.distance.min()) - blank.radius
    swing = abs(swept.distance_rate) * math.pi / 2
    spread = float(abs(hob.gash_errors()[0]).max()) + abs(hob.wobble) * 2 * hob.tip_radius
    return gap - hob.pitch_diameter / 2 - spread - swing - 0.02 * hob.module_n


@dataclass(frozen=True, eq=False)
class _PhaseTaken:
    """What one phase takes off: its passages and edges, the rows with where they start, and the blank's radius."""

    swept: Passages
    cutter: Tool
    heights: Floats
    start: Floats
    uncut: float

    def some(self, rows: slice) -> _PhaseTaken:
        """Off some of the rows."""
        return replace(self, heights=self.heights[rows], start=self.start[rows])

    @property
    def points(self) -> float:
        """Roughly how many points of edges have to be followed."""
        swept = self.swept
        up, side = reach(self.cutter, float(swept.distance.min()), self.uncut)
        if not swept.count or not up:
            return 0.0
        passages_a_row = (
            float(swept.count) if not swept.height_step else min(swept.count, 2 * up / abs(swept.height_step))
        )
        return self.heights.size * passages_a_row * (1 + 1.3 * side / self.cutter.pitch) * self.cutter.points


def _cut_phase(
    inverse: Floats, taken: _PhaseTaken, motion: Motion, compiled: bool | None
) -> Iterator[float]:
    if compiled is None:
        compiled = taken.points > _LONG
    block = _BLOCK if not compiled else 4 * _BLOCK
    for low in range(0, taken.heights.size, block):
        rows = slice(low, low + block)
        part = taken.some(rows)
        if motion.ripples or not compiled or not _cut_compiled(inverse[rows], part):
            _cut_plainly(inverse[rows], part, motion)
        yield min(1.0, (low + block) / taken.heights.size)


def _cut_plainly(inverse: Floats, taken: _PhaseTaken, motion: Motion) -> None:
    columns = inverse.shape[1]
    twice = np.concatenate([inverse, np.zeros_like(inverse)], axis=1)
    found = cutters(taken.swept, taken.cutter, taken.heights, taken.uncut)
    count = max(1, _AT_ONCE // taken.cutter.points)
    for first in range(0, found.row.size, count):
        some = slice(first, first + count)
        part = Cutters(found.row[some], found.passage[some], found.place[some])
        angle, value = crossings(taken.swept, taken.cutter, part, taken.heights, motion.ripples)
        lay_down(twice, part.row, angle, value, taken.start, 1 / taken.uncut)
    np.maximum(twice[:, :columns], twice[:, columns:], out=inverse)


def _cut_compiled(inverse: Floats, taken: _PhaseTaken) -> bool:
    from .compiled import cut_rows

    return cut_rows(inverse, taken.swept, taken.cutter, taken.heights, taken.start, taken.uncut)
