"""``handlead show JOB``: the pictures of a set-up."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import Any

#: What can be shown, by the names of `job_pictures.PICTURES`.
PICTURES = ("train", "bracket", "swivel", "witness", "flank", "motion")


def add(commands: Any) -> None:
    """Add the command to the parser's `commands`."""
    parser = commands.add_parser(
        "show",
        help="the pictures of a set-up: train, brackets, head, light cut, flanks, motion",
        description="Draws the set-up of JOB into picture files (.png, .pdf or .svg).",
        epilog="Exit status: 0 drawn, 2 the file cannot be used or a picture cannot be made.",
    )
    parser.add_argument("job", metavar="JOB", type=Path, help="job file (TOML) with [setup]")
    parser.add_argument("--what", choices=(*PICTURES, "all"), default="train", help="which picture (default: train)")
    parser.add_argument(
        "--out", type=Path, metavar="FILE", help="picture file; with --what all each name is put before its ending"
    )
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Draw what is asked for; returns the exit status."""
    from handlead.machines.case import Case
    from handlead.machines.errors import FileFault
    from handlead.machines.job_file import read_job

    from .outlet import report_fault

    try:
        job = read_job(options.job)
        if job.setup is None:
            print(f"{options.job}: no [setup]: there is nothing to draw yet", file=sys.stderr)
            return 2
        case = Case.of(job, job.setup)
    except FileFault as fault:
        report_fault(options.job, fault)
        return 2
    names = PICTURES if options.what == "all" else (options.what,)
    return max(_draw(case, name, _path(options, name)) for name in names)


def _path(options: argparse.Namespace, name: str) -> Path:
    out: Path = options.out or Path(f"{options.job.stem}-{name}.png")
    return out.with_name(f"{out.stem}-{name}{out.suffix}") if options.out and options.what == "all" else out


def _draw(case: Any, name: str, path: Path) -> int:
    from . import job_pictures, look

    try:
        figure = job_pictures.PICTURES[name](case)
        look.save(figure, path, title=f"{case.job.title}: {name}")
    except (job_pictures.NoPicture, ValueError, OSError) as why:
        print(f"{name}: {why}", file=sys.stderr)
        return 2
    print(f"{name}: {path}")
    return 0
