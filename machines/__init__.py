"""Machine and job files in, frozen results out: knows kinematics, never pictures.

This is the front door for people who write Python::

    from handlead import machines
    job = machines.read_job("scenarios/01-fly-winch-pair/pinion.toml")
    print(machines.prove(job).verdict)

The names below are loaded when they are first asked for, so that importing the package costs nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from handlead.kinematics.frame.door import opener

if TYPE_CHECKING:
    from handlead.kinematics.links.mounted import Mounted
    from handlead.kinematics.train.setup import Setup
    from handlead.kinematics.work.requirement import HobData, Work

    from .blanks.witness import Cut, NotCut
    from .buying.buying import Buying, gears_to_buy
    from .documents.observations_file import Observations, read_observations
    from .documents.sample import read_sample
    from .fitting.counts import Fit, fit
    from .gear_records.exchange import read_records
    from .gear_records.records import Record
    from .inspecting.answer import InspectedGear, NotInspected, inspect
    from .job_files.job_file import Gauging, Job, Seen, read_job, read_job_text
    from .machine_files.catalogue import find_machine, shipped_machines
    from .machine_files.levers import Lever
    from .machine_files.machine_file import GearSet, Limits, Machine, read_machine, read_machine_text
    from .machine_files.unfitted import Unfitted, read_unfitted
    from .measuring.going_deeper import Deeper, go_deeper
    from .planning.planned import Planned
    from .planning.planning import Plan, plan, plan_many
    from .planning.rules import Rules
    from .planning.rules import find_rules as constants
    from .proving.proof import Proof, prove
    from .sequencing.day import Day, order_of_the_day
    from .setups.case import Case
    from .setups.findings import Finding
    from .shop.survey import Survey, survey
    from .studying.study import HowSure, study
    from .toml.errors import Complaint, FileFault, HandleadError, NoSetup, Place
    from .toml.filing import write_text
    from .tracing.diagnosis import Diagnosis, trace
    from .written.reference import file_reference
    from .written.writing import job_text, machine_text

__all__ = [
    "Buying",
    "Case",
    "Complaint",
    "Cut",
    "Day",
    "Deeper",
    "Diagnosis",
    "FileFault",
    "Finding",
    "Fit",
    "Gauging",
    "GearSet",
    "HandleadError",
    "HobData",
    "HowSure",
    "InspectedGear",
    "Job",
    "Lever",
    "Limits",
    "Machine",
    "Mounted",
    "NoSetup",
    "NotCut",
    "NotInspected",
    "Observations",
    "Place",
    "Plan",
    "Planned",
    "Proof",
    "Record",
    "Rules",
    "Seen",
    "Setup",
    "Survey",
    "Unfitted",
    "Work",
    "constants",
    "file_reference",
    "find_machine",
    "fit",
    "gears_to_buy",
    "go_deeper",
    "inspect",
    "job_text",
    "machine_text",
    "order_of_the_day",
    "plan",
    "plan_many",
    "prove",
    "read_job",
    "read_job_text",
    "read_machine",
    "read_machine_text",
    "read_observations",
    "read_records",
    "read_sample",
    "read_unfitted",
    "shipped_machines",
    "study",
    "survey",
    "trace",
    "write_text",
]

#: The module that each name comes from.
_HOMES = {
    "..kinematics.links.mounted": ("Mounted",),
    "..kinematics.train.setup": ("Setup",),
    "..kinematics.work.requirement": ("HobData", "Work"),
    ".setups.case": ("Case",),
    ".machine_files.catalogue": ("find_machine", "shipped_machines"),
    ".tracing.diagnosis": ("Diagnosis", "trace"),
    ".toml.errors": ("Complaint", "FileFault", "HandleadError", "NoSetup", "Place"),
    ".toml.filing": ("write_text",),
    ".setups.findings": ("Finding",),
    ".fitting.counts": ("Fit", "fit"),
    ".measuring.going_deeper": ("Deeper", "go_deeper"),
    ".inspecting.answer": ("InspectedGear", "NotInspected", "inspect"),
    ".gear_records.exchange": ("read_records",),
    ".gear_records.records": ("Record",),
    ".job_files.job_file": ("Gauging", "Job", "Seen", "read_job", "read_job_text"),
    ".machine_files.levers": ("Lever",),
    ".machine_files.machine_file": ("GearSet", "Limits", "Machine", "read_machine", "read_machine_text"),
    ".documents.observations_file": ("Observations", "read_observations"),
    ".planning.planning": ("Plan", "Planned", "plan", "plan_many"),
    ".proving.proof": ("Proof", "prove"),
    ".buying.buying": ("Buying", "gears_to_buy"),
    ".sequencing.day": ("Day", "order_of_the_day"),
    ".studying.study": ("HowSure", "study"),
    ".shop.survey": ("Survey", "survey"),
    ".written.reference": ("file_reference",),
    ".planning.rules": ("Rules", "constants = find_rules"),
    ".documents.sample": ("read_sample",),
    ".machine_files.unfitted": ("Unfitted", "read_unfitted"),
    ".blanks.witness": ("Cut", "NotCut"),
    ".written.writing": ("job_text", "machine_text"),
}

if not TYPE_CHECKING:  # a checker that saw this would take any misspelt name for one that is there
    __getattr__ = opener(__name__, _HOMES)


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
