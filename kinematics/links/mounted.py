"""Links whose ratio is set for a job: change gears on a bracket, and ratios that are dialled."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any, ClassVar

from handlead.kinematics.frame.frozen import freeze

from .link import TwoPort, positive

#: What the gears of a bracket are called, from the driving shaft on; k is left to the hob's starts.
LETTERS = "abcdefghijlmnopqrstuvwxyz"


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
        positive(self.name, largest=self.largest)

    def takes(self, mounted: Mounted) -> bool:
        """Whether both numbers can be entered."""
        return max(mounted.gears) <= self.largest

    def with_gears(self, mounted: Mounted | None) -> SetRatio:
        """With this ratio entered (None: none is)."""
        entered = mounted and (mounted if isinstance(mounted, Dialled) else Dialled.of(mounted.ratio))
        return replace(self, mounted=entered)
