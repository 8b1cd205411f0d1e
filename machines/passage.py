"""A job's moves made on its machine, and whether a second cut falls into the spaces of the first."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from typing import Any

from handlead.kinematics import passage
from handlead.kinematics.motion import Phase, Position, Rates, register
from handlead.kinematics.outcome import predict
from handlead.kinematics.passage import Order, Passage
from handlead.kinematics.requirement import gear_of
from handlead.kinematics.solution import SLIDE_ENDS

from .case import Case, face_width_mm
from .clearing import (
    clear_from,
    draw_clear,
    drawn_clear_to,
    how_to_draw_clear,
    how_to_set_in,
    reach,
    stands_in_blank,
)
from .findings import Fact, Finding
from .imperfections import plays_of
from .job_file import SetupMove
from .units import length

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
    passage: Passage

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
            and _per_hob_turn(phase) == _per_hob_turn(first)
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
        rates = None if self.first_cut is None else _per_hob_turn(self.cutting(self.first_cut))
        return predict(rates, self.case.job.hob, self.case.swivel_deg).teeth if rates else None

    def cutting(self, index: int) -> Phase:
        """The stretch of a move that cuts: its last, when all play is taken up."""
        return self.passage.runs[index].phases[-1]

    def miss_mm(self, pitches: Fraction) -> float:
        """A miss in mm along the reference circle of the work."""
        gear = gear_of(self.case.job.work)
        return float(pitches) * gear.reference_diameter * 3.141592653589793 / (self.teeth or gear.teeth)

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
        drift = (_lean(first, per_hob) - _lean(second, per_hob)) * self.teeth * (to - at)
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


def _per_hob_turn(phase: Phase) -> Rates | None:
    rates = phase.per_hob_turn
    if rates is None or not rates.table:
        return None
    return Rates(rates.table, rates.axial, rates.tangential, rates.radial)


def _lean(phase: Phase, per_hob: Fraction) -> Fraction:
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


# ---------------------------------------------------------------- findings


def check_moves(moved: Moved) -> Iterator[Finding]:
    """What the moves come to: a move that can't be made, play in a cut, and whether the cuts meet."""
    yield from _stopped(moved)
    yield from _hob_not_clear(moved)
    yield from _cut_otherwise(moved)
    yield from _play_in_a_cut(moved)
    yield from _beyond_travel(moved)
    for missed in moved.missed:
        yield _register(moved, missed)


def _stopped(moved: Moved) -> Iterator[Finding]:
    stop = moved.passage.stop
    if stop is None:
        return
    advice = {
        "locked-train": "Open one of them before this move.",
        "worm-driven-backwards": "Open a clutch between the worm and the drive before this move.",
        "never-gets-there": "See which clutches are in; reverse the feed or the drive, or give another place.",
    }
    yield Finding(
        stop.code,
        "error",
        f"Move {len(moved.passage.runs) + 1}, {stop.order.name}, can't be made: {stop.why}.",
        advice[stop.code],
        {"move": len(moved.passage.runs) + 1},
    )


def _hob_not_clear(moved: Moved) -> Iterator[Finding]:
    """A slide that takes a hob in the blank past the face: it cuts across the teeth, or breaks hob and work."""
    if not moved.not_clear:
        return
    units = moved.case.job.units
    mended = hob_drawn_clear(moved)
    for index in moved.not_clear:
        made = moved.passage.runs[index]
        goes_in = made.end.radial < made.start.radial and made.end.axial == made.start.axial
        how = "takes the hob in over the face without cutting" if goes_in else (
            f"takes the {_sliding(made)} slide past the face with the hob standing in the blank"
        )
        place = length(float(clear_from(moved.case)), units, 2)
        clear = f", more than {place} off full depth" if not moved.case.sizes.wanting else ""
        yield Finding(
            "hob-not-clear",
            "error",
            f"Move {index + 1}, {made.order.name}, {how}.",
            "Bring the slide to its start, off the face, before the depth is set."
            if goes_in
            else f"Before it, {draw_clear(_standing(moved, index))}{clear}"
            f"{'; set the depth again at the start of the next cut' if mended else ''}.",
            {"move": index + 1, "clear_from_mm": clear_from(moved.case)},
        )


def _sliding(made: passage.Run) -> str:
    return "axial" if made.start.axial != made.end.axial else "tangential"


def _standing(moved: Moved, index: int) -> Case:
    """The set-up with its levers as they stand before a move."""
    setup = moved.case.setup
    levers = dict(setup.levers)
    for move in setup.moves[:index]:
        levers |= move.levers
    return Case.of(moved.case.job, replace(setup, levers=levers))


