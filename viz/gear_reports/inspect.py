"""What records of a gear say of its machine, as a person at the machine reads it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from pathlib import Path

from handlead.machines.at_fault.doubtful import Doubtful
from handlead.machines.at_fault.finding import FoundWave, PartAtFault
from handlead.machines.gear_records.records import Record
from handlead.machines.inspecting.answer import InspectedGear
from handlead.machines.inspecting.first_tooth import LaidFrom
from handlead.machines.inspecting.loop import WrittenBack
from handlead.machines.inspecting.words import (
    is_far_fetched,
    part_name,
    record_name,
    size_told,
    turns_told,
    um_told,
    where_told,
)
from handlead.machines.inspecting.worth import Reached, rank
from handlead.machines.machine_files.machine_file import Imperfection
from handlead.machines.setups.findings import Finding
from handlead.machines.toml.units import height, length
from handlead.viz.streams.terminal import CAUTION, console
from rich.console import Console
from rich.padding import Padding
from rich.text import Text

#: To what part of a division a dial was read, by how many make one.
_READ_TO = {
    1: "whole divisions", 2: "half a division", 4: "a quarter of a division", 5: "a fifth of a division",
    10: "a tenth of a division",
}  # fmt: skip

#: Parts of one wave, and parts that don't show, that are named.
_MOST = 8


def show_inspected(found: InspectedGear, charts: Sequence[Path] = (), out: Console | None = None) -> None:
    """Print the answer: what was found, how to prove it, what it is worth, and what the records can't show."""
    out = out or console()
    job = found.case.job
    mark, style = ("✓", "bold green") if found.is_explained else ("✗", "bold red")
    out.print(Text.assemble((job.title, "bold"), f"  on {job.machine.name}"))
    out.print(Text(f"{mark} {headline(found)}", style=style))
    if wrong := found.against_set_up:
        out.print(Padding(Text(f"! {not_this(wrong[0])}", style="bold yellow"), (0, 0, 0, 2)))
    for line in record_lines(found):
        out.print(Padding(Text(line), (0, 0, 0, 2)))
    for number, wave in enumerate(found.inspection.waves, 1):
        out.print()
        first, *more = wave_lines(found, wave)
        out.print(Text(f"{number}  {first}", style="bold"))
        for line in more:
            out.print(Padding(Text(line), (0, 0, 0, 3)))
    for block in (worth_lines(found), unseen_lines(found)):
        for at, line in enumerate(block):
            out.print(Padding(Text(line), (0 if at else 1, 0, 0, 0)))
    for chart in charts:
        out.print(f"chart: {chart}")
    out.print(Padding(Text(foot(), style="dim"), (1, 0, 1, 0)))


def foot() -> str:
    """What ± means, and what to mind at the machine."""
    return f"± holds in 95 of 100, the set-up as the job has it. {CAUTION}"


def headline(found: InspectedGear) -> str:
    """The answer in a sentence; what was read or taken wrongly comes before any part."""
    spoilt = [Path(one.path).name for number, one in enumerate(found.records) if found.doubtful(number) is not None]
    if spoilt:
        files = ", ".join(dict.fromkeys(spoilt))
        return f"Read again first: {files}, where a reading stands far off. {_parts_told(found)}"
    return _parts_told(found)


def _parts_told(found: InspectedGear) -> str:
    waves = found.inspection.waves
    if not waves:
        return "Nothing that comes back with a part of this set-up stands above the noise of these records."
    named = [part_name(found.case, found.parts(wave)[0].part) for wave in waves]
    sure = all(is_plain(found, wave) for wave in waves)
    return f"Look first at: {'; '.join(named)}{'' if sure else ' (or what is named with it below)'}."


def not_this(wrong: Finding) -> str:
    """What to ask of a set-up that doesn't cut the gear as drawn."""
    return (
        f"The job's set-up isn't as wanted: {wrong.message} Was this gear cut with it? How often each part comes back "
        "hangs on the gears that were mounted."
    )


def is_plain(found: InspectedGear, wave: FoundWave) -> bool:
    """Whether every other part that may have left a wave would have to be worse than is met with."""
    _, *others = found.parts(wave)
    return all(is_far_fetched(found.case, one) for one in (*others, *found.rivals(wave)))


