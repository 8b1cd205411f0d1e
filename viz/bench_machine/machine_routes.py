"""The machine's page: its addresses, and what can be entered there."""

from __future__ import annotations

import asyncio
import json
from typing import Any

from handlead.machines.documents.observations_file import read_observations_text
from handlead.machines.keys.link_keys import LINK
from handlead.machines.keys.machine_keys import GEAR_SET, LIMITS
from handlead.machines.toml.filing import write_text
from handlead.viz.bench import parts, train, work
from handlead.viz.bench_files.entered import NotEntered, one_value, typed
from handlead.viz.bench_files.versions import Versions
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response
from starlette.routing import Route

from . import machine_page as pages
from .machine_desk import MachineDesk, begin, keys_of, open_machine, put, set_at

_LOCK = asyncio.Lock()


def _desk(request: Request) -> MachineDesk:
    return open_machine(request.app.state.bench.shelf, str(request.path_params["name"]))


def page(request: Request) -> Response:
    """A machine: rules beside the plate, drawers, limits; and its links as they are written."""
    desk = _desk(request)
    return HTMLResponse(
        parts.render("machine", inside=parts.render("machine_in", **pages.view(desk)), desk=desk)
    )


async def new(request: Request) -> Response:
    """A machine begun: from the one most alike, or from nothing."""
    form = await request.form()
    title, alike = str(form.get("title", "")).strip()[:80], str(form.get("alike", ""))
    if not title or not title.isprintable():
        raise NotEntered("a machine has a name")
    units = "in" if form.get("units") == "in" else "mm"
    shelf = request.app.state.bench.shelf
    stem = await run_in_threadpool(begin, shelf, title, alike, units, json.dumps)
    return RedirectResponse(f"/machine/{stem}", 303)


async def do(request: Request) -> Response:
    """Something was entered: answer with the page's inside."""
    what = json.loads(await request.body())
    async with _LOCK:
        desk = await run_in_threadpool(_done, request, what)
    return JSONResponse({"digest": desk.digest, "inside": await run_in_threadpool(_inside, desk)})


def _inside(desk: MachineDesk) -> str:
    return parts.render("machine_in", **pages.view(desk))


def _text(what: dict[str, Any], key: str) -> str:
    value = what.get(key, "")
    if not isinstance(value, str) or len(value) > 2000 or not value.isprintable():
        raise NotEntered(f"{key}: it must be a text on one line")
    return value.strip()


def _done(request: Request, what: dict[str, Any]) -> MachineDesk:
    desk = _desk(request)
    action = str(what.get("do"))
    if action != "plate" and what.get("digest") != desk.digest:
        raise NotEntered(
            "the file was changed elsewhere meanwhile. Nothing was written over: load the page again"
        )
    if action not in _ACTIONS:
        raise NotEntered("the page asked for something that isn't known here")
    return _ACTIONS[action](desk, what)


def _plate(desk: MachineDesk, what: dict[str, Any]) -> MachineDesk:
    pages.write_plate(desk, _text(what, "key"), _text(what, "value"))
    return desk


def _link(desk: MachineDesk, what: dict[str, Any]) -> MachineDesk:
    kind, name = _text(what, "kind"), _text(what, "name")
    if kind not in LINK or not name:
        raise NotEntered("a link has a kind and a name")
    row = {"name": name, "kind": kind}
    return set_at(desk, ["link", len(desk.links)], row, f"link {name} added")


def _link_key(desk: MachineDesk, what: dict[str, Any]) -> MachineDesk:
    number, name = int(what.get("number", -1)), _text(what, "key")
    if not 0 <= number < len(desk.links):
        raise NotEntered("that link isn't there any more")
    kind = str(desk.links[number].get("kind"))
    key = next((one for one in keys_of(kind) if one.name == name), None)
    if key is None:
        raise NotEntered(f"a {kind} has no {name}")
    said = f"{desk.links[number].get('name')}: {name}"
    return set_at(desk, ["link", number, name], typed(key, _text(what, "value")), said)


