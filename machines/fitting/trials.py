"""Observations that could be made on a machine, each tried in simulation on every answer that is still possible."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from itertools import islice, product

from handlead.kinematics.links.links import Differential
from handlead.kinematics.links.mounted import Mounted
from handlead.kinematics.train.elimination import Expressions
from handlead.kinematics.train.setup import Setup
from handlead.kinematics.train.solution import Solution, solve
from handlead.kinematics.train.train import Drive, Train
from handlead.kinematics.transfer.transfer import Transfer
from handlead.kinematics.unknowns.open_train import OpenTrain
from handlead.machines.documents.observations_file import Observations
from handlead.machines.job_keys.observation_keys import USUAL_TRAVEL, USUAL_TURNS
from handlead.machines.machine_files.machine_file import Machine
from handlead.machines.machine_files.unfitted import Unfitted, open_train
from handlead.machines.toml.errors import FileFault

#: Turns by hand that are proposed; more than the last of them nobody counts.
_TURNS = (1, 2, 5, 10, 20, 40, 100, 200)

#: Travel in mm that is taken for granted on a slide for which the machine file gives none.
_USUAL_SLIDE = Fraction(100)

#: How closely a slide is read by a dial gauge, in mm (common practice).
FINE_TRAVEL = Fraction(1, 100)

_MOST_SETUPS = 16

Answer = Mapping[str, Fraction]


@dataclass(frozen=True)
class TurningTrial:
    """A part turned so far in a set-up, another watched, and the rate for each answer that is possible.

    `within` is how closely the other must be read, in turns or mm; `held` are parts held still.
    """

    setup: Setup
    turned: str
    turns: Fraction
    moved: str
    within: Fraction
    rates: tuple[Fraction, ...] = ()
    trouble: float = 0.0
    held: tuple[str, ...] = ()

    @property
    def classes(self) -> list[list[int]]:
        """The answers by number, those together that can't be told apart, in the order of what would be seen."""
        order = sorted(range(len(self.rates)), key=lambda answer: self.rates[answer])
        groups: list[list[int]] = []
        for answer in order:
            last = groups[-1][-1] if groups else None
            if last is not None and (self.rates[answer] - self.rates[last]) * self.turns <= 2 * self.within:
                groups[-1].append(answer)
            else:
                groups.append([answer])
        return groups

    @property
    def rank(self) -> tuple[float, float]:
        """What decides between trials: what they leave open, then how much trouble they are."""
        return self.left, self.trouble

    @property
    def fineness(self) -> Fraction:
        """How closely the rate is known after it."""
        return self.within / self.turns

    @cached_property
    def left(self) -> float:
        """How many answers are left on the average."""
        return sum(len(group) ** 2 for group in self.classes) / len(self.rates)


def _can_be_turned(opened: OpenTrain, answer: Answer, drive: str, part: str) -> bool:
    """Whether no wheel has to drive its worm when the part is turned by hand."""
    train = opened.train
    filled = with_values(opened, answer)
    by_hand = "by hand"
    others = {name: each for name, each in filled.drives.items() if name != drive and each.shaft != part}
    worms = {link.name for link in train.links if link.self_locking}
    solution = solve(replace(filled, drives={**others, by_hand: Drive(part)}), by_hand)
    return not solution.is_locked and not _backwards(solution, train, worms)


def _backwards(solution: Solution, train: Train, worms: set[str]) -> bool:
    """Whether power reaches a worm by way of its wheel; an open worm gear counts as one too."""
    if solution.backdriven:
        return True
    return any(
        step.link in worms and step.target == train.link(step.link).ports[0] for step in solution.flow.steps
    )


def trials_on(unfitted: Unfitted, observations: Observations, answers: Sequence[Answer]) -> Iterator[TurningTrial]:
    """Every observation worth a trial on this machine, with what each answer says of it."""
    machine = unfitted.machine
    known = [seen.setup for seen in observations.seen]
    for setup in islice(_setups(machine, known), _MOST_SETUPS):
        try:
            train = machine.set_up(setup)
        except (FileFault, ValueError):
            continue
        opened = open_train(machine, train, unfitted.figures)
        trouble = 0.0 if setup in known else 3.0
        for turned in _hand_turned(unfitted, train):
            if not _can_be_turned(opened, answers[0], setup.drive, turned):
                continue
            rates = _rates(opened, answers, setup.drive, turned)
            for moved in train.parts:
                seen = [_rate(expressions, moved, turned) for expressions in rates]
                if moved != turned and all(rate is not None for rate in seen):
                    each = tuple(rate for rate in seen if rate is not None)
                    yield from _counted(machine, setup, turned, moved, each, trouble)


