"""What goes out of a command: JSON on standard output, complaints on standard error."""

from __future__ import annotations

import json
import sys
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
