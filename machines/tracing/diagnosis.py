"""Trace a wrong cut to its cause: job and what was seen in, suspects and the next check out."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache
from itertools import islice
from typing import Any

from handlead.kinematics.slips.causes import (
    FAR_FETCHED,
    NEARLY_SURE,
    Answer,
    Explanation,
    Miss,
    NextCheck,
    Progress,
    Suspect,
    Trial,
    all_checks,
    explain,
    is_as_written,
    mark_turns,
    next_check,
    own_checks,
    refuting_check,
)
from handlead.kinematics.slips.evidence import Evidence, Measure, View, Word
from handlead.kinematics.slips.faults import Fault, FaultKind, find_faults
from handlead.kinematics.slips.inspections import (
    GEAR_LOOKS,
    NONE_OF_THESE,
    NOT_SURE,
    Check,
    Scene,
    is_not_sure,
)
from handlead.kinematics.slips.standing import Standing, changes_words, meant_swivel, undone_words
from handlead.kinematics.slips.study import Bench, GearSearch, Sheet, Study, Takes
from handlead.kinematics.train.links import Mounted
from handlead.kinematics.transfer.constants import Constants, find_constants
from handlead.kinematics.work.requirement import Work
from handlead.machines.documents.catalogue import shipped_machines
from handlead.machines.documents.job_file import Job, Seen, SeenCheck
from handlead.machines.documents.keys import HOB, SETUP
from handlead.machines.documents.machine_file import Machine, read_machine
from handlead.machines.proving.proof import Proof, prove, prove_case
from handlead.machines.setups.case import Case, cuts_wanted
from handlead.machines.setups.drawers import nearest_mounted, shortfalls
from handlead.machines.setups.mending import refusal
from handlead.machines.toml.errors import Disagreement, FileFault, Missing, Unknown, WrongValue
from handlead.machines.toml.numbers import Decimal
from handlead.machines.toml.places import Path_, quoted
from handlead.machines.toml.reading import Complaints
from handlead.machines.toml.values import guess
from handlead.machines.written.writing import hob_values, setup_values

from .fault_table import FaultTable, fault_table
from .hand_answers import answers_by_hand

#: Combinations of lever positions whose rules are looked at, on this machine and on others.
MOST_COMBINATIONS = 64

#: What a measure may be off where the job doesn't say (own judgement): degrees, mm in mm, pitches, turns.
USUAL_DEG, USUAL_LEAD, USUAL_PITCHES, USUAL_TURNS, USUAL_FEED = (
    Fraction(1, 2), Fraction(1, 100), Fraction(1, 10), Fraction(1, 20), Fraction(1, 10),
)  # fmt: skip

#: And a thickness, in mm: what a calliper on teeth is trusted to (own judgement).
USUAL_THICKNESS = Fraction(3, 100)

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
                {"number": number, "group": groups[id(suspect)], **_cause_json(self.job, suspect)}
                for number, suspect in enumerate(listed, 1)
            ],
            "causes_left_out": len(self.suspects) - len(listed),
            "next_check": _check_json(self.next, len(listed)),
            "nearest": [_miss_json(self.job, miss) for miss in self.explanation.nearest],
            "set_up_as_written": {
                "as_wanted": self.is_right,
                "leaves": _leaves_json(self.meant),
                "findings": [finding.as_json() for finding in self.proof.findings],
            },
            "tried": self.explanation.tried,
            "none_of_them": self.explanation.unknown,
            "certain": self.is_certain,
            "cure": list(self.cure),
            "not_looked_at": list(self.unseen),
        }


def _cause_json(job: Job, suspect: Suspect) -> dict[str, Any]:
    return {
        "faults": [_fault_json(job, fault, suspect) for fault in suspect.faults],
        "leaves": _leaves_json(suspect),
        "weight": suspect.weight,
        "also": [
            [{"kind": fault.kind.kind, "where": fault.where} for fault in faults] for faults in suspect.also
        ],
    }


def _fault_json(job: Job, fault: Fault, suspect: Suspect) -> dict[str, Any]:
    standing = suspect.standing
    value: dict[str, Any] = {
        "kind": fault.kind.kind,
        "where": fault.where,
        "detail": fault.detail,
        "meaning": fault.kind.meaning,
        "check": fault.kind.check,
        "setup": _plain(SETUP.write(setup_values(standing.setup, job.machine), job.units)),
    }
    if standing.hob != job.hob:
        value["hob"] = _plain(HOB.write(hob_values(standing.hob, job.units), job.units))
    return value


def _plain(value: Any) -> Any:
    """Values of a file as JSON has them: a decimal as the number that it is."""
    if isinstance(value, Decimal):
        return float(value.text)
    if isinstance(value, Mapping):
        return {key: _plain(each) for key, each in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(each) for each in value]
    return value


def _leaves_json(suspect: Suspect) -> dict[str, Any]:
    view, outcome = suspect.view, suspect.outcome
    return {
        "teeth": view.teeth,
        "hand": view.hand,
        "helix_angle_deg": view.helix_deg,
        "outside_helix_angle_deg": view.outside_deg,
        "lead_mm": view.lead_mm,
        "lead_exact": None if view.lead is None else str(view.lead),
        "spaces_meet": view.spaces_meet,
        "swivel_error_deg": outcome.swivel_error_deg if outcome else None,
        "feed_mm_per_table_turn": None if view.feed_mm is None else str(view.feed_mm),
        "marks": sorted(view.marks),
        "stuck": suspect.running.stuck or None,
    }


def _check_json(found: NextCheck | None, listed: int) -> dict[str, Any] | None:
    if found is None:
        return None
    return {
        "do": found.check.do,
        "minutes": found.check.minutes,
        "bits": found.bits,
        "splits": [
            {
                "if": split.outcome,
                "then": [number + 1 for number in split.suspects if number < listed],
                "weight": split.weight,
            }
            for split in found.splits
        ],
    }


def _miss_json(job: Job, miss: Miss) -> dict[str, Any]:
    return {
        "faults": [_fault_json(job, fault, miss.suspect) for fault in miss.suspect.faults],
        "leaves": _leaves_json(miss.suspect),
        "against": [name for name, _ in miss.against],
    }


# ---------------------------------------------------------------- tracing


def trace(job: Job, *, table: FaultTable | None = None, progress: Progress | None = None) -> Diagnosis:
    """What explains that the job was cut as its [seen] says, likeliest first.

    Raises `FileFault` for a job without [setup] or [seen], for levers that fight, and for things seen
    that can't all hold.
    """
    table = table or fault_table()
    _check_job(job)
    study, proof = study_of(job, table), prove(job)
    meant = _meant(study)
    checks = _checks(job, study, table)
    faults = study.once("faults", table.kinds, lambda: find_faults(table.kinds, study))
    answers = (*_answers(job, checks, study, faults), *answers_by_hand(job, study, proof.hand_checks))
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
    return Trial(study, mark_turns(study)).suspect((_as_set(),), study.base, running, 1.0, 1.0)


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


# ---------------------------------------------------------------- the study


@dataclass(frozen=True)
class _Asked:
    """What a study is made of; the machine counts as the same only where it is the very one that was read."""

    job: Job
    modules: tuple[Fraction, ...]

    def __hash__(self) -> int:
        return hash(id(self.job.machine))

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, _Asked) or self.job.machine is not other.job.machine:
            return False
        return all(of(self) == of(other) for of in _ASKED)


_ASKED: tuple[Callable[[_Asked], Any], ...] = (
    lambda asked: asked.job.setup,
    lambda asked: asked.job.work,
    lambda asked: asked.job.mate,
    lambda asked: asked.job.hob,
    lambda asked: asked.modules,
)


def study_of(job: Job, table: FaultTable) -> Study:
    """The job's machine, drawers, drawing and set-up, as the faults want them; kept from one answer to the next."""
    return _study(_Asked(job, table.modules))


