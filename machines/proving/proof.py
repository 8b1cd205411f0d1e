"""Prove a set-up: run it in simulation, and hold what it would cut against what is wanted."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from typing import Any

from handlead.kinematics.frame.words import Feed
from handlead.kinematics.law.outcome import Outcome
from handlead.machines.blanks.flank_checks import check_flanks
from handlead.machines.blanks.light_touch import light_touch_told
from handlead.machines.blanks.second_cuts import CutAgain, compare_cuts, cut_again, with_measured
from handlead.machines.blanks.two_witnesses import compare, light_cut
from handlead.machines.blanks.witness import Cut, Depth, NotCut, Progress, cut_blank
from handlead.machines.job_files.job_file import Job
from handlead.machines.judging.checks import CHECKS
from handlead.machines.judging.move_checks import check_moves
from handlead.machines.judging_teeth.key_checks import check_keys_found
from handlead.machines.judging_teeth.pair_checks import CrossedSizes, PairSizes, crossed_sizes, pair_sizes
from handlead.machines.judging_teeth.taking_up import TakingUp, taking_up, witness_toothed
from handlead.machines.measuring.first_lead import first_lead
from handlead.machines.measuring.hand_checks import HandCheck, hand_checks
from handlead.machines.measuring.part_sizes import part_sizes
from handlead.machines.proving.halves_checks import (
    OtherHalf,
    check_halves,
    halves_json,
    other_half,
    witness_groove,
)
from handlead.machines.setups.case import Case
from handlead.machines.setups.findings import Finding, worst_first
from handlead.machines.setups.moves import Moved, make_moves

from .correction import Correction, find_correction


@dataclass(frozen=True)
class Computed:
    """What the rates alone say, exact; None where there is nothing to say."""

    table_per_hob: Fraction | None
    table_per_hob_feeding: Fraction | None
    table_per_axial: Fraction | None
    table_per_tangential: Fraction | None
    outcome: Outcome | None

    def as_json(self) -> dict[str, Any]:
        """The `train` object of the JSON contract: ratios as strings, sizes marked with their units."""
        train = {
            "table_per_hob": _text(self.table_per_hob),
            "table_per_hob_feeding": _text(self.table_per_hob_feeding),
            "table_per_mm_axial": _text(self.table_per_axial),
            "table_per_mm_tangential": _text(self.table_per_tangential),
        }
        return train | (_outcome_json(self.outcome) if self.outcome else dict.fromkeys(_OUTCOME_KEYS))


def _outcome_json(gear: Outcome) -> dict[str, Any]:
    return {
        "real_teeth": _text(gear.real_teeth),
        "feed_slide": gear.feed_slide,
        "feed_mm_per_table_turn": _text(gear.sliding_feed),
        "climb": None if gear.feed is None else gear.feed is Feed.CLIMB,
        "teeth": gear.teeth,
        "hand": _hand_word(gear),
        "lead_mm": gear.lead_mm,
        "lead_exact": _text(gear.lead),
        "helix_angle_deg": gear.helix_angle_deg,
        "swivel_error_deg": gear.swivel_error_deg,
    }


def _hand_word(gear: Outcome) -> str | None:
    if gear.teeth is None or (gear.hand is None and not gear.is_steady):
        return None
    return gear.hand.word if gear.hand else "none"


#: What is null where hob or table isn't driven.
_OUTCOME_KEYS = (
    "real_teeth", "feed_slide", "feed_mm_per_table_turn", "climb", "teeth", "hand",
    "lead_mm", "lead_exact", "helix_angle_deg", "swivel_error_deg",
)  # fmt: skip


def _text(value: Fraction | None) -> str | None:
    return None if value is None else str(value)


@dataclass(frozen=True, repr=False)
class Proof:
    """The verdict on one job: `case` it was worked out from, and what was found.

    `judged` are the findings before anything was tried, worst first: enough for a verdict, and cheap. `moved` holds
    the moves that were made, where the job gives some, and `cut_again` what later cuts left on the simulated blank.
    """

    case: Case
    judged: tuple[Finding, ...]
    cut: Cut | None = None
    moved: Moved | None = None
    cut_again: tuple[CutAgain, ...] = ()

    @cached_property
    def computed(self) -> Computed:
        """What the rates alone say, worked out when it is asked for."""
        return compute(self.case)

    @cached_property
    def correction(self) -> Correction | None:
        """What to do at the machine so that it comes out as wanted, tried in simulation when it is asked for."""
        return find_correction(self.case)

    @cached_property
    def findings(self) -> tuple[Finding, ...]:
        """What was found, worst first, each with its part of the correction as its remedy."""
        correction = self.correction
        return tuple(correction.advised(finding) if correction else finding for finding in self.judged)

    def __repr__(self) -> str:
        found = ", ".join(finding.code for finding in self.judged) or "nothing found"
        return f"<Proof of {self.case.job.title!r}: {self.verdict}; {found}>"

    @property
    def is_as_wanted(self) -> bool:
        """Whether nothing found is an error."""
        return not any(finding.severity == "error" for finding in self.judged)

    @property
    def pair(self) -> PairSizes | None:
        """How work and mate will run together; None where there is no such pair, or it can't run."""
        try:
            return pair_sizes(self.case.job)
        except ValueError:
            return None

    @property
    def crossed_pair(self) -> CrossedSizes | None:
        """How work and mate stand on crossed shafts; None for any other pair."""
        return crossed_sizes(self.case.job)

    @property
    def hand_checks(self) -> tuple[HandCheck, ...]:
        """What can be counted by hand at the machine before the first cut."""
        return hand_checks(self.case, self.computed.table_per_hob, self.computed.table_per_hob_feeding)

    @cached_property
    def other_half(self) -> OtherHalf | None:
        """What to change for the other half of a double helical gear; None for other work."""
        return other_half(self.case) if self.case.job.halves is not None else None

    @cached_property
    def taking_up(self) -> TakingUp | None:
        """What a blank that is toothed already has to cut; None for other work, and where nobody measured it."""
        return taking_up(self.case)

    @property
    def verdict(self) -> str:
        """The verdict in the words of the JSON contract."""
        return "as wanted" if self.is_as_wanted else "not as wanted"

    def as_json(self) -> dict[str, Any]:
        """The proof as one JSON object of the contract."""
        value: dict[str, Any] = {
            "job": self.case.job.path,
            "verdict": self.verdict,
            "train": self.computed.as_json(),
            "sizes": part_sizes(self.case).as_json(),
            "hand_checks": [check.as_json() for check in self.hand_checks],
            "first_lead": None if (lead := first_lead(self.case)) is None else lead.as_json(),
        }
        pair = self.pair
        if pair is not None:
            value["pair"] = pair.as_json()
        if self.crossed_pair is not None:
            value["crossed_pair"] = self.crossed_pair.as_json()
        if self.other_half is not None and self.case.job.halves is not None:
            value["double_helical"] = halves_json(self.case, self.case.job.halves, self.other_half)
        if self.taking_up is not None:
            value["toothed"] = self.taking_up.as_json()
        if self.cut is not None:
            value["cut"] = self.cut.as_json()
        if self.moved is not None:
            value["register"] = with_measured(self.moved.as_json(), self.cut_again)
        return value | {
            "findings": [finding.as_json() for finding in self.findings],
            "correction": self.correction.as_json() if self.correction else None,
        }


