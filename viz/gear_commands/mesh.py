"""``handlead mesh JOB [MATE]``: the two simulated members rolled together."""

from __future__ import annotations

import argparse
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from handlead.machines.rolling.pair_rolled import PairRolled


def add(commands: Any) -> None:
    """Add the command to the parser's `commands`."""
    parser = commands.add_parser(
        "mesh",
        help="cut both members of a pair in simulation and roll them: what they hand on, where they bear, the backlash",
        description="Cuts the blanks of JOB and MATE in simulation, each with its own set-up and machine, and rolls "
        "them together on parallel shafts: transmission error, bearing pattern, least and most backlash, for both ways "
        "of turning. Without MATE, JOB's work runs on the mate of its own drawing, free of error.",
        epilog="Exit status: 0 they run together, 1 they don't, 2 a file cannot be used or is none for this, "
        "3 something broke inside the program.",
    )
    parser.add_argument("job", metavar="JOB", type=Path, help="job file (TOML) with [setup]")
    parser.add_argument(
        "mate", metavar="MATE", type=Path, nargs="?", help="the mate's own job file, with [setup]"
    )
    add_rolling(parser)
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.set_defaults(run=run)


def add_rolling(parser: Any) -> None:
    """The options of how a pair is rolled."""
    parser.add_argument(
        "--centres", metavar="SIZE",
        help="centre distance, in JOB's units unless it carries its own, as 157.2mm (default: the drawing's)",
    )  # fmt: skip
    parser.add_argument("--blue", metavar="SIZE", help="thickness of the marking blue (default: 0.006mm)")


def run(options: argparse.Namespace) -> int:
    """Roll them; returns the exit status."""
    from handlead.machines.rolling.pair_rolled import NotRolled
    from handlead.machines.toml.errors import FileFault, NoSetup
    from handlead.machines.toml.numbers import NumberFault
    from handlead.viz.streams.outlet import print_json, report_unusable

    try:
        found = rolled_of(options.job, options)
    except (FileFault, NoSetup, NotRolled, NumberFault) as fault:
        asked = {"job": str(options.job), "mate": options.mate and str(options.mate)}
        return report_unusable(fault, asked if options.json else None)
    if options.json:
        print_json(found.as_json())
    else:
        from handlead.viz.gear_reports.mesh import show_rolled

        show_rolled(found)
    return 0 if found.runs else 1


def rolled_of(path: Path, options: argparse.Namespace) -> PairRolled:
    """The pair rolled as the options say. Raises `FileFault`, `NoSetup`, `NotRolled`, `NumberFault`."""
    from handlead.machines.job_files.job_file import read_job
    from handlead.machines.rolling.pair_rolled import roll_pair

    job = read_job(path)
    mate = read_job(options.mate) if options.mate else None
    distance, film = (_length(getattr(options, name), f"--{name}", job.units) for name in ("centres", "blue"))
    return roll_pair(job, mate, distance=distance, film=None if film is None else float(film))


def _length(text: str | None, option: str, units: str) -> Fraction | None:
    from handlead.machines.toml.numbers import NumberFault, length

    if text is None:
        return None
    try:
        value = length(text, units)
    except NumberFault as fault:
        raise NumberFault(f"{option} {text}: {fault}") from None
    if not 0 < value < 100_000:
        raise NumberFault(f"{option} {text}: it must be a length above 0")
    return value
