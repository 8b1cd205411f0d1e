"""Whether the train runs: nothing locked, every end driven, no worm driven by its wheel."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from handlead.machines.setups.case import (
    Case,
    empty_brackets,
    ends_needed,
)
from handlead.machines.setups.findings import Finding
from handlead.machines.toml.units import quoted


def check_lock(case: Case) -> Iterator[Finding]:
    """A train whose relations hold only at rest."""
    lock = case.solution.lock
    if not lock:
        return
    yield Finding(
        "locked-train",
        "error",
        f"The train is locked: nothing can turn. What fights is {_fighters(case, lock)}.",
        "Don't start the motor: one of these has to be open.",
        {"links": tuple(lock)},
    )


#: A loop of no more links than these is told whole.
_SHORT_LOOP = 4


def _fighters(case: Case, lock: Sequence[str]) -> str:
    """The links of a loop that holds itself fast; of a long one those that a lever frees, and how many lie between."""
    freed = [name for name in lock if case.train.link(name).states]
    rest = len(lock) - len(freed)
    if len(lock) <= _SHORT_LOOP or not freed:
        return quoted(lock)
    return f"{quoted(freed)}, with {rest} link{'' if rest == 1 else 's'} between them"


def check_driven(case: Case) -> Iterator[Finding]:
    """Hob, table and the slide that feeds must be driven."""
    if case.solution.is_locked:
        return
    for end in ends_needed(case):
        if end not in case.train.ends:
            yield Finding(
                "not-driven",
                "error",
                f"The machine file names no part for {the_end(end)}.",
                f"Work of kind {case.job.work.kind} needs it: name it under [ends], or use another machine.",
            )
        elif not case.solution.end_rate(end):
            yield _undriven(case, end)


def _undriven(case: Case, end: str) -> Finding:
    part, drive = case.train.ends[end].part, case.setup.drive
    state = "stands still" if case.solution.rates[part] == 0 else "is driven by nothing"
    empty = empty_brackets(case, (end,))
    return Finding(
        "not-driven",
        "error",
        f'{the_end(end).capitalize()} ("{part}") {state} when the drive "{drive}" runs.',
        f"No change gears are mounted in {quoted(empty)}."
        if empty
        else f'Look for what is open between it and the drive "{drive}".',
        {"end": end, "part": part, "drive": drive, "empty_brackets": empty},
    )


def check_worms(case: Case) -> Iterator[Finding]:
    """Power can't go back through a worm."""
    for name in case.solution.backdriven:
        worm, wheel = case.train.link(name).ports
        yield Finding(
            "worm-driven-backwards",
            "error",
            f'"{name}": the wheel on "{wheel}" would have to drive the worm on "{worm}", and it can\'t.',
            f'Don\'t start "{case.setup.drive}": the train between it and "{worm}" has to be open.',
            {"link": name, "worm": worm, "wheel": wheel, "drive": case.setup.drive},
        )


def the_end(end: str) -> str:
    """An end by its name."""
    return f"the {end}" if end in ("hob", "table") else f"the {end} slide"
