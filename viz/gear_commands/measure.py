"""``handlead measure JOB``: from what the teeth measure, how much deeper, and what each measure must then read."""

from __future__ import annotations

import argparse
import datetime
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from handlead.machines.job_files.job_file import Gauging, Job


def add(commands: Any) -> None:
    """Add the command to the parser's `commands`."""
    parser = commands.add_parser(
        "measure",
        help="from span, balls, chord or depth found, how much deeper and what must then be read",
        description="Holds what the teeth of JOB measure against what they must measure at full depth, and says how "
        "much deeper to go and what each measure must read then. Without a measure the job's last [[measured]] counts. "
        "Lengths are in the job's units unless they carry their own, as 32.6mm.",
        epilog="Exit status: 0 done, 1 deeper to go, too deep already or measures that disagree, 2 the file or a "
        "measure cannot be used, 3 something broke inside the program.",
    )
    parser.add_argument("job", metavar="JOB", type=Path, help="job file (TOML)")
    parser.add_argument("--span", metavar="TEETH=SIZE", help="span over so many teeth, as 4=32.61")
    parser.add_argument("--balls", metavar="BALL=SIZE", help="size over two balls (or pins) of a diameter, as 4.5=62.2")
    parser.add_argument("--chord", metavar="SIZE", help="chordal thickness, or a key's, the tongue set as prove says")
    parser.add_argument("--depth", metavar="SIZE", help="depth of a space from the tips")
    parser.add_argument("--dialled", metavar="SIZE", help="depth gone in by so far, from the touch")
    parser.add_argument("--write", action="store_true", help="add the measures to JOB, dated, as one more [[measured]]")
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Say how much deeper; returns the exit status."""
    from handlead.machines.job_files.job_file import read_job
    from handlead.machines.measuring.going_deeper import NotMeasured, go_deeper
    from handlead.machines.toml.errors import FileFault
    from handlead.machines.toml.numbers import NumberFault
    from handlead.viz.streams.outlet import print_json, report_unusable

    try:
        job = read_job(options.job)
        gauging = gauging_of(options, job)
        found = go_deeper(job, gauging)
        if options.write and gauging is not None:
            _write(options.job, gauging, job)
    except (FileFault, NotMeasured, NumberFault) as fault:
        return report_unusable(fault, {"job": str(options.job)} if options.json else None)
    if options.json:
        print_json(found.as_json())
    else:
        from handlead.viz.gear_reports.measure import show_deeper

        show_deeper(found)
    return 0 if found.verdict == "done" and not found.disagree else 1


def gauging_of(options: argparse.Namespace, job: Job) -> Gauging | None:
    """What was typed; None where nothing was. Raises `NumberFault` in words that name the option."""
    from handlead.machines.job_files.job_file import Gauging

    given = {name: getattr(options, name) for name in ("span", "balls", "chord", "depth", "dialled")}
    if all(value is None for name, value in given.items() if name != "dialled"):
        return None
    span, balls = (_pair(given[name], f"--{name}") for name in ("span", "balls"))
    chord, depth, dialled = (_length(given[name], f"--{name}", job) for name in ("chord", "depth", "dialled"))
    return Gauging(
        date=datetime.date.today().isoformat(),
        dialled=dialled,
        span=span and (_count(span[0]), _sure(span[1], "--span", job)),
        balls=balls and (_sure(balls[0], "--balls", job), _sure(balls[1], "--balls", job)),
        chord=chord,
        depth=depth,
    )


def _pair(text: str | None, option: str) -> tuple[str, str] | None:
    from handlead.machines.toml.numbers import NumberFault

    if text is None:
        return None
    first, sign, second = text.partition("=")
    if not sign or not first.strip() or not second.strip():
        raise NumberFault(f"{option} {text}: write what it is over, an equals sign, and what it reads, as 4=32.61")
    return first.strip(), second.strip()


def _count(text: str) -> int:
    from handlead.machines.toml.numbers import NumberFault

    if not text.isascii() or not text.isdigit() or not 1 <= int(text) <= 1000:
        raise NumberFault(f"--span {text}: over how many teeth is a whole number from 1 to 1000")
    return int(text)


def _length(text: str | None, option: str, job: Job) -> Fraction | None:
    return None if text is None else _sure(text, option, job)


def _sure(text: str, option: str, job: Job) -> Fraction:
    from handlead.machines.toml.numbers import NumberFault, length

    try:
        value = length(text, job.units)
    except NumberFault as fault:
        raise NumberFault(f"{option} {text}: {fault}") from None
    if not 0 < value < 10_000:
        raise NumberFault(f"{option} {text}: it must be a length above 0")
    return value


def _write(path: Path, gauging: Gauging, job: Job) -> None:
    """One more [[measured]] at the end of the file; all that is there stays as it is."""
    from handlead.machines.job_files.job_file import read_job_text
    from handlead.machines.toml.filing import read_text, write_text
    from handlead.machines.written.writing import measured_text

    text = read_text(path)
    ends = "\r\n" if "\r\n" in text else "\n"
    more = measured_text(gauging, job.units).replace("\n", ends)
    grown = f"{text.rstrip()}{ends}{ends}{more}"
    read_job_text(grown.removeprefix("\ufeff"), str(path), path.parent)
    write_text(grown, path, overwrite=True)


