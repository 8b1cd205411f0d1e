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

from .drawer import checked_teeth

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

#: Keys of a bracket: what each means, and its unit. Every one may be left out, and then limits nothing.
BRACKET_KEYS: dict[str, tuple[str, str]] = {
    "module": ("module of the change gears", "mm"),
    "centres": ("distance between the driving and the driven shaft, both fixed", "mm"),
    "clearance": (
        "rule of thumb for shafts and studs whose collars aren't given: a gear clears the shaft or stud "
        "next to its own where the pair in mesh between them has at least the gear's own teeth and so many more",
        "teeth",
    ),
    "addendum": ("height of the gears' teeth above the pitch circle, in modules; 1 unless given", "modules"),
    "driving_collar": ("diameter of the collar or nut on the driving shaft", "mm"),
    "stud_collar": ("diameter of the collar or nut on a stud", "mm"),
    "driven_collar": ("diameter of the collar or nut on the driven shaft", "mm"),
    "gap": ("air left between a gear's tips and whatever it passes", "mm"),
    "least_sum": ("least number of teeth that two gears in mesh have together", "teeth"),
    "greatest_sum": ("greatest number of teeth that two gears in mesh have together", "teeth"),
    "slack": ("how far a single pair may miss the centres, either way", "mm"),
    "pivot": ('the shaft about which the arm swings, "driving" or "driven" (driven unless given)', "word"),
    "least_reach": ("least distance of a stud from the pivot, along the arm's slot", "mm"),
    "greatest_reach": ("greatest distance of a stud from the pivot, along the arm's slot", "mm"),
    "studs": ("how many studs there are", "count"),
    "stud_length": ("length of a stud that gears can stand on", "mm"),
    "gear_width": ("width of a gear with its spacer", "mm"),
    "idler_width": ("width of an idler; one wider than a gear stands in its neighbours' planes too", "mm"),
}

