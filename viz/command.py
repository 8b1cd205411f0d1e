"""The command line: which command, its arguments, its exit status. What a command needs is imported by it."""

from __future__ import annotations

import argparse
import ast
import difflib
import re
import sys
from collections.abc import Callable, Sequence
from typing import Any, NoReturn

from handlead.machines.toml.visible import visible

from .commands import bench as bench_command
from .commands import plan as plan_command
from .commands import prove as prove_command
from .commands import sheet as sheet_command
from .commands import show as show_command
from .commands import trace as trace_command
from .gear_commands import inspect as inspect_command
from .gear_commands import measure as measure_command
from .gear_commands import mesh as mesh_command
from .gear_commands import recover as recover_command
from .gear_commands import sample as sample_command
from .machine_commands import constants as constants_command
from .machine_commands import fit as fit_command
from .orders import study_command, survey_command
from .streams.outlet import complain, open_outlets, print_json, report_failed, shut_outlets, tell, version

#: Digits of a whole number that may be printed: more than any file within the readers' limits can make.
_MOST_DIGITS = 40_000

#: Exit statuses beside 0 (yes) and 1 (no): no command answers with these.
UNUSABLE, STOPPED = 2, 130

COMMANDS = (
    prove_command,
    plan_command,
    trace_command,
    sheet_command,
    show_command,
    fit_command,
    constants_command,
    recover_command,
    sample_command,
    measure_command,
    mesh_command,
    survey_command,
    study_command,
    inspect_command,
    bench_command,
)


class _Parser(argparse.ArgumentParser):
    """A parser that prints nothing but visible text, whatever was typed."""

    def _print_message(self, message: str, file: Any = None) -> None:
        # Not the base class's own: it passes over a stream that takes nothing.
        if message:
            (file or sys.stderr).write(visible(message, keep="\n"))

    def error(self, message: str) -> NoReturn:
        """End with one line on what was typed."""
        said = _plainly(message)
        end = "" if said.endswith("?") else "."
        self.exit(UNUSABLE, f"{self.prog}: {said}{end} {self.prog} --help tells what it takes\n")


def _plainly(message: str) -> str:
    """What the parser says of the arguments, in plain words."""
    for said, words in _SAID:
        if match := re.fullmatch(said, message, re.S):
            return words(match)
    return message


def _no_such_choice(match: re.Match[str]) -> str:
    what, typed, choices = match[1], ast.literal_eval(match[2]), re.findall(r"[\w.-]+", match[3])
    near = difflib.get_close_matches(str(typed), choices, n=1)
    right = f'Did you mean "{near[0]}"?' if near else f"There is {', '.join(choices)}"
    return f'there is no {what.lower()} "{typed}". {right}'


#: What the parser says, and how it is said here.
_SAID: tuple[tuple[str, Callable[[re.Match[str]], str]], ...] = (
    (r"the following arguments are required: (.*)", lambda match: f"{match[1]} is missing"),
    (r"unrecognized arguments: (.*)", lambda match: f"it takes no {match[1]}"),
    (r"argument (\S+): invalid choice: ('.*?'|\".*?\"|\d+) \(choose from (.*)\)", _no_such_choice),
    (r"argument (\S+): expected one argument", lambda match: f"{match[1]} needs a value after it"),
    (r"argument (\S+): invalid int value: (.*)", lambda match: f"{match[1]} must be a whole number, not {match[2]}"),
    (r"argument (\S+): not allowed with argument (\S+)", lambda match: f"{match[1]} and {match[2]} don't go together"),
    (r"argument (\S+): (.*)", lambda match: f"{match[1]}: {match[2]}"),
)


class _PrintVersion(argparse.Action):
    """Prints the version; it is looked up only when it is asked for."""

    def __call__(self, parser: argparse.ArgumentParser, *_: object) -> NoReturn:
        """Print it and end."""
        tell(f"handlead{version()}")
        parser.exit()


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; returns its exit status. Never raises for what a file or an argument holds."""
    # An absurd but readable machine file makes fractions longer than the interpreter prints by default.
    sys.set_int_max_str_digits(_MOST_DIGITS)
    if not open_outlets():
        complain("standard output is closed: there is nowhere to print to")
        return UNUSABLE
    try:
        return _run(sys.argv[1:] if arguments is None else arguments)
    finally:
        shut_outlets()


def _run(arguments: Sequence[str]) -> int:
    try:
        try:
            options = build_parser().parse_args(arguments)
            status: int = options.run(options)
        finally:
            # What is still held back may be what a full disk or a reader that has gone won't take.
            sys.stdout.flush()
    except KeyboardInterrupt:
        complain("stopped")
        return STOPPED
    except BrokenPipeError:
        complain("standard output: its reader has gone, and not all was printed")
        return UNUSABLE
    except OSError as fault:
        # Files that a command writes are its own business; a stream has no name.
        complain(f"{fault.filename or 'standard output'}: {fault.strerror or fault}")
        return UNUSABLE
    except Exception as fault:
        status, answer = report_failed(fault)
        if "--json" in arguments:
            print_json(answer)
    return status


def build_parser() -> argparse.ArgumentParser:
    """The parser of the whole command line."""
    parser = _Parser(
        prog="handlead",
        description="Proves the set-up of a change-gear hobbing machine before the hob touches the blank.",
        epilog="Exit status: 0 yes, 1 no, 2 the files or arguments cannot be used, or the answer cannot be printed, "
        "3 something broke inside the program. HANDLEAD_DEBUG=1 then shows where, for a report.",
    )
    parser.add_argument("--version", action=_PrintVersion, nargs=0, help="print the version, for a report")
    commands = parser.add_subparsers(title="commands", required=True, metavar="COMMAND")
    for command in COMMANDS:
        command.add(commands)
    return parser


if __name__ == "__main__":
    sys.exit(main())
