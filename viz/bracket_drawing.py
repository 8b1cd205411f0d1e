"""A change-gear bracket to scale: its gears in place, lettered along the train, with clearances and collisions."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from handlead.kinematics.bracket import Bracket, Mounting, Refusal
from handlead.kinematics.links import Mounted

from . import look, symbols
from .symbols import Pen

if TYPE_CHECKING:
    from matplotlib.axes import Axes

LETTERS = "abcdefgh"

#: Measures that decide where axes stand; all others only decide whether they may.
_PLACING = ("module", "centres", "slack", "pivot", "gear_width", "idler_width")


@dataclass(frozen=True)
class Wheel:
    """One gear: its letter ("idler" for one), where it stands and how large it is, in mm.

    `plane` counts from 1 at the driving gear, `axis` from 0 at the driving shaft. `turn` is 1 or -1:
    with the driving gear's sense or against it.
    """

    letter: str
    teeth: int
    x: float
    y: float
    pitch_radius: float
    tip_radius: float
    plane: int
    axis: int
    turn: int


@dataclass(frozen=True)
class Body:
    """A shaft or stud: its name, place, and the radius of its collar in mm (0 where the file gives none)."""

    name: str
    x: float
    y: float
    radius: float


@dataclass(frozen=True)
class Passing:
    """A gear that passes a shaft, stud or gear which it doesn't mesh with, and the air between, in mm."""

    wheel: Wheel
    what: str
    x: float
    y: float
    air: float


@dataclass(frozen=True)
class BracketLayout:
    """A bracket with its gears: `refusal` says why they can't be mounted; "" where they can.

    `to_scale` is False where the machine file gives no module, `closes` where the gears don't span the
    shafts' distance and are therefore drawn in a line. `centres` are the distances from axis to axis, in mm.
    """

    wheels: tuple[Wheel, ...]
    bodies: tuple[Body, ...]
    passings: tuple[Passing, ...]
    centres: tuple[tuple[int, int, float], ...]
    refusal: str
    to_scale: bool
    closes: bool
    centres_given: bool

    @property
    def collisions(self) -> tuple[Passing, ...]:
        """Where metal would meet metal."""
        return tuple(passing for passing in self.passings if passing.air < 0)

    @property
    def box(self) -> tuple[float, float, float, float]:
        """x0, y0, x1, y1 round all gears."""
        return (
            min(w.x - w.tip_radius for w in self.wheels),
            min(w.y - w.tip_radius for w in self.wheels),
            max(w.x + w.tip_radius for w in self.wheels),
            max(w.y + w.tip_radius for w in self.wheels),
        )


def bracket_layout(mounted: Mounted, bracket: Bracket | Mapping[str, Any] | None = None) -> BracketLayout:
    """Where the gears stand, whether or not they can be mounted.

    Raises `ValueError` for more idlers or pairs than can be placed at all.
    """
    keys = bracket if isinstance(bracket, Bracket) else Bracket.of(bracket or {})
    found = keys.mount(mounted.gears, mounted.idlers)
    refusal = found.why if isinstance(found, Refusal) else ""
    to_scale = keys.module is not None
    module = keys.module or Fraction(1)
    mounting, closes = _placed(replace(keys, module=module), mounted, bool(refusal))
    wheels = _wheels(mounting, float(module), float(keys.addendum))
    bodies = tuple(_body(axis.name, axis.x, axis.y, keys) for axis in mounting.axes)
    return BracketLayout(
        wheels,
        bodies,
        tuple(_passings(wheels, bodies)),
        tuple(_centres(bodies, closes and mounting.centres_given)),
        refusal,
        to_scale,
        closes,
        mounting.centres_given,
    )


def _placed(bracket: Bracket, mounted: Mounted, refused: bool) -> tuple[Mounting, bool]:
    """The places of the axes; for a set that is refused, where it would stand if nothing were in its way."""
    found: Mounting | Refusal
    if not refused:
        found = bracket.mount(mounted.gears, mounted.idlers)
        if isinstance(found, Mounting):
            return found, True
    bare = {name: getattr(bracket, name) for name in _PLACING}
    found = Bracket(**bare, addendum=Fraction(0)).mount(mounted.gears, mounted.idlers)
    if isinstance(found, Mounting):
        return found, True
    found = Bracket(module=bracket.module).mount(mounted.gears, mounted.idlers)
    if isinstance(found, Refusal):
        raise ValueError(f"gears {mounted.gears} with idlers {mounted.idlers}: {found.why}")
    return found, bracket.centres is None


