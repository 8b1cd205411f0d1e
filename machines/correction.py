"""What to do about a set-up that isn't as wanted: one plan of correction for all its findings, proved first.

A correction is a few steps after which the machine, set up anew in simulation and held against the drawing, gives
no error that a set-up can help. Each finding's remedy is its part of them: the fewest steps after which it is gone
and nothing new is wrong. So no two remedies contradict each other, and what can't be cured is never said to be.
"""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cached_property

from handlead.kinematics.constants import find_constants
from handlead.kinematics.links import ChangeGears, Mounted
from handlead.kinematics.needs import Role
from handlead.kinematics.outcome import predict_of_kind
from handlead.kinematics.response import Response
from handlead.kinematics.targets import generation_equation

from .case import Case, cuts_wanted, helix_slope_um, is_right
from .checks import SWIVEL_LIMIT_DEG, judge_set_up
from .cut_proposal import feed_wanted, propose_cut
from .errors import FileFault
from .findings import Finding
from .mending import (
    Step,
    anew_steps,
    carried_out,
    crossed_steps,
    drive_step,
    exchange_steps,
    idler_steps,
    lever_steps,
    other_gear_steps,
    other_idler_steps,
    ratio_step,
    swing_step,
    turned_round_steps,
    with_idlers,
)
from .units import feed as feed_text
from .ways import feed_ratio

Steps = tuple[Step, ...]
Judge = Callable[[Case], Iterable[Finding]]

#: One gear against another is tried where the ratio comes within this part of the one that the work needs.
_NEAR = 2e-3

#: Where any feed or speed will do, one within this part of what is there or usual.
_LOOSELY = 0.15

#: Feeds that differ by no more than this part are the same to a person.
_SAME_FEED = 1e-3

#: Below this a bracket's ratio is what is left of one that doesn't matter.
_NO_RATIO = Fraction(1, 1000)

#: So many of the changes that come out right are proved in full before a kind of change is given up.
_MOST_PROVED = 40

#: So many kinds of changes are gone through for one that leaves the feed as it was meant.
_TIERS_FOR_THE_WAY = 3

#: Findings other than errors that a correction is sought for.
_ALSO = frozenset({"feed-other-way"})

#: Brackets that bear on what is cut.
_BEARING = (Role.INDEX, Role.FEED, Role.DIFFERENTIAL)

#: Findings that gears in any bracket may give, whatever it decides.
_OF_THE_GEARS = frozenset({
    "gear-not-owned", "gear-used-twice", "pairs-not-allowed", "idlers-not-allowed", "wont-mount", "beyond-limits",
})  # fmt: skip


@dataclass(frozen=True)
class Correction:
    """The steps that make the set-up as wanted, and for each finding that they cure its part of them."""

    steps: Steps
    parts: tuple[tuple[Finding, Steps], ...]

    def part_of(self, finding: Finding) -> Steps:
        """What to do about a finding; nothing where the correction doesn't bear on it."""
        return next((steps for cured, steps in self.parts if cured == finding), ())

    def advised(self, finding: Finding) -> Finding:
        """The finding with its part as its remedy; as it is where the correction doesn't bear on it."""
        steps = self.part_of(finding)
        return replace(finding, remedy=" ".join(step.words for step in steps)) if steps else finding


def find_correction(case: Case) -> Correction | None:
    """The plan of correction for a set-up; None where nothing is wrong with it, or nothing that was tried mends it."""
    found = tuple(judge_set_up(case))
    wrong = _wrong(found)
    if not wrong:
        return None
    trials = _Trials(case, wrong, frozenset(each.code for each in found))
    steps = _search(trials)
    if steps is None:
        return None
    steps = _with_the_feed(trials, steps)
    parts = ((finding, part) for finding in wrong if (part := _part(trials, steps, finding)) is not None)
    return Correction(steps, tuple(parts))


