"""What can be mounted on a change-gear bracket, decided in the plane from pitch and tip radii.

Seen along the shafts, a train of change gears is a chain of axes: the driving shaft, the studs on the
swinging arm, the driven shaft. Neighbours in the chain stand as far apart as their meshing gears'
pitch radii together; the two shafts stand where the machine has them. A set can be mounted where the
chain closes, no gear touches the shaft or stud of another axis in its own plane, or a gear there that
it doesn't mesh with, and the arm reaches every stud.

Distances are counted in teeth here: twice the distance over the module. Two gears in mesh stand as
many teeth apart as they have together, so that nearly all comparisons are between whole numbers.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from typing import TYPE_CHECKING, Any

from .bracket_keys import BRACKET_KEYS, IN_MM, checked_measure
from .bracket_rules import NO_LIMIT, GearRules
from .drawer import checked_teeth
from .mounting import SHAFTS, Axis, AxisChain, Mounting, Need, Refusal, chains_of
from .placing import MOST_STUDS, PLACERS

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


@dataclass(frozen=True)
class Bracket:
    """A bracket and its limits; keys as in `BRACKET_KEYS`, lengths in mm. One without keys limits nothing.

    A gear that passes a shaft or stud is checked against that one's collar, where it is given; else by
    the rule of thumb, where `clearance` is given (a + b >= c + clearance and c + d >= b + clearance;
    source: trade rule, from memory); else, where module and centres are given, against the bare axis,
    since no gear can turn with a shaft through it. An idler's stud is a stud like any other: with no
    other measure of it, its sleeve and nut are taken to be as large as those that the rule was made for.

    Raises `TypeError` and `ValueError` for measures that no bracket can have.
    """

    module: Fraction | None = None
    centres: Fraction | None = None
    clearance: Fraction | None = None
    addendum: Fraction = Fraction(1)
    driving_collar: Fraction | None = None
    stud_collar: Fraction | None = None
    driven_collar: Fraction | None = None
    gap: Fraction = Fraction(0)
    least_sum: int | None = None
    greatest_sum: int | None = None
    slack: Fraction = Fraction(0)
    pivot: str = "driven"
    least_reach: Fraction | None = None
    greatest_reach: Fraction | None = None
    studs: int | None = None
    stud_length: Fraction | None = None
    gear_width: Fraction | None = None
    idler_width: Fraction | None = None

    @classmethod
    def of(cls, keys: Mapping[str, Any]) -> Bracket:
        """A bracket from a table of keys. Raises `ValueError` for a key that there isn't."""
        unknown = sorted(set(keys) - set(BRACKET_KEYS))
        if unknown:
            raise ValueError(f"bracket: unknown key {unknown[0]!r}; known are {', '.join(BRACKET_KEYS)}")
        return cls(**keys)

    def __post_init__(self) -> None:
        if self.pivot not in ("driving", "driven"):
            raise ValueError(f'bracket: pivot is {self.pivot!r}; it must be "driving" or "driven"')
        for key in BRACKET_KEYS:
            if key != "pivot":
                object.__setattr__(self, key, checked_measure(key, getattr(self, key)))
        for less, more in (("least_sum", "greatest_sum"), ("least_reach", "greatest_reach")):
            low, high = getattr(self, less), getattr(self, more)
            if low is not None and high is not None and low > high:
                raise ValueError(f"bracket: {less} is {low} and {more} is {high}; nothing lies between them")
        if self.module is None:
            for key in IN_MM:
                if key in ("module", "stud_length", "gear_width", "idler_width"):
                    continue
                if getattr(self, key):
                    raise ValueError(
                        f"bracket: {key} is given without module; gears can't be measured against it"
                    )
        if (
            self.stud_length is not None
            and self.gear_width is not None
            and self.stud_length < self.gear_width
        ):
            raise ValueError(
                f"bracket: stud_length is {float(self.stud_length):g} mm, less than gear_width "
                f"{float(self.gear_width):g} mm; no gear fits on a stud"
            )

    # -- measures in teeth ------------------------------------------------------------------------

    def in_teeth(self, length: Fraction) -> Fraction:
        """A distance in mm as the teeth that two gears so far apart have together."""
        assert self.module is not None
        return 2 * length / self.module

    @cached_property
    def centres_in_teeth(self) -> Fraction | None:
        """The distance between the shafts, as teeth that span it; None where it or the module isn't known."""
        return None if self.centres is None or self.module is None else self.in_teeth(self.centres)

    @cached_property
    def reach_in_teeth(self) -> tuple[Fraction, Fraction | None]:
        """The least and the greatest distance of a stud from the pivot, in teeth."""
        least = self.in_teeth(self.least_reach) if self.least_reach is not None else Fraction(0)
        return least, self.in_teeth(self.greatest_reach) if self.greatest_reach is not None else None

    @cached_property
    def _air(self) -> Fraction:
        return self.in_teeth(self.gap) if self.gap else Fraction(0)

    def _room(self, body: str, from_shaft: bool) -> Fraction | None:
        """How many teeth more than a gear has its axis must stand from a `body` that it passes; None: no limit.

        `body` is "driving", "stud" or "driven"; `from_shaft`: the gear is on the other fixed shaft.
        """
        collar: Fraction | None = getattr(self, f"{body}_collar")
        if collar is not None:
            assert self.module is not None
            return 2 * self.addendum + collar / self.module + self._air
        if self.clearance is not None and not from_shaft:
            return self.clearance
        if self.centres_in_teeth is not None:
            return 2 * self.addendum + self._air
        return None

    # -- the plain question ------------------------------------------------------------------------

    def never_takes(self, pairs: int, idlers: int) -> str | None:
        """Why no set of so many pairs and idlers can be mounted, whatever its gears; None where some may."""
        needed = pairs - 1 + idlers
        if self.studs is not None and needed > self.studs:
            return f"{needed} studs are needed and the bracket has {self.studs}"
        if needed > MOST_STUDS:
            return f"{needed} studs are needed; no more than {MOST_STUDS} are placed"
        if self.stud_length is not None:
            if pairs > 1 and self.gear_width is not None and 2 * self.gear_width > self.stud_length:
                return (
                    f"a stud is {float(self.stud_length):g} mm long and two gears side by side "
                    f"need {float(2 * self.gear_width):g} mm"
                )
            if idlers and self.idler_width is not None and self.idler_width > self.stud_length:
                return (
                    f"a stud is {float(self.stud_length):g} mm long and the idler is "
                    f"{float(self.idler_width):g} mm wide"
                )
        return None

    def mount(self, gears: Sequence[int], idlers: Sequence[int] = ()) -> Mounting | Refusal:
        """How `gears` (a, b, c, d … from the driving shaft on) and `idlers` are mounted, or why they can't be.

        An idler may stand in any of the meshes; the first place that serves is taken. With three studs
        places are tried by steps of the arm, so that a set which fits only between two steps is refused;
        with fewer studs the answer is exact. Raises `ValueError` for gears that aren't in pairs.
        """
        gears = tuple(checked_teeth(z) for z in gears)
        idlers = tuple(checked_teeth(z, "idler") for z in idlers)
        if not gears or len(gears) % 2:
            raise ValueError(f"gears are {gears}; they come in pairs, driver and driven")
        why = self.never_takes(len(gears) // 2, len(idlers))
        if why is not None:
            return Refusal(why)
        refusal = None
        for chain in chains_of(gears, idlers, self._wide_idlers):
            outcome = self._placed(chain)
            if isinstance(outcome, Mounting):
                return outcome
            refusal = refusal or outcome
        assert refusal is not None
        return refusal

    def stand(self, gears: Sequence[int], idlers: Sequence[int] = ()) -> Mounting | Refusal:
        """Where `gears` and `idlers` would stand if nothing were in their way: for a drawing of what is refused.

        Only the centres count, and the idlers stand in the first mesh: where the refusal of `mount` is made out.
        A refusal says that the gears can't span the centres.
        """
        free = Bracket(
            module=self.module,
            centres=self.centres,
            slack=self.slack,
            pivot=self.pivot,
            gear_width=self.gear_width,
            idler_width=self.idler_width,
        )
        why = free.never_takes(len(gears) // 2, len(idlers))
        if why is not None:
            return Refusal(why)
        chain = next(chains_of(tuple(gears), tuple(idlers), free._wide_idlers))
        nothing = Need(Fraction(0), "", "")
        needs = dict.fromkeys(itertools.combinations(range(len(chain.axes)), 2), nothing)
        points = PLACERS[len(chain.axes) - 2](free, chain, needs)
        return points if isinstance(points, Refusal) else free._mounting(chain, points)

    @property
    def _wide_idlers(self) -> bool:
        return (
            self.idler_width is not None
            and self.gear_width is not None
            and self.idler_width > self.gear_width
        )

    # -- one chain of axes -------------------------------------------------------------------------

    def _placed(self, chain: AxisChain) -> Mounting | Refusal:
        """Where the axes of `chain` stand, or the first thing in their way."""
        for sum_, (one, other) in zip(chain.sums, chain.meshes, strict=True):
            if self.least_sum is not None and sum_ < self.least_sum:
                return Refusal(
                    f"{one} + {other} = {sum_} teeth in mesh, and {self.least_sum} is the least that meets"
                )
            if self.greatest_sum is not None and sum_ > self.greatest_sum:
                return Refusal(
                    f"{one} + {other} = {sum_} teeth in mesh, and there is room for {self.greatest_sum}"
                )
        last = len(chain.axes) - 1
        known = {(i, i + 1): Fraction(sum_) for i, sum_ in enumerate(chain.sums)}
        if self.centres_in_teeth is not None and last > 1:
            known[0, last] = self.centres_in_teeth
        needs: dict[tuple[int, int], Need] = {}
        for pair, distance in known.items():
            need = needs[pair] = self._need(chain, *pair)
            if need.teeth > distance:
                return Refusal(need.says(self, distance))
        reach = self._out_of_reach(chain)
        if reach is not None:
            return Refusal(reach)
        # Most sets are refused before this: what is left of the distances is reckoned only now.
        for pair in itertools.combinations(range(last + 1), 2):
            if pair not in needs:
                needs[pair] = self._need(chain, *pair)
        points = PLACERS[last - 1](self, chain, needs)
        return points if isinstance(points, Refusal) else self._mounting(chain, points)

    def _need(self, chain: AxisChain, i: int, j: int) -> Need:
        """How far apart axes `i` and `j` must stand, and because of what."""
        first, second = chain.axes[i], chain.axes[j]
        need = Need(Fraction(0), "", "")
        for one, other in ((first, second), (second, first)):
            planes = dict(other.gears)
            from_shaft = one.name in SHAFTS and other.name in SHAFTS
            room = self._rooms[SHAFTS.get(other.name, "stud"), from_shaft]
            for plane, teeth in one.gears:
                meets = planes.get(plane)
                if meets is None:
                    if room is not None and teeth + room > need.teeth:
                        need = Need(teeth + room, str(teeth), f"the {other.name}")
                elif one is first and (j != i + 1 or plane != chain.planes[i]):
                    apart = teeth + meets + 4 * self.addendum + self._air
                    if apart > need.teeth:
                        need = Need(apart, str(teeth), f"gear {meets}")
        return need

    @cached_property
    def _rooms(self) -> Mapping[tuple[str, bool], Fraction | None]:
        """`_room` for every kind of body."""
        kinds = itertools.product(("driving", "stud", "driven"), (False, True))
        return {kind: self._room(*kind) for kind in kinds}

    def _out_of_reach(self, chain: AxisChain) -> str | None:
        """Why the stud next to the pivot lies outside the slot, where it does."""
        if len(chain.axes) == 2:
            return None
        beside = chain.sums[0] if self.pivot == "driving" else chain.sums[-1]
        return self.reach_complaint(Fraction(beside))

    def reach_complaint(self, distance: Fraction) -> str | None:
        """Why a stud so many teeth from the pivot lies outside the slot, where it does."""
        least, greatest = self.reach_in_teeth
        stands = f"the stud would stand {self.mm(distance)} from the {self.pivot} shaft"
        if distance < least:
            return f"{stands}; the slot begins at {self.mm(least)}"
        if greatest is not None and distance > greatest:
            return f"{stands}; the slot ends at {self.mm(greatest)}"
        return None

    def mm(self, teeth: Fraction | float) -> str:
        """A distance in teeth in words: in mm, or in modules where the module isn't known."""
        if self.module is None:
            return f"{float(teeth) / 2:g} modules"
        return f"{float(teeth) * float(self.module) / 2:.4g} mm"

    def _mounting(self, chain: AxisChain, points: Sequence[tuple[float, float]]) -> Mounting:
        scale = None if self.module is None else float(self.module) / 2
        axes = tuple(
            Axis(axis.name, axis.gears, *((x * scale, y * scale) if scale is not None else (None, None)))
            for axis, (x, y) in zip(chain.axes, points, strict=True)
        )
        return Mounting(axes, None if scale is None else points[-1][0] * scale, self.centres_in_teeth is not None)

    # -- many sets at once, for searching ------------------------------------------------------------

    def may_take(
        self,
        drivers: NDArray[np.int16],
        driven: NDArray[np.int16],
        orders: Sequence[tuple[tuple[int, ...], tuple[int, ...]]],
        idlers: int,
        largest_idler: int = 0,
    ) -> NDArray[np.bool_]:
        """Which of many sets might be mounted: a row a set, a column an order of its gears.

        False is certain, as long as no idler has more teeth than `largest_idler`; True is for `mount` to
        confirm. `drivers` and `driven` have a row a set;
        an order gives the columns of drivers and of driven gears from the driving shaft on.
        """
        import numpy as np

        every = self.rules(drivers.shape[1], idlers, largest_idler)
        may = np.zeros((len(drivers), len(orders)), dtype=bool)
        for column, (tops, bottoms) in enumerate(orders):
            gears = [z for i, j in zip(tops, bottoms, strict=True) for z in (drivers[:, i], driven[:, j])]
            for rules in every:
                may[:, column] |= rules.allow(gears)
        return may

    def rules(self, pairs: int, idlers: int = 0, largest_idler: int = 0) -> tuple[GearRules, ...]:
        """Limits on the gears of a set of so many pairs; a set that can be mounted keeps one of them at least.

        There is one for every way to spread the idlers, of `largest_idler` teeth at most, over the meshes.
        """
        spreads = itertools.product(range(idlers + 1), repeat=pairs)
        return tuple(self._rules(each, largest_idler) for each in spreads if sum(each) == idlers)

    def _rules(self, idle: tuple[int, ...], largest: int) -> GearRules:
        """The limits where mesh m holds ``idle[m]`` idlers of `largest` teeth or fewer."""
        pairs, fixed = len(idle), self.centres_in_teeth
        stretch = 2 * largest * sum(idle)
        if pairs == 1:
            low, high = self._sum_of_one_pair(idle[0], stretch)
            return GearRules(1, (low,), (high,), (), (), None, None)
        sums_low, sums_high = self._sums(idle)
        passes = [
            (pair, gear, room - 2 * largest * idle[pair])
            for pair, gear, room in self._passes(pairs)
            if room > NO_LIMIT
        ]
        rooms = [(0, self._room("driven", True)), (2 * pairs - 1, self._room("driving", True))]
        shaft_limits = [
            (gear, math.floor(fixed - room)) for gear, room in rooms if fixed is not None and room is not None
        ]
        return GearRules(
            pairs,
            sums_low,
            sums_high,
            tuple(passes),
            tuple(shaft_limits),
            None if fixed is None else math.floor(fixed) + stretch,
            None if fixed is None else math.ceil(fixed) - stretch,
        )

    def _sum_of_one_pair(self, idlers: int, stretch: int) -> tuple[int, int]:
        """The least and the greatest sum of teeth of one pair from shaft to shaft, idlers adding `stretch` at most."""
        fixed = self.centres_in_teeth
        low, high = (0, 10**6) if idlers else (self.least_sum or 0, self.greatest_sum or 10**6)
        if fixed is None:
            return low, high
        if idlers:
            # Driver and driven gear stand in one plane and must pass each other.
            return max(low, math.ceil(fixed) - stretch), math.floor(fixed - 4 * self.addendum - self._air)
        slack = self.in_teeth(self.slack)
        return max(low, math.ceil(fixed - slack)), min(high, math.floor(fixed + slack))

    def _sums(self, idle: tuple[int, ...]) -> tuple[tuple[int, ...], tuple[int, ...]]:
        """The least and the greatest sums of teeth of several pairs, the one at the pivot within the arm's reach."""
        low = [0 if n else self.least_sum or 0 for n in idle]
        high = [10**6 if n else self.greatest_sum or 10**6 for n in idle]
        beside = 0 if self.pivot == "driving" else len(idle) - 1
        least, greatest = self.reach_in_teeth
        if not idle[beside]:
            low[beside] = max(low[beside], math.ceil(least))
            if greatest is not None:
                high[beside] = min(high[beside], math.floor(greatest))
        return tuple(low), tuple(high)

    def _passes(self, pairs: int) -> Iterator[tuple[int, int, int]]:
        """For every gear on a stud: the pair beside which it stands, its number (a is 0), and its room there."""
        for pair in range(pairs):
            left, right = ("driving" if pair == 0 else "stud"), ("driven" if pair == pairs - 1 else "stud")
            if pair + 1 < pairs:
                yield pair, 2 * pair + 2, self._whole_room(left)
            if pair > 0:
                yield pair, 2 * pair - 1, self._whole_room(right)

    def _whole_room(self, body: str) -> int:
        room = self._room(body, False)
        return NO_LIMIT if room is None else math.ceil(room)
