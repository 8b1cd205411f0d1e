"""The set-up sheet: one page for one member, in the order in which a machine is set, black and white safe.

What it says comes from `sheet_words`. Gears, head, levers and first cut are in large type; what belongs to
the drawing is small, at the foot.
"""

from __future__ import annotations

import datetime
import itertools
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from handlead.kinematics.cutting import SCRATCH_DEPTH
from handlead.kinematics.links import ChangeGears
from handlead.machines.case import face_width_mm
from handlead.machines.proof import Proof
from handlead.machines.units import length

from . import look
from .paper import LINE, MARGIN, Page, largest, rows_height, trimmed
from .sheet_words import ABOVE_ALL, AT_THE_HOB, BETWEEN_CUTS, LOCK_OUT, SheetWords, sheet_words

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

#: Type sizes in points: what is read beside the setting, and what stands at the foot.
_READ, _FOOT = 8.5, 6.5

#: Type size in points of what belongs to the drawing.
_DATA = 8.0

#: Smallest type of a title, in points; what is longer is cut short.
_TITLE_LEAST = 9.0

#: Most brackets side by side.
_ABREAST = 4

#: Height in mm of a bracket's drawing, at least and at most.
_LEAST_DRAWING, _MOST_DRAWING = 16.0, 52.0

#: Size in points of what is set at the machine, and height in mm of the light first cut's block: as the page gets full.
_TIGHTER = ((11.0, 44.0), (10.5, 40.0), (10.0, 36.0), (9.5, 34.0), (9.0, 32.0), (8.5, 33.0), (7.0, 33.0))

#: What is tried before that: height in mm of a bracket's drawing at least, with what is set at the machine still large.
_ROOMY = [(drawing, tight) for drawing, most in ((30.0, 3), (24.0, 4)) for tight in _TIGHTER[:most]]

#: Lines of notes at most, and rows of moves where not all have room: as the page gets fuller still.
_MOST_NOTES, _FEWER_MOVES = (6, 3, 1, 0), (4, 2, 0)

#: Heights in mm over all brackets, and over and under each one's drawing with a line of notes; of a line of notes.
_GEARS_HEAD, _GEARS_FOOT, _NOTE_MM = 17.0, 34.0, 4.25

#: Height in mm of the head's drawing, and width of the words beside that of the marks.
#: What the verdict doesn't cover.
_ONLY_SIMULATED = (
    "in simulation. Not looked at: blank, clamping, room for head and hob.",
    "The light first cut decides.",
)

_HEAD_MM, _WORDS_MM = 46.0, 50.0


def draw_sheet(
    proof: Proof, paper: str = "A4", today: datetime.date | None = None, member: str = ""
) -> Figure:
    """One page for one member's set-up. Raises `KeyError` for a paper that isn't known."""
    page = Page(paper)
    words = sheet_words(proof, today or datetime.date.today())
    column = page.width / 2 - MARGIN - 3
    middle = page.width / 2 + 3
    y = heading(page, words, proof.case.job.machine.name, member)
    shares = _shared_out(page, words, y)
    y = _brackets(page, proof, words, y, shares.gears)
    y = _setting(page, proof, words, y, column, middle, shares)
    y = _first_cut(page, proof, words, y, column, middle, shares.first_cut)
    _data(page, words, y, shares.notes)
    foot(page, words.source)
    return page.figure


@dataclass(frozen=True)
class _Shares:
    """How the page is shared out: type size in points of what is set at the machine, height in mm of the first
    cut's block and of all that belongs to the change gears, lines of notes at most, rows of moves at most."""

    size: float
    first_cut: float
    gears: float
    notes: int
    moves: int


def _shared_out(page: Page, words: SheetWords, y: float) -> _Shares:
    """The most generous shares that the page has room for: notes and moves, which stand in the job too, go first."""
    ranks = math.ceil(len(words.brackets) / _ABREAST)
    fewer = (len(words.moves), *_FEWER_MOVES)
    tries = (
        ((_MOST_NOTES[0], len(words.moves), *roomy) for roomy in _ROOMY),
        itertools.product(_MOST_NOTES, fewer, (_LEAST_DRAWING,), _TIGHTER[:-1]),
        itertools.product(_MOST_NOTES[-1:], fewer[-1:], (_LEAST_DRAWING,), _TIGHTER[-1:]),
    )
    for notes, moves, drawing, (size, first_cut) in itertools.chain(*tries):
        least = _GEARS_HEAD + ranks * (_gears_foot(page, words) + drawing)
        rows = words.levers + words.running + _moves(words, moves)
        setting = max(_HEAD_MM + 14, rows_height(rows, page.width / 2 - MARGIN - 3, size) + 9)
        room = page.height - y - setting - first_cut - _data_height(page, words, notes) - foot_height() - 3
        if room >= least:
            break
    return _Shares(size, first_cut, room, notes, moves)


