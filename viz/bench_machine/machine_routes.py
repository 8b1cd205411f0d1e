"""The machine's page: its addresses, and what can be entered there."""

from __future__ import annotations

import asyncio
from typing import Any

from handlead.machines.keys.link_keys import LINK
from handlead.viz.bench import elsewhere
from handlead.viz.bench.holding import bench_of
from handlead.viz.bench_desk.desk import Elsewhere
from handlead.viz.bench_drawn import parts
from handlead.viz.bench_files.entered import NotEntered, asked_of
from handlead.viz.bench_files.versions import digest_of, text_or_none
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response
from starlette.routing import Route

from . import machine_page as pages
from .counting import Fitted, add_count, counts_name, take_back
from .counting import fit as fit_counts
from .drawing import DrawnMachine, draw_machine, explained
from .editing import What, edited, number_of, text_of
from .entering import plainly, rivals_told
from .machine_desk import (
    MachineDesk,
    at_version,
    begin,
    bring_back,
    open_machine,
    put,
    take_ours,
    take_theirs,
)
from .plate import write_plate

_LOCK = asyncio.Lock()

#: What can be done while the file is another than the page was made of: none of it is written into that.
_BESIDE = ("plate", "count", "count out")


def _desk(request: Request) -> MachineDesk:
    return open_machine(bench_of(request).shelf, str(request.path_params["name"]))


def page(request: Request) -> Response:
    """A machine: rules beside the plate, drawers, limits; and its links as they are written."""
    desk = _desk(request)
    if desk.own:
        at_version(desk)
    return HTMLResponse(parts.render("machine", inside=_inside(desk), conflict=_apart(desk), desk=desk))


def state(request: Request) -> Response:
    """The page's inside as it is now; beside what a window `had`, where the file was changed outside."""
    desk = _desk(request)
    had = request.query_params.get("had", "")
    conflict = _apart(desk)
    if had and not desk.apart and had != desk.digest:
        at_version(desk)
        ours = elsewhere.kept_text(desk.shelf, desk.name, had)
        conflict = elsewhere.panel(desk.text, ours, reason="The page shows it as it is now.")
    return JSONResponse(_told(desk) | {"conflict": conflict})


def _apart(desk: MachineDesk) -> str:
    """Both texts, where what was entered isn't in the file yet and the file was changed meanwhile."""
    if not desk.apart or desk.there is None:
        return ""
    return elsewhere.panel(desk.there, desk.text, reason="What was entered here isn't in it yet.")


async def new(request: Request) -> Response:
    """A machine begun: from the one most alike, or from nothing."""
    form = await request.form()
    title, alike = str(form.get("title", "")).strip()[:80], str(form.get("alike", ""))
    if not title or not title.isprintable():
        raise NotEntered("a machine has a name")
    units = "in" if form.get("units") == "in" else "mm"
    shelf = bench_of(request).shelf
    stem = await run_in_threadpool(begin, shelf, title, alike, units)
    return RedirectResponse(f"/machine/{stem}", 303)


async def do(request: Request) -> Response:
    """Something was entered: answer with the page's inside."""
    bench, what = bench_of(request), asked_of(await request.body())
    async with _LOCK:
        desk, conflict = await run_in_threadpool(_done, request, what)
    if conflict:
        return HTMLResponse(conflict, 409)
    await bench.tell(desk.name, desk.digest, but=str(what.get("window", "")))
    return JSONResponse(await run_in_threadpool(_told, desk))


def _told(desk: MachineDesk) -> dict[str, str]:
    """The page's inside, and what tells this state from another."""
    return {"digest": desk.digest, "there": desk.there_digest, "inside": _inside(desk)}


def _inside(desk: MachineDesk) -> str:
    return parts.render("machine_in", **pages.view(desk))


def _done(request: Request, what: dict[str, Any]) -> tuple[MachineDesk, str]:
    """The desk after something was entered; or both texts, where the file was changed elsewhere."""
    desk = _desk(request)
    action = str(what.get("do"))
    if action not in _BESIDE and (desk.apart or what.get("digest") != desk.digest):
        return desk, _refused(desk, what)
    try:
        return _act(desk, action, what), ""
    except Elsewhere:
        return desk, _refused(_desk(request), what)


def _refused(desk: MachineDesk, what: What) -> str:
    if desk.apart:
        return _apart(desk)
    ours = elsewhere.kept_text(desk.shelf, desk.name, str(what.get("digest")))
    return elsewhere.panel(desk.text, ours, elsewhere.entered(what))


def _act(desk: MachineDesk, action: str, what: What) -> MachineDesk:
    if action == "plate":
        write_plate(desk, text_of(what, "key"), text_of(what, "value"))
    elif action == "count":
        add_count(desk, what)
    elif action == "count out":
        take_back(desk, number_of(what))
    elif action in ("undo", "redo", "version"):
        return _back(desk, action, what)
    else:
        return put(desk, *edited(desk.text, what))
    return desk


