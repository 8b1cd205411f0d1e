"""What the light first cut must look like: the outside of the blank unrolled, wanted beside predicted.

The unrolled outside is drawn as it is seen from without, the work axis upright: a right-hand tooth
leans to the right as it goes up. Sizes are mm, to one scale both ways, so that angles are true.
Where the spaces of a table turn don't fall into those of the turn before, every single pass of the
hob is drawn where it would touch.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import TYPE_CHECKING

from handlead.kinematics.cutting.touch import SCRATCH_DEPTH
from handlead.kinematics.frame.words import Feed, Hand
from handlead.kinematics.law.light_cut import LightMarks
from handlead.kinematics.law.outcome import Outcome
from handlead.kinematics.work.requirement import HobData, Work
from handlead.kinematics.work.sizes import hob_tip_diameter, outside_diameter, throat_of
from handlead.machines.setups.case import face_width_mm
from handlead.viz.look import look, symbols
from handlead.viz.look.symbols import Pen
from handlead.viz.look.written import Written, tall, wrap, write

from .head import Segment

if TYPE_CHECKING:
    from matplotlib.axes import Axes


@dataclass(frozen=True)
class Passes:
    """Marks that the hob's passes leave one by one: `to_a_turn` of them in a table turn, whole or not.

    `side` is 1 where the next pass falls to the right on the outside of the blank, -1 to the left; `rise` is
    how far up the next table turn falls, in mm, negative for down. A mark is `length` mm long along the
    hob's thread, which leans by `lean_deg` to the right.
    """

    to_a_turn: Fraction
    side: int
    rise: float
    length: float
    lean_deg: float

    @property
    def miss(self) -> Fraction:
        """By how many pitches a table turn's marks fall to the right of those of the turn before."""
        return self.side * (round(self.to_a_turn) - self.to_a_turn)

    @property
    def words(self) -> tuple[str, str]:
        """That there is no count, and why."""
        side = "RIGHT" if self.miss > 0 else "LEFT"
        beside = f"{_share(abs(self.miss))} of a pitch to the {side} of those of the turn before"
        turns, whole = self.to_a_turn.denominator, self.to_a_turn.numerator
        closes = f"; they close after {turns} turns, {whole} in all" if turns <= _FEW_TURNS else ""
        return "no count that closes", (
            f"{mixed_text(self.to_a_turn)} marks in a turn of the table: each turn's fall {beside}{closes}"
        )


#: After more table turns than this nobody tells any more that the marks close.
_FEW_TURNS = 6


def mixed_text(value: Fraction) -> str:
    """A number above 0 as a whole one and a fraction, or as a decimal where that is long."""
    whole, rest = divmod(value, 1)
    if not rest or len(str(rest)) > 7:
        return str(whole) if not rest else f"{float(value):.4f}"
    return f"{whole} {rest}" if whole else str(rest)


def _share(value: Fraction) -> str:
    return str(value) if len(str(value)) <= 7 else f"{float(value):.3g}"


@dataclass(frozen=True)
class Marks:
    """The marks on one blank: `whose` they are, how many to count, which way and how far they lean.

    `count` None stands for a blank that shows no marks to count, `why` says so. `hand` None is
    straight. `lean_deg` is from the work axis on the outside of the blank, without sign; `pitch` is from
    mark to mark round the outside, in mm. `passes` are given where the marks must be drawn one by one: because
    they don't close, and then there is no count though there are marks, or because they lie across the line
    that they make. `cut_away`: nothing of the outside is left.
    """

    whose: str
    count: int | None
    hand: Hand | None
    lean_deg: float
    pitch: float
    why: str = ""
    passes: Passes | None = None
    cut_away: bool = False

    @property
    def signed_lean_deg(self) -> float:
        """Lean to the right positive, as drawn."""
        return self.lean_deg * (self.hand.value if self.hand else 0)

    @property
    def words(self) -> tuple[str, str]:
        """The count, and the lean, as the sheet says them."""
        if self.passes is not None and self.count is None:
            return self.passes.words
        if self.count is None:
            return "no marks to count", self.why
        if self.hand is None or not self.lean_deg:
            return f"{self.count} marks", f"straight, along the axis{self.why and f'; {self.why}'}"
        lean = f"lean to the {self.hand.word.upper()} going up, {lean_text(self.lean_deg)}"
        return f"{self.count} marks", f"{lean}{self.why and f'; {self.why}'}"


