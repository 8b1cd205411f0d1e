"""The gear of a set-up as a solid: into a window, a picture, a film or a mesh, as the file's ending says."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from shlex import quote
from typing import TYPE_CHECKING, Any

from handlead.machines.setups.case import Case

from . import opengl
from .scene import Scene

if TYPE_CHECKING:
    from pyvista import PolyData

MESHES = (".stl", ".vtp")


@dataclass(frozen=True)
class OutputWanted:
    """What is to be shown: which `solid` (see `show_command.SOLIDS`; None for the usual one), and of a film
    what it follows, at which part of the cut, 0 to 1, and for how many hob turns."""

    solid: str | None = None
    film: Any = "generating"
    at: float = 0.5
    hob_turns: float = 1.0


def show_solid(case: Case, out: Path | None, wanted: OutputWanted, *, job: Path) -> None:
    """Show the gear of a set-up in the file `out`, or in a window where that is None, till it is closed.

    `job` is named in what to type instead. Raises `NotCut`, `NoOpenGL`, `NoWriter`, `OSError`.
    """
    ending = None if out is None else out.suffix.lower()
    if out is None:
        try:
            opengl.require_screen()
        except opengl.NoOpenGL as why:
            raise opengl.NoOpenGL(
                f"{why}. For a picture in a file type: "
                f"handlead show {quote(str(job))} --out {quote(f'{job.stem}-gear.png')}"
            ) from why
    elif ending not in MESHES:
        # What can't be done is said before anything long is begun.
        opengl.require_opengl()
    from . import view as solid_view

    if ending == ".mp4":
        solid_view.movie_writer()
    scene = Scene.of(case)
    if out is None:
        solid_view.open_window(scene, wanted.at, _subject(wanted))
    elif ending in MESHES:
        solid_view.write_mesh(mesh_of(scene, wanted), out)
    elif ending == ".png":
        solid_view.write_png(solid_view.picture(scene, subject=_subject(wanted), at=wanted.at), out)
    else:
        of = solid_view.FilmWanted(wanted.film, wanted.at, wanted.hob_turns)
        frames = solid_view.film(scene, of, subject=_subject(wanted))
        write = solid_view.write_gif if ending == ".gif" else solid_view.write_mp4
        write(with_progress(frames, solid_view.FRAMES), out)


def with_progress(frames: Iterator[Any], count: int) -> Iterator[Any]:
    """The same frames, the part done told to whoever waits at a terminal."""
    from handlead.viz.streams.outlet import progress_bar

    tell = progress_bar("film")
    for number, frame in enumerate(frames, 1):
        yield frame
        if tell is not None:
            tell(number / count)


def mesh_of(scene: Scene, wanted: OutputWanted) -> PolyData:
    """The solid as a closed mesh; the finished gear where nothing else is wanted."""
    if wanted.solid == "hob":
        return scene.hob
    if wanted.solid == "cut":
        return scene.on_the_way(wanted.at, one_of_many=False)
    return scene.light_cut() if wanted.solid == "light-cut" else scene.gear()


def _subject(wanted: OutputWanted) -> Any:
    return {None: "cut", "light-cut": "light cut"}.get(wanted.solid, wanted.solid)
