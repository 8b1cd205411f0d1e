"""The shelf's page: what lies in the folder, found while it is typed, and where a new job or machine begins."""

from __future__ import annotations

import asyncio
import json
from typing import Any

from handlead.machines.machine_files.catalogue import shipped_machines
from handlead.viz.bench.holding import Bench, bench_of
from handlead.viz.bench_drawn import parts
from handlead.viz.bench_files.shelf import Shelf
from handlead.viz.bench_files.versions import Drafts
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, PlainTextResponse, RedirectResponse, Response
from starlette.routing import Route

#: What a page waits for the index, and how long it reads at a time once somebody has gone on, in seconds.
_WAIT, _TURN = 0.25, 0.2



async def page(request: Request) -> Response:
    """The folder: what lies in it, found by words, and where a new job begins."""
    bench = bench_of(request)
    left = await _brought_up(bench)
    words = request.query_params.get("words", "")[:200]
    return HTMLResponse(await run_in_threadpool(_page, bench.shelf, words, left))


def _page(shelf: Shelf, words: str, left: int) -> str:
    return parts.render(
        "shelf", folder=shelf.folder.name, words=words, inside=_found(shelf, words, left), begun=shelf.begun(),
        machines=shelf.machines, shipped=shipped(shelf),
    )  # fmt: skip


def _found(shelf: Shelf, words: str, left: int) -> str:
    return parts.render("shelf_found", entries=shelf.find(words), words=words, left=left)


def shipped(shelf: Shelf) -> dict[str, str]:
    """The machines that ship and that the folder has no other of the same name for."""
    return {name: title for name, title in shelf.machines.items() if name in shipped_machines()}


async def found(request: Request) -> Response:
    """What the index has for these words: at once, while somebody types."""
    shelf = bench_of(request).shelf
    words = request.query_params.get("words", "")[:200]
    return HTMLResponse(await run_in_threadpool(_found, shelf, words, shelf.left))


async def _brought_up(bench: Bench) -> int:
    """The index brought up to the files, as far as a page can wait for it; the rest is read while people go on."""
    left = await run_in_threadpool(bench.shelf.refresh, _WAIT)
    if left and not any(task.get_name() == _READING and not task.done() for task in _tasks):
        task = asyncio.create_task(_read_on(bench.shelf), name=_READING)
        _tasks.add(task)
        task.add_done_callback(_tasks.discard)
    return left


async def _read_on(shelf: Shelf) -> None:
    while await run_in_threadpool(shelf.refresh, _TURN):
        # Whoever taps meanwhile comes first.
        await asyncio.sleep(_TURN)


#: Held, or they would be thrown away before they are done.
_tasks: set[asyncio.Task[None]] = set()
_READING = "reading the folder"


async def new_job(request: Request) -> Response:
    """A job begun: what is entered is kept until it makes a file."""
    form = await request.form()
    title, machine = str(form.get("title", "")).strip()[:120], str(form.get("machine", ""))
    shelf = bench_of(request).shelf
    if not title.isprintable() or not title or machine not in await run_in_threadpool(lambda: shelf.machines):
        return PlainTextResponse("A job has a title and a machine that is there.", 400)
    name = shelf.new_name(title)
    units = "in" if form.get("units") == "in" else "mm"
    base = (
        f'format = "job/1"\ntitle = {json.dumps(title)}\nmachine = {json.dumps(machine)}\nunits = "{units}"\n'
    )
    Drafts(shelf.folder, name).hold({}, base)
    return RedirectResponse(f"/job/{name}", 303)


ROUTES: list[Any] = [
    Route("/", page),
    Route("/found", found),
    Route("/new", new_job, methods=["POST"]),
]
