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
from handlead.kinematics.solution import solve
from handlead.kinematics.targets import fixed, generation_equation

from .case import Case, cuts_wanted, drive_rpm, ends_needed, helix_slope_um, is_right
from .checks import SWIVEL_LIMIT_DEG, judge_set_up
from .cut_proposal import feed_wanted, propose_cut, rpm_wanted
from .errors import FileFault
from .findings import Finding
from .mending import (
    IDLER,
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
    refusal,
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
_LOOSELY = {Role.FEED: 0.15, Role.SPEED: 0.5}

#: No two pairs of change gears come to more than this, or to less than its reciprocal (common practice).
_GREATEST_RATIO = 25

#: A feed more than so many times the usual, or less than that part of it, is put up with only if nothing else is found.
_FAR_OFF = 4

#: Feeds that differ by no more than this part are the same to a person.
_SAME_FEED = 1e-3

#: Below this a bracket's ratio is what is left of one that doesn't matter.
_NO_RATIO = Fraction(1, 1000)

#: An irrational ratio is drawn so close, in binary places.
_BITS = 96

#: So many changes of one kind are looked at; machines of ten levers have thousands.
_MOST_TRIED = 4000

#: So many of the changes that come out right are proved in full before a kind of change is given up.
_MOST_PROVED = 12

#: So many kinds of changes are gone through, and one more, for one that leaves nothing to put up with.
_MORE_KINDS = 3

#: A note that is put up with only where nothing else is found: the count would come to rest on the feed.
_RESTS_ON_FEED = "feed-belongs-to-index"

#: Findings other than errors that a correction is sought for.
_FEED_SIZE = "feed-out-of-measure"
_ALSO = frozenset({"feed-other-way", _FEED_SIZE})

#: Brackets that bear on what is cut.
_BEARING = (Role.INDEX, Role.FEED, Role.DIFFERENTIAL)

#: Findings for which the hob's speed may have to be changed.
_BEYOND = "beyond-limits"
_OF_THE_SPEED = frozenset({_BEYOND, "not-driven"})

#: Speed gears are asked to stay below the limits of the machine by this part.
_SHORT_OF_LIMIT = Fraction(9, 10)


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
    wrong = _wrong(found)
    if not wrong or not set(ends_needed(case)) <= case.train.ends.keys():
        return None
    trials = _Trials(case, wrong, frozenset(each.code for each in found))
    steps = _search(trials)
    if steps is None:
        return None
    steps = _with_the_feed(trials, steps)
    return Correction(steps, tuple(_parts(trials, steps)))


def _parts(trials: _Trials, steps: Steps) -> Iterator[tuple[Finding, Steps]]:
    """Each finding that the steps cure with its part; steps that no finding asks for by itself go with the first."""
    parts = [(each, part) for each in trials.wrong if (part := _part(trials, steps, each)) is not None]
    asked = {step for _, part in parts for step in part}
    for number, (finding, part) in enumerate(parts):
        yield finding, tuple(step for step in steps if step in part or (number == 0 and step not in asked))


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
    """The steps that are least work; before something else is put up with that is no error, more is tried."""
    put_up_with: Steps | None = None
    last = _MORE_KINDS
    for number, tier in enumerate(_tiers(trials)):
        if put_up_with and number > last:
            break
        best = trials.best(tier)
        if best and best[0]:
            return best[1]
        if best and put_up_with is None:
            put_up_with, last = best[1], max(last, number + 1)
    return put_up_with


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

    @cached_property
    def named(self) -> frozenset[str]:
        """The brackets that something was found wrong with, by name."""
        return _named(self.case, self.wrong)

    @cached_property
    def cuts_right(self) -> bool:
        """Whether it would cut the work as it stands, whatever else is wrong."""
        return is_right(self.case) and not self.codes.keys() & _ALSO

    @property
    def is_only_the_feed(self) -> bool:
        """Whether nothing is wrong but which way the feed goes, or how far."""
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

    def blames(self, steps: Steps, bracket: str) -> bool:
        """Whether something is found wrong with a bracket after the steps."""
        return bracket in _named(self.case, _wrong(self.found(steps) or ()))

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
            feed = {left.code for left in found} & _ALSO
            if feed and (self.is_only_the_feed or _FEED_SIZE in feed - self.codes.keys()):
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
        changed = (done.train.link(name) for name in _touched(steps) & done.setup.change.keys())
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
        return strays, len(_touched(steps)), slope, effort

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
    crossed = list(_crossed(trials))
    yield itertools.chain(_pairs(single, len(always)), ((*always, step) for step in _twice(trials, crossed)))
    yield _repairs(trials, always, _anew)
    yield (steps for first in single for steps in _repairs(trials, first, _other_gear))
    yield ((*first, step) for step in _twice(trials, crossed) for first in levers)
    settled = list(_settled(trials, always))
    yield (steps for first in settled for steps in _with_each(first, single, len(always)))
    yield (steps for first in settled for way in (_other_gear, _anew) for steps in _repairs(trials, first, way))
    yield (steps for first in levers for steps in _repairs(trials, first, _anew))
    yield (steps for first in _begun(trials, always) for steps in _repairs(trials, first, _anew))
    if trials.is_only_the_feed:
        return  # no ratio without gears is worth a feed that runs the other way
    yield _repairs(trials, always, _by_ratio)
    yield (steps for first in levers for steps in _repairs(trials, first, _by_ratio))


def _settled(trials: _Trials, always: Steps) -> Iterator[Steps]:
    """Brackets whose gears only have to be at hand and to fit, put right; with each the first way that does it."""
    case = trials.done(always)
    for link in case.train.brackets if case else ():
        if case is None or link.name not in trials.named:
            continue
        ways = [
            (*always, step)
            for target in _targets(trials, case, link)
            if target.near is not None
            for way in (_other_gear, _anew)
            for step in way(case, link, target)
        ]
        ways.sort(key=lambda steps: steps[-1].effort)
        yield from itertools.islice((steps for steps in ways if not trials.blames(steps, link.name)), 1)


def _pairs(single: Sequence[Steps], always: int) -> Iterator[Steps]:
    for place, first in enumerate(single):
        yield from _with_each(first, single[place + 1 :], always)


def _with_each(first: Steps, single: Iterable[Steps], always: int) -> Iterator[Steps]:
    """The steps, and after them each of the single ones that lays hand on something else."""
    touched = _touched(first)
    for other in single:
        if not touched & other[always].touches:
            yield (*first, other[always])


def _touched(steps: Steps) -> frozenset[str]:
    return frozenset[str]().union(*(step.touches for step in steps))


def _brackets(trials: _Trials, case: Case) -> Iterator[ChangeGears]:
    """The brackets to be changed: those that bear on the cut, if that is wrong, and those found fault with."""
    for link in case.train.brackets:
        if link.name in trials.named or (case.roles[link.name] in _BEARING and not trials.cuts_right):
            yield link


def _rearranged(trials: _Trials) -> Iterator[Step]:
    """What can be done to each bracket with the gears that it holds, and idlers."""
    for link in _brackets(trials, trials.case):
        if link.mounted:
            yield from _of_bracket(trials, link, link.mounted)


def _of_bracket(trials: _Trials, link: ChangeGears, mounted: Mounted) -> Iterator[Step]:
    yield from idler_steps(trials.case, link, mounted)
    if link.name in trials.named:
        yield from other_idler_steps(trials.case, link, mounted)
    yield from exchange_steps(link, mounted, same_ratio="wont-mount" in trials.codes)
    yield from turned_round_steps(link, mounted)


def _twice(trials: _Trials, crossed: Sequence[Step]) -> Iterator[Step]:
    """Gears that stand in each other's bracket, and two changes of one bracket; each as one step."""
    yield from crossed
    exchanged = (step for step in _rearranged(trials) if step.effort > IDLER)
    for first in itertools.chain(exchanged, crossed):
        for name, between in first.change.items():
            link = trials.case.train.link(name)
            assert isinstance(link, ChangeGears)
            for second in idler_steps(trials.case, link, between):
                yield replace(
                    first,
                    words=f"{first.words} {second.words}",
                    change={**first.change, **second.change},
                    effort=first.effort + second.effort,
                )


def _crossed(trials: _Trials) -> Iterator[Step]:
    for one, other in itertools.combinations(_brackets(trials, trials.case), 2):
        yield from crossed_steps(one, other)


_Way = Callable[[Case, ChangeGears, "_Target"], Iterable[Step]]


@dataclass(frozen=True)
class _Target:
    """A signed ratio for a bracket; where one `near` it will do as well, within which part of it."""

    ratio: Fraction
    near: float | None = None


def _repairs(trials: _Trials, first: Steps, way: _Way) -> Iterator[Steps]:
    """The steps, and after them one bracket changed in this way so that it gives what the work then needs."""
    done = trials.done(first)
    if done is None:
        return
    touched = _touched(first)
    for link in _brackets(trials, done):
        if link.name not in touched:
            for target in _targets(trials, done, link):
                yield from ((*first, step) for step in way(done, link, target))


def _other_gear(case: Case, link: ChangeGears, target: _Target) -> Iterator[Step]:
    """One gear changed, and an idler in or out where the sense must be turned over."""
    mounted = link.mounted
    if mounted is None:
        return
    near = target.near or _NEAR
    if mounted.ratio * target.ratio > 0:
        yield from other_gear_steps(case, link, mounted, target.ratio, near)
        return
    for number in link.idlers:
        idlers = with_idlers(case, link, mounted, number) if (number - len(mounted.idlers)) % 2 else None
        if idlers is not None:
            yield from other_gear_steps(case, link, replace(mounted, idlers=idlers), target.ratio, near)


def _anew(case: Case, link: ChangeGears, target: _Target) -> Iterable[Step]:
    return anew_steps(case, link, target.ratio, target.near)


def _by_ratio(case: Case, link: ChangeGears, target: _Target) -> Iterator[Step]:
    if target.near is None and 1 / _GREATEST_RATIO < abs(target.ratio) < _GREATEST_RATIO:
        yield ratio_step(link, link.mounted, target.ratio)


def _begun(trials: _Trials, always: Steps) -> Iterator[Steps]:
    """One bracket mounted anew for what it decides alone, so that another can make up the rest.

    The index gears for the count, where something else makes the lead; an empty feed bracket for a usual feed.
    """
    done = trials.done(always)
    if done is None:
        return
    for link in _brackets(trials, done):
        alone = _for_the_count(done, link.name)
        if alone is not None:
            yield from ((*always, step) for step in anew_steps(done, link, alone, most=1))
        elif link.mounted is None and done.roles[link.name] is Role.FEED:
            for ratio in _feeds(done, link.name):
                yield from ((*always, step) for step in anew_steps(done, link, ratio, _LOOSELY[Role.FEED], most=1))


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
    if role is Role.SPEED:
        ratios = _speeds(case, link)
    elif mounted is None or (role is Role.FEED and trials.codes.keys() & {_BEYOND, _FEED_SIZE}):
        ratios = _feeds(case, link.name) if role is Role.FEED else iter(())
    else:
        ratios = iter((mounted.ratio, -mounted.ratio))
    for ratio in ratios:
        yield _Target(ratio, _LOOSELY.get(role))


def _feeds(case: Case, bracket: str) -> Iterator[Fraction]:
    """What feed gears come to for the feed that is asked for or usual, either way."""
    rules = find_constants(case.train, case.setup.drive).feeds
    rule = next((rule for rule in rules if rule.bracket == bracket), None)
    if rule is not None:
        job = case.job
        feed = feed_wanted(job.cutting, propose_cut(job.work, job.hob, job.cutting, job.machine))
        ratio = feed_ratio(rule, job.work, job.hob, feed)
        yield ratio
        yield -ratio


def _speeds(case: Case, link: ChangeGears) -> Iterator[Fraction]:
    """What speed gears come to for the hob speed that is asked for or usual, as far as nothing is overrun; either way.

    The hob keeps its sense where gears are mounted.
    """
    job, drive = case.job, drive_rpm(case)
    run = solve(fixed(case.train, {link.name: Fraction(1)}), case.setup.drive)
    hob = run.end_rate("hob")
    if drive is None or not hob or run.is_locked:
        return
    wanted = rpm_wanted(job.cutting, propose_cut(job.work, job.hob, job.cutting, job.machine)) or abs(hob * drive)
    most = [
        greatest / abs(rate * drive)
        for part, (_, greatest) in job.machine.limits.rpm.items()
        if (rate := run.rates[part])
    ]
    ratio = min([wanted / abs(hob * drive), *(each * _SHORT_OF_LIMIT for each in most)])
    mounted = link.mounted
    if mounted is None or len(mounted.idlers) not in link.idlers:
        yield from (ratio, -ratio)
    else:
        yield ratio if mounted.ratio > 0 else -ratio


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
    low, high = (needed, needed) if isinstance(needed, Fraction) else needed.bounds(_BITS)
    value = (low + high) / 2
    # Where the bracket doesn't matter, both sides of the quotient are nothing, as near as they are drawn.
    if high - low > abs(value) / 2**32 or abs(value) < _NO_RATIO:
        return None
    return value if low == high else Fraction(f"{float(value):.9g}")


def _named(case: Case, wrong: Iterable[Finding]) -> frozenset[str]:
    """The brackets that findings name, and those that make a speed or a feed found fault with."""
    found: set[str] = set()
    for finding in wrong:
        for key in ("bracket", "brackets", "empty_brackets"):
            names = finding.facts.get(key, ())
            found.update([names] if isinstance(names, str) else [str(name) for name in _listed(names)])
        blamed = {
            Role.SPEED: finding.code in _OF_THE_SPEED,
            Role.FEED: finding.code in (_BEYOND, _FEED_SIZE) and "feed_mm_per_table_turn" in finding.facts,
        }
        found |= {name for name, role in case.roles.items() if blamed.get(role)}
    return frozenset(found)


def _within(feed: Fraction | None, usual: Fraction) -> bool:
    return not feed or usual / _FAR_OFF <= feed <= usual * _FAR_OFF


def _listed(names: object) -> tuple[object, ...]:
    return names if isinstance(names, tuple) else ()
