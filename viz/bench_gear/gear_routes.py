"""The finished gear's page: its addresses, and what can be asked and entered there."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import Any

from handlead.machines.gear_records.lines import text_in
from handlead.machines.inspecting.loop import ships
from handlead.machines.toml.filing import write_text
from handlead.viz.bench.holding import Bench, bench_of
from handlead.viz.bench_desk import desk as desks
from handlead.viz.bench_desk.desk import Desk
from handlead.viz.bench_desk.doing import NotDone
from handlead.viz.bench_drawn import parts
from handlead.viz.bench_files.entered import asked_of
from handlead.viz.bench_files.versions import digest_of
from handlead.viz.bench_machine.machine_desk import open_machine, put
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response
from starlette.routing import Route

from . import answering
from . import gear_page as pages
from .answering import AskedOf, ShownAnswer
from .beside import Chosen, PutThere, bring_back, opened_again, put_beside, record_path, take_file
from .typed import PLACED, GearAtHand, TypedRecord, begun_again

_LOCK = asyncio.Lock()

#: Characters of a field that are kept.
_LONGEST = 2000

#: The fields that change which others there are.
_SHAPING = ("quantity", "unit", "lengths", *PLACED)


def _desk(request: Request) -> Desk:
    return desks.open_desk(bench_of(request).shelf, str(request.path_params["name"]))


async def _gear(request: Request) -> tuple[Desk, GearAtHand]:
    """The job, and its gear; where a profile is typed, with the length of roll of its flank."""
    bench, desk = bench_of(request), await run_in_threadpool(_desk, request)
    gear = pages.gear_of(desk)
    if TypedRecord(gear, pages.typed_drafts(desk).fields).quantity == "profile":
        rolls = await bench.later(answering.flank_rolls, bench.source(desk))
        gear = pages.gear_of(desk, rolls)
    return desk, gear


async def page(request: Request) -> Response:
    """The page of a job's finished gear."""
    desk, gear = await _gear(request)
    return HTMLResponse(await run_in_threadpool(pages.page, desk, gear))


async def keep(request: Request) -> Response:
    """Fields as they are typed, kept on the disk; answers with what is wrong, and with the fields where they change."""
    asked = asked_of(await request.body())
    given = asked.get("fields")
    given = {str(key)[:40]: str(value)[:_LONGEST] for key, value in given.items()} if isinstance(given, dict) else {}
    async with _LOCK:
        await run_in_threadpool(_hold, await run_in_threadpool(_desk, request), given)
    desk, gear = await _gear(request)
    tried = bool(asked.get("tried"))
    if any(key in _SHAPING for key in given):
        return JSONResponse({"sheet": await run_in_threadpool(lambda: pages.sheet(desk, gear, tried=tried))})
    return JSONResponse(await run_in_threadpool(_told, desk, gear, tried))


def _hold(desk: Desk, given: dict[str, str]) -> None:
    drafts = pages.typed_drafts(desk)
    drafts.hold({**drafts.fields, **given})


def _told(desk: Desk, gear: GearAtHand, tried: bool) -> dict[str, Any]:
    one = TypedRecord(gear, pages.typed_drafts(desk).fields)
    wrong, whole = pages.told_wrong(one, tried)
    return {
        "wrong": dict(wrong), "whole": list(whole), "taken": f"{one.taken} of {len(one.readings)} read",
        "name": one.value("name"),
    }  # fmt: skip


async def save(request: Request) -> Response:
    """The typed record into its file beside the job: whole, or all that is wrong with it."""
    asked = asked_of(await request.body())
    desk, gear = await _gear(request)
    async with _LOCK:
        return JSONResponse(await run_in_threadpool(_saved, desk, gear, str(asked.get("over", ""))))


def _saved(desk: Desk, gear: GearAtHand, over: str) -> dict[str, Any]:
    drafts = pages.typed_drafts(desk)
    one = TypedRecord(gear, drafts.fields)
    checked, wrong = one.check()
    name = one.value("name").strip()
    name = name if Path(name).suffix else f"{name}.csv"
    if wrong or checked.record is None:
        return {"sheet": pages.sheet(desk, gear, tried=True)}
    done = put_beside(desk, name, one.sheet.text.encode("utf-8"), over)
    if not done.is_there:
        return _there(done)
    # The next record is mostly of the same gear, counted the same way: only what was read goes, and the name.
    rest = {key: value for key, value in drafts.fields.items() if key not in one.readings and key != "name"}
    drafts.hold(rest)
    return {
        "sheet": pages.sheet(desk, gear, said=f"Kept as {name}, and ticked above."),
        "records": pages.records(desk, gear), "saved": name,
    }  # fmt: skip


