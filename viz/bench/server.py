"""The server: which address asks for what. It answers from the files, and tells every window what changed."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Sequence
from contextlib import asynccontextmanager, suppress
from importlib import resources
from pathlib import Path
from typing import Any

from handlead.kinematics.train.setup import Setup
from handlead.machines.toml.errors import FileFault, HandleadError
from handlead.viz.bench_desk import choices, doing, tracing, work
from handlead.viz.bench_desk import desk as desks
from handlead.viz.bench_desk.desk import Desk, Elsewhere
from handlead.viz.bench_drawn import parts, train
from handlead.viz.streams.outlet import report_failed
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, PlainTextResponse, RedirectResponse, Response
from starlette.routing import Mount, Route, WebSocketRoute
from starlette.staticfiles import StaticFiles
from starlette.websockets import WebSocket

from . import elsewhere, rack_routes, sample_routes
from .holding import Bench, bench_of

# ---------------------------------------------------------------- answers


def _name(request: Request) -> str:
    return str(request.path_params["name"])


def _desk(request: Request) -> Desk:
    return desks.open_desk(bench_of(request).shelf, _name(request))


async def _asked(request: Request) -> dict[str, Any]:
    """What the page asked for, key by key. Raises `NotDone` for what it never asks."""
    try:
        what = json.loads(await request.body())
    except ValueError:
        what = None
    if not isinstance(what, dict):
        raise doing.NotDone("the page asked for something that isn't known here. Load it again")
    return what


def _answer(desk: Desk, shown: tuple[str, ...] = parts.LIVE) -> JSONResponse:
    now = desk.versions.of_text(desk.text) if desk.exists else None
    return JSONResponse({
        "digest": desk.digest, "parts": {name: parts.part(desk, name) for name in shown},
        "rest": shown != parts.LIVE,
        "undo": bool(desk.drafts) or desk.versions.before(now) is not None,
        "redo": desk.versions.after(now) is not None,
    })  # fmt: skip


def job_page(request: Request) -> Response:
    """A job in the order of the work."""
    desk = _desk(request)
    if desk.exists:
        desks.at_version(desk)
    drawn = {name: parts.part(desk, name) for name in ("verdict", *parts.PARTS)}
    return HTMLResponse(parts.render("job", desk=desk, titles=parts.PARTS, parts=drawn))


def all_parts(request: Request) -> Response:
    """Every live part as it is now."""
    return _answer(_desk(request))


async def do(request: Request) -> Response:
    """Something was tapped or typed: do it, answer with what changed, tell the other windows."""
    bench, what = bench_of(request), await _asked(request)
    async with bench._writing:
        if what.get("do") in ("planned", "mate"):
            return await _take_planned(request, bench, what)
        desk, answer = await run_in_threadpool(_done, request, what)
    await bench.tell(desk.name, desk.digest, but=str(what.get("window", "")))
    return answer


def _done(request: Request, what: dict[str, Any]) -> tuple[Desk, Response]:
    desk = doing.do(_desk(request), what)
    return desk, _answer(desk, parts.AT_ONCE if what.get("do") in doing.AT_THE_MACHINE else parts.LIVE)


async def _take_planned(request: Request, bench: Bench, what: dict[str, Any]) -> Response:
    desk = await run_in_threadpool(_desk, request)
    if desk.digest != what.get("digest"):
        raise Elsewhere(desk.text)
    setup = _offered(bench, what)
    if what["do"] == "mate":
        name = await run_in_threadpool(_mate_job, desk, setup)
        return JSONResponse({"go": f"/job/{Path(desk.name).with_name(name).as_posix()}"})
    done = await run_in_threadpool(doing.take, desk, setup, "a planned set-up")
    await bench.tell(done.name, done.digest)
    return await run_in_threadpool(_answer, done)


def _offered(bench: Bench, what: dict[str, Any]) -> Setup:
    """The planned set-up that was tapped.

    Of those that were shown: a plan of the job as it is now may list others under the same numbers.
    """
    plan, at, number = what.get("plan"), what.get("member"), what.get("number")
    key = tuple(tuple(one) if isinstance(one, list) else one for one in plan) if isinstance(plan, list) else ()
    members = bench.kept("plan", str(what.get("of")), key)
    if members is None:
        raise doing.NotDone("these set-ups aren't kept any more. Plan the job again")
    if isinstance(at, int) and 0 <= at < len(members):
        offered = members[at].offered
        if isinstance(number, int) and 0 <= number < len(offered):
            setup: Setup = offered[number].setup
            return setup
    raise doing.NotDone("there is no such set-up among those that were planned. Plan the job again")


def _mate_job(desk: Desk, setup: Setup) -> str:
    from handlead.viz.commands.plan_writing import mate_job

    if desk.job is None or desk.job.mate is None:
        raise doing.NotDone("the drawing has no mate")
    return mate_job(desk.path, desk.job, setup)


def gear_choices(request: Request) -> Response:
    """The gears for a place of a bracket."""
    desk = _desk(request)
    if desk.case is None:
        raise doing.NotDone("there is no set-up yet")
    query = request.query_params
    offer = choices.offer(desk.case, query.get("bracket", ""), query.get("place", ""))
    return HTMLResponse(parts.render("choices", offer=offer))


async def remedies(request: Request) -> Response:
    """What to do about what was found, tried first."""
    bench, desk = bench_of(request), await run_in_threadpool(_desk, request)
    if desk.case is None:
        return HTMLResponse("")
    found = await bench.later(work.remedies, bench.source(desk))
    return HTMLResponse(parts.render("remedies", found=found))


async def blank(request: Request) -> Response:
    """What is measured on the simulated blank."""
    bench, desk = bench_of(request), await run_in_threadpool(_desk, request)
    if desk.case is None:
        return JSONResponse({"rows": {}, "why": "", "apart": []})
    found: work.MeasuredBlank = await bench.later(work.blank, bench.source(desk))
    rows = {row[0]: row[3] for row in found.rows}
    return JSONResponse({"rows": rows, "why": found.why, "apart": list(found.disagrees)})


async def plan(request: Request) -> Response:
    """Set-ups that the machine and its gears allow."""
    bench, desk, asked = bench_of(request), await run_in_threadpool(_desk, request), await _asked(request)
    if desk.job is None:
        raise doing.NotDone("the drawing or the hob isn't whole yet")
    held, top = asked.get("held"), asked.get("top")
    held = tuple(map(str, held)) if isinstance(held, list) else ()
    key = (held, bool(asked.get("feed")), min(max(top, 1), 8) if isinstance(top, int) else 1)
    if asked.get("so_far"):
        question = ("plan", bench.source(desk), *key)
        members, times = bench.so_far(question)
        so_far = {"members": members or (), "times": times, "share": bench.share(question)}
        return HTMLResponse(parts.render("planned", **so_far, key=key, of="", whole=False))
    members = await bench.later(work.plan, bench.source(desk), *key, slow=True)
    whole = {"members": members, "times": 0, "share": None}
    return HTMLResponse(parts.render("planned", **whole, key=key, of=desk.digest, whole=True))


async def trace(request: Request) -> Response:
    """What explains what was found on the blank."""
    bench, desk = bench_of(request), await run_in_threadpool(_desk, request)
    if desk.job is None or desk.job.seen is None:
        raise doing.NotDone("enter first what was counted and seen on the blank")
    found = await bench.later(tracing.traced, bench.source(desk), slow=True)
    return HTMLResponse(parts.render("traced", found=found))


async def solid(request: Request) -> Response:
    """Blank and hob as triangles."""
    bench, desk = bench_of(request), await run_in_threadpool(_desk, request)
    if desk.case is None:
        raise doing.NotDone("there is no set-up yet")
    return Response(await bench.later(work.solid, bench.source(desk)), media_type="application/octet-stream")


async def train_part(request: Request) -> Response:
    """The train's drawing with what can be tapped on it."""
    bench, desk = bench_of(request), await run_in_threadpool(_desk, request)
    if desk.case is None:
        raise doing.NotDone("there is no set-up yet")
    drawn = await bench.later(train.drawn, bench.source(desk))
    return HTMLResponse(parts.render("train", desk=desk, drawn=drawn))


