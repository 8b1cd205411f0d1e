"""Two halves of a double helical gear on one blank: the groove between them, and the apex where their teeth meet.

A half is cut by a hob that runs out into the groove: its middle goes past the half's inner face until the flanks are
finished there, and its tips reach on from there, towards the other half, as far as they would on the way in.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from handlead.kinematics.frame import arguments


@dataclass(frozen=True)
class Groove:
    """Width in mm that the groove must have, with the hob at full depth.

    `reach` is how far from its middle the hob meets the outside of the other half, `overrun` how far its middle must go
    past the inner face of its own. The slide may feed into the groove, or begin in it: then the hob must stand clear of
    both halves there.
    """

    reach: float
    overrun: float

    @property
    def into(self) -> float:
        """Feeding into the groove: the overrun, and the reach from there."""
        return self.overrun + self.reach

    @property
    def out_of(self) -> float:
        """Beginning in the groove, clear of both halves: the reach to either side."""
        return 2 * self.reach

    def needed(self, *, into: bool) -> float:
        """What it takes for a slide that feeds that way."""
        return self.into if into else max(self.out_of, self.into)


def apex_shift(error: float, helix_angle_deg: float) -> float:
    """How far along the axis the apex goes for an error of the second half along the reference circle, both in mm.

    The middles of two spaces that lean alike to either side, x = z tan b and x = e - z tan b, meet at z = e / (2 tan
    b). Own derivation. A pair whose pinion may float runs with its load shared after it has gone so far.
    """
    angle = arguments.number("helix angle", helix_angle_deg, unit="deg", above=0, below=90)
    return arguments.number("error along the circle", error, unit="mm") / (2 * math.tan(math.radians(angle)))
