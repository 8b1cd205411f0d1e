"""Machine and job files in, frozen results out: knows kinematics, never pictures.

The names below are loaded when they are first asked for, so that importing the package costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from .catalogue import find_machine, shipped_machines
    from .errors import Complaint, FileFault, Place
    from .job_file import Job, Seen, Setup, read_job, read_job_text
    from .machine_file import GearSet, Lever, Limits, Machine, read_machine, read_machine_text
    from .reference import file_reference
    from .writing import job_text, machine_text, write_text

__all__ = [
    "Complaint",
    "FileFault",
    "GearSet",
    "Job",
    "Lever",
    "Limits",
    "Machine",
    "Place",
    "Seen",
    "Setup",
    "file_reference",
    "find_machine",
    "job_text",
    "machine_text",
    "read_job",
    "read_job_text",
    "read_machine",
    "read_machine_text",
    "shipped_machines",
    "write_text",
]

_HOMES = {
    "catalogue": ("find_machine", "shipped_machines"),
    "errors": ("Complaint", "FileFault", "Place"),
    "job_file": ("Job", "Seen", "Setup", "read_job", "read_job_text"),
    "machine_file": ("GearSet", "Lever", "Limits", "Machine", "read_machine", "read_machine_text"),
    "reference": ("file_reference",),
    "writing": ("job_text", "machine_text", "write_text"),
}
_HOME_OF = {name: home for home, names in _HOMES.items() for name in names}


def __getattr__(name: str) -> Any:
    if name not in _HOME_OF:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f".{_HOME_OF[name]}", __name__), name)


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
