"""The kinds of connection between the turning and sliding parts of a machine.

Each kind is one row of `KINDS`: its ports, its numbers, and one exact linear relation
between the rates of the parts at its ports. Nothing here solves anything.

Rates are turns of a shaft or millimetres of a slide, per unit of whatever drives the
machine. A relation is a mapping part -> coefficient; the sum of coefficient times rate
over its parts is zero. A link that passes nothing in its present state has none.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import Any, ClassVar

from handlead.kinematics.frame.exact import pi_to
from handlead.kinematics.frame.frozen import freeze
from handlead.kinematics.frame.guide import Guide
from handlead.kinematics.frame.words import Sense

Relation = Mapping[str, Fraction]

#: The circle constant to forty decimals, for a rack given by teeth and module: its travel per
#: turn is irrational, so that the exact solution holds this fraction in place of the constant.
PI = pi_to(40)


@dataclass(frozen=True)
class Link:
    """A connection between parts, by name; `state` is where a lever has put it, if it has states."""

    kind: ClassVar[str]
    states: ClassVar[tuple[str, ...]] = ()
    #: True where the part named `to` can't drive the part named `from`.
    self_locking: ClassVar[bool] = False

    name: str

    @property
    def ports(self) -> tuple[str, ...]:
        """The parts that the link joins, the driving one first where the kind knows one."""
        raise NotImplementedError

    def relation(self) -> Relation | None:
        """The relation between the ports' rates in the present state; None if nothing passes."""
        raise NotImplementedError

    def in_state(self, state: str) -> Link:
        """The same link after a lever has put it into `state`.

        Raises `ValueError` if this kind has no such state.
        """
        raise ValueError(f"link {self.name!r} ({self.kind}) has no states, so it can't be put in {state!r}")

    def _check(self, state: str) -> None:
        if state not in self.states:
            known = ", ".join(self.states)
            raise ValueError(f"link {self.name!r} ({self.kind}) has no state {state!r}: it has {known}")


@dataclass(frozen=True)
class TwoPort(Link):
    """A link whose `to_part` turns (or slides) `ratio` times as much as its `from_part`."""

    from_part: str
    to_part: str

    @property
    def ports(self) -> tuple[str, ...]:
        """`from_part`, then `to_part`."""
        return (self.from_part, self.to_part)

    @property
    def ratio(self) -> Fraction | None:
        """Rate of `to_part` over rate of `from_part`, signed; None if nothing passes."""
        raise NotImplementedError

    def relation(self) -> Relation | None:
        """``ratio * from - to = 0``."""
        ratio = self.ratio
        if not ratio:
            return None
        return {self.from_part: ratio, self.to_part: Fraction(-1)}


def _positive(link: str, **values: Fraction | int) -> None:
    for name, value in values.items():
        if not value > 0:
            raise ValueError(f"link {link!r}: {name} is {value}; it must be greater than 0")


@dataclass(frozen=True)
class GearPair(TwoPort):
    """Two gears in mesh: external ones turn oppositely, an internal pair alike, unless `sense` is given."""

    kind: ClassVar[str] = "gear pair"
    teeth: tuple[int, int]
    internal: bool = False
    sense: Sense | None = None

    def __post_init__(self) -> None:
        _positive(self.name, teeth=min(self.teeth))

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
        _positive(self.name, teeth=min(self.teeth))

    @property
    def ratio(self) -> Fraction:
        """Teeth of the driving gear over teeth of the driven one, with the sense."""
        return self.sense.value * Fraction(*self.teeth)


@dataclass(frozen=True)
class WormGear(TwoPort):
    """A worm (`from_part`) that turns its wheel (`to_part`), and is never turned by it."""

    kind: ClassVar[str] = "worm gear"
    self_locking: ClassVar[bool] = True
    starts: int
    teeth: int
    sense: Sense

    def __post_init__(self) -> None:
        _positive(self.name, starts=self.starts, teeth=self.teeth)

    @property
    def ratio(self) -> Fraction:
        """Starts over teeth, with the sense."""
        return self.sense.value * Fraction(self.starts, self.teeth)


@dataclass(frozen=True)
class Belt(TwoPort):
    """A belt between pulleys, by `sizes` (diameters or teeth, driving first); crossed, it turns the sense."""

    kind: ClassVar[str] = "belt"
    sizes: tuple[Fraction, Fraction]
    crossed: bool = False

    def __post_init__(self) -> None:
        _positive(self.name, size=min(self.sizes))

    @property
    def ratio(self) -> Fraction:
        """Size of the driving pulley or sprocket over that of the driven one, with the sense."""
        return (-1 if self.crossed else 1) * Fraction(self.sizes[0]) / Fraction(self.sizes[1])


@dataclass(frozen=True)
class Chain(Belt):
    """A chain between sprockets."""

    kind: ClassVar[str] = "chain"


