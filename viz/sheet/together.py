"""Two members that share gears, side by side on one page: what stays as it is from one to the next, what is changed."""

from __future__ import annotations

import datetime
import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from handlead.machines.proving.proof import Proof
from handlead.viz.look import look
from handlead.viz.look.paper import LINE, MARGIN, Page, largest, rows_height, trimmed
from handlead.viz.sheet_words.member_words import MemberLine, bracket_lines, head_line, other_lines
from handlead.viz.sheet_words.setting_words import EMPTY
from handlead.viz.sheet_words.words import LOCK_OUT, SheetWords, sheet_words

from .parts import cautions, draw_bracket, draw_head, draw_marks, foot, foot_height, title

if TYPE_CHECKING:
    from matplotlib.figure import Figure

#: What isn't in the machine but changes with every member.
_AFRESH = "Between members: hob drawn clear, new blank on, TOUCH AFRESH. Depth counts from the new touch."

#: Width in mm of the strip that says what a row is.
_WHAT_MM = 36.0

_HEAD_MM, _LEAST_DRAWING, _MOST_DRAWING = 32.0, 15.0, 46.0

#: Type sizes in points of what differs and of what is alike, and the height of a row in mm.
_SIZE, _ALIKE, _ROW_MM = 10.0, 9.5, 8.0

#: Type size in points of the rows' names.
_NAMES = 8.0

#: Words in a column that don't fit in this type go in two lines.
_WRAPPED_FROM = 9.0


def draw_together(
    members: Sequence[tuple[str, Proof]], paper: str = "A4", today: datetime.date | None = None
) -> list[Figure]:
    """A page, or as many as it takes, for two members on one machine, cut one after the other.

    Heavy boxes stand round what has to be changed. Raises `KeyError` for a paper that isn't known, `ValueError`
    for other than two members.
    """
    if len(members) != 2:
        raise ValueError(f"{len(members)} members are given; a change-over is from one to another")
    sheets = [sheet_words(proof, today or datetime.date.today()) for _, proof in members]
    # Once without drawings, to see what room is left for them.
    bare = _draw(paper, members, sheets, 0.0)
    changing = max(sum(not line.alike for line in bracket_lines(sheets)), 1)
    room = (bare.bottom - bare.y) / changing if len(bare.pages) == 1 else 0.0
    if room < _LEAST_DRAWING:
        # Rather another page than no drawings.
        room = (bare.bottom - bare.below_pictures) / changing
    drawing = min(room, _MOST_DRAWING) if room >= _LEAST_DRAWING else 0.0
    return [page.figure for page in _draw(paper, members, sheets, drawing).pages]


class _Pages:
    """Pages that follow one another, each with a heading and a foot; `y` is how far the last one is full."""

    def __init__(self, paper: str, members: Sequence[tuple[str, Proof]], sheets: Sequence[SheetWords]) -> None:
        self.paper, self.members, self.sheets = paper, members, sheets
        self.pages: list[Page] = []
        self.tables: list[_TogetherTable] = []
        self.below_pictures = 0.0
        self.turn()

    def turn(self) -> None:
        """Begin a new page."""
        page = Page(self.paper)
        self.pages.append(page)
        self.tables.append(_TogetherTable(page, len(self.members)))
        self.y = _top(page, self.members, self.sheets, self.table, len(self.pages))
        page.rule(self.y, width=1.6)
        foot(page, self.cautions, *dict.fromkeys(words.source for words in self.sheets))

    @property
    def table(self) -> _TogetherTable:
        """The columns of the last page."""
        return self.tables[-1]

    @property
    def bottom(self) -> float:
        """Where the foot begins."""
        sources = len({words.source for words in self.sheets})
        return self.pages[-1].height - foot_height(self.pages[-1], self.cautions, sources) - 2

    @property
    def cautions(self) -> tuple[str, ...]:
        """What stands at the foot: of all members, each once."""
        said = (caution for words in self.sheets for part in (words.at_the_head, words.at_the_levers, words.at_the_hob)
                for caution in part)  # fmt: skip
        return tuple(dict.fromkeys(said))

    def make_room(self, height: float) -> None:
        """Turn over where so many mm don't fit any more."""
        if self.y + height > self.bottom:
            self.turn()
            self.y += 2


