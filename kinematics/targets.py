"""The ratio that each bracket has to give for a piece of work, from the train alone.

The irrational ones (a helix angle's sine, pi) are held as numbers that can be drawn as close as a
decision asks; nothing is rounded.
"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

from .links import Ratio as FixedRatio
from .needs import Need, need
from .ratios import PI, Irrational, Ratio, cosine, sine, square_root
from .requirement import HobData, Work
from .train import Train


def inverse_lead(work: Work) -> Ratio:
    """Turns of a tooth per mm of the work's axis, signed by its hand; 0 for spur work."""
    if not work.is_helical or work.hand is None:
        return Fraction(0)
    if work.lead is not None:
        return work.hand.value / Fraction(work.lead)
    angle = sine(Fraction(work.helix_angle_deg or 0))
    return angle * work.hand.value / (PI * (work.module_n * work.teeth))


def rolling(work: Work) -> Ratio:
    """Turns of the table per mm of tangential slide: cos(beta) / (pi m_n z)."""
    circumference = PI * (work.module_n * work.teeth)
    if not work.is_helical:
        return 1 / circumference
    if work.lead is None:
        return cosine(Fraction(work.helix_angle_deg or 0)) / circumference
    # cos from sin beta = pi m z / L.
    leaning = circumference / work.lead
    return square_root(1 - leaning * leaning) / circumference


def table_per_hob(work: Work, hob: HobData, slide: str, feed_mm: Fraction) -> Ratio:
    """Turns of the table per turn of the hob with the slide running at `feed_mm` per table turn, signed.

    From table = -h k/z - H/L axial + rolling tangential, with the slide's own turning put in.
    """
    index = -hob.hand.value * Fraction(hob.starts, work.teeth)
    added = -inverse_lead(work) if slide == "axial" else rolling(work) if slide == "tangential" else Fraction(0)
    return index / (1 - added * feed_mm)


def end_rates(work: Work, hob: HobData, slide: str, feed_mm: Fraction) -> dict[str, Ratio]:
    """Rates of the ends per turn of the hob; `feed_mm` per table turn, signed in the frame."""
    table = table_per_hob(work, hob, slide, feed_mm)
    return {"hob": Fraction(1), "table": table, slide: table * feed_mm}


def ratio_needed(found: Need, ends: Mapping[str, Ratio]) -> Ratio | None:
    """Signed ratio that a bracket must give for the ends to move so; None where none would do."""
    driving, driven = (_sum(side, ends) for side in (found.driving, found.driven))
    if not driving or not driven:
        return None
    return driven / driving


def _sum(side: Mapping[str, Fraction], ends: Mapping[str, Ratio]) -> Ratio:
    total: Ratio = Fraction(0)
    for end, coefficient in side.items():
        rate = ends.get(end, Fraction(0))
        if isinstance(rate, Irrational) or rate:
            total = rate * coefficient + total
    return total


def fixed(train: Train, ratios: Mapping[str, Fraction]) -> Train:
    """The train with these signed ratios in the named brackets, whatever gears make them."""
    links = [train.link(name) for name in ratios]
    return train.replacing(
        *(FixedRatio(link.name, link.ports[0], link.ports[1], ratios[link.name]) for link in links)
    )


def differential_target(
    train: Train,
    drive: str,
    bracket: str,
    others: Mapping[str, Fraction],
    ends: Mapping[str, Ratio],
) -> Ratio | None:
    """Signed ratio of the differential gears, `others` being the signed ratios of index and feed brackets.

    None where no ratio would do, or none is needed.
    """
    found = need(fixed(train, others), bracket, drive)
    return ratio_needed(found, ends) if found else None
