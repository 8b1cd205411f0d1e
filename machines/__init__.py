"""Machine and job files in, frozen results out: knows kinematics, never pictures.

This is the front door for people who write Python::

    from handlead import machines
    job = machines.read_job("scenarios/01-fly-winch-pair/pinion.toml")
    print(machines.prove(job).verdict)

The names below are loaded when they are first asked for, so that importing the package costs nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from handlead.kinematics.door import opener

if TYPE_CHECKING:
    from handlead.kinematics.links import Mounted
    from handlead.kinematics.requirement import HobData, Work

    from .case import Case
    from .catalogue import find_machine, shipped_machines
    from .diagnosis import Diagnosis, trace
    from .errors import Complaint, FileFault, HandleadError, NoSetup, Place
    from .filing import write_text
    from .findings import Finding
    from .fitting import Fit, fit
    from .going_deeper import Deeper, go_deeper
    from .job_file import Gauging, Job, Seen, Setup, read_job, read_job_text
    from .machine_file import GearSet, Lever, Limits, Machine, read_machine, read_machine_text
    from .observations_file import Observations, read_observations
    from .planned import Planned
    from .planning import Plan, plan, plan_many
    from .proof import Proof, prove
    from .reference import file_reference
    from .rules import Rules
    from .rules import find_rules as constants
    from .sample import read_sample
    from .unfitted import Unfitted, read_unfitted
    from .witness import Cut, NotCut
    from .writing import job_text, machine_text

__all__ = [
    "Case",
    "Complaint",
    "Cut",
    "Deeper",
    "Diagnosis",
    "FileFault",
    "Finding",
    "Fit",
    "Gauging",
    "GearSet",
    "HandleadError",
    "HobData",
    "Job",
    "Lever",
    "Limits",
    "Machine",
    "Mounted",
    "NoSetup",
    "NotCut",
    "Observations",
    "Place",
    "Plan",
    "Planned",
    "Proof",
    "Rules",
    "Seen",
    "Setup",
    "Unfitted",
    "Work",
    "constants",
    "file_reference",
    "find_machine",
    "fit",
    "go_deeper",
    "job_text",
    "machine_text",
    "plan",
    "plan_many",
    "prove",
    "read_job",
    "read_job_text",
    "read_machine",
    "read_machine_text",
    "read_observations",
    "read_sample",
    "read_unfitted",
    "shipped_machines",
    "trace",
    "write_text",
]

#: The module that each name comes from.
_HOMES = {
    "..kinematics.links": ("Mounted",),
    "..kinematics.requirement": ("HobData", "Work"),
    ".case": ("Case",),
    ".catalogue": ("find_machine", "shipped_machines"),
    ".diagnosis": ("Diagnosis", "trace"),
    ".errors": ("Complaint", "FileFault", "HandleadError", "NoSetup", "Place"),
    ".filing": ("write_text",),
    ".findings": ("Finding",),
    ".fitting": ("Fit", "fit"),
    ".going_deeper": ("Deeper", "go_deeper"),
    ".job_file": ("Gauging", "Job", "Seen", "Setup", "read_job", "read_job_text"),
    ".machine_file": ("GearSet", "Lever", "Limits", "Machine", "read_machine", "read_machine_text"),
    ".observations_file": ("Observations", "read_observations"),
    ".planning": ("Plan", "Planned", "plan", "plan_many"),
    ".proof": ("Proof", "prove"),
    ".reference": ("file_reference",),
    ".rules": ("Rules", "constants = find_rules"),
    ".sample": ("read_sample",),
    ".unfitted": ("Unfitted", "read_unfitted"),
    ".witness": ("Cut", "NotCut"),
    ".writing": ("job_text", "machine_text"),
}

if not TYPE_CHECKING:  # a checker that saw this would take any misspelt name for one that is there
    __getattr__ = opener(__name__, _HOMES)


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