def hob_drawn_clear(moved: Moved) -> tuple[SetupMove, ...] | None:
    """The same moves with the hob drawn clear before each that takes it past the face, and set in before the next cut.

    They have been made: None where the hob still isn't clear, a move can't be made, or a cut that fell into the
    spaces of the first no longer does.
    """
    case = moved.case
    moves: list[SetupMove] = []
    back: Fraction | None = None
    for index, move in enumerate(case.setup.moves[: len(moved.passage.runs)]):
        if index in moved.not_clear and back is None:
            back = moved.passage.runs[index].start.radial
            moves += _radially(_standing(moved, index), "withdrawal", drawn_clear_to(case), move)
        elif move.name in CUTS and back is not None:
            moves += _radially(_standing(moved, index), "approach", back, move)
            back = None
        else:
            moves.append(move)
    tried = make_moves(Case.of(case.job, replace(case.setup, moves=tuple(moves))))
    if tried is None or tried.passage.stop or tried.not_clear:
        return None
    kept = [moved.is_kept(missed) for missed in moved.missed]
    return tuple(moves) if [tried.is_kept(missed) for missed in tried.missed] == kept else None


def _radially(case: Case, name: str, place: Fraction, before: SetupMove) -> list[SetupMove]:
    """A radial move made as this machine makes it, and the move before which it stands, its levers put back."""
    how = (how_to_draw_clear if name == "withdrawal" else how_to_set_in)(case)
    start, levers = before.start, {**how.stands, **before.levers}
    radially = SetupMove(
        name, "radial", place, drive=how.drive, levers=how.levers, start=start, by_hand=how.by_hand
    )
    return [radially, replace(before, levers=levers, start={})]


def _cut_otherwise(moved: Moved) -> Iterator[Finding]:
    """The first cut must be run with the set-up that the rest of the proof is about."""
    case, index = moved.case, moved.first_cut
    if index is None or case.rates is None or moved.passage.runs[index].free:
        return
    if _per_hob_turn(moved.cutting(index)) != case.rates:
        yield Finding(
            "first-cut-otherwise",
            "warning",
            f"Move {index + 1}, {moved.passage.runs[index].order.name}, isn't run with the set-up as [setup] has it: "
            "count, hand and lead above are the set-up's, not this cut's.",
            "Put the levers and the drive of the first cut under [setup], and those of other moves before them.",
            {"move": index + 1},
        )


def _play_in_a_cut(moved: Moved) -> Iterator[Finding]:
    face = face_width_mm(moved.case.job.work)
    for index, made in enumerate(moved.passage.runs):
        if made.order.name in CUTS and any(
            phase.per_turn != made.phases[-1].per_turn and 0 < phase.end.axial < face for phase in made.phases[:-1]
        ):
            yield Finding(
                "play-in-a-cut",
                "warning",
                f"In move {index + 1}, {made.order.name}, play is still being taken up with the hob on the face.",
                "Start farther off the face, so that all play is taken up before the hob touches.",
                {"move": index + 1},
            )


def _beyond_travel(moved: Moved) -> Iterator[Finding]:
    for name in SLIDE_ENDS:
        if name not in moved.case.train.ends:
            continue
        part = moved.case.train.ends[name].part
        stroke = moved.case.job.machine.limits.travel.get(part)
        places = [getattr(at, name) for made in moved.passage.runs for at in (made.start, made.end)]
        if stroke is not None and places and max(places) - min(places) > stroke:
            over, most = (
                length(float(each), moved.case.job.units, 1) for each in (max(places) - min(places), stroke)
            )
            yield Finding(
                "beyond-limits",
                "error",
                f'The moves take "{part}" over {over}; it has {most}.',
                "Keep to what the machine's manual allows.",
                {"part": part, "travel_mm": max(places) - min(places), "greatest_mm": stroke},
            )


def _register(moved: Moved, missed: Missed) -> Finding:
    kept, which = moved.is_kept(missed), f"Move {missed.number}, {missed.name},"
    facts: dict[str, Fact] = {"move": missed.number, "miss_pitch_low": missed.low, "miss_pitch_high": missed.high}
    if kept is None:
        return Finding(
            "register-lost",
            "error",
            f"{which} can't be counted on to fall into the spaces of the first cut: {missed.why}.",
            _advice(moved, missed),
            facts,
        )
    if kept:
        exactly = "exactly " if missed.worst == 0 else ""
        return Finding(
            "register-kept",
            "note",
            f"{which} falls {exactly}into the spaces of the first cut"
            f"{'' if exactly else ', within ' + length(UNSEEN_MM, moved.case.job.units)}.",
            facts=facts,
        )
    assert missed.low is not None and missed.high is not None
    return Finding(
        "register-lost",
        "error",
        f"{which} misses the spaces of the first cut by {_words(moved, missed)}.",
        _advice(moved, missed),
        facts | {"miss_mm": moved.miss_mm(max(missed.low, missed.high, key=abs))},
    )


