"""What to do about a set-up that isn't as wanted: one plan of correction for all its findings, proved first.

A correction is a few steps after which the machine, set up anew in simulation and held against the drawing, gives
no error that a set-up can help. Each finding's remedy is its part of them: the fewest steps after which it is gone
and nothing new is wrong. So no two remedies contradict each other, and what can't be cured is never said to be.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass, replace

from handlead.kinematics.frame.words import Feed
from handlead.kinematics.transfer.roles import Role
from handlead.machines.judging.checks import judge_set_up
from handlead.machines.setups.case import Case, ends_needed
from handlead.machines.setups.findings import Finding
from handlead.machines.toml.units import feed as feed_text

from .repairs import kinds_of_repair
from .trials import Steps, Trials, wrong_of

#: Feeds that differ by no more than this part are the same to a person.
_SAME_FEED = 1e-3

#: So many kinds of changes are gone through, and one more, for one that leaves nothing to put up with.
_MORE_KINDS = 3


@dataclass(frozen=True)
class Correction:
    """The steps that make the set-up as wanted, and for each finding that they cure its part of them."""

    steps: Steps
    parts: tuple[tuple[Finding, Steps], ...]

    def part_of(self, finding: Finding) -> Steps:
        """What to do about a finding; nothing where the correction doesn't bear on it."""
        return next((steps for cured, steps in self.parts if cured == finding), ())

    def as_json(self) -> list[dict[str, object]]:
        """The steps as plain values, in their order."""
        return [step.as_json() for step in self.steps]

    def advised(self, finding: Finding) -> Finding:
        """The finding with its part as its remedy; as it is where the correction doesn't bear on it."""
        steps = self.part_of(finding)
        return replace(finding, remedy=" ".join(step.words for step in steps)) if steps else finding


def find_correction(case: Case) -> Correction | None:
    """The plan of correction for a set-up; None where nothing is wrong with it, or nothing that was tried mends it."""
    found = tuple(judge_set_up(case))
    wrong = wrong_of(found)
    if not wrong or not set(ends_needed(case)) <= case.train.ends.keys():
        return None
    trials = Trials(case, wrong, frozenset(each.code for each in found))
    steps = _search(trials)
    if steps is None:
        return None
    steps = _with_the_way(trials, _with_the_feed(trials, steps))
    return Correction(steps, tuple(_parts(trials, steps)))


def _parts(trials: Trials, steps: Steps) -> Iterator[tuple[Finding, Steps]]:
    """Each finding that the steps cure with its part; steps that no finding asks for by itself go with the first."""
    parts = [(each, part) for each in trials.wrong if (part := _part(trials, steps, each)) is not None]
    asked = {step for _, part in parts for step in part}
    for number, (finding, part) in enumerate(parts):
        yield finding, tuple(step for step in steps if step in part or (number == 0 and step not in asked))


def _with_the_feed(trials: Trials, steps: Steps) -> Steps:
    """The steps, the one that changes the feed saying what it then is."""
    done, before = trials.done(steps), trials.case.outcome
    then = done.outcome.sliding_feed if done and done.outcome else None
    now = before.sliding_feed if before else None
    if done is None or not then or (now and abs(then / now - 1) < _SAME_FEED):
        return steps
    feeds = {link.name for link in done.train.brackets if done.roles[link.name] is Role.FEED}
    words = f" The feed is then {feed_text(then, trials.case.job.units)}."
    return tuple(replace(step, words=step.words + words) if feeds & step.touches else step for step in steps)


def _with_the_way(trials: Trials, steps: Steps) -> Steps:
    """The steps, the last saying that the slide then feeds the other way to the cut, where that isn't what is meant."""
    done, before, meant = trials.done(steps), trials.case.outcome, trials.case.setup.feed
    then, now = done.outcome.feed if done and done.outcome else None, before.feed if before else None
    if not then or not now or then is now or then is meant:
        return steps
    backlash = ": take up the slide's backlash before it cuts" if then is Feed.CLIMB else ""
    words = f" It then cuts {then.value}, where it cut {now.value} before{backlash}."
    return (*steps[:-1], replace(steps[-1], words=steps[-1].words + words))


def _search(trials: Trials) -> Steps | None:
    """The steps that are least work; before something else is put up with that is no error, more is tried."""
    put_up_with: Steps | None = None
    last = _MORE_KINDS
    for number, tier in enumerate(kinds_of_repair(trials)):
        if put_up_with and number > last:
            break
        best = trials.best(tier)
        if best and best[0]:
            return best[1]
        if best and put_up_with is None:
            put_up_with, last = best[1], max(last, number + 1)
    return put_up_with


def _part(trials: Trials, steps: Steps, finding: Finding) -> Steps | None:
    """The fewest of the steps after which the finding is gone and nothing new is wrong; None where it stays."""
    for number in range(1, len(steps) + 1):
        for some in itertools.combinations(steps, number):
            if trials.cures(some, finding):
                return some
    return None