def prove(job: Job, *, cut: Depth | None = None, progress: Progress | None = None) -> Proof:
    """Run the job's set-up in simulation; with `cut`, its blank is cut so deep and measured as well.

    Raises `NoSetup` for a job that is still to be planned, `FileFault` where levers fight over a link.
    """
    return prove_case(Case.of(job), cut=cut, progress=progress)


def prove_case(case: Case, *, cut: Depth | None = None, progress: Progress | None = None) -> Proof:
    """Run a set-up that is already on the machine."""
    findings = [finding for check in CHECKS for finding in check(case)]
    moved = make_moves(case)
    findings += [*check_halves(case), *(check_moves(moved) if moved else ())]
    measured: Cut | None = None
    again: tuple[CutAgain, ...] = ()
    if cut:
        measured, more = _witness(case, cut, progress)
        findings += more
        if measured is not None:
            findings += check_keys_found(case, measured)
            findings += check_flanks(case, measured, not any(one.severity == "error" for one in findings))
    if measured and moved:
        again = cut_again(moved)
        findings += compare_cuts(again)
    findings += [*((*witness_groove(case), *witness_toothed(case)) if cut else ()), *light_cut(case, measured)]
    if cut:
        findings += light_touch_told(case)
    return Proof(case, worst_first(findings), measured, moved, again)


def _witness(case: Case, depth: Depth, progress: Progress | None) -> tuple[Cut | None, list[Finding]]:
    try:
        measured = cut_blank(case, depth, progress)
    except NotCut as why:
        return None, [Finding("not-cut", "note", f"The blank isn't cut in simulation: {why}.")]
    return measured, list(compare(case, measured))


def compute(case: Case) -> Computed:
    """What the rates alone say of a set-up."""
    questions = case.questions
    feeding = case.rates.table if case.rates else None
    still = questions.table_per_hob if questions.table_per_hob is not None else feeding
    if case.solution.is_locked:
        still = None
    return Computed(still, feeding, questions.table_per_axial, questions.table_per_tangential, case.outcome)
