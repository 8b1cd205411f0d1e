"""What a job says was seen: whether it can all hold, and as evidence with its uncertainties."""

from __future__ import annotations

import math
from dataclasses import replace
from fractions import Fraction
from typing import Any

from handlead.kinematics.slips.evidence import Evidence, Measure, Word
from handlead.kinematics.work.requirement import Work
from handlead.machines.job_files.job_file import Job, Seen
from handlead.machines.tables.reading import Complaints
from handlead.machines.toml.errors import Disagreement, Missing, WrongValue

#: What a measure may be off where the job doesn't say (own judgement): degrees, mm in mm, pitches, turns.
USUAL_DEG, USUAL_LEAD, USUAL_PITCHES, USUAL_TURNS, USUAL_FEED = (
    Fraction(1, 2), Fraction(1, 100), Fraction(1, 10), Fraction(1, 20), Fraction(1, 10),
)  # fmt: skip

#: And a thickness, in mm: what a calliper on teeth is trusted to (own judgement).
USUAL_THICKNESS = Fraction(3, 100)


def evidence_of(job: Job) -> Evidence:
    """What the job's [seen] says, with the usual uncertainties where it gives none."""
    seen = job.seen
    assert seen is not None
    within = seen.within

    def measure(key: str, value: Fraction | int | None, usual: Fraction) -> Measure | None:
        return None if value is None else Measure(Fraction(value), Fraction(within.get(key, usual)))

    def word(key: str, value: str | None) -> Word | None:
        return None if value is None else Word(value, key not in seen.unsure)

    hand = "none" if seen.straight else seen.hand.word if seen.hand else None
    meet = None if seen.spaces_meet is None else "yes" if seen.spaces_meet else "no"
    return Evidence(
        teeth=measure("teeth", seen.teeth, Fraction(0)),
        hand=word("hand", hand),
        lead=measure("lead", seen.lead, (seen.lead or 0) * USUAL_LEAD),
        helix=measure("helix_angle", seen.helix_angle_deg, USUAL_DEG),
        spaces_meet=word("spaces_meet", meet),
        second_cut=measure("second_cut_miss", _pitches(job.work, seen), USUAL_PITCHES),
        table_way=word("table_turned", seen.table_turned),
        slide_way=word("slide_moved", seen.slide_moved),
        hob_turns=measure("hob_turns", seen.hob_turns, USUAL_TURNS),
        feed=measure("feed_marks", seen.feed_marks, (seen.feed_marks or 0) * USUAL_FEED),
        marks=word("marks", seen.marks),
        outside=measure("outside_helix_angle", seen.outside_helix_angle_deg, USUAL_DEG),
        thickness=_thickness(job, seen),
        meshes=word("meshes", _yes(seen.meshes)),
        runs_out=word("runs_out", _yes(seen.runs_out)),
        one_out=word("one_tooth_out", _yes(seen.one_tooth_out)),
    )


def _yes(told: bool | None) -> str | None:
    return None if told is None else "yes" if told else "no"


def _thickness(job: Job, seen: Seen) -> Measure | None:
    """By how much the teeth are too thick, of whatever it was measured by, thickness itself before span and depth.

    A span grows by cos(a) of the thickness, and a depth that is short leaves 2 tan(a) of it on the tooth.
    Source: the involute's base tangent, and the rack's flanks (from memory).
    """
    angle = math.radians(float(job.work.pressure_angle_deg))
    for key, told, times in (
        ("thickness_miss", seen.thickness_miss, 1.0),
        ("span_miss", seen.span_miss, 1 / math.cos(angle)),
        ("depth_miss", seen.depth_miss, -2 * math.tan(angle)),
    ):
        if told is not None:
            within = Fraction(float(seen.within[key]) * abs(times)) if key in seen.within else USUAL_THICKNESS
            return Measure(Fraction(float(told) * times), within)
    return None


def _pitches(work: Work, seen: Seen) -> Fraction | None:
    """The miss of a second cut in pitches of the work."""
    miss = seen.second_cut_miss
    if miss is None or miss.pitches is not None:
        return miss.pitches if miss else None
    transverse = math.pi * float(work.module_n) / math.cos(math.radians(work.beta_deg))
    pitches = Fraction(float(miss.mm or 0) / transverse)
    return pitches - round(pitches)


