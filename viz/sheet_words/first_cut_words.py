"""The light first cut in words: what it must look like, and what is written down of it."""

from __future__ import annotations

import math

from handlead.kinematics.cutting.touch import SCRATCH_DEPTH
from handlead.kinematics.frame.words import POSITIVES
from handlead.kinematics.law.light_cut import touch_of
from handlead.machines.proving.proof import Proof
from handlead.machines.setups.case import (
    Case,
)
from handlead.viz.draw.marks import lean_text, meets_edges, wanted_marks

from .drawing_words import Rows
from .setting_words import hob_way_words


def faces_words(proof: Proof) -> str:
    """Which way the hob's cutting faces must look where they meet the work: the way that its teeth go there."""
    way = hob_way_words(proof)
    return "" if way == "AT REST" else f"CUTTING FACES LOOK {way} at the work"


def sense_words(case: Case) -> str:
    """What the light cut must show besides count and lean, which say nothing about the sense of hob and table.

    The table must go as the hob's hand asks for, with the way that the hob runs: formats' frame, table = -h k/z hob.
    """
    rate = case.solution.end_rate("hob")
    if not rate:
        return ""
    hob = 1 if rate > 0 else -1
    table = case.job.machine.way("table", -case.job.hob.hand.value * hob).upper()
    teeth = case.job.machine.way("axial", hob).upper()
    return (
        f"The count alone proves nothing about sense. Look: table {table}, seen facing it; hob's teeth, cutting faces "
        f"leading, go {teeth} at the work."
    )


def light_depth(case: Case) -> float:
    """How deep the light first cut goes in mm: just in, or so deep that the touches of a coarse feed meet."""
    touch = touch_of(case.rates, case.job.work, case.job.hob, case.swivel_deg) if case.rates else None
    return math.ceil(100 * touch.depth - 1e-6) / 100 if touch else SCRATCH_DEPTH


def first_cut_rows(proof: Proof) -> Rows:
    """What the light first cut must look like."""
    work = proof.case.job.work
    marks = wanted_marks(work)
    lean = f"to the {marks.hand.word.upper()} going up" if marks.hand else "straight along the axis"
    what = "marks" if proof.case.job.toothed is None else "spaces"
    rows: Rows = [("count", f"{marks.count} {what}"), ("marks lean", lean)]
    if marks.hand:
        where = "" if work.kind == "worm wheel" else "at the outside"
        rows.append((where, f"by {lean_text(marks.lean_deg)}"))
    if work.kind == "worm wheel":
        where = "at the throat's edges" if meets_edges(work, proof.case.job.hob) else "at mid-face"
        rows.append((where, "short touches"))
    return rows


def seen_rows(case: Case, slide: str) -> Rows:
    """What to write down: keys of [seen] with what may stand there."""
    work, machine = case.job.work, case.job.machine
    ways = " / ".join(machine.way(slide, sign) for sign in POSITIVES[slide].values())
    rows: Rows = [("teeth", ""), ("hand", "right / left / none")]
    # A worm wheel's marks are too short to take a lead from.
    if work.is_helical and work.kind != "worm wheel":
        rows += [("lead", ""), ("outside_helix_angle", "by protractor, outside")]
    turned = [("table_turned", "clockwise / counter-clockwise"), ("slide_moved", ways)]
    return [*rows, *turned, ("hob_turns", "to 1 table turn, feed IN")]
