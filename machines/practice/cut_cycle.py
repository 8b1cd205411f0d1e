"""What a set-up means at the machine: hob speed, depth, travel and time. Starting values, all of them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from handlead.kinematics.practice import cycle
from handlead.kinematics.work.sizes import centres_at_depth, hob_tip_diameter
from handlead.machines.setups.case import Case, Stroke, hob_rpm, reach_of_teeth, stroke_of

#: Work above this module is cut in two cuts where the job doesn't say; a worm wheel in one (common practice).
ONE_CUT_UP_TO = 3

#: What the last cut of several takes, in modules of depth (common practice).
FINISHING_DEPTH = 0.25


@dataclass(frozen=True)
class CutCycle:
    """Speeds, lengths and time; None where the job or the machine file doesn't say what they depend on.

    `depths` are what each cut goes in by from the one before, in mm, counted from where the hob just
    marks the blank, none where the depth isn't known, nor of a throated worm wheel: that is set by `centres` alone,
    the distance of the hob's axis from the work's in mm at full depth. `stroke` is one cut's; `time_min` is for all
    cuts, setting not counted.
    """

    hob_rpm: float | None
    cutting_speed_m_min: float | None
    depths: tuple[float, ...]
    stroke: Stroke | None
    time_min: float | None
    centres: float | None = None

    @property
    def travel(self) -> float | None:
        """Of one cut, in mm."""
        return self.stroke.travel if self.stroke else None

    def as_json(self) -> dict[str, Any]:
        """The values with their units in their names."""
        return {
            "hob_rpm": self.hob_rpm,
            "cutting_speed_m_min": self.cutting_speed_m_min,
            "depths_mm": list(self.depths),
            "centres_mm": self.centres,
            "travel_mm": self.travel,
            "time_min": self.time_min,
        }


def cut_cycle(case: Case) -> CutCycle:
    """Work out speeds, depth, travel and time of a set-up."""
    work, hob = case.job.work, case.job.hob
    rpm = hob_rpm(case)
    tip = hob_tip_diameter(work, hob)
    speed = cycle.cutting_speed_m_min(rpm, tip) if rpm and tip else None
    cuts = case.job.cutting.cuts or (1 if work.module_n <= ONE_CUT_UP_TO or work.kind == "worm wheel" else 2)
    stroke = _stroke(case)
    feed = case.outcome.sliding_feed if case.outcome else None
    time = None
    depths = _depths(case, cuts)
    travel = stroke.travel if stroke else _infeed(case)
    if rpm and travel and feed:
        time = cuts * cycle.cutting_time_min(travel, float(feed), rpm, work.teeth, hob.starts)
    centres = centres_at_depth(work, hob) if work.kind == "worm wheel" else None
    return CutCycle(rpm, speed, () if case.sizes.throat else depths, stroke, time, centres)


def _infeed(case: Case) -> float | None:
    """Travel of a worm wheel's feed in mm; None for other feeds.

    In: from the first touch to full depth, and what the table turn that finishes the wheel would add. Across: from
    where teeth begin to cut to where a full one leaves.
    """
    outcome = case.outcome
    if outcome is None or not outcome.sliding_feed or case.sizes.depth <= 0:
        return None
    if outcome.feed_slide == "tangential":
        return 2 * reach_of_teeth(case)
    if outcome.feed_slide != "radial":
        return None
    return case.sizes.from_touch + float(outcome.sliding_feed)


def _depths(case: Case, cuts: int) -> tuple[float, ...]:
    """What each cut takes: equal roughing cuts, and the rest."""
    depth = case.sizes.depth
    if depth <= 0 or case.sizes.wanting:
        return ()
    if cuts == 1:
        return (depth,)
    # A blank turned small may leave less than the usual for a finishing cut.
    finishing = min(FINISHING_DEPTH * float(case.job.work.module_n), depth / cuts)
    rough, whole = cycle.depths_in_cuts(depth, finishing)
    return (*[rough / (cuts - 1)] * (cuts - 1), whole - rough)


def _stroke(case: Case) -> Stroke | None:
    if case.job.work.kind == "worm wheel":
        return None
    try:
        return stroke_of(case)
    except ValueError:
        return None
