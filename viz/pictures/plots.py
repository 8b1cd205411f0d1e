"""Each picture of a set-up on axes of yours, or on new ones; and its gear as a solid.

Every function takes a `Case` (`machines.Case.of(job)`) and returns the `Axes` that it drew on. Several charts
in one picture stand in insets of these.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

from handlead.kinematics.links.mounted import SetRatio
from handlead.kinematics.work.requirement import gear_of
from handlead.machines.setups.case import Case, face_width_mm
from handlead.viz.look import look
from handlead.viz.look.shop import Shop

from .pictures import NoPicture, flanks_of, motion_of, swivel_of, witness_of, worm_wheel_motion

if TYPE_CHECKING:
    from handlead.machines.rolling.pair_rolled import PairRolled
    from matplotlib.axes import Axes
    from pyvista import PolyData


def plot_train(case: Case, ax: Axes | None = None) -> Axes:
    """The train diagram, levers and change gears as the set-up has them."""
    from handlead.viz.draw_train import train as train_drawing

    machine = case.job.machine
    title = f"{machine.name}: {case.job.title}"
    return train_drawing.plot_train(
        case.solution, ax, title=title, levers=machine.positions(case.setup), shop=Shop.of(case)
    )


def plot_brackets(case: Case, ax: Axes | None = None) -> Axes:
    """Every bracket of the machine to scale, two to a row. Raises `NoPicture` where it has none."""
    from handlead.viz.draw_brackets.bracket import plot_bracket
    from handlead.viz.draw_brackets.set_ratio import plot_set_ratio

    brackets = case.train.brackets
    if not brackets:
        raise NoPicture("the machine has no change-gear brackets")
    columns = min(2, len(brackets))
    rows = math.ceil(len(brackets) / columns)
    ax = _frame(ax, 100 * columns, 95 * rows)
    for number, link in enumerate(brackets):
        row, column = divmod(number, columns)
        inset = ax.inset_axes((column / columns, 1 - (row + 1) / rows, 1 / columns, 1 / rows))
        if isinstance(link, SetRatio):
            plot_set_ratio(link, inset, name=link.name)
        else:
            plot_bracket(
                link, inset, name=link.name, units=case.job.units, letters=case.letters(link.name)
            )
    return ax


def plot_head(case: Case, ax: Axes | None = None) -> Axes:
    """The head from behind the hob, as it is swung."""
    from handlead.viz.draw.head import plot_swivel

    return plot_swivel(swivel_of(case), ax, up=Shop.of(case).up)


def plot_marks(case: Case, ax: Axes | None = None) -> Axes:
    """The blank after the light first cut, unrolled: wanted over predicted."""
    from handlead.viz.draw.witness import plot_witness
    from handlead.viz.sheet_words.first_cut_words import sense_words

    return plot_witness(witness_of(case), ax, up=Shop.of(case).up, sense=sense_words(case))


def plot_flanks(case: Case, ax: Axes | None = None) -> Axes:
    """Lead and profile charts of the simulated flanks, and the map of their marks.

    Wants axes of about 200 by 250 mm for its words. Raises `NoPicture` where no flank can be cut or measured.
    """
    from handlead.kinematics.gears.tolerance import flank_tolerances
    from handlead.viz.draw.charts import plot_lead_chart, plot_profile_chart, plot_scallop_map

    flanks, work, shop = flanks_of(case), case.job.work, Shop.of(case)
    limits = flank_tolerances(replace(gear_of(work), face_width=face_width_mm(work)), work.quality)
    ax = _frame(ax, 200, 250)
    try:
        plot_lead_chart(flanks, limits, ax.inset_axes((0.08, 0.58, 0.4, 0.38)), shop=shop)
        plot_profile_chart(flanks, limits, ax.inset_axes((0.57, 0.58, 0.4, 0.38)), shop=shop)
    except ValueError as fault:
        raise NoPicture(str(fault)) from fault
    name, flank = next(iter(flanks.items()))
    plot_scallop_map(flank, ax.inset_axes((0.08, 0.06, 0.88, 0.32)), name=name, shop=shop)
    return ax


def plot_mesh(found: PairRolled, ax: Axes | None = None) -> Axes:
    """A pair rolled together, both ways of turning: the error, what comes back of it, and the bearing pattern.

    Wants axes of about 200 by 220 mm. Raises `NoPicture` for a pair that wasn't rolled.
    """
    from handlead.viz.draw import mesh

    if found.rolled is None:
        raise NoPicture(next((one.message for one in found.findings), "the pair isn't rolled"))
    return mesh.plot_mesh(found, _frame(ax, 200, 220), shop=Shop(found.job.units, found.job.machine.way))


def plot_motion(case: Case, ax: Axes | None = None) -> Axes:
    """Hob, table and slides through the moves of a cut."""
    from handlead.viz.draw import charts

    across = case.job.work.kind == "worm wheel" and case.rates is not None and not case.rates.axial
    motion = worm_wheel_motion(case) if across else motion_of(case)
    return charts.plot_motion(motion, ax, title=f"Motion: {case.job.title}", shop=Shop.of(case))


def solid(case: Case) -> PolyData:
    """The gear that the set-up would cut to full depth, as a closed mesh in mm.

    Raises `machines.NotCut` where nothing can be cut.
    """
    from handlead.viz.solids.scene import Scene

    return Scene.of(case).gear()


def _frame(ax: Axes | None, width_mm: float, height_mm: float) -> Axes:
    """Axes with nothing on them for insets to stand in."""
    ax = look.new_figure(width_mm, height_mm).add_axes((0, 0, 1, 1)) if ax is None else ax
    ax.set_axis_off()
    return ax
