"""Pictures of the solids: PNG, GIF, MP4 without a screen, STL and VTP without OpenGL, a window where there is one.

Steel is drawn in greys that stay apart on paper: the turned skin of the blank dark, what is cut
light. Words say which way each part runs as seen in the machine's frame.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from handlead.machines.toml.errors import HandleadError
from handlead.viz.look import look

from .opengl import require_opengl, require_screen
from .scene import EXAGGERATED, Scene
from .stage import SIZE, Image, Look, Stage, Subject

if TYPE_CHECKING:
    from pyvista import PolyData

Film = Literal["generating", "progress", "turntable"]

FRAMES, FRAMES_A_SECOND = 48, 16


class NoWriter(HandleadError, ValueError):
    """The file can't be written for want of a library; the message says which."""


# ---------------------------------------------------------------- files without OpenGL


def write_mesh(mesh: PolyData, path: Path) -> None:
    """Write a closed mesh as STL (binary) or VTP, by the path's ending. Needs no OpenGL.

    Raises `ValueError` for another ending, `OSError` where the file can't be written.
    """
    if path.suffix.lower() not in (".stl", ".vtp"):
        raise ValueError(f"{path}: a mesh's name must end in .stl or .vtp")
    part = path.with_name(f".{path.stem}.part{path.suffix.lower()}")
    if not path.parent.is_dir():
        raise FileNotFoundError(f"{path}: there is no folder {path.parent}")
    try:
        mesh.save(str(part), binary=True)
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)


# ---------------------------------------------------------------- stills and films


def picture(
    scene: Scene,
    *,
    subject: Subject = "cut",
    at: float = 0.5,
    size: tuple[int, int] = SIZE,
    eye: Look | None = None,
) -> Image:
    """One picture: the cut at the part `at` of its way, the finished gear, or the first light cut.

    Raises `NoOpenGL`.
    """
    require_opengl()
    stage = Stage(scene, subject=subject, size=size, moving=False)
    try:
        _set(stage, at)
        stage.aim(eye, stages=_reached(scene, subject, at))
        return stage.image()
    finally:
        stage.close()


def _reached(scene: Scene, subject: Subject, *parts: float) -> tuple[Fraction, ...]:
    """Hob turns at which the hob must be in view."""
    return tuple(scene.stages.turns_at(part) for part in parts) if subject == "cut" else ()


def _set(stage: Stage, at: float) -> None:
    scene = stage.scene
    if stage.subject == "cut":
        turns = scene.stages.turns_at(at)
        stage.move_to(turns)
        stage.write(scene.words(turns))
    elif stage.subject == "gear":
        stage.show_work(scene.gear())
        stage.write(f"{scene.title}\n{scene.cuts}")
    else:
        stage.show_work(scene.light_cut())
        marks = f"first light cut, marks drawn {EXAGGERATED:g} times as deep as they are"
        stage.write(f"{scene.title}\n{scene.cuts}\n{marks}")
    stage.plotter.add_axes(
        line_width=3, xlabel="X", ylabel="Y", zlabel="Z", color=look.INK, viewport=(0.86, 0.82, 1, 1)
    )


@dataclass(frozen=True)
class FilmWanted:
    """A film: the generating motion over `hob_turns` from `at` on, the whole cut's progress, or a turn round the work.

    `at` is the part of the cut that is done where it begins.
    """

    kind: Film = "generating"
    at: float = 0.5
    hob_turns: float = 1.0
    frames: int = FRAMES


def film(
    scene: Scene, wanted: FilmWanted, *, size: tuple[int, int] = (720, 576), subject: Subject = "cut"
) -> Iterator[Image]:
    """The frames of a film. Raises `NoOpenGL`."""
    require_opengl()
    kind, at, frames = wanted.kind, wanted.at, wanted.frames
    stage = Stage(scene, subject="cut" if kind != "turntable" else subject, size=size)
    try:
        _set(stage, at if kind != "progress" else 0.0)
        reached = _reached(scene, stage.subject, *((0.0, 1.0) if kind == "progress" else (at,)))
        stage.aim(stages=reached)
        begin = scene.stages.turns_at(at)
        for frame in range(frames):
            if kind == "turntable":
                stage.turn(360 / frames)
            else:
                part = Fraction(frame, frames)
                turns = begin + Fraction(wanted.hob_turns).limit_denominator(1000) * part
                if kind == "progress":
                    turns = scene.stages.turns_at(frame / max(frames - 1, 1))
                stage.move_to(turns)
                stage.write(scene.words(turns))
            yield stage.image()
    finally:
        stage.close()


