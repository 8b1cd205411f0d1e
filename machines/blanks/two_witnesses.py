"""The two witnesses held against each other, and what a person will count on the light cut."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

from handlead.kinematics.law.light_cut import LightMarks, light_marks
from handlead.kinematics.law.outcome import STRAIGHT_DEG, Outcome
from handlead.machines.setups.case import Case, face_width_mm
from handlead.machines.setups.findings import Fact, Finding
from handlead.machines.toml.units import decimal, length

from .witness import Cut

if TYPE_CHECKING:
    from handlead.kinematics.gauging.field import Gauged

#: Two leads that differ by more than this, relatively, aren't the same lead.
LEAD_AGREES = 1e-3


def compare(case: Case, cut: Cut) -> Iterator[Finding]:
    """Findings from the blank: the two witnesses against each other, and what is left on the teeth."""
    computed, measured = case.outcome, cut.gauged
    if computed is None:
        return
    if computed.teeth is None:
        yield from _struck(computed, measured)
        return
    against = _disagreement(case, computed, measured)
    if against:
        yield Finding(
            "witnesses-disagree",
            "error",
            f"The rates and the simulated blank don't say the same: {against}.",
            "Trust neither: make a scratch cut on the machine, count its marks, and look which way they lean.",
        )
        return
    why = "; ".join(measured.notes)
    if _differ(case, computed, measured):
        yield _both(case, computed, measured)
    elif not measured.clean:
        yield Finding(
            "teeth-not-clean",
            "warning",
            f"On the simulated blank the marks don't make whole, clean teeth{why and f': {why}'}.",
            "See to the other findings first; this follows from them.",
        )


def _both(case: Case, computed: Outcome, measured: Gauged) -> Finding:
    """Two figures side by side, or one and none, that follow from the same rates: what is really on the blank."""
    if measured.teeth is None:
        why = f": {'; '.join(measured.notes)}"
    else:
        why = (
            f". Both turn alike{_alike(computed, measured)}, and the spaces of one table turn don't fall into those of "
            "the one before, so that they can be joined in more ways than one"
        )
    facts: dict[str, Fact] = {
        "computed_teeth": computed.teeth,
        "computed_lead_mm": computed.lead_mm,
        "measured_teeth": measured.teeth,
        "measured_lead_mm": measured.lead_mm,
    }
    return Finding(
        "witnesses-differ",
        "warning",
        f"The rates stand for {_computed_words(case, computed)}; the simulated blank shows "
        f"{_measured_words(case, measured)}{why}.",
        "See to the other findings first; this follows from them.",
        facts,
    )


def _struck(computed: Outcome, measured: Gauged) -> Iterator[Finding]:
    """Marks on a blank on which no space is generated."""
    if measured.pattern is None:
        return
    how = "runs against the hob" if computed.runs_against_hob else "stands"
    yield Finding(
        "gash-marks",
        "note",
        f"The {measured.pattern} marks that stand out on the simulated blank are where single gashes strike: the "
        f"table {how}, and no tooth space is generated.",
        "Don't count them: they say nothing of the index.",
        {"marks": measured.pattern},
    )


#: Over the face the spaces of both witnesses may part by this share of a pitch before they don't say the same.
_PARTED = 0.02


def _disagreement(case: Case, computed: Outcome, measured: Gauged) -> str:
    """What the witnesses can't both be right in; empty where what is on the blank follows from the rates.

    Where table turns don't meet a blank may be counted in more ways than one: then it is by how many spaces come
    to a table turn that both are held together, over again for every table turn that is seen between two marks.
    """
    assert computed.real_teeth is not None
    if measured.teeth is None:
        return ""
    same = measured.teeth == computed.teeth
    if measured.real_teeth is not None and case.rates and case.rates.axial:
        times = max(1, round(measured.real_teeth / computed.real_teeth))
        stray = abs(measured.real_teeth - times * computed.real_teeth)
        turns = face_width_mm(case.job.work) / float(abs(case.rates.axial / case.rates.table))
        if stray * max(turns, 1.0) > max(0.05, 1e-4 * measured.real_teeth):
            ours = float(computed.real_teeth)
            return f"{ours:.4f} spaces to a table turn computed, {measured.real_teeth:.4f} measured"
        if not same:
            surely = measured.is_plain and times == 1 and _is_plain(computed)
            return _counts(computed, measured) if surely else ""
    elif not same:
        return "" if _might_count(case, computed, measured) else _counts(computed, measured)
    return _leads(case, computed, measured)


def _counts(computed: Outcome, measured: Gauged) -> str:
    return f"{computed.teeth} teeth computed, {measured.teeth} counted"


#: Touches that lie so far across the teeth make other counts join as well, in degrees. Own choice.
_ACROSS_DEG = 5.0


def _is_plain(computed: Outcome) -> bool:
    """Whether one count alone joins the spaces, by what the rates say."""
    across = abs(computed.swivel_error_deg or 0.0)
    return computed.is_steady and computed.tied_teeth is None and across < _ACROSS_DEG


#: So many table turns' marks beside each other are still told from one that isn't there. Own choice.
_MOST_TURNS = 12

#: A table that falls out of rolling with the tangential slide by no more than this part still lets spaces meet.
_ROLLS = 0.05


def _meets(computed: Outcome) -> bool:
    """Whether the spaces of successive table turns fall into each other, a tangential slide's way included."""
    return computed.is_steady and abs(computed.tangential_error or 0.0) <= _ROLLS