_LENGTHS = tuple(key for key, (_, unit) in BRACKET_KEYS.items() if unit == "mm")
_COUNTS = tuple(key for key, (_, unit) in BRACKET_KEYS.items() if unit in ("teeth", "count"))
_MAY_BE_ZERO = frozenset({"clearance", "gap", "slack", "studs", "addendum"})


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
                self._check_number(key)
        for less, more in (("least_sum", "greatest_sum"), ("least_reach", "greatest_reach")):
            low, high = getattr(self, less), getattr(self, more)
            if low is not None and high is not None and low > high:
                raise ValueError(f"bracket: {less} is {low} and {more} is {high}; nothing lies between them")
        if self.module is None:
            for key in _LENGTHS:
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

    def _check_number(self, key: str) -> None:
        value = getattr(self, key)
        if value is None:
            return
        if isinstance(value, bool) or not isinstance(value, (int, Fraction)):
            raise TypeError(f"bracket: {key} is {value!r}; give a whole number or a Fraction")
        if key in _COUNTS and key != "clearance" and Fraction(value).denominator != 1:
            raise ValueError(f"bracket: {key} is {value}; it must be a whole number")
        if value < 0 or (value == 0 and key not in _MAY_BE_ZERO):
            right = "0 or more" if key in _MAY_BE_ZERO else "above 0"
            raise ValueError(f"bracket: {key} is {value}; it must be {right}")
        object.__setattr__(
            self, key, int(value) if key in _COUNTS and key != "clearance" else Fraction(value)
        )

    # -- measures in teeth ------------------------------------------------------------------------

    def in_teeth(self, length: Fraction) -> Fraction:
        """A distance in mm as the teeth that two gears so far apart have together."""
        assert self.module is not None
        return 2 * length / self.module

    @cached_property
    def _centres(self) -> Fraction | None:
        return None if self.centres is None or self.module is None else self.in_teeth(self.centres)

    @cached_property
    def _reach(self) -> tuple[Fraction, Fraction | None]:
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
        if self._centres is not None:
            return 2 * self.addendum + self._air
        return None

    # -- the plain question ------------------------------------------------------------------------

    def never_takes(self, pairs: int, idlers: int) -> str | None:
        """Why no set of so many pairs and idlers can be mounted, whatever its gears; None where some may."""
        needed = pairs - 1 + idlers
        if self.studs is not None and needed > self.studs:
            return f"{needed} studs are needed and the bracket has {self.studs}"
        if needed > _MOST_STUDS:
            return f"{needed} studs are needed; no more than {_MOST_STUDS} are placed"
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
        for chain in _chains(gears, idlers, self._wide_idlers):
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
        chain = next(_chains(tuple(gears), tuple(idlers), free._wide_idlers))
        nothing = _Need(Fraction(0), "", "")
        needs = dict.fromkeys(itertools.combinations(range(len(chain.axes)), 2), nothing)
        points = _PLACERS[len(chain.axes) - 2](free, chain, needs)
        return points if isinstance(points, Refusal) else free._mounting(chain, points)

    @property
    def _wide_idlers(self) -> bool:
        return (
            self.idler_width is not None
            and self.gear_width is not None
            and self.idler_width > self.gear_width
        )

    # -- one chain of axes -------------------------------------------------------------------------

    def _placed(self, chain: _Chain) -> Mounting | Refusal:
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
        if self._centres is not None and last > 1:
            known[0, last] = self._centres
        needs: dict[tuple[int, int], _Need] = {}
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
        points = _PLACERS[last - 1](self, chain, needs)
        return points if isinstance(points, Refusal) else self._mounting(chain, points)

    def _need(self, chain: _Chain, i: int, j: int) -> _Need:
        """How far apart axes `i` and `j` must stand, and because of what."""
        first, second = chain.axes[i], chain.axes[j]
        need = _Need(Fraction(0), "", "")
        for one, other in ((first, second), (second, first)):
            planes = dict(other.gears)
            from_shaft = one.name in _SHAFTS and other.name in _SHAFTS
            room = self._rooms[_SHAFTS.get(other.name, "stud"), from_shaft]
            for plane, teeth in one.gears:
                meets = planes.get(plane)
                if meets is None:
                    if room is not None and teeth + room > need.teeth:
                        need = _Need(teeth + room, str(teeth), f"the {other.name}")
                elif one is first and (j != i + 1 or plane != chain.planes[i]):
                    apart = teeth + meets + 4 * self.addendum + self._air
                    if apart > need.teeth:
                        need = _Need(apart, str(teeth), f"gear {meets}")
        return need

    @cached_property
    def _rooms(self) -> Mapping[tuple[str, bool], Fraction | None]:
        """`_room` for every kind of body."""
        kinds = itertools.product(("driving", "stud", "driven"), (False, True))
        return {kind: self._room(*kind) for kind in kinds}

    def _out_of_reach(self, chain: _Chain) -> str | None:
        """Why the stud next to the pivot lies outside the slot, where it does."""
        if len(chain.axes) == 2:
            return None
        beside = chain.sums[0] if self.pivot == "driving" else chain.sums[-1]
        return self._reach_complaint(Fraction(beside))

    def _reach_complaint(self, distance: Fraction) -> str | None:
        least, greatest = self._reach
        stands = f"the stud would stand {self._mm(distance)} from the {self.pivot} shaft"
        if distance < least:
            return f"{stands}; the slot begins at {self._mm(least)}"
        if greatest is not None and distance > greatest:
            return f"{stands}; the slot ends at {self._mm(greatest)}"
        return None

    def _mm(self, teeth: Fraction | float) -> str:
        if self.module is None:
            return f"{float(teeth) / 2:g} modules"
        return f"{float(teeth) * float(self.module) / 2:.4g} mm"

    def _mounting(self, chain: _Chain, points: Sequence[tuple[float, float]]) -> Mounting:
        scale = None if self.module is None else float(self.module) / 2
        axes = tuple(
            Axis(axis.name, axis.gears, *((x * scale, y * scale) if scale is not None else (None, None)))
            for axis, (x, y) in zip(chain.axes, points, strict=True)
        )
        return Mounting(axes, None if scale is None else points[-1][0] * scale, self._centres is not None)

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

    def rules(self, pairs: int, idlers: int = 0, largest_idler: int = 0) -> tuple[Rules, ...]:
        """Limits on the gears of a set of so many pairs; a set that can be mounted keeps one of them at least.

        There is one for every way to spread the idlers, of `largest_idler` teeth at most, over the meshes.
        """
        spreads = itertools.product(range(idlers + 1), repeat=pairs)
        return tuple(self._rules(each, largest_idler) for each in spreads if sum(each) == idlers)

    def _rules(self, idle: tuple[int, ...], largest: int) -> Rules:
        """The limits where mesh m holds ``idle[m]`` idlers of `largest` teeth or fewer."""
        pairs, fixed = len(idle), self._centres
        stretch = 2 * largest * sum(idle)
        sums_low = [0 if n else self.least_sum or 0 for n in idle]
        sums_high = [10**6 if n else self.greatest_sum or 10**6 for n in idle]
        if pairs == 1 and fixed is not None:
            if idle[0]:
                # Driver and driven gear stand in one plane and must pass each other.
                sums_high[0] = math.floor(fixed - 4 * self.addendum - self._air)
                sums_low[0] = max(sums_low[0], math.ceil(fixed) - stretch)
            else:
                slack = self.in_teeth(self.slack)
                sums_low[0] = max(sums_low[0], math.ceil(fixed - slack))
                sums_high[0] = min(sums_high[0], math.floor(fixed + slack))
        if pairs == 1:
            return Rules(1, tuple(sums_low), tuple(sums_high), (), (), None, None)
        beside = 0 if self.pivot == "driving" else pairs - 1
        least, greatest = self._reach
        if not idle[beside]:
            sums_low[beside] = max(sums_low[beside], math.ceil(least))
            if greatest is not None:
                sums_high[beside] = min(sums_high[beside], math.floor(greatest))
        passes = [
            (pair, gear, room - 2 * largest * idle[pair])
            for pair, gear, room in self._passes(pairs)
            if room > _NO_LIMIT
        ]
        shaft_limits: list[tuple[int, int]] = []
        if fixed is not None:
            for gear, body in ((0, "driven"), (2 * pairs - 1, "driving")):
                room = self._room(body, True)
                if room is not None:
                    shaft_limits.append((gear, math.floor(fixed - room)))
        return Rules(
            pairs,
            tuple(sums_low),
            tuple(sums_high),
            tuple(passes),
            tuple(shaft_limits),
            None if fixed is None else math.floor(fixed) + stretch,
            None if fixed is None else math.ceil(fixed) - stretch,
        )

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
        return _NO_LIMIT if room is None else math.ceil(room)


