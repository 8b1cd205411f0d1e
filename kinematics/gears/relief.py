"""Crown and taper of teeth: what a drawing wants, and what a hob leaves that is led in and out over the face."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from .gear import Gear

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

#: Places over the face at which a displacement is looked at.
_PLACES = 81


@dataclass(frozen=True)
class Relief:
    """`crown`: by how much flanks fall back at either end of the face, in the transverse plane along the base tangent.

    `taper`: by how much a tooth is thicker at the upper end than at the lower, normal to it at the reference cylinder.
    Both in mm.
    """

    crown: float = 0.0
    taper: float = 0.0

    def __bool__(self) -> bool:
        return bool(self.crown or self.taper)

    @classmethod
    def of_displacement(cls, away: Callable[[float], float], gear: Gear) -> Relief:
        """What a hob leaves that stands `away(height)` mm further off than its depth, at each height over the face.

        A flank moves by the displacement times sin α_t along the base tangent; the parabola that fits it best over the
        face has the crown, its slope the taper. Source: profile shift, ISO 21771 (from memory); own derivation.
        Raises `ValueError` without a face width.
        """
        if gear.face_width is None:
            raise ValueError("face width is missing; crown and taper are counted over it, so give it in mm")
        places = [2 * step / (_PLACES - 1) - 1 for step in range(_PLACES)]
        off = [away(gear.face_width * (place + 1) / 2) for place in places]
        square = sum(place**2 for place in places) / _PLACES
        bend = [place**2 - square for place in places]
        hollow = sum(a * b for a, b in zip(off, bend, strict=True)) / sum(b * b for b in bend)
        slope = sum(a * b for a, b in zip(off, places, strict=True)) / sum(b * b for b in places)
        sine = math.sin(math.radians(gear.transverse_pressure_angle_deg))
        return cls(-hollow * sine, 4 * slope * math.tan(math.radians(gear.pressure_angle_n_deg)))

    def deviation(self, heights: Floats, gear: Gear) -> Floats:
        """What such a flank stands out by at these heights, in mm along the base tangent; at mid-face nothing."""
        assert gear.face_width is not None
        place = 2 * heights / gear.face_width - 1
        return -self.crown * place**2 + self.taper / 4 * _per_flank(gear) * place


def _per_flank(gear: Gear) -> float:
    """Along the base tangent for a mm of thickness normal to the tooth at the reference cylinder."""
    return math.cos(math.radians(gear.transverse_pressure_angle_deg)) / math.cos(math.radians(gear.helix_angle_deg))


def measured_relief(heights: Floats, flanks: tuple[Floats, Floats], gear: Gear) -> Relief | None:
    """Crown and taper of a tooth from its two helix traces, in mm along the base tangent; None where none is finished.

    `flanks` stand out of the material, on the counter-clockwise and the clockwise side.
    """
    import numpy as np

    assert gear.face_width is not None
    place = 2 * heights / gear.face_width - 1
    found = []
    for trace in flanks:
        good = np.isfinite(trace)
        if good.sum() < 4:
            return None
        found.append(np.polyfit(place[good], trace[good], 2))
    crown = -float(np.mean([one[0] for one in found]))
    taper = 2 * float(sum(one[1] for one in found)) / _per_flank(gear)
    return Relief(crown, taper)
