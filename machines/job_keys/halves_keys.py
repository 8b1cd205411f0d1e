"""Words of the halves of a double helical gear, for the table of keys and for what reads them."""

from __future__ import annotations

#: Where a half lies on the machine, and the other one.
HALVES = {"lower": "upper", "upper": "lower"}

#: How the halves may meet at the apex.
MEETS = ("space on space", "space on tooth")