def lean_text(angle_deg: float) -> str:
    """An angle for a protractor: degrees and minutes to the nearest ten of them."""
    tens = round(angle_deg * 6)
    return f"{tens // 6}° {tens % 6 * 10:02d}′"


@dataclass(frozen=True)
class WitnessLayout:
    """Strips of the unrolled outside, one for each of `marks`: `width` round it by `height` along the axis, in mm.

    `lines` holds each strip's marks, from 0 at its lower left corner. The first strip's marks are what is
    wanted; `ghosts` are theirs for every strip that differs.
    """

    marks: tuple[Marks, ...]
    lines: tuple[tuple[Segment, ...], ...]
    width: float
    height: float
    circumference: float

    def differs(self, number: int) -> bool:
        """Whether that strip's count or hand isn't the wanted one."""
        marks, wanted = self.marks[number], self.marks[0]
        return marks.passes is not None or (marks.count, marks.hand) != (wanted.count, wanted.hand)

    def ghosts(self, number: int) -> tuple[Segment, ...]:
        """The wanted marks to be shown faintly in that strip: none where it is as wanted, or leans a little else."""
        wanted, marks = self.marks[0], self.marks[number]
        near = abs(wanted.signed_lean_deg - marks.signed_lean_deg) < 1.0
        shows = marks.count is not None or marks.passes is not None
        return () if not shows or (not self.differs(number) and near) else self.lines[0]


def wanted_marks(work: Work) -> Marks:
    """The marks that the drawing asks for."""
    outside, hand = outside_diameter(work), work.hand if work.is_helical else None
    if work.kind == "worm wheel":
        # What touches is the hob's thread, which leans as the worm's does.
        return _marks("wanted", work.teeth, hand, None, outside, "", work.beta_deg)
    return _marks("wanted", work.teeth, hand, work.lead_mm, outside, "")


def predicted_marks(
    work: Work, outcome: Outcome | None, hob: HobData | None = None, swivel_deg: float = 0.0,
    light: LightMarks | None = None,
) -> Marks:  # fmt: skip
    """The marks that the set-up's rates would leave on the drawing's blank; `light` are those that stand out on it
    where the spaces of its table turns don't meet.

    Marks that don't close are drawn pass by pass only where the `hob` is given, and how its head is swung.
    """
    outside = outside_diameter(work)
    if outcome is None:
        return _no_marks("hob and table aren't both driven")
    if outcome.runs_against_hob:
        why = "the table runs against the hob: no spaces form, the whole outside is cut away"
        return replace(_no_marks(why), cut_away=True)
    if outcome.teeth is None:
        return _no_marks("the table stands still: no spaces form")
    if not outcome.is_steady:
        return _unsteady(work, outcome, hob, swivel_deg, light)
    why = "" if outcome.feed_slide == "axial" else "a touch only"
    marks = _marks("predicted", outcome.teeth, outcome.hand, outcome.lead_mm, outside, why, outcome.helix_angle_deg)
    across = outcome.swivel_error_deg or 0.0
    if hob is None or outcome.feed is None or abs(across) < _ACROSS_DEG:
        return marks
    told = f"each touch lies {lean_text(abs(across))} across them, as the head is set"
    return replace(marks, passes=_passes(work, outcome, hob, swivel_deg), why=told)


#: Touches that lean more than this from the line that they make can be seen to. Own choice.
_ACROSS_DEG = 2.0


def _no_marks(why: str) -> Marks:
    return Marks("predicted", None, None, 0.0, 0.0, why)


