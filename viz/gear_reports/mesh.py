"""How a pair runs, as a person at the bench reads it."""

from __future__ import annotations

import math
from fractions import Fraction

from handlead.kinematics.rolling.waves import ErrorWave
from handlead.machines.rolling.members import RolledMember
from handlead.machines.rolling.pair_rolled import PairRolled
from handlead.machines.rolling.words import DRIVES, at_the_machine, where
from handlead.machines.toml.units import decimal, height, length
from handlead.viz.reports.proof import show_finding
from handlead.viz.streams.terminal import CAUTION, console
from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

#: Less than this over a face, in µm, is no lean (own choice).
_TRUE = 0.05

#: What a roll leaves out.
LEFT_OUT = (
    "Rolled without load, mid-face on mid-face, both faces up as they lay on the table; marks are those of one tooth "
    "on each flank, what comes back with the table's turn that of all. Not looked at: shafts that aren't parallel, "
    "bearings, what bends under load, corners of tips."
)


def show_rolled(found: PairRolled, out: Console | None = None) -> None:
    """Print the verdict, what was cut, how it runs either way, and what was found."""
    out = out or console()
    mark, style = ("✓", "bold green") if found.runs else ("✗", "bold red")
    mate = found.mate.title if found.mate else "its mate as drawn"
    out.print(
        Text.assemble(
            (f"{mark} {found.verdict.upper()}, in simulation", style),
            "  ",
            (f"{found.job.title}; {mate}", "bold"),
        )
    )
    out.print(f"  {found.job.path}{f', {found.mate.path}' if found.mate else ''}", style="dim")
    out.print(Padding(_members(found), (1, 0, 0, 2)))
    if found.rolled is not None:
        out.print(Padding(_running(found), (1, 0, 0, 2)))
        out.print(Padding(Text(LEFT_OUT, style="dim"), (1, 0, 1, 2)))
    for finding in found.findings:
        show_finding(finding, out)
    out.print(Padding(Text(CAUTION, style="dim"), (1, 0, 1, 2)))


def _members(found: PairRolled) -> Table:
    units = found.job.units
    table = Table(box=None, pad_edge=False, padding=(0, 3, 0, 0), header_style="bold")
    for heading in ("", "teeth", "hand", "lead", "leans off its drawing"):
        table.add_column(heading)
    for name, member in zip(("work", "mate"), found.members, strict=True):
        lead = member.work.lead_mm if member.found is None else member.found.lead_mm
        table.add_row(
            f"{name}, {'as cut' if member.found else 'as drawn'}",
            "?" if member.teeth is None else str(member.teeth),
            "straight" if member.hand == "none" else member.hand,
            "" if lead is None else length(lead, units, 2),
            _lean(member, units),
        )
    return table


def _lean(member: RolledMember, units: str) -> str:
    if member.found is not None and member.hand != member.hand_wanted:
        return f"wrong hand: the drawing's is {'straight' if member.hand_wanted == 'none' else member.hand_wanted}"
    if member.lean_um is None or member.found is None:
        return ""
    if abs(member.lean_um) < _TRUE:
        return "no"
    way = "right" if member.lean_um > 0 else "left"
    return f"{height(abs(member.lean_um), units)} to the {way} over its face"


def _running(found: PairRolled) -> Table:
    units = found.job.units
    table = Table(box=None, pad_edge=False, padding=(0, 3, 0, 0), header_style="bold")
    for heading in ("", *(f"work {turning}" for turning in DRIVES.values())):
        table.add_column(heading)
    assert found.rolled is not None and found.distance is not None
    sides = [found.rolled.sides[side] for side in DRIVES]
    errors = [
        "unknown: touch is lost" if math.isnan(one.error_um) else height(one.error_um, units) for one in sides
    ]
    table.add_row("transmission error", *errors)
    by_name: dict[str, dict[int, str]] = {}
    for side in DRIVES:
        for wave in found.waves(side):
            by_name.setdefault(_named(wave, found), {})[side] = height(wave.um, units)
    for name, sizes in by_name.items():
        table.add_row(f"  {name}", *(sizes.get(side, "") for side in DRIVES))
    bears = [found.bearing(side) for side in DRIVES]
    way = found.job.machine.way
    table.add_row("bears", *("" if one is None else at_the_machine(where(one), way) for one in bears))
    table.add_row(
        f"  blue {height(found.film * 1000, units)}: of the face",
        *(_share(one.length if one else None) for one in bears),
    )
    table.add_row("  up to, of the height", *(_share(one.height if one else None) for one in bears))
    play = found.play()
    if play is not None:
        table.add_row("backlash, by feeler", f"{length(play[0], units)} to {length(play[1], units)}", "")
    table.add_row("centre distance", length(found.distance, units), "")
    return table


def _share(share: float | None) -> str:
    return "" if share is None else f"{100 * share:.0f} %"


def _named(wave: ErrorWave, found: PairRolled) -> str:
    if wave.of in ("first", "second"):
        return f"once a turn of the {'work' if wave.of == 'first' else 'mate'}"
    if wave.of == "mesh":
        times = wave.per_first / (found.members[0].teeth or 1)
        return "with every tooth" if times == 1 else f"{_times(times)} every tooth"
    return f"{_times(wave.per_first)} a turn of the work, {_times(wave.per_second)} of the mate"


def _times(number: Fraction) -> str:
    return {1: "once", 2: "twice"}.get(number, f"{decimal(number, 4)} times")  # type: ignore[call-overload, no-any-return]
