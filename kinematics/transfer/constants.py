"""A machine's own change-gear rules, worked out from its train and from nothing else."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from handlead.kinematics.frame.frozen import freeze
from handlead.kinematics.frame.words import Hand
from handlead.kinematics.train.links import ChangeGears, Ratio
from handlead.kinematics.train.solution import SLIDE_ENDS, Solution, solve
from handlead.kinematics.train.train import Train

from .needs import Need, Role, fed_slides, need, roles, with_generic_gears


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
    they are empty; so that with empty ones a rule is for the product of all.
    """

    main: str
    loose: tuple[str, ...]


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


def find_constants(train: Train, drive: str) -> Constants:
    """Work out the rules of `train` for the drive, from the relations of its links.

    Raises `KeyError` if the train has no such drive.
    """
    train, named, series = _joined(train, drive, roles(train, drive))
    index = _index_rule(train, drive, named)
    feeds = tuple(
        rule
        for name in named[Role.FEED]
        for slide in fed_slides(train, name, drive)
        if (rule := _feed_rule(train, drive, name, slide))
    )
    found = [
        _differential_rule(train, drive, name, index, feed)
        for name in named[Role.DIFFERENTIAL]
        for feed in feeds
        if index
    ]
    differentials = tuple(rule for rule in found if rule)
    return Constants(index, feeds, differentials, next(iter(named[Role.SPEED]), None), series)


def find_index_rule(
    train: Train, drive: str, by_role: Mapping[str, Role] | None = None
) -> IndexRule | None:
    """The index rule alone, at a fraction of the work; None where no one bracket indexes the table.

    `by_role` are the brackets' roles, where they have been found already.
    """
    train, named, _ = _joined(train, drive, roles(train, drive) if by_role is None else by_role)
    return _index_rule(train, drive, named)


def _joined(
    train: Train, drive: str, by_role: Mapping[str, Role]
) -> tuple[Train, dict[Role, list[str]], tuple[Series, ...]]:
    """The train with a fixed ratio in every loose bracket of a series; the brackets left, by role; and the series."""
    named = {role: [name for name, value in by_role.items() if value is role] for role in Role}
    series = tuple(each for role in _IN_SERIES for each in find_series(train, drive, named[role]))
    loose = {name for each in series for name in each.loose}
    if loose:
        train = train.replacing(*(standing(train, name) for name in loose))
        named = {role: [name for name in names if name not in loose] for role, names in named.items()}
    return train, named, series


#: Roles in which several brackets may stand one behind the other.
_IN_SERIES = (Role.INDEX, Role.FEED, Role.DIFFERENTIAL, Role.SPEED)

#: What one bracket is turned up by and another down, to see whether anybody notices: of primes that no gears have.
_SHIFTED = Fraction(10007, 10009)


def find_series(train: Train, drive: str, brackets: Sequence[str]) -> list[Series]:
    """The series among brackets of one role, each with the one that takes most pairs as its main one.

    Two brackets are in series where one may be turned up and the other down by the same factor, and no end changes.
    """
    if len(brackets) < 2:
        return []
    filled = with_generic_gears(train)
    running = solve(filled, drive)
    groups: list[list[str]] = []
    for name in brackets:
        group = next((each for each in groups if _makes_up_for(filled, drive, running, each[0], name)), None)
        if group is None:
            groups.append([name])
        else:
            group.append(name)
    return [_series(train, group) for group in groups if len(group) > 1]


def _makes_up_for(filled: Train, drive: str, running: Solution, one: str, other: str) -> bool:
    shifted = []
    for name, factor in ((one, _SHIFTED), (other, 1 / _SHIFTED)):
        link = filled.link(name)
        assert isinstance(link, Ratio)
        shifted.append(replace(link, value=link.value * factor))
    changed = solve(filled.replacing(*shifted), drive)
    return all(changed.end_rate(end) == running.end_rate(end) for end in filled.ends)


def _series(train: Train, group: Sequence[str]) -> Series:
    links = [link for link in train.brackets if link.name in group]
    main = max(links, key=lambda link: max(link.pairs))  # the first of those that take most
    return Series(main.name, tuple(link.name for link in links if link is not main))


def standing(train: Train, name: str) -> Ratio:
    """A loose bracket as a fixed ratio: what is mounted, or 1 with the sense of the fewest gears that it takes."""
    link = train.link(name)
    assert isinstance(link, ChangeGears)
    ratio = link.ratio
    if ratio is None:
        ratio = Fraction(-1 if (min(link.pairs) + min(link.idlers)) % 2 else 1)
    return Ratio(link.name, link.from_part, link.to_part, ratio)


def _emptied(train: Train, *besides: str) -> Train:
    return train.with_gears({link.name: None for link in train.brackets if link.name not in besides})