_NO_LIMIT = -(10**6)


@dataclass(frozen=True)
class Rules:
    """Limits on the gears of a set as comparisons of whole numbers, true wherever the set can be mounted.

    `passes` holds (pair, gear, room): that pair's sum is at least that gear's teeth and `room` more;
    idlers that may widen the pair have been taken off the room, and widen the centres either way.
    `shaft_limits` holds (gear, most teeth). The centres, in teeth, lie from `centres_low` to `centres_high`.
    """

    pairs: int
    sums_low: tuple[int, ...]
    sums_high: tuple[int, ...]
    passes: tuple[tuple[int, int, int], ...]
    shaft_limits: tuple[tuple[int, int], ...]
    centres_low: int | None
    centres_high: int | None

    def allow(self, gears: Sequence[Any]) -> Any:
        """Whether the rules allow `gears` a, b, c, d …, each a number or an array of them."""
        import numpy as np

        sums = [gears[2 * i] + gears[2 * i + 1] for i in range(self.pairs)]
        allowed = np.ones(np.shape(gears[0]), dtype=bool)
        for sum_, low, high in zip(sums, self.sums_low, self.sums_high, strict=True):
            if low > 0:
                allowed &= sum_ >= low
            if high < 10**6:
                allowed &= sum_ <= high
        for pair, gear, room in self.passes:
            allowed &= sums[pair] >= gears[gear] + room
        for gear, most in self.shaft_limits:
            allowed &= gears[gear] <= most
        if self.centres_low is not None and self.centres_high is not None:
            # The chain closes: no distance is longer than all the others together.
            whole = sum(sums[1:], start=sums[0])
            allowed &= whole >= self.centres_high
            for sum_ in sums:
                allowed &= 2 * sum_ <= whole + self.centres_low
        return allowed


