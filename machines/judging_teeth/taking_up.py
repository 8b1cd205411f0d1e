"""Work that is toothed already: what each flank has to cut, how far the setting may be off, and how finely gears set "
"it.

Flanks are named by the way in which they look, seen facing the table. Lengths are in mm; "normal" is normal to the
flank at the reference circle, "along the circle" the same divided by cos b cos a.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass, replace
from fractions import Fraction
from functools import cached_property
from typing import TYPE_CHECKING, Any

from handlead.kinematics.gears.gear import Gear
from handlead.kinematics.links.mounted import ChangeGears
from handlead.kinematics.train.moves import running
from handlead.kinematics.train.train import Drive
from handlead.kinematics.transfer.roles import Role
from handlead.kinematics.work.requirement import gear_to_cut
from handlead.machines.blanks.witness import NotCut, setting_of
from handlead.machines.job_files.toothed import Toothed
from handlead.machines.job_keys.toothed_keys import FLANKS
from handlead.machines.measuring.going_deeper import NotMeasured, go_deeper
from handlead.machines.setups.case import Case, face_width_mm
from handlead.machines.setups.findings import Finding
from handlead.machines.toml.units import length

if TYPE_CHECKING:
    from handlead.kinematics.witness.toothed import LeftOnFlanks

#: Columns a pitch of a simulated section.
_COLUMNS = 200

#: Reckoned and measured stocks that differ by more than this don't agree: three times what a section is out by.
_AGREE_MM = 0.01

#: Work with fewer teeth isn't looked at finer than this.
_LEAST_COLUMNS = 2000

#: Misses that are cut in simulation to show what a blank looks like that wasn't found, in pitches.
MISSES = (Fraction(1, 4), Fraction(1, 2))


@dataclass(frozen=True)
class TakingUp:
    """The stock of a toothed blank, reckoned: `stock` is that of either flank where it isn't worn."""

    case: Case
    toothed: Toothed
    stock: float

    @cached_property
    def gear(self) -> Gear:
        """The gear as it is to be."""
        return gear_to_cut(self.case.job.work)

    @property
    def per_arc(self) -> float:
        """Normal to the flank for a mm along the circle."""
        gear = self.gear
        return math.cos(math.radians(gear.helix_angle_deg)) * math.cos(math.radians(gear.pressure_angle_n_deg))

    @property
    def per_depth(self) -> float:
        """Normal to the flank for a mm of depth."""
        return math.sin(math.radians(self.gear.pressure_angle_n_deg))

    @property
    def less_deep(self) -> float:
        """By how much the teeth there are cut less deep than they are to be."""
        return self.stock / self.per_depth

    @cached_property
    def lead_off(self) -> float:
        """What the lead that is cut parts from that of the teeth there, over half the face, normal to the flank."""
        outcome, work = self.case.outcome, self.case.job.work
        if self.toothed.lead is None or work.hand is None or outcome is None or not outcome.lead_mm or not outcome.hand:
            return 0.0
        apart = abs(outcome.hand.value / outcome.lead_mm - work.hand.value / float(self.toothed.lead))
        return math.pi * self.gear.reference_diameter * face_width_mm(work) * apart / 2 * self.per_arc

    @property
    def set_off(self) -> float:
        """What the allowance of the setting takes, normal to the flank."""
        return float(self.toothed.set_within) * self.per_arc

    def worn(self, flank: str) -> float:
        """How deep a flank is worn."""
        return float(self.toothed.worn) if flank == self.toothed.worn_flank else 0.0

    @property
    def towards(self) -> str | None:
        """The flank that the new spaces are set towards; None: the middle of the old ones."""
        return self.toothed.worn_flank if self.toothed.clean == "both" else self.toothed.clean

    @property
    def shift(self) -> float:
        """By how much, normal to the flank: both come to the same least stock, or one is kept as it is."""
        return float(self.toothed.worn) / 2 if self.toothed.clean == "both" else self.stock

    @property
    def shift_arc(self) -> float:
        """By how much the work is turned, along the circle, the way in which that flank looks."""
        return self.shift / self.per_arc

    def nominal(self, flank: str) -> float:
        """What the new cut takes off a flank at its worst place, all set as it is meant."""
        moved = 0.0 if self.towards is None else self.shift if flank == self.towards else -self.shift
        return self.stock + moved - self.worn(flank)

    def least(self, flank: str) -> float:
        """The same with setting and lead off as far as they may be."""
        return self.nominal(flank) - self.set_off - self.lead_off

    @property
    def cleaned(self) -> tuple[str, ...]:
        """The flanks that must come clean."""
        return FLANKS if self.toothed.clean == "both" else (self.toothed.clean,)

    @property
    def least_nominal(self) -> float:
        """Nominal stock of the flank that has least to spare, of those that must come clean."""
        return min(map(self.nominal, self.cleaned))

    @property
    def may_be_off(self) -> Mapping[str, float]:
        """How far each may be off alone before a flank isn't cleaned up: mm, and the lead in parts of a million."""
        left = self.least_nominal - self.lead_off
        limits = {
            "along_circle_mm": left / self.per_arc,
            "off_centre_mm": left - self.set_off,
            "less_deep_mm": (left - self.set_off) / self.per_depth,
        }
        lead = self.case.job.work.lead_mm
        if lead:
            across = math.pi * self.gear.reference_diameter * face_width_mm(self.case.job.work) / 2 * self.per_arc
            limits["lead_ppm"] = (self.least_nominal - self.set_off) / across * lead * 1e6
        return {name: max(value, 0.0) for name, value in limits.items()}

    def swept(self, off_arc: float) -> LeftOnFlanks | None:
        """What a simulated section shows with the new spaces so far counter-clockwise of the old, along the circle.

        None where nothing can be cut.
        """
        from handlead.kinematics.witness.toothed import cut_again_section, left_on_flanks

        radius = self.gear.reference_diameter / 2
        columns = max(_COLUMNS * self.gear.teeth, _LEAST_COLUMNS)
        try:
            setting = setting_of(self.case).to_depth(self.gear)
            section = cut_again_section(setting, self.less_deep, off_arc / (2 * math.pi * radius), columns)
        except (NotCut, ValueError):
            return None
        return left_on_flanks(section, radius)

    @property
    def meant_arc(self) -> float:
        """How far counter-clockwise of the old the new spaces are meant to stand, along the circle."""
        return {"clockwise": self.shift_arc, "counter-clockwise": -self.shift_arc}.get(self.towards or "", 0.0)

    @cached_property
    def missed(self) -> tuple[tuple[float, LeftOnFlanks], ...]:
        """What is left where the spaces weren't found: by so many mm along the circle, as cut in simulation."""
        pitch = math.pi * self.gear.reference_diameter / self.gear.teeth
        offs = (float(self.toothed.set_within), *(float(part) * pitch for part in MISSES))
        found = ((off, self.swept(self.meant_arc + off)) for off in offs)
        return tuple((off, left) for off, left in found if left is not None)

    def as_json(self) -> dict[str, Any]:
        """The `toothed` object of a proof: mm, and parts of a million."""
        return {
            "because": self.toothed.because,
            "stock_mm": self.stock,
            "less_deep_mm": self.less_deep,
            "turn_work": self.towards,
            "turn_work_by_mm": self.shift_arc if self.towards else 0.0,
            "flanks": {
                flank: {"stock_mm": self.nominal(flank), "least_mm": self.least(flank), "worn_mm": self.worn(flank)}
                for flank in FLANKS
            },
            "may_be_off": dict(self.may_be_off),
            "gear_steps": [asdict(step) for step in gear_steps(self.case)],
            "if_not_found": [
                {
                    "off_mm": off,
                    "clockwise_mm": left.clockwise,
                    "counter_clockwise_mm": left.counter_clockwise,
                    "lands": left.lands,
                    "thinnest_mm": left.thinnest,
                }
                for off, left in self.missed
            ],
        }


