"""The brackets to be filled for one way of setting the machine, and the sets that would do on each, in order."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from typing import Any

from handlead.kinematics.search.change_gears import ChangeGearSet
from handlead.kinematics.search.ratios import relative_error
from handlead.kinematics.together.filling import Listed, as_it_lies, least_work, listed
from handlead.kinematics.together.together import BracketPlace, Stock
from handlead.kinematics.train.solution import solve
from handlead.kinematics.work.requirement import Work, gear_of
from handlead.machines.planning.asked import Asked
from handlead.machines.planning.asking import near_ratios, speed_limits, turns_over
from handlead.machines.planning.planned import Planned, slope_limit_um
from handlead.machines.planning.wanted import Wanted
from handlead.machines.setups.case import face_width_mm
from handlead.machines.setups.ways import Needed

#: Steps by which the hob may run slower, or faster within its row, than meant, so that the speed gears can stay.
_SLOWER = 5


def index_place(wanted: Wanted, demand: Needed) -> BracketPlace:
    """The bracket that indexes the table: the count exactly."""
    assert demand.way.constants.index is not None
    return wanted.place(demand.way.constants.index.bracket, demand.index, exact=True)


def feed_place(wanted: Wanted, demand: Needed, asked: Asked) -> BracketPlace | None:
    """The feed's bracket, over all feeds that are offered; None where no slide is fed."""
    rule = demand.way.feed_rule(demand.slide) if demand.slide else None
    if rule is None or demand.feed_ratio is None:
        return None
    per_mm = abs(demand.feed_ratio / demand.feed)
    span = (asked.feed.least * per_mm, asked.feed.most * per_mm)
    return wanted.place(rule.bracket, demand.feed_ratio, span=span, weight=Fraction(1, 10**7))


def differential_place(wanted: Wanted, demand: Needed, lead_as: Planned | None = None) -> BracketPlace | None:
    """The differential's bracket; with another member's very ratio where there is one."""
    bracket = demand.way.differential(demand.slide) if demand.slide else None
    if bracket is None or demand.differential is None:
        return None
    place = wanted.place(bracket, demand.differential)
    theirs = lead_as.setup.change.get(bracket) if lead_as else None
    return replace(place, target=theirs.size, exact=True) if theirs else place


def speed_place(wanted: Wanted, demand: Needed, asked: Asked) -> BracketPlace | None:
    """The bracket that sets the hob's speed, so that no part of the train runs faster, or slower, than it may."""
    way = demand.way
    name, drive = way.constants.speed, way.train.drives[way.drive].rpm
    if name is None:
        return None
    over = turns_over(wanted, way) if demand.slide == "radial" else None
    solution = solve(way.train.with_ratios({name: Fraction(1), **near_ratios(demand)}), way.drive)
    per_drive = solution.end_rate("hob")
    if not per_drive or drive is None:
        span = (Fraction(1, 100), Fraction(100))
        return replace(wanted.place(name, Fraction(1), weight=Fraction(0), span=span), turns_over=over)
    least, most = speed_limits(wanted, solution.rates, drive)
    aim = asked.speed.aim
    target = abs(aim / (per_drive * drive)) if aim else min(Fraction(1), most)
    target = max(min(target, most), least)
    span = (least, max(most, least))
    return replace(wanted.place(name, target, span=span, weight=Fraction(0)), turns_over=over)


def loose_places(wanted: Wanted, demand: Needed) -> list[BracketPlace]:
    """The brackets in series with others, each at the ratio that the way has for it."""
    return [wanted.place(name, ratio, exact=True) for name, ratio in demand.way.loose.items()]


Preference = Callable[[ChangeGearSet], Any]


def index_list(place: BracketPlace, stock: Stock, wanted: Wanted) -> Listed:
    """The sets that index the table, or that give a loose bracket's ratio, with the least work first."""
    return _with_lying(listed(place, stock, least_work, 60), place, stock, wanted, lambda ratio: True)


def feed_preference(demand: Needed, asked: Asked) -> Preference:
    """The feed as it is asked, no idler, near what is proposed, few gears."""

    def prefer(one: ChangeGearSet) -> Any:
        feed = one.ratio / ratio_per_mm(demand)
        asked_for = (*asked.feed.broken(feed), len(one.idlers), asked.feed.steps(feed))
        return (*asked_for, len(one.gears), abs(one.error), one.gears)

    return prefer


