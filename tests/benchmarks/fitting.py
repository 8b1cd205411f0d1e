"""How often the unknowns of made-up machines come back exactly, and at what cost.

Three ways of counting, each on machines with up to 6 unknown numbers and 4 unknown senses, every count off
by up to 1/200 turn (0.02 mm on a slide):

- enough: one count across each unknown link. Every unknown must come back exactly.
- not enough: one link left out. Nothing may be claimed of it, and nothing wrong of the others.
- end to end: from the hob to table and slide, then what the fit itself advises, until all is known.

Run with ``python tests/benchmarks/fitting.py [MACHINES] [FIRST_SEED]``; the same seeds give the same machines. Times
are processor time, beside that of solving the same machine's train once for each value of one tooth count.
"""

import sys
import time
from pathlib import Path
from random import Random

sys.path.insert(0, str(Path(__file__).parents[1]))

from handlead.kinematics.train.solution import solve
from handlead.machines.documents.observations_file import read_observations_text
from handlead.machines.fitting.counts import Fit, fit
from handlead.machines.machine_files.unfitted import read_unfitted_text
from made_up_fits import MadeUp, counted, direct, end_to_end, make_up, observations_text, setups

MOST_ADVISED = 15

#: Values that a trial of every tooth count would have to go through.
TOOTH_COUNTS = 997


def main() -> None:
    machines = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    tally = dict.fromkeys(
        (
            "machines",
            "unknowns",
            "exact",
            "whole machines",
            "left out",
            "claimed",
            "wrong",
            "ended",
            "advised",
        ),
        0,
    )
    times = {"enough": 0.0, "end to end": 0.0, "plain": 0.0}
    for seed in range(first, first + machines):
        one_machine(seed, tally, times)
    report(tally, times)


def made_up(seed: int) -> MadeUp:
    chance = Random(seed)
    return make_up(chance, chance.randint(1, 6), chance.randint(0, 4))


def fitted(made: MadeUp, counts: list[str]) -> tuple[Fit, dict[str, str | None]]:
    unfitted = read_unfitted_text(made.open_text)
    result = fit(unfitted, read_observations_text(observations_text(counts), unfitted.machine))
    return result, {figure.key: result.words(figure) for figure in unfitted.figures}


def one_machine(seed: int, tally: dict[str, int], times: dict[str, float]) -> None:
    made = made_up(seed)
    true = made.true_values()
    tally["machines"] += 1
    tally["unknowns"] += len(true)
    counts = direct(made)

    before = time.process_time()
    _, found = fitted(made, counts)
    times["enough"] += time.process_time() - before
    tally["exact"] += sum(found[key] == true[key] for key in true)
    tally["whole machines"] += found == true
    tally["wrong"] += sum(found[key] not in (None, true[key]) for key in true)

    if len(counts) > 1:
        left_out = list(dict.fromkeys(name for name, _, _ in made.unknown))[-1]
        keys = [f"link/{name}/{key}" for name, key, _ in made.unknown if name == left_out]
        _, found = fitted(made, counts[:-1])
        tally["left out"] += len(keys)
        tally["claimed"] += sum(found[key] is not None for key in keys)
        tally["wrong"] += sum(found[key] not in (None, true[key]) for key in true)

    before = time.process_time()
    follow_advice(made, true, tally)
    times["end to end"] += time.process_time() - before

    before = time.process_time()
    train = made.machine.set_up(setups(made.machine)[0])
    for _ in range(10):
        solve(train, "main")
    times["plain"] += (time.process_time() - before) / 10 * TOOTH_COUNTS


def follow_advice(made: MadeUp, true: dict[str, str], tally: dict[str, int]) -> None:
    counts = end_to_end(made)
    for _ in range(MOST_ADVISED):
        result, found = fitted(made, counts)
        tally["wrong"] += sum(found[key] not in (None, true[key]) for key in true) + len(
            result.contradictions
        )
        if result.is_determined:
            tally["ended"] += 1
            return
        trial = result.advice.trial if result.advice else None
        if trial is None:
            return
        tally["advised"] += 1
        counts.append(
            counted(made, trial.setup, trial.turned, trial.turns, trial.moved, trial.held, trial.within)
        )


def report(tally: dict[str, int], times: dict[str, float]) -> None:
    machines = tally["machines"]
    print(f"{machines} machines, {tally['unknowns']} unknowns")
    print(f"enough counts:     {tally['exact']} of {tally['unknowns']} unknowns exact, "
          f"{tally['whole machines']} of {machines} machines whole")  # fmt: skip
    print(
        f"one link left out: {tally['claimed']} of {tally['left out']} unknowns claimed that nothing was counted of"
    )
    print(f"end to end:        {tally['ended']} of {machines} machines known after following the advice, "
          f"{tally['advised'] / machines:.1f} counts more on the average")  # fmt: skip
    print(f"wrong values claimed, or contradictions found where there are none: {tally['wrong']}")
    for name in ("enough", "end to end"):
        print(f"{name:12} {times[name] / machines:7.3f} s a machine, {times[name] / times['plain']:6.3f} x "
              f"the time to solve its train for each of {TOOTH_COUNTS} tooth counts")  # fmt: skip


if __name__ == "__main__":
    main()
