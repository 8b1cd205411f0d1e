"""Results as a person reads them on a terminal: plain words, one screen, never by colour alone."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from handlead.kinematics.law.outcome import Outcome
from handlead.kinematics.links.mounted import Dialled
from handlead.machines.measuring.part_sizes import ball_text, part_sizes
from handlead.machines.proving.proof import Proof
from handlead.machines.setups.case import (
    Case,
    feeding_slide_goes,
    helix_slope_limit_um,
    helix_slope_um,
    no_slope_because,
)
from handlead.machines.setups.findings import Finding
from handlead.machines.setups.templates import relief_of, relief_to_measure
from handlead.machines.toml.places import quoted
from handlead.machines.toml.units import deviation, dial, height, length
from handlead.machines.toml.units import feed as feed_text
from handlead.viz.streams.terminal import CAUTION, console
from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

if TYPE_CHECKING:
    from handlead.kinematics.witness.flank_quality import FlankQuality
    from handlead.machines.blanks.witness import Cut

#: Said where figures of a simulated flank are printed.
AT_BEST = (
    "What is measured is measured on a simulated blank, and at best: hob, arbor, machine and clamping add their own."
)

_MARKS = {"error": ("✗", "bold red"), "warning": ("!", "bold yellow"), "note": ("·", "cyan")}


def show_proof(proof: Proof, out: Console | None = None) -> None:
    """Print wanted beside predicted, then what was found, worst first."""
    out = out or console()
    case = proof.case
    style = "bold green" if proof.is_as_wanted else "bold red"
    mark = "✓" if proof.is_as_wanted else "✗"
    where = ", in simulation" if proof.is_as_wanted else ""
    out.print(Text.assemble((f"{mark} {proof.verdict.upper()}{where}", style), "  ", (case.job.title, "bold")))
    out.print(f"  {case.job.path}, on {case.job.machine.name}", style="dim")
    out.print(Padding(_comparison(proof), (1, 0, 0, 2)))
    if proof.cut and proof.cut.flanks:
        out.print(Padding(Text(f"{AT_BEST} {_looked_at(proof.cut)}", style="dim"), (0, 0, 1, 2)))
    out.print(Padding(_mounted(proof), (0, 0, 0, 2)))
    for finding in proof.findings:
        show_finding(finding, out)
    out.print(Padding(Text(CAUTION, style="dim"), (1, 0, 1, 2)))


def _looked_at(cut: Cut) -> str:
    """What the class of the flanks is made of, and what it leaves out."""
    teeth = cut.flanks.traced_teeth if cut.flanks else 0
    return (
        f"Profile and helix are of {teeth} teeth, both flanks; pitch, runout and thickness of all. "
        f"Not measured: {'; '.join(cut.not_measured)}."
    )


def show_finding(finding: Finding, out: Console) -> None:
    """Print one finding with what to do about it."""
    mark, style = _MARKS[finding.severity]
    grid = Table.grid(padding=(0, 1))
    grid.add_row("", Text(f"{mark} {finding.severity}", style=style), Text(finding.message))
    if finding.remedy:
        grid.add_row("", "", Text(f"→ {finding.remedy}"))
    out.print(grid)


def _comparison(proof: Proof) -> Table:
    """Wanted, computed from the rates, and measured on the simulated blank, side by side."""
    table = Table(box=None, pad_edge=False, padding=(0, 3, 0, 0), header_style="bold")
    for heading in ("", "wanted", "computed (train)", "measured (blank)"):
        table.add_column(heading)
    for row in comparison_rows(proof):
        table.add_row(*row)
    if proof.cut is None:
        table.columns.pop()
    return table


def comparison_rows(proof: Proof) -> Iterator[tuple[str, str, str, str]]:
    """Each figure by name: wanted, computed from the rates, measured on the simulated blank ("" where nothing is)."""
    case, gear, cut = proof.case, proof.computed.outcome, proof.cut.gauged if proof.cut else None
    work, units = case.job.work, case.job.units
    made = gear is not None and gear.teeth is not None
    yield (
        "teeth", str(work.teeth), str(gear.teeth) if gear and made else "none",
        _told(str(cut.teeth) if cut and cut.teeth else None),
    )  # fmt: skip
    yield (
        "hand", work.hand.word if work.is_helical and work.hand else "straight",
        _hand(gear) if gear and made else "none",
        _told({"none": "straight"}.get(cut.hand, cut.hand) if cut and cut.hand else None),
    )  # fmt: skip
    if work.kind != "worm wheel":
        yield (
            "lead", _lead(work.lead_mm, units), _lead(gear.lead_mm, units) if gear and made else "none",
            _lead(cut.lead_mm, units) if cut and cut.hand else _told(None),
        )  # fmt: skip
    angle = gear.helix_angle_deg if gear else None
    yield ("helix angle", f"{work.beta_deg:.4f}°", "none" if angle is None else f"{angle:.4f}°", "")
    yield from _slope(proof)
    yield from _flanks(proof)
    yield from _keys(proof)
    yield from _relief(proof)
    wanted, stands = (
        case.job.machine.swivel_text(angle, seen=False) for angle in (case.swivel_wanted_deg, case.swivel_deg)
    )
    yield ("swivel, from behind", wanted, f"set to {stands}", "")
    feed = case.setup.feed
    yield ("feed", feed.value if feed else "not stated", _feed(case), "")


def _told(value: str | None) -> str:
    return value if value else "can't be told"


def _hand(gear: Outcome) -> str:
    if gear.hand is None:
        return "straight" if gear.is_steady else "none"
    return gear.hand.word


def _lead(value: float | None, units: str) -> str:
    return "none" if value is None else length(value, units)


def _slope(proof: Proof) -> Iterator[tuple[str, str, str, str]]:
    gear, work = proof.computed.outcome, proof.case.job.work
    if gear is None or gear.teeth != work.teeth or work.kind == "worm wheel":
        return
    if gear.lead_mm or work.lead_mm:
        slope, limit = helix_slope_um(work, gear), helix_slope_limit_um(work)
        flanks = proof.cut.flanks if proof.cut else None
        units = proof.case.job.units
        seen = f"{deviation(flanks.helix_slope_um, units)} with the marks" if flanks else ""
        allowed = f"±{limit:g} µm" if units == "mm" else f"±{height(limit, units)}"
        wrong = no_slope_because(work, gear)
        made = f"none to tell: {wrong}" if wrong else deviation(slope, units)
        yield ("helix slope", f"within {allowed} (class {work.quality})", made, seen)


def _flanks(proof: Proof) -> Iterator[tuple[str, str, str, str]]:
    """What the simulated flank looks like: at best, since nothing of the real machine is in it."""
    if proof.cut is None or proof.cut.flanks is None:
        return
    flanks = proof.cut.flanks
    reached = f"class {flanks.quality} at best" if flanks.quality else "coarser than any class"
    yield ("flanks, ISO 1328-1", f"class {proof.case.job.work.quality}", "", reached)
    yield ("thickness of teeth", "", "", f"{deviation(flanks.thickness_um, proof.case.job.units)} at full depth")
    yield ("marks on the flank", "", "", _marks(proof.cut, flanks, proof.case.job.units))


def _relief(proof: Proof) -> Iterator[tuple[str, str, str, str]]:
    """Crown and taper: wanted, as the templates and slides make them, and on the simulated flank."""
    case, units = proof.case, proof.case.job.units
    wanted = relief_to_measure(case)
    if wanted is None:
        return
    made, found = relief_of(case), proof.cut.flanks.relief if proof.cut and proof.cut.flanks else None
    for name in ("crown", "taper"):
        asked, left = (float(getattr(one, name)) for one in (wanted, made))
        if max(abs(asked), abs(left)) > _NO_RELIEF:
            seen = "" if found is None else deviation(1000 * float(getattr(found, name)), units)
            yield (name, deviation(1000 * asked, units), deviation(1000 * left, units), seen)


#: A crown or taper smaller than this is none, in mm.
_NO_RELIEF = 5e-5


def _keys(proof: Proof) -> Iterator[tuple[str, str, str, str]]:
    """The keys of a straight-sided spline as a micrometer and a dial find them on the simulated blank."""
    keys, wanted, units = proof.cut and proof.cut.keys, proof.case.job.work.key_width, proof.case.job.units
    if not keys or wanted is None:
        return
    yield ("width of the keys", length(float(wanted), units), "", length(keys.width, units))
    yield ("sides parallel within", "", "", height(keys.parallel_um, units))
    yield ("keys divided within", "", "", height(keys.dividing_um, units))


def _marks(cut: Cut, flanks: FlankQuality, units: str) -> str:
    """The whole height of the marks, and what is feed and what facet where that can be told."""
    whole = f"{height(flanks.ripple_um, units)} high"
    if not cut.marks_are_apart:
        return whole
    return f"{whole} (feed {height(flanks.feed_mark_um, units)}, facets {height(flanks.facet_um, units)})"


def _feed(case: Case) -> str:
    """The feed, with which slide goes which way, in the machine's own words."""
    gear = case.outcome
    if gear is None or not gear.sliding_feed:
        return "no slide is driven"
    mode = f", {gear.feed.value}" if gear.feed else ""
    return f"{feed_text(gear.sliding_feed, case.job.units)}, {feeding_slide_goes(case)}{mode}"


