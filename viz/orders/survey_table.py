"""A survey as rows of words: for a terminal, a page of paper, and a CSV file."""

from __future__ import annotations

import csv
import datetime
import io
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from handlead.machines.shop.survey import CAN, Survey, SurveyRow
from handlead.viz.streams.terminal import CAUTION

if TYPE_CHECKING:
    from handlead.viz.look.paper import Page
    from matplotlib.figure import Figure

#: The columns of the CSV file; lengths in mm, deviations in µm, times in minutes.
COLUMNS = (
    "job", "title", "machine", "rank", "status", "class", "helix_slope_um", "time_min", "hob", "gears", "why",
    "gears_to_get",
)  # fmt: skip


#: The heads of the table, and what stands beneath them.
HEADS = ("order", "best machine", "class", "flank", "min", "also on")
MEANT = (
    "Flank: what the gears leave of the helix over the face; the class is that of this alone. "
    "Other machines stand best first."
)


def rows_as_csv(found: Survey) -> str:
    """A line a row, orders in their order and the best machine of each first; then the files that can't be used."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for rows in found.by_order.values():
        for rank, row in enumerate(rows, 1):
            writer.writerow([
                row.job, row.title, row.machine, rank if row.status == CAN else "", row.status, row.quality or "",
                "" if row.slope_um is None else f"{row.slope_um:.3f}", minutes(row, ".1f"), row.hob,
                gears_of(row), _in_a_line(row.why), row.gears_to_get,
            ])  # fmt: skip
    for one in found.unread:
        where = ("", "", one.name) if one.is_machine else (one.name, "", "")
        writer.writerow([*where, "", "can't be used", *[""] * 5, _in_a_line(one.why), ""])
    return out.getvalue()


def _in_a_line(words: str) -> str:
    """Several lines as one: a cell of a table takes no more."""
    return "; ".join(line.strip() for line in words.splitlines())


def minutes(row: SurveyRow, how: str = ".0f") -> str:
    """The minutes of cutting, or nothing where they aren't known."""
    return "" if row.time_min is None else format(row.time_min, how)


def gears_of(row: SurveyRow) -> str:
    """The gears of every bracket and member, in a line."""
    said = []
    for member in row.members:
        who = f"{member.member}: " if len(row.members) > 1 else ""
        said.append(who + "; ".join(f"{name} {gears}" for name, gears in member.gears.items()))
    return " | ".join(said)


def flank_of(row: SurveyRow) -> str:
    """What it costs on the flank: the helix slope over the face."""
    return "" if row.slope_um is None else f"{row.slope_um:.2f} µm"


def others_of(rows: Sequence[SurveyRow]) -> str:
    """The other machines that can cut it, best first."""
    return ", ".join(row.machine for row in rows[1:] if row.status == CAN)


def in_the_way(row: SurveyRow, most: int = 160) -> str:
    """What is in the way, in so many characters at most."""
    why = " ".join(row.why.split())
    return why if len(why) <= most else f"{why[: most - 1].rstrip()}…"


# ---------------------------------------------------------------- on paper

#: Widths of the page's columns in mm, the type of its rows, and how far apart lines of the small type stand.
_WIDTHS, _SIZE, _ROW_MM, _SMALL_MM = (62.0, 34.0, 12.0, 18.0, 12.0), 8.0, 5.0, 3.6


def write_page(found: Survey, out: Path, paper: str = "A4") -> int:
    """Write the table as pages into a PDF or HTML file, whole or not at all; returns how many there are.

    Raises `OSError` where the file can't be written.
    """
    from handlead.viz.sheet.file import write_figures

    figures = draw_survey(found, paper)
    write_figures(figures, "Survey of orders", out, paper)
    return len(figures)


def draw_survey(found: Survey, paper: str = "A4", today: datetime.date | None = None) -> list[Figure]:
    """The table on as many pages as it takes: a line an order, with its gears, or why it can't be cut, beneath."""
    pages = _TablePages(paper, today or datetime.date.today())
    for rows in found.by_order.values():
        pages.put(_words(rows), _beneath(rows))
    for one in found.unread:
        pages.put((one.name, "can't be used", "", "", "", ""), one.why.split("\n"))
    pages.put((), [MEANT, CAUTION])
    return [page.figure for page in pages.all]


class _TablePages:
    """Pages that are filled line by line, each with the heads of its columns."""

    def __init__(self, paper: str, today: datetime.date) -> None:
        self.paper, self.today = paper, today
        self.all: list[Page] = []
        self.y = 0.0
        self._turn()

    def _turn(self) -> None:
        from handlead.viz.look.paper import MARGIN, Page

        page = Page(self.paper)
        self.all.append(page)
        number = f", page {len(self.all)}" if len(self.all) > 1 else ""
        top = page.heading(MARGIN, MARGIN, f"Survey of orders, {self.today:%Y-%m-%d}{number}") + 1
        _line(page, top, HEADS, bold=True)
        page.rule(top + _ROW_MM)
        self.y = top + _ROW_MM + 1.5

    def put(self, words: Sequence[str], beneath: Sequence[str]) -> None:
        """A line of the table, with what stands beneath it in small type; both on one page, if that has room."""
        from handlead.viz.look import look
        from handlead.viz.look.paper import MARGIN

        width = self.all[-1].wide - 4
        lines = [one for each in beneath for one in look.wrapped(each, _SIZE - 1, width)]
        bottom = self.all[-1].height - MARGIN
        if self.y + _ROW_MM + _SMALL_MM * len(lines) > bottom:
            self._turn()
        if words:
            _line(self.all[-1], self.y, words)
        self.y += _ROW_MM
        for one in lines:
            if self.y + _SMALL_MM > bottom:
                self._turn()
            self.all[-1].text(MARGIN + 4, self.y, one, _SIZE - 1)
            self.y += _SMALL_MM
        self.y += 1


def _words(rows: Sequence[SurveyRow]) -> tuple[str, ...]:
    """The line of an order."""
    best = rows[0]
    if best.status != CAN:
        return best.title, "none", "", "", "", ""
    return (
        best.title,
        best.machine,
        str(best.quality or "none"),
        flank_of(best),
        minutes(best),
        others_of(rows),
    )


def _beneath(rows: Sequence[SurveyRow]) -> list[str]:
    """The gears on the best machine, and the hob; where none can cut it, why on each, and gears that would help."""
    best = rows[0]
    if best.status == CAN:
        hob = f"hob {best.hob.removeprefix('hob ')}; " if best.hob else ""
        return [f"{hob}{gears_of(best)}"]
    return [
        words
        for row in rows
        for words in (f"{row.machine}: {in_the_way(row)}", row.gears_to_get)
        if words
    ]


def _line(page: Page, y: float, words: Sequence[str], *, bold: bool = False) -> None:
    from handlead.viz.look.paper import MARGIN, trimmed

    x = MARGIN
    for said, width in zip(words, (*_WIDTHS, page.wide - sum(_WIDTHS)), strict=True):
        page.text(x, y, trimmed(said, width - 2, _SIZE), _SIZE, bold=bold)
        x += width
