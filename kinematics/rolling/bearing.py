"""Where a pair bears, as marking blue would show it: wherever flanks come nearer than its film is thick."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from .roll import RolledSide

Floats = npt.NDArray[np.float64]

#: Thickness of a thin film of marking blue, in mm (common practice: some hundredths of the thickness of a hair).
FILM = 0.006

#: A third of the face bears where this share of what the fullest third has is blue (own choice).
_BEARS = 0.25


@dataclass(frozen=True)
class Bearing:
    """What is blue of the flank that meets the mate's: shares of its length, of its height, and of its area.

    `thirds` are the shares of area of the lower, middle and upper third of the common face, in that order.
    """

    length: float
    height: float
    area: float
    thirds: tuple[float, float, float]

    @property
    def bearing_thirds(self) -> tuple[bool, bool, bool]:
        """Which thirds of the face bear."""
        least = _BEARS * max(self.thirds)
        low, middle, high = (share > 0 and share >= least for share in self.thirds)
        return low, middle, high


def blued(rolled: RolledSide, film: float = FILM) -> Floats:
    """The flank through a film of blue: 1 where it bears, 0 where it only meets, NaN where nothing meets it."""
    return np.where(np.isfinite(rolled.apart), np.where(rolled.apart <= film, 1.0, 0.0), np.nan)


def bearing(rolled: RolledSide, film: float = FILM) -> Bearing:
    """How much of the flank is blue."""
    shown = blued(rolled, film)
    meets, blue = np.isfinite(shown), shown == 1.0
    if not meets.any():
        return Bearing(0.0, 0.0, 0.0, (0.0, 0.0, 0.0))
    along, up = blue.any(axis=0)[meets.any(axis=0)], _by_length(rolled, blue, meets)
    thirds = [
        _share(part, known)
        for part, known in zip(np.array_split(blue, 3, axis=1), np.array_split(meets, 3, axis=1), strict=True)
    ]
    return Bearing(float(along.mean()), up, _share(blue, meets), (thirds[0], thirds[1], thirds[2]))


def _share(blue: npt.NDArray[np.bool_], meets: npt.NDArray[np.bool_]) -> float:
    return float(blue.sum() / meets.sum()) if meets.any() else 0.0


def _by_length(rolled: RolledSide, blue: npt.NDArray[np.bool_], meets: npt.NDArray[np.bool_]) -> float:
    """Share of the height: the most of it that is blue in any section."""
    known = meets.sum(axis=0)
    return float(np.max(blue.sum(axis=0)[known > 0] / known[known > 0]))
