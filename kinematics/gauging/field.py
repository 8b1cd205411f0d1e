"""Measuring a cut blank as an inspector would: from the field of radii alone.

Spaces cut at constant rates repeat on a screw lattice: from one space to the next in order of
cutting the blank turns by 1/T of a turn while the slide goes on by f/T, with T spaces to a table
turn and f the feed. All that is on such a blank therefore lies, in terms of angular order n and
waves κ per millimetre of height, at κ = (n − j·T)/f for whole j. The spaces themselves are j = 1,
at the n whose waves go with the grain of the marks; the spiral of the feed is n = 1 and j = 0.
Count, lead, T and f are read off these places and nothing else.
Source of the lattice: own derivation, from a screw motion's effect on a Fourier series.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
from handlead.kinematics.frame.blank import Field
from handlead.kinematics.frame.words import Hand

Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]

TURN = 2 * math.pi

#: Marks that lean more than this against the line of the teeth (degrees) don't make one flank; on
#: helical work of few teeth the outside lies so far from the rolling circle that right marks lean
#: too, and `_lean_limit_deg` allows for it. Own choice: half of what a spur hob of usual size gives
#: when its lead angle is turned the wrong way.
LEAN_LIMIT_DEG = 2.5

#: A blank that differs by more than this many modules of addendum from what the count asks for is
#: the wrong one for that count. Own choice: half of what one tooth more or less makes.
ADDENDUM_LIMIT = 0.24


#: So many of the orders that stand out are looked at one by one.
_LOUDEST = 48


@dataclass(frozen=True)
class Gauged:
    """What is on the blank. None stands for what can't be told; `notes` then say why.

    `teeth` is the count; `hand` of a spur gear is `"none"`, its `lead_mm` None. `real_teeth` is how
    many spaces fall into one table turn of the cut, whole or not; `offset_pitch` by how many pitches
    the spaces of one table turn stand before those of the turn before at the same height;
    `feed_mm` the slide's travel in a table turn, with its sign. `lean_deg` is the angle between the
    marks and the line of the teeth on the outside of the blank. `land_share` is the part of the
    outside left uncut. `pattern` is the number of marks that stand out most round the blank, whether or not
    they make teeth, `pattern_lean_deg` how their lines lean, to the right positive, and `patterns` names others
    that stand out nearly as much. `whole` says that every space is single and every tooth has its land,
    `is_plain` that one count alone joins the spaces into teeth along their marks, `clean` that nothing at all is amiss.
    """

    teeth: int | None
    hand: Literal["right", "left", "none"] | None
    lead_mm: float | None
    real_teeth: float | None
    offset_pitch: float | None
    feed_mm: float | None
    lean_deg: float | None
    land_share: float
    pattern: int | None
    whole: bool
    clean: bool
    notes: tuple[str, ...] = ()
    pattern_lean_deg: float | None = None
    patterns: tuple[int, ...] = ()
    is_plain: bool = False


@dataclass(frozen=True)
class Wave:
    """One place of the spectrum: `order` round the blank, `per_mm` waves along it, and its amplitude."""

    order: int
    per_mm: float
    amplitude: complex

    @property
    def size(self) -> float:
        """Absolute amplitude, in mm."""
        return abs(self.amplitude)


class Spectrum:
    """Orders round the blank, each with its waves along the height; windowed, in mm of depth."""

    def __init__(self, field: Field) -> None:
        depth = field.uncut - field.radius
        cut = np.flatnonzero(depth.max(axis=1) > 1e-9 * field.uncut)
        rows = slice(int(cut[0]), int(cut[-1]) + 1) if cut.size else slice(0, 0)
        self.heights = field.heights[rows]
        self.face = float(self.heights[-1] - self.heights[0]) if cut.size else 0.0
        orders = np.fft.rfft(depth[rows], axis=1) / field.columns
        orders *= np.exp(-1j * np.outer(field.start[rows], np.arange(orders.shape[1])))
        self.orders: Complexes = orders
        # Once round the blank, with the deepest places counting for nearly everything: where single
        # turns cut deepest stays plain even where spaces of two turns lie side by side half as deep.
        deep = (depth[rows] / (depth.max() or 1.0)) ** 8
        around = np.exp(-1j * (field.angles[None, :] + field.start[rows][:, None]))
        self.deepest: Complexes = np.asarray((deep * around).mean(axis=1))
        count = self.heights.size
        # Hann's window: what lies at other places of the spectrum then leaks next to nothing.
        place = (self.heights - self.heights.mean()) / (self.face or 1.0) if count else self.heights
        window = np.cos(math.pi * place * count / (count + 1)) ** 2
        self.window = window / window.sum() if count else window
        gaps = np.diff(self.heights)
        self.finest = 0.5 / float(gaps.max()) if gaps.size else 0.0

    def along(self, order: int, per_mm: Floats) -> Complexes:
        """Amplitudes of one order at these waves per mm (positive: a right-hand lean).

        Order −1 stands for the first order of the deepest places alone, without a unit.
        """
        heights = self.heights - self.heights.mean()
        turned = np.exp(1j * TURN * np.outer(per_mm, heights))
        rows = self.deepest if order < 0 else self.orders[:, order]
        return np.asarray(turned @ (self.window * rows))

    def grid(self) -> Floats:
        """Waves per mm fine enough that no peak falls between, within what the rows can tell apart."""
        steps = max(1, math.ceil(4 * self.finest * self.face))
        return np.linspace(-self.finest, self.finest, 2 * steps + 1)

    def peak(self, order: int, near: float, width: float) -> Wave:
        """The highest place of one order within `width` of `near`, to the last digits."""
        for _ in range(12):
            tried = np.linspace(near - width, near + width, 17)
            near = float(tried[np.argmax(np.abs(self.along(order, tried)))])
            width /= 6
        sides = np.linspace(near - width * 50, near + width * 50, 3)
        low, middle, high = np.abs(self.along(order, sides))
        bend = low - 2 * middle + high
        if bend < 0:
            near += float(0.5 * (low - high) / bend * (sides[1] - sides[0]))
        return Wave(order, near, complex(self.along(order, np.array([near]))[0]))


def gauge(
    field: Field,
    *,
    module_n: float | None = None,
    addendum: float = 1.0,
    fed_along: bool = True,
    strike_deg: float = 0.0,
) -> Gauged:
    """Count, hand, lead and state of what is cut into the blank.

    `module_n` (mm) and `addendum` (in modules, profile shift included) are what a gear tooth gauge
    held to the hob says; with them the count is checked against the blank's diameter. `fed_along` False
    says that no slide went along the blank: then the band that is cut has no feed to be found on it, and
    its lead is only as good as a touch can tell. `strike_deg` is by how much the marks of single gashes may lean
    against the hob's thread. Nothing else is known here of the set-up, nor of what was wanted.
    """
    spectrum = Spectrum(field)
    if spectrum.heights.size < 3:
        return _nothing(
            field, "nothing is cut" if not spectrum.heights.size else "too few rows are cut to measure"
        )
    table = _table(spectrum)
    if not table:
        return _nothing(field, "no spaces stand out: the blank is turned down all round, or not cut")
    strongest = max(table, key=lambda wave: wave.size)
    spiral = _spiral(spectrum) if fed_along else None
    seen = _Seen(field, spectrum, table, strongest, _Marks.of(field, spectrum, table, strongest), spiral)
    held = _Held(module_n, addendum, fed_along, strike_deg)
    if spiral is None:
        return _read(seen, held, None)
    counted = _spaces_per_turn(field, spectrum, spiral)
    found = _read(seen, held, counted)
    times = round(strongest.order / counted)
    if found.clean or not 1 < times <= _MOST_UNEVEN:
        return found
    # With many starts on few gashes, neighbouring spaces of a right cut are unevenly deep: all of them count, if
    # together they make whole, clean teeth.
    together = _read(seen, held, counted * times)
    return together if together.clean else found


#: As many spaces in a row may be unevenly deep: a hob has so many starts.
_MOST_UNEVEN = 4


@dataclass(frozen=True)
class _Seen:
    """What stands out on a field."""

    field: Field
    spectrum: Spectrum
    table: list[Wave]
    strongest: Wave
    marks: _Marks
    spiral: Wave | None


@dataclass(frozen=True)
class _Held:
    """What is held to the blank, or told of how it was cut; see `gauge`."""

    module_n: float | None
    addendum: float
    fed_along: bool
    strike_deg: float


def _read(seen: _Seen, held: _Held, counted: float | None) -> Gauged:
    """What follows where so many spaces come to a table turn; None where the feed leaves no mark."""
    field, spectrum, spiral, marks = seen.field, seen.spectrum, seen.spiral, seen.marks
    notes: list[str] = []
    real = offset = lean = feed = None
    if spiral is None or counted is None:
        if held.fed_along:
            notes.append(
                "the feed leaves no mark that these rows can show: how successive turns fall can't be told"
            )
        spaces = _fundamental(seen.table, seen.strongest)
        spaces = spectrum.peak(spaces.order, spaces.per_mm, 0.5 / spectrum.face)
    else:
        feed = 1 / spiral.per_mm
        spaces = _with_the_grain(spectrum, feed, counted, notes)
        offset = -spaces.per_mm * feed
        real = spaces.order + offset
        lean = _lean_deg(field, spectrum, spaces, spiral)
    if _merged(field):
        return _cut_away(field, marks, feed, real)
    plain = not notes or spiral is None
    hand, lead = _helix(spectrum, spaces)
    whole = _whole(field, spectrum, spaces, notes)
    leans = lean is not None and abs(lean) > _lean_limit_deg(spaces, field.uncut) + held.strike_deg
    plain = plain and whole and not leans
    if whole and leans:
        notes.append(f"the marks lean {lean:.1f} deg against the line of the teeth")
    clean = whole and not leans and _alone(seen.table, spaces, notes)
    if held.module_n is not None:
        narrow = lead is not None and not held.fed_along
        leads = (lead,) if lead is None or not narrow else tuple(lead * part for part in _BAND_LEADS)
        clean = _fits(field, spaces, leads, held.module_n, held.addendum, notes) and clean
    return Gauged(
        teeth=spaces.order,
        hand=hand,
        lead_mm=lead,
        real_teeth=real,
        offset_pitch=offset,
        feed_mm=feed,
        lean_deg=lean,
        land_share=_land_share(field),
        pattern=marks.count,
        whole=whole,
        clean=clean,
        notes=tuple(notes),
        pattern_lean_deg=marks.lean_deg,
        patterns=marks.others,
        is_plain=plain,
    )


#: A count that stands out so much, against the one that stands out most, might be counted instead. Own choice.
_NEARLY = 0.75


@dataclass(frozen=True)
class _Marks:
    """What stands out most round the blank: how many marks, how their lines lean, and what else might be counted."""

    count: int
    lean_deg: float
    others: tuple[int, ...]

    @classmethod
    def of(cls, field: Field, spectrum: Spectrum, table: list[Wave], strongest: Wave) -> _Marks:
        wave = spectrum.peak(strongest.order, strongest.per_mm, 0.5 / spectrum.face)
        lean = math.degrees(math.atan(TURN * field.uncut * wave.per_mm / wave.order))
        # A multiple along the same lines is the shape of the marks, not more of them.
        near = [other for other in table if other.size > _NEARLY * strongest.size]
        others = {other.order for other in near if not _is_multiple(other, wave, 1 / spectrum.face)}
        return cls(wave.order, lean, tuple(sorted(others)))


def _is_multiple(wave: Wave, of: Wave, within: float) -> bool:
    """Whether a wave goes along the same lines as another, a whole number of times as often."""
    times, rest = divmod(wave.order, of.order)
    return not rest and abs(wave.per_mm / times - of.per_mm) < within


@dataclass(frozen=True)
class Line:
    """Where the spaces on a blank stand: `teeth` of them, along a line round the blank."""

    teeth: int
    per_mm: float
    height: float
    place: float

    def at(self, height: float) -> float:
        """How many spaces, and parts of one, lie from angle 0 counter-clockwise to a space at this height."""
        return self.place + self.per_mm * (height - self.height)


def line_of_spaces(field: Field) -> Line | None:
    """The line of the spaces on this blank; None where no spaces can be told."""
    found = gauge(field)
    if found.teeth is None:
        return None
    spectrum = Spectrum(field)
    sense = {"right": 1, "left": -1}.get(found.hand or "", 0)
    near = 0.0 if found.lead_mm is None else sense * found.teeth / found.lead_mm
    wave = spectrum.peak(found.teeth, near, 0.5 / spectrum.face)
    height = float(spectrum.heights.mean())
    return Line(found.teeth, wave.per_mm, height, -float(np.angle(wave.amplitude)) / TURN)


def _nothing(field: Field, note: str) -> Gauged:
    return Gauged(None, None, None, None, None, None, None, _land_share(field), None, False, False, (note,))


def _merged(field: Field) -> bool:
    """Whether what stands between the spaces is low against what was cut away: no teeth, only ridges."""
    height = float(np.median(np.ptp(field.radius, axis=1)))
    return height < 0.35 * (field.uncut - float(field.radius.min()))


def _cut_away(field: Field, marks: _Marks, feed: float | None, real: float | None) -> Gauged:
    ridges = (
        ""
        if real is None
        else f"; the ridges left come {real:.3f} to a table turn, a multiple of what was cut"
    )
    note = f"the spaces merge and no teeth are left: count, hand and lead can't be told{ridges}"
    return Gauged(
        None, None, None, None, None, feed, None, _land_share(field), marks.count, False, False, (note,),
        marks.lean_deg, marks.others,
    )  # fmt: skip


def _land_share(field: Field) -> float:
    return float(np.mean(field.radius > field.uncut * (1 - 1e-9)))


def _table(spectrum: Spectrum) -> list[Wave]:
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


def _fundamental(table: list[Wave], strongest: Wave) -> Wave:
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


def _spiral(spectrum: Spectrum) -> Wave | None:
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


def _spaces_per_turn(field: Field, spectrum: Spectrum, spiral: Wave) -> float:
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


def _with_the_grain(spectrum: Spectrum, feed: float, real: float, notes: list[str]) -> Wave:
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


def _lean_deg(field: Field, spectrum: Spectrum, spaces: Wave, spiral: Wave) -> float | None:
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


def _helix(spectrum: Spectrum, spaces: Wave) -> tuple[Literal["right", "left", "none"], float | None]:
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


def _whole(field: Field, spectrum: Spectrum, spaces: Wave, notes: list[str]) -> bool:
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


def _lean_limit_deg(spaces: Wave, radius: float) -> float:
    """Lean that a right set-up may show: what the helix gains from the rolling circle to the outside, and more."""
    tangent = TURN * radius * spaces.per_mm / spaces.order
    addendum = 2 / spaces.order
    return LEAN_LIMIT_DEG + math.degrees(1.6 * addendum * abs(tangent) / (1 + tangent * tangent))


def _alone(table: list[Wave], spaces: Wave, notes: list[str]) -> bool:
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
_BAND_LEADS = (0.6, 1.0, 1.4)


def _fits(
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