def _with_the_feed(trials: _Trials, steps: Steps) -> Steps:
    """The steps, the one that changes the feed saying what it then is."""
    done, before = trials.done(steps), trials.case.outcome
    then = done.outcome.sliding_feed if done and done.outcome else None
    now = before.sliding_feed if before else None
    if done is None or not then or (now and abs(then / now - 1) < _SAME_FEED):
        return steps
    feeds = {link.name for link in done.train.brackets if done.roles[link.name] is Role.FEED}
    words = f" The feed is then {feed_text(then, trials.case.job.units)}."
    return tuple(replace(step, words=step.words + words) if feeds & step.touches else step for step in steps)


def _wrong(found: Iterable[Finding]) -> tuple[Finding, ...]:
    """Of what was found, what a correction is sought for."""
    return tuple(each for each in found if each.severity == "error" or each.code in _ALSO)


def _search(trials: _Trials) -> Steps | None:
    """The steps that are least work; before the feed is let go another way, more is tried."""
    strayed: Steps | None = None
    for number, tier in enumerate(_tiers(trials)):
        if strayed and number > _TIERS_FOR_THE_WAY:
            break
        best = trials.best(tier)
        if best and not best[0]:
            return best[1]
        strayed = strayed or (best[1] if best else None)
    return strayed


def _part(trials: _Trials, steps: Steps, finding: Finding) -> Steps | None:
    """The fewest of the steps after which the finding is gone and nothing new is wrong; None where it stays."""
    for number in range(1, len(steps) + 1):
        for some in itertools.combinations(steps, number):
            if trials.cures(some, finding):
                return some
    return None


# ---------------------------------------------------------------- trying


@dataclass(frozen=True)
class _Trials:
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

    @property
    def is_only_the_way(self) -> bool:
        """Whether nothing is wrong but which way the feed goes."""
        return self.codes.keys() <= _ALSO

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

    def best(self, tried: Iterable[Steps]) -> tuple[int, Steps] | None:
        """Of the steps after which all is as wanted, those that are least work, and whether the feed then strays."""
        right = sorted(((rank, steps) for steps in tried if (rank := self._rank(steps))), key=lambda each: each[0])
        warned: tuple[int, Steps] | None = None
        for (strays, *_), steps in right[:_MOST_PROVED]:
            found = self.found(steps)
            if found is None or any(left.severity == "error" for left in found):
                continue
            if not any(left.severity == "warning" and left.code not in self.known for left in found):
                return strays, steps
            warned = warned or (strays, steps)
        return warned

    def _rank(self, steps: Steps) -> tuple[int, int, float, int] | None:
        """What steps that cut the work rightly are ordered by, best first; None for those that don't."""
        if not self._may_be_right(steps):
            return None
        done = self.done(steps)
        if done is None or done.solution.backdriven or not is_right(done):
            return None
        outcome = done.outcome
        assert outcome is not None
        strays = self._strays(done)
        if strays and self.is_only_the_way:
            return None
        effort = sum(step.effort for step in steps)
        work = self.case.job.work
        slope = 0.0 if work.kind == "worm wheel" else round(abs(helix_slope_um(work, outcome)), 1)
        # Of several gears that would do for one, the truest lead decides before the likeliest slip.
        return strays, len({name for step in steps for name in step.touches}), slope, effort

    def _strays(self, done: Case) -> int:
        """How far the feed then isn't what it was meant to be: another slide, or the other way."""
        before, after, meant = self.case.outcome, done.outcome, self.case.setup.feed
        if before and before.feed_slide and after and after.feed_slide != before.feed_slide:
            return 2
        return int(meant is not None and (after is None or after.feed is not meant))

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


# ---------------------------------------------------------------- what is tried, least work first


