"""A change-gear bracket to scale: its gears in place, lettered along the train, with clearances and collisions."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from handlead.kinematics.links.mounted import LETTERS, ChangeGears, Mounted
from handlead.machines.toml.units import lengths_in
from handlead.viz.look import look, symbols
from handlead.viz.look.symbols import Pen
from handlead.viz.look.written import Written, tall, wrap, write

from .bracket_labels import LEAST_POINTS, LetteringPaper, letter_bracket
from .bracket_layout import BracketLayout, Wheel, bracket_layout
from .lettering import Lettering, Tag

if TYPE_CHECKING:
    from matplotlib.axes import Axes

def plot_bracket(
    link: ChangeGears,
    ax: Axes | None = None,
    *,
    name: str = "",
    words: bool = True,
    units: str = "mm",
    letters: str = LETTERS,
) -> Axes:
    """Draw a bracket of the train with what is mounted in it, to scale within `ax`.

    Without `words` there are the gears alone, lettered, with no lines over and under them: for a panel
    whose words stand elsewhere. Measures are in `units`, `letters` name the gears. More idlers or pairs than can be placed at all are said not to be drawn. Returns
    the axes, whose unit is a millimetre at the machine (a module where the file gives none).
    """
    axes = ax if ax is not None else look.new_axes(100, 95)
    mounted = link.mounted
    if mounted is None:
        return _bare_box(axes, "EMPTY", name if words else "", "nothing is mounted" if words else "")
    try:
        layout = bracket_layout(mounted, link.bracket, letters)
    except ValueError as why:
        return _bare_box(axes, "NOT DRAWN", name if words else "", str(why) if words else "")
    lettering, over, under = bracket_lettering(
        layout, look.paper_size(axes), mounted if words else None, name, units
    )
    fitted = lettering.fit
    look.bare(axes, (fitted.left, fitted.right), (fitted.bottom, fitted.top))
    drawing = _BracketDrawing(axes, layout, lettering, 1.5 + tall(under) if under else 0.0)
    drawing.draw()
    drawing.words(over, under)
    return axes


def bracket_lettering(
    layout: BracketLayout, paper: tuple[float, float], mounted: Mounted | None = None, name: str = "", units: str = "mm"
) -> tuple[Lettering, list[Written], list[Written]]:
    """Where everything is written on paper of this size in mm, and the lines over and under the drawing.

    Without `mounted` there are no lines, and no measures.
    """
    if mounted is None:
        return letter_bracket(layout, LetteringPaper(*paper), measures=False), [], []
    width = paper[0] - 3
    over = _words_over(mounted, name, width)
    lettering, under = None, _words_under(layout, width, True, units)
    for arrows in (True, False):
        under = _words_under(layout, width, arrows, units)
        free = LetteringPaper(*paper, head=1.5 + tall(over), foot=1.5 + tall(under))
        lettering = letter_bracket(layout, free, units=units)
        if lettering.turnings:
            break
    assert lettering is not None
    return lettering, over, under


def _bare_box(axes: Axes, said: str, name: str, under: str) -> Axes:
    """A bracket without its gears."""
    fitted = look.fit(axes, (0, 0, 60, 30), head=11 if name else 1, foot=6 if name else 1)
    symbols.box(axes, (8, 5), (52, 25), Pen(look.FAINT, look.OUTLINE, look.DASHED))
    axes.text(30, 15, said, ha="center", va="center", fontsize=look.TITLE, weight="bold")
    x = fitted.left + fitted.mm(1.5)
    axes.text(x, fitted.top - fitted.mm(1.0), name, fontsize=look.LARGE, weight="bold", va="top")
    lines = "\n".join(look.wrapped(under, look.TEXT, fitted.scale * (fitted.right - fitted.left) - 3))
    axes.text(x, fitted.top - fitted.mm(6.0), lines, fontsize=look.TEXT, va="top")
    return axes


class _BracketDrawing:
    """One bracket being drawn."""

    def __init__(self, axes: Axes, layout: BracketLayout, lettering: Lettering, foot: float = 0.0) -> None:
        self.axes, self.layout, self.lettering, self.fitted = axes, layout, lettering, lettering.fit
        self.foot = foot

    def draw(self) -> None:
        self.bodies()
        for wheel in sorted(self.layout.wheels, key=lambda wheel: -wheel.tip_radius):
            self.wheel(wheel)
        for turning in self.lettering.turnings:
            symbols.arrow(self.axes, turning.start, turning.tip, Pen(look.INK, look.THIN), bow=turning.bow, size=1.9)
        self.centre_lines()
        self.crosses()
        for tag in self.lettering.tags:
            self.tag(tag)
        if self.lettering.key:
            self.axes.text(
                self.fitted.left + self.fitted.mm(1.0), self.fitted.bottom + self.fitted.mm(self.foot + 0.4),
                "\n".join(self.lettering.key), fontsize=LEAST_POINTS, weight="bold", va="bottom", linespacing=1.0, zorder=8,
            )  # fmt: skip

    def bodies(self) -> None:
        for body in self.layout.bodies:
            stud = "stud" in body.name
            radius = max(body.radius, self.fitted.mm(1.1))
            symbols.circle(
                self.axes, (body.x, body.y), radius, Pen(look.INK, look.THIN), order=6, fill=look.PAPER if stud else look.INK
            )

    def wheel(self, wheel: Wheel) -> None:
        """The gear's tips, with a thin broken line where another gear hides them, and its pitch circle."""
        strikes = any(passing.wheel is wheel for passing in self.layout.collisions)
        pen = Pen(look.FAULT, look.HEAVY) if strikes else Pen(look.INK, look.OUTLINE)
        symbols.circle(
            self.axes, (wheel.x, wheel.y), wheel.tip_radius, pen, fill=look.SHADE if wheel.letter == "idler" else look.PAPER,
            order=2 + 0.1 * wheel.plane,
        )  # fmt: skip
        symbols.circle(
            self.axes, (wheel.x, wheel.y), wheel.tip_radius, Pen(pen.colour, look.THIN, look.DASHED), fill="none", order=4
        )
        symbols.circle(
            self.axes, (wheel.x, wheel.y), wheel.pitch_radius, Pen(look.INK, look.HAIR, look.CHAIN), fill="none",
            order=2.05 + 0.1 * wheel.plane,
        )  # fmt: skip

    def tag(self, tag: Tag) -> None:
        self.axes.text(
            tag.x, tag.y, tag.text, ha="center", va="center", fontsize=tag.points, weight="bold", zorder=8, linespacing=1.0,
            bbox={"facecolor": look.PAPER, "edgecolor": "none", "pad": 0.4, "alpha": 0.85},
        )  # fmt: skip
        if tag.leader is not None:
            symbols.line(self.axes, tag.leader, Pen(look.INK, look.THIN), order=7)
            symbols.circle(self.axes, tag.leader[1], self.fitted.mm(0.6), Pen(look.INK, look.HAIR), fill=look.INK, order=7)

    def centre_lines(self) -> None:
        """Dash-and-dot lines from axis to axis, with their lengths where they have room."""
        for first, second, _ in self.layout.centres:
            one, other = self.layout.bodies[first], self.layout.bodies[second]
            symbols.line(self.axes, ((one.x, one.y), (other.x, other.y)), Pen(look.FAINT, look.THIN, look.CHAIN), order=5)
        for measure in self.lettering.measures:
            self.axes.text(
                measure.x, measure.y, measure.text, fontsize=look.SMALL, rotation=measure.angle_deg, rotation_mode="anchor",
                ha="center", va="center", zorder=7, bbox={"facecolor": look.PAPER, "edgecolor": "none", "pad": 0.3},
            )  # fmt: skip

    def crosses(self) -> None:
        """A cross where metal meets metal."""
        size = self.fitted.mm(2.5)
        for passing in self.layout.collisions:
            for sign in (1, -1):
                ends = ((passing.x - size, passing.y - sign * size), (passing.x + size, passing.y + sign * size))
                symbols.line(self.axes, ends, Pen(look.FAULT, look.HEAVY), order=9)

    def words(self, over: Sequence[Written], under: Sequence[Written]) -> None:
        fitted, x = self.fitted, self.fitted.left + self.fitted.mm(1.5)
        write(self.axes, over, x, fitted.top - fitted.mm(1.0), fitted.mm(1.0))
        write(self.axes, under, x, fitted.bottom + fitted.mm(1.0 + tall(under)), fitted.mm(1.0))


