"""Where letters, arrows and measures of a bracket's drawing stand: found so that nothing strikes anything else.

A gear's letter and teeth stand inside it where they have room, or beside it with a leader. Where neither has
room the letter stands alone, and its teeth in a key under the drawing: no gear is without its number. The
arrow of its turning and the centre distances take what room is left, and are dropped where there is
none. Lengths are in units of the drawing unless marked as mm, which are mm of paper.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from handlead.viz.look import look

if TYPE_CHECKING:
    from .bracket import BracketLayout, Wheel

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
class Measure:
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

    fit: look.Fit
    tags: tuple[Tag, ...]
    turnings: tuple[Turning, ...]
    measures: tuple[Measure, ...]
    key: tuple[str, ...] = ()

    @property
    def boxes(self) -> tuple[Box, ...]:
        """The paper that each label takes; a slanting one is covered by several."""
        return (*(tag.box for tag in self.tags), *(box for measure in self.measures for box in measure.boxes))


#: Air in mm round a label, and the least that a letter may measure in points.
_AIR = 0.5
LEAST_POINTS = 7.5
_SIZES = (look.LARGE, 9.5, 8.5, LEAST_POINTS)
#: Paper kept free beside the gears, in mm: the next one is tried where a label finds no place.
_SIDES = (1.5, 5.0, 9.0, 13.0)
#: Below this width of paper there are no centre distances.
_WIDE_ENOUGH = 70.0


def letter_bracket(
    layout: BracketLayout,
    paper: tuple[float, float],
    *,
    head: float,
    foot: float,
    points: float = look.LARGE,
    measures: bool = True,
    units: str = "mm",
) -> Lettering:
    """The drawing on paper of this width and height in mm, with strips of `head` and `foot` mm left free.

    Letters are `points` large, or as large as they can be; `measures` from axis to axis stand only where there is
    room for them, in `units`.
    """
    found, without = _best(layout, paper, head, foot, points, measures, units)
    while without:
        # The key takes room from the drawing, so that still more gears may need it.
        key = _key(layout, without, paper[0] - 2)
        found, more = _best(layout, paper, head, foot + _key_mm(key), points, measures, units)
        if more <= without:
            return replace(found, key=key)
        without |= more
    return found


def _key(layout: BracketLayout, without: frozenset[int], width_mm: float) -> tuple[str, ...]:
    """The letters and teeth of these gears, by their place in the layout, in lines no wider than that."""
    told = [f"{_short(wheel)}\xa0{wheel.teeth}" for n, wheel in enumerate(layout.wheels) if n in without]
    lines = look.wrapped(", ".join(told), LEAST_POINTS, width_mm, True)
    return tuple(line.replace("\xa0", " ") for line in lines)


def _key_mm(key: Sequence[str]) -> float:
    """The paper under a drawing that a key takes, in mm."""
    return look.text_size("\n".join(key), LEAST_POINTS, True)[1] + 0.8


def _best(
    layout: BracketLayout, paper: tuple[float, float], head: float, foot: float, points: float, measures: bool,
    units: str,
) -> tuple[Lettering, frozenset[int]]:  # fmt: skip
    """The lettering in which most gears have their teeth written, and the places of those that don't have."""
    best: tuple[float, Lettering, frozenset[int]] | None = None
    for size in [size for size in _SIZES if size <= points] or [LEAST_POINTS]:
        for side in _SIDES:
            if 4 * side > paper[0] or 4 * side > paper[1] - head - foot:
                continue
            air = min(side, 2.0)
            fitted = look.fit_paper(paper, layout.box, head=head + air, foot=foot + air, side=side)
            board = _Board(layout, fitted, _within(fitted, head, foot), size, units)
            lost = board.letter(best[0] if best else math.inf)
            if not lost:
                return board.finished(measures and paper[0] >= _WIDE_ENOUGH), frozenset()
            if best is None or lost < best[0]:
                best = lost, board.finished(with_measures=False), board.without_teeth
    assert best is not None
    return best[1], best[2]


