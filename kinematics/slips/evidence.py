"""What was seen of a cut, with its uncertainties, held against what a set-up would have shown."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction

from handlead.kinematics.frame.words import STILL, direction
from handlead.kinematics.law.outcome import Outcome
from handlead.kinematics.transfer.response import Running

#: Teeth that lean less than this look straight (own judgement).
STRAIGHT_DEG = 0.5

#: A swivel out by more than the first spoils the flanks, by more than the second cuts the teeth away
#: (own judgement; see `Outcome.swivel_error_deg`).
SPOILT_DEG, CUT_AWAY_DEG = 0.5, 8.0

#: Up to here the flanks of a head that is off are of good form, the tooth only thin: its finish says little.
#: Source: simulated flanks with the head off, by which class and form hold to about three degrees.
FINISH_DEG = 3.0

#: Marks that don't meet are seen to lean up to here; flatter lines go round the blank (own judgement).
LEANS_DEG = 45.0

#: What may be seen on a tooth, or of the work as it runs, beside count, hand and lean.
TOO_THIN, TOO_THICK, RUNS_OUT, ONE_OUT, RUBBED = (
    "too thin", "too thick", "runs out", "one tooth out", "rubbed",
)
SYMPTOMS = (TOO_THIN, TOO_THICK, RUNS_OUT, ONE_OUT, RUBBED)


@dataclass(frozen=True)
class BlankSeen:
    """What of blank and hob enters what is seen: the blank's diameter and the hob's radius in mm, None if not known."""

    outside_mm: float | None = None
    hob_radius_mm: float | None = None
    pressure_angle_deg: float = 20.0

    def lean_outside_deg(self, lead_mm: float | None, hand: str | None) -> float | None:
        """The lean of the teeth where a protractor lies, on the outside: tan = pi d / L; None if it isn't known."""
        if hand == "none":
            return 0.0
        if lead_mm is None or self.outside_mm is None:
            return None
        return math.degrees(math.atan2(math.pi * self.outside_mm, lead_mm))

    def thinned_mm(self, swivel_error_deg: float | None) -> float | None:
        """By how much a head that is off thins the tooth, in mm along the pitch: d^2 R cot(a), R the hob's radius.

        A passage that lies x along the tooth cuts x^2 sin(a) / 2R less deep and the tilted thread d x cos(a)
        deeper: most at x = d R cot(a), on both flanks. Source: own derivation.
        """
        if swivel_error_deg is None or self.hob_radius_mm is None:
            return None
        off = math.radians(swivel_error_deg)
        return off * off * self.hob_radius_mm / math.tan(math.radians(self.pressure_angle_deg))


