"""Everything that a proof looks at, one check a function, each yielding findings in words of the trade.

Judging only: a remedy given here says what can be said without having tried anything. What to do at the machine is
found by `correction`, and tried there.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from fractions import Fraction

from handlead.kinematics.frame.words import Hand
from handlead.kinematics.law.outcome import Outcome
from handlead.kinematics.train.links import ChangeGears
from handlead.kinematics.transfer.roles import Role
from handlead.kinematics.work.requirement import table_per_hob
from handlead.kinematics.work.sizes import hob_tip_diameter
from handlead.machines.setups.case import (
    Case,
    drive_rpm,
    empty_brackets,
    ends_needed,
    helix_slope_limit_um,
    helix_slope_um,
    is_right,
    pitch_limit_um,
    shift_error_um,
    stroke_of,
    with_lever_moved,
)
from handlead.machines.setups.findings import Fact, Finding
from handlead.machines.setups.mending import refusal
from handlead.machines.toml.units import decimal, height, length, lengths_in, quoted
from handlead.machines.toml.units import feed as feed_text

from .blank_checks import (
    check_blank,
    check_hob_sizes,
    check_hob_suits,
    check_worm_wheel_feed,
    check_worm_wheel_lean,
    size_text,
)
from .cutting_speed import check_cutting_speed
from .hob_checks import check_hob_length
from .key_checks import check_keys, check_standard
from .pair_checks import check_pair, check_teeth
from .relief_checks import check_relief, check_template_reach
from .taking_up import check_toothed
from .wheel_checks import check_set_by_centres, check_threads

Check = Callable[[Case], Iterator[Finding]]

#: The swivel may be out by this much before it is called wrong, in degrees.
SWIVEL_LIMIT_DEG = 0.5


#: What can be said before anything was tried.
PLAN_ANEW = "Have the set-up worked out anew, as handlead plan does."


def check_lock(case: Case) -> Iterator[Finding]:
    """A train whose relations hold only at rest."""
    lock = case.solution.lock
    if not lock:
        return
    yield Finding(
        "locked-train",
        "error",
        f"The train is locked: nothing can turn. What fights is {_fighters(case, lock)}.",
        "Don't start the motor: one of these has to be open.",
        {"links": tuple(lock)},
    )


#: A loop of no more links than these is told whole.
_SHORT_LOOP = 4


def _fighters(case: Case, lock: Sequence[str]) -> str:
    """The links of a loop that holds itself fast; of a long one those that a lever frees, and how many lie between."""
    freed = [name for name in lock if case.train.link(name).states]
    rest = len(lock) - len(freed)
    if len(lock) <= _SHORT_LOOP or not freed:
        return quoted(lock)
    return f"{quoted(freed)}, with {rest} link{'' if rest == 1 else 's'} between them"


def check_driven(case: Case) -> Iterator[Finding]:
    """Hob, table and the slide that feeds must be driven."""
    if case.solution.is_locked:
        return
    for end in ends_needed(case):
        if end not in case.train.ends:
            yield Finding(
                "not-driven",
                "error",
                f"The machine file names no part for {_the(end)}.",
                f"Work of kind {case.job.work.kind} needs it: name it under [ends], or use another machine.",
            )
        elif not case.solution.end_rate(end):
            yield _undriven(case, end)


def _undriven(case: Case, end: str) -> Finding:
    part, drive = case.train.ends[end].part, case.setup.drive
    state = "stands still" if case.solution.rates[part] == 0 else "is driven by nothing"
    empty = empty_brackets(case, (end,))
    return Finding(
        "not-driven",
        "error",
        f'{_the(end).capitalize()} ("{part}") {state} when the drive "{drive}" runs.',
        f"No change gears are mounted in {quoted(empty)}."
        if empty
        else f'Look for what is open between it and the drive "{drive}".',
        {"end": end, "part": part, "drive": drive, "empty_brackets": empty},
    )


def check_worms(case: Case) -> Iterator[Finding]:
    """Power can't go back through a worm."""
    for name in case.solution.backdriven:
        worm, wheel = case.train.link(name).ports
        yield Finding(
            "worm-driven-backwards",
            "error",
            f'"{name}": the wheel on "{wheel}" would have to drive the worm on "{worm}", and it can\'t.',
            f'Don\'t start "{case.setup.drive}": the train between it and "{worm}" has to be open.',
            {"link": name, "worm": worm, "wheel": wheel, "drive": case.setup.drive},
        )


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
        yield Finding("wrong-count", "error", message, PLAN_ANEW, facts)
    if not outcome.is_steady:
        yield Finding(
            "spaces-dont-meet",
            "error",
            f"The table's ratio stands for {decimal(outcome.real_teeth)} teeth: the spaces of one table turn "
            "don't fall into those of the one before.",
            PLAN_ANEW,
            facts,
        )


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