def _back(desk: MachineDesk, action: str, what: What) -> MachineDesk:
    now = at_version(desk)
    if action == "version":
        found = next((one for one in desk.versions.all if one.number == what.get("number")), None)
    else:
        found = desk.versions.before(now) if action == "undo" else desk.versions.after(now)
    if found is None:
        raise NotEntered("there is no such version")
    return bring_back(desk, found)


async def choose(request: Request) -> Response:
    """One of both texts for the whole file: what is in it, or what this page has, with what was entered last."""
    asked = asked_of(await request.body())
    async with _LOCK:
        desk, conflict = await run_in_threadpool(_chosen, request, asked)
    if conflict:
        return HTMLResponse(conflict, 409)
    await bench_of(request).tell(desk.name, desk.digest)
    return JSONResponse(await run_in_threadpool(_told, desk))


def _chosen(request: Request, asked: What) -> tuple[MachineDesk, str]:
    desk, what = _desk(request), asked.get("what") or {}
    there = desk.there or ""
    if asked.get("theirs") != digest_of(there):
        return desk, _refused(desk, what)
    if not asked.get("ours"):
        return take_theirs(desk), ""
    version = None if desk.apart else desk.versions.with_digest(str(what.get("digest")))
    if not desk.apart and version is None:
        raise NotEntered("what this page had isn't kept any more: the file stays as it is now")
    text = desk.versions.text(version.number) if version else desk.text
    # What was entered last is tried first: where it can't be put in, the file stays as it is.
    after = edited(text, what) if what.get("do") and str(what["do"]) not in ("undo", "redo", "version") else None
    mine = take_ours(desk, version)
    return (put(mine, *after) if after else mine), ""


def question(request: Request) -> Response:
    """What is asked about a new link, shaft or slide."""
    desk, kind = _desk(request), request.query_params.get("kind", "")
    asked = tuple(pages.questions(desk.sheet, kind)) if kind in LINK else ()
    meaning = plainly(LINK[kind].meaning) if kind in LINK else ""
    one_of = LINK[kind].one_of if kind in LINK else ()
    return HTMLResponse(parts.render(
        "machine_add", kind=kind, asked=asked, meaning=meaning, links=desk.sheet.named("link"),
        one_of=tuple(map(rivals_told, one_of)),
        origin=request.query_params.get("origin", ""),
    ))  # fmt: skip


async def fit(request: Request) -> Response:
    """What the counts say of the unknown numbers, and what to count next."""
    desk, found = await _fitted(request)
    return HTMLResponse(parts.render("fitted", found=found, desk=desk))


async def _fitted(request: Request) -> tuple[MachineDesk, Fitted]:
    bench, desk = bench_of(request), await run_in_threadpool(_desk, request)
    name = counts_name(desk)
    counts = await run_in_threadpool(text_or_none, desk.shelf.path(name))
    found: Fitted = await bench.later(fit_counts, desk.text, desk.name, counts or "", name, slow=True)
    return desk, found


async def write_found(request: Request) -> Response:
    """The numbers that the counts settle, into the machine's file."""
    desk, found = await _fitted(request)
    async with _LOCK:
        done = await run_in_threadpool(put, desk, found.text, "numbers found by counting")
    return JSONResponse(await run_in_threadpool(_told, done))


async def drawing(request: Request) -> Response:
    """The machine's train as far as it is known, levers in their normal positions."""
    desk, drawn = await _drawn(request)
    return HTMLResponse(parts.render("machine_train", machine=drawn, desk=desk))


async def _drawn(request: Request) -> tuple[MachineDesk, DrawnMachine | None]:
    bench, desk = bench_of(request), await run_in_threadpool(_desk, request)
    found: DrawnMachine | None = await bench.later(draw_machine, desk.text, desk.name, slow=True)
    return desk, found


async def picture(request: Request) -> Response:
    """The drawing itself."""
    _, drawn = await _drawn(request)
    return Response(drawn.drawn.svg if drawn else b"<svg/>", media_type="image/svg+xml")


def path(request: Request) -> Response:
    """The way from the motor to a shaft, or what a link is, levers normal."""
    desk, query = _desk(request), request.query_params
    told = explained(desk.text, desk.name, query.get("part", ""), query.get("link", ""))
    number = next((at for at, one in enumerate(desk.sheet.named("link")) if one == query.get("link")), None)
    html = parts.render("path", told=told)
    if desk.own:
        html += parts.render("machine_tapped", number=number, part=query.get("part", ""))
    return JSONResponse({"lit": told.lit, "html": html})


ROUTES = [
    Route("/machine/{name:path}", page),
    Route("/machine-state/{name:path}", state),
    Route("/machine-new", new, methods=["POST"]),
    Route("/machine-do/{name:path}", do, methods=["POST"]),
    Route("/machine-choose/{name:path}", choose, methods=["POST"]),
    Route("/machine-add/{name:path}", question),
    Route("/machine-fit/{name:path}", fit),
    Route("/machine-found/{name:path}", write_found, methods=["POST"]),
    Route("/machine-train/{name:path}", drawing),
    Route("/machine-picture/{name:path}", picture),
    Route("/machine-path/{name:path}", path),
]
