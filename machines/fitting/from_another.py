"""Another machine's file as a start: the fewest numbers and senses to change so that it explains what was seen."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from itertools import combinations, islice
from typing import Any

from handlead.kinematics.narrowing.conditions import Balance
from handlead.kinematics.transfer.polynomials import variables
from handlead.kinematics.unknowns.identification import Identified, identify
from handlead.kinematics.unknowns.observations import HandTurn, balance_of
from handlead.machines.documents.observations_file import Observations
from handlead.machines.machine_files.machine_file import Machine, read_machine_text
from handlead.machines.machine_files.unfitted import Figure, Unfitted, figures, known_value, variables_of

from .counts import balances_of, filled_text
from .next_count import Advice, find_advice

#: More changes than this at once aren't looked for, nor more sets of changes tried.
MOST_CHANGES = 3
_MOST_SETS = 3000

#: Sets of changes that are kept.
_MOST_KEPT = 12

_BRANCHES_PER_SET = 2_000


@dataclass(frozen=True)
class OtherValue:
    """Another value for a figure of the machine; `after` is None where several would do, such as `may_be`."""

    figure: Figure
    before: Fraction
    after: Fraction | None
    may_be: tuple[Fraction, ...] = ()


@dataclass(frozen=True)
class Refit:
    """The least sets of changes to a machine that explain what was seen, the smallest changes first.

    `unexplained` are the observations, by number, that the machine doesn't explain as it is. `sets` is
    empty where nothing need be changed, or where no few changes explain everything.
    """

    machine: Machine
    observations: Observations
    unexplained: tuple[int, ...]
    sets: tuple[tuple[OtherValue, ...], ...]

    @property
    def is_determined(self) -> bool:
        """Whether one machine is left: nothing to change, or one set of changes, each to one value."""
        if not self.unexplained:
            return True
        return len(self.sets) == 1 and all(change.after is not None for change in self.sets[0])

    @cached_property
    def advice(self) -> Advice | None:
        """The observation that would tell most of the sets apart; None where there is nothing to tell."""
        if self.is_determined:
            return None
        if not self.sets:
            number = self.unexplained[0]
            again = f"{self.observations.name(number)} ({self.observations.place(number)})"
            return Advice(f"Make this observation once more: {again}")
        return self._advice()

    def _advice(self) -> Advice:
        changed = tuple({change.figure.key: change.figure for each in self.sets for change in each}.values())
        unfitted = Unfitted(self.machine, changed)
        examples = [example for each in self.sets for example in _examples(self.machine, changed, each)]
        known = _common(examples)

        def settle(turning: HandTurn) -> Identified:
            balance = balance_of(turning, len(self.observations.seen))
            return Identified(_common([each for each in examples if balance.holds(each)]))

        identified = Identified(known, examples=tuple(examples))
        return find_advice(unfitted, self.observations, identified, settle)

    def as_json(self) -> dict[str, Any]:
        """The result as plain values for a JSON object."""
        return {
            "from": self.machine.path,
            "observations": self.observations.path,
            "unexplained": [
                {"name": self.observations.name(number), "line": self.observations.place(number).line}
                for number in self.unexplained
            ],
            "changes": [
                {change.figure.key: self._of_change(change) for change in each} for each in self.sets
            ],
            "determined": self.is_determined,
            "contradictions": [],
            "next_observation": self.advice.do if self.advice else None,
        }

    def words(self, change: OtherValue) -> tuple[str, str | None]:
        """What the file has and what it should have, None where that isn't determined."""
        units, figure = self.machine.units, change.figure
        return figure.words(change.before, units), None if change.after is None else figure.words(
            change.after, units
        )

    def _of_change(self, change: OtherValue) -> dict[str, Any]:
        before, after = self.words(change)
        told: dict[str, Any] = {"from": before, "to": after, "determined": after is not None}
        if after is None:
            told["may_be"] = [change.figure.words(value, self.machine.units) for value in change.may_be]
        return told

    def changed_text(self) -> str:
        """The machine's file with the only set of changes made. Raises `ValueError` unless there is just one."""
        if not self.is_determined:
            raise ValueError("there is more than one set of changes, or none: what to write isn't settled")
        values = {
            change.figure: change.after for each in self.sets for change in each if change.after is not None
        }
        text = filled_text(self.machine.document, values, self.machine.units)
        read_machine_text(text, self.machine.path)
        return text


