"""What comes back in a transmission error: once in a turn of either gear, with the teeth, and what else is strong."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

#: Multiples of the tooth mesh that are told.
_MULTIPLES = 3

#: Others are told from this share of the whole error on, and no more than so many (own choice).
_STRONG, _MOST = 0.1, 3


@dataclass(frozen=True)
class ErrorWave:
    """A part of the error that comes back: `of` "first", "second", "mesh" or "other"; `um` from crest to trough.

    `per_first` and `per_second` say how often it comes back in a turn of either gear.
    """

    of: str
    per_first: Fraction
    per_second: Fraction
    um: float


def waves(ahead_um: Floats, teeth: tuple[int, int]) -> tuple[ErrorWave, ...]:
    """The waves of an error through the whole cycle: a row for each tooth that meets, a column for each step.

    Empty where it isn't known all the way.
    """
    signal = ahead_um.ravel()
    if not np.isfinite(signal).all():
        return ()
    cycle = ahead_um.shape[0]
    size = 4 * np.abs(np.fft.rfft(signal)) / signal.size
    once = {"first": cycle // teeth[0], "second": cycle // teeth[1]}
    named = [("first", once["first"]), ("second", once["second"])]
    named += [("mesh", cycle * times) for times in range(1, _MULTIPLES + 1)]
    found = [_wave(of, at, teeth, cycle, size) for of, at in named if at < size.size]
    rest = size.copy()
    rest[0] = 0
    # Multiples of the mesh belong to it however many there are.
    rest[::cycle] = 0
    rest[[at for _, at in named if at < size.size]] = 0
    strong = np.argsort(rest)[::-1][:_MOST]
    least = max(_STRONG * float(np.ptp(signal)), 1e-3)
    return (*found, *(_wave("other", int(at), teeth, cycle, size) for at in strong if rest[at] > least))


def _wave(of: str, at: int, teeth: tuple[int, int], cycle: int, size: Floats) -> ErrorWave:
    return ErrorWave(of, Fraction(at * teeth[0], cycle), Fraction(at * teeth[1], cycle), float(size[at]))
