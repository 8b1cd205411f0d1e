"""Spaces, feed and lean read off the screw lattice on which the waves of a cut blank lie.

Source: own derivation, see `gauging.field`.
"""

from __future__ import annotations

import math
from typing import Literal

import numpy as np
from handlead.kinematics.frame.blank import Field
from handlead.kinematics.frame.words import Hand

from .spectrum import TURN, Floats, Spectrum, Wave

#: Marks that lean more than this against the line of the teeth (degrees) don't make one flank; on
#: helical work of few teeth the outside lies so far from the rolling circle that right marks lean
#: too, and `lean_limit_deg` allows for it. Own choice: half of what a spur hob of usual size gives
#: when its lead angle is turned the wrong way.
LEAN_LIMIT_DEG = 2.5

#: A blank that differs by more than this many modules of addendum from what the count asks for is
#: the wrong one for that count. Own choice: half of what one tooth more or less makes.
ADDENDUM_LIMIT = 0.24


#: So many of the orders that stand out are looked at one by one.
_LOUDEST = 48


def table_of(spectrum: Spectrum) -> list[Wave]:
    """The strongest wave of every order from 3 up that stands out at all."""
    grid = spectrum.grid()
    power = spectrum.window @ np.abs(spectrum.orders) ** 2
    power[:3] = 0
    loud = np.flatnonzero(power > 1e-6 * power.max())
    loud = np.sort(loud[np.argsort(power[loud])[-_LOUDEST:]])
    if not loud.size or power.max() < 1e-24:
        return []
    heights = spectrum.heights - spectrum.heights.mean()
    turned = np.exp(1j * TURN * np.outer(grid, heights))
    sizes = np.abs(turned @ (spectrum.window[:, None] * spectrum.orders[:, loud]))
    best = sizes.argmax(axis=0)
    return [
        Wave(int(order), float(grid[place]), complex(size))
        for order, place, size in zip(loud, best, sizes.max(axis=0), strict=True)
    ]


def fundamental(table: list[Wave], strongest: Wave) -> Wave:
    """The order of which the strongest one is a multiple, where that is nearly as strong.

    Single marks in single spaces put most into the lowest order; one that is much weaker is only a
    difference between neighbours.
    """
    for part in range(6, 1, -1):
        if strongest.order % part == 0:
            for wave in table:
                if wave.order * part == strongest.order and wave.size > 0.7 * strongest.size:
                    return wave
    return strongest


def spiral_of(spectrum: Spectrum) -> Wave | None:
    """The wave of the feed, which goes once round and once along in a feed; None where it can't be seen."""
    grid = spectrum.grid()
    grid = grid[np.abs(grid) >= 2.5 / spectrum.face]
    if not grid.size:
        return None
    sizes = np.abs(spectrum.along(-1, grid))
    best = int(sizes.argmax())
    if sizes[best] < 6 * float(np.median(sizes)) or sizes[best] < 1e-9:
        return None
    return spectrum.peak(-1, float(grid[best]), 0.5 / spectrum.face)


def _crest(spectrum: Spectrum, spiral: Wave, angle: Floats | float) -> Floats | float:
    """A height at which the marks are deepest at this angle; a feed higher they are so again."""
    feed = 1 / spiral.per_mm
    return float(spectrum.heights.mean()) + feed * (angle + float(np.angle(spiral.amplitude))) / TURN


def spaces_per_turn(field: Field, spectrum: Spectrum, spiral: Wave) -> float:
    """Spaces in a table turn, whole or not, along the line on which single turns cut deepest.

    On that line the spaces follow one another as they were cut, undisturbed by the turns above and below.
    """
    feed = 1 / spiral.per_mm
    heights = spectrum.heights
    low, high = (heights[0], heights[-1]) if feed > 0 else (heights[-1], heights[0])
    crest = float(_crest(spectrum, spiral, 0.0))
    first, last = math.ceil((low - crest) / feed), math.floor((high - crest) / feed)
    turns = np.arange(first, max(last, first + 1))
    turn = turns[:, None] + np.arange(field.columns)[None, :] / field.columns
    wanted = (crest + feed * turn).ravel()
    row = np.abs(np.searchsorted(heights, wanted).clip(1, heights.size - 1))
    row -= (wanted - heights[row - 1] < heights[row] - wanted).astype(np.int64)
    offset = int(np.flatnonzero(field.heights == heights[0])[0])
    angle = TURN * (np.tile(np.arange(field.columns), turns.size) / field.columns)
    column = (
        np.rint((angle - field.start[row + offset]) * field.columns / TURN).astype(np.int64) % field.columns
    )
    # The cube makes the deepest marks count; shallow ones of neighbouring turns reach into this line.
    depth = (field.uncut - field.radius[row + offset, column]) ** 3
    window = np.hanning(depth.size + 2)[1:-1]
    sizes = np.abs(np.fft.rfft((depth - depth.mean()) * window, 4 * depth.size))
    per_turn = np.arange(sizes.size) * field.columns / (4 * depth.size)
    sizes[per_turn < 2.5] = 0
    strongest = float(sizes.max())
    best = int(sizes.argmax())
    for part in range(6, 1, -1):
        near = np.flatnonzero(np.abs(per_turn - per_turn[best] / part) < 2 / max(1, turns.size))
        if near.size and sizes[near].max() > 0.7 * strongest:
            best = int(near[sizes[near].argmax()])
            break
    return float(per_turn[best])


