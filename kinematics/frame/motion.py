"""Motions through time: exact positions of hob, table and slides, phase after phase.

A phase is a stretch in which every rate is constant over one driver: the hob while cutting, or the
rapid motor while the hob stands still. Positions are exact fractions of turns and millimetres,
signed in the frame of the machine, however many turns have gone by.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, fields
from fractions import Fraction

from .guide import Guide


@dataclass(frozen=True)
class Rates:
    """What table (turns) and slides (mm) do in one turn of the hob cutting up, exactly."""

    table: Fraction
    axial: Fraction = Fraction(0)
    tangential: Fraction = Fraction(0)
    radial: Fraction = Fraction(0)

    def __post_init__(self) -> None:
        _exact(self)

    @property
    def per_turn(self) -> Position:
        """What all ends do in that turn."""
        return Position(Fraction(1), self.table, self.axial, self.tangential, self.radial)


@dataclass(frozen=True)
class Position:
    """Where the ends stand, or how far they go: hob and table in turns, slides in mm, exactly.

    `axial` is the height of the hob's centre over the lower face of the blank, `tangential` its
    distance to the right of the middle, `radial` what its centre distance exceeds a stated one by.
    """

    hob: Fraction = Fraction(0)
    table: Fraction = Fraction(0)
    axial: Fraction = Fraction(0)
    tangential: Fraction = Fraction(0)
    radial: Fraction = Fraction(0)

    def __post_init__(self) -> None:
        _exact(self)

    def __add__(self, other: Position) -> Position:
        return Position(*(getattr(self, name) + getattr(other, name) for name in ENDS))

    def __sub__(self, other: Position) -> Position:
        return Position(*(getattr(self, name) - getattr(other, name) for name in ENDS))

    def times(self, factor: Fraction) -> Position:
        """Every end's travel multiplied by `factor`."""
        return Position(*(getattr(self, name) * factor for name in ENDS))

    @property
    def rates(self) -> Rates | None:
        """As travel over a turn of the hob; None while the hob stands still."""
        if not self.hob:
            return None
        return Rates(*(getattr(self, name) / self.hob for name in ENDS if name != "hob"))


#: The five ends that meet the work, in the order in which they are listed everywhere.
ENDS = tuple(field.name for field in fields(Position))


@dataclass(frozen=True)
class Phase:
    """A stretch of constant rates: `per_turn` of the driver, over `turns` turns of it, from `start`.

    `name` says what the stretch is for ("cut", "return"). Raises `ValueError` where `turns` is negative:
    a driver that runs backwards has its sign in `per_turn`.
    """

    start: Position
    per_turn: Position
    turns: Fraction
    name: str = "cut"

    def __post_init__(self) -> None:
        object.__setattr__(self, "turns", Fraction(self.turns))
        if self.turns < 0:
            raise ValueError(f"turns of phase {self.name!r} is {self.turns}; it must be 0 or more")

    def at(self, turns: Fraction) -> Position:
        """Position after `turns` turns of the driver, exactly."""
        return self.start + self.per_turn.times(Fraction(turns))

    @property
    def end(self) -> Position:
        """Position at the end of the phase."""
        return self.at(self.turns)

    @property
    def per_hob_turn(self) -> Position | None:
        """Rates over a turn of the hob; None while the hob stands still."""
        return self.per_turn.times(1 / self.per_turn.hob) if self.per_turn.hob else None

    def reaching(self, end: str, place: Fraction) -> Fraction | None:
        """Turns of the driver after which `end` stands at `place`; None if this phase doesn't bring it there."""
        rate = getattr(self.per_turn, end)
        if not rate:
            return None
        turns = Fraction(Fraction(place) - getattr(self.start, end)) / rate
        return turns if 0 <= turns <= self.turns else None


@dataclass(frozen=True)
class Move:
    """One order to the machine: run at these rates until `end` stands at `place`, or for `turns`."""

    per_turn: Position
    end: str = "axial"
    place: Fraction | None = None
    turns: Fraction | None = None
    name: str = "cut"


@dataclass(frozen=True)
class Ripple:
    """A small periodic error of one end, as a sine over the travel of another.

    `end` is what is displaced, by `amplitude` (turns or mm); `over` is the end whose travel drives the
    error, which repeats `per_unit` times in a turn or a millimetre of it, exactly. The table worm
    with w threads on a wheel of W teeth gives `per_unit` W/w over the table, the wheel itself 1.
    """

    end: str
    over: str
    per_unit: Fraction
    amplitude: float
    phase_turn: float = 0.0

    def __post_init__(self) -> None:
        for name in (self.end, self.over):
            if name not in ENDS:
                raise ValueError(f"end of an imperfection is {name!r}; it must be one of {', '.join(ENDS)}")
        object.__setattr__(self, "per_unit", Fraction(self.per_unit))


@dataclass(frozen=True)
class Tilt:
    """The work's axis leaning off the table's: so many mm aside for a mm of height, `waves` times round a table turn.

    With the table at 0 it leans `phase_turn` of a turn counter-clockwise, seen facing the table, from towards the hob.
    Once a turn is work that stands askew on a table that turns true. At `pivot`, in mm over the blank's lower face,
    the axis stays where it is.
    """

    slope: float
    waves: int = 1
    phase_turn: float = 0.0
    pivot: float = 0.0


