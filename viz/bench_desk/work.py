"""What takes longer than a tap, in processes of their own: blanks, remedies, plans, meshes and sheets.

Every function takes the text of a job, as it stood when it was asked, and gives back plain values.
"""

from __future__ import annotations

import json
import struct
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from handlead.kinematics.train.setup import Setup
    from handlead.machines.job_files.job_file import Job
    from handlead.machines.members.found import SearchShare
    from handlead.machines.planning.planning import Plan


@dataclass(frozen=True)
class Source:
    """A job's text, its name, and the folder that it lies in; `stamp` changes with the machines and hobs in there."""

    text: str
    name: str
    beside: str
    stamp: float = 0.0

    def job(self) -> Job:
        """The job. Raises `FileFault`."""
        from handlead.machines.job_files.job_file import read_job_text
        from handlead.machines.toml.filing import plain

        return read_job_text(plain(self.text), self.name, self.beside)


@dataclass(frozen=True)
class Remedies:
    """Findings as (severity, code, message, remedy), and the steps of the correction with the set-up after them all."""

    findings: tuple[tuple[str, str, str, str], ...]
    steps: tuple[str, ...]
    setup: Setup | None


@dataclass(frozen=True)
class NoAnswer:
    """Why there is no answer, in the words of the files' errors."""

    words: str


def answered(function: Callable[..., Any], *given: Any) -> Any:
    """What the function gives, or why it gives nothing: a complaint can't cross to another process as it is."""
    from handlead.machines.toml.errors import FileFault, HandleadError

    try:
        return function(*given)
    except FileFault as fault:
        return NoAnswer("\n".join(each.message for each in fault.complaints))
    except (HandleadError, ValueError) as fault:
        return NoAnswer(str(fault))


def end_with_the_server() -> None:
    """A process that works ends when the server does, however that ended: a killed one can't tell it to."""
    import multiprocessing
    import os
    import threading

    server = multiprocessing.parent_process()

    def wait() -> None:
        if server is not None:
            server.join()
            os._exit(0)

    threading.Thread(target=wait, daemon=True).start()


#: Where a process puts what it has found so far, for the server to fetch.
_so_far: list[Any] = []


def begin(told: Any) -> None:
    """A process that works begins: `told` takes what it has found before it has done. A tap goes before its work."""
    import os

    end_with_the_server()
    with suppress(OSError, AttributeError):
        os.nice(10)
    _so_far.append(told)


def warm() -> str:
    """Plan, cut and prove a job that nobody asked for: whoever asks first waits no longer than the next. Its text, with
    the set-up that was found."""
    from handlead.machines.machine_files.catalogue import shipped_machines
    from handlead.machines.planning.planning import plan as search
    from handlead.machines.proving.proof import prove
    from handlead.machines.toml.errors import HandleadError
    from handlead.machines.written.rewriting import with_setup
    from handlead.viz.reports.proof import comparison_rows

    text = _WARMING.format(next(iter(shipped_machines())))
    with suppress(HandleadError, ValueError):
        job = Source(text, "warm", ".").job()
        for one in search(job, top=1).members[0].setups:
            comparison_rows(prove(replace(job, setup=one.setup), cut="scratch"))
            text = with_setup(text, one.setup)
    return text


#: A plain spur gear, on any machine.
_WARMING = """format = "job/1"
title = "warm"
machine = "{}"
[work]
kind = "spur"
teeth = 30
module = 2
face_width = 10
[hob]
module = 2
lead_angle = 2
diameter = 70
"""


def remedies(source: Source) -> Remedies:
    """What was found in a set-up, each with what to do about it, tried in simulation first."""
    from handlead.machines.proving.proof import prove

    proof = prove(source.job())
    findings = tuple((each.severity, each.code, each.message, each.remedy) for each in proof.findings)
    correction = proof.correction
    if correction is None:
        return Remedies(findings, (), None)
    after = corrected(proof.case.setup, correction.steps)
    return Remedies(findings, tuple(step.words for step in correction.steps), after)


def corrected(setup: Setup, steps: Any) -> Setup | None:
    """The set-up after the steps; None where one of them names a ratio and no gears, which nobody can mount."""
    if any(step.ratios for step in steps):
        return None
    for step in steps:
        setup = step.on(setup)
    return setup


