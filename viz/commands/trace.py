"""``handlead trace JOB``: from what was seen on a blank, the faults that explain it, and the next check."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from handlead.machines.job_files.job_file import Job
    from handlead.machines.tracing.diagnosis import Diagnosis


def add(commands: Any) -> None:
    """Add the command to the parser's `commands`."""
    parser = commands.add_parser(
        "trace",
        help="from what was seen on a blank, the faults that explain it, and the next check",
        description="From the [seen] of JOB, says which faults of its set-up explain what was cut, likeliest first, "
        "and which check at the machine tells them apart.",
        epilog="Exit status: 0 explained (or as wanted), 1 nothing explains it, 2 the file cannot be used, "
        "3 something broke inside the program.",
    )
    parser.add_argument("job", metavar="JOB", type=Path, help="job file (TOML) with [setup] and [seen]")
    how = parser.add_mutually_exclusive_group()
    how.add_argument("--json", action="store_true", help="print one JSON object")
    how.add_argument(
        "--ask", action="store_true", help="ask for the outcome of each check until one cause is left"
    )
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Trace the cut; returns the exit status."""
    from handlead.machines.job_files.job_file import read_job
    from handlead.machines.toml.errors import FileFault
    from handlead.machines.tracing.diagnosis import NOT_EXPLAINED, trace
    from handlead.viz.streams.outlet import print_json, progress_bar, report_fault

    try:
        job = read_job(options.job)
        found = trace(job, progress=progress_bar(options.job.name))
        if options.ask:
            found = _ask(job, found)
    except FileFault as fault:
        answer = report_fault(options.job, fault)
        if options.json:
            print_json(answer)
        return 2
    if options.json:
        print_json(found.as_json())
    elif not options.ask:
        _show(found)
    return 1 if found.verdict == NOT_EXPLAINED else 0


def _show(found: Diagnosis) -> None:
    from handlead.viz.reports.trace import show_diagnosis

    show_diagnosis(found)


def _ask(job: Job, found: Diagnosis) -> Diagnosis:
    """Ask for one check after the other, until one suspect is left or nobody answers any more."""
    from handlead.machines.tracing.diagnosis import trace, with_answer
    from handlead.viz.reports.trace import show_answers, show_diagnosis, show_question

    show_diagnosis(found)
    while found.next is not None:
        show_question(found.next)
        outcome = _answer(found)
        if outcome is None:
            break
        check = found.next.check
        if outcome.startswith(COUNT_AGAIN):
            check = next(one for one in found.checks if one.looks_at == "count")
            outcome = outcome.removeprefix(COUNT_AGAIN).strip()
        job = with_answer(job, check, outcome)
        found = trace(job)
        show_diagnosis(found, brief=True)
    show_answers(job)
    return found


#: What is typed to tell another count of the teeth at any time, the number behind it.
COUNT_AGAIN = "count again"


def _answer(found: Diagnosis) -> str | None:
    """The outcome that was chosen by its number or typed in words; None at the end of input or an empty line."""
    assert found.next is not None
    from handlead.kinematics.suspects.inspections import NONE_OF_THESE, NOT_SURE
    from handlead.viz.streams.outlet import tell

    splits = found.next.splits
    while True:
        print("> ", end="", flush=True)
        line = sys.stdin.readline()
        text = line.strip()
        if not text:
            print()
            return None
        if text.isascii() and text.isdigit() and 1 <= int(text) <= len(splits):
            return splits[int(text) - 1].outcome
        plain = " ".join(text.casefold().split())
        if plain in (*NONE_OF_THESE, *NOT_SURE):
            return plain
        if plain.startswith(COUNT_AGAIN):
            if plain.removeprefix(COUNT_AGAIN).strip().isdigit():
                return plain
            tell('Chalk the first tooth, count once round, and type "count again" with the number behind it.')
            continue
        agreeing = [split.outcome for split in splits if found.next.check.agrees(text, split.outcome)]
        if agreeing:
            return agreeing[0]
        tell(f'There is no outcome "{text}". Type its number, "other" if none of them was found, or "not sure".')
