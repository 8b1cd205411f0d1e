"""Changed set-ups of one case, each run once, and what then is wrong: whether steps do what they are to do."""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property

from handlead.kinematics.law.outcome import predict_of_kind
from handlead.kinematics.links.mounted import ChangeGears
from handlead.kinematics.transfer.response import Response
from handlead.kinematics.transfer.roles import Role
from handlead.machines.judging.checks import judge_set_up
from handlead.machines.practice.cut_proposal import feed_wanted, propose_cut
from handlead.machines.setups.case import Case, cuts_wanted, helix_slope_um, is_right
from handlead.machines.setups.findings import Finding
from handlead.machines.setups.mending import Step, carried_out, refusal
from handlead.machines.toml.errors import FileFault

Steps = tuple[Step, ...]

#: So many changes of one kind are looked at; machines of ten levers have thousands.
_MOST_TRIED = 4000

#: So many of the changes that come out right are proved in full before a kind of change is given up.
_MOST_PROVED = 12

#: A feed more than so many times the usual, or less than that part of it, is put up with only if nothing else is found.
_FAR_OFF = Fraction(5, 2)

#: A note that is put up with only where nothing else is found: the count would come to rest on the feed.
_RESTS_ON_FEED = "feed-belongs-to-index"

#: Findings that a correction is sought for though they are no errors: the feed's way, and its size.
FEED_SIZE = "feed-out-of-measure"
ALSO = frozenset({"feed-other-way", FEED_SIZE})

#: Findings for which the hob's speed may have to be changed.
BEYOND = "beyond-limits"
_OF_THE_SPEED = frozenset({BEYOND, "not-driven"})


