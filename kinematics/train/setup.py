"""What stands at a machine, and what is made otherwise of it: one set-up, one change, each with its words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import Any

from handlead.kinematics.frame.frozen import freeze
from handlead.kinematics.frame.words import SWIVEL_TURNS, Feed, swivel_words
from handlead.kinematics.links.mounted import Mounted
from immutabledict import immutabledict


@dataclass(frozen=True)
class SetupMove:
    """A move of the machine: the slide at `end` to `place` in mm, or `turns` of hob, table or drive (`end`).

    `start` holds where slides stand before it, in mm; `drive` None is the set-up's. `levers` are moved
    before it and stay. With `by_hand` a handwheel moves the slide and no drive runs.
    """

    name: str
    end: str
    place: Fraction | None = None
    turns: Fraction | None = None
    drive: str | None = None
    backwards: bool = False
    levers: Mapping[str, str] = field(default_factory=dict)
    start: Mapping[str, Fraction] = field(default_factory=dict)
    by_hand: bool = False

    def __post_init__(self) -> None:
        freeze(self, "levers", "start")


@dataclass(frozen=True, repr=False)
class Setup:
    """What is bolted on and where the levers stand.

    `swivel_deg` is signed, counter-clockwise seen from behind the hob positive; None where the job
    doesn't give it. `feed` is how it is meant. A lever that isn't named stands in its normal
    position, a bracket that isn't named is empty. `drive` names what turns the machine, `moves` what
    it is made to do, where the job says more than that it cuts.
    """

    drive: str
    swivel_deg: Fraction | None = None
    feed: Feed | None = None
    levers: Mapping[str, str] = field(default_factory=dict)
    change: Mapping[str, Mounted] = field(default_factory=dict)
    moves: tuple[SetupMove, ...] = ()

    def __post_init__(self) -> None:
        freeze(self, "levers", "change")

    def __str__(self) -> str:
        brackets = (f"{name} {mounted}" for name, mounted in self.change.items())
        levers = (f"{name} {position}" for name, position in self.levers.items())
        return "; ".join([*brackets, *levers]) or "nothing mounted"

    def __repr__(self) -> str:
        return f"<Setup: {self}>"

    def with_gears(self, bracket: str, gears: Sequence[int] | None, idlers: Sequence[int] | None = None) -> Setup:
        """With other gears in a bracket, `(a, b, c, d)` for a/b times c/d; None empties it.

        The idlers stay as they are where none are given. Raises `ValueError` for what can't be gears.
        """
        change = dict(self.change)
        stands = change.pop(bracket, None)
        if gears:
            kept = stands.idlers if stands and idlers is None else tuple(idlers or ())
            change[bracket] = Mounted(tuple(gears), kept)
        return replace(self, change=change)

    def with_idler(self, bracket: str, *teeth: int) -> Setup:
        """With these idlers in a bracket in place of those that stand in it; none of them takes them out.

        Raises `ValueError` for a bracket without gears.
        """
        if bracket not in self.change:
            raise ValueError(f"no gears are mounted in {bracket!r}, so an idler has nothing to stand between")
        return replace(self, change={**self.change, bracket: replace(self.change[bracket], idlers=teeth)})

    def with_lever(self, lever: str, position: str) -> Setup:
        """With a lever in another position."""
        return replace(self, levers={**self.levers, lever: position})

    def with_swivel(self, angle_deg: Fraction | float, turn: str) -> Setup:
        """With the head swung by so many degrees, `turn` clockwise or counter-clockwise seen from behind the hob.

        Raises `ValueError` for another word.
        """
        if turn not in SWIVEL_TURNS:
            raise ValueError(f"the head turns {' or '.join(SWIVEL_TURNS)}, not {turn!r}")
        return replace(self, swivel_deg=SWIVEL_TURNS[turn] * Fraction(str(angle_deg)))


#: One thing that is made otherwise: ("gears", bracket), ("idlers", bracket), ("lever", name), ("swivel",),
#: ("drive",); of what stands beside the set-up, whatever whoever makes the change knows.
Key = tuple[str, ...]


class Change(immutabledict[Key, Any]):
    """What is made otherwise of a set-up, by what it is made of; two that touch nothing in common go together by `|`.

    Gears and idlers of a bracket are changed each by itself: the gears may be exchanged and the idler forgotten.
    """

    @classmethod
    def to(
        cls,
        change: Mapping[str, Mounted] | None = None,
        *,
        levers: Mapping[str, str] | None = None,
        swivel_deg: Fraction | None = None,
        drive: str | None = None,
    ) -> Change:
        """To these gears in brackets, levers, swivel and drive; what isn't named stays."""
        made: dict[Key, Any] = {("lever", name): position for name, position in (levers or {}).items()}
        for name, mounted in (change or {}).items():
            made |= {("gears", name): mounted.gears, ("idlers", name): mounted.idlers}
        if swivel_deg is not None:
            made["swivel",] = swivel_deg
        if drive is not None:
            made["drive",] = drive
        return cls(made)

    def on(self, setup: Setup) -> Setup:
        """The set-up with the change made; a bracket without gears is empty."""
        return changed(setup, self)

    @property
    def levers(self) -> Mapping[str, str]:
        """Levers put over, and where to."""
        return {name: value for (what, *where), value in self.items() if what == "lever" for name in where}

    @property
    def mounted(self) -> Mapping[str, Mounted]:
        """What is mounted in brackets in place of all that was in them."""
        return {
            name: Mounted(value, self.get(("idlers", name), ()))
            for (what, *where), value in self.items()
            if what == "gears" and value
            for name in where
        }

    @property
    def touches(self) -> frozenset[str]:
        """What it lays hand on, by name; two changes that lay hand on the same thing don't go together."""
        named = {"swivel": "the head", "drive": "the drive"}
        return frozenset(where[0] if where else named.get(what, what) for what, *where in self)

    def __str__(self) -> str:
        """As people say it: ``24/58 · 48/40 in index gears; lever range at low``."""
        return "; ".join(words_of(key, value) for key, value in self.items())


