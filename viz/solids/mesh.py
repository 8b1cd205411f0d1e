"""Solids of what was simulated: the blank as it was cut, and the hob that cuts it, as closed meshes.

A cut blank is a field of radii over angle and height. Its points are joined up along the teeth, by
how each row resembles the one below it, so that few rows do for a smooth flank; columns that the
shape doesn't need are left out. Nothing of the drawing enters: count, hand and lead of the mesh are
what the cut left. Lengths are millimetres; the work stands on Z with its lower face at height 0.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
from handlead.kinematics.cutting.hob import Edge, Hob
from handlead.kinematics.frame.blank import Field
from handlead.kinematics.frame.motion import Position

if TYPE_CHECKING:
    from pyvista import PolyData

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

TURN = 2 * math.pi

#: How far a mesh may stand off the points that it leaves out, in mm.
TOLERANCE = 0.01

#: Rows that are looked at to find the columns that matter.
_LOOKED_AT = 24

#: Shares of what neighbouring rows have in common: below the first they are strangers; peaks
#: within the second of the highest are teeth like any others, and the nearest of them is taken.
_ALIKE, _AS_GOOD = 0.5, 0.03

#: Part of a gash's pitch that the tooth takes up, and fall of the relief over it in parts of the
#: outside radius (common practice: about ten degrees at the tip). They only shape the picture.
_TOOTH_PART, _RELIEF_DEG = 0.6, 10.0
_BEHIND, _FLOOR = 5, 4

#: Bore of the hob in parts of the radius at the bottom of its gashes. It only shapes the picture.
_BORE_PART = 0.45


# ---------------------------------------------------------------- closed meshes


def closed_mesh(points: Floats, bore: float = 0.0) -> PolyData:
    """A closed triangle mesh of rows of points round an axis, with flat ends, and a bore of that radius if any.

    `points` has the shape rows × columns × 3; rows follow each other along Z, columns go
    counter-clockwise seen from above. Triangles face outwards. Raises `ValueError` for fewer than
    two rows or three columns, or a bore that breaks through.
    """
    import pyvista

    rows, columns, _ = points.shape
    if rows < 2 or columns < 3:
        raise ValueError(f"{rows} rows of {columns} points make no solid; 2 of 3 are the least")
    reach = np.hypot(points[..., 0], points[..., 1])
    if bore and reach.min() <= bore:
        raise ValueError(f"a bore of radius {bore:g} mm breaks through a solid of radius {reach.min():g} mm")
    outer = np.arange(rows * columns).reshape(rows, columns)
    ends = points[[0, -1]]
    if bore:
        inner_points = ends * (bore / reach[[0, -1]])[..., None]
        inner_points[..., 2] = ends[..., 2]
        inner = outer.size + np.arange(2 * columns).reshape(2, columns)
        more = inner_points.reshape(-1, 3)
        # Round the end faces and the bore the loops go the other way about than on the outside.
        faces = [_strip(outer), _strip(np.stack([inner[0], outer[0]])),
                 _strip(np.stack([outer[-1], inner[1]])), _strip(np.stack([inner[1], inner[0]]))]  # fmt: skip
    else:
        more = np.array([[0.0, 0.0, ends[0, :, 2].mean()], [0.0, 0.0, ends[1, :, 2].mean()]])
        faces = [_strip(outer), _fan(outer[0], outer.size)[:, ::-1], _fan(outer[-1], outer.size + 1)]
    everything = np.concatenate([points.reshape(-1, 3), more])
    mesh: PolyData = pyvista.PolyData.from_regular_faces(everything, np.concatenate(faces).astype(int))
    return mesh


def _strip(loops: Ints) -> Ints:
    """Triangles between neighbouring loops of point numbers, facing out where loops rise counter-clockwise."""
    here, there = loops[:-1], loops[1:]
    next_here, next_there = np.roll(here, -1, axis=1), np.roll(there, -1, axis=1)
    first = np.stack([here, next_here, next_there], axis=-1)
    second = np.stack([here, next_there, there], axis=-1)
    return np.concatenate([first, second]).reshape(-1, 3)


def _fan(loop: Ints, centre: int) -> Ints:
    return np.stack([loop, np.roll(loop, -1), np.full(loop.size, centre)], axis=-1)


# ---------------------------------------------------------------- the cut blank


@dataclass(frozen=True)
class Joints:
    """How the rows of a field are joined up: `places` of the first column in each row, `columns` that are kept.

    `per_mm` is how many columns a line of the teeth goes round in a millimetre of height.
    """

    places: Ints
    columns: Ints
    per_mm: float


def join(*fields: Field, tolerance: float = TOLERANCE) -> Joints:
    """Joints that follow the teeth of the last of these fields, and show all of them within `tolerance` mm.

    The fields must have the same heights and as many columns.
    """
    follow = fields[-1]
    for field in fields:
        if field.radius.shape != follow.radius.shape or not np.allclose(field.heights, follow.heights):
            raise ValueError("fields that share their joints need the same heights and as many columns")
    drift = _drift(follow)
    places = np.rint(drift).astype(np.int64)
    height = follow.heights[-1] - follow.heights[0]
    looked = np.unique(np.linspace(0, follow.rows - 1, min(follow.rows, _LOOKED_AT)).round().astype(np.int64))
    everything = np.arange(follow.columns)
    stacked = np.concatenate([_points(field, places, everything)[looked, :, :2] for field in fields])
    return Joints(
        places, _needed(stacked, tolerance), float(drift[-1] - drift[0]) / height if height else 0.0
    )


def _drift(field: Field) -> Floats:
    """By how many columns the teeth of each row stand further round than those of the first."""
    depth = field.uncut - field.radius
    depth = depth - depth.mean(axis=1, keepdims=True)
    waves = np.fft.rfft(depth, axis=1)
    size = np.sqrt((depth * depth).sum(axis=1))
    drift, rate = np.zeros(field.rows), 0.0
    late = field.start / (TURN / field.columns)
    for row in range(1, field.rows):
        rise = field.heights[row] - field.heights[row - 1]
        both = size[row] * size[row - 1]
        step = None
        if min(size[row], size[row - 1]) > 1e-9 * field.uncut:
            alike = np.fft.irfft(np.conj(waves[row - 1]) * waves[row], field.columns) / both
            step = _nearest_peak(alike)
        if step is not None:
            rate = (step + late[row] - late[row - 1]) / rise
        drift[row] = drift[row - 1] + rate * rise
    return drift - late


def _nearest_peak(alike: Floats) -> float | None:
    """The shift nearest to none at which two rows are as good as most alike; None for strangers."""
    if alike.max() < _ALIKE:
        return None
    before, after = np.roll(alike, 1), np.roll(alike, -1)
    peaks = np.flatnonzero((alike >= before) & (alike >= after) & (alike >= alike.max() - _AS_GOOD))
    shift = (peaks + alike.size // 2) % alike.size - alike.size // 2
    best = peaks[np.argmin(np.abs(shift))]
    bend = before[best] - 2 * alike[best] + after[best]
    part = 0.0 if bend == 0 else 0.5 * (before[best] - after[best]) / bend
    return float((best + alike.size // 2) % alike.size - alike.size // 2 + part)


def _points(field: Field, places: Ints, columns: Ints) -> Floats:
    """Points of these columns in every row, counted from the row's own place: rows × columns × 3."""
    number = places[:, None] + columns[None, :]
    angle = number * (TURN / field.columns) + field.start[:, None]
    radius = np.take_along_axis(field.radius, number % field.columns, axis=1)
    height = np.broadcast_to(field.heights[:, None], angle.shape)
    return np.stack([radius * np.cos(angle), radius * np.sin(angle), height], axis=-1)


