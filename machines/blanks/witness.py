"""The second witness: the set-up's blank cut in simulation, and measured knowing nothing of the train."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Literal

from handlead.kinematics.cutting.touch import touch_length
from handlead.kinematics.gears.gear import ISO_53, ROOT_CLEARANCE
from handlead.kinematics.other_work.profiles import rounded_rack, straight_spline
from handlead.kinematics.other_work.spline import RolledKeys
from handlead.kinematics.work.requirement import USUAL_GASHES, HobData, Work, gear_to_cut, keys_of
from handlead.kinematics.work.sizes import (
    centres_at_depth,
    hob_addendum,
    outside_diameter,
    rolling_diameter_of,
    sprocket_of,
)
from handlead.machines.setups.case import Case, face_width_mm
from handlead.machines.setups.imperfections import on_its_arbor
from handlead.machines.setups.templates import displacements_of, relief_to_measure
from handlead.machines.toml.errors import HandleadError
from handlead.machines.toml.units import length

if TYPE_CHECKING:
    from handlead.kinematics.cutting.hob import Hob
    from handlead.kinematics.cutting.setting import Setting
    from handlead.kinematics.frame.motion import Rates
    from handlead.kinematics.gauging.field import Gauged
    from handlead.kinematics.gauging.keys import KeysFound
    from handlead.kinematics.witness.flank_quality import FlankQuality
    from handlead.kinematics.witness.measured import Measured

Progress = Callable[[float], None]
Depth = Literal["scratch", "full"]


@dataclass(frozen=True, repr=False)
class Cut:
    """What was measured on the simulated blank, cut so deep; `reckoned` is what the files say of hob and mounting."""

    measured: Measured
    depth: Depth = "scratch"
    reckoned: tuple[str, ...] = ()

    @property
    def not_measured(self) -> tuple[str, ...]:
        """What belongs to the gear's accuracy and isn't looked at, less what the files say of it."""
        from handlead.kinematics.witness.flank_quality import NOT_MEASURED

        return tuple(one for one in NOT_MEASURED if one not in self.reckoned)

    def __repr__(self) -> str:
        found = self.gauged
        return f"<Cut measured: {found.teeth} teeth, hand {found.hand}, lead {found.lead_mm} mm>"

    @property
    def gauged(self) -> Gauged:
        """Count, hand and lead, from the field alone."""
        return self.measured.gauged

    @property
    def light_marks(self) -> int | None:
        """How many marks stand out most on a light cut; None where there are none, or the cut isn't light."""
        return self.gauged.pattern if self.depth == "scratch" else None

    @property
    def flanks(self) -> FlankQuality | None:
        """Both flanks of a tooth at full depth; None where they can't be seen."""
        return self.measured.flanks

    @property
    def keys(self) -> KeysFound | None:
        """The keys of a straight-sided spline at full depth; None for other work, or where there are none."""
        return self.measured.keys

    @property
    def marks_are_apart(self) -> bool:
        """Whether feed marks and facets have heights of their own: on leaning teeth they are one pattern."""
        return self.gauged.hand == "none"

    def as_json(self) -> dict[str, Any]:
        """The `cut` object of the JSON contract; heights that can't be told apart are null but for the whole one."""
        found, flanks = self.gauged, self.flanks
        apart = flanks if self.marks_are_apart else None
        return {
            "teeth": found.teeth,
            "hand": found.hand,
            "lead_mm": found.lead_mm,
            "real_teeth": found.real_teeth,
            "offset_pitch": found.offset_pitch,
            "clean": found.clean,
            "light_marks": self.light_marks,
            "light_marks_lean_deg": None if self.light_marks is None else found.pattern_lean_deg,
            "feed_mark_um": apart and apart.feed_mark_um,
            "facet_um": apart and apart.facet_um,
            "ripple_um": flanks and flanks.ripple_um,
            "helix_slope_um": flanks and flanks.helix_slope_um,
            "profile_slope_um": flanks and flanks.profile_slope_um,
            "single_pitch_um": flanks and flanks.single_pitch_um,
            "cumulative_pitch_um": flanks and flanks.cumulative_pitch_um,
            "runout_um": flanks and flanks.runout_um,
            "thickness_um": flanks and flanks.thickness_um,
            "span_um": flanks and flanks.span_um,
            **self._keys_json(),
            **self._relief_json(),
            "traced_teeth": flanks and flanks.traced_teeth,
            "class": flanks and flanks.quality,
            "not_measured": list(self.not_measured) if flanks else [],
            "notes": list(found.notes),
        }


    def _relief_json(self) -> dict[str, Any]:
        relief = self.flanks.relief if self.flanks else None
        return {"crown_um": 1000 * relief.crown, "taper_um": 1000 * relief.taper} if relief is not None else {}

    def _keys_json(self) -> dict[str, Any]:
        keys = self.keys
        if keys is None:
            return {}
        return {
            "key_width_mm": keys.width,
            "key_width_spread_mm": keys.spread,
            "key_taper_um": keys.taper_um,
            "key_parallel_um": keys.parallel_um,
            "key_dividing_um": keys.dividing_um,
        }