def _draw(
    paper: str, members: Sequence[tuple[str, Proof]], sheets: Sequence[SheetWords], drawing: float
) -> _Pages:
    """Draw all, brackets `drawing` mm high."""
    pages = _Pages(paper, members, sheets)
    page = pages.pages[0]
    y = page.heading(
        MARGIN,
        pages.y + 1.5,
        "CHANGE-OVER: set what is in heavy boxes; what is the same for all is set once and left",
    )
    y = page.lines(MARGIN, y, cautions((*LOCK_OUT, _AFRESH), page.wide), 8.5, bold=True) + 1
    for number, line in enumerate(bracket_lines(sheets)):
        row = _BracketRow(number, sheets[0].brackets[number].shafts, line)
        y = _bracket_row(pages.table, members, row, y, drawing)
    pages.y = pages.below_pictures = _pictures(pages.table, members, head_line(sheets), y, sheets[0].up or "up")
    others = other_lines(sheets)
    for line in others:
        if not line.alike:
            pages.make_room(_row_height(pages.table, line))
            pages.y = _row(pages.table, line, pages.y)
    _stays(pages, [line for line in others if line.alike])
    return pages


class _TogetherTable:
    """Columns for members on a page, with a strip for the names of the rows."""

    def __init__(self, page: Page, members: int) -> None:
        self.page = page
        self.width = (page.wide - _WHAT_MM) / members

    def left(self, member: int) -> float:
        """Where a member's column begins."""
        return MARGIN + _WHAT_MM + member * self.width

    def what(self, y: float, words: str) -> None:
        """The name of a row."""
        self.page.lines(MARGIN, y, look.wrapped(words, _NAMES, _WHAT_MM - 2), _NAMES)

    def cell(self, member: int, y: float, words: str, size: float, *, span: int = 1) -> None:
        """Words in a member's column, or over several."""
        lines = self.lines(words, span)
        fitting = min(largest(line, span * self.width - 5, size) for line in lines)
        self.page.lines(self.left(member) + 1.5, y, lines, fitting, bold=True)

    def lines(self, words: str, span: int = 1) -> list[str]:
        """The words in as many lines as a column, or several, ask for."""
        room = span * self.width - 5
        if look.text_size(words, _WRAPPED_FROM, True)[0] <= room:
            return [words]
        return look.wrapped(words, _WRAPPED_FROM, room, True)

    def box(self, member: int, y: float, height: float) -> None:
        """The heavy box round what is changed."""
        self.page.box(self.left(member), y, self.width - 2, height, line=1.8)


def _top(
    page: Page,
    members: Sequence[tuple[str, Proof]],
    sheets: Sequence[SheetWords],
    table: _TogetherTable,
    number: int,
) -> float:
    titles = list(dict.fromkeys(words.title for words in sheets))
    title(page, " / ".join(titles))
    what = "change-over" if number == 1 else f"change-over, page {number}"
    page.text(page.right, 8.5, what, 10, ha="right")
    page.text(page.right, 13.5, members[0][1].case.job.machine.name, 10, ha="right")
    y = 19.0
    names = _apart([name.upper() or words.title for (name, _), words in zip(members, sheets, strict=True)], table)
    for member, (name, words) in enumerate(zip(names, sheets, strict=True)):
        turn = "then" if member else "1st"
        called = trimmed(f"{turn}: {name}", table.width - 5, _SIZE)
        table.cell(member, y, called, 12)
        table.cell(member, y + 6, words.summary, 10)
        table.cell(member, y + 11, words.blank, 9)
        wide = look.text_size(words.verdict, 9, True)[0]
        if not words.is_right:
            page.box(table.left(member), y + 16.2, wide + 3, 5.2, filled=True)
        colour = look.INK if words.is_right else look.PAPER
        page.text(table.left(member) + 1.5, y + 17, words.verdict, 9, bold=True, color=colour)
    return y + 23


def _apart(names: Sequence[str], table: _TogetherTable) -> list[str]:
    """Names that are too long for their column without the words that they begin with alike."""
    room = table.width - 5 - look.text_size("then: ", _SIZE, True)[0]
    if len(set(names)) == 1 or all(look.text_size(name, _SIZE, True)[0] <= room for name in names):
        return list(names)
    words = [name.split() for name in names]
    pairs = itertools.takewhile(lambda each: len(set(each)) == 1, zip(*words, strict=False))
    alike = min(sum(1 for _ in pairs), *(len(each) - 1 for each in words))
    return [f"… {' '.join(each[alike:])}" if alike else " ".join(each) for each in words]


