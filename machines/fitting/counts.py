"""Unknown numbers of a machine file, recovered from what was counted at the machine."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cached_property
from typing import Any

from handlead.kinematics.frame.words import Sense
from handlead.kinematics.narrowing.conditions import Balance
from handlead.kinematics.narrowing.domains import Domain
from handlead.kinematics.train.train import Train
from handlead.kinematics.transfer.polynomials import is_sign
from handlead.kinematics.transfer.transfer import NotDriven
from handlead.kinematics.unknowns.identification import Identified, identify
from handlead.kinematics.unknowns.observations import HandTurn, KnownCut, Observation, balance_of
from handlead.kinematics.unknowns.settling import Tie
from handlead.machines.documents.observations_file import Counted, Observations, bounds_in_mm
from handlead.machines.documents.observations_file import CutSeen as Cut
from handlead.machines.machine_files.machine_file import Machine, read_machine_text
from handlead.machines.machine_files.unfitted import (
    DOMAIN_WORDS,
    LENGTHS,
    Figure,
    Unfitted,
    open_train,
    variables_of,
)
from handlead.machines.tables.reading import Complaints
from handlead.machines.toml import numbers
from handlead.machines.toml.errors import WrongValue
from handlead.machines.toml.places import Document, Path_

from .next_count import Advice, find_advice

#: Branches that the search may take for each observation that is tried out.
BRANCHES_PER_TRIAL = 500


@dataclass(frozen=True)
class Contradiction:
    """Observations, by number in the file's order, that can't all be right; leaving out any one of them will do.

    `message` says so, with their places.
    """

    observations: tuple[int, ...]
    message: str


@dataclass(frozen=True)
class Fit:
    """What the observations say of the unknowns of a machine."""

    unfitted: Unfitted
    observations: Observations
    identified: Identified
    variables: tuple[Mapping[str, Domain], Sequence[str]] = field(repr=False)
    balances: Sequence[Balance] = field(repr=False)

    @property
    def is_determined(self) -> bool:
        """Whether every unknown has been found."""
        return all(self.value(figure) is not None for figure in self.unfitted.figures)

    def value(self, figure: Figure) -> Fraction | None:
        """The number (in mm if it is a length) or sign of a figure, or None if it isn't determined."""
        return figure.value(self.identified.values)

    def words(self, figure: Figure) -> str | None:
        """The value as the file would have it; None if it isn't determined."""
        value = self.value(figure)
        return None if value is None else figure.words(value, self.unfitted.machine.units)

    def examples(self, figure: Figure) -> list[str]:
        """Some of the values that a figure may have where it isn't determined, the plainest first."""
        units = self.unfitted.machine.units
        found = {figure.value(example) for example in self.identified.examples}
        values = figure.plainest_first((value for value in found if value is not None), units)
        return [figure.words(value, units) for value in values]

    @cached_property
    def ties(self) -> tuple[str, ...]:
        """What is known of undetermined unknowns together, in words."""
        return tuple(tie_words(tie, self.unfitted) for tie in self.identified.ties)

    @cached_property
    def contradictions(self) -> tuple[Contradiction, ...]:
        """The groups of observations that contradict each other."""
        from .near_misses import miss_words, wrong_number_words

        found = contradictions(self.observations, self.identified, self.unfitted.figures)
        return tuple(
            replace(
                each,
                message=". ".join(
                    [
                        each.message,
                        *miss_words(self, each.observations),
                        wrong_number_words(self, each.observations),
                    ]
                ),
            )
            for each in found
        )

    @cached_property
    def plainer(self) -> dict[str, str]:
        """For each determined number, by key, in words: a much plainer value that lies just outside what was stated."""
        from .near_misses import plainer_values, plainer_words

        return {each.figure.key: plainer_words(self, each) for each in plainer_values(self)}

    @cached_property
    def advice(self) -> Advice | None:
        """The observation that would settle most; None where all is settled."""
        if self.is_determined:
            return None
        if self.contradictions:
            number = self.contradictions[0].observations[0]
            again = f"{self.observations.name(number)} ({self.observations.place(number)})"
            return Advice(f"Make this observation once more: {again}")
        return find_advice(self.unfitted, self.observations, self.identified, self._after)

    def _after(self, turning: HandTurn) -> Identified:
        """What would be known after one more turning."""
        balances = [*self.balances, balance_of(turning, len(self.balances))]
        domains, signs = self.variables
        return identify(domains, signs, balances, thorough=False, branches=BRANCHES_PER_TRIAL)

    def as_json(self) -> dict[str, Any]:
        """The result as plain values for a JSON object."""
        return {
            "machine": self.unfitted.machine.path,
            "observations": self.observations.path,
            "unknowns": {figure.key: self._of_figure(figure) for figure in self.unfitted.figures},
            "ties": list(self.ties),
            "contradictions": [_of_contradiction(each, self.observations) for each in self.contradictions],
            "next_observation": self.advice.do if self.advice else None,
            "next_settles": list(self.advice.settles) if self.advice else [],
        }

    def _of_figure(self, figure: Figure) -> dict[str, Any]:
        place = self.unfitted.place(figure)
        told: dict[str, Any] = {
            "value": self.words(figure),
            "determined": self.value(figure) is not None,
            "line": place.line,
        }
        if self.value(figure) is None:
            told["may_be"] = self.examples(figure)
        if figure.key in self.plainer:
            told["plainer"] = self.plainer[figure.key]
        return told


