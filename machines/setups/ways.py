"""The ways in which a machine could be set to a piece of work: levers, and what each bracket must then give."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cached_property
from itertools import islice

from handlead.kinematics.frame.exact import Ratio
from handlead.kinematics.frame.words import Feed
from handlead.kinematics.train.train import Train
from handlead.kinematics.transfer.constants import Constants, FeedRule, rules_of, standing
from handlead.kinematics.transfer.targets import end_rates, ratio_needed
from handlead.kinematics.transfer.transfer import Transfer, generic
from handlead.kinematics.work.requirement import HobData, Work
from handlead.machines.machine_files.machine_file import Machine

#: Combinations of lever positions that are looked at.
MOST_COMBINATIONS = 512


@dataclass(frozen=True)
class Way:
    """One combination of lever positions, with the machine's rules for it.

    `effort` counts the levers that don't stand in their normal position. `loose` holds the signed ratios at which the
    brackets in series with others are to stand; in `train` they have them, and `constants` are the rules of the rest.
    """

    machine: Machine
    drive: str
    levers: Mapping[str, str]
    train: Train
    transfer: Transfer
    constants: Constants
    effort: int
    loose: Mapping[str, Fraction] = field(default_factory=dict)

    def feed_rule(self, slide: str) -> FeedRule | None:
        """The rule of the bracket that feeds `slide`; None where none does."""
        return next((rule for rule in self.constants.feeds if rule.slide == slide), None)

    def differential(self, slide: str) -> str | None:
        """The bracket whose gears add to the table's turning with the slide; None where none does."""
        return next((rule.bracket for rule in self.constants.differentials if rule.slide == slide), None)

    def does_as(self, other: Way) -> bool:
        """Whether both have the same rules and turn the hob at the same speed."""
        alike = self.constants == other.constants and self.loose == other.loose
        return alike and self.hob_per_drive == other.hob_per_drive

    @cached_property
    def hob_per_drive(self) -> Fraction | None:
        """Turns of the hob per turn of the drive, a fixed odd ratio standing in every bracket."""
        return self.transfer.end_rates(generic(self.transfer.places))["hob"]

    @property
    def has_differential(self) -> bool:
        """Whether a differential adds to the table's turning, so that its bracket can't be left empty."""
        return bool(self.constants.differentials)


def find_ways(machine: Machine, drive: str, loose: Mapping[str, Fraction] | None = None) -> list[Way]:
    """Every combination of lever positions in which a bracket indexes the table, normal positions first.

    Combinations that give the same rules and the same hob speed differ in levers that don't matter;
    the one with the fewest levers moved stands for them. Brackets in series with others stand at the signed ratios in
    `loose`, or where they aren't there at 1 in size.
    """
    found: list[Way] = []
    for levers in islice(machine.lever_combinations(), MOST_COMBINATIONS):
        if not machine.can_stand(levers):
            continue
        train = machine.train.with_states(machine.states(levers))
        transfer, stand, constants = _with_loose(Transfer.of(train, drive), loose or {})
        if constants.index is not None:
            effort = sum(levers[name] != lever.normal for name, lever in machine.levers.items())
            train = train.with_ratios(stand)
            found.append(Way(machine, drive, levers, train, transfer, constants, effort, stand))
    found.sort(key=lambda way: (way.effort, tuple(way.levers.values())))
    distinct: list[Way] = []
    for way in found:
        if not any(way.does_as(other) for other in distinct):
            distinct.append(way)
    return distinct


def _with_loose(
    transfer: Transfer, loose: Mapping[str, Fraction]
) -> tuple[Transfer, dict[str, Fraction], Constants]:
    """The train with a fixed ratio in each bracket in series with another; those ratios; the rules for the rest."""
    constants = rules_of(transfer)
    names = [name for series in constants.series for name in series.loose]
    if not names:
        return transfer, {}, constants
    stand = {name: loose.get(name, standing(transfer, name)) for name in names}
    closed = transfer.closed(stand)
    return closed, stand, replace(rules_of(closed), series=constants.series)


@dataclass(frozen=True)
class Needed:
    """What the brackets must give: signed ratios; `feed` per table turn signed in the frame, in mm.

    `differential` is None where none is used. `feed_ratio` is None where no slide is fed.
    """

    way: Way
    slide: str | None
    index: Fraction
    feed: Fraction
    feed_ratio: Fraction | None
    differential: Ratio | None


def feed_signed(hob: HobData, feed_mm: Fraction, meant: Feed) -> Fraction:
    """Feed per table turn with its sign in the frame.

    Climb means that the slide goes down while the hob's teeth are cutting up, and the table then
    turns by minus the hob's hand; so per table turn it goes by the hob's hand.
    """
    return feed_mm * hob.hand.value * (1 if meant is Feed.CLIMB else -1)


def needed(way: Way, work: Work, hob: HobData, slide: str | None, feed_mm: Fraction) -> Needed | None:
    """What this way asks of its brackets for work that a differential suits, or spur work without one.

    None where the way doesn't feed the slide, or has no use for the work.
    """
    assert way.constants.index is not None
    index = way.constants.index.ratio(hob.hand, hob.starts, work.teeth)
    if slide is None:
        return None if way.has_differential else Needed(way, None, index, Fraction(0), None, None)
    rule = way.feed_rule(slide)
    if rule is None:
        return None
    ratio = feed_ratio(rule, work, hob, feed_mm)
    bracket = way.differential(slide)
    target: Ratio | None = None
    if (work.is_helical and slide == "axial") or slide == "tangential":
        if bracket is None:
            return None
        ends = end_rates(work, hob, slide, feed_mm)
        others = {way.constants.index.bracket: index, rule.bracket: ratio}
        sides = way.transfer.by_ends(bracket, others)
        target = sides and ratio_needed(sides, ends)
        if target is None:
            return None
    elif way.has_differential:
        return None
    return Needed(way, slide, index, feed_mm, ratio, target)


def feed_ratio(rule: FeedRule, work: Work, hob: HobData, feed_mm: Fraction) -> Fraction:
    """Signed ratio of the feed gears for a feed per table turn."""
    if rule.per == "table":
        return feed_mm / rule.constant
    return feed_mm * -hob.hand.value * Fraction(hob.starts, work.teeth) / rule.constant
