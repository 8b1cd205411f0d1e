"""How long the change-gear search takes, against full enumeration in numpy and a constraint solver.

Run it as ``python tests/benchmarks/change_gear_search.py``. Times are processor times, tables built
included; what matters are the ratios, since both sides of each run on the same machine in the same
minute. Six gears are too many to enumerate: a part of the rows is, and the whole is reckoned from it.
Growth is given as the power of the number of pairs (four gears) or triples (six) that fits the times.
The constraint solver is asked an easier question, only to prove that nothing is nearer than the best set found.
"""

from __future__ import annotations

import math
import resource
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from fractions import Fraction

import numpy as np
from handlead.kinematics.brackets.bracket import Bracket
from handlead.kinematics.frame.exact import PI, Ratio, sine
from handlead.kinematics.search.change_gears import nearest_sets
from handlead.kinematics.search.products import products
from handlead.kinematics.together.cheapest import best_set_ups
from handlead.kinematics.together.relation import Relation
from handlead.kinematics.together.tied import best_coupled_set_ups
from handlead.kinematics.together.together import BracketPlace

HUNDRED = list(range(20, 120))
EIGHTY = [20, 20, 24, 24, 25, 25, *range(26, 100)]
LEAD: Ratio = 25 * sine(15) / (PI * 2)
MOUNTS = Bracket(module=Fraction(2), centres=Fraction(150), clearance=Fraction(15))
NEVER = Bracket(module=Fraction(2), centres=Fraction(1500))
BRACKETS = ((None, "no bracket"), (MOUNTS, "a bracket"), (NEVER, "a bracket that takes nothing"))
SET_C = [
    20, 23, 24, 25, 30, 33, 34, 35, 37, 40, 41, 43, 45, 47, 48, 50, 53, 55, 57, 58, 59,
    60, 61, 62, 65, 67, 70, 71, 73, 75, 79, 80, 83, 85, 89, 90, 92, 95, 97, 98, 100,
]  # fmt: skip


def seconds(what: Callable[[], object], times: int = 5) -> float:
    """Processor time of a run, tables forgotten before each; the middle one of several."""
    taken = []
    for _ in range(times):
        products.cache_clear()
        begin = time.process_time()
        what()
        taken.append(time.process_time() - begin)
    return statistics.median(taken)


