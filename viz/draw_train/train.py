"""The train diagram: the machine's drive train with ISO 3952 symbols, as its rates have it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from handlead.kinematics.brackets.bracket import Bracket
from handlead.kinematics.brackets.mounting import Mounting
from handlead.kinematics.links.link import Link
from handlead.kinematics.links.links import (
    Belt,
    BevelGears,
    Chain,
    Clutch,
    Differential,
    GearPair,
    Rack,
    Screw,
    Selector,
    Template,
    WormGear,
)
from handlead.kinematics.links.mounted import ChangeGears, SetRatio
from handlead.kinematics.train.solution import Solution
from handlead.viz.look import look, symbols
from handlead.viz.look.shop import PLAIN, Shop
from handlead.viz.look.symbols import Pen

from .train_layout import lay_out
from .train_shapes import Coupling, Label, PartLine, Sign, TrainLayout, Upright
from .train_words import PartWords, State, base_rate, levers_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_FOOT, _HEAD = 15.0, 13.0


def plot_train(
    solution: Solution,
    ax: Axes | None = None,
    *,
    title: str = "",
    levers: Mapping[str, str] | None = None,
    layout: TrainLayout | None = None,
    shop: Shop = PLAIN,
) -> Axes:
    """Draw the train of `solution`, as large as `ax` allows, or on a sheet of its own size without one.

    `title` and the positions of the `levers` are written above it. Returns the axes, whose unit is a
    millimetre of the full-size drawing.
    """
    layout = layout or lay_out(solution, shop)
    head = title or levers_text(levers or {})
    widest = max(layout.width, *(look.text_size(line, points)[0] + 10 for line, points in _key(solution, shop)))
    if head:
        widest = max(widest, look.text_size(levers_text(levers or {}), look.TEXT)[0] + 10)
    low, high = -_FOOT, layout.height + (_HEAD if head else 0.0)
    if ax is None:
        ax = look.new_axes(widest, high - low)
    look.bare(ax, (0, widest), (low, high))
    drawing = _TrainDrawing(ax, solution, layout, look.type_scale(ax), shop)
    drawing.draw()
    drawing.key()
    if head:
        drawing.head(title, levers or {})
    return ax


def _key(solution: Solution, shop: Shop) -> list[tuple[str, float]]:
    per = base_rate(solution)[1]
    return [
        ("heavy: power on its way to hob, table or slide    ·    plain: turns along    ·    broken: not driven", look.SMALL),
        (f"numbers: turns (slides: {shop.units}) per {per}, and speed. Arrow across a shaft: the way its near side moves, "
         "up for the positive of its name", look.SMALL),
    ]  # fmt: skip


class _TrainDrawing:
    """One diagram being drawn."""

    def __init__(self, axes: Axes, solution: Solution, layout: TrainLayout, scale: float, shop: Shop) -> None:
        self.axes, self.solution, self.layout, self.scale, self.shop = axes, solution, layout, scale, shop
        self.links = {link.name: link for link in solution.train.links}

    def draw(self) -> None:
        for run in self.layout.runs:
            self.run(run)
        for coupling in self.layout.couplings:
            self.coupling(coupling)
        for upright in self.layout.uprights:
            self.upright(upright)
        for sign in self.layout.signs:
            self.sign(sign)
        for label in self.layout.labels:
            self.label(label)

    # -- pens: what a line's weight and dashes say

    def part_pen(self, part: str) -> Pen:
        words = self.layout.parts[part]
        if words.state is State.LOCKED:
            return Pen(look.FAULT, look.HEAVY, look.CHAIN, self.scale)
        if words.state is State.LOOSE:
            return Pen(look.FAINT, look.THIN, look.DASHED, self.scale)
        if words.on_path:
            return Pen(look.POWER, look.HEAVY, "-", self.scale)
        return Pen(look.INK, look.OUTLINE, "-", self.scale)

    def link_pen(self, name: str) -> Pen:
        words = self.layout.links[name]
        if words.fights:
            return Pen(look.FAULT, look.HEAVY, "-", self.scale)
        if not words.passes:
            return Pen(look.FAINT, look.THIN, look.DASHED, self.scale)
        if words.on_path:
            return Pen(look.POWER, look.HEAVY, "-", self.scale)
        loose = all(self.layout.parts[p].state is State.LOOSE for p in self.links[name].ports)
        return Pen(look.FAINT, look.THIN, look.DASHED, self.scale) if loose else Pen(look.INK, look.OUTLINE, "-", self.scale)

    # -- parts

    def run(self, run: PartLine) -> None:
        pen, words = self.part_pen(run.part), self.layout.parts[run.part]
        if run.slides:
            for offset in (-0.8, 0.8):
                symbols.line(self.axes, ((run.x0, run.y + offset), (run.x1, run.y + offset)), pen.thin)
        else:
            symbols.line(self.axes, ((run.x0, run.y), (run.x1, run.y)), pen)
            symbols.turning(self.axes, run.arrow_x, run.y, words.sign, Pen(pen.colour, 1.6, "-", self.scale))
        if words.state in (State.HELD, State.STILL):
            self.stands(run)

    def stands(self, run: PartLine) -> None:
        """A cross on the line where the arrow would be: it doesn't turn."""
        pen = Pen(look.INK, look.OUTLINE, "-", self.scale)
        for sign in (1, -1):
            symbols.line(
                self.axes, ((run.arrow_x - 1.6, run.y - 1.6 * sign), (run.arrow_x + 1.6, run.y + 1.6 * sign)), pen
            )

    def sign(self, sign: Sign) -> None:
        pen = self.part_pen(sign.part).solid
        words = self.layout.parts[sign.part]
        if sign.kind == "brake":
            on = self.links[sign.name].relation() is not None
            symbols.brake(self.axes, sign.x, sign.y, on, self.link_pen(sign.name).solid)
        elif sign.kind == "drive":
            symbols.motor(self.axes, sign.x, sign.y, sign.name == self.solution.drive, pen, look.TEXT * self.scale)
        elif sign.kind == "hob":
            symbols.hob(self.axes, sign.x, sign.y, 0, pen)
        elif sign.kind == "table":
            symbols.table(self.axes, sign.x, sign.y, pen)
        else:
            symbols.slide_end(self.axes, sign.x, sign.y, words.sign, pen)

    # -- links

    def coupling(self, coupling: Coupling) -> None:
        link, pen = self.links[coupling.link], self.link_pen(coupling.link)
        x0, x1, y = coupling.x0, coupling.x1, coupling.y
        if isinstance(link, Differential):
            below = any(u.link == link.name and u.top <= y + 0.1 for u in self.layout.uprights)
            pens = self.part_pen(coupling.left), self.part_pen(coupling.right), self.part_pen(link.carrier)
            symbols.suns(self.axes, ((x0, y), (x1, y)), link.sun_ratio == -1, pens, below)
        elif isinstance(link, Screw):
            symbols.nut(self.axes, x0, x1, y, pen)
        else:
            symbols.clutch(self.axes, x0, x1, y, link.relation() is not None, pen)

    def upright(self, upright: Upright) -> None:
        link, pen = self.links[upright.link], self.link_pen(upright.link)
        if isinstance(link, Differential):
            self.carrier(upright, link)
            return
        self.symbol(upright, link, pen)
        self.flow(upright, pen)

    def carrier(self, upright: Upright, link: Differential) -> None:
        points = list(upright.points)
        down = link.carrier == upright.lower
        at = 0 if down else -1
        x, y = points[at]
        points[at] = (x, y - 8.0 if down else y + 8.0)
        symbols.line(self.axes, points, self.part_pen(link.carrier))
        x, y = points[-1 if down else 0]
        symbols.circle(self.axes, (x, y), 0.7, self.part_pen(link.carrier).solid, fill=self.part_pen(link.carrier).colour)

    def symbol(self, upright: Upright, link: Link, pen: Pen) -> None:
        x, top, bottom = between = upright.x, upright.top, upright.bottom
        middle = (top + bottom) / 2 if upright.symbol_y is None else upright.symbol_y
        from_top = upright.upper == link.ports[0]
        first, second = (top, bottom) if from_top else (bottom, top)
        if isinstance(link, GearPair):
            symbols.gear_pair(self.axes, between, link.internal, pen)
        elif isinstance(link, BevelGears):
            symbols.bevel_gears(self.axes, between, pen)
        elif isinstance(link, WormGear):
            symbols.worm_gear(self.axes, x, first, second, pen)
        elif isinstance(link, Belt):
            symbols.belt(self.axes, between, link.crossed, isinstance(link, Chain), pen)
        elif isinstance(link, Rack):
            symbols.rack(self.axes, x, first, second, pen)
        elif isinstance(link, Clutch):
            symbols.upright_clutch(self.axes, between, middle, link.relation() is not None, pen)
        elif isinstance(link, SetRatio):
            symbols.selector(self.axes, between, middle, link.mounted is not None, pen)
        elif isinstance(link, ChangeGears):
            pairs = len(link.mounted.pairs) if link.mounted else 0
            symbols.change_gears(self.axes, upright.points, pairs, idler_meshes(link), link.mounted is None, pen)
        elif isinstance(link, Screw):
            symbols.line(self.axes, upright.points, pen)
            symbols.box(self.axes, (x - 3, middle - 3), (x + 3, middle + 3), pen.solid)
        else:
            engaged = not isinstance(link, Selector | Template) or link.relation() is not None
            if isinstance(link, Template):
                engaged = link.state == "in"
            symbols.selector(self.axes, between, middle, engaged, pen)

    def flow(self, upright: Upright, pen: Pen) -> None:
        """An arrowhead on the upright: which way power goes, where it goes to an end."""
        words = self.layout.links[upright.link]
        if not words.on_path or words.target is None:
            return
        link, down = self.links[upright.link], words.target == upright.lower
        x, y = upright.points[-1] if down else upright.points[0]
        way = 1 if down else -1
        tip = y + way * (2.4 if isinstance(link, ChangeGears) else 3.0)
        if isinstance(link, Belt):
            x, tip = x - 2.2, (upright.top + upright.bottom) / 2 - way * 1.4
        if isinstance(link, WormGear) and words.target == link.ports[0]:
            tip = (upright.top + upright.bottom) / 2
        tail = tip + way * 2.8
        symbols.shape(self.axes, ((x, tip), (x - 1.3, tail), (x + 1.3, tail)), pen.thin, fill=pen.colour, order=5)

    # -- words

    def label(self, label: Label) -> None:
        words: PartWords | None = self.layout.parts.get(label.owner)
        loud = words is not None and words.state is State.LOCKED
        link = self.layout.links.get(label.owner)
        if words is None and link is not None:
            loud = link.fights
        self.axes.text(
            label.x, label.y + 0.25 * label.points / look.POINTS_PER_MM, label.text, fontsize=label.points * self.scale,
            weight="bold" if label.bold else "normal", color=look.FAULT if loud else look.INK,
            style="italic" if label.bold and label.owner in self.layout.links and words is None else "normal",
            va="baseline", ha="left", zorder=7,
        )  # fmt: skip

    def key(self) -> None:
        y = -5.0
        for text, points in _key(self.solution, self.shop):
            self.axes.text(5, y, text, fontsize=points * self.scale, va="center", color=look.INK)
            y -= 4.5

    def head(self, title: str, levers: Mapping[str, str]) -> None:
        top = self.layout.height + _HEAD - 5.0
        self.axes.text(5, top, title, fontsize=look.TITLE * self.scale, weight="bold", va="center")
        self.axes.text(5, top - 6.5, levers_text(levers), fontsize=look.TEXT * self.scale, va="center")


def idler_meshes(link: ChangeGears) -> tuple[int, ...]:
    """In which meshes the idlers stand, counted from 0: where the bracket takes them, else the first."""
    if link.mounted is None or not link.mounted.idlers:
        return ()
    found = Bracket.of(link.bracket or {}).mount(link.mounted.gears, link.mounted.idlers)
    if not isinstance(found, Mounting):
        return (0,) * len(link.mounted.idlers)
    meshes, mesh = [], 0
    for axis in found.studs:
        if axis.name == "idler's stud":
            meshes.append(mesh)
        else:
            mesh += 1
    return tuple(meshes)
