"""``handlead plan JOB``: the set-ups that the machine and its gears allow."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from handlead.machines.planning import Member, Plan


def add(commands: Any) -> None:
    """Add the command to the parser's `commands`."""
    parser = commands.add_parser(
        "plan",
        help="find the set-ups that the machine and its gears allow, or change gears for a bare ratio",
        description="Finds set-ups for each JOB: both members of a pair, or both hands, the truest lead first. Every "
        "set-up shown has been proved. With --ratio it finds change gears for a ratio alone.",
        epilog="Exit status: 0 found, 1 none exists, 2 a file or argument cannot be used, "
        "3 something broke inside the program.",
    )
    parser.add_argument("jobs", nargs="*", metavar="JOB", type=Path, help="job file (TOML)")
    parser.add_argument("--machine", metavar="OTHER", help="plan the job on this machine instead of its own")
    parser.add_argument(
        "--top", type=int, default=5, metavar="N", help="how many set-ups of each member (default 5)"
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object (several jobs: a list)")
    parser.add_argument(
        "--write",
        action="store_true",
        help="put the best set-up into the job file, comments kept, and a mate's into a job file beside it",
    )
    parser.add_argument(
        "--ratio", metavar="R", help="a bare ratio, such as 1.0298 or 127/100, instead of jobs"
    )
    parser.add_argument("--drawer", metavar="TEETH", help="gears owned, such as 20,24,24,30, for --ratio")
    parser.add_argument("--pairs", type=int, default=2, choices=(1, 2, 3), help="pairs of gears for --ratio")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Plan every job, or find gears for a ratio; returns the exit status."""
    from .outlet import complain

    if options.top < 1:
        complain(f"--top is {options.top}; it must be 1 or more")
        return 2
    if options.ratio is not None:
        from .ratio_command import run_ratio

        return run_ratio(options)
    if not options.jobs:
        complain("plan needs a JOB, or --ratio with --drawer")
        return 2
    return _run_jobs(options)


def _run_jobs(options: argparse.Namespace) -> int:
    from handlead.machines.errors import FileFault

    from .outlet import print_json, report_fault

    results: list[dict[str, Any]] = []
    status = 0
    for path in options.jobs:
        try:
            found = _plan(path, options)
        except FileFault as fault:
            status = 2
            answer = report_fault(path, fault)
            results.append({"job": str(path), "errors": answer["errors"]})
            continue
        status = max(status, 0 if found.is_found else 1)
        # Written first: whoever reads the report may stop reading.
        if options.write and found.is_found and not _write(path, found, options):
            status = 2
        if options.json:
            results.append(found.as_json())
        else:
            from .plan_report import show_plan

            show_plan(found)
    if options.json:
        print_json(results if len(options.jobs) > 1 else results[0])
    return status


def _plan(path: Path, options: argparse.Namespace) -> Plan:
    from handlead.machines.catalogue import find_machine
    from handlead.machines.job_file import read_job
    from handlead.machines.planning import plan

    job = read_job(path)
    machine = find_machine(options.machine, path.parent) if options.machine else None
    return plan(job, machine, options.top)


def _write(path: Path, found: Plan, options: argparse.Namespace) -> bool:
    """The best set-up into the job's file, a mate's into one beside it; returns whether all is written."""
    from handlead.machines.filing import write_text
    from handlead.machines.writing import with_setup

    first, *others = found.members if found.job.mate else found.members[:1]
    text = path.read_text(encoding="utf-8")
    write_text(with_setup(text, first.setups[0].setup, options.machine), path, overwrite=True)
    print(f"{path}: the best set-up of the {first.name} is written under [setup]", file=sys.stderr)
    written = True
    for member in others:
        beside = path.with_name(f"{path.stem}-{member.name}{path.suffix}")
        if _write_beside(beside, path, member, options.machine):
            print(f"{beside}: a job for the {member.name}, with its best set-up", file=sys.stderr)
        else:
            print(f"{beside}: something else is there, so the {member.name}'s set-up isn't written", file=sys.stderr)
            written = False
    return written


def _write_beside(beside: Path, path: Path, member: Member, machine: str | None) -> bool:
    """Write a job of its own for a member, unless a file is there that wasn't written so."""
    from dataclasses import replace

    from handlead.machines.errors import FileFault
    from handlead.machines.filing import write_text
    from handlead.machines.job_file import read_job
    from handlead.machines.writing import job_text, with_setup

    job = read_job(path)
    own = replace(job, title=f"{job.title}, {member.name}", work=member.work, mate=None, setup=None, seen=None)
    text = job_text(own)
    if beside.exists():
        try:
            there = read_job(beside)
        except FileFault:
            return False
        if there.title != own.title:
            return False
        if (there.work, there.hob, there.cutting) == (own.work, own.hob, own.cutting):
            text = beside.read_text(encoding="utf-8")  # with what was noted in it since
    write_text(with_setup(text, member.setups[0].setup, machine), beside, overwrite=True)
    return True
