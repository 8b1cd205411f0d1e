"""A machine's own change-gear rules, worked out from its train and from nothing else."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from handlead.kinematics.frame.frozen import freeze
from handlead.kinematics.frame.words import Hand
from handlead.kinematics.links.mounted import LETTERS, ChangeGears
from handlead.kinematics.train.solution import SLIDE_ENDS
from handlead.kinematics.train.train import Train

from .polynomials import Polynomial, add, constant, evaluate, multiply, quotient, variable
from .roles import Role, fed_slides, roles
from .targets import ratio_needed
from .transfer import Ratios, Transfer, generic


@dataclass(frozen=True)
class IndexRule:
    """Index gears = `constant` * table turns per hob turn, both signed in the frame.

    In size that is constant * starts / teeth; its sign says which sense the gears must give.
    """

    bracket: str
    constant: Fraction

    def ratio(self, hob_hand: Hand, starts: int, teeth: int) -> Fraction:
        """Signed ratio of the index gears for a whole count, the slides still."""
        return self.constant * -hob_hand.value * Fraction(starts, teeth)


@dataclass(frozen=True)
class FeedRule:
    """Feed gears = feed of `slide`, in mm per turn of `per` (`table` or `hob`), over `constant`; signed."""

    bracket: str
    slide: str
    per: str
    constant: Fraction


@dataclass(frozen=True)
class DifferentialRule:
    """Differential gears = constant * z^teeth_power * k^starts_power * f^feed_power / lead, in size.

    For the `tangential` slide the lead is pi m_n z / cos(beta), the way in which a rack rolls on the work.
    The constant is None where the machine follows no rule of that form. `senses` gives the sign of
    the ratio for each hand of the hob, hand of the work, and sign of the slide's movement.
    """

    bracket: str
    slide: str
    constant: Fraction | None
    teeth_power: int
    starts_power: int
    feed_power: int
    senses: Mapping[tuple[Hand, Hand, int], int]

    def __post_init__(self) -> None:
        freeze(self, "senses")

    @property
    def depends_on_teeth(self) -> bool:
        """Whether gears of one helix angle and different counts need different differential gears.

        The lead of such gears grows with the count, so a rule with z over the lead is free of it.
        """
        return self.teeth_power != 1


@dataclass(frozen=True)
class Series:
    """Brackets one behind the other: nothing but the product of their ratios comes through.

    Rules are for `main`, with those in `loose` at the ratio of what is mounted in them, or at 1 in size where
    they are empty; so that with empty ones a rule is for the product of all. `letters` are those of the gears in each
    loose one: they go on where the main one's end.
    """

    main: str
    loose: tuple[str, ...]
    letters: tuple[str, ...] = field(default=(), compare=False)

    @property
    def lettered(self) -> dict[str, str]:
        """Each loose one with its letters."""
        return dict(zip(self.loose, self.letters, strict=True))


@dataclass(frozen=True)
class Constants:
    """The rules of a train with its levers as they stand; a rule is None where no bracket serves it."""

    index: IndexRule | None
    feeds: tuple[FeedRule, ...]
    differentials: tuple[DifferentialRule, ...]
    speed: str | None
    series: tuple[Series, ...] = ()

    def before(self, bracket: str) -> tuple[str, ...]:
        """The brackets in series with one that a rule is for, in the train's order; empty where it stands alone."""
        return next((each.loose for each in self.series if each.main == bracket), ())

    def letters_before(self, bracket: str) -> Mapping[str, str]:
        """The same with the letters of the gears in each."""
        return next((each.lettered for each in self.series if each.main == bracket), {})


def find_constants(train: Train, drive: str) -> Constants:
    """Work out the rules of `train` for the drive, from the relations of its links.

    Raises `KeyError` if the train has no such drive.
    """
    return rules_of(Transfer.of(train, drive))


def rules_of(transfer: Transfer) -> Constants:
    """The rules for the brackets that are open."""
    transfer, named, series = _joined(transfer, roles(transfer))
    index = _index_rule(transfer, named)
    feeds = tuple(
        rule
        for name in named[Role.FEED]
        for slide in fed_slides(transfer, name)
        if (rule := _feed_rule(transfer, name, slide))
    )
    found = [
        _differential_rule(transfer, name, index, feed)
        for name in named[Role.DIFFERENTIAL]
        for feed in feeds
        if index
    ]
    differentials = tuple(rule for rule in found if rule)
    return Constants(index, feeds, differentials, next(iter(named[Role.SPEED]), None), series)