def _mounted(proof: Proof) -> Table:
    """What the set-up has in each bracket and where its levers stand, as a person would read it back."""
    case = proof.case
    grid = Table.grid(padding=(0, 3, 0, 0))
    for link in case.train.brackets:
        text = "empty" if link.mounted is None else f"{link.mounted} = {link.mounted.size}"
        if isinstance(link.mounted, Dialled):
            text = f"{link.mounted}, entered = {float(link.mounted.ratio):.9g}"
        elif link.mounted:
            text += link.mounted.without_idler
        grid.add_row(link.name, text)
    levers = {
        name: case.setup.levers.get(name, lever.normal) for name, lever in case.job.machine.levers.items()
    }
    if case.job.hob.name:
        grid.add_row("hob", quoted(case.job.hob.name))
    if levers:
        grid.add_row("levers", "; ".join(f"{name}: {position}" for name, position in levers.items()))
    for row in (*_sizes(case), *_pair(proof)):
        grid.add_row(*row)
    return grid


def _pair(proof: Proof) -> Iterator[tuple[str, str]]:
    """How work and mate run together."""
    pair, units = proof.pair, proof.case.job.units
    crossed = proof.crossed_pair
    if crossed is not None:
        across = length(crossed.centre_distance, units, 3 if units == "in" else 2)
        yield (
            "with the mate",
            f"shafts cross at {crossed.crossing_deg:g}°, {across} apart without backlash; touch at a point",
        )
    if pair is None:
        return
    run, digits = pair.running, 3 if units == "in" else 2
    overlap = f" + {run.overlap_ratio:.2f} over the face" if run.overlap_ratio else ""
    slack = "no backlash" if abs(run.backlash) < 5e-4 else f"backlash {length(run.backlash, units)}"
    yield (
        "with the mate",
        f"centres {length(run.centre_distance, units, digits)}, {slack}, "
        f"{run.transverse_contact_ratio:.2f}{overlap} pairs of teeth in contact",
    )


