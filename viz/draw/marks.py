"""What the light first cut must look like: the outside of the blank unrolled, wanted beside predicted.

The unrolled outside is drawn as it is seen from without, the work axis upright: a right-hand tooth
leans to the right as it goes up. Sizes are mm, to one scale both ways, so that angles are true.
Where the spaces of a table turn don't fall into those of the turn before, every single pass of the
hob is drawn where it would touch.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from fractions import Fraction

from handlead.kinematics.cutting.touch import SCRATCH_DEPTH
from handlead.kinematics.frame.words import Feed, Hand
from handlead.kinematics.law.light_cut import LightMarks
from handlead.kinematics.law.outcome import Outcome
from handlead.kinematics.work.requirement import HobData, Work
from handlead.kinematics.work.sizes import hob_tip_diameter, outside_diameter, throat_of
from handlead.machines.setups.case import face_width_mm


@dataclass(frozen=True)
class Passes:
    """Marks that the hob's passes leave one by one: `to_a_turn` of them in a table turn, whole or not.

    `side` is 1 where the next pass falls to the right on the outside of the blank, -1 to the left; `rise` is
    how far up the next table turn falls, in mm, negative for down. A mark is `length` mm long along the
    hob's thread, which leans by `lean_deg` to the right.
    """

    to_a_turn: Fraction
    side: int
    rise: float
    length: float
    lean_deg: float

    @property
    def miss(self) -> Fraction:
        """By how many pitches a table turn's marks fall to the right of those of the turn before."""
        return self.side * (round(self.to_a_turn) - self.to_a_turn)

    @property
    def words(self) -> tuple[str, str]:
        """That there is no count, and why."""
        side = "RIGHT" if self.miss > 0 else "LEFT"
        beside = f"{_share(abs(self.miss))} of a pitch to the {side} of those of the turn before"
        turns, whole = self.to_a_turn.denominator, self.to_a_turn.numerator
        closes = f"; they close after {turns} turns, {whole} in all" if turns <= _FEW_TURNS else ""
        return "no count that closes", (
            f"{mixed_text(self.to_a_turn)} marks in a turn of the table: each turn's fall {beside}{closes}"
        )


#: After more table turns than this nobody tells any more that the marks close.
_FEW_TURNS = 6


def mixed_text(value: Fraction) -> str:
    """A number above 0 as a whole one and a fraction, or as a decimal where that is long."""
    whole, rest = divmod(value, 1)
    if not rest or len(str(rest)) > 7:
        return str(whole) if not rest else f"{float(value):.4f}"
    return f"{whole} {rest}" if whole else str(rest)


def _share(value: Fraction) -> str:
    return str(value) if len(str(value)) <= 7 else f"{float(value):.3g}"


@dataclass(frozen=True)
class MarksDrawn:
    """The marks on one blank: `whose` they are, how many to count, which way and how far they lean.

    `count` None stands for a blank that shows no marks to count, `why` says so. `hand` None is
    straight. `lean_deg` is from the work axis on the outside of the blank, without sign; `pitch` is from
    mark to mark round the outside, in mm. `passes` are given where the marks must be drawn one by one: because
    they don't close, and then there is no count though there are marks, or because they lie across the line
    that they make. `cut_away`: nothing of the outside is left.
    """

    whose: str
    count: int | None
    hand: Hand | None
    lean_deg: float
    pitch: float
    why: str = ""
    passes: Passes | None = None
    cut_away: bool = False

    @property
    def signed_lean_deg(self) -> float:
        """Lean to the right positive, as drawn."""
        return self.lean_deg * (self.hand.value if self.hand else 0)

    @property
    def words(self) -> tuple[str, str]:
        """The count, and the lean, as the sheet says them."""
        if self.passes is not None and self.count is None:
            return self.passes.words
        if self.count is None:
            return "no marks to count", self.why
        if self.hand is None or not self.lean_deg:
            return f"{self.count} marks", f"straight, along the axis{self.why and f'; {self.why}'}"
        lean = f"lean to the {self.hand.word.upper()} going up, {lean_text(self.lean_deg)}"
        return f"{self.count} marks", f"{lean}{self.why and f'; {self.why}'}"


def lean_text(angle_deg: float) -> str:
    """An angle for a protractor: degrees and minutes to the nearest ten of them."""
    tens = round(angle_deg * 6)
    return f"{tens // 6}° {tens % 6 * 10:02d}′"


def wanted_marks(work: Work) -> MarksDrawn:
    """The marks that the drawing asks for."""
    outside, hand = outside_diameter(work), work.hand if work.is_helical else None
    if work.kind == "worm wheel":
        # What touches is the hob's thread, which leans as the worm's does.
        return _marks("wanted", work.teeth, hand, _lean(None, outside, work.beta_deg), outside)
    return _marks("wanted", work.teeth, hand, _lean(work.lead_mm, outside), outside)


