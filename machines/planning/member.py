"""One member of a job: the gears for all its brackets, every choice proved, the best first, or why there are none."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cache
from typing import Any

from handlead.kinematics.search.change_gears import ChangeGearSet, Refused, kinds, nearest_sets, reach_of
from handlead.kinematics.search.cheapest import Search
from handlead.kinematics.search.drawer import drawer_for
from handlead.kinematics.search.filling import Listed, as_it_lies, fillings, least_work, listed
from handlead.kinematics.search.ratios import compare, relative_error
from handlead.kinematics.search.small import SMALL
from handlead.kinematics.search.tied_mounts import Leftover
from handlead.kinematics.search.together import Item, Place, Steps, Stock, why_none_alone
from handlead.kinematics.train.solution import solve
from handlead.kinematics.work.requirement import Work, gear_of
from handlead.machines.judging.checks import JOB_CHECKS
from handlead.machines.proving.proof import Proof
from handlead.machines.setups.case import Case, face_width_mm
from handlead.machines.setups.ways import Needed, Way, feed_signed, needed
from handlead.machines.toml.units import feed as feed_text

from .asked import Asked
from .planned import Planned, best_of, prove_setup, slope_limit_um, tenths
from .tied import Tying, coupled_demands, coupled_sets, small_sets, table_fed_sets
from .wanted import Wanted

#: Set-ups that every way of setting the machine offers, whatever number is to be listed; fewer where ways are many.
WIDTH, _LEAST_WIDTH = 8, 3

#: Choices of gears that are looked at for one way of setting the machine: from lists, then without them; or quickly.
_STEPS, _MORE_STEPS, _QUICK = 6_000, 800, 1_000

#: Combinations that are tried on the brackets in all, where ratios hang together.
_TRIES = 1_500

#: Steps by which the hob may run slower, or faster within its row, than meant, so that the speed gears can stay.
_SLOWER = 5

#: Feeds that are tried where the differential's ratio goes by the feed.
_FEEDS = 12

Sets = Mapping[str, ChangeGearSet]


@dataclass
class Found:
    """What was found for one member: `setups` best first, or `none_because`.

    `is_settled`: no gears would help. `not_searched` says in words what was left out, where the search stopped early.
    """

    asked: Asked
    setups: list[Planned] = field(default_factory=list)
    refused: tuple[Refused, ...] = ()
    none_because: str | None = None
    is_settled: bool = False
    not_searched: str = ""


#: What is told of a member while it is being searched: the best so far, or why there is none so far.
Tell = Callable[[Found], None]

_GOES_ON = "the search goes on"


@dataclass(frozen=True)
class Manner:
    """How a member is searched.

    With `pair` only ways are looked at in which both members of a pair can have one ratio on the differential;
    `lead_as` is the other member, whose ratio it must be. With `plain`, only the first set-up of the plain way, if
    there is one. With `alone`, only such as have the count in the index gears alone. `tell` is called with the best so
    far each time that a better one is found, and once with what stands against the plain way where that gives none.
    """

    pair: bool = False
    lead_as: Planned | None = None
    plain: bool = False
    alone: bool = False
    tell: Tell | None = None


@dataclass
class _Log:
    """Why ways led to nothing, each with how far it got: the one that got farthest tells the truth."""

    reasons: list[tuple[int, str]] = field(default_factory=list)
    cut_short: bool = False
    quick: bool = False
    #: Set-ups that were proved already: wider spans of feed find them again.
    proved: dict[Any, Planned | Proof] = field(default_factory=dict)
    tell: Tell | None = None
    _best: tuple[Any, ...] | None = None

    def better(self, planned: Planned, asked: Asked) -> None:
        """Tell of a set-up that is better than all before it."""
        if self.tell and (self._best is None or planned.merit < self._best):
            self._best = planned.merit
            self.tell(Found(asked, [planned], not_searched=_GOES_ON))

    def add(self, reached: int, why: str) -> None:
        self.reasons.append((reached, why.rstrip(".")))

    @property
    def farthest(self) -> int:
        """How far the way got that got farthest."""
        return max((reached for reached, _ in self.reasons), default=0)

    def text(self) -> str:
        told: dict[str, str] = {}
        for reached, why in self.reasons:
            # One reason a bracket: other levers ask another ratio of it, and fail alike.
            if reached == self.farthest:
                told.setdefault(why.split(":")[0], why)
        return "; ".join(told.values())


#: How far a way got: the index gears, feed and differential gears, all of them together, the proof, and then only
#: the machine's limits, against which no gears help.
_INDEX, _RATIOS, _TOGETHER, _PROOF, _LIMITS = range(1, 6)


def search_member(wanted: Wanted, work: Work, manner: Manner = Manner()) -> Found:
    """The set-ups for one member, the best first.

    Loose gears in series with others stay as they are, or at 1 in size, wherever the count can then be indexed; else
    those ratios of theirs are tried with which it can.
    """
    first = _search(wanted, work, manner)
    if first.is_settled or any(planned.is_exact for planned in first.setups):
        return first
    for other in wanted.with_other_loose(work):
        if any(_may_index(other, work, way) for way in other.ways):
            found = _search(other, work, replace(manner, alone=True))
            if found.setups:
                return found
    return first


def _may_index(wanted: Wanted, work: Work, way: Way) -> bool:
    """Whether this way's index gears can be had at all beside its loose ones."""
    assert way.constants.index is not None
    hob = wanted.job.hob
    ratio = way.constants.index.ratio(hob.hand, hob.starts, work.teeth)
    demand = Needed(way, None, ratio, Fraction(0), None, None)
    places = [index_place(wanted, demand), *loose_places(wanted, demand)]
    try:
        stock = Stock.of(places, wanted.gear_sets)
    except ValueError:
        return False
    return all(_index_list(place, stock, wanted).items for place in places)


