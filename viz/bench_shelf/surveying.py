"""One order on one machine, and the table on paper: worked on in a process of its own."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from handlead.kinematics.train.setup import Setup
    from handlead.machines.job_files.job_file import Job
    from handlead.machines.machine_files.machine_file import Machine
    from handlead.machines.shop.survey import Survey, SurveyRow


@dataclass(frozen=True)
class ShelfOrder:
    """A job of a folder on a machine, its own where that is ""; `stamp` changes with its file and those beside it."""

    folder: str
    job: str
    machine: str
    stamp: float


def look(order: ShelfOrder) -> SurveyRow:
    """What comes of it. Raises `FileFault` for a job or machine that can't be used."""
    from handlead.machines.shop.survey import look_at

    return replace(look_at(_both(order)), job=order.job)


def best_set_up(order: ShelfOrder) -> Setup:
    """The best set-up of the order's work on the machine. Raises `HandleadError` where there is none."""
    from handlead.machines.planning.planning import plan
    from handlead.machines.toml.errors import NoSetup

    job, machine = _both(order)
    work = plan(job, machine, top=1).members[0]
    if not work.setups:
        raise NoSetup(f"{machine.name}: {work.none_because}")
    return work.setups[0].setup


def _both(order: ShelfOrder) -> tuple[Job, Machine]:
    from pathlib import Path

    from handlead.machines.job_files.job_file import read_job
    from handlead.machines.machine_files.catalogue import find_machine

    path = Path(order.folder, order.job)
    job = read_job(path, order.job)
    own = Path(order.folder, f"{order.machine}.toml")
    machine = find_machine(str(own) if own.exists() else order.machine) if order.machine else job.machine
    return job, machine


def page_of(found: Survey, paper: str) -> bytes:
    """The table as pages of a PDF."""
    import tempfile
    from pathlib import Path

    from handlead.viz.orders.survey_table import write_page

    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder, "survey.pdf")
        write_page(found, out, paper)
        return out.read_bytes()
