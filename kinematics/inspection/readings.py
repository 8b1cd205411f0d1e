"""What was read off a gear: the readings of one record, and what in them is no wave."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from handlead.kinematics.frame.arrays import HoldsArrays

from .passage import Floats


@dataclass(frozen=True, eq=False, repr=False)
class Readings(HoldsArrays):
    """A record's readings: tooth from 1, height above mid-face (of a profile, roll length) in mm, and µm.

    `steps`: each reading is the difference from the tooth before. `by_tooth`: each tooth has its own zero, and all a
    common slope over the face, or over the flank.
    """

    tooth: Floats
    height: Floats
    um: Floats
    steps: bool = False
    by_tooth: bool = False

    def plain(self) -> Floats:
        """What isn't a wave: the zero of the record, or of each tooth, and the common slope (last)."""
        if not self.by_tooth:
            return np.ones((len(self.um), 1))
        zeros = self.tooth[:, None] == np.unique(self.tooth)
        return np.column_stack((zeros.astype(float), self.height))
