"""Unknown numbers and senses of a machine, recovered from what was counted on it.

Two kinds of observation tell something: how far one part moved when another was turned (`Turning`),
and a set-up that is known to have cut a certain gear (`Cutting`). Each ties the unknowns by one
exact relation with bounds. An unknown is determined where one value of its domain alone satisfies
all of them; that is proved by search, and where the search isn't finished nothing is claimed.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence, Set
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import combinations, pairwise

import rustworkx as rx
from handlead.kinematics.frame.words import Hand
from handlead.kinematics.train.elimination import reduce_relations

from .linear_bounds import linear_bounds
from .narrowing import (
    Allowance,
    Balance,
    Condition,
    Domain,
    OutOfAllowance,
    Parity,
    Product,
    Search,
    combined,
    conditions_of,
    merged,
)
from .open_train import SIGN, OpenTrain, Polynomial, Powers, find_rates, is_sign, multiply, value_of

Bounds = tuple[Fraction, Fraction]

#: Branches that one search may take, one for a further example, and all searches together.
SEARCH_ALLOWANCE = 4_000
EXAMPLE_ALLOWANCE = 200
WHOLE_ALLOWANCE = 20_000

#: Examples kept of what undetermined unknowns may be.
MOST_EXAMPLES = 16

#: An example is looked for in each of so many parts of what an unknown can be.
_SLICES = 4

#: Products of more senses than this aren't looked at.
_MOST_SENSES_TIED = 4

#: What the table of a spur set-up may be out of starts over teeth for the gear to pass as spur, relatively.
SPUR_ERROR = Fraction(1, 100_000)


@dataclass(frozen=True)
class Turning:
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
class Cutting:
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


Observation = Turning | Cutting


@dataclass(frozen=True)
class Tie:
    """A product of powers of undetermined unknowns that is known all the same.

    `value` is the only one that fits, or None where it is only known to lie between the `bounds`. For
    senses it is the product of their signs.
    """

    powers: Powers
    value: Fraction | None
    bounds: Bounds


@dataclass(frozen=True)
class Identified:
    """What the observations say of the unknowns.

    `values` holds the one value of each variable that is determined; `spread` the values found for
    each of the others, as examples. `ties` are what is known of the others together. `conflicts` holds
    groups of observations, by number, that can't all be right though all but any one of them can;
    nothing is determined that any of those has a part in. `unsettled` names the variables about which the
    search came to no end. `examples` are whole answers, each different.
    """

    values: Mapping[str, Fraction]
    spread: Mapping[str, tuple[Fraction, ...]] = field(default_factory=dict)
    ties: tuple[Tie, ...] = ()
    conflicts: tuple[tuple[int, ...], ...] = ()
    unsettled: frozenset[str] = frozenset()
    examples: tuple[Mapping[str, Fraction], ...] = ()

    @property
    def is_complete(self) -> bool:
        """Whether every unknown is determined."""
        return not (self.spread or self.conflicts or self.unsettled)


# ---------------------------------------------------------------- from observations to conditions


def balance_of(observation: Observation, number: int = 0) -> Balance:
    """The relation that an observation states; `number` tells apart the signs that weren't noted.

    Raises `NotDriven` where the train doesn't tie what was seen to what was turned.
    """
    if isinstance(observation, Turning):
        return _of_turning(observation, number)
    return _of_cutting(observation)


def _of_turning(seen: Turning, number: int) -> Balance:
    rates = find_rates(seen.train, seen.drive, seen.turned, [seen.moved], seen.held)
    low, high = seen.through
    below = rates.below
    if not seen.is_signed:
        below = multiply(below, {((f"{SIGN}seen {number}", 1),): Fraction(1)})
    # moved = rate * turned
    return Balance(((*seen.by, rates.above[seen.moved]), (-high, -low, below)), rates.below)


def _of_cutting(cut: Cutting) -> Balance:
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


# ---------------------------------------------------------------- identification


def identify(
    domains: Mapping[str, Domain],
    signs: Sequence[str],
    balances: Sequence[Balance],
    thorough: bool = True,
    branches: int = WHOLE_ALLOWANCE,
) -> Identified:
    """What the `balances` (one an observation, in their order) say of the numbers and `signs`.

    `thorough` False leaves out what is known of undetermined unknowns together, and further examples of
    what they may be; `branches` is what the whole search may take.
    """
    allowance = Allowance(branches)
    conflicts = find_conflicts(domains, signs, balances, allowance)
    if conflicts:
        return _untouched(domains, signs, balances, conflicts, thorough, branches)
    values: dict[str, Fraction] = {}
    spread: dict[str, tuple[Fraction, ...]] = {}
    ties: list[Tie] = []
    unsettled: set[str] = set()
    examples: list[list[Mapping[str, Fraction]]] = []
    for search in searches(domains, signs, balances):
        part = _Part(search, allowance)
        part.look(thorough)
        values |= part.determined
        spread |= {name: tuple(sorted(part.found[name])) for name in part.open_names}
        unsettled |= part.unsettled
        examples.append(part.solutions)
        if thorough:
            ties += part.ties()
    ours = {*domains, *signs}
    if thorough and unsettled & ours and len(balances) > 1:
        # What fewer observations prove, one more doesn't take away, even where the search no longer comes to an end.
        before = _known_before(domains, signs, balances, unsettled & ours, branches)
        values |= before
        spread = {name: found for name, found in spread.items() if name not in before}
        unsettled -= before.keys()
    return Identified(
        {name: value for name, value in values.items() if name in ours},
        {name: found for name, found in spread.items() if name in ours},
        tuple(tie for tie in ties if {name for name, _ in tie.powers} <= ours),
        (),
        frozenset(unsettled & ours),
        tuple(_joined(examples)),
    )


def _untouched(
    domains: Mapping[str, Domain],
    signs: Sequence[str],
    balances: Sequence[Balance],
    conflicts: tuple[tuple[int, ...], ...],
    thorough: bool,
    branches: int,
) -> Identified:
    """What is known in spite of conflicts: of variables that none of the conflicting observations has a part in.

    An observation that shares a variable with one of them is left out too: it may be wrong as well.
    """
    accused = {number for group in conflicts for number in group}
    touched = {name for number in accused for name in balances[number].names}
    rest = [
        balance
        for number, balance in enumerate(balances)
        if number not in accused and not touched.intersection(balance.names)
    ]
    left = identify(
        {name: domain for name, domain in domains.items() if name not in touched},
        [name for name in signs if name not in touched],
        rest,
        thorough,
        branches,
    )
    blank = dict.fromkeys((name for name in (*domains, *signs) if name in touched), ())
    return Identified(
        left.values, {**left.spread, **blank}, left.ties, conflicts, left.unsettled, left.examples
    )


def _known_before(
    domains: Mapping[str, Domain],
    signs: Sequence[str],
    balances: Sequence[Balance],
    wanted: Set[str],
    branches: int,
) -> dict[str, Fraction]:
    """What the observations without the last ones determine of the `wanted` variables; all of them agree."""
    found: dict[str, Fraction] = {}
    for count in range(len(balances) - 1, 0, -1):
        fewer = identify(domains, signs, balances[:count], False, branches)
        found |= {name: fewer.values[name] for name in wanted if name in fewer.values}
        if not wanted & fewer.unsettled:
            break
    return found


def searches(
    domains: Mapping[str, Domain], signs: Sequence[str], balances: Sequence[Balance]
) -> list[Search]:
    """One search for each group of variables that conditions tie together, and for each that none ties."""
    known: dict[str, Fraction] = {}
    while True:
        conditions = _conditions([balance.put(known) for balance in balances], known, domains, signs)
        found = _by_component(domains, signs, conditions)
        # With one number known, terms of a balance may fall out against each other: put in, it tells more of the rest.
        forced = {name: value for search in found for name, value in search.forced().items()}
        if forced.keys() <= known.keys():
            return found
        known |= forced


def _conditions(
    balances: Sequence[Balance],
    known: Mapping[str, Fraction],
    domains: Mapping[str, Domain],
    signs: Sequence[str],
) -> list[Condition]:
    """All that the balances say, one by one and together, of variables some of which are `known`."""
    conditions: list[Condition] = [
        Parity((name,), int(value)) if is_sign(name) else Product(((name, 1),), value, value)
        for name, value in known.items()
    ]
    conditions += [condition for balance in balances for condition in conditions_of(balance)]
    # A sign that wasn't noted ties nothing to other observations: it has no part in the sums.
    conditions += linear_bounds([each for each in balances if not _has_unnoted(each, signs)], domains)
    conditions += combined([each for each in conditions if isinstance(each, Product)])
    return conditions + _following(conditions)


def _by_component(
    domains: Mapping[str, Domain], signs: Sequence[str], conditions: Sequence[Condition]
) -> list[Search]:
    names = list(dict.fromkeys((*domains, *signs, *(n for condition in conditions for n in condition.names))))
    graph: rx.PyGraph[str, None] = rx.PyGraph()
    nodes = {name: graph.add_node(name) for name in names}
    for condition in conditions:
        for name in condition.names[1:]:
            graph.add_edge(nodes[condition.names[0]], nodes[name], None)
    found = []
    for component in rx.connected_components(graph):
        members = {graph[node] for node in component}
        found.append(
            Search(
                {name: domains[name] for name in domains if name in members},
                tuple(name for name in names if name in members and is_sign(name)),
                tuple(each for each in conditions if members.intersection(each.names)),
            )
        )
    rest = tuple(condition for condition in conditions if not condition.names)
    return found + ([Search({}, (), rest)] if rest else [])


def _has_unnoted(balance: Balance, signs: Sequence[str]) -> bool:
    return any(is_sign(name) and name not in signs for name in balance.names)


def _following(conditions: Sequence[Condition]) -> list[Condition]:
    """What follows from the balances when the products and parities are put into them."""
    products = [each for each in conditions if isinstance(each, Product)]
    parities = [each for each in conditions if isinstance(each, Parity)]
    found = [
        condition
        for each in conditions
        if isinstance(each, Balance)
        for condition in merged(each, products, parities)
    ]
    more = [each for each in found if isinstance(each, Product)]
    return found + [each for each in combined(products + more) if more]


def can_hold(
    domains: Mapping[str, Domain], signs: Sequence[str], balances: Sequence[Balance], allowance: Allowance
) -> bool:
    """Whether some values satisfy the balances, or the search doesn't prove that none do."""
    return all(_may_hold(search, allowance) for search in searches(domains, signs, balances))