# -- chains of axes ---------------------------------------------------------------------------------

_SHAFTS = {"driving shaft": "driving", "driven shaft": "driven"}


@dataclass(frozen=True)
class _Link:
    name: str
    gears: tuple[tuple[int, int], ...]


@dataclass(frozen=True)
class _Chain:
    """Axes in order, and for each mesh between neighbours its two gears and its plane."""

    axes: tuple[_Link, ...]
    meshes: tuple[tuple[int, int], ...]
    planes: tuple[int, ...]

    @property
    def sums(self) -> tuple[int, ...]:
        return tuple(one + other for one, other in self.meshes)


@dataclass(frozen=True)
class _Need:
    """A least distance, in teeth, of the axis of gear `gear` from `body`."""

    teeth: Fraction
    gear: str
    body: str

    def says(self, bracket: Bracket, distance: Fraction | float) -> str:
        return (
            f"{self.gear} fouls {self.body}: it needs {bracket._mm(self.teeth)} between the axes "
            f"and has {bracket._mm(distance)}"
        )


def _chains(gears: tuple[int, ...], idlers: tuple[int, ...], wide: bool) -> Iterator[_Chain]:
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


def _chain(gears: tuple[int, ...], by_mesh: tuple[tuple[int, ...], ...], wide: bool) -> _Chain:
    pairs = len(gears) // 2
    axes = [_Link("driving shaft", ((1, gears[0]),))]
    meshes: list[tuple[int, int]] = []
    planes: list[int] = []
    for mesh in range(pairs):
        plane, before = mesh + 1, gears[2 * mesh]
        for idler in by_mesh[mesh]:
            spans = range(max(1, plane - 1), min(pairs, plane + 1) + 1) if wide else range(plane, plane + 1)
            axes.append(_Link("idler's stud", tuple((p, idler) for p in spans)))
            meshes.append((before, idler))
            planes.append(plane)
            before = idler
        meshes.append((before, gears[2 * mesh + 1]))
        planes.append(plane)
        if mesh + 1 < pairs:
            name = "stud" if pairs == 2 else ("first stud", "second stud")[mesh]
            axes.append(_Link(name, ((plane, gears[2 * mesh + 1]), (plane + 1, gears[2 * mesh + 2]))))
        else:
            axes.append(_Link("driven shaft", ((plane, gears[-1]),)))
    return _Chain(tuple(axes), tuple(meshes), tuple(planes))


_Needs = Mapping[tuple[int, int], _Need]
_Points = Sequence[tuple[float, float]]


def _in_a_line(chain: _Chain) -> _Points:
    places = itertools.accumulate(chain.sums, initial=0)
    return [(float(x), 0.0) for x in places]


def _place_none(bracket: Bracket, chain: _Chain, needs: _Needs) -> _Points | Refusal:
    """No stud: the pair must suit the centres."""
    fixed, (sum_,) = bracket._centres, chain.sums
    if fixed is not None and abs(sum_ - fixed) > bracket.in_teeth(bracket.slack):
        one, other = chain.meshes[0]
        return Refusal(
            f"{one} + {other} = {sum_} teeth span {bracket._mm(sum_)}, and the shafts stand {bracket._mm(fixed)} apart"
        )
    return [(0.0, 0.0), (float(fixed if fixed is not None else sum_), 0.0)]


def _does_not_close(bracket: Bracket, chain: _Chain) -> Refusal | None:
    """Why the chain of meshes can't span the centres, where it can't."""
    fixed = bracket._centres
    assert fixed is not None
    whole = sum(chain.sums)
    if whole < fixed:
        return Refusal(
            f"the gears reach {bracket._mm(whole)} in all, and the shafts stand {bracket._mm(fixed)} apart"
        )
    longest = max(chain.sums)
    if longest > fixed + (whole - longest):
        one, other = chain.meshes[chain.sums.index(longest)]
        return Refusal(
            f"{one} and {other} stand {bracket._mm(longest)} apart: too far for the other gears to close "
            f"the train over centres of {bracket._mm(fixed)}"
        )
    return None


