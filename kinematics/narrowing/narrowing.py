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
from functools import cached_property
from typing import TypeVar

from handlead.kinematics.transfer.polynomials import is_sign

from .allowance import Allowance
from .bounds import SLACK, Empty, Narrowed, power, root, size, term_ends
from .conditions import Balance, Condition, Parity, Product
from .domains import Domain, Wholes

#: Values that are tried one by one; more are halved first.
_FEW = 24

#: Branches that each set of senses is given in turn.
_IN_TURN = 16

_T = TypeVar("_T")


def _shuffled(state: Narrowed, choices: list[_T]) -> list[_T]:
    """In an order that favours no end of the range: answers seldom lie in its corners. Always the same one."""
    state.chance.shuffle(choices)
    return choices


Narrower = Callable[[Narrowed], Iterator[str]]


@dataclass(frozen=True)
class Narrowing:
    """Conditions on variables, numbers with their domains and signs.

    `solution` finds values that satisfy everything, `Narrowing.but` the same with a value left out.
    """

    domains: Mapping[str, Domain]
    signs: tuple[str, ...]
    conditions: tuple[Condition, ...]
    #: Variables with a value that isn't looked for.
    excluded: Mapping[str, Fraction] = field(default_factory=dict)

    def but(self, name: str, value: Fraction) -> Narrowing:
        """The same search, with `value` left out for the variable `name`."""
        return Narrowing(self.domains, self.signs, self.conditions, {name: value})

    def with_condition(self, condition: Condition) -> Narrowing:
        """The same search with one more condition."""
        return Narrowing(self.domains, self.signs, (*self.conditions, condition), self.excluded)

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
        except Empty:
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
        except Empty:
            return {}
        return state.value

    def reach(self, name: str) -> tuple[float, float]:
        """Bounds of a number as the conditions leave them before any branch; those of its domain where they fail."""
        state = self._start()
        try:
            self._narrow(state, self._narrowers)
        except Empty:
            state = self._start()
        return state.low[name], state.high[name]

    def _start(self) -> Narrowed:
        start = Narrowed(
            {name: float(domain.low) * (1 - SLACK) for name, domain in self.domains.items()},
            {name: float(domain.high) * (1 + SLACK) for name, domain in self.domains.items()},
        )
        for name in self.signs:
            start.low[name], start.high[name] = -1.0, 1.0
        return start

    def _with_senses(self, start: Narrowed, allowance: Allowance) -> list[Narrowed]:
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

    def _explore(self, start: Narrowed) -> Iterator[dict[str, Fraction] | None]:
        """Branch on the numbers until there are values for all: yields them, and None after each branch before."""
        waiting: list[Iterator[Narrowed | None]] = [iter((start,))]
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

    def _next(self, state: Narrowed) -> str | None:
        """The variable with the fewest values left, of those that have more than one."""
        best, fewest = None, math.inf
        for name, domain in self.domains.items():
            if name not in state.value:
                count = domain.count(state.low[name], state.high[name])
                if count < fewest:
                    best, fewest = name, count
        return best

    def _branches(self, state: Narrowed, name: str) -> Iterator[Narrowed | None]:
        """A state for each choice, None for one that can't be."""
        for change in self._changes(state, name):
            branch = state.copy()
            try:
                change(branch)
                self._narrow(branch, self._touching[name])
            except Empty:
                yield None
            else:
                yield branch

    def _changes(self, state: Narrowed, name: str) -> Iterator[Callable[[Narrowed], None]]:
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

    def _bound(self, state: Narrowed, name: str, low: float, high: float) -> None:
        state.low[name], state.high[name] = low, high
        self._snap(state, name)

    def _assign(self, state: Narrowed, name: str, value: Fraction) -> None:
        if name in state.value:
            if state.value[name] != value:
                raise Empty
            return
        state.value[name] = value
        if name in self.signs:
            state.low[name] = state.high[name] = float(value)
        else:
            state.low[name], state.high[name] = float(value) * (1 - SLACK), float(value) * (1 + SLACK)

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

    def _narrow(self, state: Narrowed, first: Iterable[tuple[tuple[str, ...], Narrower]]) -> None:
        """Let every condition draw bounds closer until none can. Raises `Empty`."""
        waiting = {id(each): each for each in first}
        while waiting:
            _, (_, narrower) = waiting.popitem()
            for changed in narrower(state):
                waiting |= {id(each): each for each in self._touching[changed] if each[1] is not narrower}

    def _take(self, state: Narrowed, name: str, low: float, high: float) -> bool:
        """Draw the bounds of a number closer; whether anything worth telling has changed. Raises `Empty`."""
        before_low, before_high = state.low[name], state.high[name]
        if low > before_high or high < before_low:
            raise Empty
        if name in state.value or (low <= before_low and high >= before_high):
            return False
        state.low[name], state.high[name] = max(low, before_low), min(high, before_high)
        self._snap(state, name)
        if name in state.value:
            return True
        width, was = state.high[name] - state.low[name], before_high - before_low
        return width < 0.95 * was

    def _snap(self, state: Narrowed, name: str) -> None:
        """Bounds to values of the domain, where few are left. Raises `Empty` if none is."""
        domain, low, high = self.domains[name], state.low[name], state.high[name]
        excluded = self.excluded.get(name)
        if isinstance(domain, Wholes):
            first, last = domain.within(low, high)
            first += first == excluded
            last -= last == excluded
            if first > last:
                raise Empty
            if first == last:
                self._assign(state, name, Fraction(first))
            else:
                state.low[name], state.high[name] = first * (1 - SLACK), last * (1 + SLACK)
        elif domain.count(low, high) < 4:
            left = [value for value in domain.values(low, high) if value != excluded]
            if not left:
                raise Empty
            if len(left) == 1:
                self._assign(state, name, left[0])
            else:
                state.low[name] = float(min(left)) * (1 - SLACK)
                state.high[name] = float(max(left)) * (1 + SLACK)

    def _of_product(self, product: Product) -> Narrower:
        low, high = float(product.low) * (1 - SLACK), float(product.high) * (1 + SLACK)
        factors = product.powers

        def narrow(state: Narrowed) -> Iterator[str]:
            ends = [power(state.low[name], state.high[name], each) for name, each in factors]
            least, greatest = math.prod(end[0] for end in ends), math.prod(end[1] for end in ends)
            if least > high * (1 + SLACK) or greatest < low * (1 - SLACK):
                raise Empty
            for (name, each), (own_low, own_high) in zip(factors, ends, strict=True):
                if name in state.value:
                    continue
                # Bounds of the others are those of all over its own; `_take` puts no trust in the last places.
                bounds = low / (greatest / own_high), high / (least / own_low)
                root_low, root_high = root(bounds[0] * (1 - SLACK), bounds[1] * (1 + SLACK), each)
                if self._take(state, name, root_low, root_high):
                    yield name

        return narrow

    def _of_parity(self, parity: Parity) -> Narrower:
        def narrow(state: Narrowed) -> Iterator[str]:
            open_ones = [name for name in parity.names if name not in state.value]
            sign = Fraction(parity.sign)
            for name in parity.names:
                sign *= state.value.get(name, 1)
            if not open_ones and sign != 1:
                raise Empty
            if len(open_ones) == 1:
                self._assign(state, open_ones[0], sign)
                yield open_ones[0]

        return narrow

    def _of_balance(self, balance: Balance) -> Narrower:
        flat = [
            (
                [(name, each) for name, each in term if not is_sign(name)],
                [name for name, _ in term if is_sign(name)],
                float(low) - SLACK * abs(float(low)),
                float(high) + SLACK * abs(float(high)),
            )
            for term, low, high in balance.flat
        ]

        def narrow(state: Narrowed) -> Iterator[str]:
            ends = [term_ends(state, *term) for term in flat]
            bottom, top = sum(end[0] for end in ends), sum(end[1] for end in ends)
            slack = SLACK * sum(max(-end[0], end[1]) for end in ends)
            if bottom > slack or top < -slack:
                raise Empty
            for (numbers, signs, low, high), end in zip(flat, ends, strict=True):
                # This term is what the others leave; the slack makes good what rounding takes from the sums.
                least, greatest = end[1] - top - slack, end[0] - bottom + slack
                if least > end[1] or greatest < end[0]:
                    raise Empty
                if least > end[0] or greatest < end[1]:
                    yield from self._narrow_term(state, numbers, signs, (low, high), (least, greatest))

        return narrow

    def _narrow_term(
        self,
        state: Narrowed,
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
                raise Empty
        sizes = size(coefficient)
        sought = size(wanted)
        if not sizes[0] or not numbers:
            return
        factors = [power(state.low[name], state.high[name], each) for name, each in numbers]
        least, greatest = math.prod(end[0] for end in factors), math.prod(end[1] for end in factors)
        for (name, each), (own_low, own_high) in zip(numbers, factors, strict=True):
            if name in state.value:
                continue
            bottom = sought[0] / (sizes[1] * greatest / own_high) * (1 - SLACK)
            top = sought[1] / (sizes[0] * least / own_low) * (1 + SLACK)
            if not top:
                raise Empty
            root_low, root_high = root(bottom, top, each)
            if self._take(state, name, root_low, root_high):
                yield name
