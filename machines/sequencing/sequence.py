"""The order in which jobs follow one another, and the choice taken for each, so that changing over costs least.

Up to `MOST_PROVED` jobs every order is reckoned with (dynamic programming over sets of jobs, R. Bellman and M. Held
with R. Karp, 1962, from memory); beyond that a good order is sought, and a bound says how far off the best may be: what
it costs at least that every job follows another one, sub-tours shut out (G. Dantzig and others, 1954, from memory).
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from random import Random

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

#: Jobs up to which the order is proved best.
MOST_PROVED = 12

#: Orders tried with choices made anew beyond that, places to start from, rounds in which sub-tours are shut out.
_MOST_SWAPS, _MOST_STARTS, _MOST_CUTS = 4_000, 8, 25

#: Times that a good order is shaken and put right again; by chance, and always alike.
_SHAKES = 150

#: Costs that differ by less are alike.
_ALIKE = 1e-9


@dataclass(frozen=True)
class Route:
    """Jobs by their numbers, each with the number of its choice; what they cost, and the least that they could."""

    picks: tuple[tuple[int, int], ...]
    cost: float
    bound: float

    @property
    def is_proved(self) -> bool:
        """Whether no order costs less."""
        return self.cost <= self.bound + _ALIKE


@dataclass(frozen=True)
class Costs:
    """What changing over costs: `first[c]` from what stands now, `between[c, d]` from one choice to another.

    Choices of all jobs stand in one row; `of_job[c]` is the job that choice c is for.
    """

    first: Floats
    between: Floats
    of_job: npt.NDArray[np.int64]

    @property
    def jobs(self) -> int:
        """How many jobs there are."""
        return int(self.of_job.max()) + 1

    def choices(self, job: int) -> npt.NDArray[np.int64]:
        """The places of a job's choices."""
        return np.nonzero(self.of_job == job)[0]


def best_route(costs: Costs) -> Route:
    """The order and the choices that cost least, or as good ones as were found, with the bound."""
    if costs.jobs <= MOST_PROVED:
        places, cost = _every_order(costs)
        return _route(costs, places, cost, cost)
    jobs, bound = _good_order(costs), _bound(costs)
    places, cost = _choices_along(costs, jobs)
    return _route(costs, places, cost, min(bound, cost))


def _route(costs: Costs, places: Sequence[int], cost: float, bound: float) -> Route:
    picks = []
    for place in places:
        job = int(costs.of_job[place])
        picks.append((job, int(place - costs.choices(job)[0])))
    return Route(tuple(picks), cost, bound)


# ---------------------------------------------------------------- every order


def _every_order(costs: Costs) -> tuple[list[int], float]:
    """For every set of jobs and each choice of the last of them, the least cost of doing these first."""
    size, jobs = len(costs.first), costs.jobs
    bits = np.left_shift(1, costs.of_job)
    best = np.full((1 << jobs, size), np.inf)
    came = np.full((1 << jobs, size), -1, dtype=np.int64)
    for place in range(size):
        best[bits[place], place] = costs.first[place]
    for done in range(1, 1 << jobs):
        last = np.nonzero(np.isfinite(best[done]))[0]
        after = np.nonzero((bits & done) == 0)[0]
        if not len(last) or not len(after):
            continue
        through = best[done, last][:, None] + costs.between[np.ix_(last, after)]
        least = through.argmin(axis=0)
        sets = done | bits[after]
        best[sets, after] = through[least, np.arange(len(after))]
        came[sets, after] = last[least]
    everything = (1 << jobs) - 1
    place = int(best[everything].argmin())
    cost, places, done = float(best[everything, place]), [], everything
    while place >= 0:
        places.append(place)
        done, place = done & ~int(bits[place]), int(came[done, place])
    return places[::-1], cost


# ---------------------------------------------------------------- beyond


def _choices_along(costs: Costs, jobs: Sequence[int]) -> tuple[list[int], float]:
    """The best choices for jobs in a given order, and what they cost."""
    here = costs.choices(jobs[0])
    cost, came = costs.first[here], []
    for job in jobs[1:]:
        there = costs.choices(job)
        through = cost[:, None] + costs.between[np.ix_(here, there)]
        came.append((here, through.argmin(axis=0)))
        here, cost = there, through.min(axis=0)
    at = int(cost.argmin())
    total, places = float(cost[at]), [int(here[at])]
    for before, least in reversed(came):
        at = int(least[at])
        places.append(int(before[at]))
    return places[::-1], total


def _good_order(costs: Costs) -> list[int]:
    """An order that no move of a run of jobs to another place makes better, and hardly any other move."""
    least = _between_jobs(costs)
    starts = np.argsort(least[-1, :-1], kind="stable")[:_MOST_STARTS]
    found = [_settled(costs, _with_runs_moved(least, _nearest_after(least, int(first)))) for first in starts]
    return _shaken(costs, *_improved(costs, *min(found, key=lambda one: one[1])))


def _shaken(costs: Costs, order: list[int], cost: float) -> list[int]:
    """The order after two runs of it change places and it is settled again, many times: no move alone does that."""
    chance = Random(1)
    for _ in range(_SHAKES):
        one, two, three = sorted(chance.sample(range(1, len(order)), 3))
        tried = [*order[:one], *order[two:three], *order[one:two], *order[three:]]
        settled, other = _settled(costs, tried)
        if other <= cost + _ALIKE:
            order, cost = settled, other
    return order