def _search(wanted: Wanted, work: Work, manner: Manner) -> Found:
    """The set-ups with the loose gears as the ways have them."""
    asked = Asked.of(wanted.job, work, wanted.machine)
    result = Found(asked)
    settled = _settled(wanted, work)
    if settled:
        result.is_settled, result.none_because = True, settled
        return result
    plain, pair = manner.plain, manner.pair
    log = _Log(quick=plain, tell=manner.tell)
    found: list[tuple[int, Planned]] = []
    asks = list(demands(wanted, work, asked))
    # Where many ways serve, fewer of each are enough to choose from.
    width = max(_LEAST_WIDTH, 2 * WIDTH // max(2, len(asks)))
    for demand in asks:
        if pair and not _is_shared(demand):
            continue
        sets = _direct(wanted, work, demand, asked, log, manner.lead_as)
        sets = sets[: 1 if plain else width if wanted.top <= WIDTH else wanted.top]
        found += _proved(wanted, work, demand, asked, sets, log)
        if plain and found:
            break
        result.refused = result.refused or _nearer_refused(wanted, demand)
    if not found and work.kind != "worm wheel" and not pair and not (plain and asks) and not manner.alone:
        if manner.tell:
            manner.tell(Found(asked, none_because=log.text() or _no_way(work), not_searched=_GOES_ON))
        of_coupled = _Log(tell=manner.tell)
        found = _coupled(wanted, work, asked, of_coupled)
        log.cut_short |= of_coupled.cut_short
        # What stands against the plain way is what a person can do something about.
        too_fast = all(reached == _LIMITS for reached, _ in of_coupled.reasons) and not of_coupled.cut_short
        log.reasons = of_coupled.reasons if of_coupled.reasons and too_fast else log.reasons or of_coupled.reasons
    found = [(number, planned) for number, planned in found if wanted.keeps(planned.setup.change)]
    # What lies beyond the usual width comes after it, so that the best is the same however many are listed.
    usual = best_of([one for number, one in found if number < width], asked)
    more = best_of([one for number, one in found if number >= width], asked) if wanted.top > WIDTH else []
    result.setups = usual + more
    if not found:
        result.none_because = (log.text() or _no_way(work)) + wanted.held_words
        result.is_settled = log.farthest == _LIMITS
        if log.cut_short:
            result.not_searched = (
                "not every choice of gears was looked at: there may be a set-up among those that were left out"
            )
    return result


def _settled(wanted: Wanted, work: Work) -> str:
    """What stands against the work whatever gears could be got; empty if nothing does."""
    against = _whatever_the_gears(wanted, work)
    if against:
        return "; ".join(against)
    if not wanted.ways:
        return "with no position of its levers does a bracket index the table"
    if not wanted.gear_sets:
        return "the machine file lists no change gears: name those that there are under [[gear_set]]"
    return ""


def _whatever_the_gears(wanted: Wanted, work: Work) -> list[str]:
    """What stands against the work on this machine whatever gears are mounted."""
    way = wanted.ways[0] if wanted.ways else None
    if way is None:
        return []
    bare = wanted.setup(work, Needed(way, "axial", Fraction(1), Fraction(1), None, None), {})
    case = Case.of(replace(wanted.job, machine=wanted.machine, work=work, mate=None, setup=bare), bare)
    found = [finding for check in JOB_CHECKS for finding in check(case)]
    return [finding.message.rstrip(".") for finding in found if finding.severity == "error"]


def _no_way(work: Work) -> str:
    if work.kind == "worm wheel":
        return "the machine feeds neither its tangential nor its radial slide for this work"
    if work.is_helical:
        return "no position of the levers lets the table's turning and the axial slide make this lead between them"
    return "no position of the levers feeds the axial slide with the differential out"


# ---------------------------------------------------------------- what is asked of the brackets


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
    sense = -1 if (turn < 0) is not _turns_over(wanted, way) else 1
    return asked.feed.aim * wanted.job.hob.hand.value * sense


def _turns_over(wanted: Wanted, way: Any) -> bool:
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
    solution = solve(way.train.with_ratios(_ratios(demand)), way.drive)
    per_drive = solution.end_rate("hob")
    if not per_drive:
        return False, (False, 0.0), way.effort
    least, most = _speed_limits(wanted, solution.rates, drive)
    return not least <= 1 <= most, asked.speed.misfit(abs(per_drive * drive)), way.effort


#: A differential's ratio that turns the table by hardly anything.
_LITTLE = Fraction(1, 1000)


def _ratios(demand: Needed) -> dict[str, Fraction]:
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


def _speed_limits(
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


def _is_shared(demand: Needed) -> bool:
    """Whether gears of one helix angle and different counts have one ratio on the differential, whatever the feed."""
    rules = [rule for rule in demand.way.constants.differentials if rule.slide == "axial"]
    suits = bool(rules) and not rules[0].depends_on_teeth and not rules[0].feed_power
    return demand.differential is not None and suits


def goes_by_feed(demand: Needed) -> bool:
    """Whether the differential's ratio goes by the feed, as where it is fed from the table."""
    rules = demand.way.constants.differentials
    return demand.differential is not None and any(rule.slide == demand.slide and rule.feed_power for rule in rules)


# ---------------------------------------------------------------- places and their lists


def index_place(wanted: Wanted, demand: Needed) -> Place:
    """The bracket that indexes the table: the count exactly."""
    assert demand.way.constants.index is not None
    return wanted.place(demand.way.constants.index.bracket, demand.index, exact=True)


def feed_place(wanted: Wanted, demand: Needed, asked: Asked) -> Place | None:
    """The feed's bracket, over all feeds that are offered; None where no slide is fed."""
    rule = demand.way.feed_rule(demand.slide) if demand.slide else None
    if rule is None or demand.feed_ratio is None:
        return None
    per_mm = abs(demand.feed_ratio / demand.feed)
    span = (asked.feed.least * per_mm, asked.feed.most * per_mm)
    return wanted.place(rule.bracket, demand.feed_ratio, span=span, weight=Fraction(1, 10**7))


def differential_place(wanted: Wanted, demand: Needed, lead_as: Planned | None = None) -> Place | None:
    """The differential's bracket; with another member's very ratio where there is one."""
    bracket = demand.way.differential(demand.slide) if demand.slide else None
    if bracket is None or demand.differential is None:
        return None
    place = wanted.place(bracket, demand.differential)
    theirs = lead_as.setup.change.get(bracket) if lead_as else None
    return replace(place, target=theirs.size, exact=True) if theirs else place


def speed_place(wanted: Wanted, demand: Needed, asked: Asked) -> Place | None:
    """The bracket that sets the hob's speed, so that no part of the train runs faster, or slower, than it may."""
    way = demand.way
    name, drive = way.constants.speed, way.train.drives[way.drive].rpm
    if name is None:
        return None
    over = _turns_over(wanted, way) if demand.slide == "radial" else None
    solution = solve(way.train.with_ratios({name: Fraction(1), **_ratios(demand)}), way.drive)
    per_drive = solution.end_rate("hob")
    if not per_drive or drive is None:
        span = (Fraction(1, 100), Fraction(100))
        return replace(wanted.place(name, Fraction(1), weight=Fraction(0), span=span), turns_over=over)
    least, most = _speed_limits(wanted, solution.rates, drive)
    aim = asked.speed.aim
    target = abs(aim / (per_drive * drive)) if aim else min(Fraction(1), most)
    target = max(min(target, most), least)
    span = (least, max(most, least))
    return replace(wanted.place(name, target, span=span, weight=Fraction(0)), turns_over=over)


def loose_places(wanted: Wanted, demand: Needed) -> list[Place]:
    """The brackets in series with others, each at the ratio that the way has for it."""
    return [wanted.place(name, ratio, exact=True) for name, ratio in demand.way.loose.items()]


Preference = Callable[[ChangeGearSet], Any]


def _index_list(place: Place, stock: Stock, wanted: Wanted) -> Listed:
    return _with_lying(listed(place, stock, least_work, 60), place, stock, wanted, lambda ratio: True)


def feed_preference(demand: Needed, asked: Asked) -> Preference:
    """The feed as it is asked, no idler, near what is proposed, few gears."""

    def prefer(one: ChangeGearSet) -> Any:
        feed = one.ratio / _per_mm(demand)
        asked_for = (*asked.feed.broken(feed), len(one.idlers), asked.feed.steps(feed))
        return (*asked_for, len(one.gears), abs(one.error), one.gears)

    return prefer


def _per_mm(demand: Needed) -> Fraction:
    """The ratio of the feed gears for a mm per table turn, without sign."""
    return abs(demand.feed_ratio / demand.feed) if demand.feed_ratio else Fraction(1)


def _feed_list(place: Place, stock: Stock, wanted: Wanted, demand: Needed, asked: Asked) -> Listed:
    def serves(ratio: Fraction) -> bool:
        feed = ratio / _per_mm(demand)
        return not any(asked.feed.broken(feed)) and asked.feed.steps(feed) <= 1

    return _with_lying(listed(place, stock, feed_preference(demand, asked)), place, stock, wanted, serves)


def _off(place: Place, work: Work) -> Callable[[float], int]:
    """Tenths of the class that a relative error of the differential's ratio takes up.

    Another member's own ratio is as it is.
    """
    of_one, limit = (0.0, 1.0) if place.exact else (slope_um(work, 1.0), slope_limit_um(work))
    return lambda error: int(10 * abs(of_one * error) / limit)


def differential_preference(place: Place, work: Work) -> Preference:
    """A lead whose error no longer matters, no idler, few gears, the truest."""
    off = _off(place, work)
    return lambda one: (off(one.error), len(one.idlers), len(one.gears), abs(one.error))


def _differential_list(place: Place, stock: Stock, wanted: Wanted, work: Work) -> Listed:
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


def _speed_list(place: Place, stock: Stock, wanted: Wanted, demand: Needed, asked: Asked) -> Listed:
    way = demand.way
    drive = way.train.drives[way.drive].rpm
    solution = solve(way.train.with_ratios({place.name: Fraction(1), **_ratios(demand)}), way.drive)
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
    made: Listed, place: Place, stock: Stock, wanted: Wanted, serves: Callable[[Fraction], bool]
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


# ---------------------------------------------------------------- the search


def _direct(
    wanted: Wanted, work: Work, demand: Needed, asked: Asked, log: _Log, lead_as: Planned | None
) -> list[Sets]:
    """Gears for all brackets, the count in the index gears alone; the likeliest first."""
    index, feed = index_place(wanted, demand), feed_place(wanted, demand, asked)
    differential, speed = differential_place(wanted, demand, lead_as), speed_place(wanted, demand, asked)
    loose = loose_places(wanted, demand)
    places = [place for place in (differential, index, feed, speed, *loose) if place]
    try:
        stock = Stock.of(places, wanted.gear_sets)
    except ValueError as fault:
        log.add(0, str(fault))
        return []
    indexes = _index_list(index, stock, wanted)
    if not _stands(indexes, index, stock, log, _INDEX):
        return []
    speeds = [_speed_list(speed, stock, wanted, demand, asked)] if speed else []
    if speeds and not speeds[0].items:
        log.add(_LIMITS, _no_speed(wanted, demand, speeds[0].place, stock))
        return []
    speeds += [_index_list(place, stock, wanted) for place in loose]
    if feed is None:
        return _filled(stock, [indexes, *speeds], wanted, log)
    feeds = _feed_list(feed, stock, wanted, demand, asked)
    if not feeds.items:
        log.add(_RATIOS, _no_feed(wanted, demand, asked, feed, stock))
        return []
    if differential is None:
        return _filled(stock, [_spread(feeds, demand, asked), *_lying_first([indexes, *speeds])], wanted, log)
    if goes_by_feed(demand):
        return _by_feeds(wanted, work, demand, asked, log, stock, (indexes, feeds, speeds))
    leads = _differential_list(differential, stock, wanted, work)
    if not _in_reach(differential, stock, log) or not _stands(leads, differential, stock, log, _RATIOS):
        return []
    return _filled(stock, [leads, *_lying_first([indexes, feeds, *speeds])], wanted, log)


def _lying_first(lists: list[Listed]) -> list[Listed]:
    """Brackets on which something can stay ahead of the others, which then take what is left."""
    return sorted(lists, key=lambda one: not (one.items and one.items[0].lies))


def _stands(made: Listed, place: Place, stock: Stock, log: _Log, reached: int) -> bool:
    if not made.items:
        log.add(reached, f"{place.name}: {why_none_alone(place, stock)}")
    return bool(made.items)


def _in_reach(place: Place, stock: Stock, log: _Log) -> bool:
    """Whether the ratio lies within what the gears reach at all."""
    if place.largest:
        return True
    reaches = [reach for pairs in place.pairs if (reach := reach_of(stock.drawers[place.name], pairs))]
    low, high = min((r[0] for r in reaches), default=Fraction(1)), max((r[1] for r in reaches), default=Fraction(1))
    if compare(place.target, low * Fraction(99, 100)) >= 0 and compare(place.target, high * Fraction(101, 100)) <= 0:
        return True
    log.add(
        _RATIOS,
        f"{place.name}: the lead takes a ratio of {float(place.target):.6g}, and the gears that there are give "
        f"from {float(low):.6g} to {float(high):.6g}",
    )
    return False


def _filled(stock: Stock, lists: list[Listed], wanted: Wanted, log: _Log) -> list[Sets]:
    """The likeliest choices that the drawers allow together."""
    steps, found = Steps(_QUICK if log.quick else _STEPS), _left_standing(stock, lists, log)
    for sets in fillings(stock, lists, steps):
        found.append(sets)
        if log.quick or len(found) >= max(WIDTH, wanted.top):
            return found
    if found:
        return found
    if (steps.ran_out or not all(one.complete for one in lists)) and not log.quick:
        more = Steps(_MORE_STEPS)
        best = Search(stock, [one.place for one in lists], steps=more).best(WIDTH, stock.full)
        if best:
            return [each.sets for each in best]
        log.cut_short |= more.ran_out
    names = [one.place.name for one in lists]
    log.add(
        _TOGETHER,
        f"{', '.join(names[:-1])} and {names[-1]} can each be met alone, but not together: they ask for the same gears",
    )
    return []


def _left_standing(stock: Stock, lists: list[Listed], log: _Log) -> list[Sets]:
    """For each bracket on which gears can stay the likeliest choice with them; the first list has its say anyway."""
    found: list[Sets] = []
    for number, one in enumerate(lists):
        if number and one.items and one.items[0].lies and not log.quick:
            led = [replace(one, items=one.items[:1]), *lists[:number], *lists[number + 1 :]]
            found += itertools.islice(fillings(stock, led, Steps(_QUICK)), 1)
    return [sets for number, sets in enumerate(found) if sets not in found[:number]]


def _spread(feeds: Listed, demand: Needed, asked: Asked) -> Listed:
    """Feeds that differ so that it matters ahead of those that hardly differ."""
    per_mm = _per_mm(demand)
    seen: dict[Any, int] = {}
    first: list[Item] = []
    after: list[Item] = []
    for item in feeds.items:
        feed = item.set.ratio / per_mm
        step = asked.feed.steps(feed)
        kind = (step, step and feed < asked.feed.aim, len(item.idlers and item.set.idlers))
        seen[kind] = seen.get(kind, 0) + 1
        (first if seen[kind] == 1 else after).append(item)
    if first and seen:
        # A few more of the best kind right behind the first: it may be the only one that goes with the other gears.
        return replace(feeds, items=(*first[:1], *after[:6], *first[1:], *after[6:]))
    return feeds


def _by_feeds(
    wanted: Wanted, work: Work, demand: Needed, asked: Asked, log: _Log, stock: Stock, lists: Any
) -> list[Sets]:
    """Where the differential's ratio goes by the feed: one feed after the other, each with its own gears."""
    indexes, feeds, speeds = lists
    per_mm = _per_mm(demand)
    found: list[Sets] = []
    for item in feeds.items[:_FEEDS]:
        feed = item.set.ratio / per_mm * (1 if demand.feed > 0 else -1)
        exact = needed(demand.way, work, wanted.job.hob, demand.slide, feed)
        place = differential_place(wanted, exact) if exact else None
        if place is None or not _in_reach(place, stock, log):
            continue
        leads = _differential_list(place, stock, wanted, work)
        one = Listed(feeds.place, (item,), True)
        some = fillings(stock, [leads, one, indexes, *speeds], Steps(_STEPS // _FEEDS))
        found += [sets for sets, _ in zip(some, range(2), strict=False)]
        if len(found) >= max(WIDTH, wanted.top) or (found and log.quick):
            return found
    if found:
        return found
    found, complete = table_fed_sets(
        wanted, work, demand, asked, _beside(wanted, demand, asked, log)
    )
    if not found:
        log.cut_short |= not complete
        log.add(_TOGETHER, "no feed was found whose own differential gears are at hand beside the index gears")
    return found


def _with_speed(stock: Stock, sets: Sets, speeds: list[Listed]) -> Sets | None:
    """The sets and one for the hob's speed, from what they leave in the drawers; None where none is left."""
    if not speeds:
        return sets
    left = stock.after(sets)
    if left is None:
        return None
    whole = fillings(stock.with_only(left), speeds, Steps(_STEPS))
    found = next(iter(whole), None)
    return None if found is None else {**sets, **found}


def _coupled(wanted: Wanted, work: Work, asked: Asked, log: _Log) -> list[tuple[int, Planned]]:
    """Set-ups in which the count or the lead rests on the feed gears, where no other kind exists."""
    found: list[tuple[int, Planned]] = []
    spans = asked.feed.spans()
    tying = Tying(
        lambda them: _not_too_fast(wanted, them, asked, log),
        lambda demand: _beside(wanted, demand, asked, log),
        _useless(work),
        Steps(_TRIES),
    )
    for number, span in enumerate(spans):
        last = number == len(spans) - 1
        for demand, some, complete, why in coupled_sets(wanted, work, asked, span, tying, last):
            # The last span holds all others.
            log.cut_short |= last and not complete
            if why:
                log.add(_RATIOS, _coupled_why(wanted, work, demand, asked, why))
            found += _proved(wanted, work, demand, asked, some, log)
        if any(not tenths(planned.helix_slope_um, work) for _, planned in found):
            break
    if not found and sum(len(one.drawer) for one in wanted.gear_sets) <= SMALL:
        return _all_of_small(wanted, work, asked, log, tying)
    return found


def _all_of_small(wanted: Wanted, work: Work, asked: Asked, log: _Log, tying: Tying) -> list[tuple[int, Planned]]:
    """Where the drawers are small, every set-up that serves is looked for: if there is none that is certain."""
    log.cut_short = False
    found: list[tuple[int, Planned]] = []
    for demand in coupled_demands(wanted, work, asked):
        if _overruns(wanted, demand, asked):
            continue
        every = small_sets(wanted, work, asked, demand, replace(tying, tries=Steps(_SMALL_TRIES)))
        for number, sets in enumerate(every):
            if sets is None or number >= _PROOFS:
                log.cut_short = True
                break
            found += _proved(wanted, work, demand, asked, [sets], log)
            if len(found) >= WIDTH:
                return found
    return found


#: Combinations out of a small drawer that are tried on the brackets for each way, and set-ups of it that are proved.
_SMALL_TRIES, _PROOFS = 600, 60


#: So many times the error that the class allows, a lead as reckoned while it is searched for is of no use.
_LIBERAL = 2


def _useless(work: Work) -> float:
    """The error of the lead, relatively, or in a metre of straight teeth, from which on it is of no use."""
    per_lead = abs(slope_um(work, 1.0)) or 1000 * math.pi * gear_of(work).base_diameter * face_width_mm(work) / 1000
    return _LIBERAL * slope_limit_um(work) / per_lead + _FEEDS_SHARE


#: What feeds that differ from the one asked for cost at most.
_FEEDS_SHARE = 1e-5


#: A neighbouring count's index gears, or a feed beside, change no shaft's speed by more than this part of it.
_NEAR_ENOUGH = Fraction(1, 20)


def _not_too_fast(wanted: Wanted, them: list[Needed], asked: Asked, log: _Log) -> Iterator[Needed]:
    """The ways at their best speed, without those in which some part overruns its speeds whatever is mounted."""
    for demand in at_best_speed(wanted, them, asked):
        against = _overruns(wanted, demand, asked)
        if against:
            log.add(_LIMITS, against)
        else:
            yield demand


def _overruns(wanted: Wanted, demand: Needed, asked: Asked) -> str:
    """That some part runs too fast, or too slowly, with whatever gears; empty if not."""
    speed, way = speed_place(wanted, demand, asked), demand.way
    if speed is not None:
        try:
            stock = Stock.of([speed], wanted.gear_sets)
        except ValueError as fault:
            return str(fault)
        serves = _speed_list(speed, stock, wanted, demand, asked).items
        return "" if serves else _no_speed(wanted, demand, speed, stock)
    drive = way.train.drives[way.drive].rpm
    if drive is None or way.constants.speed:
        return ""
    rates = solve(way.train.with_ratios(_ratios(demand)), way.drive).rates
    least, most = _speed_limits(wanted, rates, drive)
    if least <= 1 + _NEAR_ENOUGH and most >= 1 - _NEAR_ENOUGH:
        return ""
    return f"whatever is mounted {_beyond(wanted, demand, {})}"


def _coupled_why(wanted: Wanted, work: Work, demand: Needed, asked: Asked, why: str) -> str:
    """Why nothing was found where ratios hang together, in feeds rather than in a span of ratios."""
    place = feed_place(wanted, demand, asked)
    if place is not None and why.startswith(f"{place.name}: no gears"):
        return _no_feed(wanted, demand, asked, place, Stock.of([place], wanted.gear_sets))
    return why.replace("a ratio within the span", f"a ratio near {float(abs(demand.index)):.6g}")


def _beside(wanted: Wanted, demand: Needed, asked: Asked, log: _Log) -> Leftover | None:
    """How gears for the hob's speed, and loose ones, are put beside others; None where there are none to be."""
    speed, loose = speed_place(wanted, demand, asked), loose_places(wanted, demand)
    places = [*([speed] if speed else []), *loose]
    if not places:
        return None

    @cache
    def stock_and_lists(names: tuple[str, ...]) -> tuple[Stock, list[Listed]] | None:
        there = [Place(name, Fraction(1), exact=True) for name in names]
        try:
            stock = Stock.of([*places, *there], wanted.gear_sets)
        except ValueError as fault:
            log.add(_RATIOS, str(fault))
            return None
        speeds = [_speed_list(speed, stock, wanted, demand, asked)] if speed else []
        if speed and not speeds[0].items:
            log.add(_LIMITS, _no_speed(wanted, demand, speed, stock))
        return stock, [*speeds, *(_index_list(place, stock, wanted) for place in loose)]

    def whole(sets: Sets) -> Sets | None:
        known = stock_and_lists(tuple(sets))
        if known is None:
            return None
        stock, lists = known
        return _with_speed(stock, sets, lists) or _from_the_rest(wanted, demand, asked, stock, sets)

    return Leftover(sum(2 * min(place.pairs) for place in places), whole)


#: What is left of a drawer is looked through for the hob's speed to the last gear where it is no more than this.
_REST = 12


def _from_the_rest(wanted: Wanted, demand: Needed, asked: Asked, stock: Stock, sets: Sets) -> Sets | None:
    """The sets and one for the hob's speed that no list had, its list being cut short, from the few gears left."""
    speed = speed_place(wanted, demand, asked)
    left = stock.after(sets)
    if speed is None or left is None or len(stock.drawer_left(left, speed.name)) > _REST:
        return None
    rest = stock.with_only(left)
    lists = [_speed_list(speed, rest, wanted, demand, asked)]
    lists += [_index_list(place, rest, wanted) for place in loose_places(wanted, demand)]
    found = next(iter(fillings(rest, lists, Steps(_STEPS))), None) if all(one.items for one in lists) else None
    return None if found is None else {**sets, **found}


def _proved(
    wanted: Wanted, work: Work, demand: Needed, asked: Asked, found: list[Sets], log: _Log
) -> list[tuple[int, Planned]]:
    """Set-ups that the proof finds as wanted, each with its number in the list; what it says against others is kept."""
    proved: list[tuple[int, Planned]] = []
    for number, sets in enumerate(found):
        setup = wanted.setup(work, demand, {name: one.mounted for name, one in sets.items()})
        key = (tuple(sorted(setup.levers.items())), tuple(setup.change.items()))
        planned = log.proved.get(key)
        if planned is None:
            planned = log.proved[key] = prove_setup(wanted.job, wanted.machine, work, setup, asked, wanted.lying)
        if isinstance(planned, Planned):
            proved.append((number, planned))
            log.better(planned, asked)
        elif not proved and number == 0:
            for finding in planned.judged:
                if finding.severity == "error":
                    log.add(_LIMITS if finding.code == "beyond-limits" else _PROOF, finding.message)
    return proved


# ---------------------------------------------------------------- why there is none


def _no_feed(wanted: Wanted, demand: Needed, asked: Asked, place: Place, stock: Stock) -> str:
    """That no feed offered can be had, and the nearest that can."""
    units, feed = wanted.job.units, asked.feed
    words = (
        f"{place.name}: no gears that can be mounted give a feed from {feed_text(feed.least, units)} "
        f"to {feed_text(feed.most, units)}"
    )
    nearest = listed(replace(place, span=None), stock, lambda one: abs(one.error), 1).items
    if not nearest or not demand.feed_ratio:
        return words
    return f"{words}; the nearest is {feed_text(nearest[0].set.ratio / _per_mm(demand), units)}"


def _no_speed(wanted: Wanted, demand: Needed, place: Place, stock: Stock) -> str:
    """That no speed gears keep every part within its speeds, and which part it is."""
    way = demand.way
    drive = way.train.drives[way.drive].rpm
    nearest = listed(replace(place, span=None), stock, lambda one: abs(one.error), 1).items
    if drive is None or not nearest:
        return f"{place.name}: {why_none_alone(place, stock)}"
    against = _beyond(wanted, demand, {place.name: nearest[0].set.ratio})
    if not against:
        return f"{place.name}: {why_none_alone(place, stock)}"
    return f"{place.name}: with the nearest gears that can be mounted {against}"


def _beyond(wanted: Wanted, demand: Needed, speed: Mapping[str, Fraction]) -> str:
    """Which parts run faster, or more slowly, than they may, with these gears for the hob's speed; empty if none."""
    way = demand.way
    drive = way.train.drives[way.drive].rpm
    solution = solve(way.train.with_ratios({**speed, **_ratios(demand)}), way.drive)
    parts = []
    for part, (slowest, fastest) in wanted.machine.limits.rpm.items():
        rate = solution.rates[part]
        rpm = abs(rate * drive) if rate and drive else None
        if rpm and (rpm > fastest or (slowest and rpm < slowest)):
            allowed = f"at most {float(fastest):g}" if rpm > fastest else f"at least {float(slowest or 0):g}"
            parts.append(f'"{part}" would run at {float(rpm):.4g} rpm, {allowed} being allowed')
    return " and ".join(parts)


def _nearer_refused(wanted: Wanted, demand: Needed) -> tuple[Refused, ...]:
    """Nearer sets for the differential that are owned but can't be mounted, with why."""
    place = differential_place(wanted, demand)
    if place is None or place.bracket is None:
        return ()
    try:
        found = nearest_sets(
            place.target, drawer_for(place.name, wanted.gear_sets), pairs=place.pairs, idlers=place.idlers,
            turns_over=place.turns_over, bracket=place.bracket, limit=1, refused=2,
        )  # fmt: skip
    except ValueError:
        return ()
    nearest = abs(found.sets[0].error) if found.sets else 0.0
    return tuple(one for one in found.refused if abs(one.error) < nearest)
