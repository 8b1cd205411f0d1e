"""The ratio that each bracket has to give for a piece of work, from the train alone.

The irrational ones (a helix angle's sine, pi) are held as numbers that can be drawn as close as a
decision asks; nothing is rounded.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from itertools import product

from handlead.kinematics.search.ratios import PI, Irrational, Ratio, cosine, sine, square_root
from handlead.kinematics.train.elimination import reduce_relations
from handlead.kinematics.train.links import Ratio as FixedRatio
from handlead.kinematics.train.solution import held_relations, link_relations
from handlead.kinematics.train.train import Train
from handlead.kinematics.work import requirement
from handlead.kinematics.work.requirement import HobData, Work

from .needs import Need, need

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


def generation_equation(
    train: Train, drive: str, brackets: Sequence[str], work: Work, hob: HobData, slide: str
) -> Equation | None:
    """What the signed ratios of `brackets` must satisfy together so that the work comes out exactly.

    With the brackets taken out, all rates follow from as many free ones as there are brackets and one
    more. Each bracket is one linear condition on them, and the law of generation is the last; they hold
    together where their determinant is 0, and that has each ratio to the first power.
    None where the train leaves the ends freer, or less free, than that.
    """
    asked = _free_rates(train, drive, brackets, slide)
    if asked is None:
        return None
    columns, sides, ends = asked
    wanted = _law(ends, work, hob, slide)
    equation: Equation = {}
    for chosen in product((False, True), repeat=len(brackets)):
        rows = [
            [-value for value in driving] if mounted else driven
            for (driving, driven), mounted in zip(sides, chosen, strict=True)
        ]
        named = frozenset(name for name, mounted in zip(brackets, chosen, strict=True) if mounted)
        equation[named] = _expanded(rows, wanted, columns)
    return {names: value for names, value in equation.items() if isinstance(value, Irrational) or value}


_Row = list[Fraction]


def _free_rates(
    train: Train, drive: str, brackets: Sequence[str], slide: str
) -> tuple[int, list[tuple[_Row, _Row]], dict[str, _Row]] | None:
    """Both shafts of each bracket, and the ends, as rows over the free rates; with how many of these there are."""
    links = [train.link(name) for name in brackets]
    parted = train.without(*brackets)
    relations = [relation for _, relation in link_relations(parted) + held_relations(parted, drive)]
    expressions = reduce_relations(parted.parts, relations).of
    ends = {name: parted.ends[name] for name in ("hob", "table", slide)}
    parts = [*(part for link in links for part in link.ports), *(end.part for end in ends.values())]
    free = sorted({name for part in parts for name in expressions[part]})
    if len(free) != len(brackets) + 1:
        return None

    def row(part: str, sign: int = 1) -> _Row:
        return [sign * expressions[part].get(name, Fraction(0)) for name in free]

    sides = [(row(link.ports[0]), row(link.ports[1])) for link in links]
    return len(free), sides, {name: row(end.part, end.sign) for name, end in ends.items()}


def _law(ends: Mapping[str, _Row], work: Work, hob: HobData, slide: str) -> list[Ratio]:
    """table + h k/z hob - (its own turning with the slide) * slide = 0, as a row over the free rates."""
    index = requirement.table_per_hob(work, hob)
    added = -inverse_lead(work) if slide == "axial" else rolling(work)
    return [
        table - index * turn - added * moved if moved else table - index * turn
        for table, turn, moved in zip(ends["table"], ends["hob"], ends[slide], strict=True)
    ]


def _expanded(rows: list[_Row], last: list[Ratio], columns: int) -> Ratio:
    """Determinant of `rows` with `last` under them, expanded along it."""
    total: Ratio = Fraction(0)
    for column in range(columns):
        minor = _determinant([[*row[:column], *row[column + 1 :]] for row in rows])
        if minor:
            sign = -1 if (columns - 1 + column) % 2 else 1
            total = last[column] * (sign * minor) + total
    return total


def _determinant(rows: list[_Row]) -> Fraction:
    if not rows:
        return Fraction(1)
    return sum(
        (
            (-1) ** column * value * _determinant([[*row[:column], *row[column + 1 :]] for row in rows[1:]])
            for column, value in enumerate(rows[0])
            if value
        ),
        Fraction(0),
    )