def _nearest_after(least: Floats, first: int) -> list[int]:
    order, left = [first], set(range(len(least) - 1)) - {first}
    while left:
        order.append(min(left, key=lambda job: (least[order[-1], job], job)))
        left.discard(order[-1])
    return order


def _settled(costs: Costs, order: list[int]) -> tuple[list[int], float]:
    """Choices for the order, an order for the choices, and so on until neither gains any more."""
    places, cost = _choices_along(costs, order)
    while True:
        chosen = {int(costs.of_job[place]): place for place in places}
        at = [chosen[job] for job in range(costs.jobs)]
        between = np.zeros((costs.jobs + 1, costs.jobs + 1))
        between[:-1, :-1] = costs.between[np.ix_(at, at)]
        between[-1, :-1] = costs.first[at]
        tried = _with_runs_moved(between, order)
        places, less = _choices_along(costs, tried)
        if less >= cost - _ALIKE:
            return order, cost
        order, cost = tried, less


def _with_runs_moved(between: Floats, order: list[int]) -> list[int]:
    """The order after every move of a run of jobs that gains; the last row is from now, and the end is free."""
    size, end = len(order), len(order)
    moved = True
    while moved:
        moved = False
        for length, at in itertools.product(range(1, size // 2 + 1), range(size)):
            if at + length > size:
                continue
            run, rest = order[at : at + length], order[:at] + order[at + length :]
            to = _best_gap(between, run, rest, at, end)
            if to is not None:
                order, moved = rest[:to] + run + rest[to:], True
    return order


def _best_gap(between: Floats, run: list[int], rest: list[int], at: int, end: int) -> int | None:
    """Where in the rest a run costs least, if that gains on where it stood."""
    before = np.array([end, *rest])
    after = np.array([*rest, end])
    closed = np.append(between[before[:-1], after[:-1]], 0.0)
    out = np.append(between[run[-1], after[:-1]], 0.0)
    added = between[before, run[0]] + out - closed
    to = int(added.argmin())
    return to if added[to] < added[at] - _ALIKE else None


def _improved(costs: Costs, order: list[int], cost: float) -> tuple[list[int], float]:
    """The order after moves that gain once choices are made anew, as many as are tried."""
    tries, better = 0, True
    while better:
        better = False
        for tried in _neighbours(order):
            tries += 1
            other = _choices_along(costs, tried)[1]
            if other < cost - _ALIKE:
                order, cost, better = tried, other, True
                break
            if tries >= _MOST_SWAPS:
                return order, cost
    return order, cost


def _neighbours(order: list[int]) -> list[list[int]]:
    """The orders with one or two jobs put elsewhere, and with a run of jobs turned round."""
    size, found = len(order), []
    for length in (1, 2):
        for at in range(size - length + 1):
            run, rest = order[at : at + length], order[:at] + order[at + length :]
            found += [rest[:to] + run + rest[to:] for to in range(len(rest) + 1) if to != at]
    for first, last in itertools.combinations(range(size), 2):
        if last - first > 1:
            found.append(order[:first] + order[first : last + 1][::-1] + order[last + 1 :])
    return found


def _between_jobs(costs: Costs) -> Floats:
    """The least that it costs to go from one job to another, whatever their choices; the last row is from now."""
    jobs = costs.jobs
    least = np.full((jobs + 1, jobs + 1), np.inf)
    places = [costs.choices(job) for job in range(jobs)]
    for one, other in itertools.permutations(range(jobs), 2):
        least[one, other] = costs.between[np.ix_(places[one], places[other])].min()
    for job in range(jobs):
        least[jobs, job] = costs.first[places[job]].min()
        least[job, jobs] = 0.0  # after the last one nothing is changed
    return least


def _bound(costs: Costs) -> float:
    """The least cost at which every job follows another, found with sub-tours shut out as far as they show."""
    from scipy.optimize import linprog
    from scipy.sparse import csr_array

    least = _between_jobs(costs)
    size = len(least)
    ways = [(one, other) for one, other in itertools.permutations(range(size), 2)]
    cost = np.array([least[way] for way in ways])
    leaving = csr_array(
        (np.ones(len(ways)), ([one for one, _ in ways], range(len(ways)))), shape=(size, len(ways))
    )
    coming = csr_array(
        (np.ones(len(ways)), ([other for _, other in ways], range(len(ways)))), shape=(size, len(ways))
    )
    from scipy.sparse import vstack

    once = vstack([leaving, coming])
    cuts: list[Floats] = []
    bound = 0.0
    for _ in range(_MOST_CUTS):
        limits = {"A_ub": np.array(cuts), "b_ub": -np.ones(len(cuts))} if cuts else {}
        found = linprog(cost, A_eq=once, b_eq=np.ones(2 * size), bounds=(0, 1), method="highs", **limits)
        if found.x is None:
            break
        bound = float(found.fun)
        parts = _parts(size, [way for way, much in zip(ways, found.x, strict=True) if much > 1e-6])
        if len(parts) < 2:
            break
        # Out of every part some way must lead.
        cuts += [
            np.array([-float(one in part and other not in part) for one, other in ways]) for part in parts
        ]
    return bound


def _parts(size: int, ways: Sequence[tuple[int, int]]) -> list[frozenset[int]]:
    """The sets of jobs that ways join."""
    home = list(range(size))

    def root(one: int) -> int:
        while home[one] != one:
            one = home[one]
        return one

    for one, other in ways:
        home[root(one)] = root(other)
    parts: dict[int, set[int]] = {}
    for one in range(size):
        parts.setdefault(root(one), set()).add(one)
    return [frozenset(part) for part in parts.values()]
