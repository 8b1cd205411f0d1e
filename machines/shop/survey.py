"""Every order on every machine: can it, how truly, with which gears, how long, and what is in the way."""

from __future__ import annotations

import hashlib
import itertools
import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property
from typing import TYPE_CHECKING, Any

from handlead.kinematics.frame.frozen import freeze, frozen
from handlead.machines.job_files.job_file import Job
from handlead.machines.machine_files.machine_file import Machine
from handlead.machines.toml.errors import HandleadError

from .crew import Crew, each_done

if TYPE_CHECKING:
    from handlead.machines.planning.planning import Member, Plan

    from .kept import Kept

#: Orders that a worker looks at on one machine before it tells of them.
_RUN = 4

#: What a row comes to: cut; not cut; a file that can't be used; something broke inside the program.
CAN, CANNOT, UNUSABLE, BROKEN = "can", "can't", "can't be used", "broke inside"


@dataclass(frozen=True)
class MemberRow:
    """The best set-up of one member: gears by bracket, what it costs on the flank, minutes of cutting.

    `gears` says them as people write them, `mounted` are their teeth, idlers behind the others.
    `merit` is the order in which `plan` prefers set-ups, as nested lists of numbers: the less, the better.
    """

    member: str
    teeth: int
    gears: Mapping[str, str] = field(default_factory=dict)
    mounted: Mapping[str, tuple[int, ...]] = field(default_factory=dict)
    feed_mm: float | None = None
    helix_slope_um: float | None = None
    quality: int | None = None
    time_min: float | None = None
    merit: Any = ()

    def __post_init__(self) -> None:
        freeze(self, "gears", "mounted")
        object.__setattr__(self, "merit", _nested(self.merit))


@dataclass(frozen=True)
class SurveyRow:
    """One order on one machine; `why` says what is in the way, where it can't be cut there or wasn't looked at.

    `took_s` is the time that looking took, `hob` the hob's name where it has one.
    """

    job: str
    title: str
    machine: str
    status: str
    members: tuple[MemberRow, ...] = ()
    why: str = ""
    gears_to_get: str = ""
    hob: str = ""
    took_s: float = 0.0

    @property
    def quality(self) -> int | None:
        """The class that all members reach; None where one reaches none."""
        classes = [member.quality for member in self.members]
        return max((one for one in classes if one), default=None) if all(classes) else None

    @property
    def slope_um(self) -> float | None:
        """The greatest helix slope of its members, without sign."""
        return max((abs(member.helix_slope_um or 0.0) for member in self.members), default=None)

    @property
    def time_min(self) -> float | None:
        """Minutes of cutting for all members; None where they aren't known."""
        times = [member.time_min for member in self.members]
        return sum(one for one in times if one is not None) if times and None not in times else None

    @property
    def merit(self) -> Any:
        """Of two rows that can be cut the one with the lesser is better."""
        return max((member.merit for member in self.members), default=())

    def as_json(self) -> dict[str, Any]:
        """The row as plain values."""
        return {
            "job": self.job,
            "title": self.title,
            "machine": self.machine,
            "status": self.status,
            "class": self.quality,
            "helix_slope_um": self.slope_um,
            "time_min": self.time_min,
            "hob": self.hob or None,
            "members": [
                {
                    "member": one.member,
                    "teeth": one.teeth,
                    "gears": dict(one.gears),
                    "feed_mm_per_table_turn": one.feed_mm,
                    "helix_slope_um": one.helix_slope_um,
                    "class": one.quality,
                    "time_min": one.time_min,
                }
                for one in self.members
            ],
            "why": self.why or None,
            "gears_to_get": self.gears_to_get or None,
        }


@dataclass(frozen=True)
class Unread:
    """A file that couldn't be used: its name, whether it was to be a machine, and why."""

    name: str
    is_machine: bool
    why: str


@dataclass(frozen=True, repr=False)
class Survey:
    """Every row that was looked at, by machine and order; `unread` are files that couldn't be used."""

    rows: tuple[SurveyRow, ...]
    unread: tuple[Unread, ...] = ()

    def __repr__(self) -> str:
        return f"<Survey: {len(self.rows)} rows of {len(self.by_order)} orders, {len(self.unread)} files unread>"

    @cached_property
    def by_order(self) -> Mapping[str, tuple[SurveyRow, ...]]:
        """The rows of each order, best machine first, those that can't after those that can."""
        found: dict[str, list[SurveyRow]] = {}
        for row in self.rows:
            found.setdefault(row.job, []).append(row)
        by_order: Mapping[str, tuple[SurveyRow, ...]] = frozen(
            {job: tuple(sorted(rows, key=_preference)) for job, rows in found.items()}
        )
        return by_order

    @property
    def best(self) -> Mapping[str, SurveyRow | None]:
        """The best row of each order; None where no machine can cut it."""
        return {job: rows[0] if rows[0].status == CAN else None for job, rows in self.by_order.items()}

    @property
    def status(self) -> int:
        """The exit status: 0 all can be cut, 1 some can't, 2 a file can't be used, 3 something broke inside."""
        if any(row.status == BROKEN for row in self.rows):
            return 3
        if self.unread or any(row.status == UNUSABLE for row in self.rows):
            return 2
        return int(None in self.best.values())

    def as_json(self) -> dict[str, Any]:
        """The survey as one JSON object."""
        return {
            "orders": [
                {
                    "job": job,
                    "title": rows[0].title,
                    "can": rows[0].status == CAN,
                    "best": rows[0].machine if rows[0].status == CAN else None,
                    "machines": [row.as_json() for row in rows],
                }
                for job, rows in self.by_order.items()
            ],
            "unread": [
                {"file": one.name, "what": "machine" if one.is_machine else "job", "why": one.why}
                for one in self.unread
            ],
        }


