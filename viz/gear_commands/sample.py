"""``handlead sample FILE``: from measures of a worn gear, the systems of teeth that fit, and what to measure next."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from handlead.machines.documents.sample import Named


def add(commands: Any) -> None:
    """Add the command to the parser's `commands`."""
    parser = commands.add_parser(
        "sample",
        help="from measures of a worn gear, the systems of teeth that fit, and what to measure next",
        description="Holds what was measured on a gear (FILE) against every published system of teeth, and says which "
        "fit, likeliest first, how well each reading agrees, and what would tell the rest apart.",
        epilog="Exit status: 0 one fits surely, 1 several or none, 2 the file cannot be used, "
        "3 something broke inside the program.",
    )
    parser.add_argument("sample", metavar="FILE", type=Path, help="sample file (TOML) with what was measured")
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.add_argument("--write", metavar="JOB", type=Path, help="make a job to plan of one of them, in this new file")
    parser.add_argument("--choose", metavar="N", type=int, default=1, help="which of them, as numbered (default: 1)")
    parser.add_argument("--machine", metavar="MACHINE", help="the job's machine, by name or file; needed by --write")
    parser.set_defaults(run=run, parser=parser)


def run(options: argparse.Namespace) -> int:
    """Name the sample; returns the exit status."""
    from handlead.machines.documents.sample import NoSuchCandidate, read_sample
    from handlead.machines.toml.errors import FileFault
    from handlead.viz.streams.outlet import print_json, report_unusable

    if options.write is not None and options.machine is None:
        options.parser.error("--write needs --machine: a job says on which machine it is to be cut")
    try:
        named = read_sample(options.sample)
        written = None if options.write is None else _write(named, options)
    except (FileFault, NoSuchCandidate) as fault:
        return report_unusable(fault, {"sample": str(options.sample)} if options.json else None)
    if options.json:
        print_json(named.as_json() | ({"written": str(written)} if written else {}))
    else:
        from handlead.viz.gear_reports.sample import show_sample

        show_sample(named, written)
    return 0 if named.is_one else 1


def _write(named: Named, options: argparse.Namespace) -> Path:
    """The job file, whole or not at all, and only if it can be read again."""
    from handlead.machines.documents.sample import job_of, job_text_of
    from handlead.machines.toml.filing import write_text

    out: Path = options.write
    job_of(named, options.choose, options.machine, str(out), str(out.parent))
    write_text(job_text_of(named, options.choose, options.machine), out)
    return out