@lru_cache(maxsize=1)
def _study(asked: _Asked) -> Study:
    job = asked.job
    assert job.setup is not None
    machine, setup = job.machine, job.setup
    positions = machine.positions(setup)
    owned = {
        link.name: tuple(
            teeth for gear_set in machine.gear_sets if link.name in gear_set.fits for teeth in gear_set.teeth
        )
        for link in machine.train.brackets
    }
    bench = Bench(
        train=machine.train,
        levers={name: tuple(lever.positions) for name, lever in machine.levers.items()},
        states=lambda levers: machine.states(levers) if machine.can_stand(levers) else None,
        owned={name: teeth for name, teeth in owned.items() if teeth},
        work=job.work,
        mate=job.mate,
        constants=_constants(machine, positions, setup.drive),
        ranges=tuple(_ranges(machine, positions, setup.drive)),
        others=_others(machine),
        search=_search(machine, owned),
        modules=asked.modules,
        takes=_takes(machine),
        lacking=lambda mounted: {one.teeth: one.used - one.owned for one in shortfalls(machine, mounted)},
    )
    swivel = meant_swivel(job.work, job.hob) if setup.swivel_deg is None else setup.swivel_deg
    return Study(bench, Standing(replace(setup, levers=positions, swivel_deg=swivel), job.hob))