def check_traceable(job: Job) -> None:
    """What is wrong with the job for tracing, at its places."""
    complaints = Complaints(job.document)
    if job.setup is None:
        complaints.add(
            Missing, ("setup",), '"setup" is missing. Write what the machine was to be set up with'
        )
    if job.seen is None:
        complaints.add(Missing, ("seen",), '"seen" is missing. Write what was counted: teeth = …, hand = …')
    elif job.seen == replace(Seen(), checks=job.seen.checks):
        complaints.add(WrongValue, ("seen",), "it is empty. Write what was counted: teeth = …, hand = …")
    else:
        _check_seen(job, job.seen, complaints)
    complaints.raise_any()


def _check_seen(job: Job, seen: Seen, complaints: Complaints) -> None:
    """Things seen that can't all hold, or can't be at all."""

    def disagree(key: str, other: str, message: str) -> None:
        complaints.add(Disagreement, ("seen", key), message, ("seen", other))

    off = seen.within.get("helix_angle", USUAL_DEG)
    _check_lean(seen, off, disagree)
    _check_nothing_cut(seen, disagree)
    if seen.spaces_meet is False and "spaces_meet" not in seen.unsure and seen.marks == "clean":
        disagree(
            "marks", "spaces_meet", 'the teeth are clean, but "spaces_meet" is false ({also}). Both can\'t be'
        )
    if seen.table_turned == "not at all" and seen.hob_turns is not None:
        disagree(
            "hob_turns", "table_turned", 'the table came round, but "table_turned" is "not at all" ({also})'
        )
    if seen.teeth and seen.lead is not None and seen.helix_angle_deg is not None:
        _check_size(job, seen, off, disagree)


def _check_lean(seen: Seen, off: Fraction, disagree: Any) -> None:
    """Hand, lead and angle, which may be `off` by so much, tell of the same teeth."""
    sure = "hand" not in seen.unsure
    if seen.straight and sure:
        if seen.lead is not None:
            disagree(
                "lead",
                "hand",
                'straight teeth have no lead, but "hand" is "none" ({also}). Keep one of the two',
            )
        if seen.helix_angle_deg is not None and seen.helix_angle_deg > off:
            disagree(
                "helix_angle", "hand",
                'the teeth lean, but "hand" is "none" ({also}). Write the hand, or leave the angle out',
            )  # fmt: skip
    if seen.hand is not None and sure and seen.helix_angle_deg is not None and not seen.helix_angle_deg + off:
        disagree(
            "helix_angle", "hand", 'it is 0, but "hand" says that the teeth lean ({also}). Write the angle'
        )
    if seen.lead is not None and seen.helix_angle_deg is not None and seen.helix_angle_deg + off == 0:
        disagree("helix_angle", "lead", "it is 0, but a lead is given ({also}). Straight teeth have none")


def _check_nothing_cut(seen: Seen, disagree: Any) -> None:
    """Where no teeth were counted, nothing is said of teeth."""
    if seen.teeth == 0 and "teeth" not in seen.within:
        for key, value in (
            ("hand", seen.hand or seen.straight), ("lead", seen.lead), ("helix_angle", seen.helix_angle_deg),
            ("spaces_meet", seen.spaces_meet),
        ):  # fmt: skip
            if value:
                disagree(
                    key,
                    "teeth",
                    'there is something to look at, but "teeth" is 0 ({also}). Count what is there',
                )


def _check_size(job: Job, seen: Seen, off: Fraction, disagree: Any) -> None:
    """Teeth, lead and helix angle make a module; it must be one that somebody may have taken."""
    assert seen.lead is not None
    assert seen.helix_angle_deg is not None
    assert seen.teeth
    low, high = (
        float(seen.lead) * math.sin(math.radians(max(0.0, min(90.0, float(angle))))) / (math.pi * seen.teeth)
        for angle in (seen.helix_angle_deg - off, seen.helix_angle_deg + off)
    )
    module = float(job.hob.module_n)
    if high < module / 3 or low > module * 3:
        disagree(
            "helix_angle", "lead",
            f"with {seen.teeth} teeth and this lead ({{also}}) it makes a module of {(low + high) / 2:.3g} mm, but the "
            f"hob's is {module:g}. Measure angle and lead again",
        )  # fmt: skip
