"""Work at the machine told step by step on the sheet, with boxes to write down what was found."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from handlead.viz.look import look
from handlead.viz.look.paper import LINE, MARGIN, Page

#: Type size in points of a step, and of what may stand in a box.
_STEP, _CHOICE = 9.0, 6.5

#: Height of a box's line in mm, and indent of a step behind its number.
_BOX_MM, _INDENT_MM = 7.0, 6.0

#: Most boxes side by side.
_ABREAST = 3


@dataclass(frozen=True)
class StepWords:
    """One step: what is done and what must be found; `boxes` are keys or measures to write down, with their choices."""

    text: str
    boxes: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True)
class Block:
    """Steps under a heading; `told` stands in front of them all."""

    title: str
    steps: tuple[StepWords, ...]
    told: str = ""


class Sheet(Protocol):
    """What is being filled from the top: pages, and how far the last one is full."""

    y: float

    @property
    def page(self) -> Page:
        """The last page."""

    def make_room(self, height: float) -> None:
        """Turn over where so many mm don't fit any more."""


def draw_blocks(sheet: Sheet, blocks: Sequence[Block]) -> None:
    """Every block, each step whole on its page."""
    for block in blocks:
        told = look.wrapped(block.told, _STEP, sheet.page.wide, bold=True) if block.told else []
        first = _height(block.steps[0], sheet.page.wide) if block.steps else 0.0
        sheet.make_room(9.0 + len(told) * _STEP * LINE + first)
        sheet.page.rule(sheet.y, width=1.6)
        sheet.y = sheet.page.heading(MARGIN, sheet.y + 1.5, block.title)
        sheet.y = sheet.page.lines(MARGIN, sheet.y, told, _STEP) + (1.0 if told else 0.0)
        for number, step in enumerate(block.steps, start=1):
            sheet.make_room(_height(step, sheet.page.wide))
            _draw(sheet, number, step)
        sheet.y += 2.0


def _lines(step: StepWords, wide: float) -> list[str]:
    return look.wrapped(step.text, _STEP, wide - _INDENT_MM, bold=True)


def _ranks(step: StepWords) -> int:
    return -(-len(step.boxes) // _ABREAST)


def _height(step: StepWords, wide: float) -> float:
    """Height of a step with its boxes, in mm."""
    rooms = sum(_rank_height(step, rank, wide) for rank in range(_ranks(step)))
    return len(_lines(step, wide)) * _STEP * LINE + rooms + 1.0


def _rank_height(step: StepWords, rank: int, wide: float) -> float:
    column = (wide - _INDENT_MM) / _ABREAST
    boxes = step.boxes[rank * _ABREAST : (rank + 1) * _ABREAST]
    most = max(len(look.wrapped(choices, _CHOICE, column - 4)) if choices else 0 for _, choices in boxes)
    return _BOX_MM + most * 2.6


def _draw(sheet: Sheet, number: int, step: StepWords) -> None:
    page, left = sheet.page, MARGIN + _INDENT_MM
    column = (sheet.page.wide - _INDENT_MM) / _ABREAST
    page.text(MARGIN, sheet.y, str(number), _STEP, bold=True)
    sheet.y = page.lines(left, sheet.y, _lines(step, sheet.page.wide), _STEP)
    for rank in range(_ranks(step)):
        line = sheet.y + _BOX_MM - 1.5
        for place, (key, choices) in enumerate(step.boxes[rank * _ABREAST : (rank + 1) * _ABREAST]):
            x = left + place * column
            page.text(x, line - 4.2, key, _STEP, bold=True)
            page.rule(line, x + look.text_size(key, _STEP, True)[0] + 1.5, x + column - 4, 0.6)
            for row, choice in enumerate(look.wrapped(choices, _CHOICE, column - 4) if choices else ()):
                page.text(x + column - 4, line + 0.3 + row * 2.6, choice, _CHOICE, ha="right", color=look.FAINT)
        sheet.y += _rank_height(step, rank, sheet.page.wide)
    sheet.y += 1.0
