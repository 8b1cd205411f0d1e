"""``handlead inspect JOB RECORD...``: from a measured gear's records, the parts that left what is on it."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from handlead.machines.inspecting.answer import InspectedGear


def add(commands: Any) -> None:
    """Add the command to the parser's `commands`."""
    parser = commands.add_parser(
        "inspect",
        help="from a measured gear's records, the parts of the machine that left what is on it",
        description="Holds RECORDs of a finished gear, pitch, runout, helix, profile or transmission error, all "
        "together against every part that turns in JOB's set-up, and says which of them left what stands above the "
        "noise, how large its fault is, how to prove it, and which is worth mending. A record is lines of readings, "
        "from a checker or a dial (machines/FILES.md), or a checker's XML as far as it says itself what it holds: that "
        "was never tried on a file of a real checker, so hold the chart against the checker's own.",
        epilog="Exit status: 0 a part was found, 1 none stands above the noise, 2 a file cannot be used, "
        "3 something broke inside the program.",
    )
    parser.add_argument(
        "job", metavar="JOB", type=Path, help="job file (TOML) with the set-up that cut the gear"
    )
    parser.add_argument(
        "records", metavar="RECORD", type=Path, nargs="+", help="records of that gear (CSV or XML)"
    )
    parser.add_argument(
        "--counted",
        choices=("clockwise", "counter-clockwise"),
        default="",
        help="for XML that doesn't say: which way the teeth are counted, facing the table as the gear lay for the cut",
    )
    parser.add_argument(
        "--chart", metavar="FILE", type=Path,
        help="draw records, parts one by one and what is left, .pdf, .png or .svg; a page a record in a PDF, else "
        "further records get a number before the ending",
    )  # fmt: skip
    parser.add_argument(
        "--write", action="store_true",
        help="put what was found into the machine's file as imperfections, with records and day, for prove and study; "
        "what it held before is kept beside it under a name with the date",
    )  # fmt: skip
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.set_defaults(run=run, parser=parser)


def run(options: argparse.Namespace) -> int:
    """Inspect the gear; returns the exit status."""
    from handlead.machines.inspecting.answer import inspect
    from handlead.machines.job_files.job_file import read_job
    from handlead.machines.toml.errors import HandleadError
    from handlead.viz.look.look import ENDINGS
    from handlead.viz.streams.outlet import complain, print_json, report_failed

    if options.chart is not None and options.chart.suffix.lower() not in ENDINGS:
        options.parser.error(f"--chart {options.chart}: its name must end in {', '.join(ENDINGS)}")
    try:
        found = inspect(read_job(options.job), *options.records, counted=options.counted)
        charts = _draw(found, options.chart)
        written = _write(found) if options.write else {}
    except HandleadError as fault:
        status, answer = report_failed(fault)
        if options.json:
            print_json({"job": str(options.job), **answer})
        return status
    for left_out in found.left_out:
        complain(left_out)
    if options.json:
        print_json(found.as_json() | ({"charts": [str(one) for one in charts]} if charts else {}) | written)
    else:
        from handlead.viz.gear_reports.inspect import show_inspected

        show_inspected(found, charts)
    return 0 if found.is_explained else 1


def _write(found: InspectedGear) -> dict[str, Any]:
    """Put what was found into the machine's file and tell of it on standard error; returns it as plain values."""
    from handlead.machines.inspecting.loop import write_found
    from handlead.viz.gear_reports.inspect import written_lines
    from handlead.viz.streams.outlet import complain

    done = write_found(found)
    for line in written_lines(done):
        complain(f"{done.path}: {line}")
    return {"written": done.as_json()}


def _draw(found: InspectedGear, out: Path | None) -> list[Path]:
    if out is None:
        return []
    from handlead.viz.pictures.inspection import write_charts

    return write_charts(found, out)
