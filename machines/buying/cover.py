"""The fewest gears that serve every order, or the most orders that so many gears serve, by integer programming.

An order can be cut in one of several ways; a way has stages, one after the other, and each stage brackets, each of
which does with one of several choices of gears besides those that are there. A gear that is got serves every stage of
every order, and in one stage one bracket at a time. Solved by HiGHS, as scipy has it.
"""

from __future__ import annotations

import itertools
import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

Gear = Any
"""Whatever tells one gear from another."""

Choice = tuple[Gear, ...]
"""Gears that are got for one bracket, a gear twice if two are wanted."""

Stage = tuple[tuple[Choice, ...], ...]
"""What is set at one time: the choices of each bracket."""

#: Branches that the integer program may open; beyond them the answer comes with its bound.
_MOST_BRANCHES = 20_000

#: What a gear more costs beside an order more: so little that no number of gears outweighs an order.
_LITTLE = 1e-4


@dataclass(frozen=True)
class CuttingWay:
    """A way to cut an order: its stages, and the gears with which it was tried in vain.

    `tried` holds what was at hand each time, as (gear, how many): the way takes something more than that.
    """

    stages: tuple[Stage, ...]
    tried: tuple[frozenset[tuple[Gear, int]], ...] = ()


@dataclass(frozen=True)
class Got:
    """What the program came to: the gears, which orders they serve and in which way, and the bound.

    `bound` is the least number of gears that could do or, where so many gears were given, the most orders that could
    be served; the answer is proved where it comes to that.
    """

    gears: Mapping[Gear, int]
    ways: Mapping[int, int]
    bound: int
    proved: bool


@dataclass
class _Program:
    """The integer program while it is written down: costs and rows of variables, all of them 0 or 1."""

    costs: list[float] = field(default_factory=list)
    rows: list[dict[int, float]] = field(default_factory=list)
    low: list[float] = field(default_factory=list)
    high: list[float] = field(default_factory=list)

    def variable(self, cost: float = 0.0) -> int:
        self.costs.append(cost)
        return len(self.costs) - 1

    def row(self, terms: Mapping[int, float], low: float, high: float) -> None:
        self.rows.append(dict(terms))
        self.low.append(low)
        self.high.append(high)

    def solve(self) -> tuple[list[int], float, bool] | None:
        """The values, the bound on the cost, and whether that was reached; None where nothing does."""
        import numpy as np
        from scipy.optimize import Bounds, LinearConstraint, milp
        from scipy.sparse import csr_array

        entries = [(at, column, value) for at, row in enumerate(self.rows) for column, value in row.items()]
        ats, columns, values = zip(*entries, strict=True)
        matrix = csr_array((values, (ats, columns)), shape=(len(self.rows), len(self.costs)))
        # Gaps are relative to the cost: a least cost of thousands must still be told from one more.
        found = milp(
            np.array(self.costs),
            constraints=LinearConstraint(matrix, np.array(self.low), np.array(self.high)),
            integrality=np.ones(len(self.costs)),
            bounds=Bounds(0, 1),
            options={"node_limit": _MOST_BRANCHES, "mip_rel_gap": 0.0},
        )
        if found.x is None:
            return None
        return [round(value) for value in found.x], float(found.mip_dual_bound), found.status == 0


def fewest_gears(orders: Sequence[Sequence[CuttingWay]], most: int | None = None) -> Got | None:
    """The fewest gears with which every order has a way, or with `most` gears at most the most orders.

    None where an order has no way at all, and no number is given.
    """
    if most is None and not all(orders):
        return None
    if not any(orders):
        return Got({}, {}, 0, True)
    program = _Program()
    cost = 1.0 if most is None else _LITTLE
    got = {gear: [program.variable(cost) for _ in range(count)] for gear, count in _copies(orders).items()}
    for each in got.values():
        for one, more in itertools.pairwise(each):
            program.row({one: 1, more: -1}, 0, 1)
    taken: dict[tuple[int, int], int] = {}
    for number, ways in enumerate(orders):
        for at, way in enumerate(ways):
            taken[number, at] = program.variable(0.0 if most is None else -1.0)
            _write_way(program, way, taken[number, at], got)
        mine = {taken[number, at]: 1.0 for at in range(len(ways))}
        program.row(mine, 1 if most is None else 0, 1)
    if most is not None:
        program.row({one: 1.0 for each in got.values() for one in each}, 0, most)
    solved = program.solve()
    if solved is None:
        return None
    values, least, proved = solved
    gears = {gear: count for gear, each in got.items() if (count := sum(values[one] for one in each))}
    chosen = {number: at for (number, at), variable in taken.items() if values[variable]}
    return Got(gears, chosen, _whole(least, most), proved)


def _whole(cost: float, most: int | None) -> int:
    """The bound on the cost as a whole number of gears or, where those are given, of orders."""
    return math.ceil(cost - 1e-6) if most is None else math.floor(-cost + 0.5)


def _copies(orders: Sequence[Sequence[CuttingWay]]) -> Mapping[Gear, int]:
    """How many of each gear may be wanted at once: the most that the brackets of one stage ask for."""
    most: Counter[Gear] = Counter()
    for stage in (stage for ways in orders for way in ways for stage in way.stages):
        of_stage: Counter[Gear] = Counter()
        for choices in stage:
            wanted: Counter[Gear] = Counter()
            for choice in choices:
                wanted |= Counter(choice)
            of_stage += wanted
        most |= of_stage
    return most


def _write_way(program: _Program, way: CuttingWay, taken: int, got: Mapping[Gear, Sequence[int]]) -> None:
    """A way that is taken has a choice for each bracket, and at each stage the gears for all of them together."""
    for stage in way.stages:
        used: dict[Gear, dict[int, float]] = {}
        for choices in stage:
            picks = {program.variable(): choice for choice in choices}
            program.row({**dict.fromkeys(picks, 1.0), taken: -1.0}, 0, 0)
            for pick, choice in picks.items():
                for gear, count in Counter(choice).items():
                    used.setdefault(gear, {})[pick] = count
        for gear, picks_of in used.items():
            program.row({**picks_of, **dict.fromkeys(got[gear], -1.0)}, -len(got[gear]), 0)
    for tried in way.tried:
        more = _beyond(dict(tried), got)
        program.row({taken: 1.0, **dict.fromkeys(more, -1.0)}, -len(more), 0)


def _beyond(tried: Mapping[Gear, int], got: Mapping[Gear, Sequence[int]]) -> list[int]:
    """The variables of all gears besides those that were at hand."""
    return [one for gear, each in got.items() for one in each[tried.get(gear, 0) :]]