@dataclass(frozen=True)
class MeasuredBlank:
    """What was measured on the simulated blank; `why` says why it wasn't cut. `disagrees` are the witnesses' words."""

    teeth: str = ""
    hand: str = ""
    lead: str = ""
    rows: tuple[tuple[str, str, str, str], ...] = ()
    disagrees: tuple[str, ...] = ()
    more: tuple[tuple[str, str], ...] = ()
    why: str = ""


def blank(source: Source) -> MeasuredBlank:
    """A light cut in simulation, and what is measured on it."""
    from handlead.machines.proving.proof import prove
    from handlead.viz.reports.proof import comparison_rows

    job = source.job()
    without = {(each.code, each.message) for each in prove(job).judged}
    proof = prove(job, cut="scratch")
    more = tuple(
        (each.severity, each.message) for each in proof.judged if (each.code, each.message) not in without
    )
    if proof.cut is None:
        return MeasuredBlank(why=next((words for _, words in more), "The blank isn't cut in simulation."))
    apart = tuple(words for severity, words in more if severity == "error")
    rows = tuple(row for row in comparison_rows(proof) if row[3])
    measured = {row[0]: row[3] for row in rows}
    return MeasuredBlank(measured.get("teeth", ""), measured.get("hand", ""), measured.get("lead", ""), rows, apart,
                 tuple(one for one in more if one[0] != "error"))  # fmt: skip


# ---------------------------------------------------------------- plans


@dataclass(frozen=True)
class Offered:
    """A planned set-up: its gears in words, by bracket and whether they are other than what stands there; what it costs
    on the flank, how many gears it changes, levers and head where they are to be moved, and the set-up."""

    gears: tuple[tuple[str, str, bool], ...]
    cost: str
    quality: str
    feed: str
    changes: int
    moved: tuple[str, ...]
    against: tuple[str, ...]
    setup: Setup


@dataclass(frozen=True)
class PlannedMember:
    """The set-ups of one member: `why` there are none, or what wasn't looked at."""

    member: str
    offered: tuple[Offered, ...]
    why: str = ""
    get: str = ""


def plan(source: Source, held: tuple[str, ...], feed_held: bool, top: int) -> tuple[PlannedMember, ...]:
    """Set-ups for a job; those brackets keep the gears that stand there, and the feed stays if it is held.

    What is found on the way is told to the server, by what it was asked.
    """
    from handlead.machines.members.found import share_told
    from handlead.machines.planning.planning import plan as search
    from handlead.machines.setups.case import Case

    job = source.job()
    stands = dict(job.setup.change) if job.setup else {}
    hold = tuple(name for name in held if name in stands)
    if feed_held and job.setup:
        outcome = Case.of(job).outcome
        if outcome and outcome.sliding_feed:
            job = replace(job, cutting=replace(job.cutting, feed=outcome.sliding_feed))

    def put(what: Any) -> None:
        for told in _so_far:
            told.put((("plan", source, held, feed_held, top), what))

    with share_told(_now_and_then(put)):
        found = search(
            job, top=top, lying=stands, so_far=lambda some: put(_members(some, stands, hold)), hold=hold
        )
    return _members(found, stands, hold)


#: How far a search has got is told no oftener than this, in seconds.
_TOLD_EVERY = 0.1


def _now_and_then(put: Callable[[Any], None]) -> Callable[[SearchShare], None]:
    """Tells a share where the last was told a while ago, or is of something else."""
    last: list[Any] = ["", 0.0]

    def tell(share: SearchShare) -> None:
        now = time.monotonic()
        if share.doing != last[0] or now - last[1] >= _TOLD_EVERY:
            last[:] = share.doing, now
            put(share)

    return tell


def _members(found: Plan, stands: Mapping[str, Any], hold: tuple[str, ...]) -> tuple[PlannedMember, ...]:
    """What the page shows of a plan."""
    from handlead.machines.toml.units import deviation
    from handlead.machines.toml.units import feed as feed_text

    units, members = found.job.units, []
    for member in found.members:
        offered = tuple(
            Offered(
                tuple((name, str(mounted), stands.get(name) != mounted) for name, mounted in one.setup.change.items()),
                deviation(one.helix_slope_um, units),
                "" if one.quality is None else f"class {one.quality}",
                "" if one.feed is None else feed_text(one.feed, units),
                gears_changed(stands, one.setup.change), tuple(_moved(found.job, one.setup)), one.against, one.setup,
            )
            for one in member.setups
        )  # fmt: skip
        kept = f" with {' and '.join(hold)} held fast" if hold else ""
        why = member.not_searched if offered else f"None{kept}: {member.none_because}"
        members.append(PlannedMember(member.name, offered, why, member.gears_to_get))
    return tuple(members)