def record_lines(found: InspectedGear) -> Iterator[str]:
    """Each record: what it is, what is left that no part explains, and what it wouldn't show."""
    units = found.case.job.units
    for number, (record, fitted) in enumerate(zip(found.records, found.inspection.records, strict=True)):
        day = f", {record.date}" if record.date else ""
        said = f"{Path(record.path).name}: {record_name(record, units)}, {len(record.readings.um)} readings{day}: "
        said += f"{height(fitted.before_um, units)} r.m.s., of which {height(fitted.left_um, units)} are left that no "
        said += "part explains."
        if record.read_to is not None:
            own = height(record.read_to_um / math.sqrt(12), units)
            said += f" The dial, read to {_READ_TO[record.read_to.denominator]}, leaves {own} by that alone."
        if (doubtful := found.doubtful(number)) is not None:
            said += f" {doubtful_told(record, doubtful, units)}"
        if (gap := found.not_read(number)) is not None:
            first, last, teeth = *gap, found.case.job.work.teeth
            none = f"{first} of {teeth} wasn't" if first == last else f"From {first} to {last} of {teeth} none was"
            said += f" {none} read: is it this gear?"
        if (beside := found.beside_gear(number)) is not None:
            said += f" It was read {beside}: is it this gear, and this unit?"
        if (laid := dict(found.laid).get(number)) is not None:
            said += f" {laid_told(laid)}"
        yield said
    least = " and ".join(f"{height(um, units)} {kind}" for kind, um in found.smallest_together_um.items())
    if least:
        yield f"A wave of less than about {least} wouldn't stand out of these records."


def doubtful_told(record: Record, one: Doubtful, units: str) -> str:
    """What to look at again before anything else is believed."""
    tooth, far = record.readings.tooth, height(one.um, units)
    if one.after is not None:
        return (
            f"From {_tooth(record)} {tooth[one.after]:g} to {tooth[one.at]:g} it jumps by {far}, which no part that "
            "turns leaves: was the gear or the dial moved there? Read it again before a part is blamed."
        )
    place = f"{_tooth(record)} {tooth[one.at]:g}"
    if record.readings.by_tooth:
        place += f" at {length(float(record.readings.height[one.at]), units, 2)}"
    return f"{place[0].upper()}{place[1:]} stands {far} off, far beyond all others: read that again first."


def _tooth(record: Record) -> str:
    return "space" if record.kind == "runout" else "tooth"


def laid_told(laid: LaidFrom) -> str:
    """Where a record lies whose first tooth isn't the marked one."""
    if laid.first is None:
        return "Nothing in the others tells where its first tooth stands: it is left as it was counted."
    said = f"Its first tooth is laid on tooth {laid.first:g} of the others, where it goes best with them"
    if not laid.as_well:
        return f"{said}."
    named = ", ".join(f"{one:g}" for one in laid.as_well[:_MOST])
    more = f" and {len(laid.as_well) - _MOST} more" if len(laid.as_well) > _MOST else ""
    return f"{said}; on {named}{more} nearly as well."


def wave_lines(found: InspectedGear, wave: FoundWave) -> Iterator[str]:
    """One wave: the part, its size on the flank and at the part, what else it may be, and how to prove it."""
    case, units = found.case, found.case.job.units
    first, *others = found.parts(wave)
    yield f"{part_name(case, first.part)}: {um_told(first, units)} on the flank"
    yield f"{size_told(case, first)}; it comes {turns_told(case, first.order)}"
    if where := where_told(case, first.part):
        yield where
    rivals = found.rivals(wave)
    yield from _named(found, "These records can't tell it from", others)
    yield from _named(found, "Nearly as well it may be", rivals)
    if far := [one for one in (*others, *rivals) if is_far_fetched(case, one)]:
        names = [part_name(case, one.part) for one in far[:_MOST]]
        more = f"; and {len(far) - _MOST} more" if len(far) > _MOST else ""
        yield f"They fit as well, but would have to be worse than is met with: {'; '.join(names)}{more}"
    if _may_be_turned_over(found, wave):
        yield (
            f"→ Another part comes {turns_told(case, first.order)} as well. Records of which one was counted the other "
            "way round, or is of the other flank than it says, look just so: see to that first."
        )
    if (besides := found.measure_next(wave)) is not None:
        yield f"→ Measure {besides}: that tells them apart."
    for confirmation in found.confirmations(wave):
        yield f"→ {confirmation.do} {confirmation.then}"