def _place_one(bracket: Bracket, chain: _Chain, needs: _Needs) -> _Points | Refusal:
    """One stud: the corner of a triangle."""
    fixed = bracket._centres
    if fixed is None:
        return _in_a_line(chain)
    open_ = _does_not_close(bracket, chain)
    if open_ is not None:
        return open_
    first, second = chain.sums
    x = (first * first - second * second + fixed * fixed) / (2 * fixed)
    return [(0.0, 0.0), (float(x), math.sqrt(max(0.0, float(first * first - x * x)))), (float(fixed), 0.0)]


def _place_two(bracket: Bracket, chain: _Chain, needs: _Needs) -> _Points | Refusal:
    """Two studs: a four-bar chain with one freedom left, settled exactly by its two diagonals.

    Once the diagonal that ends on the pivot is chosen, the other is longest with the chain open, and
    over the range of the first it rises to a single greatest value and falls again; the greatest lies
    where two sides make one line. So the other diagonal need only be looked at in one place.
    """
    fixed = bracket._centres
    if fixed is None:
        return _place_two_freely(bracket, chain, needs)
    open_ = _does_not_close(bracket, chain)
    if open_ is not None:
        return open_
    turned = bracket.pivot == "driving"
    r1, r2, r3 = (Fraction(s) for s in (chain.sums[::-1] if turned else chain.sums))
    near, far = ((0, 2), (1, 3)) if turned else ((1, 3), (0, 2))
    least, greatest = bracket._reach
    low = max(abs(r1 - fixed), abs(r2 - r3), needs[near].teeth, least, Fraction(1))
    high = min(r1 + fixed, r2 + r3)
    if greatest is not None and low > greatest:
        if needs[near].teeth > greatest:
            return Refusal(needs[near].says(bracket, greatest) + ", where the slot ends")
        return Refusal(bracket._reach_complaint(low) or "")
    if low > high:
        complaint = bracket._reach_complaint(high) if high < least else None
        return Refusal(complaint or needs[near].says(bracket, high))
    if greatest is not None:
        high = min(high, greatest)
    diagonal = _peak(r1, r2, r3, fixed, low, high)
    u = float(diagonal) if isinstance(diagonal, Fraction) else math.sqrt(float(diagonal[0]))
    sides = (float(r1), float(r2), float(r3), float(fixed))
    if not _other_diagonal_reaches(r1, r2, r3, fixed, diagonal, needs[far].teeth):
        longest = math.hypot(*_four_bar(*sides, u, False)[2])
        return Refusal(needs[far].says(bracket, longest))
    return _four_bar(*sides, u, turned)


#: A diagonal, or the square of one that is irrational, as a tuple of one.
_Diagonal = Fraction | tuple[Fraction]


def _peak(r1: Fraction, r2: Fraction, r3: Fraction, c: Fraction, low: Fraction, high: Fraction) -> _Diagonal:
    """The diagonal from `low` to `high` with which the other is longest (Stewart's theorem)."""
    if c + r3 <= r1 + r2:
        square = (r1 * r1 * r3 + r2 * r2 * c) / (c + r3) - c * r3
    else:
        square = (c * c * r2 + r3 * r3 * r1) / (r1 + r2) - r1 * r2
    if square <= low * low:
        return low
    if square >= high * high:
        return high
    return (square,)


def _other_diagonal_reaches(
    r1: Fraction, r2: Fraction, r3: Fraction, c: Fraction, diagonal: _Diagonal, need: Fraction
) -> bool:
    """Whether the other diagonal can be `need` long, exactly."""
    if isinstance(diagonal, tuple):
        return min(c + r3, r1 + r2) >= need
    u2 = diagonal * diagonal
    first, second = c * c + u2 - r1 * r1, u2 + r3 * r3 - r2 * r2
    even = c * c + r3 * r3 - first * second / (2 * u2)
    under_root = (4 * c * c * u2 - first * first) * (4 * u2 * r3 * r3 - second * second) / (4 * u2 * u2)
    short = need * need - even
    return short <= 0 or under_root >= short * short


