"""Starting values for hob speed and feed, from a table of practice and the machine's limits.

The table comes in as rows; none is kept here. Whatever comes out is a starting value: a first
cut at light feed, and the manuals of machine and hob, decide.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from handlead.kinematics.frame import arguments
from handlead.kinematics.gears.gear import Gear

from . import cycle, finish

_UM = 1000

CUTS = ("roughing", "finishing", "radial")

#: A cut in words. A worm wheel's row serves whichever way it is fed, which isn't known here.
_CUT_WORDS = {"roughing": "roughing", "finishing": "finishing", "radial": "worm wheel"}


@dataclass(frozen=True)
class SpeedRow:
    """Cutting speeds in m/min, least and greatest, for a work material under a plain hob."""

    material: str
    speed_m_min: tuple[float, float]
    source: str
    only_named: bool = False
    """Whether the row counts only where somebody names the material."""


@dataclass(frozen=True)
class HobRow:
    """What a hob's material does to the cutting speed: factors, least and greatest."""

    hob_material: str
    speed_factor: tuple[float, float]
    source: str


@dataclass(frozen=True)
class FeedRow:
    """Feeds in mm per table turn, least and greatest, of a single-start hob, for one kind of cut."""

    cut: str
    feed: tuple[float, float]
    modules: tuple[float, float]
    """Normal modules in mm that the row speaks for."""
    source: str


@dataclass(frozen=True)
class StartsRow:
    """By how much feeds are divided for a hob of several starts."""

    starts: int
    feed_divisor: float
    source: str


@dataclass(frozen=True)
class CutData:
    """The whole table."""

    speeds: tuple[SpeedRow, ...]
    hobs: tuple[HobRow, ...]
    feeds: tuple[FeedRow, ...]
    starts: tuple[StartsRow, ...]


@dataclass(frozen=True)
class SpeedLimits:
    """What the machine can do; None where it isn't known.

    `hob_rpms` and `feeds` list what its gears give, or hold the two ends of a range where
    `hob_rpms_are_range` or `feeds_are_range` says so. Feeds are mm per table turn.
    """

    hob_rpms: tuple[float, ...] | None = None
    hob_rpms_are_range: bool = False
    feeds: tuple[float, ...] | None = None
    feeds_are_range: bool = False
    table_worm_rpm: float | None = None
    """Greatest speed of the table worm."""
    worm_turns_per_table_turn: float | None = None

    def __post_init__(self) -> None:
        for name, values, is_range in (
            ("hob speeds", self.hob_rpms, self.hob_rpms_are_range),
            ("feeds", self.feeds, self.feeds_are_range),
        ):
            if values is None:
                continue
            if not values or (is_range and (len(values) != 2 or values[0] > values[1])):
                raise ValueError(
                    f"{name} are {values!r}; give at least one, or a range as least and greatest"
                )
            for value in values:
                arguments.number(name, value, above=0)
        if self.table_worm_rpm is not None:
            arguments.number("speed of the table worm", self.table_worm_rpm, unit="rpm", above=0)
            if self.worm_turns_per_table_turn is None:
                raise ValueError(
                    "worm turns per table turn are missing; a limit on the worm's speed needs them"
                )
        if self.worm_turns_per_table_turn is not None:
            arguments.number("worm turns per table turn", self.worm_turns_per_table_turn, above=0)


@dataclass(frozen=True)
class CuttingQuestion:
    """What is to be cut, with what, and how fine: the question put to the table."""

    gear: Gear
    material: str
    hob_material: str
    hob_tip_diameter: float
    starts: int = 1
    cut: str = "finishing"
    """One of `CUTS`; radial for worm wheels fed straight in."""
    mark_um: float | None = None
    """Feed mark on the flank that may not be exceeded, in micrometres."""
    units: str = "mm"
    """What reasons and warnings are worded in: "mm" with m/min, or "in" with ft/min."""

    def __post_init__(self) -> None:
        arguments.number("tip diameter of the hob", self.hob_tip_diameter, unit="mm", above=0)
        arguments.whole("starts", self.starts, at_least=1)
        if self.cut not in CUTS:
            raise ValueError(f"cut is {self.cut!r}; it must be one of {', '.join(CUTS)}")
        if self.mark_um is not None:
            arguments.number("feed mark", self.mark_um, unit="micrometres", above=0)
            if self.cut == "radial":
                raise ValueError("feed mark is given; a radial cut leaves none, so leave it out")


