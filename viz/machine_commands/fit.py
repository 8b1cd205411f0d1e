"""``handlead fit MACHINE OBSERVATIONS``: unknown numbers of a machine file, from what was counted on the machine."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from handlead.machines.fitting.counts import Fit
    from handlead.machines.fitting.from_another import Refit


def add(commands: Any) -> None:
    """Add the command to the parser's `commands`."""
    parser = commands.add_parser(
        "fit",
        help="find the numbers that a machine file lacks, from turns and travels counted at the machine",
        usage=(
            "handlead fit [-h] [--json] [--write] MACHINE OBSERVATIONS\n"
            "       handlead fit [-h] [--json] --from OTHER OBSERVATIONS\n"
            "       handlead fit [-h] [--json] --from OTHER --write NEW OBSERVATIONS"
        ),
        description=(
            'Finds every number and sense that MACHINE has as "?", from the turns and travels in OBSERVATIONS, and '
            "says which observation would settle most of the rest. With --from, finds the fewest changes to another "
            "machine's file that explain OBSERVATIONS."
        ),
        epilog="Exit status: 0 all determined, 1 not all determined, 2 a file cannot be used, "
        "3 something broke inside the program.",
    )
    parser.add_argument(
        "files", nargs="+", metavar="FILE", type=Path, help="machine file, then observations file"
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.add_argument(
        "--from", dest="other", metavar="OTHER", help="start from this machine: a file, or one that ships"
    )
    parser.add_argument(
        "--write",
        action="store_true",
        help="put what was found into MACHINE, comments and layout kept; with --from, into the new file NEW",
    )
    parser.set_defaults(run=run, parser=parser)


def run(options: argparse.Namespace) -> int:
    """Fits the machine; returns the exit status."""
    parser: argparse.ArgumentParser = options.parser
    files: list[Path] = options.files
    if options.other is None:
        if len(files) != 2:
            parser.error("give a machine file and an observations file")
        return _guarded(options, files[1], lambda: _fit(options, files[0], files[1]))
    if len(files) != 1 + options.write:
        parser.error(
            "with --from and --write, give the name of the file to make and the observations file"
            if options.write
            else "with --from, give the observations file alone, or --write and the name of the file to make as well"
        )
    return _guarded(options, files[-1], lambda: _fit_from(options, files[-1]))


def _guarded(options: argparse.Namespace, path: Path, work: Any) -> int:
    from handlead.machines.toml.errors import FileFault
    from handlead.viz.streams.outlet import report_unusable

    try:
        status: int = work()
    except FileFault as fault:
        return report_unusable(fault, {"observations": str(path)} if options.json else None)
    return status


def _fit(options: argparse.Namespace, machine: Path, seen: Path) -> int:
    from handlead.machines.documents.observations_file import read_observations
    from handlead.machines.fitting.counts import fit, write_fit
    from handlead.machines.machine_files.unfitted import read_unfitted

    unfitted = read_unfitted(machine)
    result = fit(unfitted, read_observations(seen, unfitted.machine))
    written = write_fit(result, machine) if options.write else None
    _show(options, result, written, machine)
    return 0 if result.is_determined else 1


def _fit_from(options: argparse.Namespace, seen: Path) -> int:
    from handlead.machines.documents.observations_file import read_observations
    from handlead.machines.fitting.from_another import fit_from
    from handlead.machines.machine_files.catalogue import find_machine
    from handlead.machines.toml.filing import write_text

    machine = find_machine(options.other)
    result = fit_from(machine, read_observations(seen, machine))
    written = None
    if options.write:
        written = int(result.is_determined)
        if result.is_determined:
            write_text(result.changed_text(), options.files[0])
    _show(options, result, written, options.files[0])
    return 0 if result.is_determined else 1


def _show(options: argparse.Namespace, result: Fit | Refit, written: int | None, path: Path) -> None:
    from handlead.viz.streams.outlet import print_json

    if options.json:
        print_json(result.as_json())
        return
    from handlead.machines.fitting.counts import Fit
    from handlead.viz.reports.fit import show_fit, show_refit, show_written

    if isinstance(result, Fit):
        show_fit(result)
    else:
        show_refit(result)
    if written is not None:
        show_written(written, path)
