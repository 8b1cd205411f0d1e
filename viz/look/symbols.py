"""Symbols of ISO 3952 for the parts of a drive train, as matplotlib artists (shapes from memory).

Each function draws one symbol into axes whose unit is a millimetre on paper, in the `pen` given: its
colour, weight and dashes. Uprights run from the height `top` down to `bottom`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from . import look

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.patches import Patch

Point = tuple[float, float]

#: Where an upright stands, and the heights of the upper and of the lower of the two lines that it joins.
Between = tuple[float, float, float]


@dataclass(frozen=True)
class Pen:
    """How a line is drawn; `scale` brings weights along with an enlarged or reduced drawing."""

    colour: str = look.INK
    weight: float = look.OUTLINE
    dashes: Any = "-"
    scale: float = 1.0

    @property
    def thin(self) -> Pen:
        """The same pen for the finer lines of a symbol."""
        return replace(self, weight=min(self.weight, look.THIN), dashes="-")

    @property
    def solid(self) -> Pen:
        """The same pen without dashes."""
        return replace(self, dashes="-")


def line(
    axes: Axes, points: Iterable[Point], pen: Pen, *, order: float = 2.0, within: Patch | None = None
) -> None:  # fmt: skip
    """A line through `points`, as far as it lies `within` a shape."""
    from matplotlib.lines import Line2D

    xs, ys = zip(*points, strict=True)
    drawn = Line2D(
        xs, ys, color=pen.colour, linewidth=pen.weight * pen.scale, linestyle=pen.dashes, zorder=order,
        solid_capstyle="butt", dash_capstyle="butt",
    )  # fmt: skip
    axes.add_artist(drawn)
    if within is not None:
        drawn.set_clip_path(within)


def shape(
    axes: Axes, points: Iterable[Point], pen: Pen, *, fill: str = look.PAPER, hatch: str | None = None,
    order: float = 3.0,
) -> Patch:  # fmt: skip
    """A closed shape."""
    from matplotlib.patches import Polygon

    drawn = Polygon(
        list(points), closed=True, facecolor=fill, edgecolor=pen.colour, hatch=hatch,
        linewidth=pen.weight * pen.scale, linestyle=pen.dashes, zorder=order,
    )  # fmt: skip
    axes.add_patch(drawn)
    return drawn


def box(
    axes: Axes, corner: Point, opposite: Point, pen: Pen, *, fill: str = look.PAPER, order: float = 3.0
) -> None:
    """A rectangle between two opposite corners."""
    (x0, y0), (x1, y1) = corner, opposite
    shape(axes, ((x0, y0), (x1, y0), (x1, y1), (x0, y1)), pen, fill=fill, order=order)


def circle(
    axes: Axes, centre: Point, radius: float, pen: Pen, *, fill: str = look.PAPER, order: float = 3.0
) -> None:
    """A circle; `fill` "none" leaves what is under it in sight."""
    from matplotlib.patches import Circle

    axes.add_patch(
        Circle(
            centre, radius, facecolor=fill, edgecolor=pen.colour, linewidth=pen.weight * pen.scale,
            linestyle=pen.dashes, zorder=order,
        )
    )  # fmt: skip


def arrow(axes: Axes, start: Point, tip: Point, pen: Pen, *, bow: float = 0.0, size: float = 2.2) -> None:
    """An arrow from `start` to `tip`; `bow` bends it, to the left of the way it goes where positive."""
    from matplotlib.patches import FancyArrowPatch

    axes.add_patch(
        FancyArrowPatch(
            start, tip, arrowstyle="-|>", connectionstyle=f"arc3,rad={-bow}", shrinkA=0, shrinkB=0,
            mutation_scale=size * look.POINTS_PER_MM * pen.scale, color=pen.colour,
            linewidth=pen.weight * pen.scale, zorder=5,
        )
    )  # fmt: skip


# ---------------------------------------------------------------- on a shaft


def fixed(axes: Axes, x: float, y: float, pen: Pen) -> None:
    """The cross by which a gear is fixed on its shaft."""
    for sign in (1, -1):
        line(axes, ((x - 1.0, y - sign), (x + 1.0, y + sign)), pen.thin, order=4)


def turning(axes: Axes, x: float, y: float, sign: int, pen: Pen) -> None:
    """An arrow across a shaft: the way its near side moves, up for its own positive."""
    if sign:
        arrow(axes, (x, y - 2.6 * sign), (x, y + 2.6 * sign), pen.solid, bow=0.45 * sign, size=1.9)


def ground(axes: Axes, x0: float, x1: float, y: float, pen: Pen) -> None:
    """The hatched line that stands for the frame, hatching below."""
    line(axes, ((x0, y), (x1, y)), pen.solid)
    steps = max(2, round((x1 - x0) / 1.4))
    for number in range(steps):
        x = x0 + (number + 0.6) * (x1 - x0) / steps
        line(axes, ((x, y), (x - 1.1, y - 1.4)), pen.thin)


def brake(axes: Axes, x: float, y: float, on: bool, pen: Pen) -> None:
    """A shoe under a shaft, held by the frame: against it where the brake is on, off it where it isn't."""
    foot = y - (0.4 if on else 2.0)
    box(axes, (x - 2.6, foot - 1.5), (x + 2.6, foot), pen.solid, fill=pen.colour if on else look.PAPER)
    line(axes, ((x, foot - 1.5), (x, y - 5.0)), pen.solid)
    ground(axes, x - 3, x + 3, y - 5.0, pen)