def _bracket_width(page: Page, words: SheetWords) -> float:
    return (page.right - MARGIN) / max(min(len(words.brackets), _ABREAST), 1)


def _bracket_notes(page: Page, words: SheetWords, note: str) -> list[str]:
    return look.wrapped(note, _READ, _bracket_width(page, words) - 4, bold=True)[:3]


def _gears_foot(page: Page, words: SheetWords) -> float:
    """What stands over and under a bracket's drawing, in mm."""
    most = max((len(_bracket_notes(page, words, bracket.note)) for bracket in words.brackets), default=0)
    return _GEARS_FOOT + max(most - 1, 0) * _NOTE_MM


def _moves(words: SheetWords, most: int) -> list[tuple[str, str]]:
    """The moves, as many as there is room for."""
    left = len(words.moves) - most
    return words.moves if left <= 0 else [*words.moves[:most], (f"{left} MOVES MORE", "see [[setup.moves]] of the job")]


def heading(page: Page, words: SheetWords, machine: str, member: str, what: str = "set-up sheet") -> float:
    """Title, work and verdict; for a set-up that isn't as wanted, why. Returns the height below."""
    name = f"{words.title}{f' ({member})' if member else ''}"
    title(page, name)
    page.text(page.right, 8.5, what, 10, ha="right")
    page.text(page.right, 13.5, machine, 10, ha="right")
    if words.up:
        page.text(page.right, 18.5, f"top of this sheet: {words.up}", 9, ha="right")
    page.text(MARGIN, 16, words.summary, largest(words.summary, page.right - MARGIN - 30, 12.5), bold=True)
    size = 14.0
    wide = look.text_size(words.verdict, size, True)[0]
    page.box(MARGIN, 23, wide + 6, 8, filled=not words.is_right)
    page.text(
        MARGIN + 3, 24.2, words.verdict, size, bold=True, color=look.INK if words.is_right else look.PAPER
    )
    beside = page.right - MARGIN - wide - 9
    y = 33.0
    if not words.errors:
        page.lines(MARGIN + wide + 9, 23.4, _ONLY_SIMULATED, 9)
        return y
    lines = [line for error in words.errors for line in look.wrapped(error, 9, page.right - MARGIN)]
    page.text(
        MARGIN + wide + 9, 25.8, largest_words("run handlead prove for all that it found", 9, beside), 9
    )
    shown = lines[:5] + ([f"and {len(lines) - 5} lines more"] if len(lines) > 5 else [])
    return page.lines(MARGIN, y, shown, 9) + 1.5


def title(page: Page, words: str) -> None:
    """The title of a page, beside what stands in its right corner."""
    room = page.right - MARGIN - 40
    words = trimmed(words, room, _TITLE_LEAST)
    page.text(MARGIN, 8, words, largest(words, room, 16), bold=True)


def largest_words(words: str, size: float, width: float) -> str:
    """The words, or nothing where there is no room for them."""
    return words if look.text_size(words, size)[0] <= width else ""


# ---------------------------------------------------------------- change gears


def _brackets(page: Page, proof: Proof, words: SheetWords, y: float, room: float) -> float:
    """Every bracket to scale, with its gears spelt out beneath in large type."""
    links = proof.case.train.brackets
    if not links:
        return y
    page.rule(y, width=1.6)
    y = page.heading(
        MARGIN,
        y + 1.5,
        "CHANGE GEARS a/b · c/d: a drives b in one plane; c, on the stud with b, drives d in the other",
    )
    y = page.lines(MARGIN, y, [f"! {caution}" for caution in LOCK_OUT], _READ, bold=True) + 1
    ranks = [links[first : first + _ABREAST] for first in range(0, len(links), _ABREAST)]
    spelt = [words.brackets[first : first + _ABREAST] for first in range(0, len(links), _ABREAST)]
    width, under = _bracket_width(page, words), _gears_foot(page, words)
    size = min(largest(bracket.gears, width - 4, 14) for bracket in words.brackets)
    drawing = min(max((room - _GEARS_HEAD) / len(ranks) - under, _LEAST_DRAWING), _MOST_DRAWING)
    for rank, said in zip(ranks, spelt, strict=True):
        for number, (link, bracket) in enumerate(zip(rank, said, strict=True)):
            x = MARGIN + number * width
            name = trimmed(bracket.name, width - 3, 7.5)
            page.text(x, y, name, largest(name, width - 3, 10), bold=True)
            page.lines(
                x, y + 4.8, bracket.shafts, min(largest(words, width - 3, _READ) for words in bracket.shafts)
            )
            draw_bracket(page.panel(x, y + 14, width - 3, drawing), link)
            page.text(x, y + 15 + drawing, bracket.gears, size, bold=True)
            below = y + 15 + drawing + size * LINE
            page.text(x, below, bracket.idler, largest(bracket.idler, width - 4, size), bold=True)
            page.lines(x, below + 6, _bracket_notes(page, words, bracket.note), _READ, bold=True)
        y += drawing + under
    return y


