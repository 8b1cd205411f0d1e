"""Sizes to turn the blank to, to go in by, and to measure the teeth by: for sheet, report and JSON from one place."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from handlead.kinematics.gears import gear as gears
from handlead.kinematics.gears import measures
from handlead.kinematics.other_work.keys_short import KeyMeasure
from handlead.kinematics.other_work.spline import RolledKeys
from handlead.kinematics.other_work.sprocket import over_pins
from handlead.kinematics.work.requirement import Work, keys_of
from handlead.kinematics.work.sizes import centres_at_depth, gear_on_blank, rolling_diameter_of, sprocket_of
from handlead.machines.setups.case import Case, face_width_mm
from handlead.machines.toml.units import length


@dataclass(frozen=True)
class SpanSize:
    """A size over so many teeth, in mm."""

    teeth: int
    size: float


@dataclass(frozen=True)
class Over:
    """A size over two balls, or a chain's pins, of this diameter, both in mm."""

    ball: float
    size: float


@dataclass(frozen=True)
class Chord:
    """A tooth or key as a caliper measures it, in mm: `height` of the tongue from the tips, and `thickness`."""

    height: float
    thickness: float


@dataclass(frozen=True)
class PartSizes:
    """The blank (a worm wheel's at the bottom of its throat), the depth and the roots, in mm; the teeth as they can
    be measured at full depth, backlash allowance and all.

    None is what depends on something that nobody gave, or can't be measured on this work. `depth` is what the hob goes
    in by from the touch; a throated worm wheel has none, since it is set by `centres` alone, the distance of the hob's
    axis at full depth from the work's. Its teeth are `whole_depth` deep all the same, and the hob touches it first
    `touch_before` off full depth.
    """

    outside_diameter: float | None
    face_width: float
    depth: float | None
    whole_depth: float | None
    root_diameter: float | None
    centres: float | None
    throat_radius: float | None
    rim_diameter: float | None
    touch_before: float | None
    span: SpanSize | None
    balls: Over | None
    pins: Over | None
    chord: Chord | None
    key_width: float | None = None
    keys_straight_from: float | None = None

    def as_json(self) -> dict[str, Any]:
        """The `sizes` object of the JSON contract: all in mm."""
        return {
            "blank": self.outside_diameter,
            "face_width": self.face_width,
            "depth": self.depth,
            "whole_depth": self.whole_depth,
            "root_diameter": self.root_diameter,
            "centres": self.centres,
            "throat_radius": self.throat_radius,
            "rim_diameter": self.rim_diameter,
            "touch_before": self.touch_before,
            "span_teeth": self.span and self.span.teeth,
            "span": self.span and self.span.size,
            "ball": self.balls and self.balls.ball,
            "balls": self.balls and self.balls.size,
            "pin": self.pins and self.pins.ball,
            "pins": self.pins and self.pins.size,
            "chord_height": self.chord and self.chord.height,
            "chord": self.chord and self.chord.thickness,
            **({} if self.key_width is None else self._keys_json()),
        }

    def _keys_json(self) -> dict[str, Any]:
        return {"key_width": self.key_width, "keys_straight_from": self.keys_straight_from}


def _straight_from(work: Work) -> float | None:
    keys = keys_of(work)
    return None if keys is None else RolledKeys.of(keys, rolling_diameter_of(work)).straight_from


def part_sizes(case: Case) -> PartSizes:
    """The sizes of the work that a set-up is for. Balls are of the sizes that are bought in the job's units."""
    work, sizes = case.job.work, case.sizes
    known = not sizes.wanting
    depth = sizes.depth if known and sizes.depth > 0 else None
    return PartSizes(
        outside_diameter=None if "outside_diameter" in sizes.wanting else sizes.outside_diameter,
        face_width=face_width_mm(work),
        depth=None if sizes.throat else depth,
        whole_depth=depth,
        root_diameter=sizes.root_diameter if known else None,
        centres=centres_at_depth(work, case.job.hob) if known else None,
        throat_radius=sizes.throat.radius if sizes.throat else None,
        rim_diameter=sizes.throat.rim_diameter if sizes.throat else None,
        touch_before=sizes.touch_before,
        span=_span(work),
        balls=_balls(work, inch=case.job.units == "in"),
        pins=_pins(work),
        chord=chord_of(work),
        key_width=None if work.key_width is None else float(work.key_width),
        keys_straight_from=_straight_from(work),
    )


def chord_of(work: Work) -> Chord | None:
    """The tooth or key as a caliper measures it, on the blank as the drawing has it; None for work with neither."""
    key = key_measure(work)
    if key is not None:
        return Chord(key.height, key.spline.key_width)
    gear = _measured_gear(work)
    return None if gear is None else Chord(measures.chordal_height(gear), measures.chordal_thickness(gear))


def key_measure(work: Work) -> KeyMeasure | None:
    """How a straight-sided key is measured on the way to depth; None for other work."""
    keys = keys_of(work)
    return None if keys is None else KeyMeasure.of(keys, rolling_diameter_of(work))


def _span(work: Work) -> SpanSize | None:
    gear = _measured_gear(work)
    if gear is None:
        return None
    try:
        count = measures.measurable_span(gear)
        return SpanSize(count, measures.span(gear, count)) if count else None
    except ValueError:
        return None


def _balls(work: Work, *, inch: bool) -> Over | None:
    gear = _measured_gear(work)
    if gear is None:
        return None
    try:
        ball = measures.default_ball(gear, inch=inch)
        return Over(ball, measures.over_balls(gear, ball)) if measures.ball_fits(gear, ball) else None
    except ValueError:
        return None


def _measured_gear(work: Work) -> gears.Gear | None:
    """The gear with an involute to be measured; None for work that has none, or whose blank ends below its teeth."""
    return None if not work.has_involutes else gear_on_blank(work)


def _pins(work: Work) -> Over | None:
    sprocket = sprocket_of(work)
    return Over(sprocket.roller_diameter, over_pins(sprocket)) if sprocket else None


def ball_text(ball: float, units: str) -> str:
    """A ball's size as it is bought: in mm, or as a fraction of an inch."""
    if units != "in":
        return f"{ball:.6g} mm"
    inches = ball / float(gears.MM_PER_INCH)
    size = Fraction(inches).limit_denominator(64)
    return f"{size} in" if abs(float(size) - inches) < 1e-9 else length(ball, units, 2)