def _preference(row: SurveyRow) -> tuple[Any, ...]:
    return (row.status != CAN, row.merit if row.status == CAN else (), row.time_min or 0.0)


Progress = Callable[[float], None]


def survey(
    jobs: Sequence[Job], machines: Sequence[Machine] = (), *, executor: Executor | Crew | None = None,
    kept: Kept | None = None, progress: Progress | None = None, unread: Iterable[Unread] = (),
) -> Survey:  # fmt: skip
    """Plan every job on every machine, or each on its own where none is given.

    A few plans on one machine are a piece for the `executor`, any of `concurrent.futures` or a `Crew`.
    Rows that `kept` has already aren't looked at again, new ones are put there as they come. `progress` is told
    the part done.
    """
    pieces = list(_pieces(jobs, machines))
    rows: dict[int, SurveyRow] = {}
    left: list[int] = []
    for number, piece in enumerate(pieces):
        row = None if kept is None else kept.row(key_of(*piece))
        if row is None:
            left.append(number)
        else:
            rows[number] = row
    crew = Crew.of(executor)
    runs = _runs(pieces, left, crew.at_once)
    for at, found in each_done(look_at_run, ([pieces[number] for number in run] for run in runs), crew):
        for number, row in zip(runs[at], found, strict=True):
            rows[number] = row
            if kept is not None:
                kept.keep(key_of(*pieces[number]), row)
            if progress:
                progress(1 - (len(pieces) - len(rows)) / len(pieces))
    return Survey(tuple(rows[number] for number in range(len(pieces))), tuple(unread))


def _pieces(jobs: Sequence[Job], machines: Sequence[Machine]) -> Iterator[tuple[Job, Machine]]:
    """Orders of one machine behind one another, so that a worker's tables of its drawer serve for them all."""
    if machines:
        yield from ((job, machine) for machine in machines for job in jobs)
    else:
        yield from ((job, job.machine) for job in sorted(jobs, key=lambda job: job.machine.name))


def _runs(pieces: Sequence[tuple[Job, Machine]], left: Sequence[int], workers: int) -> list[list[int]]:
    """What is left, parted into short runs on one machine; as many machines in turn as there are workers.

    Whoever takes the next run then finds the tables of its machine's drawer more often than not.
    """
    by_machine: dict[str, list[int]] = {}
    for number in left:
        by_machine.setdefault(pieces[number][1].digest, []).append(number)
    length = 1 if workers == 1 else _RUN
    of_each = [[one[at : at + length] for at in range(0, len(one), length)] for one in by_machine.values()]
    found = []
    for at in range(0, len(of_each), workers):
        turns = itertools.zip_longest(*of_each[at : at + workers], fillvalue=[])
        found += [run for turn in turns for run in turn if run]
    return found


def key_of(job: Job, machine: Machine) -> str:
    """What a row depends on: the job, its hob as the rack has it, and the machine."""
    told = "\n".join((job.path, job.digest, repr(job.hob), machine.name, machine.digest))
    return hashlib.sha256(told.encode("utf-8", "surrogatepass")).hexdigest()


def look_at_run(run: Sequence[tuple[Job, Machine]]) -> list[SurveyRow]:
    """Several orders, one after the other."""
    return [look_at(piece) for piece in run]


def look_at(piece: tuple[Job, Machine]) -> SurveyRow:
    """One order on one machine. Whatever goes wrong with it is told in its row and stops no other."""
    from handlead.machines.planning.planning import plan

    job, machine = piece
    begun = time.perf_counter()
    try:
        return _row(plan(job, machine, top=1), time.perf_counter() - begun)
    except HandleadError as fault:
        status, why = UNUSABLE, str(fault)
    except Exception as fault:
        status, why = BROKEN, f"{type(fault).__name__}: {fault}"
    return SurveyRow(job.path, job.title, machine.name, status, why=why, took_s=time.perf_counter() - begun)


def _row(found: Plan, took_s: float) -> SurveyRow:
    from handlead.machines.planning.planning import ASKED_FOR

    job = found.job
    asked_for = [member for member in found.members if member.name in ASKED_FOR]
    can = found.is_found and found.can_run
    return SurveyRow(
        job.path, job.title, found.machine.name, CAN if can else CANNOT,
        tuple(_member_row(member) for member in asked_for if member.setups), _in_the_way(found, asked_for),
        next((member.gears_to_get for member in asked_for if member.gears_to_get), ""), job.hob.name, took_s,
    )  # fmt: skip


def _in_the_way(found: Plan, members: Sequence[Member]) -> str:
    """Why it can't be cut, in words; what wasn't searched is said behind it. Empty where it can."""
    reasons = []
    for member in members:
        if not member.setups:
            who = f"{member.name}: " if len(members) > 1 else ""
            reasons.append(who + "; ".join(filter(None, (member.none_because, member.not_searched))))
    if not found.can_run:
        reasons += [finding.message for finding in found.of_the_pair if finding.severity == "error"]
    return "; ".join(reasons)


def _member_row(member: Member) -> MemberRow:
    best = member.setups[0]
    return MemberRow(
        member.name, member.work.teeth, {name: str(mounted) for name, mounted in best.setup.change.items()},
        {name: (*mounted.gears, *mounted.idlers) for name, mounted in best.setup.change.items()},
        float(best.feed) if best.feed is not None else None, best.helix_slope_um, best.quality, best.cycle.time_min,
        best.merit,
    )  # fmt: skip


def _nested(merit: Any) -> Any:
    """Nested tuples of numbers, such as JSON can hold as lists."""
    if isinstance(merit, tuple | list):
        return tuple(_nested(one) for one in merit)
    return float(merit) if isinstance(merit, Fraction) else merit
