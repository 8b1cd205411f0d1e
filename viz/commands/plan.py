"""``handlead plan JOB``: the set-ups that the machine and its gears allow."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping

    from handlead.kinematics.links.mounted import Mounted
    from handlead.machines.job_files.job_file import Job
    from handlead.machines.machine_files.machine_file import Machine
    from handlead.machines.planning.planning import Plan


def add(commands: Any) -> None:
    """Add the command to the parser's `commands`."""
    parser = commands.add_parser(
        "plan",
        help="find the set-ups that the machine and its gears allow, or change gears for a bare ratio",
        description="Finds set-ups for each JOB: both members of a pair, or both hands, the safest that keep the class "
        "first. Every set-up shown has been proved. With --ratio it finds change gears for a ratio alone.",
        epilog="Exit status: 0 found, 1 none exists or the pair can't run, 2 a file or argument cannot be used, "
        "3 something broke inside the program.",
    )
    parser.add_argument("jobs", nargs="*", metavar="JOB", type=Path, help="job file (TOML)")
    parser.add_argument(
        "--machine",
        metavar="OTHER",
        help="plan the job on this machine, not its own; with --ratio, the one whose drawer and bracket count",
    )
    parser.add_argument(
        "--top", type=int, default=5, metavar="N", help="how many set-ups of each member (default 5)"
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object (several jobs: a list)")
    parser.add_argument(
        "--write",
        action="store_true",
        help="put the best set-up into the job file, every comment kept, and a mate's into a job file beside it; what "
        "either held before is kept under a name with the date",
    )
    parser.add_argument(
        "--now", metavar="JOB", type=Path,
        help="a job whose set-up stands on the machine now: of equally true ones that comes first which changes least",
    )  # fmt: skip
    parser.add_argument(
        "--hold", nargs="+", action="extend", default=[], metavar="BRACKET",
        help="leave the gears of this bracket as they stand, by --now or else by the job's own [setup]",
    )  # fmt: skip
    _add_ratio(parser)
    parser.set_defaults(run=run)


def _add_ratio(parser: argparse.ArgumentParser) -> None:
    """What is asked for a bare ratio, without a job."""
    parser.add_argument(
        "--ratio", metavar="R", help="a bare ratio, such as 1.0298 or 127/100, instead of jobs"
    )
    parser.add_argument(
        "--drawer",
        metavar="TEETH",
        help="gears owned, such as 20,24,24,30 or 20-100 or every fifth, 20-120/5, for --ratio",
    )
    parser.add_argument("--bracket", metavar="NAME", help="which bracket of the --machine the --ratio is for")
    parser.add_argument(
        "--pairs",
        type=int,
        choices=(1, 2, 3),
        help="pairs of gears for --ratio (default: what the bracket takes, or 1 and 2)",
    )


def run(options: argparse.Namespace) -> int:
    """Plan every job, or find gears for a ratio; returns the exit status."""
    from handlead.viz.streams.outlet import complain

    if options.top < 1:
        complain(f"--top is {options.top}; it must be 1 or more")
        return 2
    if options.ratio is not None and options.write:
        complain("--write goes with a JOB; with --ratio there is no job file to write into")
        return 2
    if options.ratio is not None:
        from handlead.viz.machine_commands.ratio import run_ratio

        return run_ratio(options)
    if not options.jobs:
        complain("plan needs a JOB, or --ratio with --drawer or --machine")
        return 2
    given = [name for name in ("drawer", "bracket", "pairs") if getattr(options, name) is not None]
    if given:
        complain(f"--{given[0]} goes with --ratio; a JOB has its machine's")
        return 2
    return _run_jobs(options)


def _run_jobs(options: argparse.Namespace) -> int:
    from handlead.viz.streams.outlet import complain, print_json, report_failed

    results: list[dict[str, Any]] = []
    statuses = [0]
    found: Plan | None = None
    for path in options.jobs:
        try:
            # What the job before leaves on the brackets stays there as far as it serves.
            found = _plan(path, options, found)
        except Exception as fault:
            status, answer = report_failed(fault)
            statuses.append(status)
            results.append({"job": str(path), **answer})
            continue
        statuses.append(0 if found.is_found and found.can_run else 1)
        told = found.as_json() if options.json else {}
        # Written first: whoever reads the report may stop reading.
        if options.write and not found.is_found:
            complain(f"{path}: nothing is written, since not every member that it asks for has a set-up")
        elif options.write and (errors := _write(path, found, options.machine)):
            statuses.append(2)
            told["errors"] = errors
        if options.json:
            results.append(told)
        else:
            from handlead.viz.reports.plan import show_plan

            show_plan(found)
    if options.json:
        print_json(results if len(options.jobs) > 1 else results[0])
    return max(statuses)


def _plan(path: Path, options: argparse.Namespace, before: Plan | None) -> Plan:
    from handlead.machines.job_files.job_file import read_job
    from handlead.machines.machine_files.catalogue import find_machine
    from handlead.machines.planning.planning import plan
    from handlead.viz.streams.outlet import complain
    from handlead.viz.streams.progress import Progress

    machine = find_machine(options.machine, path.parent) if options.machine else None
    job = read_job(path, instead=machine)
    if machine is not None and job.unusable_machine:
        complain(
            f"{path}: its own machine can't be used, which doesn't matter on {machine.name}:\n{job.unusable_machine}"
        )
    same = before is not None and before.machine.digest == (machine or job.machine).digest
    lying = before.left if before and same else _standing(job, machine or job.machine, options)
    with Progress() as line:
        return plan(job, machine, options.top, lying, lambda found: line.show(_so_far(found)), options.hold)


def _standing(job: Job, machine: Machine, options: argparse.Namespace) -> Mapping[str, Mounted] | None:
    """What stands on the machine before it is set. Raises `HandleadError` for what can't be held."""
    from handlead.machines.job_files.job_file import read_job
    from handlead.machines.toml.errors import HandleadError

    now = read_job(options.now) if options.now else job if options.hold else None
    if now is not None and now.setup is None:
        raise HandleadError(f"{now.path}: it has no [setup], so nothing is known to stand on {machine.name} now")
    if now is not None and now.machine.digest != machine.digest:
        raise HandleadError(f"{now.path}: it stands on {now.machine.name}, and the job is planned on {machine.name}")
    standing = now.setup.change if now and now.setup else None
    for name in options.hold:
        try:
            machine.check_bracket(name)
        except ValueError as fault:
            raise HandleadError(f"--hold: {fault}") from None
        if standing is None or name not in standing:
            raise HandleadError(f'--hold "{name}": nothing stands there. Give --now a job that has gears on it')
    return standing


def _so_far(found: Plan) -> str:
    """What has been found while the search goes on, in a line."""
    from handlead.viz.reports.plan import gears_of

    (member, *_) = found.members
    if not member.setups:
        return f"{found.job.title}: none so far ({member.none_because}); looking on"
    return f"{found.job.title}: {gears_of(member.setups[0])}; looking for better"


def _write(path: Path, found: Plan, machine: str | None) -> list[dict[str, Any]]:
    """Write what was found into files; returns what couldn't be, which is said on standard error too."""
    from handlead.machines.toml.errors import FileFault
    from handlead.viz.streams.outlet import report_fault

    from .plan_writing import write_plan

    try:
        write_plan(path, found, machine)
    except FileFault as fault:
        errors: list[dict[str, Any]] = report_fault(path, fault)["errors"]
        return errors
    return []
