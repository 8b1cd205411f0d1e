"""How a picture talks in one shop: the units of the job's own file, and what its machine calls the frame's ways."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from handlead.kinematics.frame.words import direction
from handlead.kinematics.gears.gear import MM_PER_INCH

if TYPE_CHECKING:
    from handlead.machines.setups.case import Case


@dataclass(frozen=True)
class Shop:
    """`units` of all lengths, "mm" or "in"; `way` names the positive (1) or negative (-1) way of an end."""

    units: str = "mm"
    way: Callable[[str, int], str] = direction

    @classmethod
    def of(cls, case: Case) -> Shop:
        """The shop that a case comes from."""
        return cls(case.job.units, case.job.machine.way)

    @property
    def up(self) -> str:
        """What is up on a drawing where the machine has its own word for it; "" where up is up."""
        word = self.way("axial", 1)
        return "" if word == "up" else word

    def sized(self, mm: float) -> float:
        """A length as a number in these units."""
        return mm / float(MM_PER_INCH) if self.units == "in" else mm

    def placed(self, end: str, told: str, sign: int) -> str:
        """Where a slide stands that is `told` to the positive (1) or negative (-1) side of its zero, or at it (0).

        The axial one's is the lower face of the work, the tangential one's the middle of the hob, the radial one's
        full depth.
        """
        if end == "radial":
            return f"{told} {'short of' if sign > 0 else 'beyond'} full depth" if sign else "full depth"
        way = self.way(end, sign or 1)
        if end == "tangential":
            return f"{told} {f'to the {way}' if way in ('right', 'left') else way}" if sign else "the middle"
        face = f"the work's face {self.way('axial', -1)}" if self.up else "the lower face of the work"
        if not sign:
            return face
        return f"{told} {f'{way} of' if self.up else 'over' if sign > 0 else 'under'} {face}"

    @property
    def fine(self) -> tuple[str, float]:
        """What deviations of a flank are told in, and how many µm it has: µm, or ten-thousandths of an inch."""
        return ("0.0001 in", float(MM_PER_INCH) / 10) if self.units == "in" else ("µm", 1.0)


#: The frame's own words, and millimetres.
PLAIN = Shop()
