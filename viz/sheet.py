"""The set-up sheet: one page a member, for the shop floor, black and white safe.

The page is drawn in millimetres from its upper left corner. What it says comes from `sheet_words`,
so that tests read the words and not the pixels.
"""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from handlead.kinematics import gear as gears
from handlead.kinematics.bracket import Bracket
from handlead.kinematics.links import ChangeGears
from handlead.kinematics.requirement import gear_of
from handlead.kinematics.words import angle_text, direction
from handlead.machines.case import face_width_mm, helix_slope_limit_um, helix_slope_um
from handlead.machines.cut_cycle import cut_cycle
from handlead.machines.mending import gears_text
from handlead.machines.proof import Proof

from . import look
from .units import feed as feed_text
from .units import length

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

#: Width and height in mm.
PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}

CAUTIONS = (
    "Isolate and lock out the main switch before opening a gear cover; wait until all stands; turn by hand only.",
    "Every mesh full, slight backlash, washers on, tools out, guard shut; then one cycle turned by hand.",
    "No gloves near a turning hob. Clamps clear over the whole travel, head swung. First cut light, and counted.",
    "The machine's manual, local rules and qualified people come before this sheet.",
)

Rows = list[tuple[str, str]]


@dataclass(frozen=True)
class SheetWords:
    """All that a sheet says, by block: pairs of what and how much."""

    title: str
    verdict: str
    work: Rows
    hob: Rows
    brackets: Rows
    handling: Rows
    flank: Rows
    first_cut: Rows
    findings: list[str]
    source: str


def sheet_words(proof: Proof, today: datetime.date) -> SheetWords:
    """What the sheet for this proof says."""
    case = proof.case
    verdict = "AS WANTED" if proof.is_as_wanted else "NOT AS WANTED: DO NOT CUT"
    digests = f"job {case.job.digest[:10]}, machine {case.job.machine.digest[:10]}"
    return SheetWords(
        title=case.job.title,
        verdict=verdict,
        work=_work(proof),
        hob=_hob(proof),
        brackets=[(link.name, _bracket_words(link)) for link in case.train.brackets],
        handling=_handling(proof),
        flank=_flank(proof),
        first_cut=_first_cut(proof),
        findings=[
            f"{finding.severity}: {finding.message} {finding.remedy}".strip() for finding in proof.findings
        ],
        source=f"{today.isoformat()}   {_short(case.job.path)} on {case.job.machine.name} "
        f"({_short(case.job.machine.path)})   digests: {digests}",
    )


def _short(path: str) -> str:
    """A file with the folder that it lies in, cut to what a line has room for."""
    name = "/".join(Path(path).parts[-2:])
    return name if len(name) <= 60 else f"…{name[-59:]}"


def _bracket_words(link: object) -> str:
    mounted = getattr(link, "mounted", None)
    if mounted is None:
        return "EMPTY"
    return gears_text(mounted) + ("" if mounted.idlers else "   NO IDLER")


def _work(proof: Proof) -> Rows:
    work, units = proof.case.job.work, proof.case.job.units
    gear = gear_of(work)
    rows: Rows = [("teeth  z", str(work.teeth)), ("kind", work.kind)]
    if units == "in":
        rows.append(("diametral pitch", f"{float(gears.diametral_pitch_from_module(work.module_n)):.6g}"))
    rows += [
        ("module  m_n", f"{float(work.module_n):.6g} mm"),
        ("pressure angle  α_n", f"{float(work.pressure_angle_deg):g}°"),
        ("hand", (work.hand.word.upper() if work.is_helical and work.hand else "straight")),
    ]
    if work.is_helical:
        rows.append(("helix angle  β", f"{work.beta_deg:.4f}°"))
        rows.append(("lead  L", length(work.lead_mm or 0.0, units)))
    outside = float(work.outside_diameter) if work.outside_diameter else gear.tip_diameter
    rows += [
        ("reference diameter  d", length(gear.reference_diameter, units)),
        ("outside diameter  d_a", length(outside, units, 2)),
        ("face width  b", length(face_width_mm(work), units, 2) + ("" if work.face_width else " (taken)")),
        ("class, ISO 1328-1", str(work.quality)),
        ("whole depth  h", length(gear.whole_depth, units, 2)),
    ]
    return rows + _measures(proof)


