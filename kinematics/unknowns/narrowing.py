"""Exact search for the numbers and senses that satisfy interval conditions, with proof where there is only one.

Bounds are drawn together in floating point, always rounded outwards, so that no value that fits is
ever lost; what is found is checked in fractions. A search that runs out of its allowance proves
nothing, and says so.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property, reduce
from random import Random
from typing import Protocol, TypeVar

from .open_train import Polynomial, Powers, evaluate, is_sign, substitute, value_of, variables

#: Bounds are widened by this part after a chain of floating-point steps, far more than they can round.
_SLACK = 1e-13

#: Values that are tried one by one; more are halved first.
_FEW = 24

#: Branches that each set of senses is given in turn.
_IN_TURN = 16

_T = TypeVar("_T")

Values = Mapping[str, Fraction]


# ---------------------------------------------------------------- what a number can be


class Domain(Protocol):
    """The values that a number may have, all above 0."""

    @property
    def low(self) -> Fraction:
        """No value is less."""

    @property
    def high(self) -> Fraction:
        """No value is greater."""

    def count(self, low: float, high: float) -> float:
        """About how many values lie between; 0 only if none does."""

    def values(self, low: float, high: float) -> list[Fraction]:
        """The values that lie between, the simplest first."""

    def simplest(self, low: Fraction, high: Fraction) -> Fraction | None:
        """The plainest of the values that lie between, or None."""

    def plainness(self, value: Fraction) -> tuple[int, int]:
        """Less for a plainer value: rank of the unit of which it is a fraction, and its denominator there."""


@dataclass(frozen=True)
class Wholes:
    """The whole numbers from `low` to `high`."""

    low: Fraction
    high: Fraction

    def count(self, low: float, high: float) -> float:
        """How many whole numbers lie between."""
        first, last = self.within(low, high)
        return max(0, last - first + 1)

    def values(self, low: float, high: float) -> list[Fraction]:
        """The whole numbers that lie between."""
        first, last = self.within(low, high)
        return [Fraction(value) for value in range(first, last + 1)]

    def simplest(self, low: Fraction, high: Fraction) -> Fraction | None:
        """A whole number in the middle, or None."""
        first, last = math.ceil(max(low, self.low)), math.floor(min(high, self.high))
        return Fraction((first + last) // 2) if first <= last else None

    def plainness(self, value: Fraction) -> tuple[int, int]:
        """One whole number is as plain as another."""
        return 0, value.denominator

    def within(self, low: float, high: float) -> tuple[int, int]:
        """The first and the last of the whole numbers that lie between."""
        first = max(math.ceil(self.low), math.ceil(low) if math.isfinite(low) else 0)
        return first, min(math.floor(self.high), math.floor(high) if math.isfinite(high) else 10**18)


@dataclass(frozen=True)
class Fractions:
    """Fractions of each of `units` from `low` to `high`, with denominators up to what goes with the unit.

    A lead is a fraction of a millimetre or of an inch: ``units = ((Fraction(1), 20), (Fraction(127, 5), 32))``. A
    fraction of the first unit is plainer than any of those behind it.
    """

    low: Fraction
    high: Fraction
    units: tuple[tuple[Fraction, int], ...] = ((Fraction(1), 100),)

    def count(self, low: float, high: float) -> float:
        """About how many: there are 3/pi^2 n^2 fractions with denominators to n from one whole number to the next."""
        low, high = max(low, float(self.low)), min(high, float(self.high))
        if low > high * (1 + _SLACK):
            return 0
        return 1 + sum(0.304 * most * most * (high - low) / float(unit) for unit, most in self.units)

    def values(self, low: float, high: float) -> list[Fraction]:
        """The fractions that lie between, those with the least denominators first."""
        found: dict[Fraction, int] = {}
        bottom, top = max(Fraction(low), self.low), min(Fraction(high), self.high)
        for unit, most in self.units:
            for below in range(1, most + 1):
                first, last = math.ceil(bottom / unit * below), math.floor(top / unit * below)
                for above in range(first, last + 1):
                    found.setdefault(unit * Fraction(above, below), below)
        return sorted(found, key=lambda value: (found[value], value))

    def simplest(self, low: Fraction, high: Fraction) -> Fraction | None:
        """One with the least denominator of the fractions of the first unit that has any between; or None."""
        low, high = max(low, self.low), min(high, self.high)
        for unit, most in self.units:
            for below in range(1, most + 1):
                first, last = math.ceil(low / unit * below), math.floor(high / unit * below)
                if first <= last:
                    return unit * Fraction((first + last) // 2, below)
        return None

    def plainness(self, value: Fraction) -> tuple[int, int]:
        """Less for a plainer value: rank of the unit of which it is a fraction, and its denominator there."""
        for rank, (unit, most) in enumerate(self.units):
            if (value / unit).denominator <= most:
                return rank, (value / unit).denominator
        return len(self.units), (value / self.units[0][0]).denominator


# ---------------------------------------------------------------- what must hold


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


# ---------------------------------------------------------------- the search


class OutOfAllowance(Exception):
    """The search has used up its allowance: nothing is proved."""


class _Empty(Exception):
    """No value is left for a variable, or a condition can't hold."""