@dataclass(frozen=True)
class Reason:
    """One step on the way to a proposal, and where its numbers come from."""

    text: str
    source: str = ""


@dataclass(frozen=True)
class Proposal:
    """Starting values. `warnings` say what the machine cannot do or what a person must decide."""

    hob_rpm: float | None
    """None where no speed of this machine keeps the table worm within its limit."""
    cutting_speed_m_min: float | None
    table_worm_rpm: float | None
    feed: float
    """mm per table turn."""
    mark_um: float | None
    """Feed mark on the flank at that feed; None for a radial cut."""
    reasons: tuple[Reason, ...]
    warnings: tuple[str, ...]
    standing: str = "starting value"


def propose(data: CutData, job: CuttingQuestion, limits: SpeedLimits | None = None) -> Proposal:
    """Hob speed and feed to start from, with reasons.

    Aims at the lower third of each range, then gives way to the machine. Raises `ValueError` for
    a material, hob material or module that the table doesn't hold, naming what it does hold.
    """
    limits = limits or SpeedLimits()
    reasons: list[Reason] = []
    warnings: list[str] = []
    rpm = _speed(data, job, limits, reasons, warnings)
    feed = _feed(data, job, limits, reasons, warnings)
    worm = None
    if rpm is not None and limits.worm_turns_per_table_turn is not None:
        worm = cycle.table_rpm(rpm, job.gear.teeth, job.starts) * limits.worm_turns_per_table_turn
    mark = None if job.cut == "radial" else _mark(job, feed)
    if mark is not None and job.gear.hand is not None:
        warnings.append("feed mark: the formula is for spur work and only a rough guide for a helical gear")
    return Proposal(
        hob_rpm=rpm,
        cutting_speed_m_min=None if rpm is None else cycle.cutting_speed_m_min(rpm, job.hob_tip_diameter),
        table_worm_rpm=worm,
        feed=feed,
        mark_um=mark,
        reasons=tuple(reasons),
        warnings=tuple(warnings),
    )


def speed_range(data: CutData, material: str, hob_material: str) -> tuple[float, float]:
    """Least and greatest cutting speed in m/min of a pairing; `ValueError` if the table lacks it."""
    row, hob = _pairing(data, material, hob_material)
    return row.speed_m_min[0] * hob.speed_factor[0], row.speed_m_min[1] * hob.speed_factor[1]


def greatest_speed(data: CutData, hob_material: str) -> tuple[str, float]:
    """The material that a hob of this kind may cut fastest, and that speed in m/min.

    Materials that count only where they are named are left out. `ValueError` if the table lacks the kind of hob.
    """
    materials = [row.material for row in data.speeds if not row.only_named]
    speeds = {material: speed_range(data, material, hob_material)[1] for material in materials}
    fastest = max(speeds, key=lambda material: speeds[material])
    return fastest, speeds[fastest]


def feed_range(data: CutData, cut: str, module_n: float, starts: int) -> tuple[float, float]:
    """Least and greatest feed in mm per table turn; `ValueError` if the table has none."""
    row, divisor = _feed_row(data, cut, module_n), _divisor(data, starts)
    return row.feed[0] / divisor.feed_divisor, row.feed[1] / divisor.feed_divisor


# ---------------------------------------------------------------- speed


