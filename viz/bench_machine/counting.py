"""What was counted at a machine, in the file beside its own; what that says of the numbers that its file lacks, and the
count that is asked for next, ready to be answered."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import tomlkit
from handlead.machines.documents.observations_file import read_observations_text, ways_of
from handlead.machines.toml.filing import plain, write_text
from handlead.viz.bench_files.entered import NotEntered, one_value, shown
from handlead.viz.bench_files.versions import text_or_none

from .editing import What, text_of
from .machine_desk import MachineDesk

if TYPE_CHECKING:
    from handlead.machines.fitting.trials import TurningTrial
    from handlead.machines.machine_files.machine_file import Machine


def counts_name(desk: MachineDesk) -> str:
    """The file of what was counted on the machine, beside its own."""
    return f"{desk.stem}-counted.toml"


def counted(desk: MachineDesk) -> list[tuple[str, str]]:
    """What was counted so far: what was turned, and what moved."""
    text = text_or_none(desk.shelf.path(counts_name(desk)))
    rows = tomlkit.parse(plain(text)).unwrap().get("counted", []) if text else []
    return [(shown(row.get("turned")), shown(row.get("moved"))) for row in rows]


def add_count(desk: MachineDesk, what: What) -> None:
    """One more count on the machine, beside its file: as it was asked for, or one that somebody thought of.

    Raises `FileFault` and `NotEntered`.
    """
    if desk.unfitted is None:
        raise NotEntered("nothing is unknown in this machine's file")
    row: dict[str, Any] = {}
    if note := text_of(what, "note"):
        row["note"] = note
    turned: dict[str, Any] = {"part": text_of(what, "turned"), "by": one_value(text_of(what, "turns"))}
    moved: dict[str, Any] = {"part": text_of(what, "moved"), "by": one_value(text_of(what, "by"))}
    if not text_of(what, "by"):
        raise NotEntered("write how far it moved: turns such as 2.5 or 3/8, of a slide a length")
    if way := text_of(what, "way"):
        moved["way"] = way
        turned["way"] = text_of(what, "turned way") or next(iter(ways_of(desk.unfitted.machine, turned["part"])))
    if within := text_of(what, "within"):
        moved["within"] = one_value(within)
    row |= {"turned": turned, "moved": moved, **_stood(text_of(what, "stood"))}
    _write(desk, _with_row(desk, row), "counted")


def _stood(text: str) -> dict[str, Any]:
    """How the machine stood, as the page was given it: levers, gears in the brackets, parts held."""
    try:
        held = json.loads(text) if text else {}
    except ValueError:
        held = {}
    return {key: held[key] for key in ("levers", "change", "held") if isinstance(held, dict) and held.get(key)}


def _with_row(desk: MachineDesk, row: Mapping[str, Any]) -> str:
    """The text of the machine's counts with one more."""
    text = text_or_none(desk.shelf.path(counts_name(desk)))
    title = json.dumps(f"{desk.title}, counted", ensure_ascii=False)
    start = f'format = "observations/1"\ntitle  = {title}\nunits  = "{desk.values.get("units", "mm")}"\n\n'
    document = tomlkit.parse(plain(text or start))
    table = tomlkit.table()
    for key, value in row.items():
        table[key] = _inline(value)
    table.add(tomlkit.nl())
    if "counted" not in document:
        document["counted"] = tomlkit.aot()
    rows: Any = document["counted"]
    rows.append(table)
    return tomlkit.dumps(document)


def _inline(value: Any) -> Any:
    if not isinstance(value, Mapping):
        return value
    table = tomlkit.inline_table()
    for name, each in value.items():
        table[name] = _inline(each)
    return table


def take_back(desk: MachineDesk, number: int) -> None:
    """A count taken out that was entered wrong."""
    document = tomlkit.parse(plain(text_or_none(desk.shelf.path(counts_name(desk))) or ""))
    rows: Any = document.get("counted", [])
    if not 0 <= number < len(rows):
        raise NotEntered("that count isn't there any more")
    del rows[number]
    if not len(rows) and not {"cut", "bound"} & {*document}:
        # A file of counts has one at least; what it said stays among its versions.
        desk.shelf.path(counts_name(desk)).unlink()
        return
    _write(desk, tomlkit.dumps(document), "a count taken out")


def _write(desk: MachineDesk, text: str, what: str) -> None:
    assert desk.unfitted is not None
    name = counts_name(desk)
    read_observations_text(text, desk.unfitted.machine, name)
    versions, there = desk.shelf.versions(name), text_or_none(desk.shelf.path(name))
    versions.keep(text, what, versions.found(there) if there is not None else None)
    write_text(text, desk.shelf.path(name), overwrite=True)


# ---------------------------------------------------------------- what the counts say


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