def _row(table: _TogetherTable, line: MemberLine, y: float) -> float:
    """A row that differs: in heavy boxes what is to be set."""
    height = _row_height(table, line)
    table.what(y + 1.6, line.what)
    for number, words in enumerate(line.each):
        if line.is_set:
            table.box(number, y + 0.4, height - 1)
        table.cell(number, y + 1.5, words or "not needed", _SIZE)
    return y + height


def _row_height(table: _TogetherTable, line: MemberLine) -> float:
    most = max(len(table.lines(words)) for words in line.each)
    return max(_named_mm(line) + 2, most * _WRAPPED_FROM * LINE + 3.5)


def _named_mm(line: MemberLine) -> float:
    """What a row's name takes in its strip, in mm."""
    return len(look.wrapped(line.what, _NAMES, _WHAT_MM - 2)) * _NAMES * LINE


def _stays(pages: _Pages, alike: Sequence[MemberLine]) -> None:
    """What is as it is for all, in two columns."""
    rows = [(line.what, line.each[0]) for line in alike]
    half = (len(rows) + 1) // 2
    column = pages.pages[0].width / 2 - MARGIN - 3
    height = max(rows_height(part, column, _ALIKE) for part in (rows[:half], rows[half:]))
    pages.make_room(8.5 + height)
    page = pages.pages[-1]
    page.rule(pages.y + 1, width=1.6)
    y = page.heading(MARGIN, pages.y + 2.5, "THE SAME FOR ALL")
    for x, part in ((MARGIN, rows[:half]), (page.width / 2 + 3, rows[half:])):
        page.rows(x, y, column, part, _ALIKE)
    pages.y = y + height


@dataclass(frozen=True)
class _BracketRow:
    """What a row tells of bracket `number` of the machine: between which shafts, and its gears for each member."""

    number: int
    shafts: tuple[str, str]
    line: MemberLine


def _bracket_row(
    table: _TogetherTable, members: Sequence[tuple[str, Proof]], row: _BracketRow, y: float, drawing: float
) -> float:
    """A bracket: its gears drawn for each member where they are changed."""
    line = row.line
    if line.alike:
        table.what(y + 1.8, line.what)
        left = "LEAVE SO" if line.each[0] == EMPTY else "SET ONCE, LEAVE"
        table.cell(0, y + 1.4, f"{line.each[0]}   {left}", _SIZE + 1, span=len(members))
        return y + max(_ROW_MM, _named_mm(line) + 2)
    table.what(y + 1.6, line.what)
    words_mm = max(len(table.lines(words)) for words in line.each) * _SIZE * LINE
    height = max(drawing + words_mm + 5, _named_mm(line) + 3)
    for member, ((_, proof), words) in enumerate(zip(members, line.each, strict=True)):
        table.box(member, y + 0.3, height - 0.9)
        table.cell(member, y + 1.6, words, _SIZE + 1)
        if drawing:
            panel = table.page.panel(table.left(member) + 2, y + 4 + words_mm, table.width - 6, drawing - 1)
            link = proof.case.train.brackets[row.number]
            draw_bracket(panel, link, proof.case.letters(link.name))
    below = y + 3.5 + _named_mm(line)
    for place, part in enumerate(line for words in row.shafts for line in look.wrapped(words, 7.5, _WHAT_MM - 2)):
        if drawing:
            table.page.text(MARGIN, below + place * 4, part, 7.5)
    return y + height


def _pictures(
    table: _TogetherTable, members: Sequence[tuple[str, Proof]], head: MemberLine, y: float, up: str
) -> float:
    """Head and marks of each member, drawn."""
    page = table.page
    page.rule(y + 1, width=1.6)
    table.what(y + 4, head.what)
    words_mm = max(len(table.lines(words)) for words in head.each) * _SIZE * LINE
    below = y + 4.5 + words_mm
    table.what(below + 2, f"marks of the light first cut, up is {up}")
    for number, ((_, proof), words) in enumerate(zip(members, head.each, strict=True)):
        left = table.left(number)
        table.cell(number, y + 3, words, _SIZE)
        draw_head(page, proof, left + 0.5, below, _HEAD_MM)
        marks = left + _HEAD_MM + 3
        draw_marks(page, proof, marks, below + 2, left + table.width - 4 - marks, _HEAD_MM - 4)
        if not head.alike:
            table.box(number, y + 2, below + _HEAD_MM - y - 1)
    return below + _HEAD_MM + 2