def _link_out(desk: MachineDesk, what: dict[str, Any]) -> MachineDesk:
    return set_at(desk, ["link", int(what.get("number", -1))], None, "a link taken out")


def _part(desk: MachineDesk, what: dict[str, Any]) -> MachineDesk:
    table, name = _text(what, "table"), _text(what, "name")
    if table not in ("shafts", "slides") or not name:
        raise NotEntered("a shaft or slide has a name")
    value = None if what.get("out") else _text(what, "where")
    return set_at(desk, [table, name], value, f"{name}{' taken out' if value is None else ''}")


def _end(desk: MachineDesk, what: dict[str, Any]) -> MachineDesk:
    import tomlkit

    end, part, positive = (_text(what, key) for key in ("end", "part", "positive"))
    if end not in ("hob", "table", "axial", "tangential", "radial"):
        raise NotEntered("there is no such end")
    table = tomlkit.inline_table()
    table["part"], table["positive"] = part, positive
    return set_at(desk, ["ends", end], table if part else None, f"end {end}: {part}")


def _lever(desk: MachineDesk, what: dict[str, Any]) -> MachineDesk:
    """A position of a lever, and the states that it puts links into: ``cage clutch = in, cage brake = off``."""
    import tomlkit
    from handlead.machines.toml.tables import Key, TableOf
    from handlead.machines.toml.values import Text

    name, position, states = (_text(what, key) for key in ("name", "position", "states"))
    if not name or not position:
        raise NotEntered("a lever has a name, and each position too")
    value = typed(Key("states", TableOf(Text(), "states"), ""), states) or tomlkit.inline_table()
    document = tomlkit.parse(desk.text)
    levers: Any = document.setdefault("levers", tomlkit.table(is_super_table=True))
    if name not in levers:
        lever = tomlkit.table()
        lever["normal"], lever["positions"] = position, tomlkit.table()
        levers[name] = lever
    levers[name]["positions"][position] = value
    return put(desk, tomlkit.dumps(document), f"lever {name}: {position}")


def _drawer(desk: MachineDesk, what: dict[str, Any]) -> MachineDesk:
    name, fits, teeth = (_text(what, key) for key in ("name", "fits", "teeth"))
    row = {"name": name} | {
        key: value
        for key, text in (("fits", fits), ("teeth", teeth))
        if (value := typed(GEAR_SET.key(key), text)) is not None
    }
    sets = desk.values.get("gear_set") or []
    number = int(what.get("number", -1))
    if 0 <= number < len(sets):
        for key, value in row.items():
            desk = set_at(desk, ["gear_set", number, key], value, f"drawer {name}")
        return desk
    return set_at(desk, ["gear_set", len(sets)], row, f"drawer {name}")


def _limit(desk: MachineDesk, what: dict[str, Any]) -> MachineDesk:
    name = _text(what, "key")
    if name not in LIMITS.names:
        raise NotEntered("there is no such limit")
    return set_at(desk, ["limits", name], typed(LIMITS.key(name), _text(what, "value")), f"limit {name}")


def _drive(desk: MachineDesk, what: dict[str, Any]) -> MachineDesk:
    import tomlkit

    name, shaft, rpm = (_text(what, key) for key in ("name", "shaft", "rpm"))
    table = tomlkit.inline_table()
    table["shaft"] = shaft
    if rpm:
        table["rpm"] = int(rpm) if rpm.isascii() and rpm.isdigit() else rpm
    return set_at(desk, ["drives", name], table, f"drive {name}")


def _undo(desk: MachineDesk, what: dict[str, Any]) -> MachineDesk:
    versions = Versions(desk.shelf.folder, desk.name)
    before = versions.before(versions.of_text(desk.text))
    if before is None:
        raise NotEntered("there is no version before this one")
    write_text(versions.text(before.number), desk.shelf.path(desk.name), overwrite=True)
    return open_machine(desk.shelf, desk.stem)


