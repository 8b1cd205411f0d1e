"""A machine's own rules beside what is read on its plate."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from pathlib import Path

from handlead.kinematics.gears.gear import MM_PER_INCH
from handlead.kinematics.transfer.constants import Constants
from handlead.machines.fitting.counts import filled_text
from handlead.machines.machine_files.machine_file import Machine, read_machine_text
from handlead.machines.machine_files.unfitted import LENGTHS, Figure, read_unfitted_text
from handlead.machines.planning import rules as said
from handlead.machines.planning.rules import find_rules, where_text
from handlead.machines.toml.errors import HandleadError
from handlead.machines.toml.filing import plain, put
from handlead.machines.toml.numbers import UNITS, NumberFault, exact
from handlead.machines.toml.units import decimal
from handlead.viz.bench_files.versions import KEPT

from .machine_desk import MachineDesk


@dataclass(frozen=True)
class PlateRule:
    """One rule: what it is for, in symbols, its constant, the levers that it holds for, what the plate says, and
    whether that is the same."""

    key: str
    name: str
    formula: str
    constant: str
    where: str
    plate: str
    said: str
    is_off: bool


@dataclass(frozen=True)
class _OnPlate:
    """A constant in the machine's own units, without its sign, and the other numbers that a plate may have for it."""

    name: str
    formula: str
    value: Fraction
    others: tuple[tuple[float, str], ...] = ()


def rules(desk: MachineDesk) -> tuple[PlateRule, ...]:
    """The machine's own rules, each beside what was read on the plate; numbers that nobody knows yet may be among those
    that a rule hangs on."""
    plate, told = read_plate(desk), []
    if desk.machine is not None:
        for key, (one, where) in _rules_of(desk.machine).items():
            says = plate.get(key, "")
            words, is_off = _compared(says, one)
            told.append(PlateRule(key, one.name, one.formula, decimal(one.value), where, says, words, is_off))
    elif desk.unfitted is not None and desk.unfitted.figures:
        for rule in _open_rules(desk.text, desk.name):
            one, key = rule.one, rule.key
            says = plate.get(key, "")
            words, is_off = rule.compared(says) if rule.hangs_on else _compared(says, one)
            constant = "?" if rule.hangs_on else decimal(one.value)
            # Nor does the formula tell a number that is none of this machine's.
            formula = re.sub(r"(?<== )-?\d+(?:[./]\d+)*", "C", one.formula) if rule.hangs_on else one.formula
            told.append(PlateRule(key, one.name, formula, constant, rule.where, says, words, is_off))
    return tuple(told)


def _rules_of(machine: Machine) -> dict[str, tuple[_OnPlate, str]]:
    """The rules of a machine by what keeps their numbers apart: each with the levers that it holds for."""
    found: dict[_OnPlate, list[Mapping[str, str]]] = {}
    for each in find_rules(machine).sets:
        for one in _constants(each.constants, machine):
            found.setdefault(one, []).extend(each.positions)
    told = {}
    for one, positions in found.items():
        where = where_text(positions, machine)
        # What was read stays with its rule and levers, whatever the train makes of them.
        told[f"{one.name}, {where}" if where else one.name] = one, where
    return told


# ---------------------------------------------------------------- rules that hang on numbers which nobody knows yet


@dataclass(frozen=True)
class _HangsOn:
    """A figure that a rule hangs on: with `value` of it the rule is as it was reckoned, and twice of it makes each form
    of the rule so many times as large (`powers`: None where that isn't a power of two)."""

    figure: Figure
    value: Fraction
    powers: tuple[int | None, ...]


@dataclass(frozen=True)
class _OpenRule:
    """A rule reckoned with something in the place of each figure that nobody knows."""

    key: str
    one: _OnPlate
    where: str
    hangs_on: tuple[_HangsOn, ...]
    units: str

    def compared(self, says: str) -> tuple[str, bool]:
        """What the plate's number makes of the one figure that the rule hangs on, or what it waits for."""
        names = " and ".join(_figure_name(each.figure) for each in self.hangs_on)
        if not says:
            return f"hangs on {names}", False
        try:
            number = exact(says)
        except NumberFault:
            return _no_number(says), True
        if len(self.hangs_on) > 1 or not number:
            return f"kept, and compared once {names} are known", False
        told = list(dict.fromkeys(self._made_of(number, _rounded_within(says), self.hangs_on[0])))
        if told:
            return f"so {names} would be {' or '.join(told)}: count it, or enter it there", False
        return f"no {names} makes that: is it read right?", True

    def _made_of(self, number: Fraction, within: Fraction, of: _HangsOn) -> Iterator[str]:
        """What the figure would be, for each form that the plate's rule may have."""
        forms = [(float(self.one.value), ""), *self.one.others]
        for (reckoned, how), power in zip(forms, of.powers, strict=True):
            if power is None or not reckoned or (how and within * 2 >= 1):
                continue
            value = float(of.value) * (float(number) / reckoned) ** (1 / power)
            if of.figure.sort not in ("teeth", "starts"):
                plain = value / float(UNITS[self.units]) if of.figure.sort in LENGTHS else value
                yield f"{plain:.5g}{f' {self.units}' if of.figure.sort in LENGTHS else ''}"
                continue
            whole = max(round(value), 1)
            if abs(reckoned * (whole / float(of.value)) ** power - float(number)) <= float(within) * (1 + 1e-9):
                yield f"{whole}{f', the plate having its rule {how}' if how else ''}"


