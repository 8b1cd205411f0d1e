"""The ratio that each bracket has to give for a piece of work, from the train alone.

The irrational ones (a helix angle's sine, pi) are held as numbers that can be drawn as close as a
decision asks; nothing is rounded.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import overload

from handlead.kinematics.frame.exact import PI, Irrational, Ratio, cosine, sine, square_root
from handlead.kinematics.work import requirement
from handlead.kinematics.work.requirement import HobData, Work

from .polynomials import add
from .transfer import Row, Transfer

#: An equation between signed ratios: sum over sets of brackets of coefficient times the product of their ratios.
Equation = dict[frozenset[str], Ratio]


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
    index = requirement.table_per_hob(work, hob)
    added = -inverse_lead(work) if slide == "axial" else rolling(work) if slide == "tangential" else Fraction(0)
    return index / (1 - added * feed_mm)


def end_rates(work: Work, hob: HobData, slide: str, feed_mm: Fraction) -> dict[str, Ratio]:
    """Rates of the ends per turn of the hob; `feed_mm` per table turn, signed in the frame."""
    table = table_per_hob(work, hob, slide, feed_mm)
    return {"hob": Fraction(1), "table": table, slide: table * feed_mm}


@overload
def ratio_needed(sides: tuple[Row, Row], ends: Mapping[str, Fraction]) -> Fraction | None: ...


@overload
def ratio_needed(sides: tuple[Row, Row], ends: Mapping[str, Ratio]) -> Ratio | None: ...


def ratio_needed(sides: tuple[Row, Row], ends: Mapping[str, Ratio]) -> Ratio | None:
    """Signed ratio that a place, its sides given by the ends, must have for the ends to move so.

    None where none would do, or any. Ends that aren't mentioned stand still.
    """
    driving, driven = (_sum(side, ends) for side in sides)
    if not driving or not driven:
        return None
    return driven / driving


def _sum(side: Row, ends: Mapping[str, Ratio]) -> Ratio:
    total: Ratio = Fraction(0)
    for end, coefficient in side.items():
        rate = ends.get(end, Fraction(0))
        if isinstance(rate, Irrational) or rate:
            total = rate * coefficient + total
    return total


def generation_equation(
    transfer: Transfer, places: Sequence[str], work: Work, hob: HobData, slide: str
) -> Equation | None:
    """What the signed ratios in `places` must satisfy together so that the work comes out exactly.

    The law of generation, table + h k/z hob - (its own turning with the slide) * slide = 0, with the ends put in as
    polynomials in the ratios. None where the train leaves the ends freer, or less free, than one motion for any ratios.
    """
    ends = transfer.together(places, ("hob", "table", slide))
    if ends is None:
        return None
    index = requirement.table_per_hob(work, hob)
    added = -inverse_lead(work) if slide == "axial" else rolling(work)
    plain = add(ends["table"], ends["hob"], -index)
    equation: Equation = {}
    for term in {**plain, **ends[slide]}:
        moved = ends[slide].get(term)
        value = plain.get(term, Fraction(0)) - added * moved if moved else plain[term]
        if isinstance(value, Irrational) or value:
            equation[frozenset(name for name, _ in term)] = value
    return equation


def generation_travel(transfer: Transfer, places: Sequence[str], slide: str) -> Equation | None:
    """How far the slide goes, to the scale of `generation_equation`: its sum by this is the turning too much per mm."""
    ends = transfer.together(places, ("hob", "table", slide))
    if ends is None:
        return None
    return {frozenset(name for name, _ in term): value for term, value in ends[slide].items()}