#: No change at all.
NOTHING = Change()


def changed(setup: Setup, changes: Mapping[Key, Any]) -> Setup:
    """The set-up with a change made; what isn't of a set-up is left out."""
    levers: dict[str, str] = {}
    gears: dict[str, tuple[int, ...]] = {}
    idlers: dict[str, tuple[int, ...]] = {}
    drive, swivel = setup.drive, setup.swivel_deg
    for (what, *where), value in changes.items():
        match what:
            case "lever":
                levers[where[0]] = value
            case "gears":
                gears[where[0]] = value
            case "idlers":
                idlers[where[0]] = value
            case "swivel":
                swivel = value
            case "drive":
                drive = value
    return Setup(
        drive, swivel, setup.feed,
        {**setup.levers, **levers} if levers else setup.levers,
        _mounted(setup.change, gears, idlers) if gears or idlers else setup.change,
        setup.moves,
    )  # fmt: skip


def _mounted(
    stands: Mapping[str, Mounted], gears: Mapping[str, tuple[int, ...]], idlers: Mapping[str, tuple[int, ...]]
) -> dict[str, Mounted]:
    change = dict(stands)
    for name in {**gears, **idlers}:
        now = stands.get(name)
        then = gears.get(name, now.gears if now else ())
        if then:
            idle = idlers.get(name, now.idlers if now else ())
            change[name] = replace(now, gears=then, idlers=idle) if now else Mounted(then, idle)
        else:
            change.pop(name, None)
    return change


def words_of(key: Key, value: Any) -> str:
    """One change in words."""
    match key:
        case "gears", bracket:
            return f"{Mounted(value).pairs_text if value else 'empty'} in {bracket}"
        case "idlers", bracket:
            return f"{idlers_counted(len(value))} in {bracket}"
        case "lever", name:
            return f"lever {name} at {value}"
        case ("swivel",):
            return f"the swivel at {swivel_words(value)}"
    return " ".join((*key[1:], str(value)))


def idlers_counted(count: int) -> str:
    """``no idlers``, ``1 idler``, ``2 idlers``."""
    return f"{count or 'no'} idler{'' if count == 1 else 's'}"
