"""``handlead bench [FOLDER]``: the page at the machine, in a browser, for a folder of machines, hobs and jobs."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any


def add(commands: Any) -> None:
    """Add the command to the parser's `commands`."""
    parser = commands.add_parser(
        "bench",
        help="the page at the machine, in a browser on this computer",
        description="Serves a page over the machine, hob and job files of FOLDER: set-ups are tapped together there "
        "and proved at once. It reads and writes these files and keeps every version. Only this computer can open it, "
        "unless --host says otherwise. It starts no machine.",
        epilog="Exit status: 0 stopped, 2 the folder or the port cannot be used, 3 something broke inside the program.",
    )
    parser.add_argument(
        "folder", metavar="FOLDER", nargs="?", type=Path, default=Path(), help="default: this one"
    )
    parser.add_argument(
        "--port", type=int, default=8417, metavar="NUMBER", help="default: 8417; 0 takes a free one"
    )
    parser.add_argument("--no-browser", action="store_true", help="open no browser")
    parser.add_argument(
        "--host", metavar="ADDRESS",
        help="this computer's address in the workshop's net, for a tablet beside it: whoever is in that net and has "
        "the code that is printed can then read and change the folder's files; nothing on the way is encrypted",
    )  # fmt: skip
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Serve until stopped; returns the exit status."""
    from handlead.machines.toml.errors import HandleadError
    from handlead.viz.streams.outlet import complain

    try:
        from handlead.viz.bench.serving import serve
        from handlead.viz.bench_gear import gear_routes
        from handlead.viz.bench_machine import machine_routes
        from handlead.viz.bench_shelf import shelf_routes, survey_routes
    except ImportError as fault:
        complain(f'bench needs the package {fault.name}: python -m pip install "handlead[bench]" brings it')
        return 2
    routes = (*shelf_routes.ROUTES, *survey_routes.ROUTES, *machine_routes.ROUTES, *gear_routes.ROUTES)
    try:
        return serve(options.folder, options.port, options.host, routes, browser=not options.no_browser)
    except HandleadError as fault:
        complain(str(fault))
        return 2