def _measures(proof: Proof) -> Rows:
    """Span and size over balls, where the work has an involute to measure."""
    work, units = proof.case.job.work, proof.case.job.units
    if work.kind in ("sprocket", "worm wheel"):
        return []
    gear = gear_of(work)
    rows: Rows = []
    try:
        count = gears.span_teeth(gear)
        rows.append((f"span over {count} teeth  W_{count}", length(gears.span(gear, count), units)))
    except ValueError:
        pass
    try:
        ball = gears.default_ball(gear)
        rows.append((f"over balls {ball:g} mm  M_dK", length(gears.over_balls(gear, ball), units)))
    except ValueError:
        pass
    return rows


def _hob(proof: Proof) -> Rows:
    hob, units = proof.case.job.hob, proof.case.job.units
    rows: Rows = [
        ("module", f"{float(hob.module_n):.6g} mm"),
        ("starts", str(hob.starts)),
        ("hand", hob.hand.word.upper()),
    ]
    if hob.gamma_deg is not None:
        rows.append(("lead angle  γ", angle_text(hob.gamma_deg)))
    if hob.diameter is not None:
        rows.append(("reference diameter", length(float(hob.diameter), units, 2)))
    if hob.gashes is not None:
        rows.append(("gashes", str(hob.gashes)))
    return rows


def _handling(proof: Proof) -> Rows:
    case = proof.case
    units, outcome = case.job.units, proof.computed.outcome
    levers = case.job.machine.positions(case.setup)
    rows: Rows = [(f"lever: {name}", position) for name, position in levers.items()]
    cycle = cut_cycle(case)
    if cycle.hob_rpm:
        speed = f", {cycle.cutting_speed_m_min:.0f} m/min" if cycle.cutting_speed_m_min else ""
        rows.append(("hob speed", f"{cycle.hob_rpm:.0f} rpm{speed}"))
    if outcome and outcome.sliding_feed:
        mode = f", {outcome.feed.value.upper()}" if outcome.feed else ""
        rows.append(("feed", f"{feed_text(outcome.sliding_feed, units)}{mode}"))
        rows.append((f"{outcome.feed_slide} slide goes", _slide_way(proof, outcome.feed_slide or "axial")))
    depth = " + ".join(length(part, units, 2) for part in cycle.depths)
    rows.append(("depth to dial from touch", depth))
    if cycle.travel:
        rows.append(("travel, approach and overrun in it", length(cycle.travel, units, 1)))
    if cycle.time_min:
        rows.append(("cutting time", f"{cycle.time_min:.0f} min"))
    return rows


def _slide_way(proof: Proof, slide: str) -> str:
    """The way in which the slide goes with the drive running its positive way, and which way the hob cuts then."""
    solution = proof.case.solution
    rate, hob = solution.end_rate(slide), solution.end_rate("hob")
    if not rate or not hob:
        return "nowhere"
    return f"{direction(slide, 1 if rate > 0 else -1).upper()}, hob {direction('hob', 1 if hob > 0 else -1)}"


