"""Whether what would be cut is what the drawing asks for: count, hand, lead, feed, and where the head stands."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from handlead.kinematics.frame.words import Hand
from handlead.kinematics.law.outcome import Outcome
from handlead.kinematics.slips.standing import other_hob
from handlead.machines.setups.case import (
    Case,
    cuts_wanted,
    helix_slope_limit_um,
    helix_slope_um,
    pitch_limit_um,
    shift_error_um,
    with_lever_moved,
)
from handlead.machines.setups.findings import Fact, Finding
from handlead.machines.toml.units import decimal, height, length
from handlead.machines.toml.units import feed as feed_text

#: The swivel may be out by this much before it is called wrong, in degrees.
SWIVEL_LIMIT_DEG = 0.5

#: What can be said before anything was tried.
PLAN_ANEW = "Have the set-up worked out anew, as handlead plan does."


def check_sense(case: Case) -> Iterator[Finding]:
    """The table must run with the hob."""
    outcome = case.outcome
    if outcome is None or not outcome.runs_against_hob:
        return
    hand = case.job.hob.hand.word
    yield Finding(
        "table-against-hob",
        "error",
        f"The table runs against the {hand}-hand hob: no tooth space is generated, everything is cut away.",
        f"A {hand}-hand hob needs the table to turn the other way. {PLAN_ANEW}",
        {"hob_hand": hand},
    )


def check_count(case: Case) -> Iterator[Finding]:
    """The wanted number of teeth, and spaces that meet."""
    outcome, work = case.outcome, case.job.work
    if outcome is None or outcome.teeth is None:
        return
    if outcome.teeth == work.teeth and outcome.is_steady and outcome.tied_teeth is None:
        return
    facts = {"teeth": outcome.teeth, "wanted_teeth": work.teeth, "real_teeth": outcome.real_teeth}
    if outcome.tied_teeth is not None:
        message = (
            f"This lies half-way between {outcome.teeth} teeth and {outcome.tied_teeth}, and cuts neither; "
            f"{work.teeth} are wanted."
        )
        yield Finding("wrong-count", "error", message, PLAN_ANEW, facts)
    elif outcome.teeth != work.teeth:
        message = f"This would cut {outcome.teeth} teeth; {work.teeth} are wanted."
        yield Finding("wrong-count", "error", message, f"{_other_starts(case)}{PLAN_ANEW}", facts)
    if not outcome.is_steady:
        yield Finding(
            "spaces-dont-meet",
            "error",
            f"The table's ratio stands for {decimal(outcome.real_teeth)} teeth: the spaces of one table turn "
            "don't fall into those of the one before.",
            PLAN_ANEW,
            facts,
        )


#: Most starts that a hob is asked for: more are hardly met (common practice).
_MOST_STARTS = 6


def _other_starts(case: Case) -> str:
    """The hob with which this set-up would cut what is wanted, by its starts; that was tried. "" for none."""
    job = case.job
    for starts in range(1, _MOST_STARTS + 1):
        tried = replace(case, job=replace(job, hob=other_hob(job.hob, starts=starts)))
        if starts != job.hob.starts and cuts_wanted(job.work, tried.outcome):
            many = f"{starts} start{'' if starts == 1 else 's'}"
            return f"With a hob of {many} it would be right: count its threads, mend [hob] starts or the hob. Else: "
    return ""


def check_hand_and_lead(case: Case) -> Iterator[Finding]:
    """The wanted hand, and a lead within the tolerance of the class."""
    outcome, work = case.outcome, case.job.work
    if outcome is None or outcome.teeth != work.teeth or not outcome.is_steady:
        return
    if work.kind == "worm wheel":
        yield from _rolling(case, outcome)
        return
    slope, limit = helix_slope_um(work, outcome), helix_slope_limit_um(work)
    if abs(slope) <= limit:
        return
    facts = _lead_facts(case, outcome) | {"helix_slope_um": slope, "helix_slope_limit_um": limit, "class": work.quality}
    if work.is_helical and outcome.hand and outcome.hand is not work.hand:
        yield Finding(
            "wrong-hand",
            "error",
            f"The teeth would lean to the {outcome.hand.word}; {_hand(work.hand)}-hand teeth are wanted.",
            PLAN_ANEW,
            facts,
        )
        return
    yield Finding(
        "wrong-lead",
        "error",
        f"{_lead_words(case, outcome)}: {_um(slope, case)} over the face, class {work.quality} allows "
        f"{_um(limit, case)}.",
        PLAN_ANEW,
        facts,
    )


def _lead_facts(case: Case, outcome: Outcome) -> dict[str, Fact]:
    work = case.job.work
    return {
        "hand": outcome.hand.word if outcome.hand else "none",
        "wanted_hand": work.hand.word if work.is_helical and work.hand else "none",
        "lead_mm": outcome.lead_mm,
        "lead_exact": outcome.lead,
        "wanted_lead_mm": work.lead_mm,
    }


def _rolling(case: Case, outcome: Outcome) -> Iterator[Finding]:
    error, limit = shift_error_um(case.job.work, outcome), pitch_limit_um(case.job.work)
    if error > limit:
        yield Finding(
            "wrong-lead",
            "error",
            f"The table doesn't roll with the tangential slide: it is out by {_um(error, case)} in a pitch of travel, "
            f"class {case.job.work.quality} allows {_um(limit, case)}.",
            PLAN_ANEW,
            {"pitch_error_um": error, "pitch_limit_um": limit, "class": case.job.work.quality},
        )


def _lead_words(case: Case, outcome: Outcome) -> str:
    wanted, made = (_lead(lead, case) for lead in (case.job.work.lead_mm, outcome.lead_mm))
    if outcome.hand is None:
        return f"The teeth would come out straight; a lead of {wanted} is wanted"
    if case.job.work.lead_mm is None:
        return f"The teeth would lean to the {outcome.hand.word}, lead {made}; straight ones are wanted"
    return f"The lead would be {made}; {wanted} is wanted"


#: No hob stands a feed beyond this, in mm per turn of the table: three times the coarsest in use (own choice).
_COARSEST_FEED = 12


def check_feed_size(case: Case) -> Iterator[Finding]:
    """A feed that no hob stands, as of feed gears end for end on a machine whose file sets no limit."""
    feed, limit = case.outcome and case.outcome.sliding_feed, case.job.machine.limits.feed_mm_per_table_turn
    if limit is None and feed and feed > _COARSEST_FEED:
        yield Finding(
            "feed-out-of-measure",
            "warning",
            f"The feed is {feed_text(feed, case.job.units)}: no hob stands that.",
            "Look through the feed gears before the slide is let run.",
            {"feed_mm_per_table_turn": feed, "greatest_mm": _COARSEST_FEED},
        )


def check_feed_way(case: Case) -> Iterator[Finding]:
    """Climb or conventional, as it was meant."""
    outcome, meant = case.outcome, case.setup.feed
    if outcome is None or outcome.feed is None or meant is None or outcome.feed is meant:
        return
    way, teeth = (_goes(case, end) for end in ("axial", "hob"))
    yield Finding(
        "feed-other-way",
        "warning",
        f"The feed is {outcome.feed.value} (the slide goes {way}, the hob's teeth at the work {teeth}); "
        f"{meant.value} was meant.",
        "Say in the job which way is meant, or have the set-up worked out for it, as handlead plan does.",
        {"feed": outcome.feed.value, "meant": meant.value},
    )


def _goes(case: Case, end: str) -> str:
    """Which way along the work an end goes as the drive runs, in the machine's word."""
    return case.job.machine.way("axial", 1 if (case.solution.end_rate(end) or 0) > 0 else -1)


