"""Everything that a proof looks at, one check a function, each yielding findings in words of the trade."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from fractions import Fraction

from handlead.kinematics.links import ChangeGears
from handlead.kinematics.needs import Role
from handlead.kinematics.outcome import Outcome
from handlead.kinematics.requirement import table_per_hob
from handlead.kinematics.sizes import hob_tip_diameter
from handlead.kinematics.words import Hand, angle_text

from .blank_checks import (
    check_blank,
    check_hob_sizes,
    check_hob_suits,
    check_worm_wheel_feed,
    check_worm_wheel_lean,
)
from .case import (
    Case,
    drive_rpm,
    ends_needed,
    helix_slope_limit_um,
    helix_slope_um,
    is_right,
    pitch_limit_um,
    shift_error_um,
    stroke_of,
    with_lever_moved,
)
from .cutting_speed import check_cutting_speed
from .findings import Finding
from .mending import best_mend, find_mend, gears_text, missing_gears, refusal
from .units import decimal, length
from .units import feed as feed_text

Check = Callable[[Case], Iterator[Finding]]

#: The swivel may be out by this much before it is called wrong, in degrees.
SWIVEL_LIMIT_DEG = 0.5


def check_lock(case: Case) -> Iterator[Finding]:
    """A train whose relations hold only at rest."""
    lock = case.solution.lock
    if not lock:
        return
    mend = best_mend(case) or find_mend(case, _runs) or find_mend(case, lambda changed: not changed.solution.is_locked)
    yield Finding(
        "locked-train",
        "error",
        f"The train is locked: nothing can turn. What fights is {_quoted(lock)}.",
        mend or "Open one of them before the motor is started.",
    )


def _runs(case: Case) -> bool:
    """Whether all that the work needs is driven, and no worm backwards."""
    return not case.solution.backdriven and all(case.solution.end_rate(end) for end in ends_needed(case))


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
    part = case.train.ends[end].part
    state = "stands still" if case.solution.rates[part] == 0 else "is driven by nothing"
    mend = (
        best_mend(case)
        or missing_gears(case, (end,))
        or find_mend(case, lambda changed: bool(changed.solution.end_rate(end)) and not changed.solution.backdriven)
    )
    return Finding(
        "not-driven",
        "error",
        f'{_the(end).capitalize()} ("{part}") {state} when the drive "{case.setup.drive}" runs.',
        mend or "Look for an open clutch.",
    )


def check_worms(case: Case) -> Iterator[Finding]:
    """Power can't go back through a worm."""
    for name in case.solution.backdriven:
        worm, wheel = case.train.link(name).ports
        mend = best_mend(case) or find_mend(case, _runs) or find_mend(
            case, lambda changed: not changed.solution.is_locked and not changed.solution.backdriven
        )
        yield Finding(
            "worm-driven-backwards",
            "error",
            f'"{name}": the wheel on "{wheel}" would have to drive the worm on "{worm}", and it can\'t.',
            mend
            or f'Open the train between "{worm}" and the drive "{case.setup.drive}", or drive the worm itself.',
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
        best_mend(case)
        or find_mend(case, lambda changed: bool(changed.outcome and changed.outcome.teeth))
        or f"A {hand}-hand hob needs the table to turn the other way: change the idlers in "
        f"{_quoted(case.brackets(Role.INDEX))} by one.",
    )


def check_count(case: Case) -> Iterator[Finding]:
    """The wanted number of teeth, and spaces that meet."""
    outcome, work = case.outcome, case.job.work
    if outcome is None or outcome.teeth is None or (outcome.teeth == work.teeth and outcome.is_steady):
        return
    advice = best_mend(case) or _index_advice(case)
    if outcome.teeth != work.teeth:
        message = f"This would cut {outcome.teeth} teeth; {work.teeth} are wanted."
        yield Finding("wrong-count", "error", message, advice)
    if not outcome.is_steady:
        yield Finding(
            "spaces-dont-meet",
            "error",
            f"The table's ratio stands for {decimal(outcome.real_teeth)} teeth: the spaces of one table turn "
            "don't fall into those of the one before.",
            advice,
        )


