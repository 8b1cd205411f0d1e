"""The blank at any stage of a full-depth cut, for pictures that follow the cut on its way.

With an axial feed all stages come from one simulated row: a turn of the hob brings every edge
back to its place on a blank that the table has turned and the slide has passed along, so that the
blank a whole number of hob turns later is the same one so much further round and further up.
Without one (worm wheels) each stage is cut for itself.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from typing import Protocol

import numpy as np
import numpy.typing as npt
from handlead.kinematics.cutting.field import axial_pass, cut_field, tangential_pass
from handlead.kinematics.cutting.setting import Grid, Setting
from handlead.kinematics.frame.blank import Field
from handlead.kinematics.frame.motion import Motion, Phase, Position
from handlead.kinematics.other_work.wormwheel import Throat

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

TURN = 2 * math.pi

#: Columns to a space, rows over the face: fine enough that flanks look smooth and thicknesses are true to 0.01 mm.
_COLUMNS_A_SPACE = 240
_FEWEST_COLUMNS, _MOST_COLUMNS = 2400, 24_000
_ROWS = 72

#: Rows over the face where nothing is fed along it, and how many table turns a pitch of the tangential
#: slide, or the whole infeed, are looked at: more only leave finer facets than can be drawn.
_PLUNGE_ROWS = 41
_TURNS_A_PITCH, _TURNS_OF_INFEED = 6, 30


@dataclass(frozen=True)
class StagedCut:
    """A cut that is looked at on its way: `cuts_up` says which way the hob turns in truth.

    With `throat` the blank is turned hollow before it is cut.
    """

    setting: Setting
    cuts_up: bool = True
    throat: Throat | None = None

    @property
    def per_turn(self) -> Position:
        """What all ends do in a turn of the hob, the way it turns in truth."""
        up = self.setting.rates.per_turn
        return up if self.cuts_up else up.times(Fraction(-1))

    def as_it_runs(self, phase: Phase) -> Phase:
        """The same stretch gone through the way the hob turns in truth: backwards where that is cutting down."""
        if self.cuts_up:
            return phase
        return replace(phase, start=phase.end, per_turn=phase.per_turn.times(Fraction(-1)))

    @property
    def columns(self) -> int:
        """Angles round the blank at which the cut is looked at: a whole number to each space."""
        rates = self.setting.rates
        spaces = float(self.setting.hob.starts / abs(rates.table)) if rates.table else 40.0
        wanted = min(max(_COLUMNS_A_SPACE * spaces, _FEWEST_COLUMNS), _MOST_COLUMNS)
        count = max(1, round(spaces))
        return max(16, count * max(1, round(wanted / count)))


class Stages(Protocol):
    """A cut that can be looked at anywhere on its way."""

    @property
    def cut(self) -> StagedCut:
        """What the cut is made with."""

    @property
    def phase(self) -> Phase:
        """The motion of the cut, exactly."""

    def turns_at(self, progress: float) -> Fraction:
        """Hob turns done at this part of the cut, 0 to 1."""

    def field(self, progress: float) -> Field:
        """The blank when this part of the cut, 0 to 1, is done."""


def stages_of(cut: StagedCut) -> Stages:
    """The stages of a full-depth cut at these rates.

    Raises `ValueError` where no slide moves, the radial slide moves away, or the table stands still.
    """
    rates = cut.setting.rates
    if not rates.table:
        raise ValueError("the table stands still; no spaces are cut round the blank")
    if rates.axial:
        return AxialStages.of(cut)
    if not rates.tangential and cut.per_turn.radial >= 0:
        raise ValueError("no slide feeds the hob over the work or into it")
    return PlungeStages(cut)


@dataclass(frozen=True)
class AxialStages:
    """A cut with axial feed: rows and stages stand on one lattice of whole hob turns, `stride` turns apart.

    `passing` holds the row at mid-face before and after each stride of the hob past it: what another
    row looks like so many strides sooner or later, so much further round.
    """

    cut: StagedCut
    phase: Phase
    stride: int
    passing: Floats

    @classmethod
    def of(cls, cut: StagedCut) -> AxialStages:
        """Simulate the row at mid-face as the hob goes by."""
        setting = cut.setting
        blank, hob = setting.blank, setting.hob
        middle = Position(axial=Fraction(blank.face_width) / 2)
        phase = cut.as_it_runs(axial_pass(setting).phases[0])
        at_middle = phase.reaching("axial", middle.axial)
        assert at_middle is not None
        # Counted from mid-face: there hob and table stand at 0.
        phase = replace(phase, start=middle - phase.per_turn.times(at_middle))
        stride = max(1, round(blank.face_width / _ROWS / abs(float(phase.per_turn.axial))))
        step = phase.per_turn.axial * stride
        # The pass begins and ends clear of the blank: from further off no row is touched.
        clear = max(-min(phase.start.axial, phase.end.axial), Fraction(1))
        reach = math.ceil(clear / abs(step))
        grid = Grid(np.array([blank.face_width / 2]), columns=cut.columns, fineness=0.7)
        row = np.full(cut.columns, blank.radius)
        passing = [row]
        for turns in range(-reach * stride, reach * stride, stride):
            # A gash earlier than the last one ended, so that no edge is lost between two stretches.
            begin = phase.at(at_middle + turns - Fraction(1, hob.gashes))
            stretch = replace(phase, start=begin, turns=stride + Fraction(1, hob.gashes))
            left = cut_field(Motion((stretch,)), setting, grid, compiled=False)
            row = np.minimum(row, left.radius[0])
            passing.append(row)
        return cls(cut, phase, stride, np.stack(passing))

    @property
    def _reach(self) -> int:
        return int(self.passing.shape[0] // 2)

    def turns_at(self, progress: float) -> Fraction:
        """Hob turns done, in whole strides from where the hob stands at mid-face."""
        at_middle = self._at_middle
        wanted = Fraction(min(max(progress, 0.0), 1.0)).limit_denominator(10**6) * self.phase.turns
        return at_middle + self.stride * round((wanted - at_middle) / self.stride)

    @property
    def _at_middle(self) -> Fraction:
        return abs(self.phase.start.hob)

    def field(self, progress: float) -> Field:
        """The blank at this part of the cut; every row stands at a whole number of strides."""
        stage = round((self.turns_at(progress) - self._at_middle) / self.stride)
        step = float(self.phase.per_turn.axial) * self.stride
        middle = self.cut.setting.blank.face_width / 2
        half = math.ceil(middle / abs(step) - 1e-9)
        rows = np.arange(-half, half + 1)
        seen = np.clip(stage - rows, -self._reach, self._reach)
        whole, late = self._rotation(rows)
        columns = self.passing.shape[1]
        places = (np.arange(columns)[None, :] - whole[:, None]) % columns
        radius = np.asarray(self.passing[(seen + self._reach)[:, None], places])
        heights = np.asarray(middle + step * rows, dtype=np.float64)
        order = slice(None) if step > 0 else slice(None, None, -1)
        return Field(radius[order], heights[order], late[order], self.cut.setting.blank.radius)

    def _rotation(self, strides: Ints) -> tuple[Ints, Floats]:
        """How far rows go round on the blank in so many strides: whole columns, and the rest in radians."""
        columns = self.passing.shape[1]
        per_stride = -self.phase.per_turn.table * self.stride
        places = np.array([float(per_stride * int(n) % 1) * columns for n in strides])
        whole = np.rint(places).astype(np.int64)
        return whole, np.asarray((places - whole) * (TURN / columns))


@dataclass(frozen=True)
class PlungeStages:
    """A cut with radial infeed or tangential feed at mid-face, as worm wheels are made.

    Whole table turns are looked at, `stride` of them apart where the feed is fine, and always the last
    one before the stage; what earlier ones have left is kept.
    """

    cut: StagedCut

    @property
    def phase(self) -> Phase:
        """The stretch in which the slide feeds."""
        return self.phases[0]

    @cached_property
    def phases(self) -> tuple[Phase, ...]:
        """The feed, and after an infeed the table turn that finishes the wheel."""
        setting, per_turn = self._over_all, self.cut.per_turn
        if setting.rates.tangential:
            return (self.cut.as_it_runs(tangential_pass(setting).phases[0]),)
        depth = Fraction(setting.deep).limit_denominator(10**6)
        start = Position(axial=Fraction(setting.blank.face_width) / 2, radial=depth)
        infeed = Phase(start, per_turn, depth / -per_turn.radial, "infeed")
        return infeed, Phase(infeed.end, replace(per_turn, radial=Fraction(0)), self._table_turn, "a table turn")

    @property
    def _over_all(self) -> Setting:
        """The setting with its blank as it was before its hollow was turned."""
        setting, throat = self.cut.setting, self.cut.throat
        return replace(setting, blank=replace(setting.blank, diameter=throat.rim_diameter)) if throat else setting

    @property
    def _table_turn(self) -> Fraction:
        """Hob turns to a turn of the table."""
        return 1 / abs(self.cut.setting.rates.table)

    @cached_property
    def stride(self) -> int:
        """How many table turns apart those that are looked at begin."""
        feed, rates = self.phase, self.cut.setting.rates
        if rates.tangential:
            step = self.cut.setting.hob.axial_pitch / _TURNS_A_PITCH
            return max(1, int(step / float(abs(rates.tangential) * self._table_turn)))
        return max(1, int(feed.turns / self._table_turn / _TURNS_OF_INFEED))

    def turns_at(self, progress: float) -> Fraction:
        """Hob turns done."""
        return Fraction(min(max(progress, 0.0), 1.0)).limit_denominator(10**4) * self.phase.turns

    def field(self, progress: float) -> Field:
        """The blank at this part of the feed; with the table turn that finishes it once all is done."""
        feed, *rest = self.phases
        turns, spaced = self.turns_at(progress), self._table_turn * self.stride
        behind = max(int((turns - self._table_turn) // spaced), 0)
        field = self._after(behind)
        begin = behind * spaced
        last = max(begin, turns - self._table_turn)
        stretches = [replace(feed, start=feed.at(last), turns=turns - last)]
        if last > begin:
            stretches.append(replace(feed, start=feed.at(begin), turns=min(self._table_turn, last - begin)))
        cut = self._cut(stretches + (rest if progress >= 1 else []))
        return replace(field, radius=np.minimum(field.radius, cut.radius))

    def _after(self, count: int) -> Field:
        """The blank after so many of the table turns that are looked at."""
        known = self._known
        while len(known) <= count:
            begin = self.phase.at(self._table_turn * self.stride * (len(known) - 1))
            cut = self._cut([replace(self.phase, start=begin, turns=self._table_turn)])
            known.append(replace(cut, radius=np.minimum(known[-1].radius, cut.radius)))
        return known[count]

    @cached_property
    def _known(self) -> list[Field]:
        return [self._cut([])]

    def _cut(self, stretches: list[Phase]) -> Field:
        setting, throat = self._over_all, self.cut.throat
        grid = Grid(rows=_PLUNGE_ROWS, columns=self.cut.columns // 2, fineness=0.7)
        cut = cut_field(Motion(tuple(stretches)), setting, grid, compiled=False)
        if throat is None:
            return cut
        # What was turned away before can't be left by the hob.
        turned = np.array([throat.radius_at(height - setting.blank.face_width / 2) for height in cut.heights])
        return replace(cut, radius=np.minimum(cut.radius, turned[:, None]))
