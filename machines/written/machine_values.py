"""A machine as the tables of its file: every part, link, limit and looseness, in the units of the file."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from fractions import Fraction
from typing import Any

from handlead.kinematics.frame.words import POSITIVES
from handlead.kinematics.gears.gear import MM_PER_INCH
from handlead.kinematics.links.link import PI, Link, TwoPort
from handlead.kinematics.links.links import (
    Belt,
    BevelGears,
    Brake,
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
from handlead.kinematics.train.train import Drive, End
from handlead.machines.machine_files.machine_file import GearSet, Imperfection, Limits, Looseness, Machine
from handlead.machines.tables.reading import rows
from handlead.machines.toml import numbers


def machine_values(machine: Machine) -> dict[str, Any]:
    """The tables of a machine's file."""
    train = machine.train
    return {
        "format": "machine/1",
        "name": machine.name,
        "units": machine.units,
        "summary": machine.summary or None,
        "shafts": train.shafts,
        "slides": train.slides or None,
        "ends": {name: _end(name, end, machine) for name, end in train.ends.items()},
        "head": machine.head.values,
        "drives": {name: _drive(drive) for name, drive in train.drives.items()},
        "levers": {
            name: {"normal": lever.normal, "positions": lever.positions}
            for name, lever in machine.levers.items()
        }
        or None,
        "link": [_link(link, machine) for link in train.links],
        "gear_set": [_gear_set(one, machine) for one in machine.gear_sets] or None,
        "limits": _limits(machine.limits, machine.units),
        "imperfection": [imperfection_values(one, machine.units) for one in machine.imperfections] or None,
        "change_over": dict(machine.change_over) or None,
        "looseness": [_looseness(one, machine.units) for one in machine.looseness] or None,
    }


def _end(name: str, end: End, machine: Machine) -> dict[str, Any]:
    return {
        "part": end.part,
        "positive": _word(POSITIVES[name], end.sign),
        "called": machine.called.get(name),
    }


def _drive(drive: Drive) -> dict[str, Any]:
    return {"shaft": drive.shaft, "rpm": drive.rpm, "at_rest": "free" if drive.free_at_rest else None}


def _gear_set(gear_set: GearSet, machine: Machine) -> dict[str, Any]:
    every = tuple(bracket.name for bracket in machine.train.brackets)
    return {
        "name": gear_set.name,
        "fits": None if gear_set.fits == every else gear_set.fits,
        "teeth": gear_set.teeth,
    }


def imperfection_values(one: Imperfection, units: str) -> dict[str, Any]:
    """An imperfection by the keys of its table, in a file of these units; None for what it doesn't have."""
    return {
        "kind": one.kind,
        "link": one.link,
        "angle": one.angle_deg,
        "length": one.length,
        "turn_of": one.turn_of,
        "phase": one.phase_deg or None,
        "gear": one.gear,
        "place": one.place,
        "runout": one.runout,
        **module_value(one.module_n, units),
        "pressure_angle": one.pressure_angle_deg if one.pressure_angle_deg != _USUAL_PRESSURE_DEG else None,
        "between": one.between_deg if one.between_deg != _IN_LINE_DEG else None,
        "over": one.over,
        "way": one.way,
        "waves": one.waves if one.waves != 1 else None,
        "below": one.below or None,
        "comes_from": one.comes_from or None,
        "inspected": one.inspected or None,
    }


def _looseness(one: Looseness, units: str) -> dict[str, Any]:
    values = imperfection_values(one.amount, units) | {
        "comes_from": one.comes_from,
        "spread": None if one.spread == "normal" else one.spread,
    }
    return {key: value for key, value in values.items() if value is not None}


#: Pressure angle of a change gear whose file doesn't give it.
_USUAL_PRESSURE_DEG = 20

#: Angle at an idler between the gears before and after it, where its file doesn't give it.
_IN_LINE_DEG = 180


def _word(words: Mapping[str, int], sign: int) -> str:
    return next(word for word, value in words.items() if value == sign)