def _wheels(mounting: Mounting, module: float, addendum: float) -> tuple[Wheel, ...]:
    letters = iter(LETTERS)
    wheels: list[Wheel] = []
    for number, axis in enumerate(mounting.axes):
        assert axis.x is not None and axis.y is not None
        turn = -1 if number % 2 else 1
        idle = axis.name == "idler's stud"
        for plane, teeth in axis.gears[:1] if idle else axis.gears:
            radius = module * teeth / 2
            letter = "idler" if idle else next(letters)
            wheels.append(
                Wheel(letter, teeth, axis.x, axis.y, radius, radius + addendum * module, plane, number, turn)
            )
    return tuple(wheels)


def _body(name: str, x: float | None, y: float | None, bracket: Bracket) -> Body:
    assert x is not None and y is not None
    kind = {"driving shaft": "driving", "driven shaft": "driven"}.get(name, "stud")
    collar = getattr(bracket, f"{kind}_collar")
    return Body(name, x, y, float(collar) / 2 if collar is not None else 0.0)


def _passings(wheels: tuple[Wheel, ...], bodies: tuple[Body, ...]) -> Iterator[Passing]:
    """Each gear against the shafts and gears that it passes; one in its plane on the next axis meshes with it."""
    for wheel in wheels:
        for number, body in enumerate(bodies):
            if number == wheel.axis:
                continue
            there = [other for other in wheels if other.axis == number and other.plane == wheel.plane]
            apart = math.dist((wheel.x, wheel.y), (body.x, body.y))
            if not there:
                yield Passing(wheel, f"the {body.name}", body.x, body.y, apart - wheel.tip_radius - body.radius)
            elif abs(number - wheel.axis) > 1 and number > wheel.axis:
                other = there[0]
                air = apart - wheel.tip_radius - other.tip_radius
                yield Passing(wheel, f"gear {other.letter}", body.x, body.y, air)


def _centres(bodies: tuple[Body, ...], with_shafts: bool) -> Iterator[tuple[int, int, float]]:
    for first, second in itertools.pairwise(range(len(bodies))):
        yield first, second, _apart(bodies, first, second)
    if with_shafts and len(bodies) > 2:
        yield 0, len(bodies) - 1, _apart(bodies, 0, len(bodies) - 1)


def _apart(bodies: tuple[Body, ...], first: int, second: int) -> float:
    return math.dist((bodies[first].x, bodies[first].y), (bodies[second].x, bodies[second].y))


# ---------------------------------------------------------------- drawing


def plot_bracket(
    mounted: Mounted | None,
    bracket: Bracket | Mapping[str, Any] | None = None,
    ax: Axes | None = None,
    *,
    name: str = "",
) -> Axes:
    """Draw a bracket with what is mounted in it, to scale within `ax`; None mounted draws it as empty.

    Returns the axes, whose unit is a millimetre at the machine (a module where the file gives none).
    Raises `ValueError` as `bracket_layout`.
    """
    axes = ax if ax is not None else look.new_axes(100, 95)
    if mounted is None:
        return _empty(axes, name)
    layout = bracket_layout(mounted, bracket)
    words = _words_under(layout, look.paper_size(axes)[0] - 3)
    fitted = look.fit(axes, layout.box, head=11.0, foot=1.5 + _LINE * len(words), side=5.0)
    drawing = _Drawing(axes, layout, fitted)
    drawing.bodies()
    for wheel in sorted(layout.wheels, key=lambda wheel: -wheel.tip_radius):
        drawing.wheel(wheel)
    for wheel in layout.wheels:
        drawing.letter(wheel)
    drawing.measures()
    drawing.words(name, mounted, words)
    return axes


