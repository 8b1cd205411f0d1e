"""What a proof says of a double helical gear: the groove, the apex, and the set-up of the other half."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from handlead.kinematics.frame.words import Feed
from handlead.kinematics.other_work.double_helix import Groove, apex_shift
from handlead.kinematics.work.requirement import Work, gear_of, gear_to_cut, swivel_deg
from handlead.machines.blanks.witness import NotCut, setting_of
from handlead.machines.job_files.halves import Halves
from handlead.machines.setups.case import Case, stroke_of
from handlead.machines.setups.findings import Finding
from handlead.machines.setups.mending import carried_out
from handlead.machines.toml.errors import FileFault
from handlead.machines.toml.units import length

from .correction import find_correction
from .trials import Steps

#: Reckoned and measured reaches that differ by more than this part don't agree: ten times what gashes leave between
#: their passages (own choice).
_AGREE = 0.02


@dataclass(frozen=True)
class HalfInGroove:
    """The groove of a case as reckoned: what it needs, what is there, and whether this half is fed into it.

    `half` is where this half lies, "lower" or "upper". `others` is the groove of the other half, for which the head
    stands otherwise; it is taken to be fed into the groove.
    """

    halves: Halves
    reckoned: Groove
    others: Groove
    half: str
    feeds_into: bool

    @property
    def own(self) -> float:
        """Least width in mm for this half, the way in which the slide feeds."""
        return self.reckoned.needed(into=self.feeds_into)

    @property
    def needed(self) -> float:
        """Least width in mm for both halves."""
        return max(self.own, self.others.into)

    @property
    def spare(self) -> float:
        """What is left over, in mm; below 0 what is missing."""
        return float(self.halves.groove) - self.needed

    @property
    def stop_past(self) -> float:
        """How far the hob's middle may at most go past the inner face of its half, in mm."""
        return float(self.halves.groove) - self.reckoned.reach


def groove_of(case: Case) -> HalfInGroove | None:
    """The groove as this set-up meets it; None for other work, and where the hob's size or the depth isn't known."""
    halves = case.job.halves
    if halves is None:
        return None
    swivel = Fraction(swivel_deg(_other_hand(case), case.job.hob))
    try:
        stroke, others = stroke_of(case), stroke_of(replace(case, setup=replace(case.setup, swivel_deg=swivel)))
    except ValueError:
        return None
    rate = case.solution.end_rate("axial") or 0
    half = halves.half or ("lower" if rate >= 0 else "upper")
    into = bool(rate > 0 if half == "lower" else rate < 0)
    return HalfInGroove(halves, Groove(stroke.before, stroke.after), Groove(others.before, others.after), half, into)


def check_halves(case: Case) -> Iterator[Finding]:
    """A groove that is too narrow or not deep enough, and what an error in setting the second half does."""
    found, units = groove_of(case), case.job.units
    if case.job.halves is None or case.sizes.wanting:
        return
    if found is None:
        yield Finding(
            "groove-not-known", "warning", "What groove the hob needs can't be reckoned: its diameter isn't known.",
            "Give [hob] outside_diameter.",
        )  # fmt: skip
        return
    yield from _width(case, found)
    yield from _depth(case, found)
    off = float(found.halves.set_within)
    shift = apex_shift(off, case.job.work.beta_deg)
    yield Finding(
        "apex", "note",
        f"A second half that is set {length(off, units)} off along the reference circle moves the apex "
        f"{length(shift, units)} along the axis: so far the pinion must float before both halves carry.",
        facts={"set_within_mm": off, "apex_shift_mm": shift},
    )  # fmt: skip


def _width(case: Case, found: HalfInGroove) -> Iterator[Finding]:
    units, there, reckoned = case.job.units, float(found.halves.groove), found.reckoned
    facts = {
        "groove_mm": there, "needed_mm": found.needed, "reach_mm": reckoned.reach, "overrun_mm": reckoned.overrun,
        "feeds_into": found.feeds_into,
    }  # fmt: skip
    wide, needed, reach, over = (length(mm, units, 2) for mm in (there, found.needed, reckoned.reach, reckoned.overrun))
    if found.spare >= 0:
        yield Finding(
            "groove-wide-enough", "note",
            f"The groove of {wide} takes the hob: it needs {needed}, {length(found.spare, units, 2)} is left.",
            facts=facts,
        )  # fmt: skip
        return
    if there >= found.own:
        facts["needed_mm"], needed = found.others.into, length(found.others.into, units, 2)
        why = "the head stands otherwise for the other half, and reaches farther"
        advice = f"Turn the groove {needed} wide or more, or take a hob of smaller diameter for both halves."
    elif found.feeds_into:
        why = f"its middle must go {over} past the inner face, and reaches {reach} on from there, into the other half"
        advice = f"Turn the groove {needed} wide or more, or take a hob of smaller diameter."
    else:
        why = f"the slide begins in the groove, and the hob reaches {reach} to either side, into the other half"
        other = length(reckoned.into, units, 2)
        why += f"; fed into the groove, the work turned end for end, it would take {other}"
        advice = (
            "Turn the work round, so that this half is fed into the groove as well." if there >= reckoned.into
            else "Turn the groove as wide as that, or wide enough to feed this half into it."
        )  # fmt: skip
    yield Finding(
        "groove-too-narrow", "error", f"The groove is {wide} wide and the hob needs {needed}: {why}.",
        advice, facts,
    )  # fmt: skip


