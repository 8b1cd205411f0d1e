"""Pictures of the solids: PNG, GIF, MP4 without a screen, STL and VTP without OpenGL, a window where there is one.

Steel is drawn in greys that stay apart on paper: the turned skin of the blank dark, what is cut
light. Words say which way each part runs as seen in the machine's frame.
"""

from __future__ import annotations

import io
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
import numpy.typing as npt

from . import look
from .opengl import require_opengl, require_screen
from .solid_scene import EXAGGERATED, Scene

if TYPE_CHECKING:
    from pyvista import PolyData

Image = npt.NDArray[np.uint8]
Subject = Literal["cut", "gear", "light cut"]
Film = Literal["generating", "progress", "turntable"]

SIZE = (1000, 800)

SKIN, CUT, HOB, ARBOR = "#7E8790", "#E4E6E9", "#4C6A86", "#9A9A9A"

#: Depth in µm from which a place counts as cut.
_TOUCHED_UM = 2.0

#: Rise of a normal from which a face is an end face.
_END_FACE = 0.98

#: An edge sharper than this many degrees is drawn sharp.
_SHARP_DEG = 25.0

FRAMES, FRAMES_A_SECOND = 48, 16


class NoWriter(RuntimeError):
    """The file can't be written for want of a library; the message says which."""


@dataclass(frozen=True)
class Look:
    """Where the eye stands: `turn_deg` about Z from behind the hob, counter-clockwise seen from above, and `up_deg`."""

    turn_deg: float = -112.0
    up_deg: float = 34.0


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


# ---------------------------------------------------------------- the stage


class Stage:
    """A scene on a plotter: what stands on it can be moved on, frame after frame."""

    def __init__(
        self, scene: Scene, *, subject: Subject = "cut", size: tuple[int, int] = SIZE, screen: bool = False
    ) -> None:
        import pyvista

        self.scene, self.subject = scene, subject
        self.plotter: Any = pyvista.Plotter(off_screen=not screen, window_size=list(size), lighting="none")
        self.plotter.set_background(look.PAPER)
        self._light()
        self._work: Any = None
        self._shown: float | None = None
        self._hob: Any = None
        if subject == "cut":
            self._hob = self.plotter.add_mesh(
                sharpened(scene.hob), color=HOB, smooth_shading=True, specular=0.35, specular_power=20
            )
            self._arbors()
        self.eye = Look()

    def close(self) -> None:
        """Free the window."""
        self.plotter.close()

    def _light(self) -> None:
        import pyvista

        # One from the left, a weaker one from the right, and daylight from over the machine.
        for place, strength in (((-1.0, 0.6, 1.2), 0.45), ((1.2, 0.2, 0.8), 0.15)):
            self.plotter.add_light(
                pyvista.Light(position=place, intensity=strength, light_type="camera light")
            )
        self.plotter.add_light(
            pyvista.Light(position=(0.3, -0.4, 1.0), intensity=0.75, light_type="scene light")
        )
        self.plotter.add_light(pyvista.Light(light_type="headlight", intensity=0.4))

    def _arbors(self) -> None:
        import pyvista

        from .solid import hob_bore

        long = float(np.ptp(self.scene.hob.points[:, 2]))
        arbor = pyvista.Cylinder(
            direction=(0, 0, 1),
            radius=hob_bore(self.scene.setting.hob) * 0.995,
            height=1.5 * long,
            resolution=60,
        )
        self._arbor = self.plotter.add_mesh(sharpened(arbor), color=ARBOR, smooth_shading=True)
        width = self.scene.setting.blank.face_width
        radius = 0.3 * self.scene.setting.blank.radius
        work_arbor = pyvista.Cylinder(
            center=(0, 0, width / 2),
            direction=(0, 0, 1),
            radius=radius,
            height=width + 1.6 * radius,
            resolution=60,
        )
        self.plotter.add_mesh(sharpened(work_arbor), color=ARBOR, smooth_shading=True)

    def show_work(self, mesh: PolyData) -> None:
        """Put this mesh in place of the work that stands there."""
        steel = sharpened(mesh)
        depth = steel.point_data["depth_um"]
        limit = self._skin_limit(float(depth.max()))
        # The end faces were turned, not cut, though the spaces run out into them.
        turned = np.abs(steel.point_data["Normals"][:, 2]) > _END_FACE
        steel.point_data["cut"] = np.where(turned, 0.0, np.clip((depth - limit / 2) / limit, 0.0, 1.0))
        matrix = None if self._work is None else self._work.user_matrix
        self._work = self.plotter.add_mesh(
            steel, scalars="cut", cmap=[SKIN, CUT], clim=(0, 1), n_colors=256, show_scalar_bar=False,
            smooth_shading=True, specular=0.3, specular_power=15, name="work", reset_camera=False,
            interpolate_before_map=True,
        )  # fmt: skip
        if matrix is not None:
            self._work.user_matrix = matrix

    def _skin_limit(self, deepest: float) -> float:
        return max(_TOUCHED_UM, 0.02 * deepest)

    def move_to(self, turns: Fraction) -> None:
        """Bring hob and work to where they stand after so many hob turns, the work cut so far."""
        if self.subject == "cut":
            progress = self.scene.progress_at(turns)
            cut = float(self.scene.stages.turns_at(progress))
            if cut != self._shown:
                self.show_work(self.scene.on_the_way(progress))
                self._shown = cut
            self._work.user_matrix = self.scene.work_pose(turns)
            pose = self.scene.hob_pose(turns)
            self._hob.user_matrix = pose
            self._arbor.user_matrix = pose

    def write(self, words: str) -> None:
        """Put these words into the upper left corner."""
        self.plotter.add_text(words, position="upper_left", font_size=9, color=look.INK, name="words")

    def aim(self, eye: Look | None = None, *, closer: float = 1.0) -> None:
        """Turn the eye to the scene."""
        self.eye = eye or self.eye
        setting = self.scene.setting
        turn, up = math.radians(self.eye.turn_deg), math.radians(self.eye.up_deg)
        way = np.array([math.cos(up) * math.cos(turn), math.cos(up) * math.sin(turn), math.sin(up)])
        radius, width = setting.blank.radius, setting.blank.face_width
        if self.subject == "cut":
            far = setting.centre_distance + setting.hob.tip_radius
            middle = np.array([(far - radius) / 2, 0, width / 2])
            size = (far + radius) / 2
        else:
            middle, size = np.array([0, 0, width / 2]), math.hypot(radius, width / 2)
        camera = self.plotter.camera
        camera.focal_point = middle
        camera.position = middle + way * size * 4.0 / closer
        camera.up = (0, 0, 1)
        camera.view_angle = 30.0
        self.plotter.reset_camera_clipping_range()

    def image(self) -> Image:
        """What is to be seen."""
        shot: Image = self.plotter.screenshot(return_img=True)
        return shot