def clutch(axes: Axes, x0: float, x1: float, y: float, engaged: bool, pen: Pen) -> None:
    """Two toothed faces on one axis: in each other where engaged, apart where not."""
    middle, gap = (x0 + x1) / 2, 0.0 if engaged else 2.6
    left, right = middle - gap / 2 - 0.9, middle + gap / 2 + 0.9
    line(axes, ((x0, y), (left, y)), pen)
    line(axes, ((right, y), (x1, y)), pen)
    rows = (-3.0, -1.8, -0.6, 0.6, 1.8, 3.0)
    for face, tooth, odd in ((left, 1.8, 0), (right, -1.8, 1)):
        line(axes, ((face, y - 3.2), (face, y + 3.2)), pen.solid)
        for number in range(len(rows) - 1):
            if number % 2 == odd:
                box(
                    axes, (face, y + rows[number]), (face + tooth, y + rows[number + 1]), pen.thin,
                    fill=pen.colour if engaged else look.PAPER,
                )  # fmt: skip


def upright_clutch(axes: Axes, between: Between, y: float, engaged: bool, pen: Pen) -> None:
    """The same between two shafts one over the other: both turn as one where it is in."""
    x, top, bottom = between
    gap = 0.0 if engaged else 2.4
    for foot, way in ((top, 1), (bottom, -1)):
        face = y + way * (gap / 2 + 0.9)
        line(axes, ((x, foot), (x, face)), pen)
        line(axes, ((x - 3, face), (x + 3, face)), pen.solid)
        for number in range(5):
            if number % 2 == (0 if way > 0 else 1):
                x0 = x - 3 + 1.2 * number
                box(axes, (x0, face), (x0 + 1.2, face - way * 1.8), pen.thin,
                    fill=pen.colour if engaged else look.PAPER)  # fmt: skip


def nut(axes: Axes, x0: float, x1: float, y: float, pen: Pen) -> None:
    """A screw in its nut."""
    box(axes, (x0 + 1, y - 2.6), (x1 - 1, y + 2.6), pen.solid)
    steps = 8
    width = (x1 - x0) / steps
    points = [(x0 + n * width, y + (1.5 if n % 2 else -1.5) * (0 < n < steps)) for n in range(steps + 1)]
    line(axes, points, pen.solid, order=4)


def suns(
    axes: Axes, ends: tuple[Point, Point], bevel: bool, pens: tuple[Pen, Pen, Pen], below: bool = True
) -> None:
    """A differential: two suns on one axis, planets between them on a frame that leads down (or up).

    `pens` draw the sun on the left, the one on the right, and the frame.
    """
    ((x0, y), (x1, _)), (left, right, frame) = ends, pens
    middle = (x0 + x1) / 2
    way = -1 if below else 1
    line(axes, ((x0, y), (middle - 4, y)), left)
    line(axes, ((middle + 4, y), (x1, y)), right)
    reach = 3.8
    if bevel:
        for pen, side in ((left, -1), (right, 1)):
            for up in (-1, 1):
                line(axes, ((middle + side * 4, y), (middle + side * 4, y + up * 1.2),
                            (middle + side * 2.2, y + up * 3.2)), pen.solid)  # fmt: skip
        for up in (-1, 1):
            line(axes, ((middle - 1.9, y + up * 4.6), (middle, y + up * 3.2), (middle + 1.9, y + up * 4.6)), frame.solid)
            line(axes, ((middle, y), (middle, y + up * 5.4)), frame.thin)
    else:
        for pen, side in ((left, -1), (right, 1)):
            line(axes, ((middle + side * 3, y - 2.0), (middle + side * 3, y + 2.0)), pen.solid)
            line(axes, ((middle + side * 4, y), (middle + side * 3, y)), pen.solid)
            for up in (-1, 1):
                line(axes, ((middle + side * 3, y + up * 2.5), (middle + side * 3, y + up * 5.0)), frame.solid)
        for up in (-1, 1):
            line(axes, ((middle - 3.6, y + up * reach), (middle + 3.6, y + up * reach)), frame.thin)
    # The frame: a U round the planets, open towards the suns' own shafts.
    line(axes, ((middle, y - way * 5.6), (middle + 5.6, y - way * 5.6), (middle + 5.6, y - way * 1.4)), frame.thin)
    line(axes, ((middle + 5.6, y + way * 1.4), (middle + 5.6, y + way * 6.6), (middle, y + way * 6.6)), frame.thin)
    line(axes, ((middle, y + way * 5.4), (middle, y + way * 8.0)), frame.solid)


