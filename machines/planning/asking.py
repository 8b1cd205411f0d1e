"""What each way of setting the machine asks of its brackets, and which ways suit the hob's speed."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from fractions import Fraction
from typing import Any

from handlead.kinematics.search.change_gears import kinds
from handlead.kinematics.train.solution import solve
from handlead.kinematics.work.requirement import Work
from handlead.machines.setups.ways import Needed, feed_signed, needed

from .asked import Asked
from .wanted import Wanted


def demands(wanted: Wanted, work: Work, asked: Asked) -> Iterator[Needed]:
    """What each usable way asks of its brackets, the slide that suits the work fed."""
    for slide in _slides(work):
        found = [needed(way, work, wanted.job.hob, slide, _signed(wanted, way, slide, asked)) for way in wanted.ways]
        usable = [demand for demand in found if demand]
        yield from at_best_speed(wanted, usable, asked)
        if usable:
            return


def _slides(work: Work) -> tuple[str | None, ...]:
    if work.kind != "worm wheel":
        return ("axial",)
    return ("tangential", "radial", None)


def _signed(wanted: Wanted, way: Any, slide: str | None, asked: Asked) -> Fraction:
    """The feed with its sign in the frame: as it is meant, and radially always towards the work.

    The table turns by minus the hob's hand while the hob is cutting up, so that a slide going in, the negative way,
    goes by the hob's hand per table turn; while it is cutting down, the other way.
    """
    if slide != "radial":
        return feed_signed(wanted.job.hob, asked.feed.aim, wanted.feed)
    turn = way.hob_per_drive or Fraction(1)
    sense = -1 if (turn < 0) is not turns_over(wanted, way) else 1
    return asked.feed.aim * wanted.job.hob.hand.value * sense


def turns_over(wanted: Wanted, way: Any) -> bool:
    """Whether the speed gears can't but turn the sense over, where the way of a radial feed depends on it."""
    name = way.constants.speed
    if name is None:
        return False
    link = wanted.bracket(name)
    return not kinds(link.pairs, link.idlers, False)


def at_best_speed(wanted: Wanted, found: list[Needed], asked: Asked) -> Iterator[Needed]:
    """Of the ways that differ in the hob's speed alone, the one that suits best and overruns nothing."""
    groups: list[list[Needed]] = []
    for demand in found:
        same = next((group for group in groups if group[0].way.constants == demand.way.constants), None)
        if same is None:
            groups.append([demand])
        else:
            same.append(demand)
    for group in groups:
        yield min(group, key=lambda demand: _misfit(wanted, demand, asked))


def _misfit(wanted: Wanted, demand: Needed, asked: Asked) -> tuple[Any, ...]:
    """How ill the hob speed of a way suits: a part that it overruns, the material's row, what is meant, levers."""
    way = demand.way
    drive = way.train.drives[way.drive].rpm
    if drive is None or way.constants.speed:
        return False, (False, 0.0), way.effort
    solution = solve(way.train.with_ratios(near_ratios(demand)), way.drive)
    per_drive = solution.end_rate("hob")
    if not per_drive:
        return False, (False, 0.0), way.effort
    least, most = speed_limits(wanted, solution.rates, drive)
    return not least <= 1 <= most, asked.speed.misfit(abs(per_drive * drive)), way.effort


#: A differential's ratio that turns the table by hardly anything.
_LITTLE = Fraction(1, 1000)


def near_ratios(demand: Needed) -> dict[str, Fraction]:
    """Signed ratios of index, feed and differential gears, near enough for a look at speeds."""
    way = demand.way
    assert way.constants.index is not None
    ratios = {way.constants.index.bracket: demand.index}
    rule = way.feed_rule(demand.slide) if demand.slide else None
    bracket = way.differential(demand.slide) if demand.slide else None
    if rule and demand.feed_ratio is not None:
        ratios[rule.bracket] = demand.feed_ratio
    if bracket:
        # Where it makes up for the index gears it isn't known yet, and adds little to any shaft's turning.
        lean = demand.differential
        ratios[bracket] = _LITTLE if lean is None else Fraction(float(lean)).limit_denominator(10**6)
    return ratios


def speed_limits(
    wanted: Wanted, rates: Mapping[str, Fraction | None], drive_rpm: Fraction
) -> tuple[Fraction, Fraction]:
    """The least and the greatest ratio of the speed gears at which every limited part keeps within its speeds."""
    least, most = Fraction(0), Fraction(100)
    for part, (slowest, fastest) in wanted.machine.limits.rpm.items():
        rate = rates[part]
        if rate:
            most = min(most, fastest / abs(rate * drive_rpm))
            least = max(least, (slowest or Fraction(0)) / abs(rate * drive_rpm))
    return least, most


def is_shared(demand: Needed) -> bool:
    """Whether gears of one helix angle and different counts have one ratio on the differential, whatever the feed."""
    rules = [rule for rule in demand.way.constants.differentials if rule.slide == "axial"]
    suits = bool(rules) and not rules[0].depends_on_teeth and not rules[0].feed_power
    return demand.differential is not None and suits


def goes_by_feed(demand: Needed) -> bool:
    """Whether the differential's ratio goes by the feed, as where it is fed from the table."""
    rules = demand.way.constants.differentials
    return demand.differential is not None and any(rule.slide == demand.slide and rule.feed_power for rule in rules)