async def picture(request: Request) -> Response:
    """The train's drawing itself."""
    bench, desk = bench_of(request), await run_in_threadpool(_desk, request)
    drawn = await bench.later(train.drawn, bench.source(desk))
    return Response(drawn.svg, media_type="image/svg+xml")


def path(request: Request) -> Response:
    """The way from the motor to a shaft, or what a link is."""
    desk, query = _desk(request), request.query_params
    if desk.case is None:
        raise doing.NotDone("there is no set-up yet")
    told = train.told(desk.case, query.get("part", ""), query.get("link", ""))
    return JSONResponse({"lit": told.lit, "html": parts.render("path", told=told)})


async def sheet(request: Request) -> Response:
    """The set-up sheet, the mate's with it where its job lies beside."""
    bench, desk = bench_of(request), await run_in_threadpool(_desk, request)
    form = request.path_params["form"]
    if desk.case is None or form not in ("pdf", "html"):
        raise doing.NotDone("there is no set-up to put on a sheet")
    sources = [("work", bench.source(desk))]
    with suppress(HandleadError):
        mate = desks.open_desk(bench.shelf, desks.mate_of(desk).name)
        if mate.case is not None:
            sources.append(("mate", bench.source(mate)))
    paper = "Letter" if desk.units == "in" else "A4"
    body = await bench.later(work.sheet, tuple(sources), form, paper)
    if form == "html":
        return HTMLResponse(body)
    stem = Path(desk.name).stem
    return Response(body, media_type="application/pdf",
                    headers={"content-disposition": f'attachment; filename="{stem}-sheet.pdf"'})  # fmt: skip