def _words_over(mounted: Mounted, name: str, width_mm: float) -> list[Written]:
    ratio = mounted.pairs_text
    return [
        *wrap(name, look.LARGE, width_mm, bold=True),
        *wrap(f"{ratio} = {mounted.size}", look.TEXT, width_mm),
    ]


def _words_under(layout: BracketLayout, width_mm: float, arrows: bool, units: str) -> list[Written]:
    told = []
    if layout.refusal:
        told += wrap(f"CAN'T BE MOUNTED: {lengths_in(layout.refusal, units)}", look.TEXT, width_mm, True, look.FAULT)
    told += wrap(idler_words(layout), look.TEXT, width_mm, bold=True)
    told += wrap(clearance_words(layout, units), look.SMALL, width_mm)
    return told + (wrap(ARROWS, look.SMALL, width_mm) if arrows else [])


#: What the arrows in a bracket's drawing stand for.
ARROWS = (
    "Arrows: which way each gear turns when the driving gear turns clockwise. The machine file doesn't say "
    "from which side that is seen."
)


def idler_words(layout: BracketLayout) -> str:
    """Where the idler stands, or outright that there is none."""
    told = []
    for wheel in layout.wheels:
        if wheel.letter == "idler":
            before, after = (_next_letter(layout, wheel, step) for step in (-1, 1))
            told.append(f"IDLER {wheel.teeth} between {before} and {after}")
    return "; ".join(told) or "NO IDLER"


def _next_letter(layout: BracketLayout, idler: Wheel, step: int) -> str:
    """The gear that an idler meets on that side, past other idlers if there are any."""
    axis = idler.axis + step
    while True:
        (there,) = (w for w in layout.wheels if w.axis == axis and w.plane == idler.plane)
        if there.letter != "idler":
            return there.letter
        axis += step


def clearance_words(layout: BracketLayout, units: str = "mm") -> str:
    """How true to the machine the drawing is, and where metal comes nearest to metal."""
    if not layout.to_scale:
        return "In proportion only: the machine file gives no module for these gears."
    if not layout.closes:
        return "Drawn in a line: the gears don't span the distance of the shafts."
    open_ = "" if layout.centres_given else "Shafts drawn in a line: the machine file gives no centres. "
    least = min(layout.passings, key=lambda passing: passing.air, default=None)
    if least is None:
        return open_ or "Nothing stands in the way."
    what = least.what if least.solid else f"the bare axis of {least.what}"
    who = least.wheel.called
    if least in layout.collisions:
        return f"{open_}{who[0].upper()}{who[1:]} would cut into {what} by {_air(-least.air, units)}."
    if least.overlaps:
        return f"{open_}{who[0].upper()}{who[1:]} lies {_air(-least.air, units)} over {what}: look whether that ends short of it."
    return f"{open_}Least air {_air(max(least.air, 0.0), units)}, {who} past {what}."


def _air(mm: float, units: str) -> str:
    return f"{mm / look.MM_PER_INCH:.3f} in" if units == "in" else f"{mm:.3g} mm"
