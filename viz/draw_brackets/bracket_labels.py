"""Where letters, arrows and measures of a bracket's drawing stand: found so that nothing strikes anything else.

A gear's letter and teeth stand inside it where they have room, or beside it with a leader. Where neither has
room the letter stands alone, and its teeth in a key under the drawing: no gear is without its number. The
arrow of its turning and the centre distances take what room is left, and are dropped where there is
none. Lengths are in units of the drawing unless marked as mm, which are mm of paper.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from handlead.viz.look import look

from .lettering import Box, Lettering, short_text
from .lettering_board import Board

if TYPE_CHECKING:
    from .bracket_layout import BracketLayout

#: The least that a letter may measure, in points.
LEAST_POINTS = 7.5
_SIZES = (look.LARGE, 9.5, 8.5, LEAST_POINTS)
#: Paper kept free beside the gears, in mm: the next one is tried where a label finds no place.
_SIDES = (1.5, 5.0, 9.0, 13.0)
#: Below this width of paper there are no centre distances.
_WIDE_ENOUGH = 70.0


@dataclass(frozen=True)
class LetteringPaper:
    """Paper of this width and height in mm, with strips of `head` and `foot` mm left free."""

    width: float
    height: float
    head: float = 0.0
    foot: float = 0.0


def letter_bracket(
    layout: BracketLayout, paper: LetteringPaper, *, measures: bool = True, units: str = "mm"
) -> Lettering:
    """The drawing on this paper, its letters as large as they can be.

    `measures` from axis to axis stand only where there is room for them, in `units`.
    """
    found, without = _best(layout, paper, measures, units)
    while without:
        # The key takes room from the drawing, so that still more gears may need it.
        key = _key(layout, without, paper.width - 2)
        found, more = _best(layout, replace(paper, foot=paper.foot + _key_mm(key)), measures, units)
        if more <= without:
            return replace(found, key=key)
        without |= more
    return found


def _key(layout: BracketLayout, without: frozenset[int], width_mm: float) -> tuple[str, ...]:
    """The letters and teeth of these gears, by their place in the layout, in lines no wider than that."""
    told = [f"{short_text(wheel)}\xa0{wheel.teeth}" for n, wheel in enumerate(layout.wheels) if n in without]
    lines = look.wrapped(", ".join(told), LEAST_POINTS, width_mm, True)
    return tuple(line.replace("\xa0", " ") for line in lines)


def _key_mm(key: Sequence[str]) -> float:
    """The paper under a drawing that a key takes, in mm."""
    return look.text_size("\n".join(key), LEAST_POINTS, True)[1] + 0.8


def _best(
    layout: BracketLayout, paper: LetteringPaper, measures: bool, units: str
) -> tuple[Lettering, frozenset[int]]:
    """The lettering in which most gears have their teeth written, and the places of those that don't have."""
    best: tuple[float, Lettering, frozenset[int]] | None = None
    head, foot = paper.head, paper.foot
    for size in _SIZES:
        for side in _SIDES:
            if 4 * side > paper.width or 4 * side > paper.height - head - foot:
                continue
            air = min(side, 2.0)
            area = paper.width, paper.height
            fitted = look.fit_paper(area, layout.box, head=head + air, foot=foot + air, side=side)
            board = Board(layout, fitted, _within(fitted, head, foot), size, units)
            lost = board.letter(best[0] if best else math.inf)
            if not lost:
                return board.finished(measures and paper.width >= _WIDE_ENOUGH), frozenset()
            if best is None or lost < best[0]:
                best = lost, board.finished(with_measures=False), board.without_teeth
    assert best is not None
    return best[1], best[2]


def _within(fitted: look.ScaledAxes, head: float, foot: float) -> Box:
    edge = fitted.mm(0.8)
    return (
        fitted.left + edge,
        fitted.bottom + fitted.mm(foot) + edge,
        fitted.right - edge,
        fitted.top - fitted.mm(head) - edge,
    )
