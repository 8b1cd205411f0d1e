"""What a bracket asks of the teeth of a set, as whole numbers to hold many sets against at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

NO_LIMIT = -(10**6)


@dataclass(frozen=True)
class GearRules:
    """Limits on the gears of a set as comparisons of whole numbers, true wherever the set can be mounted.

    `passes` holds (pair, gear, room): that pair's sum is at least that gear's teeth and `room` more;
    idlers that may widen the pair have been taken off the room, and widen the centres either way.
    `shaft_limits` holds (gear, most teeth). The centres, in teeth, lie from `centres_low` to `centres_high`.
    """

    pairs: int
    sums_low: tuple[int, ...]
    sums_high: tuple[int, ...]
    passes: tuple[tuple[int, int, int], ...]
    shaft_limits: tuple[tuple[int, int], ...]
    centres_low: int | None
    centres_high: int | None

    def allow(self, gears: Sequence[Any]) -> Any:
        """Whether the rules allow `gears` a, b, c, d …, each a number or an array of them."""
        import numpy as np

        sums = [gears[2 * i] + gears[2 * i + 1] for i in range(self.pairs)]
        allowed = np.ones(np.shape(gears[0]), dtype=bool)
        for sum_, low, high in zip(sums, self.sums_low, self.sums_high, strict=True):
            if low > 0:
                allowed &= sum_ >= low
            if high < 10**6:
                allowed &= sum_ <= high
        for pair, gear, room in self.passes:
            allowed &= sums[pair] >= gears[gear] + room
        for gear, most in self.shaft_limits:
            allowed &= gears[gear] <= most
        if self.centres_low is not None and self.centres_high is not None:
            # The chain closes: no distance is longer than all the others together.
            whole = sum(sums[1:], start=sums[0])
            allowed &= whole >= self.centres_high
            for sum_ in sums:
                allowed &= 2 * sum_ <= whole + self.centres_low
        return allowed
