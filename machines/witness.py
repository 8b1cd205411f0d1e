"""The second witness: the set-up's blank cut in simulation, and measured knowing nothing of the train."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Literal

from handlead.kinematics.gear import ISO_53, ROOT_CLEARANCE
from handlead.kinematics.requirement import HobData, Work, gear_to_cut
from handlead.kinematics.sizes import hob_addendum

from .case import Case, face_width_mm
from .errors import HandleadError
from .findings import Finding
from .imperfections import ripples_of
from .units import length

if TYPE_CHECKING:
    from handlead.kinematics.gauging import Gauged
    from handlead.kinematics.hob import Hob
    from handlead.kinematics.measured import FlankQuality, Measured
    from handlead.kinematics.motion import Rates

#: Gashes of a hob whose job doesn't count them (common practice for small single-start hobs).
USUAL_GASHES = 10

#: Two leads that differ by more than this, relatively, aren't the same lead.
LEAD_AGREES = 1e-3

Progress = Callable[[float], None]
Depth = Literal["scratch", "full"]


@dataclass(frozen=True)
class Cut:
    """What was measured on the simulated blank."""

    measured: Measured

    @property
    def gauged(self) -> Gauged:
        """Count, hand and lead, from the field alone."""
        return self.measured.gauged

    @property
    def flanks(self) -> FlankQuality | None:
        """Both flanks of a tooth at full depth; None where they can't be seen."""
        return self.measured.flanks

    def as_json(self) -> dict[str, Any]:
        """The `cut` object of the JSON contract."""
        found, flanks = self.gauged, self.flanks
        return {
            "teeth": found.teeth,
            "hand": found.hand,
            "lead_mm": found.lead_mm,
            "real_teeth": found.real_teeth,
            "offset_pitch": found.offset_pitch,
            "clean": found.clean,
            "feed_mark_um": flanks and flanks.feed_mark_um,
            "facet_um": flanks and flanks.facet_um,
            "ripple_um": flanks and flanks.ripple_um,
            "helix_slope_um": flanks and flanks.helix_slope_um,
            "profile_slope_um": flanks and flanks.profile_slope_um,
            "single_pitch_um": flanks and flanks.single_pitch_um,
            "cumulative_pitch_um": flanks and flanks.cumulative_pitch_um,
            "class": flanks and flanks.quality,
            "notes": list(found.notes),
        }


class NotCut(HandleadError, ValueError):
    """The blank can't be cut in simulation; the message says why."""


def cut_blank(case: Case, depth: Depth = "scratch", progress: Progress | None = None) -> Cut:
    """Cut the job's blank with its hob, a light cut or to full depth, and measure it.

    Raises `NotCut` where hob or table doesn't move, or the hob's size isn't known.
    """
    from handlead.kinematics.blank import Blank
    from handlead.kinematics.measured import measure_cut

    work, rates = case.job.work, case.rates
    if case.solution.is_locked or rates is None:
        raise NotCut("hob and table aren't both driven")
    if not rates.axial and work.kind != "worm wheel":
        raise NotCut("the axial slide isn't driven")
    _check_measure(rates, face_width_mm(work))
    width = face_width_mm(work)
    # A sprocket's flank is no involute, and a worm wheel's no cylinder's: there is nothing to hold theirs against.
    gear = replace(gear_to_cut(work), face_width=None if work.kind in ("sprocket", "worm wheel") else width)
    blank = Blank(case.sizes.outside_diameter, width)
    try:
        return Cut(
            measure_cut(
                rates,
                hob_of(work, case.job.hob),
                blank,
                case.swivel_deg,
                gear=gear,
                depth=depth,
                ripples=ripples_of(case),
                progress=progress,
            )
        )
    except ValueError as why:
        raise NotCut(str(why)) from why


#: Rates beyond these are no hobbing machine's, and a pass of more hob turns than this takes for ever.
_TABLE_PER_HOB = (1e-6, 10.0)
_GREATEST_SLIDE_PER_HOB = 1000.0
_MOST_HOB_TURNS = 100_000