def check_gears_owned(case: Case) -> Iterator[Finding]:
    """Every gear mounted lies in the drawer, as often as it is used."""
    from handlead.machines.setups.drawers import shortfalls

    for shortfall in shortfalls(case.job.machine, case.setup.change):
        teeth, users = shortfall.teeth, quoted(shortfall.brackets)
        facts: dict[str, Fact] = {
            "teeth": teeth, "brackets": shortfall.brackets, "used": shortfall.used, "owned": shortfall.owned,
        }  # fmt: skip
        if shortfall.owned == 0:
            yield Finding(
                "gear-not-owned",
                "error",
                f"A gear of {teeth} teeth is mounted in {users}, but none is owned that fits.",
                "If it lies in the drawer all the same, add it to the machine's gear_set.",
                facts,
            )
        else:
            yield Finding(
                "gear-used-twice",
                "error",
                f"The gear of {teeth} teeth is used {shortfall.used} times (in {users}); owned: {shortfall.owned}.",
                PLAN_ANEW,
                facts,
            )


def check_brackets(case: Case) -> Iterator[Finding]:
    """Numbers of pairs and idlers that each bracket takes."""
    for link in case.train.brackets:
        if link.mounted is None:
            continue
        pairs, idlers = len(link.mounted.pairs), len(link.mounted.idlers)
        if pairs not in link.pairs:
            yield Finding(
                "pairs-not-allowed",
                "error",
                f'"{link.name}" has {_count(pairs, "pair")} of gears ({link.mounted}); '
                f"it takes {_numbers(link.pairs)}.",
                PLAN_ANEW,
                {"bracket": link.name, "pairs": pairs, "allowed": tuple(sorted(link.pairs))},
            )
        if idlers not in link.idlers:
            yield Finding(
                "idlers-not-allowed",
                "error",
                f'"{link.name}" has {_count(idlers, "idler")}; it takes {_numbers(link.idlers)}.',
                PLAN_ANEW,
                {"bracket": link.name, "idlers": idlers, "allowed": tuple(sorted(link.idlers))},
            )


def check_mounting(case: Case) -> Iterator[Finding]:
    """Whether what is mounted fits the bracket's measures, in the plane."""
    for link in case.train.brackets:
        refused = refusal(link, link.mounted) if link.mounted else None
        if link.mounted and refused:
            why = lengths_in(refused.why, case.job.units)
            yield Finding(
                "wont-mount",
                "error",
                f'{link.mounted} can\'t be mounted in "{link.name}": {why}.',
                PLAN_ANEW,
                {"bracket": link.name, "gears": link.mounted.gears, "idlers": link.mounted.idlers},
            )


def check_differential(case: Case) -> Iterator[Finding]:
    """A differential left in for spur work, and a count that rests on feed and differential."""
    outcome, work = case.outcome, case.job.work
    index = _index_alone(case) if outcome else None
    if (
        outcome is None
        or outcome.teeth is None
        or not index
        or case.rates is None
        or work.kind == "worm wheel"
    ):
        return
    needed = table_per_hob(work, case.job.hob)
    if is_right(case) and index != needed and case.brackets(Role.FEED):
        yield _rests_on_feed(case, index)
    elif index == needed != case.rates.table and not work.is_helical and case.brackets(Role.DIFFERENTIAL):
        yield Finding(
            "differential-left-in",
            "error",
            "The differential adds to the table's turning, and the work is spur.",
            PLAN_ANEW,
            {"table_per_hob": index, "table_per_hob_feeding": case.rates.table},
        )


def _index_alone(case: Case) -> Fraction | None:
    """Table turns per hob turn by the index gears alone, slides and the differential's own input still."""
    rule = case.index_rule
    link = case.train.link(rule.bracket) if rule else None
    if rule is None or not isinstance(link, ChangeGears) or link.ratio is None:
        return None
    return link.ratio / rule.constant


