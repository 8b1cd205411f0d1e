"""The pages of an inspection report of a simulated gear, with the records of a real one over it where there are some.

Black lines are the simulated gear, rings what was measured; nothing is told by colour. Every trace of a page stands to
one scale, out of the material upwards. The layout is this program's own.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
from handlead.machines.charting.beside import MOST_TRACED, single
from handlead.machines.charting.simulated import PAGES, GearReport
from handlead.machines.gear_records.records import Record
from handlead.machines.setups.case import face_width_mm
from handlead.machines.toml.units import length
from handlead.viz.look import look
from handlead.viz.look.paper import LINE, MARGIN, Page, largest, trimmed
from handlead.viz.look.shop import Shop
from handlead.viz.sheet_words.drawing_words import summary

from .charts import over_lower_face
from .report_tables import ROW, TABLE, ReportSheet, teeth_table, values_height, values_table

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Floats = npt.NDArray[np.float64]

#: Type size in points of notes.
_NOTE = 8.0

#: Heights in mm of the room under a panel for its scale, and over it for a name.
_UNDER, _OVER = 11.0, 6.0

#: Room in mm left of a panel.
_BESIDE = 15.0

#: A tooth's trace takes this part of the distance between two, at most.
_OF_STEP = 0.85

#: What the pages are called.
_TITLES = {"profile": "Profile", "helix": "Helix", "pitch": "Pitch", "runout": "Runout and classes"}


@dataclass(frozen=True)
class _DrawnTrace:
    """One trace to draw: its tooth, places in the shop's units, µm, and the readings over it."""

    tooth: int
    along: Floats
    um: Floats
    read_along: Floats
    read_um: Floats


def draw_report(report: GearReport, paper: str = "A4", today: datetime.date | None = None) -> Iterator[Figure]:
    """The four pages, one after the other. Raises `KeyError` for a paper that isn't known."""
    shop, day = Shop.of(report.case), today or datetime.date.today()
    draw: Mapping[str, Callable[[ReportSheet, float], float]] = {
        "profile": lambda sheet, y: _traces_page(sheet, y, "profile"),
        "helix": lambda sheet, y: _traces_page(sheet, y, "helix"),
        "pitch": _pitch_page,
        "runout": _runout_page,
    }
    for number, name in enumerate(PAGES, 1):
        sheet = ReportSheet(report, Page(paper), shop)
        draw[name](sheet, _heading(sheet, name, number, day))
        yield sheet.page.figure


def _heading(sheet: ReportSheet, name: str, number: int, day: datetime.date) -> float:
    page, case = sheet.page, sheet.report.case
    told = f"page {number} of {len(PAGES)}, {day.isoformat()}"
    room = sheet.page.wide - look.text_size(told, _NOTE)[0] - 4
    title = f"{_TITLES[name]}: {case.job.title}"
    size = max(largest(title, room, 13), 10)
    page.text(MARGIN, MARGIN, trimmed(title, room, size), size, bold=True)
    page.text(page.right, MARGIN + 1.2, told, _NOTE, ha="right")
    face = length(face_width_mm(case.job.work), case.job.units, 1)
    gear = f"{summary(case.job.work, case.job.units)}, face {face}; {case.job.machine.name}"
    page.text(MARGIN, MARGIN + 7.5, trimmed(gear, sheet.page.wide * 0.95, 9.5), 9.5)
    y = MARGIN + 12.8
    for line in _legend(sheet):
        page.text(MARGIN, y, line, _NOTE)
        y += _NOTE * LINE
    page.rule(y + 1.2)
    return y + 3.5


def _legend(sheet: ReportSheet) -> list[str]:
    report = sheet.report
    way = sheet.shop.way("table", report.laid.way)
    said = f"Lines: simulated, with what the machine file says of its errors. Teeth counted {way}, facing the table; "
    said += "up is out of the material."
    if report.laid.records:
        names = ", ".join(dict.fromkeys(Path(one.path).name for one in report.laid.records))
        said += f" Rings: measured ({names}); tooth 1 of these lies on simulated tooth {report.laid.first}."
        if len(report.laid.traced) > MOST_TRACED:
            said += f" Of {len(report.laid.traced)} teeth traced {MOST_TRACED} are drawn."
    return look.wrapped(said, _NOTE, sheet.page.wide)


