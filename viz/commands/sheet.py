"""``handlead sheet JOB...``: the set-up sheet for the shop floor."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from handlead.machines.blanks.witness import Depth
    from handlead.machines.proving.proof import Proof


def add(commands: Any) -> None:
    """Add the command to the parser's `commands`."""
    parser = commands.add_parser(
        "sheet",
        help="the set-up sheet for the shop floor",
        description="Makes the set-up sheet: a page for each JOB's set-up, or, where a job has none yet, for each "
        "member that can be planned. Two that share gears come side by side first, for changing over.",
        epilog="Exit status: 0 made, 2 a file cannot be used, 3 something broke inside the program.",
    )
    parser.add_argument("jobs", metavar="JOB", nargs="+", type=Path, help="job file (TOML)")
    parser.add_argument(
        "--out", type=Path, metavar="FILE", help="a .pdf or .html file (default: JOB-sheet.pdf)"
    )
    parser.add_argument(
        "--paper", choices=("A4", "Letter"), default="A4", help="size of the paper (default: A4)"
    )
    parser.add_argument("--no-cut", action="store_true", help="leave the blank uncut: no marks and facets")
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Make the sheet of every job that can be used; returns the exit status."""
    from handlead.viz.streams.outlet import print_json, report_failed, tell

    out: Path = options.out or Path(f"{options.jobs[0].stem}-sheet.pdf")
    answer: dict[str, Any] = {"jobs": [], "file": None, "pages": 0, "errors": []}
    statuses = [0]
    try:
        _check_ending(out)
        pages = list(_pages(options, answer, statuses))
        if pages:
            answer |= {"file": str(out), "pages": _write(pages, out, options.paper)}
    except Exception as fault:
        status, told = report_failed(fault)
        statuses.append(status)
        answer["errors"] += told["errors"]
    if options.json:
        print_json(answer)
    elif made := answer["pages"]:
        tell(f"{out}: {made} page{'s' if made > 1 else ''}")
    return max(statuses)


def _check_ending(out: Path) -> None:
    from handlead.machines.toml.errors import HandleadError

    if out.suffix.lower() not in (".pdf", ".html"):
        raise HandleadError(f"--out {out}: a sheet's name must end in .pdf or .html")


def _pages(options: argparse.Namespace, answer: dict[str, Any], statuses: list[int]) -> Iterator[tuple[str, Proof]]:
    """The proof for each page, of every job that can be used; notes which can, and what is wrong with the others."""
    from handlead.machines.toml.errors import HandleadError
    from handlead.viz.streams.outlet import report_failed

    for job in options.jobs:
        try:
            found = list(_proofs(job, None if options.no_cut else "scratch"))
            if not found:
                raise HandleadError(f"{job}: no set-up is given and none can be planned")
        except Exception as fault:
            status, told = report_failed(fault)
            statuses.append(status)
            answer["errors"] += told["errors"]
            continue
        answer["jobs"].append(str(job))
        yield from found


def _write(pages: list[tuple[str, Proof]], out: Path, paper: str) -> int:
    """Write the sheet; returns the number of its pages."""
    from handlead.machines.toml.errors import HandleadError
    from handlead.viz.look.look import misspelt
    from handlead.viz.sheet.file import write_sheet
    from handlead.viz.streams.outlet import complain

    try:
        made, missing = write_sheet(pages, out, paper)
    except OSError as fault:
        raise HandleadError(f"{out}: it can't be written ({(fault.strerror or str(fault)).lower()})") from None
    if missing:
        complain(f"{out}: {misspelt(missing)}")
    return made


def _proofs(path: Path, cut: Depth | None) -> Iterator[tuple[str, Proof]]:
    """The proof for each page of a job, with the member that it is for."""
    from handlead.machines.job_files.job_file import read_job
    from handlead.machines.proving.proof import prove, prove_case

    job = read_job(path)
    if job.setup is not None:
        yield "", prove(job, cut=cut)
        return
    from handlead.machines.planning.planning import plan

    members = [member for member in plan(job, top=1).members if member.setups]
    for member in members:
        yield (
            member.name if len(members) > 1 else "",
            prove_case(member.setups[0].proof.case, cut=cut),
        )
