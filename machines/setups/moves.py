"""A job's moves made on its machine, and whether a second cut falls into the spaces of the first."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from typing import Any

from handlead.kinematics.frame.motion import Phase, Position, Rates, register
from handlead.kinematics.law.outcome import predict
from handlead.kinematics.train import moves as passage
from handlead.kinematics.train.moves import MovesMade, Order
from handlead.kinematics.train.solution import SLIDE_ENDS
from handlead.kinematics.work.requirement import gear_of

from .case import Case, face_width_mm
from .clearing import stands_in_blank
from .imperfections import plays_of

#: Moves that leave spaces or are to fall into them.
CUTS = ("cut", "second cut", "infeed")

#: Moves that cut where they run as the first cut does.
RUNS_ON = ("approach", "overrun")

#: A miss that is no more than this, in mm along the reference circle, can't be seen (common practice:
#: finishing stock on a flank is ten times as much).
UNSEEN_MM = 0.002


@dataclass(frozen=True)
class Missed:
    """How a later cut meets the spaces of the first, in pitches, exactly; `number` counts moves from 1.

    `low` and `high` are the misses at the lower and the upper end of what both cut, positive where the later
    cut's spaces stand counter-clockwise of the first's, seen facing the table; the lower one lies between a
    half less and a half more. Both are None where it can't be told, and `why` says why.
    """

    number: int
    name: str
    low: Fraction | None
    high: Fraction | None
    why: str = ""

    @property
    def worst(self) -> Fraction | None:
        """The greater of both misses."""
        if self.low is None or self.high is None:
            return None
        return max(self.low, self.high, key=abs)


@dataclass(frozen=True)
class Moved:
    """The moves of a set-up, made."""

    case: Case
    passage: MovesMade

    @cached_property
    def first_cut(self) -> int | None:
        """Which move leaves the first spaces."""
        return next(
            (index for index, made in enumerate(self.passage.runs) if made.order.name in CUTS), None
        )

    @property
    def slides(self) -> tuple[str, ...]:
        """The slides that the moves know of: the machine's, and the radial one where a hand moves it."""
        ends = self.case.train.ends.keys() | {made.order.end for made in self.passage.runs if made.order.by_hand}
        return tuple(end for end in SLIDE_ENDS if end in ends)

    @cached_property
    def not_clear(self) -> tuple[int, ...]:
        """The moves in which a slide takes a hob that stands in the blank past the face without cutting."""
        return tuple(index for index in range(len(self.passage.runs)) if self._is_not_clear(index))

    def _is_not_clear(self, index: int) -> bool:
        made = self.passage.runs[index]
        return not self._cuts(index) and any(
            _goes_past(phase, self.first_cut is not None and index > self.first_cut)
            and stands_in_blank(self.case, phase.start, phase.end)
            and not self._is_beside(phase)
            for phase in made.phases
        )

    def _is_beside(self, phase: Phase) -> bool:
        """Whether the hob stays beside the wheel, where the first cut came from that crosses it."""
        if self.first_cut is None:
            return False
        first = self.passage.runs[self.first_cut]
        start, end = first.start.tangential, first.end.tangential
        places = (phase.start.tangential, phase.end.tangential)
        return (end > start >= max(places)) or (end < start <= min(places))

    def _cuts(self, index: int) -> bool:
        """Whether a move cuts: by its name, or since it runs on as the first cut does; a hob at rest never does."""
        name, phase = self.passage.runs[index].order.name, self.cutting(index)
        if name in CUTS or self.first_cut is None:
            return bool(phase.per_turn.hob) and name in CUTS
        first = self.cutting(self.first_cut)
        return (
            name in RUNS_ON
            and phase.per_turn.hob * first.per_turn.hob > 0
            and per_hob_turn(phase) == per_hob_turn(first)
        )

    @cached_property
    def missed(self) -> tuple[Missed, ...]:
        """Every later cut against the first."""
        if self.first_cut is None:
            return ()
        runs = self.passage.runs
        later = range(self.first_cut + 1, len(runs))
        return tuple(self._missed(index) for index in later if runs[index].order.name in CUTS)

    @cached_property
    def teeth(self) -> int | None:
        """How many spaces the first cut leaves."""
        rates = None if self.first_cut is None else per_hob_turn(self.cutting(self.first_cut))
        return predict(rates, self.case.job.hob, self.case.swivel_deg).teeth if rates else None

    def cutting(self, index: int) -> Phase:
        """The stretch of a move that cuts: its last, when all play is taken up."""
        return self.passage.runs[index].phases[-1]

    def miss_mm(self, pitches: Fraction) -> float:
        """A miss in mm along the reference circle of the work."""
        gear = gear_of(self.case.job.work)
        return float(pitches) * gear.reference_diameter * math.pi / (self.teeth or gear.teeth)

    def is_kept(self, missed: Missed) -> bool | None:
        """Whether the later cut falls in; None where it can't be told."""
        return None if missed.worst is None else abs(self.miss_mm(missed.worst)) <= UNSEEN_MM

    def _missed(self, index: int) -> Missed:
        assert self.first_cut is not None
        runs, name = self.passage.runs, self.passage.runs[index].order.name
        number = index + 1
        for made in runs[self.first_cut : index + 1]:
            if made.free:
                what = " and ".join(f"the {end}" for end in made.free)
                verb = "is" if len(made.free) == 1 else "are"
                return Missed(number, name, None, None, f"{what} {verb} free while the {made.order.name} runs")
        if not self.teeth:
            return Missed(number, name, None, None, "the first cut leaves no spaces")
        hob = self.case.job.hob
        per_hob = -hob.hand.value * Fraction(hob.starts, self.teeth)
        first, second = self.cutting(self.first_cut), self.cutting(index)
        if not second.per_turn.hob:
            return Missed(number, name, None, None, f"the hob stands still in the {name}")
        try:
            at, to = self._heights(first, second)
            low = register(first, second, per_hob, self.teeth, at).miss_pitch
        except ValueError as why:
            return Missed(number, name, None, None, str(why))
        # What the two helices part by on the way up.
        drift = (lean_of(first, per_hob) - lean_of(second, per_hob)) * self.teeth * (to - at)
        return Missed(number, name, low, low + drift)

    def common_heights(self, missed: Missed) -> tuple[Fraction, Fraction]:
        """Lower and upper end of what a later cut and the first have in common, in mm over the lower face."""
        assert self.first_cut is not None
        return self._heights(self.cutting(self.first_cut), self.cutting(missed.number - 1))

    def _heights(self, first: Phase, second: Phase) -> tuple[Fraction, Fraction]:
        """Lower and upper end of what both cut, of the face where they cut that."""
        low = max(min(phase.start.axial, phase.end.axial) for phase in (first, second))
        high = min(max(phase.start.axial, phase.end.axial) for phase in (first, second))
        if low > high:
            raise ValueError("the two cuts have no height in common")
        face = Fraction(face_width_mm(self.case.job.work))
        if low < face and high > 0:
            low, high = max(low, Fraction(0)), min(high, face)
        return low, high

    def as_json(self) -> dict[str, Any]:
        """The `register` object of a proof: exact numbers as strings, signed in the frame."""
        cuts = [
            {
                "move": missed.number,
                "name": missed.name,
                "falls_in": self.is_kept(missed),
                "miss_pitch": None if missed.worst is None else str(missed.worst),
                "miss_pitch_low": None if missed.low is None else str(missed.low),
                "miss_pitch_high": None if missed.high is None else str(missed.high),
                "miss_mm": None if missed.worst is None else self.miss_mm(missed.worst),
                "why": missed.why,
            }
            for missed in self.missed
        ]
        told = [cut["falls_in"] for cut in cuts]
        falls_in = False if False in told else None if None in told or not told else True
        moves = [
            {
                "name": made.order.name,
                "drive": None if made.order.by_hand else made.order.drive,
                "by_hand": made.order.by_hand,
                "drive_turns": str(sum(phase.turns for phase in made.phases)),
                **{end: str(getattr(made.end, end)) for end in ("hob", "table", *self.slides)},
            }
            for made in self.passage.runs
        ]
        worst = max((it.worst for it in self.missed if it.worst is not None), key=abs, default=None)
        return {
            "falls_in": falls_in,
            "miss_pitch": None if worst is None else str(worst),
            "miss_mm": None if worst is None else self.miss_mm(worst),
            "cuts": cuts,
            "moves": moves,
        }


