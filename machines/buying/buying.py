"""Gears to get: the fewest that make every order possible, or the most orders that so many make possible.

What each order lacks is worked out bracket by bracket (`offers`), the fewest gears that serve them all are found by
integer programming (`cover`), and every order is then planned with them. Where a plan fails the program is told, and
asked again: the last answer has been tried on every order.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, field
from typing import Any

from handlead.machines.job_files.job_file import Job
from handlead.machines.machine_files.machine_file import Machine
from handlead.machines.shop.crew import Crew, each_done
from handlead.machines.shop.survey import CAN, Survey, SurveyRow, look_at, survey

from .cover import CuttingWay, Got, Stage, fewest_gears
from .offers import Brackets, Offer, offers, with_more

#: Rounds in which the integer program is told what didn't come true.
_MOST_ROUNDS = 60

#: A gear by its machine's place in the list, the number of its drawer, and its teeth.
GearKey = tuple[int, int, int]


@dataclass(frozen=True)
class GearGot:
    """A gear to get: its teeth, how many, for which drawer of which machine, and the orders and brackets it is for."""

    teeth: int
    count: int
    machine: str
    drawer: str
    used: tuple[tuple[str, str], ...] = ()

    def as_json(self) -> dict[str, Any]:
        """The gear as plain values."""
        return {
            "teeth": self.teeth,
            "count": self.count,
            "machine": self.machine,
            "drawer": self.drawer,
            "for": [{"order": order, "bracket": bracket} for order, bracket in self.used],
        }


@dataclass(frozen=True, repr=False)
class Buying:
    """What to get: `served` are the rows of orders that it makes possible, `unserved` those that stay impossible.

    `already` orders can be cut as it is. `most` is the number that was given, None for the fewest that serve all;
    `bound` the least number of gears, or the most orders, that there could be; `proved` where the answer comes to it
    and every choice of gears was looked at.
    """

    gears: tuple[GearGot, ...]
    served: tuple[SurveyRow, ...]
    unserved: tuple[SurveyRow, ...]
    already: int
    most: int | None
    bound: int
    proved: bool
    plans: int

    def __repr__(self) -> str:
        return f"<Buying: {self.number} gears for {len(self.served)} orders, {len(self.unserved)} stay impossible>"

    @property
    def number(self) -> int:
        """How many gears are to be got."""
        return sum(one.count for one in self.gears)

    @property
    def status(self) -> int:
        """0 every order can be cut with them, 1 some can't."""
        return int(bool(self.unserved))

    def as_json(self) -> dict[str, Any]:
        """The answer as plain values."""
        return {
            "gears": [one.as_json() for one in self.gears],
            "number": self.number,
            "asked_for": self.most,
            "already": self.already,
            "served": [row.as_json() for row in self.served],
            "unserved": [row.as_json() for row in self.unserved],
            "bound": self.bound,
            "proved": self.proved,
        }


@dataclass
class _WantingOrder:
    """An order that can't be cut: its offers by machine, and what it was tried with."""

    job: Job
    rows: tuple[SurveyRow, ...]
    ways: list[tuple[int, Offer]] = field(default_factory=list)
    tried: list[tuple[int, frozenset[tuple[GearKey, int]]]] = field(default_factory=list)


def gears_to_buy(
    jobs: Sequence[Job], machines: Sequence[Machine] = (), most: int | None = None, *,
    executor: Executor | Crew | None = None, found: Survey | None = None,
) -> Buying:  # fmt: skip
    """The fewest gears with which every order can be cut on one of the machines, or on its own where none is given.

    With `most`, the gears, no more than so many, with which the most orders can be cut. `found` is a survey of the
    same orders where there is one.
    """
    crew = Crew.of(executor)
    found = found or survey(jobs, machines, executor=crew)
    pile = list(machines) or list({job.machine.digest: job.machine for job in jobs}.values())
    wanting = [_WantingOrder(job, found.by_order[job.path]) for job in jobs if found.best[job.path] is None]
    _ask_for_offers(wanting, pile, bool(machines), crew)
    return _Rounds(wanting, pile, most, crew).answer(len(jobs) - len(wanting))


def _ask_for_offers(
    wanting: Sequence[_WantingOrder], pile: Sequence[Machine], any_machine: bool, crew: Crew
) -> None:
    asked = [
        (order, number)
        for order in wanting
        for number, machine in enumerate(pile)
        if any_machine or machine.digest == order.job.machine.digest
    ]
    pieces = [(order.job, pile[number]) for order, number in asked]
    for at, found in sorted(each_done(offers, pieces, crew), key=lambda done: done[0]):
        order, number = asked[at]
        order.ways += [(number, offer) for offer in found]


