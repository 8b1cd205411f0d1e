"""Gears to get, as a person reads them on a terminal: each with what it is for, and how sure the number is."""

from __future__ import annotations

from handlead.machines.buying.buying import Buying
from handlead.viz.streams.terminal import console
from rich.console import Console
from rich.table import Table
from rich.text import Text

from .survey_table import in_the_way


def show_buying(found: Buying, out: Console | None = None) -> None:
    """Print what to get."""
    out = out or console()
    out.print(Text(f"\nGears to get: {_number(found)}", style="bold"))
    if found.gears:
        out.print(_table(found))
    out.print(_sure(found), style="dim")
    for row in found.unserved:
        out.print(Text(f"✗ still not: {row.title}", style="bold red"))
        out.print(f"  {row.machine}: {in_the_way(row)}")


def _number(found: Buying) -> str:
    served = found.already + len(found.served)
    orders = f"{served} of {served + len(found.unserved)} orders can be cut"
    if not found.number:
        return f"none; {orders}"
    return f"{found.number} gear{'s' if found.number > 1 else ''}; with {'them' if found.number > 1 else 'it'} {orders}"


def _table(found: Buying) -> Table:
    table = Table(box=None, padding=(0, 2, 0, 0), header_style="dim")
    for head in ("gear", "drawer", "for"):
        table.add_column(head)
    for one in found.gears:
        many = f"{one.count} of " if one.count > 1 else ""
        used = "; ".join(f"{order} ({bracket})" for order, bracket in one.used) or "no order by itself"
        table.add_row(f"{many}{one.teeth} teeth", f"{one.drawer}, {one.machine}", used)
    return table


def _sure(found: Buying) -> str:
    """How sure it is that no fewer gears will do, or that no more orders can be had."""
    asked = "Every order was planned with them." if found.gears else ""
    if found.most is None and found.proved:
        sure = "" if not found.number else "It is proved that no fewer will do."
    elif found.most is None:
        sure = (
            f"No fewer than {found.bound} will do of the choices that were looked at; "
            "where a count hangs on the feed, or brackets ask for the same gears, not every choice was."
        )
    elif found.proved:
        sure = "It is proved that so many gears make no more orders possible."
    else:
        sure = f"No more than {found.bound} orders can be had by the choices that were looked at, which weren't all."
    return " ".join(filter(None, (asked, sure)))
