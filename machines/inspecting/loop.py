"""What was found on a gear put into the file of the machine that cut it, so that `prove` and `study` reckon with it.

Each part found is a row [[imperfection]] that names the records and their day. It takes the place of what stood there
of that part before; every other line stays, and the file as it was is kept beside it. No record says how the machine
stood: phases are told as if it had stood at 0 where the first tooth was cut, which is right for one against another.
"""

from __future__ import annotations

import cmath
import datetime
import math
import os
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
from handlead.kinematics.gears.gear import MM_PER_INCH
from handlead.kinematics.links.links import Rack, Screw
from handlead.machines.at_fault.finding import FoundWave, PartAtFault
from handlead.machines.at_fault.parts import FAR_BELOW, TurningPart
from handlead.machines.machine_files.catalogue import shipped_machines
from handlead.machines.machine_files.machine_file import Imperfection
from handlead.machines.setups.case import Case, face_width_mm
from handlead.machines.setups.imperfections import mounted_at
from handlead.machines.toml.filing import as_it_came, keep_beside, plain, read_text, refused, write_text
from handlead.machines.toml.places import parse
from handlead.machines.written.machine_values import imperfection_values

from .answer import InspectedGear
from .machine_rows import check_reads, with_rows
from .words import is_far_fetched, part_name, size_told, strangeness

#: A size that is told no closer than to this share of it isn't written down. Own choice.
_LOOSE = 0.6

#: A wave that is so many times what a record strays by, as root of the mean square, isn't one of its own.
_MOST = 3.0


@dataclass(frozen=True)
class FoundFault:
    """A part's fault as the machine file has it, and what the part is called."""

    name: str
    imperfection: Imperfection


@dataclass(frozen=True)
class LeftOut:
    """A part that isn't written down, and why."""

    name: str
    why: str


@dataclass(frozen=True)
class WrittenBack:
    """What was done to a machine's file: the rows put in, those whose place they took, and what was left as it is.

    `kept` is the file as it was, None where nothing was changed. `not_found` are parts of which older records showed
    something and these don't: whether they were mended the file can't know.
    """

    path: Path
    kept: Path | None
    found: tuple[FoundFault, ...]
    replaced: tuple[Imperfection, ...]
    left_out: tuple[LeftOut, ...]
    not_found: tuple[Imperfection, ...]

    def as_json(self) -> dict[str, Any]:
        """What was done as plain values; amounts as in the file's tables, lengths in mm."""
        return {
            "file": os.fspath(self.path),
            "kept": None if self.kept is None else os.fspath(self.kept),
            "found": [{"part": one.name, **_plain(one.imperfection)} for one in self.found],
            "replaced": [_plain(one) for one in self.replaced],
            "left_out": [{"part": one.name, "why": one.why} for one in self.left_out],
            "not_found": [_plain(one) for one in self.not_found],
        }


def _plain(one: Imperfection) -> dict[str, Any]:
    values = imperfection_values(one, "mm") | {"module": one.module_n, "diametral_pitch": None}
    row = {key: value for key, value in values.items() if value is not None}
    return {key: float(value) if isinstance(value, Fraction) else value for key, value in row.items()}


def found_imperfections(
    gear: InspectedGear, today: datetime.date | None = None
) -> tuple[tuple[FoundFault, ...], tuple[LeftOut, ...]]:
    """The parts found as imperfections of the machine, the likeliest of those that can't be told apart; and those that
    can't be written down."""
    days = [record.date for record in gear.records if record.date]
    day = max(days, default=(today or datetime.date.today()).isoformat())
    names = ", ".join(dict.fromkeys(Path(record.path).name for record in gear.records))
    found: dict[tuple[str | int | None, ...], FoundFault] = {}
    left_out = []
    for wave in gear.inspection.waves:
        first = _likeliest(gear, wave)
        name = part_name(gear.case, first.part)
        if why := _why_not(gear, wave, first):
            left_out.append(LeftOut(name, why))
            continue
        said = f"{names}: {size_told(gear.case, first)}{_or_else(gear.case, wave, first)}"
        sized = _sized(gear.case, first)
        one = replace(sized, phase_deg=_phase(wave, first), comes_from=said, inspected=day)
        part = part_of(gear.case, one)
        if part in found and one.kind == "table wobble":
            found[part] = _about_one_place(gear.case, found[part], FoundFault(name, one))
        elif part in found:
            left_out.append(LeftOut(name, "a bigger wave of the same part is written down"))
        else:
            found[part] = FoundFault(name, one)
    return tuple(found.values()), tuple(left_out)


