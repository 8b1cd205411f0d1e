"""Set-ups whose ratios hang together: helical work without a differential, and counts that can't be indexed.

The equation between the ratios comes from the train (`targets.generation_equation`); the search for
gears that meet it is `kinematics.coupled`.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import TYPE_CHECKING

from handlead.kinematics.brackets.drawer import capacity
from handlead.kinematics.search.change_gears import ChangeGearSet
from handlead.kinematics.search.ratios import compare
from handlead.kinematics.together.relation import Relation
from handlead.kinematics.together.small import all_that_serve
from handlead.kinematics.together.tied import Effort, best_coupled_set_ups
from handlead.kinematics.together.tied_mounts import Leftover, Mounts
from handlead.kinematics.together.together import BracketPlace, Steps, Stock, never_filled
from handlead.kinematics.transfer.targets import (
    Equation,
    generation_equation,
    generation_travel,
    inverse_lead,
    ratio_needed,
)
from handlead.kinematics.work.requirement import Work
from handlead.machines.setups.ways import Needed, Way, feed_ratio, feed_signed

from .found import tell_share

if TYPE_CHECKING:
    from handlead.machines.planning.asked import Asked
    from handlead.machines.planning.wanted import Wanted

#: How far the index gears may stand from the count wanted, in teeth, where the differential makes up the rest.
_NEIGHBOUR = Fraction(7, 10)

#: Ratios that the differential's bracket may be asked for.
_LEAST, _GREATEST = Fraction(1, 40), Fraction(40)

#: A feed that differs from the one asked for costs this much against the lead, relatively.
_FEED_WEIGHT = Fraction(1, 10**7)

#: Choices of index and feed gears that are looked at for each way of setting the machine, and where those give nothing.
_MOST_CHOICES, _MORE_CHOICES = 10_000, 100_000

#: Combinations that are tried on the brackets for each way, and where those give nothing.
_MOST_TRIES, _MORE_TRIES = 150, 500

#: Out of a small drawer: how many times the count's ratio, or what part of it, index gears may give; any ratio at all.
_FAR, _ANY = 6, Fraction(10**5)

#: Set-ups that are asked for.
_WIDTH = 5

Sets = Mapping[str, ChangeGearSet]
Coupled = tuple[Needed, list[Sets], bool, str | None]


@dataclass(frozen=True)
class Tying:
    """How ratios that hang together are searched for.

    `choose` takes, of the ways that differ in the hob's speed alone, the one that suits. `beside` says how the other
    brackets of a way are filled from what is left; None where there are none. A lead that is off by more than
    `serving`, relatively, is of no use (straight teeth: per metre); every combination that is tried for all that takes
    one of the `tries`.
    """

    choose: Callable[[list[Needed]], Iterable[Needed]]
    beside: Callable[[Needed], Leftover | None]
    serving: float
    tries: Steps


def coupled_sets(
    wanted: Wanted, work: Work, asked: Asked, spans: Sequence[tuple[Fraction, Fraction]], tying: Tying
) -> Iterator[list[Coupled]]:
    """For every span of feeds in turn, and every way that serves: what was asked, the gears found, and how surely.

    That is whether none was left out, and why there are none. `spans` hold the feeds allowed, in mm per table turn,
    each wider than those before; more choices are looked at in the last.
    """
    demands = tying.choose(list(coupled_demands(wanted, work, asked)))
    ways = [(one, list(_tied(wanted, work, one, spans[-1], False)), tying.beside(one)) for one in demands]
    for number, span in enumerate(spans):
        some: list[Coupled] = []
        for at, (demand, widest, beside) in enumerate(ways):
            tell_share("ways in which ratios hang together", number * len(ways) + at, len(spans) * len(ways))
            tied = [(_over(places, demand, span), relation) for places, relation in widest]
            found, complete, why = _searched(wanted, tied, tying, beside, _MOST_CHOICES)
            if not found and not complete and number == len(spans) - 1:
                found, complete, why = _searched(wanted, tied, tying, beside, _MORE_CHOICES)
            some.append((demand, found, complete, why))
        yield some


def _searched(wanted: Wanted, tied: list[_Tied], tying: Tying, beside: Leftover | None, most: int) -> _Some:
    """What is found for all the equations of a way."""
    some = [_search(wanted, *each, most, tying.tries, beside) for each in tied]
    whys = [why for _, _, why in some if why]
    return [sets for one, _, _ in some for sets in one], all(whole for _, whole, _ in some), next(iter(whys), None)


def small_sets(wanted: Wanted, work: Work, asked: Asked, demand: Needed, tying: Tying) -> Iterator[Sets | None]:
    """Out of small drawers, all that serve for a way, the truest first, last None if some were left out."""
    beside, everything = tying.beside(demand), True
    for places, relation in _tied(wanted, work, demand, (asked.feed.least, asked.feed.most), True):
        if any(never_filled(place) for place in places):
            continue
        if any(place.largest for place in places):
            everything = False
            continue
        try:
            stock = Stock.of(places, wanted.gear_sets)
        except ValueError:
            continue
        gears = beside.gears if beside else 0
        listed, complete = all_that_serve(places, relation, stock, tying.serving, gears)
        mounts = Mounts(places, stock, beside)
        for ratios in listed:
            if not tying.tries.take():
                complete = False
                break
            set_up = mounts.set_up(ratios, 0.0)
            if set_up is not None:
                yield set_up.sets
        everything &= complete and not mounts.cut_short and not any(n > 2 for place in places for n in place.pairs)
    if not everything:
        yield None


def coupled_demands(wanted: Wanted, work: Work, asked: Asked) -> Iterator[Needed]:
    """The ways with a differential for the slide, or, for helical work, with none at all."""
    signed = feed_signed(wanted.job.hob, asked.feed.aim, wanted.feed)
    for way in wanted.ways:
        rule = way.feed_rule("axial")
        if rule is None or way.constants.index is None:
            continue
        if way.differential("axial") or (work.is_helical and not way.has_differential):
            ratio = feed_ratio(rule, work, wanted.job.hob, signed)
            index = way.constants.index.ratio(wanted.job.hob.hand, wanted.job.hob.starts, work.teeth)
            yield Needed(way, "axial", index, signed, ratio, None)


_Span = tuple[Fraction, Fraction]
_Some = tuple[list[Sets], bool, str | None]
_Tied = tuple[list[BracketPlace], Relation]


def _tied(wanted: Wanted, work: Work, demand: Needed, span: _Span, far: bool) -> Iterator[_Tied]:
    """The brackets of a way, and each equation between them; with `far`, index gears ever so far from the count's."""
    if demand.way.differential("axial"):
        yield from _by_neighbour(wanted, work, demand, span, far)
    else:
        yield from _by_feed(wanted, work, demand, span)


