"""How large the fault of each part must be that may have left a wave: so that it comes nearest to it in the records.

Two parts of one size on the flank may leave very different things in a record: of a wave that comes back about as often
as there are teeth, pitch shows next to nothing, and of one that moves both flanks together a ball shows none.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from handlead.kinematics.inspection.choosing import seams
from handlead.kinematics.inspection.looked import Looked, pairs
from handlead.kinematics.inspection.passage import WaveSource

#: Of the seams that the fit tries, every so many.
_EVERY = 4


def sizes_of(
    looked: Sequence[Looked], sources: Sequence[WaveSource], um: Sequence[Sequence[float]]
) -> list[float]:
    """How much of each source, alone, comes nearest to a wave that leaves so many µm at the readings of each record."""
    wave = np.concatenate([one.leveled(np.array(values)) for one, values in zip(looked, um, strict=True)])
    sizes, least = np.zeros(len(sources)), np.full(len(sources), np.inf)
    for seam in seams(sum(one.size for one in looked))[::_EVERY]:
        columns = np.concatenate([one.leveled(pairs(one.made(sources, seam)[1])) for one in looked])
        for at in range(len(sources)):
            two = columns[:, 2 * at : 2 * at + 2]
            pair, *_ = np.linalg.lstsq(two, wave, rcond=None)
            left = float(np.sum((wave - two @ pair) ** 2))
            if left < least[at]:
                sizes[at], least[at] = float(np.hypot(*pair)), left
    return [float(one) for one in sizes]
