"""A train diagram while it is laid out: what stands where so far, and what it has cost."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace

from .train_shapes import AIR, FIGURES, LINE, NAME, Box, Coupling, Label, PartLine, Sign, Upright
from .train_words import LinkWords, PartWords


@dataclass
class TrainPicture:
    """What has been placed so far; `solid` are boxes that nothing else may touch, with their owners."""

    runs: dict[str, PartLine] = field(default_factory=dict)
    uprights: list[Upright] = field(default_factory=list)
    couplings: list[Coupling] = field(default_factory=list)
    signs: list[Sign] = field(default_factory=list)
    labels: list[Label] = field(default_factory=list)
    solid: list[Box] = field(default_factory=list)

    def shifted(self, dx: float, dy: float) -> TrainPicture:
        """The same picture moved on the paper, in mm."""
        return TrainPicture(
            {
                part: replace(run, x0=run.x0 + dx, x1=run.x1 + dx, y=run.y + dy, arrow_x=run.arrow_x + dx)
                for part, run in self.runs.items()
            },
            [
                replace(
                    u,
                    upper_x=u.upper_x + dx,
                    x=u.x + dx,
                    top=u.top + dy,
                    bottom=u.bottom + dy,
                    bends=tuple((x + dx, y + dy) for x, y in u.bends),
                    symbol_y=None if u.symbol_y is None else u.symbol_y + dy,
                )
                for u in self.uprights
            ],
            [replace(c, x0=c.x0 + dx, x1=c.x1 + dx, y=c.y + dy) for c in self.couplings],
            [replace(s, x=s.x + dx, y=s.y + dy) for s in self.signs],
            [replace(label, x=label.x + dx, y=label.y + dy) for label in self.labels],
            [(a + dx, b + dy, c + dx, d + dy) for a, b, c, d in self.solid],
        )

    def add(self, other: TrainPicture) -> None:
        """Take in another picture, which stands where it shall."""
        self.runs.update(other.runs)
        self.uprights += other.uprights
        self.couplings += other.couplings
        self.signs += other.signs
        self.labels += other.labels
        self.solid += other.solid

    def write(self, lines: Iterable[tuple[str, bool]], x: float, top: float, owner: str) -> float:
        """Write lines downwards from `top`; returns the width that they take."""
        widest, y = 0.0, top
        for text, bold in lines:
            points = NAME if bold else FIGURES
            y -= points * LINE
            label = Label(text, x, y, points, bold, owner)
            self.labels.append(label)
            x0, y0, x1, y1 = label.box
            self.solid.append((x0 - AIR, y0, x1 + AIR, y1))
            widest = max(widest, x1 - x0)
        return widest

    @property
    def bounds(self) -> Box:
        """The box round everything solid."""
        xs0, ys0, xs1, ys1 = zip(*self.solid, strict=True)
        return min(xs0), min(ys0), max(xs1), max(ys1)


def push_apart(placed: list[Box], new: list[Box], air: float = 1.5) -> float:
    """How far `new` must go to the right to clear all of `placed`."""
    # Each pair of boxes at one height forbids an open stretch of pushes; find the least that none forbids.
    forbidden = sorted(
        (a0 - air - x1, a1 + air - x0)
        for a0, b0, a1, b1 in placed
        for x0, y0, x1, y1 in new
        if y0 < b1 and b0 < y1 and a1 + air > x0
    )
    push = 0.0
    for low, high in forbidden:
        if low < push - 1e-9 < high - 2e-9:
            push = high
        elif low >= push:
            break
    return push


def lines_of_text(words: PartWords | LinkWords) -> list[tuple[str, bool]]:
    """The lines of a label, and whether each is bold."""
    return [(words.name, True), *((line, False) for line in words.lines if line)]


def height_of(lines: list[tuple[str, bool]]) -> float:
    """The height of these lines on paper, in mm."""
    return sum((NAME if bold else FIGURES) * LINE for _, bold in lines)
