"""``handlead study JOB``: how sure a set-up is against what is known to be loose in its machine."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from .crew_arguments import add_crew, crew_of


def add(commands: Any) -> None:
    """Add the command to the parser's `commands`."""
    parser = commands.add_parser(
        "study",
        help="how sure a set-up is against what is loose in the machine: shares of classes, and what contributes most",
        description="Draws what the machine's file says is loose, thousands of times, through the train to the flanks "
        "of JOB's set-up, and says in how many draws of 100 each class is reached and what contributes most.",
        epilog="Exit status: 0 done, 2 a file or argument cannot be used, 3 something broke inside the program.",
    )
    parser.add_argument("job", metavar="JOB", type=Path, help="job file (TOML) with a set-up")
    parser.add_argument(
        "--draws", type=int, default=10_000, metavar="N", help="how many draws (default 10000)"
    )
    parser.add_argument(
        "--flank", type=int, default=0, metavar="N",
        help="so many draws more that are cut in simulation and measured, marks and all; half a second each",
    )  # fmt: skip
    parser.add_argument(
        "--seed", type=int, default=1, metavar="N", help="another seed draws otherwise (default 1)"
    )
    add_crew(parser)
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Study the set-up; returns the exit status."""
    from handlead.machines.job_files.job_file import read_job
    from handlead.machines.studying.study import study
    from handlead.machines.toml.errors import HandleadError
    from handlead.viz.streams.outlet import print_json, progress_bar, report_failed

    try:
        _check(options)
        with crew_of(options) as crew:
            found = study(
                read_job(options.job), options.draws, options.flank, seed=options.seed, executor=crew,
                progress=progress_bar(options.job.name, time_left=True),
            )  # fmt: skip
    except HandleadError as fault:
        status, answer = report_failed(fault)
        if options.json:
            print_json({"job": str(options.job), **answer})
        return status
    if options.json:
        print_json(found.as_json())
    else:
        from .study_report import show_study

        show_study(found)
    return 0


def _check(options: argparse.Namespace) -> None:
    from handlead.machines.toml.errors import HandleadError

    for name, least in (("draws", 2), ("flank", 0), ("seed", 0)):
        given = getattr(options, name)
        if given < least:
            raise HandleadError(f"--{name} is {given}; it must be {least} or more")
