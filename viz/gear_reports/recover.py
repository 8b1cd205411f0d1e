"""Set-ups that may have made a gear, as a person reads them: what was measured, each set-up, what to measure next."""

from __future__ import annotations

from collections.abc import Iterator

from handlead.machines.toml.units import feed, length
from handlead.machines.tracing.recovered import Recovered, SetUpRecovered
from handlead.viz.streams.terminal import CAUTION, console
from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text


def show_recovered(found: Recovered, out: Console | None = None) -> None:
    """Print what was measured and every set-up that leaves it."""
    out = out or console()
    job = found.job
    out.print(Text.assemble((job.title, "bold"), f"  cut on {job.machine.name}"))
    out.print(f"  {measured(found)}")
    if not found.setups:
        out.print(Text(f"✗ No set-up: {found.none_because}.", style="bold red"))
        return
    fitting = f"{found.fitting} choices of gears fit" if found.fitting > 1 else "One choice of gears fits"
    more = ", or more: not all were looked at" if found.not_searched else ""
    out.print(f"✓ {fitting}{more}. The likeliest, each proved on the machine:")
    for number, one in enumerate(found.setups, 1):
        out.print(Padding(_whole(number, one, found), (1, 0, 0, 2)))
    for line in _to_do(found):
        out.print(Padding(line, (1, 0, 0, 2)))
    out.print(Padding(Text(CAUTION, style="dim"), (1, 0, 1, 0)))


def measured(found: Recovered) -> str:
    """What was measured on the gear, and how far off it may be."""
    evidence, units = found.evidence, found.job.units
    words = [f"{found.work.teeth} teeth"]
    words.append(f"{found.work.hand.word}-hand" if found.work.is_helical and found.work.hand else "straight")
    if evidence.lead:
        lead, off = (length(float(one), units, 2) for one in (evidence.lead.value, evidence.lead.within))
        words.append(f"lead {lead} ± {off}")
    elif evidence.helix:
        words.append(f"helix angle {float(evidence.helix.value):.4g}° ± {float(evidence.helix.within):.2g}°")
    assert evidence.feed is not None
    words.append(
        f"feed marks {length(float(evidence.feed.value), units)} ± {length(float(evidence.feed.within), units)} apart"
    )
    return ", ".join(words)


def _whole(number: int, one: SetUpRecovered, found: Recovered) -> Table:
    machine, setup, units = found.job.machine, one.setup, found.job.units
    grid = Table.grid(padding=(0, 3, 0, 0))
    lead = "" if one.lead_mm is None else f", lead {length(one.lead_mm, units)}"
    grid.add_row(Text(str(number), style="bold"), Text(f"{feed(one.feed_mm, units)}{lead}", style="bold"))
    for name, mounted in setup.change.items():
        grid.add_row("", f"{name}  {mounted}{mounted.without_idler}")
    levers = {name: setup.levers.get(name, lever.normal) for name, lever in machine.levers.items()}
    if levers:
        grid.add_row("", "levers  " + "; ".join(f"{name}: {position}" for name, position in levers.items()))
    grid.add_row("", f"swivel  {machine.swivel_text(float(setup.swivel_deg or 0))}")
    if setup.feed:
        other = f"; {setup.feed.other.value} leaves the same" if one.either_way else ""
        grid.add_row("", f"slide   {setup.feed.value}{other}")
    return grid


def _to_do(found: Recovered) -> Iterator[str]:
    """What tells the set-ups apart that are listed, and what doesn't."""
    units = found.job.units
    spread = [("leads", [one.lead_mm for one in found.setups if one.lead_mm is not None])]
    spread.append(("feeds", [float(one.feed_mm) for one in found.setups]))
    told = [
        f"the {name} go from {length(min(values), units)} to {length(max(values), units)}"
        for name, values in spread
        if len(set(values)) > 1
    ]
    if told:
        yield (
            f"Of those listed, {' and '.join(told)}. Measure closer, the lead over the whole face and ten or more feed "
            "marks at once, write how far off that may be (within), and fewer fit."
        )
    yield (
        "Gears of the same ratio leave the same gear: which of them stood there nothing on it says. Likely is what "
        "people set: a count in the index gears alone, a round feed, the drawing's lead, few gears."
    )
