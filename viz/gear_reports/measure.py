"""How much deeper, as a person at the dial reads it."""

from __future__ import annotations

from handlead.machines.measuring.going_deeper import Deeper
from handlead.machines.measuring.part_sizes import chord_of
from handlead.machines.toml.units import length
from handlead.viz.streams.terminal import CAUTION, console
from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

_MARKS = {"done": ("✓", "bold green"), "deeper": ("→", "bold yellow"), "too deep": ("✗", "bold red")}

_TOO_THIN = "The teeth are too thin already: the pair will have more backlash. Ask before it is used."

#: What it means that the hob went too deep, for work that has no mate of its kind.
_TOO_DEEP = {
    "sprocket": "The seats are too deep already: the chain's rollers will lie too low in them. Ask before it is used.",
    "spline": "The teeth or keys are too thin already: the hub will have more play. Ask before it is used.",
}


def show_deeper(found: Deeper, out: Console | None = None) -> None:
    """Print how much deeper, each measure beside what it must read, and what to mind."""
    out = out or console()
    mark, style = ("!", "bold yellow") if found.disagree else _MARKS[found.verdict]
    out.print(Text.assemble((f"{mark} {headline(found)}", style), "  ", (found.job.title, "bold")))
    out.print(f"  {found.job.path}{f', {found.gauging.date}' if found.gauging.date else ''}", style="dim")
    out.print(Padding(_table(found), (1, 0, 0, 2)))
    for line in _to_do(found):
        out.print(Padding(line, (1, 0, 0, 2)))
    out.print(Padding(Text(CAUTION, style="dim"), (1, 0, 1, 2)))


def headline(found: Deeper) -> str:
    """What to do, in a word or two."""
    if found.disagree:
        return "MEASURE AGAIN"
    amount = length(abs(found.deeper), found.job.units)
    return {"done": "DONE", "deeper": f"{amount} DEEPER", "too deep": f"TOO DEEP by {amount}"}[found.verdict]


def _table(found: Deeper) -> Table:
    units = found.job.units
    table = Table(box=None, pad_edge=False, padding=(0, 3, 0, 0), header_style="bold")
    for heading in ("", "found", "wanted", "asks for", "must then read"):
        table.add_column(heading)
    for each, (_, then) in zip(found.measures, found.then, strict=True):
        asks = f"{length(abs(each.deeper), units)} {'deeper' if each.deeper >= 0 else 'less'}"
        table.add_row(each.what, length(each.found, units), length(each.wanted, units), asks, length(then, units))
    return table


def _to_do(found: Deeper) -> list[str]:
    units, lines = found.job.units, []
    if found.disagree:
        lines.append(
            "The measures ask for depths too far apart to be of one gear: take each again, burrs off, on clean flanks. "
            "A head that is swung wrong cuts the teeth thin as well, and a blank that isn't to size spoils the depth."
        )
    if found.verdict == "deeper" and not found.disagree:
        dialled = found.gauging.dialled
        dial = "" if dialled is None else f", to {length(float(dialled) + found.deeper, units)} on the dial"
        lines.append(
            f"Go in {length(found.deeper, units)}{dial}, by the measure that asks for least: hob clear, back to START "
            "as the sheet says, play of the slide taken up the same way as before. Then measure again."
        )
    if found.verdict == "too deep" and not found.disagree:
        lines.append(_TOO_DEEP.get(found.job.work.kind, _TOO_THIN))
    chord = chord_of(found.job.work)
    if chord is not None and found.gauging.chord is not None:
        height = length(chord.height, units)
        lines.append(f"Set the caliper's tongue {height} from the tips of a blank of the drawing's size.")
    return lines