def _rests_on_feed(case: Case, index: Fraction) -> Finding:
    outcome = case.outcome
    feeds = quoted(case.brackets(Role.FEED))
    differential = "leave the differential in, and " if case.brackets(Role.DIFFERENTIAL) else ""
    count = -case.job.hob.hand.value * case.job.hob.starts / index
    return Finding(
        "feed-belongs-to-index",
        "note",
        f"The count or the lead rests on the feed gears: the index gears alone stand for {decimal(count)} teeth.",
        f"Don't change the gears in {feeds} between cuts; {differential}draw the hob clear and bring the slide back by "
        "reversing the drive, nothing opened: a rapid return loses the register.",
        {"index_teeth": count, "teeth": outcome.teeth if outcome else None},
    )


#: A limit that is overrun, in words, with the numbers.
_Beyond = Iterator[tuple[str, dict[str, Fact]]]


def check_limits(case: Case) -> Iterator[Finding]:
    """Speeds, feeds and a place of the head beyond what the machine file allows."""
    if case.solution.backdriven:
        return  # it can't run at all, so its speeds are no concern
    yield from _limits(_beyond_rpm(case), _beyond_feed(case), _beyond_swivel(case))


def check_machine_takes(case: Case) -> Iterator[Finding]:
    """Work that is too large for the machine, however it is set up."""
    yield from _limits(_beyond_sizes(case), _never_swings(case), _beyond_travel(case))


def _limits(*beyond: _Beyond) -> Iterator[Finding]:
    for words, facts in itertools.chain(*beyond):
        yield Finding("beyond-limits", "error", words, "Keep to what the machine's manual allows.", facts)


def _beyond_rpm(case: Case) -> _Beyond:
    rpm = drive_rpm(case)
    if rpm is None or case.solution.is_locked:
        return
    for part, (least, greatest) in case.job.machine.limits.rpm.items():
        rate = case.solution.rates[part]
        speed = None if rate is None else abs(rate * rpm)
        facts: dict[str, Fact] = {"part": part, "rpm": speed, "least_rpm": least, "greatest_rpm": greatest}
        if speed and speed > greatest:
            yield f'"{part}" would run at {decimal(speed, 4)} rpm; at most {float(greatest):g} is allowed.', facts
        if speed and least is not None and speed < least:
            yield f'"{part}" would run at {decimal(speed, 4)} rpm; at least {float(least):g} is needed.', facts


def _beyond_feed(case: Case) -> _Beyond:
    limit, feed = case.job.machine.limits.feed_mm_per_table_turn, case.outcome and case.outcome.sliding_feed
    if limit is None or not feed:
        return
    (least, greatest), units = limit, case.job.units
    facts: dict[str, Fact] = {"feed_mm_per_table_turn": feed, "least_mm": least, "greatest_mm": greatest}
    if feed > greatest:
        yield f"The feed is {feed_text(feed, units)}; at most {feed_text(greatest, units)} is allowed.", facts
    if least is not None and feed < least:
        yield f"The feed is {feed_text(feed, units)}; at least {feed_text(least, units)} is needed.", facts


def _beyond_sizes(case: Case) -> _Beyond:
    limits, work, units = case.job.machine.limits, case.job.work, case.job.units
    diameter = case.sizes.diameter_over_all
    if limits.work_diameter is not None and diameter > limits.work_diameter:
        most = length(float(limits.work_diameter), units, 1)
        words = f"The blank is {length(diameter, units, 1)} across; the machine takes {most}."
        yield words, {"outside_diameter_mm": diameter, "greatest_mm": limits.work_diameter}
    if limits.face_width is not None and (work.face_width or 0) > limits.face_width:
        most = length(float(limits.face_width), units, 1)
        words = f"The face is {length(float(work.face_width or 0), units, 1)} wide; the machine takes {most}."
        yield words, {"face_width_mm": work.face_width, "greatest_mm": limits.face_width}
    if limits.module_n is not None and work.module_n > limits.module_n and not work.has_keys:
        ours, most = size_text(work.module_n, case), size_text(limits.module_n, case)
        words = f"The work is of {ours}; the machine takes {most} at most."
        yield words, {"module_mm": work.module_n, "greatest_mm": limits.module_n}


