"""What the set-up sheet says, block by block: the words are made here and read by tests, the pages only place them."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from pathlib import Path

from handlead.machines.proving.proof import Proof
from handlead.machines.setups.case import Case
from handlead.machines.setups.findings import Finding
from handlead.machines.toml.units import dial
from handlead.viz.look.shop import Shop
from handlead.viz.sheet.steps import Block
from handlead.viz.sheet_measures.hand_check_words import hand_check_block
from handlead.viz.sheet_measures.measure_words import first_lead_block, measures_block
from handlead.viz.sheet_measures.toothed_words import toothed_block

from .drawing_words import (
    Rows,
    backlash_words,
    blank_words,
    flank_rows,
    hob_line_words,
    hob_rows,
    summary,
    time_rows,
    work_rows,
)
from .first_cut_words import faces_words, first_cut_rows, light_depth, seen_rows, sense_words
from .halves_words import halves_block
from .setting_words import (
    BracketWords,
    bracket_words,
    head_words,
    lever_rows,
    move_row,
    running_rows,
    up_on_this_sheet,
)

#: Said where the gear cover is opened, where the head is swung, at the levers, where the hob cuts, and at the foot.
LOCK_OUT = (
    "Isolate and lock out the main switch before opening a gear cover; wait until all stands; turn by hand only.",
    "Every mesh full, slight backlash, washers on, tools out, guard shut. Then by hand, one person at the controls "
    "while another turns: one turn of the table, and the slide over its travel with the hob CLEAR.",
)

AT_THE_HEAD = ("Support the head BEFORE its bolts are loosened: its weight may swing it.",)

AT_THE_LEVERS = ("Levers and clutches only at STANDSTILL. A slide whose feed is open may sink: hold it first.",)

AT_THE_HOB = (
    "No gloves near a turning hob. Eyes protected; chips off with a hook, never by hand. Clamps clear over the whole "
    "travel, head swung. First cut light, and counted.",
)

BY_CENTRES = (
    "CENTRES alone set the depth: the hob meets the edges of the throat first, so that no touch tells how deep it is.",
)

TOUCHED = (
    "TOUCH at mid-face, dial to 0, out, to START from beyond. Blank not as said: depth ± half the difference.",
)

TAKEN_UP = (
    "Teeth are there: find their spaces as under TAKING UP. No touch on the outside counts, and no cut goes deeper "
    "before the blue is bright on both flanks.",
)

BETWEEN_CUTS = (
    "After every cut, the light one too: stop, draw the hob CLEAR, go back to START as said, set the depth.",
)

ABOVE_ALL = ("The machine's manual, local rules and qualified people come before this sheet.",)



@dataclass(frozen=True)
class SheetWords:
    """All that a sheet says: rows are pairs of what and how much.

    `told` names the rows of levers and running that nobody sets: they say what the machine then does. `faces` says
    which way the hob's cutting faces must look, `sense` what the light cut shows besides count and lean. `machine`
    stands for the machine's file: two sheets with the same one are for the same machine.
    """

    machine: str
    title: str
    summary: str
    verdict: str
    is_right: bool
    brackets: list[BracketWords]
    head: tuple[str, str, str]
    swivel_deg: float
    hob_line: str
    faces: str
    up: str
    levers: Rows
    running: Rows
    told: frozenset[str]
    moves: Rows
    light_depth: str
    first_cut: Rows
    sense: str
    seen: Rows
    blank: str
    work: Rows
    backlash: str
    hob: Rows
    flank: Rows
    errors: list[str]
    warnings: list[str]
    notes: list[str]
    blocks: list[Block]
    at_the_head: tuple[str, ...]
    at_the_levers: tuple[str, ...]
    at_the_hob: tuple[str, ...]
    source: str


def sheet_words(proof: Proof, today: datetime.date) -> SheetWords:
    """What the sheet for this proof says."""
    case = proof.case
    work, units = case.job.work, case.job.units
    levers, running = lever_rows(proof), running_rows(proof)
    return SheetWords(
        machine=case.job.machine.digest,
        title=case.job.title,
        summary=summary(work, units),
        verdict="AS WANTED" if proof.is_as_wanted else "NOT AS WANTED: DO NOT CUT",
        is_right=proof.is_as_wanted,
        brackets=[bracket_words(link, case.letters(link.name)) for link in case.train.brackets],
        head=head_words(proof),
        swivel_deg=case.swivel_deg,
        hob_line=hob_line_words(case.job),
        faces=faces_words(proof),
        up=up_on_this_sheet(proof),
        levers=[row[:2] for row in levers],
        running=[row[:2] for row in running],
        told=frozenset(what for what, _, is_set in (*levers, *running) if not is_set),
        moves=[move_row(move, Shop.of(case)) for move in case.setup.moves],
        light_depth=dial(light_depth(case), units),
        first_cut=first_cut_rows(proof),
        sense=sense_words(case),
        seen=seen_rows(case, (proof.computed.outcome and proof.computed.outcome.feed_slide) or "axial"),
        blank=blank_words(case),
        work=work_rows(case),
        backlash=backlash_words(work, units),
        hob=hob_rows(case.job),
        flank=[*flank_rows(proof), *time_rows(proof)],
        errors=_findings(proof, "error"),
        warnings=_findings(proof, "warning"),
        notes=_findings(proof, "note"),
        blocks=[*halves_block(proof), *toothed_block(proof), *hand_check_block(proof), *first_lead_block(proof),
                *measures_block(proof)],
        at_the_head=AT_THE_HEAD,
        at_the_levers=AT_THE_LEVERS,
        at_the_hob=AT_THE_HOB + _where_it_begins(case) + BETWEEN_CUTS + ABOVE_ALL,
        source=_source(proof, today),
    )


def _where_it_begins(case: Case) -> tuple[str, ...]:
    """From what the depth is counted."""
    if case.job.toothed is not None:
        return TAKEN_UP
    return BY_CENTRES if case.sizes.throat else TOUCHED


def _findings(proof: Proof, severity: str) -> list[str]:
    """All that was found of this severity, each with what to do about it."""
    return [_finding(finding) for finding in proof.findings if finding.severity == severity]


def _finding(finding: Finding) -> str:
    return f"{finding.severity}: {finding.message} {finding.remedy}".strip()


def _source(proof: Proof, today: datetime.date) -> str:
    job = proof.case.job
    digests = f"job {job.digest[:10]}, machine {job.machine.digest[:10]}"
    files = f"{_short(job.path)} on {job.machine.name} ({_short(job.machine.path)})"
    return f"{today.isoformat()}   {files}   digests: {digests}"


def _short(path: str) -> str:
    """A file with the folder that it lies in, cut to what a line has room for."""
    name = "/".join(Path(path).parts[-2:])
    return name if len(name) <= 60 else f"…{name[-59:]}"
