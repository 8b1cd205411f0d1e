"""A connection between turning and sliding parts: its ports, and one exact linear relation between their rates.

Rates are turns of a shaft or millimetres of a slide, per unit of whatever drives the machine. A relation is a
mapping part -> coefficient; the sum of coefficient times rate over its parts is zero. A link that passes nothing
in its present state has none.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import ClassVar

from handlead.kinematics.frame.exact import pi_to

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


def positive(link: str, **values: Fraction | int) -> None:
    """Raise `ValueError` for a number of a link that isn't above nought."""
    for name, value in values.items():
        if not value > 0:
            raise ValueError(f"link {link!r}: {name} is {value}; it must be greater than 0")
