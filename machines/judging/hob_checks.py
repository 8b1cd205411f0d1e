"""What a proof says of the hob's length: enough for the cut, and how far it may be shifted so that it wears evenly."""

from __future__ import annotations

from collections.abc import Iterator

from handlead.kinematics.work.hob_length import finishing_length, touching_length
from handlead.kinematics.work.requirement import gear_to_cut
from handlead.kinematics.work.sizes import centres_at_depth, hob_addendum, hob_tip_diameter
from handlead.machines.setups.case import Case
from handlead.machines.setups.findings import Finding
from handlead.machines.toml.units import length


def check_hob_length(case: Case) -> Iterator[Finding]:
    """A hob too short to finish the flanks, or to meet the blank with whole teeth; and the shift that is left."""
    work, hob, units = case.job.work, case.job.hob, case.job.units
    tip, centres = hob_tip_diameter(work, hob), centres_at_depth(work, hob)
    if work.kind not in ("spur", "helical") or case.sizes.wanting:
        return
    if hob.length is None or tip is None or centres is None:
        return
    gear, there = gear_to_cut(work), float(hob.length)
    # The head as the work wants it: a length doesn't help against a wrong swivel.
    touches = touching_length(tip, case.sizes.outside_diameter, centres, case.swivel_wanted_deg)
    finishes = finishing_length(gear, hob_addendum(work, hob), case.sizes.outside_diameter)
    facts = {"hob_length_mm": there, "touching_mm": touches, "finishing_mm": finishes}
    long, met, needed = (length(mm, units, 1) for mm in (there, touches, finishes))
    if there < finishes:
        yield Finding(
            "hob-too-short", "error",
            f"The hob's threads are {long} long, and it takes {needed} of them to finish the flanks.",
            "Take a longer hob: what it doesn't reach is left on the flanks.", facts,
        )  # fmt: skip
    elif there < touches:
        yield Finding(
            "hob-short", "warning",
            f"The hob's threads are {long} long and meet the blank over {met}: end teeth take the first bite alone.",
            f"Set its middle to the work's within {length((there - finishes) / 2, units, 1)}; feed gently at first.",
            facts,
        )  # fmt: skip
    elif there - touches > float(hob.module_n):
        spare = there - touches
        yield Finding(
            "hob-shift", "note",
            f"The cut takes {met} of the hob's {long}: {length(spare, units, 1)} is left to shift it along.",
            f"Begin with its middle {length(spare / 2, units, 1)} to one side of the work's, and move it on a little "
            "after each gear, machine stopped, so that all its teeth wear alike.",
            facts | {"shift_mm": spare},
        )  # fmt: skip