def _sizes(case: Case) -> Iterator[tuple[str, str]]:
    """What the blank is turned to, how deep the hob goes in, and what is then measured."""
    sizes, units = part_sizes(case), case.job.units
    across = "its size is on the drawing"
    if sizes.outside_diameter is not None:
        across = f"{dial(sizes.outside_diameter, units)} across"
    if sizes.throat_radius is not None and sizes.rim_diameter is not None:
        hollow, rim = dial(sizes.throat_radius, units), dial(sizes.rim_diameter, units)
        across += f" at the throat, hollow of radius {hollow}, {rim} over the rim"
    taken = "" if case.job.work.face_width else " (taken)"
    yield "blank", f"{across}, {dial(sizes.face_width, units)} wide{taken}"
    depth = "not known" if sizes.depth is None else f"{dial(sizes.depth, units)} from the touch"
    if case.job.work.kind == "worm wheel" and sizes.centres is not None:
        # Counted from the touch, on the edges of its hollow, a throated wheel would come out too shallow.
        by = "" if sizes.depth is None else f"{depth}: "
        depth = f"{by}hob's axis {dial(sizes.centres, units)} from the work's"
    yield "depth", depth
    measures = []
    if sizes.span:
        measures.append(f"span over {sizes.span.teeth} teeth {length(sizes.span.size, units)}")
    for what, over in (("balls", sizes.balls), ("pins", sizes.pins)):
        if over:
            measures.append(f"over {ball_text(over.ball, units)} {what} {length(over.size, units)}")
    if sizes.key_width is not None:
        at = f", on the way to depth {length(sizes.chord.height, units)} from the tops" if sizes.chord else ""
        measures.append(f"keys {length(sizes.key_width, units)} over their sides{at}")
    elif sizes.chord:
        thick, height = (length(mm, units) for mm in (sizes.chord.thickness, sizes.chord.height))
        measures.append(f"chord {thick}, {height} from the tips")
    if measures:
        yield "to measure", "; ".join(measures)
