"""Where a light cut marks the blank at all on this machine: one that is out of true is touched on one side only.

Count, hand and lead of the witness are measured on a blank cut without the machine's errors, so that they can be held
against the rates; what errors leave on the flanks is measured there. But a light cut goes in by hundredths, and a
blank, a table or a slide that is out by as much leaves part of it bare: whoever counts there counts wrong.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from typing import TYPE_CHECKING

from handlead.kinematics.frame.guide import Guide
from handlead.kinematics.frame.motion import Led, Ripple, Tilt
from handlead.machines.setups.case import Case, face_width_mm
from handlead.machines.setups.findings import Finding
from handlead.machines.setups.imperfections import ripples_of
from handlead.machines.toml.units import dial

from .witness import NotCut, setting_of

if TYPE_CHECKING:
    from handlead.kinematics.cutting.setting import Setting
    from handlead.kinematics.frame.blank import Field

#: A light cut is looked at where the blank may come nearer by this share of its depth, and told of where that leaves a
#: place without a mark; places are a space and a half wide, at most so many round the blank and over the face.
_WORTH_LOOKING, _A_PLACE, _MOST_ROUND, _MOST_OVER = 0.2, 1.5, 36, 3

#: So far up and down a slide is led, in mm.
_FAR = Fraction(1000)

#: A mark shallower than this share of a light cut's depth nobody sees.
_SEEN = 0.05


@dataclass(frozen=True)
class LightTouch:
    """A light cut `depth_mm` deep from the first touch: the share of the blank's places that it marks.

    `spread_mm` is how much deeper the deepest is marked than the shallowest: so much further in, a cut that was made as
    well, it `then_marks_all`.
    """

    depth_mm: float
    share: float
    spread_mm: float
    then_marks_all: bool


@dataclass(frozen=True)
class _Uneven:
    """A light cut with errors that bring the hob nearer to the blank, or keep it off, by so many mm at the most."""

    setting: Setting
    led: tuple[Led, ...]
    depth: float
    farthest: float

    @classmethod
    def of(cls, setting: Setting, led: tuple[Led, ...]) -> _Uneven | None:
        """None where errors leave a light cut as it is."""
        from handlead.kinematics.cutting.field import light_depth

        depth, farthest = light_depth(setting), _farthest(led, setting.blank.face_width)
        worth_it = setting.rates.axial and 2 * farthest >= _WORTH_LOOKING * depth
        return cls(setting, led, depth, farthest) if worth_it else None

    def field(self, middle: float) -> Field:
        """The blank with the hob so far in, at the middle of what errors bring it to and fro."""
        from handlead.kinematics.cutting.field import scratch_cut

        far = Fraction(self.farthest)
        back = Guide("radial", "axial", ((-_FAR, far), (_FAR, far)))
        return scratch_cut(self.setting, depth=middle + self.farthest, ripples=(*self.led, back))

    def marked(self, middle: float) -> list[float]:
        """How deep each place of it is marked."""
        return _depths(self.field(middle), self.setting)

    @cached_property
    def all_round(self) -> list[float]:
        """The same where every place is marked as deep as a light cut at the least."""
        return self.marked(self.depth + self.farthest)

    @property
    def light(self) -> float:
        """How far in a light cut stands from the first touch, which is where it is deepest when all is marked."""
        return 2 * self.depth + self.farthest - max(self.all_round)


def light_touch(case: Case) -> LightTouch | None:
    """What a light cut of this set-up marks with the machine's errors; None where they leave it as it is.

    Raises `NotCut` where hob or table isn't driven, or the hob's size isn't known.
    """
    cut = _Uneven.of(setting_of(case), ripples_of(case))
    if cut is None:
        return None
    spread, least = max(cut.all_round) - min(cut.all_round), _SEEN * cut.depth
    marked = cut.marked(cut.light)
    share = sum(one > least for one in marked) / len(marked)
    return LightTouch(cut.depth, share, spread, min(cut.marked(cut.light + spread)) > least)


def light_field(setting: Setting, led: tuple[Led, ...]) -> Field:
    """The blank after a light cut from the first touch, with these errors."""
    from handlead.kinematics.cutting.field import scratch_cut

    cut = _Uneven.of(setting, led)
    return scratch_cut(setting) if cut is None else cut.field(cut.light)


def light_touch_told(case: Case) -> Iterator[Finding]:
    """That a light cut leaves part of the blank bare, where it does."""
    try:
        touch = light_touch(case)
        if touch is None or touch.share == 1 or not touch.then_marks_all:
            return
    except (NotCut, ValueError, OverflowError):
        # Nothing is cut, or the feed is beyond any number that a blank could be cut by.
        return
    units = case.job.units
    yield Finding(
        "light-cut-uneven",
        "note",
        f"A light cut {dial(touch.depth_mm, units)} deep from the first touch marks only {100 * touch.share:.0f} % of "
        f"the blank: with the {_kinds(case)} that the machine's file has, one place of it stands "
        f"{dial(touch.spread_mm, units)} nearer to the hob than another.",
        f"Don't count before it is marked all round: {dial(touch.spread_mm, units)} further in.",
        {"depth_mm": touch.depth_mm, "marked": touch.share, "spread_mm": touch.spread_mm},
    )


def _kinds(case: Case) -> str:
    """The imperfections of the machine that move the blank or the hob in and out."""
    machine = case.job.machine
    found = []
    for one in machine.imperfections:
        alone = replace(case, job=replace(case.job, machine=replace(machine, imperfections=(one,))))
        if _farthest(ripples_of(alone), face_width_mm(case.job.work)):
            found.append(one.kind)
    return " and ".join(dict.fromkeys(found))


def _farthest(led: tuple[Led, ...], face: float) -> float:
    """By how many mm, at the most, the hob comes nearer to the blank than it should, or stays further off."""
    far = 0.0
    for one in led:
        if isinstance(one, Tilt):
            far += abs(one.slope) * max(abs(one.pivot), abs(face - one.pivot))
        elif one.end == "radial":
            ends = (Fraction(0), Fraction(face))
            far += abs(one.amplitude) if isinstance(one, Ripple) else max(abs(float(one.at(end))) for end in ends)
    return far


def _depths(field: Field, setting: Setting) -> list[float]:
    """The deepest mark in each place of the blank, in mm."""
    import numpy as np

    deep = field.uncut - field.radius
    spaces = float(setting.hob.starts / abs(setting.rates.table))
    round_blank = max(4, min(_MOST_ROUND, int(spaces / _A_PLACE)))
    high = float(np.ptp(field.heights))
    over = max(1, min(_MOST_OVER, int(high / (_A_PLACE * setting.feed))))
    # A row's first column stands at an angle of its own.
    shift = np.rint(field.start / (2 * np.pi) * deep.shape[1]).astype(int)
    turned = np.stack([np.roll(row, by) for row, by in zip(deep, shift, strict=True)])
    rows = np.array_split(np.arange(deep.shape[0]), over)
    columns = np.array_split(np.arange(deep.shape[1]), round_blank)
    return [float(turned[np.ix_(some, few)].max()) for some in rows for few in columns]