def _by_feed(wanted: Wanted, work: Work, demand: Needed, span: _Span) -> Iterator[_Tied]:
    """Index gears with the lead's share in them, and the feed gears that make it so long."""
    way, index, feed = demand.way, *_named(demand.way)
    signs = {index: _sign(demand.index), feed: _sign(demand.feed_ratio)}
    relation = _relation(wanted, way, (index, feed), work, signs)
    if relation is None or demand.feed_ratio is None:
        return
    exact = relation.solved_for(index, {feed: abs(demand.feed_ratio)})
    if exact is not None and float(exact) > 0:
        first = replace(wanted.place(index, demand.index), target=exact, weight=Fraction(0))
        yield [first, _feed_place(wanted, feed, demand, span)], relation


def _by_neighbour(wanted: Wanted, work: Work, demand: Needed, span: _Span, far: bool) -> Iterator[_Tied]:
    """Index gears for a neighbouring count, feed and differential gears that make up the rest."""
    way, (index, feed) = demand.way, _named(demand.way)
    bracket = way.differential("axial")
    assert bracket is not None
    share, size = _NEIGHBOUR / work.teeth, abs(demand.index)
    counts = (size / _FAR, size * _FAR) if far else (size * (1 - share), size * (1 + share))
    reach = (1 / _ANY, _ANY) if far else (_LEAST, _GREATEST)
    for sense, sign in itertools.product((1, -1) if far else (1,), (1, -1)):
        signs = {index: sense * _sign(demand.index), feed: _sign(demand.feed_ratio), bracket: sign}
        relation = _relation(wanted, way, (index, feed, bracket), work, signs)
        if relation is None:
            continue
        if far:
            relation = replace(relation, per=_travel(way, (index, feed, bracket), work, signs))
        else:
            relation = replace(relation, stiffness={frozenset(): _stiffness(wanted, work, demand, bracket)})
        first = replace(wanted.place(index, demand.index * sense), span=counts, weight=Fraction(0))
        last = replace(wanted.place(bracket, Fraction(sign)), span=reach, weight=Fraction(0))
        yield [first, _feed_place(wanted, feed, demand, span), last], relation


def table_fed_sets(
    wanted: Wanted, work: Work, demand: Needed, asked: Asked, beside: Leftover | None
) -> tuple[list[Sets], bool]:
    """Feed and differential gears together, where the differential is fed from the table.

    Its ratio then goes by the feed, so that any feed will do whose own differential gears are at hand. And whether no
    others can serve.
    """
    way, (index, feed) = demand.way, _named(demand.way)
    bracket = way.differential("axial")
    assert bracket is not None and demand.differential is not None
    sign = 1 if compare(demand.differential, 0) > 0 else -1
    signs = {index: _sign(demand.index), feed: _sign(demand.feed_ratio), bracket: sign}
    relation = _relation(wanted, way, (index, feed, bracket), work, signs)
    if relation is None:
        return [], True
    size = demand.differential * sign
    places = [
        wanted.place(index, demand.index, exact=True),
        _feed_place(wanted, feed, demand, (asked.feed.least, asked.feed.most)),
        replace(wanted.place(bracket, demand.differential), span=(size / 4, size * 4), weight=Fraction(0)),
    ]
    found, complete, _ = _search(wanted, places, relation, _MOST_CHOICES, Steps(_MORE_TRIES), beside)
    return found, complete