def draw_bracket(axes: Axes, link: ChangeGears) -> None:
    """The gears alone, lettered: what the full drawing says in words stands beneath, or in `show`."""
    from .bracket_drawing import plot_bracket

    plot_bracket(link.mounted, link.bracket, axes, words=False)


# ---------------------------------------------------------------- head, levers, first cut


def _setting(
    page: Page, proof: Proof, words: SheetWords, y: float, column: float, middle: float, shares: _Shares
) -> float:
    page.rule(y, width=1.6)
    top = page.heading(MARGIN, y + 1.5, "HEAD, the hob between you and the work")
    draw_head(page, proof, MARGIN, top, _HEAD_MM)
    beside = MARGIN + _HEAD_MM + 2
    room = middle - beside - 4
    angle, way, end = words.head
    page.text(beside, top, "swing the head", 10)
    page.text(beside, top + 4.5, angle, 22, bold=True)
    page.text(beside, top + 14.5, way, largest(way, room, 13), bold=True)
    under = page.lines(beside, top + 20.5, look.wrapped(end, 10.5, room, bold=True), 10.5, bold=True) + 0.5
    said = "broken line: hob tooth at the work"
    page.lines(beside, under, look.wrapped(said, 8, room), 8)
    page.text(
        MARGIN, top + _HEAD_MM, words.hob_line, largest(words.hob_line, middle - MARGIN - 6, 12), bold=True
    )
    below = page.heading(middle, y + 1.5, "LEVERS, FEED, DEPTH")
    rows = words.levers + words.running + _moves(words, shares.moves)
    below = page.rows(middle, below, column, rows, shares.size)
    return max(below, top + _HEAD_MM + 6) + 1


def draw_head(page: Page, proof: Proof, x: float, y: float, size: float) -> None:
    """The head from behind the hob, without words."""
    from .job_pictures import swivel_of
    from .swivel_drawing import plot_swivel

    plot_swivel(swivel_of(proof.case), page.panel(x, y, size, size), words=False)