def megabytes() -> float:
    """The most memory that this process has held so far."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def enumerate_sets(gears: list[int], target: float, k: int, rows: slice, limit: int = 20) -> np.ndarray:
    """The `limit` least errors by forming every quotient, drivers in `rows` only; floats throughout."""
    teeth = np.array(gears, dtype=np.float64)
    index = (
        np.array(np.meshgrid(*[np.arange(len(gears), dtype=np.int16)] * k, indexing="ij")).reshape(k, -1).T
    )
    index = index[(np.diff(index, axis=1) > 0).all(axis=1)]
    product = teeth[index].prod(axis=1)
    best = np.full(limit, np.inf)
    for top, row in zip(product[rows], index[rows], strict=True):
        errors = np.abs(top / product / target - 1)
        for gear in row:
            errors[(index == gear).any(axis=1)] = np.inf
        best = np.partition(np.concatenate([best, errors]), limit - 1)[:limit]
    return np.sort(best)


def enumerate_four(gears: list[int], target: float, limit: int = 20) -> np.ndarray:
    """Four gears at full stretch: whole blocks of the table of quotients at a time."""
    a, c = np.triu_indices(len(gears), 1)
    teeth = np.array(gears, dtype=np.float64)
    product = teeth[a] * teeth[c]
    best = np.full(limit, np.inf)
    for begin in range(0, len(product), 250):
        part = slice(begin, begin + 250)
        errors = np.abs(product[part, None] / product[None, :] / target - 1)
        shared = (a[part, None] == a) | (a[part, None] == c) | (c[part, None] == a) | (c[part, None] == c)
        errors[shared] = np.inf
        best = np.partition(np.concatenate([best, errors.ravel()]), limit - 1)[:limit]
    return np.sort(best)


def report(what: str, taken: float, goal: float | None = None) -> None:
    held = "" if goal is None else f"   goal {goal * 1000:6.0f} ms: {'held' if taken <= goal else 'MISSED'}"
    print(f"{what:<66}{taken * 1000:9.1f} ms{held}")


def against_enumeration() -> None:
    def mine() -> object:
        return nearest_sets(LEAD, HUNDRED, limit=20)

    four = seconds(mine)
    report("best 20 of four gears from 100", four, 0.010)
    begin = time.process_time()
    best = enumerate_four(HUNDRED, float(LEAD))
    full = time.process_time() - begin
    report("  full enumeration in numpy", full)
    found = [abs(one.error) for one in nearest_sets(LEAD, HUNDRED, limit=20).sets]
    print(f"  {full / four:.0f} times faster; the same errors: {np.allclose(found, best, rtol=1e-6)}")

    six = seconds(lambda: nearest_sets(LEAD, HUNDRED, pairs=(3,), limit=20))
    report("best 20 of six gears from 100", six, 0.150)
    rows = 60
    begin = time.process_time()
    enumerate_sets(HUNDRED, float(LEAD), 3, slice(80_000, 80_000 + rows))
    part = time.process_time() - begin
    whole = part * math.comb(100, 3) / rows
    print(
        f"  full enumeration in numpy: {part:.2f} s for {rows} rows of drivers, some {whole / 60:.0f} min for all"
    )
    print(f"  about {whole / six:.0f} times faster")


def bad_cases() -> None:
    for name, target in (("2/5", Fraction(2, 5)), ("1", Fraction(1)), ("lead", LEAD)):
        for pairs, goal in ((2, 0.3), (3, 3.0)):
            for bracket, words in (
                (None, "no bracket"),
                (MOUNTS, "a bracket"),
                (NEVER, "a bracket that takes nothing"),
            ):
                taken = seconds(
                    lambda t=target, p=pairs, b=bracket: nearest_sets(t, HUNDRED, pairs=(p,), bracket=b), 3
                )
                report(f"target {name}, {2 * pairs} gears, {words}", taken, goal)


def job(teeth: int, turns_over: bool) -> list[BracketPlace]:
    """Index, feed and differential of an invented machine: constant 24, feed twice its gears."""
    return [
        BracketPlace("index", Fraction(24, teeth), (1, 2), (0, 1), turns_over, MOUNTS, exact=True),
        BracketPlace(
            "feed", Fraction(1), (1, 2), (0,), None, MOUNTS,
            span=(Fraction(1, 2), Fraction(2)), weight=Fraction(1, 1000),
        ),
        BracketPlace("differential", 25 * sine(Fraction(25, 2)) / (PI * 3), (2,), (0, 1), turns_over, MOUNTS),
    ]  # fmt: skip


def whole_jobs() -> None:
    taken = seconds(lambda: best_set_ups(job(37, False), EIGHTY, limit=5))
    report("a job of three brackets, one member, drawer of 80", taken, 0.5)
    for gears, words in ((SET_C, "drawer of 41"), (EIGHTY, "drawer of 80")):
        pitch = 2 * PI / sine(20)
        relation = Relation(
            {
                frozenset(): Fraction(-24),
                frozenset({"index"}): Fraction(30),
                frozenset({"index", "feed"}): 2 / pitch,
            }
        )
        rule = Bracket(clearance=Fraction(15))
        places = [
            BracketPlace("index", Fraction(24, 30), (2,), (0,), None, rule, weight=Fraction(0)),
            BracketPlace(
                "feed", Fraction(3, 4), (2,), (0,), None, rule,
                span=(Fraction(1, 4), Fraction(2)), weight=Fraction(0),
            ),
        ]  # fmt: skip
        taken = seconds(lambda p=places, r=relation, g=gears: best_coupled_set_ups(p, r, g, limit=5), 3)
        best = best_coupled_set_ups(places, relation, gears, limit=1).best[0]
        report(f"without a differential, index and feed gears, {words}", taken)
        print(
            f"  lead error {best.error:+.2e}; by whole table turns a pitch (C = 10, 41 gears) it is -6.01e-06"
        )


def growth() -> None:
    for pairs, counts, goal in ((2, (50, 100, 200, 400), 1.2), (3, (50, 100, 150, 200), 2.0)):
        sizes = [math.comb(n, pairs) for n in counts]
        times = [
            seconds(lambda n=n, p=pairs: nearest_sets(LEAD, range(20, 20 + n), pairs=(p,)), 3) for n in counts
        ]
        power = np.polyfit(np.log(sizes), np.log(times), 1)[0]
        row = ", ".join(f"{n}: {t * 1000:.1f} ms" for n, t in zip(counts, times, strict=True))
        print(f"growth, {2 * pairs} gears from so many: {row}")
        print(
            f"  time goes with the power {power:.2f} of the number of ways to one side (goal at most {goal})"
        )


def fresh_process() -> None:
    code = (
        "import time; from fractions import Fraction;"
        "from handlead.kinematics.search.change_gears import nearest_sets;"
        "from handlead.kinematics.search.ratios import PI, sine;"
        "nearest_sets(25 * sine(15) / (PI * 2), range(20, 120), pairs=(2, 3));"
        "print(time.process_time())"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    report("a fresh process: start, four and six gears from 100", float(out.stdout), 1.0)


def against_a_constraint_solver(seconds_allowed: float = 60.0) -> None:
    try:
        from ortools.sat.python import cp_model
    except ImportError:
        print("constraint solver: ortools isn't installed; left out")
        return
    best = nearest_sets(LEAD, SET_C, limit=1)
    mine = seconds(lambda: nearest_sets(LEAD, SET_C, limit=1))
    error, scale = abs(best.sets[0].error), 10**10
    model = cp_model.CpModel()
    domain = cp_model.Domain.from_values(SET_C)
    a, b, c, d = (model.new_int_var_from_domain(domain, name) for name in "abcd")
    model.add_all_different([a, b, c, d])
    model.add(a < c)
    model.add(b < d)
    top, bottom = model.new_int_var(1, 10_000, "ac"), model.new_int_var(1, 10_000, "bd")
    model.add_multiplication_equality(top, [a, c])
    model.add_multiplication_equality(bottom, [b, d])
    low, high = (round(float(LEAD) * scale * (1 + sign * error * (1 - 1e-3))) for sign in (-1, 1))
    model.add(top * scale >= low * bottom)
    model.add(top * scale <= high * bottom)
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = seconds_allowed
    solver.parameters.num_workers = 1
    begin = time.process_time()
    status = solver.status_name(solver.solve(model))
    taken = time.process_time() - begin
    report("constraint solver: nothing nearer than our best of four from 41", taken)
    report("  ours, the set found and nothing nearer", mine)
    print(f"  it says {status} (INFEASIBLE proves our best); {taken / mine:.0f} times slower")


if __name__ == "__main__":
    against_enumeration()
    bad_cases()
    whole_jobs()
    print(f"most memory held so far: {megabytes():.0f} MB (goal 300 MB; with numpy's enumeration above)")
    growth()
    fresh_process()
    against_a_constraint_solver()
