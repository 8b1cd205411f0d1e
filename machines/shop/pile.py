"""A pile of orders and the machines for them, read: what can't be used is told and stops nothing."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path

from handlead.machines.job_files.job_file import Job, read_job
from handlead.machines.machine_files.catalogue import find_machine
from handlead.machines.machine_files.machine_file import Machine
from handlead.machines.toml.errors import HandleadError

from .survey import Unread

Complain = Callable[[HandleadError], object]


def read_pile(
    paths: Iterable[Path], complain: Complain, machines: Sequence[Machine] = ()
) -> tuple[list[Job], list[Unread]]:
    """The jobs of these files, a folder standing for every job file in it; and the files that can't be used.

    `complain` is told of each of those as it is met. A job is as good as any for `machines` to look at, though its own
    can't be used. Raises `HandleadError` for a folder without jobs.
    """
    jobs, unread = [], []
    told: set[str] = set()
    for path in _files(paths):
        try:
            job = read_job(path, instead=machines[0] if machines else None)
            jobs.append(job)
            if job.unusable_machine and job.unusable_machine not in told:
                told.add(job.unusable_machine)
                looked_at = "it is looked at though its own machine can't be used"
                complain(HandleadError(f"{path}: {looked_at}:\n{job.unusable_machine}"))
        except HandleadError as fault:
            # A machine that can't be used is complained of once, however many jobs name it.
            if str(fault) not in told:
                complain(fault)
            told.add(str(fault))
            unread.append(Unread(str(path), False, str(fault)))
    return jobs, unread


def read_machines(names: Iterable[str], complain: Complain) -> tuple[list[Machine], list[Unread]]:
    """The machines by their names or files, each once; and those that can't be used."""
    found: dict[str, Machine] = {}
    unread = []
    for name in names:
        try:
            machine = find_machine(name)
            found.setdefault(machine.digest, machine)
        except HandleadError as fault:
            complain(fault)
            unread.append(Unread(name, True, str(fault)))
    return list(found.values()), unread


def _files(paths: Iterable[Path]) -> Iterator[Path]:
    for path in dict.fromkeys(paths):
        if not path.is_dir():
            yield path
            continue
        inside = [file for file in sorted(path.glob("*.toml")) if _may_be_a_job(file)]
        if not inside:
            raise HandleadError(f"{path}: there is no job file in this folder. Name one that has some")
        yield from inside


def _may_be_a_job(path: Path) -> bool:
    """Whether its first lines say that it is one; what can't be read is for the reader to complain of."""
    try:
        with path.open("rb") as stream:
            return b'"job/' in stream.read(4096)
    except OSError:
        return True