class _Rounds:
    """The integer program and the plans that hold it to the truth, in turn."""

    def __init__(
        self, wanting: Sequence[_WantingOrder], pile: Sequence[Machine], most: int | None, crew: Crew
    ) -> None:
        self.orders = [order for order in wanting if order.ways]
        self.hopeless = [order for order in wanting if not order.ways]
        self.pile, self.most, self.crew = pile, most, crew
        self.plans = 0
        self.known: dict[
            tuple[int, int, frozenset[tuple[GearKey, int]]], tuple[SurveyRow, Counter[GearKey]]
        ] = {}

    def answer(self, already: int) -> Buying:
        """Ask the program and plan with what it gives, until every order that it serves can be planned."""
        got, served = self._settle()
        gears = Counter(dict(got.gears))
        rows = {number: self._best(number, gears) for number in range(len(self.orders))}
        good = {number: row for number, row in rows.items() if row is not None}
        lost = [order.rows[0] for number, order in enumerate(self.orders) if number not in good]
        whole = all(offer.is_whole for order in self.orders for _, offer in order.ways)
        bound = got.bound if self.most is None else already + got.bound
        return Buying(
            self._named(gears, good), tuple(row for row, _ in good.values()),
            (*lost, *(order.rows[0] for order in self.hopeless)), already, self.most, bound,
            got.proved and served and whole and (self.most is not None or not lost), self.plans,
        )  # fmt: skip

    def _settle(self) -> tuple[Got, bool]:
        """The last answer of the program, and whether all that it serves could be planned."""
        last = Got({}, {}, 0, False)
        for _ in range(_MOST_ROUNDS):
            got = fewest_gears([self._ways(order) for order in self.orders], self.most)
            if got is None:
                # Some order can be served by nothing that was thought of: the others may still be.
                self._drop_hopeless()
                continue
            last, gears = got, Counter(dict(got.gears))
            wrong = self._wrong(got, gears)
            if not wrong:
                return got, True
            for number, at in wrong:
                self.orders[number].tried.append((at, frozenset(gears.items())))
        return last, False

    def _ways(self, order: _WantingOrder) -> list[CuttingWay]:
        return [
            CuttingWay(
                tuple(self._stage(number, stage) for stage in offer.stages),
                tuple(tried for at, tried in order.tried if at == number),
            )
            for number, offer in order.ways
        ]

    def _stage(self, number: int, brackets: Brackets) -> Stage:
        return tuple(
            tuple(tuple(self._key(number, name, teeth) for teeth in choice) for choice in choices)
            for name, choices in brackets
        )

    def _key(self, number: int, bracket: str, teeth: int) -> GearKey:
        """A gear of the first drawer that the bracket is filled from."""
        sets = self.pile[number].gear_sets
        return (
            number,
            next((at for at, one in enumerate(sets) if not one.fits or bracket in one.fits), 0),
            teeth,
        )

    def _wrong(self, got: Got, gears: Counter[GearKey]) -> list[tuple[int, int]]:
        """The orders, each with its machine, that can't be planned with these gears though the program says so."""
        chosen = {number: self.orders[number].ways[at][0] for number, at in got.ways.items()}
        self._plan(list(chosen.items()), gears)
        return [
            (number, at) for number, at in chosen.items() if self._known(number, at, gears)[0].status != CAN
        ]

    def _plan(self, asked: Sequence[tuple[int, int]], gears: Counter[GearKey]) -> None:
        new = [one for one in asked if (*one, _of_machine(gears, one[1])) not in self.known]
        pieces = [(self.orders[number].job, self.pile[at], _for_machine(gears, at)) for number, at in new]
        self.plans += len(new)
        for which, (row, used) in each_done(look_with, pieces, self.crew):
            number, at = new[which]
            key = number, at, _of_machine(gears, at)
            self.known[key] = row, Counter({(at, *gear): count for gear, count in used.items()})

    def _known(self, number: int, at: int, gears: Counter[GearKey]) -> tuple[SurveyRow, Counter[GearKey]]:
        return self.known[number, at, _of_machine(gears, at)]

    def _best(self, number: int, gears: Counter[GearKey]) -> tuple[SurveyRow, Mapping[GearKey, int]] | None:
        """The best row of an order with these gears; None where it still can't be cut."""
        machines = sorted({at for at, _ in self.orders[number].ways})
        self._plan([(number, at) for at in machines], gears)
        rows = [self._known(number, at, gears) for at in machines]
        return min((one for one in rows if one[0].status == CAN), key=lambda one: one[0].merit, default=None)

    def _drop_hopeless(self) -> None:
        left = [order for order in self.orders if fewest_gears([self._ways(order)]) is not None]
        self.hopeless += [order for order in self.orders if order not in left]
        self.orders = left
        self.known.clear()

    def _named(
        self, gears: Mapping[GearKey, int], good: Mapping[int, tuple[SurveyRow, Mapping[GearKey, int]]]
    ) -> tuple[GearGot, ...]:
        named = []
        for (at, drawer, teeth), count in sorted(gears.items()):
            machine = self.pile[at]
            orders = tuple(
                (row.title, ", ".join(_brackets_with(row, teeth)))
                for row, used in good.values()
                if used.get((at, drawer, teeth))
            )
            named.append(GearGot(teeth, count, machine.name, machine.gear_sets[drawer].name, orders))
        return tuple(named)


def _brackets_with(row: SurveyRow, teeth: int) -> list[str]:
    """The brackets of a row in which such a gear stands."""
    found = (name for member in row.members for name, gears in member.mounted.items() if teeth in gears)
    return list(dict.fromkeys(found))


def _for_machine(gears: Mapping[GearKey, int], at: int) -> dict[tuple[int, int], int]:
    return {(drawer, teeth): count for (machine, drawer, teeth), count in gears.items() if machine == at}


def _of_machine(gears: Mapping[GearKey, int], at: int) -> frozenset[tuple[GearKey, int]]:
    return frozenset((key, count) for key, count in gears.items() if key[0] == at)


def look_with(
    piece: tuple[Job, Machine, Mapping[tuple[int, int], int]],
) -> tuple[SurveyRow, Mapping[tuple[int, int], int]]:
    """One order on a machine with more gears in its drawers, and how many of those it takes beyond what was there."""
    job, machine, more = piece
    row = look_at((job, with_more(machine, more)))
    used: Counter[tuple[int, int]] = Counter()
    for (drawer, teeth), count in more.items():
        one = machine.gear_sets[drawer]
        for member in row.members:
            stand = sum(
                gears.count(teeth)
                for name, gears in member.mounted.items()
                if not one.fits or name in one.fits
            )
            used[drawer, teeth] = max(used[drawer, teeth], min(count, stand - one.teeth.count(teeth)))
    return row, {gear: count for gear, count in used.items() if count > 0}
