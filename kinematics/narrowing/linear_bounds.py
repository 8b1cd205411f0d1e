"""What balances say together of the products of powers in them, each taken as an unknown of its own.

Three jobs that a machine has cut with its differential are three straight equations between the same few
products, a worm's starts over teeth, a lead over a wheel. One number at a time they seem to leave everything
open; with the products eliminated from each other, each is known closely. Sums of true balances are true, so that
nothing that fits is lost: coefficients are intervals, in fractions, and bounds are rounded outwards.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction

from handlead.kinematics.transfer.polynomials import Powers, is_sign, powers, times

from .conditions import NEVER, Balance, Condition, Parity, Product
from .domains import Domain

_Row = dict[Powers, tuple[Fraction, Fraction]]
_Box = dict[Powers, tuple[float, float]]

#: More products than this in all the balances aren't eliminated from each other.
_MOST_TERMS = 12

#: Rounds of drawing bounds closer.
_ROUNDS = 12

#: Bounds are widened by this part of what was added up, far more than floating point can round.
_OUTWARDS = 1e-11

#: Bounds that aren't drawn closer by this part of their size aren't worth a condition.
_WORTH = 0.9


def linear_bounds(balances: Sequence[Balance], domains: Mapping[str, Domain]) -> list[Condition]:
    """Products and parities that follow from balances with several terms, taken as equations in those terms."""
    rows = _over_common_terms([balance for balance in balances if len(balance.flat) > 1])
    terms = sorted({term for row in rows for term in row})
    if not 2 < len(terms) <= _MOST_TERMS or len(rows) < 2:
        return []
    start: _Box = {term: _range_of(term, domains) for term in terms}
    box = dict(start)
    every = [*rows, *_eliminated(rows, terms), *_eliminated(rows, terms[::-1])]
    for _ in range(_ROUNDS):
        before = dict(box)
        for row in every:
            if not _draw_closer(box, row):
                return [NEVER]
        if box == before:
            break
    return [condition for term in terms if term for condition in _conditions(term, box[term], start[term])]


def _over_common_terms(balances: Sequence[Balance]) -> list[_Row]:
    """Each balance divided by one of its terms, chosen so that all have as many terms in common as can be."""
    rows: list[_Row] = []
    seen: set[Powers] = {()}
    for balance in sorted(balances, key=lambda each: len(each.flat)):
        choices = [_over(balance, divisor) for divisor, _, _ in balance.flat]
        best = min(choices, key=lambda row: (len(row.keys() - seen), _height(row)))
        seen |= best.keys()
        rows.append(best)
    return rows


def _height(row: _Row) -> int:
    return sum(abs(exponent) for term in row for _, exponent in term)


def _over(balance: Balance, divisor: Powers) -> _Row:
    inverse = powers({name: exponent if is_sign(name) else -exponent for name, exponent in divisor})
    return {times(term, inverse): (low, high) for term, low, high in balance.flat}


def _range_of(term: Powers, domains: Mapping[str, Domain]) -> tuple[float, float]:
    low = high = 1.0
    for name, exponent in term:
        if not is_sign(name):
            ends = sorted(float(end) ** exponent for end in (domains[name].low, domains[name].high))
            low, high = low * ends[0], high * ends[1]
    low, high = low * (1 - _OUTWARDS), high * (1 + _OUTWARDS)
    return (-high, high) if any(is_sign(name) for name, _ in term) else (low, high)


def _eliminated(rows: Sequence[_Row], order: Sequence[Powers]) -> Iterator[_Row]:
    """The rows with one term after another taken out of all but one, by the middles of their coefficients."""
    left, done = list(rows), list[_Row]()
    for term in order:
        pivot = max(left, key=lambda row: _surety(row, term), default=None)
        if pivot is None or not _surety(pivot, term):
            continue
        left.remove(pivot)
        left = [_without(row, pivot, term) for row in left]
        done = [_without(row, pivot, term) for row in done]
        done.append(pivot)
        yield from left
        yield from done


def _surety(row: _Row, term: Powers) -> float:
    """How sure a coefficient is of not being 0: its middle over its width; 0 where it may be."""
    low, high = row.get(term, (Fraction(0), Fraction(0)))
    return 0.0 if low <= 0 <= high else float(abs(low + high) / (high - low)) if high > low else math.inf


def _without(row: _Row, pivot: _Row, term: Powers) -> _Row:
    """The row less as much of the pivot's as takes the middle of the term's coefficient away."""
    if term not in row:
        return row
    factor = Fraction(float(sum(row[term]) / sum(pivot[term])))
    if not factor:
        return row
    taken: _Row = dict(row)
    for name, ends in pivot.items():
        low, high = sorted((-factor * ends[0], -factor * ends[1]))
        before = taken.get(name, (Fraction(0), Fraction(0)))
        taken[name] = (before[0] + low, before[1] + high)
    return {name: ends for name, ends in taken.items() if any(ends)}


def _draw_closer(box: _Box, row: _Row) -> bool:
    """Draw the bounds of each term of the row to what the others leave it; False where they leave it nothing."""
    ends = {term: _times((float(low), float(high)), box[term]) for term, (low, high) in row.items()}
    slack = _OUTWARDS * sum(max(-low, high) for low, high in ends.values())
    for term, (low, high) in row.items():
        if low <= 0 <= high:
            continue
        others = (
            sum(end[0] for other, end in ends.items() if other != term) - slack,
            sum(end[1] for other, end in ends.items() if other != term) + slack,
        )
        inverse = (1 / float(high), 1 / float(low))
        bottom, top = _times((-others[1], -others[0]), inverse)
        margin = _OUTWARDS * max(abs(bottom), abs(top))
        bottom, top = max(bottom - margin, box[term][0]), min(top + margin, box[term][1])
        if bottom > top:
            return False
        box[term] = (bottom, top)
    return True


def _times(one: tuple[float, float], other: tuple[float, float]) -> tuple[float, float]:
    ends = [first * second for first in one for second in other]
    return min(ends), max(ends)


def _conditions(term: Powers, found: tuple[float, float], start: tuple[float, float]) -> Iterator[Condition]:
    """What the bounds of a term say of its size and of its sign."""
    low, high = found
    if high - low > _WORTH * (start[1] - start[0]):
        return
    signs = tuple(name for name, _ in term if is_sign(name))
    sizes = tuple((name, exponent) for name, exponent in term if not is_sign(name))
    least = 0.0 if low <= 0 <= high else min(abs(low), abs(high))
    if sizes:
        yield Product(sizes, Fraction(least), Fraction(max(abs(low), abs(high))))
    if signs and least:
        yield Parity(signs, 1 if low > 0 else -1)
