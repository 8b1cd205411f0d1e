"""The published systems of teeth, from the table that ships."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any

from handlead.kinematics.gears.gear import MM_PER_INCH
from handlead.kinematics.gears.readings import ToothSystem
from handlead.kinematics.links.link import PI
from handlead.machines.toml import numbers

SHIPPED = Path(__file__).with_name("tooth_systems.toml")


@cache
def tooth_systems() -> tuple[ToothSystem, ...]:
    """Every system of the table: each size with each rack, normal to the tooth and across the axis."""
    table = tomllib.loads(SHIPPED.read_text(encoding="utf-8"))
    return tuple(
        _system(sizes, value, rack, rank)
        for rank in (0.0, float(table["transverse"]["rank"]))
        for sizes in table["sizes"]
        for value in sizes["values"]
        for rack in table["rack"]
        if sizes["kind"] in rack.get("kinds", (sizes["kind"],))
    )


def _system(sizes: dict[str, Any], value: str, rack: dict[str, Any], transverse: float) -> ToothSystem:
    size = numbers.exact(value)
    is_pitch, is_circular = (sizes["kind"] == kind for kind in ("diametral pitch", "circular pitch"))
    module = MM_PER_INCH / size if is_pitch else size * MM_PER_INCH / PI if is_circular else size
    return ToothSystem(
        name="".join(_name(sizes["kind"], value, rack, bool(transverse))),
        module=Fraction(module),
        pressure_angle_deg=float(rack["pressure_angle"]),
        addendum=float(rack["addendum"]),
        dedendum=float(rack["dedendum"]),
        transverse=bool(transverse),
        diametral_pitch=size if is_pitch else None,
        circular_pitch_in=size if is_circular else None,
        rank=float(sizes["rank"]) + float(rack["rank"]) + transverse,
    )


def _name(kind: str, value: str, rack: dict[str, Any], transverse: bool) -> Iterator[str]:
    yield f"{kind} {value}" + (" in" if kind == "circular pitch" else "")
    if transverse:
        yield " across the axis"
    yield f", {rack['pressure_angle']}°"
    if rack["name"] != "full depth":
        yield f" {rack['name']}"
