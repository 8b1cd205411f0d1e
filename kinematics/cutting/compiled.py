"""The same cut, row by row, compiled: an optional path through numba for whole blanks.

It does what `sweep` does, point for point, and is tested against it. Two things make it quick.
Angles of an edge's points are counted from the middle of its tip, so that short series stand for
the inverse functions and several points go through the processor at once. And passages are taken
from the nearest outwards: most of the far ones stay well inside what is already cut away, which a
few points of their edge, with a margin, show for certain.

The functions below the kernel's maker are compiled together with it; they are plain Python here.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from functools import cache
from typing import Any

import numpy as np
import numpy.typing as npt

from .sweep import TURN, Passages, Tool, reach

Floats = npt.NDArray[np.float64]

#: Square of the angle (radians) up to which the series below are good to the last digit.
_SERIES = 0.04

#: Of so many points of an edge one is looked at first.
_STRIDE = 4


def available() -> bool:
    """Whether numba is there to compile with."""
    return _kernel() is not None


def cut_rows(
    inverse: Floats, swept: Passages, cutter: Tool, heights: Floats, start: Floats, uncut: float
) -> bool:
    """Take one phase off these rows of 1/radius, in place; False where numba is missing, or the hob leans on its arbor.

    Machine errors (`Ripple`) are not for this path.
    """
    kernel = _kernel()
    if kernel is None or cutter.lean is not None:
        return False
    nearest = float(swept.distance.min())
    up, side = reach(cutter, nearest, uncut)
    if not up or not swept.count:
        return True
    side += cutter.half_width / math.cos(cutter.swivel)
    tip_first = side * cutter.steepness < nearest - cutter.tip
    columns = inverse.shape[1]
    # Column c and column c + columns are the same angle and always hold the same.
    twice = np.concatenate([inverse, inverse], axis=1)
    few = _few(cutter.points)
    kernel(
        twice,
        heights,
        start,
        (swept.thread, swept.table, swept.height, swept.right, swept.distance, swept.gash),
        (swept.table_rate, swept.height_rate, swept.right_rate, swept.distance_rate),
        (swept.height_step, swept.begins, swept.ends, TURN / swept.gashes),
        (np.ascontiguousarray(cutter.radius), cutter.offset, cutter.lag, cutter.per_gash),
        (np.ascontiguousarray(cutter.radius[:, few]), np.ascontiguousarray(cutter.offset[few])),
        (cutter.tip, cutter.pitch, cutter.half_width, cutter.tip_half if tip_first else cutter.half_width),
        (math.sin(cutter.swivel), math.cos(cutter.swivel)),
        (uncut, up, side, _margin(cutter, few, up)),
    )
    inverse[:] = twice[:, :columns]
    return True


def _few(points: int) -> npt.NDArray[np.int64]:
    """Every fourth point out from the middle of the tip, and both ends."""
    middle = points // 2
    half = np.unique(np.append(np.arange(0, middle + 1, _STRIDE), middle))
    return np.asarray(np.unique(np.concatenate([middle - half, middle + half])))


def _margin(cutter: Tool, few: npt.NDArray[np.int64], up: float) -> float:
    """How far the edge in a row can stand out beyond the straight lines between a few of its points, in mm.

    What it stands out beyond them on the gash face, as the slant of the row through the edge stretches
    it, and twice the bow that a straight line gets from that slant.
    """
    radius, offset = cutter.radius[0], cutter.offset
    beyond = longest = 0.0
    for first, last in itertools.pairwise(few):
        along = np.array([offset[last] - offset[first], radius[last] - radius[first]])
        length = float(np.hypot(*along))
        part = slice(int(first), int(last) + 1)
        aside = (offset[part] - offset[first]) * along[1] - (radius[part] - radius[first]) * along[0]
        beyond = max(beyond, float(np.abs(aside).max()) / (length or 1.0))
        longest = max(longest, length)
    level = math.sqrt(max(cutter.tip**2 - up**2, 0.04 * cutter.tip**2)) / cutter.tip
    bow = longest**2 / 8 * (up / cutter.tip) ** 2 / (cutter.tip * level**3)
    stretch = 1.1 * max(1 / math.cos(cutter.swivel), 1 / level)
    return float(stretch * beyond + 2 * bow)


@cache
def _kernel() -> Callable[..., None] | None:
    try:
        import numba
    except ImportError:
        return None
    try:
        return _compiled(numba, True)
    except RuntimeError:
        # No folder in which the compiled code could be kept: compile it anew each time.
        return _compiled(numba, False)


def _compiled(numba: Any, keep: bool) -> Callable[..., None]:
    freely = {"contract", "arcp", "nsz", "afn"}

    def compiled(function: Callable[..., Any], fastmath: Any = freely, **options: Any) -> Any:
        return numba.njit(function, error_model="numpy", nogil=True, cache=keep, fastmath=fastmath, **options)

    near_asin = numba.njit(_asin_series, inline="always")
    near_atan = numba.njit(_atan_series, inline="always")
    prange = numba.prange
    exactly, inside, lay = compiled(_exactly), compiled(_inside, True), compiled(_lay)

    follow = compiled(_followed(near_asin, near_atan))

    def rows(twice, heights, start, swept, rates, steps, edge, few, sizes, swivel, bounds):  # type: ignore[no-untyped-def]
        thread, table, height, right, distance, gash = swept
        radii, offset, lag, per_gash = edge
        few_radii, few_offset = few
        tip, pitch, half_width, half = sizes
        sine, cosine = swivel
        uncut, up, side, margin = bounds
        height_step, begins, ends, gash_step = steps
        _, height_rate, right_rate, distance_rate = rates
        count, points = thread.size, offset.size
        columns = twice.shape[1] // 2
        per_column = columns / (2 * math.pi)
        floor = 1 / uncut
        slack = abs(height_rate) * math.pi / 2
        span = (up + side * abs(sine)) / abs(cosine) + half_width * abs(sine) + slack
        gashes = round(2 * math.pi / gash_step)
        for r in prange(heights.size):
            spot, value, spread = np.empty(points), np.empty(points), np.empty(points)
            z = heights[r]
            low, high, nearest = 0, count, count
            if height_step != 0:
                centre, width = (z - height[0]) / height_step, span / abs(height_step)
                low = min(max(math.ceil(centre - width), 0), count)
                high = min(max(math.floor(centre + width) + 1, 0), count)
                nearest = min(max(round(centre), low), high)
            for step in range(2 * max(nearest - low, high - nearest)):
                # Outwards from the nearest passage, one below and one above in turn.
                n = nearest + step // 2 if step % 2 else nearest - 1 - step // 2
                if n < low or n >= high:
                    continue
                above = z - height[n]
                if abs(above) > span:
                    continue
                which = gash[n] if per_gash else 0
                behind = lag[gash[n]] if per_gash else 0.0
                closest = distance[n] - abs(distance_rate) * math.pi / 2
                middle = (above * sine / cosine - right[n]) * cosine
                place = thread[n] + math.ceil((middle - side * cosine - thread[n]) / pitch) * pitch
                bounded = n <= gashes or n >= count - gashes
                while place <= middle + side * cosine:
                    along = (above - place * sine) / cosine
                    across = right[n] + place * cosine - along * sine
                    along = max(abs(along) - half * abs(sine) - slack, 0.0)
                    across = max(abs(across) - half - abs(right_rate) * math.pi / 2, 0.0)
                    here, place = place, place + pitch
                    if along >= tip:
                        continue
                    depth = closest - math.sqrt(tip * tip - along * along)
                    if depth * depth + across * across >= uncut * uncut:
                        continue
                    edge_at = (above, here, right[n], distance[n], behind, table[n] + start[r])
                    way = (rates, sine, cosine, per_column)
                    few_do = not per_gash and follow(
                        spot, value, spread, few_radii[0], few_offset, edge_at, way
                    )
                    if few_do and inside(twice[r], spot, value, few_offset.size, columns, margin, floor):
                        continue
                    plain = follow(spot, value, spread, radii[which], offset, edge_at, way)
                    if bounded or not plain:
                        phase = (bounded, n * gash_step, begins, ends)
                        exactly(spot, value, radii[which], offset, edge_at, way, phase)
                    lay(twice[r], spot, value, columns, floor)

    return compiled(rows, parallel=True)  # type: ignore[no-any-return]


def _followed(near_asin: Any, near_atan: Any) -> Any:
    def follow(spot, value, spread, radius, offset, edge_at, way):  # type: ignore[no-untyped-def]
        # False where the series would not do. One plain run, without a branch.
        above, here, right, distance, behind, table = edge_at
        rates, sine, cosine, per_column = way
        table_rate, height_rate, right_rate, distance_rate = rates
        middle = offset.size // 2
        share0 = (above - (here + offset[middle]) * sine) / (radius[middle] * cosine)
        if abs(share0) > 0.95:
            return False
        swing0, level0 = math.asin(share0), math.sqrt(1 - share0 * share0)
        x0 = distance - radius[middle] * level0
        y0 = right + (here + offset[middle]) * cosine - radius[middle] * share0 * sine
        angle0 = math.atan2(y0, x0) - table
        for p in range(offset.size):
            at, lever = here + offset[p], radius[p] * cosine
            share = (above - at * sine) / lever
            level = math.sqrt(abs(1 - share * share))
            apart = share * level0 - level * share0
            swing = swing0 + near_asin(apart)
            on = -height_rate * swing / (lever * level + height_rate)
            swing += on
            bend = 1 - 0.5 * on * on
            hob_angle = swing + behind
            x = distance - radius[p] * (level * bend - share * on) + distance_rate * hob_angle
            y = right + at * cosine - radius[p] * (share * bend + level * on) * sine + right_rate * hob_angle
            aside = (y * x0 - x * y0) / (x * x0 + y * y0)
            spot[p] = (angle0 + near_atan(aside) - table_rate * hob_angle) * per_column
            value[p] = 1 / math.sqrt(x * x + y * y)
            spread[p] = apart * apart + aside * aside
        for p in range(offset.size):  # noqa: SIM110 - plain for the compiler
            if not spread[p] < _SERIES:
                return False
        return True

    return follow


def _exactly(spot, value, radius, offset, edge_at, way, phase):  # type: ignore[no-untyped-def]
    """The points of one edge by the inverse functions themselves, and within the phase only."""
    above, here, right, distance, behind, table = edge_at
    rates, sine, cosine, per_column = way
    bounded, turned, begins, ends = phase
    table_rate, height_rate, right_rate, distance_rate = rates
    for p in range(offset.size):
        at, lever = here + offset[p], radius[p] * cosine
        share = (above - at * sine) / lever
        if abs(share) >= 1:
            spot[p] = value[p] = 0.0
            continue
        level = math.sqrt(1 - share * share)
        swing = math.asin(share)
        on = -height_rate * swing / (lever * level + height_rate)
        swing += on
        bend = 1 - 0.5 * on * on
        share, level = share * bend + level * on, level * bend - share * on
        hob_angle = swing + behind
        x = distance - radius[p] * level + distance_rate * hob_angle
        y = right + at * cosine - radius[p] * share * sine + right_rate * hob_angle
        spot[p] = (math.atan2(y, x) - table - table_rate * hob_angle) * per_column
        value[p] = 1 / math.sqrt(x * x + y * y)
        if bounded and not (begins <= turned + hob_angle and turned + hob_angle <= ends):
            value[p] = 0.0


def _inside(row, spot, value, points, columns, margin, floor):  # type: ignore[no-untyped-def]
    """Whether an edge near this polyline, by `margin` at most, cuts nothing that isn't cut already."""
    least = spot[0]
    for p in range(1, points):
        if spot[p] < least:
            least = spot[p]
    width = 2 * math.pi / (columns * value[points // 2])
    more = int(margin / width) + 2
    carried = columns * math.floor((least - more) / columns)
    for p in range(points - 1):
        begin, end, near, far = spot[p] - carried, spot[p + 1] - carried, value[p], value[p + 1]
        if begin > end:
            begin, end, near, far = end, begin, far, near
        if end - begin < 1e-3:
            return False
        slope = (far - near) / (end - begin)
        # The margin, square to the line, along the radius.
        steep = slope / (near * near * width)
        raised = margin * math.sqrt(1 + steep * steep) * 1.05 * near * near
        most = max(near, far) + margin * 1.05 * near * near
        if most <= floor:
            continue
        # No leaving half-way: then several columns go through the processor at once.
        deepest = -1.0
        for c in range(int(begin) - more, int(end) + 1 + more):
            deepest = max(deepest, min(near + slope * (c - begin) + raised, most) - row[c])
        if deepest > 0:
            return False
    return True


def _lay(row, spot, value, columns, floor):  # type: ignore[no-untyped-def]
    """One edge taken off one row; see `sweep.lay_down`."""
    step = 2 * math.pi / columns
    least = spot[0]
    for p in range(1, spot.size):
        if spot[p] < least:
            least = spot[p]
    carried = columns * math.floor(least / columns)
    for p in range(spot.size):
        spot[p] -= carried
    for p in range(spot.size - 1):
        begin, end = spot[p], spot[p + 1]
        first, last = int(begin), int(end)
        near, far = value[p], value[p + 1]
        if first == last or (near <= floor and far <= floor) or near <= 0 or far <= 0:
            continue
        if first > last:
            first, last = last, first
        bend = near * (-0.5 * step * step)
        slope = (far - near) / (end - begin) - bend * (end - begin)
        for c in range(first + 1, last + 1):
            run = c - begin
            new = (bend * run + slope) * run + near
            if new > row[c]:
                row[c] = new
                row[c - columns if c >= columns else c + columns] = new


def _asin_series(x: float) -> float:
    s = x * x
    far = 945 / 42240 + s * (
        10395 / 599040 + s * (135135 / 9676800 + s * (6435 / 557056 + s * 12155 / 1245184))
    )
    return x * (1 + s * (1 / 6 + s * (3 / 40 + s * (15 / 336 + s * (105 / 3456 + s * far)))))


def _atan_series(x: float) -> float:
    s = x * x
    far = 1 / 11 - s * (1 / 13 - s * (1 / 15 - s * (1 / 17 - s * (1 / 19 - s / 21))))
    return x * (1 - s * (1 / 3 - s * (1 / 5 - s * (1 / 7 - s * (1 / 9 - s * far)))))