# ---------------------------------------------------------------- image files


def write_png(image: Image, path: Path) -> None:
    """Write one picture. Raises `OSError` where it can't be written."""
    from PIL import Image as Pillow

    out = io.BytesIO()
    Pillow.fromarray(image).save(out, format="PNG")
    look.put(path, out.getvalue())


def write_gif(images: Iterator[Image], path: Path, frames_a_second: float = FRAMES_A_SECOND) -> None:
    """Write a film that repeats. Raises `OSError` where it can't be written."""
    from PIL import Image as Pillow

    pages = [Pillow.fromarray(image).quantize(128, dither=Pillow.Dither.NONE) for image in images]
    out = io.BytesIO()
    pages[0].save(
        out,
        format="GIF",
        save_all=True,
        append_images=pages[1:],
        duration=round(1000 / frames_a_second),
        loop=0,
    )
    look.put(path, out.getvalue())


def write_mp4(images: Iterator[Image], path: Path, frames_a_second: float = FRAMES_A_SECOND) -> None:
    """Write a film. Raises `NoWriter` without imageio-ffmpeg, `OSError` where it can't be written."""
    ffmpeg = movie_writer()
    part = path.with_name(f".{path.stem}.part.mp4")
    writer = None
    try:
        for image in images:
            if writer is None:
                height, width = image.shape[:2]
                writer = ffmpeg.write_frames(
                    str(part),
                    (width, height),
                    fps=frames_a_second,
                    macro_block_size=2,
                    ffmpeg_log_level="error",
                )
                writer.send(None)
            writer.send(np.ascontiguousarray(image[..., :3]))
        if writer is not None:
            writer.close()
            writer = None
            part.replace(path)
    finally:
        if writer is not None:
            writer.close()
        part.unlink(missing_ok=True)


def movie_writer() -> Any:
    """The library that writes MP4. Raises `NoWriter` where it isn't installed."""
    try:
        import imageio_ffmpeg
    except ImportError:
        raise NoWriter(
            "MP4 files need the Python package imageio-ffmpeg: pip install imageio-ffmpeg. GIF files need nothing more"
        ) from None
    return imageio_ffmpeg


# ---------------------------------------------------------------- the window


def open_window(scene: Scene, at: float = 0.5, subject: Subject = "cut") -> None:
    """Open a window: a slider for the cut's progress, T turns the table on which all stands, and back to rest.

    Returns when the window is closed. Raises `NoOpenGL` where there is no display.
    """
    require_screen()
    stage = Stage(scene, subject=subject, screen=True)
    try:
        _set(stage, at)
        stage.aim(stages=_reached(scene, subject, 0.0, at, 1.0))
        add_controls(stage, at)
        stage.plotter.show(title=f"handlead: {scene.title}")
    finally:
        stage.close()


def add_controls(stage: Stage, at: float) -> Callable[[int], None]:
    """The slider and the turntable of a window; returns what the turntable does at each tick."""
    turning = {"on": False}

    def slide(part: float) -> None:
        turns = stage.scene.stages.turns_at(part)
        stage.move_to(turns)
        stage.write(stage.scene.words(turns))
        stage.plotter.render()

    def start_or_stop() -> None:
        turning["on"] = not turning["on"]

    def tick(_step: int) -> None:
        if turning["on"]:
            stage.turn(1.5)
            stage.plotter.render()

    if stage.subject == "cut":
        stage.plotter.add_slider_widget(
            slide, (0.0, 1.0), value=at, title="part of the cut done", fmt="%.2f", interaction_event="end",
            pointa=(0.6, 0.08), pointb=(0.95, 0.08), color=look.INK, title_height=0.02, slider_width=0.025,
            tube_width=0.004,
        )  # fmt: skip
    stage.plotter.add_key_event("t", start_or_stop)
    stage.plotter.add_timer_event(max_steps=10**9, duration=40, callback=tick)
    stage.tell_keys("T: turntable on or off     Q: close")
    return tick
