"""A machine's change-gear rules as a person reads them on a terminal."""

from __future__ import annotations

from handlead.kinematics.links import ChangeGears
from handlead.machines import rules as said
from handlead.machines.rules import Rules, RuleSet
from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from .report import CAUTION, console


def show_rules(rules: Rules, out: Console | None = None) -> None:
    """Print each set of rules with the lever positions it holds for, a worked line and the idlers."""
    out = out or console()
    machine = rules.machine
    out.print(Text.assemble((machine.name, "bold"), f"  ({machine.path})"))
    out.print(
        Text(f"Worked out from its train, drive {rules.drive}. k starts, z teeth, β helix angle.", "dim")
    )
    for found in rules.sets:
        out.print(Text(f"\nLevers: {said.where_text(found, machine)}", style="bold"))
        _show_set(found, rules, out)
    if rules.left_out:
        out.print(f"\n{rules.left_out} more combinations of lever positions were not worked out.")
    out.print(Padding(Text(CAUTION, style="dim"), (1, 0, 1, 0)))


def _show_set(found: RuleSet, rules: Rules, out: Console) -> None:
    constants, units, train = found.constants, rules.machine.units, rules.machine.train

    def bracket(name: str) -> ChangeGears:
        link = train.link(name)
        assert isinstance(link, ChangeGears)
        return link

    grid = Table.grid(padding=(0, 2, 0, 0))
    if constants.index:
        rule = constants.index
        _rows(grid, rule.bracket, said.index_formula(rule), said.index_example(rule),
              said.index_senses(rule, bracket(rule.bracket)))  # fmt: skip
    for feed in constants.feeds:
        _rows(grid, feed.bracket, said.feed_formula(feed, units), said.feed_example(feed, units),
              said.feed_senses(feed, bracket(feed.bracket)))  # fmt: skip
    for rule_ in constants.differentials:
        _rows(grid, rule_.bracket, said.differential_formula(rule_, units), said.differential_example(rule_, units),
              said.differential_senses(rule_, bracket(rule_.bracket)))  # fmt: skip
    if constants.speed:
        grid.add_row(Text(constants.speed, style="cyan"), "sets the hob's speed")
    if not grid.rows:
        grid.add_row("  no change-gear rule: with these positions no bracket turns table or slide")
    out.print(Padding(grid, (0, 0, 0, 2)))


def _rows(grid: Table, bracket: str, formula: str, example: str, senses: list[tuple[str, str]]) -> None:
    grid.add_row(Text(bracket, style="cyan"), Text(formula))
    if example:
        grid.add_row("", Text(f"e.g. {example}"))
    for case, idlers in senses:
        grid.add_row("", Text(f"{case} — {idlers}"))
