"""Suspects, checks and near misses as plain values, for the JSON object of a diagnosis."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from handlead.kinematics.slips.faults import Fault
from handlead.kinematics.suspects.next_checks import NextCheck
from handlead.kinematics.suspects.suspects import NearMiss, Suspect
from handlead.machines.job_files.job_file import Job
from handlead.machines.job_keys.job_keys import SETUP
from handlead.machines.job_keys.work_keys import HOB
from handlead.machines.toml.numbers import Decimal
from handlead.machines.written.writing import hob_values, setup_values


def cause_json(job: Job, suspect: Suspect) -> dict[str, Any]:
    """A suspect: its faults, and what they leave."""
    return {
        "faults": [_fault_json(job, fault, suspect) for fault in suspect.faults],
        "leaves": leaves_json(suspect),
        "weight": suspect.weight,
        "also": [
            [{"kind": fault.kind.kind, "where": fault.where} for fault in faults] for faults in suspect.also
        ],
    }


def _fault_json(job: Job, fault: Fault, suspect: Suspect) -> dict[str, Any]:
    standing = suspect.standing
    value: dict[str, Any] = {
        "kind": fault.kind.kind,
        "where": fault.where,
        "detail": fault.detail,
        "meaning": fault.kind.meaning,
        "check": fault.kind.check,
        "setup": _plain(SETUP.write(setup_values(standing.setup, job.machine), job.units)),
    }
    if standing.hob != job.hob:
        value["hob"] = _plain(HOB.write(hob_values(standing.hob, job.units), job.units))
    return value


def _plain(value: Any) -> Any:
    """Values of a file as JSON has them: a decimal as the number that it is."""
    if isinstance(value, Decimal):
        return float(value.text)
    if isinstance(value, Mapping):
        return {key: _plain(each) for key, each in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(each) for each in value]
    return value


def leaves_json(suspect: Suspect) -> dict[str, Any]:
    """What is left on the blank."""
    view, outcome = suspect.view, suspect.outcome
    return {
        "teeth": view.teeth,
        "hand": view.hand,
        "helix_angle_deg": view.helix_deg,
        "outside_helix_angle_deg": view.outside_deg,
        "lead_mm": view.lead_mm,
        "lead_exact": None if view.lead is None else str(view.lead),
        "spaces_meet": view.spaces_meet,
        "swivel_error_deg": outcome.swivel_error_deg if outcome else None,
        "feed_mm_per_table_turn": None if view.feed_mm is None else str(view.feed_mm),
        "marks": sorted(view.marks),
        "stuck": suspect.running.stuck or None,
    }


def check_json(found: NextCheck | None, listed: int) -> dict[str, Any] | None:
    """The next check and what it may show, of so many suspects listed."""
    if found is None:
        return None
    return {
        "do": found.check.do,
        "minutes": found.check.minutes,
        "bits": found.bits,
        "splits": [
            {
                "if": split.outcome,
                "then": [number + 1 for number in split.suspects if number < listed],
                "weight": split.weight,
            }
            for split in found.splits
        ],
    }


def miss_json(job: Job, miss: NearMiss) -> dict[str, Any]:
    """A near miss, and what speaks against it."""
    return {
        "faults": [_fault_json(job, fault, miss.suspect) for fault in miss.suspect.faults],
        "leaves": leaves_json(miss.suspect),
        "against": [name for name, _ in miss.against],
    }
