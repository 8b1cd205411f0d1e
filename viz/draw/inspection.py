"""A record of a gear drawn with what the parts of the machine left in it, one by one, what is left, and its orders.

All curves of a record are drawn to one scale. Black is what was read, grey and heavy what a part left.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
from handlead.machines.gear_records.records import Record
from handlead.machines.inspecting.answer import InspectedGear
from handlead.machines.inspecting.spectrum import SpectrumLine, spectrum_of
from handlead.machines.inspecting.words import part_name, record_name, table_name, um_told
from handlead.machines.toml.units import decimal, height
from handlead.viz.look import look
from handlead.viz.look.shop import Shop

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Floats = npt.NDArray[np.float64]

#: Width and height in mm: within both A4 and Letter with their margins.
SIZE = (190.0, 252.0)

#: Parts that are drawn one by one, and orders that are listed.
_MOST_PARTS, _MOST_ORDERS = 4, 14

#: A wave is drawn where it comes to more than this part of what is left.
_NOTHING = 0.1

#: Curves are drawn to no larger a scale than shows this, in µm.
_LEAST = 0.1

#: Gap between the traces of two teeth, in lengths of a trace.
_GAP = 0.15

#: Room in mm: heading, foot, list of orders, between two strips, and beside them.
_HEAD, _FOOT, _ORDERS, _APART, _LEFT = 9.0, 12.0, 74.0, 8.0, 17.0


@dataclass(frozen=True)
class RecordStrip:
    """Where a record's readings stand across the paper: `parts` are runs of readings that hang together."""

    x: Floats
    parts: tuple[npt.NDArray[np.int64], ...]
    ticks: tuple[tuple[float, str], ...]
    along: str


def record_strip(record: Record, shop: Shop) -> RecordStrip:
    """The readings side by side: tooth after tooth, or the traces of the teeth one behind the other."""
    readings = record.readings
    if not readings.by_tooth:
        order = np.argsort(readings.tooth, kind="stable")
        if record.kind == "transmission error":
            return RecordStrip(readings.tooth, (order,), (), "tooth that it has turned by")
        space = "space" if record.kind == "runout" else "tooth"
        return RecordStrip(readings.tooth, (order,), (), f"{space}, counted {record.counted}")
    x, parts, ticks = np.zeros(len(readings.um)), [], []
    low, span = float(readings.height.min()), max(float(np.ptp(readings.height)), 1e-9)
    for number, tooth in enumerate(np.unique(readings.tooth)):
        here = np.flatnonzero(readings.tooth == tooth)
        here = here[np.argsort(readings.height[here])]
        begin = number * (1 + _GAP)
        x[here] = begin + (readings.height[here] - low) / span
        parts.append(here)
        ticks.append((begin + 0.5, f"tooth {tooth:.0f}"))
    way = shop.way("axial", 1) if shop.up else "up"
    along = f"each over {shop.sized(span):.3g} {shop.units}, "
    along += "tip to the right" if record.kind == "profile" else f"{way} to the right"
    return RecordStrip(x, tuple(parts), tuple(ticks), along)


def _titled(inset: Axes, title: str) -> Axes:
    """A strip with as much of its title over it as goes on one line."""
    words = look.wrapped(title, look.TEXT, SIZE[0] - _LEFT - 6)[:1]
    inset.set_title("\n".join(words), fontsize=look.TEXT, loc="left", pad=2.5)
    return inset


def plot_record(found: InspectedGear, number: int, ax: Axes, *, shop: Shop) -> Axes:
    """One record on axes of about 190 by 252 mm."""
    record, fitted, inspection = found.records[number], found.inspection.records[number], found.inspection
    strip, (fine, um) = record_strip(record, shop), shop.fine
    left = np.array(fitted.left) / um
    waves = [(at, found.shown(wave, number) / um) for at, wave in enumerate(inspection.waves)]
    waves = [(at, values) for at, values in waves if np.abs(values).max() > _NOTHING * np.abs(left).max()]
    marks = found.marks_shown(number) / um
    made = sum((values for _, values in waves), marks)
    half = 1.15 * max(float(np.abs(left + made).max()), float(np.abs(made).max()), _LEAST / um)
    shown, rest = waves[:_MOST_PARTS], waves[_MOST_PARTS:]
    titles = [f"read, zero{' and slope' if record.readings.by_tooth else ''} taken out; heavy: all that is told of below"]
    curves: list[tuple[Floats | None, Floats | None]] = [(left + made, made)]
    for at, values in shown:
        wave = inspection.waves[at]
        first = found.parts(wave)[0]
        named = f"{part_name(found.case, first.part)}{_or_more(found, at)}"
        titles.append(f"{at + 1}: {named}: {um_told(first, shop.units)} on the flank")
        curves.append((None, values))
    if np.abs(marks).max() > _NOTHING * np.abs(left).max():
        titles.append("feed marks and facets, as much as the feeler shows of them")
        curves.append((None, marks))
    told = height(fitted.left_um, shop.units)
    titles.append(f"left, and no part explains it: {told} r.m.s." + (f" ({len(rest)} smaller waves beside it)" if rest else ""))
    curves.append((left, None))
    each = min((SIZE[1] - _HEAD - _FOOT - _ORDERS - _APART * len(curves)) / len(curves), 40.0)
    top = SIZE[1] - _HEAD
    for at, ((read, part), title) in enumerate(zip(curves, titles, strict=True)):
        top -= each + _APART
        inset = _titled(_inset(ax, _LEFT, top, SIZE[0] - _LEFT - 4, each), title)
        _draw_strip(inset, strip, read, part, half)
        inset.set_ylabel(fine, fontsize=look.SMALL)
        if at < len(curves) - 1:
            inset.set_xticklabels([])
        else:
            inset.set_xlabel(strip.along, fontsize=look.TEXT, labelpad=1.5)
    _draw_orders(found, number, _inset(ax, 100, _FOOT + 4, SIZE[0] - 100 - 14, _ORDERS - 22), shop)
    words = heading(found, number)
    ax.text(0.01, 0.995, words, fontsize=look.LARGE, weight="bold", va="top", transform=ax.transAxes)
    return ax