def _check_measure(rates: Rates, width: float) -> None:
    """Raises `NotCut` for rates that no blank could be cut at, or not within sensible time."""
    least, greatest = _TABLE_PER_HOB
    if not least <= abs(rates.table) <= greatest:
        raise NotCut("the table's turns for one of the hob are out of all measure")
    slides = [abs(rate) for rate in (rates.axial, rates.tangential, rates.radial) if rate]
    if any(rate > _GREATEST_SLIDE_PER_HOB for rate in slides):
        raise NotCut("the feed is out of all measure")
    if any(rate * _MOST_HOB_TURNS < width for rate in slides):
        raise NotCut("the feed is so fine that the hob would turn for ever")


def hob_of(work: Work, data: HobData) -> Hob:
    """The hob with its edges, as high as the work has it. Raises `NotCut` for a size not known or impossible."""
    from handlead.kinematics.hob import Hob

    if data.diameter is None and data.outside_diameter is None and data.lead_angle_deg is None:
        raise NotCut("the hob's size isn't known: give its diameter, outside_diameter or lead_angle")
    rack = ISO_53[data.rack]
    rack = replace(
        rack,
        dedendum=hob_addendum(work, data) / float(data.module_n),
        addendum=rack.addendum if data.dedendum is None else float(data.dedendum) - ROOT_CLEARANCE,
        root_radius=rack.root_radius if data.tip_radius is None else float(data.tip_radius),
    )
    try:
        return Hob(
            float(data.module_n),
            starts=data.starts,
            hand=data.hand,
            gashes=data.gashes or USUAL_GASHES,
            reference_diameter=_number(data.diameter),
            outside_diameter=_number(data.outside_diameter),
            lead_angle_deg=_number(data.lead_angle_deg),
            pressure_angle_deg=float(data.pressure_angle_deg),
            rack=rack,
        )
    except ValueError as fault:
        raise NotCut(str(fault)) from fault


def _number(value: Any) -> float | None:
    return None if value is None else float(value)


def compare(case: Case, cut: Cut) -> Iterator[Finding]:
    """Findings from the blank: the two witnesses against each other, and what is left on the teeth."""
    computed, measured = case.outcome, cut.gauged
    if computed is None or computed.teeth is None:
        return
    differences = list(_differences(case, cut))
    if differences:
        yield Finding(
            "witnesses-disagree",
            "error",
            f"The rates and the simulated blank don't say the same: {'; '.join(differences)}.",
            "Trust neither: make a scratch cut on the machine, count its marks, and look which way they lean.",
        )
    elif not measured.clean:
        why = f": {'; '.join(measured.notes)}" if measured.notes else ""
        yield Finding(
            "teeth-not-clean",
            "warning",
            f"On the simulated blank the marks don't make whole, clean teeth{why}.",
            "See to the other findings first; this follows from them.",
        )


def _differences(case: Case, cut: Cut) -> Iterator[str]:
    computed, measured = case.outcome, cut.gauged
    assert computed is not None
    if measured.teeth is not None and measured.teeth != computed.teeth:
        yield f"{computed.teeth} teeth computed, {measured.teeth} counted"
        return
    if measured.hand is None or not computed.is_steady or case.job.work.kind == "worm wheel":
        return  # a worm wheel is too narrow a band to tell a lead from
    hand = computed.hand.word if computed.hand else "none"
    face = face_width_mm(case.job.work)
    inverse = {"right": 1, "left": -1, "none": 0}
    ours = inverse[hand] / computed.lead_mm if computed.lead_mm else 0.0
    theirs = inverse[measured.hand] / measured.lead_mm if measured.lead_mm else 0.0
    # Over the face the two helices part by this share of a pitch.
    parted = abs(ours - theirs) * face * (computed.teeth or 1)
    if parted > max(LEAD_AGREES * abs(ours) * face * (computed.teeth or 1), 0.02):
        units = case.job.units
        yield (
            f"lead {_lead(hand, computed.lead_mm, units)} computed, "
            f"{_lead(measured.hand, measured.lead_mm, units)} measured"
        )


def _lead(hand: str, lead: float | None, units: str) -> str:
    return "none (straight)" if lead is None or math.isinf(lead) else f"{length(lead, units, 2)} {hand}"
