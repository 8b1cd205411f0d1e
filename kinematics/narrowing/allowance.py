"""How long a search may go on, counted in branches and never in seconds: the same on every machine."""

from __future__ import annotations

from dataclasses import dataclass


class OutOfAllowance(Exception):
    """The search has used up its allowance: nothing is proved."""


@dataclass
class Allowance:
    """How many branches a search may still take."""

    left: int

    def use(self) -> None:
        """Take one. Raises `OutOfAllowance` when there is none."""
        if self.left <= 0:
            raise OutOfAllowance
        self.left -= 1