class NotCut(HandleadError, ValueError):
    """The blank can't be cut in simulation; the message says why."""


def cut_blank(case: Case, depth: Depth = "scratch", progress: Progress | None = None) -> Cut:
    """Cut the job's blank with its hob, a light cut or to full depth, and measure it.

    Raises `NotCut` where hob or table doesn't move, or the hob's size isn't known.
    """
    from handlead.kinematics.witness.measured import measure_cut

    work, rates = case.job.work, case.rates
    if case.solution.is_locked or rates is None:
        raise NotCut("hob and table aren't both driven")
    if not rates.axial and work.kind != "worm wheel":
        raise NotCut("the axial slide isn't driven")
    if not rates.axial and not rates.tangential and (case.solution.end_rate("radial") or 0) > 0:
        raise NotCut("the radial slide goes away from the work, so that the hob never touches it")
    width = face_width_mm(work)
    _check_measure(rates, width)
    # A sprocket's flank is no involute, and a worm wheel's no cylinder's: there is nothing to hold theirs against.
    gear = replace(gear_to_cut(work), face_width=width if work.has_involutes else None)
    setting = setting_of(case)
    if depth == "scratch":
        _check_touches(setting, case)
    try:
        measured = measure_cut(
            setting, gear=gear, depth=depth, ripples=displacements_of(case), relief=relief_to_measure(case),
            progress=progress,
        )  # fmt: skip
        if work.has_keys:
            measured = replace(measured, keys=_keys_found(case, setting))
    except ValueError as why:
        raise NotCut(str(why)) from why
    if case.outcome and case.outcome.teeth is None:
        measured = _without_teeth(measured)
    return Cut(measured, depth, _reckoned(case))


def _reckoned(case: Case) -> tuple[str, ...]:
    """Of what is not measured otherwise, what the files of this set-up say."""
    from handlead.kinematics.witness.flank_quality import OF_BLANK, OF_HOB

    kinds, hob = {one.kind for one in case.job.machine.imperfections}, case.job.hob
    on_hob = hob.gash_index or hob.thread_error or kinds & {"hob runout", "hob wobble"}
    return (*((OF_HOB,) if on_hob else ()), *((OF_BLANK,) if kinds & {"work runout", "work tilt"} else ()))


def _without_teeth(measured: Measured) -> Measured:
    """What was measured, without the count, hand and lead of marks that are no tooth spaces."""
    why = "the marks are where single gashes strike, no tooth spaces"
    gauged = replace(measured.gauged, teeth=None, hand=None, lead_mm=None, clean=False, notes=(why,))
    return replace(measured, gauged=gauged, flanks=None)


