"""``handlead sheet JOB``: the set-up sheet for the shop floor."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from handlead.machines.proof import Proof
    from handlead.machines.witness import Depth


def add(commands: Any) -> None:
    """Add the command to the parser's `commands`."""
    parser = commands.add_parser(
        "sheet",
        help="the set-up sheet for the shop floor",
        description="Makes the set-up sheet of JOB: a page for its set-up, or, where it has none yet, a page for each "
        "member that can be planned.",
        epilog="Exit status: 0 made, 2 the file cannot be used.",
    )
    parser.add_argument("job", metavar="JOB", type=Path, help="job file (TOML)")
    parser.add_argument("--out", type=Path, metavar="FILE", help="a .pdf or .html file (default: JOB-sheet.pdf)")
    parser.add_argument("--paper", choices=("A4", "Letter"), default="A4", help="size of the paper (default: A4)")
    parser.add_argument("--no-cut", action="store_true", help="leave the blank uncut: no marks and facets")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Make the sheet; returns the exit status."""
    from handlead.machines.errors import FileFault

    from .outlet import report_fault

    out: Path = options.out or Path(f"{options.job.stem}-sheet.pdf")
    if out.suffix.lower() not in (".pdf", ".html"):
        print(f"--out {out}: a sheet's name must end in .pdf or .html", file=sys.stderr)
        return 2
    try:
        proofs = _proofs(options)
        if not proofs:
            print(f"{options.job}: no set-up is given and none can be planned", file=sys.stderr)
            return 2
        from .sheet_file import write_sheet

        write_sheet(proofs, out, options.paper)
    except FileFault as fault:
        report_fault(options.job, fault)
        return 2
    except OSError as fault:
        print(f"{out}: {fault.strerror or fault}", file=sys.stderr)
        return 2
    print(f"{out}: {len(proofs)} page{'s' if len(proofs) > 1 else ''}")
    return 0


def _proofs(options: argparse.Namespace) -> list[tuple[str, Proof]]:
    """The proof for each page, with the member that it is for."""
    from handlead.machines.job_file import read_job
    from handlead.machines.planning import plan
    from handlead.machines.proof import prove, prove_case

    job = read_job(options.job)
    cut: Depth | None = None if options.no_cut else "scratch"
    if job.setup is not None:
        return [("", prove(job, cut=cut))]
    members = [member for member in plan(job, top=1).members if member.setups]
    return [
        (member.name if len(members) > 1 else "", prove_case(member.setups[0].proof.case, cut=cut))
        for member in members
    ]