def _index_advice(case: Case) -> str:
    rule, work, hob = case.index_rule, case.job.work, case.job.hob
    if rule is None:
        return "Look through the index train."
    needed = rule.ratio(hob.hand, hob.starts, work.teeth)
    link = case.train.link(rule.bracket)
    mounted = link.mounted if isinstance(link, ChangeGears) else None
    there = f"; mounted is {gears_text(mounted)} = {mounted.size}" if mounted else "; nothing is mounted"
    return f'"{rule.bracket}" must come to {abs(needed)} for {work.teeth} teeth{there}.'


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
    mend = best_mend(case)
    if work.is_helical and outcome.hand and outcome.hand is not work.hand:
        yield Finding(
            "wrong-hand",
            "error",
            f"The teeth would lean to the {outcome.hand.word}; {_hand(work.hand)}-hand teeth are wanted.",
            mend or _hand_advice(case),
        )
        return
    yield Finding(
        "wrong-lead",
        "error",
        f"{_lead_words(case, outcome)}: {_um(slope)} over the face, class {work.quality} allows {_um(limit)}.",
        mend or _lead_advice(case),
    )


def _rolling(case: Case, outcome: Outcome) -> Iterator[Finding]:
    error, limit = shift_error_um(case.job.work, outcome), pitch_limit_um(case.job.work)
    if error > limit:
        yield Finding(
            "wrong-lead",
            "error",
            f"The table doesn't roll with the tangential slide: it is out by {_um(error)} in a pitch of travel, "
            f"class {case.job.work.quality} allows {_um(limit)}.",
            best_mend(case) or _lead_advice(case),
        )


def _lead_words(case: Case, outcome: Outcome) -> str:
    wanted, made = (_lead(lead, case) for lead in (case.job.work.lead_mm, outcome.lead_mm))
    if outcome.lead_mm is None:
        return f"The teeth would come out straight; a lead of {wanted} is wanted"
    if case.job.work.lead_mm is None:
        return f"The teeth would lean to the {_hand(outcome.hand)}, lead {made}; straight ones are wanted"
    return f"The lead would be {made}; {wanted} is wanted"


def _hand_advice(case: Case) -> str:
    brackets = case.brackets(Role.DIFFERENTIAL) or case.brackets(Role.FEED)
    return (
        f"Change the idlers in {_quoted(brackets)} by one."
        if brackets
        else "Look through the differential train."
    )


def _lead_advice(case: Case) -> str:
    work = case.job.work
    active = [name for name in case.brackets(Role.DIFFERENTIAL) if case.train.link(name).relation()]
    if work.kind == "worm wheel":
        gears = active or case.brackets(Role.DIFFERENTIAL)
        return f"Work the gears of {_quoted(gears)} out anew for the tangential slide, as handlead plan does."
    if not work.is_helical and _index_alone(case) == table_per_hob(work, case.job.hob):
        return f"Take the differential out: {_quoted(active)}." if active else _index_advice(case)
    if not active:
        return "The differential adds nothing: see that its lever is in and its change gears are mounted."
    if not work.is_helical:
        return f"The count rests on {_quoted([*active, *case.brackets(Role.FEED)])}: work them out anew together."
    return f"Work the gears of {_quoted(active)} out anew for a lead of {_lead(work.lead_mm, case)}."


def check_feed_way(case: Case) -> Iterator[Finding]:
    """Climb or conventional, as it was meant."""
    outcome, meant = case.outcome, case.setup.feed
    if outcome is None or outcome.feed is None or meant is None or outcome.feed is meant:
        return
    way, teeth = (_goes(case, end) for end in ("axial", "hob"))
    mend = find_mend(
        case,
        lambda changed: is_right(changed) and bool(changed.outcome and changed.outcome.feed is meant),
    )
    yield Finding(
        "feed-other-way",
        "warning",
        f"The feed is {outcome.feed.value} (the slide goes {way}, the hob's teeth at the work {teeth}); "
        f"{meant.value} was meant.",
        mend or "Reverse the feed, or say what is meant in the job.",
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
        )


