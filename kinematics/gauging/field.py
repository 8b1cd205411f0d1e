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
from handlead.kinematics.frame.blank import Field

from .lattice import (
    BAND_LEADS,
    fits_blank,
    fundamental,
    helix_read,
    lean_limit_deg,
    lean_read_deg,
    spaces_per_turn,
    spiral_of,
    stands_alone,
    table_of,
    whole_count,
    with_the_grain,
)
from .spectrum import TURN, Spectrum, Wave


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
    table = table_of(spectrum)
    if not table:
        return _nothing(field, "no spaces stand out: the blank is turned down all round, or not cut")
    strongest = max(table, key=lambda wave: wave.size)
    spiral = spiral_of(spectrum) if fed_along else None
    seen = _FieldSeen(field, spectrum, table, strongest, _MarksRead.of(field, spectrum, table, strongest), spiral)
    held = _Held(module_n, addendum, fed_along, strike_deg)
    if spiral is None:
        return _read(seen, held, None)
    counted = spaces_per_turn(field, spectrum, spiral)
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
class _FieldSeen:
    """What stands out on a field."""

    field: Field
    spectrum: Spectrum
    table: list[Wave]
    strongest: Wave
    marks: _MarksRead
    spiral: Wave | None


@dataclass(frozen=True)
class _Held:
    """What is held to the blank, or told of how it was cut; see `gauge`."""

    module_n: float | None
    addendum: float
    fed_along: bool
    strike_deg: float


@dataclass(frozen=True)
class _TurnsRead:
    """The spaces, and how those of successive table turns fall: feed, offset, spaces to a turn, lean of the marks."""

    spaces: Wave
    feed: float | None = None
    offset: float | None = None
    real: float | None = None
    lean: float | None = None


def _turns_read(seen: _FieldSeen, held: _Held, counted: float | None, notes: list[str]) -> _TurnsRead:
    """The spaces and their turns; where the feed leaves no mark the spaces only, and a note if there was a feed."""
    spectrum, spiral = seen.spectrum, seen.spiral
    if spiral is None or counted is None:
        if held.fed_along:
            notes.append(
                "the feed leaves no mark that these rows can show: how successive turns fall can't be told"
            )
        spaces = fundamental(seen.table, seen.strongest)
        return _TurnsRead(spectrum.peak(spaces.order, spaces.per_mm, 0.5 / spectrum.face))
    feed = 1 / spiral.per_mm
    spaces = with_the_grain(spectrum, feed, counted, notes)
    offset = -spaces.per_mm * feed
    lean = lean_read_deg(seen.field, spectrum, spaces, spiral)
    return _TurnsRead(spaces, feed, offset, spaces.order + offset, lean)


def _read(seen: _FieldSeen, held: _Held, counted: float | None) -> Gauged:
    """What follows where so many spaces come to a table turn; None where the feed leaves no mark."""
    field, spectrum, marks = seen.field, seen.spectrum, seen.marks
    notes: list[str] = []
    turns = _turns_read(seen, held, counted, notes)
    spaces, lean = turns.spaces, turns.lean
    if _merged(field):
        return _cut_away(field, marks, turns.feed, turns.real)
    plain = not notes or seen.spiral is None
    hand, lead = helix_read(spectrum, spaces)
    whole = whole_count(field, spectrum, spaces, notes)
    leans = lean is not None and abs(lean) > lean_limit_deg(spaces, field.uncut) + held.strike_deg
    plain = plain and whole and not leans
    if whole and leans:
        notes.append(f"the marks lean {lean:.1f} deg against the line of the teeth")
    clean = whole and not leans and stands_alone(seen.table, spaces, notes)
    if held.module_n is not None:
        narrow = lead is not None and not held.fed_along
        leads = (lead,) if lead is None or not narrow else tuple(lead * part for part in BAND_LEADS)
        clean = fits_blank(field, spaces, leads, held.module_n, held.addendum, notes) and clean
    return Gauged(
        teeth=spaces.order,
        hand=hand,
        lead_mm=lead,
        real_teeth=turns.real,
        offset_pitch=turns.offset,
        feed_mm=turns.feed,
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
class _MarksRead:
    """What stands out most round the blank: how many marks, how their lines lean, and what else might be counted."""

    count: int
    lean_deg: float
    others: tuple[int, ...]

    @classmethod
    def of(cls, field: Field, spectrum: Spectrum, table: list[Wave], strongest: Wave) -> _MarksRead:
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
class SpaceLine:
    """Where the spaces on a blank stand: `teeth` of them, along a line round the blank."""

    teeth: int
    per_mm: float
    height: float
    place: float

    def at(self, height: float) -> float:
        """How many spaces, and parts of one, lie from angle 0 counter-clockwise to a space at this height."""
        return self.place + self.per_mm * (height - self.height)


def line_of_spaces(field: Field) -> SpaceLine | None:
    """The line of the spaces on this blank; None where no spaces can be told."""
    found = gauge(field)
    if found.teeth is None:
        return None
    spectrum = Spectrum(field)
    sense = {"right": 1, "left": -1}.get(found.hand or "", 0)
    near = 0.0 if found.lead_mm is None else sense * found.teeth / found.lead_mm
    wave = spectrum.peak(found.teeth, near, 0.5 / spectrum.face)
    height = float(spectrum.heights.mean())
    return SpaceLine(found.teeth, wave.per_mm, height, -float(np.angle(wave.amplitude)) / TURN)


def _nothing(field: Field, note: str) -> Gauged:
    return Gauged(None, None, None, None, None, None, None, _land_share(field), None, False, False, (note,))


def _merged(field: Field) -> bool:
    """Whether what stands between the spaces is low against what was cut away: no teeth, only ridges."""
    height = float(np.median(np.ptp(field.radius, axis=1)))
    return height < 0.35 * (field.uncut - float(field.radius.min()))


def _cut_away(field: Field, marks: _MarksRead, feed: float | None, real: float | None) -> Gauged:
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
