"""A machine's own rules beside what is read on its plate."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from handlead.kinematics.gears.gear import MM_PER_INCH
from handlead.kinematics.transfer.constants import Constants
from handlead.machines.machine_files.machine_file import Machine
from handlead.machines.planning import rules as said
from handlead.machines.planning.rules import find_rules, where_text
from handlead.machines.toml.filing import put
from handlead.machines.toml.numbers import NumberFault, exact
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
    """The machine's own rules, each beside what was read on the plate."""
    if desk.machine is None:
        return ()
    plate = read_plate(desk)
    found: dict[_OnPlate, list[Mapping[str, str]]] = {}
    for each in find_rules(desk.machine).sets:
        for one in _constants(each.constants, desk.machine):
            found.setdefault(one, []).extend(each.positions)
    told = []
    for one, positions in found.items():
        where = where_text(positions, desk.machine)
        # What was read stays with its rule and levers, whatever the train makes of them.
        key = f"{one.name}, {where}" if where else one.name
        says = plate.get(key, "")
        words, is_off = _compared(says, one)
        told.append(PlateRule(key, one.name, one.formula, decimal(one.value), where, says, words, is_off))
    return tuple(told)


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
        return f"{says} isn't a number: write 24, 7.5 or 5/8", True
    _, _, tail = says.partition(".")
    within = Fraction(1, 2 * 10 ** len(tail)) if "/" not in says else Fraction(0)
    if abs(number - found.value) <= within:
        return "the same, as far as the plate says", False
    for other, how in found.others:
        # A whole number says too little to be taken for another form of the rule.
        if tail and abs(float(number) - other) <= float(within) * (1 + 1e-9):
            return f"the same, the plate's rule being written {how}", False
    return (f"DIFFERS: plate over train {decimal(number / found.value)}" if found.value else "DIFFERS"), True


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
