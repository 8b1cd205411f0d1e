"""Machines and jobs back to files: what is written reads as the same machine or job again.

Lengths go out in the file's own units, and every number exactly. A conversion that reading made
(a diametral pitch, a transverse module, a mate's turned hand) isn't undone where it needn't be.
"""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import fields
from fractions import Fraction
from typing import Any

import tomlkit
from handlead.kinematics.frame.words import POSITIVES
from handlead.kinematics.gears.gear import MM_PER_INCH
from handlead.kinematics.train.links import (
    PI,
    Belt,
    BevelGears,
    Brake,
    ChangeGears,
    Clutch,
    Dialled,
    Differential,
    GearPair,
    Link,
    Mounted,
    Rack,
    Screw,
    Selector,
    SetRatio,
    Template,
    TwoPort,
    WormGear,
)
from handlead.kinematics.train.setup import Setup, SetupMove
from handlead.kinematics.work.requirement import HobData, Work
from handlead.machines.documents.halves import halves_values
from handlead.machines.documents.job_file import SEEN_BESIDES, Cutting, Gauging, Job, Seen
from handlead.machines.documents.job_keys import JOB, SETUP
from handlead.machines.documents.machine_file import Imperfection, Limits, Looseness, Machine
from handlead.machines.documents.machine_keys import MACHINE
from handlead.machines.documents.seen_keys import MEASURED
from handlead.machines.documents.toothed import toothed_values
from handlead.machines.toml import numbers
from handlead.machines.toml.numbers import Decimal
from handlead.machines.toml.observed import Reading
from handlead.machines.toml.reading import rows
from tomlkit.items import AoT, Float, InlineTable, Item, Table, Trivia

#: A list with more items than this goes over several lines.
_LONG = 16


def machine_text(machine: Machine) -> str:
    """The machine as the text of a machine file."""
    raw = MACHINE.write(_machine(machine), machine.units)
    return tomlkit.dumps(_document(raw))


def job_text(job: Job) -> str:
    """The job as the text of a job file, which asks for its machine as the job's own file did."""
    raw = JOB.write(_job(job), job.units)
    return tomlkit.dumps(_document(raw))


def measured_text(gauging: Gauging, units: str) -> str:
    """What was measured at some depth, as the text of one more [[measured]]."""
    return tomlkit.dumps(_document({"measured": [MEASURED.write(gauging_values(gauging), units)]}))


def setup_text(setup: Setup) -> str:
    """The set-up, on its machine's usual drive, as the text of the tables under [setup]."""
    values = {
        "drive": None,
        "swivel": setup.swivel_deg,
        "feed": setup.feed and setup.feed.value,
        "levers": dict(setup.levers) or None,
        "change": {
            name: mounted_values(mounted)
            for name, mounted in setup.change.items()
        },
        "moves": [_move(move) for move in setup.moves] or None,
    }
    return tomlkit.dumps(_document({"setup": SETUP.write(values, "mm")}))


# ---------------------------------------------------------------- machines


def _machine(machine: Machine) -> dict[str, Any]:
    train = machine.train
    every = tuple(bracket.name for bracket in train.brackets)
    return {
        "format": "machine/1",
        "name": machine.name,
        "units": machine.units,
        "summary": machine.summary or None,
        "shafts": train.shafts,
        "slides": train.slides or None,
        "ends": {
            name: {
                "part": end.part,
                "positive": _word(POSITIVES[name], end.sign),
                "called": machine.called.get(name),
            }
            for name, end in train.ends.items()
        },
        "head": machine.head.values,
        "drives": {
            name: {
                "shaft": drive.shaft,
                "rpm": drive.rpm,
                "at_rest": "free" if drive.free_at_rest else None,
            }
            for name, drive in train.drives.items()
        },
        "levers": {
            name: {"normal": lever.normal, "positions": lever.positions}
            for name, lever in machine.levers.items()
        }
        or None,
        "link": [_link(link, machine) for link in train.links],
        "gear_set": [
            {
                "name": gear_set.name,
                "fits": None if gear_set.fits == every else gear_set.fits,
                "teeth": gear_set.teeth,
            }
            for gear_set in machine.gear_sets
        ]
        or None,
        "limits": _limits(machine.limits, machine.units),
        "imperfection": [_imperfection(one) for one in machine.imperfections] or None,
        "change_over": dict(machine.change_over) or None,
        "looseness": [_looseness(one) for one in machine.looseness] or None,
    }


def _imperfection(one: Imperfection) -> dict[str, Any]:
    return {
        "kind": one.kind,
        "link": one.link,
        "angle": one.angle_deg,
        "length": one.length,
        "turn_of": one.turn_of,
        "phase": one.phase_deg or None,
        "gear": one.gear,
        "runout": one.runout,
        "module": one.module_n,
        "pressure_angle": one.pressure_angle_deg if one.pressure_angle_deg != _USUAL_PRESSURE_DEG else None,
    }