def ratio_per_mm(demand: Needed) -> Fraction:
    """The ratio of the feed gears for a mm per table turn, without sign."""
    return abs(demand.feed_ratio / demand.feed) if demand.feed_ratio else Fraction(1)


def feed_list(place: BracketPlace, stock: Stock, wanted: Wanted, demand: Needed, asked: Asked) -> Listed:
    """The sets for the feeds offered, as feeds are preferred."""
    def serves(ratio: Fraction) -> bool:
        feed = ratio / ratio_per_mm(demand)
        return not any(asked.feed.broken(feed)) and asked.feed.steps(feed) <= 1

    return _with_lying(listed(place, stock, feed_preference(demand, asked)), place, stock, wanted, serves)


def _off(place: BracketPlace, work: Work) -> Callable[[float], int]:
    """Tenths of the class that a relative error of the differential's ratio takes up.

    Another member's own ratio is as it is.
    """
    of_one, limit = (0.0, 1.0) if place.exact else (slope_um(work, 1.0), slope_limit_um(work))
    return lambda error: int(10 * abs(of_one * error) / limit)


def differential_preference(place: BracketPlace, work: Work) -> Preference:
    """A lead whose error no longer matters, no idler, few gears, the truest."""
    off = _off(place, work)
    return lambda one: (off(one.error), len(one.idlers), len(one.gears), abs(one.error))


def differential_list(place: BracketPlace, stock: Stock, wanted: Wanted, work: Work) -> Listed:
    """The sets for the lead, as leads are preferred."""
    made, off = listed(place, stock, differential_preference(place, work), 60), _off(place, work)
    best = off(made.items[0].set.error) if made.items else 0

    def serves(ratio: Fraction) -> bool:
        return off(relative_error(ratio, place.target)) <= best

    return _with_lying(made, place, stock, wanted, serves)


def slope_um(work: Work, error: float) -> float:
    """What a relative error of the differential's ratio leaves over the face, in µm; near enough for choosing."""
    if work.kind == "worm wheel":
        return 1000 * math.pi * float(work.module_n) * error
    lead = work.lead_mm
    return 1000 * math.pi * gear_of(work).base_diameter * face_width_mm(work) * error / lead if lead else 0.0


def error_allowed(work: Work) -> float:
    """How far the differential's ratio may be off, relatively, within the drawing's class."""
    of_one = abs(slope_um(work, 1.0))
    return slope_limit_um(work) / of_one if of_one else 0.0


def speed_list(place: BracketPlace, stock: Stock, wanted: Wanted, demand: Needed, asked: Asked) -> Listed:
    """The sets for the hob's speed, near what is meant first."""
    way = demand.way
    drive = way.train.drives[way.drive].rpm
    solution = solve(way.train.with_ratios({place.name: Fraction(1), **near_ratios(demand)}), way.drive)
    per_drive = solution.end_rate("hob")
    per_ratio = abs(per_drive * drive) if per_drive and drive else None

    def steps(ratio: Fraction) -> int:
        return asked.speed.steps(float(ratio * per_ratio)) if per_ratio else 0

    made = listed(
        place, stock,
        lambda one: (steps(one.ratio), len(one.idlers), len(one.gears), abs(one.error), one.gears), 40,
    )  # fmt: skip
    best = steps(made.items[0].set.ratio) if made.items else 0
    # Slower costs time, not the hob: what stands there stays, unless the job itself asks for a speed.
    most = best if asked.speed.said is not None else max(best, _SLOWER)
    return _with_lying(made, place, stock, wanted, lambda ratio: steps(ratio) <= most)


def _with_lying(
    made: Listed, place: BracketPlace, stock: Stock, wanted: Wanted, serves: Callable[[Fraction], bool]
) -> Listed:
    """What stands on the bracket already put first, where it will do."""
    there = wanted.lying.get(place.name)
    if place.name in wanted.held and there is not None:
        item = as_it_lies(place, stock, there)
        return replace(made, items=(item,) if item else ())
    if there is None or not serves(there.size):
        return made
    item = as_it_lies(place, stock, there)
    return made if item is None else replace(made, items=(item, *made.items))
