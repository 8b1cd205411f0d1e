"""What a proof says of a job's moves, and the moves that would mend them, made before they are advised."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction

from handlead.kinematics.train.moves import Run
from handlead.kinematics.train.setup import SetupMove
from handlead.kinematics.train.solution import SLIDE_ENDS
from handlead.machines.setups.case import Case, face_width_mm
from handlead.machines.setups.clearing import (
    clear_from,
    draw_clear,
    drawn_clear_to,
    how_to_draw_clear,
    how_to_set_in,
    reach,
)
from handlead.machines.setups.findings import Fact, Finding
from handlead.machines.setups.moves import CUTS, UNSEEN_MM, Missed, Moved, lean_of, make_moves, per_hob_turn
from handlead.machines.toml.units import length


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


def _sliding(made: Run) -> str:
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
    if per_hob_turn(moved.cutting(index)) != case.rates:
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
    lean = lean_of(moved.cutting(first), -hob.hand.value * Fraction(hob.starts, moved.teeth)) * moved.teeth
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