def _speed(
    data: CutData, job: CuttingQuestion, limits: SpeedLimits, reasons: list[Reason], warnings: list[str]
) -> float | None:
    row, hob = _pairing(data, job.material, job.hob_material)
    low, high = speed_range(data, job.material, job.hob_material)
    aim = _lower_third(low, high)
    speeds = f"{_in_speed(low, job):.3g} to {_in_speed(high, job):.3g} {_per_minute(job)}"
    text = f"{job.material}, {job.hob_material} hob: {speeds}, aimed at {_in_speed(aim, job):.3g}"
    reasons.append(Reason(text, _sources(row.source, hob.source)))
    rpm = cycle.hob_rpm(aim, job.hob_tip_diameter)
    greatest = cycle.hob_rpm(high, job.hob_tip_diameter)
    most = _most_rpm(job, limits, reasons)
    chosen = _choose(limits.hob_rpms, limits.hob_rpms_are_range, rpm * low / aim, rpm, min(greatest, most))
    if chosen is None:
        chosen = min(limits.hob_rpms or (0.0,))
        if chosen > most * (1 + 1e-9):
            warnings.append(
                f"hob speed: even {chosen:.4g} rpm, the machine's slowest, drives the table worm beyond "
                f"{limits.table_worm_rpm:g} rpm with {job.gear.teeth} teeth and {job.starts} starts. "
                "Take a hob of fewer starts"
            )
            return None
        if chosen > greatest:
            warnings.append(
                f"hob speed: {chosen:.4g} rpm is the machine's slowest and gives more than "
                f"{_in_speed(high, job):.3g} {_per_minute(job)}. "
                "Take a smaller or a better hob"
            )
    v = cycle.cutting_speed_m_min(chosen, job.hob_tip_diameter)
    across = _length(job.hob_tip_diameter, job)
    reasons.append(Reason(f"{chosen:.4g} rpm on a hob of {across} is {_in_speed(v, job):.3g} {_per_minute(job)}"))
    if v < low * (1 - 1e-9):
        reasons.append(Reason("slower than the table's range: it costs time, not the hob"))
    return chosen


def _most_rpm(job: CuttingQuestion, limits: SpeedLimits, reasons: list[Reason]) -> float:
    """Hob speed at which the table worm reaches its limit."""
    if limits.table_worm_rpm is None or limits.worm_turns_per_table_turn is None:
        return math.inf
    table = limits.table_worm_rpm / limits.worm_turns_per_table_turn
    most = table * job.gear.teeth / job.starts
    text = f"the table worm's {limits.table_worm_rpm:g} rpm holds the hob to {most:.4g} rpm"
    reasons.append(Reason(text, "the machine's file"))
    return most


# ---------------------------------------------------------------- feed


def _feed(
    data: CutData, job: CuttingQuestion, limits: SpeedLimits, reasons: list[Reason], warnings: list[str]
) -> float:
    row, divisor = _feed_row(data, job.cut, job.gear.module_n), _divisor(data, job.starts)
    low, high = feed_range(data, job.cut, job.gear.module_n, job.starts)
    feed, most = _lower_third(low, high), high
    text = (
        f"{_CUT_WORDS[job.cut]}, {job.starts}-start hob: {_in_length(low, job):.3g} to {_length(high, job, 3)} "
        f"per table turn, aimed at {_in_length(feed, job):.3g}"
    )
    reasons.append(Reason(text, _sources(row.source, divisor.source)))
    if job.mark_um is not None:
        largest = finish.largest_feed(
            job.mark_um, job.hob_tip_diameter, job.gear.pressure_angle_n_deg, job.gear.helix_angle_deg
        )
        reasons.append(
            Reason(
                f"a feed mark of {_mark_words(job.mark_um, job)} allows {_length(largest, job, 3)} per table turn",
                "own derivation",
            )
        )
        most = min(most, largest)
    chosen = _choose(limits.feeds, limits.feeds_are_range, low, feed, most)
    if chosen is None:
        chosen = min(limits.feeds or (most,))
        left = "" if job.cut == "radial" else f" and leaves marks of {_mark_words(_mark(job, chosen), job)}"
        warnings.append(f"feed: {_length(chosen, job, 4)} per table turn is the machine's finest{left}")
    elif limits.feeds is not None:
        given = "lies within what the machine allows" if limits.feeds_are_range else "is what the machine gives"
        reasons.append(Reason(f"{_length(chosen, job, 4)} per table turn {given}", "the machine's file"))
    return chosen