def _first_cut(
    page: Page, proof: Proof, words: SheetWords, y: float, column: float, middle: float, height: float
) -> float:
    """What the light first cut must look like, and room for what was found."""
    page.rule(y, width=1.6)
    depth = length(SCRATCH_DEPTH, proof.case.job.units, 2)
    is_touch = proof.case.job.work.kind == "worm wheel"
    how = f"LIGHT CUT: TOUCH, {depth}, FEED OFF" if is_touch else f"THE LIGHT FIRST CUT: {depth}, SLIDE FEED ON"
    top = page.heading(MARGIN, y + 1.5, how)
    (_, count), (_, lean), *more = words.first_cut
    page.text(MARGIN, top, count, 18, bold=True)
    said = [f"lean {lean}", *(f"{much} {what}".strip() for what, much in more)]
    # What the count over them and the words under them leave of the block.
    size = min(12.5, (height - 20.5) / (len(said) * LINE))
    below = page.lines(MARGIN, top + 8.5, said, largest(max(said, key=len), _WORDS_MM, size), bold=True)
    page.lines(
        MARGIN,
        below + 0.5,
        look.wrapped(f"unrolled, up is {words.up or 'up'}", 7, _WORDS_MM),
        7,
    )
    draw_marks(page, proof, MARGIN + _WORDS_MM + 3, top, column - _WORDS_MM - 3, height - 10)
    top = page.heading(middle, y + 1.5, "FOUND: write it under [seen] in the job")
    blanks = [*words.seen, ("cut by, on", "")]
    # A last row with long words under it needs room for two lines of them.
    long = any(len(look.wrapped(choices, 6.5, column / 2 - 4)) > 1 for _, choices in blanks)
    step, half = (height - 9 - 2.6 * long) / math.ceil(len(blanks) / 2), column / 2
    for number, (key, choices) in enumerate(blanks):
        x, line = middle + number % 2 * half, top + (number // 2 + 1) * step - 3
        page.text(x, line - 4.2, key, 9.5)
        page.rule(line, x + look.text_size(key, 9.5)[0] + 1.5, x + half - 3, 0.6)
        for row, choice in enumerate(look.wrapped(choices, 6.5, half - 4)[:2]):
            page.text(x + half - 3, line + 0.3 + row * 2.6, choice, 6.5, ha="right", color=look.FAINT)
    return y + height


def draw_marks(page: Page, proof: Proof, x: float, y: float, width: float, height: float) -> None:
    """The outside of the blank after the light first cut, unrolled, as the drawing wants it."""
    from .witness_drawing import touch_of, wanted_marks, witness_layout

    job, outside = proof.case.job, proof.case.sizes.outside_diameter
    touch = touch_of(job.work, job.hob)
    layout = witness_layout((wanted_marks(job.work),), outside, face_width_mm(job.work), touch)
    (lines,) = layout.lines
    scale = min(width / layout.width, height / layout.height)
    left, low = x, y + layout.height * scale
    frame = ((0.0, 0.0), (layout.width, 0.0), (layout.width, layout.height), (0.0, layout.height), (0.0, 0.0))
    page.line([(left + dx * scale, low - dy * scale) for dx, dy in frame], 0.8)
    for start, end in lines:
        page.line([(left + dx * scale, low - dy * scale) for dx, dy in (start, end)], 2.2)


# ---------------------------------------------------------------- the drawing's data and the foot


def _data_columns(page: Page, words: SheetWords) -> list[tuple[str, list[tuple[str, str]], float]]:
    """Headings, rows and widths in mm of what belongs to the drawing and the hob, and of what will be cut."""
    half = (len(words.work) + 1) // 2
    columns = (
        ("", words.work[:half], 0.235),
        ("", words.work[half:], 0.295),
        ("HOB", words.hob, 0.235),
        ("WHAT IT WILL CUT", words.flank, 0.235),
    )
    return [(name, rows, part * (page.right - MARGIN) - 4) for name, rows, part in columns]


def _rows_tall(page: Page, words: SheetWords) -> float:
    return max(rows_height(rows, wide, _DATA) for _, rows, wide in _data_columns(page, words))


def _data_height(page: Page, words: SheetWords, notes: int) -> float:
    lines = len(_notes(words, page.right - MARGIN, notes))
    return 9 + _rows_tall(page, words) + 3 + lines * _READ * LINE


def _notes(words: SheetWords, width: float, most: int) -> list[str]:
    """The notes in so many lines at most."""
    lines = [line for note in words.notes for line in look.wrapped(note, _READ, width)]
    if len(lines) <= most or not most:
        return lines[:most]
    left = len(lines) - most + 1
    return [*lines[: most - 1], f"{left} lines of notes{' more' * (most > 1)}: run handlead prove"]


def _data(page: Page, words: SheetWords, y: float, notes: int) -> None:
    page.rule(y, width=1.6)
    page.heading(MARGIN, y + 1.5, ", ".join(filter(None, ("DRAWING AND SIZES", words.backlash))))
    x = MARGIN
    for name, rows, wide in _data_columns(page, words):
        page.text(x, y + 1.5, name, 10, bold=True)
        page.rows(x, y + 7.5, wide, rows, _DATA)
        x += wide + 4
    below = y + 9 + _rows_tall(page, words)
    for line in _notes(words, page.right - MARGIN, notes):
        page.text(MARGIN, below, line, _READ)
        below += _READ * LINE


def foot_height(sources: int = 1) -> float:
    """What the foot of a page takes, in mm, with so many lines of sources."""
    return 24.75 + sources * _FOOT * LINE


def foot(page: Page, *sources: str) -> None:
    """The last cautions, and what the sheet was made from."""
    y = page.height - foot_height()
    page.rule(y, width=1.6)
    y = page.lines(
        MARGIN,
        y + 1.8,
        [f"! {caution}" for caution in AT_THE_HOB + BETWEEN_CUTS + ABOVE_ALL],
        _READ,
        bold=True,
    )
    for source in sources:
        page.text(MARGIN, y + 1, source, largest(source, page.right - MARGIN, _FOOT), color=look.FAINT)
        y += _FOOT * LINE
