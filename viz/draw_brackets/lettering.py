"""Letters, arrows and measures as they stand in the drawing of a bracket, and the room that they take."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from handlead.viz.look import look

if TYPE_CHECKING:
    from .bracket_layout import BracketLayout, Wheel


Box = tuple[float, float, float, float]
Point = tuple[float, float]


@dataclass(frozen=True)
class Tag:
    """A gear's letter and teeth about the middle `x`, `y`, with a leader to the gear where they stand beside it."""

    wheel: Wheel
    text: str
    x: float
    y: float
    box: Box
    points: float
    leader: tuple[Point, Point] | None


@dataclass(frozen=True)
class Turning:
    """The arrow inside a gear's rim, bowed to the left of its way where positive: clockwise with the driving gear."""

    wheel: Wheel
    start: Point
    tip: Point
    bow: float


@dataclass(frozen=True)
class DistanceLettered:
    """A centre distance about `x`, `y`, along its line; `boxes` cover it."""

    text: str
    x: float
    y: float
    angle_deg: float
    boxes: tuple[Box, ...]


@dataclass(frozen=True)
class Lettering:
    """All that is written into a bracket's drawing, and how the drawing fits on its paper.

    `key` are lines under the drawing, in the smallest letters, with the teeth of gears that find no room for them.
    """

    fit: look.ScaledAxes
    tags: tuple[Tag, ...]
    turnings: tuple[Turning, ...]
    measures: tuple[DistanceLettered, ...]
    key: tuple[str, ...] = ()

    @property
    def boxes(self) -> tuple[Box, ...]:
        """The paper that each label takes; a slanting one is covered by several."""
        return (*(tag.box for tag in self.tags), *(box for measure in self.measures for box in measure.boxes))


def texts_of(wheel: Wheel) -> Sequence[str]:
    """What may stand on a gear, the fullest first."""
    if wheel.letter != "idler":
        return (f"{wheel.letter} {wheel.teeth}",)
    return (f"idler {wheel.teeth}", f"idler\n{wheel.teeth}")


def short_text(wheel: Wheel) -> str:
    """What says which gear it is where there is no room for more."""
    return wheel.letter if wheel.letter != "idler" else "i"


def order_in_sight(wheel: Wheel) -> tuple[int, float]:
    """The later in this order, the nearer to the eye a gear is drawn."""
    return wheel.plane, -wheel.tip_radius


def outward_from(layout: BracketLayout, wheel: Wheel) -> float:
    """The angle from the gear's axis away from the axes next to it."""
    near = [layout.bodies[i] for i in (wheel.axis - 1, wheel.axis + 1) if 0 <= i < len(layout.bodies)]
    x = y = 0.0
    for body in near:
        apart = math.dist((wheel.x, wheel.y), (body.x, body.y)) or 1.0
        x, y = x + (wheel.x - body.x) / apart, y + (wheel.y - body.y) / apart
    return math.atan2(y, x) if math.hypot(x, y) > 0.2 else math.pi / 2


def on_circle(wheel: Wheel, radius: float, angle: float) -> Point:
    """The point at this radius and angle about a gear's middle."""
    return wheel.x + radius * math.cos(angle), wheel.y + radius * math.sin(angle)


def square_about(middle: Point, half: float) -> Box:
    """A square by its middle and half its side."""
    return middle[0] - half, middle[1] - half, middle[0] + half, middle[1] + half


def points_along(segment: tuple[Point, Point], count: int) -> Iterator[Point]:
    """Points evenly along a line, both ends among them."""
    (xa, ya), (xb, yb) = segment
    for number in range(count + 1):
        yield xa + (xb - xa) * number / count, ya + (yb - ya) * number / count


def box_holds(box: Box, point: Point) -> bool:
    """Whether a point lies within a box."""
    return box[0] <= point[0] <= box[2] and box[1] <= point[1] <= box[3]


def boxes_meet(one: Box, other: Box) -> bool:
    """Whether two boxes have room in common."""
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def nearest_to(box: Box, wheel: Wheel) -> float:
    """Distance from the gear's axis to the nearest point of the box."""
    dx = max(box[0] - wheel.x, 0.0, wheel.x - box[2])
    dy = max(box[1] - wheel.y, 0.0, wheel.y - box[3])
    return math.hypot(dx, dy)


def farthest_from(box: Box, wheel: Wheel) -> float:
    """Distance from the gear's axis to the farthest corner of the box."""
    dx = max(wheel.x - box[0], box[2] - wheel.x)
    dy = max(wheel.y - box[1], box[3] - wheel.y)
    return math.hypot(dx, dy)
