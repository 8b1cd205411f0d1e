"""What is shown on one line of a terminal while something takes long."""

from __future__ import annotations

import io
import os
import shutil
import sys

from handlead.viz.streams import progress


class Terminal(io.StringIO):
    """A stream that is looked at."""

    encoding = "utf-8"

    def isatty(self):
        return True


def test_a_line_of_progress_never_wraps_and_is_wiped_in_the_end(monkeypatch):
    monkeypatch.setattr(sys, "stderr", stream := Terminal())
    monkeypatch.setattr(shutil, "get_terminal_size", lambda: os.terminal_size((20, 24)))
    with progress.Progress() as told:
        told.show("x" * 100)
        told.show("y" * 19)
    *_, long, fits, end = stream.getvalue().split(progress._WIPE)
    assert long == "x" * 16 + "..."
    assert fits == "y" * 19
    assert end == ""