def fit_from(machine: Machine, observations: Observations) -> Refit:
    """Find the least sets of changes to `machine` that explain the observations.

    Raises `FileFault` for an observation that can't tell anything: a part that nothing drives.
    """
    as_it_is = balances_of(machine, observations, ())
    unexplained = tuple(number for number, balance in enumerate(as_it_is) if not _holds(balance))
    if not unexplained:
        return Refit(machine, observations, (), ())
    touching = _touching(machine, observations, unexplained)
    for count in range(1, MOST_CHANGES + 1):
        found = list(_sets(machine, observations, touching, unexplained, count))
        if found:
            found.sort(key=_size)
            return Refit(machine, observations, unexplained, tuple(found[:_MOST_KEPT]))
    return Refit(machine, observations, unexplained, ())


def _holds(balance: Balance) -> bool:
    """Whether a balance without unknowns holds, in size alone where the way wasn't noted."""
    names = sorted({name for _, _, polynomial in balance.terms for name in variables(polynomial)})
    signs: list[Mapping[str, Fraction]] = [{}]
    for name in names:
        signs = [{**each, name: Fraction(sign)} for each in signs for sign in (1, -1)]
    return any(balance.holds(each) for each in signs)


def _touching(
    machine: Machine, observations: Observations, unexplained: Sequence[int]
) -> dict[Figure, set[int]]:
    """For each figure the unexplained observations that it has a part in."""
    found: dict[Figure, set[int]] = {}
    for figure in figures(machine):
        balances = balances_of(machine, observations, (figure,))
        names = {name for name in (figure.number, figure.sign) if name}
        numbers = {
            number
            for number in unexplained
            if any(names & variables(polynomial) for _, _, polynomial in balances[number].terms)
        }
        if numbers:
            found[figure] = numbers
    return found


def _sets(
    machine: Machine,
    observations: Observations,
    touching: Mapping[Figure, set[int]],
    unexplained: Sequence[int],
    count: int,
) -> Iterator[tuple[OtherValue, ...]]:
    """The sets of so many changes that explain everything."""
    fitting = (
        chosen
        for chosen in combinations(touching, count)
        if set().union(*(touching[figure] for figure in chosen)) >= set(unexplained)
    )
    for chosen in islice(fitting, _MOST_SETS):
        domains, signs = variables_of(chosen, machine.units)
        balances = balances_of(machine, observations, chosen)
        found = identify(domains, signs, balances, thorough=False, branches=_BRANCHES_PER_SET)
        if found.examples and not found.conflicts:
            changes = tuple(_change(machine, figure, found) for figure in chosen)
            if all(change.after != change.before for change in changes):
                yield changes


def _change(machine: Machine, figure: Figure, found: Identified) -> OtherValue:
    may_be = {figure.value(example) for example in found.examples}
    return OtherValue(
        figure,
        known_value(machine, figure),
        figure.value(found.values),
        tuple(figure.plainest_first((value for value in may_be if value is not None), machine.units)),
    )


def _size(changes: tuple[OtherValue, ...]) -> tuple[int, float]:
    """How much is changed: senses count for nothing, numbers by how many times greater or less they become."""
    numbers = [change for change in changes if change.figure.sort != "sense"]
    after = [(change.before, change.after or change.may_be[0]) for change in numbers]
    return len(numbers), sum(abs(math.log(abs(new / old))) for old, new in after if new and old)


def _examples(
    machine: Machine, changed: Sequence[Figure], changes: tuple[OtherValue, ...]
) -> Iterator[dict[str, Fraction]]:
    """The values of all the figures `changed` in any of the sets, where this one set of changes is right."""
    made = {change.figure.key: change for change in changes}
    choices = [
        made[figure.key].after or None if figure.key in made else known_value(machine, figure)
        for figure in changed
    ]
    most = max((len(made[key].may_be) for key in made if made[key].after is None), default=1)
    for rank in range(min(most, 4)):
        values: dict[str, Fraction] = {}
        for figure, value in zip(changed, choices, strict=True):
            if value is None:
                several = made[figure.key].may_be
                value = several[min(rank, len(several) - 1)]
            if figure.number:
                values[figure.number] = abs(value)
            if figure.sign:
                values[figure.sign] = Fraction(1 if value > 0 else -1)
        yield values


def _common(examples: Sequence[Mapping[str, Fraction]]) -> dict[str, Fraction]:
    """The values that all the examples share."""
    if not examples:
        return {}
    return {
        name: value
        for name, value in examples[0].items()
        if all(example[name] == value for example in examples)
    }
