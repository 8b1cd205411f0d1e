"""``handlead recover JOB``: from what was measured on a gear off this machine, the set-ups that may have made it."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any


def add(commands: Any) -> None:
    """Add the command to the parser's `commands`."""
    parser = commands.add_parser(
        "recover",
        help="from count, lead and feed marks of a gear that this machine cut, the set-ups that may have made it",
        description="From the [seen] of JOB (teeth, hand, lead, feed_marks), measured on a gear that is known to come "
        "from its machine, finds the gears out of the drawer and the levers that leave just that, likeliest first. "
        "Every set-up shown has been proved. A [work] with the drawing's lead says what whoever set it went by.",
        epilog="Exit status: 0 found, 1 none leaves what was measured, 2 the file cannot be used, "
        "3 something broke inside the program.",
    )
    parser.add_argument("job", metavar="JOB", type=Path, help="job file (TOML) with [seen]; [setup] isn't needed")
    parser.add_argument("--top", type=int, default=8, metavar="N", help="how many set-ups (default 8)")
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Recover the set-up; returns the exit status."""
    from handlead.machines.job_files.job_file import read_job
    from handlead.machines.toml.errors import FileFault
    from handlead.machines.tracing.recovered import recover
    from handlead.viz.streams.outlet import complain, print_json, report_unusable

    if options.top < 1:
        complain(f"--top is {options.top}; it must be 1 or more")
        return 2
    try:
        found = recover(read_job(options.job), options.top)
    except FileFault as fault:
        return report_unusable(fault, {"job": str(options.job)} if options.json else None)
    if options.json:
        print_json(found.as_json())
    else:
        from handlead.viz.gear_reports.recover import show_recovered

        show_recovered(found)
    return 0 if found.setups else 1