#: What displaces an end over the travel of another, a periodic error or a template; or leans the work.
Led = Ripple | Guide | Tilt


@dataclass(frozen=True)
class Motion:
    """Phases in the order in which they happen, the machine's periodic errors, and the templates that lead an end."""

    phases: tuple[Phase, ...]
    ripples: tuple[Led, ...] = ()

    @property
    def end(self) -> Position:
        """Where everything stands when all is done."""
        return self.phases[-1].end

    def named(self, name: str) -> tuple[Phase, ...]:
        """The phases of this name."""
        return tuple(phase for phase in self.phases if phase.name == name)


def follow(moves: Iterable[Move], start: Position | None = None) -> tuple[Phase, ...]:
    """The phases that these moves make, one after the other, from `start` on.

    Raises `ValueError` for a move that never gets where it is ordered to.
    """
    position = start or Position()
    phases = []
    for move in moves:
        turns = move.turns
        if turns is None:
            if move.place is None:
                raise ValueError(f"move {move.name!r} has neither a place to go to nor turns to run for")
            turns = _turns_to(move, position)
        phase = Phase(position, move.per_turn, turns, move.name)
        phases.append(phase)
        position = phase.end
    return tuple(phases)


def _turns_to(move: Move, position: Position) -> Fraction:
    if move.end not in ENDS:
        raise ValueError(f"end of move {move.name!r} is {move.end!r}; it must be one of {', '.join(ENDS)}")
    assert move.place is not None
    way = Fraction(move.place) - getattr(position, move.end)
    rate = getattr(move.per_turn, move.end)
    if not way:
        return Fraction(0)
    if not rate or way / rate < 0:
        how = "stands still" if not rate else "runs the other way"
        raise ValueError(
            f"move {move.name!r}: {move.end} is to go from {float(way - Fraction(move.place)) * -1:g} to "
            f"{float(move.place):g} but {how}"
        )
    return Fraction(way / rate)


def steady_cut(rates: Rates, start: Position, turns: Fraction, name: str = "cut") -> Phase:
    """A phase with the hob as the driver; negative hob turns are not a cut (see `Phase`)."""
    return Phase(start, rates.per_turn, turns, name)


@dataclass(frozen=True)
class Register:
    """How a second cut meets the spaces of the first: by how many pitches it misses, exactly.

    `miss_pitch` lies above −1/2 and up to 1/2, positive where the second cut's spaces stand
    counter-clockwise of the first's, seen facing the table.
    """

    miss_pitch: Fraction

    @property
    def falls_in(self) -> bool:
        """Whether the second cut falls exactly into the spaces of the first."""
        return self.miss_pitch == 0

    def miss_mm(self, reference_diameter: float, teeth: int) -> float:
        """The miss along the reference circle, in mm."""
        return float(self.miss_pitch) * math.pi * reference_diameter / teeth


def register(
    first: Phase, second: Phase, table_per_hob: Fraction, teeth: int, height: Fraction | None = None
) -> Register:
    """Whether the second phase cuts into the spaces that the first one left, at equal slide height.

    `table_per_hob` is the table's turns per turn of the hob with the slide still and `teeth` the
    number of spaces. Both phases are compared where the second one starts its way through heights
    that the first one cut, or at `height`; as long as both make the same helix it doesn't matter where.
    Raises `ValueError` where no height is common to both, or where the hob stands elsewhere along Y.
    """
    height = _common_height(first, second) if height is None else height
    ours, theirs = _at_height(second, height), _at_height(first, height)
    if ours.tangential != theirs.tangential:
        raise ValueError("the tangential slide stands elsewhere in the second cut; its miss is no fraction")
    turned = ours.table - theirs.table - Fraction(table_per_hob) * (ours.hob - theirs.hob)
    # A table that stands further round brings the spaces of the second cut back on the blank.
    miss = -turned * teeth
    return Register(miss - _nearest(miss))


def _common_height(first: Phase, second: Phase) -> Fraction:
    low = max(min(p.start.axial, p.end.axial) for p in (first, second))
    high = min(max(p.start.axial, p.end.axial) for p in (first, second))
    if low > high:
        raise ValueError("the two cuts have no height in common; register can't be told")
    start = second.start.axial
    return min(max(start, low), high)


def _at_height(phase: Phase, height: Fraction) -> Position:
    turns = phase.reaching("axial", height)
    return phase.start if turns is None else phase.at(turns)


def _nearest(value: Fraction) -> int:
    """The nearest whole number; a half goes down, so that what is left over is +1/2."""
    return -((-value + Fraction(1, 2)) // 1) if (value * 2).denominator == 1 else round(value)


def _exact(record: Rates | Position) -> None:
    for name, value in list(vars(record).items()):
        if isinstance(value, float):
            raise TypeError(f"{name} is the float {value!r}; positions and rates must be exact fractions")
        if not isinstance(value, Fraction):
            object.__setattr__(record, name, Fraction(value))