def _tiers(trials: _Trials) -> Iterator[Iterator[Steps]]:
    """Kinds of changes, those that a person would think of first, first."""
    case = trials.case
    always = tuple(step for step in (swing_step(case, SWIVEL_LIMIT_DEG), drive_step(case)) if step)
    if always:
        yield iter([always])
    levers = [(*always, step) for step in lever_steps(case)]
    single = [*levers, *((*always, step) for step in _rearranged(trials))]
    yield iter(single)
    yield _repairs(trials, always, _other_gear)
    yield itertools.chain(_pairs(single, len(always)), _rearranged_twice(trials, always), _crossed(trials, always))
    yield _repairs(trials, always, _anew)
    yield (steps for first in single for steps in _repairs(trials, first, _other_gear))
    yield (steps for first in single for steps in _repairs(trials, first, _anew))
    yield (steps for first in _indexed(trials, always) for steps in _repairs(trials, first, _anew))
    yield _repairs(trials, always, _by_ratio)
    yield (steps for first in levers for steps in _repairs(trials, first, _by_ratio))


def _pairs(single: Sequence[Steps], always: int) -> Iterator[Steps]:
    for one, other in itertools.combinations(single, 2):
        if not one[always].touches & other[always].touches:
            yield (*one, other[always])


def _brackets(trials: _Trials, case: Case) -> Iterator[ChangeGears]:
    """The brackets that bear on the cut; every one where gears are wrong that are so in any."""
    for link in case.train.brackets:
        if case.roles[link.name] in _BEARING or trials.codes.keys() & _OF_THE_GEARS:
            yield link


def _rearranged(trials: _Trials) -> Iterator[Step]:
    """What can be done to each bracket with the gears that it holds, and idlers."""
    for link in _brackets(trials, trials.case):
        if link.mounted:
            yield from _of_bracket(trials, link, link.mounted)


def _of_bracket(trials: _Trials, link: ChangeGears, mounted: Mounted) -> Iterator[Step]:
    yield from idler_steps(trials.case, link, mounted)
    if trials.codes.keys() & _OF_THE_GEARS:
        yield from other_idler_steps(trials.case, link, mounted)
    yield from exchange_steps(link, mounted, same_ratio="wont-mount" in trials.codes)
    yield from turned_round_steps(link, mounted)


def _rearranged_twice(trials: _Trials, always: Steps) -> Iterator[Steps]:
    """Two changes of one bracket, in one step."""
    for link in _brackets(trials, trials.case):
        if not link.mounted:
            continue
        for first in _of_bracket(trials, link, link.mounted):
            between = first.change[link.name]
            for second in idler_steps(trials.case, link, between):
                if not first.words.startswith("Exchange") and not first.words.startswith("Turn"):
                    continue
                words = f"{first.words} {second.words}"
                yield (*always, replace(second, words=words, effort=first.effort + second.effort))


def _crossed(trials: _Trials, always: Steps) -> Iterator[Steps]:
    for one, other in itertools.combinations(_brackets(trials, trials.case), 2):
        yield from ((*always, step) for step in crossed_steps(one, other))


_Way = Callable[[Case, ChangeGears, "_Target"], Iterable[Step]]


@dataclass(frozen=True)
class _Target:
    """A signed ratio for a bracket; where it `is_loose`, one near it will do as well."""

    ratio: Fraction
    is_loose: bool = False


def _repairs(trials: _Trials, first: Steps, way: _Way) -> Iterator[Steps]:
    """The steps, and after them one bracket changed in this way so that it gives what the work then needs."""
    done = trials.done(first)
    if done is None:
        return
    touched = frozenset[str]().union(*(step.touches for step in first))
    for link in _brackets(trials, done):
        if link.name not in touched:
            for target in _targets(trials, done, link):
                yield from ((*first, step) for step in way(done, link, target))


def _other_gear(case: Case, link: ChangeGears, target: _Target) -> Iterator[Step]:
    """One gear changed, and an idler in or out where the sense must be turned over."""
    mounted = link.mounted
    if mounted is None:
        return
    near = _LOOSELY if target.is_loose else _NEAR
    if mounted.ratio * target.ratio > 0:
        yield from other_gear_steps(case, link, mounted, target.ratio, near)
        return
    for number in link.idlers:
        idlers = with_idlers(case, link, mounted, number) if (number - len(mounted.idlers)) % 2 else None
        if idlers is not None:
            yield from other_gear_steps(case, link, replace(mounted, idlers=idlers), target.ratio, near)


