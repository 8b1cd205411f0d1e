"""When the hob passed each measured point for the last time, in turns of the table."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Passage:
    """How a gear of `teeth` passed under the hob.

    `feed` is mm of the slide in a turn of the table, upwards positive; `per_mm` turns of the table between the ends of
    a tooth, for a mm upwards; `way` is 1 where the teeth are counted in the order in which they come to the hob.
    """

    teeth: int
    feed: Fraction
    per_mm: float
    way: int = 1

    def turns(self, tooth: Floats, height: Floats, seam: float) -> Floats:
        """Turns of the table at which each point was cut: that pass, of all, with the hob nearest its height.

        Where one pass takes over from the next, within a feed, is the `seam`, 0 to 1; no record says it.
        Own derivation.
        """
        into = self.way * (tooth - 1) / self.teeth + height * self.per_mm
        return into + np.round(height / float(self.feed) - into - seam)