def misread_levers(case: Case) -> dict[str, str]:
    """Levers whose plate names one way of the axial slide while the slide goes the other, with what the plate says."""
    rate, machine = case.solution.end_rate("axial"), case.job.machine
    if not rate:
        return {}
    other = machine.way("axial", -1 if rate > 0 else 1)
    return {
        lever: place
        for lever, place in machine.positions(case.setup).items()
        if place == other and _moves_axial(case, lever)
    }


def _moves_axial(case: Case, lever: str) -> bool:
    """Whether the axial slide goes otherwise, or stands, with the lever elsewhere: else its plate isn't about it."""
    rate = case.solution.end_rate("axial")
    return any(moved.solution.end_rate("axial") != rate for _, moved in with_lever_moved(case, lever))


def check_lever_words(case: Case) -> Iterator[Finding]:
    """A lever whose plate names one way of the axial slide while the slide goes the other."""
    for lever, position in misread_levers(case).items():
        goes = _goes(case, "axial")
        yield Finding(
            "lever-says-otherwise",
            "note",
            f'Lever "{lever}" stands at "{position}", but the slide goes {goes}.',
            "Its plate holds with other idlers or the other hand of hob. Go by the slide.",
            {"lever": lever, "position": position, "goes": goes},
        )


def check_swivel(case: Case) -> Iterator[Finding]:
    """The head swung the right way by the right angle."""
    wanted, stands, hob = case.swivel_wanted_deg, case.swivel_deg, case.job.hob
    said = case.job.machine.swivel_text
    if hob.gamma_deg is None:
        yield Finding(
            "lead-angle-unknown",
            "warning",
            "The hob's lead angle isn't known: neither lead_angle nor diameter is given.",
            "Read it off the hob's face, or give its reference diameter.",
        )
    facts = {"swivel_deg": stands, "wanted_swivel_deg": wanted, "swivel_error_deg": stands - wanted}
    if case.setup.swivel_deg is None and abs(wanted) > SWIVEL_LIMIT_DEG:
        yield Finding(
            "swivel-off",
            "error",
            "No swivel is given, so the head is taken to stand level.",
            f"The work asks for {said(wanted)}.",
            facts,
        )
        return
    if abs(stands - wanted) <= SWIVEL_LIMIT_DEG:
        return
    if abs(stands + wanted) <= SWIVEL_LIMIT_DEG:
        yield Finding(
            "swivel-wrong-way",
            "error",
            f"The head is swung the wrong way: it stands at {said(stands)}.",
            f"The work asks for {said(wanted)}.",
            facts,
        )
        return
    yield Finding(
        "swivel-off",
        "error",
        f"The head stands at {said(stands)}, {abs(stands - wanted):.2f}° out{_swivel_guess(case)}.",
        f"The work asks for {said(wanted)}.",
        facts,
    )


def _swivel_guess(case: Case) -> str:
    """What was forgotten, where the angle set gives it away."""
    beta, gamma = case.job.work.signed_beta_deg, case.job.hob.hand.value * (case.job.hob.gamma_deg or 0.0)
    guesses = {
        "the hob's lead angle is forgotten": -beta,
        "the hob's lead angle is added where it should be taken off, or the other way round": -gamma - beta,
        "the helix angle is forgotten": gamma,
        "this suits work of the other hand": gamma + beta,
    }
    near = min(guesses, key=lambda words: abs(guesses[words] - case.swivel_deg))
    return f": {near}" if abs(guesses[near] - case.swivel_deg) < 0.25 else ""


def _hand(hand: Hand | None) -> str:
    return hand.word if hand else "straight"


def _lead(lead_mm: float | None, case: Case) -> str:
    return "none" if lead_mm is None else length(lead_mm, case.job.units)


def _um(value: float, case: Case) -> str:
    return height(abs(value), case.job.units)
