"""A survey as a person reads it on a terminal: a line an order, the best machine first, and what is in the way."""

from __future__ import annotations

from collections.abc import Sequence

from handlead.machines.shop.survey import CAN, Survey, SurveyRow
from handlead.viz.streams.terminal import CAUTION, console
from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from .survey_table import HEADS, MEANT, flank_of, in_the_way, minutes, others_of


def show_survey(found: Survey, out: Console | None = None) -> None:
    """Print the survey."""
    out = out or console()
    can = [rows for rows in found.by_order.values() if rows[0].status == CAN]
    cannot = [rows for rows in found.by_order.values() if rows[0].status != CAN]
    out.print(Text(f"{len(can)} of {len(found.by_order)} orders can be cut", style="bold"))
    if can:
        out.print(_table(can))
    for rows in cannot:
        _show_in_the_way(rows, out)
    for one in found.unread:
        what = "machine" if one.is_machine else "order"
        out.print(Text(f"\n✗ {what} {one.name} can't be used, and was left out", style="bold red"))
    if can:
        out.print(f"{MEANT} handlead plan shows a set-up whole.", style="dim")
    out.print(Padding(Text(CAUTION, style="dim"), (1, 0, 1, 0)))


def _table(orders: Sequence[Sequence[SurveyRow]]) -> Table:
    table = Table(box=None, padding=(0, 2, 0, 0), header_style="dim")
    for head in HEADS:
        table.add_column(head, justify="right" if head == "min" else "left")
    for rows in orders:
        best = rows[0]
        quality = str(best.quality or "none")
        table.add_row(best.title, best.machine, quality, flank_of(best), minutes(best), others_of(rows))
    return table


def _show_in_the_way(rows: Sequence[SurveyRow], out: Console) -> None:
    out.print(Text(f"\n✗ {rows[0].title}", style="bold red"))
    for row in rows:
        out.print(f"  {row.machine}: {in_the_way(row)}")
        if row.gears_to_get:
            out.print(f"  {row.gears_to_get}")
