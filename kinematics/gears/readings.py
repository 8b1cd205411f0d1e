"""What is read off a worn gear, the systems of teeth that it is held against, and what is found."""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

from handlead.kinematics.frame.words import Hand

#: One is sure where all others together have less than this share, and each reading lies within so many allowances.
DOUBT, _AGREES = 0.01, 2.5


@dataclass(frozen=True)
class ToothSystem:
    """A published system of teeth: `module` in mm, in the plane across the axis where `transverse`, else normal.

    Heights are in modules. `rank` is 0 for what is common and the higher the rarer it is, in squares of an allowance.
    `name` is how the trade writes it, `circular_pitch_in` the inches from tooth to tooth where it goes by them.
    """

    name: str
    module: Fraction
    pressure_angle_deg: float
    addendum: float
    dedendum: float
    transverse: bool = False
    diametral_pitch: Fraction | None = None
    circular_pitch_in: Fraction | None = None
    rank: float = 0.0


@dataclass(frozen=True)
class Taken:
    """A reading: its value, by how much it may be off, and by how much wear may have made it smaller besides."""

    value: float
    within: float
    worn: float = 0.0

    def off(self, true: float) -> float:
        """How far the reading lies from what it would be if all were new, in allowances; below it where worn."""
        miss = self.value - true
        return miss / (self.within if miss > 0 else math.hypot(self.within, self.worn))


@dataclass(frozen=True)
class Sample:
    """A gear in the hand: lengths in mm, angles in degrees; None for what wasn't measured.

    `spans` are over so many teeth, `balls` over two balls of so large a diameter. `lean` is the angle of the teeth
    at the outside, `lead` the travel of a whole turn. `leans` is None where nobody looked. Where `in_inches`, balls to
    be measured over next are of a fraction of an inch.
    """

    teeth: int
    leans: bool | None = None
    hand: Hand | None = None
    face_width: float | None = None
    outside: Taken | None = None
    root: Taken | None = None
    spans: tuple[tuple[int, Taken], ...] = ()
    balls: tuple[tuple[float, Taken], ...] = ()
    lean: Taken | None = None
    lead: Taken | None = None
    mate_teeth: int | None = None
    centre_distance: Taken | None = None
    in_inches: bool = False

    @property
    def readings(self) -> int:
        """How many readings say something of the teeth's size."""
        alone = (self.outside, self.root, self.centre_distance, self.lean or self.lead)
        return sum(each is not None for each in alone) + len(self.spans) + len(self.balls)


@dataclass(frozen=True)
class Agreement:
    """A reading beside what a system would have; `off` is the miss in allowances, smaller than new below 0.

    `ball` is the diameter of the balls it was taken over. A reading that doesn't `binds` may lie elsewhere by design.
    """

    what: str
    taken: float
    new: float
    off: float
    ball: float | None = None
    binds: bool = True


@dataclass(frozen=True)
class Candidate:
    """A system that the sample may have: its helix angle and shift, and how well all agrees.

    `profile_shift` is that of the drawing, 0 where the readings allow it; `measured_shift` is that for which the
    teeth are as thick as they are now, None where no thickness was taken. `cost` is in squares of an allowance.
    """

    system: ToothSystem
    helix_angle_deg: float
    profile_shift: float
    measured_shift: float | None
    cost: float
    agreements: tuple[Agreement, ...]
    share: float = 0.0

    @property
    def fits(self) -> bool:
        """Whether every reading lies within reach of its allowance."""
        return all(abs(each.off) <= _AGREES for each in self.agreements if each.binds)


@dataclass(frozen=True)
class NextReading:
    """What to measure next, and what it would read for each of the candidates that are told apart."""

    what: str
    unit: str
    values: tuple[tuple[Candidate, float], ...]
    ball: float | None = None


@dataclass(frozen=True)
class Identity:
    """The systems that the sample may have, likeliest first, and what would tell them apart."""

    sample: Sample
    candidates: tuple[Candidate, ...]
    is_sure: bool
    next_reading: NextReading | None
