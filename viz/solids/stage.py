"""The stage on which solids are seen: light, arbors, arrows, words and the eye.

Steel is drawn in greys that stay apart on paper: the turned skin of the blank dark, what is cut light.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
import numpy.typing as npt
from handlead.viz.look import look

from .mesh import hob_bore
from .scene import Scene

if TYPE_CHECKING:
    from pyvista import PolyData


Image = npt.NDArray[np.uint8]
Subject = Literal["cut", "gear", "light cut"]

SIZE = (1000, 800)

SKIN, CUT, HOB, FACE, ARBOR, ARROW = "#7E8790", "#E4E6E9", "#4C6A86", "#F2E3B8", "#9A9A9A", "#B34700"

#: Depth in µm from which a place counts as cut.
_TOUCHED_UM = 2.0

#: Rise of a normal from which a face is an end face.
_END_FACE = 0.98

#: Angle of view; the part of the height that the words take up; and the part of the rest that is used.
_VIEW_DEG, _WORDS_PART, _USED = 30.0, 0.16, 0.94

#: An edge sharper than this many degrees is drawn sharp.
_SHARP_DEG = 25.0


@dataclass(frozen=True)
class Look:
    """Where the eye stands: `turn_deg` about Z from behind the hob, counter-clockwise seen from above, and `up_deg`."""

    turn_deg: float = -112.0
    up_deg: float = 34.0


class Stage:
    """A scene on a plotter: what stands on it can be moved on, frame after frame."""

    def __init__(
        self, scene: Scene, *, subject: Subject = "cut", size: tuple[int, int] = SIZE, screen: bool = False,
        moving: bool = True,
    ) -> None:  # fmt: skip
        import pyvista

        self.scene, self.subject, self.moving = scene, subject, moving
        self.plotter: Any = pyvista.Plotter(off_screen=not screen, window_size=list(size), lighting="none")
        self.plotter.set_background(look.PAPER)
        self.plotter.enable_anti_aliasing("msaa" if screen else "ssaa")
        self._light()
        self._work: Any = None
        self._shown: float | None = None
        self._hob: Any = None
        if subject == "cut":
            self._hob = self.plotter.add_mesh(
                sharpened(scene.hob), scalars="cutting_face", cmap=[HOB, FACE], clim=(0, 1),
                show_scalar_bar=False, smooth_shading=True, specular=0.35, specular_power=20,
            )  # fmt: skip
            self._arbors()
            self._arrows()
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

        setting = self.scene.setting
        long = self._arbor_length()
        arbor = pyvista.Cylinder(
            direction=(0, 0, 1), radius=hob_bore(setting.hob) * 0.995, height=long, resolution=60
        )
        self._arbor = self.plotter.add_mesh(sharpened(arbor), color=ARBOR, smooth_shading=True)
        width, radius = setting.blank.face_width, self._work_arbor_radius()
        work_arbor = pyvista.Cylinder(
            center=(0, 0, width / 2),
            direction=(0, 0, 1),
            radius=radius,
            height=width + 1.6 * radius,
            resolution=60,
        )
        self.plotter.add_mesh(sharpened(work_arbor), color=ARBOR, smooth_shading=True)

    def _arbor_length(self) -> float:
        return 1.25 * float(np.ptp(self.scene.hob.points[:, 2]))

    def _work_arbor_radius(self) -> float:
        return min(0.3 * self.scene.setting.blank.radius, 0.8 * self.scene.setting.hob.tip_radius)

    def _arrows(self) -> None:
        """Arrows for the way in which table and hob turn, and in which the slide goes that feeds."""
        setting = self.scene.setting
        per_turn, radius = self.scene.cut.per_turn, self._work_arbor_radius()
        table = round_arrow(1.4 * radius, per_turn.table > 0, Look().turn_deg)
        over = setting.blank.face_width + 0.3 * radius
        self.plotter.add_mesh(table.translate((0, 0, over)), color=ARROW)
        # About the hob's own axis, at its near end: there Z points away from the eye, and X to the work.
        hob = round_arrow(1.5 * hob_bore(setting.hob), self.scene.cut.cuts_up, 45.0)
        hob = hob.translate((0, 0, -0.5 * self._arbor_length()))
        self._hob_arrow = self.plotter.add_mesh(hob, color=ARROW)
        self._feed_arrow: Any = None
        place = self._feed_arrow_at()
        for number, end in enumerate(("radial", "tangential", "axial")):
            rate = getattr(per_turn, end)
            if rate:
                way = np.eye(3)[number] * (1.0 if rate > 0 else -1.0)
                feed = straight_arrow(place, way, setting.hob.tip_radius)
                self._feed_arrow = self.plotter.add_mesh(feed, color=ARROW)

    def _feed_arrow_at(self) -> npt.NDArray[np.float64]:
        """Its middle, counted from the hob's: beside the near end, where nothing hides it."""
        return np.array([1.35 * self.scene.setting.hob.tip_radius, -0.35 * self._arbor_length(), 0.0])

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
            interpolate_before_map=True, render=False,
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
                self.show_work(self.scene.on_the_way(progress, one_of_many=self.moving))
                self._shown = cut
            self._work.user_matrix = self.scene.work_pose(turns)
            pose = self.scene.hob_pose(turns)
            self._hob.user_matrix = pose
            self._arbor.user_matrix = pose
            head = self.scene.head_pose(turns)
            self._hob_arrow.user_matrix = head
            if self._feed_arrow is not None:
                head[:3, :3] = np.eye(3)
                self._feed_arrow.user_matrix = head

    def write(self, words: str) -> None:
        """Put these words into the upper left corner."""
        self._text(words, "upper_left", "words")

    def tell_keys(self, words: str) -> None:
        """Put these words into the lower left corner."""
        self._text(words, "lower_left", "keys")

    def _text(self, words: str, place: str, name: str) -> None:
        # A dollar would begin a formula, which shows otherwise or not at all.
        plain = look.spelt(words).replace("$", "\\$")
        self.plotter.add_text(
            plain, position=place, font_size=11, color=look.INK, name=name, font_file=_font(), render=False
        )

    def aim(self, eye: Look | None = None, *, stages: tuple[Fraction, ...] = ()) -> None:
        """Turn the eye to the scene so that all of it is in view, the hob where it stands after these hob turns."""
        self.eye = eye or self.eye
        turn, up = math.radians(self.eye.turn_deg), math.radians(self.eye.up_deg)
        back = np.array([math.cos(up) * math.cos(turn), math.cos(up) * math.sin(turn), math.sin(up)])
        right = np.array([-math.sin(turn), math.cos(turn), 0.0])
        axes = np.stack([right, np.cross(back, right), back])
        places = self._outline(stages) @ axes.T
        wide, high = self.plotter.window_size
        slope = math.tan(math.radians(_VIEW_DEG / 2))
        # The words keep the top of the picture to themselves.
        below = np.array([0.0, _WORDS_PART * slope])
        room = slope * _USED * np.array([wide / high, 1 - _WORDS_PART])
        across, far = places[:, :2].mean(axis=0), 2 * float(np.ptp(places, axis=0).max()) / slope
        for _ in range(20):
            seen = (places[:, :2] - across) / (far - places[:, 2:])
            low, full = seen.min(axis=0), seen.max(axis=0)
            across = across + ((low + full) / 2 + below) * (far - places[:, 2].mean())
            reach = float(((full - low) / 2 / room).max())
            nearest = places[:, 2].max()
            far = nearest + (far - nearest) * reach if reach < 1 else far * reach
        camera = self.plotter.camera
        camera.focal_point = np.append(across, places[:, 2].mean()) @ axes
        camera.position = np.append(across, far) @ axes
        camera.up = (0, 0, 1)
        camera.view_angle = _VIEW_DEG
        self.plotter.reset_camera_clipping_range()

    def _outline(self, stages: tuple[Fraction, ...]) -> npt.NDArray[np.float64]:
        """Points round the work and the hob, which all that is drawn lies within."""
        setting = self.scene.setting
        turns = np.linspace(0, 2 * math.pi, 24)
        ring = np.stack([np.cos(turns), np.sin(turns), np.zeros(turns.size)], axis=1)
        radius, width = setting.blank.radius, setting.blank.face_width
        points = [radius * ring, radius * ring + (0, 0, width)]
        if self.subject == "cut":
            points.append(self._work_arbor_radius() * ring + (0, 0, width + 0.8 * self._work_arbor_radius()))
            half = self._arbor_length() / 2
            tip = setting.hob.tip_radius * ring
            arbor = 1.6 * hob_bore(setting.hob) * ring
            for stage in stages:
                pose = self.scene.head_pose(stage)
                for circle, away in ((tip, 0.8 * half), (arbor, half)):
                    for place in (away, -away):
                        points.append((circle + np.array([0, 0, place])) @ pose[:3, :3].T + pose[:3, 3])
                points.append(pose[:3, 3] + self._feed_arrow_at() + tip / 2)
        return np.concatenate(points)

    def turn(self, degrees: float) -> None:
        """Walk round the work, counter-clockwise seen from above."""
        self.plotter.camera.azimuth += degrees
        self.plotter.reset_camera_clipping_range()

    def image(self) -> Image:
        """What is to be seen."""
        self.plotter.render()
        shot: Image = self.plotter.screenshot(return_img=True)
        return shot