def _anew(case: Case, link: ChangeGears, target: _Target) -> Iterable[Step]:
    return anew_steps(case, link, target.ratio, _LOOSELY if target.is_loose else None)


def _by_ratio(case: Case, link: ChangeGears, target: _Target) -> Iterator[Step]:
    if not target.is_loose:
        yield ratio_step(link, link.mounted, target.ratio)


def _indexed(trials: _Trials, always: Steps) -> Iterator[Steps]:
    """The index gears mounted anew for the count alone, where another bracket makes the lead."""
    done = trials.done(always)
    rule = done.index_rule if done else None
    if done is None or rule is None:
        return
    link, target = done.train.link(rule.bracket), _for_the_count(done, rule.bracket)
    if target and isinstance(link, ChangeGears) and (link.mounted is None or link.mounted.ratio != target):
        yield from ((*always, step) for step in anew_steps(done, link, target, most=1))


def _targets(trials: _Trials, case: Case, link: ChangeGears) -> Iterator[_Target]:
    """What the bracket might have to come to, all else standing as it does."""
    role, mounted = case.roles[link.name], link.mounted
    alone = _for_the_count(case, link.name)
    needed = _needed(case, link.name) if role in _BEARING else None
    if alone is not None:
        yield _Target(alone)
    if needed is not None and needed != alone:
        yield _Target(needed)
    if needed is not None or alone is not None:
        return
    if mounted is None and role is Role.FEED:
        for ratio in _feeds(case, link.name):
            yield _Target(ratio, is_loose=True)
    elif mounted is not None and trials.codes.keys() & _OF_THE_GEARS:
        is_loose = role in (Role.FEED, Role.SPEED)
        yield _Target(mounted.ratio, is_loose)
        yield _Target(-mounted.ratio, is_loose)


def _feeds(case: Case, bracket: str) -> Iterator[Fraction]:
    """What feed gears come to where any feed will do: for the feed that is asked for or usual, either way."""
    rules = find_constants(case.train, case.setup.drive).feeds
    rule = next((rule for rule in rules if rule.bracket == bracket), None)
    if rule is not None:
        job = case.job
        feed = feed_wanted(job.cutting, propose_cut(job.work, job.hob, job.cutting, job.machine))
        ratio = feed_ratio(rule, job.work, job.hob, feed)
        yield ratio
        yield -ratio


def _for_the_count(case: Case, bracket: str) -> Fraction | None:
    """What the index gears come to for the count alone, where something else makes the lean or there is none."""
    rule, job = case.index_rule, case.job
    if rule is None or rule.bracket != bracket:
        return None
    if job.work.is_helical and not case.brackets(Role.DIFFERENTIAL) and case.solution.end_rate("axial"):
        return None
    return rule.ratio(job.hob.hand, job.hob.starts, job.work.teeth)


def _needed(case: Case, bracket: str) -> Fraction | None:
    """What the bracket must come to for the work, all else standing as it does; None where any or no ratio would do."""
    job = case.job
    if job.work.kind == "worm wheel" and not case.solution.end_rate("tangential"):
        return None
    slide = "tangential" if job.work.kind == "worm wheel" else "axial"
    if not {"hob", "table", slide} <= case.train.ends.keys():
        return None
    equation = generation_equation(case.train, case.setup.drive, (bracket,), job.work, job.hob, slide)
    named, plain = (equation or {}).get(frozenset({bracket})), (equation or {}).get(frozenset())
    if named is None or plain is None:
        return None
    needed = -plain / named
    value = needed if isinstance(needed, Fraction) else Fraction(f"{float(needed):.9g}")
    return value if abs(value) > _NO_RATIO else None