@lru_cache(maxsize=8)
def _open_rules(text: str, name: str) -> tuple[_OpenRule, ...]:
    """The rules of a machine with figures that nobody knows; none where they can't be reckoned."""
    unfitted = read_unfitted_text(plain(text), name)
    values = {each: _stand_in(each, number) for number, each in enumerate(unfitted.figures)}
    document, units = unfitted.machine.document, unfitted.machine.units

    def reckoned(given: Mapping[Figure, Fraction]) -> dict[str, tuple[_OnPlate, str]]:
        return _rules_of(read_machine_text(filled_text(document, given, units), name))

    try:
        base = reckoned(values)
        # A sense turns nothing that a plate says: it has no signs.
        doubled = {each: reckoned({**values, each: 2 * value}) for each, value in values.items() if each.number}
    except (HandleadError, ValueError):
        return ()
    return tuple(
        _OpenRule(key, one, where, tuple(_hanging(key, one, values, doubled)), units)
        for key, (one, where) in base.items()
    )


def _hanging(
    key: str, one: _OnPlate, values: Mapping[Figure, Fraction],
    doubled: Mapping[Figure, Mapping[str, tuple[_OnPlate, str]]],
) -> Iterator[_HangsOn]:  # fmt: skip
    for figure, rules in doubled.items():
        again = rules.get(key)
        if again is None:
            yield _HangsOn(figure, values[figure], (None,) * (1 + len(one.others)))
        elif again[0].value != one.value:
            before = (float(one.value), *(value for value, _ in one.others))
            after = (float(again[0].value), *(value for value, _ in again[0].others))
            powers = tuple(_power(now / was) if was else None for was, now in zip(before, after, strict=True))
            yield _HangsOn(figure, values[figure], powers)


def _power(times: float) -> int | None:
    """The power of two that it is, within what is reckoned; None where it is none."""
    power = round(math.log2(times)) if times > 0 else 0
    return power if power and math.isclose(times, 2.0**power, rel_tol=1e-9) else None


def _stand_in(figure: Figure, number: int) -> Fraction:
    """Something for a figure that no other has, so that no two rules are the same by chance."""
    if figure.sort == "sense":
        return Fraction(1)
    return Fraction(_PRIMES[number % len(_PRIMES)], 1 if figure.sort in ("teeth", "starts", *LENGTHS) else 100)


_PRIMES = (11, 13, 17, 19, 7, 5)


def _figure_name(figure: Figure) -> str:
    """A figure as its field is called: ``index worm, teeth``."""
    return ", ".join(figure.key.split("/")[1:]).replace("_", " ")


def _constants(constants: Constants, machine: Machine) -> Iterator[_OnPlate]:
    """Every constant of a set of rules; a plate has no sign, and its lengths are in the machine's own units."""
    units = machine.units
    scale = Fraction(MM_PER_INCH) if units == "in" else Fraction(1)
    if rule := constants.index:
        letters = said.product_letters(rule, constants)
        yield _OnPlate(f"index, {rule.bracket}", f"{letters} = C · k/z", abs(rule.constant))
    for feed in constants.feeds:
        name = f"feed, {feed.bracket}, {feed.slide} slide, {units} per turn of the {feed.per}"
        value = abs(feed.constant) / scale
        turned = ((float(1 / value), "as C · f"),) if value else ()
        yield _OnPlate(name, f"{said.product_letters(feed, constants)} = f / C", value, turned)
    for one in constants.differentials:
        if one.constant is not None:
            value = abs(one.constant) / scale ** (1 - one.feed_power)
            letters = said.product_letters(one, constants)
            over_pi = ((float(value) / math.pi, "with π in the constant"),) if one.teeth_power == 1 else ()
            formula = said.differential_formula(one, units).split("    ")[0]
            yield _OnPlate(f"differential, {one.bracket}, {one.slide} slide", f"{letters} = {formula}", value, over_pi)


def _compared(says: str, found: _OnPlate) -> tuple[str, bool]:
    """Whether the plate says the same; it is rounded, so that its own last place counts."""
    if not says:
        return "", False
    try:
        number = exact(says)
    except NumberFault:
        return _no_number(says), True
    _, _, tail = says.partition(".")
    within = _rounded_within(says)
    if abs(number - found.value) <= within:
        return "the same, as far as the plate says", False
    for other, how in found.others:
        # A whole number says too little to be taken for another form of the rule.
        if tail and abs(float(number) - other) <= float(within) * (1 + 1e-9):
            return f"the same, the plate's rule being written {how}", False
    return (f"DIFFERS: plate over train {decimal(number / found.value)}" if found.value else "DIFFERS"), True


def _no_number(says: str) -> str:
    return f"{says} isn't a number: write 24, 7.5 or 5/8"


def _rounded_within(says: str) -> Fraction:
    """By how much a number of a plate may be off: it is rounded in its last place, a fraction isn't."""
    return Fraction(1, 2 * 10 ** len(says.partition(".")[2])) if "/" not in says else Fraction(0)


def _plate_path(desk: MachineDesk) -> Path:
    return desk.shelf.folder / KEPT / "plates" / f"{desk.stem}.json"


def read_plate(desk: MachineDesk) -> dict[str, str]:
    """What was read on the plate, by rule."""
    with suppress(OSError, ValueError):
        held = json.loads(_plate_path(desk).read_text(encoding="utf-8"))
        return {str(key): str(value) for key, value in held.items()}
    return {}


def write_plate(desk: MachineDesk, key: str, value: str) -> None:
    """Keep what was read on the plate for a rule."""
    path = _plate_path(desk)
    path.parent.mkdir(parents=True, exist_ok=True)
    put(json.dumps({**read_plate(desk), key: value.strip()}).encode(), path)
