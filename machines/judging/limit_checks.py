"""Whether the machine can do it: speeds, feed, sizes, swing of the head, travel."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction

from handlead.kinematics.work.sizes import hob_tip_diameter
from handlead.machines.setups.case import (
    Case,
    drive_rpm,
    stroke_of,
)
from handlead.machines.setups.findings import Fact, Finding
from handlead.machines.toml.units import decimal, length
from handlead.machines.toml.units import feed as feed_text

from .blank_checks import (
    size_text,
)
from .train_checks import the_end

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
            f"{the_end('axial')[4:]} has {length(float(stroke), case.job.units, 1)}."
        )
        yield words, {"travel_mm": needed, "greatest_mm": stroke}