def _takes(machine: Machine) -> Takes:
    """Whether a bracket takes gears and idlers, as `handlead prove` looks at it."""
    brackets = {link.name: link for link in machine.train.brackets}

    def takes(name: str, mounted: Mounted) -> bool:
        link = brackets[name]
        if len(mounted.pairs) not in link.pairs or len(mounted.idlers) not in link.idlers:
            return False
        return refusal(link, mounted) is None

    return takes


def _constants(machine: Machine, positions: Mapping[str, str], drive: str) -> Constants:
    return find_constants(machine.train.with_states(machine.states(positions)), drive)


def _ranges(machine: Machine, positions: Mapping[str, str], drive: str) -> Iterator[Sheet]:
    """The rules that hold with one lever elsewhere, where they are other rules."""
    known = [_sizes(_constants(machine, positions, drive))]
    for name, lever in machine.levers.items():
        for position in lever.positions:
            moved = {**positions, name: position}
            if position == positions[name] or not machine.can_stand(moved):
                continue
            constants = _constants(machine, moved, drive)
            sizes = _sizes(constants)
            if sizes[0] is not None and sizes not in known:
                known.append(sizes)
                yield Sheet(f"lever {name} at {position}", constants)


def _sizes(constants: Constants) -> tuple[Any, ...]:
    index = constants.index
    rules = [(rule.constant, rule.teeth_power) for rule in constants.differentials]
    return (abs(index.constant) if index else None, tuple(rules))


def _others(machine: Machine) -> tuple[Sheet, ...]:
    """The rules of the other machines that ship, each with its levers as they stand for helical work."""
    return tuple(
        sheet
        for path in shipped_machines().values()
        if (sheet := _rules_of(path)) is not None and sheet.name != machine.name
    )


@lru_cache(maxsize=64)
def _rules_of(path: Any) -> Sheet | None:
    """The first rules of a machine, its normal levers first, that have index and differential, or else an index."""
    machine = read_machine(path)
    plain = None
    for positions in islice(machine.lever_combinations(), MOST_COMBINATIONS):
        if not machine.can_stand(positions):
            continue
        constants = _constants(machine, positions, machine.normal_drive)
        if constants.index and any(rule.constant for rule in constants.differentials):
            return Sheet(machine.name, constants)
        if constants.index and plain is None:
            plain = Sheet(machine.name, constants)
    return plain


