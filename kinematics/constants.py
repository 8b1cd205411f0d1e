"""A machine's own change-gear rules, worked out from its train and from nothing else."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from .links import Ratio
from .needs import Need, Role, fed_slides, need, roles
from .solution import SLIDE_ENDS
from .train import Train
from .words import Hand


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

    @property
    def depends_on_teeth(self) -> bool:
        """Whether gears of one helix angle and different counts need different differential gears.

        The lead of such gears grows with the count, so a rule with z over the lead is free of it.
        """
        return self.teeth_power != 1


@dataclass(frozen=True)
class Constants:
    """The rules of a train with its levers as they stand; a rule is None where no bracket serves it."""

    index: IndexRule | None
    feeds: tuple[FeedRule, ...]
    differentials: tuple[DifferentialRule, ...]
    speed: str | None


def find_constants(train: Train, drive: str) -> Constants:
    """Work out the rules of `train` for the drive, from the relations of its links.

    Raises `KeyError` if the train has no such drive.
    """
    by_role = roles(train, drive)
    named = {role: [name for name, value in by_role.items() if value is role] for role in Role}
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
    return Constants(index, feeds, differentials, next(iter(named[Role.SPEED]), None))


def find_index_rule(
    train: Train, drive: str, by_role: Mapping[str, Role] | None = None
) -> IndexRule | None:
    """The index rule alone, at a fraction of the work; None where no one bracket indexes the table.

    `by_role` are the brackets' roles, where they have been found already.
    """
    by_role = roles(train, drive) if by_role is None else by_role
    return _index_rule(
        train, drive, {role: [name for name, value in by_role.items() if value is role] for role in Role}
    )


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