@dataclass
class Allowance:
    """How many branches a search may still take."""

    left: int

    def use(self) -> None:
        """Take one. Raises `OutOfAllowance` when there is none."""
        if self.left <= 0:
            raise OutOfAllowance
        self.left -= 1


@dataclass
class _State:
    """Bounds so far. `low` and `high` of a sign are -1 and 1, or both what it is."""

    low: dict[str, float]
    high: dict[str, float]
    value: dict[str, Fraction] = field(default_factory=dict)
    chance: Random = field(default_factory=lambda: Random(0))

    def copy(self) -> _State:
        return _State(dict(self.low), dict(self.high), dict(self.value), self.chance)


def _shuffled(state: _State, choices: list[_T]) -> list[_T]:
    """In an order that favours no end of the range: answers seldom lie in its corners. Always the same one."""
    state.chance.shuffle(choices)
    return choices


Narrower = Callable[["_State"], Iterator[str]]


@dataclass(frozen=True)
class Search:
    """Conditions on variables, numbers with their domains and signs.

    `solution` finds values that satisfy everything, `Search.but` the same with a value left out.
    """

    domains: Mapping[str, Domain]
    signs: tuple[str, ...]
    conditions: tuple[Condition, ...]
    #: Variables with a value that isn't looked for.
    excluded: Mapping[str, Fraction] = field(default_factory=dict)

    def but(self, name: str, value: Fraction) -> Search:
        """The same search, with `value` left out for the variable `name`."""
        return Search(self.domains, self.signs, self.conditions, {name: value})

    def with_condition(self, condition: Condition) -> Search:
        """The same search with one more condition."""
        return Search(self.domains, self.signs, (*self.conditions, condition), self.excluded)

    def solution(self, allowance: Allowance) -> dict[str, Fraction] | None:
        """Values that satisfy every condition; None where it is proved that there are none.

        Raises `OutOfAllowance`.
        """
        start = self._start()
        try:
            for name, value in self.excluded.items():
                if name in self.signs:
                    self._assign(start, name, -value)
            for condition in self.conditions:
                if not condition.names and not condition.holds({}):
                    return None
            self._narrow(start, self._narrowers)
        except _Empty:
            return None
        # Senses first; then the numbers for each set of senses that is left, a few branches each in turn,
        # so that one set in which there is nothing to find doesn't hold up the rest.
        turns = deque(self._explore(state) for state in self._with_senses(start, allowance))
        while turns:
            exploring = turns.popleft()
            for _ in range(_IN_TURN):
                allowance.use()
                try:
                    found = next(exploring)
                except StopIteration:
                    break
                if found is not None:
                    return found
            else:
                turns.append(exploring)
        return None

    def forced(self) -> dict[str, Fraction]:
        """The values that the conditions leave no choice about, before any branch; none where they can't hold."""
        state = self._start()
        try:
            self._narrow(state, self._narrowers)
        except _Empty:
            return {}
        return state.value

    def reach(self, name: str) -> tuple[float, float]:
        """Bounds of a number as the conditions leave them before any branch; those of its domain where they fail."""
        state = self._start()
        try:
            self._narrow(state, self._narrowers)
        except _Empty:
            state = self._start()
        return state.low[name], state.high[name]

    def _start(self) -> _State:
        start = _State(
            {name: float(domain.low) * (1 - _SLACK) for name, domain in self.domains.items()},
            {name: float(domain.high) * (1 + _SLACK) for name, domain in self.domains.items()},
        )
        for name in self.signs:
            start.low[name], start.high[name] = -1.0, 1.0
        return start

    def _with_senses(self, start: _State, allowance: Allowance) -> list[_State]:
        """The states with every sense decided that the conditions leave."""
        states = [start]
        for name in self.signs:
            branches = []
            for state in states:
                if name in state.value:
                    branches.append(state)
                    continue
                for branch in self._branches(state, name):
                    allowance.use()
                    branches += [branch] if branch else []
            states = branches
        return states

    def _explore(self, start: _State) -> Iterator[dict[str, Fraction] | None]:
        """Branch on the numbers until there are values for all: yields them, and None after each branch before."""
        waiting: list[Iterator[_State | None]] = [iter((start,))]
        while waiting:
            try:
                state = next(waiting[-1])
            except StopIteration:
                waiting.pop()
                continue
            yield None
            if state is None:
                continue
            name = self._next(state)
            if name is not None:
                waiting.append(self._branches(state, name))
            elif all(condition.holds(state.value) for condition in self.conditions):
                yield state.value

    # ------------------------------------------------------------ branching

    def _next(self, state: _State) -> str | None:
        """The variable with the fewest values left, of those that have more than one."""
        best, fewest = None, math.inf
        for name, domain in self.domains.items():
            if name not in state.value:
                count = domain.count(state.low[name], state.high[name])
                if count < fewest:
                    best, fewest = name, count
        return best

    def _branches(self, state: _State, name: str) -> Iterator[_State | None]:
        """A state for each choice, None for one that can't be."""
        for change in self._changes(state, name):
            branch = state.copy()
            try:
                change(branch)
                self._narrow(branch, self._touching[name])
            except _Empty:
                yield None
            else:
                yield branch

    def _changes(self, state: _State, name: str) -> Iterator[Callable[[_State], None]]:
        if name in self.signs:
            choices = [Fraction(1), Fraction(-1)]
        else:
            low, high = state.low[name], state.high[name]
            if self.domains[name].count(low, high) > _FEW:
                middle = math.sqrt(low * high)
                if isinstance(self.domains[name], Wholes):
                    middle = math.floor(middle) + 0.5
                if low < middle < high:
                    halves = _shuffled(state, [(low, middle), (middle, high)])
                    for bottom, top in halves:
                        yield lambda branch, b=bottom, t=top: self._bound(branch, name, b, t)  # type: ignore[misc]
                    return
            choices = _shuffled(state, self.domains[name].values(low, high))
        for value in choices:
            if self.excluded.get(name) != value:
                yield lambda branch, value=value: self._assign(branch, name, value)  # type: ignore[misc]

    def _bound(self, state: _State, name: str, low: float, high: float) -> None:
        state.low[name], state.high[name] = low, high
        self._snap(state, name)

    def _assign(self, state: _State, name: str, value: Fraction) -> None:
        if name in state.value:
            if state.value[name] != value:
                raise _Empty
            return
        state.value[name] = value
        if name in self.signs:
            state.low[name] = state.high[name] = float(value)
        else:
            state.low[name], state.high[name] = float(value) * (1 - _SLACK), float(value) * (1 + _SLACK)

    # ------------------------------------------------------------ narrowing

    @cached_property
    def _narrowers(self) -> tuple[tuple[tuple[str, ...], Narrower], ...]:
        made: list[tuple[tuple[str, ...], Narrower]] = []
        for condition in self.conditions:
            if isinstance(condition, Product):
                made.append((condition.names, self._of_product(condition)))
            elif isinstance(condition, Parity):
                made.append((condition.names, self._of_parity(condition)))
            else:
                made.append((condition.names, self._of_balance(condition)))
        return tuple(made)

    @cached_property
    def _touching(self) -> Mapping[str, tuple[tuple[tuple[str, ...], Narrower], ...]]:
        return {
            name: tuple(each for each in self._narrowers if name in each[0])
            for name in (*self.domains, *self.signs)
        }

    def _narrow(self, state: _State, first: Iterable[tuple[tuple[str, ...], Narrower]]) -> None:
        """Let every condition draw bounds closer until none can. Raises `_Empty`."""
        waiting = {id(each): each for each in first}
        while waiting:
            _, (_, narrower) = waiting.popitem()
            for changed in narrower(state):
                waiting |= {id(each): each for each in self._touching[changed] if each[1] is not narrower}

    def _take(self, state: _State, name: str, low: float, high: float) -> bool:
        """Draw the bounds of a number closer; whether anything worth telling has changed. Raises `_Empty`."""
        before_low, before_high = state.low[name], state.high[name]
        if low > before_high or high < before_low:
            raise _Empty
        if name in state.value or (low <= before_low and high >= before_high):
            return False
        state.low[name], state.high[name] = max(low, before_low), min(high, before_high)
        self._snap(state, name)
        if name in state.value:
            return True
        width, was = state.high[name] - state.low[name], before_high - before_low
        return width < 0.95 * was

    def _snap(self, state: _State, name: str) -> None:
        """Bounds to values of the domain, where few are left. Raises `_Empty` if none is."""
        domain, low, high = self.domains[name], state.low[name], state.high[name]
        excluded = self.excluded.get(name)
        if isinstance(domain, Wholes):
            first, last = domain.within(low, high)
            first += first == excluded
            last -= last == excluded
            if first > last:
                raise _Empty
            if first == last:
                self._assign(state, name, Fraction(first))
            else:
                state.low[name], state.high[name] = first * (1 - _SLACK), last * (1 + _SLACK)
        elif domain.count(low, high) < 4:
            left = [value for value in domain.values(low, high) if value != excluded]
            if not left:
                raise _Empty
            if len(left) == 1:
                self._assign(state, name, left[0])
            else:
                state.low[name] = float(min(left)) * (1 - _SLACK)
                state.high[name] = float(max(left)) * (1 + _SLACK)

    def _of_product(self, product: Product) -> Narrower:
        low, high = float(product.low) * (1 - _SLACK), float(product.high) * (1 + _SLACK)
        factors = product.powers

        def narrow(state: _State) -> Iterator[str]:
            ends = [_power(state.low[name], state.high[name], each) for name, each in factors]
            least, greatest = math.prod(end[0] for end in ends), math.prod(end[1] for end in ends)
            if least > high * (1 + _SLACK) or greatest < low * (1 - _SLACK):
                raise _Empty
            for (name, each), (own_low, own_high) in zip(factors, ends, strict=True):
                if name in state.value:
                    continue
                # Bounds of the others are those of all over its own; `_take` puts no trust in the last places.
                bounds = low / (greatest / own_high), high / (least / own_low)
                root_low, root_high = _root(bounds[0] * (1 - _SLACK), bounds[1] * (1 + _SLACK), each)
                if self._take(state, name, root_low, root_high):
                    yield name

        return narrow

    def _of_parity(self, parity: Parity) -> Narrower:
        def narrow(state: _State) -> Iterator[str]:
            open_ones = [name for name in parity.names if name not in state.value]
            sign = Fraction(parity.sign)
            for name in parity.names:
                sign *= state.value.get(name, 1)
            if not open_ones and sign != 1:
                raise _Empty
            if len(open_ones) == 1:
                self._assign(state, open_ones[0], sign)
                yield open_ones[0]

        return narrow

    def _of_balance(self, balance: Balance) -> Narrower:
        flat = [
            (
                [(name, each) for name, each in term if not is_sign(name)],
                [name for name, _ in term if is_sign(name)],
                float(low) - _SLACK * abs(float(low)),
                float(high) + _SLACK * abs(float(high)),
            )
            for term, low, high in balance.flat
        ]

        def narrow(state: _State) -> Iterator[str]:
            ends = [_term_ends(state, *term) for term in flat]
            bottom, top = sum(end[0] for end in ends), sum(end[1] for end in ends)
            slack = _SLACK * sum(max(-end[0], end[1]) for end in ends)
            if bottom > slack or top < -slack:
                raise _Empty
            for (numbers, signs, low, high), end in zip(flat, ends, strict=True):
                # This term is what the others leave; the slack makes good what rounding takes from the sums.
                least, greatest = end[1] - top - slack, end[0] - bottom + slack
                if least > end[1] or greatest < end[0]:
                    raise _Empty
                if least > end[0] or greatest < end[1]:
                    yield from self._narrow_term(state, numbers, signs, (low, high), (least, greatest))

        return narrow

    def _narrow_term(
        self,
        state: _State,
        numbers: Sequence[tuple[str, int]],
        signs: Sequence[str],
        coefficient: tuple[float, float],
        wanted: tuple[float, float],
    ) -> Iterator[str]:
        """Draw the variables of a term closer so that it can lie between the bounds `wanted`."""
        open_signs = [name for name in signs if name not in state.value]
        sign = math.prod(float(state.value.get(name, 1)) for name in signs)
        one_sided = coefficient[0] > 0 or coefficient[1] < 0
        away_from_zero = wanted[0] > 0 or wanted[1] < 0
        if one_sided and away_from_zero and len(open_signs) <= 1:
            needed = (1 if wanted[0] > 0 else -1) * (1 if coefficient[0] > 0 else -1) * sign
            if open_signs:
                self._assign(state, open_signs[0], Fraction(int(needed)))
                yield open_signs[0]
            elif needed < 0:
                raise _Empty
        sizes = _size(coefficient)
        sought = _size(wanted)
        if not sizes[0] or not numbers:
            return
        factors = [_power(state.low[name], state.high[name], each) for name, each in numbers]
        least, greatest = math.prod(end[0] for end in factors), math.prod(end[1] for end in factors)
        for (name, each), (own_low, own_high) in zip(numbers, factors, strict=True):
            if name in state.value:
                continue
            bottom = sought[0] / (sizes[1] * greatest / own_high) * (1 - _SLACK)
            top = sought[1] / (sizes[0] * least / own_low) * (1 + _SLACK)
            if not top:
                raise _Empty
            root_low, root_high = _root(bottom, top, each)
            if self._take(state, name, root_low, root_high):
                yield name


