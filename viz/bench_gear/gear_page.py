"""The finished gear's page drawn: its list of records, the fields of one typed by hand, and the answer."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from urllib.parse import urlencode

from handlead.machines.gear_records.records import AT_ONE_HEIGHT
from handlead.machines.job_keys.record_keys import HEAD, MEANINGS, SIGNS
from handlead.machines.setups.case import face_width_mm
from handlead.viz.bench.elsewhere import side_by_side
from handlead.viz.bench_desk.desk import Desk
from handlead.viz.bench_desk.doing import NotDone
from handlead.viz.bench_drawn import parts
from handlead.viz.bench_files.shelf import Shelf
from handlead.viz.bench_files.versions import Drafts, digest_of
from handlead.viz.look.shop import Shop

from . import typed as typing
from .answering import AskedOf, ShownAnswer
from .beside import Chosen, records_beside
from .typed import GearAtHand, TypedRecord

#: The ways of counting, as a record says them.
WAYS = next(line.words for line in HEAD if line.key == "counted")


def gear_of(desk: Desk, rolls_mm: tuple[float, float] | None = None) -> GearAtHand:
    """The gear that a job cuts. Raises `NotDone` for a job without a set-up."""
    if desk.job is None or desk.case is None:
        raise NotDone("there is no set-up yet: records are held against the one that cut the gear")
    work = desk.job.work
    if not work.has_involutes:
        raise NotDone("records are held against the flanks of cylindrical gears; this work has none")
    return GearAtHand(Path(desk.name).stem, work.teeth, face_width_mm(work), desk.units, rolls_mm)


def typed_drafts(desk: Desk) -> Drafts:
    """What was typed of a record, on the disk."""
    return Drafts(desk.shelf.folder, f"{desk.name}.record")


def page(desk: Desk, gear: GearAtHand) -> str:
    """The page as it is opened."""
    # Where records lie already nobody is led past a field a tooth, but for one who was at it.
    by_hand = bool(TypedRecord(gear, typed_drafts(desk).fields).taken) or not desk.shelf.records(desk.name)
    return parts.render("finished", desk=desk, records=records(desk, gear), sheet=sheet(desk, gear), by_hand=by_hand)


def records(desk: Desk, gear: GearAtHand) -> str:
    """The records beside the job."""
    found, more = records_beside(desk, gear)
    return parts.render("finished_records", records=found, more=more, ways=WAYS, counted=Chosen(desk).counted)


def sheet(desk: Desk, gear: GearAtHand, *, tried: bool = False, said: str = "") -> str:
    """The fields of a record that is typed; all that is wrong with it once it was `tried` to keep it."""
    one = TypedRecord(gear, typed_drafts(desk).fields)
    wrong, whole = told_wrong(one, tried)
    column = {"helix": "height", "profile": "roll"}.get(one.quantity, "tooth")
    return parts.render(
        "finished_sheet", typed=one, rows=tuple(one.rows()), wrong=wrong, whole=whole, said=said,
        kinds=tuple((kind, kind) for kind in typing.KINDS), units=tuple(typing.UNITS.items()),
        meanings=typing.MEANINGS, meaning=SIGNS[one.quantity], places=MEANINGS[column],
        at_height=AT_ONE_HEIGHT, place="space" if one.quantity == "runout" else "tooth",
        way=Shop.of(desk.case).up or "up" if desk.case else "up",
    )  # fmt: skip


def told_wrong(one: TypedRecord, tried: bool) -> tuple[Mapping[str, str], tuple[str, ...]]:
    """What is said to be wrong: of a record that nobody kept yet only what was typed wrong, not what is missing yet."""
    checked, wrong = one.check()
    if tried:
        return wrong, checked.whole
    typed = {key for key in one.kept if one.kept[key].strip()}
    return {key: words for key, words in wrong.items() if key in typed and key != "unit"}, ()


def answer(desk: Desk, asked: AskedOf, found: ShownAnswer) -> str:
    """What the records say, in the command's words, and what taking it over would do."""
    taking = found.taking
    if found.yes and not taking.why_not and not is_in_folder(desk.shelf, taking.path):
        taking = replace(taking, why_not=OUTSIDE)
    query = urlencode([*(("r", name) for name in asked.names), ("counted", asked.counted)])
    return parts.render(
        "finished_answer", desk=desk, answer=found, taking=taking, query=query,
        machine=desk.job.machine.name if desk.job else "", machine_file=Path(taking.path).name,
        lines=tuple(side_by_side(taking.before, taking.after)), before=digest_of(taking.before),
    )  # fmt: skip


#: Said of a machine whose file the page doesn't reach.
OUTSIDE = "its file lies out of this folder, so the page can't write into it: handlead inspect --write does"


def is_in_folder(shelf: Shelf, path: str) -> bool:
    """Whether a file is one that the page may write into."""
    return Path(path).resolve().is_relative_to(shelf.folder)
