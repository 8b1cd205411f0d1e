"""A change-gear bracket to scale: where its gears, collars and studs stand, and what passes what with how much air."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from handlead.kinematics.brackets.bracket import Bracket
from handlead.kinematics.brackets.mounting import Mounting, Refusal
from handlead.kinematics.links.mounted import LETTERS, Mounted

#: Places are worked out in floating point; by so much (mm) metal may touch metal that exactly clears it.
_ROUNDING = 1e-6


@dataclass(frozen=True)
class Wheel:
    """One gear: its letter ("idler" for one), where it stands and how large it is, in mm.

    `plane`, in which it meshes, counts from 1 at the driving gear, `axis` from 0 at the driving shaft;
    `planes` are all that it stands in: a wide idler reaches into those beside it. `turn` is 1 or -1: with
    the driving gear's sense or against it.
    """

    letter: str
    teeth: int
    x: float
    y: float
    pitch_radius: float
    tip_radius: float
    plane: int
    axis: int
    turn: int
    planes: tuple[int, ...]

    @property
    def called(self) -> str:
        """What the words under the drawing call it."""
        return "the idler" if self.letter == "idler" else f"gear {self.letter}"


@dataclass(frozen=True)
class Body:
    """A shaft or stud: its name, place, and the radius of its collar in mm (0 where the file gives none)."""

    name: str
    x: float
    y: float
    radius: float


@dataclass(frozen=True)
class Passing:
    """A gear that passes a shaft, stud or gear which it doesn't mesh with, and the air between, in mm.

    Not `solid` is a shaft or stud whose thickness the machine file doesn't give: the air is up to its axis.
    """

    wheel: Wheel
    what: str
    x: float
    y: float
    air: float
    solid: bool = True

    @property
    def overlaps(self) -> bool:
        """Whether it reaches over what it passes, by more than rounding."""
        return self.air < -_ROUNDING


@dataclass(frozen=True)
class BracketLayout:
    """A bracket with its gears: `refusal` says why they can't be mounted; "" where they can.

    `to_scale` is False where the machine file gives no module, `closes` where the gears don't span the
    shafts' distance and are therefore drawn in a line. `centres` are the distances from axis to axis, in mm.
    """

    wheels: tuple[Wheel, ...]
    bodies: tuple[Body, ...]
    passings: tuple[Passing, ...]
    centres: tuple[tuple[int, int, float], ...]
    refusal: str
    to_scale: bool
    closes: bool
    centres_given: bool

    @property
    def collisions(self) -> tuple[Passing, ...]:
        """Where metal would meet metal. A bare axis counts only where the bracket's measures refuse the set:
        without any it isn't known whether the shaft ends short of the gear."""
        return tuple(p for p in self.passings if p.overlaps and (p.solid or self.refusal))

    @property
    def box(self) -> tuple[float, float, float, float]:
        """x0, y0, x1, y1 round all gears."""
        return (
            min(w.x - w.tip_radius for w in self.wheels),
            min(w.y - w.tip_radius for w in self.wheels),
            max(w.x + w.tip_radius for w in self.wheels),
            max(w.y + w.tip_radius for w in self.wheels),
        )


def bracket_layout(
    mounted: Mounted, bracket: Bracket | Mapping[str, Any] | None = None, letters: str = LETTERS
) -> BracketLayout:
    """Where the gears stand, whether or not they can be mounted; `letters` name them from the driving shaft on.

    Raises `ValueError` for more idlers or pairs than can be placed at all.
    """
    keys = bracket if isinstance(bracket, Bracket) else Bracket.of(bracket or {})
    found = keys.mount(mounted.gears, mounted.idlers)
    refusal = found.why if isinstance(found, Refusal) else ""
    to_scale = keys.module is not None
    module = keys.module or Fraction(1)
    mounting, closes = _placed(replace(keys, module=module), mounted, bool(refusal))
    wheels = _wheels(mounting, float(module), float(keys.addendum), letters)
    bodies = tuple(_body(axis.name, axis.x, axis.y, keys) for axis in mounting.axes)
    return BracketLayout(
        wheels,
        bodies,
        tuple(_passings(wheels, bodies)),
        tuple(_centres(bodies, closes and mounting.centres_given)),
        refusal,
        to_scale,
        closes,
        mounting.centres_given,
    )