def _font() -> str:
    """The house font: the drawing library's own lacks most letters that a title may have."""
    import matplotlib

    return str(Path(matplotlib.get_data_path()) / "fonts" / "ttf" / "DejaVuSans.ttf")


def round_arrow(radius: float, counter_clockwise: bool, middle_deg: float) -> PolyData:
    """An arrow two thirds round Z, its head past this angle, counter-clockwise seen from above or the other way."""
    import pyvista

    way = 1.0 if counter_clockwise else -1.0
    angles = math.radians(middle_deg) + way * np.radians(np.linspace(-210, 30, 60))
    ring = radius * np.stack([np.cos(angles), np.sin(angles), np.zeros(angles.size)], axis=1)
    shaft = pyvista.lines_from_points(ring).tube(radius=0.05 * radius, n_sides=16, capping=True)
    along = (ring[-1] - ring[-2]) / np.linalg.norm(ring[-1] - ring[-2])
    head = pyvista.Cone(
        center=ring[-1] + 0.2 * radius * along,
        direction=along, height=0.45 * radius, radius=0.16 * radius, resolution=30,
    )  # fmt: skip
    return shaft.merge(head)


def straight_arrow(start: npt.NDArray[np.float64], way: npt.NDArray[np.float64], length: float) -> PolyData:
    """An arrow of this length, its middle at `start`."""
    import pyvista

    return pyvista.Arrow(
        start=start - way * length / 2, direction=way, scale=length,
        shaft_radius=0.035, tip_radius=0.1, tip_length=0.3, shaft_resolution=16, tip_resolution=30,
    )  # fmt: skip


def sharpened(mesh: PolyData) -> PolyData:
    """The mesh with normals that are smooth over faces and sharp at edges, for drawing only."""
    return mesh.compute_normals(
        cell_normals=False,
        split_vertices=True,
        feature_angle=_SHARP_DEG,
        consistent_normals=False,
        auto_orient_normals=False,
    )