# ---------------------------------------------------------------- profile and helix


def _traces_page(sheet: ReportSheet, y: float, kind: str) -> float:
    teeth = len([*sheet.report.flanks("right")])
    tables = (values_height(sheet, kind) + (teeth + 2) * ROW) + 8
    high = (sheet.page.height - MARGIN - y - tables) / 2 - _UNDER - _OVER
    flanks = {name: list(_traces_of(sheet, name, kind)) for name in ("left", "right")}
    step = _step([each for traces in flanks.values() for each in traces]) / _OF_STEP
    for name, traces in flanks.items():
        sheet.page.text(MARGIN, y, f"{name} flanks", 10, bold=True)
        _draw_traces(sheet, traces, (y + _OVER, high), step, _along(sheet, kind))
        y += high + _UNDER + _OVER
    y = teeth_table(sheet, y + 1, kind)
    return values_table(sheet, y + 3, sheet.report.of_page(kind))


def _along(sheet: ReportSheet, kind: str) -> str:
    if kind == "profile":
        return f"length of roll, {sheet.shop.units}, tip to the right"
    way = sheet.shop.way("axial", 1)
    return f"{over_lower_face(sheet.shop)}, {way} to the right"


def _traces_of(sheet: ReportSheet, flank: str, kind: str) -> Iterator[_DrawnTrace]:
    report = sheet.report
    records = [one for one in report.laid.of_kind(kind) if one.flank == flank]
    for tooth, one in report.flanks(flank):
        along, um = (one.roll, one.profile_um) if kind == "profile" else (one.height, one.helix_um)
        um = um - np.nanmean(um)
        read = [_readings_on(record, tooth, kind, float(one.height[-1])) for record in records]
        places, values = (np.concatenate([part[at] for part in read]) if read else np.zeros(0) for at in (0, 1))
        yield _DrawnTrace(tooth, _sized(sheet, along), um, _sized(sheet, places), values)


def _readings_on(record: Record, tooth: int, kind: str, face: float) -> tuple[Floats, Floats]:
    """Places in mm and readings on one tooth, beside their mean; heights are told from mid-face in a record."""
    here = np.round(record.readings.tooth).astype(int) == tooth
    along, um = record.readings.height[here], record.readings.um[here]
    return (along if kind == "profile" else along + face / 2), (um - um.mean() if um.size else um)


def _sized(sheet: ReportSheet, mm: Floats) -> Floats:
    return np.array([sheet.shop.sized(float(one)) for one in mm])


def _step(traces: Sequence[_DrawnTrace]) -> float:
    """The height in µm of the highest trace."""
    heights = [float(np.nanmax(um) - np.nanmin(um)) for each in traces for um in (each.um, each.read_um) if um.size]
    return max([*heights, 1.0])


def _draw_traces(
    sheet: ReportSheet, traces: Sequence[_DrawnTrace], place: tuple[float, float], step: float, along: str
) -> None:
    y, high = place
    axes = sheet.page.panel(MARGIN + _BESIDE, y, sheet.page.wide - _BESIDE - 15, high)
    for number, each in enumerate(reversed(traces)):
        base = number * step
        axes.axhline(base, color=look.FAINT, linewidth=look.HAIR)
        axes.plot(each.along, base + each.um, color=look.INK, linewidth=look.OUTLINE)
        slope, level = _line(each)
        axes.plot(each.along, base + slope * each.along + level, color=look.INK, linewidth=look.THIN, linestyle=look.DASHED)
        if each.read_um.size:
            _rings(axes, each.read_along, base + each.read_um)
        axes.text(-0.012, base, f"tooth {each.tooth}", fontsize=TABLE, ha="right", va="center",
                  transform=axes.get_yaxis_transform())  # fmt: skip
    axes.set_ylim(-0.6 * step, (len(traces) - 0.4) * step)
    low, top = min(float(each.along[0]) for each in traces), max(float(each.along[-1]) for each in traces)
    axes.set_xlim(low, top)
    _plain(axes, along)
    axes.set_yticks([])
    _scale_bar(axes, sheet.shop, step)


