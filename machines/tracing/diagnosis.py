"""Trace a wrong cut to its cause: job and what was seen in, suspects and the next check out."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from handlead.kinematics.slips.evidence import Measure, View
from handlead.kinematics.slips.faults import Fault, FaultKind, find_faults
from handlead.kinematics.slips.standing import Standing, changes_words, undone_words
from handlead.kinematics.slips.study import Study
from handlead.kinematics.suspects.causes import FAR_FETCHED, NEARLY_SURE, Progress, explain
from handlead.kinematics.suspects.inspections import (
    Check,
    is_not_sure,
)
from handlead.kinematics.suspects.next_checks import (
    NextCheck,
    all_checks,
    next_check,
    own_checks,
    refuting_check,
)
from handlead.kinematics.suspects.suspects import (
    Answer,
    Explanation,
    Suspect,
    Tryout,
    is_as_written,
    mark_turns,
)
from handlead.machines.job_files.job_file import Job, Seen, SeenCheck
from handlead.machines.proving.proof import Proof, prove, prove_case
from handlead.machines.setups.case import Case, cuts_wanted
from handlead.machines.toml.errors import FileFault

from .checks_made import counted_again, read_answers
from .fault_table import FaultTable, fault_table
from .hand_answers import answers_by_hand
from .seen_on_blank import check_traceable, evidence_of
from .studied import study_of
from .told import cause_json, check_json, leaves_json, miss_json

#: So many causes go into JSON; more of them help nobody.
MOST_CAUSES = 1000

#: The verdicts of the JSON object.
AS_WANTED, EXPLAINED, NOT_EXPLAINED = "as wanted", "explained", "not explained"

#: The fault that the set-up as it is written would be.
AS_SET = FaultKind(
    "set-up-as-written",
    "",
    "the set-up as it is written cuts this already",
    300.0,
    is_common=False,
    check="sheet",
)


@dataclass(frozen=True, repr=False)
class Diagnosis:
    """What explains the cut of a job.

    `verdict` is "as wanted", "explained" or "not explained". `meant` says what the set-up as written
    would leave, `proof` what `handlead prove` says of it. `next` is the check that tells most of the
    suspects apart, or may refute the only one; None where there is none left. `unseen` names what nobody
    looked at, `cure` what to do about the likeliest cause.
    """

    job: Job
    verdict: str
    meant: Suspect
    proof: Proof
    explanation: Explanation
    next: NextCheck | None
    checks: tuple[Check, ...]
    answers: tuple[Answer, ...] = ()
    unseen: tuple[str, ...] = ()
    cure: tuple[str, ...] = ()

    def __repr__(self) -> str:
        return f"<Diagnosis of {self.job.title!r}: {self.verdict}, {len(self.suspects)} causes>"

    @property
    def is_right(self) -> bool:
        """Whether the set-up as it is written is as wanted, which `handlead prove` alone says."""
        return self.proof.is_as_wanted

    @property
    def is_certain(self) -> bool:
        """Whether one suspect is left, and each of its faults was found where it is."""
        if len(self.suspects) != 1:
            return False
        found = {answer.check for answer in self.answers if not is_not_sure(answer.found)}
        own = own_checks(self.suspects[0], self.checks, self.meant.scene)
        return bool(own) and set(own) <= found

    @property
    def suspects(self) -> tuple[Suspect, ...]:
        """The suspects, likeliest first."""
        return self.explanation.suspects

    def __iter__(self) -> Iterator[Suspect]:
        return iter(self.suspects)

    def as_json(self) -> dict[str, Any]:
        """The diagnosis as one JSON object of the contract, with a little besides.

        Causes are numbered from 1. `group` is the same for causes that leave the
        same teeth, as near as a person can tell.
        """
        groups = {
            number: index
            for index, group in enumerate(self.explanation.groups, 1)
            for number in map(id, group)
        }
        listed = self.suspects[:MOST_CAUSES]
        return {
            "job": self.job.path,
            "verdict": self.verdict,
            "causes": [
                {"number": number, "group": groups[id(suspect)], **cause_json(self.job, suspect)}
                for number, suspect in enumerate(listed, 1)
            ],
            "causes_left_out": len(self.suspects) - len(listed),
            "next_check": check_json(self.next, len(listed)),
            "nearest": [miss_json(self.job, miss) for miss in self.explanation.nearest],
            "set_up_as_written": {
                "as_wanted": self.is_right,
                "leaves": leaves_json(self.meant),
                "findings": [finding.as_json() for finding in self.proof.findings],
            },
            "tried": self.explanation.tried,
            "none_of_them": self.explanation.unknown,
            "certain": self.is_certain,
            "cure": list(self.cure),
            "not_looked_at": list(self.unseen),
        }


def trace(job: Job, *, table: FaultTable | None = None, progress: Progress | None = None) -> Diagnosis:
    """What explains that the job was cut as its [seen] says, likeliest first.

    Raises `FileFault` for a job without [setup] or [seen], for levers that fight, and for things seen
    that can't all hold.
    """
    table = table or fault_table()
    check_traceable(job)
    study, proof = study_of(job, table), prove(job)
    meant = _meant(study)
    checks = _checks(job, study, table)
    faults = study.once("faults", table.kinds, lambda: find_faults(table.kinds, study))
    answers = (*read_answers(job, checks, study, faults), *answers_by_hand(job, study, proof))
    evidence = evidence_of(job)
    if (again := counted_again(answers)) is not None:
        evidence = replace(evidence, teeth=Measure(Fraction(again), Fraction(0)))
        faults = tuple(fault for fault in faults if fault.kind.change != "miscounted")
    wanted, right = _wanted_view(job, study, meant), proof.is_as_wanted
    unseen = _unseen(job.seen)
    if right and evidence.closeness(wanted) is not None and _answers_agree(answers, meant):
        nothing = Explanation((), (), 1)
        return Diagnosis(job, AS_WANTED, meant, proof, nothing, None, checks, answers, unseen)
    as_set = None
    if not right:
        mends: tuple[Fault, ...] = ()
        if evidence.closeness(meant.view) is not None:
            mends = study.once("mends", faults, lambda: tuple(_mends(job, study, faults)))
        faults = (*mends, *faults)
        as_set = None if mends else _as_set(proof)
    found = explain(study, faults, evidence, answers, progress, as_set=as_set)
    explained = found.suspects and found.unknown < FAR_FETCHED
    verdict = EXPLAINED if explained else NOT_EXPLAINED
    following = _next(found, checks, answers, meant)
    cure = tuple(_cure(job, study, proof, found))
    return Diagnosis(job, verdict, meant, proof, found, following, checks, answers, unseen, cure)


def _next(
    found: Explanation, checks: Sequence[Check], answers: Sequence[Answer], meant: Suspect
) -> NextCheck | None:
    """The check that tells most apart, or that may refute what is nearly sure; none is asked for twice."""
    made = {answer.check for answer in answers}
    if not found.suspects:
        return None
    best = next_check(found.suspects, [check for check in checks if check not in made])
    if best is None or found.suspects[0].weight >= NEARLY_SURE:
        return refuting_check(found.suspects, found.unknown, checks, made, meant.scene) or best
    return best


def _cure(job: Job, study: Study, proof: Proof, found: Explanation) -> Iterator[str]:
    """What to do about the likeliest cause where it is nearly sure, and what the machine then cuts, which was tried."""
    first = found.suspects[0] if found.suspects else None
    if first is None or first.weight < NEARLY_SURE:
        return
    if is_as_written(first, study):
        yield from dict.fromkeys(
            finding.remedy for finding in proof.findings if finding.severity == "error" and finding.remedy
        )
        return
    for fault in first.faults:
        if fault.kind.cure:
            words = fault.kind.cure.format(right=undone_words(study.base, fault.changes), where=fault.where)
            yield words[0].upper() + words[1:]
    errors = [finding for finding in proof.findings if finding.severity == "error"]
    if errors:
        yield f"Then the set-up as written isn't as wanted either: {errors[0].message} {errors[0].remedy or ''}".strip()
    else:
        yield "Tried in simulation: the set-up as written then cuts what the drawing asks for."


#: What a person may look at on a blank, in words, by the keys of [seen] that tell it.
LOOKED_AT: Mapping[str, tuple[str, ...]] = {
    "the count": ("teeth",),
    "the hand": ("hand", "straight"),
    "the lean or lead": ("helix_angle_deg", "outside_helix_angle_deg", "lead", "straight"),
    "whether the spaces meet": ("spaces_meet",),
    "how the flanks look": ("marks",),
    "the thickness of the teeth": ("thickness_miss", "span_miss", "depth_miss"),
    "whether it runs with its mate": ("meshes",),
    "whether it runs true": ("runs_out", "one_tooth_out"),
}


def _unseen(seen: Seen | None) -> tuple[str, ...]:
    return tuple(
        words for words, keys in LOOKED_AT.items() if all(getattr(seen, key) in (None, False) for key in keys)
    )


def with_answer(job: Job, check: Check, found: str) -> Job:
    """The job with what was found at a check written into its [seen]."""
    seen = job.seen or Seen()
    return job.with_seen(replace(seen, checks=(*seen.checks, SeenCheck(check.do, found))))


def _as_set(proof: Proof | None = None) -> Fault:
    """The set-up as written for the fault itself, with the first thing that `handlead prove` finds wrong in it."""
    errors = [finding.message for finding in proof.judged if finding.severity == "error"] if proof else []
    detail = f"{AS_SET.meaning}: {errors[0].rstrip('.')}" if errors else AS_SET.meaning
    return Fault(AS_SET, "", detail, {}, AS_SET.weight)


def _meant(study: Study) -> Suspect:
    running = study.running
    assert running is not None
    return Tryout(study, mark_turns(study)).suspect((_as_set(),), study.base, running, 1.0, 1.0)


def _wanted_view(job: Job, study: Study, meant: Suspect) -> View:
    """What the drawing would show, cut on this machine in the way that the set-up runs."""
    work, view = job.work, meant.view
    lead, hand = work.lead_mm, work.hand.word if work.is_helical and work.hand else "none"
    hob_turns = view.hob_turns if meant.outcome and meant.outcome.teeth == work.teeth else None
    if hob_turns is None:
        hob_turns = Fraction(work.teeth, job.hob.starts)
    return replace(
        view,
        teeth=work.teeth, counts=frozenset({work.teeth}), hand=hand,
        lead=None, lead_mm=lead, helix_deg=work.beta_deg, spaces_meet=True, second_cut_falls_in=True,
        hob_turns=hob_turns, marks=frozenset({"clean"}), weak_marks=frozenset(),
        outside_deg=study.bench.blank(job.hob).lean_outside_deg(lead, hand),
        thickness=(0.0, 0.0), meshes=True, symptoms=frozenset(),
    )  # fmt: skip


def _answers_agree(answers: Sequence[Answer], meant: Suspect) -> bool:
    """Whether every check found the machine as the set-up has it; a count that was made again is in the evidence."""
    return all(
        answer.check.looks_at == "count" or answer.check.agrees(answer.found, answer.check.outcome(meant.scene))
        for answer in answers
    )


#: The kind of change that undoes each; what isn't here undoes itself.
_UNDONE_BY = {"idler in": "idler out", "idler out": "idler in"}

#: Changes by which a set-up that is written wrong may be put right.
_MENDING = (
    "idler in", "idler out", "gears exchanged", "turned end for end", "lever elsewhere", "feed reversed",
    "gears exchanged between", "sets exchanged", "gear replaced", "swivel without lead angle",
    "swivel with lead angle reversed", "swivel other way", "hob hand", "hob starts", "hob module",
)  # fmt: skip


def _mends(job: Job, study: Study, faults: Sequence[Fault]) -> Iterator[Fault]:
    """The faults that are in the set-up as it is written: those whose undoing makes it cut what is wanted."""
    if _proves(job, study.base):
        return  # only what the set-up leaves out is wrong with it
    by_change: dict[str, FaultKind] = {}
    for kind in fault_table().kinds:
        by_change.setdefault(kind.change, kind)
    for fault in faults:
        change = fault.kind.change
        if change not in _MENDING:
            continue
        standing = study.base.changed(fault.changes)
        running = study.bench.running(standing)
        if running is None or not cuts_wanted(job.work, study.bench.outcome(standing, running)):
            continue
        if _proves(job, standing):
            kind = by_change.get(_UNDONE_BY.get(change, change), fault.kind)
            detail = f"the set-up as written has it; right would be {changes_words(fault.changes)}"
            # The set-up on paper is there to be seen: what is wrong with it comes before anything else.
            yield Fault(kind, fault.where, detail, {}, AS_SET.weight * fault.chance)


def _proves(job: Job, standing: Standing) -> bool:
    """Whether `handlead prove` calls the set-up that stands there as wanted."""
    tried = replace(job, hob=standing.hob)
    try:
        return prove_case(Case.of(tried, standing.setup)).is_as_wanted
    except FileFault:
        return False


def _checks(job: Job, study: Study, table: FaultTable) -> tuple[Check, ...]:
    rows = [(row.looks_at, row.do, row.minutes) for row in table.checks]
    return all_checks(rows, study.bench.brackets, job.machine.levers, mark_turns(study))
