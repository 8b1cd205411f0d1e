"""What a machine does when it is turned by hand: a check like any other that tells one fault from another."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction

from handlead.kinematics.frame.words import STILL, direction
from handlead.kinematics.slips.standing import Standing
from handlead.kinematics.slips.study import Circumstances
from handlead.kinematics.train.solution import ask_by_hand

from .inspections import Check, SetUpShown, is_not_sure


@dataclass(frozen=True)
class TurnByHand:
    """What is done by hand, and what is watched.

    `turned` ("hob" or "axial") goes by so many turns or mm, signed in the frame, these levers put over; `watched`
    ("table" or a slide) is counted in `unit`, so many of them to a turn or a mm.

    With `parted` the feed is out, as the levers have it or else its gears.
    """

    turned: str
    amount: Fraction
    watched: str
    unit: str
    units_to_one: Fraction
    parted: bool
    levers: Mapping[str, str] = field(default_factory=dict)

    def moves(self, bench: Circumstances, standing: Standing) -> Fraction | None:
        """How far what is watched goes, signed in the frame; None where nothing drives it, or levers fight."""
        put = {**standing.setup.levers, **self.levers}
        states = bench.states(put)
        if states is None:
            return None
        if not self.parted and self.turned == "hob":
            running = bench.running(standing)
            rates = running.rates if running else None
            rate = None if rates is None else getattr(rates, self.watched)
        else:
            train = bench.train.without(standing.parted) if standing.parted else bench.train
            known = {name: state for name, state in states.items() if name != standing.parted}
            asked = ask_by_hand(train.with_states(known).with_gears(standing.change), standing.setup.drive)
            rate = asked.table_per_hob if self.turned == "hob" else asked.table_per_axial
        return None if rate is None else Fraction(rate) * self.amount * self.units_to_one


@dataclass(frozen=True)
class TurnedByHand(Check):
    """A hand check of the set-up sheet: what was counted may be off by `within` of its unit."""

    turn: TurnByHand = field(kw_only=True, compare=False)
    bench: Circumstances = field(kw_only=True, compare=False, repr=False)
    within: Fraction = field(kw_only=True, default=Fraction(0))
    _known: dict[object, Fraction | None] = field(kw_only=True, default_factory=dict, compare=False, repr=False)

    def outcome(self, scene: SetUpShown) -> str:
        """What is counted if the scene is what stands there: a number with its unit and its way."""
        moved = self._moved(scene)
        if moved is None:
            return "nothing drives it"
        way = direction(self.turn.watched, 1 if moved > 0 else -1) if moved else STILL
        return f"{float(abs(moved)):.6g} {self.turn.unit} {way}"

    def outcomes(self, scene: SetUpShown) -> tuple[str, ...]:
        """The one thing that is counted."""
        return (self.outcome(scene),)

    def agrees(self, found: str, outcome: str) -> bool:
        """Whether what was counted means this outcome; the way counts where it was told."""
        if is_not_sure(found):
            return True
        number, _, way = found.partition(" ")
        size, _, rest = outcome.partition(" ")
        try:
            off = abs(float(size) - float(number))
        except ValueError:
            return not float(number)  # what nothing drives stays where it is
        still = float(number) <= self.within and float(size) <= self.within
        return off <= float(self.within) * (1 + 1e-9) and (not way or still or rest.endswith(f" {way}"))

    def _moved(self, scene: SetUpShown) -> Fraction | None:
        standing = scene.standing
        if standing.slips:
            return None
        key = standing.key
        if key not in self._known:
            self._known[key] = self.turn.moves(self.bench, standing)
        return self._known[key]