def _might_count(case: Case, computed: Outcome, measured: Gauged) -> bool:
    """Whether the count measured may stand on the blank where its feed can't be told: that of some table turns' marks.

    Where by the rates the spaces don't meet, what is left without whole teeth may be counted as anything.
    """
    assert computed.real_teeth is not None
    marks, count = marks_of_case(case), measured.teeth
    assert count is not None
    if marks is not None and count in (marks.count, *marks.others):
        return True
    turns = round(count / computed.real_teeth)
    beside = 1 <= turns <= _MOST_TURNS and abs(count - turns * computed.real_teeth) < 1
    return not _meets(computed) and (beside or not measured.whole)


def marks_of_case(case: Case) -> LightMarks | None:
    """The marks that the set-up's rates leave on a light cut; None where none can be counted."""
    return light_marks(case.rates, case.job.work, case.job.hob, case.swivel_deg) if case.rates else None


def _leads(case: Case, computed: Outcome, measured: Gauged) -> str:
    if measured.hand is None or case.job.work.kind == "worm wheel":
        return ""  # a worm wheel is too narrow a band to tell a lead from
    if not computed.is_steady and computed.hand is None:
        return ""
    hand = computed.hand.word if computed.hand else "none"
    inverse = {"right": 1, "left": -1, "none": 0}
    ours = inverse[hand] / computed.lead_mm if computed.lead_mm else 0.0
    theirs = inverse[measured.hand] / measured.lead_mm if measured.lead_mm else 0.0
    over_the_face = face_width_mm(case.job.work) * (computed.teeth or 1)
    if abs(ours - theirs) * over_the_face <= max(LEAD_AGREES * abs(ours) * over_the_face, _PARTED):
        return ""
    units = case.job.units
    return (
        f"lead {_lead(hand, computed.lead_mm, units)} computed, "
        f"{_lead(measured.hand, measured.lead_mm, units)} measured"
    )


def _differ(case: Case, computed: Outcome, measured: Gauged) -> bool:
    """Whether a reader would find two figures, or one and none, side by side."""
    if measured.teeth != computed.teeth:
        return True
    worm_wheel = case.job.work.kind == "worm wheel"
    return not worm_wheel and (measured.hand is None) is not (computed.hand is None and not computed.is_steady)


