"""The page's parts, each drawn by a template from one job on the desk."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import jinja2
from handlead.kinematics.links.mounted import ChangeGears
from handlead.machines.job_files.hob_rack import RACK
from handlead.machines.job_keys.work_keys import TOOTH_SIZES
from handlead.machines.measuring.part_sizes import part_sizes
from handlead.machines.proving.proof import Proof
from handlead.machines.setups.findings import worst_first
from handlead.machines.toml.errors import HandleadError
from handlead.machines.toml.units import length
from handlead.viz.bench_desk import desk as desks
from handlead.viz.bench_desk import fields
from handlead.viz.bench_desk.desk import Desk
from handlead.viz.bench_desk.history import found_before, measured_before
from handlead.viz.bench_files.shelf import Shelf
from handlead.viz.gear_reports.measure import headline
from handlead.viz.look.shop import Shop
from handlead.viz.reports.proof import comparison_rows
from handlead.viz.streams.terminal import CAUTION

from .drawings import BracketView, bracket_view, head_view, strips

#: The parts of a job's page in the order of the work, each with its heading.
PARTS = {
    "drawing": "Drawing",
    "hob": "Hob",
    "setup": "Set-up",
    "plan": "Planned set-ups",
    "gear": "The gear",
    "train": "Train",
    "light": "Light cut",
    "found": "Found",
    "deeper": "Deeper and done",
    "finished": "Finished gear",
    "sheet": "Sheet",
    "versions": "Versions",
}

#: The parts that a change of the job draws anew.
LIVE = ("verdict", "drawing", "hob", "setup", "light", "found", "deeper", "finished", "sheet", "versions")

#: Those that answer a tap on the set-up; the others follow a moment later.
AT_ONCE = ("verdict", "setup")


@cache
def _shelf() -> jinja2.Environment:
    return jinja2.Environment(
        loader=jinja2.FileSystemLoader(Path(__file__).parents[1] / "bench" / "templates"),
        autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True, auto_reload=False,
    )  # fmt: skip


def render(template: str, **values: Any) -> str:
    """A template with these values."""
    return _shelf().get_template(f"{template}.html").render(caution=CAUTION, **values)


def part(desk: Desk, name: str) -> str:
    """One part of the page."""
    return render(f"part_{name}", desk=desk, **_VIEWS.get(name, _nothing)(desk))


def warm(text: str) -> None:
    """Draw the page of a job that nobody asked for, in a folder that goes again: the first who asks waits no longer."""
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        Path(folder, "warm.toml").write_text(text, encoding="utf-8")
        desk = desks.open_desk(Shelf(Path(folder)), "warm.toml")
        drawn = {name: part(desk, name) for name in ("verdict", *PARTS)}
        render("job", desk=desk, titles=PARTS, parts=drawn)
        desk.shelf.close()


def _nothing(desk: Desk) -> dict[str, Any]:
    return {}


def _drawing(desk: Desk) -> dict[str, Any]:
    given = (desk.values, desk.drafts, desk.errors, desk.units)
    first, more = fields.fields_of("work", *given)
    mate, _ = fields.fields_of("mate", *given)
    cutting, _ = fields.fields_of("cutting", *given)
    sizes = _sizes(desk)
    return {
        "first": first, "size": fields.size_field("work", *given), "more": more, "mate": mate, "cutting": cutting,
        "sizes": sizes, "elsewhere": _elsewhere(desk),
        "alike": desk.shelf.alike(desk.job, desk.name) if desk.job else (),
    }  # fmt: skip


def _elsewhere(desk: Desk) -> tuple[str, ...]:
    """What is wrong at no field that the page shows; of a job just begun not that its tables aren't there yet."""
    shown = {f"{table}.{key}" for table, both in fields.SHOWN.items() for keys in both for key in keys}
    sizes = {f"{table}.{key}" for table in ("work", "hob", "mate") for key in TOOTH_SIZES}
    return tuple(f"{path}: {words}" if path else words for path, told in desk.errors.items()
                 if path not in shown | sizes and (desk.exists or path != "format") for words in told)  # fmt: skip


def _sizes(desk: Desk) -> tuple[tuple[str, str], ...]:
    """The sizes that follow from the drawing, in words."""
    from handlead.kinematics.train.setup import Setup
    from handlead.machines.setups.case import Case

    if desk.job is None:
        return ()
    case = desk.case or Case.of(desk.job, Setup(desk.job.machine.normal_drive))
    sizes, units = part_sizes(case), desk.units
    named = (
        ("outside diameter", sizes.outside_diameter), ("depth", sizes.depth), ("roots", sizes.root_diameter),
        ("centres at depth", sizes.centres), ("lead", float(desk.job.work.lead_mm) if desk.job.work.lead_mm else None),
    )  # fmt: skip
    told = [(name, length(value, units)) for name, value in named if value]
    if sizes.span:
        told.append((f"span over {sizes.span.teeth} teeth", length(sizes.span.size, units)))
    if sizes.balls:
        told.append((f"over two balls of {length(sizes.balls.ball, units)}", length(sizes.balls.size, units)))
    swivel = desk.job.machine.swivel_text(case.swivel_wanted_deg, seen=False)
    return (*told, ("head", swivel))


def _hob(desk: Desk) -> dict[str, Any]:
    given = (desk.values, desk.drafts, desk.errors, desk.units)
    first, more = fields.fields_of("hob", *given)
    named = desk.values.get("hob")
    named = named if isinstance(named, str) else (named or {}).get("name", "") if named else ""
    return {"first": first, "size": fields.size_field("hob", *given), "more": more, "rack": rack(desk), "named": named,
            "rack_at": Path(desk.name).with_name(RACK).as_posix(), "own": desk.job is not None and not named,
            "wrong": desk.errors.get("hob", ())}  # fmt: skip


