"""A film of a pair in mesh: teeth at mid-face about the pitch point, and the lines of touch as they cross the flank."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
from handlead.kinematics.gears.flank import NominalFlank
from handlead.kinematics.rolling.as_cut import CutGear
from handlead.machines.rolling.pair_rolled import PairRolled
from handlead.machines.rolling.words import DRIVES
from handlead.viz.look import look
from handlead.viz.look.shop import Shop

from .mesh import foot, heading, plot_pattern

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Floats = npt.NDArray[np.float64]

#: Frames of a film, the teeth that go by in it, and teeth that are drawn to either side.
FRAMES, _TEETH, _BESIDE = 48, 2, 4

#: The film's side: the work turns counter-clockwise and drives.
_SIDE = -1

#: Half of what is seen about the pitch point, in modules.
_SEEN = 5.5


@dataclass(frozen=True, eq=False)
class PairInMotion:
    """A pair at any turn of the work, in radians from where the tooth after its space 0 stands at mid-face."""

    found: PairRolled

    @cached_property
    def gears(self) -> tuple[CutGear, CutGear]:
        """Both members as they were rolled. Raises `ValueError` for a pair that wasn't."""
        if self.found.rolled is None:
            raise ValueError("the pair isn't rolled: " + "; ".join(one.message for one in self.found.findings))
        return self.found.rolled.first, self.found.rolled.second

    @property
    def step(self) -> float:
        """The work's turn from tooth to tooth, in radians."""
        return 2 * math.pi / self.gears[0].gear.teeth

    def outline(self, which: int, turn: float) -> Floats:
        """The teeth of a member about the pitch point at this turn of the work: points in mm from the work's axis."""
        rolled, (first, second) = self.found.rolled, self.gears
        assert rolled is not None
        if which == 0:
            around = turn
            centre = 0.0
        else:
            first_stands = math.pi / first.gear.teeth + first.twist * first.width / 2 + turn
            around = -first_stands * first.gear.teeth / second.gear.teeth - second.twist * second.width / 2
            # Driven, it hangs back on the flanks that push it.
            around += rolled.nominal_play / 2 / second.base_radius
            centre = rolled.distance
        points = _teeth(self.gears[which], around)
        return points if which == 0 else np.stack([centre - points[:, 0], -points[:, 1]], axis=1)

    def lengths(self, turn: float) -> Floats:
        """Lengths of roll at mid-face of the work's flanks that touch the mate's somewhere on the face, in mm."""
        rolled, (first, _) = self.found.rolled, self.gears
        assert rolled is not None
        begins = NominalFlank(first.gear, _SIDE).tangent_angle(np.zeros(1), np.array([first.width / 2]))
        angle = math.radians(rolled.working_angle_deg) - _SIDE * (turn + float(begins[0]))
        near = math.floor(angle * first.base_radius / (first.base_radius * self.step))
        numbers = np.arange(near - 12, near + 13)
        lengths = first.base_radius * (angle - numbers * self.step)
        side = rolled.sides[_SIDE]
        met = side.lengths[np.isfinite(side.apart).any(axis=1)]
        return np.asarray(lengths[(lengths >= met[0]) & (lengths <= met[-1])])

    def touches(self, turn: float) -> Floats:
        """Where flanks touch at mid-face, as points in mm from the work's axis."""
        rolled, (first, _) = self.found.rolled, self.gears
        assert rolled is not None
        side = rolled.sides[_SIDE]
        middle = np.isfinite(side.apart[:, side.heights.size // 2])
        low, high = side.lengths[middle][[0, -1]]
        along = np.array([one for one in self.lengths(turn) if low <= one <= high])
        working = math.radians(rolled.working_angle_deg)
        # From where the line leaves the work's base circle on.
        return np.stack(
            [
                first.base_radius * math.cos(working) + along * math.sin(working),
                _SIDE * (first.base_radius * math.sin(working) - along * math.cos(working)),
            ],
            axis=1,
        )


def _teeth(gear: CutGear, turn: float) -> Floats:
    """Outline of the teeth about angle 0 with the gear turned so far, at mid-face."""
    nominal = gear.gear
    space = round(-(turn + gear.twist * gear.width / 2) / (2 * math.pi) * nominal.teeth)
    root, tip = nominal.root_diameter / 2, nominal.tip_diameter / 2
    radii = np.linspace(max(root, gear.base_radius), tip, 24)
    pieces = []
    for number in range(space - _BESIDE, space + _BESIDE + 1):
        up = _flank(gear, 1, number, radii) + turn
        down = _flank(gear, -1, number + 1, radii)[::-1] + turn
        angles = np.concatenate([up[:1], up, down, down[-1:]])
        pieces.append((np.concatenate([[root], radii, radii[::-1], [root]]), angles))
    radius, angle = (np.concatenate(part) for part in zip(*pieces, strict=True))
    return np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=1)


def _flank(gear: CutGear, side: int, number: int, radii: Floats) -> Floats:
    """Angles at mid-face at which a flank passes these radii."""
    roll = np.sqrt(np.maximum((radii / gear.base_radius) ** 2 - 1, 0.0))
    tangent = NominalFlank(gear.gear, side).tangent_angle(roll, np.full(roll.size, gear.width / 2), float(number))
    return np.asarray(tangent - side * np.arctan(roll))


def film(found: PairRolled, shop: Shop, frames: int = FRAMES) -> Iterator[npt.NDArray[np.uint8]]:
    """The frames, which repeat. Raises `ValueError` for a pair that wasn't rolled."""
    mesh = PairInMotion(found)
    mesh.gears  # noqa: B018  so that it is said before anything is drawn
    for frame in range(frames):
        figure = look.new_figure(190, 110)
        ax = figure.add_axes((0.03, 0.12, 0.45, 0.7))
        _section(mesh, ax, mesh.step * _TEETH * frame / frames)
        flank = figure.add_axes((0.59, 0.24, 0.38, 0.5))
        plot_pattern(found, _SIDE, flank, shop=shop)
        side = found.rolled.sides[_SIDE] if found.rolled else None
        assert side is not None
        for length in mesh.lengths(mesh.step * _TEETH * frame / frames):
            flank.plot(
                [shop.sized(float(one) + mesh.gears[0].width / 2) for one in side.heights],
                [shop.sized(float(length - side.lead * one)) for one in side.heights],
                color=look.FAULT, linewidth=look.HEAVY, scaley=False,
            )  # fmt: skip
        figure.text(0.02, 0.97, heading(found, shop), fontsize=look.TEXT, weight="bold", va="top")
        figure.text(0.02, 0.02, foot(found, shop), fontsize=look.SMALL, va="bottom")
        figure.canvas.draw()
        yield np.asarray(figure.canvas.buffer_rgba())[..., :3].copy()  # type: ignore[attr-defined]


def _section(mesh: PairInMotion, axes: Axes, turn: float) -> None:
    """Both members' teeth at mid-face, the work on the left, and where they touch."""
    rolled, (first, _) = mesh.found.rolled, mesh.gears
    assert rolled is not None
    pitch_point = first.base_radius / math.cos(math.radians(rolled.working_angle_deg))
    for which in (0, 1):
        points = mesh.outline(which, turn)
        axes.fill(points[:, 0], points[:, 1], facecolor=look.SHADE)
        axes.plot(points[:, 0], points[:, 1], color=look.INK, linewidth=look.OUTLINE)
    touching = mesh.touches(turn)
    axes.plot(touching[:, 0], touching[:, 1], "o", color=look.FAULT, markersize=5)
    half = _SEEN * first.gear.module_n
    look.bare(axes, (pitch_point - half, pitch_point + half), (-half, half))
    axes.set_aspect("equal")
    axes.text(0.02, 0.02, "work", fontsize=look.TEXT, transform=axes.transAxes)
    axes.text(0.98, 0.02, "mate", fontsize=look.TEXT, ha="right", transform=axes.transAxes)
    axes.set_title(f"At mid-face; the work turns {DRIVES[_SIDE]}", fontsize=look.TEXT, loc="left")