_STEP = math.pi / 12
#: Where a label may stand inside its gear: what the place costs, its share of the pitch radius, steps from outward.
_SPOTS = sorted(
    (abs(share - 0.5) + 0.05 * abs(step), share, step)
    for share in (0.55, 0.45, 0.65, 0.35, 0.25, 0.75, 0.15, 0.0)
    for step in (range(-12, 12) if share else (0,))
)
#: What a label beside its gear costs at least.
_BESIDE = 2.0

_Found = tuple[float, Tag | None]
_NOWHERE: _Found = (math.inf, None)


def _within(fitted: look.Fit, head: float, foot: float) -> Box:
    edge = fitted.mm(0.8)
    return (
        fitted.left + edge,
        fitted.bottom + fitted.mm(foot) + edge,
        fitted.right - edge,
        fitted.top - fitted.mm(head) - edge,
    )


@dataclass
class _Board:
    """A drawing being lettered: `taken` is the paper that is used up."""

    layout: BracketLayout
    fit: look.Fit
    within: Box
    points: float
    units: str = "mm"
    taken: list[Box] = field(default_factory=list)
    tags: list[Tag] = field(default_factory=list)
    lettered: set[int] = field(default_factory=set)

    @property
    def without_teeth(self) -> frozenset[int]:
        """The gears, by their place in the layout, whose teeth stand nowhere in the drawing."""
        wheels = enumerate(self.layout.wheels)
        return frozenset(number for number, wheel in wheels if id(wheel) not in self.lettered)

    def __post_init__(self) -> None:
        for body in self.layout.bodies:
            self.taken.append(_square((body.x, body.y), max(body.radius, self.fit.mm(1.1))))
        for passing in self.layout.collisions:
            self.taken.append(_square((passing.x, passing.y), self.fit.mm(2.6)))

    # -- letters

    def letter(self, most: float = math.inf) -> float:
        """Place every letter, the smallest gear's first; returns how many find no place, or gives up at `most`."""
        lost = 0.0
        for wheel in sorted(self.layout.wheels, key=lambda wheel: wheel.tip_radius):
            cost, tag = self._inside(wheel)
            if cost > _BESIDE:
                cost, tag = min((cost, tag), self._beside(wheel), key=lambda found: found[0])
            if tag is None:
                lost += 1
                if lost >= most:
                    break
                # Rather a letter alone, or none, than one that strikes another: the key has the teeth.
                found = self._inside(wheel, short=True), self._beside(wheel, short=True)
                tag = min(found, key=lambda each: each[0])[1]
                if tag is None:
                    continue
            if str(wheel.teeth) in tag.text:
                self.lettered.add(id(wheel))
            self.tags.append(tag)
            self.taken.append(tag.box)
            if tag.leader is not None:
                self.taken.extend(_square(point, self.fit.mm(0.3)) for point in _along(tag.leader, 12))
        return lost

    def _tag(
        self, wheel: Wheel, text: str, x: float, y: float, leader: tuple[Point, Point] | None = None
    ) -> Tag:
        width, height = self._size(text)
        box = (x - width / 2, y - height / 2, x + width / 2, y + height / 2)
        return Tag(wheel, text, x, y, box, self.points, leader)

    def _size(self, text: str) -> tuple[float, float]:
        width, height = look.text_size(text, self.points, True)
        return self.fit.mm(width + 2 * _AIR), self.fit.mm(height * 0.9 + _AIR)

    def _inside(self, wheel: Wheel, *, short: bool = False) -> _Found:
        """The best place inside the gear, with its cost; infinite where there is none."""
        outward, best = _outward(self.layout, wheel), _NOWHERE
        for text in (_short(wheel),) if short else _texts(wheel):
            for base, share, step in _SPOTS:
                if base >= best[0]:
                    break
                x, y = _on_circle(wheel, share * wheel.pitch_radius, outward + step * _STEP)
                tag = self._tag(wheel, text, x, y)
                if not self._reads_as(wheel, tag.box) or not self._is_free(tag.box):
                    continue
                cost = base + 1.2 * (self._top((x, y)) is not wheel) + 0.8 * self._on_line(tag.box)
                cost += 0.3 * self._in_a_smaller(wheel, tag.box)
                if cost < best[0]:
                    best = cost, tag
        return best

    def _reads_as(self, wheel: Wheel, box: Box) -> bool:
        """Whether a label there stands wholly within this gear, across no other's rim."""
        air = self.fit.mm(0.3)
        if _far(box, wheel) > wheel.pitch_radius - air:
            return False
        for other in self.layout.wheels:
            if other is wheel:
                continue
            if not (
                _near(box, other) > other.tip_radius + air or _far(box, other) < other.pitch_radius - air
            ):
                return False
            covers = _far(box, other) < other.tip_radius and _order(other) > _order(wheel)
            if covers and other.tip_radius <= wheel.tip_radius:
                return False
        return True

    def _in_a_smaller(self, wheel: Wheel, box: Box) -> bool:
        """Whether it stands within a smaller gear too."""
        return any(
            v.tip_radius < wheel.tip_radius and _far(box, v) < v.tip_radius for v in self.layout.wheels
        )

    def _beside(self, wheel: Wheel, *, short: bool = False) -> _Found:
        """The best place beside the gear, with a leader."""
        outward, best = _outward(self.layout, wheel), _NOWHERE
        for text in (_short(wheel),) if short else _texts(wheel):
            width, height = self._size(text)
            for step in sorted(range(-12, 12), key=abs):
                angle = outward + step * _STEP
                way = (math.cos(angle), math.sin(angle))
                reach = wheel.tip_radius + abs(way[0]) * width / 2 + abs(way[1]) * height / 2
                for gap in range(1, 40):
                    base = _BESIDE + 0.08 * gap + 0.05 * abs(step)
                    if base >= best[0]:
                        break
                    at = reach + self.fit.mm(1.5 * gap)
                    x, y = wheel.x + way[0] * at, wheel.y + way[1] * at
                    leader = self._leader(wheel, way, at, (width, height))
                    tag = self._tag(wheel, text, x, y, leader)
                    over = self._stands_on(tag.box)
                    if over is None or not self._is_free(tag.box) or self._strikes(leader):
                        continue
                    unseen = self._top(leader[1]) is not wheel and not self._is_hidden(wheel)
                    cost = base + 1.5 * over + self._crossed(wheel, leader) + 4.0 * unseen
                    if cost < best[0]:
                        best = cost, tag
                    break
        return best

    def _leader(self, wheel: Wheel, way: Point, at: float, size: Point) -> tuple[Point, Point]:
        """From the near side of words of this size `at` from the gear's middle to just inside its rim."""
        half = min(size[0] / 2 / max(abs(way[0]), 1e-9), size[1] / 2 / max(abs(way[1]), 1e-9))
        end = wheel.tip_radius - min(self.fit.mm(1.6), 0.4 * wheel.tip_radius)
        start = at - half
        return (wheel.x + way[0] * start, wheel.y + way[1] * start), (
            wheel.x + way[0] * end,
            wheel.y + way[1] * end,
        )

    def _stands_on(self, box: Box) -> int | None:
        """How many gears' faces a label stands on; None where a rim runs through it."""
        air, over = self.fit.mm(0.4), 0
        for wheel in self.layout.wheels:
            if _far(box, wheel) < wheel.pitch_radius - air:
                over += 1
            elif _near(box, wheel) < wheel.tip_radius + air:
                return None
        return over

    def _strikes(self, leader: tuple[Point, Point]) -> bool:
        """Whether a leader runs through what is written already."""
        return any(_holds(box, point) for point in _along(leader, 12) for box in self.taken)

    def _crossed(self, wheel: Wheel, leader: tuple[Point, Point]) -> float:
        """How many rims of other gears a leader runs over, the half of them."""
        (xa, ya), (xb, yb) = leader
        ends = [(math.dist((xa, ya), (v.x, v.y)) < v.tip_radius, math.dist((xb, yb), (v.x, v.y)) < v.tip_radius)
                for v in self.layout.wheels if v is not wheel]  # fmt: skip
        return 0.5 * sum(first != last for first, last in ends)

    def _is_hidden(self, wheel: Wheel) -> bool:
        return any(
            _order(v) > _order(wheel)
            and math.dist((v.x, v.y), (wheel.x, wheel.y)) + wheel.tip_radius <= v.tip_radius
            for v in self.layout.wheels
            if v is not wheel
        )

    def _top(self, point: Point) -> Wheel | None:
        """The gear that is in sight at a point."""
        there = [v for v in self.layout.wheels if math.dist((v.x, v.y), point) < v.tip_radius]
        return max(there, key=_order, default=None)

    def _is_free(self, box: Box) -> bool:
        x0, y0, x1, y1 = self.within
        if box[0] < x0 or box[1] < y0 or box[2] > x1 or box[3] > y1:
            return False
        return not any(_meet(box, other) for other in self.taken)

    def _on_line(self, box: Box) -> bool:
        """Whether a centre line runs through it."""
        for first, second, _ in self.layout.centres:
            one, other = self.layout.bodies[first], self.layout.bodies[second]
            if any(_holds(box, point) for point in _along(((one.x, one.y), (other.x, other.y)), 60)):
                return True
        return False

    # -- arrows and measures

    def finished(self, with_measures: bool) -> Lettering:
        turnings = tuple(found for wheel in self.layout.wheels if (found := self._turning(wheel)) is not None)
        measures = tuple(self._measures()) if with_measures else ()
        return Lettering(self.fit, tuple(self.tags), turnings, measures)

    def _turning(self, wheel: Wheel) -> Turning | None:
        """With the driving gear's sense (drawn clockwise) or against it; None where there is no room for it."""
        radius = wheel.pitch_radius - self.fit.mm(2.0)
        if radius < self.fit.mm(2.6):
            return None
        outward = _outward(self.layout, wheel)
        half = min(0.9, self.fit.mm(4.5) / radius)
        for step in sorted(range(-18, 18), key=abs):
            middle = outward + step * math.pi / 18
            points = [_on_circle(wheel, radius, middle + half * share / 4) for share in range(-4, 5)]
            boxes = [_square(point, self.fit.mm(1.0)) for point in points]
            in_sight = all(self._top(point) is wheel for point in points)
            if in_sight and all(self._is_free(box) and self._crosses_none(wheel, box) for box in boxes):
                self.taken.extend(boxes)
                start, tip = (
                    _on_circle(wheel, radius, middle + way * half) for way in (wheel.turn, -wheel.turn)
                )
                return Turning(wheel, start, tip, math.tan(half / 2) * wheel.turn)
        return None

    def _crosses_none(self, wheel: Wheel, box: Box) -> bool:
        """Whether no other gear's rim runs through the box."""
        return all(
            _near(box, v) > v.tip_radius or _far(box, v) < v.pitch_radius
            for v in self.layout.wheels
            if v is not wheel
        )

    def _measures(self) -> Iterator[Measure]:
        inch = self.layout.to_scale and self.units == "in"
        for first, second, distance in self.layout.centres:
            told = f"{distance / look.MM_PER_INCH:.3f} in" if inch else f"{distance:.4g} {self._unit}"
            found = self._measure(first, second, told)
            if found is not None:
                self.taken.extend(found.boxes)
                yield found

    @property
    def _unit(self) -> str:
        """Millimetres, or modules where the file gives none."""
        return "mm" if self.layout.to_scale else "m"

    def _measure(self, first: int, second: int, text: str) -> Measure | None:
        one, other = self.layout.bodies[first], self.layout.bodies[second]
        angle = math.atan2(other.y - one.y, other.x - one.x)
        if math.cos(angle) < -1e-9:
            angle += math.pi
        width, height = (self.fit.mm(size) for size in look.text_size(text, look.SMALL))
        places: list[tuple[float, int, float, float, tuple[Box, ...]]] = []
        for number, share in enumerate((0.5, 0.43, 0.57, 0.36, 0.64, 0.29, 0.71, 0.22, 0.78)):
            for off in (0, 1, -1):
                x = one.x + share * (other.x - one.x) - off * 0.75 * height * math.sin(angle)
                y = one.y + share * (other.y - one.y) + off * 0.75 * height * math.cos(angle)
                count = max(2, math.ceil(width / height))
                steps = [(n / (count - 1) - 0.5) * (width - height) for n in range(count)]
                boxes = tuple(
                    _square((x + s * math.cos(angle), y + s * math.sin(angle)), 0.5 * height) for s in steps
                )
                if all(map(self._is_free, boxes)):
                    struck = sum(
                        _near(b, v) < v.tip_radius < _far(b, v) for b in boxes for v in self.layout.wheels
                    )
                    places.append((struck + 0.2 * number + 0.7 * abs(off), len(places), x, y, boxes))
        if not places:
            return None
        _, _, x, y, boxes = min(places)
        return Measure(text, x, y, math.degrees(angle), boxes)


