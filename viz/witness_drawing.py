"""What the light first cut must look like: the outside of the blank unrolled, wanted beside predicted.

The unrolled outside is drawn as it is seen from without, the work axis upright: a right-hand tooth
leans to the right as it goes up. Sizes are mm, to one scale both ways, so that angles are true.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from handlead.kinematics.outcome import Outcome
from handlead.kinematics.requirement import Work, gear_of
from handlead.kinematics.words import Hand

from . import look, symbols
from .swivel_drawing import Segment
from .symbols import Pen

if TYPE_CHECKING:
    from matplotlib.axes import Axes


@dataclass(frozen=True)
class Marks:
    """The marks on one blank: `whose` they are, how many to count, which way and how far they lean.

    `count` None stands for a blank that shows no marks to count, `why` says so. `hand` None is
    straight. `lean_deg` is from the work axis on the outside of the blank, without sign; `pitch` is from
    mark to mark round the outside, in mm.
    """

    whose: str
    count: int | None
    hand: Hand | None
    lean_deg: float
    pitch: float
    why: str = ""

    @property
    def signed_lean_deg(self) -> float:
        """Lean to the right positive, as drawn."""
        return self.lean_deg * (self.hand.value if self.hand else 0)

    @property
    def words(self) -> tuple[str, str]:
        """The count, and the lean, as the sheet says them."""
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

    `lines` holds each strip's marks, from 0 at its lower left corner.
    """

    marks: tuple[Marks, ...]
    lines: tuple[tuple[Segment, ...], ...]
    width: float
    height: float
    circumference: float


def wanted_marks(work: Work) -> Marks:
    """The marks that the drawing asks for."""
    outside = outside_diameter(work)
    return _marks("wanted", work.teeth, work.hand if work.is_helical else None, work.lead_mm, outside, "")


def predicted_marks(work: Work, outcome: Outcome | None) -> Marks:
    """The marks that the set-up's rates would leave on the drawing's blank."""
    outside = outside_diameter(work)
    if outcome is None:
        return Marks("predicted", None, None, 0.0, 0.0, "hob and table aren't both driven")
    if outcome.teeth is None:
        return Marks("predicted", None, None, 0.0, 0.0, "the table runs against the hob: all is cut away")
    why = "" if outcome.is_steady else "they wander: each table turn falls beside the one before"
    if outcome.feed_slide != "axial":
        why = why or "a touch at mid-face only"
    return _marks("predicted", outcome.teeth, outcome.hand, outcome.lead_mm, outside, why, outcome.helix_angle_deg)


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


def outside_diameter(work: Work) -> float:
    """Outside diameter of the blank in mm: the drawing's, or else the standard one."""
    return float(work.outside_diameter) if work.outside_diameter else gear_of(work).tip_diameter


def witness_layout(marks: Sequence[Marks], outside: float, face_width: float) -> WitnessLayout:
    """The strips for `marks` on a blank of this outside diameter and width, in mm.

    A strip goes round the whole blank, or so far that its marks can still be told apart.
    """
    circumference = math.pi * outside
    width = min(circumference, max(2.2 * face_width, 8 * max((m.pitch for m in marks if m.count), default=0.0)))
    return WitnessLayout(
        tuple(marks),
        tuple(tuple(_lines(mark, width, face_width)) for mark in marks),
        width,
        face_width,
        circumference,
    )


def _lines(marks: Marks, width: float, height: float) -> Iterator[Segment]:
    if marks.count is None:
        return
    shift = height * math.tan(math.radians(marks.signed_lean_deg))
    first = math.floor(min(0.0, -shift) / marks.pitch)
    last = math.ceil(max(width, width - shift) / marks.pitch)
    for number in range(first, last + 1):
        foot = (number + 0.5) * marks.pitch
        segment = _clipped(foot, foot + shift, width, height)
        if segment is not None:
            yield segment