def _unsteady(
    work: Work, outcome: Outcome, hob: HobData | None, swivel_deg: float, light: LightMarks | None
) -> Marks:
    """Marks of one table turn that don't close, and how many of several turns stand out together, if they do."""
    assert outcome.real_teeth is not None
    outside = outside_diameter(work)
    pitch = math.pi * outside / float(outcome.real_teeth)
    if hob is None:
        return _no_marks(f"{mixed_text(outcome.real_teeth)} marks in a turn of the table: they don't close")
    passes = _passes(work, outcome, hob, swivel_deg)
    if light is None or light.others:
        return Marks("predicted", None, None, 0.0, pitch, passes=passes)
    several = f"those of {light.turns} table turns beside each other: " if light.turns > 1 else ""
    why = f"{several}{passes.words[1]}"
    seen = math.pi * outside / light.count
    return Marks("predicted", light.count, light.hand, abs(light.lean_deg), seen, why, passes)


def _passes(work: Work, outcome: Outcome, hob: HobData, swivel_deg: float) -> Passes:
    """Marks of single passes: each lies on along the outside by its share of a turn, and up by its share of the feed."""
    assert outcome.real_teeth is not None
    feed = float(outcome.sliding_feed or 0) if outcome.feed is not None else 0.0
    # The work turns past the hob as a right-hand hob drives it, or the other way: the next mark falls behind it.
    return Passes(
        outcome.real_teeth,
        hob.hand.value,
        feed if outcome.feed is Feed.CONVENTIONAL else -feed,
        max(_touch_length(work, hob), feed),
        hob.hand.value * (hob.gamma_deg or 0.0) - swivel_deg,
    )


def _touch_length(work: Work, hob: HobData) -> float:
    """How long a mark the hob leaves at light depth: the chord of its tips' circle; 0 with no size known."""
    diameter = hob_tip_diameter(work, hob)
    if diameter is None:
        return 0.0
    return 2 * math.sqrt(SCRATCH_DEPTH * max(diameter - SCRATCH_DEPTH, 0.0))


def measured_marks(
    teeth: int | None, hand: str | None, lead_mm: float | None, work: Work, notes: Sequence[str] = ()
) -> Marks:
    """The marks that were counted on the simulated blank; `hand` is "right", "left", "none" or None."""
    if teeth is None:
        return Marks("measured on the simulated blank", None, None, 0.0, 0.0, "; ".join(notes))
    which = Hand[hand.upper()] if hand in ("right", "left") else None
    return _marks("measured on the simulated blank", teeth, which, lead_mm, outside_diameter(work), "")


def _marks(
    whose: str, teeth: int, hand: Hand | None, lead: float | None, outside: float, why: str,
    helix_deg: float | None = None,
) -> Marks:  # fmt: skip
    lean = 0.0
    if hand is not None and lead:
        lean = math.degrees(math.atan(math.pi * outside / lead))
    elif hand is not None and helix_deg:
        lean = helix_deg
    return Marks(whose, teeth, hand if lean else None, lean, math.pi * outside / teeth, why)


Band = tuple[float, float]


def touched(work: Work, hob: HobData) -> tuple[Band, ...]:
    """The heights in mm over the lower face between which the marks of a light cut stand; none: over the whole face.

    On a worm wheel whose blank is plain the hob only touches at mid-face; a throated one it meets on the edges of the
    hollow. With the hob's size unknown an eighth of the face is drawn.
    """
    if work.kind != "worm wheel":
        return ()
    face = face_width_mm(work)
    length = _touch_length(work, hob) or face / 8
    if not meets_edges(work, hob):
        return (((face - length) / 2, (face + length) / 2),)
    throat = throat_of(work, hob)
    assert throat is not None
    low, high = face / 2 - throat.half_width, face / 2 + throat.half_width
    return ((low, low + length / 2), (high - length / 2, high))


def meets_edges(work: Work, hob: HobData) -> bool:
    """Whether the hob, coming straight in, first meets the edges of a worm wheel's hollow."""
    throat, tip = throat_of(work, hob), hob_tip_diameter(work, hob)
    return throat is not None and (tip is None or throat.touch(tip / 2) > (throat.diameter + tip) / 2 + 1e-9)


