"""A machine's change-gear rules as a person reads them on a terminal."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from handlead.kinematics.links.mounted import ChangeGears, SetRatio
from handlead.kinematics.transfer.constants import Constants
from handlead.machines.planning import rules as said
from handlead.machines.planning.rules import Rule, Rules
from handlead.viz.streams.terminal import CAUTION, console
from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

Positions = list[Mapping[str, str]]


@dataclass
class _Entry:
    """One formula, and the lever positions for each way that its idlers work."""

    bracket: str
    formula: str
    example: str
    also: str = ""
    variants: list[tuple[list[tuple[str, str]], Positions]] = field(default_factory=list)

    def add(self, senses: list[tuple[str, str]], positions: Positions) -> None:
        for known, where in self.variants:
            if known == senses:
                where.extend(positions)
                return
        self.variants.append((senses, list(positions)))


def show_rules(rules: Rules, out: Console | None = None) -> None:
    """Print each rule once, with a worked line, the lever positions that it holds for, and the idlers."""
    out = out or console()
    machine = rules.machine
    out.print(Text.assemble((machine.name, "bold"), f"  {machine.summary}"))
    out.print(
        Text(
            f"Worked out from the train in {machine.path}, drive {rules.drive}: k starts of the hob, z teeth.",
            "dim",
        )
    )
    for title, each in (("Index", _index), ("Feed", _feeds), ("Differential", _differentials)):
        entries = _entries(rules, each)
        out.print(Text(f"\n{title}", style="bold") + Text("" if entries else ": no bracket decides it"))
        for entry in entries:
            _show(entry, rules, out)
    speeds = {found.constants.speed for found in rules.sets if found.constants.speed}
    if speeds:
        out.print(Text("\nHob speed", style="bold") + Text(f": {', '.join(sorted(speeds))}"))
    if rules.left_out:
        out.print(f"\n{rules.left_out} more combinations of lever positions were not worked out.")
    out.print(Padding(Text(CAUTION, style="dim"), (1, 0, 1, 0)))


def _index(constants: Constants, units: str) -> Iterator[tuple[Rule, str, str, Callable[..., Any]]]:
    if constants.index:
        rule = constants.index
        yield rule, said.index_formula(rule), said.index_example(rule), said.index_senses


def _feeds(constants: Constants, units: str) -> Iterator[tuple[Rule, str, str, Callable[..., Any]]]:
    for rule in constants.feeds:
        yield rule, said.feed_formula(rule, units), said.feed_example(rule, units), said.feed_senses


def _differentials(constants: Constants, units: str) -> Iterator[tuple[Rule, str, str, Callable[..., Any]]]:
    for rule in constants.differentials:
        yield (
            rule,
            said.differential_formula(rule, units),
            said.differential_example(rule, units),
            said.differential_senses,
        )


def _entries(rules: Rules, each: Callable[..., Any]) -> list[_Entry]:
    units = rules.machine.units
    entries: dict[tuple[str, str], _Entry] = {}
    for found in rules.sets:
        stated = each(found.constants, units)
        for rule, formula, example, senses in stated:
            link = rules.machine.train.link(rule.bracket)
            assert isinstance(link, ChangeGears)
            letters = said.product_letters(rule, found.constants)
            if isinstance(link, SetRatio):
                letters = "entered"
            whole = formula if formula.startswith("no ") else f"{letters} = {formula}"
            also = said.letters_words(rule, found.constants)
            entry = entries.setdefault((rule.bracket, whole), _Entry(rule.bracket, whole, example, also))
            entry.add(senses(rule, link), list(found.positions))
    return list(entries.values())


def _show(entry: _Entry, rules: Rules, out: Console) -> None:
    grid = Table.grid(padding=(0, 2, 0, 0))
    grid.add_row(Text(entry.bracket, style="cyan"), Text(entry.formula))
    if entry.also:
        grid.add_row("", Text(entry.also))
    if entry.example:
        grid.add_row("", Text(f"e.g. {entry.example}"))
    for senses, positions in entry.variants:
        where = said.where_text(positions, rules.machine)
        if where:
            grid.add_row("", Text(f"levers: {where}"))
        for case, idlers in senses:
            grid.add_row("", Text(f"  {case}: {idlers}"))
    out.print(Padding(grid, (0, 0, 0, 2)))