_MM_PER_INCH, _M_PER_FOOT = 25.4, 0.3048


def _in_length(mm: float, job: CuttingQuestion) -> float:
    """A length in the units that the words are in."""
    return mm / _MM_PER_INCH if job.units == "in" else mm


def _length(mm: float, job: CuttingQuestion, digits: int = 6) -> str:
    return f"{_in_length(mm, job):.{digits}g} {job.units}"


def _in_speed(m_min: float, job: CuttingQuestion) -> float:
    """A cutting speed in the units that the words are in."""
    return m_min / _M_PER_FOOT if job.units == "in" else m_min


def _per_minute(job: CuttingQuestion) -> str:
    return "ft/min" if job.units == "in" else "m/min"


def _mark_words(um: float, job: CuttingQuestion) -> str:
    return f"{um / (_UM * _MM_PER_INCH):.5f} in" if job.units == "in" else f"{um:.3g} µm"


def _mark(job: CuttingQuestion, feed: float) -> float:
    gear = job.gear
    return finish.flank_mark_um(feed, job.hob_tip_diameter, gear.pressure_angle_n_deg, gear.helix_angle_deg)


# ---------------------------------------------------------------- the table


def _pairing(data: CutData, material: str, hob_material: str) -> tuple[SpeedRow, HobRow]:
    speeds = {row.material: row for row in data.speeds}
    hobs = {row.hob_material: row for row in data.hobs}
    if material not in speeds:
        raise ValueError(f"material is {material!r}; the table holds {', '.join(map(repr, speeds))}")
    if hob_material not in hobs:
        raise ValueError(f"hob material is {hob_material!r}; the table holds {', '.join(map(repr, hobs))}")
    return speeds[material], hobs[hob_material]


def _feed_row(data: CutData, cut: str, module_n: float) -> FeedRow:
    for row in data.feeds:
        if row.cut == cut and row.modules[0] <= module_n <= row.modules[1]:
            return row
    held = ", ".join(f"{row.modules[0]:g} to {row.modules[1]:g}" for row in data.feeds if row.cut == cut)
    raise ValueError(f"module is {module_n:g} mm; for {cut} the table holds {held or 'none'}")


def _divisor(data: CutData, starts: int) -> StartsRow:
    for row in data.starts:
        if row.starts == starts:
            return row
    held = ", ".join(str(row.starts) for row in data.starts)
    raise ValueError(f"starts are {starts}; the table holds {held}")


def _lower_third(low: float, high: float) -> float:
    return low + (high - low) / 3


def _choose(
    values: tuple[float, ...] | None, is_range: bool, low: float, aim: float, most: float
) -> float | None:
    """What the machine gives nearest below `aim`; else up to `most`; None where all is beyond that.

    Where the machine gives nothing between `low` and `aim`, the next value above `aim` is better
    than one below the range, as long as it stays within `most`.
    """
    limit = min(aim, most)
    if values is None:
        return limit
    if is_range:
        least, greatest = values
        return None if least > most else max(least, min(limit, greatest))
    allowed = sorted(value for value in values if value <= most * (1 + 1e-9))
    in_aim = [value for value in allowed if low * (1 - 1e-9) <= value <= limit * (1 + 1e-9)]
    above_aim = [value for value in allowed if value > limit]
    return next(iter(in_aim[-1:] or above_aim[:1] or allowed[-1:]), None)


def _sources(*sources: str) -> str:
    return "; ".join(dict.fromkeys(sources))