def _looseness(one: Looseness) -> dict[str, Any]:
    values = _imperfection(one.amount) | {
        "comes_from": one.comes_from,
        "spread": None if one.spread == "normal" else one.spread,
        "over": one.over,
    }
    return {key: value for key, value in values.items() if value is not None}


#: Pressure angle of a change gear whose file doesn't give it.
_USUAL_PRESSURE_DEG = 20


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
            return {"starts": link.starts, "teeth": link.teeth}
        case Belt():
            toothed = machine.document.get("link", _row(machine, link.name), "teeth") is not None
            return {"teeth" if toothed else "diameters": link.sizes, "crossed": link.crossed or None}
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
    return {**_module(keys.pop("module", None), units), **keys}


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
                return {"teeth": teeth, **_module(module, machine.units)}
    return {"travel": link.travel}


def _module(module: Fraction | None, units: str) -> dict[str, Any]:
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
        **_module(limits.module_n, units),
        "feed": limits.feed_mm_per_table_turn,
    }
    return values if any(value is not None for value in values.values()) else None


# ---------------------------------------------------------------- jobs


def _job(job: Job) -> dict[str, Any]:
    work = _work(job.work, job.units)
    return {
        "format": "job/1",
        "title": job.title,
        "units": job.units,
        "machine": job.machine_name,
        "work": work,
        "double_helical": None if job.halves is None else halves_values(job.halves),
        "toothed": None if job.toothed is None else toothed_values(job.toothed),
        "mate": None if job.mate is None else _mate(job),
        "hob": hob_values(job.hob, job.units),
        "setup": None if job.setup is None else setup_values(job.setup, job.machine),
        "cutting": _cutting(job.cutting),
        "fixture": job.fixture or None,
        "seen": None if job.seen is None else _seen(job.seen),
        "measured": [gauging_values(row) for row in job.measured] or None,
    }


def gauging_values(row: Gauging) -> dict[str, Any]:
    """What was measured at some depth by the keys of [[measured]]."""
    return {
        "date": row.date or None,
        "dialled": row.dialled,
        "span": row.span and {"teeth": row.span[0], "length": row.span[1]},
        "balls": row.balls and {"diameter": row.balls[0], "over": row.balls[1]},
        "chord": row.chord,
        "depth": row.depth,
    }


def _tooth_size(module: Fraction, units: str) -> dict[str, Any]:
    circular = module * PI
    if circular.denominator <= 10**9:
        return {"pitch": circular}
    return _module(module, units)


def _work(work: Work, units: str) -> dict[str, Any]:
    return {
        "kind": work.kind,
        "teeth": work.teeth,
        **_tooth_size(work.module_n, units),
        "pressure_angle": None if work.has_keys else work.pressure_angle_deg,
        "helix_angle": work.helix_angle_deg if work.lead is None else None,
        "lead": work.lead,
        "hand": work.hand.word if work.hand else None,
        "face_width": work.face_width,
        "quality": work.quality,
        "profile_shift": work.profile_shift or None,
        "outside_diameter": work.outside_diameter,
        "thinning": work.thinning or None,
        "crown": work.crown or None,
        "taper": work.taper or None,
        "roller_diameter": work.roller_diameter,
        "blank": "plain" if work.is_plain else None,
        "throat_radius": work.throat_radius,
        "rim_diameter": work.rim_diameter,
        "bore": work.bore,
        "key_width": work.key_width,
        "minor_diameter": work.minor_diameter,
        "form_diameter": work.form_diameter,
    }


def _mate(job: Job) -> dict[str, Any]:
    """Whatever differs from the work; its hand where it isn't the one that a pair would have."""
    work, mate, units = job.work, job.mate, job.units
    assert mate is not None
    given, other = _work(work, units), _work(mate, units)
    values = {key: value for key, value in other.items() if value != given.get(key)}
    if work.profile_shift and not mate.profile_shift:
        values["profile_shift"] = Fraction(0)
    if work.thinning and not mate.thinning:
        values["thinning"] = Fraction(0)
    if work.hand and mate.hand and (work.kind == "worm wheel" or job.crossing_angle_deg or work.hand is mate.hand):
        values["hand"] = mate.hand.word
    elif work.hand:
        values.pop("hand", None)
    return values | {
        "bore": mate.bore,
        "centre_distance": job.centre_distance,
        "crossing_angle": job.crossing_angle_deg,
        "least_backlash": job.least_backlash,
    }


def hob_values(hob: HobData, units: str) -> dict[str, Any]:
    """The hob by the keys of [hob]."""
    return {
        **_tooth_size(hob.module_n, units),
        "starts": hob.starts,
        "hand": hob.hand.word,
        "lead_angle": hob.lead_angle_deg,
        "diameter": hob.diameter,
        "outside_diameter": hob.outside_diameter,
        "gashes": hob.gashes,
        "pressure_angle": hob.pressure_angle_deg,
        "rack": None if hob.rack == "A" else hob.rack,
        "addendum": hob.addendum,
        "dedendum": hob.dedendum,
        "tip_radius": hob.tip_radius,
        "length": hob.length,
    }


