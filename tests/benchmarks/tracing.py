"""Processor time of tracing, against solving the train anew for every candidate in the same run.

Run with ``python tests/benchmarks/tracing.py [SEED]``. The job is on a made-up machine with four brackets and a
drawer of eighty gears; what was seen is a count one too high, which many faults come near to.
"""

from __future__ import annotations

import sys
import time
from itertools import combinations, islice
from pathlib import Path
from random import Random

sys.path.insert(0, str(Path(__file__).parents[1]))

from handlead.kinematics.frame.words import Hand
from handlead.kinematics.law.outcome import predict
from handlead.kinematics.slips.evidence import view_of
from handlead.kinematics.slips.faults import Fault, combined, find_faults
from handlead.kinematics.slips.study import Study
from handlead.kinematics.suspects.causes import explain
from handlead.kinematics.transfer.response import run
from handlead.machines.job_files.job_file import Job, Seen
from handlead.machines.tracing.diagnosis import trace
from handlead.machines.tracing.fault_table import fault_table
from handlead.machines.tracing.seen_on_blank import evidence_of
from handlead.machines.tracing.studied import study_of
from made_up import DRAWER, right_job

MANY = 20_000


def four_brackets(seed: int) -> Job:
    """A helical job with speed, index, feed and differential gears."""
    random = Random(seed)
    while True:
        job = right_job(random)
        assert job.setup is not None
        if len(job.setup.change) == 4 and job.work.is_helical:
            hand = job.work.hand or Hand.RIGHT
            return job.with_seen(Seen(job.work.teeth + 1, hand, helix_angle_deg=job.work.helix_angle_deg))


def candidates(faults: tuple[Fault, ...]) -> list[dict[object, object]]:
    """So many changes: every single fault, then pairs of any."""
    found = [dict(fault.changes) for fault in faults]
    pairs = (combined(*pair) for pair in combinations(faults, 2))
    found += islice((dict(changes) for changes in pairs if changes is not None), MANY - len(found))
    # What isn't in gears and levers, the train solved anew below knows nothing of.
    return [changes for changes in found if not {key[0] for key in changes} & {"drive runs", "parted"}]


def updated(
    study: Study, job: Job, changes: list[dict[object, object]], *, all_outcomes: bool
) -> tuple[float, list[object]]:
    """Seconds for all candidates by updating the solved train; and what comes out.

    As `explain` does it, the gear isn't worked out where the count seen can't come of the rates, unless
    `all_outcomes` is True.
    """
    evidence = evidence_of(job)
    outcomes = []
    begun = time.process_time()
    for change in changes:
        standing = study.base.changed(change)
        running = study.bench.running(standing)
        if running is None:
            outcomes.append(None)
            continue
        hob = standing.hob
        sense, module = hob.hand.value, float(hob.module_n)
        if not (all_outcomes or evidence.count_is_possible(running, sense, hob.starts, module)):
            continue
        outcome = study.bench.outcome(standing, running)
        evidence.closeness(view_of(running, outcome))
        outcomes.append((running, outcome))
    return time.process_time() - begun, outcomes


def anew(study: Study, changes: list[dict[object, object]]) -> tuple[float, list[object]]:
    """The same by eliminating the whole train for each."""
    outcomes = []
    begun = time.process_time()
    for change in changes:
        standing = study.base.changed(change)
        states = study.bench.states(standing.setup.levers)
        if states is None:
            outcomes.append(None)
            continue
        ratios = {name: mounted.ratio for name, mounted in standing.change.items()}
        running = run(study.bench.train.with_states(states).with_ratios(ratios), standing.setup.drive)
        outcome = predict(running.rates, standing.hob, float(standing.swivel_deg)) if running.rates else None
        outcomes.append((running, outcome))
    return time.process_time() - begun, outcomes


def main() -> None:
    job = four_brackets(int(sys.argv[1]) if len(sys.argv) > 1 else 3)
    trace(job)  # reads tables and machines, once a process
    begun = time.process_time()
    study = study_of(job, fault_table())
    faults = find_faults(fault_table().kinds, study)
    listing = time.process_time() - begun
    changes = candidates(faults)
    study.bench._responses.clear()
    traced, _ = updated(study, job, changes, all_outcomes=False)
    study.bench._responses.clear()
    quick, ours = updated(study, job, changes, all_outcomes=True)
    sample = changes[:: max(1, len(changes) // 1000)]
    slow, theirs = anew(study, sample)
    assert theirs == ours[:: max(1, len(changes) // 1000)], "the two ways differ"
    per_quick, per_slow = quick / len(changes), slow / len(sample)
    begun = time.process_time()
    alone = tuple(fault for fault in faults if not fault.kind.is_common)
    explain(Study(study.bench, study.base), alone, evidence_of(job))
    single = time.process_time() - begun
    begun = time.process_time()
    found = trace(job)
    whole = time.process_time() - begun
    common = sum(fault.kind.is_common for fault in faults)
    print(
        f"{len(job.setup.change) if job.setup else 0} brackets, a drawer of {len(DRAWER)} gears, {job.work.teeth} teeth"
    )
    print(f"listing the {len(faults):6d} single faults                {listing:8.3f} s")
    print(
        f"running  {len(changes):6d} candidates as tracing does      {traced:8.3f} s "
        f"{traced / len(changes) * 1e6:9.1f} us each"
    )
    print(f"the same, and the gear of each worked out       {quick:8.3f} s   {per_quick * 1e6:7.1f} us each")
    print(
        f"and the train solved anew ({len(sample)}, scaled)         {per_slow * len(changes):8.3f} s {per_slow * 1e6:9.1f} us each"
    )
    print(f"updating is {per_slow / per_quick:.1f} times as fast; every outcome compared is the same")
    print(f"explaining by the single faults alone           {single:8.3f} s")
    print(
        f"whole trace: singles, and {found.explanation.tried - len(faults)} pairs of {common} common ones   {whole:8.3f} s"
    )


if __name__ == "__main__":
    main()