def _of_contradiction(contradiction: Contradiction, observations: Observations) -> dict[str, Any]:
    return {
        "observations": [
            {"name": observations.name(number), "line": observations.place(number).line}
            for number in contradiction.observations
        ],
        "message": contradiction.message,
    }


def fit(unfitted: Unfitted, observations: Observations) -> Fit:
    """Find the unknowns of a machine from what was seen on it.

    Raises `FileFault` for an observation that can't tell anything: a part that nothing drives.
    """
    bounds = bounds_in_mm(observations, {each.key: each.sort in LENGTHS for each in unfitted.figures})
    domains, signs = variables_of(unfitted.figures, unfitted.machine.units, bounds)
    balances = balances_of(unfitted.machine, observations, unfitted.figures)
    return Fit(unfitted, observations, identify(domains, signs, balances), (domains, signs), balances)


# ---------------------------------------------------------------- observations as relations


def balances_of(machine: Machine, observations: Observations, figures: Sequence[Figure]) -> list[Balance]:
    """The relation that each observation states between the figures that are left open.

    Raises `FileFault` where the train doesn't tie what was watched to what was turned.
    """
    complaints = Complaints(observations.document)
    trains: dict[str, Train] = {}
    balances = []
    for number, seen in enumerate(observations.seen):
        train = trains.setdefault(repr(seen.setup), machine.set_up(seen.setup))
        try:
            balances.append(balance_of(_as_observation(machine, seen, train, figures), number))
        except NotDriven as fault:
            complaints.add(WrongValue, _path_of(seen, fault.part), f'"{fault.part}": {fault}. {_REMEDY}')
    complaints.raise_any()
    return balances


_REMEDY = "Look at the levers, at the gears in change, and at what was held"


def _path_of(seen: Counted | Cut, part: str) -> Path_:
    if isinstance(seen, Cut):
        return seen.path
    return (*seen.path, "moved" if part == seen.moved.part else "turned", "part")


def _as_observation(
    machine: Machine, seen: Counted | Cut, train: Train, figures: Iterable[Figure]
) -> Observation:
    opened = open_train(machine, train, figures)
    drive = seen.setup.drive
    if isinstance(seen, Counted):
        turned, moved = seen.turned, seen.moved
        return HandTurn(
            opened, drive, turned.part, turned.bounds, moved.part, moved.bounds, moved.is_signed, seen.held
        )
    return KnownCut(
        opened, drive, seen.starts, seen.hob_hand, seen.teeth, seen.is_straight, seen.hand, seen.lead
    )