def _computed_words(case: Case, computed: Outcome) -> str:
    hand = computed.hand.word if computed.hand else "none"
    told = computed.is_steady or computed.hand is not None
    return _gear_words(case, computed.teeth, hand if told else None, computed.lead_mm)


def _measured_words(case: Case, measured: Gauged) -> str:
    return _gear_words(case, measured.teeth, measured.hand, measured.lead_mm)


def _gear_words(case: Case, teeth: int | None, hand: str | None, lead_mm: float | None) -> str:
    if teeth is None:
        return "no teeth that could be counted"
    if hand is None:
        return f"{teeth} teeth"
    if hand == "none":
        return f"{teeth} teeth, straight"
    lead = "" if lead_mm is None else f", lead {length(lead_mm, case.job.units, 2)}"
    return f"{teeth} teeth, {hand} hand{lead}"


def _alike(computed: Outcome, measured: Gauged) -> str:
    """The spaces to a table turn, by both."""
    if measured.real_teeth is None or computed.real_teeth is None:
        return ""
    times = max(1, round(measured.real_teeth / computed.real_teeth))
    ours = f"{decimal(computed.real_teeth)} spaces to a table turn"
    return f", {ours}" if times == 1 else f", {ours}, of which the blank shows {times} times as many"


def light_cut(case: Case, cut: Cut | None) -> Iterator[Finding]:
    """What a person will count on a light cut, where it isn't simply the teeth that the rates stand for.

    Counted on the simulated blank where there is one, else worked out from the rates.
    """
    computed = case.outcome
    if computed is None or computed.teeth is None or computed.real_teeth is None:
        return
    if _meets(computed) and abs(computed.swivel_error_deg or 0.0) < _ACROSS_DEG:
        return
    if cut is not None and cut.light_marks is not None:
        count, lean, others = cut.light_marks, cut.gauged.pattern_lean_deg or 0.0, cut.gauged.patterns
    else:
        marks = marks_of_case(case)
        if marks is None:
            return
        count, lean, others = marks.count, marks.lean_deg, marks.others
    if count == computed.teeth and not others:
        return
    yield Finding(
        "light-cut-marks",
        "note",
        f"On a light cut {count} marks stand out round the blank{_also(others)}, {_lean_words(lean)}: "
        f"{_why_so_many(computed, count)}.",
        "" if count == computed.teeth else "Whoever counts finds these, not the teeth.",
        {"marks": count, "other_counts": others, "lean_deg": lean, "real_teeth": computed.real_teeth},
    )


def _also(others: tuple[int, ...]) -> str:
    return f" (or {', '.join(map(str, others[:_MOST_OTHERS]))})" if others else ""


#: More counts than these nobody would try.
_MOST_OTHERS = 3


def _lean_words(lean_deg: float) -> str:
    if abs(lean_deg) < STRAIGHT_DEG:
        return "straight along the axis"
    return f"their lines leaning {abs(lean_deg):.0f}° to the {'right' if lean_deg > 0 else 'left'}"


def _why_so_many(computed: Outcome, count: int) -> str:
    assert computed.real_teeth is not None
    spaces, turns = computed.real_teeth, round(count / computed.real_teeth)
    if spaces.denominator == 2:
        between = f"{math.floor(spaces)} and {math.ceil(spaces)}"
        return f"the table's ratio lies half-way between {between}, so that every second table turn meets"
    if _meets(computed):
        across = f"each touch lies {abs(computed.swivel_error_deg or 0.0):.0f}° across the teeth, as the head is set"
        joins = f"the marks of {turns} table turns join best" if turns > 1 else "other counts join nearly as well"
        return f"{across}, and {joins}"
    if turns > 1:
        return f"the marks of {turns} table turns lie beside each other, {decimal(spaces)} to a turn"
    return f"the table makes {decimal(spaces)} spaces in a turn, and those of the next don't fall into them"


def _lead(hand: str, lead: float | None, units: str) -> str:
    return "none (straight)" if lead is None or math.isinf(lead) else f"{length(lead, units, 2)} {hand}"
