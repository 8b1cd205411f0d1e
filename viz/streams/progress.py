"""A line on standard error that says how far something has come, at a terminal alone, gone once it has ended."""

from __future__ import annotations

import shutil
import sys
from contextlib import suppress

from handlead.machines.toml.visible import visible

from .plain import plain

#: Back to the beginning of the line, and the rest of it wiped.
_WIPE = "\r\x1b[K"


class Progress:
    """Shows one line, each over the one before; nothing at all where standard error goes into a file or a pipe."""

    def __init__(self) -> None:
        self._shown = False

    def __enter__(self) -> Progress:
        return self

    def show(self, text: str) -> None:
        """Show `text`, cut to the width of the terminal."""
        stream = sys.stderr
        if stream is None or not stream.isatty():
            return
        width = shutil.get_terminal_size().columns - 1
        words = plain(visible(text), stream.encoding or "ascii")
        words = words if len(words) <= width else f"{words[: max(width - 3, 0)]}..."
        self._put(f"{_WIPE}{words}")
        self._shown = True

    def __exit__(self, *_: object) -> None:
        if self._shown:
            self._put(_WIPE)

    def _put(self, text: str) -> None:
        with suppress(OSError, ValueError):
            sys.stderr.write(text)
            sys.stderr.flush()
