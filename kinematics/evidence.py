"""What was seen of a cut, with its uncertainties, held against what a set-up would have shown."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from .outcome import Outcome
from .response import Running
from .words import STILL, direction

#: Teeth that lean less than this look straight (own judgement).
STRAIGHT_DEG = 0.5

#: A swivel out by more than the first spoils the flanks, by more than the second cuts the teeth away
#: (own judgement; see `Outcome.swivel_error_deg`).
SPOILT_DEG, CUT_AWAY_DEG = 0.5, 8.0


@dataclass(frozen=True)
class View:
    """What a set-up shows a person at the machine and on the blank: lengths in mm, angles in degrees.

    `teeth` is None where no spaces are generated. `counts` holds every number that may be counted:
    two where the spaces don't meet. `hand` is "right", "left" or "none", None where it can't be
    told. `marks` holds the words of `handlead.kinematics.words.MARKS` that fit.
    `second_cut_falls_in` says whether a second cut
    finds the spaces of the first. `hob_turns` are over one turn of the table, the feed running.
    """

    teeth: int | None
    counts: frozenset[int]
    hand: str | None
    lead: Fraction | None
    lead_mm: float | None
    helix_deg: float | None
    spaces_meet: bool
    second_cut_falls_in: bool
    table_way: str
    slide_way: str
    hob_turns: Fraction | None
    feed_mm: Fraction | None
    marks: frozenset[str]


def view_of(running: Running, outcome: Outcome | None, *, second_cut_falls_in: bool = True) -> View:
    """What a train that runs so, and the gear it cuts, show."""
    table = _way("table", running.table_way)
    axial, tangential, radial = running.slide_ways
    slide = next(
        (
            direction(end, way)
            for end, way in (("axial", axial), ("tangential", tangential), ("radial", radial))
            if way
        ),
        STILL,
    )
    turns = feed = None
    if running.rates is not None and running.rates.table:
        turns = abs(1 / running.rates.table)
        feed = outcome.sliding_feed if outcome else None
    if outcome is None or outcome.teeth is None:
        notch = running.table_way in (0, None) and bool(running.hob_way)
        marks = {"one notch"} if notch else {"cut away"} if running.hob_way else set()
        return View(
            None, frozenset({1, 0} if notch else {0}), None, None, None, None, False, second_cut_falls_in,
            table, slide, turns, feed, frozenset(marks),
        )  # fmt: skip
    steady = outcome.is_steady
    hand = (outcome.hand.word if outcome.hand else "none") if steady else None
    counts = {outcome.teeth}
    if not steady and outcome.real_teeth is not None:
        counts |= {math.floor(outcome.real_teeth), math.ceil(outcome.real_teeth)}
    return View(
        outcome.teeth, frozenset(counts), hand, outcome.lead if steady else None, outcome.lead_mm if steady else None,
        (outcome.helix_angle_deg or 0.0) if steady else None, steady, second_cut_falls_in and steady,
        table, slide, turns, feed, frozenset(_marks(outcome)),
    )  # fmt: skip


def _way(end: str, way: int | None) -> str:
    return direction(end, way) if way else STILL


def _marks(outcome: Outcome) -> Iterator[str]:
    error = abs(outcome.swivel_error_deg or 0.0)
    if not outcome.is_steady:
        yield "cut away"
        return
    if error <= SPOILT_DEG:
        yield "clean"
    if error > SPOILT_DEG / 2:
        yield "spoilt"
    if error > CUT_AWAY_DEG:
        yield "cut away"


@dataclass(frozen=True)
class Measure:
    """A number that was counted or measured, and how far off it may be."""

    value: Fraction
    within: Fraction

    def misfit(self, found: float | Fraction | None) -> float:
        """How far `found` lies from the value, in what it may be off: up to 1 fits. Infinite for None."""
        if found is None:
            return math.inf
        off = abs(float(found) - float(self.value))
        if self.within:
            return off / float(self.within)
        return 0.0 if off < 1e-9 * max(1.0, abs(float(self.value))) else math.inf


@dataclass(frozen=True)
class Word:
    """Something seen that is told in a word; `is_sure` False where it may be mistaken."""

    value: str
    is_sure: bool = True

    def misfit(self, *, fits: bool) -> float:
        """0 if it fits; what doesn't is out of the question, or nearly so where one wasn't sure."""
        return 0.0 if fits else math.inf if self.is_sure else _UNSURE


#: A misfit that doesn't rule out, but tells against.
_UNSURE = 0.9

#: Where either of two numbers may be counted, half the chance that it is this one: exp(-2 m^2) = 1/2.
_EITHER = math.sqrt(math.log(2) / 2)

#: Misfits up to 1 fit; a little more, for what rounding does.
_FITS = 1 + 1e-9


@dataclass(frozen=True)
class Evidence:
    """Everything that was seen of one cut; None for what wasn't looked at. See `View` for the words."""

    teeth: Measure | None = None
    hand: Word | None = None
    lead: Measure | None = None
    helix: Measure | None = None
    spaces_meet: Word | None = None
    second_cut: Measure | None = None
    table_way: Word | None = None
    slide_way: Word | None = None
    hob_turns: Measure | None = None
    feed: Measure | None = None
    marks: Word | None = None

    def misfits(self, view: View) -> Iterator[tuple[str, float]]:
        """For each thing seen, how far the view is from it: up to 1 fits."""
        if self.teeth:
            misfit = min(self.teeth.misfit(count) for count in view.counts)
            yield "teeth", misfit if len(view.counts) == 1 else max(misfit, _EITHER)
        if self.hand:
            yield "hand", self.hand.misfit(fits=_hand_fits(self.hand.value, view))
        if self.lead:
            yield "lead", self.lead.misfit(view.lead_mm)
        if self.helix:
            yield "helix_angle", self.helix.misfit(view.helix_deg)
        if self.spaces_meet:
            yield (
                "spaces_meet",
                self.spaces_meet.misfit(fits=(self.spaces_meet.value == "yes") is view.spaces_meet),
            )
        if self.second_cut:
            falls_in = abs(self.second_cut.value) <= self.second_cut.within
            yield "second_cut_miss", 0.0 if falls_in is view.second_cut_falls_in else math.inf
        if self.table_way:
            yield "table_turned", self.table_way.misfit(fits=self.table_way.value == view.table_way)
        if self.slide_way:
            yield "slide_moved", self.slide_way.misfit(fits=self.slide_way.value == view.slide_way)
        if self.hob_turns:
            yield "hob_turns", self.hob_turns.misfit(view.hob_turns)
        if self.feed:
            yield "feed_marks", self.feed.misfit(view.feed_mm)
        if self.marks:
            yield "marks", self.marks.misfit(fits=self.marks.value in view.marks)

    def closeness(self, view: View) -> float | None:
        """How closely the view fits, from 1 downwards; None where something seen rules it out.

        The allowance of a measure counts as two standard deviations (own judgement).
        """
        total = 0.0
        for _, misfit in self.misfits(view):
            if misfit > _FITS:
                return None
            total += misfit * misfit
        return math.exp(-2 * total)

    def against(self, view: View) -> tuple[tuple[str, float], ...]:
        """What was seen that the view doesn't show."""
        return tuple((name, misfit) for name, misfit in self.misfits(view) if misfit > _FITS)

    def count_is_possible(self, running: Running, sense: int, starts: int, module: float) -> bool:
        """Whether the count seen can come of these rates at all; a quick necessary condition.

        With an axial feed f a count z needs a helix whose sine is pi m (table z + h k) / f.
        """
        rates = running.rates
        if self.teeth is None or rates is None or not rates.axial or rates.table * sense >= 0:
            return True
        real = abs(starts / float(rates.table))
        reach = abs(float(rates.axial / rates.table)) / (math.pi * module)
        return abs(real - float(self.teeth.value)) <= float(self.teeth.within) + max(reach, 1.0) + 1e-6


def _hand_fits(seen: str, view: View) -> bool:
    if seen == "none":
        return view.hand == "none" or (view.helix_deg is not None and view.helix_deg < STRAIGHT_DEG)
    return view.hand == seen
