"""What was found for one member of a job, how it is searched, and why ways led to nothing."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from typing import Any

from handlead.kinematics.search.change_gears import ChangeGearSet, Refused
from handlead.kinematics.work.requirement import Work
from handlead.machines.planning.asked import Asked
from handlead.machines.planning.planned import Planned, prove_setup
from handlead.machines.planning.wanted import Wanted
from handlead.machines.proving.proof import Proof
from handlead.machines.setups.findings import Finding
from handlead.machines.setups.ways import Needed

#: Set-ups that every way of setting the machine offers, whatever number is to be listed.
WIDTH = 8


Sets = Mapping[str, ChangeGearSet]


@dataclass
class Found:
    """What was found for one member: `setups` best first, or `none_because`.

    `is_settled`: no gears would help. `not_searched` says in words what was left out, where the search stopped early.
    `of_the_work` is what is to be said of the work on this machine whatever is mounted, worst first.
    """

    asked: Asked
    setups: list[Planned] = field(default_factory=list)
    refused: tuple[Refused, ...] = ()
    none_because: str | None = None
    is_settled: bool = False
    not_searched: str = ""
    of_the_work: tuple[Finding, ...] = ()


#: What is told of a member while it is being searched: the best so far, or why there is none so far.
Tell = Callable[[Found], None]


GOES_ON = "the search goes on"


@dataclass(frozen=True)
class SearchShare:
    """How far a search has got: what it is at, and how many of so many ways or choices of that are done."""

    doing: str
    done: int
    of: int


_listening: ContextVar[Callable[[SearchShare], None] | None] = ContextVar("listening", default=None)


@contextmanager
def share_told(listen: Callable[[SearchShare], None]) -> Iterator[None]:
    """Whatever is searched within tells how far it has got; what it finds is the same though nobody listens."""
    before = _listening.set(listen)
    try:
        yield
    finally:
        _listening.reset(before)


def tell_share(doing: str, done: int, of: int) -> None:
    """Tell how far the search has got, where anybody listens."""
    listen = _listening.get()
    if listen is not None:
        listen(SearchShare(doing, done, of))


@dataclass(frozen=True)
class Manner:
    """How a member is searched.

    With `pair` only ways are looked at in which both members of a pair can have one ratio on the differential;
    `lead_as` is the other member, whose ratio it must be. With `plain`, only the first set-up of the plain way, if
    there is one. With `alone`, only such as have the count in the index gears alone. `tell` is called with the best so
    far each time that a better one is found, and once with what stands against the plain way where that gives none.
    """

    pair: bool = False
    lead_as: Planned | None = None
    plain: bool = False
    alone: bool = False
    tell: Tell | None = None


#: Faults that no other gears mend: they hang on templates, on the groove and on the hob.
_NO_GEARS_MEND = frozenset({
    "crown-differs", "taper-differs", "template-too-short", "groove-too-narrow", "groove-too-shallow",
})  # fmt: skip


@dataclass
class SearchLog:
    """Why ways led to nothing, each with how far it got: the one that got farthest tells the truth."""

    reasons: list[tuple[int, str]] = field(default_factory=list)
    cut_short: bool = False
    quick: bool = False
    #: Set-ups that were proved already: wider spans of feed find them again.
    proved: dict[Any, Planned | Proof] = field(default_factory=dict)
    tell: Tell | None = None
    _best: tuple[Any, ...] | None = None

    def better(self, planned: Planned, asked: Asked) -> None:
        """Tell of a set-up that is better than all before it."""
        if self.tell and (self._best is None or planned.merit < self._best):
            self._best = planned.merit
            self.tell(Found(asked, [planned], not_searched=GOES_ON))

    def add(self, reached: int, why: str) -> None:
        """Keep why a way led to nothing, and how far it got."""
        self.reasons.append((reached, why.rstrip(".")))

    @property
    def whatever_the_gears(self) -> str:
        """What stands against every set-up that was proved and no gears mend, and what does; empty if nothing does."""
        words: dict[str, None] = {}
        for proof in self.proved.values():
            judged = () if isinstance(proof, Planned) else proof.judged
            against = [one for one in judged if one.severity == "error" and one.code in _NO_GEARS_MEND]
            if not against:
                return ""
            words = words or {f"{one.message} {one.remedy}".strip().rstrip("."): None for one in against}
        return "; ".join(words)

    @property
    def farthest(self) -> int:
        """How far the way got that got farthest; the machine's limits only where they stand against every way."""
        reached = {each for each, _ in self.reasons}
        return max(reached - {LIMITS} or reached, default=0)

    def text(self) -> str:
        """What is told: the reasons of the ways that got farthest, and of those that the machine's limits forbid."""
        told: dict[str, str] = {}
        for reached, why in self.reasons:
            # One reason a bracket: other levers ask another ratio of it, and fail alike.
            if reached in (self.farthest, LIMITS):
                told.setdefault(why.split(":")[0], why)
        return "; ".join(told.values())


#: How far a way got: the index gears, feed and differential gears, all of them together, the proof, then only the
#: machine's limits, against which no gears help, and limits that other gears for the hob's speed would keep.
INDEX, RATIOS, TOGETHER, PROOF, LIMITS, SPEED = range(1, 7)


def proved_of(
    wanted: Wanted, work: Work, demand: Needed, asked: Asked, found: list[Sets], log: SearchLog
) -> list[tuple[int, Planned]]:
    """Set-ups that the proof finds as wanted, each with its number in the list; what it says against others is kept."""
    proved: list[tuple[int, Planned]] = []
    for number, sets in enumerate(found):
        setup = wanted.setup(work, demand, {name: one.mounted for name, one in sets.items()})
        key = (tuple(sorted(setup.levers.items())), tuple(setup.change.items()))
        planned = log.proved.get(key)
        if planned is None:
            planned = log.proved[key] = prove_setup(wanted.job, wanted.machine, work, setup, asked, wanted.lying)
        if isinstance(planned, Planned):
            proved.append((number, planned))
            log.better(planned, asked)
        elif not proved and number == 0:
            for finding in planned.judged:
                if finding.severity == "error":
                    log.add(LIMITS if finding.code == "beyond-limits" else PROOF, finding.message)
    return proved
