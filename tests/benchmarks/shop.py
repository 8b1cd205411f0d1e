"""A shop's questions timed, and held against full enumeration on small random shops.

Run it as ``python tests/benchmarks/shop.py [SHOPS] [ORDERS]``. Printed: how often integer programs and dynamic programs
agree with going through everything; what a plan in a survey costs beside `plan` alone, with one worker and with two;
and how memory grows with the number of orders. Nothing is asserted.
"""

from __future__ import annotations

import multiprocessing
import resource
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from contextlib import suppress
from pathlib import Path
from random import Random

sys.path.insert(0, str(Path(__file__).parents[1]))

from handlead import machines
from handlead.machines.buying.buying import gears_to_buy
from handlead.machines.buying.cover import fewest_gears
from handlead.machines.planning.planning import plan
from handlead.machines.sequencing.day import order_of_the_day
from handlead.machines.sequencing.sequence import best_route
from handlead.machines.shop.crew import processes
from handlead.machines.shop.survey import CAN, survey
from handlead.machines.studying.study import study
from random_shops import as_ways, cheapest, enumerated, fewest_for, random_costs, random_drawer, random_orders

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


def seconds_of_survey(workers: int) -> float:
    """How long a survey of the right orders on all shipped machines takes, start-up left out."""
    jobs = right_orders()
    every = [machines.find_machine(name) for name in machines.shipped_machines()]
    with processes(workers) as crew:
        survey(jobs[:2], every[:1], executor=crew)
        begun = time.perf_counter()
        survey(jobs, every, executor=crew)
        return time.perf_counter() - begun


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
        # Each in a process of its own: what the plans above have left in this one's memory would help one worker only.
        with ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn")) as fresh:
            took[workers] = fresh.submit(seconds_of_survey, workers).result()
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


def of_order(shops: int) -> None:
    """The order of the day against every order and every choice, and how far off forty jobs may be."""
    begun, agree, near = time.perf_counter(), 0, 0
    for seed in range(shops):
        costs = random_costs(Random(seed), 2 + seed % 4)
        agree += best_route(costs).cost == cheapest(costs)
    print(f"order of the day: of {shops} shops agree with enumeration: {agree} ({time.perf_counter() - begun:.0f} s)")
    for seed in range(3):
        begun = time.perf_counter()
        route = best_route(random_costs(Random(seed), 40))
        took = time.perf_counter() - begun
        near = route.cost / route.bound - 1 if route.bound else 0.0
        print(f"  40 jobs of chance: {route.cost:.0f} min, at least {route.bound:.1f} ({near:.0%} off at most), {took:.0f} s")


def forty() -> list[machines.Job]:
    """Forty spur wheels of small teeth on the machine without a differential, many of prime counts."""
    text = (ROOT / "scenarios/90-months-pile/pile/10-prompt-bell.toml").read_text(encoding="utf-8")
    hob = '[hob]\nmodule = 1\nstarts = 1\nhand = "right"\ndiameter = 50\ngashes = 12\n'
    found = []
    for teeth in range(80, 120):
        one = text.replace("teeth  = 60", f"teeth = {teeth}").replace('hob     = "hob 1"\n', "")
        found.append(machines.read_job_text(f"{one}\n{hob}", f"z{teeth}.toml"))
    return found


def of_forty() -> None:
    """Gears to get and the order of the day for forty orders."""
    jobs = forty()
    with processes(2) as crew:
        begun = time.perf_counter()
        found = gears_to_buy(jobs, executor=crew)
        print(f"40 orders: {found.number} gears to get, at least {found.bound}, proved {found.proved}, "
              f"{found.plans} plans, {time.perf_counter() - begun:.0f} s")  # fmt: skip
        begun = time.perf_counter()
        can = [job for job in jobs if job.path in {row.job for row in survey(jobs, executor=crew).rows if row.status == CAN}]
        (day,) = order_of_the_day([(job, job.machine) for job in can], executor=crew)
        print(f"  {len(can)} of them in order: {float(day.minutes):.0f} min, at least {day.bound:.0f}, as given "
              f"{float(day.as_given):.0f}; index gears moved {day.moved('index gears')}; "
              f"{time.perf_counter() - begun:.0f} s")  # fmt: skip


def of_study() -> None:
    """Ten thousand draws without a flank."""
    job = machines.read_job(ROOT / "scenarios/01-fly-winch-pair/wheel.toml")
    for workers in (1, 2):
        with processes(workers) as crew:
            study(job, 500, executor=crew)
            begun = time.perf_counter()
            study(job, 10_000, executor=crew)
            print(f"study: 10,000 draws with {workers} workers in {time.perf_counter() - begun:.1f} s")


if __name__ == "__main__":
    shops = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    of_gears(shops)
    of_order(shops)
    of_forty()
    of_study()
    of_survey(int(sys.argv[2]) if len(sys.argv) > 2 else 0)
