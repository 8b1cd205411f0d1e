"""One order on one machine, and the table on paper: worked on in a process of its own."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
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
    from pathlib import Path

    from handlead.machines.job_files.job_file import read_job
    from handlead.machines.machine_files.catalogue import find_machine
    from handlead.machines.shop.survey import look_at

    path = Path(order.folder, order.job)
    job = read_job(path, order.job)
    own = Path(order.folder, f"{order.machine}.toml")
    machine = find_machine(str(own) if own.exists() else order.machine) if order.machine else job.machine
    return replace(look_at((job, machine)), job=order.job)


def page_of(found: Survey, paper: str) -> bytes:
    """The table as pages of a PDF."""
    import tempfile
    from pathlib import Path

    from handlead.viz.orders.survey_table import write_page

    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder, "survey.pdf")
        write_page(found, out, paper)
        return out.read_bytes()
