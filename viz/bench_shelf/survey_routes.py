"""Which machine cuts which order: jobs and machines picked from the shelf, looked at one after the other, the table
filling meanwhile."""

from __future__ import annotations

import asyncio
import os
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Any

from handlead.kinematics.train.setup import Setup
from handlead.machines.shop.survey import CAN, Survey, SurveyRow, Unread
from handlead.machines.toml.errors import HandleadError
from handlead.viz.bench.holding import Bench, bench_of
from handlead.viz.bench_desk import desk as desks
from handlead.viz.bench_drawn import parts
from handlead.viz.bench_files.entered import NotEntered, asked_of
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response
from starlette.routing import Route

from .surveying import ShelfOrder, best_set_up, look, page_of

#: The most that are looked at together from the page; the command takes any number.
MOST_JOBS, MOST_MACHINES = 100, 20

#: The words under which a job's own machine is asked for.
OWN = ""


@dataclass
class SurveyRun:
    """A survey as far as it has got; `task` is None once it is done or stopped. `asked` has the name by which a machine
    was asked for, by job and what the machine is called; none for a job's own."""

    number: int
    pieces: list[tuple[str, str]]
    rows: list[SurveyRow] = field(default_factory=list)
    unread: list[Unread] = field(default_factory=list)
    asked: dict[tuple[str, str], str] = field(default_factory=dict)
    task: asyncio.Task[None] | None = None

    @property
    def done(self) -> int:
        """How many orders on machines have been looked at."""
        return len(self.rows) + len(self.unread)

    @property
    def found(self) -> Survey:
        """What was found so far."""
        return Survey(tuple(self.rows), tuple(self.unread))


def _running(request: Request) -> SurveyRun | None:
    running: SurveyRun | None = getattr(request.app.state, "survey", None)
    return running


async def page(request: Request) -> Response:
    """The jobs of the shelf and the machines that there are, to be picked from."""
    shelf = bench_of(request).shelf
    await run_in_threadpool(shelf.refresh, 0.25)
    words = request.query_params.get("words", "")[:200]
    jobs = await run_in_threadpool(shelf.find, words, "job", MOST_JOBS)
    machines = await run_in_threadpool(lambda: shelf.machines)
    running = _running(request)
    table = _table(running) if running else ""
    return HTMLResponse(parts.render("survey", words=words, jobs=jobs, machines=machines, table=table, most=MOST_JOBS))


async def start(request: Request) -> Response:
    """Begin to look; what was looked at before is left."""
    bench = bench_of(request)
    asked = asked_of(await request.body())
    jobs, machines = (names if isinstance(names := asked.get(key), list) else [] for key in ("jobs", "machines"))
    jobs = [str(name) for name in jobs][:MOST_JOBS]
    machines = [str(name) for name in machines][:MOST_MACHINES] or [OWN]
    if not jobs:
        raise NotEntered("pick the orders first")
    for name in jobs:
        bench.shelf.path(name)
    known = await run_in_threadpool(lambda: bench.shelf.machines)
    if any(name not in known for name in machines if name != OWN):
        raise NotEntered("one of these machines isn't there any more. Load the page again")
    before = _running(request)
    _stop(before)
    # Orders of one machine behind one another, so that the tables of its drawer serve for them all.
    running = SurveyRun((before.number if before else 0) + 1, [(job, machine) for machine in machines for job in jobs])
    running.task = asyncio.create_task(_work(bench, running))
    request.app.state.survey = running
    return HTMLResponse(_table(running))


def _stop(running: SurveyRun | None) -> None:
    if running and running.task:
        running.task.cancel()
        running.task = None


async def _work(bench: Bench, running: SurveyRun) -> None:
    folder = str(bench.shelf.folder)
    for job, machine in running.pieces:
        stamp = await run_in_threadpool(_stamp, bench, job)
        try:
            row: SurveyRow = await bench.later(look, ShelfOrder(folder, job, machine, stamp), slow=True)
            running.rows.append(row)
            if machine != OWN and row.machine != await run_in_threadpool(_own_machine, bench, job):
                running.asked[job, row.machine] = machine
        except (HandleadError, ValueError) as fault:
            running.unread.append(Unread(job, False, str(fault)))
    running.task = None


def _own_machine(bench: Bench, job: str) -> str:
    desk = desks.open_desk(bench.shelf, job)
    return desk.job.machine.name if desk.job else ""


def _stamp(bench: Bench, job: str) -> float:
    """What changes with the job and with what lies beside it."""
    latest = bench.shelf.stamp(job)
    with suppress(OSError):
        latest = max(latest, bench.shelf.path(job).stat().st_mtime)
    return latest


def _table(running: SurveyRun) -> str:
    from handlead.viz.orders.survey_table import flank_of, gears_of, in_the_way, minutes

    found = running.found
    orders = [
        (rows[0].job, rows[0].title, [
            (row, row.status == CAN, flank_of(row), minutes(row), gears_of(row), in_the_way(row, 400),
             running.asked.get((row.job, row.machine), "")) for row in rows
        ])
        for rows in found.by_order.values()
    ]  # fmt: skip
    can = sum(best is not None for best in found.best.values())
    return parts.render(
        "survey_table", running=running, orders=orders, unread=found.unread, can=can, all=len(running.pieces)
    )


def table(request: Request) -> Response:
    """The table as far as it is."""
    running = _running(request)
    if running is None:
        raise NotEntered("nothing was looked at yet")
    return HTMLResponse(_table(running))


def stop(request: Request) -> Response:
    """Stop looking; what was found stays."""
    running = _running(request)
    _stop(running)
    return HTMLResponse(_table(running) if running else "")


async def make(request: Request) -> Response:
    """A job made of an order for a machine that was looked at, with the best set-up found there."""
    bench, asked = bench_of(request), asked_of(await request.body())
    job, machine = str(asked.get("job")), str(asked.get("machine"))
    known = await run_in_threadpool(lambda: bench.shelf.machines)
    if machine not in known:
        raise NotEntered("this machine isn't there any more. Load the page again")
    desk = await run_in_threadpool(desks.open_desk, bench.shelf, job)
    order = ShelfOrder(str(bench.shelf.folder), job, machine, await run_in_threadpool(_stamp, bench, job))
    setup: Setup = await bench.later(best_set_up, order, slow=True)
    path = bench.shelf.folder / f"{machine}.toml"
    called = os.path.relpath(path, desk.path.parent) if "/" in job and path.exists() else machine
    name = await run_in_threadpool(desks.copied, desk, f"{desk.title}, on {known[machine]}"[:120], setup, called)
    return JSONResponse({"go": f"/job/{name}"})


async def paper(request: Request) -> Response:
    """The table on paper, as PDF."""
    running = _running(request)
    if running is None or not running.rows:
        raise NotEntered("nothing was looked at yet")
    size = "Letter" if request.query_params.get("paper") == "Letter" else "A4"
    body = await bench_of(request).later(page_of, running.found, size, slow=True)
    return Response(body, media_type="application/pdf",
                    headers={"content-disposition": 'attachment; filename="survey.pdf"'})  # fmt: skip


ROUTES: list[Any] = [
    Route("/survey", page),
    Route("/survey-start", start, methods=["POST"]),
    Route("/survey-table", table),
    Route("/survey-stop", stop, methods=["POST"]),
    Route("/survey-paper", paper),
    Route("/survey-job", make, methods=["POST"]),
]