def _swings(case: Case, swivel_deg: float) -> bool:
    limit = case.job.machine.limits.swivel_deg
    return limit is None or limit[0] - Fraction(1, 60) <= Fraction(swivel_deg) <= limit[1] + Fraction(1, 60)


def _beyond_swivel(case: Case) -> _Beyond:
    """The head set to where it can't be swung, though the work doesn't ask for it."""
    if not _swings(case, case.swivel_deg) and _swings(case, case.swivel_wanted_deg):
        yield _swing_words(case, "The head is to stand at", case.swivel_deg)


def _never_swings(case: Case) -> _Beyond:
    """The head wanted where it can't be swung."""
    if not _swings(case, case.swivel_wanted_deg):
        yield _swing_words(case, "The work asks for the head at", case.swivel_wanted_deg)


def _swing_words(case: Case, what: str, swivel_deg: float) -> tuple[str, dict[str, Fact]]:
    said = case.job.machine.swivel_text
    least, greatest = case.job.machine.limits.swivel_deg or (Fraction(0), Fraction(0))
    words = (
        f"{what} {said(swivel_deg)}; it swings from {said(float(least))} to "
        f"{said(float(greatest))}."
    )
    return words, {"swivel_deg": swivel_deg, "least_deg": least, "greatest_deg": greatest}


def _beyond_travel(case: Case) -> _Beyond:
    """The axial slide's stroke against approach, face and overrun, where the hob's outside diameter is known."""
    end, work, hob = case.train.ends.get("axial"), case.job.work, case.job.hob
    stroke = case.job.machine.limits.travel.get(end.part) if end else None
    if (
        stroke is None
        or work.face_width is None
        or hob_tip_diameter(work, hob) is None
        or work.kind == "worm wheel"
        or case.sizes.wanting
        or case.sizes.depth <= 0
    ):
        return
    # The head where the work asks for it: standing elsewhere it is wrong anyhow.
    swung = replace(case, setup=replace(case.setup, swivel_deg=Fraction(case.swivel_wanted_deg)))
    try:
        needed = stroke_of(swung).travel
    except ValueError as fault:
        yield f"The travel can't be worked out: {fault}.", {}
        return
    if needed > stroke:
        words = (
            f"Approach, face and overrun take {length(needed, case.job.units, 1)} of travel; the "
            f"{_the('axial')[4:]} has {length(float(stroke), case.job.units, 1)}."
        )
        yield words, {"travel_mm": needed, "greatest_mm": stroke}


#: What hangs on the set-up, in the order in which a person would look.
SET_UP_CHECKS: tuple[Check, ...] = (
    check_lock,
    check_worms,
    check_driven,
    check_worm_wheel_feed,
    check_sense,
    check_count,
    check_hand_and_lead,
    check_differential,
    check_swivel,
    check_gears_owned,
    check_brackets,
    check_mounting,
    check_limits,
    check_cutting_speed,
    check_feed_size,
    check_feed_way,
    check_lever_words,
    check_relief,
    check_template_reach,
)

#: What hangs on drawing, hob and machine alone: no lever and no gear helps.
JOB_CHECKS: tuple[Check, ...] = (
    check_worm_wheel_lean,
    check_set_by_centres,
    check_threads,
    check_hob_suits,
    check_hob_sizes,
    check_blank,
    check_machine_takes,
    check_teeth,
    check_pair,
    check_hob_length,
    check_standard,
    check_keys,
    check_toothed,
)

#: Every check.
CHECKS: tuple[Check, ...] = (*SET_UP_CHECKS, *JOB_CHECKS)


def judge_set_up(case: Case) -> Iterator[Finding]:
    """What levers, gears and head leave to be found, judged alone: nothing is tried."""
    return (finding for check in SET_UP_CHECKS for finding in check(case))


def _the(end: str) -> str:
    return f"the {end}" if end in ("hob", "table") else f"the {end} slide"


def _hand(hand: Hand | None) -> str:
    return hand.word if hand else "straight"


def _count(number: int, what: str) -> str:
    return f"{number or 'no'} {what}{'' if number == 1 else 's'}"


def _numbers(numbers: tuple[int, ...]) -> str:
    return " or ".join(str(number) for number in sorted(numbers))


def _lead(lead_mm: float | None, case: Case) -> str:
    return "none" if lead_mm is None else length(lead_mm, case.job.units)


def _um(value: float, case: Case) -> str:
    return height(abs(value), case.job.units)

