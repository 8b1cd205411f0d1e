"""Unknown numbers and senses of a machine, recovered from what was counted on it.

Each observation ties the unknowns by one exact relation with bounds. An unknown is determined where one value of its
domain alone satisfies all of them; that is proved by search, and where the search isn't finished nothing is claimed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass, field, replace
from fractions import Fraction

from handlead.kinematics.narrowing.allowance import Allowance
from handlead.kinematics.narrowing.conditions import Balance
from handlead.kinematics.narrowing.domains import Domain

from .groups import find_conflicts, searches
from .settling import MOST_EXAMPLES, Group, Tie

#: Branches that all searches together may take.
WHOLE_ALLOWANCE = 20_000


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
    groups = [Group(search, allowance) for search in searches(domains, signs, balances)]
    for group in groups:
        group.look(thorough)
    found = _told(groups, {*domains, *signs})
    if not thorough or not found.unsettled or len(balances) < 2:
        return found
    # What fewer observations prove, one more doesn't take away, even where the search no longer comes to an end.
    before = _known_before(domains, signs, balances, found.unsettled, branches)
    return replace(
        found,
        values={**found.values, **before},
        spread={name: values for name, values in found.spread.items() if name not in before},
        unsettled=found.unsettled - before.keys(),
    )


def _told(groups: Sequence[Group], ours: Set[str]) -> Identified:
    """What the groups have come to, as far as it is of `ours`: signs that weren't noted are nobody's."""
    open_ones = ((name, group.found[name]) for group in groups for name in group.open_names)
    ties = (tie for group in groups for tie in group.ties)
    return Identified(
        {name: value for group in groups for name, value in group.determined.items() if name in ours},
        {name: tuple(sorted(values)) for name, values in open_ones if name in ours},
        tuple(tie for tie in ties if {name for name, _ in tie.powers} <= ours),
        (),
        frozenset(name for group in groups for name in group.unsettled if name in ours),
        tuple(_joined([group.solutions for group in groups])),
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


def _joined(parts: Sequence[Sequence[Mapping[str, Fraction]]]) -> list[Mapping[str, Fraction]]:
    """Whole answers out of answers for each group: each group's answers once at least."""
    if not all(parts):
        return []
    most = max((len(part) for part in parts), default=0)
    return [
        {name: value for part in parts for name, value in part[min(rank, len(part) - 1)].items()}
        for rank in range(min(most, MOST_EXAMPLES))
    ]
