"""Plan a job: from the drawing and the hob to set-ups that the machine and its drawers allow, best first."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, field, replace
from typing import Any

from handlead.kinematics.frame.frozen import freeze
from handlead.kinematics.frame.words import Feed
from handlead.kinematics.links.mounted import Mounted
from handlead.kinematics.practice.cutdata import Proposal
from handlead.kinematics.search.change_gears import Refused
from handlead.kinematics.work.requirement import Work
from handlead.machines.job_files.job_file import Job
from handlead.machines.judging_teeth.pair_checks import judge_pair
from handlead.machines.machine_files.machine_file import Machine
from handlead.machines.members.found import Found, Manner, tell_share
from handlead.machines.members.member import search_member
from handlead.machines.setups.findings import Finding, worst_first

from .gears_to_get import gears_to_get
from .planned import Planned
from .wanted import USUAL_FEED_WAY, Wanted

#: The half of a double helical gear that is cut after the one on the job.
SECOND_HALF = "second half"

#: The members that a job asks for; the other hand of work without a mate is only shown.
ASKED_FOR = ("work", SECOND_HALF, "mate")


@dataclass(frozen=True, repr=False)
class Member:
    """One member that was planned: `name` says which, `setups` are best first.

    Where there are none, `none_because` says why, and `gears_to_get` names gears with which there are some: that has
    been tried. `not_searched` says what was left unsearched, where the search had to stop. `warnings` are what is to be
    said of the work itself, whatever is mounted, where no set-up says it.
    """

    name: str
    work: Work
    setups: tuple[Planned, ...]
    none_because: str | None
    refused: tuple[Refused, ...] = ()
    proposal: Proposal | str = ""
    gears_to_get: str = ""
    not_searched: str = ""
    warnings: tuple[Finding, ...] = ()

    def __repr__(self) -> str:
        found = f"{len(self.setups)} set-ups" if self.setups else f"none: {self.none_because}"
        return f"<Member {self.name!r}, {self.work.teeth} teeth: {found}>"

    def as_json(self) -> dict[str, Any]:
        """The member as plain values."""
        return {
            "member": self.name,
            "teeth": self.work.teeth,
            "hand": self.work.hand.word if self.work.is_helical and self.work.hand else "none",
            "setups": [planned.as_json() for planned in self.setups],
            "none_because": self.none_because,
            "gears_to_get": self.gears_to_get or None,
            "not_searched": self.not_searched or None,
            **({"warnings": [finding.as_json() for finding in self.warnings]} if self.warnings else {}),
            "starting_values_from": [
                {"text": reason.text, "source": reason.source}
                for reason in ([] if isinstance(self.proposal, str) else self.proposal.reasons)
            ],
        }


@dataclass(frozen=True, repr=False)
class Plan:
    """The set-ups of every member; `shares_differential` where a pair's are alike on that bracket.

    `lying` is what stood on the brackets before, where that was said, `held` which of them had to keep it. With
    `goes_on` this is what was found so far.
    """

    job: Job
    machine: Machine
    members: tuple[Member, ...]
    shares_differential: bool
    lying: Mapping[str, Mounted] = field(default_factory=dict)
    held: frozenset[str] = frozenset()
    goes_on: bool = False

    def __post_init__(self) -> None:
        freeze(self, "lying")

    def __repr__(self) -> str:
        return f"<Plan of {self.job.title!r} on {self.machine.name!r}: {', '.join(map(repr, self.members))}>"

    @property
    def is_found(self) -> bool:
        """Whether every member that the job asks for can be cut."""
        return all(member.setups for member in self.members if member.name in ASKED_FOR)

    @property
    def of_the_pair(self) -> tuple[Finding, ...]:
        """What is to be said of work and mate as a pair, before either is cut."""
        return worst_first(judge_pair(self.job))

    @property
    def can_run(self) -> bool:
        """Whether nothing is known that keeps work and mate from running together."""
        return all(finding.severity != "error" for finding in self.of_the_pair)

    @property
    def lead_difference_ppm(self) -> float | None:
        """By how much the lead errors of the first two members' best set-ups differ; None if not both lean."""
        errors = [member.setups[0].lead_error_ppm for member in self.members[:2] if member.setups]
        if len(errors) < 2 or errors[0] is None or errors[1] is None:
            return None
        return abs(errors[0] - errors[1])

    @property
    def feed_way_because(self) -> str:
        """Why the slide feeds the way that it does, and how to ask for the other."""
        setup = self.job.setup
        if setup and setup.feed:
            return f"{setup.feed.value}, as [setup] feed asks"
        other = Feed.CLIMB if USUAL_FEED_WAY is Feed.CONVENTIONAL else Feed.CONVENTIONAL
        return (
            f"{USUAL_FEED_WAY.value}, since it asks no backlash to be taken up; "
            f'feed = "{other.value}" under [setup] asks for the other way'
        )

    @property
    def last_change(self) -> Mapping[str, Mounted]:
        """What stands on the brackets once the last member that was asked for is cut."""
        asked_for = [member for member in self.members if member.name in ASKED_FOR and member.setups]
        return asked_for[-1].setups[0].setup.change if asked_for else {}

    @property
    def left(self) -> Mapping[str, Mounted]:
        """The same with what was held on brackets that no member needs."""
        return {**{name: one for name, one in self.lying.items() if name in self.held}, **self.last_change}

    def as_json(self) -> dict[str, Any]:
        """The plan as one JSON object of the contract."""
        return {
            "machine": self.machine.name,
            "members": [member.as_json() for member in self.members],
            "shares_differential": self.shares_differential,
            "lead_difference_ppm": self.lead_difference_ppm,
            "feed_way_because": self.feed_way_because,
            "pair_findings": [finding.as_json() for finding in self.of_the_pair],
            **({"search_goes_on": True} if self.goes_on else {}),
        }


