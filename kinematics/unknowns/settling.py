"""One group of unknowns: which of them have but one value, what others may be, and what is known of these together."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import combinations, pairwise

from handlead.kinematics.narrowing.allowance import Allowance, OutOfAllowance
from handlead.kinematics.narrowing.conditions import Parity, Product
from handlead.kinematics.narrowing.domains import Domain
from handlead.kinematics.narrowing.narrowing import Narrowing
from handlead.kinematics.train.elimination import reduce_relations
from handlead.kinematics.transfer.polynomials import Powers, value_of

from .groups import spending
from .observations import Bounds

#: Branches that the search for a further example may take.
EXAMPLE_ALLOWANCE = 200

#: Examples kept of what undetermined unknowns may be.
MOST_EXAMPLES = 16

#: An example is looked for in each of so many parts of what an unknown can be.
_SLICES = 4

#: Products of more senses than this aren't looked at.
_MOST_SENSES_TIED = 4


@dataclass(frozen=True)
class Tie:
    """A product of powers of undetermined unknowns that is known all the same.

    `value` is the only one that fits, or None where it is only known to lie between the `bounds`. For
    senses it is the product of their signs.
    """

    powers: Powers
    value: Fraction | None
    bounds: Bounds


@dataclass
class Group:
    """A group of variables tied together, and what is found out about it."""

    search: Narrowing
    allowance: Allowance
    determined: dict[str, Fraction] = field(default_factory=dict)
    found: dict[str, set[Fraction]] = field(default_factory=dict)
    unsettled: set[str] = field(default_factory=set)
    solutions: list[Mapping[str, Fraction]] = field(default_factory=list)
    ties: list[Tie] = field(default_factory=list)

    @property
    def names(self) -> list[str]:
        """Numbers, then senses."""
        return [*self.search.domains, *self.search.signs]

    @property
    def open_names(self) -> list[str]:
        """Those that aren't determined."""
        return [name for name in self.names if name not in self.determined]

    def look(self, thorough: bool) -> None:
        """Find out what there is to be found; `thorough`, what is known of undetermined ones together as well."""
        self._look(thorough)
        if thorough:
            self.ties = [*self._number_ties(), *self._sense_ties()]

    def _look(self, thorough: bool) -> None:
        """For each variable: a solution with another value, or the proof that there is none."""
        try:
            first = spending(self.search, self.allowance)
        except OutOfAllowance:
            first = None
        if first is None:
            self.unsettled |= set(self.names)
            self.found = {name: set() for name in self.names}
            return
        self._keep(first)
        for name in self.names:
            if len(self.found[name]) > 1:
                continue
            (value,) = self.found[name]
            try:
                other = spending(self.search.but(name, value), self.allowance)
            except OutOfAllowance:
                self.unsettled.add(name)
                continue
            if other is None:
                self.determined[name] = value
            else:
                self._keep(other)
        if thorough:
            self._more_examples()

    def _keep(self, solution: Mapping[str, Fraction]) -> None:
        self.solutions.append(solution)
        for name, value in solution.items():
            self.found.setdefault(name, set()).add(value)

    def _more_examples(self) -> None:
        """A few more answers, so that what may come next is judged by more than two."""
        for name in self.open_names:
            domain = self.search.domains.get(name)
            if domain is None or name in self.unsettled:
                continue
            whole = self.search.reach(name)
            # The plainest value of all first: it's the one that a person would think of.
            for low, high in ((Fraction(whole[0]), Fraction(whole[1])), *_slices(domain, *whole)):
                if len(self.solutions) >= MOST_EXAMPLES:
                    return
                self._look_for_example(name, domain, low, high)

    def _look_for_example(self, name: str, domain: Domain, low: Fraction, high: Fraction) -> None:
        """An answer with the number between the bounds: the simplest value there, or else any."""
        simplest = domain.simplest(low, high)
        for bottom, top in [(low, high)] if simplest is None else [(simplest, simplest), (low, high)]:
            search = self.search.with_condition(Product(((name, 1),), bottom, top))
            try:
                example = spending(search, self.allowance, EXAMPLE_ALLOWANCE)
            except OutOfAllowance:
                continue
            if example is not None:
                self._keep(example)
                return

    def _number_ties(self) -> Iterator[Tie]:
        seen: list[Mapping[str, Fraction]] = []
        for condition in sorted(self._products(), key=lambda each: (len(each.powers), each.high / each.low)):
            known = tuple((name, each) for name, each in condition.powers if name in self.determined)
            rest = tuple((name, each) for name, each in condition.powers if name not in self.determined)
            row = {name: Fraction(each) for name, each in rest}
            if len(rest) < 2 or not _is_independent(row, seen):
                continue
            seen.append(row)
            size = value_of(known, self.determined)
            yield Tie(rest, self._only_value(rest), (condition.low / size, condition.high / size))

    def _products(self) -> Iterator[Product]:
        for condition in self.search.conditions:
            if isinstance(condition, Product) and condition.low > 0:
                yield condition

    def _only_value(self, term: Powers) -> Fraction | None:
        """The one value that a product can have, or None where there are others or the search doesn't tell."""
        found = {value_of(term, solution) for solution in self.solutions}
        if len(found) != 1:
            return None
        (value,) = found
        # Two products of values from the domains differ by more than this, or nothing is claimed.
        gap = Fraction(1, 10**11)
        for low, high in ((value / 10**6, value * (1 - gap)), (value * (1 + gap), value * 10**6)):
            try:
                if spending(self.search.with_condition(Product(term, low, high)), self.allowance):
                    return None
            except OutOfAllowance:
                return None
        return value

    def _sense_ties(self) -> Iterator[Tie]:
        """Products of undetermined senses that are always the same; none that follows from those before it."""
        signs = [name for name in self.search.signs if name not in self.determined]
        independent: list[set[str]] = []
        for size in range(2, min(len(signs), _MOST_SENSES_TIED) + 1):
            for chosen in combinations(signs, size):
                products = {math.prod(solution[name] for name in chosen) for solution in self.solutions}
                if len(products) == 1 and not _follows(set(chosen), independent):
                    (sign,) = products
                    if self._always(chosen, int(sign)):
                        independent.append(set(chosen))
                        value = Fraction(sign)
                        yield Tie(tuple((name, 1) for name in chosen), value, (value, value))

    def _always(self, signs: Sequence[str], sign: int) -> bool:
        try:
            return spending(self.search.with_condition(Parity(tuple(signs), -sign)), self.allowance) is None
        except OutOfAllowance:
            return False


def _is_independent(row: Mapping[str, Fraction], known: Sequence[Mapping[str, Fraction]]) -> bool:
    """Whether a row of exponents is no combination of those known."""
    names = sorted({name for each in (row, *known) for name in each})
    return len(reduce_relations(names, [*known, row]).free) < len(reduce_relations(names, known).free)


def _follows(names: set[str], known: Sequence[set[str]]) -> bool:
    """Whether `names` is a sum of some of `known`, each name counted by two."""
    reduced: list[set[str]] = []
    for each in (*known, names):
        row = set(each)
        for other in reduced:
            if min(other) in row:
                row ^= other
        if not row:
            return each is names
        reduced = [other ^ row if min(row) in other else other for other in reduced] + [row]
    return False


def _slices(domain: Domain, low: float, high: float) -> Iterator[Bounds]:
    """A few parts of what a number can be, each as many times as great as the one before."""
    low, high = max(low, float(domain.low)), min(high, float(domain.high))
    edges = [low * (high / low) ** (rank / _SLICES) for rank in range(_SLICES + 1)]
    for bottom, top in pairwise(edges):
        yield Fraction(bottom), Fraction(top)
