"""``handlead survey JOB... --machine M...``: which machine cuts which order, how truly, and what is in the way."""

from __future__ import annotations

import argparse
from contextlib import nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, Any

from .crew_arguments import add_crew, crew_of

if TYPE_CHECKING:
    from handlead.machines.errors import HandleadError
    from handlead.machines.shop.survey import Survey


def add(commands: Any) -> None:
    """Add the command to the parser's `commands`."""
    parser = commands.add_parser(
        "survey",
        help="every order on every machine: which can cut it, how truly, how long, and what is in the way",
        description="Plans each JOB on each machine, and says which can cut it, best machine first. A JOB that is a "
        "folder stands for every job file in it.",
        epilog="Exit status: 0 every order can be cut, 1 some can't, 2 a file or argument cannot be used, "
        "3 something broke inside the program.",
    )
    parser.add_argument(
        "jobs", nargs="+", metavar="JOB", type=Path, help="job file (TOML), or a folder of them"
    )
    parser.add_argument(
        "--machine", nargs="+", action="extend", default=[], metavar="M",
        help="machines to look at, by name or file (default: the one that each job names)",
    )  # fmt: skip
    add_crew(parser)
    parser.add_argument(
        "--keep", type=Path, metavar="FILE",
        help="keep each row in FILE as it comes; started again with it, the survey goes on where it was",
    )  # fmt: skip
    parser.add_argument("--csv", type=Path, metavar="FILE", help="write the rows into FILE as CSV as well")
    parser.add_argument(
        "--out", type=Path, metavar="FILE", help="write the table into a .pdf or .html file as well"
    )
    parser.add_argument(
        "--paper", choices=("A4", "Letter"), default="A4", help="size of its paper (default: A4)"
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Make the survey; returns the exit status."""
    from handlead.machines.errors import HandleadError
    from handlead.viz.outlet import print_json, report_failed

    try:
        _check_endings(options)
        found = make_survey(options)
        errors = _write(found, options)
    except HandleadError as fault:
        status, answer = report_failed(fault)
        if options.json:
            print_json(answer)
        return status
    if options.json:
        print_json(found.as_json() | ({"errors": errors} if errors else {}))
    else:
        from .survey_report import show_survey

        show_survey(found)
    return max(found.status, 2 if errors else 0)


def make_survey(options: argparse.Namespace) -> Survey:
    """Read the pile and look at it. Raises `HandleadError` where none of it can be used."""
    from handlead.machines.errors import HandleadError
    from handlead.machines.shop.kept import Kept
    from handlead.machines.shop.pile import read_machines, read_pile
    from handlead.machines.shop.survey import survey
    from handlead.viz.outlet import complain, progress_bar

    jobs, unread = read_pile(options.jobs, complain)
    machines, more = read_machines(options.machine, complain)
    if not jobs or (options.machine and not machines):
        raise HandleadError(f"nothing is left to look at: no {'machine' if jobs else 'job'} can be used")
    with crew_of(options) as crew, Kept(options.keep) if options.keep else nullcontext() as kept:
        tell = progress_bar("survey", time_left=True)
        return survey(jobs, machines, executor=crew, kept=kept, progress=tell, unread=(*unread, *more))


def _check_endings(options: argparse.Namespace) -> None:
    from handlead.machines.errors import HandleadError

    if options.out and options.out.suffix.lower() not in (".pdf", ".html"):
        raise HandleadError(f"--out {options.out}: the table's name must end in .pdf or .html")


def _write(found: Survey, options: argparse.Namespace) -> list[dict[str, Any]]:
    """Write what was asked for into files; returns what couldn't be, which is said on standard error too."""
    from handlead.machines.errors import HandleadError
    from handlead.machines.filing import write_text
    from handlead.viz.outlet import report_failed

    from .survey_table import rows_as_csv, write_page

    errors: list[dict[str, Any]] = []
    for path, write in (
        (options.csv, lambda path: write_text(rows_as_csv(found), path, overwrite=True)),
        (options.out, lambda path: write_page(found, path, options.paper)),
    ):
        try:
            if path:
                write(path)
        except (HandleadError, OSError) as fault:
            errors += report_failed(_told(fault, path))[1]["errors"]
    return errors


def _told(fault: HandleadError | OSError, path: Path) -> HandleadError:
    from handlead.machines.errors import HandleadError

    if isinstance(fault, HandleadError):
        return fault
    return HandleadError(f"{path}: it can't be written ({(fault.strerror or str(fault)).lower()})")
