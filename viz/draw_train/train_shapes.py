"""What a train diagram is made of: labels, lines, uprights, couplings and signs, in millimetres on paper, y upwards."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from handlead.viz.look import look

from .train_words import LinkWords, PartWords

Box = tuple[float, float, float, float]
"""x0, y0, x1, y1 with x0 <= x1 and y0 <= y1."""

#: Type sizes in points of names and of what stands under them.
NAME, FIGURES = 7.5, 7.0

LINE = 1.2 / look.POINTS_PER_MM
#: Air round a label.
AIR = 0.8
#: Room for the arrow that tells a shaft's turning, and for the sign of an end or a drive.
ARROW, SIGN = 6.0, 11.0
#: Half the width of an upright's symbol.
HALF = 3.2
#: The two uprights of a two-pair set of change gears stand so far apart.
STUD = 9.0
CLUTCH, NUT, SUNS, BRAKE = 9.0, 12.0, 17.0, 8.0
#: Nothing on a line stands higher over it than this.
HIGHEST = 21.0


@dataclass(frozen=True)
class Label:
    """One line of text: left end and foot of its line, and what it belongs to."""

    text: str
    x: float
    y: float
    points: float
    bold: bool
    owner: str

    @property
    def box(self) -> Box:
        """The paper that it takes."""
        width, _ = look.text_size(self.text, self.points, self.bold)
        return (self.x, self.y, self.x + width, self.y + self.points * LINE)


@dataclass(frozen=True)
class PartLine:
    """A part's line, with the place of the arrow across it."""

    part: str
    x0: float
    x1: float
    y: float
    arrow_x: float
    slides: bool


@dataclass(frozen=True)
class Upright:
    """A link between two lines: `upper` and `lower` are its parts, `x` where it meets the lower one.

    `upper_x` is where it meets the upper one. `bends` are the corners on the way where the link isn't
    straight. The symbol stands about `symbol_y`, or half way where that is None.
    """

    link: str
    upper: str
    lower: str
    upper_x: float
    x: float
    top: float
    bottom: float
    bends: tuple[tuple[float, float], ...] = ()
    symbol_y: float | None = None

    @property
    def points(self) -> tuple[tuple[float, float], ...]:
        """The way from the upper line to the lower one."""
        return ((self.upper_x, self.top), *self.bends, (self.x, self.bottom))


@dataclass(frozen=True)
class Coupling:
    """A link between two parts on one line: `left` and `right` of it, from `x0` to `x1`."""

    link: str
    left: str
    right: str
    x0: float
    x1: float
    y: float


@dataclass(frozen=True)
class Sign:
    """Something that stands on a part's line: "brake", "drive" or the name of an end."""

    kind: str
    name: str
    part: str
    x: float
    y: float


@dataclass(frozen=True)
class TrainLayout:
    """A whole diagram: `words` of parts and links, and where everything stands within `width` by `height`."""

    parts: Mapping[str, PartWords]
    links: Mapping[str, LinkWords]
    runs: tuple[PartLine, ...]
    uprights: tuple[Upright, ...]
    couplings: tuple[Coupling, ...]
    signs: tuple[Sign, ...]
    labels: tuple[Label, ...]
    width: float
    height: float

    def overlaps(self) -> list[tuple[Label, Label]]:
        """Pairs of labels that lie on each other."""
        boxes = [(label, label.box) for label in self.labels]
        return [(a, b) for (a, one), (b, other) in itertools.combinations(boxes, 2) if boxes_meet(one, other)]

    def crossings(self) -> list[tuple[str, str]]:
        """An upright and a line that cross without being joined, or two uprights."""
        found = []
        for upright in self.uprights:
            for (x0, y0), (x1, y1) in itertools.pairwise(upright.points):
                box = (min(x0, x1), min(y0, y1), max(x0, x1), max(y0, y1))
                for run in self.runs:
                    if run.part not in (upright.upper, upright.lower) and boxes_meet(
                        box, (run.x0, run.y, run.x1, run.y), 0.01
                    ):
                        found.append((upright.link, run.part))
        for one, other in itertools.combinations(self.uprights, 2):
            if any(boxes_meet(a, b, 0.01) for a in segments_of(one) for b in segments_of(other)):
                found.append((one.link, other.link))
        return found


def segments_of(upright: Upright) -> Iterator[Box]:
    """The straight pieces of an upright, as boxes without width."""
    for (x0, y0), (x1, y1) in itertools.pairwise(upright.points):
        yield (min(x0, x1), min(y0, y1), max(x0, x1), max(y0, y1))


def boxes_meet(one: Box, other: Box, air: float = -0.01) -> bool:
    """Whether two boxes come within `air` mm of each other."""
    return (
        one[0] < other[2] + air
        and other[0] < one[2] + air
        and one[1] < other[3] + air
        and other[1] < one[3] + air
    )