def sharpened(mesh: PolyData) -> PolyData:
    """The mesh with normals that are smooth over faces and sharp at edges, for drawing only."""
    return mesh.compute_normals(
        cell_normals=False,
        split_vertices=True,
        feature_angle=_SHARP_DEG,
        consistent_normals=False,
        auto_orient_normals=False,
    )


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
    stage = Stage(scene, subject=subject, size=size)
    try:
        _set(stage, at)
        stage.aim(eye)
        return stage.image()
    finally:
        stage.close()


def _set(stage: Stage, at: float) -> None:
    scene = stage.scene
    if stage.subject == "cut":
        turns = scene.stages.turns_at(at)
        stage.move_to(turns)
        stage.write(_words(scene, turns))
    elif stage.subject == "gear":
        stage.show_work(scene.gear())
        stage.write(scene.title)
    else:
        stage.show_work(scene.light_cut())
        stage.write(f"{scene.title}\nfirst light cut, marks drawn {EXAGGERATED:g} times as deep as they are")
    stage.plotter.add_axes(line_width=3, xlabel="X", ylabel="Y", zlabel="Z", color=look.INK)


#: What the moving ends are called in a picture.
_NAMES = {
    "hob": "hob",
    "table": "table",
    "axial": "slide",
    "tangential": "tangential slide",
    "radial": "radial slide",
}


def _words(scene: Scene, turns: Fraction) -> str:
    runs = ", ".join(f"{_NAMES[end]} {way}" for end, way in scene.senses().items())
    height = float(scene.position(turns).axial)
    return f"{scene.title}\n{runs}\ncentre of the hob {height:.1f} mm over the lower face of the work"


def film(
    scene: Scene,
    *,
    kind: Film = "generating",
    at: float = 0.5,
    hob_turns: float = 1.0,
    frames: int = FRAMES,
    size: tuple[int, int] = (720, 576),
    subject: Subject = "cut",
) -> Iterator[Image]:
    """The frames of a film: the generating motion from `at` on, the whole cut's progress, or a turn round the work.

    Raises `NoOpenGL`.
    """
    require_opengl()
    stage = Stage(scene, subject="cut" if kind != "turntable" else subject, size=size)
    try:
        _set(stage, at if kind != "progress" else 0.0)
        stage.aim()
        begin = scene.stages.turns_at(at)
        for frame in range(frames):
            if kind == "turntable":
                stage.aim(Look(stage.eye.turn_deg + 360 / frames, stage.eye.up_deg))
            else:
                part = Fraction(frame, frames)
                turns = begin + Fraction(hob_turns).limit_denominator(1000) * part
                if kind == "progress":
                    turns = scene.stages.turns_at(frame / max(frames - 1, 1))
                stage.move_to(turns)
                stage.write(_words(scene, turns))
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


def open_window(scene: Scene, at: float = 0.5) -> None:
    """Open a window: a slider for the cut's progress, T turns the table on which all stands, and back to rest.

    Returns when the window is closed. Raises `NoOpenGL` where there is no display.
    """
    require_screen()
    stage = Stage(scene, screen=True)
    _set(stage, at)
    stage.aim()
    add_controls(stage, at)
    stage.plotter.show(title=f"handlead: {scene.title}")


def add_controls(stage: Stage, at: float) -> Callable[[int], None]:
    """The slider and the turntable of a window; returns what the turntable does at each tick."""
    turning = {"on": False}

    def slide(part: float) -> None:
        turns = stage.scene.stages.turns_at(part)
        stage.move_to(turns)
        stage.write(_words(stage.scene, turns))

    def start_or_stop() -> None:
        turning["on"] = not turning["on"]

    def tick(_step: int) -> None:
        if turning["on"]:
            stage.plotter.camera.azimuth += 1.5
            stage.plotter.render()

    stage.plotter.add_slider_widget(
        slide, (0.0, 1.0), value=at, title="part of the cut done", fmt="%.2f", interaction_event="end",
        pointa=(0.6, 0.08), pointb=(0.95, 0.08), color=look.INK,
    )  # fmt: skip
    stage.plotter.add_key_event("t", start_or_stop)
    stage.plotter.add_timer_event(max_steps=10**9, duration=40, callback=tick)
    stage.plotter.add_text("T: turntable on or off", position="lower_left", font_size=8, color=look.INK)
    return tick