async def copy(request: Request) -> Response:
    """A job begun from another: its drawing, hob and set-up, and nothing of what was seen on its blanks."""
    form = await request.form()
    title = str(form.get("title", "")).strip()[:120]
    if not title or not title.isprintable():
        raise doing.NotDone("a job has a title")
    name = await run_in_threadpool(desks.copied, _desk(request), title)
    return RedirectResponse(f"/job/{name}", 303)


async def live(socket: WebSocket) -> None:
    """A window listens: it is told of every change of the file that it shows."""
    await bench_of(socket).listen(socket)


def three(request: Request) -> Response:
    """The library that draws solids in a browser, from the package that carries it."""
    found = resources.files("jupyter_threejs_sage").joinpath("static", "r130", "three.min.js")
    return Response(found.read_bytes(), media_type="text/javascript")


def _fault(request: Request, fault: Exception) -> Response:
    if isinstance(fault, Elsewhere):
        return HTMLResponse(_conflict(request, fault), 409)
    words = (
        "\n".join(each.message for each in fault.complaints) if isinstance(fault, FileFault) else str(fault)
    )
    return PlainTextResponse(words, 404 if request.method == "GET" and isinstance(fault, FileFault) else 400)


def _broken(request: Request, fault: Exception) -> Response:
    """Something broke inside: one line for the page, and one in the terminal with the place."""
    report_failed(fault)
    return PlainTextResponse(
        "Something broke inside the program; the terminal says where. The file is as it was.", 500
    )


def _conflict(request: Request, fault: Elsewhere) -> str:
    """The file as it is now beside what this window has, if that is still known."""
    what: dict[str, Any] = {}
    with suppress(ValueError):
        what = json.loads(request._body) if hasattr(request, "_body") else {}
        what = what.get("what", what)  # a choice that came too late has the entry with it
    ours = elsewhere.kept_text(bench_of(request).shelf, _name(request), str(what.get("digest")))
    return elsewhere.panel(fault.text, ours, elsewhere.entered(what))


def changed(request: Request) -> Response:
    """What a window has beside the file, which was changed outside the page."""
    desk = _desk(request)
    desks.at_version(desk)
    ours = elsewhere.kept_text(bench_of(request).shelf, desk.name, request.query_params.get("had", ""))
    return HTMLResponse(elsewhere.panel(desk.text, ours, reason="The page shows it as it is now."))


async def take_ours(request: Request) -> Response:
    """What a window has, in the place of what was changed elsewhere."""
    bench, asked = bench_of(request), json.loads(await request.body())
    what = asked.get("what")
    async with bench._writing:
        given = (bench.shelf, _name(request), what if isinstance(what, dict) else {}, str(asked.get("theirs")))
        desk = await run_in_threadpool(elsewhere.take_ours, *given)
    await bench.tell(desk.name, desk.digest)
    return await run_in_threadpool(_answer, desk)


def application(bench: Bench, more: Sequence[Route] = ()) -> Starlette:
    """The page over a folder, and `more` that stands on it."""
    static = Path(__file__).with_name("static")
    routes = [
        Route("/job/{name:path}", job_page),
        Route("/parts/{name:path}", all_parts),
        Route("/do/{name:path}", do, methods=["POST"]),
        Route("/changed/{name:path}", changed),
        Route("/ours/{name:path}", take_ours, methods=["POST"]),
        Route("/choices/{name:path}", gear_choices),
        Route("/remedies/{name:path}", remedies),
        Route("/blank/{name:path}", blank),
        Route("/plan/{name:path}", plan, methods=["POST"]),
        Route("/trace/{name:path}", trace),
        Route("/solid/{name:path}", solid),
        Route("/train/{name:path}", train_part),
        Route("/picture/{name:path}", picture),
        Route("/path/{name:path}", path),
        Route("/sheet/{form}/{name:path}", sheet),
        *more,
        *sample_routes.ROUTES,
        *rack_routes.ROUTES,
        Route("/copy/{name:path}", copy, methods=["POST"]),
        Route("/static/three.js", three),
        Mount("/static", StaticFiles(directory=static)),
        WebSocketRoute("/live", live),
    ]
    handlers: dict[Any, Any] = {HandleadError: _fault, ValueError: _fault, Exception: _broken}
    app = Starlette(routes=routes, lifespan=_life, exception_handlers=handlers)
    app.state.bench = bench
    return app


@asynccontextmanager
async def _life(app: Starlette) -> Any:
    """What goes on beside the answers while the page is served, and its end."""
    bench: Bench = app.state.bench
    goes_on = [asyncio.create_task(one) for one in (bench.watch(), bench.warm())]
    try:
        yield
    finally:
        for one in goes_on:
            one.cancel()
        bench.shut()