# ---------------------------------------------------------------- in words


def contradictions(
    observations: Observations, identified: Identified, figures: Iterable[Figure]
) -> tuple[Contradiction, ...]:
    """The groups of observations that contradict each other, each in words with its places."""
    sorts = dict.fromkeys(DOMAIN_WORDS[figure.sort] for figure in figures)
    looked = f"Looked for: {', '.join(sorts)}"
    found = []
    for group in identified.conflicts:
        named = [f"{observations.place(number)}: {observations.name(number)}" for number in group]
        if len(group) == 1:
            message = f"{named[0]} can't be right: no value of the unknowns gives it. {looked}"
        else:
            message = f"{'; '.join(named)}: not all of these can be right. Without any one, the rest agree. {looked}"
        found.append(Contradiction(group, message))
    return tuple(found)


def tie_words(tie: Tie, unfitted: Unfitted) -> str:
    """What a tie says: ``link/index worm/starts / link/index worm/teeth = 1/96``."""
    by_name = {name: figure for figure in unfitted.figures for name in (figure.number, figure.sign) if name}
    if all(is_sign(name) for name, _ in tie.powers):
        keys = [_sign_words(by_name[name], name) for name, _ in tie.powers]
        if len(keys) == 2:
            return f"{keys[0]} and {keys[1]} are {'alike' if tie.value == 1 else 'unlike'}"
        few = "even" if tie.value == 1 else "odd"
        return f"of {', '.join(keys)} an {few} number are {Sense.OPPOSITE.word} (or below 0)"
    scale = Fraction(1)
    for name, exponent in tie.powers:
        if by_name[name].sort in LENGTHS:
            scale *= numbers.UNITS[unfitted.machine.units] ** exponent
    above = [_power_words(name, each) for name, each in tie.powers if each > 0]
    below = [_power_words(name, -each) for name, each in tie.powers if each < 0]
    term = " · ".join(above or ["1"]) + "".join(f" / {each}" for each in below)
    if tie.value is not None:
        return f"{term} = {tie.value / scale}"
    return f"{term} = {float(tie.bounds[0] / scale):.6g} to {float(tie.bounds[1] / scale):.6g}"


def _sign_words(figure: Figure, name: str) -> str:
    return figure.key if figure.sort == "sense" else f"the sign of {figure.key}"


def _power_words(name: str, exponent: int) -> str:
    return name if exponent == 1 else f"{name}^{exponent}"


# ---------------------------------------------------------------- filling the file in


def filled_text(document: Document, values: Mapping[Figure, Fraction], units: str) -> str:
    """The text of a machine file with these figures put in; comments and layout stay as they are."""
    import tomlkit

    text = tomlkit.parse(document.text)
    for figure, value in values.items():
        inner: Any = text
        for step in figure.path[:-1]:
            inner = inner[step]
        inner[figure.path[-1]] = _written(figure, value, units)
    return tomlkit.dumps(text)


def _written(figure: Figure, value: Fraction, units: str) -> Any:
    import tomlkit

    if figure.sort == "sense":
        return Sense(int(value)).word
    written = numbers.written_length(value, units) if figure.sort in LENGTHS else numbers.written(value)
    return tomlkit.float_(written.text) if isinstance(written, numbers.Decimal) else written


def write_fit(result: Fit, path: str | os.PathLike[str]) -> int:
    """Put what was found into the machine file at `path`; returns how many figures were put in.

    The file is replaced whole or not at all, and only by one that reads as the same machine. Raises `FileFault`.
    """
    from handlead.machines.toml.filing import as_it_came, read_text, write_text

    values = {each: value for each in result.unfitted.figures if (value := result.value(each)) is not None}
    machine = result.unfitted.machine
    text = filled_text(machine.document, values, machine.units)
    if result.is_determined:
        read_machine_text(text, machine.path)
    if values:
        write_text(as_it_came(text, read_text(path)), path, overwrite=True)
    return len(values)
