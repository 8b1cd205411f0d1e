"""A train solved by sympy: relations written out once more from their meaning, then an exact nullspace."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from handlead.kinematics.frame.words import Sense
from handlead.kinematics.links.link import Link
from handlead.kinematics.links.links import (
    Belt,
    BevelGears,
    Brake,
    Clutch,
    Differential,
    GearPair,
    Rack,
    Ratio,
    Screw,
    Selector,
    WormGear,
)
from handlead.kinematics.links.mounted import ChangeGears
from handlead.kinematics.train.train import Train
from sympy import QQ
from sympy.polys.matrices import DomainMatrix

Row = dict[str, Fraction]


def times(link: Link) -> Fraction | None:
    """How often `to` turns (a slide: how many mm it moves) for each turn of `from`; None: not coupled."""
    match link:
        case GearPair(teeth=(driver, driven), internal=internal, sense=sense):
            alike = internal if sense is None else sense is Sense.SAME
            return Fraction(driver, driven) * (1 if alike else -1)
        case BevelGears(teeth=(driver, driven), sense=sense):
            return Fraction(driver, driven) * (1 if sense is Sense.SAME else -1)
        case WormGear(starts=starts, teeth=teeth, sense=sense):
            return Fraction(starts, teeth) * (1 if sense is Sense.SAME else -1)
        case Belt(sizes=(driver, driven), crossed=crossed):
            return Fraction(driver) / driven * (-1 if crossed else 1)
        case ChangeGears(mounted=None):
            return None
        case ChangeGears(mounted=mounted):
            product = Fraction(1)
            for driver, driven in zip(mounted.gears[0::2], mounted.gears[1::2], strict=True):
                product *= -Fraction(driver, driven)
            return product * (-1) ** len(mounted.idlers)
        case Clutch(state=state):
            return Fraction(1) if state == "in" else None
        case Selector(ratios=ratios, state=state):
            return ratios[state] if ratios[state] else None
        case Screw(lead=travel, sense=sense) | Rack(travel=travel, sense=sense):
            return travel if sense is Sense.SAME else -travel
        case Ratio(value=value):
            return value
    raise AssertionError(f"sympy's side knows no {link.kind}")


def row(link: Link) -> Row | None:
    """Coefficients by part whose sum, each times its part's rate, is 0."""
    match link:
        case Differential(suns=(p, q), carrier=c, sun_ratio=r):
            # Willis: seen from the carrier, q turns r times as fast as p.
            return {q: Fraction(1), c: Fraction(-1) + r, p: -Fraction(r)}
        case Brake(shaft=shaft, state=state):
            return {shaft: Fraction(1)} if state == "on" else None
    ratio = times(link)  # type: ignore[arg-type]
    return None if ratio is None else {link.ports[1]: Fraction(1), link.ports[0]: -ratio}


def matrix(train: Train, held: tuple[str, ...] = ()) -> DomainMatrix:
    """A row for each coupled link and for each part that is held, a column for each part."""
    column = {part: index for index, part in enumerate(train.parts)}
    rows = [found for found in map(row, train.links) if found is not None]
    rows += [{part: Fraction(1)} for part in held]
    entries: dict[int, dict[int, object]] = {
        index: {column[part]: QQ(value.numerator, value.denominator) for part, value in one.items() if value}
        for index, one in enumerate(rows)
    }
    return DomainMatrix(entries, (len(rows), len(column)), QQ)


def motions(train: Train, held: tuple[str, ...] = ()) -> list[list[Fraction]]:
    """A basis of all the motions that the train allows, each a rate for every part."""
    parts = len(train.parts)
    if not matrix(train, held).shape[0]:
        return [[Fraction(int(i == j)) for j in range(parts)] for i in range(parts)]
    null = matrix(train, held).nullspace().to_dense()
    return [[Fraction(int(v.numerator), int(v.denominator)) for v in line] for line in null.to_list()]


@dataclass(frozen=True)
class Answer:
    """What the nullspace says of a train for one turn of a drive's shaft."""

    freedom: int
    is_locked: bool
    rates: dict[str, Fraction | None]


def held_parts(train: Train, drive: str) -> tuple[str, ...]:
    """Shafts of the drives that stand still while `drive` runs."""
    running = train.drives[drive].shaft
    return tuple(
        other.shaft
        for name, other in train.drives.items()
        if name != drive and not other.free_at_rest and other.shaft != running
    )


def answer(train: Train, drive: str) -> Answer:
    """Rates of all parts: those that every motion with one turn of the drive agrees on; None otherwise."""
    freedom = len(motions(train))
    basis = motions(train, held_parts(train, drive))
    at = train.parts.index(train.drives[drive].shaft)
    turning = next((line for line in basis if line[at]), None)
    if turning is None:
        still = {
            part: None if any(line[index] for line in basis) else Fraction(0)
            for index, part in enumerate(train.parts)
        }
        return Answer(freedom, True, still)
    one_turn = [value / turning[at] for value in turning]
    others = [
        [value - line[at] * unit for value, unit in zip(line, one_turn, strict=True)]
        for line in basis
        if line is not turning
    ]
    rates = {
        part: None if any(line[index] for line in others) else one_turn[index]
        for index, part in enumerate(train.parts)
    }
    return Answer(freedom, False, rates)