def plan(
    job: Job,
    machine: Machine | None = None,
    top: int = 5,
    lying: Mapping[str, Mounted] | None = None,
    so_far: Callable[[Plan], None] | None = None,
    hold: Collection[str] = (),
) -> Plan:
    """Find the set-ups for a job, on its own machine or another.

    The members are the work, the mate if the job has one, and else the same gear of the other hand.
    Every set-up returned has been proved as wanted. `lying` is what stands on the brackets from the piece of work
    before, to be left there as far as it serves; on the brackets to `hold` it stays in any case, but for idlers.
    The best set-up doesn't depend on `top`, how many are listed.

    `so_far` is called while the search goes on, each time that the work, the first member, has a better set-up, proved
    like all others, or none yet, with what stands against it: somebody who waits has an answer at once.
    """
    wanted = Wanted.of(job, machine or job.machine, top, lying or {}, hold)
    members = members_of(job)
    tell = _telling(wanted, members[0], so_far)
    shared = _plan_pair(wanted, members[:2], tell)
    planned: list[Member] = list(shared or ())
    for name, work in members[len(planned) :]:
        if name == "other hand" and not planned[0].setups:
            left_out = Member(name, work, (), "the hand that is asked for can't be set", not_searched=_OTHER_HAND)
            return Plan(job, wanted.machine, (*planned, left_out), False, wanted.lying, wanted.held)
        wants = wanted_for(wanted.after(_standing(planned)), name)
        planned.append(_member(wants, name, work, None if planned else tell))
    return Plan(job, wanted.machine, tuple(planned), shared is not None, wanted.lying, wanted.held)


_OTHER_HAND = "the other hand wasn't looked at"


def plan_many(
    jobs: Sequence[Job], machine: Machine | None = None, top: int = 5, executor: Executor | None = None
) -> Iterator[Plan]:
    """The plans of several jobs, in their order; jobs in one drawer share its tables of products.

    With an `executor`, of threads or of processes, each job is one call handed to it.
    """
    if executor is None:
        yield from (plan(job, machine, top) for job in jobs)
        return
    waiting = [executor.submit(plan, job, machine, top) for job in jobs]
    yield from (each.result() for each in waiting)


def _telling(
    wanted: Wanted, first: tuple[str, Work], so_far: Callable[[Plan], None] | None
) -> Callable[[Found], None] | None:
    """How the search of the first member tells what it has found so far."""
    if so_far is None:
        return None

    def tell(found: Found) -> None:
        member = _as_member(wanted, *first, found)
        so_far(Plan(wanted.job, wanted.machine, (member,), False, wanted.lying, wanted.held, goes_on=True))

    return tell


