"""The terminal that people read, and the caution that goes with everything they do at the machine."""

from __future__ import annotations

from rich.console import Console

CAUTION = (
    "Isolate and lock out before opening a gear cover; guards on, no gloves near a turning hob; make the "
    "first cut light and count its marks. The machine's manual and your local rules come first."
)

#: Columns of a report that goes into a file or another program.
PLAIN_WIDTH = 110


def console() -> Console:
    """The terminal, or a plain stream when the output goes elsewhere."""
    out = Console(highlight=False, markup=False)
    return out if out.is_terminal else Console(highlight=False, markup=False, width=PLAIN_WIDTH)
