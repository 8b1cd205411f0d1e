"""Words of work that is toothed already, for the table of keys and for what reads them."""

from __future__ import annotations

#: Why there are teeth on the blank.
BECAUSE = ("worn", "gashed", "gears were out")

#: The flanks of a tooth by the way in which they look, seen facing the table.
FLANKS = ("clockwise", "counter-clockwise")

#: Which flanks must come clean.
CLEANED = ("both", *FLANKS)
