"""The sample's page: what was measured on a worn gear, which systems of teeth fit, and a job made of one of them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import tomlkit
from handlead.kinematics.frame.words import angle_text
from handlead.machines.documents.sample import Named, NoSuchCandidate, job_of, job_text_of, read_sample_text
from handlead.machines.toml.errors import FileFault
from handlead.machines.toml.filing import plain, write_text
from handlead.machines.toml.units import length
from handlead.viz.bench_drawn import parts
from handlead.viz.bench_files.entered import one_value
from handlead.viz.bench_files.versions import text_or_none
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.routing import Route

from .holding import bench_of

#: The readings that the page asks for: their path in the file, and what they are called.
READINGS: Mapping[str, str] = {
    "teeth": "teeth", "hand": "lean to the", "wear": "how it looks", "face_width": "face width",
    "outside_diameter": "outside diameter", "root_diameter": "diameter at the roots",
    "lean": "lean at the outside, degrees", "lead": "lead",
    "span.0.teeth": "span over how many teeth", "span.0.length": "that span reads",
    "span.1.teeth": "second span, over teeth", "span.1.length": "second span reads",
    "balls.0.diameter": "diameter of balls or pins", "balls.0.over": "size over two of them",
    "mate.teeth": "teeth of its mate", "mate.centre_distance": "centres of the pair",
}  # fmt: skip

_CHOICES = {"hand": ("right", "left", "none"), "wear": ("new", "worn", "badly worn")}


def _given(text: str | None) -> dict[str, str]:
    """The readings in a file, by their paths."""
    if text is None:
        return {}
    values = tomlkit.parse(plain(text)).unwrap()
    found = {}
    for path in READINGS:
        here: Any = values
        for step in path.split("."):
            here = here[int(step)] if isinstance(here, list) and step.isdigit() and int(step) < len(here) else (
                here.get(step) if isinstance(here, dict) else None
            )  # fmt: skip
        if isinstance(here, dict):
            here = here.get("value")
        if here is not None:
            found[path] = str(here)
    return found


def _text(title: str, units: str, given: Mapping[str, str]) -> str:
    """The sample file of these readings."""
    document = tomlkit.document()
    document["format"], document["title"], document["units"] = "sample/1", title, units
    tables: dict[str, Any] = {}
    for path in READINGS:
        typed = given.get(path, "").strip()
        if not typed:
            continue
        head, *rest = path.split(".")
        if not rest:
            document[head] = one_value(typed)
        else:
            at = tables.setdefault(".".join(path.split(".")[:-1]), tomlkit.table())
            at[rest[-1]] = one_value(typed)
    for path, table in tables.items():
        head, *rest = path.split(".")
        if rest:
            if head not in document:
                document[head] = tomlkit.aot()
            rows: Any = document[head]
            rows.append(table)
        else:
            document[head] = table
    return tomlkit.dumps(document)


def _page(
    request: Request, heading: tuple[str, str], given: Mapping[str, str], *, name: str = "",
    named: Named | None = None, faults: tuple[str, ...] = (),
) -> Response:  # fmt: skip
    title, units = heading
    shelf = bench_of(request).shelf
    return HTMLResponse(parts.render(
        "sample", title=title, units=units, given=given, readings=READINGS, choices=_CHOICES, name=name, faults=faults,
        told=_told(named) if named else None, machines=shelf.machines,
    ))  # fmt: skip


def _told(named: Named) -> dict[str, Any]:
    """What fits, how well each reading agrees, and what to measure next."""
    rows = []
    for number, one in enumerate(named.identity.candidates[:5], 1):
        lean = f"helix {angle_text(one.helix_angle_deg)}" if one.helix_angle_deg else "straight"
        shift = f"shift {one.profile_shift:+.2f}" if one.profile_shift else "no shift"
        readings = [
            (each.what, _size(each.taken, each.what, named), _size(each.new, each.what, named),
             "" if abs(each.off) <= 1 or not each.binds else f"{abs(each.off):.1f} times what it may be off")
            for each in one.agreements
        ]  # fmt: skip
        rows.append(
            (number, one.system.name, lean, shift, f"{100 * one.share:.0f} of 100", one.fits, readings)
        )
    following = named.identity.next_reading
    says = "ONE FITS" if named.is_one else "SEVERAL FIT" if named.fitting else "NONE FITS"
    following_words = "" if following is None or not named.fitting else following.what
    return {"says": says, "rows": rows, "next": following_words}


def _size(value: float, what: str, named: Named) -> str:
    return f"{value:.2f}°" if "lean" in what else length(value, named.units)


def show(request: Request) -> Response:
    """The page for a worn gear: a new one, or one whose file lies in the folder."""
    name = request.query_params.get("file", "")
    text = text_or_none(bench_of(request).shelf.path(name)) if name else None
    if text is None:
        return _page(request, ("", "mm"), {})
    values = tomlkit.parse(plain(text)).unwrap()
    title, units = str(values.get("title", "")), "in" if values.get("units") == "in" else "mm"
    try:
        return _page(
            request, (title, units), _given(text), name=name, named=read_sample_text(plain(text), name)
        )
    except FileFault as fault:
        return _page(request, (title, units), _given(text), name=name, faults=_words(fault))


def _words(fault: FileFault) -> tuple[str, ...]:
    return tuple(f"{each.key}: {each.message}" if each.key else each.message for each in fault.complaints)


async def enter(request: Request) -> Response:
    """What was measured, into a file of its own; then what it may be."""
    form = {key: str(value)[:80] for key, value in (await request.form()).items()}
    return await run_in_threadpool(_entered, request, form)


def _entered(request: Request, form: dict[str, str]) -> Response:
    shelf = bench_of(request).shelf
    title, units = form.get("title", "").strip() or "sample", "in" if form.get("units") == "in" else "mm"
    given = {path: form.get(path, "") for path in READINGS}
    name = form.get("file") or shelf.new_name(f"{title} sample")
    text = _text(title, units, given)
    try:
        read_sample_text(text, name)
    except FileFault as fault:
        return _page(request, (title, units), given, name=form.get("file", ""), faults=_words(fault))
    shelf.versions(name).keep(text, "measured", None)
    write_text(text, shelf.path(name), overwrite=True)
    return RedirectResponse(f"/sample?file={name}", 303)


async def make_job(request: Request) -> Response:
    """A job of one of the systems that fit."""
    form = {key: str(value)[:200] for key, value in (await request.form()).items()}
    return await run_in_threadpool(_job, request, form)


def _job(request: Request, form: dict[str, str]) -> Response:
    shelf, name = bench_of(request).shelf, form.get("file", "")
    text = text_or_none(shelf.path(name))
    number, machine = form.get("number", ""), form.get("machine", "")
    if text is None or not number.isdigit() or machine not in shelf.machines:
        raise NoSuchCandidate("choose one of the systems, and a machine")
    named = read_sample_text(plain(text), name)
    job = shelf.new_name(named.title)
    job_of(named, int(number), machine, job, str(shelf.folder))
    write_text(job_text_of(named, int(number), machine), shelf.path(job))
    return RedirectResponse(f"/job/{job}", 303)


ROUTES = [
    Route("/sample", show),
    Route("/sample", enter, methods=["POST"]),
    Route("/sample-job", make_job, methods=["POST"]),
]