def _line(each: _DrawnTrace) -> tuple[float, float]:
    """The mean line of a trace."""
    good = np.isfinite(each.um)
    slope, level = np.polyfit(each.along[good], each.um[good], 1)
    return float(slope), float(level)


def _rings(axes: Axes, x: Floats, y: Floats) -> None:
    axes.plot(x, y, color=look.INK, linestyle="none", marker="o", markersize=3.2, markerfacecolor=look.PAPER, markeredgecolor=look.INK,
              markeredgewidth=look.THIN)  # fmt: skip


def _plain(axes: Axes, along: str) -> None:
    """A scale below, and nothing else about the drawing but thin lines."""
    axes.tick_params(labelsize=_NOTE, width=look.THIN)
    axes.set_xlabel(along, fontsize=_NOTE + 0.5, labelpad=1.5)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        axes.spines[side].set_linewidth(look.THIN)


def _scale_bar(axes: Axes, shop: Shop, step: float) -> None:
    """A bar at the right side that says how much so much of the paper is."""
    name, um = shop.fine
    exact = step / um / 2
    power = 10.0 ** math.floor(math.log10(exact))
    size = next(each for each in (5 * power, 2 * power, power) if each <= exact)
    x = 1.012
    axes.plot([x, x], [0, size * um], color=look.INK, linewidth=look.HEAVY, clip_on=False, solid_capstyle="butt",
              transform=axes.get_yaxis_transform())  # fmt: skip
    told = f"{size * float(name.split()[0]):.6f}".rstrip("0") + f"\n{name.split()[1]}" if " " in name else f"{size:g}\n{name}"
    axes.text(x + 0.01, size * um / 2, told, fontsize=_NOTE, va="center",
              transform=axes.get_yaxis_transform())  # fmt: skip


# ---------------------------------------------------------------- pitch and runout


def _pitch_page(sheet: ReportSheet, y: float) -> float:
    report = sheet.report
    tables = values_height(sheet, "pitch") + 4
    high = (sheet.page.height - MARGIN - y - tables) / 4 - _UNDER - _OVER
    cumulative = {name: report.laid.pitch(report.traced, name) for name in ("left", "right")}
    singles = {name: single(cumulative[name]) for name in cumulative}
    for kind, found in (("single", singles), ("cumulative", cumulative)):
        records = {name: list(_read_pitch(report, name, kind)) for name in found}
        most = max([float(np.abs(um).max()) for um in found.values()] + [
            float(np.abs(um).max()) for each in records.values() for _, um in each if um.size] + [0.5])
        for name, um in found.items():
            said = "single pitch, each tooth from the one before" if kind == "single" else "cumulative pitch"
            sheet.page.text(MARGIN, y, f"{name} flanks: {said}", 10, bold=True)
            axes = _round(sheet, (y + _OVER, high), most, "tooth")
            numbers = np.arange(1, um.size + 1)
            if kind == "single":
                axes.bar(numbers, um, width=0.7, color=look.SHADE, edgecolor=look.INK, linewidth=look.THIN)
            else:
                axes.step(numbers, um, where="mid", color=look.INK, linewidth=look.OUTLINE)
            for places, values in records[name]:
                _rings(axes, places, values)
            y += high + _UNDER + _OVER
    return values_table(sheet, y + 2, report.of_page("pitch"))


