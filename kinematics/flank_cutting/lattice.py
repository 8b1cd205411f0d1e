"""The lattice of contacts on a flank: where each passage of a gash touches it, and the valley around.

A hob touches each flank that it makes in single points, one gash after the other up or down the tooth
and one table turn after the other along it. On spur work the two steps lie square to one another and
feed marks and facets simply add; on helical work the lattice is skewed, the valleys lie across it,
and neither has a height of its own.

What a passage outside a window of the lattice could cut is bounded like this (own derivation). While
the hob turns, the plane with the normal n of the line of action touches the flank that is made along
one generator, and the hob's flank, on its other side, along one of its own. Let a point q of the flank
be reached by the edge of a passage in e = q + D·N, N being the flank's normal in q. Projected on n

    D·(n·N) = δ_g + δ_h,   δ_g = cos β_b·r_b·(ξ·(1 − cos ε) ∓ (ε − sin ε))

where δ_g is the depth of q below the plane: ε is the angle by which the table has yet to bring q's
generator into it, ξ its roll; δ_h is the same of the hob's flank, with its base cylinder and the swing
ε_h by which the edge misses its own contact. This is exact. Both are never negative and grow with |ε|
and |ε_h|, so that D grows along any line away from the contact; as n·N ≤ 1, D is at least their sum.
To the second order the sum is the quadratic form of the lattice. What is left out is, of the form, at
most |ε|/(3ξ) by the cubes above, and of the order of |ε| + |ε_h| by the arcs on which the point travels:
s together. A passage whose form is more than (1 + s)/(1 − s) times that of the nearest can't cut. Where
passages go wrong by periodic errors, two of them differ by so much more.

Near the end of the hob's straight flanks the nearest passages may reach a point with the rounded tip, and
those that don't are the ones on one side of a straight line through it, in the lattice. Where every disc of the
radius μ holds a contact, the nearest on one side is no farther than 2μ: the window is four times as high there.
Nearer to the base cylinder than 3|ε| a passage may undercut; the same window serves.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from handlead.kinematics.cutting.hob import Hob

from .action import MadeFlank

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

TURN = 2 * math.pi

#: A remainder beyond this is no bound any more; the window is then as wide as with it.
_MOST_REMAINDER = 0.6

#: Share of the highest ridge by which a window is wider still, for the coarseness of the grid it is sought on.
_GRID = 0.02


@dataclass(frozen=True, eq=False)
class Lattice:
    """Steps from contact to contact and the valley around one, over (roll in radians, height in mm).

    `basis` has a column for a step to the next gash and one for a step of as many gashes as come
    nearest to a table turn; half of `form`, a quadratic form, is how far a passage stands off the
    flank around its contact, in mm. What that leaves out is `remainder` of it where a passage stands off
    by 1 mm, at most, and goes with the root of the stand-off.
    """

    basis: Floats
    form: Floats
    remainder: float = 0.0

    @property
    def metric(self) -> Floats:
        """Stand-off by steps, as a quadratic form, in mm."""
        return np.asarray(self.basis.T @ self.form @ self.basis / 2)

    def shortest(self) -> Ints:
        """The shortest two steps that make the lattice, as columns of whole steps of the basis (Gauss)."""
        first, second, metric = np.array([1, 0]), np.array([0, 1]), self.metric
        for _ in range(64):
            if first @ metric @ first > second @ metric @ second:
                first, second = second, first
            times = round(float(first @ metric @ second) / float(first @ metric @ first))
            if not times:
                break
            second = second - times * first
        return np.stack([first, second], axis=1)

    def by(self, steps: Ints) -> Lattice:
        """The same lattice on other steps."""
        return Lattice(self.basis @ steps, self.form, self.remainder)

    def _stand_off(self, places: int, most: float = 0.0) -> tuple[Ints, Floats]:
        """Every step that may stand off by at most `most` or be the nearest, and what it does at places of a cell."""
        metric = self.metric
        # A contact found by rounding stands off no further than the corner of a cell.
        corner = metric[0, 0] / 4 + metric[1, 1] / 4 + abs(metric[0, 1]) / 2
        reach = np.sqrt(max(most, corner) * np.diag(np.linalg.inv(metric))) + 0.5
        counts = [np.arange(-math.floor(n), math.floor(n) + 1) for n in reach]
        steps = np.stack(np.meshgrid(*counts, indexing="ij"), axis=-1).reshape(-1, 2)
        fraction = np.linspace(-0.5, 0.5, places)
        at = np.stack(np.meshgrid(fraction, fraction, indexing="ij"), axis=-1).reshape(-1, 1, 2)
        away = steps[None, :, :] - at
        return steps, np.einsum("pni,ij,pnj->pn", away, metric, away)

    def nearest_steps(
        self,
        slack: float,
        errors: Callable[[Ints], Floats] | None = None,
        greatest: float = 0.0,
        *,
        one_side: bool = False,
    ) -> Ints:
        """Steps to all contacts whose passages may cut deepest somewhere in a cell about step (0, 0).

        `slack` is by how much more than the nearest a passage may stand off at least, beside what the
        remainder asks for. `errors` bounds by how many mm a passage so many steps away goes otherwise
        than this one, `greatest` all of them. With `one_side` only the passages on one side, whichever,
        are counted upon.
        """
        _, stands = self._stand_off(21)
        ridge = float(stands.min(axis=1).max())
        left = min(self.remainder * math.sqrt(slack * ridge), _MOST_REMAINDER)
        slack = max(slack, (1 + left) / (1 - left))
        sides = 4 if one_side else 1
        steps, stands = self._stand_off(21, sides * (slack + _GRID) * ridge + 2 * greatest)
        least = sides * ridge if one_side else stands.min(axis=1, keepdims=True)
        beyond = stands - slack * least - _GRID * ridge
        near = (beyond <= 0).any(axis=0)
        if errors is not None and greatest:
            wrong = errors(steps)
            near = (beyond <= (wrong + wrong[near].max())[None, :]).any(axis=0)
        return np.asarray(steps[near])

    def ripple_um(self) -> float:
        """Height of the ridges that are left between contacts, over the contacts, in micrometres."""
        _, stands = self.by(self.shortest())._stand_off(121)
        return 1000 * float(stands.min(axis=1).max())

    def farthest(self, steps: Ints, gradient: Floats) -> float:
        """The most by which what goes with roll and height by `gradient` differs from here to these contacts."""
        corners = np.array([[-0.5, -0.5], [-0.5, 0.5], [0.5, -0.5], [0.5, 0.5]])
        away = (steps[None, :, :] - corners[:, None, :]).reshape(-1, 2) @ self.basis.T
        return float(np.abs(away @ gradient).max())


@dataclass(frozen=True)
class Moving:
    """How the hob stands to the work: swivel in radians, distance in mm, and what all move by a radian of hob (mm).

    `table_rate` is turns of the table per turn of the hob, `gashes` those of a hob turn.
    """

    swivel: float
    distance: float
    table_rate: float
    height_rate: float
    right_rate: float
    gashes: int


def lattice(made: MadeFlank, hob: Hob, moving: Moving, roll: float) -> Lattice:
    """The lattice at one roll (radians) of the flank that is made.

    Source: own derivation, from the line of contacts of an involute worm with an involute helicoid.
    """
    table_per_gash = moving.table_rate * TURN / moving.gashes
    level_rate = moving.height_rate - moving.right_rate * math.tan(moving.swivel)
    height_per_gash = level_rate * TURN / moving.gashes
    # A contact that moves by (roll, height) follows table and slide, and is made sooner or later after its passage.
    later = made.swing_rate(roll) * moving.gashes / TURN
    matrix = np.array(
        [
            [made.side + table_per_gash * later, made.twist],
            [-made.contact_shift - height_per_gash * later, 1.0],
        ]
    )
    gash = np.linalg.solve(matrix, [-table_per_gash, height_per_gash])
    per_turn = TURN / table_per_gash
    turn = np.linalg.solve(matrix, [0.0, height_per_gash * per_turn]) + (round(per_turn) - per_turn) * gash
    form, radius = valley(made, hob, moving, roll)
    # How far gear and hob may be off their generators where one of them stands off by 1 mm: see above.
    off = math.sqrt(2 / (made.base_cosine * made.base_radius * roll))
    screw = hob.lead / TURN
    hob_roll = math.sqrt(max((radius / hob.base_radius) ** 2 - 1, 1e-6))
    hob_off = math.sqrt(2 * math.hypot(hob.base_radius, screw) / (screw * hob.base_radius * hob_roll))
    return Lattice(np.stack([gash, turn], axis=1), form, off / (3 * roll) + off + hob_off)


def valley(made: MadeFlank, hob: Hob, moving: Moving, roll: float) -> tuple[Floats, float]:
    """Second derivatives, over roll and height, of the distance at which an edge passes around its contact.

    With it the distance of the contact from the hob axis, in mm. The flank, an involute helicoid, falls
    away across its straight generators with the radius r_b·roll / cos β_b. The edge, nearly a straight
    line, falls away along its path: a circle around the hob axis on a blank that goes on turning and
    sinking. Source: own derivation, from the second fundamental forms of both surfaces in their common
    tangent plane.
    """
    base, side, twist = made.base_radius, float(made.side), made.twist
    across = np.array([side, twist])
    by_flank = made.base_cosine * base * roll * np.outer(across, across)
    # The contact in the machine, the table turned so that the normal is the line of action.
    c, s = math.cos(made.contact_angle), math.sin(made.contact_angle)
    radial, tangent, upright = np.array([c, s, 0.0]), np.array([-s, c, 0.0]), np.array([0.0, 0.0, 1.0])
    normal = made.base_cosine * (-side * tangent + side * twist * base * upright)
    contact = base * radial - side * roll * base * tangent + (made.rise + made.contact_shift * roll) * upright
    by_roll = base * roll * radial
    by_height = twist * (base * tangent + side * base * roll * radial) + upright
    axis = np.array([0.0, math.cos(moving.swivel), math.sin(moving.swivel)])
    arm = contact - np.array([moving.distance, 0.0, 0.0])
    arm = arm - (arm @ axis) * axis
    radius = float(np.linalg.norm(arm))
    spoke = arm / radius
    slope, bend = _edge(hob, radius)
    edge = spoke + side * slope * axis
    turns = moving.table_rate
    swung = np.cross(axis, arm) + np.array([0.0, moving.right_rate, moving.height_rate])
    path = swung - turns * np.cross(upright, contact)
    # What the edge gains along the normal in second order, over its swing and the way along it.
    turning = np.cross(upright, np.cross(upright, contact))
    by_swing = normal @ (-arm - 2 * turns * np.cross(upright, swung) + turns**2 * turning)
    by_both = float(normal @ (np.cross(axis, edge) - turns * np.cross(upright, edge)))
    edge_form = np.array([[by_swing, by_both], [by_both, side * bend * float(normal @ axis)]])
    moves = np.linalg.solve(np.stack([path, edge, normal], axis=1), np.stack([by_roll, by_height], axis=1))
    return np.asarray(by_flank + moves[:2].T @ edge_form @ moves[:2]), radius


def _edge(hob: Hob, radius: float) -> tuple[float, float]:
    """Slope of the unrounded edge's place along the axis over the radius, and how fast the slope changes."""
    base, per_radian = hob.base_radius, hob.lead / TURN
    level = math.sqrt(max(radius**2 - base**2, 1e-6 * base**2))
    return -per_radian * level / (base * radius), -per_radian * base / (radius**2 * level)
