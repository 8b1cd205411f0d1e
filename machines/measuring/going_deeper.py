"""From what the teeth measure to how much deeper the hob must go, and what each measure must read then."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from handlead.kinematics.gears import measures
from handlead.kinematics.gears.gear import Gear
from handlead.kinematics.other_work.sprocket import over_pins
from handlead.kinematics.practice.cycle import (
    depth_left_by_balls,
    depth_left_by_span,
    depth_left_by_thickness,
)
from handlead.kinematics.work.sizes import gear_on_blank, sizes_of, sprocket_of
from handlead.machines.job_files.job_file import Gauging, Job
from handlead.machines.toml.errors import HandleadError
from handlead.machines.toml.units import length, lengths_in

from .part_sizes import ball_text, chord_of, key_measure

#: What is left to go in by is nothing below this, in mm: a division of the dial (common practice).
DONE_MM = 0.01

#: Measures that ask for depths farther apart than this, in modules, don't belong to one gear.
_APART = 0.05

#: A measure that says it was cut too deep by more than this part of the depth is misread (own choice).
_TOO_DEEP = 0.5


class NotMeasured(HandleadError, ValueError):
    """Nothing was measured, or nothing that says how deep this work is cut; the message says what would."""


@dataclass(frozen=True)
class DepthMeasure:
    """One measure: what it `found`, what is `wanted` at full depth, and how much `deeper` that asks for, in mm."""

    what: str
    found: float
    wanted: float
    deeper: float


@dataclass(frozen=True, repr=False)
class Deeper:
    """How much deeper to go: by the measure that asks for least, so that nothing is cut too thin.

    `disagree` says that the measures ask for depths too far apart to belong to one gear.
    """

    job: Job
    gauging: Gauging
    measures: tuple[DepthMeasure, ...]
    disagree: bool

    def __repr__(self) -> str:
        told = "they disagree" if self.disagree else f"{self.deeper:+.3f} mm to go in"
        return f"<Deeper of {self.job.title!r}: {len(self.measures)} measures, {told}>"

    @property
    def deeper(self) -> float:
        """What is left to go in by, in mm; below 0 the teeth are too thin already."""
        return min(measure.deeper for measure in self.measures)

    @property
    def verdict(self) -> str:
        """`deeper`, `done`, or `too deep`."""
        if self.deeper > DONE_MM:
            return "deeper"
        return "done" if self.deeper >= -DONE_MM else "too deep"

    @property
    def then(self) -> tuple[tuple[str, float], ...]:
        """What each measure must read after going so much deeper, in mm."""
        return tuple((each.what, _after(each, self.deeper)) for each in self.measures)

    def as_json(self) -> dict[str, Any]:
        """The answer as one JSON object, all in mm."""
        return {
            "job": self.job.path,
            "verdict": self.verdict,
            "deeper_mm": self.deeper,
            "dial_mm": None if self.gauging.dialled is None else float(self.gauging.dialled) + self.deeper,
            "disagree": self.disagree,
            "measures": [
                {"what": each.what, "found": each.found, "wanted": each.wanted, "deeper_mm": each.deeper, "then": then}
                for each, (_, then) in zip(self.measures, self.then, strict=True)
            ],
        }


def _after(measure: DepthMeasure, deeper: float) -> float:
    """The measure after going in by so much: each changes as it must to come to what is wanted at its own depth."""
    if not measure.deeper:
        return measure.found
    return measure.found + (measure.wanted - measure.found) * deeper / measure.deeper


def go_deeper(job: Job, gauging: Gauging | None = None) -> Deeper:
    """How much deeper, by `gauging` or else by what the job's last [[measured]] says.

    Raises `NotMeasured`.
    """
    taken = gauging or next(reversed(job.measured), None)
    if taken is None or taken.is_empty:
        raise NotMeasured(
            f"{job.path}: nothing was measured. Write a [[measured]] with span, balls, chord or depth, or give one of "
            "them: --span 4=32.6"
        )
    measures = tuple(measures_of(job, taken))
    for each in measures:
        _check_likely(job, each)
    if not measures:
        raise NotMeasured(
            f"{job.path}: of a {job.work.kind} these measures say nothing about the depth. Measure the depth of a space"
        )
    depths = [each.deeper for each in measures]
    return Deeper(job, taken, measures, max(depths) - min(depths) > _APART * float(job.work.module_n))


def _check_likely(job: Job, measure: DepthMeasure) -> None:
    """Refuse a measure that this work can't have: cut less than nothing deep, or past its teeth."""
    sizes = sizes_of(job.work, job.hob)
    whole = sizes.depth
    if sizes.wanting or whole <= 0:
        return
    if -_TOO_DEEP * whole <= measure.deeper <= whole:
        return
    off = f"{length(abs(measure.deeper), job.units)} {'short of' if measure.deeper > 0 else 'past'} full depth"
    raise NotMeasured(
        f"{job.path}: {measure.what} {length(measure.found, job.units)} would be {off}, and the whole depth is "
        f"{length(whole, job.units)}. Measure again, and see to the count and the unit"
    )


