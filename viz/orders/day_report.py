"""The order of the day as a person reads it on a terminal: a job a block, with what is changed for it."""

from __future__ import annotations

from collections.abc import Iterator

from handlead.machines.sequencing.changing import Changes
from handlead.machines.sequencing.day import Day, Turn
from handlead.viz.streams.terminal import console
from rich.console import Console
from rich.text import Text

#: What is said of each thing that is changed, one of it and several.
_WORDS = {
    "gear_off": ("{} gear off", "{} gears off"),
    "gear_on": ("{} gear on", "{} gears on"),
    "idler": ("{} idler in or out", "{} idlers in or out"),
    "lever": ("{} lever", "{} levers"),
    "head": ("head", "head"),
    "hob": ("hob", "hob"),
    "fixture": ("fixture", "fixture"),
}


def show_day(day: Day, out: Console | None = None) -> None:
    """Print the order of one machine's jobs."""
    out = out or console()
    out.print(Text(f"\nOrder of the day on {day.machine.name}", style="bold"))
    before: Turn | None = None
    for number, turn in enumerate(day.turns, 1):
        out.print(
            Text.assemble(
                (f"{number:3}. {turn.title}", "bold"), f"   {float(turn.minutes):.4g} min to change over"
            )
        )
        out.print(f"     {said(turn.changes)}")
        for line in _brackets(before, turn):
            out.print(f"     {line}")
        before = turn
    if day.turns:
        out.print(_sure(day), style="dim")
    for title, why in day.left_out:
        out.print(Text(f"✗ left out: {title}: {why}", style="bold red"))


def said(done: Changes) -> str:
    """What is changed, in words."""
    words = [_WORDS[name][count != 1].format(count) for name, count in vars(done).items() if count]
    return ", ".join(words) or "nothing is changed"


def _brackets(before: Turn | None, turn: Turn) -> Iterator[str]:
    """What stands on each bracket for this job, and on which nothing is touched."""
    for name, mounted in turn.setup.change.items():
        stays = before is not None and before.setup.change.get(name) == mounted
        yield f"{name}: {mounted}{', stays' if stays else ''}"
    moved = [
        f"{name}: {position}"
        for name, position in positions(turn).items()
        if before is None or positions(before)[name] != position
    ]
    if turn.changes.lever and moved:
        yield f"levers to {'; '.join(moved)}"
    if turn.changes.head:
        yield f"head to {turn.proof.case.job.machine.swivel_text(float(turn.setup.swivel_deg or 0))}"


def positions(turn: Turn) -> dict[str, str]:
    """Where every lever stands for a turn."""
    return {**turn.proof.case.job.machine.normal_positions, **turn.setup.levers}


def _sure(day: Day) -> str:
    minutes, given = float(day.minutes), float(day.as_given)
    text = (
        f"Changing over takes {minutes:.4g} min; in the order given, as planned one by one, {given:.4g} min. "
    )
    choice = "their set-ups" if day.is_whole else "those of their set-ups that share most gears"
    if day.is_proved:
        return f"{text}No other order takes less, with {choice}."
    return f"{text}No order with {choice} can take less than {day.bound:.4g} min."
