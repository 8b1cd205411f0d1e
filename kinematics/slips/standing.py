"""What stood at a machine during a cut, what a fault alters of it, and both in words."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cached_property
from typing import Any

from handlead.kinematics.frame.frozen import freeze
from handlead.kinematics.frame.words import Hand, swivel_words
from handlead.kinematics.gears.gear import MM_PER_INCH
from handlead.kinematics.links.mounted import Dialled, Mounted
from handlead.kinematics.train.setup import Key, Setup, changed, idlers_counted, words_of
from handlead.kinematics.work.requirement import HobData, Work
from handlead.kinematics.work.requirement import swivel_deg as swivel_wanted

#: What a fault changes beside the set-up: ("stamps", bracket), ("hob", "hand" | "starts" | "module"), ("sheet",),
#: ("between cuts",), ("drive runs",) and ("hob stands",) 1 or -1, ("parted",) a link, ("slips",), ("miscounted",) by
#: how many at most, or ("beside",) a `Beside`.
Changes = Mapping[Key, Any]

#: What the sheet was worked out for, and what was done between cuts, unless a fault says otherwise.
THIS_JOB, NOTHING_DONE = "this job", "nothing"

#: What a person finds where all is as it should be.
AS_IT_SHOULD = "as it should be"

#: Teeth of an idler that nobody has named: the ratio doesn't depend on them.
ANY_IDLER = 30


@dataclass(frozen=True)
class Beside:
    """Something wrong beside the train: what has to be looked at, what is found there, and what the work shows."""

    looks_at: str
    found: str
    symptoms: frozenset[str]


@dataclass(frozen=True)
class Standing:
    """What stood at the machine during a cut: the set-up, with every lever named and the true teeth of its gears.

    `stamps` is what gears read where that is something else. `sheet` says what the set-up was worked out for,
    `between_cuts` what was done between two cuts. `drive_runs` is -1 where the drive turns
    the other way, `hob_stands` where the hob's cutting faces look the other way. `parted` names a link
    that passes nothing; `slips` is True where something gives way now and then. `miscounted` says by how
    many teeth the count may be wrong, nothing being wrong with the cut.
    """

    setup: Setup
    hob: HobData
    stamps: Mapping[str, tuple[int, ...]] = field(default_factory=dict)
    sheet: str = THIS_JOB
    between_cuts: str = NOTHING_DONE
    drive_runs: int = 1
    hob_stands: int = 1
    parted: str = ""
    slips: bool = False
    miscounted: int = 0
    beside: Beside | None = None

    def __post_init__(self) -> None:
        freeze(self, "stamps")

    @property
    def swivel_deg(self) -> Fraction:
        """Where the head stands, signed in the frame; level where nobody says."""
        return self.setup.swivel_deg or Fraction(0)

    @property
    def change(self) -> Mapping[str, Mounted]:
        """What is mounted in each bracket that isn't empty."""
        return self.setup.change

    @cached_property
    def key(self) -> tuple[Any, ...]:
        """What two standings have in common exactly if nothing at the machine tells them apart."""
        setup = self.setup
        return (
            setup.drive, frozenset(setup.levers.items()),
            frozenset((name, mounted.gears, len(mounted.idlers)) for name, mounted in setup.change.items()),
            frozenset(self.stamps.items()),
            self.swivel_deg, self.hob, self.sheet, self.between_cuts, self.drive_runs, self.hob_stands,
            self.parted, self.slips, self.miscounted, self.beside,
        )  # fmt: skip

    def changed(self, changes: Changes) -> Standing:
        """The same standing with these changes made; their order doesn't matter."""
        hob: dict[str, Any] = {}
        plain: dict[str, Any] = {}
        stamps = dict(self.stamps)
        for (what, *where), value in changes.items():
            if what == "hob":
                hob[where[0]] = value
            elif what == "stamps":
                stamps[where[0]] = value
            elif not where:
                plain[what] = value
        setup = changed(self.setup, changes)
        # Written out: thousands are made for one diagnosis, and `replace` takes several times as long.
        return Standing(
            setup, other_hob(self.hob, **hob) if hob else self.hob,
            {name: of for name, of in stamps.items() if name in setup.change},
            plain.get("sheet", self.sheet), plain.get("between cuts", self.between_cuts),
            plain.get("drive runs", self.drive_runs), plain.get("hob stands", self.hob_stands),
            plain.get("parted", self.parted), plain.get("slips", self.slips),
            plain.get("miscounted", self.miscounted), plain.get("beside", self.beside),
        )  # fmt: skip