def _there(done: PutThere) -> dict[str, Any]:
    """That a file is there already, or can't be used."""
    return {"name": done.name, "there": done.asks, "faults": list(done.faults)}


async def take(request: Request) -> Response:
    """A file from this device, put beside the job as it came once it can be used."""
    desk, gear = await _gear(request)
    query, content = request.query_params, await request.body()
    async with _LOCK:
        given = (desk, gear, query.get("file", ""), content, query.get("over", ""))
        done = await run_in_threadpool(take_file, *given)
    if not done.is_there:
        return JSONResponse(_there(done))
    return JSONResponse({"saved": done.name, "records": await run_in_threadpool(pages.records, desk, gear)})


async def back(request: Request) -> Response:
    """A record as it was before it was written over."""
    asked = asked_of(await request.body())
    desk, gear = await _gear(request)
    async with _LOCK:
        await run_in_threadpool(bring_back, desk, str(asked.get("name")))
    return HTMLResponse(await run_in_threadpool(pages.records, desk, gear))


async def correct(request: Request) -> Response:
    """A record that lies there in the fields again, or one that is asked for begun in them.

    What is typed there and isn't kept goes only if that is `sure`.
    """
    asked = asked_of(await request.body())
    desk, gear = await _gear(request)
    async with _LOCK:
        drafts = pages.typed_drafts(desk)
        if TypedRecord(gear, drafts.fields).taken and not asked.get("sure"):
            return JSONResponse({"ask": "What is typed in the fields isn't kept in a file yet."})
        begun = asked.get("fields")
        if isinstance(begun, dict):
            kept = begun_again(drafts.fields, {str(key): str(value)[:_LONGEST] for key, value in begun.items()})
        else:
            kept = dict(await run_in_threadpool(opened_again, desk, gear, str(asked.get("name"))))
        drafts.hold(kept)
    desk, gear = await _gear(request)
    tried = not isinstance(begun, dict)
    return JSONResponse({"sheet": await run_in_threadpool(lambda: pages.sheet(desk, gear, tried=tried))})


async def clear(request: Request) -> Response:
    """The readings that are typed taken out; what is said above them stays."""
    desk, gear = await _gear(request)
    async with _LOCK:
        drafts = pages.typed_drafts(desk)
        one = TypedRecord(gear, drafts.fields)
        gone = {*one.readings, *one.beyond, "name"}
        drafts.hold({key: value for key, value in drafts.fields.items() if key not in gone})
    return JSONResponse({"sheet": await run_in_threadpool(pages.sheet, desk, gear)})


async def choose(request: Request) -> Response:
    """Which records are looked at."""
    asked = asked_of(await request.body())
    desk, gear = await _gear(request)
    names, counted = asked.get("names"), str(asked.get("counted", ""))
    names = [str(name)[:200] for name in names][:100] if isinstance(names, list) else []
    for name in names:
        record_path(desk, name)
    Chosen(desk).hold(names, counted if counted in pages.WAYS else "")
    return HTMLResponse(await run_in_threadpool(pages.records, desk, gear))


def _asked_of(desk: Desk, names: list[str], counted: str) -> AskedOf:
    """The records by name, with what tells their content now. Raises `NotDone` where there are none."""
    if not names:
        raise NotDone("tick the records that are to be looked at, or keep one typed by hand")
    digests = []
    for name in names:
        path = record_path(desk, name)
        if not path.is_file():
            raise NotDone(f"{name}: it isn't there any more")
        digests.append(digest_of(text_in(path.read_bytes())))
    return AskedOf(tuple(names), tuple(digests), counted if counted in pages.WAYS else "")


async def ask(request: Request) -> Response:
    """What the ticked records say of the machine."""
    bench, desk = bench_of(request), await run_in_threadpool(_desk, request)
    pages.gear_of(desk)
    chosen = Chosen(desk)
    there = await run_in_threadpool(bench.shelf.records, desk.name)
    asked = await run_in_threadpool(_asked_of, desk, [one for one in chosen.names if one in there], chosen.counted)
    found: ShownAnswer = await bench.later(answering.inspected, bench.source(desk), asked, slow=True)
    return HTMLResponse(await run_in_threadpool(pages.answer, desk, asked, found))


async def _queried(request: Request) -> tuple[Bench, Desk, AskedOf]:
    bench, desk = bench_of(request), await run_in_threadpool(_desk, request)
    query = request.query_params
    return bench, desk, await run_in_threadpool(_asked_of, desk, query.getlist("r"), query.get("counted", ""))


async def chart(request: Request) -> Response:
    """A record's chart."""
    bench, desk, asked = await _queried(request)
    number = int(request.path_params["number"])
    body = await bench.later(answering.chart, bench.source(desk), asked, number, slow=True)
    return Response(body, media_type="image/svg+xml")


