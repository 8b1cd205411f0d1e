"""What records of a gear say of its machine, worked out in a process of its own: the command's words, and pictures.

Every function takes the text of a job and the records beside it, as they stood when it was asked.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from handlead.machines.gear_records.records import Record
    from handlead.machines.inspecting.answer import InspectedGear
    from handlead.viz.bench_desk.work import Source


@dataclass(frozen=True)
class AskedOf:
    """The records that are looked at: their names in the job's folder, what tells their content from another, and which
    way an XML file's teeth are counted where it doesn't say."""

    names: tuple[str, ...]
    digests: tuple[str, ...]
    counted: str = ""


@dataclass(frozen=True)
class ShownWave:
    """One wave: its first line, then the others, those set in under the one before marked so.

    `to_type` are the records that would tell its parts apart: each with its name, and what a record typed by hand has
    in its fields for it.
    """

    first: str
    lines: tuple[tuple[bool, str], ...]
    to_type: tuple[tuple[str, tuple[tuple[str, str], ...]], ...] = ()


@dataclass(frozen=True)
class ShownChart:
    """A record's chart: its number, which record it is, what it shows in words, and its orders as (name, times a turn,
    amplitude, whether it was found)."""

    number: int
    name: str
    words: str
    unit: str
    orders: tuple[tuple[str, str, str, bool], ...]


@dataclass(frozen=True)
class ShownTaking:
    """What taking it over would do to the machine's file, at `path`: in lines, and its text before and after.

    `why_not` says why nothing of it can be done; `ships` where that is because the machine came with the program.
    """

    path: str
    lines: tuple[str, ...] = ()
    before: str = ""
    after: str = ""
    why_not: str = ""
    ships: bool = False


@dataclass(frozen=True)
class ShownAnswer:
    """The answer as the command words it, line by line."""

    yes: bool
    headline: str
    not_this: str
    records: tuple[str, ...]
    waves: tuple[ShownWave, ...]
    worth: tuple[str, ...]
    unseen: tuple[str, ...]
    foot: str
    left_out: tuple[str, ...]
    charts: tuple[ShownChart, ...]
    taking: ShownTaking


def inspected(source: Source, asked: AskedOf) -> ShownAnswer:
    """What the records say. Raises `HandleadError`, `ValueError` in plain words where they say nothing."""
    from handlead.viz.gear_reports import inspect as words

    found = _found(source, asked)
    wrong = found.against_set_up
    return ShownAnswer(
        found.is_explained, words.headline(found), words.not_this(wrong[0]) if wrong else "",
        tuple(words.record_lines(found)), tuple(_waves(found)), tuple(words.worth_lines(found)),
        tuple(words.unseen_lines(found)), words.foot(),
        tuple(f"line {one.line}: {one.message}" for one in found.left_out),
        tuple(_chart(found, number) for number in range(len(found.records))), _taking(found),
    )  # fmt: skip


@lru_cache(maxsize=2)
def _found(source: Source, asked: AskedOf) -> InspectedGear:
    """The fit itself, kept for its pictures."""
    from handlead.machines.inspecting.answer import NotInspected, inspect

    folder = Path(source.beside)
    try:
        return inspect(source.job(), *(folder / name for name in asked.names), counted=asked.counted)
    except NotInspected as why:
        raise NotInspected(str(why).replace(f"{folder}/", "")) from None


def _waves(found: InspectedGear) -> Iterator[ShownWave]:
    from handlead.viz.gear_reports.inspect import wave_lines

    for wave in found.inspection.waves:
        first, *more = wave_lines(found, wave)
        asked = tuple(_to_type(found, record) for record in found.records_next(wave))
        yield ShownWave(first, tuple((line.startswith("  "), line.strip()) for line in more), asked)


def _to_type(found: InspectedGear, record: Record) -> tuple[str, tuple[tuple[str, str], ...]]:
    """A record that is to be taken, and the fields of one that is typed: which teeth, at which height."""
    from handlead.machines.inspecting.words import record_name
    from handlead.viz.look.shop import Shop

    fields, told = (("quantity", record.kind), ("flank", record.flank)), record_name(record, found.case.job.units)
    if record.readings.by_tooth:
        teeth = dict.fromkeys(int(tooth) for tooth in record.readings.tooth)
        return told, (*fields, ("teeth", " ".join(map(str, teeth))))
    if not record.at_height:
        return told, (*fields, ("every", "1"))
    at = f"{Shop.of(found.case).sized(record.at_height):.4g}"
    return told, (*fields, ("every", "1"), ("height", at))


def _chart(found: InspectedGear, number: int) -> ShownChart:
    """What the picture of a record shows, for whoever can't see it."""
    from handlead.machines.inspecting.spectrum import spectrum_of
    from handlead.machines.toml.units import decimal
    from handlead.viz.draw.inspection import heading, order_name, orders_shown
    from handlead.viz.look.shop import Shop

    from .beside import record_told

    fine, um = Shop.of(found.case).fine
    digits = 2 if found.case.job.units == "in" else 1
    orders = tuple(
        (order_name(found, line), decimal(line.order, 5), f"{line.um / um:.{digits}f}", line.wave is not None)
        for line in orders_shown(spectrum_of(found, number))
    )
    record = found.records[number]
    name = f"{Path(record.path).name}: {record_told(record, found.case.job.units)}"
    return ShownChart(number, name, heading(found, number).replace("\n", " "), fine, orders)


