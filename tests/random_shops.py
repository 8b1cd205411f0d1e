"""Small random shops, and full enumeration of what integer programs and dynamic programs say of them."""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Sequence
from fractions import Fraction
from random import Random

import numpy as np
from handlead.kinematics.together.together import BracketPlace
from handlead.machines.buying.cover import CuttingWay
from handlead.machines.members.lacking import lacking
from handlead.machines.sequencing.sequence import Costs


def random_orders(random: Random) -> list[list[CuttingWay]]:
    """Orders with one or two ways, of one or two stages, of one or two brackets each, out of seven gears."""

    def choice() -> tuple[int, ...]:
        return tuple(sorted(random.choices(range(7), k=random.choice((1, 1, 2)))))

    def stage() -> tuple[tuple[tuple[int, ...], ...], ...]:
        return tuple(
            tuple({choice() for _ in range(random.randint(1, 3))}) for _ in range(random.randint(1, 2))
        )

    def way() -> CuttingWay:
        tried = frozenset(Counter(random.sample(range(7), 2)).items())
        stages = tuple(stage() for _ in range(random.randint(1, 2)))
        return CuttingWay(stages, (tried,) if random.random() < 0.3 else ())

    return [[way() for _ in range(random.randint(1, 2))] for _ in range(random.randint(1, 4))]


def serves(way: CuttingWay, got: Counter[int]) -> bool:
    """Whether these gears will do for the way, every combination of choices gone through."""
    if any(all(count <= dict(tried).get(gear, 0) for gear, count in got.items()) for tried in way.tried):
        return False
    return all(
        any(sum((Counter(one) for one in chosen), Counter()) <= got for chosen in itertools.product(*stage))
        for stage in way.stages
    )


def all_gears(kinds: Sequence[int], most: int) -> list[Counter[int]]:
    """Every choice of at most so many gears, each kind up to four times."""
    return [
        Counter(each)
        for count in range(most + 1)
        for each in itertools.combinations_with_replacement(kinds, count)
    ]


def enumerated(orders: Sequence[Sequence[CuttingWay]], most: int | None) -> tuple[int | None, int]:
    """The fewest gears that serve all, None if five don't; or the orders that at most so many gears serve."""
    best = 0
    for got in all_gears(range(7), 5 if most is None else most):
        served = sum(any(serves(way, got) for way in ways) for ways in orders)
        best = max(best, served)
        if most is None and served == len(orders):
            return got.total(), served
    return None, best


def random_drawer(random: Random) -> tuple[list[int], list[int], list[BracketPlace]]:
    """A drawer of a few gears, a few that can be got, and orders that each ask one bracket for an exact ratio."""
    owned = [random.randint(20, 30) for _ in range(random.randint(3, 5))]
    obtainable = random.sample(range(20, 40), 6)
    teeth = [*owned, *obtainable]
    places = [
        BracketPlace("index", Fraction(random.choice(teeth) * random.choice(teeth), random.choice(teeth) * random.choice(teeth)), exact=True)
        for _ in range(random.randint(2, 4))
    ]  # fmt: skip
    return owned, obtainable, places


def can_fill(place: BracketPlace, gears: Sequence[int]) -> bool:
    """Whether a bracket can be filled from these gears, every order of two or four of them gone through."""
    return any(
        (Fraction(a, b) if len(rest) == 0 else Fraction(a * rest[0], b * rest[1])) == place.target
        for count in (2, 4)
        for a, b, *rest in set(itertools.permutations(gears, count))
    )


def fewest_for(
    owned: Sequence[int], obtainable: Sequence[int], places: Sequence[BracketPlace], most: int
) -> int | None:
    """The fewest gears with which every bracket can be filled, every choice gone through; None if so many don't do."""
    twice = [each for each in obtainable for _ in range(2)]
    for count in range(most + 1):
        for more in set(itertools.combinations(sorted(twice), count)):
            if all(can_fill(place, (*owned, *more)) for place in places):
                return count
    return None


def as_ways(
    owned: Sequence[int], obtainable: Sequence[int], places: Sequence[BracketPlace]
) -> list[list[CuttingWay]]:
    """The same as the integer program takes it."""
    choices = [lacking(place, Counter(owned), obtainable) for place in places]
    return [[CuttingWay(((one,),))] if one else [] for one in choices]


def random_costs(random: Random, jobs: int) -> Costs:
    """Costs of changing over between jobs of one to three choices, in whole minutes."""
    of_job = np.array([job for job in range(jobs) for _ in range(random.randint(1, 3))])
    size = len(of_job)
    first = np.array([random.randint(0, 20) for _ in range(size)], float)
    between = np.array([[random.randint(0, 20) for _ in range(size)] for _ in range(size)], float)
    return Costs(first, between, of_job)


def cheapest(costs: Costs) -> float:
    """What the cheapest order costs, every order and every choice gone through."""
    best = float("inf")
    for order in itertools.permutations(range(costs.jobs)):
        for places in itertools.product(*(costs.choices(job) for job in order)):
            steps = sum(costs.between[one, other] for one, other in itertools.pairwise(places))
            best = min(best, float(costs.first[places[0]] + steps))
    return best
