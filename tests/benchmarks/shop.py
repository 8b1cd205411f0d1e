"""A shop's questions timed, and held against full enumeration on small random shops.

Run it as ``python tests/benchmarks/shop.py [SHOPS] [ORDERS]``. Printed: how often integer programs and dynamic programs
agree with going through everything; what a plan in a survey costs beside `plan` alone, with one worker and with two;
and how memory grows with the number of orders. Nothing is asserted.
"""

from __future__ import annotations

import resource
import sys
import time
from contextlib import suppress
from pathlib import Path
from random import Random

sys.path.insert(0, str(Path(__file__).parents[1]))

from handlead import machines
from handlead.machines.planning.planning import plan
from handlead.machines.shop.cover import fewest_gears
from handlead.machines.shop.crew import processes
from handlead.machines.shop.survey import survey
from random_shops import as_ways, enumerated, fewest_for, random_drawer, random_orders

ROOT = Path(__file__).parents[2]


def right_orders() -> list[machines.Job]:
    """The orders that ship and go right."""
    return [
        machines.read_job(path)
        for path in sorted(ROOT.glob("scenarios/[01]*/*.toml"))
        if '"job/1"' in path.read_text(encoding="utf-8")
    ]


def of_gears(shops: int) -> None:
    """The fewest gears, and the most orders, against every choice of gears."""
    agree = {"fewest": 0, "most": 0, "brackets": 0}
    begun = time.perf_counter()
    for seed in range(shops):
        orders = random_orders(Random(seed))
        fewest, _ = enumerated(orders, None)
        found = fewest_gears(orders)
        assert found is not None
        agree["fewest"] += found.bound == fewest if fewest is not None else found.bound > 5
        some = fewest_gears(orders, seed % 4)
        agree["most"] += some is not None and len(some.ways) == enumerated(orders, seed % 4)[1]
        owned, obtainable, places = random_drawer(Random(seed))
        filled, least = fewest_gears(as_ways(owned, obtainable, places)), fewest_for(owned, obtainable, places, 2)
        agree["brackets"] += (filled is None or filled.bound > 2) if least is None else filled is not None and filled.bound == least
    said = ", ".join(f"{name} {count}" for name, count in agree.items())
    print(f"gears to get: of {shops} shops agree with enumeration: {said} ({time.perf_counter() - begun:.0f} s)")


def of_survey(orders: int) -> None:
    """A survey of the right orders on all machines, by one worker and by two, beside plans alone."""
    jobs = right_orders()
    every = [machines.find_machine(name) for name in machines.shipped_machines()]
    begun = time.perf_counter()
    for machine in every:
        for job in jobs:
            with suppress(machines.HandleadError):
                plan(job, machine, top=1)
    alone = time.perf_counter() - begun
    took = {}
    for workers in (1, 2):
        with processes(workers) as crew:
            survey(jobs[:2], every[:1], executor=crew)  # start-up is not what is timed
            begun = time.perf_counter()
            survey(jobs, every, executor=crew)
            took[workers] = time.perf_counter() - begun
    plans = len(jobs) * len(every)
    print(f"survey: {plans} plans, {1000 * alone / plans:.0f} ms each alone, {1000 * took[1] / plans:.0f} ms in a survey; "
          f"two workers {took[1] / took[2]:.2f} times as quick as one")  # fmt: skip
    if orders:
        many = [jobs[at % len(jobs)] for at in range(orders)]
        with processes(2) as crew:
            for part in (orders // 4, orders):
                begun = time.perf_counter()
                survey(many[:part], every, executor=crew)
                each = 1000 * (time.perf_counter() - begun) / (part * len(every))
                peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
                print(f"  {part} orders: {each:.0f} ms a plan, {peak} MB at most so far")


if __name__ == "__main__":
    of_gears(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
    of_survey(int(sys.argv[2]) if len(sys.argv) > 2 else 0)
