"""The bracket, the head and the light cut as drawings within the page: the layouts of the sheet, with gears that can be
tapped."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from handlead.kinematics.train.mounted import ChangeGears, Mounted
from handlead.machines.setups.case import Case
from handlead.machines.toml.units import lengths_in
from handlead.viz.draw.head import Segment, SwivelLayout
from handlead.viz.draw.witness import WitnessLayout
from handlead.viz.draw_brackets.bracket import clearance_words, idler_words
from handlead.viz.draw_brackets.bracket_layout import LETTERS, BracketLayout, Wheel, bracket_layout
from handlead.viz.look import look
from handlead.viz.pictures.pictures import swivel_of, witness_of

#: Beside a gear's circle, in mm at the machine.
_MARGIN = 4.0


@dataclass(frozen=True)
class Circle:
    """A gear in the drawing: `place` is how the page asks for it, a number or "idler 0"."""

    place: str
    label: str
    said: str
    x: float
    y: float
    tip: float
    pitch: float
    kind: str
    touch: float


@dataclass(frozen=True)
class BracketView:
    """A bracket as the page draws it: `y` runs down, as on a screen."""

    name: str
    mounted: Mounted | None
    box: tuple[float, float, float, float]
    circles: tuple[Circle, ...]
    studs: tuple[tuple[float, float, float, bool], ...]
    lines: tuple[Segment, ...]
    crosses: tuple[tuple[float, float], ...]
    refusal: str
    words: tuple[str, ...]
    may_idle: bool
    type_size: float

    @property
    def mark(self) -> str:
        """An id for the page."""
        return "b-" + "".join(sign if sign.isalnum() else "-" for sign in self.name)

    @property
    def ratio(self) -> str:
        """Drivers over driven, and the value."""
        if self.mounted is None:
            return "empty"
        return f"{' · '.join(f'{a}/{b}' for a, b in self.mounted.pairs)} = {self.mounted.size}"

    @property
    def typed(self) -> str:
        """The gears as they are typed."""
        return " ".join(map(str, self.mounted.gears)) if self.mounted else ""


def bracket_view(link: ChangeGears, units: str) -> BracketView:
    """What the page draws of a bracket with what is mounted in it."""
    mounted = link.mounted
    may_idle = any(number > len(mounted.idlers) for number in link.idlers) if mounted else False
    if mounted is None:
        return BracketView(link.name, None, (0, 0, 60, 30), (), (), (), (), "", (), False, 6)
    try:
        layout = bracket_layout(mounted, link.bracket)
    except ValueError as why:
        return BracketView(link.name, mounted, (0, 0, 60, 30), (), (), (), (), str(why), (), may_idle, 6)
    x0, y0, x1, y1 = layout.box
    size = max(x1 - x0, y1 - y0) / 15
    circles = tuple(_circles(layout, size))
    # A number may stand over the rim of its gear.
    over = max(0.0, *(circle.touch + size - circle.y - y1 for circle in circles))
    under = max(0.0, *(circle.y - circle.touch + 0.4 * size + y0 for circle in circles))
    box = (x0 - _MARGIN, -y1 - _MARGIN - over, x1 - x0 + 2 * _MARGIN, y1 - y0 + 2 * _MARGIN + over + under)
    return BracketView(
        link.name, mounted, box, circles,
        tuple((body.x, -body.y, max(body.radius, size / 6), "stud" in body.name) for body in layout.bodies),
        tuple(_centre_lines(layout)), tuple((each.x, -each.y) for each in layout.collisions),
        lengths_in(layout.refusal, units) if layout.refusal else "",
        (idler_words(layout), clearance_words(layout, units)), may_idle, size,
    )  # fmt: skip


def _circles(layout: BracketLayout, size: float) -> Iterable[Circle]:
    """Gears, the larger first: on a stud that carries two, the smaller lies over the other and can be tapped."""
    strikes = {passing.wheel for passing in layout.collisions}
    idlers = [wheel for wheel in layout.wheels if wheel.letter == "idler"]
    for wheel in sorted(layout.wheels, key=lambda one: -one.tip_radius):
        idle = wheel.letter == "idler"
        place = f"idler {idlers.index(wheel)}" if idle else str(LETTERS.index(wheel.letter))
        kind = "clash" if wheel in strikes else "idle" if idle else "gear"
        said = f"idler, {wheel.teeth} teeth" if idle else f"gear {wheel.letter}, {wheel.teeth} teeth"
        label = f"idler {wheel.teeth}" if idle else f"{wheel.letter} {wheel.teeth}"
        yield Circle(place, label, said, wheel.x, -wheel.y, wheel.tip_radius, wheel.pitch_radius, kind,
                     _label_at(wheel, layout, size))  # fmt: skip


def _label_at(wheel: Wheel, layout: BracketLayout, size: float) -> float:
    """How far over the gear's middle its number stands: clear of the shaft, and of the other gear on it."""
    others = [one.tip_radius for one in layout.wheels if one.axis == wheel.axis and one is not wheel]
    inner = max((radius for radius in others if radius < wheel.tip_radius), default=0.0)
    if wheel.letter == "idler" and wheel.tip_radius < 2.4 * size:
        return -(wheel.tip_radius + size)
    if not inner and wheel.tip_radius < 1.7 * size:
        return wheel.tip_radius + size * 0.2
    if inner and wheel.tip_radius - inner > 1.3 * size:
        return (inner + wheel.tip_radius) / 2 - size * 0.35
    if inner:
        return wheel.tip_radius + size * 0.2
    return max(wheel.tip_radius * 0.45, size * 0.5)