def _texts(wheel: Wheel) -> Sequence[str]:
    if wheel.letter != "idler":
        return (f"{wheel.letter} {wheel.teeth}",)
    return (f"idler {wheel.teeth}", f"idler\n{wheel.teeth}")


def _short(wheel: Wheel) -> str:
    """What says which gear it is where there is no room for more."""
    return wheel.letter if wheel.letter != "idler" else "i"


def _order(wheel: Wheel) -> tuple[int, float]:
    """The later in this order, the nearer to the eye a gear is drawn."""
    return wheel.plane, -wheel.tip_radius


def _outward(layout: BracketLayout, wheel: Wheel) -> float:
    """The angle from the gear's axis away from the axes next to it."""
    near = [layout.bodies[i] for i in (wheel.axis - 1, wheel.axis + 1) if 0 <= i < len(layout.bodies)]
    x = y = 0.0
    for body in near:
        apart = math.dist((wheel.x, wheel.y), (body.x, body.y)) or 1.0
        x, y = x + (wheel.x - body.x) / apart, y + (wheel.y - body.y) / apart
    return math.atan2(y, x) if math.hypot(x, y) > 0.2 else math.pi / 2


def _on_circle(wheel: Wheel, radius: float, angle: float) -> Point:
    return wheel.x + radius * math.cos(angle), wheel.y + radius * math.sin(angle)


def _square(middle: Point, half: float) -> Box:
    return middle[0] - half, middle[1] - half, middle[0] + half, middle[1] + half


def _along(segment: tuple[Point, Point], count: int) -> Iterator[Point]:
    (xa, ya), (xb, yb) = segment
    for number in range(count + 1):
        yield xa + (xb - xa) * number / count, ya + (yb - ya) * number / count


def _holds(box: Box, point: Point) -> bool:
    return box[0] <= point[0] <= box[2] and box[1] <= point[1] <= box[3]


def _meet(one: Box, other: Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def _near(box: Box, wheel: Wheel) -> float:
    """Distance from the gear's axis to the nearest point of the box."""
    dx = max(box[0] - wheel.x, 0.0, wheel.x - box[2])
    dy = max(box[1] - wheel.y, 0.0, wheel.y - box[3])
    return math.hypot(dx, dy)


def _far(box: Box, wheel: Wheel) -> float:
    """Distance from the gear's axis to the farthest corner of the box."""
    dx = max(wheel.x - box[0], box[2] - wheel.x)
    dy = max(wheel.y - box[1], box[3] - wheel.y)
    return math.hypot(dx, dy)
