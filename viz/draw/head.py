"""The swivel of the hob head, drawn from behind the hob, with the work beyond it.

Seen so, right is the frame's Y and up its Z: a positive swivel turns the hob counter-clockwise on
the paper. A right-hand helix on the near side of the work leans to the right as it goes up; so does
the hob's thread on its far side, where it cuts.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from handlead.kinematics.frame.words import Hand, angle_text, swing
from handlead.viz.look import look, symbols
from handlead.viz.look.symbols import Pen

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Segment = tuple[tuple[float, float], tuple[float, float]]


@dataclass(frozen=True)
class SwivelLayout:
    """Where everything stands, in units of which the hob is 100 long; the head's pivot is at 0, 0.

    `swivel_deg` is counter-clockwise positive. `axis` runs along the hob, `teeth` up the near side of
    the work, `threads` across the hob's near side, and `contact` is the hob's thread on the far side,
    at the work. `words` say the angle for the vernier and the way to swing.
    """

    swivel_deg: float
    axis: Segment
    teeth: tuple[Segment, ...]
    threads: tuple[Segment, ...]
    contact: Segment
    words: tuple[str, str]

    @property
    def astray_deg(self) -> float:
        """By how much the thread where it cuts leans more to the right than the teeth."""
        return _lean_deg(self.contact) - (_lean_deg(self.teeth[0]) if self.teeth else 0.0)


def _lean_deg(segment: Segment) -> float:
    (xa, ya), (xb, yb) = segment
    return math.degrees(math.atan2(xb - xa, yb - ya))


#: The thread lies along the tooth if it leans no more than this from it, in degrees: a vernier is read closer.
_ALONG_DEG = 0.5

#: Half the hob's length and diameter, half the work's width and its height.
_HOB, _THICK, _WORK, _TALL = 50.0, 17.0, 46.0, 44.0


def swivel_layout(
    swivel_deg: float, *, hob_hand: Hand, lead_angle_deg: float, work_hand: Hand | None, helix_angle_deg: float
) -> SwivelLayout:
    """The head at `swivel_deg`, counter-clockwise seen from behind positive, with hob and work as they lean."""
    swing = math.radians(swivel_deg)
    beta = helix_angle_deg * (work_hand.value if work_hand else 0)
    gamma = hob_hand.value * lead_angle_deg
    return SwivelLayout(
        swivel_deg,
        _turned(((-_HOB, 0.0), (_HOB, 0.0)), swing),
        tuple(_teeth(beta)),
        # On its near side a thread leans the other way than where it cuts.
        tuple(_turned(_leaning(x, 0.0, -gamma, _THICK), swing) for x in range(-40, 41, 10)),
        _turned(_leaning(0.0, 0.0, gamma, 30.0), swing),
        dial_words(swivel_deg),
    )


def dial_words(swivel_deg: float) -> tuple[str, str]:
    """The angle for the vernier, in degrees and minutes, and the way to swing the head."""
    return angle_text(swivel_deg, "′"), swing(swivel_deg).upper() or "LEVEL: not swung"


def _leaning(x: float, y: float, angle_deg: float, half: float) -> Segment:
    """An upright line of half-length `half` that leans by `angle_deg` to the right."""
    dx, dy = symbols.lean(angle_deg)
    return (x - dx * half, y - dy * half), (x + dx * half, y + dy * half)


def _teeth(beta_deg: float) -> Iterator[Segment]:
    """Tooth lines up the work, cut off at its sides."""
    across = math.tan(math.radians(beta_deg))
    for number in range(-20, 21):
        foot, half = 10.0 * number, _TALL
        if across:
            inside = sorted((side - foot) / across for side in (-_WORK, _WORK))
            low, high = max(-half, inside[0]), min(half, inside[1])
        else:
            low, high = (-half, half) if abs(foot) < _WORK else (1.0, -1.0)
        if low < high:
            yield (foot + low * across, low), (foot + high * across, high)


def _turned(segment: Segment, angle: float) -> Segment:
    c, s = math.cos(angle), math.sin(angle)
    first, second = ((x * c - y * s, x * s + y * c) for x, y in segment)
    return first, second


def plot_swivel(
    layout: SwivelLayout, ax: Axes | None = None, *, title: str = "Head swivel", words: bool = True, up: str = ""
) -> Axes:  # fmt: skip
    """Draw the head from behind the hob: the way to swing it as an arrow and in words, and the angle.

    Without `words` there is the drawing alone. `up` is what the machine calls up, where its work lies. Returns the axes, in whose units the hob is 100 long.
    """
    axes = ax if ax is not None else look.new_axes(90, 95)
    fitted = look.fit(axes, (-62, -60, 62, 60), head=(10.0 if up else 6.5) if words else 0.0, foot=15.5 if words else 0.0)
    _work(axes, layout, words)
    _hob(axes, layout, words)
    _swing(axes, layout, fitted)
    if words:
        _say(axes, layout, fitted, title, up)
    return axes


def _say(axes: Axes, layout: SwivelLayout, fitted: look.ScaledAxes, title: str, up: str) -> None:
    x = fitted.left + fitted.mm(1.5)
    axes.text(x, fitted.top - fitted.mm(1), title, fontsize=look.LARGE, weight="bold", va="top")
    angle, way = layout.words
    axes.text(0, fitted.bottom + fitted.mm(10.5), angle, fontsize=20, weight="bold", ha="center", va="center")
    axes.text(
        0, fitted.bottom + fitted.mm(3.8), way, fontsize=look.LARGE, weight="bold", ha="center", va="center"
    )
    axes.text(
        fitted.right - fitted.mm(1.5), fitted.top - fitted.mm(1.3),
        "\n".join(("seen from behind the hob", *([f"top of this picture: {up}"] if up else []))), fontsize=look.TEXT, ha="right", va="top",
    )  # fmt: skip


def _work(axes: Axes, layout: SwivelLayout, words: bool) -> None:
    symbols.box(axes, (-_WORK, -_TALL), (_WORK, _TALL), Pen(look.FAINT, look.OUTLINE), fill=look.SHADE, order=1)
    for segment in layout.teeth:
        symbols.line(axes, segment, Pen(look.FAINT, look.THIN), order=1.5)
    if words:
        side = 1 if layout.swivel_deg > 0 else -1  # where the hob's end goes up
        axes.text(side * (_WORK - 2), -_TALL + 2, "work", fontsize=look.SMALL, color=look.INK, va="bottom", zorder=3,
                  ha="right" if side > 0 else "left", bbox={"facecolor": look.SHADE, "edgecolor": "none", "pad": 0.5})  # fmt: skip
    symbols.line(axes, ((0, -52), (0, 52)), Pen(look.FAINT, look.HAIR, look.CHAIN), order=1.6)


def _longer(segment: Segment, times: float) -> Segment:
    (xa, ya), (xb, yb) = segment
    mx, my = (xa + xb) / 2, (ya + yb) / 2
    return (mx + (xa - mx) * times, my + (ya - my) * times), (mx + (xb - mx) * times, my + (yb - my) * times)


def _hob(axes: Axes, layout: SwivelLayout, words: bool) -> None:
    swing = math.radians(layout.swivel_deg)
    corners = [_turned(((x, y), (0, 0)), swing)[0] for x, y in (
        (-_HOB, -_THICK), (_HOB, -_THICK), (_HOB, _THICK), (-_HOB, _THICK))]  # fmt: skip
    symbols.shape(axes, corners, Pen(look.INK, look.HEAVY), order=4)
    for segment in layout.threads:
        symbols.line(axes, segment, Pen(look.INK, look.THIN), order=4.5)
    symbols.line(axes, _longer(layout.axis, 1.16), Pen(look.INK, look.THIN, look.CHAIN), order=5)
    symbols.line(axes, layout.contact, Pen(look.POWER, look.HEAVY, look.DASHED), order=6)
    if not words:
        return
    x, y = layout.contact[1]
    off = layout.astray_deg
    along = "along the tooth" if abs(off) <= _ALONG_DEG else f"NOT along the tooth: {angle_text(off, '′')} off"
    axes.text(x, y + 2, f"thread where it cuts,\n{along}", fontsize=look.SMALL, ha="center", va="bottom", zorder=7,
              color=look.INK if abs(off) <= _ALONG_DEG else look.FAULT, weight="normal" if abs(off) <= _ALONG_DEG else "bold",
              bbox={"facecolor": look.SHADE, "edgecolor": "none", "pad": 0.5})  # fmt: skip


def _swing(axes: Axes, layout: SwivelLayout, fitted: look.ScaledAxes) -> None:
    """The level line, and an arrow from it to the hob's axis at both ends."""
    symbols.line(axes, ((-60, 0), (60, 0)), Pen(look.INK, look.THIN, look.DASHED), order=5)
    angle = math.radians(layout.swivel_deg)
    if abs(layout.swivel_deg) < 1 / 120:
        return
    radius = 55.0
    # A small swing would be all arrowhead: its arrow begins on the far side of the level line.
    least = math.radians(11)
    start = 0.0 if abs(angle) >= least else angle - math.copysign(least, angle)
    bow = math.tan((angle - start) / 4)
    for side in (1, -1):
        tail, tip = (
            (side * radius * math.cos(at), side * radius * math.sin(at)) for at in (start, angle)
        )
        symbols.arrow(axes, tail, tip, Pen(look.INK, 1.8), bow=-bow, size=3.0)