def _may_hold(search: Search, allowance: Allowance) -> bool:
    try:
        return _spending(search, allowance) is not None
    except OutOfAllowance:
        return True


def _spending(
    search: Search, allowance: Allowance, most: int = SEARCH_ALLOWANCE
) -> dict[str, Fraction] | None:
    """A solution within what one search may take of the whole allowance. Raises `OutOfAllowance`."""
    given = min(most, allowance.left)
    own = Allowance(given)
    try:
        return search.solution(own)
    finally:
        allowance.left -= given - own.left


def find_conflicts(
    domains: Mapping[str, Domain], signs: Sequence[str], balances: Sequence[Balance], allowance: Allowance
) -> tuple[tuple[int, ...], ...]:
    """Groups of balances, by number, none of which can hold together; each as small as can be, no two sharing one."""
    left = list(range(len(balances)))
    conflicts: list[tuple[int, ...]] = []

    def fits(numbers: Sequence[int]) -> bool:
        return can_hold(domains, signs, [balances[number] for number in numbers], allowance)

    while left and not fits(left):
        group = list(left)
        for number in left:
            fewer = [each for each in group if each != number]
            if not fits(fewer):
                group = fewer
        if not group:
            break
        conflicts.append(tuple(group))
        left = [number for number in left if number not in group]
    return tuple(conflicts)