async def paper(request: Request) -> Response:
    """All charts on paper."""
    bench, desk, asked = await _queried(request)
    body = await bench.later(answering.charts_on_paper, bench.source(desk), asked, slow=True)
    return _pdf(body, f"{Path(desk.name).stem}-inspection.pdf")


async def report(request: Request) -> Response:
    """The simulated gear as an inspection report, records over it where there are any in the address."""
    if request.query_params.getlist("r"):
        bench, desk, asked = await _queried(request)
    else:
        bench, desk = bench_of(request), await run_in_threadpool(_desk, request)
        asked = AskedOf((), ())
    pages.gear_of(desk)
    size = "Letter" if desk.units == "in" else "A4"
    body = await bench.later(answering.report, bench.source(desk), asked, size, slow=True)
    return _pdf(body, f"{Path(desk.name).stem}-simulated.pdf")


def _pdf(body: bytes, name: str) -> Response:
    kept = {"content-disposition": f'attachment; filename="{name.encode("ascii", "replace").decode()}"'}
    return Response(body, media_type="application/pdf", headers=kept)


async def write(request: Request) -> Response:
    """What was found into the machine's file, as it was shown."""
    bench, what = bench_of(request), asked_of(await request.body())
    desk = await run_in_threadpool(_desk, request)
    names = what.get("names")
    asked = await run_in_threadpool(
        _asked_of, desk, [str(name) for name in names] if isinstance(names, list) else [], str(what.get("counted", ""))
    )
    found: ShownAnswer = await bench.later(answering.inspected, bench.source(desk), asked, slow=True)
    if digest_of(found.taking.before) != what.get("before"):
        raise NotDone("the machine's file was changed meanwhile, so nothing is written. Ask again which part left this")
    async with _LOCK:
        stem = await run_in_threadpool(_written, bench, found)
    return HTMLResponse(parts.render("finished_wrote", desk=desk, stem=stem, file=f"{Path(stem).name}.toml"))


def _written(bench: Bench, found: ShownAnswer) -> str:
    """The machine's file written; what it held is among its versions. Returns its name on the page."""
    if not pages.is_in_folder(bench.shelf, found.taking.path):
        raise NotDone(pages.OUTSIDE)
    stem = Path(found.taking.path).resolve().relative_to(bench.shelf.folder).with_suffix("").as_posix()
    machine = open_machine(bench.shelf, stem)
    if machine.is_draft or machine.text != found.taking.before:
        raise NotDone("something was entered on the machine's page that isn't in its file yet: finish that first")
    put(machine, found.taking.after, "found on a finished gear")
    return stem


async def copy_machine(request: Request) -> Response:
    """A copy of a machine that ships, beside the job, which then goes by it."""
    desk = await run_in_threadpool(_desk, request)
    async with bench_of(request)._writing:
        name = await run_in_threadpool(_copied, desk)
    return JSONResponse({"saved": name})


def _copied(desk: Desk) -> str:
    import tomlkit
    from handlead.machines.machine_files.catalogue import locate
    from handlead.machines.toml.filing import plain, read_text

    pages.gear_of(desk)
    assert desk.job is not None
    path = Path(desk.job.machine.path)
    if not ships(path):
        raise NotDone("its machine has a file of its own already")
    copy = desk.path.with_name(path.name)
    write_text(read_text(path), copy)
    found = locate(str(desk.values.get("machine", "")), desk.path.parent)
    if found is None or not Path(found[0]).samefile(copy):
        # The job goes by the machine's name, not by its file's.
        document = tomlkit.parse(plain(desk.text))
        document["machine"] = copy.stem
        desks.write(desks.open_desk(desk.shelf, desk.name), tomlkit.dumps(document), "a machine of its own")
    return copy.name


ROUTES: list[Any] = [
    Route("/finished/{name:path}", page),
    Route("/finished-keep/{name:path}", keep, methods=["POST"]),
    Route("/finished-save/{name:path}", save, methods=["POST"]),
    Route("/finished-take/{name:path}", take, methods=["POST"]),
    Route("/finished-back/{name:path}", back, methods=["POST"]),
    Route("/finished-correct/{name:path}", correct, methods=["POST"]),
    Route("/finished-clear/{name:path}", clear, methods=["POST"]),
    Route("/finished-choose/{name:path}", choose, methods=["POST"]),
    Route("/finished-ask/{name:path}", ask, methods=["POST"]),
    Route("/finished-chart/{number:int}/{name:path}", chart),
    Route("/finished-paper/{name:path}", paper),
    Route("/finished-report/{name:path}", report),
    Route("/finished-write/{name:path}", write, methods=["POST"]),
    Route("/finished-copy/{name:path}", copy_machine, methods=["POST"]),
]