def _about_one_place(case: Case, one: FoundFault, other: FoundFault) -> FoundFault:
    """Two that a table's axis was found to do as often in a turn, leaning and going aside alike, as one wobble.

    Both together are off by S·(h + b) at a height h, S the lean and b how far below the axis stays where it is. What
    noise leaves beside that is shared out by least squares over the face.
    """
    face = face_width_mm(case.job.work)
    both = [(_lean(it.imperfection), float(it.imperfection.below)) for it in (one, other)]
    lean = sum(slope for slope, _ in both)
    aside = sum(slope * (face / 2 + below) for slope, below in both)
    below = min(max((aside / lean).real - face / 2, 0.0), float(FAR_BELOW)) if lean else float(FAR_BELOW)
    far, half = face / 2 + below, face**2 / 12
    lean = (aside * far + lean * half) / (far**2 + half)
    below_mm, over = Fraction(round(below)), Fraction(face).limit_denominator(1000)
    said = f"{one.imperfection.comes_from}; {other.name}: {other.imperfection.comes_from.partition(': ')[2]}"
    return FoundFault(
        one.name.partition(",")[0] + ", wobbling",
        replace(
            one.imperfection,
            runout=Fraction(round(2e4 * abs(lean) * float(below_mm + over)), 10**4),
            over=below_mm + over,
            below=below_mm,
            phase_deg=Fraction(round(math.degrees(cmath.phase(lean))) % 360),
            comes_from=said,
        ),
    )


def _lean(one: Imperfection) -> complex:
    """How far an axis leans, mm over mm, and where to as the table stands at 0."""
    assert one.runout is not None and one.over is not None
    return cmath.rect(float(one.runout / one.over) / 2, math.radians(float(one.phase_deg)))


def part_of(case: Case, one: Imperfection) -> tuple[str | int | None, ...]:
    """What tells the part of an imperfection: two rows of one part speak of the same fault."""
    if one.kind == "gear runout" and (where := mounted_at(case.train, one)) is not None:
        return (one.kind, where[0].name, None, one.gear, where[1])
    if one.kind == "worm float":
        # A worm that goes to and fro is one that errs once a turn.
        return ("once per turn", one.link, "driving")
    turn_of = one.turn_of
    if one.kind == "once per turn" and turn_of is None and one.link is not None:
        turn_of = "driving" if isinstance(case.train.link(one.link), Screw | Rack) else "driven"
    waves = one.waves if one.kind == "table wobble" else None
    return (one.kind, one.link, turn_of, one.gear, waves)


@dataclass(frozen=True)
class ToWrite:
    """What would be done to a machine's file (`done`, nothing kept yet): its text `before` and `after`."""

    before: str
    after: str
    done: WrittenBack


def would_write(gear: InspectedGear, today: datetime.date | None = None) -> ToWrite:
    """What was found as it would stand in the file of the gear's machine; nothing is written.

    A row by hand or from older records gives way to what is found of its part; one from newer records stays. Raises
    `FileFault` for a machine that ships, and for a file that was changed meanwhile.
    """
    machine = gear.case.job.machine
    path = Path(machine.path)
    _check_own(path)
    text = read_text(path)
    if parse(plain(text), os.fspath(path)).digest != machine.digest:
        raise refused(
            path, "it was changed since it was read, so nothing is written. Inspect the gear again"
        )
    found, left_out = found_imperfections(gear, today)
    replaced, written, newer = _places(gear.case, found)
    rows = {index: None if one is None else one.imperfection for index, one in replaced.items()}
    new = with_rows(plain(text), path, machine, rows, [one.imperfection for one in written])
    done = tuple(one for one in (*replaced.values(), *written) if one is not None)
    was = tuple(machine.imperfections[index] for index in replaced)
    check_reads(new, path, machine, rows, [one.imperfection for one in done])
    return ToWrite(
        text,
        as_it_came(new, text),
        WrittenBack(path, None, done, was, (*left_out, *newer), _not_shown(gear)),
    )


def write_found(gear: InspectedGear, today: datetime.date | None = None) -> WrittenBack:
    """Put what was found into the file of the gear's machine, whole or not at all, and keep beside it what was there.

    Raises `FileFault` as `would_write` does, and where it can't be written.
    """
    would = would_write(gear, today)
    if would.after == would.before:
        return would.done
    kept = keep_beside(would.done.path, today)
    write_text(would.after, would.done.path, overwrite=True)
    return replace(would.done, kept=kept)


def _not_shown(gear: InspectedGear) -> tuple[Imperfection, ...]:
    """The rows of the machine's file from older records whose parts these records show no wave of."""
    machine = gear.case.job.machine
    shown = {
        part_of(gear.case, _of_file(gear.case, one.part)) for wave in gear.inspection.waves for one in wave.parts
    }
    return tuple(row for row in machine.imperfections if row.inspected and part_of(gear.case, row) not in shown)


