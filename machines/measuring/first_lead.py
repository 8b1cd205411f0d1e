"""The lead of the light first cut, measured on the machine itself: a dial on the slide, the table at rest.

Either the slide travels from one tooth to another that stands over it, and the axial pitch tells the lead; or it rises
a little, and the dial tells how far the tooth has gone aside. Neither uses what has cut the tooth: the table stands.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from handlead.kinematics.train.moves import solve_by_hand
from handlead.kinematics.work.requirement import gear_of
from handlead.machines.setups.case import Case, face_width_mm, helix_slope_limit_um
from handlead.machines.setups.clearing import levers_put_over

#: Greatest travel of a dial that is trusted, in mm, and what it is read to (common practice).
DIAL_MM, READ_MM = 8.0, 0.01

#: What a rise is rounded down to, in mm and for a job in inches (a twentieth of one).
_STEP = {"mm": 1.0, "in": 1.27}

#: Part of the face that the dial goes over: the rest is where the hob runs in and out (own choice).
_OF_FACE = 0.8


@dataclass(frozen=True)
class FirstLead:
    """How the lead is measured, lengths in mm.

    `levers` part the slide from table and hob, `back` is where they go again; both are None where only gears taken out
    do it. With `clamp` the table is free then, and must be clamped. `lead` is wanted; None for straight teeth. Over
    `teeth` teeth the slide must go `travel`; `teeth` is 0 where the face is too short for one. Rising `rise` it sees
    the tooth go aside by `reading` at the outside diameter `outside`. `off_travel` and `off_reading` are what the class
    allows of them.
    """

    levers: Mapping[str, str] | None
    back: Mapping[str, str] | None
    clamp: bool
    count: int
    lead: float | None
    outside: float
    teeth: int
    travel: float
    rise: float
    reading: float
    off_travel: float
    off_reading: float

    @property
    def table_deg(self) -> float:
        """By how much the table is turned by hand until the dial stands at 0 again after the rise, in degrees."""
        return 360 * self.rise / self.lead if self.lead else 0.0

    @property
    def tells_class(self) -> bool:
        """Whether a dial is fine enough to tell the class, and not the gears alone."""
        return (self.off_travel if self.teeth else self.off_reading) >= 2 * READ_MM

    def as_json(self) -> dict[str, Any]:
        """The `first_lead` object of a proof: mm."""
        return {
            "levers": None if self.levers is None else dict(self.levers),
            "back": None if self.back is None else dict(self.back),
            "clamp_table": self.clamp,
            "lead_mm": self.lead,
            "over_teeth": self.teeth or None,
            "travel_mm": self.travel if self.teeth else None,
            "travel_within_mm": self.off_travel if self.teeth else None,
            "rise_mm": self.rise,
            "reading_mm": self.reading,
            "reading_within_mm": self.off_reading,
            "table_deg": self.table_deg,
            "tells_class": self.tells_class,
        }


def first_lead(case: Case) -> FirstLead | None:
    """How the lead of this work is measured; None for work without a lead to be measured along the axis."""
    work = case.job.work
    if work.kind in ("worm wheel", "sprocket") or "axial" not in case.train.ends or case.solution.is_locked:
        return None
    gear, face, outside = gear_of(work), face_width_mm(work), case.sizes.outside_diameter
    lead = work.lead_mm
    # ISO 1328-1 along the base tangent: the slope over the face is pi d_b b times what 1 / L is off.
    inverse_off = helix_slope_limit_um(work) / 1000 / (math.pi * gear.base_diameter * face)
    rise = _OF_FACE * face
    if lead:
        rise = min(rise, DIAL_MM * lead / (math.pi * outside))
    step = _STEP[case.job.units]
    rise = math.floor(rise / step) * step if rise > step else rise
    teeth = math.floor(_OF_FACE * face * work.teeth / lead) if lead else 0
    found = next(_levers(case), None)
    return FirstLead(
        levers=found and found[0],
        back=found and found[1],
        clamp=found is None or found[2],
        count=work.teeth,
        lead=lead,
        outside=outside,
        teeth=teeth,
        travel=teeth * lead / work.teeth if lead else 0.0,
        rise=rise,
        reading=math.pi * outside * rise / lead if lead else 0.0,
        off_travel=teeth * lead**2 * inverse_off / work.teeth if lead else 0.0,
        off_reading=math.pi * outside * rise * inverse_off,
    )


def _levers(case: Case) -> Iterator[tuple[dict[str, str], dict[str, str], bool]]:
    """Levers after which the slide moves alone, table and hob at rest: the fewest first, a table that is held first."""
    found = []
    for moved, put in levers_put_over(case):
        solution = solve_by_hand(moved.train, "axial")
        rates = [solution.end_rate(end) for end in ("table", "hob")]
        if not solution.is_locked and not any(rates):
            stands = case.job.machine.positions(case.setup)
            found.append((put, {lever: stands[lever] for lever in put}, rates[0] is None))
    yield from sorted(found, key=lambda one: (one[2], len(one[0])))