@dataclass(frozen=True)
class Trials:
    """Changed set-ups of one case, each run once."""

    case: Case
    wrong: tuple[Finding, ...]
    known: frozenset[str]
    _cases: dict[Steps, Case | None] = field(default_factory=dict)
    _found: dict[Steps, tuple[Finding, ...] | None] = field(default_factory=dict)
    _responses: dict[object, Response] = field(default_factory=dict)

    @cached_property
    def codes(self) -> Counter[str]:
        """What is wrong before anything is done, by code."""
        return Counter(finding.code for finding in self.wrong)

    @cached_property
    def named(self) -> frozenset[str]:
        """The brackets that something was found wrong with, by name."""
        return _named(self.case, self.wrong)

    @cached_property
    def cuts_right(self) -> bool:
        """Whether it would cut the work as it stands, whatever else is wrong."""
        return is_right(self.case) and not self.codes.keys() & ALSO

    @property
    def is_only_the_feed(self) -> bool:
        """Whether nothing is wrong but which way the feed goes, or how far."""
        return self.codes.keys() <= ALSO

    def done(self, steps: Steps) -> Case | None:
        """The machine after the steps; None where levers then fight."""
        if steps not in self._cases:
            try:
                self._cases[steps] = carried_out(self.case, steps)
            except FileFault:
                self._cases[steps] = None
        return self._cases[steps]

    def found(self, steps: Steps) -> tuple[Finding, ...] | None:
        """What is then found; None where the levers fight."""
        if steps not in self._found:
            done = self.done(steps)
            self._found[steps] = None if done is None else tuple(judge_set_up(done))
        return self._found[steps]

    def cures(self, steps: Steps, finding: Finding) -> bool:
        """Whether the finding is gone after the steps, and no error is there that wasn't before."""
        found = self.found(steps)
        if found is None or any(left.severity == "error" and left.code not in self.codes for left in found):
            return False
        left = [each for each in found if each.code == finding.code]
        return len(left) < self.codes[finding.code] and finding.message not in {each.message for each in left}

    def blames(self, steps: Steps, bracket: str) -> bool:
        """Whether something is found wrong with a bracket after the steps."""
        return bracket in _named(self.case, wrong_of(self.found(steps) or ()))

    def best(self, tried: Iterable[Steps]) -> tuple[bool, Steps] | None:
        """Of the steps after which all is as wanted, those that are least work, and whether nothing else comes of them.

        What else may come is a feed that isn't as it was, or a warning.
        """
        looked_at = itertools.islice(tried, _MOST_TRIED)
        right = sorted(((rank, steps) for steps in looked_at if (rank := self._rank(steps))), key=lambda each: each[0])
        second: Steps | None = None
        for (strays, *_), steps in right[:_MOST_PROVED]:
            found = self.found(steps)
            if found is None or any(left.severity == "error" for left in found):
                continue
            feed = {left.code for left in found} & ALSO
            if feed and (self.is_only_the_feed or FEED_SIZE in feed - self.codes.keys()):
                continue
            new = (left for left in found if left.code not in self.known)
            warned = any(left.severity == "warning" or left.code == _RESTS_ON_FEED for left in new)
            if not strays and not feed and not warned:
                return True, steps
            second = second or steps
        return (False, second) if second else None

    def _rank(self, steps: Steps) -> tuple[int, int, float, int] | None:
        """What steps that cut the work rightly are ordered by, best first; None for those that don't."""
        if not self._may_be_right(steps):
            return None
        done = self.done(steps)
        if done is None or done.solution.backdriven or not is_right(done):
            return None
        if self._turns_hob_over(done):
            return None
        changed = (done.train.link(name) for name in touched(steps) & done.setup.change.keys())
        if any(isinstance(link, ChangeGears) and link.mounted and refusal(link, link.mounted) for link in changed):
            return None
        outcome = done.outcome
        assert outcome is not None
        strays = self._strays(done)
        if strays and self.is_only_the_feed:
            return None
        effort = sum(step.effort for step in steps)
        work = self.case.job.work
        slope = 0.0 if work.kind == "worm wheel" else round(abs(helix_slope_um(work, outcome)), 1)
        # Of several gears that would do for one, the truest lead decides before the likeliest slip.
        return strays, len(touched(steps)), slope, effort

    def _turns_hob_over(self, done: Case) -> bool:
        """Whether the hob would run the other way: its cutting faces would then look backwards.

        It runs so with the drive that it has now, unless the speed gears have idlers that their bracket doesn't take.
        """
        if done.setup.drive != self.case.setup.drive or "idlers-not-allowed" in self.codes:
            return False
        before, after = (case.solution.end_rate("hob") or 0 for case in (self.case, done))
        return before * after < 0

    def _strays(self, done: Case) -> int:
        """How far the feed then isn't what it was meant to be: another slide, the other way, or far from usual."""
        before, after, meant = self.case.outcome, done.outcome, self.case.setup.feed
        if before and before.feed_slide and after and after.feed_slide != before.feed_slide:
            return 3
        far = after is not None and not _within(after.sliding_feed, self.usual_feed)
        return 2 * int(meant is not None and (after is None or after.feed is not meant)) + int(far)

    @cached_property
    def usual_feed(self) -> Fraction:
        """The feed that the job asks for, or a usual one."""
        job = self.case.job
        return feed_wanted(job.cutting, propose_cut(job.work, job.hob, job.cutting, job.machine))

    def _may_be_right(self, steps: Steps) -> bool:
        """A quick look: whether the rates cut the work, by the answer of the train to its change gears."""
        if any(step.ratios for step in steps):
            return True
        setup, work, machine = self.case.setup, self.case.job.work, self.case.job.machine
        for step in steps:
            setup = step.on(setup)
        positions = machine.positions(setup)
        key = (setup.drive, frozenset(positions.items()), frozenset(setup.change))
        if key not in self._responses:
            if not machine.can_stand(positions):
                return False
            train = machine.train.with_states(machine.states(positions))
            self._responses[key] = Response.of(train, setup.drive, sorted(setup.change))
        response = self._responses[key]
        running = response.running([setup.change[name].ratio for name in response.filled])
        if running.rates is None:
            return False
        swivel = float(setup.swivel_deg or 0)
        return cuts_wanted(work, predict_of_kind(work.kind, running.rates, self.case.job.hob, swivel))


def wrong_of(found: Iterable[Finding]) -> tuple[Finding, ...]:
    """Of what was found, what a correction is sought for."""
    return tuple(each for each in found if each.severity == "error" or each.code in ALSO)


def _named(case: Case, wrong: Iterable[Finding]) -> frozenset[str]:
    """The brackets that findings name, and those that make a speed or a feed found fault with."""
    found: set[str] = set()
    for finding in wrong:
        for key in ("bracket", "brackets", "empty_brackets"):
            names = finding.facts.get(key, ())
            found.update([names] if isinstance(names, str) else [str(name) for name in _listed(names)])
        blamed = {
            Role.SPEED: finding.code in _OF_THE_SPEED,
            Role.FEED: finding.code in (BEYOND, FEED_SIZE) and "feed_mm_per_table_turn" in finding.facts,
        }
        found |= {name for name, role in case.roles.items() if blamed.get(role)}
    return frozenset(found)


def touched(steps: Steps) -> frozenset[str]:
    """All that the steps lay hand on."""
    return frozenset[str]().union(*(step.touches for step in steps))


def _within(feed: Fraction | None, usual: Fraction) -> bool:
    return not feed or usual / _FAR_OFF <= feed <= usual * _FAR_OFF


def _listed(names: object) -> tuple[object, ...]:
    return names if isinstance(names, tuple) else ()
