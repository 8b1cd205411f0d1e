"""Keys measured on a cut blank as in a shop: a micrometer over their sides, a dial along them, the dividing between.

Only the field of radii enters, and between which diameters to measure, as an inspector has them from the drawing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from handlead.kinematics.frame import arguments
from handlead.kinematics.frame.blank import Field

if TYPE_CHECKING:
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

#: Heights between the two diameters at which each key is measured.
_LEVELS = 9


@dataclass(frozen=True)
class KeysFound:
    """Keys of a blank: their number, width and how true they are, between two diameters.

    `width` is what a micrometer reads, over what stands out most, as the mean of all keys, and `spread` how far it
    differs from key to key, both in mm. `taper_um` is by how much a key is wider near its foot than near its top, and
    `parallel_um` its greatest width less its least, down the side at any height; `dividing_um` is how far the middle of
    a key stands off its even place along the greater diameter, at worst.
    """

    keys: int
    width: float
    spread: float
    taper_um: float
    parallel_um: float
    dividing_um: float


def gauge_keys(field: Field, low_diameter: float, high_diameter: float) -> KeysFound | None:
    """Measure the keys of a field between two diameters in mm; None where the rows don't all have the same keys."""
    high = arguments.number("diameter", high_diameter, unit="mm", above=0)
    low = arguments.number("diameter", low_diameter, unit="mm", above=0, below=high)
    levels = np.linspace(low, high, _LEVELS) / 2
    rows = zip(field.radius, field.start, strict=True)
    found = [[_keys_at(row, start, level) for level in levels] for row, start in rows]
    counts = {middle.size for row in found for middle, _ in row}
    if len(counts) != 1 or counts == {0}:
        return None
    count = counts.pop()
    # Counted from half a pitch before one key on, so that no key changes its number from row to row.
    origin = float(found[0][0][0][0]) - math.pi / count
    order = [[np.argsort((middle - origin) % (2 * math.pi)) for middle, _ in row] for row in found]
    # Rows, levels, keys.
    width = np.array([[row[n][1][by[n]] for n in range(_LEVELS)] for row, by in zip(found, order, strict=True)])
    middle = np.array([[row[n][0][by[n]] for n in range(_LEVELS)] for row, by in zip(found, order, strict=True)])
    standing = width.max(axis=0)
    over = standing.max(axis=0)
    away = np.angle(np.exp(1j * (middle - 2 * math.pi * np.arange(count) / count)))
    away -= away.mean(axis=-1, keepdims=True)
    return KeysFound(
        count,
        float(over.mean()),
        float(np.ptp(over)),
        1000 * float((standing[0] - standing[-1]).mean()),
        1000 * float(np.ptp(standing, axis=0).mean()),
        1000 * float(np.abs(away.mean(axis=(0, 1))).max()) * high / 2,
    )


def _keys_at(radius: Floats, start: float, level: float) -> tuple[Floats, Floats]:
    """Middles (radians) and widths (mm) of the keys that stand above `level`, in one row."""
    columns = radius.size
    above = radius >= level
    nothing = np.zeros(0)
    if above.all() or not above.any():
        return nothing, nothing
    # From a column that lies in a space, so that no key is cut in two.
    first = int(np.argmin(above))
    turned, stands = np.roll(radius, -first), np.roll(above, -first)
    step = 2 * math.pi / columns
    change = np.diff(stands.astype(np.int8))
    rise, fall = np.flatnonzero(change == 1), np.flatnonzero(change == -1)
    if fall.size < rise.size:
        fall = np.append(fall, columns - 1)
    after = np.append(turned, turned[0])

    def crossing(at: npt.NDArray[np.int64]) -> Floats:
        here, there = after[at], after[at + 1]
        return np.asarray((at + (level - here) / (there - here)) * step)

    left, right = crossing(rise), crossing(fall)
    middle = (left + right) / 2 + first * step + start
    return np.asarray(middle), np.asarray(2 * level * np.sin((right - left) / 2))
