"""What was found of a machine, and what wasn't, as a person reads it on a terminal."""

from __future__ import annotations

from pathlib import Path

from handlead.machines.fitting.counts import Fit
from handlead.machines.fitting.from_another import OtherValue, Refit
from handlead.machines.fitting.next_count import Advice
from handlead.viz.streams.terminal import CAUTION, console
from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

#: So many of the values that an unknown may still have are shown.
_MOST_SHOWN = 6

_INDENT = (0, 0, 0, 2)


def show_fit(fit: Fit, out: Console | None = None) -> None:
    """Print each unknown with its value, what is known of the rest, contradictions, and what to do next."""
    out = out or console()
    machine = fit.unfitted.machine
    found = sum(fit.value(figure) is not None for figure in fit.unfitted.figures)
    count = len(fit.unfitted.figures)
    mark, style = ("✓", "bold green") if fit.is_determined else ("?", "bold yellow")
    if not count:
        head = "NOTHING IS UNKNOWN"
    else:
        head = "ALL DETERMINED" if fit.is_determined else f"{found} OF {count} DETERMINED"
    out.print(Text.assemble((f"{mark} {head}", style), "  ", (machine.name, "bold")))
    out.print(f"  {machine.path}, from {fit.observations.path}", style="dim")
    if count:
        out.print(Padding(_unknowns(fit), (1, 0, 0, 2)))
    if fit.ties:
        out.print(Text("\nKnown only together", style="bold"))
        for tie in fit.ties:
            out.print(Padding(Text(tie), _INDENT))
    if fit.plainer:
        out.print(Text("\nNot quite sure", style="bold yellow"))
        for words in fit.plainer.values():
            out.print(Padding(Text(words), _INDENT))
    for contradiction in fit.contradictions:
        out.print(Text("\n✗ Contradiction", style="bold red"))
        out.print(Padding(Text(contradiction.message), _INDENT))
    _show_advice(fit.advice, out)
    out.print(Padding(Text(CAUTION, style="dim"), (1, 0, 1, 2)))


def _unknowns(fit: Fit) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 3, 0, 0), header_style="bold")
    for heading in ("unknown", "found", "line"):
        table.add_column(heading)
    for figure in fit.unfitted.figures:
        words = fit.words(figure)
        table.add_row(figure.key, words or _open(fit.examples(figure)), str(fit.unfitted.place(figure).line))
    return table


def _open(examples: list[str]) -> str:
    if not examples:
        return "not determined"
    shown = ", ".join(examples[:_MOST_SHOWN])
    return f"not determined: {shown}{', …' if len(examples) > _MOST_SHOWN else ''}"


def _show_advice(advice: Advice | None, out: Console) -> None:
    if advice is None:
        return
    out.print(Text("\nNext", style="bold"))
    out.print(Padding(Text(advice.do), _INDENT))
    if advice.settles:
        out.print(Padding(Text(f"It should settle {', '.join(advice.settles)}."), _INDENT))


def show_refit(refit: Refit, out: Console | None = None) -> None:
    """Print the least sets of changes, or that none are needed or none are enough, and what to do next."""
    out = out or console()
    name = refit.machine.name
    if not refit.unexplained:
        out.print(Text(f"✓ {name.upper()} EXPLAINS IT AS IT IS", style="bold green"))
    elif not refit.sets:
        out.print(Text(f"✗ NO FEW CHANGES TO {name.upper()} EXPLAIN IT", style="bold red"))
    elif len(refit.sets) == 1:
        out.print(Text(f"✓ {name.upper()} WITH THESE CHANGES", style="bold green"))
    else:
        out.print(
            Text(f"? {name.upper()} WITH ONE OF {len(refit.sets)} SETS OF CHANGES", style="bold yellow")
        )
    out.print(f"  {refit.machine.path}, from {refit.observations.path}", style="dim")
    for number in refit.unexplained:
        seen = refit.observations
        out.print(
            Padding(Text(f"not explained as it is: {seen.place(number)}: {seen.name(number)}"), _INDENT)
        )
    for rank, changes in enumerate(refit.sets):
        out.print(Text(f"\n{rank + 1}", style="bold"))
        for change in changes:
            out.print(Padding(Text(_change(refit, change)), _INDENT))
    _show_advice(refit.advice, out)
    out.print(Padding(Text(CAUTION, style="dim"), (1, 0, 1, 2)))


def _change(refit: Refit, change: OtherValue) -> str:
    before, after = refit.words(change)
    units = refit.machine.units
    words = after or _open([change.figure.words(value, units) for value in change.may_be])
    return f"{change.figure.key}: {before} → {words}"


def show_written(count: int, path: Path, out: Console | None = None) -> None:
    """Say what has been written."""
    text = f"{path}: written" if count else f"{path}: not written, since nothing is settled"
    (out or console()).print(Text(text))
