"""Whether the change gears are there, and fit; and whether the differential does its part."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from handlead.kinematics.links.mounted import ChangeGears, Dialled
from handlead.kinematics.transfer.roles import Role
from handlead.kinematics.work.requirement import table_per_hob
from handlead.machines.setups.case import Case, helix_slope_um, is_right
from handlead.machines.setups.findings import Fact, Finding
from handlead.machines.setups.mending import refusal
from handlead.machines.toml.units import decimal, height, lengths_in, quoted

from .result_checks import PLAN_ANEW


def check_gears_owned(case: Case) -> Iterator[Finding]:
    """Every gear mounted lies in the drawer, as often as it is used."""
    from handlead.machines.setups.drawers import shortfalls

    for shortfall in shortfalls(case.job.machine, case.setup.change):
        teeth, users = shortfall.teeth, quoted(shortfall.brackets)
        facts: dict[str, Fact] = {
            "teeth": teeth, "brackets": shortfall.brackets, "used": shortfall.used, "owned": shortfall.owned,
        }  # fmt: skip
        if shortfall.owned == 0:
            yield Finding(
                "gear-not-owned",
                "error",
                f"A gear of {teeth} teeth is mounted in {users}, but none is owned that fits.",
                "If it lies in the drawer all the same, add it to the machine's gear_set.",
                facts,
            )
        else:
            yield Finding(
                "gear-used-twice",
                "error",
                f"The gear of {teeth} teeth is used {shortfall.used} times (in {users}); owned: {shortfall.owned}.",
                PLAN_ANEW,
                facts,
            )


def check_brackets(case: Case) -> Iterator[Finding]:
    """Numbers of pairs and idlers that each bracket takes."""
    for link in case.train.brackets:
        if link.mounted is None:
            continue
        pairs, idlers = len(link.mounted.pairs), len(link.mounted.idlers)
        if pairs not in link.pairs:
            yield Finding(
                "pairs-not-allowed",
                "error",
                f'"{link.name}" has {_count(pairs, "pair")} of gears ({link.mounted}); '
                f"it takes {_numbers(link.pairs)}.",
                PLAN_ANEW,
                {"bracket": link.name, "pairs": pairs, "allowed": tuple(sorted(link.pairs))},
            )
        if idlers not in link.idlers:
            yield Finding(
                "idlers-not-allowed",
                "error",
                f'"{link.name}" has {_count(idlers, "idler")}; it takes {_numbers(link.idlers)}.',
                PLAN_ANEW,
                {"bracket": link.name, "idlers": idlers, "allowed": tuple(sorted(link.idlers))},
            )


def check_entered(case: Case) -> Iterator[Finding]:
    """What entered ratios lose to their numbers' size: the lead that they leave over the face."""
    work, outcome = case.job.work, case.outcome
    entered = {link.name: link.mounted for link in case.train.brackets if isinstance(link.mounted, Dialled)}
    names = [name for name in entered if case.roles[name] in (Role.INDEX, Role.DIFFERENTIAL)]
    if not names or outcome is None or work.kind == "worm wheel" or not is_right(case):
        return
    slope = helix_slope_um(work, outcome)
    shown = ", ".join(f'{entered[name]} at "{name}"' for name in names)
    yield Finding(
        "ratio-entered", "note",
        f"Entered: {shown}. What rounding loses is {height(abs(slope), case.job.units)} over the face.",
        "Read each back from its display before the hob turns, sign and all.",
        {"brackets": tuple(names), "helix_slope_um": slope},
    )  # fmt: skip


def check_mounting(case: Case) -> Iterator[Finding]:
    """Whether what is mounted fits the bracket's measures, in the plane."""
    for link in case.train.brackets:
        refused = refusal(link, link.mounted) if link.mounted else None
        if link.mounted and refused:
            why = lengths_in(refused.why, case.job.units)
            yield Finding(
                "wont-mount",
                "error",
                f'{link.mounted} can\'t be mounted in "{link.name}": {why}.',
                PLAN_ANEW,
                {"bracket": link.name, "gears": link.mounted.gears, "idlers": link.mounted.idlers},
            )


def check_differential(case: Case) -> Iterator[Finding]:
    """A differential left in for spur work, and a count that rests on feed and differential."""
    outcome, work = case.outcome, case.job.work
    index = _index_alone(case) if outcome else None
    if (
        outcome is None
        or outcome.teeth is None
        or not index
        or case.rates is None
        or work.kind == "worm wheel"
    ):
        return
    needed = table_per_hob(work, case.job.hob)
    if is_right(case) and index != needed and case.brackets(Role.FEED):
        yield _rests_on_feed(case, index)
    elif index == needed != case.rates.table and not work.is_helical and case.brackets(Role.DIFFERENTIAL):
        yield Finding(
            "differential-left-in",
            "error",
            "The differential adds to the table's turning, and the work is spur.",
            PLAN_ANEW,
            {"table_per_hob": index, "table_per_hob_feeding": case.rates.table},
        )


def _index_alone(case: Case) -> Fraction | None:
    """Table turns per hob turn by the index gears alone, slides and the differential's own input still."""
    rule = case.index_rule
    link = case.train.link(rule.bracket) if rule else None
    if rule is None or not isinstance(link, ChangeGears) or link.ratio is None:
        return None
    return link.ratio / rule.constant


def _rests_on_feed(case: Case, index: Fraction) -> Finding:
    outcome = case.outcome
    feeds = quoted(case.brackets(Role.FEED))
    differential = "leave the differential in, and " if case.brackets(Role.DIFFERENTIAL) else ""
    count = -case.job.hob.hand.value * case.job.hob.starts / index
    return Finding(
        "feed-belongs-to-index",
        "note",
        f"The count or the lead rests on the feed gears: the index gears alone stand for {decimal(count)} teeth.",
        f"Don't change the gears in {feeds} between cuts; {differential}draw the hob clear and bring the slide back by "
        "reversing the drive, nothing opened: a rapid return loses the register.",
        {"index_teeth": count, "teeth": outcome.teeth if outcome else None},
    )


def _count(number: int, what: str) -> str:
    return f"{number or 'no'} {what}{'' if number == 1 else 's'}"


def _numbers(numbers: tuple[int, ...]) -> str:
    return " or ".join(str(number) for number in sorted(numbers))
