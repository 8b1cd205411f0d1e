"""The arguments by which a command is told who does its work."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from handlead.machines.shop.crew import Crew


def add_crew(parser: Any) -> None:
    """Add them to a command's parser."""
    parser.add_argument(
        "--workers", type=int, default=1, metavar="N", help="processes that share the work (default 1)"
    )
    parser.add_argument(
        "--dask",
        metavar="ADDRESS",
        help="let a running dask.distributed cluster do the work, tcp://HOST:PORT",
    )


@contextmanager
def crew_of(options: argparse.Namespace) -> Iterator[Crew]:
    """The crew that was asked for. Raises `HandleadError` for a number of workers that can't be."""
    from handlead.machines.shop.crew import cluster, processes
    from handlead.machines.toml.errors import HandleadError

    if options.workers < 1:
        raise HandleadError(f"--workers is {options.workers}; it must be 1 or more")
    if options.dask and options.workers > 1:
        raise HandleadError("--workers and --dask don't go together: a cluster has the workers that it has")
    with cluster(options.dask) if options.dask else processes(options.workers) as crew:
        yield crew
