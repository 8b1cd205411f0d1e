"""``handlead survey JOB... --machine M...``: which machine cuts which order, how truly, and what is in the way."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from contextlib import nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, Any

from .crew_arguments import add_crew, crew_of

if TYPE_CHECKING:
    from handlead.machines.job_files.job_file import Job
    from handlead.machines.machine_files.machine_file import Machine
    from handlead.machines.sequencing.day import Day
    from handlead.machines.shop.crew import Crew
    from handlead.machines.shop.survey import Survey
    from handlead.machines.toml.errors import HandleadError


#: Asked for as many gears as it takes.
EVERY_ORDER = float("inf")


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
    _add_questions(parser)
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


def _add_questions(parser: Any) -> None:
    """Add the arguments that ask for more than the survey."""
    parser.add_argument(
        "--gears-to-get", nargs="?", type=int, const=EVERY_ORDER, metavar="N",
        help="the fewest gears with which every order can be cut; with N, those that make the most orders possible",
    )  # fmt: skip
    parser.add_argument(
        "--order", action="store_true",
        help="the order of the day on each machine, with set-ups that leave as much as they can where it stands",
    )  # fmt: skip
    parser.add_argument(
        "--now", nargs="+", action="extend", default=[], type=Path, metavar="JOB",
        help="job files whose set-ups stand on their machines now, for --order (default: nothing is mounted)",
    )  # fmt: skip
    parser.add_argument(
        "--sheets",
        type=Path,
        metavar="FILE",
        help="write the sheets of --order, in their order, into a .pdf or .html file",
    )


def run(options: argparse.Namespace) -> int:
    """Make the survey; returns the exit status."""
    from handlead.machines.toml.errors import HandleadError
    from handlead.viz.streams.outlet import print_json, report_failed

    try:
        _check(options)
        found, more = make_survey(options)
        errors = _write(found, more.get("order", ()), options)
    except HandleadError as fault:
        status, answer = report_failed(fault)
        if options.json:
            print_json(answer)
        return status
    if options.json:
        told = found.as_json() | {name: _plain(one) for name, one in more.items()}
        print_json(told | ({"errors": errors} if errors else {}))
    else:
        _show(found, more)
    return max(_status(found, more), 2 if errors else 0)


def _plain(answer: Any) -> Any:
    return [one.as_json() for one in answer] if isinstance(answer, tuple) else answer.as_json()


def _show(found: Survey, more: dict[str, Any]) -> None:
    from .survey_report import show_survey

    show_survey(found)
    if "gears_to_get" in more:
        from .buying_report import show_buying

        show_buying(more["gears_to_get"])
    for day in more.get("order", ()):
        from .day_report import show_day

        show_day(day)


def _status(found: Survey, more: dict[str, Any]) -> int:
    """That of the survey; with gears to get, whether every order can be cut with them."""
    if "gears_to_get" in more and found.status < 2:
        status: int = more["gears_to_get"].status
        return status
    return found.status


def make_survey(options: argparse.Namespace) -> tuple[Survey, dict[str, Any]]:
    """Read the pile and look at it; returns what else was asked for by its name in the JSON object.

    Raises `HandleadError` where none of it can be used.
    """
    from handlead.machines.shop.kept import Kept
    from handlead.machines.shop.pile import read_machines, read_pile
    from handlead.machines.shop.survey import survey
    from handlead.machines.toml.errors import HandleadError
    from handlead.viz.streams.outlet import complain, progress_bar

    machines, more = read_machines(options.machine, complain)
    jobs, unread = read_pile(options.jobs, complain, machines)
    if not jobs or (options.machine and not machines):
        raise HandleadError(f"nothing is left to look at: no {'machine' if jobs else 'job'} can be used")
    with crew_of(options) as crew, Kept(options.keep) if options.keep else nullcontext() as kept:
        tell = progress_bar("survey", time_left=True)
        found = survey(jobs, machines, executor=crew, kept=kept, progress=tell, unread=(*unread, *more))
        return found, _more(options, jobs, machines, found, crew)


def _more(
    options: argparse.Namespace, jobs: Sequence[Job], machines: Sequence[Machine], found: Survey, crew: Crew
) -> dict[str, Any]:
    """What is asked for beyond the survey."""
    more: dict[str, Any] = {}
    if options.gears_to_get is not None:
        from handlead.machines.buying.buying import gears_to_buy

        most = None if options.gears_to_get == EVERY_ORDER else options.gears_to_get
        more["gears_to_get"] = gears_to_buy(jobs, machines, most, executor=crew, found=found)
    if options.order:
        from handlead.machines.sequencing.day import on_best_machines, order_of_the_day, standing_now

        pairs = on_best_machines(found, jobs, machines)
        more["order"] = order_of_the_day(pairs, now=standing_now(options.now), executor=crew)
    return more


def _check(options: argparse.Namespace) -> None:
    from handlead.machines.toml.errors import HandleadError

    for name, path in (("--out", options.out), ("--sheets", options.sheets)):
        if path and path.suffix.lower() not in (".pdf", ".html"):
            raise HandleadError(f"{name} {path}: its name must end in .pdf or .html")
    for name, given in (("--now", options.now), ("--sheets", options.sheets)):
        if given and not options.order:
            raise HandleadError(f"{name} goes with --order")
    if (options.gears_to_get or 0) < 0:
        raise HandleadError(f"--gears-to-get is {options.gears_to_get}; it must be 0 or more")


def _write(found: Survey, days: Sequence[Day], options: argparse.Namespace) -> list[dict[str, Any]]:
    """Write what was asked for into files; returns what couldn't be, which is said on standard error too."""
    from handlead.machines.toml.errors import HandleadError
    from handlead.machines.toml.filing import write_text
    from handlead.viz.streams.outlet import report_failed

    from .day_sheets import write_day
    from .survey_table import rows_as_csv, write_page

    errors: list[dict[str, Any]] = []
    for path, write in (
        (options.csv, lambda path: write_text(rows_as_csv(found), path, overwrite=True)),
        (options.out, lambda path: write_page(found, path, options.paper)),
        (options.sheets, lambda path: write_day(days, path, options.paper)),
    ):
        try:
            if path:
                write(path)
        except (HandleadError, OSError) as fault:
            errors += report_failed(_told(fault, path))[1]["errors"]
    return errors


def _told(fault: HandleadError | OSError, path: Path) -> HandleadError:
    from handlead.machines.toml.errors import HandleadError

    if isinstance(fault, HandleadError):
        return fault
    return HandleadError(f"{path}: it can't be written ({(fault.strerror or str(fault)).lower()})")
