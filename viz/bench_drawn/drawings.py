"""The bracket, the head and the light cut as drawings within the page: the layouts of the sheet, with gears that can be
tapped."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from handlead.kinematics.frame.words import SWIVEL_TURNS, angle_text, swing
from handlead.kinematics.links.mounted import LETTERS, ChangeGears, Mounted
from handlead.machines.keys.head_scale import READ_FROM, HeadScale
from handlead.machines.setups.case import Case
from handlead.machines.toml.units import lengths_in
from handlead.viz.draw.head import Segment, SwivelLayout
from handlead.viz.draw.witness import WitnessLayout
from handlead.viz.draw_brackets.bracket import clearance_words, idler_words
from handlead.viz.draw_brackets.bracket_layout import BracketLayout, Wheel, bracket_layout
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


def bracket_view(link: ChangeGears, units: str, letters: str = LETTERS) -> BracketView:
    """What the page draws of a bracket with what is mounted in it, its gears called by their `letters`."""
    mounted = link.mounted
    may_idle = any(number > len(mounted.idlers) for number in link.idlers) if mounted else False
    if mounted is None:
        return BracketView(link.name, None, (0, 0, 60, 30), (), (), (), (), "", (), False, 6)
    try:
        layout = bracket_layout(mounted, link.bracket, letters)
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
    idlers, gears = ([one for one in layout.wheels if (one.letter == "idler") is idle] for idle in (True, False))
    for wheel in sorted(layout.wheels, key=lambda one: -one.tip_radius):
        idle = wheel.letter == "idler"
        place = f"idler {idlers.index(wheel)}" if idle else str(gears.index(wheel))
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
    """The head from the side on which its scale is read, in a picture whose pivot is in the middle.

    `seen` says which side; `ways` are the frame's two ways to swing with what each is called there, `swings` the one of
    them in which it stands, and `called` what that is called. `ticks` are the dial's lines with their degrees, `wanted`
    the degrees, minutes and way that the job wants, with words for them, where the head stands elsewhere.
    """

    layout: SwivelLayout
    seen: str
    ways: tuple[tuple[str, str], ...]
    swings: str
    called: str
    hob: str
    teeth: tuple[Segment, ...]
    threads: tuple[Segment, ...]
    axis: Segment
    contact: Segment
    ticks: tuple[tuple[Segment, int], ...]
    off: float
    wanted: tuple[int, int, str, str] | None

    @property
    def arrows(self) -> tuple[str, ...]:
        """Bows from the level line to the hob's axis at both ends."""
        (xa, ya), (xb, yb) = self.axis
        angle = math.degrees(math.atan2(ya - yb, xb - xa))
        if abs(angle) < 0.3 or abs(angle) > 179.7:
            return ()
        turned = angle if abs(angle) < 90 else angle - math.copysign(180, angle)
        bows = []
        for side in (1, -1):
            x, y = side * 55 * math.cos(math.radians(turned)), -side * 55 * math.sin(math.radians(turned))
            bows.append(f"M {side * 55} 0 A 55 55 0 0 {0 if turned > 0 else 1} {x:.2f} {y:.2f}")
        return tuple(bows)


#: The dial's lines: to so many degrees either side of level, one for every so many, between these distances.
_DIAL, _EVERY, _FROM, _TO, _LONG = 45, 5, 58.0, 61.0, 63.0


def head_view(case: Case) -> HeadView:
    """What the page draws of the head."""
    layout, scale = swivel_of(case), case.job.machine.head
    # From the front all is seen the other way round, what leans and what turns.
    side = 1 if scale.read == READ_FROM[0] else -1
    angle = math.radians(layout.swivel_deg)
    turned = [
        (x * math.cos(angle) - y * math.sin(angle), x * math.sin(angle) + y * math.cos(angle))
        for x, y in ((-50, -17), (50, -17), (50, 17), (-50, 17))
    ]
    ways = tuple((turn, _way(scale, turn)) for turn in SWIVEL_TURNS)
    minutes, wanted = round(case.swivel_wanted_deg * 60), swing(case.swivel_wanted_deg)
    told = None if minutes == round(layout.swivel_deg * 60) else (
        abs(minutes) // 60, abs(minutes) % 60, wanted or next(iter(SWIVEL_TURNS)),
        f"{angle_text(case.swivel_wanted_deg)} {_way(scale, wanted)}" if wanted else "level",
    )  # fmt: skip
    swings = swing(layout.swivel_deg)
    return HeadView(
        layout, scale.read, ways, swings, _way(scale, swings).upper() if swings else layout.words[1],
        " ".join(f"{side * x:.2f},{-y:.2f}" for x, y in turned),
        _down(layout.teeth, side), _down(layout.threads, side), _down((layout.axis,), side)[0],
        _down((layout.contact,), side)[0],
        tuple(_ticks()), layout.astray_deg, told,
    )  # fmt: skip


def _way(scale: HeadScale, turn: str) -> str:
    """What a way to swing is called on the side on which the scale is read."""
    if turn in scale.called:
        return scale.called[turn]
    return turn if scale.read == READ_FROM[0] else next(other for other in SWIVEL_TURNS if other != turn)


def _ticks() -> Iterable[tuple[Segment, int]]:
    """The dial's lines at its right-hand side."""
    for degrees in range(-_DIAL, _DIAL + 1, _EVERY):
        x, y = math.cos(math.radians(degrees)), -math.sin(math.radians(degrees))
        far = _TO if degrees % 10 else _LONG
        yield ((_FROM * x, _FROM * y), (far * x, far * y)), degrees


def _down(segments: Iterable[Segment], side: int = 1) -> tuple[Segment, ...]:
    return tuple(((side * xa, -ya), (side * xb, -yb)) for (xa, ya), (xb, yb) in segments)


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