def _words(moved: Moved, missed: Missed) -> str:
    assert missed.low is not None and missed.high is not None
    low = _miss(moved, missed.low)
    if missed.low == missed.high:
        return low
    return f"{low} at the lower end of the cut and by {_miss(moved, missed.high)} at the upper"


def _miss(moved: Moved, pitches: Fraction) -> str:
    if not pitches:
        return "nothing"
    size = abs(pitches)
    exact = f"{size} = " if 1 < size.denominator < 1000 else ""
    way = "counter-clockwise" if pitches > 0 else "clockwise"
    size_mm = length(abs(moved.miss_mm(pitches)), moved.case.job.units)
    return f"{exact}{float(size):.4g} of a pitch ({size_mm}, {way} seen facing the table)"


def _advice(moved: Moved, missed: Missed) -> str:
    found = next((same for same in (False, True) if _falls_in(moved, brought_back(moved, missed, same))), None)
    if found is None:
        return "See to the other findings first; this follows from them."
    clear = draw_clear(moved.case)
    levers = ", with the levers as they stood in the first" if found else ""
    advice = (
        f"{clear[0].upper()}{clear[1:]}, bring the slide back through the same gears, nothing opened, set the depth "
        f"again, and take up all play before the cut{levers}"
    )
    step = "" if found else _coincidence(moved, missed)
    return f"{advice}{'; or, the hob clear, ' + step if step else ''}."


def brought_back(moved: Moved, missed: Missed, same_levers: bool) -> tuple[SetupMove, ...]:
    """The moves as far as the first cut, the slide brought back through its gears with the hob clear, and a later cut.

    The later cut runs with its own levers, or with the first's. () where the first cut moves no slide along the work.
    """
    first, setup = moved.first_cut, moved.case.setup
    assert first is not None
    made, order = moved.passage.runs[first], setup.moves[first]
    slide = next((end for end in ("axial", "tangential") if getattr(made.start, end) != getattr(made.end, end)), None)
    if slide is None:
        return ()
    case = _standing(moved, first + 1)
    start, end = getattr(made.start, slide), getattr(made.end, slide)
    reached = reach(case, made.end.radial)
    if slide == "axial" and reached and start != end:
        # Off the face, where the depth may be set.
        low, high = Fraction(math.floor(reached[0])), Fraction(math.ceil(reached[1]))
        start = min(start, low) if end > start else max(start, high)
    levers = {} if same_levers else _put_over(case, _standing(moved, missed.number))
    back = SetupMove("return", slide, start, drive=order.drive, backwards=not order.backwards)
    again = SetupMove("second cut", slide, end, drive=order.drive, backwards=order.backwards, levers=levers)
    return (
        *setup.moves[: first + 1],
        *_radially(case, "withdrawal", made.end.radial + drawn_clear_to(case), back),
        *_radially(case, "approach", made.end.radial, again),
    )


def _put_over(before: Case, after: Case) -> dict[str, str]:
    """The levers that stand elsewhere afterwards."""
    machine = before.job.machine
    stood = machine.positions(before.setup)
    return {lever: place for lever, place in machine.positions(after.setup).items() if place != stood[lever]}


def _falls_in(moved: Moved, moves: tuple[SetupMove, ...]) -> bool:
    """Whether these moves can be made, the hob clear, and their last cut falls into the spaces of the first."""
    case = moved.case
    tried = make_moves(Case.of(case.job, replace(case.setup, moves=moves))) if moves else None
    if tried is None or tried.passage.stop or tried.not_clear or not tried.missed:
        return False
    return bool(tried.is_kept(tried.missed[-1]))


def _coincidence(moved: Moved, missed: Missed) -> str:
    """How far the slide must come back alone for the spaces to coincide, where it came back alone.

    With hob and table at rest on the return, the spaces of both cuts part by the rest of the table's
    turning that is the helix: over a whole number of axial pitches they come together again. Source: own
    derivation; common practice for work without a differential.
    """
    first = moved.first_cut
    if first is None or missed.low is None or missed.low != missed.high or not moved.teeth:
        return ""
    between = moved.passage.runs[first + 1 : missed.number - 1]
    hob = moved.case.job.hob
    lean = _lean(moved.cutting(first), -hob.hand.value * Fraction(hob.starts, moved.teeth)) * moved.teeth
    came_back_alone = any(made.end.axial != made.start.axial for made in between) and all(
        made.end.hob == made.start.hob and made.end.table == made.start.table
        for made in between
        if made.end.axial != made.start.axial
    )
    if not came_back_alone or not lean:
        return ""
    pitch = abs(1 / lean)
    rates = moved.cutting(first).per_turn
    turns = abs(pitch * rates.table / rates.axial)
    return (
        "let the slide come back alone by a whole number of axial pitches, "
        f"{length(float(pitch), moved.case.job.units, 5)} each "
        f"({float(turns):.6g} turns of the table)"
    )