def members_of(job: Job) -> list[tuple[str, Work]]:
    """Every member that a job is planned for, by its name, the other hand included though nobody ordered it."""
    members = [("work", job.work)]
    if job.halves is not None and job.work.hand:
        members.append((SECOND_HALF, replace(job.work, hand=job.work.hand.other)))
    if job.mate is not None:
        if job.work.kind != "worm wheel":
            members.append(("mate", job.mate))
    elif job.halves is None and job.work.is_helical and job.work.hand and job.work.kind != "worm wheel":
        members.append(("other hand", replace(job.work, hand=job.work.hand.other)))
    return members


def wanted_for(wanted: Wanted, name: str) -> Wanted:
    """What a member asks for: a second half is fed into the groove as the first was.

    So the feed goes the other way where the work isn't turned over for it.
    """
    halves = wanted.job.halves
    if name != SECOND_HALF or halves is None:
        return wanted
    feed = wanted.feed if halves.turned_over else wanted.feed.other
    return replace(wanted, job=replace(wanted.job, halves=halves.other), feed=feed)


def _standing(planned: Sequence[Member]) -> Mapping[str, Mounted]:
    """What stands on the brackets after the members that were planned already."""
    return planned[-1].setups[0].setup.change if planned and planned[-1].setups else {}


def _member(wanted: Wanted, name: str, work: Work, tell: Callable[[Found], None] | None) -> Member:
    found = search_member(wanted, work, Manner(tell=tell))
    if found.setups:
        return _as_member(wanted, name, work, found)
    if wanted.held and (freed := _but_for_what_is_held(wanted, work)):
        return _as_member(wanted, name, work, replace(found, none_because=freed, not_searched=""))
    # Nobody ordered the other hand: gears are named for what is asked for alone.
    member = _as_member(wanted, name, work, found)
    if found.is_settled or name == "other hand":
        return member
    advice, unnamed = gears_to_get(wanted, work)
    left_out = "; ".join(each for each in (member.not_searched, unnamed) if each)
    return replace(member, gears_to_get=advice, not_searched=left_out)


def _but_for_what_is_held(wanted: Wanted, work: Work) -> str:
    """That what is held stands in the way, where there is a set-up without it; empty where there is none either."""
    free = search_member(replace(wanted, held=frozenset()), work)
    if not free.setups:
        return ""
    held = wanted.held_words.removeprefix("; ")
    return f"{held}: with that there is no set-up, and without it there is one"


def _as_member(wanted: Wanted, name: str, work: Work, found: Found) -> Member:
    warnings = () if found.setups else tuple(one for one in found.of_the_work if one.severity == "warning")
    return Member(
        name, work, tuple(found.setups[: wanted.top]), found.none_because, found.refused, found.asked.proposal,
        not_searched=found.not_searched, warnings=warnings,
    )  # fmt: skip


# ---------------------------------------------------------------- a pair


def _plan_pair(
    wanted: Wanted, members: Sequence[tuple[str, Work]], tell: Callable[[Found], None] | None
) -> tuple[Member, ...] | None:
    """Set-ups alike on the differential's bracket, where the machine's rule is free of the tooth count.

    The second member keeps what stands on the brackets for the first one, as far as it can.
    """
    if len(members) < 2 or not all(work.is_helical for _, work in members):
        return None
    (name, work), (other_name, other) = members
    first = search_member(wanted, work, Manner(pair=True, tell=tell))
    rows: list[tuple[Planned, Planned]] = []
    second: Found | None = None
    for number, ours in enumerate(first.setups):
        tell_share("set-ups with one for the mate beside each", number, len(first.setups))
        wants = wanted_for(wanted.after(ours.setup.change), other_name)
        found = search_member(wants, other, Manner(pair=True, lead_as=ours))
        if found.setups:
            second = second or found
            rows.append((ours, found.setups[0]))
        if len(rows) >= wanted.top:
            break
    if not rows or second is None:
        return None
    rows.sort(key=lambda row: max(one.merit[:2] for one in row))
    return (
        _as_member(wanted, name, work, replace(first, setups=[row[0] for row in rows])),
        _as_member(wanted, other_name, other, replace(second, setups=[row[1] for row in rows])),
    )
