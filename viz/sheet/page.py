"""The set-up sheet of one member, in the order in which a machine is set, black and white safe.

What it says comes from `sheet_words`. Gears, head, levers and first cut are in large type; what belongs to
the drawing is small, at the foot. Where a page is too short for all of it in type that can be read beside the
machine, the sheet takes another page: nothing is left out.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from handlead.machines.proving.proof import Proof
from handlead.viz.look import look
from handlead.viz.look.paper import LINE, MARGIN, Page, largest, rows_height
from handlead.viz.sheet_words.setting_words import BracketWords
from handlead.viz.sheet_words.words import LOCK_OUT, SheetWords, sheet_words

from .parts import (
    READ,
    cautions,
    draw_bracket,
    draw_head,
    draw_marks,
    foot,
    foot_height,
    heading,
    see_further,
)
from .shares import CUT_ALONE, WITH_CUT, WITHOUT_CUT, Shares
from .steps import draw_blocks

if TYPE_CHECKING:
    from matplotlib.figure import Figure

#: Type sizes in points of what was found, and of what is said of the hob's cutting faces.
_TOLD, _FACES = 9.0, 11.0

#: Type size in points of what belongs to the drawing: where it shares the page, and where it has a page of its own.
_DATA, _DATA_ALONE = 8.0, 9.0

#: Most brackets side by side.
_ABREAST = 4

#: Height in mm of a bracket's drawing at most.
_MOST_DRAWING = 52.0

#: Heights in mm over all brackets, and over and under each one's drawing with a line of notes; of a line of notes.
_GEARS_HEAD, _GEARS_FOOT, _NOTE_MM = 17.0, 20.0, 4.25

#: Height in mm of the head's drawing, and width of the words beside that of the marks.
_HEAD_MM, _WORDS_MM = 46.0, 50.0

#: Smallest type of a bracket's name and shafts, in points; what is longer takes more lines.
_LEAST_NAME = 7.5


def draw_sheet(
    proof: Proof, paper: str = "A4", today: datetime.date | None = None, member: str = ""
) -> list[Figure]:
    """The pages for one member's set-up, as many as it takes. Raises `KeyError` for a paper that isn't known."""
    words = sheet_words(proof, today or datetime.date.today())
    sheet = _MemberSheet(paper, proof, words, member)
    sheet.draw()
    return [page.figure for page in sheet.pages]


class _MemberSheet:
    """Pages being filled from the top; `y` is how far the last one is full."""

    def __init__(self, paper: str, proof: Proof, words: SheetWords, member: str) -> None:
        self.paper, self.proof, self.words, self.member = paper, proof, words, member
        self.pages: list[Page] = []
        self.turn()
        self.column, self.middle = self.page.width / 2 - MARGIN - 3, self.page.width / 2 + 3

    @property
    def page(self) -> Page:
        """The last page."""
        return self.pages[-1]

    @property
    def bottom(self) -> float:
        """Where the foot begins."""
        return self.page.height - foot_height(self.page, self.words.at_the_hob)

    def turn(self) -> None:
        """Begin a new page."""
        page = Page(self.paper)
        self.pages.append(page)
        self.y = heading(page, self.words, self.proof.case.job.machine.name, self.member)
        foot(page, self.words.at_the_hob, self.words.source)

    def make_room(self, height: float) -> None:
        """Turn over where so many mm don't fit any more."""
        if self.y + height > self.bottom:
            self.turn()

    def draw(self) -> None:
        """Everything, on one page where it fits."""
        told, words = [*self.words.errors, *self.words.warnings], self.words
        rows = words.levers + words.running
        foot = self._data_height() + self._notes_height()
        whole = self._shares(told, rows + words.moves, WITH_CUT, foot)
        if whole:
            self._found_by_proof(told)
            self._set(rows + words.moves, whole)
            self._first_cut(whole.first_cut)
            self._data()
            self._notes(words.notes)
        else:
            self._several(told, rows)
        draw_blocks(self, self.words.blocks)
        for number, page in enumerate(self.pages, start=1):
            several = f", page {number} of {len(self.pages)}" if len(self.pages) > 1 else ""
            page.text(page.right, 8.5, f"set-up sheet{several}", 10, ha="right")

    def _several(self, told: Sequence[str], rows: Sequence[tuple[str, str]]) -> None:
        """What is set at the machine on the first page, under what was found; what it has no room for on the next."""
        count = len(told)
        shares = self._shares(told, rows, WITH_CUT)
        is_cut_first = shares is not None
        while shares is None and count >= 0:
            more = [see_further(len(told) - count)] if count < len(told) else []
            shares = self._shares([*told[:count], *more], rows, WITHOUT_CUT, cut=False)
            count -= shares is None
        count = max(count, 0)
        self._found_by_proof(told[:count], len(told) - count)
        self._set(rows, shares or WITHOUT_CUT[-1])
        if is_cut_first and shares:
            self._first_cut(shares.first_cut)
        else:
            self.turn()
        self._notes(told[count:], "ALSO FOUND", bold=True)
        if not is_cut_first:
            self.make_room(self._first_cut_height(CUT_ALONE))
            self._first_cut(CUT_ALONE)
        self._moves()
        self._data(_DATA_ALONE)
        self._notes(self.words.notes)

    def _shares(
        self, told: Sequence[str], rows: Sequence[tuple[str, str]], tries: Sequence[Shares], foot: float = 0.0,
        *, cut: bool = True,
    ) -> Shares | None:  # fmt: skip
        """The most generous shares with which all of this stands on a page, over `foot` mm; None where none does."""
        for shares in tries:
            gears = self._gears_head() + self._ranks * (self._gears_foot() + shares.drawing) if self._ranks else 0.0
            used = self._told_height(told) + gears + self._setting_height(rows, shares.size) + foot
            used += self._first_cut_height(shares.first_cut) if cut else 0.0
            if self.y + used <= self.bottom:
                return self._widened(shares, used)
        return None

    def _widened(self, shares: Shares, used: float) -> Shares:
        """The same, the brackets' drawings as large as the room that is left allows."""
        left = (self.bottom - self.y - used) / max(self._ranks, 1)
        return Shares(shares.size, min(shares.drawing + left, _MOST_DRAWING), shares.first_cut)

    def _found_by_proof(self, told: Sequence[str], later: int = 0) -> None:
        """Errors and warnings, under the verdict."""
        for finding in [*told, *([see_further(later)] if later else [])]:
            lines = look.wrapped(finding, _TOLD, self.page.wide, True)
            self.y = self.page.lines(MARGIN, self.y, lines, _TOLD, bold=True)
        self.y += 1.5 if told or later else 0.0

    def _set(self, rows: Sequence[tuple[str, str]], shares: Shares) -> None:
        """Gears, head and levers."""
        self._brackets(shares.drawing)
        self.make_room(self._setting_height(rows, shares.size))
        self._setting(rows, shares.size)

    def _told_height(self, told: Sequence[str]) -> float:
        lines = sum(len(look.wrapped(finding, _TOLD, self.page.wide, True)) or 1 for finding in told)
        return lines * _TOLD * LINE + 1.5

    # ------------------------------------------------------------ change gears

    @property
    def _ranks(self) -> int:
        return math.ceil(len(self.words.brackets) / _ABREAST)

    def _gears_head(self) -> float:
        return _GEARS_HEAD - 2 * READ * LINE + len(cautions(LOCK_OUT, self.page.wide)) * READ * LINE

    def _bracket_width(self) -> float:
        return self.page.wide / max(min(len(self.words.brackets), _ABREAST), 1)

    def _bracket_notes(self, note: str) -> list[str]:
        return look.wrapped(note, READ, self._bracket_width() - 4, bold=True)

    def _gears_foot(self) -> float:
        """What stands over and under a bracket's drawing, in mm."""
        most = max((len(self._bracket_notes(bracket.note)) for bracket in self.words.brackets), default=0)
        return self._over() + _GEARS_FOOT + max(most - 1, 0) * _NOTE_MM

    def _over_drawing(self, bracket: BracketWords) -> list[tuple[str, float, bool]]:
        """A bracket's name and shafts in lines, each with its type size, and whether it is bold."""
        width = self._bracket_width() - 3
        lines = []
        for words, points, bold in ((bracket.name, 10.0, True), *((shaft, READ, False) for shaft in bracket.shafts)):
            fitting = largest(words, width, points)
            if look.text_size(words, max(fitting, _LEAST_NAME), bold)[0] <= width:
                lines.append((words, max(fitting, _LEAST_NAME), bold))
            else:
                lines += [(line, _LEAST_NAME, bold) for line in look.wrapped(words, _LEAST_NAME, width, bold)]
        return lines

    def _over(self) -> float:
        """What stands over the drawings, in mm."""
        brackets = self.words.brackets
        tall = (sum(points for _, points, _ in self._over_drawing(bracket)) for bracket in brackets)
        return max(tall, default=0.0) * LINE + 0.7

    def _brackets(self, drawing: float) -> None:
        """Every bracket to scale, with its gears spelt out beneath in large type."""
        links, width, under = self.proof.case.train.brackets, self._bracket_width(), self._gears_foot()
        over = self._over()
        if not links:
            return
        self.make_room(self._gears_head() + under + drawing)
        self.page.rule(self.y, width=1.6)
        y = self.page.heading(
            MARGIN,
            self.y + 1.5,
            "CHANGE GEARS a/b · c/d: a drives b in one plane; c, on the stud with b, drives d in the other",
        )
        self.y = self.page.lines(MARGIN, y, cautions(LOCK_OUT, self.page.wide), READ, bold=True) + 1
        size = min(largest(bracket.gears, width - 4, 14) for bracket in self.words.brackets)
        for first in range(0, len(links), _ABREAST):
            self.make_room(under + drawing)
            rank = zip(links, self.words.brackets, strict=True)
            for number, (link, bracket) in enumerate(list(rank)[first : first + _ABREAST]):
                x, y = MARGIN + number * width, self.y
                for words, points, bold in self._over_drawing(bracket):
                    self.page.text(x, y, words, points, bold=bold)
                    y += points * LINE
                y = self.y + over
                draw_bracket(self.page.panel(x, y, width - 3, drawing), link, self.proof.case.letters(link.name))
                self.page.text(x, y + 1 + drawing, bracket.gears, size, bold=True)
                below = y + 1 + drawing + size * LINE
                self.page.text(x, below, bracket.idler, largest(bracket.idler, width - 4, size), bold=True)
                self.page.lines(x, below + 6, self._bracket_notes(bracket.note), READ, bold=True)
            self.y += drawing + under

    # ------------------------------------------------------------ head, levers

    def _setting_height(self, rows: Sequence[tuple[str, str]], size: float) -> float:
        head = 7.5 + _HEAD_MM + 7.0 + len(self._faces()) * _FACES * LINE
        head += len(cautions(self.words.at_the_head, self.column)) * READ * LINE
        levers = 7.5 + len(cautions(self.words.at_the_levers, self.column)) * READ * LINE + 1
        return max(head, levers + rows_height(rows, self.column, size)) + 1.5

    def _faces(self) -> list[str]:
        return look.wrapped(self.words.faces, _FACES, self.column, bold=True)

    def _setting(self, rows: Sequence[tuple[str, str]], size: float) -> None:
        page, words = self.page, self.words
        page.rule(self.y, width=1.6)
        top = page.heading(MARGIN, self.y + 1.5, "HEAD, the hob between you and the work")
        draw_head(page, self.proof, MARGIN, top, _HEAD_MM)
        beside = MARGIN + _HEAD_MM + 2
        room = self.middle - beside - 4
        angle, way, end = words.head
        page.text(beside, top, "swing the head", 10)
        page.text(beside, top + 4.5, angle, 22, bold=True)
        page.text(beside, top + 14.5, way, largest(way, room, 13), bold=True)
        under = page.lines(beside, top + 20.5, look.wrapped(end, 10.5, room, bold=True), 10.5, bold=True) + 0.5
        said = "broken line: hob tooth at the work"
        page.lines(beside, under, look.wrapped(said, 8, room), 8)
        room = self.middle - MARGIN - 6
        low = top + _HEAD_MM
        page.text(MARGIN, low, words.hob_line, largest(words.hob_line, room, 12), bold=True)
        low = page.lines(MARGIN, low + 6, self._faces(), _FACES, bold=True) + 0.5
        low = page.lines(MARGIN, low, cautions(words.at_the_head, self.column), READ, bold=True)
        below = page.heading(self.middle, self.y + 1.5, "LEVERS, FEED, DEPTH")
        below = page.lines(self.middle, below, cautions(words.at_the_levers, self.column), READ, bold=True) + 1
        below = page.rows(self.middle, below, self.column, rows, size)
        self.y = max(below, low) + 1.5

    # ------------------------------------------------------------ the light first cut

    def _sense_lines(self) -> list[str]:
        return look.wrapped(self.words.sense, READ, self.column, bold=True)

    def _first_cut_height(self, height: float) -> float:
        return height + len(self._sense_lines()) * READ * LINE

    def _first_cut(self, height: float) -> None:
        """What the light first cut must look like, and room for what was found."""
        page, words, y, column = self.page, self.words, self.y, self.column
        page.rule(y, width=1.6)
        depth = words.light_depth
        is_touch = self.proof.case.job.work.kind == "worm wheel"
        how = f"LIGHT CUT: TOUCH, {depth}, FEED OFF" if is_touch else f"THE LIGHT FIRST CUT: {depth}, SLIDE FEED ON"
        if self.proof.case.job.toothed is not None:
            how = "THE FIRST CUT: ONLY BRIGHTEN THE BLUE ON BOTH FLANKS"
        page.text(MARGIN, y + 1.5, how, largest(how, column, 10), bold=True)
        top = y + 7.5
        # With room enough the marks stand under the words, else beside them.
        is_under = height >= CUT_ALONE
        room = column if is_under else _WORDS_MM
        (_, count), (_, lean), *more = words.first_cut
        page.text(MARGIN, top, count, 18, bold=True)
        said = [f"lean {lean}", *(f"{much} {what}".strip() for what, much in more)]
        # What the count over them and the words under them leave of the block.
        size = min(12.5, (height - 20.5) / (len(said) * LINE))
        below = page.lines(MARGIN, top + 8.5, said, largest(max(said, key=len), room, size), bold=True)
        below = page.lines(
            MARGIN, below + 0.5, look.wrapped(f"unrolled, up is {words.up or 'up'}", 7, room), 7
        )
        if is_under:
            draw_marks(page, self.proof, MARGIN, below + 1, column, y + height - below - 4)
        else:
            draw_marks(page, self.proof, MARGIN + room + 3, top, column - room - 3, height - 10)
        page.lines(MARGIN, y + height - 1, self._sense_lines(), READ, bold=True)
        self.y = y + self._first_cut_height(height)
        self._found(y, self.y)

    def _found(self, y: float, bottom: float) -> None:
        """Lines to write on."""
        page, half = self.page, self.column / 2
        top = page.heading(self.middle, y + 1.5, "FOUND: write it under [seen] in the job")
        blanks = [*self.words.seen, ("cut by, on", "")]
        # Rows with long words under them need room for all lines of them.
        most = max(len(look.wrapped(choices, 6.5, half - 4)) for _, choices in blanks)
        step = (bottom - top - 1.5 - 2.6 * max(most - 1, 0)) / math.ceil(len(blanks) / 2)
        for number, (key, choices) in enumerate(blanks):
            x, line = self.middle + number % 2 * half, top + (number // 2 + 1) * step - 3
            size = largest(key, half - 16, 9.5)
            page.text(x, line - 4.2, key, size)
            page.rule(line, x + look.text_size(key, size)[0] + 1.5, x + half - 3, 0.6)
            for row, choice in enumerate(look.wrapped(choices, 6.5, half - 4)):
                page.text(x + half - 3, line + 0.3 + row * 2.6, choice, 6.5, ha="right", color=look.FAINT)

    # ------------------------------------------------------------ moves, the drawing's data, notes

    def _moves(self) -> None:
        """The moves of the set-up, one below the other, over the whole width."""
        rows = [(f"{number}  {what}", much) for number, (what, much) in enumerate(self.words.moves, start=1)]
        for number, row in enumerate(rows):
            height = rows_height([row], self.page.wide, 10.0)
            self.make_room(height + (8.0 if not number else 0.0))
            if not number:
                self.page.rule(self.y, width=1.6)
                self.y = self.page.heading(MARGIN, self.y + 1.5, "MOVES, in this order")
            self.y = self.page.rows(MARGIN, self.y, self.page.wide, [row], 10.0)
        self.y += 2.0 if rows else 0.0

    def _data_columns(self) -> list[tuple[str, list[tuple[str, str]], float]]:
        """Headings, rows and widths in mm of what belongs to the drawing and the hob, and of what will be cut."""
        words = self.words
        half = (len(words.work) + 1) // 2
        columns = (
            ("", words.work[:half], 0.235),
            ("", words.work[half:], 0.295),
            ("HOB", words.hob, 0.235),
            ("WHAT IT WILL CUT", words.flank, 0.235),
        )
        return [(name, rows, part * self.page.wide - 4) for name, rows, part in columns]

    def _rows_tall(self, size: float) -> float:
        return max(rows_height(rows, wide, size) for _, rows, wide in self._data_columns())

    def _data_height(self, size: float = _DATA) -> float:
        return 10 + self._rows_tall(size)

    def _data(self, size: float = _DATA) -> None:
        self.make_room(self._data_height(size))
        page = self.page
        page.rule(self.y, width=1.6)
        page.heading(MARGIN, self.y + 1.5, ", ".join(filter(None, ("DRAWING AND SIZES", self.words.backlash))))
        x = MARGIN
        for name, rows, wide in self._data_columns():
            page.text(x, self.y + 1.5, name, 10, bold=True)
            page.rows(x, self.y + 7.5, wide, rows, size)
            x += wide + 4
        self.y += self._data_height(size)

    def _notes_height(self) -> float:
        return sum(len(look.wrapped(note, READ, self.page.wide)) for note in self.words.notes) * READ * LINE + 1

    def _notes(self, notes: Sequence[str], name: str = "", bold: bool = False) -> None:
        """Notes in full, each whole on its page."""
        for number, note in enumerate(notes):
            lines = look.wrapped(note, READ, self.page.wide, bold)
            head = 8.0 if name and not number else 0.0
            self.make_room(head + len(lines) * READ * LINE)
            if head:
                self.page.rule(self.y, width=1.6)
                self.y = self.page.heading(MARGIN, self.y + 1.5, name)
            self.y = self.page.lines(MARGIN, self.y, lines, READ, bold=bold)
        self.y += 2.0 if name and notes else 0.0