# ---------------------------------------------------------------- between two shafts


def gear_pair(axes: Axes, between: Between, internal: bool, pen: Pen) -> None:
    """Two gears in mesh, seen from the side: bars that meet at their ends; inside one another where internal."""
    x, top, bottom = between
    meet = (top + bottom) / 2
    for y in (top, bottom):
        fixed(axes, x, y, pen)
    if internal:
        line(axes, ((x, top), (x, meet)), pen)
        line(axes, ((x - 1.6, meet), (x + 1.6, meet)), pen.solid)
        line(axes, ((x - 2.6, meet - 0.8), (x + 2.6, meet - 0.8)), pen.solid)
        line(axes, ((x + 2.6, meet - 0.8), (x + 2.6, bottom)), pen)
        line(axes, ((x + 2.6, bottom), (x, bottom)), pen.thin)
        return
    line(axes, ((x, top), (x, meet + 0.5)), pen)
    line(axes, ((x, bottom), (x, meet - 0.5)), pen)
    for y in (meet + 0.5, meet - 0.5):
        line(axes, ((x - 1.8, y), (x + 1.8, y)), pen.solid)


def bevel_gears(axes: Axes, between: Between, pen: Pen) -> None:
    """Two bevel gears: slanted bars that meet at a point between shafts that cross."""
    x, top, bottom = between
    meet = (top + bottom) / 2
    line(axes, ((x, top), (x, meet + 1.6)), pen)
    line(axes, ((x, bottom), (x, meet - 1.6)), pen)
    for way in (1, -1):
        line(axes, ((x - 2.2, meet + way * 2.8), (x + 2.2, meet + way * 0.4)), pen.solid)
    for y in (top, bottom):
        fixed(axes, x, y, pen)


def worm_gear(axes: Axes, x: float, worm_y: float, wheel_y: float, pen: Pen) -> None:
    """A worm on its shaft with its wheel over or under it, the wheel's shaft led to its own line."""
    way = 1 if wheel_y > worm_y else -1
    box(axes, (x - 3, worm_y - 1.4), (x + 3, worm_y + 1.4), pen.solid)
    for step in (-1.8, -0.2, 1.4):
        line(axes, ((x + step - 0.5, worm_y - 1.4), (x + step + 0.9, worm_y + 1.4)), pen.thin, order=4)
    centre = worm_y + way * 4.3
    line(axes, ((x, centre), (x, wheel_y)), pen)
    circle(axes, (x, centre), 2.7, pen.solid)
    circle(axes, (x, centre), 0.5, pen.solid, fill=pen.colour, order=4)


def belt(axes: Axes, between: Between, crossed: bool, chain: bool, pen: Pen) -> None:
    """Two pulleys with their belt, crossed where it is; a chain is drawn with long and short dashes."""
    x, top, bottom = between
    radius = 2.2
    run = replace(pen, dashes=look.CHAIN, weight=min(pen.weight, look.OUTLINE)) if chain else replace(
        pen, weight=min(pen.weight, look.OUTLINE))  # fmt: skip
    for side in (-1, 1):
        line(axes, ((x + side * radius, top), (x + side * radius * (-1 if crossed else 1), bottom)), run)
    for y in (top, bottom):
        circle(axes, (x, y), radius, pen.solid)
        circle(axes, (x, y), 0.5, pen.solid, fill=pen.colour, order=4)


def rack(axes: Axes, x: float, pinion_y: float, slide_y: float, pen: Pen) -> None:
    """A pinion on its shaft, led to a toothed double line at the slide."""
    way = 1 if slide_y > pinion_y else -1
    centre = slide_y - way * 4.3
    line(axes, ((x, pinion_y), (x, centre)), pen)
    circle(axes, (x, centre), 2.6, pen.solid)
    circle(axes, (x, centre), 0.5, pen.solid, fill=pen.colour, order=4)
    for offset in (0.8, 1.7):
        y = slide_y - way * offset
        line(axes, ((x - 5, y), (x + 5, y)), pen.solid)
    for step in range(-4, 5):
        line(axes, ((x + step, slide_y - way * 1.7), (x + step, slide_y - way * 0.8)), pen.thin)


