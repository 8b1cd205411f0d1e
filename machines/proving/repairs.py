"""What is tried to mend a set-up, the kinds of change that a person would think of first, first."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from handlead.kinematics.links.mounted import ChangeGears, Mounted, SetRatio
from handlead.kinematics.train.setup import Change
from handlead.kinematics.train.solution import solve
from handlead.kinematics.transfer.constants import rules_of
from handlead.kinematics.transfer.roles import Role
from handlead.kinematics.transfer.targets import generation_equation
from handlead.kinematics.transfer.transfer import Transfer
from handlead.machines.judging.result_checks import SWIVEL_LIMIT_DEG
from handlead.machines.practice.cut_proposal import feed_wanted, propose_cut, rpm_wanted
from handlead.machines.setups.case import Case, drive_rpm
from handlead.machines.setups.mending import (
    IDLER,
    Step,
    anew_steps,
    crossed_steps,
    drive_step,
    entry_steps,
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
from handlead.machines.setups.ways import feed_ratio

from .trials import BEYOND, FEED_SIZE, Steps, Trials, touched

#: One gear against another is tried where the ratio comes within this part of the one that the work needs.
_NEAR = 2e-3

#: Where any feed or speed will do, one within this part of what is there or usual.
_LOOSELY = {Role.FEED: 0.15, Role.SPEED: 0.5}

#: No two pairs of change gears come to more than this, or to less than its reciprocal (common practice).
_GREATEST_RATIO = 25

#: Below this a bracket's ratio is what is left of one that doesn't matter.
_NO_RATIO = Fraction(1, 1000)

#: An irrational ratio is drawn so close, in binary places.
_BITS = 96

#: Brackets that bear on what is cut.
_BEARING = (Role.INDEX, Role.FEED, Role.DIFFERENTIAL)

#: Speed gears are asked for up to this part of what the machine's limits allow (own choice).
_SHORT_OF_LIMIT = Fraction(9, 10)


def kinds_of_repair(trials: Trials) -> Iterator[Iterator[Steps]]:
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


def _settled(trials: Trials, always: Steps) -> Iterator[Steps]:
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
    taken = touched(first)
    for other in single:
        if not taken & other[always].touches:
            yield (*first, other[always])


def _brackets(trials: Trials, case: Case) -> Iterator[ChangeGears]:
    """The brackets to be changed: those that bear on the cut, if that is wrong, and those found fault with."""
    for link in case.train.brackets:
        if link.name in trials.named or (case.roles[link.name] in _BEARING and not trials.cuts_right):
            yield link


def _rearranged(trials: Trials) -> Iterator[Step]:
    """What can be done to each bracket with the gears that it holds, and idlers."""
    for link in _brackets(trials, trials.case):
        if link.mounted:
            yield from _of_bracket(trials, link, link.mounted)


def _of_bracket(trials: Trials, link: ChangeGears, mounted: Mounted) -> Iterator[Step]:
    if isinstance(link, SetRatio):
        for ratio in (-mounted.ratio, 1 / mounted.ratio, -1 / mounted.ratio):
            yield from entry_steps(trials.case, link, ratio)
        return
    yield from idler_steps(trials.case, link, mounted)
    if link.name in trials.named:
        yield from other_idler_steps(trials.case, link, mounted)
    yield from exchange_steps(link, mounted, same_ratio="wont-mount" in trials.codes)
    yield from turned_round_steps(link, mounted)


def _twice(trials: Trials, crossed: Sequence[Step]) -> Iterator[Step]:
    """Gears that stand in each other's bracket, and two changes of one bracket; each as one step."""
    yield from crossed
    exchanged = (step for step in _rearranged(trials) if step.effort > IDLER)
    for first in itertools.chain(exchanged, crossed):
        for name, between in first.change.mounted.items():
            link = trials.case.train.link(name)
            assert isinstance(link, ChangeGears)
            for second in idler_steps(trials.case, link, between):
                yield replace(
                    first,
                    words=f"{first.words} {second.words}",
                    change=Change(first.change | second.change),
                    effort=first.effort + second.effort,
                )


def _crossed(trials: Trials) -> Iterator[Step]:
    for one, other in itertools.combinations(_brackets(trials, trials.case), 2):
        yield from crossed_steps(one, other)


_Way = Callable[[Case, ChangeGears, "_Target"], Iterable[Step]]


@dataclass(frozen=True)
class _Target:
    """A signed ratio for a bracket; where one `near` it will do as well, within which part of it."""

    ratio: Fraction
    near: float | None = None


def _repairs(trials: Trials, first: Steps, way: _Way) -> Iterator[Steps]:
    """The steps, and after them one bracket changed in this way so that it gives what the work then needs."""
    done = trials.done(first)
    if done is None:
        return
    taken = touched(first)
    for link in _brackets(trials, done):
        if link.name not in taken:
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


def _begun(trials: Trials, always: Steps) -> Iterator[Steps]:
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


def _targets(trials: Trials, case: Case, link: ChangeGears) -> Iterator[_Target]:
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
    elif mounted is None or (role is Role.FEED and trials.codes.keys() & {BEYOND, FEED_SIZE}):
        ratios = _feeds(case, link.name) if role is Role.FEED else iter(())
    else:
        ratios = iter((mounted.ratio, -mounted.ratio))
    for ratio in ratios:
        yield _Target(ratio, _LOOSELY.get(role))


def _feeds(case: Case, bracket: str) -> Iterator[Fraction]:
    """What feed gears come to for the feed that is asked for or usual, either way."""
    rules = rules_of(case.transfer).feeds
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
    run = solve(case.train.with_ratios({link.name: Fraction(1)}), case.setup.drive)
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
    transfer = Transfer.of(case.train, case.setup.drive, (bracket,))
    equation = generation_equation(transfer, (bracket,), job.work, job.hob, slide)
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
