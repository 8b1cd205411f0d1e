"""How a pair runs, drawn: what it hands on over a turn and how often that comes back, and its bearing pattern.

The pattern is the work's flank as it shows through a film of blue, face across and tip up.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
from handlead.kinematics.rolling.roll import RolledSide
from handlead.machines.rolling.pair_rolled import PairRolled
from handlead.machines.rolling.words import DRIVES, at_the_machine, where
from handlead.machines.toml.units import height
from handlead.viz.look import look
from handlead.viz.look.shop import Shop

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Floats = npt.NDArray[np.float64]

UM = 1000.0

#: Points of a curve over one turn: more aren't seen.
_POINTS = 4000

#: Rows of a flank that are drawn.
_ROWS = 160

#: Steps of the pattern, in films of blue: bears, near, further off, and all that meets.
_SHADES = (0.0, 1.0, 2.0, 4.0)


def over_a_turn(found: PairRolled, side: int) -> tuple[Floats, Floats]:
    """Turns of the slower gear, and by how much the driven one is ahead of or behind its middle, in µm.

    NaN where no flanks touch.
    """
    assert found.rolled is not None
    ahead = found.rolled.sides[side].ahead
    teeth = max(found.rolled.first.gear.teeth, found.rolled.second.gear.teeth)
    once = ahead[:teeth].ravel()
    some = np.unique(np.linspace(0, once.size - 1, min(_POINTS, once.size)).astype(int))
    middle = (np.nanmax(ahead) + np.nanmin(ahead)) / 2 if np.isfinite(ahead).any() else 0.0
    return some / once.size, np.asarray((once[some] - middle) * UM)


def pattern(rolled: RolledSide, film: float) -> tuple[Floats, Floats, Floats]:
    """Heights from mid-face, lengths of roll in mm, and how many films apart the flanks are there; NaN unmet."""
    met = np.isfinite(rolled.apart).any(axis=1)
    lengths = rolled.lengths[met]
    own = np.linspace(
        float(lengths[0] - abs(rolled.lead * rolled.heights[-1])),
        float(lengths[-1] + abs(rolled.lead * rolled.heights[-1])), _ROWS,
    )  # fmt: skip
    apart = rolled.on_flank(own)
    seen = np.isfinite(apart).any(axis=1)
    return rolled.heights, own[seen], apart[seen] / film


def plot_error(found: PairRolled, side: int, ax: Axes, *, shop: Shop) -> None:
    """Transmission error over one turn of the slower gear."""
    turns, error = over_a_turn(found, side)
    fine, um = shop.fine
    ax.plot(turns, error / um, color=look.INK, linewidth=look.HAIR)
    assert found.rolled is not None
    slower = "work" if found.rolled.first.gear.teeth >= found.rolled.second.gear.teeth else "mate"
    ax.set_xlim(0, 1)
    half = max(float(np.nanmax(np.abs(error), initial=0.0)) / um * 1.25, 1.0 / um)
    ax.set_ylim(-half, half)
    ax.set_xlabel(f"turn of the {slower}", fontsize=look.TEXT)
    ax.set_ylabel(f"mate ahead +, {fine}", fontsize=look.TEXT)
    ax.axhline(0, color=look.FAINT, linewidth=look.HAIR, linestyle=look.CHAIN)
    ax.tick_params(labelsize=look.SMALL)
    ax.set_title(f"Work turns {DRIVES[side]}", fontsize=look.LARGE, weight="bold", loc="left")


def plot_waves(found: PairRolled, side: int, ax: Axes, *, shop: Shop) -> None:
    """How large what comes back is: a bar each, with its number."""
    fine, um = shop.fine
    digits = 2 if shop.units == "in" else 1
    waves = found.waves(side)
    names = [wave_name(wave.of, float(wave.per_first), found) for wave in waves]
    sizes = [wave.um / um for wave in waves]
    places = np.arange(len(waves))
    ax.barh(places, sizes, color=look.SHADE, edgecolor=look.INK, linewidth=look.THIN, height=0.6)
    for place, size in zip(places, sizes, strict=True):
        ax.annotate(f"{size:.{digits}f}", (size, place), (3, 0), textcoords="offset points", va="center", fontsize=look.SMALL)
    ax.set_yticks(places, names, fontsize=look.SMALL)
    ax.invert_yaxis()
    ax.set_xlim(0, 1.25 * max([*sizes, 1.0 / um]))
    ax.set_xlabel(f"from crest to trough, {fine}", fontsize=look.TEXT)
    ax.tick_params(labelsize=look.SMALL)
    for edge in ("top", "right"):
        ax.spines[edge].set_visible(False)


def wave_name(of: str, per_first: float, found: PairRolled) -> str:
    """What comes back, in few words."""
    if of in ("first", "second"):
        return f"turn of the {'work' if of == 'first' else 'mate'}"
    assert found.rolled is not None
    if of == "mesh":
        times = round(per_first / found.rolled.first.gear.teeth)
        return "tooth" if times == 1 else f"{times} × tooth"
    return f"{per_first:.4g} a turn of the work"


def plot_pattern(found: PairRolled, side: int, ax: Axes, *, shop: Shop) -> None:
    """The work's flank through blue: the darkest bears, hatched never meets the mate."""
    assert found.rolled is not None
    heights, lengths, films = pattern(found.rolled.sides[side], found.film)
    ax.set_facecolor(look.PAPER)
    ax.patch.set_hatch(look.CUT_AWAY)
    middle = found.rolled.first.width / 2
    face = np.array([shop.sized(float(place + middle)) for place in heights])
    shown = np.ma.masked_invalid(films)
    ax.contourf(face, [shop.sized(float(place)) for place in lengths], shown, levels=[*_SHADES, 1e9],
                colors=[look.POWER, look.PALE, look.SHADE, look.PAPER])  # fmt: skip
    way = shop.way("axial", 1) if shop.up else "up"
    ax.set_xlim(0, shop.sized(found.rolled.first.width))
    ax.set_xlabel(f"along the face, {way} to the right, {shop.units}", fontsize=look.TEXT)
    ax.set_ylabel(f"length of roll, {shop.units} (tip up)", fontsize=look.TEXT)
    ax.tick_params(labelsize=look.SMALL)
    bears = found.bearing(side)
    assert bears is not None
    told = at_the_machine(where(bears), found.job.machine.way)
    ax.set_title(f"bears: {told}, {100 * bears.length:.0f} % of the face", fontsize=look.TEXT, loc="left")


