"""Machines and jobs back to files: what is written reads as the same machine or job again.

Lengths go out in the file's own units, and every number exactly. A conversion that reading made
(a diametral pitch, a transverse module, a mate's turned hand) isn't undone where it needn't be.
"""

from __future__ import annotations

from dataclasses import fields
from fractions import Fraction
from typing import Any

import tomlkit
from handlead.kinematics.links.link import PI
from handlead.kinematics.links.mounted import Dialled, Mounted
from handlead.kinematics.train.setup import Setup, SetupMove
from handlead.kinematics.work.requirement import HobData, Work
from handlead.machines.job_files.halves import halves_values
from handlead.machines.job_files.job_file import SEEN_BESIDES, Cutting, Gauging, Job, Seen
from handlead.machines.job_files.toothed import toothed_values
from handlead.machines.job_keys.job_keys import JOB, SETUP
from handlead.machines.job_keys.seen_keys import MEASURED
from handlead.machines.keys.machine_keys import MACHINE
from handlead.machines.machine_files.machine_file import Machine
from handlead.machines.tables.observed import Reading

from .layout import document_text
from .machine_values import machine_values, module_value


def machine_text(machine: Machine) -> str:
    """The machine as the text of a machine file."""
    raw = MACHINE.write(machine_values(machine), machine.units)
    return tomlkit.dumps(document_text(raw))


def job_text(job: Job) -> str:
    """The job as the text of a job file, which asks for its machine as the job's own file did."""
    raw = JOB.write(_job(job), job.units)
    return tomlkit.dumps(document_text(raw))


def measured_text(gauging: Gauging, units: str) -> str:
    """What was measured at some depth, as the text of one more [[measured]]."""
    return tomlkit.dumps(document_text({"measured": [MEASURED.write(gauging_values(gauging), units)]}))


def setup_text(setup: Setup) -> str:
    """The set-up, on its machine's usual drive, as the text of the tables under [setup]."""
    values = {
        "drive": None,
        "swivel": setup.swivel_deg,
        "feed": setup.feed and setup.feed.value,
        "levers": dict(setup.levers) or None,
        "change": {
            name: mounted_values(mounted)
            for name, mounted in setup.change.items()
        },
        "moves": [_move(move) for move in setup.moves] or None,
    }
    return tomlkit.dumps(document_text({"setup": SETUP.write(values, "mm")}))


def _job(job: Job) -> dict[str, Any]:
    work = _work(job.work, job.units)
    return {
        "format": "job/1",
        "title": job.title,
        "units": job.units,
        "machine": job.machine_name,
        "work": work,
        "double_helical": None if job.halves is None else halves_values(job.halves),
        "toothed": None if job.toothed is None else toothed_values(job.toothed),
        "mate": None if job.mate is None else _mate(job),
        "hob": hob_values(job.hob, job.units),
        "setup": None if job.setup is None else setup_values(job.setup, job.machine),
        "cutting": _cutting(job.cutting),
        "fixture": job.fixture or None,
        "seen": None if job.seen is None else _seen(job.seen),
        "measured": [gauging_values(row) for row in job.measured] or None,
    }


def gauging_values(row: Gauging) -> dict[str, Any]:
    """What was measured at some depth by the keys of [[measured]]."""
    return {
        "date": row.date or None,
        "dialled": row.dialled,
        "span": row.span and {"teeth": row.span[0], "length": row.span[1]},
        "balls": row.balls and {"diameter": row.balls[0], "over": row.balls[1]},
        "chord": row.chord,
        "depth": row.depth,
    }


def _tooth_size(module: Fraction, units: str) -> dict[str, Any]:
    circular = module * PI
    if circular.denominator <= 10**9:
        return {"pitch": circular}
    return module_value(module, units)


def _work(work: Work, units: str) -> dict[str, Any]:
    return {
        "kind": work.kind,
        "teeth": work.teeth,
        **_tooth_size(work.module_n, units),
        "pressure_angle": None if work.has_keys else work.pressure_angle_deg,
        "helix_angle": work.helix_angle_deg if work.lead is None else None,
        "lead": work.lead,
        "hand": work.hand.word if work.hand else None,
        "face_width": work.face_width,
        "quality": work.quality,
        "profile_shift": work.profile_shift or None,
        "outside_diameter": work.outside_diameter,
        "thinning": work.thinning or None,
        "crown": work.crown or None,
        "taper": work.taper or None,
        "roller_diameter": work.roller_diameter,
        "blank": "plain" if work.is_plain else None,
        "throat_radius": work.throat_radius,
        "rim_diameter": work.rim_diameter,
        "bore": work.bore,
        "key_width": work.key_width,
        "minor_diameter": work.minor_diameter,
        "form_diameter": work.form_diameter,
    }


