"""What a proof has to say about the simulated flanks: teeth that come out thin, and a class that isn't reached."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from typing import TYPE_CHECKING

from handlead.kinematics.gears.tolerance import FlankTolerances, flank_tolerances
from handlead.kinematics.work.requirement import gear_of, swivel_deg
from handlead.machines.setups.case import Case, face_width_mm
from handlead.machines.setups.findings import Fact, Finding
from handlead.machines.toml.units import feed, height, length

from .flanks import Flanks
from .witness import Cut

if TYPE_CHECKING:
    from handlead.kinematics.witness.flank_quality import FlankQuality

#: Deviations of ISO 1328-1 in words, by the names of their tolerances.
_WORDS = {
    "single_pitch": "single pitch",
    "cumulative_pitch": "cumulative pitch",
    "profile_slope": "profile slope",
    "profile_form": "profile form",
    "profile_total": "total profile deviation",
    "helix_slope": "helix slope",
    "helix_form": "helix form",
    "helix_total": "total helix deviation",
    "runout": "runout",
}

#: Shares of the feed that are tried for a class that isn't reached, the coarsest that does is named; the last first.
_SHARES = tuple(Fraction(share, 12) for share in (9, 6, 4, 3))


def check_flanks(case: Case, cut: Cut, is_as_wanted: bool) -> Iterator[Finding]:
    """Findings from the flanks measured; `is_as_wanted` says whether nothing else is wrong with the set-up."""
    if cut.flanks is None:
        if _might_have_flanks(case, cut):
            yield Finding(
                "flanks-not-measured",
                "note",
                "The flanks aren't measured: with this swivel and lead the hob makes too little of the drawing's "
                "involute.",
            )
        return
    yield from _check_thickness(case, cut.flanks)
    if is_as_wanted:
        yield from _check_class(case, cut.flanks)


def _might_have_flanks(case: Case, cut: Cut) -> bool:
    """Whether count and hand on the blank are the drawing's, of work whose flanks are involutes."""
    work = case.job.work
    hand = work.hand.word if work.is_helical and work.hand else "none"
    is_cylindrical = work.has_involutes
    return is_cylindrical and (cut.gauged.teeth, cut.gauged.hand) == (work.teeth, hand)


def _check_thickness(case: Case, flanks: FlankQuality) -> Iterator[Finding]:
    """Teeth that come out thin although count, hand and form are right: so does a head that doesn't suit its hob.

    Told from more than the single pitch tolerance of the drawing's class on, the measure that a class has for
    where flanks stand (own choice), and only where lead and profile are within it: else they are the news.
    """
    work, units = case.job.work, case.job.units
    limits, found = _limits(case, work.quality), flanks.deviations
    limit = limits.single_pitch.um
    is_good = found.helix_slope <= limits.helix_slope.um and found.profile_slope <= limits.profile_slope.um
    if flanks.thickness_um >= -limit or not is_good or not _suits(case):
        return
    thinner, less = length(-flanks.thickness_um / 1000, units), length(-flanks.span_um / 1000, units)
    facts: dict[str, Fact] = {
        "thickness_um": flanks.thickness_um,
        "span_um": flanks.span_um,
        "swivel_deg": case.swivel_deg,
        "allowed_um": limit,
    }
    yield Finding(
        "teeth-thin",
        "warning",
        f"At full depth the teeth come out {thinner} thinner than the drawing has them, a span over them {less} less, "
        "although their form is good: a head that doesn't suit its hob cuts into both flanks.",
        _thicker(case, -limit),
        facts,
    )


def _suits(case: Case) -> bool:
    """Whether the hob is the work's; another one leaves teeth that thickness says nothing of."""
    work, hob = case.job.work, case.job.hob
    return hob.module_n == work.module_n and hob.pressure_angle_deg == work.pressure_angle_deg


def _thicker(case: Case, least_um: float) -> str:
    """The swivel with which the teeth come out as they should, tried."""
    hob = case.job.hob
    by_size = replace(hob, lead_angle_deg=None)
    stays = "What is cut off can't be put back: set it before the finishing cut."
    for data, first in (
        (hob, "Swing"),
        (by_size, "Go by the lead angle that the hob's diameter has, and swing"),
    ):
        if data.gamma_deg is None:
            continue
        # To the minute, as it is set.
        wanted = round(60 * swivel_deg(case.job.work, data)) / 60
        flanks = Flanks.of(case)
        found = replace(flanks, setting=replace(flanks.setting, swivel_deg=wanted)).measure()
        if found and found.thickness_um >= least_um:
            return f"{first} the head to {case.job.machine.swivel_text(wanted)}. {stays}"
    return f"Measure the hob's diameter and lead angle, and set the head by them. {stays}"


def _check_class(case: Case, flanks: FlankQuality) -> Iterator[Finding]:
    """A set-up that is as wanted, with flanks that in simulation are coarser than the drawing's class."""
    work, units = case.job.work, case.job.units
    if flanks.quality is not None and flanks.quality <= work.quality:
        return
    over = flanks.deviations.beyond(_limits(case, work.quality))
    if not over:
        return
    worst, (found, allowed) = next(iter(over.items()))
    reached = f"class {flanks.quality}" if flanks.quality else "no class"
    yield Finding(
        "class-not-reached",
        "warning",
        f"In simulation the flanks come to {reached} at best, and the drawing asks for class {work.quality}: "
        f"{_WORDS[worst]} {height(found, units)}, allowed {height(allowed, units)}.",
        _finer(case),
        {
            "class": flanks.quality,
            "wanted_class": work.quality,
            "deviation": worst,
            "found_um": found,
            "allowed_um": allowed,
        },
    )


def _finer(case: Case) -> str:
    """What would reach the class, tried in simulation: the machine without its errors, or a finer feed."""
    flanks, wanted = Flanks.of(case), case.job.work.quality

    def reached(tried: Flanks) -> int | None:
        found = tried.measure()
        return found.quality if found and found.quality and found.quality <= wanted else None

    true = flanks.on_a_true_machine(case)
    if flanks != true and (without := reached(true)):
        return (
            "It is the machine's own errors, as its file gives them: without them it would be "
            f"class {without}. See to them, cut on a truer machine, or finish the flanks another way."
        )
    outcome = case.outcome
    if outcome and outcome.sliding_feed and reached(flanks.fed(_SHARES[-1])):
        share, better = next((one, found) for one in _SHARES if (found := reached(flanks.fed(one))))
        fed = feed(outcome.sliding_feed * share, case.job.units)
        return (
            f"A feed of {fed} would leave class {better} in simulation: "
            'give it as "feed" under [cutting] and plan the job again.'
        )
    return "A finer feed alone doesn't reach it with this hob: finish the flanks another way, or agree the class."


def _limits(case: Case, quality: int) -> FlankTolerances:
    work = case.job.work
    return flank_tolerances(replace(gear_of(work), face_width=face_width_mm(work)), quality)