def _four_bar(r1: float, r2: float, r3: float, c: float, u: float, turned: bool) -> _Points:
    """The four axes: the first stud `u` from the driven shaft, the second on the open side of that line."""
    at_end = math.acos(max(-1.0, min(1.0, (c * c + u * u - r1 * r1) / (2 * c * u))))
    beyond = math.acos(max(-1.0, min(1.0, (u * u + r3 * r3 - r2 * r2) / (2 * u * r3))))
    first = (c - u * math.cos(at_end), u * math.sin(at_end))
    second = (c - r3 * math.cos(at_end + beyond), r3 * math.sin(at_end + beyond))
    if turned:
        return [(0.0, 0.0), (c - second[0], second[1]), (c - first[0], first[1]), (c, 0.0)]
    return [(0.0, 0.0), first, second, (c, 0.0)]


def _place_two_freely(bracket: Bracket, chain: _Chain, needs: _Needs) -> _Points | Refusal:
    """Two studs and no fixed centres: both corners may open until the chain is straight."""
    r1, r2, r3 = chain.sums
    least, greatest = bracket._reach
    for (i, j), spans in (((0, 2), (r1, r2)), ((1, 3), (r2, r3))):
        far, close = Fraction(sum(spans)), Fraction(abs(spans[0] - spans[1]))
        if needs[i, j].teeth > far:
            return Refusal(needs[i, j].says(bracket, far))
        if (bracket.pivot == "driving") == (i == 0):
            if far < least:
                return Refusal(bracket._reach_complaint(far) or "")
            if greatest is not None and max(close, needs[i, j].teeth) > greatest:
                return Refusal(bracket._reach_complaint(max(close, needs[i, j].teeth)) or "")
    return _in_a_line(chain)


#: No more studs than this are placed.
_MOST_STUDS = 3

#: Steps in which the arm is tried round a whole turn, with three studs.
_STEPS = 72


def _place_three(bracket: Bracket, chain: _Chain, needs: _Needs) -> _Points | Refusal:
    """Three studs: the first and the last are tried by steps about their shafts, the middle one follows."""
    import numpy as np

    fixed = bracket._centres
    if fixed is None:
        # No two axes stand farther apart than with the chain straight.
        points = _in_a_line(chain)
        for (i, j), need in needs.items():
            if need.teeth > points[j][0] - points[i][0]:
                return Refusal(need.says(bracket, points[j][0] - points[i][0]))
        return points
    open_ = _does_not_close(bracket, chain)
    if open_ is not None:
        return open_
    c = float(fixed)
    r1, r2, r3, r4 = (float(s) for s in chain.sums)
    angles = np.linspace(0, 2 * np.pi, _STEPS, endpoint=False)
    p = (r1 * np.exp(1j * angles))[:, None]
    q = (c - r4 * np.exp(-1j * angles))[None, :]
    apart = np.abs(q - p)
    with np.errstate(divide="ignore", invalid="ignore"):
        along = (apart**2 + r2 * r2 - r3 * r3) / (2 * apart)
        up = np.sqrt(np.maximum(r2 * r2 - along**2, 0))
        way = (q - p) / apart
        meets = (apart <= r2 + r3) & (apart >= abs(r2 - r3)) & (apart > 0)
    sure = 1e-9
    least, greatest = bracket._reach
    for side in (1, -1):
        middle = np.where(meets, p + way * (along + 1j * side * up), 0)
        places = [np.zeros_like(middle), p + 0 * middle, middle, q + 0 * middle, np.full_like(middle, c)]
        good = meets.copy()
        for (i, j), need in needs.items():
            if j > i + 1 and (i, j) != (0, 4):
                good &= np.abs(places[i] - places[j]) >= float(need.teeth) + sure
        pivot = 0 if bracket.pivot == "driving" else 4
        for stud in (1, 2, 3):
            reached = np.abs(places[stud] - places[pivot])
            good &= reached >= float(least) - sure
            if greatest is not None:
                good &= reached <= float(greatest) + sure
        if good.any():
            best = tuple(np.argwhere(good)[0])
            return [(float(place[best].real), float(place[best].imag)) for place in places]
    return Refusal("no place was found for the three studs that keeps every gear clear of the others")


_PLACERS = (_place_none, _place_one, _place_two, _place_three)
