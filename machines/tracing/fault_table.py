"""The table of faults and checks that ships, read once."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from importlib import resources
from typing import Any

from handlead.kinematics.gears.gear import MM_PER_INCH
from handlead.kinematics.slips.faults import CHANGES, FaultKind
from handlead.kinematics.suspects.inspections import LOOKS
from handlead.machines.toml.numbers import exact

#: Keys of a row that every fault has; the others are the numbers of its change.
_FIXED = frozenset({"kind", "change", "meaning", "weight", "common", "check", "cure", "source"})


@dataclass(frozen=True)
class CheckRow:
    """A kind of check: what it looks at, what a person does ({where}, {turns} to be filled in), and the minutes."""

    looks_at: str
    do: str
    minutes: float


@dataclass(frozen=True)
class FaultTable:
    """Kinds of fault, kinds of check, and the sizes of hobs, as modules in mm."""

    kinds: tuple[FaultKind, ...]
    checks: tuple[CheckRow, ...]
    modules: tuple[Fraction, ...]

    def check(self, looks_at: str) -> CheckRow:
        """The check that looks at this."""
        return next(row for row in self.checks if row.looks_at == looks_at)


@lru_cache(maxsize=1)
def fault_table() -> FaultTable:
    """The table that ships."""
    return read_fault_table(resources.files(__package__).joinpath("faults.toml").read_text(encoding="utf-8"))


def read_fault_table(text: str) -> FaultTable:
    """The table in `text`. Raises `ValueError` for a row that names no change, look or check that is known."""
    raw = tomllib.loads(text, parse_float=Fraction)
    checks = tuple(CheckRow(row["looks_at"], row["do"], float(row["minutes"])) for row in raw["check"])
    for check in checks:
        if check.looks_at not in LOOKS:
            raise ValueError(f"check {check.do!r} looks at {check.looks_at!r}; known are {', '.join(LOOKS)}")
    kinds = tuple(_kind(row, {check.looks_at for check in checks}) for row in raw["fault"])
    sizes = raw["sizes"]
    modules = {Fraction(value) for value in sizes["modules"]}
    modules |= {MM_PER_INCH / Fraction(value) for value in sizes["diametral_pitches"]}
    return FaultTable(kinds, checks, tuple(sorted(modules)))


def _kind(row: dict[str, Any], checks: set[str]) -> FaultKind:
    kind = row["kind"]
    if row["change"] not in CHANGES:
        raise ValueError(
            f"fault {kind!r}: change {row['change']!r} isn't known; there are {', '.join(CHANGES)}"
        )
    if row["check"] not in checks:
        raise ValueError(f"fault {kind!r}: no [[check]] looks at {row['check']!r}")
    if not row["weight"] > 0 or not row["meaning"] or not row["source"]:
        raise ValueError(f"fault {kind!r}: weight must be above 0, meaning and source must say something")
    numbers = {key: _numbers(value) for key, value in row.items() if key not in _FIXED}
    return FaultKind(
        kind, row["change"], row["meaning"], float(row["weight"]), row["common"], row["check"],
        row.get("cure", ""), numbers,
    )  # fmt: skip


def _numbers(value: Any) -> Any:
    """Numbers exactly, fractions in quotes too; words stay words."""
    if isinstance(value, list):
        return tuple(_number(each) for each in value)
    return value


def _number(value: Any) -> Any:
    if isinstance(value, str):
        return exact(value) if value[:1].isdigit() else value
    return Fraction(value)