@dataclass
class _Part:
    """A group of variables tied together, and what is found out about it."""

    search: Search
    allowance: Allowance
    determined: dict[str, Fraction] = field(default_factory=dict)
    found: dict[str, set[Fraction]] = field(default_factory=dict)
    unsettled: set[str] = field(default_factory=set)
    solutions: list[Mapping[str, Fraction]] = field(default_factory=list)

    @property
    def names(self) -> list[str]:
        return [*self.search.domains, *self.search.signs]

    @property
    def open_names(self) -> list[str]:
        return [name for name in self.names if name not in self.determined]

    def look(self, thorough: bool) -> None:
        """For each variable: a solution with another value, or the proof that there is none."""
        try:
            first = _spending(self.search, self.allowance)
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
                other = _spending(self.search.but(name, value), self.allowance)
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
                example = _spending(search, self.allowance, EXAMPLE_ALLOWANCE)
            except OutOfAllowance:
                continue
            if example is not None:
                self._keep(example)
                return

    def ties(self) -> list[Tie]:
        """What is known of the undetermined variables together: products of numbers, and of senses two by two."""
        return [*self._number_ties(), *self._sense_ties()]

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
                if _spending(self.search.with_condition(Product(term, low, high)), self.allowance):
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
            return _spending(self.search.with_condition(Parity(tuple(signs), -sign)), self.allowance) is None
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


def _joined(parts: Sequence[Sequence[Mapping[str, Fraction]]]) -> list[Mapping[str, Fraction]]:
    """Whole answers out of answers for each group: each group's answers once at least."""
    if not all(parts):
        return []
    most = max((len(part) for part in parts), default=0)
    return [
        {name: value for part in parts for name, value in part[min(rank, len(part) - 1)].items()}
        for rank in range(min(most, MOST_EXAMPLES))
    ]