def check_swivel(case: Case) -> Iterator[Finding]:
    """The head swung the right way by the right angle."""
    wanted, stands, hob = case.swivel_wanted_deg, case.swivel_deg, case.job.hob
    if hob.gamma_deg is None:
        yield Finding(
            "lead-angle-unknown",
            "warning",
            "The hob's lead angle isn't known: neither lead_angle nor diameter is given.",
            "Read it off the hob's face, or give its reference diameter.",
        )
    if case.setup.swivel_deg is None and abs(wanted) > SWIVEL_LIMIT_DEG:
        yield Finding(
            "swivel-off",
            "error",
            "No swivel is given, so the head is taken to stand level.",
            f"Swing the head to {swivel_text(wanted)}.",
        )
        return
    if abs(stands - wanted) <= SWIVEL_LIMIT_DEG:
        return
    if abs(stands + wanted) <= SWIVEL_LIMIT_DEG:
        yield Finding(
            "swivel-wrong-way",
            "error",
            f"The head is swung the wrong way: it stands at {swivel_text(stands)}.",
            f"Swing it to {swivel_text(wanted)}.",
        )
        return
    yield Finding(
        "swivel-off",
        "error",
        f"The head stands at {swivel_text(stands)}, {abs(stands - wanted):.2f}° out{_swivel_guess(case)}.",
        f"Swing it to {swivel_text(wanted)}.",
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
    from .drawers import shortfalls

    for shortfall in shortfalls(case.job.machine, case.setup.change):
        teeth, users = shortfall.teeth, _quoted(shortfall.brackets)
        if shortfall.owned == 0:
            yield Finding(
                "gear-not-owned",
                "error",
                f"A gear of {teeth} teeth is mounted in {users}, but none is owned that fits.",
                "Choose gears from the drawer, or add this one to the machine's gear_set.",
            )
        else:
            yield Finding(
                "gear-used-twice",
                "error",
                f"The gear of {teeth} teeth is used {shortfall.used} times (in {users}); owned: {shortfall.owned}.",
                "Choose another set for one of them.",
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
                f'"{link.name}" has {_count(pairs, "pair")} of gears ({gears_text(link.mounted)}); '
                f"it takes {_numbers(link.pairs)}.",
                "Work the ratio out anew with a number of pairs that the bracket takes.",
            )
        if idlers not in link.idlers:
            yield Finding(
                "idlers-not-allowed",
                "error",
                f'"{link.name}" has {_count(idlers, "idler")}; it takes {_numbers(link.idlers)}.',
                "Use a number of idlers that the bracket takes; the sense can also be turned over elsewhere.",
            )


def check_mounting(case: Case) -> Iterator[Finding]:
    """Whether what is mounted fits the bracket's measures, in the plane."""
    for link in case.train.brackets:
        refused = refusal(link, link.mounted) if link.mounted else None
        if link.mounted and refused:
            yield Finding(
                "wont-mount",
                "error",
                f'{gears_text(link.mounted)} can\'t be mounted in "{link.name}": {refused.why}.',
                "Try the drivers or the driven gears in the other order, or choose another set.",
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
    elif index == needed != case.rates.table and not work.is_helical:
        mend = best_mend(case)
        yield Finding(
            "differential-left-in",
            "error",
            "The differential adds to the table's turning, and the work is spur.",
            mend or f"Take the differential out, or empty {_quoted(case.brackets(Role.DIFFERENTIAL))}.",
        )


def _index_alone(case: Case) -> Fraction | None:
    """Table turns per hob turn by the index gears alone, slides and the differential's own input still."""
    rule = case.index_rule
    link = case.train.link(rule.bracket) if rule else None
    if rule is None or not isinstance(link, ChangeGears) or link.ratio is None:
        return None
    return link.ratio / rule.constant


def _rests_on_feed(case: Case, index: Fraction) -> Finding:
    feeds = _quoted(case.brackets(Role.FEED))
    differential = "leave the differential in, and " if case.brackets(Role.DIFFERENTIAL) else ""
    count = -case.job.hob.hand.value * case.job.hob.starts / index
    return Finding(
        "feed-belongs-to-index",
        "note",
        f"The count or the lead rests on the feed gears: the index gears alone stand for {decimal(count)} teeth.",
        f"Don't change the gears in {feeds} between cuts; {differential}bring the slide back by reversing the drive, "
        "nothing opened: a rapid return loses the register.",
    )


def check_limits(case: Case) -> Iterator[Finding]:
    """Speeds, travels and sizes beyond what the machine file allows."""
    if case.solution.backdriven:
        return  # it can't run at all, so its speeds are no concern
    for words in (*_beyond_rpm(case), *_beyond_feed(case), *_beyond_sizes(case), *_beyond_travel(case)):
        yield Finding("beyond-limits", "error", words, "Keep to what the machine's manual allows.")


def _beyond_rpm(case: Case) -> Iterator[str]:
    rpm = drive_rpm(case)
    if rpm is None or case.solution.is_locked:
        return
    for part, (least, greatest) in case.job.machine.limits.rpm.items():
        rate = case.solution.rates[part]
        speed = None if rate is None else abs(rate * rpm)
        if speed and speed > greatest:
            yield f'"{part}" would run at {decimal(speed, 4)} rpm; at most {float(greatest):g} is allowed.'
        if speed and least is not None and speed < least:
            yield f'"{part}" would run at {decimal(speed, 4)} rpm; at least {float(least):g} is needed.'


def _beyond_feed(case: Case) -> Iterator[str]:
    limit, feed = case.job.machine.limits.feed_mm_per_table_turn, case.outcome and case.outcome.sliding_feed
    if limit is None or not feed:
        return
    (least, greatest), units = limit, case.job.units
    if feed > greatest:
        yield f"The feed is {feed_text(feed, units)}; at most {feed_text(greatest, units)} is allowed."
    if least is not None and feed < least:
        yield f"The feed is {feed_text(feed, units)}; at least {feed_text(least, units)} is needed."


def _beyond_sizes(case: Case) -> Iterator[str]:
    limits, work, units = case.job.machine.limits, case.job.work, case.job.units
    diameter = case.sizes.outside_diameter
    if limits.work_diameter is not None and diameter > limits.work_diameter:
        most = length(float(limits.work_diameter), units, 1)
        yield f"The blank is {length(diameter, units, 1)} across; the machine takes {most}."
    if limits.face_width is not None and (work.face_width or 0) > limits.face_width:
        most = length(float(limits.face_width), units, 1)
        yield f"The face is {length(float(work.face_width or 0), units, 1)} wide; the machine takes {most}."
    if limits.module_n is not None and work.module_n > limits.module_n:
        yield f"The work is of module {decimal(work.module_n)}; the machine cuts up to {float(limits.module_n):g}."
    if limits.swivel_deg is not None:
        least, greatest = limits.swivel_deg
        if not least - Fraction(1, 60) <= Fraction(case.swivel_deg) <= greatest + Fraction(1, 60):
            yield (
                f"The head is to stand at {swivel_text(case.swivel_deg)}; it swings from "
                f"{swivel_text(float(least))} to {swivel_text(float(greatest))}."
            )


def _beyond_travel(case: Case) -> Iterator[str]:
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
    try:
        needed = stroke_of(case).travel
    except ValueError as fault:
        yield f"The travel can't be worked out: {fault}."
        return
    if needed > stroke:
        yield (
            f"Approach, face and overrun take {length(needed, case.job.units, 1)} of travel; the "
            f"{_the('axial')[4:]} has {length(float(stroke), case.job.units, 1)}."
        )


#: Every check, in the order in which a person would look.
CHECKS: tuple[Check, ...] = (
    check_lock,
    check_worms,
    check_driven,
    check_worm_wheel_feed,
    check_worm_wheel_lean,
    check_sense,
    check_count,
    check_hand_and_lead,
    check_differential,
    check_swivel,
    check_gears_owned,
    check_brackets,
    check_mounting,
    check_hob_suits,
    check_hob_sizes,
    check_blank,
    check_limits,
    check_cutting_speed,
    check_feed_way,
    check_lever_words,
)


def _quoted(names: tuple[str, ...] | list[str]) -> str:
    *most, last = [f'"{name}"' for name in names] or ["nothing"]
    return f"{', '.join(most)} and {last}" if most else last


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


def _um(value: float) -> str:
    return f"{abs(value):.1f} µm" if abs(value) < 1000 else f"{abs(value) / 1000:.2f} mm"


def swivel_text(swivel_deg: float, *, seen: bool = True) -> str:
    """The swivel for the vernier, in degrees and minutes, with the way to swing; `seen` says from where."""
    if not round(swivel_deg * 60):
        return "0° (level)"
    way = "counter-clockwise" if swivel_deg > 0 else "clockwise"
    return f"{angle_text(swivel_deg)} {way}{' (seen from behind the hob)' if seen else ''}"
