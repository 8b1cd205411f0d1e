"""A survey as rows of words: for a terminal, a page of paper, and a CSV file."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from handlead.machines.shop.survey import CAN, Survey, SurveyRow

if TYPE_CHECKING:
    from handlead.viz.look.paper import Page
    from matplotlib.figure import Figure

#: The columns of the CSV file; lengths in mm, deviations in µm, times in minutes.
COLUMNS = (
    "job", "title", "machine", "rank", "status", "class", "helix_slope_um", "time_min", "hob", "gears", "why",
    "gears_to_get",
)  # fmt: skip


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
                gears_of(row), row.why, row.gears_to_get,
            ])  # fmt: skip
    for one in found.unread:
        where = ("", "", one.name) if one.is_machine else (one.name, "", "")
        writer.writerow([*where, "", "can't be used", *[""] * 5, one.why, ""])
    return out.getvalue()


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

#: Widths of the page's columns in mm, and the type of its rows.
_WIDTHS, _SIZE, _ROW_MM = (62.0, 30.0, 12.0, 20.0, 14.0), 8.0, 5.0
_HEADS = ("order", "best machine", "class", "on the flank", "min", "also on")


def write_page(found: Survey, out: Path, paper: str = "A4") -> int:
    """Write the table as pages into a PDF or HTML file, whole or not at all; returns how many there are.

    Raises `OSError` where the file can't be written.
    """
    from handlead.viz.sheet.file import write_figures

    figures = draw_survey(found, paper)
    write_figures(figures, "Survey of orders", out, paper)
    return len(figures)


def draw_survey(found: Survey, paper: str = "A4") -> list[Figure]:
    """The table on as many pages as it takes: a line an order, and why under those that can't be cut."""
    from handlead.viz.look.paper import MARGIN, Page

    pages: list[Page] = []
    y = 0.0

    def turn() -> tuple[Page, float]:
        page = Page(paper)
        pages.append(page)
        top = (
            page.heading(
                MARGIN, MARGIN, f"Survey of orders{f', page {len(pages)}' if len(pages) > 1 else ''}"
            )
            + 1
        )
        _line(page, top, _HEADS, bold=True)
        page.rule(top + _ROW_MM)
        return page, top + _ROW_MM + 1.5

    page, y = turn()
    for rows in found.by_order.values():
        needed = _ROW_MM * (1 + sum(len(lines) for lines in _reasons(page, rows)))
        if y + needed > page.height - MARGIN and y > 40:
            page, y = turn()
        _line(page, y, _words(rows))
        y += _ROW_MM
        for lines in _reasons(page, rows):
            for words in lines:
                page.text(MARGIN + 4, y, words, _SIZE - 1)
                y += _ROW_MM
    for one in found.unread:
        if y + _ROW_MM > page.height - MARGIN:
            page, y = turn()
        _line(page, y, (one.name, "can't be used", "", "", "", ""))
        y += _ROW_MM
    return [each.figure for each in pages]


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


def _reasons(page: Page, rows: Sequence[SurveyRow]) -> list[list[str]]:
    """For an order that can't be cut, why on each machine, in lines that fit."""
    from handlead.viz.look import look
    from handlead.viz.look.paper import MARGIN

    if rows[0].status == CAN:
        return []
    return [
        look.wrapped(f"{row.machine}: {in_the_way(row)}", _SIZE - 1, page.right - MARGIN - 4) for row in rows
    ]


def _line(page: Page, y: float, words: Sequence[str], *, bold: bool = False) -> None:
    from handlead.viz.look.paper import MARGIN, trimmed

    x = MARGIN
    for said, width in zip(words, (*_WIDTHS, page.right - MARGIN - sum(_WIDTHS)), strict=True):
        page.text(x, y, trimmed(said, width - 2, _SIZE), _SIZE, bold=bold)
        x += width
