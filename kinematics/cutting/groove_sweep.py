"""How far a hob at full depth reaches along the work, measured on a blank that its edges were swept through."""

from __future__ import annotations

import numpy as np
from handlead.kinematics.frame.blank import Blank
from handlead.kinematics.frame.motion import Rates

from .field import cut_field, table_turn
from .setting import Grid, Setting

#: Rows looked at, then once more between the two where the reach ends.
_ROWS = 25

#: What an edge must have taken off to count, in mm.
_TOUCHED = 1e-4


def reach_in_sweep(setting: Setting, about: float) -> float | None:
    """The farthest height over the hob's middle at which it takes anything off in one turn of the table, in mm.

    The hob stands at the mid-height of a blank long enough, the slide at rest. `about` is where it is looked for,
    from half of it to half as much again. None where nothing ends there.
    """
    face = 4.0 * about
    blank = Blank(2 * setting.blank.radius, face)
    standing = Setting(Rates(setting.rates.table), setting.hob, blank, setting.swivel_deg, setting.centre_distance)
    motion, low, high = table_turn(standing.rates, blank), 0.5 * about, 1.5 * about
    for _ in range(2):
        rows = np.linspace(low, high, _ROWS)
        field = cut_field(motion, standing, Grid(face / 2 + rows, columns=_columns(setting), fineness=0.7))
        touched = (field.radius < blank.radius - _TOUCHED).any(axis=1)
        if not touched.any() or touched.all():
            return None
        last = int(np.flatnonzero(touched)[-1])
        if last == _ROWS - 1:
            return None
        low, high = float(rows[last]), float(rows[last + 1])
    return (low + high) / 2


def _columns(setting: Setting) -> int:
    """Enough that a touch at the end of a space isn't missed between two of them."""
    spaces = setting.hob.starts / abs(float(setting.rates.table))
    return 1 + 2 * round(min(max(60 * spaces, 1200.0), 9000.0) / 2)