@dataclass(frozen=True)
class View:
    """What a set-up shows a person at the machine and on the blank: lengths in mm, angles in degrees.

    `teeth` is None where no spaces are generated. `counts` holds every number that may be counted:
    two where the spaces don't meet. `hand` is "right", "left" or "none", None where it can't be
    told. `marks` holds the words of `handlead.kinematics.words.MARKS` that fit, `weak_marks` those that
    may be said of it as well. `second_cut_falls_in` says whether a second cut finds the spaces of the
    first. `hob_turns` are over one turn of the table, the feed running. `outside_deg` is the lean at the
    outside of the blank. `thickness` is by how much the tooth is thicker than on the drawing, from and to,
    None where it can't be said. `meshes` says whether it runs with its mate, None where that can't be said.
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
    weak_marks: frozenset[str] = frozenset()
    outside_deg: float | None = None
    thickness: tuple[float, float] | None = None
    meshes: bool | None = None
    symptoms: frozenset[str] = frozenset()


def view_of_marks(view: View, count: int, lean_deg: float) -> View:
    """The view to a person who takes the marks that stand out on a light cut for the teeth.

    `lean_deg` is how their lines lean on the outside, to the right positive: along the axis they have no hand.
    """
    hand = "none" if abs(lean_deg) < 1 / 60 else "right" if lean_deg > 0 else "left"
    return replace(view, counts=frozenset({count}), hand=hand, outside_deg=abs(lean_deg), helix_deg=None)


def view_of(
    running: Running, outcome: Outcome | None, *, second_cut_falls_in: bool = True, blank: BlankSeen | None = None,
    symptoms: frozenset[str] = frozenset(),
) -> View:  # fmt: skip
    """What a train that runs so, and the gear it cuts from this blank, show; `symptoms` besides."""
    blank = blank or BlankSeen()
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
            table, slide, turns, feed, frozenset(marks), meshes=False, symptoms=symptoms,
        )  # fmt: skip
    steady = outcome.is_steady
    hand = outcome.hand.word if outcome.hand else "none" if steady else None
    lead, lead_mm, outside = outcome.lead, outcome.lead_mm, blank.lean_outside_deg(outcome.lead_mm, hand)
    if not steady and (outside is None or outside > LEANS_DEG):
        # Rates give hand and lead even where no helix angle of this module has them; too flat a line isn't a tooth's.
        hand = lead = lead_mm = outside = None
    marks, weak = {RUBBED} if RUBBED in symptoms else set(_marks(outcome)), frozenset(_weak_marks(outcome))
    return View(
        outcome.teeth, frozenset(_counts(outcome)), hand, lead, lead_mm,
        (outcome.helix_angle_deg or 0.0) if steady else None, steady, second_cut_falls_in and steady,
        table, slide, turns, feed, frozenset(marks), weak if marks != {RUBBED} else frozenset(),
        outside, _thickness(outcome, blank, symptoms), None, symptoms,
    )  # fmt: skip


#: Marks of so many table turns may stand out beside each other (see `light_cut`).
MOST_MARK_TURNS = 8


def _counts(outcome: Outcome) -> Iterator[int]:
    """What may be counted over one turn of the table: either whole number where it doesn't come round in one."""
    assert outcome.teeth is not None
    yield outcome.teeth
    if outcome.tied_teeth is not None:
        yield outcome.tied_teeth
    if outcome.is_steady or outcome.real_teeth is None:
        return
    yield math.floor(outcome.real_teeth)
    yield math.ceil(outcome.real_teeth)


def _thickness(outcome: Outcome, blank: BlankSeen, symptoms: frozenset[str]) -> tuple[float, float] | None:
    if TOO_THIN in symptoms:
        return -math.inf, 0.0
    if TOO_THICK in symptoms:
        return 0.0, math.inf
    thinned = blank.thinned_mm(outcome.swivel_error_deg)
    return None if thinned is None or not outcome.is_steady else (-thinned, -thinned)


def _way(end: str, way: int | None) -> str:
    return direction(end, way) if way else STILL


def _marks(outcome: Outcome) -> Iterator[str]:
    error = abs(outcome.swivel_error_deg or 0.0)
    if not outcome.is_steady:
        yield "cut away"
        return
    if error <= SPOILT_DEG:
        yield "clean"
    if error > FINISH_DEG:
        yield "spoilt"
    if error > CUT_AWAY_DEG:
        yield "cut away"


def _weak_marks(outcome: Outcome) -> Iterator[str]:
    """What may be said of flanks whose head was off by so little that they are of good form."""
    error = abs(outcome.swivel_error_deg or 0.0)
    if not outcome.is_steady or error > FINISH_DEG:
        return
    if error > SPOILT_DEG:
        yield "clean"
    if error > SPOILT_DEG / 2:
        yield "spoilt"


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


#: Misfits that don't rule out, but tell against: a word one isn't sure of, and one that says little.
_UNSURE, _WEAK = 0.9, 0.6

#: Where either of two numbers may be counted, half the chance that it is this one: exp(-2 m^2) = 1/2.
_EITHER = math.sqrt(math.log(2) / 2)

#: Misfits up to 1 fit; a little more, for what rounding does.
_FITS = 1 + 1e-9