def with_the_grain(spectrum: Spectrum, feed: float, real: float, notes: list[str]) -> Wave:
    """Of the counts that would join these spaces into teeth, the one that follows the marks best."""
    found = []
    for order in range(max(2, math.floor(real) - 1), math.floor(real) + 3):
        near = (order - real) / feed
        if order < spectrum.orders.shape[1] and abs(near) < spectrum.finest * 1.05:
            found.append(spectrum.peak(order, near, 0.6 / spectrum.face))
    found.sort(key=lambda wave: -wave.size)
    if len(found) > 1 and found[1].size > 0.8 * found[0].size:
        notes.append(
            f"the spaces merge as well into {found[1].order} teeth as into {found[0].order}: "
            "from the blank alone the count can't be told"
        )
    return found[0]


def lean_read_deg(field: Field, spectrum: Spectrum, spaces: Wave, spiral: Wave) -> float | None:
    """Angle by which the marks of single table turns lean against the line of the teeth, in degrees.

    The middle of each space is found in each row by its first moment; how it wanders from the line
    of the teeth with the height over the line of deepest cut is the lean.
    """
    feed = 1 / spiral.per_mm
    pitch = TURN / spaces.order
    mean = spectrum.heights.mean()
    inner = slice(int(np.flatnonzero(field.heights == spectrum.heights[0])[0]), None)
    depth = (field.uncut - field.radius)[inner][: spectrum.heights.size]
    angle = field.angles[None, :] + field.start[inner][: spectrum.heights.size, None]
    along = TURN * spaces.per_mm / spaces.order * (spectrum.heights - mean)
    middle = along - float(np.angle(spaces.amplitude)) / spaces.order
    place = (angle - middle[:, None]) / pitch
    number = np.rint(place)
    aside = (place - number) * pitch
    index = (
        np.arange(depth.shape[0])[:, None] * spaces.order + number.astype(np.int64) % spaces.order
    ).ravel()
    total = np.bincount(index, depth.ravel(), depth.shape[0] * spaces.order)
    moment = np.bincount(index, (depth * aside).ravel(), depth.shape[0] * spaces.order)
    centre = middle[:, None] + pitch * np.arange(spaces.order)[None, :]
    above = (spectrum.heights[:, None] - _crest(spectrum, spiral, centre)) / feed
    above = ((above + 0.5) % 1 - 0.5).ravel() * feed
    near = (np.abs(above) < 0.26 * abs(feed)) & (total > 0.2 * total.max())
    if np.count_nonzero(near) < 12:
        return None
    wander = moment[near] / total[near]
    slope = float(np.polyfit(above[near], wander, 1)[0])
    line = TURN * spaces.per_mm / spaces.order
    return math.degrees(math.atan(field.uncut * (line + slope)) - math.atan(field.uncut * line))


def helix_read(spectrum: Spectrum, spaces: Wave) -> tuple[Literal["right", "left", "none"], float | None]:
    """Hand and lead; spaces that wander over the face by no more than can be made out are straight."""
    if abs(spaces.per_mm) * spectrum.face < max(3e-4, _doubt(spectrum, spaces)):
        return "none", None
    hand = Hand.RIGHT if spaces.per_mm > 0 else Hand.LEFT
    return ("right" if hand is Hand.RIGHT else "left"), spaces.order / abs(spaces.per_mm)