def other_hob(
    hob: HobData, *, hand: Hand | None = None, starts: int | None = None, module: Fraction | None = None
) -> HobData:
    """The hob that was taken instead: its lead angle goes with starts and module, its diameter being the same."""
    starts, module = starts or hob.starts, module or hob.module_n
    gamma = hob.lead_angle_deg
    if gamma is not None and (starts, module) != (hob.starts, hob.module_n):
        sine = math.sin(math.radians(gamma)) * float(starts * module / (hob.starts * hob.module_n))
        gamma = Fraction(f"{math.degrees(math.asin(min(sine, 0.99))):.12f}")
    return replace(hob, hand=hand or hob.hand, starts=starts, module_n=module, lead_angle_deg=gamma)


def changes_words(changes: Changes) -> str:
    """Changes in words: ``24/58 · 48/40 in index gears``, ``1 idler in feed gears``, ``lever range at low``."""
    return "; ".join(_change_words(key, value) for key, value in changes.items())


def undone_words(base: Standing, changes: Changes) -> str:
    """What stands in the set-up in place of these changes, in words: ``24/58 · 48/40, 1 idler in index gears``."""
    words: list[str] = []
    for what, *where in changes:
        match what, *where:
            case ("gears" | "idlers", bracket):
                mounted = base.change.get(bracket)
                words.append(f"{counted_words(mounted)} in {bracket}" if mounted else f"nothing in {bracket}")
            case "lever", name:
                words.append(f"lever {name} to {base.setup.levers[name]}")
            case ("swivel",):
                words.append(f"the head to {swivel_words(float(base.swivel_deg))}")
            case "hob", key:
                value = {"hand": base.hob.hand, "starts": base.hob.starts, "module": base.hob.module_n}[key]
                words.append(_change_words((what, key), value))
    return "; ".join(dict.fromkeys(words))


def counted_words(mounted: Mounted) -> str:
    """Gears as they lie there, with how many idlers: ``24/58 · 48/40, 1 idler``; which ones they are nobody knows.

    A ratio that is entered: ``plus 24/29``.
    """
    if isinstance(mounted, Dialled):
        return f"{'plus' if mounted.ratio > 0 else 'minus'} {mounted.gears[0]}/{mounted.gears[1]}"
    return f"{mounted.pairs_text}, {idlers_counted(len(mounted.idlers))}"


def _change_words(key: Key, value: Any) -> str:
    match key:
        case "hob", "hand":
            return f"a {value.word}-hand hob"
        case "hob", "starts":
            return f"a hob of {value} start{'' if value == 1 else 's'}"
        case "hob", "module":
            return f"a hob of {module_words(value)}"
        case ("drive runs",):
            return "the drive running the way it is meant" if value > 0 else "the drive running the other way"
        case ("hob stands",):
            return "the hob's cutting faces the right way" if value > 0 else "the hob end for end"
    return words_of(key, value)


def is_pitch(module: Fraction) -> bool:
    """Whether a size of tooth is a whole or half diametral pitch rather than a module."""
    # An inch is 127/5 mm, so that a size taken from one keeps the 127.
    return (2 * MM_PER_INCH / module).denominator == 1 and module.numerator % 127 == 0


def module_words(module: Fraction) -> str:
    """``module 2.5``, or ``10 diametral pitch``."""
    if is_pitch(module):
        return f"{float(MM_PER_INCH / module):g} diametral pitch"
    return f"module {float(module):g}"


def meant_swivel(work: Work, hob: HobData) -> Fraction:
    """The swivel that the work asks for, to the minute of a vernier."""
    return Fraction(round(60 * swivel_wanted(work, hob)), 60)