def setting_of(case: Case) -> Setting:
    """What the job's blank is cut with; how deep is left open.

    Raises `NotCut` where hob or table isn't driven, or the hob's size isn't known.
    """
    from handlead.kinematics.cutting.setting import Setting
    from handlead.kinematics.frame.blank import Blank

    if case.rates is None:
        raise NotCut("hob and table aren't both driven")
    work = case.job.work
    blank = Blank(case.sizes.outside_diameter, face_width_mm(work))
    hob = on_its_arbor(hob_of(work, case.job.hob), case.job.machine.imperfections)
    return Setting(case.rates, hob, blank, case.swivel_deg)


def _check_touches(setting: Setting, case: Case) -> None:
    """Raises `NotCut` where the feed is so coarse that no light cut's touches meet those of the turn before."""
    from handlead.kinematics.cutting.field import light_depth

    feed = setting.feed
    length_mm = touch_length(light_depth(setting), setting.hob.tip_radius, setting.swivel_deg)
    if feed > length_mm:
        raise NotCut(
            f"a feed of {length(feed, case.job.units, 1)} in a table turn leaves touches that don't meet; "
            f"a light cut's are {length(length_mm, case.job.units, 1)} long at most"
        )


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
    from handlead.kinematics.cutting.hob import Hob

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
            profile=_chain_thread(work, data) or _thread_for_keys(work),
            gash_late=tuple(float(one) for one in data.gash_index),
            relief_deg=float(data.relief_angle_deg),
            lead_error=float(data.thread_error),
        )
    except ValueError as fault:
        raise NotCut(str(fault)) from fault


def _chain_thread(work: Work, data: HobData) -> tuple[tuple[float, float], ...] | None:
    """The thread of a hob for chain wheels, which rounds its tips to the rollers' seat; None for other work.

    The seat is taken as the least that ISO 606 allows. Raises `ValueError` where no such thread fits its pitch.
    """
    sprocket = sprocket_of(work)
    if sprocket is None:
        return None
    teeth_over = max((outside_diameter(work) - rolling_diameter_of(work)) / 2, 0.0)
    below = teeth_over + ROOT_CLEARANCE * float(data.module_n)
    seat, angle = sprocket.seating_radii[0], float(data.pressure_angle_deg)
    return rounded_rack(math.pi * float(data.module_n), seat, angle, hob_addendum(work, data), below)


def _thread_for_keys(work: Work) -> tuple[tuple[float, float], ...] | None:
    """The thread of a hob made for straight-sided keys; None for other work."""
    keys = keys_of(work)
    return straight_spline(keys, rolling_diameter=rolling_diameter_of(work)) if keys else None


def _keys_found(case: Case, setting: Setting) -> KeysFound | None:
    """The keys on the blank cut to depth, between the drawing's form diameter, or the fillets, and the tops.

    The thread is the drawing's own, which a hob of another module wouldn't have.
    """
    from handlead.kinematics.witness.measured import measure_keys

    work, distance = case.job.work, centres_at_depth(case.job.work, case.job.hob)
    low, high = straight_from(work), float(work.outside_diameter or 0)
    if low is None or distance is None or case.job.hob.module_n != work.module_n or not setting.rates.axial:
        return None
    margin = _OFF_THE_ENDS * (high - low)
    return measure_keys(replace(setting, centre_distance=distance), (low + margin, high - margin))


#: How much of the straight part of a key's side is left out at either end when it is measured.
_OFF_THE_ENDS = 0.05


def straight_from(work: Work) -> float | None:
    """Diameter in mm down to where the sides of the keys are to be straight: the drawing's, or what a hob leaves.

    None for other work.
    """
    keys = keys_of(work)
    if keys is None:
        return None
    left = RolledKeys.of(keys, rolling_diameter_of(work)).straight_from
    return left if work.form_diameter is None else float(work.form_diameter)


def _number(value: Any) -> float | None:
    return None if value is None else float(value)
