"""A train that holds unknown numbers and senses, and its rates as quotients of polynomials in them.

Every link's ratio is a product of powers of its numbers (starts over teeth, a lead, one tooth count
over another) and of its sense, so that any rate follows from a train as one polynomial over another.
The known links are eliminated in rationals first; what is left is a small system, one row a link
that holds an unknown, which is solved by Cramer's rule.

A variable is a name. One that begins with `SIGN` stands for +1 or -1, and its powers count by two;
any other stands for a number above 0. A number that may have either sign is a product of two.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cache

from handlead.kinematics.train.elimination import reduce_relations
from handlead.kinematics.train.links import Differential, TwoPort
from handlead.kinematics.train.solution import held_relations, link_relations
from handlead.kinematics.train.train import Train

#: The first character of the name of a variable that is a sign.
SIGN = "±"

Powers = tuple[tuple[str, int], ...]
"""A product of powers of variables: names with their exponents, sorted by name, none of them 0."""

Polynomial = Mapping[Powers, Fraction]
"""Coefficients by product of powers; exponents may be negative."""

_ONE: Powers = ()

#: Stand-ins for variables where only zero or not zero is asked: primes, so that nothing cancels by accident.
_PRIMES = (101, 103, 107, 109, 113, 127, 131, 137, 139, 149, 151, 157, 163, 167, 173, 179, 181, 191, 193)


def is_sign(name: str) -> bool:
    """Whether the variable called `name` is a sign."""
    return name.startswith(SIGN)


def powers(exponents: Mapping[str, int]) -> Powers:
    """The product of powers with these exponents; those of signs count by two."""
    reduced = ((name, each % 2 if is_sign(name) else each) for name, each in exponents.items())
    return tuple(sorted((name, each) for name, each in reduced if each))


def times(first: Powers, second: Powers) -> Powers:
    """The product of two products of powers."""
    total = dict(first)
    for name, exponent in second:
        total[name] = total.get(name, 0) + exponent
    return powers(total)


def constant(value: Fraction | int) -> Polynomial:
    """The polynomial that is `value` throughout."""
    return {_ONE: Fraction(value)} if value else {}


def add(first: Polynomial, second: Polynomial, factor: Fraction | int = 1) -> Polynomial:
    """`first` and `factor` times `second`."""
    total = dict(first)
    for term, coefficient in second.items():
        value = total.get(term, Fraction(0)) + factor * coefficient
        if value:
            total[term] = value
        else:
            total.pop(term, None)
    return total


def multiply(first: Polynomial, second: Polynomial) -> Polynomial:
    """The product of two polynomials."""
    total: Polynomial = {}
    for one, coefficient in first.items():
        total = add(total, {times(one, other): value for other, value in second.items()}, coefficient)
    return total


def evaluate(polynomial: Polynomial, values: Mapping[str, Fraction | int]) -> Fraction:
    """The value of the polynomial where the variables have these. Raises `KeyError` for one that is left out."""
    return sum(
        (coefficient * value_of(term, values) for term, coefficient in polynomial.items()), Fraction(0)
    )


def value_of(term: Powers, values: Mapping[str, Fraction | int]) -> Fraction:
    """The value of a product of powers. Raises `KeyError` for a variable without a value."""
    product = Fraction(1)
    for name, exponent in term:
        product *= Fraction(values[name]) ** exponent
    return product


def substitute(polynomial: Polynomial, values: Mapping[str, Fraction]) -> Polynomial:
    """The polynomial in the variables that are left when these have values."""
    total: Polynomial = {}
    for term, coefficient in polynomial.items():
        known = tuple((name, each) for name, each in term if name in values)
        rest = tuple((name, each) for name, each in term if name not in values)
        total = add(total, {rest: coefficient * value_of(known, values)})
    return total


def variables(polynomial: Polynomial) -> set[str]:
    """The variables that occur in the polynomial."""
    return {name for term in polynomial for name, _ in term}


# ---------------------------------------------------------------- trains


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


class NotDriven(ValueError):
    """A rate that doesn't follow from the turning of one part, whatever the unknowns are.

    `part` is the part whose rate was asked for; the message says why there is no answer.
    """

    def __init__(self, part: str, message: str) -> None:
        super().__init__(message)
        self.part = part


@dataclass(frozen=True)
class Quotients:
    """Rates of parts per unit of the part turned: each of `above` over `below`."""

    above: Mapping[str, Polynomial]
    below: Polynomial


def find_rates(
    open_train: OpenTrain, drive: str, turned: str, wanted: Sequence[str], held: Iterable[str] = ()
) -> Quotients:
    """The rates of the parts `wanted` per unit of `turned`, by the parts' own positives.

    The parts `held` stand still, and so does every drive but `drive`, as it does at rest. Raises
    `NotDriven` where `turned` can't turn, or a part's rate doesn't follow from it; `KeyError` for an
    unknown part or drive.
    """
    system = _System.of(open_train, drive, turned, wanted, held)
    columns = system.needed(wanted)
    rows = [system.rows[system.row_of[column]] for column in columns]
    below = _determinant(rows, columns)
    solved = {
        column: _determinant([_with_column(row, column, turned) for row in rows], columns)
        for column in columns
    }
    above: dict[str, Polynomial] = {}
    for part in wanted:
        total: Polynomial = {}
        for column, coefficient in system.parts[part].items():
            if column == turned:
                total = add(total, below, coefficient)
            elif column in solved:
                total = add(total, solved[column], coefficient)
        above[part] = total
    return _without_common_powers(above, below)


_PolynomialRow = Mapping[str, Polynomial]


@dataclass(frozen=True)
class _System:
    """What is left of a train once its known links are eliminated: a row for each open link.

    `parts` gives each wanted part by columns; `row_of` names for each column that follows from the
    part turned the row that it stands in, no row twice.
    """

    turned: str
    rows: tuple[_PolynomialRow, ...]
    parts: Mapping[str, Mapping[str, Fraction]]
    row_of: Mapping[str, int]

    @classmethod
    def of(
        cls, open_train: OpenTrain, drive: str, turned: str, wanted: Sequence[str], held: Iterable[str]
    ) -> _System:
        train = open_train.train
        known = [each for name, each in link_relations(train) if name not in open_train.ratios]
        known += [relation for _, relation in held_relations(train, drive)]
        known += [{part: Fraction(1)} for part in held]
        ports = [part for name in open_train.ratios for part in train.link(name).ports]
        keep = list(dict.fromkeys((turned, *ports, *wanted)))
        for part in keep:
            if part not in train:
                raise KeyError(part)
        of = reduce_relations(train.parts, known, keep).of
        if not of[turned]:
            raise NotDriven(turned, "it can't turn as the machine is set up")
        rows = tuple(_open_row(open_train, name, of) for name in open_train.ratios)
        return cls(turned, rows, {part: of[part] for part in wanted}, _pivots(rows, turned, of, wanted))

    def needed(self, wanted: Sequence[str]) -> list[str]:
        """The columns that the wanted parts depend on, through whatever rows."""
        found: list[str] = []
        waiting = [column for part in wanted for column in self.parts[part]]
        while waiting:
            column = waiting.pop()
            if column in self.row_of and column not in found:
                found.append(column)
                waiting.extend(self.rows[self.row_of[column]])
        return sorted(found)


def _open_row(open_train: OpenTrain, name: str, of: Mapping[str, Mapping[str, Fraction]]) -> _PolynomialRow:
    """The relation of an open link, its ports put in by the columns that they follow from."""
    link, ratio = open_train.train.link(name), open_train.ratios[name]
    value: Polynomial = {ratio.powers: ratio.coefficient}
    if isinstance(link, Differential):
        p, q = link.suns
        relation = {p: value, q: constant(-1), link.carrier: add(constant(1), value, -1)}
    elif isinstance(link, TwoPort):
        relation = {link.from_part: value, link.to_part: constant(-1)}
    else:
        raise TypeError(f"link {name!r} is a {link.kind}, which has no ratio")
    row: dict[str, Polynomial] = {}
    for part, polynomial in relation.items():
        for column, coefficient in of[part].items():
            row[column] = add(row.get(column, {}), polynomial, coefficient)
    return {column: polynomial for column, polynomial in row.items() if polynomial}


def _pivots(
    rows: Sequence[_PolynomialRow],
    turned: str,
    of: Mapping[str, Mapping[str, Fraction]],
    wanted: Sequence[str],
) -> Mapping[str, int]:
    """A row for each column that the rows tie to the others, found with primes for the unknowns."""
    stand_in = _stand_ins(rows)
    numeric = [{column: evaluate(polynomial, stand_in) for column, polynomial in row.items()} for row in rows]
    columns = sorted(
        {turned, *(column for row in rows for column in row), *(c for part in wanted for c in of[part])}
    )
    chosen: list[int] = []
    free = len(columns)
    for index in range(len(rows)):
        left = len(reduce_relations(columns, [numeric[each] for each in (*chosen, index)]).free)
        if left < free:
            chosen.append(index)
            free = left
    reduced = reduce_relations(columns, [numeric[index] for index in chosen], keep=(turned,))
    if turned not in reduced.free:
        raise NotDriven(turned, "it can't turn as the machine is set up")
    for part in wanted:
        depends: dict[str, Fraction] = {}
        for column, coefficient in of[part].items():
            for other, value in reduced.of[column].items():
                depends[other] = depends.get(other, Fraction(0)) + coefficient * value
        loose = next((other for other, value in depends.items() if value and other != turned), None)
        if loose is not None and not depends.get(turned):
            raise NotDriven(part, "nothing connects it with the part that was turned")
        if loose is not None:
            raise NotDriven(part, f'it also follows "{loose}", which is free to turn')
    tied = [column for column in columns if column not in reduced.free]
    return _matched(tied, [(index, rows[index]) for index in chosen])


def _stand_ins(rows: Iterable[_PolynomialRow]) -> Mapping[str, Fraction]:
    names = sorted({name for row in rows for polynomial in row.values() for name in variables(polynomial)})
    return {
        name: Fraction(_PRIMES[rank % len(_PRIMES)] + 210 * (rank // len(_PRIMES)), 97)
        for rank, name in enumerate(names)
    }


def _matched(columns: Sequence[str], rows: Sequence[tuple[int, _PolynomialRow]]) -> Mapping[str, int]:
    """Each column with a row of its own in which it occurs, by augmenting paths."""
    row_of: dict[str, int] = {}
    by_index = dict(rows)

    def place(index: int, tried: set[str]) -> bool:
        for column in columns:
            if column in by_index[index] and column not in tried:
                tried.add(column)
                if column not in row_of or place(row_of[column], tried):
                    row_of[column] = index
                    return True
        return False

    for index in by_index:
        place(index, set())
    return row_of


def _with_column(row: _PolynomialRow, column: str, turned: str) -> _PolynomialRow:
    """The row with the column of the part turned, its sign turned over, in the place of `column`."""
    changed = {name: polynomial for name, polynomial in row.items() if name != column}
    if turned in row:
        changed[column] = add({}, row[turned], -1)
    return changed


def _determinant(rows: Sequence[_PolynomialRow], columns: Sequence[str]) -> Polynomial:
    """Determinant by expansion along the rows; few entries of a train's rows aren't zero."""
    entries = tuple({place: row[name] for place, name in enumerate(columns) if name in row} for row in rows)

    @cache
    def minor(depth: int, left: frozenset[int]) -> tuple[tuple[Powers, Fraction], ...]:
        if depth == len(entries):
            return ((_ONE, Fraction(1)),)
        total: Polynomial = {}
        for rank, place in enumerate(sorted(left)):
            if place in entries[depth]:
                rest = dict(minor(depth + 1, left - {place}))
                total = add(total, multiply(entries[depth][place], rest), -1 if rank % 2 else 1)
        return tuple(total.items())

    return dict(minor(0, frozenset(range(len(columns)))))


def _without_common_powers(above: Mapping[str, Polynomial], below: Polynomial) -> Quotients:
    """Numerators and denominator with the powers that all of them share divided out."""
    every = [dict(term) for polynomial in (*above.values(), below) for term in polynomial]
    names = {name for term in every for name in term if not is_sign(name)}
    common = powers({name: -min(term.get(name, 0) for term in every) for name in names})

    def reduced(polynomial: Polynomial) -> Polynomial:
        return {times(term, common): coefficient for term, coefficient in polynomial.items()}

    return Quotients({part: reduced(polynomial) for part, polynomial in above.items()}, reduced(below))


def numbers_in(polynomials: Iterable[Polynomial]) -> Iterator[str]:
    """The variables of the polynomials that are numbers, in their order."""
    yield from sorted({name for each in polynomials for name in variables(each) if not is_sign(name)})