def _flank(proof: Proof) -> Rows:
    work, outcome, units = proof.case.job.work, proof.computed.outcome, proof.case.job.units
    rows: Rows = []
    if outcome and outcome.teeth == work.teeth and outcome.is_steady and work.kind != "worm wheel":
        lead = "none, straight" if outcome.lead_mm is None else length(outcome.lead_mm, units)
        rows.append(("lead that it will cut", lead))
        slope, limit = helix_slope_um(work, outcome), helix_slope_limit_um(work)
        size = f"{slope:+.1f} µm" if abs(slope) < 1000 else f"{slope / 1000:+.1f} mm"
        rows.append(("helix slope error", f"{size} (class {work.quality}: ±{limit:g} µm)"))
    flanks = proof.cut.flanks if proof.cut else None
    if flanks:
        rows.append(("feed marks, facets", f"{flanks.feed_mark_um:.1f} µm, {flanks.facet_um:.1f} µm"))
        reached = f"class {flanks.quality}" if flanks.quality else "coarser than any class"
        rows.append(("simulated flank", reached))
    return rows


def _first_cut(proof: Proof) -> Rows:
    from .witness_drawing import lean_text, wanted_marks

    marks = wanted_marks(proof.case.job.work)
    lean = f"to the {marks.hand.word.upper()} going up" if marks.hand else "straight along the axis"
    rows: Rows = [("count", f"{marks.count} marks"), ("they lean", lean)]
    if marks.hand:
        rows.append(("at the outside by", lean_text(marks.lean_deg)))
    return rows


# ---------------------------------------------------------------- the page

_MARGIN = 11.0
_GREY = "#555555"


class _Page:
    """A page in millimetres from the upper left corner."""

    def __init__(self, paper: str) -> None:
        self.width, self.height = PAPERS[paper]
        self.figure: Figure = look.new_figure(self.width, self.height)
        self.axes: Axes = self.figure.add_axes((0, 0, 1, 1))
        self.axes.set_xlim(0, self.width)
        self.axes.set_ylim(self.height, 0)
        self.axes.axis("off")

    def text(self, x: float, y: float, words: str, size: float = 9, *, bold: bool = False, **more: Any) -> None:
        self.axes.text(
            x, y, words, fontsize=size, weight="bold" if bold else "normal", va="top", parse_math=False, **more
        )

    def rule(self, y: float, x0: float | None = None, x1: float | None = None, width: float = 0.8) -> None:
        left, right = x0 or _MARGIN, x1 or self.width - _MARGIN
        self.axes.plot((left, right), (y, y), color="black", linewidth=width)

    def line(self, points: Sequence[tuple[float, float]], width: float) -> None:
        """A line through points in mm from the upper left corner."""
        xs, ys = zip(*points, strict=True)
        self.axes.plot(xs, ys, color="black", linewidth=width, solid_capstyle="butt")

    def panel(self, x: float, y: float, width: float, height: float) -> Axes:
        """Axes of this size in mm, upper left corner at x, y."""
        return self.figure.add_axes(
            (x / self.width, 1 - (y + height) / self.height, width / self.width, height / self.height)
        )

    def rows(self, x: float, y: float, width: float, rows: Sequence[tuple[str, str]], size: float = 9) -> float:
        """Rows of what and how much; returns the height below the last."""
        step = size * 0.52
        for what, much in rows:
            self.text(x, y, what, size)
            self.text(x + width, y, much, size, bold=True, ha="right")
            y += step
        return y


def draw_sheet(proof: Proof, paper: str = "A4", today: datetime.date | None = None, member: str = "") -> Figure:
    """One page for one member's set-up. Raises `KeyError` for a paper that isn't known."""
    page = _Page(paper)
    words = sheet_words(proof, today or datetime.date.today())
    y = _heading(page, words, member)
    left, middle = _MARGIN, page.width / 2 + 2
    column = page.width / 2 - _MARGIN - 3
    page.text(left, y, "WORK", 10, bold=True)
    page.text(middle, y, "HOB AND HEAD", 10, bold=True)
    below_work = page.rows(left, y + 6, column, words.work)
    below_hob = page.rows(middle, y + 6, column, words.hob)
    _head(page, proof, middle, below_hob + 1, column)
    y = max(below_work, below_hob + 48) + 2
    y = _brackets(page, proof, words, y)
    page.rule(y)
    page.text(left, y + 1.5, "LEVERS, FEED, DEPTH", 10, bold=True)
    page.text(middle, y + 1.5, "WHAT IT WILL CUT", 10, bold=True)
    below = page.rows(left, y + 8, column, words.handling)
    beside = page.rows(middle, y + 8, column, words.flank)
    beside = _findings(page, words, middle, beside + 1, column)
    y = max(below, beside + 22) + 2
    _marks(page, proof, middle, beside + 1, column, y - beside - 3)
    _first_cut_and_results(page, words, y)
    _foot(page, words)
    return page.figure