def witness_layout(
    marks: Sequence[Marks], outside: float, face_width: float, bands: Sequence[Band] = ()
) -> WitnessLayout:
    """The strips for `marks` on a blank of this outside diameter and width, in mm.

    A strip goes round the whole blank, or so far that its marks can still be told apart. With `bands` its marks
    stand only between these heights.
    """
    circumference = math.pi * outside
    pitch = max((m.pitch for m in marks), default=0.0)
    middle = marks[0].pitch / 2 + face_width * math.tan(math.radians(marks[0].signed_lean_deg)) / 2 if marks else 0.0
    width = max(2.2 * face_width, 8 * pitch)
    if marks and marks[0].pitch:
        width = math.ceil(width / marks[0].pitch) * marks[0].pitch  # it ends between two wanted marks
    width = min(circumference, width)
    return WitnessLayout(
        tuple(marks),
        tuple(
            tuple(
                _lines(mark, width, face_width, bands or ((0.0, face_width),))
                if mark.passes is None
                else _strokes(mark.passes, middle, circumference, width, face_width)
            )
            for mark in marks
        ),
        width,
        face_width,
        circumference,
    )


def _lines(marks: Marks, width: float, height: float, bands: Sequence[Band]) -> Iterator[Segment]:
    """Marks as lines from face to face, as far as they lie within the strip and within `bands` of its height."""
    if marks.count is None:
        return
    shares = [tuple(min(max(part, 0.0), height) / height for part in band) for band in bands]
    shift = height * math.tan(math.radians(marks.signed_lean_deg))
    first = math.floor(min(0.0, -shift) / marks.pitch)
    last = math.ceil(max(width, width - shift) / marks.pitch)
    for number in range(first, last + 1):
        foot = (number + 0.5) * marks.pitch
        for low, high in shares:
            segment = _inside((foot + low * shift, low * height), (foot + high * shift, high * height), width, height)
            if segment is not None:
                yield segment


#: No more passes than this are drawn: more of them leave nothing that could be told apart.
_MOST_PASSES = 20_000


def _strokes(passes: Passes, first: float, circumference: float, width: float, height: float) -> Iterator[Segment]:
    """The marks of single passes, the one half way up standing at `first`, where a wanted mark does."""
    pitch = circumference / float(passes.to_a_turn)
    rise = passes.rise / float(passes.to_a_turn)
    dx, dy = symbols.lean(passes.lean_deg)
    dx, dy = dx * passes.length / 2, dy * passes.length / 2
    if rise:
        reach = min(math.ceil((height / 2 + dy) / abs(rise)), _MOST_PASSES)
        numbers = range(-reach, reach + 1)
    else:
        numbers = range(min(passes.to_a_turn.numerator, _MOST_PASSES))
    for number in numbers:
        x = (first + passes.side * number * pitch) % circumference
        y = height / 2 + number * rise
        for at in (x, x - circumference):
            inside = _inside((at - dx, y - dy), (at + dx, y + dy), width, height)
            if inside is not None:
                yield inside


def _inside(foot: tuple[float, float], head: tuple[float, float], width: float, height: float) -> Segment | None:
    """The line from `foot` to `head` as far as it lies within the strip."""
    low, high = 0.0, 1.0
    for start, end, most in ((foot[0], head[0], width), (foot[1], head[1], height)):
        run = end - start
        if abs(run) < 1e-12:
            if not 0 < start < most:
                return None
            continue
        first, last = sorted(((0 - start) / run, (most - start) / run))
        low, high = max(low, first), min(high, last)
    if low >= high:
        return None

    def at(share: float) -> tuple[float, float]:
        return foot[0] + share * (head[0] - foot[0]), foot[1] + share * (head[1] - foot[1])

    return at(low), at(high)


