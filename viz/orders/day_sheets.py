"""The sheets of a day in the order in which they are used: each change-over before the set-up that it leads to."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from handlead.machines.sequencing.day import Day

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def write_day(days: Sequence[Day], out: Path, paper: str = "A4") -> int:
    """Write the sheets of these days as the ending of `out` says; returns the number of pages.

    Raises `OSError` where the file can't be written, `HandleadError` where there is nothing to write.
    """
    from handlead.machines.toml.errors import HandleadError
    from handlead.viz.sheet.file import write_figures

    figures = [figure for day in days for figure in draw_day(day, paper)]
    if not figures:
        raise HandleadError(f"{out}: no sheet is written, since no job has a set-up")
    write_figures(figures, "Order of the day", out, paper)
    return len(figures)


def draw_day(day: Day, paper: str = "A4", today: datetime.date | None = None) -> Iterator[Figure]:
    """The pages of one machine's day."""
    from handlead.viz.sheet.page import draw_sheet
    from handlead.viz.sheet.together import draw_together
    from handlead.viz.sheet_words.member_words import shares_gears
    from handlead.viz.sheet_words.words import sheet_words

    today = today or datetime.date.today()
    for number, turn in enumerate(day.turns):
        pair = [("", one.proof) for one in day.turns[max(0, number - 1) : number + 1]]
        if shares_gears([sheet_words(proof, today) for _, proof in pair]):
            yield from draw_together(pair, paper, today)
        yield from draw_sheet(turn.proof, paper, today, f"{number + 1} of {len(day.turns)}")
