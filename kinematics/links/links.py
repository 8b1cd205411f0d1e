"""The kinds of connection between the turning and sliding parts of a machine.

Each kind is one row of `KINDS`: its ports, its numbers, and one exact linear relation
between the rates of the parts at its ports. Nothing here solves anything.

Rates are turns of a shaft or millimetres of a slide, per unit of whatever drives the
machine. A relation is a mapping part -> coefficient; the sum of coefficient times rate
over its parts is zero. A link that passes nothing in its present state has none.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import ClassVar

from handlead.kinematics.frame.frozen import freeze
from handlead.kinematics.frame.guide import Guide
from handlead.kinematics.frame.words import Sense

from .link import PI, Link, Relation, TwoPort, positive
from .mounted import ChangeGears, SetRatio


@dataclass(frozen=True)
class GearPair(TwoPort):
    """Two gears in mesh: external ones turn oppositely, an internal pair alike, unless `sense` is given."""

    kind: ClassVar[str] = "gear pair"
    teeth: tuple[int, int]
    internal: bool = False
    sense: Sense | None = None

    def __post_init__(self) -> None:
        positive(self.name, teeth=min(self.teeth))

    @property
    def ratio(self) -> Fraction:
        """Teeth of the driving gear over teeth of the driven one, with the sense."""
        sense = self.sense or (Sense.SAME if self.internal else Sense.OPPOSITE)
        return sense.value * Fraction(*self.teeth)


@dataclass(frozen=True)
class BevelGears(TwoPort):
    """Two bevel gears, whose sense must be stated because it depends on how they face."""

    kind: ClassVar[str] = "bevel gears"
    teeth: tuple[int, int]
    sense: Sense

    def __post_init__(self) -> None:
        positive(self.name, teeth=min(self.teeth))

    @property
    def ratio(self) -> Fraction:
        """Teeth of the driving gear over teeth of the driven one, with the sense."""
        return self.sense.value * Fraction(*self.teeth)


@dataclass(frozen=True)
class WormGear(TwoPort):
    """A worm (`from_part`) that turns its wheel (`to_part`), and is never turned by it.

    `module_n` in mm, along the worm, is what errors are told by at the worm; nothing that turns depends on it.
    """

    kind: ClassVar[str] = "worm gear"
    self_locking: ClassVar[bool] = True
    starts: int
    teeth: int
    sense: Sense
    module_n: Fraction | None = None

    def __post_init__(self) -> None:
        positive(self.name, starts=self.starts, teeth=self.teeth)

    @property
    def pitch(self) -> float | None:
        """From thread to thread along the worm, in mm; None where nobody knows its module."""
        return None if self.module_n is None else math.pi * float(self.module_n)

    @property
    def ratio(self) -> Fraction:
        """Starts over teeth, with the sense."""
        return self.sense.value * Fraction(self.starts, self.teeth)


@dataclass(frozen=True)
class Belt(TwoPort):
    """A belt between pulleys, by `sizes` (diameters in mm, or teeth, driving first); crossed, it turns the sense."""

    kind: ClassVar[str] = "belt"
    sizes: tuple[Fraction, Fraction]
    crossed: bool = False
    toothed: bool = False

    def __post_init__(self) -> None:
        positive(self.name, size=min(self.sizes))

    @property
    def ratio(self) -> Fraction:
        """Size of the driving pulley or sprocket over that of the driven one, with the sense."""
        return (-1 if self.crossed else 1) * Fraction(self.sizes[0]) / Fraction(self.sizes[1])


@dataclass(frozen=True)
class Chain(Belt):
    """A chain between sprockets."""

    kind: ClassVar[str] = "chain"


@dataclass(frozen=True)
class Ratio(TwoPort):
    """A fixed ratio standing for a link under study: what a bracket would have to give."""

    kind: ClassVar[str] = "ratio"
    value: Fraction

    @property
    def ratio(self) -> Fraction:
        """`value` as it is."""
        return self.value


@dataclass(frozen=True)
class Clutch(TwoPort):
    """A clutch: `in`, both shafts turn as one; `out`, nothing passes."""

    kind: ClassVar[str] = "clutch"
    states: ClassVar[tuple[str, ...]] = ("in", "out")
    state: str = "in"

    def __post_init__(self) -> None:
        self._check(self.state)

    @property
    def ratio(self) -> Fraction | None:
        """1 when in, None when out."""
        return Fraction(1) if self.state == "in" else None

    def in_state(self, state: str) -> Clutch:
        """The clutch put `in` or `out`. Raises `ValueError` for any other state."""
        self._check(state)
        return replace(self, state=state)


@dataclass(frozen=True)
class Selector(TwoPort):
    """A reverser or range box: the ratio goes by the state, and 0 passes nothing."""

    kind: ClassVar[str] = "selector"
    ratios: Mapping[str, Fraction] = field(default_factory=dict)
    state: str = ""

    def __post_init__(self) -> None:
        freeze(self, "ratios")
        if not self.ratios:
            raise ValueError(f"link {self.name!r}: a selector needs at least one ratio")
        if self.state:
            self._check_state(self.state)

    def _check_state(self, state: str) -> None:
        if state not in self.ratios:
            known = ", ".join(self.ratios)
            raise ValueError(f"link {self.name!r} (selector) has no state {state!r}: it has {known}")

    @property
    def ratio(self) -> Fraction | None:
        """The ratio of the present state, None where it passes nothing."""
        return self.ratios.get(self.state) or None

    def in_state(self, state: str) -> Selector:
        """The selector in another of its states. Raises `ValueError` for one it doesn't have."""
        self._check_state(state)
        return replace(self, state=state)