def _centre_lines(layout: BracketLayout) -> Iterable[Segment]:
    for first, second, _ in layout.centres:
        one, other = layout.bodies[first], layout.bodies[second]
        yield (one.x, -one.y), (other.x, -other.y)


@dataclass(frozen=True)
class HeadView:
    """The head from behind the hob, in a picture 140 wide and 124 high with its pivot in the middle."""

    layout: SwivelLayout
    hob: str
    teeth: tuple[Segment, ...]
    threads: tuple[Segment, ...]
    axis: Segment
    contact: Segment
    off: float

    @property
    def arrows(self) -> tuple[str, ...]:
        """Bows from the level line to the hob's axis at both ends."""
        angle = math.radians(self.layout.swivel_deg)
        if abs(angle) < 0.005:
            return ()
        bows = []
        for side in (1, -1):
            x, y = side * 55 * math.cos(angle), -side * 55 * math.sin(angle)
            bows.append(f"M {side * 55} 0 A 55 55 0 0 {0 if angle > 0 else 1} {x:.2f} {y:.2f}")
        return tuple(bows)


def head_view(case: Case) -> HeadView:
    """What the page draws of the head."""
    layout = swivel_of(case)
    angle = math.radians(layout.swivel_deg)
    corners = ((-50, -17), (50, -17), (50, 17), (-50, 17))
    turned = [
        (x * math.cos(angle) - y * math.sin(angle), x * math.sin(angle) + y * math.cos(angle))
        for x, y in corners
    ]
    return HeadView(
        layout, " ".join(f"{x:.2f},{-y:.2f}" for x, y in turned), _down(layout.teeth), _down(layout.threads),
        _down((layout.axis,))[0], _down((layout.contact,))[0], layout.astray_deg,
    )  # fmt: skip


def _down(segments: Iterable[Segment]) -> tuple[Segment, ...]:
    return tuple(((xa, -ya), (xb, -yb)) for (xa, ya), (xb, yb) in segments)


@dataclass(frozen=True)
class Strip:
    """The outside of the blank unrolled after the light cut: whose marks, what they say, and the lines."""

    whose: str
    words: tuple[str, str]
    width: float
    height: float
    lines: tuple[Segment, ...]
    ghosts: tuple[Segment, ...]
    differs: bool


def strips(case: Case) -> tuple[Strip, ...]:
    """Wanted and predicted marks to one scale, in mm."""
    layout: WitnessLayout = witness_of(case)

    def up(lines: Iterable[Segment]) -> tuple[Segment, ...]:
        return tuple(((xa, layout.height - ya), (xb, layout.height - yb)) for (xa, ya), (xb, yb) in lines)

    return tuple(
        Strip(marks.whose, marks.words, layout.width, layout.height, up(layout.lines[number]),
              up(layout.ghosts(number)) if number else (), bool(number) and layout.differs(number))
        for number, marks in enumerate(layout.marks)
    )  # fmt: skip


#: The weights of the sheet for the page's style sheet to be held against.
WEIGHTS = (look.HEAVY, look.OUTLINE, look.THIN, look.HAIR)
