"""Lines of words over, under and between drawings: wrapped to a width, their height known before they are written."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from . import look

if TYPE_CHECKING:
    from matplotlib.axes import Axes

#: Height of a line as a part of its type size.
_LEADING = 1.33


@dataclass(frozen=True)
class Written:
    """One line of words, of a type size in points."""

    text: str
    points: float
    bold: bool = False
    colour: str = look.INK

    @property
    def tall(self) -> float:
        """The paper that it takes, in mm."""
        return _LEADING * self.points / look.POINTS_PER_MM


def wrap(
    text: str, points: float, width_mm: float, bold: bool = False, colour: str = look.INK
) -> list[Written]:
    """The text in lines no wider than that."""
    return [Written(line, points, bold, colour) for line in look.wrapped(text, points, width_mm, bold)]


def tall(lines: Sequence[Written]) -> float:
    """Height of all lines in mm."""
    return sum(line.tall for line in lines)


def write(axes: Axes, lines: Sequence[Written], x: float, top: float, unit: float) -> None:
    """Write the lines one below the other, `unit` of the axes to a mm of paper."""
    for line in lines:
        axes.text(
            x,
            top,
            line.text,
            fontsize=line.points,
            va="top",
            color=line.colour,
            weight="bold" if line.bold else "normal",
        )
        top -= line.tall * unit
