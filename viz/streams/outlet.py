"""What goes out of a command: JSON and words on standard output, complaints on standard error.

Nothing but visible text goes out, in whatever signs the stream can take; `open_outlets` and `shut_outlets`
stand round every command.
"""

from __future__ import annotations

import io
import json
import os
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any, TextIO

from handlead.machines.toml.errors import HandleadError
from handlead.machines.toml.visible import visible

from .plain import IN_PLAIN_SIGNS, plain

#: Set to anything, it shows where something broke inside the program.
DEBUG = "HANDLEAD_DEBUG"

#: The folders of this program.
_PACKAGES = ("kinematics", "machines", "viz")

#: A message about what broke inside is cut to so many characters.
_LONGEST = 200


def open_outlets() -> bool:
    """Make the streams take any text; returns whether there is a standard output at all."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors=IN_PLAIN_SIGNS)
    if isinstance(sys.stdin, io.TextIOWrapper):
        sys.stdin.reconfigure(errors="replace")
    # Closed streams are None here. Printing to None would print on standard output.
    if sys.stderr is None:
        sys.stderr = Path(os.devnull).open("w", encoding="utf-8")  # noqa: SIM115
    if sys.stdin is None:
        sys.stdin = io.StringIO()
    return sys.stdout is not None


def shut_outlets() -> None:
    """Give up what a stream can't take any more, so that the interpreter doesn't complain of it at its end."""
    for stream in (sys.stdout, sys.stderr):
        try:
            if stream is not None:
                stream.flush()
        except (OSError, ValueError):
            _let_go(stream)


def _let_go(stream: TextIO) -> None:
    with suppress(OSError, ValueError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, stream.fileno())
        os.close(nowhere)


def tell(text: str = "") -> None:
    """Print words on standard output."""
    print(visible(text, keep="\n"))


def complain(text: object) -> None:
    """Print words on standard error; where that takes none, nobody can be told."""
    with suppress(OSError, ValueError):
        print(visible(str(text), keep="\n"), file=sys.stderr)


def print_json(value: Any) -> None:
    """Print one JSON value, and nothing else, on standard output; what it can't take stands there by its number."""
    text = json.dumps(value, indent=2, ensure_ascii=False, allow_nan=False)
    encoding = getattr(sys.stdout, "encoding", None) or "utf-8"
    if plain(text, encoding) != text:
        text = json.dumps(value, indent=2, allow_nan=False)
    print("".join(c if c.isprintable() or c == "\n" else _by_number(c) for c in text))


def _by_number(character: str) -> str:
    """A character of a JSON text as \\u and its number, as JSON has it."""
    units = character.encode("utf-16-be", "surrogatepass").hex()
    return "".join(f"\\u{units[at : at + 4]}" for at in range(0, len(units), 4))


def report_fault(path: Path, fault: Exception) -> dict[str, Any]:
    """Print every complaint about a file on standard error; returns them as plain values."""
    complain(fault)
    return {"job": str(path), "verdict": None, "errors": _errors(fault)}


def _errors(fault: Exception) -> list[dict[str, Any]]:
    complaints = getattr(fault, "complaints", ())
    return [complaint.as_json() for complaint in complaints] or [{"message": str(fault)}]


def report_unusable(fault: Exception, asked: dict[str, Any] | None) -> int:
    """Print every complaint about what was given, and `asked` with them as one JSON object unless it is None.

    Returns the exit status of what can't be used.
    """
    complain(fault)
    if asked is not None:
        print_json(asked | {"errors": _errors(fault)})
    return 2


def report_failed(fault: Exception) -> tuple[int, dict[str, Any]]:
    """Print why there is no answer; returns the status that it ends with, and the complaints as plain values."""
    if isinstance(fault, HandleadError):
        complain(fault)
        return 2, {"errors": _errors(fault)}
    return 3, {"errors": [report_broken(fault)]}


def report_broken(fault: Exception) -> dict[str, Any]:
    """Print that something broke inside the program, in one line that helps whoever mends it; returns it too."""
    what = f"{type(fault).__name__}{f': {fault}' if str(fault) else ''}"
    what = visible(what if len(what) <= _LONGEST else f"{what[:_LONGEST]}...")
    message = (
        f"handlead{version()} broke inside ({what}{_where(fault)}) and has no answer: take nothing from this run. "
        f"Please report this line with the command and its files; with {DEBUG}=1 set it shows the whole way there."
    )
    complain(message)
    if os.environ.get(DEBUG):
        import traceback

        complain("".join(traceback.format_exception(fault)))
    return {"message": message}


def version() -> str:
    """The program's version with a blank before it; "" where it isn't installed."""
    from importlib import metadata

    try:
        return f" {metadata.version('handlead')}"
    except metadata.PackageNotFoundError:
        return ""


def _where(fault: Exception) -> str:
    """The last place in this program that it went through."""
    ours, place = Path(__file__).parents[2], ""
    step = fault.__traceback__
    while step is not None:
        file = Path(step.tb_frame.f_code.co_filename)
        if file.is_relative_to(ours) and file.relative_to(ours).parts[0] in _PACKAGES:
            place = f", {file.relative_to(ours).as_posix()} line {step.tb_lineno}"
        step = step.tb_next
    return place


def progress_bar(
    what: str, after_s: float = 1.0, *, time_left: bool = False
) -> Callable[[float], None] | None:
    """A line on standard error that tells the part done, once it takes longer than `after_s` seconds.

    With `time_left` it tells as well how long the rest takes at the pace so far.

    None where standard error isn't a terminal: nobody would read it there.
    """
    if not sys.stderr.isatty():
        return None
    begun = time.monotonic()
    shown = False
    name = visible(what)

    def tell(part: float) -> None:
        nonlocal shown
        if part < 1 and time.monotonic() - begun > after_s:
            shown = True
            left = f", {_lasting((time.monotonic() - begun) * (1 - part) / part)} left" if time_left and part else ""
            print(f"\r\x1b[K{name}: {part:4.0%}{left} ", end="", file=sys.stderr, flush=True)
        elif part >= 1 and shown:
            shown = False
            print("\r\x1b[K", end="", file=sys.stderr, flush=True)

    return tell


def _lasting(seconds: float) -> str:
    """A time, as people say it."""
    minutes = round(seconds / 60)
    return f"{seconds:.0f} s" if seconds < 90 else f"{minutes} min" if minutes < 90 else f"{minutes / 60:.1f} h"