def _taking(found: InspectedGear) -> ShownTaking:
    from handlead.machines.inspecting.loop import ships, would_write
    from handlead.machines.toml.errors import FileFault
    from handlead.viz.gear_reports.inspect import written_lines

    path = found.case.job.machine.path
    if not found.is_explained:
        return ShownTaking(path)
    try:
        would = would_write(found)
    except FileFault as fault:
        why = "; ".join(each.message for each in fault.complaints)
        return ShownTaking(path, why_not=why, ships=ships(Path(path)))
    return ShownTaking(path, tuple(written_lines(would.done)), would.before, would.after)


def chart(source: Source, asked: AskedOf, number: int) -> bytes:
    """One record's chart as SVG. Raises `ValueError` for a record that isn't there."""
    from handlead.viz.look import look
    from handlead.viz.pictures.inspection import plot_inspection

    found = _found(source, asked)
    if number >= len(found.records):
        raise ValueError(f"there are {len(found.records)} records: this is none of them")
    figure = plot_inspection(found, record=number).get_figure(root=True)
    assert figure is not None
    look.spell(figure)
    return look.picture(figure, "svg", title=f"Record {number + 1}")


def charts_on_paper(source: Source, asked: AskedOf) -> bytes:
    """All charts as pages of a PDF."""
    from handlead.viz.pictures.inspection import write_charts

    return _as_pdf(lambda out: write_charts(_found(source, asked), out))


def report(source: Source, asked: AskedOf, paper: str) -> bytes:
    """The simulated gear as an inspection report, these records laid over it, as PDF."""
    from handlead.machines.charting.simulated import GearReport
    from handlead.machines.setups.case import Case
    from handlead.viz.pictures.gear_report import write_report

    folder = Path(source.beside)
    records = [folder / name for name in asked.names]
    found = GearReport.of(Case.of(source.job()), records, asked.counted)
    return _as_pdf(lambda out: write_report(found, out, paper))


def _as_pdf(write: Callable[[Path], object]) -> bytes:
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder, "pages.pdf")
        write(out)
        return out.read_bytes()


def flank_rolls(source: Source) -> tuple[float, float] | None:
    """The lengths of roll of the flank in mm; None where the work has no such flank."""
    from handlead.machines.inspecting.answer import rolls_mm
    from handlead.machines.setups.case import Case
    from handlead.machines.toml.errors import HandleadError

    try:
        return rolls_mm(Case.of(source.job()))
    except (HandleadError, ValueError):
        return None
