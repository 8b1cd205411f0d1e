"""When the hob passed each measured point for the last time, in turns of the table."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Passage:
    """How the points of one record passed under the hob.

    `feed` is mm of the slide in a turn of the table, upwards positive; `per_mm` turns of the table between the ends of
    a tooth, for a mm upwards; `way` is 1 where the teeth are counted in the order in which they come to the hob.
    `later` is by how many turns what is measured at a tooth comes after the middle of it: flanks stand a quarter of a
    pitch to either side, spaces half a pitch. Up a profile the table turns by `per_roll` over a mm of roll length,
    and the hob stood lower by `lower` mm; nothing else goes along then.
    """

    teeth: int
    feed: Fraction
    per_mm: float
    way: int = 1
    later: float = 0.0
    per_roll: float = 0.0
    lower: float = 0.0
    up_profile: bool = False

    def into_turn(self, tooth: Floats, along: Floats) -> Floats:
        """Turns of the table at which each point comes under the hob, whole turns apart."""
        rate = self.per_roll if self.up_profile else self.per_mm
        return np.asarray(self.way * (tooth - 1) / self.teeth + self.later + along * rate)

    def passes(self, tooth: Floats, along: Floats, seam: float) -> Floats:
        """Whole turns to be added: that pass made the point, of all, that had the hob nearest its height.

        Where one pass takes over from the next, within a feed, is the `seam`, 0 to 1; no record says it, but it is one
        for all records of a gear. Own derivation.
        """
        height = -along * self.lower if self.up_profile else along
        return np.asarray(np.round(height / float(self.feed) - self.into_turn(tooth, along) - seam))