def rack(desk: Desk) -> tuple[str, ...]:
    """The names of the hobs in the rack beside the job."""
    from handlead.machines.job_files.hob_rack import rack_beside, read_rack
    from handlead.machines.toml.errors import FileFault

    found = rack_beside(desk.path.parent)
    try:
        return tuple(read_rack(found, found.name)) if found else ()
    except FileFault:
        return ()


def _bracket(desk: Desk, link: ChangeGears) -> BracketView:
    return bracket_view(link, desk.units, desk.letters(link.name))


def _setup(desk: Desk) -> dict[str, Any]:
    up = Shop.of(desk.case).up if desk.case else ""
    if desk.job is None:
        return {"up": up, "brackets": (), "levers": (), "head": None, "drives": (), "normal": ""}
    machine = desk.job.machine
    stands = machine.positions(desk.job.setup)
    levers = tuple(
        (name, tuple(lever.positions), stands[name], lever.normal) for name, lever in machine.levers.items()
    )
    train = desk.case.train if desk.case else machine.train
    drives = tuple(machine.train.drives)
    return {
        "up": up,
        "brackets": tuple(_bracket(desk, link) for link in train.brackets), "levers": levers,
        "head": head_view(desk.case) if desk.case else None, "drives": drives, "normal": machine.normal_drive,
    }  # fmt: skip


@dataclass(frozen=True)
class VerdictRow:
    """Wanted beside made, and what the version before would have made."""

    name: str
    wanted: str
    made: str
    before: str
    differs: bool


def _verdict(desk: Desk) -> dict[str, Any]:
    proof = desk.proof
    if proof is None:
        return {"rows": (), "findings": (), "was": None, "missing": tuple(_missing(desk))}
    was = _proof_before(desk)
    before = {row[0]: row[2] for row in comparison_rows(was)} if was else {}
    rows = tuple(
        VerdictRow(name, wanted, made, before.get(name, ""), name in ("teeth", "hand") and wanted != made)
        for name, wanted, made, _ in comparison_rows(proof)
    )
    return {"rows": rows, "findings": worst_first(proof.judged), "was": was if before else None, "missing": ()}


#: What a job has at least, by its table.
_FIRST = {
    "work": "what the drawing says: kind, teeth and size at least",
    "hob": "what is marked on the hob: its size at least",
}


def _missing(desk: Desk) -> Iterator[str]:
    """What is wrong or missing, each with the field that it is about."""
    for path, told in desk.errors.items():
        if path == "format" and not desk.exists:
            begun = {each.partition(".")[0] for each, value in desk.drafts.items() if value} | set(desk.values)
            yield from (words for table, words in _FIRST.items() if table not in begun)
            continue
        table, _, key = path.partition(".")
        where = {"work": "drawing"}.get(table, table) + (f", {fields.name_of(path)}" if key else "")
        yield from (f"{where}: {words}" if where else words for words in told)


def _proof_before(desk: Desk) -> Proof | None:
    """The proof of the version of which this one was made."""
    versions = desk.versions
    before = versions.before(versions.of_text(desk.text))
    if before is None or desk.job is None:
        return None
    return _proof_of(desk, before.number)


def _proof_of(desk: Desk, number: int) -> Proof | None:
    try:
        return desks.proved(desks.source_of(desk, desk.versions.text(number)))
    except HandleadError:
        return None


def _light(desk: Desk) -> dict[str, Any]:
    return (
        {"strips": strips(desk.case), "up": Shop.of(desk.case).up} if desk.case else {"strips": (), "up": ""}
    )


def _found(desk: Desk) -> dict[str, Any]:
    first, more = fields.fields_of("seen", desk.values, desk.drafts, desk.errors, desk.units)
    checks = desk.job.seen.checks if desk.job and desk.job.seen else ()
    return {"first": first, "more": more, "checks": checks, "before": found_before(desk)}


def _deeper(desk: Desk) -> dict[str, Any]:
    from handlead.machines.measuring.going_deeper import NotMeasured, go_deeper

    if desk.job is None or desk.case is None:
        return {"sizes": None, "found": None, "rows": (), "headline": "", "before": ()}
    sizes, units = part_sizes(desk.case), desk.units
    try:
        found = go_deeper(desk.job) if desk.job.measured else None
    except (NotMeasured, ValueError):
        found = None
    rows = () if found is None else tuple(
        (each.what, length(each.found, units), length(each.wanted, units), length(then, units))
        for each, (_, then) in zip(found.measures, found.then, strict=True)
    )  # fmt: skip
    return {"sizes": sizes, "found": found, "rows": rows, "headline": headline(found) if found else "",
            "before": measured_before(desk)}  # fmt: skip


#: Records beside a job that are named on its page.
_NAMED = 6


def _finished(desk: Desk) -> dict[str, Any]:
    names = desk.shelf.records(desk.name)
    return {"records": names[:_NAMED], "more": max(len(names) - _NAMED, 0)}


def _sheet(desk: Desk) -> dict[str, Any]:
    return {"mate": desks.mate_of(desk)}


def _versions(desk: Desk) -> dict[str, Any]:
    versions = desk.versions
    now = versions.of_text(desk.text)
    return {
        "now": now,
        "all": tuple(reversed(versions.all))[:40],
        "before": versions.before(now),
        "after": versions.after(now),
    }


_VIEWS = {
    "drawing": _drawing, "hob": _hob, "setup": _setup, "verdict": _verdict, "light": _light, "found": _found,
    "deeper": _deeper, "finished": _finished, "sheet": _sheet, "versions": _versions,
}  # fmt: skip
