"""A page of a sheet in millimetres from its upper left corner: words, rules, boxes, rows, and room for drawings."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from . import look

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

#: Width and height in mm.
PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}

MARGIN = 11.0

#: Height of a line in mm for each point of its type.
LINE = 0.5

#: A formula's sign at the end of a label, with its index: m_n, M_dK.
_SYMBOL = re.compile(r"^(.*  )?(\w+)_(\w+)$")

#: Air in mm that stays between what and how much.
_APART = 2.0

_SMALLEST = 5.5

#: A row may be set in a type so much smaller than the others.
_SMALLER = 0.78


class Page:
    """One page. Raises `KeyError` for a paper that isn't known."""

    def __init__(self, paper: str) -> None:
        self.width, self.height = PAPERS[paper]
        self.figure: Figure = look.new_figure(self.width, self.height)
        self.axes: Axes = self.figure.add_axes((0, 0, 1, 1))
        self.axes.set_xlim(0, self.width)
        self.axes.set_ylim(self.height, 0)
        self.axes.axis("off")

    @property
    def right(self) -> float:
        """Where the right margin begins."""
        return self.width - MARGIN

    @property
    def wide(self) -> float:
        """From margin to margin, in mm."""
        return self.right - MARGIN

    def text(
        self, x: float, y: float, words: str, size: float = 9, *, bold: bool = False, **more: Any
    ) -> None:
        """Words in one line, whose top stands at y, every sign as it is."""
        if not words:
            return
        self.axes.text(
            x, y, look.on_one_line(words) if "\n" in words else words, fontsize=size,
            weight="bold" if bold else "normal", va="top", parse_math=False, **more,
        )  # fmt: skip

    def heading(self, x: float, y: float, words: str) -> float:
        """A block's heading; returns the height below it."""
        self.text(x, y, words, 10, bold=True)
        return y + 6

    def label(self, x: float, y: float, words: str, size: float, *, bold: bool = False) -> None:
        """Words with the sign of a formula at their end, its index set low."""
        found = _SYMBOL.match(words)
        if not found:
            self.text(x, y, words, size, bold=bold)
            return
        said, sign, index = found[1] or "", found[2], found[3]
        for part, part_size, lower, style in ((said, size, 0.0, "normal"), (sign, size, 0.0, "italic"),
                                              (index, size * 0.75, size * 0.15, "normal")):  # fmt: skip
            self.text(x, y + lower, part, part_size, style=style)
            x += look.text_size(part, part_size)[0]

    def rule(self, y: float, x0: float | None = None, x1: float | None = None, width: float = 0.8) -> None:
        """A level line, from margin to margin unless told."""
        left = MARGIN if x0 is None else x0
        right = self.right if x1 is None else x1
        self.line(((left, y), (right, y)), width)

    def line(self, points: Sequence[tuple[float, float]], width: float) -> None:
        """A line through points."""
        xs, ys = zip(*points, strict=True)
        self.axes.plot(xs, ys, color=look.INK, linewidth=width, solid_capstyle="butt")

    def box(
        self, x: float, y: float, width: float, height: float, *, filled: bool = False, line: float = 1.2
    ) -> None:
        """A box; words on a filled one are to be white."""
        from matplotlib.patches import Rectangle

        face = look.INK if filled else "none"
        self.axes.add_patch(
            Rectangle((x, y), width, height, facecolor=face, edgecolor=look.INK, linewidth=line)
        )

    def panel(self, x: float, y: float, width: float, height: float) -> Axes:
        """Axes of this size in mm, upper left corner at x, y."""
        return self.figure.add_axes(
            (x / self.width, 1 - (y + height) / self.height, width / self.width, height / self.height)
        )

    def rows(
        self, x: float, y: float, width: float, rows: Sequence[tuple[str, str]], size: float = 9
    ) -> float:
        """Rows of what and how much; returns the height below the last.

        A row too long for its size is set a little smaller, and in more lines where that isn't enough.
        """
        for what, much in rows:
            fitting = _fitting(what, much, width, size)
            if fitting:
                self.label(x, y, what, fitting, bold=what.startswith("!"))
                self.text(x + width, y, much, fitting, bold=True, ha="right")
                y += size * LINE
                continue
            small, whats, muches = _in_lines(what, much, width, size)
            for line in whats:
                self.label(x, y, line, small, bold=what.startswith("!"))
                y += small * LINE
            for line in muches:
                self.text(x + width, y, line, small, bold=True, ha="right")
                y += small * LINE
        return y

    def lines(self, x: float, y: float, lines: Sequence[str], size: float, *, bold: bool = False) -> float:
        """Lines of words one below the other; returns the height below the last."""
        for words in lines:
            self.text(x, y, words, size, bold=bold)
            y += size * LINE
        return y


def rows_height(rows: Sequence[tuple[str, str]], width: float, size: float) -> float:
    """Height in mm that `Page.rows` takes."""
    height = 0.0
    for what, much in rows:
        if _fitting(what, much, width, size):
            height += size * LINE
        else:
            small, whats, muches = _in_lines(what, much, width, size)
            height += (len(whats) + len(muches)) * small * LINE
    return height


def _in_lines(what: str, much: str, width: float, size: float) -> tuple[float, list[str], list[str]]:
    """Type size and lines of a row that one line has no room for."""
    small = size * _SMALLER
    whats, found = look.wrapped(what, small, width), _SYMBOL.match(what)
    if found and found[1]:
        # What is wrapped has lost the gap that sets a sign apart.
        sign = f"{found[2]}_{found[3]}"
        whats[-1] = f"{whats[-1].removesuffix(sign).rstrip()}  {sign}"
    return small, whats, look.wrapped(much, small, width, bold=True)


def _fitting(what: str, much: str, width: float, size: float) -> float:
    """The type size in which the row fits in one line; 0 where it would be too small beside the others."""
    fitting = size
    while _wide(what, much, fitting) > width:
        fitting -= 0.25
        if fitting < max(size * _SMALLER, _SMALLEST):
            return 0.0
    return fitting


def _wide(what: str, much: str, size: float) -> float:
    return look.text_size(what, size, what.startswith("!"))[0] + _APART + look.text_size(much, size, True)[0]


def largest(words: str, width: float, size: float) -> float:
    """The largest type up to `size` in which the words are no wider than this many mm."""
    while size > _SMALLEST and look.text_size(words, size, True)[0] > width:
        size -= 0.5
    return size


def trimmed(words: str, width: float, size: float) -> str:
    """The words, cut short with an ellipsis where they are wider than this many mm in this type."""
    if look.text_size(words, size, True)[0] <= width:
        return words
    while words and look.text_size(f"{words}…", size, True)[0] > width:
        words = words[:-1]
    return f"{words.rstrip()}…"
