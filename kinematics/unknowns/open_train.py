"""A train that holds unknown numbers and senses, and its rates as quotients of polynomials in them.

Every link's ratio is a product of powers of its numbers (starts over teeth, a lead, one tooth count
over another) and of its sense, so that any rate follows from a train as one polynomial over another.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from handlead.kinematics.links.links import Differential
from handlead.kinematics.train.train import Train
from handlead.kinematics.transfer.polynomials import Polynomial, Powers, add, is_sign, powers, times, value_of
from handlead.kinematics.transfer.transfer import Quotients, Transfer


@dataclass(frozen=True)
class OpenRatio:
    """The ratio of a link (of a differential: its sun ratio): `coefficient` times a product of powers."""

    coefficient: Fraction
    powers: Powers

    def value(self, values: Mapping[str, Fraction | int]) -> Fraction:
        """The ratio where the variables have these values. Raises `KeyError` for one that is left out."""
        return self.coefficient * value_of(self.powers, values)


@dataclass(frozen=True)
class OpenTrain:
    """A train, levers set and change gears mounted, with links whose ratios hold unknowns.

    `ratios` gives the ratio of each such link; what `train` has in its place counts for nothing.
    """

    train: Train
    ratios: Mapping[str, OpenRatio]

    def at(self, values: Mapping[str, Fraction | int]) -> dict[str, Fraction]:
        """The ratios for these values; none for a differential whose carrier would then have no say."""
        found = {name: ratio.value(values) for name, ratio in self.ratios.items()}
        sums = {name for name in found if isinstance(self.train.link(name), Differential)}
        return {name: ratio for name, ratio in found.items() if ratio != 1 or name not in sums}


def find_rates(
    open_train: OpenTrain, drive: str, turned: str, wanted: Sequence[str], held: Iterable[str] = ()
) -> Quotients:
    """The rates of the parts `wanted` per unit of `turned`, by the parts' own positives, in the unknowns.

    The parts `held` stand still, and so does every drive but `drive`, as it does at rest. Raises
    `NotDriven` where `turned` can't turn, or a part's rate doesn't follow from it; `KeyError` for an
    unknown part or drive.
    """
    transfer = Transfer.of(open_train.train, drive, open_train.ratios, (turned, *wanted), held)
    rates = transfer.quotients(turned, wanted)
    above = {part: _in_unknowns(each, open_train.ratios) for part, each in rates.above.items()}
    return _without_common_powers(above, _in_unknowns(rates.below, open_train.ratios))


def _in_unknowns(polynomial: Polynomial, ratios: Mapping[str, OpenRatio]) -> Polynomial:
    """A polynomial in the ratios of links as one in what is unknown of them."""
    total: Polynomial = {}
    for term, coefficient in polynomial.items():
        product: Powers = ()
        for name, _ in term:
            product, coefficient = times(product, ratios[name].powers), coefficient * ratios[name].coefficient
        total = add(total, {product: coefficient})
    return total


def _without_common_powers(above: Mapping[str, Polynomial], below: Polynomial) -> Quotients:
    """Numerators and denominator with the powers that all of them share divided out."""
    every = [dict(term) for polynomial in (*above.values(), below) for term in polynomial]
    names = {name for term in every for name in term if not is_sign(name)}
    common = powers({name: -min(term.get(name, 0) for term in every) for name in names})

    def reduced(polynomial: Polynomial) -> Polynomial:
        return {times(term, common): coefficient for term, coefficient in polynomial.items()}

    return Quotients({part: reduced(polynomial) for part, polynomial in above.items()}, reduced(below))
