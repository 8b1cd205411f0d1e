"""What must hold between unknown numbers and senses, and what follows from several such conditions together."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property, reduce

from handlead.kinematics.transfer.polynomials import (
    Polynomial,
    Powers,
    evaluate,
    is_sign,
    substitute,
    value_of,
    variables,
)

Values = Mapping[str, Fraction]


@dataclass(frozen=True)
class Product:
    """A product of powers of numbers lies between `low` and `high`; both are 0 or more."""

    powers: Powers
    low: Fraction
    high: Fraction

    @property
    def names(self) -> tuple[str, ...]:
        """The variables that it ties."""
        return tuple(name for name, _ in self.powers)

    def holds(self, values: Values) -> bool:
        """Whether it holds exactly."""
        return self.low <= value_of(self.powers, values) <= self.high


@dataclass(frozen=True)
class Parity:
    """The product of some signs is `sign`."""

    names: tuple[str, ...]
    sign: int

    def holds(self, values: Values) -> bool:
        """Whether it holds."""
        return reduce(lambda product, name: product * values[name], self.names, Fraction(1)) == self.sign


@dataclass(frozen=True)
class Balance:
    """Polynomials, each times some number between its bounds, add up to 0, and `nonzero` isn't 0.

    `terms` are (least, greatest, polynomial).
    """

    terms: tuple[tuple[Fraction, Fraction, Polynomial], ...]
    nonzero: Polynomial

    @cached_property
    def names(self) -> tuple[str, ...]:
        """The variables that it ties."""
        found = set[str]().union(*(variables(polynomial) for _, _, polynomial in self.terms))
        return tuple(sorted(found | variables(self.nonzero)))

    @cached_property
    def flat(self) -> tuple[tuple[Powers, Fraction, Fraction], ...]:
        """Bounds of the coefficient of each product of powers; looser than the terms where two share a number."""
        total: dict[Powers, tuple[Fraction, Fraction]] = {}
        for low, high, polynomial in self.terms:
            for term, coefficient in polynomial.items():
                ends = sorted((low * coefficient, high * coefficient))
                before = total.get(term, (Fraction(0), Fraction(0)))
                total[term] = (before[0] + ends[0], before[1] + ends[1])
        return tuple((term, low, high) for term, (low, high) in total.items() if low or high)

    def put(self, values: Values) -> Balance:
        """The same balance with these values in the place of their variables."""
        terms = tuple((low, high, substitute(polynomial, values)) for low, high, polynomial in self.terms)
        return Balance(terms, substitute(self.nonzero, values))

    def holds(self, values: Values) -> bool:
        """Whether it holds exactly."""
        if not evaluate(self.nonzero, values):
            return False
        least = greatest = Fraction(0)
        for low, high, polynomial in self.terms:
            value = evaluate(polynomial, values)
            ends = sorted((low * value, high * value))
            least, greatest = least + ends[0], greatest + ends[1]
        return least <= 0 <= greatest


Condition = Product | Parity | Balance


def conditions_of(balance: Balance) -> list[Condition]:
    """The same as simply as can be: two products of powers in balance are a product and a parity.

    With each polynomial a single term, nothing is lost: the sizes of the two must agree, and their signs. A
    balance of which a term may go through 0 is kept besides.
    """
    single = all(len(polynomial) <= 1 for _, _, polynomial in balance.terms) and len(balance.nonzero) == 1
    if not single or len(balance.flat) > 2:
        return [balance]
    if len(balance.flat) < 2:
        stands = all(low <= 0 <= high for _, low, high in balance.flat)
        return [] if stands else [NEVER]
    (first, low, high), (second, below, above) = balance.flat
    if low <= 0 <= high:
        (first, low, high), (second, below, above) = (second, below, above), (first, low, high)
    if low <= 0 <= high:
        return [balance]
    exponents = {name: each for name, each in first if not is_sign(name)}
    for name, each in second:
        if not is_sign(name):
            exponents[name] = exponents.get(name, 0) - each
    both = tuple(sorted((name, each) for name, each in exponents.items() if each))
    sizes = sorted((abs(low), abs(high)))
    others = sorted((abs(below), abs(above)))
    opposed = Fraction(0) if below <= 0 <= above else others[0]
    # first * [low, high] = -second * [below, above]
    found: list[Condition] = [Product(both, opposed / sizes[1], others[1] / sizes[0])]
    if not below <= 0 <= above:
        signs = {name for name, _ in first if is_sign(name)} ^ {name for name, _ in second if is_sign(name)}
        sign = -1 if (low > 0) == (below > 0) else 1
        found.append(Parity(tuple(sorted(signs)), sign))
    else:
        # Which way the second may go further, the sizes alone don't say.
        found.append(balance)
    return found


#: What can never hold.
NEVER = Product((), Fraction(2), Fraction(1))


def combined(products: Sequence[Product]) -> list[Product]:
    """Products that follow from these by dividing powers of one by powers of another, a variable leaving each time."""
    rows = [
        (dict(product.powers), product.low, product.high)
        for product in products
        if product.powers and product.low > 0
    ]
    rows.sort(key=lambda row: row[2] / row[1])
    names = sorted({name for exponents, _, _ in rows for name in exponents})
    found: dict[tuple[Powers, Fraction, Fraction], None] = {}
    for order in (names, names[::-1]):
        for product in _eliminated(rows, order):
            found.setdefault((product.powers, product.low, product.high))
    known = {(product.powers, product.low, product.high) for product in products}
    return [Product(*row) for row in found if row not in known]


_Row = tuple[dict[str, int], Fraction, Fraction]

#: Powers beyond this tell too little for what they cost.
_HIGHEST_POWER = 8


def _eliminated(rows: Sequence[_Row], order: Sequence[str]) -> Iterator[Product]:
    left = list(rows)
    done: list[_Row] = []
    for name in order:
        pivot = next((row for row in left if row[0].get(name)), None)
        if pivot is None:
            continue
        left.remove(pivot)
        left = [_divided(row, pivot, name) for row in left]
        done = [_divided(row, pivot, name) for row in done]
        done.append(pivot)
        for exponents, low, high in (*left, *done):
            yield Product(
                tuple(sorted((each, power) for each, power in exponents.items() if power)), low, high
            )


def _divided(row: _Row, pivot: _Row, name: str) -> _Row:
    ours, theirs = row[0].get(name, 0), pivot[0][name]
    if not ours:
        return row
    common = math.gcd(ours, theirs)
    ours, theirs = ours // common, theirs // common
    if theirs < 0:
        ours, theirs = -ours, -theirs
    if max(abs(ours), theirs) > _HIGHEST_POWER:
        return row
    exponents = {each: theirs * power for each, power in row[0].items()}
    for each, power in pivot[0].items():
        exponents[each] = exponents.get(each, 0) - ours * power
    low, high = row[1] ** theirs, row[2] ** theirs
    ends = (pivot[1] ** ours, pivot[2] ** ours)
    return {each: power for each, power in exponents.items() if power}, low / max(ends), high / min(ends)


def merged(balance: Balance, products: Sequence[Product], parities: Sequence[Parity]) -> list[Condition]:
    """A balance with fewer terms, where products and parities tell the ratio of two of its terms."""
    known: dict[Powers, tuple[Fraction, Fraction]] = {}
    for product in products:
        if product.low > 0 and product.powers:
            inverse = tuple((name, -each) for name, each in product.powers)
            for term, low, high in (
                (product.powers, product.low, product.high),
                (inverse, 1 / product.high, 1 / product.low),
            ):
                before = known.get(term, (low, high))
                known[term] = (max(low, before[0]), min(high, before[1]))
    left: list[tuple[Powers, Fraction, Fraction]] = []
    for term, low, high in sorted(balance.flat, key=lambda each: len(each[0])):
        for place, (other, other_low, other_high) in enumerate(left):
            bounds = _ratio_of_terms(term, other, known, parities)
            if bounds is not None:
                # term = other * ratio
                ends = [one * two for one in (low, high) for two in bounds]
                left[place] = (other, other_low + min(ends), other_high + max(ends))
                break
        else:
            left.append((term, low, high))
    if len(left) == len(balance.flat):
        return []
    single = tuple(
        (low, high, {term: Fraction(1)})
        for term, low, high in _without_common([each for each in left if each[1] or each[2]])
    )
    return conditions_of(Balance(single, {(): Fraction(1)}))


def _without_common(
    terms: Sequence[tuple[Powers, Fraction, Fraction]],
) -> Iterator[tuple[Powers, Fraction, Fraction]]:
    """The terms with the powers of numbers that all of them share divided out."""
    every = [dict(term) for term, _, _ in terms]
    names = {name for term in every for name in term if not is_sign(name)}
    least = {name: min(term.get(name, 0) for term in every) for name in names}
    for exponents, (_, low, high) in zip(every, terms, strict=True):
        left = {name: exponents.get(name, 0) - least.get(name, 0) for name in {*exponents, *names}}
        yield tuple(sorted((name, each) for name, each in left.items() if each)), low, high


def _ratio_of_terms(
    term: Powers,
    other: Powers,
    known: Mapping[Powers, tuple[Fraction, Fraction]],
    parities: Sequence[Parity],
) -> tuple[Fraction, Fraction] | None:
    """Bounds of `term` over `other` with its sign; None where they aren't known."""
    exponents: dict[str, int] = {}
    for powers, way in ((term, 1), (other, -1)):
        for name, each in powers:
            exponents[name] = exponents.get(name, 0) + way * each
    size = tuple(sorted((name, each) for name, each in exponents.items() if each and not is_sign(name)))
    low, high = known.get(size, (Fraction(0), Fraction(0))) if size else (Fraction(1), Fraction(1))
    sign = sign_of({name for name, each in exponents.items() if each % 2 and is_sign(name)}, parities)
    if not low or not sign:
        return None
    return (low, high) if sign > 0 else (-high, -low)


def sign_of(names: set[str], parities: Sequence[Parity]) -> int:
    """The sign of the product of the signs `names` as it follows from the parities; 0 where it doesn't."""
    rows: list[tuple[set[str], int]] = []
    for parity in parities:
        row, sign = _reduced_by(set(parity.names), parity.sign, rows)
        if row:
            rows.append((row, sign))
    row, sign = _reduced_by(set(names), 1, rows)
    return 0 if row else sign


def _reduced_by(row: set[str], sign: int, rows: Sequence[tuple[set[str], int]]) -> tuple[set[str], int]:
    for other, other_sign in rows:
        if min(other) in row:
            row, sign = row ^ other, sign * other_sign
    return row, sign