def _goes_past(phase: Phase, has_cut: bool) -> bool:
    """Whether a slide goes along the face, or takes the hob in.

    Across a wheel that isn't cut yet a hob comes from beside it: how long it is nobody has said.
    """
    start, end = phase.start, phase.end
    along = start.axial != end.axial or (has_cut and start.tangential != end.tangential)
    return along or end.radial < start.radial


def per_hob_turn(phase: Phase) -> Rates | None:
    """Rates over a turn of the hob; None where hob or table stands still."""
    rates = phase.per_turn.rates
    return rates if rates is not None and rates.table else None


def lean_of(phase: Phase, per_hob: Fraction) -> Fraction:
    """Turns of the table per mm of slide beyond what the hob's turning asks of it."""
    rates = phase.per_hob_turn
    if rates is None or not rates.axial:
        return Fraction(0)
    return (rates.table - per_hob) / rates.axial


def make_moves(case: Case) -> Moved | None:
    """The set-up's moves made one after the other; None where the job gives none.

    Raises `FileFault` where levers fight over a link.
    """
    moves = case.setup.moves
    if not moves:
        return None
    start = Position(**dict(moves[0].start))
    return Moved(case, passage.run(_orders(case), start, plays_of(case)))


def _orders(case: Case) -> Iterator[Order]:
    setup = case.setup
    for move in setup.moves:
        setup = replace(setup, levers={**setup.levers, **move.levers})
        yield Order(
            move.name,
            case.job.machine.set_up(setup) if setup.levers != case.setup.levers else case.train,
            "" if move.by_hand else move.drive or setup.drive,
            move.end,
            move.place,
            move.turns,
            move.backwards,
            move.by_hand,
        )
