"""Results as a person reads them on a terminal: plain words, one screen, never by colour alone."""

from __future__ import annotations

from handlead.kinematics.words import Feed
from handlead.machines.case import Case, helix_slope_limit_um, helix_slope_um
from handlead.machines.checks import swivel_text
from handlead.machines.findings import Finding
from handlead.machines.mending import gears_text
from handlead.machines.proof import Proof
from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from .terminal import CAUTION, console

_MARKS = {"error": ("✗", "bold red"), "warning": ("!", "bold yellow"), "note": ("·", "cyan")}


def show_proof(proof: Proof, out: Console | None = None) -> None:
    """Print wanted beside predicted, then what was found, worst first."""
    out = out or console()
    case = proof.case
    style = "bold green" if proof.is_as_wanted else "bold red"
    mark = "✓" if proof.is_as_wanted else "✗"
    out.print(Text.assemble((f"{mark} {proof.verdict.upper()}", style), "  ", (case.job.title, "bold")))
    out.print(f"  {case.job.path}, on {case.job.machine.name}", style="dim")
    out.print(Padding(_comparison(proof), (1, 0, 0, 2)))
    out.print(Padding(_mounted(case), (0, 0, 0, 2)))
    for finding in proof.findings:
        show_finding(finding, out)
    out.print(Padding(Text(CAUTION, style="dim"), (1, 0, 1, 2)))


def show_finding(finding: Finding, out: Console) -> None:
    """Print one finding with what to do about it."""
    mark, style = _MARKS[finding.severity]
    grid = Table.grid(padding=(0, 1))
    grid.add_row("", Text(f"{mark} {finding.severity}", style=style), Text(finding.message))
    if finding.remedy:
        grid.add_row("", "", Text(f"→ {finding.remedy}"))
    out.print(grid)


def _comparison(proof: Proof) -> Table:
    case, gear = proof.case, proof.computed.outcome
    work = case.job.work
    table = Table(box=None, pad_edge=False, padding=(0, 3, 0, 0), header_style="bold")
    table.add_column("")
    table.add_column("wanted")
    table.add_column("this set-up (computed)")
    lead = work.lead_mm
    table.add_row("teeth", str(work.teeth), "none" if gear is None or gear.teeth is None else str(gear.teeth))
    table.add_row("hand", work.hand.word if work.is_helical and work.hand else "straight", _hand(proof))
    if work.kind != "worm wheel":
        table.add_row("lead", "none" if lead is None else f"{lead:.3f} mm", _lead(proof))
    table.add_row("helix angle", f"{work.beta_deg:.4f}°", _angle(proof))
    table.add_row("head swivel", swivel_text(case.swivel_wanted_deg), swivel_text(case.swivel_deg))
    feed = case.setup.feed
    table.add_row("feed", feed.value if feed else "not stated", _feed(proof))
    return table


def _hand(proof: Proof) -> str:
    gear = proof.computed.outcome
    if gear is None or gear.teeth is None:
        return "none"
    return gear.hand.word if gear.hand else "straight"


def _lead(proof: Proof) -> str:
    gear, work = proof.computed.outcome, proof.case.job.work
    if gear is None or gear.teeth is None:
        return "none"
    text = "none" if gear.lead_mm is None else f"{gear.lead_mm:.3f} mm"
    if gear.teeth == work.teeth and (gear.lead_mm or work.lead_mm):
        slope, limit = helix_slope_um(work, gear), helix_slope_limit_um(work)
        text += f"  ({slope:+.1f} µm over the face; class {work.quality} allows {limit:g})"
    return text


def _angle(proof: Proof) -> str:
    gear = proof.computed.outcome
    return "none" if gear is None or gear.helix_angle_deg is None else f"{gear.helix_angle_deg:.4f}°"


def _feed(proof: Proof) -> str:
    gear = proof.computed.outcome
    if gear is None or not gear.sliding_feed:
        return "no slide is driven"
    mode = {Feed.CLIMB: ", climb", Feed.CONVENTIONAL: ", conventional", None: ""}[gear.feed]
    return f"{float(gear.sliding_feed):.4g} mm per table turn, {gear.feed_slide}{mode}"


def _mounted(case: Case) -> Table:
    """What the set-up has in each bracket and where its levers stand, as a person would read it back."""
    grid = Table.grid(padding=(0, 3, 0, 0))
    for link in case.train.brackets:
        text = "empty" if link.mounted is None else f"{gears_text(link.mounted)} = {link.mounted.size}"
        if link.mounted and not link.mounted.idlers:
            text += ", no idler"
        grid.add_row(link.name, text)
    levers = {
        name: case.setup.levers.get(name, lever.normal) for name, lever in case.job.machine.levers.items()
    }
    if levers:
        grid.add_row("levers", "; ".join(f"{name}: {position}" for name, position in levers.items()))
    return grid