def _search(machine: Machine, owned: Mapping[str, tuple[int, ...]]) -> GearSearch:
    """Finds gears that are in the drawer and can be mounted, nearest to a ratio."""
    brackets = {link.name: link for link in machine.train.brackets}

    def search(ratio: Fraction, bracket: str, taken: Sequence[int], exact: bool) -> Mounted | None:
        gears = list(owned.get(bracket, ()))
        for teeth in taken:
            if teeth in gears:
                gears.remove(teeth)
        found = nearest_mounted(brackets[bracket], ratio, gears, exact=exact)
        return found[0].mounted if found else None

    return search


def _checks(job: Job, study: Study, table: FaultTable) -> tuple[Check, ...]:
    rows = [(row.looks_at, row.do, row.minutes) for row in table.checks]
    return all_checks(rows, study.bench.brackets, job.machine.levers, mark_turns(study))


# ---------------------------------------------------------------- what was seen


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


def counted_again(answers: Sequence[Answer]) -> int | None:
    """The number that came out when the teeth were counted again; None where nobody did."""
    counts = [answer.found.strip() for answer in answers if answer.check.looks_at == "count"]
    return next((int(count) for count in reversed(counts) if count.isdigit()), None)


def _pitches(work: Work, seen: Seen) -> Fraction | None:
    """The miss of a second cut in pitches of the work."""
    miss = seen.second_cut_miss
    if miss is None or miss.pitches is not None:
        return miss.pitches if miss else None
    transverse = math.pi * float(work.module_n) / math.cos(math.radians(work.beta_deg))
    pitches = Fraction(float(miss.mm or 0) / transverse)
    return pitches - round(pitches)


def _check_job(job: Job) -> None:
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


def _answers(
    job: Job, checks: Sequence[Check], study: Study, faults: Sequence[Fault]
) -> tuple[Answer, ...]:
    """The checks that were made, by the words in which they were asked for; each answer one that can be read."""
    assert job.seen is not None
    complaints = Complaints(job.document)
    by_words = {_squeezed(check.do): check for check in checks}
    scenes = study.once("scenes", faults, lambda: _scenes(study, faults)) if job.seen.checks else []
    answers = []
    for number, made in enumerate(job.seen.checks):
        check = by_words.get(_squeezed(made.do))
        path: Path_ = ("seen", "check", number)
        if check is None:
            complaints.add(
                Unknown, (*path, "do"), f"no check is called {quoted(made.do)}. {_guess(made.do, checks)}"
            )
            continue
        known = dict.fromkeys(check.outcome(scene) for scene in scenes)
        if check.can_read(made.found, known):
            answers.append(Answer(check, made.found))
        else:
            complaints.add(WrongValue, (*path, "found"), _unread(made.found, check, list(known)))
    complaints.raise_any()
    return tuple(answers)


def _scenes(study: Study, faults: Sequence[Fault]) -> list[Scene]:
    """What there is to be found at the machine: as it was meant, and after each fault."""
    trial, scenes = Trial(study, mark_turns(study)), []
    for changes in ({}, *(fault.changes for fault in faults)):
        standing = study.base.changed(changes)
        running = study.bench.running(standing)
        if running is not None:
            scenes.append(trial.suspect((), standing, running, 0.0, 0.0).scene)
    return scenes


def _unread(found: str, check: Check, known: Sequence[str]) -> str:
    """What is wrong with an answer that can't be read, and what would be right."""
    if check.looks_at in GEAR_LOOKS:
        return f'{quoted(found)} isn\'t gears. Write the stamps from the driving shaft on, "24 44 36 40", or "empty"'
    answers = ", ".join(quoted(answer) for answer in known[:6])
    return (
        f"{quoted(found)} is no answer to this check. {guess(found, known)} Answers look like {answers}; "
        f"or write {quoted(NONE_OF_THESE[0])}, or {quoted(NOT_SURE[0])}"
    )


def _guess(said: str, checks: Sequence[Check]) -> str:
    import difflib

    near = difflib.get_close_matches(said.lower(), [check.do for check in checks], n=1, cutoff=0.3)
    return f"Did you mean {quoted(near[0])}?" if near else guess(said, [check.do for check in checks])


def _squeezed(text: str) -> str:
    return " ".join(text.casefold().split())
