"""The hob drawn clear of the work: how this machine does it, how far it must go, and where it stands in the blank.

Before a slide goes back past the work, the hob is drawn clear; whatever advises or orders such a return says so in the
words made here.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from fractions import Fraction

from handlead.kinematics.frame.motion import Position
from handlead.kinematics.practice import cycle
from handlead.kinematics.train.moves import running, solve_by_hand
from handlead.kinematics.train.solution import Solution
from handlead.kinematics.work.sizes import centres_at_depth, hob_tip_diameter
from handlead.machines.toml.errors import FileFault

from .case import Case, face_width_mm

#: How far beyond the touch a hob drawn clear is taken, in mm (own choice).
CLEAR_MM = 2


@dataclass(frozen=True)
class Clearing:
    """How the hob is drawn clear: these levers are put over, then the `drive` runs, or a handwheel is turned.

    `drive` is None by hand. `stands` says where the same levers stood before.
    """

    drive: str | None = None
    levers: Mapping[str, str] = field(default_factory=dict)
    stands: Mapping[str, str] = field(default_factory=dict)

    @property
    def by_hand(self) -> bool:
        """Whether no drive moves the radial slide."""
        return self.drive is None

    @property
    def how(self) -> str:
        """How it is done, to stand behind "draw the hob clear"."""
        put = " and ".join(f'"{lever}" to "{position}"' for lever, position in self.levers.items())
        levers = f"lever{'s' if len(self.levers) > 1 else ''} {put}" if put else ""
        if self.by_hand:
            return f"by hand, {levers}" if levers else "by hand"
        return f'by the drive "{self.drive}"{f", {levers}" if levers else ""}'


def how_to_draw_clear(case: Case) -> Clearing:
    """How the hob is drawn clear with the set-up as it stands, so that table and hob keep their places.

    With the fewest levers put over, no more than two, that let a drive move the radial slide away from the work and no
    other slide; where no drive does, or only so that the second cut would miss the spaces of the first, by hand.
    """
    return next(_driven(case, 1), None) or next(_by_hand(case), Clearing())


def how_to_set_in(case: Case) -> Clearing:
    """How it is brought in again, judged as `how_to_draw_clear`; by hand first, since a depth is set by its dial."""
    return next(_by_hand(case), None) or next(_driven(case, -1), Clearing())


def draw_clear(case: Case) -> str:
    """The advice to draw the hob clear, in words for the middle of a sentence."""
    return f"draw the hob clear {how_to_draw_clear(case).how}"


def _driven(case: Case, way: int) -> Iterator[Clearing]:
    if "radial" not in case.train.ends:
        return
    for moved, levers in levers_put_over(case):
        # One that leaves the hob at rest first: it is quicker, and runs either way.
        solved = [running(moved.train, drive) for drive in moved.train.drives]
        for solution in sorted(solved, key=lambda one: bool(one.end_rate("hob"))):
            rate = solution.end_rate("radial") or 0
            runs = rate * way > 0 or (rate and not solution.end_rate("hob"))
            free = None in (solution.end_rate("hob"), solution.end_rate("table"))
            if runs and not free and not solution.backdriven and _keeps_places(case, solution):
                yield Clearing(solution.drive, levers, _standing(case, levers))


def _by_hand(case: Case) -> Iterator[Clearing]:
    for moved, levers in levers_put_over(case):
        if _keeps_places(case, solve_by_hand(moved.train, "radial")):
            yield Clearing(None, levers, _standing(case, levers))


def _keeps_places(case: Case, solution: Solution) -> bool:
    """Whether the radial slide moves alone, and the table only as it belongs to the hob's turning.

    Source: the frame's law of generation; a radial travel has no share in it.
    """
    if solution.is_locked or solution.end_rate("axial") or solution.end_rate("tangential"):
        return False
    hob, table = (solution.end_rate(end) or Fraction(0) for end in ("hob", "table"))
    hand_and_starts = -case.job.hob.hand.value * case.job.hob.starts
    return table * ((case.outcome and case.outcome.teeth) or case.job.work.teeth) == hand_and_starts * hob


def _standing(case: Case, levers: Mapping[str, str]) -> dict[str, str]:
    stands = case.job.machine.positions(case.setup)
    return {lever: stands[lever] for lever in levers}


def levers_put_over(case: Case) -> Iterator[tuple[Case, dict[str, str]]]:
    """The set-up as it stands, with one lever put over, with two; positions that fight are left out."""
    stands = case.job.machine.positions(case.setup)
    moves = [
        (name, position)
        for name, lever in case.job.machine.levers.items()
        for position in lever.positions
        if position != stands[name]
    ]
    for number in range(3):
        for chosen in itertools.combinations(moves, number):
            levers = dict(chosen)
            if len(levers) < number:
                continue
            try:
                yield Case.of(case.job, replace(case.setup, levers={**case.setup.levers, **levers})), levers
            except FileFault:
                continue


# ---------------------------------------------------------------- where the hob stands in the blank


def clear_from(case: Case) -> float:
    """The radial place in mm, counted from full depth, from which on the hob is clear of the blank, over the rim of a
    throated wheel; 0 where it never reaches it.
    """
    work, hob, sizes = case.job.work, case.job.hob, case.sizes
    tip, centres = hob_tip_diameter(work, hob), centres_at_depth(work, hob)
    if sizes.throat and tip is not None and centres is not None:
        return max(sizes.throat.clears(tip / 2) - centres, 0.0)
    return max(sizes.depth, 0.0)


def drawn_clear_to(case: Case) -> Fraction:
    """A radial place at which the hob is well clear, in whole mm."""
    return Fraction(math.ceil(clear_from(case)) + CLEAR_MM)


def reach(case: Case, radial: Fraction) -> tuple[float, float] | None:
    """Heights between which a hob at this radial place has teeth in the blank; None where it is clear of it.

    Heights are the frame's, of the hob's middle over the lower face. A hob whose diameter isn't known reaches the face
    alone.
    """
    depth = clear_from(case) - float(radial)
    if depth <= 0:
        return None
    tip, face = hob_tip_diameter(case.job.work, case.job.hob), face_width_mm(case.job.work)
    beyond = 0.0
    if tip is not None:
        try:
            beyond = cycle.approach_by_contact(tip, depth, abs(case.swivel_deg), case.sizes.diameter_over_all)
        except ValueError:
            beyond = tip / 2
    return -beyond, face + beyond


def stands_in_blank(case: Case, start: Position, end: Position) -> bool:
    """Whether the hob has teeth in the blank anywhere on the way from one place to the other."""
    reached = reach(case, min(start.radial, end.radial))
    if reached is None:
        return False
    return min(start.axial, end.axial) < reached[1] and max(start.axial, end.axial) > reached[0]