def _needed(points: Floats, tolerance: float) -> Ints:
    """Columns without which some row would stand off by more than `tolerance`: halved till none does."""
    columns = points.shape[1]
    kept = np.unique(np.linspace(0, columns, 13).astype(np.int64))
    around = np.concatenate([points, points[:, :1]], axis=1)
    # Only stretches that some row stands off from are looked at again.
    open_still = np.arange(columns)
    while True:
        part = np.searchsorted(kept, open_still, side="right") - 1
        low, high = kept[part], kept[part + 1]
        along = around[:, high] - around[:, low]
        aside = points[:, open_still] - around[:, low]
        length = np.hypot(along[..., 0], along[..., 1])
        off = np.abs(along[..., 0] * aside[..., 1] - along[..., 1] * aside[..., 0]) / np.maximum(
            length, 1e-12
        )
        off = np.where(length > 1e-9, off, np.hypot(aside[..., 0], aside[..., 1])).max(axis=0)
        # Ends of a stretch are on it; rounding mustn't ask for them again.
        off[open_still == low] = 0.0
        begins = np.flatnonzero(np.diff(part, prepend=-1))
        over = np.maximum.reduceat(off, begins) > tolerance
        if not over.any():
            return kept[:-1]
        worst = np.lexsort((-off, part))[begins]
        kept = np.unique(np.concatenate([kept, open_still[worst[over]]]))
        open_still = open_still[np.repeat(over, np.diff(begins, append=open_still.size))]


