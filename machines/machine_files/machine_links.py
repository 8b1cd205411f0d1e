"""The links of a train, made of the rows of a machine file."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from fractions import Fraction
from typing import Any

from handlead.kinematics.frame.words import Sense
from handlead.kinematics.gears.gear import MM_PER_INCH
from handlead.kinematics.links.link import Link
from handlead.kinematics.links.links import (
    Belt,
    BevelGears,
    Brake,
    Chain,
    Clutch,
    Differential,
    GearPair,
    Rack,
    Screw,
    Selector,
    Template,
    WormGear,
)
from handlead.kinematics.links.mounted import ChangeGears, SetRatio


def module_of(values: Mapping[str, Any]) -> Fraction | None:
    """The module in mm, as it is or from the diametral pitch; None if neither is there."""
    if "diametral_pitch" in values:
        return MM_PER_INCH / Fraction(values["diametral_pitch"])
    module: Fraction | None = values.get("module")
    return module


def link_of(row: Mapping[str, Any]) -> Link:
    """The link of a row, by its kind."""
    return _BUILDERS[row["kind"]](row)


def _two(row: Mapping[str, Any]) -> tuple[str, str, str]:
    return row["name"], row["from"], row["to"]


def _sense(row: Mapping[str, Any]) -> Sense:
    return Sense[row["sense"].upper()]


def _pulleys(row: Mapping[str, Any]) -> tuple[tuple[Fraction, Fraction], bool, bool]:
    first, second = row.get("teeth") or row["diameters"]
    return (Fraction(first), Fraction(second)), row.get("crossed", False), "teeth" in row


def _gear_pair(row: Mapping[str, Any]) -> Link:
    sense = _sense(row) if "sense" in row else None
    return GearPair(*_two(row), row["teeth"], row.get("internal", False), sense)


def _change_gears(row: Mapping[str, Any]) -> Link:
    return ChangeGears(
        *_two(row),
        pairs=tuple(sorted(set(row.get("pairs", (1, 2))))),
        idlers=tuple(sorted(set(row.get("idlers", (0, 1))))),
        bracket=row.get("bracket"),
    )


def _selector(row: Mapping[str, Any]) -> Link:
    ratios = row["ratios"]
    return Selector(
        *_two(row), ratios=ratios, state=row.get("state", next(iter(ratios)) if len(ratios) == 1 else "")
    )


def _rack(row: Mapping[str, Any]) -> Link:
    module = module_of(row)
    if module is None:
        return Rack(*_two(row), travel=row["travel"], sense=_sense(row))
    return Rack.of_module(*_two(row), teeth=row["teeth"], module=module, sense=_sense(row))


_BUILDERS: dict[str, Callable[[Mapping[str, Any]], Link]] = {
    "gear pair": _gear_pair,
    "bevel gears": lambda row: BevelGears(*_two(row), row["teeth"], _sense(row)),
    "worm gear": lambda row: WormGear(*_two(row), row["starts"], row["teeth"], _sense(row), module_of(row)),
    "belt": lambda row: Belt(*_two(row), *_pulleys(row)),
    "chain": lambda row: Chain(*_two(row), *_pulleys(row)),
    "change gears": _change_gears,
    "set ratio": lambda row: SetRatio(*_two(row), largest=row["largest"]),
    "differential": lambda row: Differential(
        row["name"], row["suns"], row["carrier"], row.get("sun_ratio", Fraction(-1))
    ),
    "clutch": lambda row: Clutch(*_two(row), row.get("state", "in")),
    "brake": lambda row: Brake(row["name"], row["shaft"], row.get("state", "on")),
    "selector": _selector,
    "screw": lambda row: Screw(*_two(row), row["lead"], _sense(row)),
    "rack": _rack,
    "template": lambda row: Template(
        *_two(row), points=row["points"], smooth=row.get("law") == "smooth", state=row.get("state", "in")
    ),
}