def _heading(page: _Page, words: SheetWords, member: str) -> float:
    name = f"{words.title}{f' ({member})' if member else ''}"
    size = 16 if look.text_size(name, 16, True)[0] < page.width - 2 * _MARGIN else 12
    page.text(_MARGIN, 9, name, size, bold=True)
    page.text(_MARGIN, 17.5, words.verdict, 15, bold=True)
    page.text(page.width - _MARGIN, 18.5, "set-up sheet", 10, ha="right")
    page.rule(25.5, width=1.6)
    return 28.0


def _head(page: _Page, proof: Proof, x: float, y: float, width: float) -> None:
    """The head from behind the hob, with its angle for the vernier beside it in large type."""
    from .job_pictures import swivel_of
    from .swivel_drawing import plot_swivel

    layout = swivel_of(proof.case)
    axes = plot_swivel(layout, page.panel(x, y + 2, 44, 44))
    for words in list(axes.texts):
        words.remove()
    axes.set_xlim(-62, 62)
    axes.set_ylim(-62, 62)
    beside = x + 46
    page.text(beside, y + 4, "swing the head", 9)
    page.text(beside, y + 10, layout.words[0], 20, bold=True)
    page.text(beside, y + 21, layout.words[1], 10, bold=True)
    page.text(beside, y + 28, "seen from behind the hob", 9)


#: Height of a bracket's drawing.
_BRACKET_MM = 46.0


def _brackets(page: _Page, proof: Proof, words: SheetWords, y: float) -> float:
    """Every bracket to scale, with its gears spelt out beneath in large type."""
    links = proof.case.train.brackets
    if not links:
        return y
    page.rule(y)
    page.text(_MARGIN, y + 1.5, "CHANGE GEARS, from the driving shaft on: a/b · c/d", 10, bold=True)
    width = (page.width - 2 * _MARGIN) / len(links)
    large = min(_largest(gears_in_words, width - 4) for _, gears_in_words in words.brackets)
    for number, (link, (name, gears_in_words)) in enumerate(zip(links, words.brackets, strict=True)):
        x = _MARGIN + number * width
        page.text(x, y + 8, name, 10, bold=True)
        _bracket(page.panel(x, y + 13, width - 3, _BRACKET_MM), link)
        page.text(x, y + 14.5 + _BRACKET_MM, gears_in_words, large, bold=True)
    return y + 21 + _BRACKET_MM


def _largest(words: str, width: float) -> float:
    """The largest type in which the words are no wider than this."""
    size = 12.0
    while size > 6 and look.text_size(words, size, True)[0] > width:
        size -= 0.5
    return size