def _empty(axes: Axes, name: str) -> Axes:
    fitted = look.fit(axes, (0, 0, 60, 30), head=11, foot=6)
    symbols.box(axes, 8, 5, 52, 25, Pen(look.FAINT, look.OUTLINE, look.DASHED))
    axes.text(30, 15, "EMPTY", ha="center", va="center", fontsize=look.TITLE, weight="bold")
    _head(axes, fitted, name, "nothing is mounted")
    return axes


def _head(axes: Axes, fitted: look.Fit, name: str, under: str) -> None:
    x = fitted.left + fitted.mm(1.5)
    axes.text(x, fitted.top - fitted.mm(1.0), name, fontsize=look.LARGE, weight="bold", va="top")
    axes.text(x, fitted.top - fitted.mm(6.0), under, fontsize=look.TEXT, va="top")


class _Drawing:
    """One bracket being drawn."""

    def __init__(self, axes: Axes, layout: BracketLayout, fitted: look.Fit) -> None:
        self.axes, self.layout, self.fitted = axes, layout, fitted

    def bodies(self) -> None:
        for body in self.layout.bodies:
            stud = "stud" in body.name
            radius = max(body.radius, self.fitted.mm(1.1))
            symbols.circle(
                self.axes, body.x, body.y, radius, Pen(look.INK, look.THIN), order=6, fill=look.PAPER if stud else look.INK
            )

    def wheel(self, wheel: Wheel) -> None:
        strikes = any(passing.wheel is wheel for passing in self.layout.collisions)
        pen = Pen(look.FAULT, look.HEAVY) if strikes else Pen(look.INK, look.OUTLINE)
        idle = wheel.letter == "idler"
        symbols.circle(
            self.axes, wheel.x, wheel.y, wheel.tip_radius, pen, fill=look.SHADE if idle else look.PAPER,
            order=2 + 0.1 * wheel.plane,
        )  # fmt: skip
        symbols.circle(
            self.axes, wheel.x, wheel.y, wheel.pitch_radius, Pen(look.INK, look.HAIR, look.CHAIN), fill="none", order=4
        )
        self.turning(wheel)

    def turning(self, wheel: Wheel) -> None:
        """An arrow inside the rim: with the driving gear's sense (drawn clockwise) or against it."""
        if wheel.pitch_radius < self.fitted.mm(9):
            return
        radius = wheel.pitch_radius * 0.86
        middle = math.atan2(*self._outward(wheel)[::-1])
        half = min(0.45, self.fitted.mm(5.5) / radius)
        ends = [
            (wheel.x + radius * math.cos(middle + side * half), wheel.y + radius * math.sin(middle + side * half))
            for side in (wheel.turn, -wheel.turn)
        ]
        bow = math.tan(half / 2) * wheel.turn
        symbols.arrow(self.axes, ends[0], ends[1], Pen(look.INK, look.THIN), bow=bow, size=1.7)

    def _outward(self, wheel: Wheel) -> tuple[float, float]:
        """Unit step from the gear's axis away from the axes next to it."""
        bodies = self.layout.bodies
        near = [bodies[i] for i in (wheel.axis - 1, wheel.axis + 1) if 0 <= i < len(bodies)]
        x = sum((wheel.x - body.x) / math.dist((wheel.x, wheel.y), (body.x, body.y)) for body in near)
        y = sum((wheel.y - body.y) / math.dist((wheel.x, wheel.y), (body.x, body.y)) for body in near)
        size = math.hypot(x, y)
        first, second = (0.0, 1.0) if size < 0.2 else (x / size, y / size)
        mates = [other for other in self.layout.wheels if other.axis == wheel.axis]
        if len(mates) > 1 and wheel is min(mates, key=lambda other: other.tip_radius):
            return -first, -second
        return first, second

    def letter(self, wheel: Wheel) -> None:
        text = f"idler\n{wheel.teeth}" if wheel.letter == "idler" else f"{wheel.letter} {wheel.teeth}"
        dx, dy = self._outward(wheel)
        clear = abs(dx) * look.text_size(text, look.LARGE, True)[0] / 2 + abs(dy) * 2 + 2.0
        reach = max(wheel.pitch_radius * 0.5, self.fitted.mm(clear))
        self.axes.text(
            wheel.x + dx * reach, wheel.y + dy * reach, text, ha="center", va="center", fontsize=look.LARGE,
            weight="bold", zorder=8, bbox={"facecolor": look.PAPER, "edgecolor": "none", "pad": 0.6, "alpha": 0.85},
        )  # fmt: skip

    def measures(self) -> None:
        """Centre distances along dash-and-dot lines, and a cross where metal meets metal."""
        unit = "mm" if self.layout.to_scale else "m"
        for first, second, distance in self.layout.centres:
            one, other = self.layout.bodies[first], self.layout.bodies[second]
            symbols.line(self.axes, ((one.x, one.y), (other.x, other.y)), Pen(look.FAINT, look.THIN, look.CHAIN), order=5)
            angle = math.degrees(math.atan2(other.y - one.y, other.x - one.x))
            angle = angle - 180 if angle > 90 else angle + 180 if angle < -90 else angle
            self.axes.text(
                (one.x + other.x) / 2, (one.y + other.y) / 2, f"{distance:.4g} {unit}", fontsize=look.SMALL, rotation=angle,
                ha="center", va="center", zorder=7, bbox={"facecolor": look.PAPER, "edgecolor": "none", "pad": 0.4},
            )  # fmt: skip
        for passing in self.layout.collisions:
            size = self.fitted.mm(2.5)
            for sign in (1, -1):
                symbols.line(
                    self.axes,
                    ((passing.x - size, passing.y - sign * size), (passing.x + size, passing.y + sign * size)),
                    Pen(look.FAULT, look.HEAVY), order=9,
                )  # fmt: skip

    def words(self, name: str, mounted: Mounted, under: list[tuple[str, bool, str]]) -> None:
        ratio = " · ".join(f"{driver}/{driven}" for driver, driven in mounted.pairs)
        _head(self.axes, self.fitted, name, f"{ratio} = {mounted.size}")
        x = self.fitted.left + self.fitted.mm(1.5)
        for number, (text, bold, colour) in enumerate(reversed(under)):
            y = self.fitted.bottom + self.fitted.mm(1.5 + _LINE * (number + 0.5))
            self.axes.text(
                x, y, text, fontsize=look.TEXT if bold else look.SMALL, weight="bold" if bold else "normal", va="center",
                color=colour,
            )  # fmt: skip