def _index_rule(train: Train, drive: str, named: Mapping[Role, list[str]]) -> IndexRule | None:
    if len(named[Role.INDEX]) != 1:
        return None
    (bracket,) = named[Role.INDEX]
    found = index_need(train, drive, bracket, named[Role.DIFFERENTIAL])
    ratio = found and found.ratio({"hob": Fraction(1), "table": Fraction(1)})
    return IndexRule(bracket, ratio) if ratio else None


def index_need(train: Train, drive: str, bracket: str, differentials: list[str]) -> Need | None:
    """What the index bracket must give with the slides and the differential's own input still."""
    inputs = [train.link(name).ports[1] for name in differentials]
    return need(_emptied(train), bracket, drive, still=inputs)


def _feed_rule(train: Train, drive: str, bracket: str, slide: str) -> FeedRule | None:
    found = need(_emptied(train), bracket, drive)
    if found is None or set(found.driven) != {slide} or len(found.driving) != 1:
        return None
    ((per, turns),) = found.driving.items()
    if per not in ("table", "hob"):
        return None
    return FeedRule(bracket, slide, per, turns / found.driven[slide])


def _differential_rule(
    train: Train, drive: str, bracket: str, index: IndexRule, feed: FeedRule
) -> DifferentialRule | None:
    if feed.slide not in SLIDE_ENDS[:2]:
        return None
    study = _Study(train, drive, bracket, index, feed)
    base = study.ratio(_Trial())
    if not base:
        return None
    doubled = (_Trial(teeth=60), _Trial(starts=2), _Trial(feed=Fraction(4)))
    powers = [_power(base, study.ratio(trial)) for trial in doubled]
    straight = _power(base, study.ratio(_Trial(lead=Fraction(1400)))) == -1
    senses = {
        (hob, work, way): 1 if ratio > 0 else -1
        for hob in Hand
        for work in Hand
        for way in (1, -1)
        if (ratio := study.ratio(_Trial(hob=hob, work=work, way=way)))
    }
    if not straight or None in powers:
        return DifferentialRule(bracket, feed.slide, None, 0, 0, 0, senses)
    z, k, f = (power or 0 for power in powers)
    constant = abs(base) * 700 / (Fraction(30) ** z * Fraction(2) ** f)
    return DifferentialRule(bracket, feed.slide, constant, z, k, f, senses)


def _power(base: Fraction, doubled: Fraction | None) -> int | None:
    """The power of a variable whose doubling turns `base` into `doubled`; None if it's no whole power."""
    return {Fraction(2) ** power: power for power in range(-3, 4)}.get(doubled / base) if doubled else None


@dataclass(frozen=True)
class _Trial:
    """A gear with a rational lead, by which the rule is found out."""

    teeth: int = 30
    starts: int = 1
    feed: Fraction = Fraction(2)
    lead: Fraction = Fraction(700)
    hob: Hand = Hand.RIGHT
    work: Hand = Hand.RIGHT
    way: int = 1


@dataclass(frozen=True)
class _Study:
    """Differential gears for one trial after another, index and feed gears being right for it."""

    train: Train
    drive: str
    bracket: str
    index: IndexRule
    feed: FeedRule

    def ratio(self, trial: _Trial) -> Fraction | None:
        """Signed ratio of the differential gears that the trial gear needs."""
        ends = trial_ends(trial.hob, trial.starts, trial.teeth, self.feed.slide, trial.way * trial.feed,
                          trial.work.value / trial.lead)  # fmt: skip
        index, feed = (self.train.link(rule.bracket) for rule in (self.index, self.feed))
        feed_ratio = ends[self.feed.slide] / ends[self.feed.per] / self.feed.constant
        mounted = _emptied(self.train).replacing(
            Ratio(index.name, index.ports[0], index.ports[1],
                  self.index.ratio(trial.hob, trial.starts, trial.teeth)),
            Ratio(feed.name, feed.ports[0], feed.ports[1], feed_ratio),
        )  # fmt: skip
        found = need(mounted, self.bracket, self.drive)
        return found.ratio(ends) if found else None


def trial_ends(
    hob: Hand, starts: int, teeth: int, slide: str, feed: Fraction, turns_per_mm: Fraction
) -> dict[str, Fraction]:
    """Rates of the ends per hob turn for a gear whose teeth turn `turns_per_mm` along the slide.

    `feed` is signed in the frame, in mm per table turn in size. For the axial slide `turns_per_mm`
    is hand over lead (right positive), so that the table adds its negative; for the tangential
    slide it is the rolling of the work and the table adds it.
    """
    index = -hob.value * Fraction(starts, teeth)
    added = -turns_per_mm if slide == "axial" else abs(turns_per_mm)
    # table = index + added * way, and way = feed * |table|; the table's sense is the index's.
    way_per_table = feed * (1 if index > 0 else -1)
    table = index / (1 - added * way_per_table)
    return {"hob": Fraction(1), "table": table, slide: way_per_table * table}