def _bracket(axes: Axes, link: ChangeGears) -> None:
    """The gears alone, lettered: what the full drawing says in words stands beneath, or in `show`."""
    from .bracket_drawing import bracket_layout, plot_bracket

    if link.mounted is None:
        axes.axis("off")
        return
    bracket = Bracket.of(link.bracket) if link.bracket else None
    plot_bracket(link.mounted, bracket, axes, name=link.name)
    for words in list(axes.texts):
        words.remove()
    wheels = bracket_layout(link.mounted, bracket).wheels
    left = min(wheel.x - wheel.tip_radius for wheel in wheels)
    right = max(wheel.x + wheel.tip_radius for wheel in wheels)
    low = min(wheel.y - wheel.tip_radius for wheel in wheels)
    high = max(wheel.y + wheel.tip_radius for wheel in wheels)
    for wheel in wheels:
        # Of two gears on one stud the front one's name goes above the middle, the other's below.
        shared = [other for other in wheels if (other.x, other.y) == (wheel.x, wheel.y)]
        shift = 0.0 if len(shared) == 1 else wheel.tip_radius * (0.5 if wheel is shared[-1] else -0.4)
        axes.text(
            wheel.x, wheel.y + shift, f"{wheel.letter} {wheel.teeth}", fontsize=9, weight="bold", ha="center",
            va="center", bbox={"facecolor": look.PAPER, "edgecolor": "none", "pad": 0.6}, zorder=20,
        )  # fmt: skip
    width_mm, height_mm = look.paper_size(axes)
    per_mm = max((right - left) / width_mm, (high - low) / height_mm) * 1.03
    middle_x, middle_y = (left + right) / 2, (low + high) / 2
    axes.set_xlim(middle_x - per_mm * width_mm / 2, middle_x + per_mm * width_mm / 2)
    axes.set_ylim(middle_y - per_mm * height_mm / 2, middle_y + per_mm * height_mm / 2)


def _findings(page: _Page, words: SheetWords, x: float, y: float, width: float) -> float:
    for finding in words.findings[:4]:
        for line in look.wrapped(finding, 7.5, width):
            page.text(x, y, line, 7.5)
            y += 3.6
    if len(words.findings) > 4:
        page.text(x, y, f"and {len(words.findings) - 4} more: run prove", 7.5, bold=True)
        y += 3.6
    return y


def _marks(page: _Page, proof: Proof, x: float, y: float, width: float, height: float) -> None:
    """The outside of the blank after the light first cut, unrolled, as the drawing wants it."""
    from .witness_drawing import outside_diameter, wanted_marks, witness_layout

    work = proof.case.job.work
    layout = witness_layout((wanted_marks(work),), outside_diameter(work), face_width_mm(work))
    (lines,) = layout.lines
    page.text(x, y, "marks of the light first cut, the outside unrolled, up is up:", 8)
    scale = min(width / layout.width, (height - 5) / layout.height)
    left, foot = x, y + 5 + layout.height * scale
    frame = ((0.0, 0.0), (layout.width, 0.0), (layout.width, layout.height), (0.0, layout.height), (0.0, 0.0))
    page.line([(left + dx * scale, foot - dy * scale) for dx, dy in frame], 0.8)
    for start, end in lines:
        page.line([(left + dx * scale, foot - dy * scale) for dx, dy in (start, end)], 1.8)


def _first_cut_and_results(page: _Page, words: SheetWords, y: float) -> None:
    bottom = page.height - 33
    page.rule(y)
    page.text(_MARGIN, y + 1.5, "THE LIGHT FIRST CUT (0.05 mm)", 10, bold=True)
    half = page.width / 2 - _MARGIN - 3
    page.rows(_MARGIN, y + 8, half, words.first_cut, 11)
    x = page.width / 2 + 2
    page.text(x, y + 1.5, "FOUND (goes under [seen] in the job)", 10, bold=True)
    y += 9
    for label in ("teeth", "hand", "lead or helix angle", "span or over balls", "cut by, on"):
        if y > bottom - 4:
            break
        page.text(x, y, label, 9)
        page.rule(y + 4.6, x + 36, page.width - _MARGIN, 0.6)
        y += 7.5


def _foot(page: _Page, words: SheetWords) -> None:
    y = page.height - 29
    page.rule(y, width=1.6)
    for number, caution in enumerate(CAUTIONS):
        page.text(_MARGIN, y + 1.8 + 4.2 * number, f"• {caution}", 8)
    page.text(_MARGIN, y + 20, words.source, 6.5, color=_GREY)