def _count(desk: MachineDesk, what: dict[str, Any]) -> MachineDesk:
    """One more count on the machine, beside its file."""
    if desk.unfitted is None:
        raise NotEntered("nothing is unknown in this machine's file")
    turned = {"part": _text(what, "turned"), "by": one_value(_text(what, "turns"))}
    moved = {"part": _text(what, "moved"), "by": one_value(_text(what, "by"))}
    if _text(what, "way"):
        moved["way"] = _text(what, "way")
        turned["way"] = "positive"
    if _text(what, "within"):
        moved["within"] = one_value(_text(what, "within"))
    text = pages.with_count(desk, turned, moved, _text(what, "note"))
    name = pages.counts_name(desk)
    read_observations_text(text, desk.unfitted.machine, name)
    versions = Versions(desk.shelf.folder, name)
    versions.keep(text, "counted", versions.all[-1] if versions.all else None)
    write_text(text, desk.shelf.path(name), overwrite=True)
    return desk


_ACTIONS = {
    "plate": _plate, "link": _link, "link key": _link_key, "link out": _link_out, "part": _part, "end": _end,
    "lever": _lever, "drawer": _drawer, "limit": _limit, "drive": _drive, "undo": _undo, "count": _count,
}  # fmt: skip


async def fit(request: Request) -> Response:
    """What the counts say of the unknown numbers, and what to count next."""
    bench, desk = request.app.state.bench, await run_in_threadpool(_desk, request)
    name = pages.counts_name(desk)
    counts = await run_in_threadpool(
        lambda: desk.shelf.path(name).read_text("utf-8") if desk.shelf.path(name).exists() else ""
    )
    found = await bench.later(work.fit, desk.text, desk.name, counts, name, slow=True)
    return HTMLResponse(parts.render("fitted", found=found, desk=desk))


async def write_found(request: Request) -> Response:
    """The numbers that the counts settle, into the machine's file."""
    bench, desk = request.app.state.bench, await run_in_threadpool(_desk, request)
    name = pages.counts_name(desk)
    counts = await run_in_threadpool(lambda: desk.shelf.path(name).read_text("utf-8"))
    found = await bench.later(work.fit, desk.text, desk.name, counts, name, slow=True)
    async with _LOCK:
        done = await run_in_threadpool(put, desk, found.text, "numbers found by counting")
    return JSONResponse({"digest": done.digest, "inside": await run_in_threadpool(_inside, done)})


async def drawing(request: Request) -> Response:
    """The machine's train, levers in their normal positions."""
    bench, desk = request.app.state.bench, await run_in_threadpool(_desk, request)
    drawn = await bench.later(train.drawn_machine, desk.text, desk.name, slow=True)
    return HTMLResponse(parts.render("machine_train", drawn=drawn, desk=desk))


async def picture(request: Request) -> Response:
    """The drawing itself."""
    bench, desk = request.app.state.bench, await run_in_threadpool(_desk, request)
    drawn = await bench.later(train.drawn_machine, desk.text, desk.name, slow=True)
    return Response(drawn.svg, media_type="image/svg+xml")


def path(request: Request) -> Response:
    """The way from the motor to a shaft, or what a link is, levers normal."""
    desk, query = _desk(request), request.query_params
    solution, machine = train.solved(desk.text, desk.name)
    told = train.told_of(solution, machine.units, query.get("part", ""), query.get("link", ""))
    return JSONResponse({"lit": told.lit, "html": parts.render("path", told=told)})


ROUTES = [
    Route("/machine/{name:path}", page),
    Route("/machine-new", new, methods=["POST"]),
    Route("/machine-do/{name:path}", do, methods=["POST"]),
    Route("/machine-fit/{name:path}", fit),
    Route("/machine-found/{name:path}", write_found, methods=["POST"]),
    Route("/machine-train/{name:path}", drawing),
    Route("/machine-picture/{name:path}", picture),
    Route("/machine-path/{name:path}", path),
]
