"""One tooth space cut by a mesh boolean library, against the same space in the field: agreement and time.

Run as `python tests/benchmarks/mesh_boolean.py`. Each passage of a thread becomes a solid: the edge's
outline at many swings of the hob, skinned; all of them are taken off a wedge of the blank, which is then
sliced. Library: manifold3d (a general-purpose geometry kernel). Only the frame of the machine and the hob's
edge go in.
"""

from __future__ import annotations

import math
import time
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from handlead.kinematics.cutting.field import axial_pass, cut_field
from handlead.kinematics.cutting.hob import Hob
from handlead.kinematics.cutting.setting import Grid, Setting
from handlead.kinematics.frame.blank import Blank
from handlead.kinematics.frame.motion import Motion, Rates


@dataclass(frozen=True)
class CoarseCase:
    """A helical gear of few teeth, few gashes and a coarse feed: little enough for meshes."""

    teeth: int = 17
    helix_deg: float = 20.0
    gashes: int = 6
    feed: Fraction = Fraction(6)
    face: float = 12.0
    height: float = 6.2
    lift: float = 0.0

    @property
    def hob(self):
        return Hob(module_n=3, reference_diameter=60, gashes=self.gashes)

    @property
    def reference(self):
        return 3 * self.teeth / math.cos(math.radians(self.helix_deg))

    @property
    def blank(self):
        return Blank(self.reference + 6, self.face)

    @property
    def distance(self):
        return self.reference / 2 + self.hob.pitch_diameter / 2 + self.lift

    @property
    def swivel_deg(self):
        return self.hob.geometric_lead_angle_deg - self.helix_deg

    @property
    def rates(self):
        per_mm = Fraction(
            math.sin(math.radians(self.helix_deg)) / (math.pi * 3 * self.teeth)
        ).limit_denominator(10**6)
        table = Fraction(1, self.teeth) / (1 - self.feed * per_mm)
        return Rates(table=-table, axial=self.feed * table)

    @property
    def setting(self):
        return Setting(self.rates, self.hob, self.blank, self.swivel_deg, self.distance)

    @property
    def motion(self):
        return axial_pass(self.setting)


def by_field(case: CoarseCase, angles: np.ndarray, columns: int = 200_000) -> np.ndarray:
    """Radii of the field's row at these angles."""
    field = cut_field(case.motion, case.setting, Grid(np.array([case.height]), columns=columns), compiled=False)
    place = np.mod(angles / (2 * math.pi), 1) * columns
    low = np.floor(place).astype(int)
    part = place - low
    return (1 - part) * field.radius[0][low % columns] + part * field.radius[0][(low + 1) % columns]


def edge_at(case: CoarseCase, motion: Motion, number: int, place: float, swing: np.ndarray) -> np.ndarray:
    """The edge on the blank at these swings past passage `number`: swings × points × 3, from the frame alone."""
    phase, hob = motion.phases[0], case.hob
    edge = hob.edge()
    turn = Fraction(number, hob.gashes) - phase.start.hob
    turns = float(turn) + swing / (2 * math.pi)
    rate = phase.per_hob_turn
    table = 2 * math.pi * (float(phase.start.table) + float(rate.table) * turns)[:, None]
    centre = (float(phase.start.axial) + float(rate.axial) * turns)[:, None]
    swivel, w, tau = math.radians(case.swivel_deg), (place + edge.offset)[None, :], swing[:, None]
    x = case.distance - edge.radius * np.cos(tau)
    y = w * math.cos(swivel) - edge.radius * np.sin(tau) * math.sin(swivel)
    z = centre + w * math.sin(swivel) + edge.radius * np.sin(tau) * math.cos(swivel)
    return np.stack(
        [x * np.cos(table) + y * np.sin(table), -x * np.sin(table) + y * np.cos(table), z], axis=-1
    )


def solid(rings: np.ndarray):
    """Closed solid over a series of like outlines (rings × points × 3), each one flat and convex."""
    from manifold3d import Manifold, Mesh

    count, points, _ = rings.shape
    index = np.arange(count * points).reshape(count, points)
    after = np.roll(index, -1, axis=1)
    a, b, c, d = (x.ravel() for x in (index[:-1], after[:-1], after[1:], index[1:]))
    sides = np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)])
    fan = np.stack([np.zeros(points - 2, int), np.arange(1, points - 1), np.arange(2, points)], 1)
    faces = np.concatenate([sides, index[0][fan][:, ::-1], index[-1][fan]]).astype(np.uint32)
    made = Manifold(Mesh(rings.reshape(-1, 3).astype(np.float32), faces))
    if made.volume() < 0:
        made = Manifold(Mesh(rings.reshape(-1, 3).astype(np.float32), faces[:, ::-1].copy()))
    return made