def find_index_rule(transfer: Transfer, by_role: Mapping[str, Role]) -> IndexRule | None:
    """The index rule alone, for brackets of these roles; None where no one bracket indexes the table."""
    transfer, named, _ = _joined(transfer, by_role)
    return _index_rule(transfer, named)


def _joined(
    transfer: Transfer, by_role: Mapping[str, Role]
) -> tuple[Transfer, dict[Role, list[str]], tuple[Series, ...]]:
    """The train with a fixed ratio in every loose bracket of a series; the brackets left, by role; and the series."""
    named = {role: [name for name, value in by_role.items() if value is role] for role in Role}
    series = every_series(transfer, by_role)
    loose = {name: standing(transfer, name) for each in series for name in each.loose}
    if loose:
        transfer = transfer.closed(loose)
        named = {role: [name for name in names if name not in loose] for role, names in named.items()}
    return transfer, named, series


#: Roles in which several brackets may stand one behind the other.
_IN_SERIES = (Role.INDEX, Role.FEED, Role.DIFFERENTIAL, Role.SPEED)

#: What one bracket is turned up by and another down, to see whether anybody notices: of primes that no gears have.
_SHIFTED = Fraction(10007, 10009)


def every_series(transfer: Transfer, by_role: Mapping[str, Role]) -> tuple[Series, ...]:
    """The brackets that stand one behind the other in the index, the feed, the differential or the speed."""
    named = ([name for name, value in by_role.items() if value is role] for role in _IN_SERIES)
    return tuple(each for names in named for each in find_series(transfer, names))


def find_series(transfer: Transfer, brackets: Sequence[str]) -> list[Series]:
    """The series among brackets of one role, each with the one that takes most pairs as its main one.

    Two brackets are in series where one may be turned up and the other down by the same factor, and no end changes.
    """
    if len(brackets) < 2:
        return []
    filled = generic(transfer.places)
    running = transfer.end_rates(filled)
    groups: list[list[str]] = []
    for name in brackets:
        group = next((each for each in groups if _shifted(transfer, filled, each[0], name) == running), None)
        if group is None:
            groups.append([name])
        else:
            group.append(name)
    return [_series(transfer, group) for group in groups if len(group) > 1]


def _shifted(transfer: Transfer, filled: Ratios, up: str, down: str) -> dict[str, Fraction | None]:
    return transfer.end_rates({**filled, up: filled[up] * _SHIFTED, down: filled[down] / _SHIFTED})


def _series(transfer: Transfer, group: Sequence[str]) -> Series:
    links = {name: _gears(transfer, name) for name in transfer.places if name in group}
    main = max(links, key=lambda name: max(links[name].pairs))  # the first of those that take most
    loose = tuple(name for name in links if name != main)
    return Series(main, loose, tuple(_letters(links[main], [links[name] for name in loose])))


def _letters(main: ChangeGears, loose: Sequence[ChangeGears]) -> Iterator[str]:
    at = max(4, 2 * max(main.pairs))
    for link in loose:
        count = 2 * max(link.pairs)
        yield "".join(itertools.islice(itertools.cycle(LETTERS), at, at + count))
        at += count


def standing(transfer: Transfer, name: str) -> Fraction:
    """The ratio at which a loose bracket is: what is mounted, or 1 with the sense of the fewest gears that it takes."""
    link = _gears(transfer, name)
    if link.ratio is not None:
        return link.ratio
    return Fraction(-1 if (min(link.pairs) + min(link.idlers)) % 2 else 1)


def _gears(transfer: Transfer, name: str) -> ChangeGears:
    link = transfer.places[name]
    assert isinstance(link, ChangeGears)
    return link


def _index_rule(transfer: Transfer, named: Mapping[Role, list[str]]) -> IndexRule | None:
    """What the one index bracket must give with the slides and the differential's own input still."""
    if len(named[Role.INDEX]) != 1:
        return None
    (bracket,) = named[Role.INDEX]
    inputs = [transfer.places[name].ports[1] for name in named[Role.DIFFERENTIAL]]
    sides = transfer.by_ends(bracket, {}, still=inputs)
    ratio = sides and ratio_needed(sides, {"hob": Fraction(1), "table": Fraction(1)})
    return IndexRule(bracket, ratio) if ratio else None


def _feed_rule(transfer: Transfer, bracket: str, slide: str) -> FeedRule | None:
    driving, driven = transfer.by_ends(bracket, {}) or ({}, {})
    if set(driven) != {slide} or len(driving) != 1:
        return None
    ((per, turns),) = driving.items()
    if per not in ("table", "hob"):
        return None
    return FeedRule(bracket, slide, per, turns / driven[slide])