def taking_up(case: Case) -> TakingUp | None:
    """What a toothed blank has to cut; None for other work, and where nobody measured it."""
    toothed = case.job.toothed
    if toothed is None:
        return None
    if toothed.stock is not None:
        return TakingUp(case, toothed, float(toothed.stock))
    try:
        deeper = go_deeper(case.job).deeper
    except NotMeasured:
        return None
    found = TakingUp(case, toothed, 0.0)
    return replace(found, stock=deeper * found.per_depth)


@dataclass(frozen=True)
class GearStep:
    """By how much a change gear that is meshed again a tooth further sets the spaces round, in mm along the circle."""

    bracket: str
    gear: int
    mm: float


def gear_steps(case: Case) -> tuple[GearStep, ...]:
    """For each index bracket: its last gear taken out of mesh and put back a tooth further."""
    found = (_step(case, name) for name in case.brackets(Role.INDEX))
    return tuple(step for step in found if step is not None)


def _step(case: Case, name: str) -> GearStep | None:
    link = case.train.link(name)
    if not isinstance(link, ChangeGears) or link.mounted is None:
        return None
    drives = {**case.train.drives, "by hand": Drive(link.to_part)}
    train = replace(case.train.with_gears({name: None}), drives=drives)
    solution = running(train, "by hand")
    rate = solution.end_rate("table")
    if solution.is_locked or not rate:
        return None
    gear = link.mounted.gears[-1]
    around = math.pi * gear_to_cut(case.job.work).reference_diameter
    return GearStep(name, gear, abs(float(rate)) / gear * around)