def _clipped(foot: float, head: float, width: float, height: float) -> Segment | None:
    """The line from `foot` to `head` as far as it lies between 0 and `width`."""
    low, high = 0.0, 1.0
    run = head - foot
    if abs(run) < 1e-12:
        return ((foot, 0.0), (head, height)) if 0 < foot < width else None
    ends = sorted(((0 - foot) / run, (width - foot) / run))
    low, high = max(low, ends[0]), min(high, ends[1])
    if low >= high:
        return None
    return (foot + low * run, low * height), (foot + high * run, high * height)


def plot_witness(layout: WitnessLayout, ax: Axes | None = None, *, title: str = "Light first cut") -> Axes:
    """Draw the strips one over the other with what to count and which way the marks lean.

    Returns the axes, whose unit is a millimetre on the blank.
    """
    count = len(layout.marks)
    axes = ax if ax is not None else look.new_axes(110, 34 + 40 * count)
    width_mm, height_mm = look.paper_size(axes)
    lines_of = [look.wrapped(marks.words[1], look.TEXT, width_mm - 3) for marks in layout.marks]
    words, head = 7.5 + 4.0 * max(map(len, lines_of)), 7.0
    room = (height_mm - head) / count - words
    scale = min((width_mm - 3) / layout.width, room / layout.height)
    look.bare(axes, (0, width_mm / scale), (0, height_mm / scale))
    unit = 1 / scale
    axes.text(1.5 * unit, height_mm * unit - unit, title, fontsize=look.LARGE, weight="bold", va="top")
    axes.text((width_mm - 1.5) * unit, height_mm * unit - 1.4 * unit, "outside of the blank, unrolled, seen from without",
              fontsize=look.SMALL, va="top", ha="right")  # fmt: skip
    for number, (_marks, _lines) in enumerate(zip(layout.marks, layout.lines, strict=True)):
        top = (height_mm - head - number * (room + words)) * unit
        _strip(axes, layout, number, lines_of[number], top, unit, words - 0.5)
    return axes


def _strip(
    axes: Axes, layout: WitnessLayout, number: int, words: Sequence[str], top: float, unit: float, over: float
) -> None:
    """One strip: its words, its frame, its marks; those that aren't as wanted in another pen."""
    marks, wanted = layout.marks[number], layout.marks[0]
    x0, y0 = 1.5 * unit, top - over * unit - layout.height
    differs = (marks.count, marks.hand) != (wanted.count, wanted.hand)
    colour = look.FAULT if differs else look.INK
    heading = f"{marks.whose}: {marks.words[0]}{'  NOT AS WANTED' if differs else ''}"
    axes.text(x0, top - 0.5 * unit, heading, fontsize=look.LARGE, weight="bold", va="top", color=colour)
    for row, line in enumerate(words):
        axes.text(x0, top - (6.0 + 4.0 * row) * unit, line, fontsize=look.TEXT, va="top", color=colour)
    hatch = look.CUT_AWAY if marks.count is None else None
    symbols.box(axes, x0, y0, x0 + layout.width, y0 + layout.height, Pen(look.INK, look.THIN), hatch=hatch, order=1)
    pen = Pen(look.POWER if number and not differs else colour, look.HEAVY, look.DASHED if number else "-")
    for (xa, ya), (xb, yb) in layout.lines[number]:
        symbols.line(axes, ((x0 + xa, y0 + ya), (x0 + xb, y0 + yb)), pen)
    if layout.width < layout.circumference - 1e-6:
        _torn(axes, x0 + layout.width, y0, layout.height, unit)


def _torn(axes: Axes, x: float, y0: float, height: float, unit: float) -> None:
    """A torn edge: the blank goes on."""
    teeth = 9
    points = [(x + (unit if n % 2 else -unit), y0 + height * n / teeth) for n in range(teeth + 1)]
    edge = [*points, (x + 3 * unit, y0 + height + unit), (x + 3 * unit, y0 - unit)]
    symbols.shape(axes, edge, Pen(look.PAPER, 0.0), order=4)
    symbols.line(axes, points, Pen(look.INK, look.THIN), order=5)
