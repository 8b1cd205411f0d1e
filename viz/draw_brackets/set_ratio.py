"""A ratio that is entered, drawn where other brackets have their gears: the box, and what its display must read."""

from __future__ import annotations

from typing import TYPE_CHECKING

from handlead.kinematics.links.mounted import SetRatio

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.patches import Rectangle


def plot_set_ratio(link: SetRatio, ax: Axes, *, name: str = "") -> Axes:
    """The box with what is entered, `name` over it; without a name small, with the sign alone."""
    ax.set_axis_off()
    ax.set(xlim=(0, 100), ylim=(0, 70), aspect="equal")
    for x, end in ((8, 22), (78, 92)):
        ax.plot([x, end], [34, 34], color="black", linewidth=2.0, solid_capstyle="butt")
    ax.add_patch(_rectangle(22, 14, 56, 40, 1.6, "white"))
    ax.add_patch(_rectangle(27, 24, 46, 20, 0.8, "#eeeeee"))
    shown = _sign(link) if not name else "nothing entered" if link.mounted is None else str(link.mounted)
    ax.text(50, 34, shown, ha="center", va="center", weight="bold", size=min(14, 130 / max(len(shown), 1)))
    if name:
        ax.text(0, 68, name, ha="left", va="top", weight="bold", size=12)
        ax.text(0, 6, f"entered, numbers up to {link.largest}: from {link.from_part} to {link.to_part}", size=8)
    return ax


def _sign(link: SetRatio) -> str:
    return "" if link.ratio is None else "+" if link.ratio > 0 else "−"


def _rectangle(x: float, y: float, width: float, height: float, line: float, fill: str) -> Rectangle:
    from matplotlib.patches import Rectangle

    return Rectangle((x, y), width, height, facecolor=fill, edgecolor="black", linewidth=line)
