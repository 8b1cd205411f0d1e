"""A set on its bracket: the chain of its axes, how far apart they must stand, and where they do."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from .bracket import Bracket


@dataclass(frozen=True)
class Axis:
    """One axis of a mounted set: a shaft or a stud, the gears on it, and where it stands.

    `gears` pairs the plane, counted from 1 at the driving gear, with the teeth. `x` and `y` are in mm,
    the driving shaft at 0, 0 and the driven shaft on the x axis; None where the module isn't known.
    """

    name: str
    gears: tuple[tuple[int, int], ...]
    x: float | None = None
    y: float | None = None


@dataclass(frozen=True)
class Mounting:
    """A way to mount a set: every axis from the driving shaft to the driven one.

    `centres` is the distance between the shafts in mm; where the bracket doesn't give it,
    `centres_given` is False and the axes are drawn in a line.
    """

    axes: tuple[Axis, ...]
    centres: float | None
    centres_given: bool

    @property
    def studs(self) -> tuple[Axis, ...]:
        """The studs, from the driving side on."""
        return self.axes[1:-1]


@dataclass(frozen=True)
class Refusal:
    """Why a set can't be mounted, in the trade's words."""

    why: str


SHAFTS = {"driving shaft": "driving", "driven shaft": "driven"}


@dataclass(frozen=True)
class _ChainedAxis:
    name: str
    gears: tuple[tuple[int, int], ...]


@dataclass(frozen=True)
class AxisChain:
    """Axes in order, and for each mesh between neighbours its two gears and its plane."""

    axes: tuple[_ChainedAxis, ...]
    meshes: tuple[tuple[int, int], ...]
    planes: tuple[int, ...]

    @property
    def sums(self) -> tuple[int, ...]:
        """The teeth in mesh between neighbours, from the driving shaft on."""
        return tuple(one + other for one, other in self.meshes)


@dataclass(frozen=True)
class Need:
    """A least distance, in teeth, of the axis of gear `gear` from `body`."""

    teeth: Fraction
    gear: str
    body: str

    def says(self, bracket: Bracket, distance: Fraction | float) -> str:
        """The refusal of axes that stand `distance` apart, in teeth."""
        return (
            f"{self.gear} fouls {self.body}: it needs {bracket.mm(self.teeth)} between the axes "
            f"and has {bracket.mm(distance)}"
        )


def chains_of(gears: tuple[int, ...], idlers: tuple[int, ...], wide: bool) -> Iterator[AxisChain]:
    """The chains of axes for every place of the idlers, different ones only."""
    pairs = len(gears) // 2
    seen = set()
    for arrangement in dict.fromkeys(itertools.permutations(idlers)):
        for places in itertools.combinations_with_replacement(range(pairs), len(idlers)):
            by_mesh = tuple(
                tuple(z for z, place in zip(arrangement, places, strict=True) if place == mesh)
                for mesh in range(pairs)
            )
            if by_mesh not in seen:
                seen.add(by_mesh)
                yield _chain(gears, by_mesh, wide)


def _chain(gears: tuple[int, ...], by_mesh: tuple[tuple[int, ...], ...], wide: bool) -> AxisChain:
    pairs = len(gears) // 2
    axes = [_ChainedAxis("driving shaft", ((1, gears[0]),))]
    meshes: list[tuple[int, int]] = []
    planes: list[int] = []
    for mesh in range(pairs):
        plane, before = mesh + 1, gears[2 * mesh]
        for idler in by_mesh[mesh]:
            spans = range(max(1, plane - 1), min(pairs, plane + 1) + 1) if wide else range(plane, plane + 1)
            axes.append(_ChainedAxis("idler's stud", tuple((p, idler) for p in spans)))
            meshes.append((before, idler))
            planes.append(plane)
            before = idler
        meshes.append((before, gears[2 * mesh + 1]))
        planes.append(plane)
        if mesh + 1 < pairs:
            name = "stud" if pairs == 2 else ("first stud", "second stud")[mesh]
            axes.append(_ChainedAxis(name, ((plane, gears[2 * mesh + 1]), (plane + 1, gears[2 * mesh + 2]))))
        else:
            axes.append(_ChainedAxis("driven shaft", ((plane, gears[-1]),)))
    return AxisChain(tuple(axes), tuple(meshes), tuple(planes))
