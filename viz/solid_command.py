"""``handlead solid JOB``: the work and the hob as solids, in a window or in a file."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from .solid_scene import Scene

#: File endings: pictures, films, and meshes, which need no OpenGL.
PICTURES, FILMS, MESHES = (".png",), (".gif", ".mp4"), (".stl", ".vtp")

_NAMED = {"cut": "cut", "gear": "gear", "light-cut": "light cut"}


def add(commands: Any) -> None:
    """Add the command to the parser's `commands`."""
    parser = commands.add_parser(
        "solid",
        help="the work and the hob as solids: a window, a picture, a film or a mesh",
        description="Shows what JOB's set-up cuts as a solid, with the hob at its swivel: in a window, or in a file.",
        epilog="Exit status: 0 done, 2 the file cannot be used, or nothing can be drawn here.",
    )
    parser.add_argument("job", metavar="JOB", type=Path, help="job file (TOML)")
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    add_options(parser)
    parser.add_argument(
        "--out", type=Path, metavar="FILE", help=".png, .gif, .mp4, .stl or .vtp; a window without it"
    )
    parser.set_defaults(run=run)


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options that say what of the solid is shown, and how."""
    parser.add_argument(
        "--solid", choices=(*_NAMED, "hob"), default=None,
        help="the cut on its way with its hob, the finished gear, the first light cut, or (meshes only) the hob; "
        "meshes: gear, else cut",
    )  # fmt: skip
    parser.add_argument(
        "--film", choices=("generating", "progress", "turntable"), default="generating",
        help="GIF and MP4: hob, table and slide as they move; the whole cut; or once round the work",
    )  # fmt: skip
    parser.add_argument(
        "--at", type=_part, default=0.5, metavar="PART", help="part of the cut done, 0 to 1 (default: 0.5)"
    )
    parser.add_argument(
        "--hob-turns", type=_turns, default=1.0, metavar="N", help="hob turns in a film (default: 1)"
    )


def _part(text: str) -> float:
    value = float(text)
    if not 0 <= value <= 1:
        raise argparse.ArgumentTypeError(f"{text} is no part of a cut; it must be from 0 to 1")
    return value


def _turns(text: str) -> float:
    value = float(text)
    if not 0 < value <= 10_000:
        raise argparse.ArgumentTypeError(f"{text} hob turns can't be filmed; it must be above 0, up to 10000")
    return value


def run(options: argparse.Namespace) -> int:
    """Show the job's solid; returns the exit status."""
    from handlead.machines.errors import FileFault
    from handlead.machines.proof import NoSetup
    from handlead.machines.witness import NotCut

    from .opengl import NoOpenGL
    from .outlet import print_json, report_fault
    from .solid_view import NoWriter

    try:
        show_solid(options)
    except (FileFault, NoSetup, NotCut, NoOpenGL, NoWriter, OSError, ValueError) as fault:
        errors = report_fault(options.job, fault)
        if options.json:
            print_json(errors)
        return 2
    if options.json:
        print_json({"job": str(options.job), "files": [] if options.out is None else [str(options.out)]})
    elif options.out is not None:
        print(options.out)
    return 0


def show_solid(options: argparse.Namespace) -> None:
    """Write the file `options.out`, or open a window without one.

    Raises `FileFault`, `NoSetup`, `NotCut`, `NoOpenGL`, `NoWriter`, `OSError`, and `ValueError` for a file ending
    that isn't known.
    """
    from . import opengl, solid_view

    out: Path | None = options.out
    ending = None if out is None else out.suffix.lower()
    if ending is not None and ending not in PICTURES + FILMS + MESHES:
        raise ValueError(f"{out}: a solid's file must end in {', '.join(PICTURES + FILMS + MESHES)}")
    # What can't be done is said before anything long is begun.
    if out is None:
        opengl.require_screen()
    elif ending not in MESHES:
        opengl.require_opengl()
    if ending == ".mp4":
        solid_view.movie_writer()
    scene = scene_of(options.job)
    if out is None:
        solid_view.open_window(scene, options.at)
    elif ending in MESHES:
        solid_view.write_mesh(_mesh(scene, options.solid or "gear", options.at), out)
    elif options.solid == "hob":
        raise ValueError(f"{out}: the hob alone is written as a mesh only; its name must end in .stl or .vtp")
    else:
        _draw(scene, out, options)


def scene_of(job: Path) -> Scene:
    """The solids of the job in this file. Raises `FileFault`, `NoSetup`, `NotCut`."""
    from handlead.machines.case import Case
    from handlead.machines.job_file import read_job
    from handlead.machines.proof import NoSetup

    from .solid_scene import Scene

    read = read_job(job)
    if read.setup is None:
        raise NoSetup(f"{job}: no [setup]: this job is one to plan, there is nothing to show yet")
    return Scene.of(Case.of(read, read.setup))


def _mesh(scene: Scene, solid: str, at: float) -> Any:
    if solid == "hob":
        return scene.hob
    if solid == "cut":
        return scene.on_the_way(at)
    return scene.gear() if solid == "gear" else scene.light_cut()


def _draw(scene: Scene, out: Path, options: argparse.Namespace) -> None:
    from . import solid_view

    subject: Any = _NAMED[options.solid or "cut"]
    if out.suffix.lower() in PICTURES:
        solid_view.write_png(solid_view.picture(scene, subject=subject, at=options.at), out)
        return
    frames = solid_view.film(
        scene, kind=options.film, at=options.at, hob_turns=options.hob_turns, subject=subject
    )
    write = solid_view.write_gif if out.suffix.lower() == ".gif" else solid_view.write_mp4
    write(frames, out)