def _placed(bracket: Bracket, mounted: Mounted, refused: bool) -> tuple[Mounting, bool]:
    """The places of the axes; for a set that is refused, where it would stand if nothing were in its way."""
    found = (bracket.stand if refused else bracket.mount)(mounted.gears, mounted.idlers)
    if isinstance(found, Mounting):
        return found, True
    found = Bracket(module=bracket.module).stand(mounted.gears, mounted.idlers)
    if isinstance(found, Refusal):
        raise ValueError(f"gears {mounted.gears} with idlers {mounted.idlers}: {found.why}")
    return found, bracket.centres is None


def _wheels(mounting: Mounting, module: float, addendum: float, letters: str) -> tuple[Wheel, ...]:
    called = iter(letters)
    wheels: list[Wheel] = []
    for number, axis in enumerate(mounting.axes):
        assert axis.x is not None and axis.y is not None
        turn = -1 if number % 2 else 1
        idle = axis.name == _IDLE
        for plane, teeth in [(_mesh_plane(mounting, number), axis.gears[0][1])] if idle else axis.gears:
            radius = module * teeth / 2
            wheels.append(
                Wheel(
                    "idler" if idle else next(called),
                    teeth,
                    axis.x,
                    axis.y,
                    radius,
                    radius + addendum * module,
                    plane,
                    number,
                    turn,
                    tuple(each for each, _ in axis.gears) if idle else (plane,),
                )
            )
    return tuple(wheels)


_IDLE = "idler's stud"


def _mesh_plane(mounting: Mounting, number: int) -> int:
    """The plane in which an idler meshes: the one that the gears on both its sides have."""
    axes = mounting.axes
    before = next(axis for axis in axes[number::-1] if axis.name != _IDLE)
    after = next(axis for axis in axes[number:] if axis.name != _IDLE)
    (plane,) = {plane for plane, _ in before.gears} & {plane for plane, _ in after.gears}
    return plane


def _body(name: str, x: float | None, y: float | None, bracket: Bracket) -> Body:
    assert x is not None and y is not None
    kind = {"driving shaft": "driving", "driven shaft": "driven"}.get(name, "stud")
    collar = getattr(bracket, f"{kind}_collar")
    return Body(name, x, y, float(collar) / 2 if collar is not None else 0.0)


def _passings(wheels: tuple[Wheel, ...], bodies: tuple[Body, ...]) -> Iterator[Passing]:
    """Each gear against the shafts and gears that it passes; one in its plane on the next axis meshes with it."""
    for wheel in wheels:
        for number, body in enumerate(bodies):
            if number == wheel.axis:
                continue
            apart = math.dist((wheel.x, wheel.y), (body.x, body.y))
            there = [other for other in wheels if other.axis == number]
            if any(all(plane not in other.planes for other in there) for plane in wheel.planes):
                air = apart - wheel.tip_radius - body.radius
                yield Passing(wheel, f"the {body.name}", body.x, body.y, air, body.radius > 0)
            for other in there if number > wheel.axis else ():
                meshes = number == wheel.axis + 1 and wheel.plane == other.plane
                if not meshes and set(wheel.planes) & set(other.planes):
                    air = apart - wheel.tip_radius - other.tip_radius
                    yield Passing(wheel, other.called, body.x, body.y, air)


def _centres(bodies: tuple[Body, ...], with_shafts: bool) -> Iterator[tuple[int, int, float]]:
    for first, second in itertools.pairwise(range(len(bodies))):
        yield first, second, _apart(bodies, first, second)
    if with_shafts and len(bodies) > 2:
        yield 0, len(bodies) - 1, _apart(bodies, 0, len(bodies) - 1)


def _apart(bodies: tuple[Body, ...], first: int, second: int) -> float:
    return math.dist((bodies[first].x, bodies[first].y), (bodies[second].x, bodies[second].y))