@dataclass(frozen=True)
class Mounted:
    """What lies in a change-gear bracket: `gears` a b c d from the driving shaft on, and `idlers`.

    ``(a, b, c, d)`` is a/b times c/d: a on the driving shaft, d on the driven one.
    """

    gears: tuple[int, ...]
    idlers: tuple[int, ...] = ()

    def __post_init__(self) -> None:
        freeze(self, "gears", "idlers")
        every = self.every
        if not all(isinstance(teeth, int) for teeth in every):
            raise ValueError(f"gears {self.gears}, idlers {self.idlers}: teeth are whole numbers")
        if not self.gears or len(self.gears) % 2:
            raise ValueError(f"gears {self.gears}: a bracket takes drivers and driven in pairs, a/b c/d")
        if any(teeth < 1 for teeth in every):
            raise ValueError(f"gears {self.gears}, idlers {self.idlers}: a gear has one tooth at least")

    def __str__(self) -> str:
        """As people write it: ``24/58 · 48/40``, with the idlers behind."""
        return self.pairs_text + "".join(f" + idler {teeth}" for teeth in self.idlers)

    @property
    def pairs_text(self) -> str:
        """The gears alone: ``24/58 · 48/40``."""
        return " · ".join(f"{driver}/{driven}" for driver, driven in self.pairs)

    @property
    def spoken(self) -> str:
        """In a sentence: ``24/58 · 48/40 with idler 35``."""
        return self.pairs_text + (f" with idler {', '.join(map(str, self.idlers))}" if self.idlers else "")

    @property
    def without_idler(self) -> str:
        """``, no idler`` where it has none, to be said behind the gears; "" where it has."""
        return "" if self.idlers else ", no idler"

    @property
    def every(self) -> tuple[int, ...]:
        """All that is out of the drawer: gears and idlers."""
        return (*self.gears, *self.idlers)

    def exchanged(self, one: int, other: int) -> Mounted:
        """With the gears at two places on each other's shafts."""
        gears = list(self.gears)
        gears[one], gears[other] = gears[other], gears[one]
        return replace(self, gears=tuple(gears))

    def turned_round(self) -> Mounted:
        """End for end: drivers and driven gears exchanged."""
        return replace(self, gears=self.gears[::-1])

    def with_gear(self, place: int, teeth: int) -> Mounted:
        """With another gear at a place."""
        return replace(self, gears=(*self.gears[:place], teeth, *self.gears[place + 1 :]))

    @property
    def pairs(self) -> tuple[tuple[int, int], ...]:
        """The meshing pairs, driver first."""
        return tuple(zip(self.gears[::2], self.gears[1::2], strict=True))

    @property
    def size(self) -> Fraction:
        """Product of the drivers over product of the driven gears, without sign."""
        size = Fraction(1)
        for driver, driven in self.pairs:
            size *= Fraction(driver, driven)
        return size

    @property
    def ratio(self) -> Fraction:
        """The size with its sign: every mesh and every idler turns the sense over once."""
        return -self.size if (len(self.pairs) + len(self.idlers)) % 2 else self.size


@dataclass(frozen=True)
class ChangeGears(TwoPort):
    """A bracket for change gears; with nothing mounted it passes nothing.

    `pairs` and `idlers` are the numbers of pairs and of idlers that the bracket takes. `bracket`
    holds the measures that decide what can be mounted, as `handlead.kinematics.bracket` reads them.
    """

    kind: ClassVar[str] = "change gears"
    pairs: tuple[int, ...] = (1, 2)
    idlers: tuple[int, ...] = (0, 1)
    bracket: Mapping[str, Any] | None = None
    mounted: Mounted | None = None

    def __post_init__(self) -> None:
        freeze(self, "bracket")

    @property
    def ratio(self) -> Fraction | None:
        """The ratio of what is mounted, signed; None for an empty bracket."""
        return self.mounted.ratio if self.mounted else None

    def with_gears(self, mounted: Mounted | None) -> ChangeGears:
        """The same bracket with these gears in it (None empties it)."""
        return replace(self, mounted=mounted)


@dataclass(frozen=True)
class Dialled(Mounted):
    """A ratio that is entered where it is made without gears: numerator over denominator, as one pair.

    As with a pair of gears the driven side turns against the driving one; the plus sign is held as an idler of one
    tooth, so that all that is asked of gears may be asked of it. Nothing of it lies in a drawer.
    """

    @classmethod
    def of(cls, ratio: Fraction) -> Dialled:
        """This ratio, signed. Raises `ValueError` for 0, which would pass nothing."""
        return cls((abs(ratio.numerator), ratio.denominator), _PLUS if ratio > 0 else ())

    def __str__(self) -> str:
        """As it is entered: ``24/29`` or ``-24/29``."""
        return f"{'' if self.idlers else '-'}{self.gears[0]}/{self.gears[1]}"

    @property
    def pairs_text(self) -> str:
        """As it is entered."""
        return str(self)

    @property
    def spoken(self) -> str:
        """As it is entered."""
        return str(self)

    @property
    def without_idler(self) -> str:
        """Nothing to be said: its sign tells all."""
        return ""

    @property
    def every(self) -> tuple[int, ...]:
        """Nothing: it takes no gear."""
        return ()


#: What stands for the plus sign of a ratio that is entered.
_PLUS = (1,)


@dataclass(frozen=True)
class SetRatio(ChangeGears):
    """A link whose ratio is entered, as of a machine that was rebuilt: any fraction with both numbers up to `largest`.

    To all that looks for ratios it is a bracket that takes one pair, of any numbers, out of no drawer.
    """

    kind: ClassVar[str] = "set ratio"
    pairs: tuple[int, ...] = (1,)
    idlers: tuple[int, ...] = (0, 1)
    largest: int = 9999

    def __post_init__(self) -> None:
        super().__post_init__()
        _positive(self.name, largest=self.largest)

    def takes(self, mounted: Mounted) -> bool:
        """Whether both numbers can be entered."""
        return max(mounted.gears) <= self.largest

    def with_gears(self, mounted: Mounted | None) -> SetRatio:
        """With this ratio entered (None: none is)."""
        entered = mounted and (mounted if isinstance(mounted, Dialled) else Dialled.of(mounted.ratio))
        return replace(self, mounted=entered)


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
        _positive(self.name, lead=self.lead)

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
        _positive(self.name, travel=self.travel)

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
