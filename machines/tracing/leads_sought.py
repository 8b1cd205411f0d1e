"""Gears for lead and feed that may have left what was measured on a gear, one way of setting the machine at a time."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from handlead.kinematics.frame.exact import Ratio
from handlead.kinematics.slips.evidence import Evidence
from handlead.kinematics.together.filling import Listed, listed
from handlead.kinematics.together.together import BracketPlace, Stock
from handlead.kinematics.transfer.targets import end_rates, ratio_needed
from handlead.kinematics.work.requirement import Work
from handlead.machines.members.places import (
    index_list,
    index_place,
    loose_places,
    ratio_per_mm,
    slope_um,
    speed_list,
    speed_place,
)
from handlead.machines.planning.asked import Asked
from handlead.machines.planning.planned import slope_limit_um
from handlead.machines.planning.wanted import Wanted
from handlead.machines.setups.ways import Needed, Way, feed_signed, needed

#: Sets of feed gears that are looked through, and for a round feed; feeds of them that are tried, leads for each.
_FEED_SETS, _ROUND_SETS, _FEEDS, _LEADS = 200, 20, 30, 60

#: Of what feeds are a round number of, by the job's units; and the finest feed there is, in mm.
_ROUND, _FINEST = {"mm": Fraction(1, 20), "in": Fraction(127, 1000)}, Fraction(1, 1000)


@dataclass(frozen=True)
class GearChoice:
    """Gears for lead and feed that were found: how far both are off, the way, and the lists that they stand in.

    `beside` is by how many tenths of the drawing's class the lead is off the drawing.
    """

    off: float
    beside: int
    feed: Fraction
    units: str
    demand: Needed
    stock: Stock
    lists: tuple[Listed, ...]

    @property
    def order(self) -> tuple[Any, ...]:
        """What fits within what the measures may be off fits alike: then what people set comes first.

        That is a count in the index gears alone, a round feed, gears that are as true to the drawing as matters, few of
        them, no idler (own judgement); the rest by how near it is.
        """
        gears = sum(len(one.items[0].set.gears) + len(one.items[0].set.idlers) for one in self.lists)
        bends = self.index not in [one.place.name for one in self.lists if one.place.exact]
        return int(self.off), bends, not _is_round(self.feed, self.units), self.beside, gears, self.off

    @property
    def index(self) -> str:
        """The bracket that indexes."""
        assert self.demand.way.constants.index is not None
        return self.demand.way.constants.index.bracket


def _is_round(feed: Fraction, units: str) -> bool:
    return (feed / _ROUND[units]).denominator == 1


@dataclass(frozen=True)
class LeadSought:
    """One way of setting the machine, and what is sought with it."""

    wanted: Wanted
    work: Work
    way: Way
    evidence: Evidence
    drawn: Work

    def choices(self) -> tuple[list[GearChoice], bool]:
        """Every feed of what was measured with every lead, as the gears of their own brackets give them."""
        assert self.evidence.feed is not None
        hob, aim = self.wanted.job.hob, self.evidence.feed.value
        leans, mixes = self.work.is_helical, self.way.differential("axial") is not None
        if mixes and not leans:
            return [], False
        # What index and feed ask for is the same for straight teeth; without a differential the index bends.
        plain = self.work if mixes else replace(self.work, kind="spur", hand=None, helix_angle_deg=None, lead=None)
        demand = needed(self.way, plain, hob, "axial", feed_signed(hob, aim, self.wanted.feed))
        rule = self.way.feed_rule("axial")
        if demand is None or demand.feed_ratio is None or rule is None:
            return [], False
        asked = Asked.of(self.wanted.job, self.work, self.wanted.machine)
        feed, speed = self._feed_place(demand, rule.bracket), speed_place(self.wanted, demand, asked)
        try:
            places = [index_place(self.wanted, demand), feed, *loose_places(self.wanted, demand)]
            places += [one for one in (speed, self._place(self._lead_bracket, Fraction(1)) if mixes else None) if one]
            stock = Stock.of(places, self.wanted.gear_sets)
        except ValueError:
            return [], False
        others = [index_list(place, stock, self.wanted) for place in loose_places(self.wanted, demand)]
        others += [speed_list(speed, stock, self.wanted, demand, asked)] if speed else []
        if not leans or mixes:
            others.insert(0, index_list(index_place(self.wanted, demand), stock, self.wanted))
        if not all(one.items for one in others):
            return [], False
        return self._with_feeds(demand, stock, self._feeds(demand, stock, feed), others)

    def _feeds(self, demand: Needed, stock: Stock, place: BracketPlace) -> Listed:
        """The feeds that the marks may be of: the round ones, and those nearest to what was measured."""
        assert place.span is not None
        per_mm, step = ratio_per_mm(demand), _ROUND[self.wanted.job.units]
        made = listed(place, stock, _near, _FEED_SETS)
        low, high = (Fraction(float(end)) / per_mm / step for end in place.span)
        every = [step * times * per_mm for times in range(math.ceil(low), math.floor(high) + 1)]
        exact = (replace(place, target=ratio, span=None, exact=True) for ratio in every if ratio)
        round_ones = [item for one in exact for item in listed(one, stock, _near, _ROUND_SETS).items]
        items = tuple(replace(item, place=place) for item in round_ones)
        return replace(made, items=(*items, *(one for one in made.items if one.set.ratio not in every)))

    @property
    def _lead_bracket(self) -> str:
        """The bracket that makes the lead: the differential's, or without one the index gears."""
        assert self.way.constants.index is not None
        return self.way.differential("axial") or self.way.constants.index.bracket

    def _place(self, name: str, ratio: Ratio, **rest: Any) -> BracketPlace:
        return self.wanted.place(name, ratio, **rest)

    def _feed_place(self, demand: Needed, bracket: str) -> BracketPlace:
        """The feed's bracket, over the marks as far as they may be off."""
        feed, per_mm = self.evidence.feed, ratio_per_mm(demand)
        assert feed is not None
        assert demand.feed_ratio is not None
        span = (max(feed.value - feed.within, _FINEST) * per_mm, (feed.value + feed.within) * per_mm)
        return self._place(bracket, demand.feed_ratio, span=span)

    def _with_feeds(
        self, demand: Needed, stock: Stock, feeds: Listed, others: list[Listed]
    ) -> tuple[list[GearChoice], bool]:
        found: list[GearChoice] = []
        measured, units = self.evidence.feed, self.wanted.job.units
        assert measured is not None
        offs = {ratio: measured.misfit(ratio / ratio_per_mm(demand)) for ratio, _ in _by_ratio(feeds)}

        def likely(one: tuple[Fraction, tuple[Any, ...]]) -> tuple[Any, ...]:
            off = offs[one[0]]
            return int(off), not _is_round(one[0] / ratio_per_mm(demand), units), len(one[1][0].set.gears), off

        within = sorted((one for one in _by_ratio(feeds) if offs[one[0]] <= 1), key=likely)
        short = not feeds.complete or len(within) > _FEEDS
        for ratio, items in within[:_FEEDS]:
            feed, off, these = ratio / ratio_per_mm(demand), offs[ratio], Listed(feeds.place, items, True)
            if not self.work.is_helical:
                found.append(GearChoice(off, 0, feed, units, demand, stock, (these, *others)))
                continue
            leads, middle, far = self._leads(demand, stock, feed)
            short |= leads is not None and not leads.complete
            for lead, same in _by_ratio(leads) if leads else ():
                beside = abs(float(lead) - middle) / far
                if leads and beside <= 1:
                    lists = (Listed(leads.place, same, True), these, *others)
                    # The list is of errors against what is aimed at, the drawing's lead where that may be.
                    tenths = int(10 * abs(slope_um(self.work, same[0].set.error)) / slope_limit_um(self.work))
                    tenths = tenths if self._aim is not self.work else 0
                    both = math.hypot(off, beside)
                    found.append(GearChoice(both, tenths, feed, units, demand, stock, lists))
        return found, short

    @property
    def _aim(self) -> Work:
        """The drawing's work where its lead may be what was measured: whoever set it went by that. Else as measured."""
        lead, within = _lead_measured(self.work, self.evidence)
        drawn = self.drawn
        same = drawn.teeth == self.work.teeth and drawn.is_helical and drawn.hand is self.work.hand
        return drawn if same and abs((drawn.lead_mm or 0.0) - lead) <= within else self.work

    def _leads(self, demand: Needed, stock: Stock, feed: Fraction) -> tuple[Listed | None, float, float]:
        """The gears nearest to the lead as it was measured, at this feed; their ratio, and how far that may be off."""
        lead, within = _lead_measured(self.work, self.evidence)
        ends = (replace(self.work, helix_angle_deg=None, lead=Fraction(lead + by * within)) for by in (-1, 0, 1))
        low, measured, high = (self._target(demand, feed, one) for one in ends)
        target = self._target(demand, feed, self._aim)
        if low is None or measured is None or high is None or target is None:
            return None, 0.0, 1.0
        sizes = sorted(abs(float(one)) for one in (low, high))
        middle = abs(float(measured))
        far = max(sizes[1] - middle, middle - sizes[0], 1e-15)
        span = (Fraction(sizes[0]), Fraction(sizes[1]))
        try:
            place = replace(self._place(self._lead_bracket, target), span=span)
        except ValueError:
            return None, middle, far
        return listed(place, stock, _near, _LEADS), middle, far

    def _target(self, demand: Needed, feed: Fraction, work: Work) -> Ratio | None:
        """The ratio that the bracket which makes the lead must have at this feed."""
        hob, index, rule = self.wanted.job.hob, self.way.constants.index, self.way.feed_rule("axial")
        assert index is not None
        assert rule is not None
        assert demand.feed_ratio is not None
        signed = feed if demand.feed > 0 else -feed
        ratios = {index.bracket: demand.index, rule.bracket: demand.feed_ratio * signed / demand.feed}
        ratios.pop(self._lead_bracket, None)
        sides = self.way.transfer.by_ends(self._lead_bracket, ratios)
        return sides and ratio_needed(sides, end_rates(work, hob, "axial", signed))


def _lead_measured(work: Work, evidence: Evidence) -> tuple[float, float]:
    """The lead in mm and how far it may be off, of whatever it was told by."""
    lead = work.lead_mm
    assert lead is not None
    if evidence.lead is not None:
        return lead, float(evidence.lead.within)
    assert evidence.helix is not None
    steeper = replace(work, helix_angle_deg=evidence.helix.value + evidence.helix.within)
    return lead, abs(lead - (steeper.lead_mm or lead))


def _near(one: Any) -> Any:
    """Nearest first, few gears, no idler."""
    return abs(one.error), len(one.idlers), len(one.gears), one.gears


def _by_ratio(made: Listed) -> Iterator[tuple[Fraction, tuple[Any, ...]]]:
    """The sets of a list by their ratios, in its order."""
    groups: dict[Fraction, list[Any]] = {}
    for item in made.items:
        groups.setdefault(item.set.ratio, []).append(item)
    yield from ((ratio, tuple(items)) for ratio, items in groups.items())
