"""What a proof says of straight-sided keys, and of work that the standard of gear tolerances doesn't cover."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from handlead.kinematics.gears.tolerance import outside_scope
from handlead.kinematics.other_work.spline import RolledKeys
from handlead.kinematics.work.requirement import gear_of, keys_of
from handlead.kinematics.work.sizes import rolling_diameter_of
from handlead.machines.blanks.witness import Cut, straight_from
from handlead.machines.setups.case import Case, face_width_mm
from handlead.machines.setups.findings import Finding
from handlead.machines.toml.units import deviation, height, length

#: Work that has a standard of its own, or none: what is judged by ISO 1328-1 for want of a better measure.
_OTHER_WORK = {
    "spline": "involute splines have tolerances of their own (ISO 4156)",
    "sprocket": "chain wheels have tolerances of their own (ISO 606)",
}


def check_standard(case: Case) -> Iterator[Finding]:
    """Work or sizes that ISO 1328-1 doesn't cover, so that its class is only a measure to judge the lead by."""
    work = case.job.work
    if work.kind == "worm wheel":
        return
    if work.has_keys:
        why = ["straight-sided keys have no involute and no class"]
    elif work.kind in _OTHER_WORK:
        why = [_OTHER_WORK[work.kind]]
    else:
        why = list(outside_scope(replace(gear_of(work), face_width=face_width_mm(work))))
    if why:
        yield Finding(
            "standard-doesnt-cover",
            "note",
            f"ISO 1328-1 doesn't cover this work: {'; '.join(why)}. Class {work.quality} is used here as a measure for "
            "the lead alone, as of a gear of this size.",
            "Hold what is measured against the drawing.",
            {"class": work.quality, "why": tuple(why)},
        )


def check_keys(case: Case) -> Iterator[Finding]:
    """How far down the sides of the keys come out straight, and the fillet that a hob leaves at their foot."""
    work, units = case.job.work, case.job.units
    keys = keys_of(work)
    if keys is None or work.key_width is None:
        return
    left = RolledKeys.of(keys, rolling_diameter_of(work))
    high, thicker = (left.straight_from - keys.minor_diameter) / 2, (left.foot_width - keys.key_width) / 2
    facts = {
        "straight_from_mm": left.straight_from,
        "foot_width_mm": left.foot_width,
        "bottom_width_mm": left.bottom,
        "rolling_diameter_mm": left.rolling_diameter,
        "least_rolling_diameter_mm": keys.least_rolling_diameter,
    }
    fillet = (
        f"A hob leaves a fillet at the foot of each key, {length(high, units, 2)} high and {length(thicker, units, 2)} "
        f"wide: the sides are straight down to {length(left.straight_from, units, 2)} across"
    )
    if work.form_diameter is not None and left.straight_from > work.form_diameter:
        yield Finding(
            "keys-not-straight-far-enough", "error",
            f"{fillet}, and the drawing wants them straight down to {length(float(work.form_diameter), units, 2)}.",
            _further_down(case, float(work.form_diameter)), facts | {"form_diameter_mm": work.form_diameter},
        )  # fmt: skip
    else:
        yield Finding(
            "fillet-at-the-keys", "note", f"{fillet}.",
            "The hub's corners must clear it: break them, or have it bear on the sides above.", facts,
        )  # fmt: skip


def _further_down(case: Case, wanted: float) -> str:
    """Whether a hob that rolls on the best circle would do, reckoned."""
    work, units = case.job.work, case.job.units
    keys = keys_of(work)
    assert keys is not None
    best = RolledKeys.best(keys)
    if best.straight_from <= wanted:
        return (
            f"A hob made to roll on {length(best.rolling_diameter, units, 3)} would leave them straight down to "
            f"{length(best.straight_from, units, 2)}."
        )
    return (
        f"No hob of this kind does: the best, rolling on {length(best.rolling_diameter, units, 3)}, leaves "
        f"{length(best.straight_from, units, 2)}. Mill the keys one by one, or let the hub clear the fillets."
    )


def check_keys_found(case: Case, cut: Cut) -> Iterator[Finding]:
    """What a micrometer and a dial find on the keys of the simulated blank."""
    found, units, wanted = cut.keys, case.job.units, case.job.work.key_width
    if found is None or wanted is None or found.keys != case.job.work.teeth:
        return
    off = found.width - float(wanted)
    low = straight_from(case.job.work)
    yield Finding(
        "keys-measured",
        "note",
        f"On the simulated blank a micrometer finds the keys {length(found.width, units)} wide, "
        f"{deviation(1000 * off, units)} against the drawing, their sides parallel within "
        f"{height(found.parallel_um, units)} above {length(low or 0, units, 2)}.",
        "",
        {
            "width_mm": found.width,
            "off_um": 1000 * off,
            "parallel_um": found.parallel_um,
            "taper_um": found.taper_um,
            "dividing_um": found.dividing_um,
        },
    )