@dataclass(frozen=True)
class Screw(TwoPort):
    """A screw (`from_part`) that moves a slide (`to_part`) by `lead` mm a turn; lead counts the starts."""

    kind: ClassVar[str] = "screw"
    lead: Fraction
    sense: Sense

    def __post_init__(self) -> None:
        positive(self.name, lead=self.lead)

    @property
    def ratio(self) -> Fraction:
        """Millimetres of slide per turn, with the sense."""
        return self.sense.value * Fraction(self.lead)


@dataclass(frozen=True)
class Rack(TwoPort):
    """A pinion (`from_part`) that moves a slide (`to_part`) by `travel` mm a turn."""

    kind: ClassVar[str] = "rack"
    travel: Fraction
    sense: Sense

    def __post_init__(self) -> None:
        positive(self.name, travel=self.travel)

    @classmethod
    def of_module(
        cls, name: str, from_part: str, to_part: str, teeth: int, module: Fraction, sense: Sense
    ) -> Rack:
        """A rack given by its pinion's teeth and module in mm; its travel holds `PI` to forty decimals."""
        return cls(name, from_part, to_part, PI * module * teeth, sense)

    @property
    def ratio(self) -> Fraction:
        """Millimetres of slide per turn, with the sense."""
        return self.sense.value * Fraction(self.travel)


@dataclass(frozen=True)
class Template(TwoPort):
    """A template on which one slide (`to_part`) is led while the other (`from_part`) moves: by points, in mm.

    Each point has the place of `from_part`, 0 where the hob stands at the middle of the face, and how far `to_part` is
    then displaced, both by the parts' own positives; see `handlead.kinematics.frame.guide` for what lies between. It is
    no linear relation: trains are solved without it, and the motions carry it. Out, it leads nothing.
    """

    kind: ClassVar[str] = "template"
    states: ClassVar[tuple[str, ...]] = ("in", "out")
    points: tuple[tuple[Fraction, Fraction], ...] = ()
    smooth: bool = False
    state: str = "in"

    def __post_init__(self) -> None:
        self._check(self.state)
        try:
            Guide("radial", "axial", self.points)
        except ValueError as fault:
            raise ValueError(f"link {self.name!r}: {fault}") from None

    @property
    def ratio(self) -> None:
        """None: what it passes isn't in proportion."""
        return

    def in_state(self, state: str) -> Template:
        """The template put `in` or `out`. Raises `ValueError` for any other state."""
        self._check(state)
        return replace(self, state=state)


@dataclass(frozen=True)
class Differential(Link):
    """An epicyclic train of two suns and a carrier: q - c = sun_ratio * (p - c).

    `sun_ratio` is the ratio of the suns with the carrier held, -1 for the plain bevel kind.
    Source: Willis's rule for epicyclic trains.
    """

    kind: ClassVar[str] = "differential"
    suns: tuple[str, str]
    carrier: str
    sun_ratio: Fraction = Fraction(-1)

    def __post_init__(self) -> None:
        if not self.sun_ratio:
            raise ValueError(f"link {self.name!r}: sun_ratio is 0, so the suns would not turn each other")
        if self.sun_ratio == 1:
            raise ValueError(f"link {self.name!r}: sun_ratio is 1, so the carrier would have no say")

    @property
    def ports(self) -> tuple[str, ...]:
        """Both suns, then the carrier."""
        return (*self.suns, self.carrier)

    def relation(self) -> Relation:
        """``sun_ratio * p - q + (1 - sun_ratio) * c = 0``."""
        p, q = self.suns
        return {p: self.sun_ratio, q: Fraction(-1), self.carrier: 1 - self.sun_ratio}


@dataclass(frozen=True)
class Brake(Link):
    """A brake or fixed member: `on`, the shaft stands still; `off`, it is free."""

    kind: ClassVar[str] = "brake"
    states: ClassVar[tuple[str, ...]] = ("on", "off")
    shaft: str
    state: str = "on"

    def __post_init__(self) -> None:
        self._check(self.state)

    @property
    def ports(self) -> tuple[str, ...]:
        """The one shaft that it holds."""
        return (self.shaft,)

    def relation(self) -> Relation | None:
        """``shaft = 0`` when on."""
        return {self.shaft: Fraction(1)} if self.state == "on" else None

    def in_state(self, state: str) -> Brake:
        """The brake put `on` or `off`. Raises `ValueError` for any other state."""
        self._check(state)
        return replace(self, state=state)


#: Every kind of link, by the name it has in machine files.
KINDS: dict[str, type[Link]] = {
    kind.kind: kind
    for kind in (
        GearPair, BevelGears, WormGear, Belt, Chain, ChangeGears, SetRatio,
        Differential, Clutch, Brake, Selector, Template, Screw, Rack,
    )
}  # fmt: skip