def selector(axes: Axes, between: Between, y: float, engaged: bool, pen: Pen) -> None:
    """A gearbox with a lever: a box in the train, its inside open where it passes nothing."""
    x, top, bottom = between
    line(axes, ((x, top), (x, y + 3)), pen)
    line(axes, ((x, y - 3), (x, bottom)), pen)
    box(axes, (x - 3, y - 3), (x + 3, y + 3), pen.solid)
    if engaged:
        line(axes, ((x, y + 3), (x, y - 3)), pen, order=4)
        circle(axes, (x, y), 1.0, pen.solid, fill=pen.colour, order=4)
    else:
        line(axes, ((x, y + 3), (x, y + 1.2)), pen, order=4)
        line(axes, ((x, y - 3), (x, y - 1.2)), pen, order=4)
        line(axes, ((x, y + 1.2), (x + 1.8, y - 0.6)), pen.thin, order=4)


def change_gears(
    axes: Axes, points: tuple[Point, ...], pairs: int, idler_meshes: tuple[int, ...], empty: bool, pen: Pen
) -> None:
    """A bracket of change gears from its driving line to its driven one, in a dashed frame.

    Two pairs share a stud half way; an idler stands as a circle in its mesh. An empty one is a frame alone.
    """
    (x0, top), (x1, bottom) = points[0], points[-1]
    frame = Pen(look.FAINT, look.THIN, look.DASHED, pen.scale)
    box(axes, (min(x0, x1) - 2.8, min(top, bottom) + 1.4), (max(x0, x1) + 2.8, max(top, bottom) - 1.4), frame, order=1)
    if empty:
        return
    columns = 1 if pairs == 1 else 2
    stud = (top + bottom) / 2
    if columns == 1:
        _mesh(axes, x1, top, bottom, 0 in idler_meshes, pen)
        return
    _mesh(axes, x0, top, stud, 0 in idler_meshes, pen)
    line(axes, ((x0 - 1.5, stud), (x1 + 1.5, stud)), pen.solid)
    _mesh(axes, x1, stud, bottom, max(idler_meshes, default=0) > 0, pen)


def _mesh(axes: Axes, x: float, top: float, bottom: float, idler: bool, pen: Pen) -> None:
    meet = (top + bottom) / 2
    half = 1.5 if idler else 0.5
    line(axes, ((x, top), (x, meet + half)), pen)
    line(axes, ((x, bottom), (x, meet - half)), pen)
    for y in (meet + half, meet - half):
        line(axes, ((x - 1.6, y), (x + 1.6, y)), pen.solid)
    if idler:
        circle(axes, (x, meet), 1.3, pen.thin, order=4)
        circle(axes, (x, meet), 0.3, pen.thin, fill=pen.colour, order=5)


# ---------------------------------------------------------------- ends and drives


def motor(axes: Axes, x: float, y: float, running: bool, pen: Pen, points: float) -> None:
    """What turns the machine: a circle with an M, shaded where it runs."""
    circle(axes, (x, y), 3.6, pen.solid, fill=look.SHADE if running else look.PAPER, order=4)
    axes.text(x, y, "M", ha="center", va="center_baseline", fontsize=points, weight="bold", zorder=6)


def hob(axes: Axes, x: float, y: float, hand: int, pen: Pen) -> None:
    """A hob on its spindle; its threads lean as its hand has them seen from outside (0: unknown)."""
    box(axes, (x - 4.2, y - 2.8), (x + 4.2, y + 2.8), pen.solid, order=4)
    for step in (-2.4, 0.0, 2.4):
        lean = -0.8 * hand
        line(axes, ((x + step - lean, y - 2.8), (x + step + lean, y + 2.8)), pen.thin, order=5)


def table(axes: Axes, x: float, y: float, pen: Pen) -> None:
    """A work table seen from the side."""
    box(axes, (x - 4.2, y + 0.8), (x + 4.2, y + 3.0), pen.solid, order=4)
    box(axes, (x - 1.8, y - 2.8), (x + 1.8, y + 0.8), pen.solid, order=4)


def slide_end(axes: Axes, x: float, y: float, sign: int, pen: Pen) -> None:
    """A slide on its way, with the way it moves along its line's own positive (right for plus)."""
    box(axes, (x - 3, y - 1.9), (x + 3, y + 1.9), pen.solid, order=4)
    line(axes, ((x - 4.8, y - 2.9), (x + 4.8, y - 2.9)), pen.solid)
    if sign:
        arrow(axes, (x - 2.4 * sign, y), (x + 2.4 * sign, y), pen.solid, size=1.8)


def lean(angle_deg: float) -> Point:
    """Unit step along a line that leans by `angle_deg` from upright, to the right where positive."""
    angle = math.radians(angle_deg)
    return math.sin(angle), math.cos(angle)