def measures_of(job: Job, taken: Gauging) -> Iterator[DepthMeasure]:
    """What each measure asks for by itself. Raises `NotMeasured` for one that this work can't have."""
    work, sprocket = job.work, sprocket_of(job.work)
    gear = None if not work.has_involutes else gear_on_blank(work)
    if gear is not None:
        yield from _of_teeth(job, gear, taken)
    elif work.has_keys and taken.chord is not None:
        yield _of_key(job, float(taken.chord))
    elif sprocket is not None and taken.balls is not None:
        pin, over = map(float, taken.balls)
        wanted = over_pins(sprocket, pin)
        yield DepthMeasure(f"over {ball_text(pin, job.units)} pins", over, wanted, (over - wanted) / 2)
    sizes = sizes_of(work, job.hob)
    if taken.depth is not None and not sizes.wanting and sizes.depth > 0:
        yield DepthMeasure("depth of a space", float(taken.depth), sizes.depth, sizes.depth - float(taken.depth))


def _of_key(job: Job, width: float) -> DepthMeasure:
    key = key_measure(job.work)
    assert key is not None
    try:
        return DepthMeasure("key width", width, key.spline.key_width, key.short(width))
    except ValueError as why:
        raise NotMeasured(
            f"{job.path}: {lengths_in(str(why), job.units)}. Measure again, or measure the depth of a space"
        ) from None


def _of_teeth(job: Job, gear: Gear, taken: Gauging) -> Iterator[DepthMeasure]:
    angle = gear.pressure_angle_n_deg
    if taken.span is not None:
        count, size = taken.span[0], float(taken.span[1])
        if not 1 < count <= gear.teeth:
            raise NotMeasured(f"{job.path}: a span over {count} teeth; it takes from 2 to the gear's {gear.teeth}")
        if measures.span_fits(gear, count) is False:
            best = measures.measurable_span(gear)
            instead = f"Measure over {best}" if best else "Measure over balls or pins"
            raise NotMeasured(
                f"{job.path}: over {count} teeth a span runs off the tips or off the face of this gear. {instead}"
            )
        wanted = measures.span(gear, count)
        yield DepthMeasure(f"span over {count} teeth", size, wanted, depth_left_by_span(size - wanted, angle))
    if taken.balls is not None:
        ball, over = map(float, taken.balls)
        try:
            wanted, left = measures.over_balls(gear, ball), depth_left_by_balls(gear, ball, over)
        except ValueError:
            reads, over_what = length(over, job.units), ball_text(ball, job.units)
            raise NotMeasured(
                f"{job.path}: over {over_what} balls this gear can't measure {reads}. Measure again, and see to the "
                "ball: prove names one that fits"
            ) from None
        yield DepthMeasure(f"over {ball_text(ball, job.units)} balls", over, wanted, left)
    if taken.chord is not None:
        chord, thick = chord_of(job.work), float(taken.chord)
        assert chord is not None
        left = depth_left_by_thickness(thick - chord.thickness, angle)
        yield DepthMeasure("chordal thickness", thick, chord.thickness, left)
