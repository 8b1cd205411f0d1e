"""What goes out of a command: JSON on standard output, complaints on standard error."""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any


def print_json(value: Any) -> None:
    """Print one JSON value, and nothing else, on standard output."""
    json.dump(value, sys.stdout, indent=2, ensure_ascii=False, allow_nan=False)
    sys.stdout.write("\n")


def report_fault(path: Path, fault: Exception) -> dict[str, Any]:
    """Print every complaint about a file on standard error; returns them as plain values."""
    print(fault, file=sys.stderr)
    complaints = getattr(fault, "complaints", ())
    errors = [complaint.as_json() for complaint in complaints] or [{"message": str(fault)}]
    return {"job": str(path), "verdict": None, "errors": errors}


def progress_bar(what: str, after_s: float = 1.0) -> Callable[[float], None] | None:
    """A line on standard error that tells the part done, once it takes longer than `after_s` seconds.

    None where standard error isn't a terminal: nobody would read it there.
    """
    if not sys.stderr.isatty():
        return None
    begun = time.monotonic()
    shown = False

    def tell(part: float) -> None:
        nonlocal shown
        if part < 1 and time.monotonic() - begun > after_s:
            shown = True
            print(f"\r{what}: {part:4.0%} ", end="", file=sys.stderr, flush=True)
        elif part >= 1 and shown:
            shown = False
            print("\r\x1b[K", end="", file=sys.stderr, flush=True)

    return tell