def _named(way: Way) -> tuple[str, str]:
    rule = way.feed_rule("axial")
    assert way.constants.index is not None and rule is not None
    return way.constants.index.bracket, rule.bracket


def _sign(ratio: Fraction | None) -> int:
    return -1 if ratio is not None and ratio < 0 else 1


def _feed_place(wanted: Wanted, name: str, demand: Needed, span: _Span) -> BracketPlace:
    """The feed's bracket, over the feeds of a span: what it gives, the others must suit."""
    assert demand.feed_ratio is not None
    place = replace(wanted.place(name, demand.feed_ratio), weight=_FEED_WEIGHT)
    return _over([place, place], demand, span)[1]


def _over(places: list[BracketPlace], demand: Needed, span: _Span) -> list[BracketPlace]:
    """The same places with the feed's, the second, over the feeds of another span."""
    assert demand.feed_ratio is not None
    per_mm = abs(demand.feed_ratio) / abs(demand.feed)
    feed = replace(places[1], span=(span[0] * per_mm, span[1] * per_mm))
    return [places[0], feed, *places[2:]]


def _relation(
    wanted: Wanted, way: Way, brackets: tuple[str, ...], work: Work, signs: Mapping[str, int]
) -> Relation | None:
    """The equation between the sizes of the ratios, their senses put in; None where the train gives none."""
    equation = generation_equation(way.transfer, brackets, work, wanted.job.hob, "axial")
    if equation is None:
        return None
    return Relation(_unsigned(equation, signs))


def _unsigned(equation: Equation, signs: Mapping[str, int]) -> Equation:
    """The same for the sizes of the ratios alone."""
    return {
        names: -value if sum(signs[name] < 0 for name in names) % 2 else value for names, value in equation.items()
    }


def _travel(way: Way, brackets: tuple[str, ...], work: Work, signs: Mapping[str, int]) -> Equation | None:
    """How far the slide goes, in leads, or in metres for straight teeth."""
    travel = generation_travel(way.transfer, brackets, "axial")
    one = abs(1 / Fraction(float(inverse_lead(work)))) if work.is_helical else Fraction(1000)
    return None if travel is None else {names: value / one for names, value in _unsigned(travel, signs).items()}


def _stiffness(wanted: Wanted, work: Work, demand: Needed, bracket: str) -> Fraction:
    """What the differential's ratio adds to the table's turning per mm, times a lead or a metre.

    Near enough for choosing: it is taken with the index gears of the count itself.
    """
    way, (index, feed) = demand.way, _named(demand.way)
    assert demand.feed_ratio is not None
    sides = way.transfer.by_ends(bracket, {index: demand.index, feed: demand.feed_ratio})
    if sides is None:
        return Fraction(1)
    alone = demand.index / way.constants.index.constant if way.constants.index else Fraction(0)
    # One part in a thousand more turning of the table, and the ratio that this would take.
    more = {"hob": Fraction(1), "table": alone * Fraction(1001, 1000), "axial": demand.feed * alone}
    ratio = ratio_needed(sides, more)
    lead = abs(1 / Fraction(float(inverse_lead(work)))) if work.is_helical else Fraction(1000)
    return abs(alone / 1000 / (demand.feed * alone) / ratio) * lead if ratio else Fraction(1)


def _gears_at_hand(wanted: Wanted, places: list[BracketPlace]) -> int:
    """How many gears there are that go on any of these brackets."""
    return sum(capacity([place.name for place in places], wanted.gear_sets).values())


def _search(
    wanted: Wanted, places: list[BracketPlace], relation: Relation, most: int, tries: Steps, beside: Leftover | None
) -> _Some:
    """The gears found; none where a bracket can't turn the sense as it must, or no gears fit it.

    And whether no others can serve.
    """
    for place in places:
        never = never_filled(place)
        if never:
            return [], True, f"{place.name}: {never}"
    least = sum(2 * min(place.pairs) for place in places)
    if least > (held := _gears_at_hand(wanted, places)):
        names = " and ".join(place.name for place in places)
        return [], True, f"{names} take {least} gears between them at least, and the drawers hold {held} that fit"
    if not tries.left:
        return [], False, None
    few = min(tries.left, _MOST_TRIES if most == _MOST_CHOICES else _MORE_TRIES)
    try:
        found = best_coupled_set_ups(
            places, relation, wanted.gear_sets, limit=_WIDTH, effort=Effort(most, few), beside=beside
        )
    except ValueError as fault:
        return [], True, str(fault)
    tries.left -= min(tries.left, found.tries)
    # Beyond the last found there may be others that serve; three pairs on a bracket are never looked at here.
    more = len(found.best) == _WIDTH or any(pairs > 2 for place in places for pairs in place.pairs)
    return [each.set_up.sets for each in found.best], found.complete and not more, found.none_because
