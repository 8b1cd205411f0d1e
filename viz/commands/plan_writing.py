"""What ``plan --write`` puts into files: the best set-ups, with nothing lost of what was there."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path

from handlead.kinematics.train.setup import Setup
from handlead.kinematics.work.requirement import Work
from handlead.machines.job_files.job_file import Job, read_job, read_job_text
from handlead.machines.job_files.pair_files import mate_beside, work_beside
from handlead.machines.judging_teeth.both_jobs import drawn_apart
from handlead.machines.machine_files.machine_file import Machine
from handlead.machines.planning.planning import ASKED_FOR, SECOND_HALF, Member, Plan
from handlead.machines.toml.errors import FileFault
from handlead.machines.toml.filing import keep_beside, plain, read_text, refused, write_text
from handlead.machines.toml.places import parse
from handlead.machines.written.rewriting import with_setup
from handlead.machines.written.writing import job_text
from handlead.viz.streams.outlet import complain


def write_plan(path: Path, found: Plan, machine: str | None = None) -> None:
    """Put the best set-up into the job's file, a mate's into one beside it, and tell of it on standard error.

    What a file held before, but for comments and what stays anyway, is kept under a name with the date. Raises
    `FileFault` where something can't be written, or mustn't: what is said to be written by then is.
    """
    first, *others = (member for member in found.members if member.name in ASKED_FOR)
    _into_job(path, found.job, first.setups[0].setup, machine)
    for member in others:
        _beside(path, found.job, member, machine)


def _into_job(path: Path, job: Job, setup: Setup, machine: str | None) -> None:
    text = read_text(path)
    if parse(plain(text), os.fspath(path)).digest != job.digest:
        raise refused(path, "it was changed while the plan was made, so nothing is written. Plan it again")
    _put(path, text, with_setup(text, setup, machine), setup, loses=job.setup is not None or machine is not None)
    if job.setup is not None and job.seen is not None:
        complain(f"{path}: its [seen] is of the set-up before: take it out before this one is traced")


def _beside(path: Path, job: Job, member: Member, machine: str | None) -> None:
    """A job of its own for a member, unless a file is there that wasn't written so."""
    is_mate, setup = member.name != SECOND_HALF, member.setups[0].setup
    work = work_beside(path) if is_mate else None
    if work is not None and work.exists():
        _into_work(work, path, replace(job, mate=member.work), setup, machine)
        return
    half = path.with_name(f"{path.stem}-{SECOND_HALF.replace(' ', '-')}{path.suffix}")
    beside = mate_beside(path) if is_mate else half
    own = _own_job(job, member.work, member.name)
    fresh = job_text(own)
    if not beside.exists():
        _put(beside, None, with_setup(fresh, setup, machine), setup, loses=False)
        return
    there = _job_there(beside, job.machine)
    if there is None or there.title != own.title:
        raise refused(beside, f"something else is there, so the {member.name}'s set-up isn't written. Move it away")
    text = read_text(beside)
    apart = drawn_apart(there.work, own.work, job.units, face=True)
    if apart:
        complain(f"{beside}: it isn't what {path.name} says of it ({', '.join(apart)}): it is written anew by that")
    elif (there.work, there.hob, there.cutting) == (own.work, own.hob, own.cutting):
        fresh = text  # with what was noted in it since
    _put(beside, text, with_setup(fresh, setup, machine), setup, loses=fresh != text or there.setup is not None)


def _into_work(path: Path, mate: Path, job: Job, setup: Setup, machine: str | None) -> None:
    """The set-up of the gear that a mate's job points back to, into that one's own job, if that says the same."""
    there = _job_there(path, job.machine)
    assert job.mate is not None
    apart = [] if there is None else [*drawn_apart(job.mate, there.work, job.units)]
    if there is not None and there.hob != job.hob:
        apart.append("the hob is another")
    if there is None or apart:
        why = f"it isn't what [mate] of {mate.name} says ({', '.join(apart)})" if apart else "it can't be used"
        raise refused(path, f"{why}, so its set-up isn't written. Make the two say the same")
    text = read_text(path)
    _put(path, text, with_setup(text, setup, machine), setup, loses=there.setup is not None or machine is not None)


def _own_job(job: Job, work: Work, name: str) -> Job:
    """The job of another member, without what was seen and measured on this one; a mate's points back to the work."""
    own = replace(job, title=f"{job.title}, {name}", work=work, setup=None, seen=None, measured=())
    if name == SECOND_HALF:
        return replace(own, mate=None, halves=job.halves and job.halves.other)
    return replace(own, mate=job.work, toothed=None)


def _job_there(path: Path, machine: Machine) -> Job | None:
    """The job in a file that is there already, whatever has become of the machine that it names."""
    try:
        return read_job(path, instead=machine)
    except FileFault:
        return None


def _put(path: Path, before: str | None, text: str, setup: Setup, *, loses: bool) -> None:
    """Write the text if it says anything new, and what was there beside it where something of it is lost."""
    if text == before:
        complain(f"{path}: has this set-up already")
        return
    again = read_job_text(plain(text), os.fspath(path), path.parent)
    if again.setup != setup:
        raise RuntimeError(f"{path} would read as another set-up")
    kept = keep_beside(path) if loses and before is not None else None
    write_text(text, path, overwrite=True)
    was = f"; what was there is kept in {kept.name}" if kept else ""
    complain(f"{path}: the best set-up is written under [setup]{was}")



def mate_job(path: Path, job: Job, setup: Setup) -> str:
    """A job of its own for the mate beside the work's, with its set-up; returns its file's name.

    Raises `FileFault` where something else is there already.
    """
    assert job.mate is not None
    work = work_beside(path)
    if work is not None and work.exists():
        _into_work(work, path, job, setup, None)
        return work.name
    beside, own = mate_beside(path), _own_job(job, job.mate, "mate")
    there = _job_there(beside, job.machine) if beside.exists() else None
    if beside.exists() and (there is None or there.title != own.title):
        raise refused(beside, "something else is there, so the mate's set-up isn't written. Move it away")
    text = read_text(beside) if there is not None else job_text(own)
    _put(beside, text if there else None, with_setup(text, setup), setup, loses=there is not None)
    return beside.name