def _may_be_turned_over(found: InspectedGear, wave: FoundWave) -> bool:
    """Whether it takes this one beside another that comes as often to make records of unlike kinds agree."""
    before = found.inspection.waves[: found.inspection.waves.index(wave)]
    order = found.parts(wave)[0].order
    alike = any(found.parts(one)[0].order == order for one in before)
    return alike and len({(one.kind, one.flank) for one in found.records}) > 1


def _named(found: InspectedGear, said: str, parts: Sequence[PartAtFault]) -> Iterator[str]:
    """Those of the parts that needn't be worse than is met with."""
    sane = [one for one in parts if not is_far_fetched(found.case, one)]
    if sane:
        yield f"{said}:"
    for one in sane[:_MOST]:
        yield f"  {part_name(found.case, one.part)}: {size_told(found.case, one)}"
    if len(sane) > _MOST:
        yield f"  and {len(sane) - _MOST} more (--json names all)"


def worth_lines(found: InspectedGear) -> Iterator[str]:
    """The class as measured, and what mending brings."""
    worth, units = found.worth, found.case.job.units
    if not worth.measured.um:
        return
    by = f"held there by {worth.measured.by}, {height(worth.measured.um, units)}"
    yield f"As measured {_class(worth.measured)}, {by}."
    for number, without in enumerate(worth.without):
        name = part_name(found.case, found.parts(found.inspection.waves[number])[0].part)
        first = "; worth mending first" if number == worth.first else ""
        yield f"  without {number + 1}, {name}: {_better(without, worth.measured, units)}{first}"
    if len(worth.without) > 1:
        alone = "" if worth.first is not None else "; no single one brings a better class"
        yield f"  without all of them: {_better(worth.without_all, worth.measured, units)}{alone}"
    yield "  Classes of ISO 1328-1, by these records alone, noise and all."


def _better(without: Reached, measured: Reached, units: str) -> str:
    if rank(without) < rank(measured):
        return _class(without)
    return f"no better class, held there by {without.by}, {height(without.um, units)}"


def _class(reached: Reached) -> str:
    return "coarser than any class" if reached.quality is None else f"class {reached.quality}"


def unseen_lines(found: InspectedGear) -> Iterator[str]:
    """What these records can't show, by the reason why."""
    why: dict[str, list[str]] = {}
    for one in found.inspection.unseen:
        why.setdefault(one.why, []).append(part_name(found.case, one.part))
    if why:
        yield "Not shown by these records:"
    for reason, names in why.items():
        named = "; ".join(names[:_MOST]) + (f"; and {len(names) - _MOST} more" if len(names) > _MOST else "")
        yield f"  {named}: {reason}"


def row_told(row: Imperfection) -> str:
    """A row of a machine's file by its kind and what it is of."""
    gear = f" {row.gear}" if row.gear is not None else ""
    return f"{row.kind}{gear}{f' of {row.link}' if row.link is not None else ''}"


def written_lines(done: WrittenBack) -> Iterator[str]:
    """What was put into a machine's file, what gave way to it, and what wasn't."""
    for one in done.found:
        yield f"{one.name}, is written as an imperfection"
    for row in done.replaced:
        from_where = f"what {row.inspected} showed of it" if row.inspected else "what stood there by hand"
        yield f"{row_told(row)}, took the place of {from_where}"
    for left in done.left_out:
        yield f"{left.name}, isn't written: {left.why}"
    for row in done.not_found:
        yield (
            f"{row_told(row)}, written from records of {row.inspected}, isn't found in these. "
            "If it was mended, take it out"
        )
    if done.kept is not None:
        yield f"what was there is kept in {done.kept.name}"
    elif not done.found:
        yield "nothing is written"