def blank_mesh(
    field: Field,
    joints: Joints | None = None,
    *,
    face_width: float | None = None,
    bore: float = 0.0,
    exaggerate: float = 1.0,
) -> PolyData:
    """The cut blank as a closed mesh, with the depth cut at each point in µm as point data "depth_um".

    With `face_width` its ends are brought to 0 and that height along the lines of the teeth: rows of
    a simulated cut stand where hob turns end. `exaggerate` multiplies depths, to make a light cut
    visible; the depth in the data stays true. Raises `ValueError` for a bore that breaks through.
    """
    joints = joints or join(field)
    points = _points(field, joints.places, joints.columns)
    depth = field.uncut - np.hypot(points[..., 0], points[..., 1])
    if exaggerate != 1:
        points[..., :2] *= ((field.uncut - exaggerate * depth) / (field.uncut - depth))[..., None]
    if face_width is not None:
        twist = joints.per_mm * (TURN / field.columns)
        points, depth = _to_faces(points, depth, twist, face_width)
    mesh = closed_mesh(points, bore)
    more = np.zeros(mesh.n_points - depth.size)
    mesh.point_data["depth_um"] = 1000 * np.concatenate([np.maximum(depth, 0).ravel(), more])
    return mesh


def _to_faces(points: Floats, depth: Floats, twist: float, face_width: float) -> tuple[Floats, Floats]:
    """Rows between the faces, and the outermost of them carried on to 0 and to `face_width`."""
    height = points[:, 0, 2]
    inside = np.flatnonzero((height > 1e-6) & (height < face_width - 1e-6))
    points, depth, height = points[inside], depth[inside], height[inside]
    ends = []
    for row, face in ((0, 0.0), (-1, face_width)):
        turn = twist * (face - height[row])
        end = points[row] @ _about_z(turn).T
        end[:, 2] = face
        ends.append(end)
    return (
        np.concatenate([ends[:1], points, ends[1:]]),
        np.concatenate([depth[:1], depth, depth[-1:]]),
    )


# ---------------------------------------------------------------- the hob


def hob_mesh(
    hob: Hob, length: float | None = None, fineness: float = 0.5, *, cuts_up: bool = True
) -> PolyData:
    """The hob as a closed mesh about Z, its middle at 0, the gash that is numbered 0 at the angle 0.

    Its cutting faces lead where it turns the way that `hob_pose` has as cutting up, or the other way.

    Cutting edges are the simulated ones, whole teeth only, over about `length` mm (a usual one if left
    out). What lies behind the edges, relief, gashes and bore, is no more than a picture. Gash errors and runout
    are left out: they are too small to be seen. Cell data "cutting_face" is 1 on the faces of the teeth.
    """
    pitch = hob.axial_pitch
    teeth = max(3, round((9 * pitch if length is None else length) / pitch))
    floor = hob.root_radius - 0.35 * (hob.tip_radius - hob.root_radius)
    end = (teeth / 2 + 1) * pitch + hob.lead / hob.gashes
    columns = _columns(hob, hob.edge(fineness), teeth, floor)
    w = np.stack([_ended(place, end) for place, _, _ in columns], axis=1)
    r = np.stack([np.concatenate([[floor], radii, [floor]]) for _, radii, _ in columns], axis=1)
    angle = np.array([angle for _, _, angle in columns])[None, :]
    points = np.stack([r * np.cos(angle), r * np.sin(angle), w], axis=-1)
    rows, around = points.shape[:2]
    # From the edge, which is the last column of its gash, to the floor.
    on_face = np.arange(around) % (_FLOOR + _BEHIND) == _FLOOR + _BEHIND - 1
    if not cuts_up:
        # Put onto the arbor end for end, gash 0 staying where it is: so its hand stays, too.
        points = points[::-1, ::-1] * (1.0, -1.0, -1.0)
        on_face = np.roll(on_face[::-1], -1)
    points[..., 2] += hob.shift
    mesh = closed_mesh(points, _BORE_PART * floor)
    faces = np.zeros(mesh.n_cells)
    faces[: 2 * (rows - 1) * around] = np.tile(on_face, 2 * (rows - 1))
    mesh.cell_data["cutting_face"] = faces
    return mesh