def _depth(case: Case, found: HalfInGroove) -> Iterator[Finding]:
    bottom, root, units = found.halves.groove_diameter, case.sizes.root_diameter, case.job.units
    if bottom is None or float(bottom) < root:
        return
    yield Finding(
        "groove-too-shallow", "error",
        f"The groove is turned to {length(float(bottom), units, 2)} and the hob's tips go to "
        f"{length(root, units, 2)}: it "
        "cuts into the bottom of the groove.",
        f"Turn the groove to less than {length(root, units, 2)}.",
        {"groove_diameter_mm": float(bottom), "root_diameter_mm": root},
    )  # fmt: skip


def witness_groove(case: Case) -> Iterator[Finding]:
    """The hob's reach as its edges sweep it, beside what is reckoned."""
    from handlead.kinematics.cutting.groove_sweep import reach_in_sweep

    found = groove_of(case)
    if found is None:
        return
    try:
        setting = setting_of(case).to_depth(gear_to_cut(case.job.work))
        measured = reach_in_sweep(setting, found.reckoned.reach)
    except (NotCut, ValueError):
        return
    if measured is None or abs(measured / found.reckoned.reach - 1) > _AGREE:
        swept = "no end of it is found" if measured is None else f"it is {length(measured, case.job.units, 2)}"
        yield Finding(
            "witnesses-disagree", "error",
            f"The hob's reach into the groove is {length(found.reckoned.reach, case.job.units, 2)} as reckoned; on the "
            f"simulated blank {swept}.",
            "Trust neither: bring the hob, at rest and to depth, beside the face, and measure.",
        )  # fmt: skip
        return
    yield Finding(
        "groove-measured", "note",
        f"On the simulated blank the hob reaches {length(measured, case.job.units, 2)} from its middle along the work.",
        facts={"reach_measured_mm": measured},
    )  # fmt: skip


# ---------------------------------------------------------------- the other half


@dataclass(frozen=True)
class OtherHalf:
    """The set-up of the other half as the least change from this one: `steps` in their order, and the case after them.

    `steps` is empty where no few steps were found: then it is to be planned. `feed` is how it must be fed, None where
    this one isn't fed at all.
    """

    steps: Steps
    feed: Feed | None = None


def other_half(case: Case) -> OtherHalf:
    """The other half's set-up, what this one needs to be changed to it tried first.

    It is fed as this one into the groove, or out of it: the same way where the work is turned over, else the other way.
    On a machine whose lead comes of the index gears and the feed, a feed turned over changes the hand alike, and is
    no way there.
    """
    halves, now = case.job.halves, case.outcome.feed if case.outcome else None
    if halves is None or now is None:
        return OtherHalf(())
    feed = now if halves.turned_over else now.other
    job = replace(case.job, halves=None, work=_other_hand(case), mate=None)
    try:
        turned = Case.of(job, replace(case.setup, feed=feed))
    except FileFault:
        return OtherHalf((), feed)
    found = find_correction(turned)
    if found is None:
        return OtherHalf((), feed)
    then = carried_out(turned, found.steps).outcome
    return OtherHalf(found.steps if then and then.feed is feed else (), feed)


def _other_hand(case: Case) -> Work:
    work = case.job.work
    assert work.hand is not None
    return replace(work, hand=work.hand.other)


def halves_json(case: Case, halves: Halves, other: OtherHalf) -> dict[str, Any]:
    """The `double_helical` object of a proof: mm, and what to change for the other half."""
    found = groove_of(case)
    work = case.job.work
    off = float(halves.set_within)
    pitch = gear_of(work).reference_diameter * 3.141592653589793 / work.teeth
    return {
        "half": found.half if found else halves.half,
        "second": halves.is_second,
        "hand": work.hand.word if work.hand else None,
        "other_needs_mm": found and found.others.into,
        "turned_over": halves.turned_over,
        "meets": "space on tooth" if halves.staggered else "space on space",
        "groove_mm": float(halves.groove),
        "needed_mm": found and found.needed,
        "reach_mm": found and found.reckoned.reach,
        "overrun_mm": found and found.reckoned.overrun,
        "feeds_into_groove": found and found.feeds_into,
        "set_within_mm": off,
        "apex_shift_mm": apex_shift(off, work.beta_deg),
        "line_to_space_mm": pitch / 2 if halves.staggered else 0.0,
        "other_half": [step.as_json() for step in other.steps],
    }