# ---------------------------------------------------------------- what a proof says


def check_toothed(case: Case) -> Iterator[Finding]:
    """Whether each flank comes clean, and how truly the hob must be set for it."""
    if case.job.toothed is None:
        return
    found, units = taking_up(case), case.job.units
    if found is None:
        yield Finding(
            "stock-not-measured", "warning",
            "The work is toothed already and nobody measured it: what there is to cut off its flanks isn't known.",
            "Measure a span where it isn't worn and write it as [[measured]], or give [toothed] stock.",
        )  # fmt: skip
        return
    facts = {f"{flank.replace('-', '_')}_mm": found.nominal(flank) for flank in FLANKS}
    facts |= {"least_mm": min(map(found.least, found.cleaned)), "lead_off_mm": found.lead_off}
    each = " and ".join(f"{length(found.nominal(flank), units)} off the flank that looks {flank}" for flank in FLANKS)
    if found.least_nominal - found.lead_off < 0:
        yield _not_cleaned(found, facts)
    elif facts["least_mm"] < 0:
        yield Finding(
            "take-up-too-coarse", "warning",
            f"The new cut takes {each}; set {length(float(found.toothed.set_within), units)} off, a flank doesn't "
            "clean up.",
            f"Set the hob within {length(found.may_be_off['along_circle_mm'], units)} along the reference circle.",
            facts,
        )  # fmt: skip
    else:
        yield Finding("take-up", "note", f"The new cut takes {each}.", facts=facts)


def _not_cleaned(found: TakingUp, facts: dict[str, float]) -> Finding:
    units = found.case.job.units
    flank = min(found.cleaned, key=found.nominal)
    short = found.lead_off - found.nominal(flank)
    why = ""
    if found.lead_off > 0:
        apart = length(found.lead_off, units)
        why = f" The lead there isn't the one that is cut: over half the face they part by {apart}."
    return Finding(
        "flank-not-cleaned", "error",
        f"The flank that looks {flank} doesn't clean up: {length(short, units)} is missing.{why}",
        f"Go {length(short / found.per_depth, units)} deeper, and the mate with it, or its backlash grows; else leave "
        "the worn place as it is and say so.",
        facts,
    )  # fmt: skip


def witness_toothed(case: Case) -> Iterator[Finding]:
    """The stock of both flanks measured on a section of the simulated work, beside what is reckoned."""
    found = taking_up(case)
    if found is None or found.stock <= 0:
        return
    left, units = found.swept(found.meant_arc), case.job.units
    if left is None:
        return
    swept = {"clockwise": left.clockwise * found.per_arc, "counter-clockwise": left.counter_clockwise * found.per_arc}
    for flank in FLANKS:
        reckoned = found.nominal(flank) + found.worn(flank)
        if abs(swept[flank] - reckoned) > _AGREE_MM:
            yield Finding(
                "witnesses-disagree", "error",
                f"Off the flank that looks {flank} go {length(reckoned, units)} as reckoned, on the simulated work "
                f"{length(swept[flank], units)}.",
                "Trust neither: blue the flanks, and take a first cut so light that it only marks them.",
            )  # fmt: skip
            return
    each = " and ".join(f"{length(swept[flank], units)} off the flank that looks {flank}" for flank in FLANKS)
    yield Finding("take-up-measured", "note", f"On the simulated work, its wear left out, it takes {each}.")
