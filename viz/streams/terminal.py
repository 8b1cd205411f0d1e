"""The terminal that people read, and the caution that goes with everything they do at the machine."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from handlead.machines.toml.visible import visible
from rich.console import Console, ConsoleOptions, RenderableType
from rich.padding import Padding
from rich.segment import Segment
from rich.table import Table
from rich.text import Text

from .plain import plain

CAUTION = (
    "Isolate and lock out before opening a gear cover; guards on, no gloves near a turning hob; make the "
    "first cut light and count its marks. The machine's manual and your local rules come first."
)

#: Columns of a report that goes into a file or another program.
PLAIN_WIDTH = 110


class Terminal(Console):
    """A console that shows nothing but visible text, in signs that its encoding has.

    Names and titles come from files: what is in them must not move the cursor, or be taken for colour.
    """

    def print(self, *objects: Any, **how: Any) -> None:
        """Print as the console does."""
        super().print(*map(self._shown, objects), **how)

    def render(self, renderable: RenderableType, options: ConsoleOptions | None = None) -> Iterable[Segment]:
        """The pieces of what is printed; of something that `print` doesn't know, made visible here."""
        for piece in super().render(renderable, options):
            yield piece if piece.control else Segment(self._readable(piece.text), piece.style)

    def on_broken_pipe(self) -> None:
        """Whoever runs the command says what follows from it."""
        raise BrokenPipeError

    def _readable(self, text: str) -> str:
        return plain(visible(text, keep="\n"), self.encoding)

    def _shown(self, it: Any) -> Any:
        """The same with readable words, before room is made for them."""
        match it:
            case str():
                return self._readable(it)
            case Text():
                return self._text(it)
            case Padding():
                it.renderable = self._shown(it.renderable)
            case Table():
                for column in it.columns:
                    column.header = self._shown(column.header)
                    column._cells[:] = map(self._shown, column._cells)
        return it

    def _text(self, text: Text) -> Text:
        if self._readable(text.plain) == text.plain:
            return text
        pieces = [(self._readable(piece.text), piece.style or "") for piece in text.render(self)]
        return Text.assemble(*pieces)


def console() -> Terminal:
    """The terminal, or a plain stream when the output goes elsewhere."""
    out = Terminal(highlight=False, markup=False, emoji=False)
    return out if out.is_terminal else Terminal(highlight=False, markup=False, emoji=False, width=PLAIN_WIDTH)
