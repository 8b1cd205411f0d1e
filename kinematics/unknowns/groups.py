"""Unknowns that conditions tie together, each group searched by itself; and observations that can't all be right."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction

import rustworkx as rx
from handlead.kinematics.narrowing.allowance import Allowance, OutOfAllowance
from handlead.kinematics.narrowing.conditions import (
    Balance,
    Condition,
    Parity,
    Product,
    combined,
    conditions_of,
    merged,
)
from handlead.kinematics.narrowing.domains import Domain
from handlead.kinematics.narrowing.linear_bounds import linear_bounds
from handlead.kinematics.narrowing.narrowing import Narrowing
from handlead.kinematics.transfer.polynomials import is_sign

#: Branches that one search may take of what all may.
SEARCH_ALLOWANCE = 4_000


def searches(
    domains: Mapping[str, Domain], signs: Sequence[str], balances: Sequence[Balance]
) -> list[Narrowing]:
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
) -> list[Narrowing]:
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
            Narrowing(
                {name: domains[name] for name in domains if name in members},
                tuple(name for name in names if name in members and is_sign(name)),
                tuple(each for each in conditions if members.intersection(each.names)),
            )
        )
    rest = tuple(condition for condition in conditions if not condition.names)
    return found + ([Narrowing({}, (), rest)] if rest else [])


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


def _may_hold(search: Narrowing, allowance: Allowance) -> bool:
    try:
        return spending(search, allowance) is not None
    except OutOfAllowance:
        return True


def spending(
    search: Narrowing, allowance: Allowance, most: int = SEARCH_ALLOWANCE
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