def _link(link: Link, machine: Machine) -> dict[str, Any]:
    row: dict[str, Any] = {"name": link.name, "kind": link.kind}
    if isinstance(link, TwoPort):
        row |= {"from": link.from_part, "to": link.to_part}
    sense = getattr(link, "sense", None)
    if sense is not None:
        row["sense"] = sense.word
    return row | _numbers(link, machine)


def _numbers(link: Link, machine: Machine) -> dict[str, Any]:
    match link:
        case GearPair():
            return {"teeth": link.teeth, "internal": link.internal or None}
        case BevelGears():
            return {"teeth": link.teeth}
        case WormGear():
            return {"starts": link.starts, "teeth": link.teeth, **module_value(link.module_n, machine.units)}
        case Belt():
            return {"teeth" if link.toothed else "diameters": link.sizes, "crossed": link.crossed or None}
        case SetRatio():
            return {"largest": link.largest}
        case ChangeGears():
            return {"pairs": link.pairs, "idlers": link.idlers, "bracket": _bracket(link, machine.units)}
        case Differential():
            return {"suns": link.suns, "carrier": link.carrier, "sun_ratio": link.sun_ratio}
        case Clutch():
            return {"state": None if link.state == "in" else link.state}
        case Brake():
            return {"shaft": link.shaft, "state": None if link.state == "on" else link.state}
        case Selector():
            return {"ratios": link.ratios, "state": link.state or None}
        case Screw():
            return {"lead": link.lead}
        case Rack():
            return _rack(link, machine)
        case Template():
            return {
                "points": link.points,
                "law": "smooth" if link.smooth else None,
                "state": None if link.state == "in" else link.state,
            }
    raise TypeError(f"a link of the kind {link.kind!r} has no place in a machine file")


def _bracket(link: ChangeGears, units: str) -> dict[str, Any] | None:
    if link.bracket is None:
        return None
    keys = dict(link.bracket)
    return {**module_value(keys.pop("module", None), units), **keys}


def _row(machine: Machine, name: str) -> int:
    found = (index for index, row in rows(machine.document, "link") if row.get("name") == name)
    return next(found, -1)


def _rack(link: Rack, machine: Machine) -> dict[str, Any]:
    """Teeth and module as they were read, as long as they still give the travel; else the travel."""
    with suppress(numbers.NumberFault):
        row = machine.document.get("link", _row(machine, link.name)) or {}
        if "module" in row or "diametral_pitch" in row:
            teeth = numbers.whole(row.get("teeth"))
            module = (
                MM_PER_INCH / numbers.exact(row["diametral_pitch"])
                if "diametral_pitch" in row
                else numbers.length(row["module"], "mm")
            )
            if PI * module * teeth == link.travel:
                return {"teeth": teeth, **module_value(module, machine.units)}
    return {"travel": link.travel}


def module_value(module: Fraction | None, units: str) -> dict[str, Any]:
    """The size of teeth as the trade would give it: module, diametral pitch, or circular pitch."""
    if module is None:
        return {}
    sizes = {"module": module, "diametral_pitch": MM_PER_INCH / module}
    names = sorted(sizes, reverse=units != "in")
    return {name: sizes[name] for name in sorted(names, key=lambda name: _length(sizes[name]))[:1]}


def _length(value: Fraction) -> int:
    """How long a number is when written, in steps; a fraction without end is longest."""
    written = numbers.written(value)
    if isinstance(written, str):
        return 3
    return 0 if isinstance(written, int) or len(written.text) <= 8 else 1 + (len(written.text) > 20)


def _limits(limits: Limits, units: str) -> dict[str, Any] | None:
    swivel = limits.swivel_deg
    values = {
        "rpm": limits.rpm or None,
        "travel": limits.travel or None,
        "swivel": swivel and ((None, swivel[1]) if -swivel[0] == swivel[1] else swivel),
        "work_diameter": limits.work_diameter,
        "face_width": limits.face_width,
        **module_value(limits.module_n, units),
        "feed": limits.feed_mm_per_table_turn,
    }
    return values if any(value is not None for value in values.values()) else None