#: How likely a thing of no known cause shows just what was seen where it isn't what was meant (own judgement):
#: one count in forty, a lean within a degree of sixty.
_BY_CHANCE = {
    "teeth": 1 / 40, "lead": 1 / 40, "helix_angle": 1 / 60, "outside_helix_angle": 1 / 60, "hob_turns": 1 / 40,
    "feed_marks": 1 / 10,
}  # fmt: skip


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
    outside: Measure | None = None
    thickness: Measure | None = None
    meshes: Word | None = None
    runs_out: Word | None = None
    one_out: Word | None = None

    def misfits(self, view: View) -> Iterator[tuple[str, float]]:
        """For each thing seen, how far the view is from it: up to 1 fits."""
        if self.teeth:
            # Where something slips, any number may be counted.
            misfit = min((self.teeth.misfit(count) for count in view.counts), default=_UNSURE)
            yield "teeth", misfit if len(view.counts) == 1 else max(misfit, _EITHER)
        if self.hand:
            yield "hand", max(self.hand.misfit(fits=_hand_fits(self.hand.value, view)), self._looks_straight(view))
        if self.lead:
            yield "lead", self.lead.misfit(view.lead_mm)
        if self.helix:
            # Where no helix angle of this module has the lead, a protractor finds the lean at the outside.
            lean = view.outside_deg if view.helix_deg is None else view.helix_deg
            yield "helix_angle", self.helix.misfit(lean)
        if self.outside:
            yield "outside_helix_angle", self.outside.misfit(view.outside_deg)
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
            weak = self.marks.value in view.weak_marks and self.marks.value not in view.marks
            yield "marks", _WEAK if weak else self.marks.misfit(fits=self.marks.value in view.marks)
        yield from self._of_the_tooth(view)

    def _looks_straight(self, view: View) -> float:
        """How far a lean is from none where the teeth were seen straight and nothing was measured."""
        assert self.hand is not None
        if self.hand.value != "none" or self.helix or self.outside:
            return 0.0
        return min((view.helix_deg or 0.0) / STRAIGHT_DEG, 1.0)

    def _of_the_tooth(self, view: View) -> Iterator[tuple[str, float]]:
        """Thickness, and what is told in yes and no; what can't be said of a view tells a little against it."""
        if self.thickness:
            yield "thickness", _WEAK if view.thickness is None else self._off(view.thickness)
        if self.meshes:
            known = view.meshes is not None
            fits = (self.meshes.value == "yes") is view.meshes
            yield "meshes", self.meshes.misfit(fits=fits) if known else _WEAK
        for name, word, symptom in (
            ("runs_out", self.runs_out, RUNS_OUT), ("one_tooth_out", self.one_out, ONE_OUT),
        ):  # fmt: skip
            if word:
                yield name, word.misfit(fits=(word.value == "yes") is (symptom in view.symptoms))

    def _off(self, between: tuple[float, float]) -> float:
        """How far the thickness seen lies outside what the view has."""
        assert self.thickness is not None
        low, high = between
        return self.thickness.misfit(min(max(float(self.thickness.value), low), high))

    def count_fits(self, counts: Iterable[int]) -> bool:
        """Whether what was counted is one of these."""
        seen = self.teeth
        return seen is not None and any(abs(count - seen.value) <= seen.within for count in counts)

    def but_for_the_marks(self, view: View) -> bool:
        """Whether nothing speaks against the view but the count, and which way and how far its lines lean."""
        against = {name for name, misfit in self.misfits(view) if misfit > _FITS}
        return "teeth" in against and against <= {"teeth", "hand", "outside_helix_angle"}

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

    def by_chance(self, meant: View) -> float:
        """How likely something that nobody thought of would have shown just this, `meant` being what was to come out.

        What is as it was meant is so half the time; what isn't may be anything (own judgement).
        """
        likely = 1.0
        for name, misfit in self.misfits(meant):
            likely *= 0.5 if misfit <= _FITS else _BY_CHANCE.get(name, 0.25)
        return likely

    def recounted(self, by: int) -> Evidence:
        """The same with a count that may be wrong by so many teeth."""
        return self if self.teeth is None else replace(self, teeth=replace(self.teeth, within=Fraction(by)))

    def count_is_possible(self, running: Running, sense: int, starts: int, module: float) -> bool:
        """Whether the count seen can come of these rates at all; a quick necessary condition.

        With an axial feed f a count z needs a helix whose sine is pi m (table z + h k) / f.
        """
        rates = running.rates
        if self.teeth is None or rates is None or not rates.axial or rates.table * sense >= 0:
            return True
        real = abs(starts / float(rates.table))
        reach = max(abs(float(rates.axial / rates.table)) / (math.pi * module), 1.0)
        turns = max(1, min(MOST_MARK_TURNS, round(float(self.teeth.value) / real)))
        # Marks of several table turns may stand out together.
        return abs(turns * real - float(self.teeth.value)) <= float(self.teeth.within) + turns * reach + 1e-6


def _hand_fits(seen: str, view: View) -> bool:
    if seen == "none":
        return view.hand == "none" or (view.helix_deg is not None and view.helix_deg < STRAIGHT_DEG)
    return view.hand == seen