def predicted_marks(
    work: Work, outcome: Outcome | None, hob: HobData | None = None, swivel_deg: float = 0.0,
    light: LightMarks | None = None,
) -> MarksDrawn:  # fmt: skip
    """The marks that the set-up's rates would leave on the drawing's blank; `light` are those that stand out on it
    where the spaces of its table turns don't meet.

    Marks that don't close are drawn pass by pass only where the `hob` is given, and how its head is swung.
    """
    outside = outside_diameter(work)
    if outcome is None:
        return _no_marks("hob and table aren't both driven")
    if outcome.runs_against_hob:
        why = "the table runs against the hob: no spaces form, the whole outside is cut away"
        return replace(_no_marks(why), cut_away=True)
    if outcome.teeth is None:
        return _no_marks("the table stands still: no spaces form")
    if not outcome.is_steady:
        return _unsteady(work, outcome, hob, swivel_deg, light)
    why = "" if outcome.feed_slide == "axial" else "a touch only"
    lean = _lean(outcome.lead_mm, outside, outcome.helix_angle_deg)
    marks = _marks("predicted", outcome.teeth, outcome.hand, lean, outside, why)
    across = outcome.swivel_error_deg or 0.0
    if hob is None or outcome.feed is None or abs(across) < _ACROSS_DEG:
        return marks
    told = f"each touch lies {lean_text(abs(across))} across them, as the head is set"
    return replace(marks, passes=_passes(work, outcome, hob, swivel_deg), why=told)


#: Touches that lean more than this from the line that they make can be seen to. Own choice.
_ACROSS_DEG = 2.0


def _no_marks(why: str) -> MarksDrawn:
    return MarksDrawn("predicted", None, None, 0.0, 0.0, why)


def _unsteady(
    work: Work, outcome: Outcome, hob: HobData | None, swivel_deg: float, light: LightMarks | None
) -> MarksDrawn:
    """Marks of one table turn that don't close, and how many of several turns stand out together, if they do."""
    assert outcome.real_teeth is not None
    outside = outside_diameter(work)
    pitch = math.pi * outside / float(outcome.real_teeth)
    if hob is None:
        return _no_marks(f"{mixed_text(outcome.real_teeth)} marks in a turn of the table: they don't close")
    passes = _passes(work, outcome, hob, swivel_deg)
    if light is None or light.others:
        return MarksDrawn("predicted", None, None, 0.0, pitch, passes=passes)
    several = f"those of {light.turns} table turns beside each other: " if light.turns > 1 else ""
    why = f"{several}{passes.words[1]}"
    seen = math.pi * outside / light.count
    return MarksDrawn("predicted", light.count, light.hand, abs(light.lean_deg), seen, why, passes)


def _passes(work: Work, outcome: Outcome, hob: HobData, swivel_deg: float) -> Passes:
    """Marks of single passes: each lies on along the outside by its share of a turn, and up by its share of the feed."""
    assert outcome.real_teeth is not None
    feed = float(outcome.sliding_feed or 0) if outcome.feed is not None else 0.0
    # The work turns past the hob as a right-hand hob drives it, or the other way: the next mark falls behind it.
    return Passes(
        outcome.real_teeth,
        hob.hand.value,
        feed if outcome.feed is Feed.CONVENTIONAL else -feed,
        max(_touch_length(work, hob), feed),
        hob.hand.value * (hob.gamma_deg or 0.0) - swivel_deg,
    )


def _touch_length(work: Work, hob: HobData) -> float:
    """How long a mark the hob leaves at light depth: the chord of its tips' circle; 0 with no size known."""
    diameter = hob_tip_diameter(work, hob)
    if diameter is None:
        return 0.0
    return 2 * math.sqrt(SCRATCH_DEPTH * max(diameter - SCRATCH_DEPTH, 0.0))


def _lean(lead: float | None, outside: float, helix_deg: float | None = None) -> float:
    """How far lines of this lead in mm lean at the outside, in degrees; without one, their helix angle or 0."""
    return math.degrees(math.atan(math.pi * outside / lead)) if lead else helix_deg or 0.0


def _marks(whose: str, teeth: int, hand: Hand | None, lean: float, outside: float, why: str = "") -> MarksDrawn:
    lean = lean if hand is not None else 0.0
    return MarksDrawn(whose, teeth, hand if lean else None, lean, math.pi * outside / teeth, why)


Band = tuple[float, float]


def touched(work: Work, hob: HobData) -> tuple[Band, ...]:
    """The heights in mm over the lower face between which the marks of a light cut stand; none: over the whole face.

    On a worm wheel whose blank is plain the hob only touches at mid-face; a throated one it meets on the edges of the
    hollow. With the hob's size unknown an eighth of the face is drawn.
    """
    if work.kind != "worm wheel":
        return ()
    face = face_width_mm(work)
    length = _touch_length(work, hob) or face / 8
    if not meets_edges(work, hob):
        return (((face - length) / 2, (face + length) / 2),)
    throat = throat_of(work, hob)
    assert throat is not None
    low, high = face / 2 - throat.half_width, face / 2 + throat.half_width
    return ((low, low + length / 2), (high - length / 2, high))


def meets_edges(work: Work, hob: HobData) -> bool:
    """Whether the hob, coming straight in, first meets the edges of a worm wheel's hollow."""
    throat, tip = throat_of(work, hob), hob_tip_diameter(work, hob)
    return throat is not None and (tip is None or throat.touch(tip / 2) > (throat.diameter + tip) / 2 + 1e-9)
