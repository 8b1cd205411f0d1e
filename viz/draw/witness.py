"""The outside of the blank unrolled, as lines and bands: the marks that are wanted beside those that come."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from handlead.viz.look import look, symbols
from handlead.viz.look.symbols import Pen
from handlead.viz.look.written import Written, tall, wrap, write

from .head import Segment
from .marks import Band, MarksDrawn, Passes

if TYPE_CHECKING:
    from matplotlib.axes import Axes


@dataclass(frozen=True)
class WitnessLayout:
    """Strips of the unrolled outside, one for each of `marks`: `width` round it by `height` along the axis, in mm.

    `lines` holds each strip's marks, from 0 at its lower left corner. The first strip's marks are what is
    wanted; `ghosts` are theirs for every strip that differs.
    """

    marks: tuple[MarksDrawn, ...]
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


def witness_layout(
    marks: Sequence[MarksDrawn], outside: float, face_width: float, bands: Sequence[Band] = ()
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


def _lines(marks: MarksDrawn, width: float, height: float, bands: Sequence[Band]) -> Iterator[Segment]:
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
