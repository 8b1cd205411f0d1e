"""A double helical gear as its job has it: two halves on one blank, of which a set-up cuts one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from handlead.kinematics.work.requirement import Work
from handlead.machines.job_keys.halves_keys import HALVES, MEETS
from handlead.machines.tables.reading import Complaints
from handlead.machines.toml.errors import Disagreement, Missing

#: How truly a second half is set by a scribed line and a touch, in mm along the reference circle (own judgement).
USUAL_WITHIN = Fraction(1, 20)


@dataclass(frozen=True)
class Halves:
    """Two halves cut on one blank, all in mm.

    `groove` lies between them, turned down to `groove_diameter`, None where the job doesn't say. `half` is the one that
    this set-up cuts, as it lies on the machine; None: the one that its feed takes the hob out of, into the groove.
    With `turned_over` the work is turned end for end before the second, so that both are cut in the same place. With
    `staggered` a tooth of the one half meets a space of the other. `set_within` is how truly the second half is set,
    along the reference circle.
    """

    groove: Fraction
    groove_diameter: Fraction | None = None
    half: str | None = None
    turned_over: bool = True
    staggered: bool = False
    set_within: Fraction = USUAL_WITHIN
    is_second: bool = False

    @property
    def other(self) -> Halves:
        """The same, for the other half."""
        half = self.half if self.turned_over or self.half is None else HALVES[self.half]
        return replace(self, half=half, is_second=not self.is_second)


def halves_of(values: Mapping[str, Any], work: Work, complaints: Complaints) -> Halves | None:
    """What [double_helical] says; None where the job has none. What doesn't go with the work is complained of."""
    given = values.get("double_helical")
    if given is None:
        return None
    if work.kind != "helical":
        message = 'only helical teeth have two halves ({also}). Write kind = "helical" with the hand of this half'
        complaints.add(Disagreement, ("double_helical",), message, ("work", "kind"))
    if work.face_width is None:
        message = '"face_width" is missing. A double helical gear needs it: the width of one half'
        complaints.add(Missing, ("work", "face_width"), message)
    return Halves(
        groove=given["groove"],
        groove_diameter=given.get("groove_diameter"),
        half=given.get("half"),
        turned_over=given.get("turned_over", True),
        staggered=given.get("meets", MEETS[0]) == MEETS[1],
        set_within=given.get("set_within", USUAL_WITHIN),
        is_second=given.get("second", False),
    )


def halves_values(halves: Halves) -> dict[str, Any]:
    """The same by the keys of [double_helical]."""
    return {
        "groove": halves.groove,
        "groove_diameter": halves.groove_diameter,
        "half": halves.half,
        "second": halves.is_second or None,
        "turned_over": None if halves.turned_over else False,
        "meets": MEETS[1] if halves.staggered else None,
        "set_within": None if halves.set_within == USUAL_WITHIN else halves.set_within,
    }