def _places(
    case: Case, found: Sequence[FoundFault]
) -> tuple[dict[int, FoundFault | None], tuple[FoundFault, ...], tuple[LeftOut, ...]]:
    """What takes the place of which row (None: of a second row of a part), what is new, and what isn't new enough."""
    machine = case.job.machine
    parts = {part_of(case, one.imperfection): one for one in found}
    newer = []
    for row in machine.imperfections:
        one = parts.get(part := part_of(case, row))
        if one is not None and row.inspected > one.imperfection.inspected:
            newer.append(LeftOut(one.name, f"the file has it from newer records, of {row.inspected}"))
            del parts[part]
    replaced: dict[int, FoundFault | None] = {}
    new = dict(parts)
    for index, row in enumerate(machine.imperfections):
        if (part := part_of(case, row)) in parts:
            replaced[index] = new.pop(part, None)
    return replaced, tuple(new.values()), tuple(newer)


def _likeliest(gear: InspectedGear, wave: FoundWave) -> PartAtFault:
    """The part of a wave that is written down: of those that would do nearly as well where the best are far-fetched."""
    first, *_ = gear.parts(wave)
    if not is_far_fetched(gear.case, first):
        return first
    return min((first, *wave.rivals), key=lambda one: strangeness(gear.case, one))


def _why_not(gear: InspectedGear, wave: FoundWave, found: PartAtFault) -> str:
    spoilt = (Path(one.path).name for number, one in enumerate(gear.records) if gear.doubtful(number) is not None)
    if (name := next(spoilt, None)) is not None:
        return f"{name} has a reading that stands far off, or a jump: read it again, or leave it out"
    if is_far_fetched(gear.case, found) or _is_beside_all_records(gear, wave):
        return "its fault would have to be out of all measure: look for another cause"
    if 2 * found.error > _LOOSE * found.size:
        loosely = f"{200 * found.error / found.size:.0f} %"
        return f"these records tell its size only to ± {loosely}: measure what shows it better"
    return ""


def _is_beside_all_records(gear: InspectedGear, wave: FoundWave) -> bool:
    """Whether a wave is far bigger than anything in the records: then another takes off what it leaves.

    With those that come as often, as a blank askew may take off at one height what its arbor leaves there. What goes
    into the zeros doesn't count: of a fast wave and of a helix that is nearly all.
    """
    most = max(one.before_um for one in gear.inspection.records)
    alike = [one for one in gear.inspection.waves if one.parts[0].order == wave.parts[0].order]
    together = [np.sum([gear.shown(one, at) for one in alike], axis=0) for at in range(len(gear.records))]
    return max(float(np.abs(one).max()) for one in together) > _MOST * most


def _or_else(case: Case, wave: FoundWave, first: PartAtFault) -> str:
    others = [part_name(case, one.part) for one in (*wave.parts, *wave.rivals) if one is not first]
    return f"; these records can't tell it from {' or '.join(others)}" if others else ""


def _sized(case: Case, found: PartAtFault) -> Imperfection:
    """The fault as large as it was found, to a tenth of its error, in decimals of the file's units."""
    unit = Fraction(MM_PER_INCH) if case.job.machine.units == "in" and found.unit != "deg" else Fraction(1)
    error = found.error / float(unit)
    digits = max(0, 1 - math.floor(math.log10(error))) if error > 0 else 6
    times = Fraction(round(found.size / float(unit) * 10**digits), 10**digits) * unit
    one = _of_file(case, found.part)

    def grown(amount: Fraction | None) -> Fraction | None:
        return None if amount is None else amount * times

    return replace(one, angle_deg=grown(one.angle_deg), length=grown(one.length), runout=grown(one.runout))


def _phase(wave: FoundWave, found: PartAtFault) -> Fraction:
    """Where in its wave the part stands at 0, by the phase of its kind in a machine file, in whole degrees."""
    part, first = found.part, wave.parts[0].part
    like = first.right / part.right if part.right and first.right else first.left / part.left
    turned = math.degrees(cmath.phase(wave.amount * like)) * (-1 if part.back else 1)
    match part.fault.kind:
        case "work runout":
            # The file tells where the blank stands off to, the wave when it stands away.
            turned += 180
        case "hob runout":
            # The file tells the gash that stands out, the wave when the hob stands away.
            turned = -turned - 90
    return Fraction(round(turned) % 360)


def _of_file(case: Case, part: TurningPart) -> Imperfection:
    """A fault by the keys of its kind: a change gear's goes by its teeth, wherever it is mounted.

    Where another of its count is mounted too, the file says which of them it was.
    """
    fault = part.fault
    if fault.kind != "gear runout":
        return fault
    mounted = [teeth for link in case.train.brackets for teeth in (link.mounted.every if link.mounted else ())]
    if mounted.count(fault.gear or 0) < 2:
        return replace(fault, link=None)
    return replace(fault, place=part.place + 1)


def ships(path: Path) -> bool:
    """Whether a machine's file came with the program."""
    return path.resolve() in {each.resolve() for each in shipped_machines().values()}


def _check_own(path: Path) -> None:
    """Raises `FileFault` for a machine that came with the program: what was found is of one in somebody's shop."""
    if ships(path):
        raise refused(
            path, "it ships with the program. Copy it beside the job, and let the job name the copy"
        )
