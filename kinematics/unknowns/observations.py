"""What was counted on a machine, each as one exact relation with bounds between its unknown numbers and senses."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from handlead.kinematics.frame.words import Hand
from handlead.kinematics.narrowing.conditions import Balance
from handlead.kinematics.transfer.polynomials import SIGN, Polynomial, multiply

from .open_train import OpenTrain, find_rates

Bounds = tuple[Fraction, Fraction]

#: What the table of a spur set-up may be out of starts over teeth for the gear to pass as spur, relatively.
SPUR_ERROR = Fraction(1, 100_000)


@dataclass(frozen=True)
class HandTurn:
    """Part `turned` was turned by an amount between the bounds `by`, and part `moved` moved `through` some.

    Turns of shafts, millimetres of slides, by the parts' own positives. `is_signed` is False where
    only the size of the movement was noted. The parts `held` and all drives but `drive` stood still.
    """

    train: OpenTrain
    drive: str
    turned: str
    by: Bounds
    moved: str
    through: Bounds
    is_signed: bool = True
    held: tuple[str, ...] = ()


@dataclass(frozen=True)
class KnownCut:
    """A set-up that cut `teeth` teeth with a hob of `starts` and `hob_hand`.

    `hand` and the bounds `lead` in mm are None where nobody looked; with `is_straight` the teeth
    didn't lean. The work is fed along its axis.
    """

    train: OpenTrain
    drive: str
    starts: int
    hob_hand: Hand
    teeth: int
    is_straight: bool = False
    hand: Hand | None = None
    lead: Bounds | None = None


Observation = HandTurn | KnownCut


def balance_of(observation: Observation, number: int = 0) -> Balance:
    """The relation that an observation states; `number` tells apart the signs that weren't noted.

    Raises `NotDriven` where the train doesn't tie what was seen to what was turned.
    """
    if isinstance(observation, HandTurn):
        return _of_turning(observation, number)
    return _of_cutting(observation)


def _of_turning(seen: HandTurn, number: int) -> Balance:
    rates = find_rates(seen.train, seen.drive, seen.turned, [seen.moved], seen.held)
    low, high = seen.through
    below = rates.below
    if not seen.is_signed:
        below = multiply(below, {((f"{SIGN}seen {number}", 1),): Fraction(1)})
    # moved = rate * turned
    return Balance(((*seen.by, rates.above[seen.moved]), (-high, -low, below)), rates.below)


def _of_cutting(cut: KnownCut) -> Balance:
    """table + h k/z + H axial/L = 0, per turn of the hob in the frame (the law of generation)."""
    ends = cut.train.train.ends
    hob, table, axial = ends["hob"], ends["table"], ends.get("axial")
    has_lead = cut.hand is not None and not cut.is_straight
    wanted = [table.part] + ([axial.part] if has_lead and axial else [])
    rates = find_rates(cut.train, cut.drive, hob.part, wanted)
    signed = cut.hob_hand.value * cut.starts * hob.sign * table.sign
    if has_lead or cut.is_straight:
        share = Fraction(signed, cut.teeth)
        slack = Fraction(0) if has_lead else abs(share) * SPUR_ERROR
        counted = (share - slack, share + slack)
    else:
        # The count alone: the whole number nearest to what the table does.
        ends_of_count = [signed / (cut.teeth + Fraction(half, 2)) for half in (-1, 1)]
        counted = (min(ends_of_count), max(ends_of_count))
    terms: list[tuple[Fraction, Fraction, Polynomial]] = [
        (Fraction(1), Fraction(1), rates.above[table.part]),
        (*counted, rates.below),
    ]
    if has_lead and axial and cut.hand:
        # Without a lead measured, a tooth goes round in a millimetre or more.
        inverse = (1 / cut.lead[1], 1 / cut.lead[0]) if cut.lead else (Fraction(1, 10**9), Fraction(1))
        sign = cut.hand.value * table.sign * axial.sign
        leaning = sorted((sign * inverse[0], sign * inverse[1]))
        terms.append((leaning[0], leaning[1], rates.above[axial.part]))
    return Balance(tuple(terms), rates.below)
