"""What changes in a set-up, and why, when a job is carried over to another machine."""

from __future__ import annotations

from collections.abc import Iterator

from handlead.kinematics.transfer.constants import Constants
from handlead.machines.machine_files.machine_file import Machine
from handlead.machines.setups.ways import Way, find_ways

from . import rules as said
from .planning import Plan


def carried_over(plan: Plan) -> Iterator[str]:
    """The rules of both machines side by side, in words: constants, differential, and where it stands."""
    slide = _slide(plan)
    old, new = (_rules(machine, slide, plan.job.work.is_helical) for machine in (plan.job.machine, plan.machine))
    if old is None or new is None:
        yield "one of the two machines has no rule for this work"
        return
    yield from _index(old, new)
    yield from _feed(old, new, slide, plan)
    yield from _differential(old, new, slide, plan)
    yield "idlers, levers and senses are worked out anew from the train; none carries over"


def _slide(plan: Plan) -> str:
    setups = plan.members[0].setups
    gear = setups[0].proof.computed.outcome if setups else None
    return (gear.feed_slide if gear else None) or "axial"


def _rules(machine: Machine, slide: str, leans: bool) -> Constants | None:
    """The rules of the way that suits the work: with the differential for helical work, without for spur."""
    ways: list[Way] = [way for way in find_ways(machine, machine.normal_drive) if way.feed_rule(slide)]
    ways.sort(key=lambda way: bool(way.differential(slide)) is not leans)
    return ways[0].constants if ways else None


def _index(old: Constants, new: Constants) -> Iterator[str]:
    if old.index and new.index:
        yield f"index: {said.index_formula(old.index)}  →  {said.index_formula(new.index)}"


def _feed(old: Constants, new: Constants, slide: str, plan: Plan) -> Iterator[str]:
    pair = [next((rule for rule in rules.feeds if rule.slide == slide), None) for rules in (old, new)]
    if pair[0] and pair[1]:
        before = said.feed_formula(pair[0], plan.job.machine.units)
        yield f"feed: {before}  →  {said.feed_formula(pair[1], plan.machine.units)}"


def _differential(old: Constants, new: Constants, slide: str, plan: Plan) -> Iterator[str]:
    machines = (plan.job.machine, plan.machine)
    texts = []
    for rules, machine in zip((old, new), machines, strict=True):
        rule = next((one for one in rules.differentials if one.slide == slide), None)
        texts.append(said.differential_formula(rule, machine.units) if rule else "none: the lead is in the index gears")
    if plan.job.work.is_helical:
        yield f"differential: {texts[0]}  →  {texts[1]}"
