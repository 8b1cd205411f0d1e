"""Whatever a person looks at: the command line, reports, sheets and pictures.

The names below draw a set-up from Python; they are loaded when they are first asked for.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from handlead.kinematics.frame.door import opener

if TYPE_CHECKING:
    from .pictures.inspection import plot_inspection
    from .pictures.pictures import NoPicture
    from .pictures.plots import (
        plot_brackets,
        plot_flanks,
        plot_head,
        plot_marks,
        plot_motion,
        plot_train,
        solid,
    )
    from .sheet.file import write_sheet
    from .solids.opengl import NoOpenGL

__all__ = [
    "NoOpenGL",
    "NoPicture",
    "plot_brackets",
    "plot_flanks",
    "plot_head",
    "plot_inspection",
    "plot_marks",
    "plot_motion",
    "plot_train",
    "solid",
    "write_sheet",
]

#: The module that each name comes from.
_HOMES = {
    ".pictures.inspection": ("plot_inspection",),
    ".pictures.pictures": ("NoPicture",),
    ".solids.opengl": ("NoOpenGL",),
    ".pictures.plots": (
        "plot_brackets",
        "plot_flanks",
        "plot_head",
        "plot_marks",
        "plot_motion",
        "plot_train",
        "solid",
    ),
    ".sheet.file": ("write_sheet",),
}

if not TYPE_CHECKING:  # a checker that saw this would take any misspelt name for one that is there
    __getattr__ = opener(__name__, _HOMES)


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
