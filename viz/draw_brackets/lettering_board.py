"""A drawing of a bracket being lettered: each letter, arrow and measure put where nothing is struck."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from handlead.viz.look import look

from .lettering import (
    Box,
    DistanceLettered,
    Lettering,
    Point,
    Tag,
    Turning,
    box_holds,
    boxes_meet,
    farthest_from,
    nearest_to,
    on_circle,
    order_in_sight,
    outward_from,
    points_along,
    short_text,
    square_about,
    texts_of,
)

if TYPE_CHECKING:
    from .bracket_layout import BracketLayout, Wheel

#: Air in mm round a label.
_AIR = 0.5


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


@dataclass
class Board:
    """A drawing being lettered: `taken` is the paper that is used up."""

    layout: BracketLayout
    fit: look.ScaledAxes
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
            self.taken.append(square_about((body.x, body.y), max(body.radius, self.fit.mm(1.1))))
        for passing in self.layout.collisions:
            self.taken.append(square_about((passing.x, passing.y), self.fit.mm(2.6)))

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
                self.taken.extend(square_about(point, self.fit.mm(0.3)) for point in points_along(tag.leader, 12))
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
        outward, best = outward_from(self.layout, wheel), _NOWHERE
        for text in (short_text(wheel),) if short else texts_of(wheel):
            for base, share, step in _SPOTS:
                if base >= best[0]:
                    break
                x, y = on_circle(wheel, share * wheel.pitch_radius, outward + step * _STEP)
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
        if farthest_from(box, wheel) > wheel.pitch_radius - air:
            return False
        for other in self.layout.wheels:
            if other is wheel:
                continue
            if not (
                nearest_to(box, other) > other.tip_radius + air or farthest_from(box, other) < other.pitch_radius - air
            ):
                return False
            covers = farthest_from(box, other) < other.tip_radius and order_in_sight(other) > order_in_sight(wheel)
            if covers and other.tip_radius <= wheel.tip_radius:
                return False
        return True

    def _in_a_smaller(self, wheel: Wheel, box: Box) -> bool:
        """Whether it stands within a smaller gear too."""
        return any(
            v.tip_radius < wheel.tip_radius and farthest_from(box, v) < v.tip_radius for v in self.layout.wheels
        )

    def _beside(self, wheel: Wheel, *, short: bool = False) -> _Found:
        """The best place beside the gear, with a leader."""
        outward, best = outward_from(self.layout, wheel), _NOWHERE
        for text in (short_text(wheel),) if short else texts_of(wheel):
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
            if farthest_from(box, wheel) < wheel.pitch_radius - air:
                over += 1
            elif nearest_to(box, wheel) < wheel.tip_radius + air:
                return None
        return over

    def _strikes(self, leader: tuple[Point, Point]) -> bool:
        """Whether a leader runs through what is written already."""
        return any(box_holds(box, point) for point in points_along(leader, 12) for box in self.taken)

    def _crossed(self, wheel: Wheel, leader: tuple[Point, Point]) -> float:
        """How many rims of other gears a leader runs over, the half of them."""
        (xa, ya), (xb, yb) = leader
        ends = [(math.dist((xa, ya), (v.x, v.y)) < v.tip_radius, math.dist((xb, yb), (v.x, v.y)) < v.tip_radius)
                for v in self.layout.wheels if v is not wheel]  # fmt: skip
        return 0.5 * sum(first != last for first, last in ends)

    def _is_hidden(self, wheel: Wheel) -> bool:
        return any(
            order_in_sight(v) > order_in_sight(wheel)
            and math.dist((v.x, v.y), (wheel.x, wheel.y)) + wheel.tip_radius <= v.tip_radius
            for v in self.layout.wheels
            if v is not wheel
        )

    def _top(self, point: Point) -> Wheel | None:
        """The gear that is in sight at a point."""
        there = [v for v in self.layout.wheels if math.dist((v.x, v.y), point) < v.tip_radius]
        return max(there, key=order_in_sight, default=None)

    def _is_free(self, box: Box) -> bool:
        x0, y0, x1, y1 = self.within
        if box[0] < x0 or box[1] < y0 or box[2] > x1 or box[3] > y1:
            return False
        return not any(boxes_meet(box, other) for other in self.taken)

    def _on_line(self, box: Box) -> bool:
        """Whether a centre line runs through it."""
        for first, second, _ in self.layout.centres:
            one, other = self.layout.bodies[first], self.layout.bodies[second]
            if any(box_holds(box, point) for point in points_along(((one.x, one.y), (other.x, other.y)), 60)):
                return True
        return False

    # -- arrows and measures

    def finished(self, with_measures: bool) -> Lettering:
        """The lettering as it stands now, with the arrows and measures for which there is room."""
        turnings = tuple(found for wheel in self.layout.wheels if (found := self._turning(wheel)) is not None)
        measures = tuple(self._measures()) if with_measures else ()
        return Lettering(self.fit, tuple(self.tags), turnings, measures)

    def _turning(self, wheel: Wheel) -> Turning | None:
        """With the driving gear's sense (drawn clockwise) or against it; None where there is no room for it."""
        radius = wheel.pitch_radius - self.fit.mm(2.0)
        if radius < self.fit.mm(2.6):
            return None
        outward = outward_from(self.layout, wheel)
        half = min(0.9, self.fit.mm(4.5) / radius)
        for step in sorted(range(-18, 18), key=abs):
            middle = outward + step * math.pi / 18
            points = [on_circle(wheel, radius, middle + half * share / 4) for share in range(-4, 5)]
            boxes = [square_about(point, self.fit.mm(1.0)) for point in points]
            in_sight = all(self._top(point) is wheel for point in points)
            if in_sight and all(self._is_free(box) and self._crosses_none(wheel, box) for box in boxes):
                self.taken.extend(boxes)
                start, tip = (
                    on_circle(wheel, radius, middle + way * half) for way in (wheel.turn, -wheel.turn)
                )
                return Turning(wheel, start, tip, math.tan(half / 2) * wheel.turn)
        return None

    def _crosses_none(self, wheel: Wheel, box: Box) -> bool:
        """Whether no other gear's rim runs through the box."""
        return all(
            nearest_to(box, v) > v.tip_radius or farthest_from(box, v) < v.pitch_radius
            for v in self.layout.wheels
            if v is not wheel
        )

    def _measures(self) -> Iterator[DistanceLettered]:
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

    def _measure(self, first: int, second: int, text: str) -> DistanceLettered | None:
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
                    square_about((x + s * math.cos(angle), y + s * math.sin(angle)), 0.5 * height) for s in steps
                )
                if all(map(self._is_free, boxes)):
                    struck = sum(
                        nearest_to(b, v) < v.tip_radius < farthest_from(b, v) for b in boxes for v in self.layout.wheels
                    )
                    places.append((struck + 0.2 * number + 0.7 * abs(off), len(places), x, y, boxes))
        if not places:
            return None
        _, _, x, y, boxes = min(places)
        return DistanceLettered(text, x, y, math.degrees(angle), boxes)