def by_mesh(case: CoarseCase, angles: np.ndarray, steps: int = 24) -> tuple[np.ndarray, int]:
    """Radii at these angles of a wedge from which every passage has been taken off, and how many there were."""
    from manifold3d import CrossSection, Manifold, OpType

    hob, motion, blank = case.hob, case.motion, case.blank
    phase = motion.phases[0]
    low, high = angles.min() - 0.02, angles.max() + 0.02
    arc = np.linspace(low, high, 800)
    rim = blank.radius * np.stack([np.cos(arc), np.sin(arc)], axis=1)
    outline = np.concatenate([np.zeros((1, 2)), rim])
    half = 0.15
    wedge = Manifold.extrude(CrossSection([outline]), 2 * half).translate([0, 0, case.height - half])
    solids = []
    reach = math.sqrt(hob.tip_radius**2 - (case.distance - blank.radius) ** 2) + 12
    first = math.ceil(float(phase.start.hob) * hob.gashes)
    for number in range(first, first + int(phase.turns * hob.gashes)):
        away = case.height - float(phase.at(Fraction(number, hob.gashes) - phase.start.hob).axial)
        if abs(away) > reach:
            continue
        thread = -hob.lead * (number % hob.gashes) / hob.gashes
        for pitches in range(-6, 7):
            place = thread + pitches * hob.axial_pitch
            swivel = math.radians(case.swivel_deg)
            middle = (away - place * math.sin(swivel)) / math.cos(swivel) / hob.pitch_diameter * 2
            if abs(middle) > 0.95:
                continue
            # Swings in which any part of the edge may be within the slab.
            span = (half + hob.axial_pitch / 2 * abs(math.sin(swivel)) + 4.0 * abs(middle)) / (
                hob.root_radius * 0.6
            )
            swing = np.linspace(math.asin(middle) - span, math.asin(middle) + span, steps)
            rings = edge_at(case, motion, number, place, swing)
            near = np.hypot(rings[..., 0], rings[..., 1]) < blank.radius
            turned = np.mod(np.arctan2(rings[..., 1], rings[..., 0]) - low, 2 * math.pi) < high - low
            if (near & turned).any():
                solids.append(solid(rings))
    left = Manifold.batch_boolean([wedge, *solids], OpType.Subtract)
    polygons = left.slice(case.height).to_polygons()
    return _radii(polygons, angles), len(solids)


def _radii(polygons: list[np.ndarray], angles: np.ndarray) -> np.ndarray:
    """How far out a ray from the axis stays in the polygons' material for the first time, at each angle."""
    found = np.full(angles.size, np.inf)
    for polygon in polygons:
        ends = np.roll(polygon, -1, axis=0)
        for n, angle in enumerate(angles):
            c, s = math.cos(angle), math.sin(angle)
            side = -polygon[:, 0] * s + polygon[:, 1] * c, -ends[:, 0] * s + ends[:, 1] * c
            along = polygon[:, 0] * c + polygon[:, 1] * s, ends[:, 0] * c + ends[:, 1] * s
            cross = side[0] * side[1] < 0
            part = side[0][cross] / (side[0][cross] - side[1][cross])
            radii = along[0][cross] + part * (along[1][cross] - along[0][cross])
            radii = radii[radii > 6]
            if radii.size:
                found[n] = min(found[n], radii.min())
    return found


def a_space(case: CoarseCase, count: int = 200) -> np.ndarray:
    """Angles across one tooth space, found by the field itself."""
    angles = np.linspace(0, 2 * math.pi / case.teeth, 2000)
    row = by_field(case, angles, 40_000)
    middle = float(angles[row.argmin()])
    half = math.pi / case.teeth
    return np.linspace(middle - half, middle + half, count)


def main() -> None:
    """Print agreement and times."""
    case = CoarseCase()
    angles = a_space(case)
    begin = time.perf_counter()
    field = by_field(case, angles, 6000)
    field_time = time.perf_counter() - begin
    field = by_field(case, angles)
    for steps in (6, 12, 24):
        begin = time.perf_counter()
        mesh, count = by_mesh(case, angles, steps)
        mesh_time = time.perf_counter() - begin
        off = np.abs(mesh - field)
        print(
            f"{steps:3d} swings a passage: {count} solids, {mesh_time:6.2f} s for one space at one height; "
            f"field {field_time:.3f} s for all {case.teeth} spaces; ratio {mesh_time / field_time:7.0f}; "
            f"apart: median {1000 * np.median(off):.2f}, greatest {1000 * off.max():.2f} micrometres"
        )


if __name__ == "__main__":
    main()
