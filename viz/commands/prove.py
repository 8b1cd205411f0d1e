"""``handlead prove JOB``: what a set-up would cut, against what is wanted."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from handlead.machines.blanks.witness import Depth
    from handlead.machines.proving.proof import Proof


def add(commands: Any) -> None:
    """Add the command to the parser's `commands`."""
    parser = commands.add_parser(
        "prove",
        help="run a set-up in simulation: what it would cut, against what is wanted",
        description="Runs the set-up of each JOB in simulation and says what it would cut, against what is wanted.",
        epilog="Exit status: 0 all as wanted, 1 one or more not as wanted, 2 a file cannot be used, 3 something broke "
        "inside the program.",
    )
    parser.add_argument("jobs", nargs="+", metavar="JOB", type=Path, help="job file (TOML)")
    parser.add_argument("--json", action="store_true", help="print one JSON object (several jobs: a list)")
    parser.add_argument(
        "--depth", choices=("scratch", "full"), default="scratch", help="how deep the blank is cut (default: scratch)"
    )
    parser.add_argument("--no-cut", action="store_true", help="leave the blank uncut: the train alone, at once")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Prove every job, whatever comes of the others; returns the exit status."""
    from handlead.viz.streams.outlet import print_json, report_failed

    results: list[dict[str, Any]] = []
    statuses = [0]
    for path in options.jobs:
        try:
            proof = _prove(path, cut=None if options.no_cut else options.depth)
        except Exception as fault:
            status, answer = report_failed(fault)
            statuses.append(status)
            results.append({"job": str(path), "verdict": None, **answer})
            continue
        statuses.append(0 if proof.is_as_wanted else 1)
        if options.json:
            results.append(proof.as_json())
        else:
            _show(proof)
    if options.json:
        print_json(results if len(options.jobs) > 1 else results[0])
    return max(statuses)


def _prove(path: Path, *, cut: Depth | None) -> Proof:
    from handlead.machines.job_files.job_file import read_job
    from handlead.machines.proving.proof import prove
    from handlead.viz.streams.outlet import progress_bar

    return prove(read_job(path), cut=cut, progress=progress_bar(path.name))


def _show(proof: Proof) -> None:
    from handlead.viz.reports.proof import show_proof

    show_proof(proof)