def _size(bounds: tuple[float, float]) -> tuple[float, float]:
    """Bounds of the size of a number between `bounds`."""
    low, high = bounds
    return (0.0 if low <= 0 <= high else min(abs(low), abs(high)), max(abs(low), abs(high)))


def _power(low: float, high: float, exponent: int) -> tuple[float, float]:
    """Bounds of a power of a number above 0, as floating point has them; the caller widens."""
    return (low**exponent, high**exponent) if exponent > 0 else (high**exponent, low**exponent)


def _root(low: float, high: float, exponent: int) -> tuple[float, float]:
    """Bounds of a number whose power lies between `low` and `high`, widened."""
    if exponent < 0:
        low, high = (0.0 if math.isinf(high) else 1 / high), (1 / low if low > 0 else math.inf)
        exponent = -exponent
    if exponent > 1:
        low, high = low ** (1 / exponent), high ** (1 / exponent) if not math.isinf(high) else high
    return low * (1 - _SLACK), high * (1 + _SLACK)


def _term_ends(
    state: _State, numbers: Sequence[tuple[str, int]], signs: Sequence[str], low: float, high: float
) -> tuple[float, float]:
    least = greatest = 1.0
    for name, each in numbers:
        ends = _power(state.low[name], state.high[name], each)
        least, greatest = least * ends[0], greatest * ends[1]
    if any(name not in state.value for name in signs):
        size = max(abs(low), abs(high)) * greatest * (1 + _SLACK)
        return -size, size
    sign = math.prod(float(state.value[name]) for name in signs)
    if sign < 0:
        low, high = -high, -low
    bottom = low * (least if low > 0 else greatest)
    top = high * (greatest if high > 0 else least)
    return bottom - _SLACK * abs(bottom), top + _SLACK * abs(top)