#: What a differential's ratio goes by: turns of the table per hob turn that the index gives, mm of slide per turn
#: of the table, turns of a tooth per mm of slide; all signed in the frame.
_TURNING, _FEED, _LEAN = "turning", "feed", "lean"

#: A gear by which senses are told: teeth, mm of feed per table turn, lead in mm.
_TEETH, _FEED_MM, _LEAD_MM = 30, 2, 700


def _differential_rule(
    transfer: Transfer, bracket: str, index: IndexRule, feed: FeedRule
) -> DifferentialRule | None:
    if feed.slide not in SLIDE_ENDS[:2]:
        return None
    found = _ratio_by_work(transfer, bracket, index, feed)
    if found is None:
        return None
    above, below = found
    senses = {
        (hob, work, way): 1 if ratio > 0 else -1
        for hob in Hand
        for work in Hand
        for way in (1, -1)
        if (ratio := _ratio_for(above, below, _example(hob, work, way, feed.slide)))
    }
    if not senses:
        return None
    factor, term = quotient(above, below) or (Fraction(0), ())
    power = dict(term)
    if power.get(_LEAN) != 1:
        return DifferentialRule(bracket, feed.slide, None, 0, 0, 0, senses)
    starts = power.get(_TURNING, 0)
    return DifferentialRule(bracket, feed.slide, abs(factor), -starts, starts, power.get(_FEED, 0), senses)


def _ratio_by_work(
    transfer: Transfer, bracket: str, index: IndexRule, feed: FeedRule
) -> tuple[Polynomial, Polynomial] | None:
    """What the differential gears must give, as a quotient, index and feed gears being right for the work.

    The law of generation, table = turning * hob + lean * slide, is an equation between the three brackets' ratios
    in which that of the differential gears stands to the first power.
    """
    ends = transfer.together((index.bracket, feed.bracket, bracket), ("hob", "table", feed.slide))
    if ends is None:
        return None
    turning, travel, lean = (variable(name) for name in (_TURNING, _FEED, _LEAN))
    law = {"table": constant(1), "hob": _negative(turning), feed.slide: _negative(lean)}
    # The slide goes by the feed for each turn of the table, which the lean has a part in.
    over = multiply(travel, turning) if feed.per == "hob" else travel
    under = add(constant(1), multiply(lean, travel), -1) if feed.per == "hob" else constant(1)
    put = {
        index.bracket: (multiply(turning, constant(index.constant)), constant(1)),
        feed.bracket: (multiply(over, constant(1 / feed.constant)), under),
    }
    without, with_it = (
        _sum(
            multiply(factor, _put_in({t: c for t, c in ends[end].items() if ((bracket, 1) in t) is stands}, put))
            for end, factor in law.items()
        )
        for stands in (False, True)
    )
    return _negative(without), with_it


def _put_in(polynomial: Polynomial, ratios: Mapping[str, tuple[Polynomial, Polynomial]]) -> Polynomial:
    """A polynomial in ratios with these quotients put in for them, times all that stands below the lines."""
    total: Polynomial = {}
    for term, coefficient in polynomial.items():
        product = constant(coefficient)
        for name, (above, below) in ratios.items():
            product = multiply(product, above if (name, 1) in term else below)
        total = add(total, product)
    return total


def _sum(polynomials: Iterable[Polynomial]) -> Polynomial:
    total: Polynomial = {}
    for each in polynomials:
        total = add(total, each)
    return total


def _negative(polynomial: Polynomial) -> Polynomial:
    return add({}, polynomial, -1)


def _example(hob: Hand, work: Hand, way: int, slide: str) -> dict[str, Fraction]:
    """The example gear with these hands, its slide going up or to the right (1) or the other way (-1).

    Along the axial slide a tooth of hand +1 turns the way that the table must take back; across it the work rolls.
    """
    turning = Fraction(-hob.value, _TEETH)
    lean = Fraction(-work.value if slide == "axial" else 1, _LEAD_MM)
    return {_TURNING: turning, _FEED: Fraction(way * _FEED_MM * (1 if turning > 0 else -1)), _LEAN: lean}


def _ratio_for(above: Polynomial, below: Polynomial, values: Ratios) -> Fraction:
    """The quotient for these values; 0 where it is nothing, or anything would do."""
    under = evaluate(below, values)
    return evaluate(above, values) / under if under else Fraction(0)
