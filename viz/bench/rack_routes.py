"""The page of a rack of hobs: figures in fields, a hob hung in it or taken out, the last change undone."""

from __future__ import annotations

from handlead.machines.job_keys.work_keys import RACK_HOB
from handlead.machines.toml.errors import FileFault
from handlead.machines.toml.filing import write_text
from handlead.viz.bench_desk import doing, fields
from handlead.viz.bench_desk.rack import KEYS, SIZES, Hung, RackFile
from handlead.viz.bench_drawn import parts
from handlead.viz.bench_files.versions import digest_of
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.routing import Route

from .holding import bench_of


def _rack_of(request: Request, units: str = "mm") -> RackFile:
    return RackFile.at(bench_of(request).shelf, str(request.path_params["name"]), units)


def _page(rack: RackFile, tried: Hung | None = None, said: str = "", status: int = 200) -> Response:
    versions = rack.shelf.versions(rack.name)
    hung = [tried if tried and tried.place == one.place else one for one in rack.hobs]
    new = tried if tried and tried.place is None else Hung(None, {})
    lengths = {"diameter", "outside_diameter", "length", "ground_to"}
    return HTMLResponse(parts.render(
        "rack", rack=rack, hobs=hung, new=new, said=said, keys=KEYS, sizes=SIZES, lengths=lengths,
        digest=digest_of(rack.text),
        meanings={key: RACK_HOB.key(key).meaning for key in KEYS if key in RACK_HOB.names},
        choices={key: fields.choices_of(RACK_HOB.key(key).value) for key in KEYS if key in RACK_HOB.names},
        undo=versions.before(versions.of_text(rack.text)) is not None,
    ), status)  # fmt: skip


def show(request: Request) -> Response:
    """The rack beside the jobs of a folder; an empty one where there is none yet."""
    return _page(_rack_of(request))


async def enter(request: Request) -> Response:
    """A hob's figures, a hob taken out, or the last change undone; the page again, with what is wrong beside it."""
    form = {key: str(value)[:200] for key, value in (await request.form()).items()}
    return await run_in_threadpool(_entered, request, form)


def _entered(request: Request, form: dict[str, str]) -> Response:
    rack = _rack_of(request, "in" if form.get("units") == "in" else "mm")
    place = int(form["place"]) if form.get("place", "").isdigit() else None
    tried = Hung(place, form)
    if form.get("digest") != digest_of(rack.text) and rack.exists:
        said = "The rack was changed elsewhere meanwhile: it is shown as it is now, with what you typed."
        return _page(rack, tried, said, 409)
    if place is not None and place >= len(rack.hobs):
        raise doing.NotDone("there is no such hob in the rack")
    try:
        if form.get("do") == "undo":
            _undo(rack)
        elif form.get("do") == "take out" and place is not None:
            rack.write(rack.take_out(place), f"taken out: {rack.hobs[place].typed.get('name', 'hob')}")
        else:
            rack.write(rack.hang(place, form), f"hob: {form.get('name', '')}")
    except FileFault as fault:
        wrong = tuple(f"{each.key}: {each.message}" if each.key else each.message for each in fault.complaints)
        return _page(rack, Hung(place, form, wrong), status=400)
    return RedirectResponse(f"/rack/{rack.name}", 303)


def _undo(rack: RackFile) -> None:
    versions = rack.shelf.versions(rack.name)
    before = versions.before(versions.of_text(rack.text))
    if before is None:
        raise doing.NotDone("there is no version before this one")
    write_text(versions.text(before.number), rack.shelf.path(rack.name), overwrite=True)


ROUTES = [Route("/rack/{name:path}", show), Route("/rack/{name:path}", enter, methods=["POST"])]
