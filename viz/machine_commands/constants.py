"""``handlead constants MACHINE``: the machine's own change-gear rules, worked out from its train."""

from __future__ import annotations

import argparse
from typing import Any


def add(commands: Any) -> None:
    """Add the command to the parser's `commands`."""
    parser = commands.add_parser(
        "constants",
        help="the machine's own change-gear rules, worked out from its train",
        description="Works out index constant, feed and differential rules of MACHINE from its train, for every "
        "position of its levers, with a worked line for each.",
        epilog="Exit status: 0 worked out, 2 the file cannot be used, 3 something broke inside the program.",
    )
    parser.add_argument("machine", metavar="MACHINE", help="a machine that ships, by name, or a machine file")
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Work the rules out and print them; returns the exit status."""
    from handlead.machines.machine_files.catalogue import find_machine
    from handlead.machines.planning.rules import find_rules
    from handlead.machines.toml.errors import FileFault
    from handlead.viz.streams.outlet import print_json, report_unusable

    try:
        rules = find_rules(find_machine(options.machine))
    except FileFault as fault:
        return report_unusable(fault, {"machine": options.machine} if options.json else None)
    if options.json:
        print_json(rules.as_json())
        return 0
    from handlead.viz.reports.rules import show_rules

    show_rules(rules)
    return 0