def _doubt(spectrum: Spectrum, spaces: Wave) -> float:
    """Part of a pitch by which the line of the spaces may be out over the face, by how rows stray from it."""
    heights = spectrum.heights - spectrum.heights.mean()
    line = spaces.amplitude * np.exp(-1j * TURN * spaces.per_mm * heights)
    stray = np.angle(spectrum.orders[:, spaces.order] / line) / TURN
    # Six times the standard error of a straight line's rise through evenly spaced rows.
    return 6 * float(np.std(stray)) * math.sqrt(12 / heights.size)


def whole_count(field: Field, spectrum: Spectrum, spaces: Wave, notes: list[str]) -> bool:
    """Whether in every row each cut place is one single space, between lands, where a space belongs."""
    land = field.radius >= field.uncut * (1 - 1e-9)
    if not land.any():
        notes.append("no land is left between the spaces")
        return False
    before = np.roll(land, 1, axis=1)
    row, opens = np.nonzero(before & ~land)
    _, closes = np.nonzero(~before & land)
    if np.unique(row).size < np.count_nonzero(~land.all(axis=1)):
        notes.append("some teeth have lost their land")
        return False
    # Where a row begins inside a space, the first run to close in it is the last that opened.
    first = np.searchsorted(row, row)
    counts = np.bincount(row, minlength=field.rows)
    closing = closes.copy()
    for index in np.flatnonzero(first == np.arange(row.size)):
        mine = slice(index, index + counts[row[index]])
        if closes[index] <= opens[index]:
            closing[mine] = np.roll(closes[mine], -1)
    long = (closing - opens) % field.columns * (spaces.order / field.columns)
    if np.any(long >= 1):
        notes.append("some teeth have lost their land")
        return False
    place = (
        field.start[row] + TURN * (opens + 0.5 * ((closing - opens) % field.columns) - 0.5) / field.columns
    )
    line = TURN * spaces.per_mm * (field.heights[row] - spectrum.heights.mean()) - np.angle(spaces.amplitude)
    aside = (place * spaces.order - line) / TURN
    if np.any(np.abs(aside - np.rint(aside)) > 0.3):
        notes.append("spaces are doubled: some stand beside the line of the others")
        return False
    return True


def lean_limit_deg(spaces: Wave, radius: float) -> float:
    """Lean that a right set-up may show: what the helix gains from the rolling circle to the outside, and more."""
    tangent = TURN * radius * spaces.per_mm / spaces.order
    addendum = 2 / spaces.order
    return LEAN_LIMIT_DEG + math.degrees(1.6 * addendum * abs(tangent) / (1 + tangent * tangent))


def stands_alone(table: list[Wave], spaces: Wave, notes: list[str]) -> bool:
    """Whether no other count stands out as much."""
    others = [
        wave
        for wave in table
        if wave.order not in (spaces.order, 2 * spaces.order)
        and wave.order <= 2 * spaces.order
        and wave.size > 0.5 * spaces.size
    ]
    if others:
        orders = ", ".join(str(wave.order) for wave in others[:4])
        notes.append(f"other counts stand out as well ({orders}): the spaces of successive turns don't meet")
        return False
    return True


#: The lead told from a band that no slide went along may be out by so much: a touch is only as wide as few
#: gashes make it. Own choice, from radial and tangential cuts of worm wheels of 17 to 90 teeth.
BAND_LEADS = (0.6, 1.0, 1.4)


def fits_blank(
    field: Field,
    spaces: Wave,
    leads: tuple[float | None, ...],
    module_n: float,
    addendum: float,
    notes: list[str],
) -> bool:
    """Whether this many teeth of this module stand on a blank of this diameter, with a lead among these."""
    teeth = spaces.order
    sines = [0.0 if lead is None else math.pi * module_n * teeth / lead for lead in leads]
    sines = [sine for sine in sines if sine < 1]
    if not sines:
        notes.append(
            f"{teeth} teeth of module {module_n:g} can't have a lead of {leads[len(leads) // 2]:.1f} mm"
        )
        return False
    heights = [field.uncut / module_n - teeth / 2 / math.sqrt(1 - sine * sine) for sine in sines]
    found = min(max(addendum, min(heights)), max(heights))
    if abs(found - addendum) > ADDENDUM_LIMIT:
        size = "small" if found < addendum else "large"
        notes.append(
            f"the blank is too {size} for {teeth} teeth: their tips stand {found:.2f} modules over the "
            f"reference circle, not {addendum:.2f}"
        )
        return False
    return True
