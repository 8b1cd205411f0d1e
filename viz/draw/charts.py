"""Charts of the simulated flank as gear inspection draws them, of the marks on it, and of the motion.

Traces run up the paper along the face or the roll, deviations across it: material that stands on
the flank to the right. Slopes, forms and limits are those of ISO 1328-1, in micrometres.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
from handlead.kinematics.frame.blank import FlankMap
from handlead.kinematics.frame.motion import Motion, Phase
from handlead.kinematics.gauging.flanks import UM, FlankTrace, gauge_flank
from handlead.kinematics.gears.tolerance import FlankTolerances
from handlead.viz.look import look
from handlead.viz.look.shop import PLAIN, Shop

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class ChartTrace:
    """One trace of an inspection chart: deviation in µm over the place along it in mm, and what was measured."""

    name: str
    along: Floats
    deviation_um: Floats
    measured: FlankTrace


def lead_traces(flanks: Mapping[str, FlankMap]) -> tuple[ChartTrace, ...]:
    """The helix trace of each flank, at mid-roll over the face, in the transverse plane."""
    return tuple(
        ChartTrace(
            name,
            flank.heights,
            flank.deviation[flank.roll_length.size // 2] * UM / flank.base_cosine,
            gauge_flank(flank).helix,
        )
        for name, flank in flanks.items()
    )


def profile_traces(flanks: Mapping[str, FlankMap]) -> tuple[ChartTrace, ...]:
    """The profile trace of each flank, at mid-face over the length of roll, in the transverse plane."""
    return tuple(
        ChartTrace(
            name,
            flank.roll_length,
            flank.deviation[:, flank.heights.size // 2] * UM / flank.base_cosine,
            gauge_flank(flank).profile,
        )
        for name, flank in flanks.items()
    )


def plot_lead_chart(
    flanks: Mapping[str, FlankMap], limits: FlankTolerances | None = None, ax: Axes | None = None, *, shop: Shop = PLAIN
) -> Axes:
    """The lead chart of flanks, each by its name, with the limits of a class. Returns the axes.

    Raises `ValueError` for a map with too little finished flank to measure.
    """
    helix = None if limits is None else (limits.helix_slope.um, limits.helix_form.um, limits.helix_total.um)
    kind = _Chart("Lead", over_lower_face(shop), ("fHβ", "ffβ", "Fβ"), helix, None if limits is None else limits.quality)
    return _traces(lead_traces(flanks), kind, ax, shop)


def plot_profile_chart(
    flanks: Mapping[str, FlankMap], limits: FlankTolerances | None = None, ax: Axes | None = None, *, shop: Shop = PLAIN
) -> Axes:
    """The profile chart of flanks, as `plot_lead_chart`."""
    profile = (
        None if limits is None else (limits.profile_slope.um, limits.profile_form.um, limits.profile_total.um)
    )
    along = f"length of roll, {shop.units} (tip up)"
    kind = _Chart("Profile", along, ("fHα", "ffα", "Fα"), profile, None if limits is None else limits.quality)
    return _traces(profile_traces(flanks), kind, ax, shop)


@dataclass(frozen=True)
class _Chart:
    """A kind of chart: what it is called, what runs up it, and the signs and limits (µm) of slope, form and total."""

    title: str
    along: str
    symbols: tuple[str, str, str]
    limits: tuple[float, float, float] | None
    quality: int | None


def _traces(traces: Sequence[ChartTrace], kind: _Chart, ax: Axes | None, shop: Shop) -> Axes:
    limits = kind.limits
    axes = ax if ax is not None else look.new_figure(55 + 45 * len(traces), 120).add_axes((0.15, 0.25, 0.82, 0.65))
    greatest = max((float(np.nanmax(np.abs(_finite(t.deviation_um)))) for t in traces), default=1.0)
    fine, um = shop.fine
    half = 1.25 * max(greatest, limits[2] if limits else 0.0, 1.0) / um
    for number, trace in enumerate(traces):
        _trace(axes, trace, 2.2 * half * number, kind.symbols, limits, shop)
    axes.set_xlim(-1.1 * half, 2.2 * half * (len(traces) - 1) + 1.1 * half)
    axes.set_ylabel(kind.along, fontsize=look.TEXT)
    ticks = [2.2 * half * n + d for n in range(len(traces)) for d in (-_round(half), 0, _round(half))]
    axes.set_xticks(ticks, [_signed(f"{d:+g}") if d else "0" for _ in traces for d in (-_round(half), 0, _round(half))])
    axes.tick_params(labelsize=look.SMALL)
    key = "\nbroken: mean line; dotted: slope limits of the class" if limits else "\nbroken: mean line"
    axes.set_xlabel(f"deviation, {fine}: metal that stands on the flank to the right{key}", fontsize=look.SMALL)
    name = f"{kind.title} chart, simulated flank"
    axes.set_title(f"{name}, class {kind.quality}" if limits else name, fontsize=look.LARGE, weight="bold")
    return axes


def _finite(values: Floats) -> Floats:
    kept = values[np.isfinite(values)]
    return kept if kept.size else np.zeros(1)


def _round(half: float) -> float:
    """A round number near half of `half`, and no more than that."""
    step = 10.0 ** np.floor(np.log10(half / 2))
    return float(max(m * step for m in (1, 2, 5) if m * step <= half / 2 or m == 1))


def _trace(
    axes: Axes, trace: ChartTrace, offset: float, symbols: tuple[str, str, str],
    limits: tuple[float, float, float] | None, shop: Shop,
) -> None:  # fmt: skip
    um, digits = shop.fine[1], 2 if shop.units == "in" else 1
    along, measured = np.array([shop.sized(float(place)) for place in trace.along]), trace.measured
    limits = None if limits is None else (limits[0] / um, limits[1] / um, limits[2] / um)
    low, high = float(along[0]), float(along[-1])
    axes.plot([offset, offset], [low, high], color=look.FAINT, linewidth=look.HAIR, linestyle=look.CHAIN)
    axes.plot(trace.deviation_um / um + offset, along, color=look.INK, linewidth=look.OUTLINE)
    level = float(np.mean(_finite(trace.deviation_um))) / um
    slope = measured.slope_um / um / 2
    axes.plot([offset + level - slope, offset + level + slope], [low, high], color=look.POWER,
              linewidth=look.OUTLINE, linestyle=look.DASHED)  # fmt: skip
    if limits is not None:
        for side in (-1, 1):
            axes.plot([offset + level - side * limits[0] / 2, offset + level + side * limits[0] / 2], [low, high],
                      color=look.FAULT, linewidth=look.THIN, linestyle=look.DOTTED)  # fmt: skip
    slope_in = measured.slope_um / um
    values = (abs(slope_in), measured.form_um / um, measured.total_um / um)
    words = [trace.name]
    for number, (symbol, value) in enumerate(zip(symbols, values, strict=True)):
        told = _signed(f"{round(slope_in, digits) + 0.0:+.{digits}f}") if number == 0 else f"{value:.{digits}f}"
        limit = "" if limits is None else f"  ({'±' if number == 0 else ''}{limits[number]:.4g})"
        words.append(f"{symbol} {told}{limit}{'  OUT' if limits is not None and value > limits[number] else ''}")
    axes.text(offset, low - 0.21 * (high - low), "\n".join(words), fontsize=look.TEXT, ha="center", va="top")


def _signed(text: str) -> str:
    """A number with the sign that is as wide as a plus."""
    return text.replace("-", "−")


def over_lower_face(shop: Shop) -> str:
    """What a place along the face is counted from: the lower face, or, where the work lies, the face down there."""
    low = f"face {shop.way('axial', -1)}" if shop.up else "lower face"
    return f"from the {low}, {shop.units}" if shop.up else f"over the {low}, {shop.units}"


def plot_scallop_map(flank: FlankMap, ax: Axes | None = None, *, name: str = "", shop: Shop = PLAIN) -> Axes:
    """Height of what feed marks and facets leave standing on a flank, over face and roll. Returns the axes.

    The darker the higher, with lines of equal height at round steps; unfinished places are hatched.
    """
    axes = ax if ax is not None else look.new_figure(150, 100).add_axes((0.11, 0.15, 0.84, 0.73))
    um = shop.fine[1]
    marks = flank.deviation * UM / um
    heights = np.array([shop.sized(float(place)) for place in flank.heights])
    rolls = np.array([shop.sized(float(place)) for place in flank.roll_length])
    lowest = float(np.min(_finite(marks)))
    height = np.ma.masked_invalid(marks - lowest)
    axes.set_facecolor(look.PAPER)
    axes.patch.set_hatch(look.CLASH)
    greatest = max(float(height.max()), 1e-6)
    step = _round(greatest)
    axes.contourf(heights, rolls, height, levels=np.linspace(0, greatest, 9), cmap="Greys",
                  vmax=1.3 * greatest)  # fmt: skip
    axes.contour(heights, rolls, height, levels=np.arange(step, greatest, step), colors=look.INK,
                 linewidths=look.HAIR)  # fmt: skip
    axes.set_xlabel(over_lower_face(shop), fontsize=look.TEXT)
    axes.set_ylabel(f"length of roll, {shop.units} (tip up)", fontsize=look.TEXT)
    axes.tick_params(labelsize=look.SMALL)
    title = f"Marks on the simulated flank{f', {name}' if name else ''}: up to {_fine(greatest, shop)}"
    axes.set_title(title, fontsize=look.LARGE, weight="bold", pad=16)
    axes.text(0.5, 1.015, f"darker: higher; a line every {_fine(step, shop)}", fontsize=look.TEXT, ha="center", va="bottom",
              transform=axes.transAxes)  # fmt: skip
    return axes


@dataclass(frozen=True)
class MotionTrace:
    """One end through a motion: its name, unit, and its place at the beginning and end of each phase."""

    end: str
    unit: str
    places: tuple[Fraction, ...]


def motion_traces(motion: Motion) -> tuple[MotionTrace, ...]:
    """The ends that move, with their places where each phase begins and where the last one ends."""
    stands: list[Phase] = list(motion.phases)
    found = []
    for end, unit in (("hob", "turns"), ("table", "turns"), ("axial", "mm"), ("tangential", "mm"), ("radial", "mm")):
        places = (*(getattr(p.start, end) for p in stands), getattr(motion.end, end))
        if len(set(places)) > 1:
            found.append(MotionTrace(end, unit, places))
    return tuple(found)


#: From one trace's foot to the next, in heights of a trace: the places of both are written between.
_BAND = 1.6

#: Room beside the traces for their words, in mm.
_LEFT_MM = 33.0

_STYLES = ("-", look.DASHED, look.CHAIN, look.DOTTED, (0, (3, 1)))


def plot_motion(motion: Motion, ax: Axes | None = None, *, title: str = "Motion", shop: Shop = PLAIN) -> Axes:
    """Table, hob and slides through the moves, one band each, phase after phase. Returns the axes.

    Every phase takes the same width: a return that lasts seconds is as plain to see as a cut of an hour.
    """
    traces = motion_traces(motion)
    axes = ax if ax is not None else look.new_figure(160, 34 + 27 * len(traces)).add_axes((0.25, 0.1, 0.72, 0.78))
    names = [phase.name for phase in motion.phases]
    for row, trace in enumerate(traces):
        base = -_BAND * row
        low, high = min(trace.places), max(trace.places)
        values = [base + float((place - low) / (high - low)) for place in trace.places]
        axes.plot(range(len(values)), values, color=look.INK, linewidth=look.OUTLINE, linestyle=_STYLES[row % 5],
                  marker="o", markersize=3)  # fmt: skip
        words = trace.end if trace.end in ("table", "hob") else f"{trace.end} slide"
        axes.text(-0.18, base + 0.62, f"{words}, {shop.units if trace.unit == 'mm' else trace.unit}", ha="right", va="center", fontsize=look.TEXT, weight="bold")
        way = look.wrapped(f"+ {shop.way(trace.end, 1)}", look.SMALL, _LEFT_MM)
        axes.text(-0.18, base + 0.4, "\n".join(way), ha="right", va="top", fontsize=look.SMALL)
        for x, (value, place) in enumerate(zip(values, trace.places, strict=True)):
            below = value < base + 0.5
            axes.annotate(_signed(_placed(float(place), trace.unit, shop)), (x, value), (0, -4 if below else 4), textcoords="offset points",
                          ha="center", va="top" if below else "bottom", fontsize=look.SMALL,
                          bbox={"facecolor": look.PAPER, "edgecolor": "none", "pad": 0.4})  # fmt: skip
    for x in range(len(names) + 1):
        axes.axvline(x, color=look.FAINT, linewidth=look.HAIR, zorder=0)
    axes.set_xlim(-0.12, len(names) + 0.15)
    axes.set_ylim(-_BAND * (len(traces) - 1) - 0.35, 1.35)
    axes.set_yticks([])
    axes.set_xticks([n + 0.5 for n in range(len(names))], names, fontsize=look.TEXT)
    axes.tick_params(length=0)
    for side in ("top", "right", "left"):
        axes.spines[side].set_visible(False)
    lines = look.wrapped(title, look.LARGE, look.paper_size(axes)[0], bold=True)
    axes.set_title("\n".join(lines), fontsize=look.LARGE, weight="bold", loc="left")
    return axes


def _fine(size: float, shop: Shop) -> str:
    """A height on a flank: micrometres, or inches as a decimal."""
    return f"{size / 10_000:.6f} in" if shop.units == "in" else f"{size:.3g} µm"


def _placed(place: float, unit: str, shop: Shop) -> str:
    """A place to four figures; of a slide in inches to the tenth of a thousandth that its dial has."""
    return f"{shop.sized(place):.4f}" if unit == "mm" and shop.units == "in" else f"{place:.4g}"