def _mate(job: Job) -> dict[str, Any]:
    """Whatever differs from the work; its hand where it isn't the one that a pair would have."""
    work, mate, units = job.work, job.mate, job.units
    assert mate is not None
    given, other = _work(work, units), _work(mate, units)
    values = {key: value for key, value in other.items() if value != given.get(key)}
    if work.profile_shift and not mate.profile_shift:
        values["profile_shift"] = Fraction(0)
    if work.thinning and not mate.thinning:
        values["thinning"] = Fraction(0)
    if work.hand and mate.hand and (work.kind == "worm wheel" or job.crossing_angle_deg or work.hand is mate.hand):
        values["hand"] = mate.hand.word
    elif work.hand:
        values.pop("hand", None)
    return values | {
        "bore": mate.bore,
        "centre_distance": job.centre_distance,
        "crossing_angle": job.crossing_angle_deg,
        "least_backlash": job.least_backlash,
    }


def hob_values(hob: HobData, units: str) -> dict[str, Any]:
    """The hob by the keys of [hob]."""
    return {
        **_tooth_size(hob.module_n, units),
        "starts": hob.starts,
        "hand": hob.hand.word,
        "lead_angle": hob.lead_angle_deg,
        "diameter": hob.diameter,
        "outside_diameter": hob.outside_diameter,
        "gashes": hob.gashes,
        "pressure_angle": hob.pressure_angle_deg,
        "rack": None if hob.rack == "A" else hob.rack,
        "addendum": hob.addendum,
        "dedendum": hob.dedendum,
        "tip_radius": hob.tip_radius,
        "length": hob.length,
        "gash_index": hob.gash_index or None,
        "relief_angle": hob.relief_angle_deg if hob.gash_index else None,
        "thread_error": hob.thread_error or None,
    }


def mounted_values(mounted: Mounted) -> dict[str, Any]:
    """What is mounted, or entered, by the keys of a bracket."""
    if isinstance(mounted, Dialled):
        return {"ratio": mounted.ratio}
    return {"gears": mounted.gears, "idlers": mounted.idlers or None}


def setup_values(setup: Setup, machine: Machine) -> dict[str, Any]:
    """The set-up by the keys of [setup]."""
    return {
        "swivel": setup.swivel_deg,
        "feed": setup.feed.value if setup.feed else None,
        "drive": None if setup.drive == machine.normal_drive else setup.drive,
        "levers": setup.levers or None,
        "change": {
            name: mounted_values(mounted)
            for name, mounted in setup.change.items()
        }
        or None,
        "moves": [_move(move) for move in setup.moves] or None,
    }


def _move(move: SetupMove) -> dict[str, Any]:
    values: dict[str, Any] = {
        "name": move.name,
        "from": dict(move.start) or None,
        "drive": move.drive,
        "backwards": move.backwards or None,
        "by_hand": move.by_hand or None,
        "levers": dict(move.levers) or None,
    }
    if move.place is not None:
        return {**values, "to": {move.end: move.place}}
    return {**values, f"{move.end or 'drive'}_turns": move.turns}


def _seen(seen: Seen) -> dict[str, Any]:
    hand = seen.hand.word if seen.hand else None
    plain = {
        "teeth": seen.teeth,
        "hand": "none" if seen.straight else hand,
        "lead": seen.lead,
        "helix_angle": seen.helix_angle_deg,
        "outside_helix_angle": seen.outside_helix_angle_deg,
        **{key: getattr(seen, key) for key in SEEN_BESIDES},
    }
    readings: dict[str, Any] = {
        key: None if value is None else Reading(value, seen.within.get(key), key not in seen.unsure)
        for key, value in plain.items()
    }
    return {**readings, "check": [{"do": check.do, "found": check.found} for check in seen.checks] or None}


def _cutting(cutting: Cutting) -> dict[str, Any] | None:
    if cutting == Cutting():
        return None
    values = {field.name: getattr(cutting, field.name) for field in fields(Cutting)}
    values["mark"] = values.pop("mark_um")
    return values