def _moved(job: Job, setup: Setup) -> Iterator[str]:
    """Levers and head that are to be moved from where they stand now."""
    machine = job.machine
    before, after = (machine.positions(one) if one else {} for one in (job.setup, setup))
    yield from (f"{lever}: {position}" for lever, position in after.items() if before.get(lever) != position)
    stands, wanted = (float(one.swivel_deg or 0) if one else None for one in (job.setup, setup))
    if wanted is not None and wanted != stands:
        yield f"head {machine.swivel_text(wanted, seen=False)}"


def gears_changed(before: Mapping[str, Any], after: Mapping[str, Any]) -> int:
    """How many gears have to be mounted that don't stand where they are to be."""
    count = 0
    for name, mounted in after.items():
        there = before.get(name)
        old = [*there.gears, *there.idlers] if there else []
        new = [*mounted.gears, *mounted.idlers]
        count += sum(1 for place, teeth in enumerate(new) if place >= len(old) or old[place] != teeth)
    return count


# ---------------------------------------------------------------- solids and pictures


def solid(source: Source) -> bytes:
    """Work and hob as triangles, and how they run: a line of JSON, then corners and triangles in one run of bytes.

    Raises `NotCut` where nothing can be cut.
    """
    import numpy as np
    from handlead.kinematics.frame.motion import Position
    from handlead.machines.setups.case import Case
    from handlead.viz.solids import mesh as solid_mesh
    from handlead.viz.solids.scene import Scene

    scene = Scene.of(Case.of(source.job()))
    hob = solid_mesh.hob_mesh(scene.setting.hob, fineness=1.0, cuts_up=scene.cut.cuts_up)
    parts, meshes = b"", {}
    for name, mesh in (("work", _coarse(scene)), ("hob", hob)):
        points = np.asarray(mesh.points, dtype="<f4")
        corners = np.asarray(mesh.faces, dtype="<u4").reshape(-1, 4)[:, 1:]
        meshes[name] = {"points": len(points), "triangles": len(corners)}
        parts += points.tobytes() + np.ascontiguousarray(corners).tobytes()
    setting = scene.setting
    per_turn = scene.cut.per_turn
    start, end = scene.stages.phase.start, scene.stages.phase.end
    level = solid_mesh.hob_pose(replace(Position(), axial=Fraction(0)), setting.swivel_deg, setting.distance)
    head = {
        "meshes": meshes,
        "pose": [[float(value) for value in row] for row in level],
        "per_turn": {
            end: float(getattr(per_turn, end)) for end in ("table", "axial", "tangential", "radial")
        },
        "from": [float(start.axial), float(end.axial)],
        "hob_up": 1 if scene.cut.cuts_up else -1,
        "radius": setting.blank.radius,
        "face": setting.blank.face_width,
        "lies": bool(scene.shop.up),
        "words": scene.words(scene.stages.turns_at(0.5), upright=False),
    }
    told = json.dumps(head).encode()
    told += b" " * (-(len(told) + 4) % 4)
    return struct.pack("<I", len(told)) + told + parts


#: How far the drawn teeth may stand off the simulated ones, in mm: less can't be seen on a screen, and weighs more.
_SEEN_MM = 0.06


def _coarse(scene: Any) -> Any:
    """The finished gear with no more corners than a screen shows."""
    from handlead.viz.solids import mesh as solid_mesh

    joints = solid_mesh.join(scene.finished, tolerance=_SEEN_MM)
    return solid_mesh.blank_mesh(scene.finished, joints, face_width=scene.setting.blank.face_width)


def sheet(sources: tuple[tuple[str, Source], ...], form: str, paper: str) -> bytes:
    """The sheet of these members, each with a word for it: PDF or an HTML page."""
    import tempfile

    from handlead.machines.proving.proof import prove
    from handlead.viz.sheet.file import write_sheet

    pages = [(member, prove(source.job(), cut="scratch")) for member, source in sources]
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder, f"sheet.{form}")
        write_sheet(pages, out, paper)
        return out.read_bytes()