def heading(found: InspectedGear, number: int) -> str:
    """Which gear and which record this is."""
    record, case = found.records[number], found.case
    day = f", {record.date}" if record.date else ""
    said = f"{case.job.title}, on {case.job.machine.name}: {record_name(record, case.job.units)}{day} ({Path(record.path).name})"
    return "\n".join(look.wrapped(said, look.LARGE, SIZE[0] - 8, bold=True)[:3])


def _or_more(found: InspectedGear, at: int) -> str:
    wave = found.inspection.waves[at]
    more = len(wave.parts) + len(wave.rivals) - 1
    return f" or {more} other{'s' if more > 1 else ''}" if more else ""


def _inset(ax: Axes, left: float, bottom: float, width: float, tall: float) -> Axes:
    """Axes at this place of the page, in mm from its lower left corner."""
    return ax.inset_axes((left / SIZE[0], bottom / SIZE[1], width / SIZE[0], tall / SIZE[1]))


def _draw_strip(ax: Axes, strip: RecordStrip, read: Floats | None, part: Floats | None, half: float) -> None:
    ax.axhline(0, color=look.FAINT, linewidth=look.HAIR, linestyle=look.CHAIN)
    for here in strip.parts:
        if part is not None:
            ax.plot(strip.x[here], part[here], color=look.POWER, linewidth=look.HEAVY, solid_capstyle="butt")
        if read is not None:
            ax.plot(strip.x[here], read[here], color=look.INK, linewidth=look.THIN, marker="o" if len(here) < 150 else "",
                    markersize=2.4)  # fmt: skip
    ax.set_ylim(-half, half)
    edge = 0.01 * max(float(np.ptp(strip.x)), 1e-9)
    ax.set_xlim(float(strip.x.min()) - edge, float(strip.x.max()) + edge)
    if strip.ticks:
        ax.set_xticks([place for place, _ in strip.ticks], [name for _, name in strip.ticks])
    ax.tick_params(labelsize=look.SMALL)
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)


def orders_shown(lines: Sequence[SpectrumLine]) -> tuple[SpectrumLine, ...]:
    """The orders that are listed: all that were found, and of the others the largest, slowest first."""
    ranked = sorted(lines, key=lambda one: (one.wave is None, -one.um))[:_MOST_ORDERS]
    return tuple(sorted(ranked, key=lambda one: one.order))


def _draw_orders(found: InspectedGear, number: int, ax: Axes, shop: Shop) -> None:
    """A bar for each order, with the names of what turns so at its place."""
    every = spectrum_of(found, number)
    lines, (fine, um) = orders_shown(every), shop.fine
    digits = 2 if shop.units == "in" else 1
    for place, line in enumerate(lines):
        is_found = line.wave is not None
        ax.barh(place, line.um / um, color=look.POWER if is_found else look.PAPER, edgecolor=look.INK,
                linewidth=look.THIN, height=0.62)  # fmt: skip
        ax.annotate(f"{line.um / um:.{digits}f}", (line.um / um, place), (3, 0), textcoords="offset points", va="center",
                    fontsize=look.SMALL, weight="bold" if is_found else "normal", zorder=3,
                    bbox={"facecolor": look.PAPER, "edgecolor": "none", "pad": 0.3})  # fmt: skip
        named = _cut_short(order_name(found, line), 84)
        ax.text(-0.015, place, f"{named}  {decimal(line.order, 5)}", fontsize=look.SMALL, ha="right", va="center",
                weight="bold" if is_found else "normal", transform=ax.get_yaxis_transform())  # fmt: skip
    limit = found.smallest_um(number) / um
    ax.axvline(limit, color=look.FAULT, linewidth=look.THIN, linestyle=look.DOTTED)
    ax.set_yticks([])
    rows = max(len(lines), 8)
    ax.set_ylim(rows - 0.4, -0.6)
    ax.set_xlim(0, 1.15 * max([*(line.um / um for line in lines), limit, _LEAST / um]))
    ax.set_xlabel(f"amplitude in this record, {fine}; dotted: less wouldn't stand out of it alone", fontsize=look.SMALL, labelpad=1.5)
    ax.tick_params(labelsize=look.SMALL)
    for side in ("top", "right"):
        ax.spines[side].set_visible(False)
    more = len(every) - len(lines)
    said = f"Orders: what turns so, and how often in a turn of the {table_name(found.case)}" + (f" ({more} more, all smaller)" if more else "")
    ax.set_title(said, fontsize=look.TEXT, loc="right", pad=3, weight="bold")


def order_name(found: InspectedGear, line: SpectrumLine) -> str:
    """What turns so often, with the number of the wave that was found there."""
    more = len(line.names) - 1
    name, number = line.names[0], ""
    if line.wave is not None:
        number = f"{line.wave + 1}: "
        name = part_name(found.case, found.parts(found.inspection.waves[line.wave])[0].part)
    return f"{number}{name}{f', or {more} more' if more > 0 else ''}"


def _cut_short(words: str, width_mm: float) -> str:
    from handlead.viz.look.paper import trimmed

    return trimmed(words, width_mm, look.SMALL)
