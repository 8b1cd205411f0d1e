"""What counts say of a machine's unknown numbers, and the count that is asked for next, ready to be answered."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from handlead.machines.fitting.trials import TurningTrial
    from handlead.machines.machine_files.machine_file import Machine


@dataclass(frozen=True)
class AskedCount:
    """The next count: the part to be turned and how far, the one to be watched and how closely, the words for its ways,
    and how the machine stands meanwhile (`stood`, as JSON). Lengths are in the machine's own units."""

    turned: str
    turns: str
    turned_way: str
    moved: str
    unit: str
    within: str
    ways: tuple[str, ...]
    stood: str


@dataclass(frozen=True)
class Fitted:
    """What counts say: each unknown with its value or what it may be, contradictions, what to count next, and the
    machine's text with what is settled."""

    unknowns: tuple[tuple[str, str, bool], ...]
    contradictions: tuple[str, ...]
    advice: str
    settles: tuple[str, ...]
    determined: bool
    text: str
    asked: AskedCount | None = None


def fit(text: str, name: str, counts: str, counts_name: str) -> Fitted:
    """What the counts say of a machine's unknown numbers. Raises `FileFault`."""
    from handlead.machines.documents.observations_file import Observations, read_observations_text
    from handlead.machines.fitting.counts import filled_text
    from handlead.machines.fitting.counts import fit as identify
    from handlead.machines.machine_files.unfitted import read_unfitted_text
    from handlead.machines.toml.filing import as_it_came, plain
    from handlead.machines.toml.places import parse

    unfitted = read_unfitted_text(plain(text), name)
    if counts:
        seen = read_observations_text(plain(counts), unfitted.machine, counts_name)
    else:
        seen = Observations("", (), {}, unfitted.machine.units, parse("", counts_name))
    found = identify(unfitted, seen)
    unknowns = tuple(
        (each.key, words or f"open: {', '.join(found.examples(each)[:6]) or 'anything'}", words is not None)
        for each in unfitted.figures
        for words in (found.words(each),)
    )
    values = {each: value for each in unfitted.figures if (value := found.value(each)) is not None}
    filled = as_it_came(filled_text(unfitted.machine.document, values, unfitted.machine.units), text)
    advice = found.advice
    asked = _asked(unfitted.machine, advice.trial) if advice and advice.trial else None
    return Fitted(unknowns, tuple(one.message for one in found.contradictions), advice.do if advice else "",
                  advice.settles if advice else (), found.is_determined, filled, asked)  # fmt: skip


def _asked(machine: Machine, trial: TurningTrial) -> AskedCount:
    """A count that is asked for, as it goes into the file once it is answered."""
    from fractions import Fraction

    from handlead.kinematics.links.mounted import Dialled
    from handlead.machines.documents.observations_file import ways_of
    from handlead.machines.toml.numbers import UNITS

    def amount(value: Fraction, part: str) -> str:
        own = value / UNITS[machine.units] if part in machine.train.slides else value
        return str(own)

    def closely(value: Fraction, part: str) -> str:
        # A dial in inches reads tenths of a thousandth: what is less close than was asked for is still true.
        is_inches = part in machine.train.slides and machine.units == "in"
        return f"{math.ceil(value / UNITS['in'] * 10_000) / 10_000:g}" if is_inches else amount(value, part)

    unit = machine.units if trial.moved in machine.train.slides else "turns"
    change = {
        name: {"ratio": str(each)}
        if isinstance(each, Dialled)
        else {"gears": list(each.gears)} | ({"idlers": list(each.idlers)} if each.idlers else {})
        for name, each in trial.setup.change.items()
    }
    stood = {"levers": machine.positions(trial.setup), "change": change, "held": list(trial.held)}
    ways = ways_of(machine, trial.turned)
    turned_way = next(word for word, sign in ways.items() if sign > 0)
    return AskedCount(
        trial.turned, amount(trial.turns, trial.turned), turned_way, trial.moved, unit,
        closely(trial.within, trial.moved), tuple(ways_of(machine, trial.moved)), json.dumps(stood),
    )  # fmt: skip
