"""A survey and a study on a real cluster of two worker processes, one of which is killed in the middle."""

from __future__ import annotations

import importlib
import json
import os
import signal
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from handlead.machines.job_files.job_file import read_job
from handlead.machines.machine_files.catalogue import find_machine
from handlead.machines.machine_files.machine_file import Imperfection, Looseness
from handlead.machines.shop.crew import cluster, each_done
from handlead.machines.shop.survey import survey
from handlead.machines.studying.study import study
from handlead.viz.command import main

# Not skipped where it is missing: the test extra brings it in, and CI must run on a real cluster.
distributed = importlib.import_module("distributed")

SCENARIOS = Path(__file__).parents[2] / "scenarios"
SPUR = SCENARIOS / "02-left-hand-hob" / "job.toml"


@pytest.fixture(scope="module")
def workers() -> Iterator[Any]:
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, silence_logs=50
    ) as running:
        yield running


def kill_one(running: Any) -> None:
    """End one worker's process as a power cut would."""
    os.kill(next(iter(running.workers.values())).pid, signal.SIGKILL)


def test_nothing_is_lost_and_nothing_counted_twice_where_a_worker_is_killed(workers):
    jobs = [read_job(SPUR), read_job(SCENARIOS / "03-no-differential" / "job.toml")]
    machines = [find_machine(name) for name in ("brinnock-20", "tesmore-d2")]
    alone = survey(jobs, machines)
    told: list[float] = []

    def progress(part: float) -> None:
        if not told:
            kill_one(workers)
        told.append(part)

    with cluster(workers.scheduler_address) as crew:
        assert crew.at_once == 2
        shared = survey(jobs, machines, executor=crew, progress=progress)
    assert told == [0.25, 0.5, 0.75, 1.0]
    assert [row.as_json() for row in shared.rows] == [row.as_json() for row in alone.rows]


def test_every_piece_comes_back_once_where_a_worker_is_killed_between_many(workers):
    with cluster(workers.scheduler_address) as crew:
        done = []
        for number, result in each_done(abs, range(-60, 0), crew):
            if len(done) == 20:
                kill_one(workers)
            done.append((number, result))
    assert sorted(done) == [(number, 60 - number) for number in range(60)]


def test_draws_are_the_same_on_a_cluster(workers):
    job = read_job(SPUR)
    loose = Looseness("work runout", "known", "normal", Imperfection("work runout", runout=Fraction(1, 50)))
    job = replace(job, machine=replace(job.machine, looseness=(loose,)))
    with cluster(workers.scheduler_address) as crew:
        assert study(job, 2000, executor=crew).as_json() == study(job, 2000).as_json()


def test_the_command_finds_a_cluster_by_its_address(workers, capsys):
    assert main(["survey", str(SPUR), "--dask", workers.scheduler_address, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["orders"][0]["can"]