def _read_pitch(report: GearReport, flank: str, kind: str) -> Iterator[tuple[Floats, Floats]]:
    """The teeth and readings of records of this flank, as single or as cumulative pitch; gaps stay gaps."""
    for record in report.laid.of_kind("pitch single", "pitch cumulative"):
        if record.flank != flank:
            continue
        tooth, um = record.readings.tooth, record.readings.um
        order = np.argsort(tooth)
        tooth, um = tooth[order], um[order]
        if record.kind == f"pitch {kind}":
            yield tooth, um - um.mean()
        elif kind == "cumulative" and um.size == report.laid.count:
            summed = np.cumsum(um - um.mean())
            yield tooth, summed - summed.mean()
        elif kind == "single":
            beside = np.diff(tooth) == 1
            yield tooth[1:][beside], np.diff(um)[beside]


def _runout_page(sheet: ReportSheet, y: float) -> float:
    report = sheet.report
    balls = report.laid.balls(report.traced)
    read = [(one.readings.tooth, one.readings.um - one.readings.um.mean()) for one in report.laid.of_kind("runout")]
    most = max([float(np.abs(um).max()) for _, um in read] + [float(np.abs(balls).max()), 0.5])
    high = 72.0
    sheet.page.text(MARGIN, y, "runout: a ball in the space after each tooth", 10, bold=True)
    axes = _round(sheet, (y + _OVER, high), most, "space after tooth")
    axes.step(np.arange(1, balls.size + 1), balls, where="mid", color=look.INK, linewidth=look.OUTLINE)
    for places, um in read:
        _rings(axes, places, um)
    y = values_table(sheet, y + high + _OVER + _UNDER + 4, report.of_page("runout"))
    sheet.page.text(MARGIN, y + 5, "every value", 10, bold=True)
    y = values_table(sheet, y + 5 + _OVER, report.values)
    return sheet.page.lines(MARGIN, y + 3, _verdict(sheet), TABLE)


def _verdict(sheet: ReportSheet) -> list[str]:
    report, wanted = sheet.report, sheet.report.limits.quality

    def told(quality: int | None) -> str:
        return f"class {quality}" if quality is not None else "no class"

    worst = max(report.values, key=lambda one: one.um / one.allowed_um).quantity
    said = [f"Simulated: {told(report.traced.quality)}, held there by {worst.words}; the drawing asks for class {wanted}."]
    if any(one.measured_um is not None for one in report.values):
        said.append(f"Measured, of what there are records of: {told(report.measured_quality)}.")
    said.append(
        "Values and classes as ISO 1328-1 names them, runout by its annex; a simulated class is the best that this "
        "set-up can do: what no file knows of hob, arbor, machine and clamping isn't in it."
    )
    if report.limits.outside_scope:
        said.append(f"Beyond what the standard covers: {'; '.join(report.limits.outside_scope)}.")
    return [line for each in said for line in look.wrapped(each, TABLE, sheet.page.wide)]


def _round(sheet: ReportSheet, place: tuple[float, float], most: float, what: str) -> Axes:
    """Axes over the teeth, to `most` µm either way."""
    y, high = place
    name, um = sheet.shop.fine
    count = sheet.report.laid.count
    axes = sheet.page.panel(MARGIN + _BESIDE, y, sheet.page.wide - _BESIDE - 2, high)
    axes.axhline(0, color=look.FAINT, linewidth=look.HAIR)
    axes.set_xlim(0.3, count + 0.7)
    axes.set_ylim(-1.15 * most, 1.15 * most)
    every = next(each for each in (1, 2, 5, 10, 20, 50, 100, 200) if count / each <= 24)
    axes.set_xticks(sorted({1, *range(every, count + 1, every)} - ({2} if every == 2 else set())))
    _plain(axes, what)
    ticks = _even(most / um)
    axes.set_yticks([each * um for each in ticks], [f"{each:g}" for each in ticks])
    axes.set_ylabel(name, fontsize=_NOTE, labelpad=1)
    return axes


def _even(most: float) -> list[float]:
    """Round numbers either way of 0, up to so much."""
    power = 10.0 ** math.floor(math.log10(most))
    size = next(each for each in (5 * power, 2 * power, power) if each <= most)
    return [-size, 0.0, size]
