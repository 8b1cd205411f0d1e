"""How a page of the set-up sheet is shared out, from the most generous way on."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Shares:
    """How a page is shared out: type size in points of what is set at the machine, heights in mm of a bracket's
    drawing and of the first cut's drawing with its words."""

    size: float
    drawing: float
    first_cut: float


#: From the most generous on: for a page that holds the light first cut too, and for one that doesn't.
WITH_CUT = (
    Shares(11.0, 30.0, 44.0), Shares(10.5, 30.0, 40.0), Shares(10.5, 26.0, 36.0), Shares(10.0, 24.0, 34.0),
)  # fmt: skip
WITHOUT_CUT = (*WITH_CUT, Shares(9.5, 22.0, 44.0), Shares(9.5, 18.0, 44.0), Shares(9.0, 16.0, 44.0))

#: Height in mm of the first cut's drawing with its words on a second page.
CUT_ALONE = 72.0