def _columns(hob: Hob, edge: Edge, teeth: int, floor: float) -> list[tuple[Floats, Floats, float]]:
    """Points along the hob, one column after the other round it: places on its axis, radii, and the angle.

    For each gash first its floor, at the radius `floor`, then the backs of its teeth, from the heel to the edge.
    """
    # Where the gap of one thread ends that of the next begins: one point is enough.
    edges = [_teeth_of(k, hob, teeth, edge.offset[:-1]) for k in range(hob.gashes)]
    radii = np.tile(edge.radius[:-1], teeth)
    screw = hob.hand.value * hob.lead / TURN
    relief = hob.tip_radius * math.tan(math.radians(_RELIEF_DEG))
    part = _TOOTH_PART * TURN / hob.gashes
    # The floor of the gash between the face of the tooth before and the heel of this one; a hair's
    # breadth apart in angle, so that no triangle of the ends has its corners in line.
    hair = 1e-3 * part
    columns: list[tuple[Floats, Floats, float]] = []
    for k, place in enumerate(edges):
        ahead = TURN * k / hob.gashes
        before, heel = edges[k - 1], place - screw * part
        low, high = ahead - TURN / hob.gashes + hair, ahead - part - hair
        for share in np.linspace(0, 1, _FLOOR):
            on_floor = (1 - share) * before + share * heel
            columns.append((on_floor, np.full(radii.size, floor), low + share * (high - low)))
        for share in np.linspace(1, 0, _BEHIND):
            back = share * part
            columns.append((place - screw * back, radii - relief * back, ahead - back))
    return columns


def _ended(place: Floats, end: float) -> Floats:
    return np.concatenate([[-end], place, [end]])


def _teeth_of(gash: int, hob: Hob, teeth: int, offset: Floats) -> Floats:
    """Places along the axis of the edge points of all whole teeth in this row of them."""
    thread = hob.hand.value * hob.lead * gash / hob.gashes
    first = thread % hob.axial_pitch - teeth // 2 * hob.axial_pitch
    return np.asarray((first + hob.axial_pitch * np.arange(teeth)[:, None] + offset[None, :]).ravel())


def hob_bore(hob: Hob) -> float:
    """Radius of the bore that the hob is drawn with, in mm."""
    return _BORE_PART * (hob.root_radius - 0.35 * (hob.tip_radius - hob.root_radius))


def hob_pose(position: Position, swivel_deg: float, centre_distance: float) -> Floats:
    """Matrix (4 × 4) that brings a hob about Z, gash 0 at angle 0, to where it stands in the machine's frame.

    `position` as for a cut: hob turns, height of its centre over the lower face, distance to the right,
    and what its centre distance exceeds `centre_distance` by. At no swivel the hob's axis is Y, and
    angle 0 looks to the work, along −X; seen so, its teeth go up as it turns.
    """
    turn, swivel = TURN * float(position.hob % 1), math.radians(swivel_deg)
    to_work = np.array([[-1.0, 0, 0], [0, 0, 1], [0, 1, 0]])
    sine, cosine = math.sin(swivel), math.cos(swivel)
    head = np.array([[1, 0, 0], [0, cosine, -sine], [0, sine, cosine]])
    pose = np.eye(4)
    pose[:3, :3] = head @ to_work @ _about_z(turn)
    pose[:3, 3] = (
        centre_distance + float(position.radial),
        float(position.tangential),
        float(position.axial),
    )
    return pose


def work_pose(position: Position) -> Floats:
    """Matrix (4 × 4) that turns the work with the table, counter-clockwise positive seen facing it."""
    pose = np.eye(4)
    pose[:3, :3] = _about_z(TURN * float(position.table % 1))
    return pose


def _about_z(angle: float) -> Floats:
    sine, cosine = math.sin(angle), math.cos(angle)
    return np.array([[cosine, -sine, 0], [sine, cosine, 0], [0, 0, 1]])
