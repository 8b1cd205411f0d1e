"""Exact elimination: which rates follow from which, over the integers, with nothing rounded."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import gcd, lcm

#: A row of integer coefficients by part; the sum of coefficient times rate is zero.
Row = dict[str, int]


def integer_row(relation: Mapping[str, Fraction]) -> Row:
    """The relation multiplied through to the smallest integers; parts with coefficient 0 drop out."""
    scale = lcm(*(value.denominator for value in relation.values()))
    whole = ((part, value.numerator * (scale // value.denominator)) for part, value in relation.items())
    return _reduced({part: value for part, value in whole if value})


def _reduced(row: Row) -> Row:
    divisor = gcd(*row.values())
    return row if divisor in (0, 1) else {part: value // divisor for part, value in row.items()}


def _eliminate(row: Row, part: str, pivot: Row) -> Row:
    """`row` with `part` removed by adding a multiple of `pivot`, which holds `part`."""
    ours, theirs = row[part], pivot[part]
    common = gcd(ours, theirs)
    ours, theirs = ours // common, theirs // common
    result = {other: theirs * value for other, value in row.items()}
    for other, value in pivot.items():
        total = result.get(other, 0) - ours * value
        if total:
            result[other] = total
        else:
            result.pop(other, None)
    return _reduced(result)


@dataclass(frozen=True)
class Expressions:
    """Every part's rate as an exact combination of the rates of the `free` parts.

    `of[part]` maps free parts to coefficients; an empty mapping means that the part can only
    stand still. A free part is its own expression.
    """

    of: Mapping[str, Mapping[str, Fraction]]
    free: tuple[str, ...]

    def value(self, part: str, given: Mapping[str, Fraction]) -> Fraction | None:
        """Rate of `part` when the free parts turn as `given`; None if it depends on one that isn't given."""
        total = Fraction(0)
        for other, coefficient in self.of[part].items():
            if other not in given:
                return None
            total += coefficient * given[other]
        return total

    def with_still(self, parts: Sequence[str], keep: Sequence[str]) -> Expressions:
        """The same with `parts` held still besides, the free ones in `keep` left free as far as can be."""
        more = [self.of[part] for part in parts]
        if not any(more):
            return self
        left = reduce_relations(self.free, more, keep)
        return Expressions({part: _put_in(row, left.of) for part, row in self.of.items()}, left.free)


def _put_in(row: Mapping[str, Fraction], of: Mapping[str, Mapping[str, Fraction]]) -> dict[str, Fraction]:
    """A combination of parts with each of them put in by others."""
    total: dict[str, Fraction] = {}
    for part, coefficient in row.items():
        for other, value in of[part].items():
            total[other] = total.get(other, Fraction(0)) + coefficient * value
    return {part: value for part, value in total.items() if value}


def reduce_relations(
    parts: Sequence[str], relations: Iterable[Mapping[str, Fraction]], keep: Sequence[str] = ()
) -> Expressions:
    """Express every part by as few free parts as the relations allow, those in `keep` first.

    A part in `keep` stays free unless the relations tie the kept parts to each other; then the
    later ones follow from the earlier. Gauss-Jordan elimination on sparse integer rows.
    """
    order = {part: rank for rank, part in enumerate(keep)}
    pivots: dict[str, Row] = {}
    for relation in relations:
        row = integer_row(relation)
        for part in [part for part in row if part in pivots]:
            row = _eliminate(row, part, pivots[part])
        if not row:
            continue
        pivot = max(row, key=lambda part: (part not in order, order.get(part, 0), -abs(row[part]), part))
        for other, earlier in pivots.items():
            if pivot in earlier:
                pivots[other] = _eliminate(earlier, pivot, row)
        pivots[pivot] = row
    free = tuple(part for part in parts if part not in pivots)
    expressions: dict[str, dict[str, Fraction]] = {part: {part: Fraction(1)} for part in free}
    for part, row in pivots.items():
        expressions[part] = {
            other: Fraction(-value, row[part]) for other, value in row.items() if other != part
        }
    return Expressions(expressions, free)
