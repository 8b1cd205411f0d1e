"""Time to solve a train, against sympy's exact nullspace of the same train.

Run with ``python tests/benchmarks/solver.py [TRAINS]``. Trains come from the tests' own strategies, by
size; both sides start from the train and end at every part's rate, and must agree.
"""

import random
import statistics
import sys
import time
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from typing import TypeVar

sys.path.insert(0, str(Path(__file__).parents[1]))

import nullspace
import strategies
from handlead.kinematics.train.elimination import reduce_relations
from handlead.kinematics.train.solution import Solution, held_relations, link_relations, solve
from handlead.kinematics.train.train import Train
from hypothesis import HealthCheck, Phase, given, seed, settings

T = TypeVar("T")
SIZES = {"up to 12 shafts": (12, 2), "up to 30 shafts": (30, 3), "up to 60 shafts": (60, 5)}


def draw_trains(count: int, shafts: int, loops: int) -> list[Train]:
    """Random trains of at least half the size asked for."""
    found: list[Train] = []

    @seed(20)
    @settings(
        max_examples=4 * count, database=None, deadline=None,
        phases=[Phase.generate], suppress_health_check=list(HealthCheck),
    )  # fmt: skip
    @given(strategies.trains(max_shafts=shafts, max_loops=loops))
    def keep(train: Train) -> None:
        found.append(train)

    keep()
    large = [train for train in found if 2 * len(train.shafts) >= shafts]
    return random.Random(20).sample(large, min(count, len(large)))


def seconds(action: Callable[[], T]) -> tuple[float, T]:
    """Processor time of the action, the best of three, and its result."""
    times = []
    for _ in range(3):
        before = time.process_time()
        result = action()
        times.append(time.process_time() - before)
    return min(times), result


def rates_alone(train: Train) -> None:
    """Freedom and rates as `solve` finds them, without lock and flow: what sympy's side does."""
    links = [relation for _, relation in link_relations(train)]
    held = [relation for _, relation in held_relations(train, "drive 0")]
    shaft = train.drives["drive 0"].shaft
    reduce_relations(train.parts, links)
    expressions = reduce_relations(train.parts, links + held, keep=(shaft,))
    if expressions.of[shaft]:
        for part in train.parts:
            expressions.value(part, {shaft: Fraction(1)})


def compare(train: Train) -> tuple[float, float, float, Solution]:
    """Seconds of ours, of our rates alone, and of sympy, and the solution.

    Raises `RuntimeError` where the two differ.
    """
    ours, solution = seconds(lambda: solve(train, "drive 0"))
    alone, _ = seconds(lambda: rates_alone(train))
    theirs, answer = seconds(lambda: nullspace.answer(train, "drive 0"))
    if dict(solution.rates) != answer.rates or solution.freedom != answer.freedom:
        raise RuntimeError(f"the two disagree on {train}")
    return ours, alone, theirs, solution


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 40
    print(f"{'train':<16}{'trains':>8}{'locked':>8}{'solve ms':>10}{'rates ms':>10}{'sympy ms':>10}", end="")
    print(f"{'sympy/solve':>13}{'sympy/rates':>13}")
    for name, (shafts, loops) in SIZES.items():
        rows = [compare(train) for train in draw_trains(count, shafts, loops)]
        times = "".join(f"{statistics.median(row[side] for row in rows) * 1000:>10.2f}" for side in range(3))
        whole, alone = (statistics.median(row[2] / row[side] for row in rows) for side in (0, 1))
        locked = sum(row[3].is_locked for row in rows)
        print(f"{name:<16}{len(rows):>8}{locked:>8}{times}{whole:>13.1f}{alone:>13.1f}")
    print(
        "Medians. `solve` also names the lock and follows the power; `rates` and sympy stop at rates and freedom."
    )
    print("sympy's side is its fast sparse exact matrix (DomainMatrix over QQ).")


if __name__ == "__main__":
    main()
