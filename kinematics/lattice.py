"""The lattice of contacts on a flank: where each passage of a gash touches it, and the valley around.

A true hob touches each flank in single points, one gash after the other up or down the tooth and
one table turn after the other along it. On spur work the two steps lie square to one another and
feed marks and facets simply add; on helical work the lattice is skewed, the valleys lie across it,
and neither has a height of its own.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from .flank import NominalFlank
from .hob import Hob

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

TURN = 2 * math.pi

#: Steps looked at on either side: gashes, table turns.
_GASHES, _TURNS = 12, 8


@dataclass(frozen=True)
class Lattice:
    """Steps from contact to contact and the valley around one, over (roll in radians, height in mm).

    `basis` has a column for a step to the next gash and one for a step of as many gashes as come
    nearest to a table turn; half of `form`, a quadratic form, is how far a passage stands off the
    flank around its contact, in mm.
    """

    basis: Floats
    form: Floats

    def _stand_off(self, places: int) -> tuple[Ints, Floats]:
        counts = np.arange(-_GASHES, _GASHES + 1), np.arange(-_TURNS, _TURNS + 1)
        steps = np.stack(np.meshgrid(*counts, indexing="ij"), axis=-1).reshape(-1, 2)
        fraction = np.linspace(-0.5, 0.5, places)
        at = np.stack(np.meshgrid(fraction, fraction, indexing="ij"), axis=-1).reshape(-1, 1, 2)
        metric = self.basis.T @ self.form @ self.basis / 2
        away = steps[None, :, :] - at
        return steps, np.einsum("pni,ij,pnj->pn", away, metric, away)

    def nearest_steps(self, slack: float) -> Ints:
        """Steps (gashes, table turns) to contacts that lie within `slack` of the nearest, anywhere in a cell."""
        steps, stands = self._stand_off(21)
        least = stands.min(axis=1, keepdims=True)
        return np.asarray(steps[(stands <= slack * least + 0.02 * least.max()).any(axis=0)])

    def ripple_um(self) -> float:
        """Height of the ridges that are left between contacts, over the contacts, in micrometres."""
        _, stands = self._stand_off(121)
        return 1000 * float(stands.min(axis=1).max())


def lattice(
    flank: NominalFlank, hob: Hob, swivel: float, roll: float, table_per_gash: float, height_per_gash: float
) -> Lattice:
    """The lattice at one roll (radians): `table_per_gash` in radians, `height_per_gash` in mm, both signed.

    Source: own derivation, from the line of contacts of an involute worm with an involute helicoid.
    """
    # A contact that moves by (roll, height) follows table and slide.
    matrix = np.array([[flank.side, flank.twist], [-flank.contact_shift, 1.0]])
    gash = np.linalg.solve(matrix, [-table_per_gash, height_per_gash])
    per_turn = TURN / table_per_gash
    turn = np.linalg.solve(matrix, [0.0, height_per_gash * per_turn]) + (round(per_turn) - per_turn) * gash
    table_rate = table_per_gash * hob.gashes / TURN
    form = valley(flank, hob, swivel, roll, table_rate, height_per_gash * hob.gashes / TURN)
    return Lattice(np.stack([gash, turn], axis=1), form)


def valley(
    flank: NominalFlank, hob: Hob, swivel: float, roll: float, table_rate: float, height_rate: float = 0.0
) -> Floats:
    """Second derivatives, over roll and height, of the distance at which an edge passes around its contact.

    The flank, an involute helicoid, falls away across its straight generators with the radius
    r_b·roll / cos β_b. The edge, nearly a straight line, falls away along its path: a circle around
    the hob axis on a blank that goes on turning by `table_rate` (turns per turn of the hob) and
    sinking by `height_rate` (mm per radian). Source: own derivation, from the second fundamental
    forms of both surfaces in their common tangent plane.
    """
    base, side, twist = flank.base_radius, float(flank.side), flank.twist
    across = np.array([side, twist])
    by_flank = flank.base_cosine * base * roll * np.outer(across, across)
    # The contact in the machine, the table turned so that the normal goes through the pitch point.
    c, s = math.cos(side * flank.pressure_angle), math.sin(side * flank.pressure_angle)
    radial, tangent, upright = np.array([c, s, 0.0]), np.array([-s, c, 0.0]), np.array([0.0, 0.0, 1.0])
    normal = flank.base_cosine * (-side * tangent + side * twist * base * upright)
    rise = flank.contact_shift * (roll - math.tan(flank.pressure_angle))
    contact = base * radial - side * roll * base * tangent + rise * upright
    by_roll = base * roll * radial
    by_height = twist * (base * tangent + side * base * roll * radial) + upright
    axis = np.array([0.0, math.cos(swivel), math.sin(swivel)])
    gear = flank.gear
    distance = gear.reference_diameter / 2 + gear.profile_shift * gear.module_n + hob.pitch_diameter / 2
    arm = contact - np.array([distance, 0.0, 0.0])
    arm = arm - (arm @ axis) * axis
    radius = float(np.linalg.norm(arm))
    spoke = arm / radius
    slope, bend = _edge(hob, radius)
    edge = spoke + side * slope * axis
    swung = np.cross(axis, arm)
    path = swung - table_rate * np.cross(upright, contact) + height_rate * upright
    # What the edge gains along the normal in second order, over its swing and the way along it.
    turning = np.cross(upright, np.cross(upright, contact))
    by_swing = normal @ (-arm - 2 * table_rate * np.cross(upright, swung) + table_rate**2 * turning)
    by_both = float(normal @ (np.cross(axis, edge) - table_rate * np.cross(upright, edge)))
    edge_form = np.array([[by_swing, by_both], [by_both, side * bend * float(normal @ axis)]])
    moves = np.linalg.solve(np.stack([path, edge, normal], axis=1), np.stack([by_roll, by_height], axis=1))[
        :2
    ]
    return np.asarray(by_flank + moves.T @ edge_form @ moves)


def _edge(hob: Hob, radius: float) -> tuple[float, float]:
    """Slope of the edge's place along the axis over the radius, and how fast the slope changes."""
    step = 1e-4 * hob.module_n
    _, slopes = hob.flank(radius + step * np.array([-1.0, 0.0, 1.0]))
    return float(slopes[1]), float(slopes[2] - slopes[0]) / (2 * step)
