"""Whether pictures of solids can be drawn here: a usable OpenGL, looked for in a child process.

Where there is none the drawing library doesn't raise, it takes the whole process down with it; so a
child tries first. What it ends with is kept for as long as this process runs.
"""

from __future__ import annotations

import ctypes
import os
import subprocess
import sys
from dataclasses import dataclass
from functools import cache

from handlead.machines.toml.errors import HandleadError

#: Draws one empty picture and names the window that could be opened for it.
_TRIAL = """
import vtkmodules.vtkRenderingOpenGL2
from vtkmodules.vtkRenderingCore import vtkRenderer, vtkRenderWindow
window = vtkRenderWindow()
window.SetOffScreenRendering(1)
window.SetSize(16, 16)
window.AddRenderer(vtkRenderer())
window.Render()
if not window.SupportsOpenGL():
    raise SystemExit(1)
print("USABLE", window.GetClassName(), flush=True)
"""

#: By this name the drawing library is told which window to open first.
_WINDOW = "VTK_DEFAULT_OPENGL_WINDOW"

_PATIENCE_S = 120


class NoOpenGL(HandleadError, RuntimeError):
    """No picture of a solid can be drawn here; the message says what to install."""


@dataclass(frozen=True)
class Trial:
    """How the child fared: the kind of `window` that it could draw in, None without any, and what it said."""

    window: str | None
    said: str = ""

    @property
    def on_screen(self) -> bool:
        """Whether that window can stand on a screen, too."""
        return self.window is not None and ("XOpenGL" in self.window or sys.platform in ("win32", "darwin"))


@cache
def trial() -> Trial:
    """Try to draw in a child process, once."""
    try:
        done = subprocess.run(
            [sys.executable, "-c", _TRIAL], capture_output=True, text=True, timeout=_PATIENCE_S, check=False
        )
    except subprocess.TimeoutExpired:
        return Trial(None, "it didn't answer")
    for line in done.stdout.splitlines():
        if line.startswith("USABLE ") and done.returncode == 0:
            return Trial(line.split()[1])
    return Trial(None, f"{done.stdout}{done.stderr}".strip())


def require_opengl() -> None:
    """Make sure that pictures of solids can be drawn without a screen. Raises `NoOpenGL`."""
    found = trial()
    if found.window is None:
        raise NoOpenGL(f"the gear can't be drawn here: {missing()}. Meshes (.stl, .vtp) need no OpenGL")
    # The window that worked, at once: others would complain before they give way.
    os.environ.setdefault(_WINDOW, found.window)


def require_screen() -> None:
    """Make sure that a window can be opened. Raises `NoOpenGL`."""
    if sys.platform.startswith("linux") and not os.environ.get("DISPLAY"):
        raise NoOpenGL(
            "no window can be opened: there is no display (DISPLAY isn't set)"
        )
    require_opengl()
    if not trial().on_screen:
        raise NoOpenGL(
            f"no window can be opened on display {os.environ.get('DISPLAY', '')!r}: it can't be reached, or "
            f"{_package('libGL.so.1')} is missing"
        )


def missing() -> str:
    """What is missing, in words, with the system packages that bring it."""
    if "No module named" in trial().said:
        return f"the drawing library isn't whole ({trial().said.splitlines()[-1]})"
    if not sys.platform.startswith("linux"):
        return "the graphics driver offers no OpenGL 3.2 or newer"
    if loads("libEGL.so.1"):
        return (
            "libEGL is there, but no driver works under it. Install libgl1-mesa-dri (Debian, Ubuntu) or "
            "mesa-dri-drivers (Fedora), which draw without a graphics card"
        )
    return f"no OpenGL library is installed. Install {_package('libEGL.so.1')}"


def _package(library: str) -> str:
    return _PACKAGES[library]


#: What brings a library, by the names of its packages.
_PACKAGES = {
    "libEGL.so.1": "libegl1 and libgl1-mesa-dri (Debian, Ubuntu) or mesa-libEGL and mesa-dri-drivers (Fedora)",
    "libGL.so.1": "libgl1 (Debian, Ubuntu) or mesa-libGL (Fedora)",
}


def loads(library: str) -> bool:
    """Whether a shared library can be loaded."""
    try:
        ctypes.CDLL(library)
    except OSError:
        return False
    return True
