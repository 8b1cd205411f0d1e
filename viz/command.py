"""The command line: which command, its arguments, its exit status. What a command needs is imported by it."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence

from . import (
    constants_command,
    fit_command,
    plan_command,
    prove_command,
    sheet_command,
    show_command,
    trace_command,
)

#: Digits of a whole number that may be printed: more than any file within the readers' limits can make.
_MOST_DIGITS = 40_000

COMMANDS = (
    prove_command,
    plan_command,
    trace_command,
    sheet_command,
    show_command,
    fit_command,
    constants_command,
)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; returns its exit status. Never raises for what a file or an argument holds."""
    # An absurd but readable machine file makes fractions longer than the interpreter prints by default.
    sys.set_int_max_str_digits(_MOST_DIGITS)
    parser = build_parser()
    options = parser.parse_args(arguments)
    try:
        status: int = options.run(options)
    except BrokenPipeError:
        # The reader of our output has gone (a pager, head): nobody is left to complain to.
        sys.stderr.close()
        return 1
    except KeyboardInterrupt:
        print("stopped", file=sys.stderr)
        return 130
    return status


def build_parser() -> argparse.ArgumentParser:
    """The parser of the whole command line."""
    parser = argparse.ArgumentParser(
        prog="handlead",
        description="Proves the set-up of a change-gear hobbing machine before the hob touches the blank.",
        epilog="Exit status: 0 yes, 1 no, 2 the files or arguments cannot be used.",
    )
    commands = parser.add_subparsers(title="commands", required=True, metavar="COMMAND")
    for command in COMMANDS:
        command.add(commands)
    return parser


if __name__ == "__main__":
    sys.exit(main())