#: Height of a line of words in mm.
_LINE = 4.2


def _words_under(layout: BracketLayout, width_mm: float) -> list[tuple[str, bool, str]]:
    """The lines under the drawing, each with whether it is bold and its colour."""
    told = [(idler_words(layout), True, look.INK), (clearance_words(layout), False, look.INK)]
    if layout.refusal:
        told.insert(0, (f"CAN'T BE MOUNTED: {layout.refusal}", True, look.FAULT))
    return [
        (line, bold, colour)
        for text, bold, colour in told
        for line in look.wrapped(text, look.TEXT if bold else look.SMALL, width_mm, bold)
    ]


def idler_words(layout: BracketLayout) -> str:
    """Where the idler stands, or outright that there is none."""
    told = []
    for wheel in layout.wheels:
        if wheel.letter == "idler":
            before, after = (
                next(w.letter for w in layout.wheels if w.axis == wheel.axis + step and w.plane == wheel.plane)
                for step in (-1, 1)
            )
            told.append(f"IDLER {wheel.teeth} between {before} and {after}")
    return "; ".join(told) or "NO IDLER"


def clearance_words(layout: BracketLayout) -> str:
    """How true to the machine the drawing is, and where metal comes nearest to metal."""
    if not layout.to_scale:
        return "In proportion only: the machine file gives no module for these gears."
    if not layout.closes:
        return "Drawn in a line: the gears don't span the distance of the shafts."
    open_ = "" if layout.centres_given else "Shafts drawn in a line: the machine file gives no centres. "
    least = min(layout.passings, key=lambda passing: passing.air, default=None)
    if least is None:
        return open_ or "Nothing stands in the way."
    if least.air < 0:
        return f"{open_}Gear {least.wheel.letter} would cut into {least.what} by {-least.air:.3g} mm."
    return f"{open_}Least air {least.air:.3g} mm, gear {least.wheel.letter} past {least.what}."