def plot_mesh(found: PairRolled, ax: Axes, *, shop: Shop) -> Axes:
    """Both ways of turning side by side: the error, what comes back of it, and the bearing pattern."""
    for number, side in enumerate(DRIVES):
        left = 0.09 + 0.5 * number
        plot_error(found, side, ax.inset_axes((left, 0.72, 0.38, 0.19)), shop=shop)
        plot_waves(found, side, ax.inset_axes((left + 0.09, 0.43, 0.29, 0.2)), shop=shop)
        plot_pattern(found, side, ax.inset_axes((left, 0.1, 0.38, 0.22)), shop=shop)
    ax.text(0.02, 0.985, heading(found, shop), fontsize=look.LARGE, weight="bold", va="top", transform=ax.transAxes)
    ax.text(0.02, 0.025, foot(found, shop), fontsize=look.SMALL, va="bottom", transform=ax.transAxes)
    return ax


def heading(found: PairRolled, shop: Shop) -> str:
    """Which pair this is, how it runs and with what play."""
    mate = found.mate.title if found.mate else "its mate as drawn"
    return "\n".join(look.wrapped(f"{found.job.title}; {mate}: {found.verdict}, in simulation", look.LARGE, 190, bold=True))


def foot(found: PairRolled, shop: Shop) -> str:
    """What the shades are, the centres and the backlash."""
    play, digits = found.play(), 4 if shop.units == "in" else 3
    words = f"Darkest: within a film of blue ({height(found.film * UM, shop.units)}); lighter: within two, four; dotted: never meets the mate."
    if found.distance is not None:
        words += f" Centres {shop.sized(found.distance):.{digits}f} {shop.units}."
    if play is not None:
        words += f" Backlash {shop.sized(play[0]):.{digits}f} to {shop.sized(play[1]):.{digits}f} {shop.units}."
    return "\n".join(look.wrapped(words, look.SMALL, 192))
