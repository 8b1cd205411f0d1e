"""How sure a set-up is, as a person reads it on a terminal: in how many of 100, and what most of it comes from."""

from __future__ import annotations

from collections.abc import Sequence

from handlead.machines.studying.draws import NO_CLASS
from handlead.machines.studying.study import HowSure, Sureness
from handlead.machines.toml.units import height
from handlead.viz.streams.terminal import CAUTION, console
from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

#: Sources that are told of each quantity.
_MOST_TOLD = 4

#: A share that is less isn't told by itself.
_LEAST_TOLD = 0.005


def show_study(found: HowSure, out: Console | None = None) -> None:
    """Print the study."""
    out = out or console()
    job = found.job
    out.print(Text.assemble((job.title, "bold"), f"  on {job.machine.name}"))
    out.print(Text(headline(found), style="bold"))
    out.print(Padding(_classes(found), (1, 0, 1, 0)))
    for one in found.quantities:
        _show_sources(one, job.units, out)
    thick = found.thickness
    if thick.contributions:
        out.print(f"thickness: half of the draws within {height(thick.median_um, job.units)}, 95 of 100 within "
                  f"{height(thick.most_um, job.units)}, more or less than as it is set")  # fmt: skip
        _show_sources(thick, job.units, out)
    if found.on_flank:
        _show_flank(found, out)
    out.print(
        f"{found.draws} draws, seed {found.seed}: the train exact, what is loose to the first order, each place of a "
        "flank as it stands when the hob leaves it, without feed marks and facets. What the machine's file doesn't "
        "name isn't in it.",
        style="dim",
    )
    out.print(Padding(Text(CAUTION, style="dim"), (1, 0, 1, 0)))


def headline(found: HowSure) -> str:
    """The answer in a sentence: the drawing's class in how many of 100, and what most of it comes from."""
    asked, worst = found.job.work.quality, found.worst
    said = f"class {asked} in {of_100(found.within(asked))} of 100"
    if not worst.contributions:
        return said
    most = worst.contributions[0]
    return f"{said}; most of the {worst.name} from {most.source.name}: {100 * most.share:.0f} %"


def of_100(share: float) -> str:
    """A share in 100; nearly all or nearly none isn't told as all or none."""
    if 0 < share < 0.005:
        return "less than 1"
    if 0.995 <= share < 1:
        return "more than 99"
    return f"{100 * share:.0f}"


def _classes(found: HowSure) -> Table:
    columns = [*((one.name, one.classes) for one in found.quantities), ("all", found.together)]
    return _table([(name, classes) for name, classes in columns], found.job.work.quality)


def _table(columns: Sequence[tuple[str, Sequence[tuple[int, int]]]], asked: int) -> Table:
    table = Table(box=None, padding=(0, 2, 0, 0), header_style="dim")
    table.add_column("within class")
    for name, _ in columns:
        table.add_column(name, justify="right")
    every = {one for _, classes in columns for one, _ in classes if one < NO_CLASS} | {asked}
    for quality in sorted(every):
        shares = [
            sum(count for one, count in classes if one <= quality)
            / max(1, sum(count for _, count in classes))
            for _, classes in columns
        ]
        mark = "  as drawn" if quality == asked else ""
        table.add_row(f"{quality}{mark}", *(of_100(share) for share in shares))
    return table


def _show_sources(one: Sureness, units: str, out: Console) -> None:
    """What most of a quantity comes from."""
    if not one.contributions:
        out.print(f"{one.name}: nothing loose tells on it")
        return
    told = [each for each in one.contributions[:_MOST_TOLD] if each.share >= _LEAST_TOLD]
    parts = [f"{each.source.name} {100 * each.share:.0f} % ({each.source.comes_from})" for each in told]
    rest = 1 - sum(each.share for each in told)
    if rest >= _LEAST_TOLD:
        parts.append(f"others {100 * rest:.0f} %")
    out.print(f"{one.name}, 95 of 100 within {height(one.most_um, units)}: {'; '.join(parts)}")


def _show_flank(found: HowSure, out: Console) -> None:
    """The draws that were cut in simulation."""
    draws = sum(count for _, count in found.on_flank["together"])
    out.print(f"\n{draws} draws cut in simulation, with marks, form and all:")
    columns = [("all" if name == "together" else name, classes) for name, classes in found.on_flank.items()]
    out.print(_table(columns, found.job.work.quality))