def mounted_values(mounted: Mounted) -> dict[str, Any]:
    """What is mounted, or entered, by the keys of a bracket."""
    if isinstance(mounted, Dialled):
        return {"ratio": mounted.ratio}
    return {"gears": mounted.gears, "idlers": mounted.idlers or None}


def setup_values(setup: Setup, machine: Machine) -> dict[str, Any]:
    """The set-up by the keys of [setup]."""
    return {
        "swivel": setup.swivel_deg,
        "feed": setup.feed.value if setup.feed else None,
        "drive": None if setup.drive == machine.normal_drive else setup.drive,
        "levers": setup.levers or None,
        "change": {
            name: mounted_values(mounted)
            for name, mounted in setup.change.items()
        }
        or None,
        "moves": [_move(move) for move in setup.moves] or None,
    }


def _move(move: SetupMove) -> dict[str, Any]:
    values: dict[str, Any] = {
        "name": move.name,
        "from": dict(move.start) or None,
        "drive": move.drive,
        "backwards": move.backwards or None,
        "by_hand": move.by_hand or None,
        "levers": dict(move.levers) or None,
    }
    if move.place is not None:
        return {**values, "to": {move.end: move.place}}
    return {**values, f"{move.end or 'drive'}_turns": move.turns}


def _seen(seen: Seen) -> dict[str, Any]:
    hand = seen.hand.word if seen.hand else None
    plain = {
        "teeth": seen.teeth,
        "hand": "none" if seen.straight else hand,
        "lead": seen.lead,
        "helix_angle": seen.helix_angle_deg,
        "outside_helix_angle": seen.outside_helix_angle_deg,
        **{key: getattr(seen, key) for key in SEEN_BESIDES},
    }
    readings: dict[str, Any] = {
        key: None if value is None else Reading(value, seen.within.get(key), key not in seen.unsure)
        for key, value in plain.items()
    }
    return {**readings, "check": [{"do": check.do, "found": check.found} for check in seen.checks] or None}


# ---------------------------------------------------------------- TOML

#: Tables whose entries are short tables of their own, each on one line.
_ONE_LINE_EACH = frozenset({"ends", "drives", "positions", "change"})
#: What a reading consists of that isn't bare; it stands behind its key too.
_READINGS = ({"value", "within"}, {"value", "sure"})
#: Tables that stand behind their key, on its line.
_ON_THE_LINE = frozenset({"bracket", "ratios", "swivel", "rpm", "travel", "from", "to"})


def _document(raw: dict[str, Any]) -> tomlkit.TOMLDocument:
    document = tomlkit.document()
    _fill(document, raw)
    return document


def _fill(container: Any, raw: Mapping[str, Any], one_line: bool = False) -> None:
    """Put everything in: what stands on a line of its own first, as TOML needs it, then the tables."""
    later = {}
    for key, value in raw.items():
        if _is_table(key, value) and not one_line:
            later[key] = value
        else:
            container.add(key, _item(value))
    for key, value in later.items():
        container.add(key, _rows(value) if isinstance(value, list) else _table(key, value))


def _is_table(key: str, value: Any) -> bool:
    if isinstance(value, list):
        return bool(value) and isinstance(value[0], dict)
    return isinstance(value, dict) and key not in _ON_THE_LINE and set(value) not in _READINGS


def _table(key: str, raw: Mapping[str, Any]) -> Table:
    table = tomlkit.table(is_super_table=bool(raw) and key in ("levers",))
    _fill(table, raw, key in _ONE_LINE_EACH)
    return table


def _rows(raw: list[dict[str, Any]]) -> AoT:
    array = tomlkit.aot()
    for row in raw:
        table = tomlkit.table()
        _fill(table, row)
        array.append(table)
    return array


def _item(value: Any) -> Item:
    if isinstance(value, Decimal):
        return Float(float(value.text), Trivia(), value.text)
    if isinstance(value, Mapping):
        return _inline(value)
    if isinstance(value, (list, tuple)):
        return _list([_item(each) for each in value])
    item: Item = tomlkit.item(value)
    return item


def _list(items: list[Item]) -> Item:
    array = tomlkit.array()
    if len(items) <= _LONG:
        array.extend(items)
        return array
    for start in range(0, len(items), _LONG):
        array.add_line(*items[start : start + _LONG])
    array.add_line(indent="")
    return array


def _inline(value: Mapping[str, Any]) -> InlineTable:
    table = tomlkit.inline_table()
    for key, each in value.items():
        table.add(key, _item(each))
    return table


def _cutting(cutting: Cutting) -> dict[str, Any] | None:
    if cutting == Cutting():
        return None
    values = {field.name: getattr(cutting, field.name) for field in fields(Cutting)}
    values["mark"] = values.pop("mark_um")
    return values