def _counted(
    machine: Machine, setup: Setup, turned: str, moved: str, rates: tuple[Fraction, ...], trouble: float
) -> Iterator[TurningTrial]:
    """The same trial with ever more turns, as far as a slide goes if the first of the answers is right."""
    if len(set(rates)) == 1:
        return
    train = machine.train
    ends = {end.part for end in train.ends.values()}
    trouble += sum(part not in ends for part in (turned, moved))
    is_slide = moved in train.slides
    usual = USUAL_TRAVEL if is_slide else USUAL_TURNS
    most = machine.limits.travel.get(moved, _USUAL_SLIDE) if is_slide else Fraction(10**4)
    for turns in _TURNS:
        if abs(rates[0]) * turns > most:
            break
        yield TurningTrial(setup, turned, Fraction(turns), moved, usual, rates, trouble + turns / 10)
        if is_slide:
            yield TurningTrial(setup, turned, Fraction(turns), moved, FINE_TRAVEL, rates, trouble + turns / 10 + 2)


def _setups(machine: Machine, known: Sequence[Setup]) -> Iterator[Setup]:
    """Set-ups to try: those that have been used, then empty brackets and their gears with every lever everywhere."""
    used = list({repr(setup): setup for setup in known}.values())
    yield from used
    seen = {repr(setup) for setup in used}
    drives = dict.fromkeys([machine.normal_drive, *(setup.drive for setup in used)])
    names = list(machine.levers)
    # With the brackets empty, a part of the train can be turned by itself.
    for change in ({}, _gears(machine, used)):
        for drive in drives:
            for positions in product(*(machine.levers[name].positions for name in names)):
                setup = Setup(drive=drive, levers=dict(zip(names, positions, strict=True)), change=change)
                if repr(setup) not in seen:
                    yield setup


def _gears(machine: Machine, used: Sequence[Setup]) -> Mapping[str, Mounted]:
    """Gears for every bracket: those that have been used, or else two from the drawer, equal if there are any."""
    change: dict[str, Mounted] = {}
    for setup in used:
        for name, mounted in setup.change.items():
            change.setdefault(name, mounted)
    taken: list[int] = []
    for bracket in machine.train.brackets:
        if bracket.name not in change:
            owned = [
                teeth
                for gear_set in machine.gear_sets
                if bracket.name in gear_set.fits
                for teeth in gear_set.teeth
            ]
            for teeth in taken:
                if teeth in owned:
                    owned.remove(teeth)
            pairs = min(bracket.pairs)
            gears = _equal_first(owned, 2 * pairs) or (40,) * (2 * pairs)
            taken += gears
            change[bracket.name] = Mounted(gears)
    return change


def _equal_first(owned: Sequence[int], count: int) -> tuple[int, ...]:
    """So many gears of those owned, in pairs of equal ones as far as there are any; empty if there are too few."""
    left = sorted(owned)
    chosen: list[int] = []
    twice = [teeth for teeth in dict.fromkeys(left) if left.count(teeth) > 1]
    for teeth in twice[: count // 2]:
        chosen += [teeth, teeth]
        left.remove(teeth)
        left.remove(teeth)
    chosen += left[: count - len(chosen)]
    return tuple(chosen) if len(chosen) == count else ()


def _hand_turned(unfitted: Unfitted, train: Train) -> Iterator[str]:
    """The parts that one might turn: hob, drives, the studs of the brackets, what stands before the unknown links."""
    ports = [train.link(figure.link).ports[0] for figure in unfitted.figures]
    drives = [drive.shaft for drive in train.drives.values()]
    studs = [part for bracket in train.brackets for part in bracket.ports]
    for part in dict.fromkeys((train.ends["hob"].part, *drives, *ports, *studs)):
        if part in train.shafts:
            yield part


def _rates(opened: OpenTrain, answers: Sequence[Answer], drive: str, turned: str) -> list[Expressions]:
    """For each answer every part by the part turned, and by what that leaves free."""
    train = opened.train
    # A drive that is turned by hand runs; the others stand still.
    by_hand = next((name for name, each in train.drives.items() if each.shaft == turned), drive)
    transfer = Transfer.of(train, by_hand, opened.ratios, train.parts)
    return [transfer.reduced(opened.at(answer), (turned,)) for answer in answers]


def _rate(expressions: Expressions, moved: str, turned: str) -> Fraction | None:
    """Rate of a part per unit of the part turned; None if that doesn't settle it, or can't turn."""
    if turned not in expressions.free or not set(expressions.of[moved]) <= {turned}:
        return None
    return expressions.of[moved].get(turned, Fraction(0))


def with_values(opened: OpenTrain, values: Mapping[str, Fraction]) -> Train:
    """The train with its open links at these values."""
    ratios = opened.at(values)
    train = opened.train.without(*(opened.ratios.keys() - ratios.keys()))
    sums = {name: link for name in ratios if isinstance(link := train.link(name), Differential)}
    train = train.replacing(*(replace(link, sun_ratio=ratios[name]) for name, link in sums.items()))
    return train.with_ratios({name: ratio for name, ratio in ratios.items() if name not in sums})