def plot_witness(
    layout: WitnessLayout, ax: Axes | None = None, *, title: str = "Light first cut", words: bool = True,
    up: str = "", sense: str = "",
) -> Axes:  # fmt: skip
    """Draw the strips one over the other with what to count and which way the marks lean.

    Without `words` there are the strips alone. `up` is what the machine calls up, where its work lies; `sense` is
    said of what the marks don't show. Returns the axes, whose unit is a millimetre on the blank.
    """
    count = len(layout.marks)
    axes = ax if ax is not None else look.new_axes(110, 40 + 40 * count)
    width_mm, height_mm = look.paper_size(axes)
    heads = _heads(title, width_mm - 3, up, sense) if words else []
    said = [_said(layout, number, width_mm - 3) if words else [] for number in range(count)]
    head, over = tall(heads) + 1.0, max(map(tall, said)) + (2.5 if words else 1.0)
    room = (height_mm - head - 1.0) / count - over
    scale = min((width_mm - 3) / layout.width, room / layout.height)
    look.bare(axes, (0, width_mm / scale), (0, height_mm / scale))
    unit = 1 / scale
    write(axes, heads, 1.5 * unit, (height_mm - 1.0) * unit, unit)
    for number in range(count):
        top = (height_mm - head - number * (room + over)) * unit
        write(axes, said[number], 1.5 * unit, top - (over - tall(said[number]) - 0.8) * unit, unit)
        _strip(axes, layout, number, top - over * unit, unit)
    return axes


def _heads(title: str, width_mm: float, up: str, sense: str) -> list[Written]:
    return [
        *wrap(title, look.LARGE, width_mm, bold=True),
        *wrap(f"outside of the blank, unrolled, seen from without{up and f'; up is {up}'}", look.SMALL, width_mm),
        *wrap(sense, look.TEXT, width_mm),
    ]


def _said(layout: WitnessLayout, number: int, width_mm: float) -> list[Written]:
    """The lines over a strip."""
    marks, differs = layout.marks[number], layout.differs(number)
    colour = look.FAULT if differs else look.INK
    heading = f"{marks.whose}: {marks.words[0]}{'  NOT AS WANTED' if differs else ''}"
    lines = wrap(heading, look.LARGE, width_mm, True, colour) + wrap(
        marks.words[1], look.TEXT, width_mm, False, colour
    )
    return [*lines, *wrap(GHOSTS, look.TEXT, width_mm)] if layout.ghosts(number) else lines


#: What the faint marks are.
GHOSTS = "faint dotted: the wanted marks"


def _strip(axes: Axes, layout: WitnessLayout, number: int, top: float, unit: float) -> None:
    """One strip: its frame and its marks; those that aren't as wanted in another pen, over the wanted ones."""
    marks = layout.marks[number]
    x0, y0 = 1.5 * unit, top - layout.height
    colour = look.FAULT if layout.differs(number) else look.INK
    hatch = look.CUT_AWAY if marks.cut_away else None
    frame = symbols.shape(axes, _frame(layout, x0, y0, unit), Pen(look.INK, look.THIN), hatch=hatch, order=1)

    def draw(lines: Sequence[Segment], pen: Pen, order: float) -> None:
        for (xa, ya), (xb, yb) in lines:
            symbols.line(axes, ((x0 + xa, y0 + ya), (x0 + xb, y0 + yb)), pen, order=order, within=frame)

    draw(layout.ghosts(number), Pen(look.FAINT, look.THIN, look.DOTTED), 1.5)
    draw(layout.lines[number], Pen(colour, look.HEAVY if marks.passes is None else look.OUTLINE), 2)


def _frame(layout: WitnessLayout, x0: float, y0: float, unit: float) -> list[tuple[float, float]]:
    """The strip's outline; torn at its right edge where the blank goes on."""
    x1, y1 = x0 + layout.width, y0 + layout.height
    right = [(x1, y0), (x1, y1)]
    if layout.width < layout.circumference - 1e-6:
        teeth = max(5, round(layout.height / (3 * unit)))
        right = [
            (x1 - (0.0 if n % 2 else 1.6 * unit), y0 + layout.height * n / teeth) for n in range(teeth + 1)
        ]
    return [(x0, y0), *right, (x0, y1)]
