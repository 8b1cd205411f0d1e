"""Which set-up made a gear that is known to come from this machine: from its count, its lead and its feed marks.

Whoever cut it had the gears of the drawer, the brackets and the levers, and no others. Every choice of them whose feed
and lead lie within what was measured is gone through, the nearest first; what is told has been proved on the machine.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from handlead.kinematics.frame.words import Feed
from handlead.kinematics.slips.evidence import Evidence, view_of
from handlead.kinematics.together.filling import fillings
from handlead.kinematics.together.together import Steps
from handlead.kinematics.train.setup import Setup
from handlead.kinematics.transfer.response import run
from handlead.kinematics.work.requirement import Work
from handlead.machines.job_files.job_file import Job
from handlead.machines.planning.wanted import Wanted
from handlead.machines.proving.proof import Proof, prove_case
from handlead.machines.setups.case import Case
from handlead.machines.tables.reading import Complaints
from handlead.machines.toml.errors import Missing
from handlead.machines.toml.units import length

from .leads_sought import GearChoice, LeadSought
from .seen_on_blank import evidence_of

#: Set-ups that are proved for a list of eight, and choices of gears that are tried for each; leads told for one feed.
_PROVED, _STEPS, _OF_A_FEED = 60, 2_000, 3


@dataclass(frozen=True, repr=False)
class SetUpRecovered:
    """A set-up that leaves what was measured, proved: lead and feed (mm; None for straight teeth), how closely it fits.

    `misfits` are by key of `[seen]` how far it is off, in what the measure may be off: 1 is the most that fits.
    `either_way`: the same lead and feed were found with the slide feeding the other way, which marks don't tell.
    """

    setup: Setup
    proof: Proof
    lead_mm: float | None
    feed_mm: Fraction
    closeness: float
    misfits: tuple[tuple[str, float], ...]
    either_way: bool = False

    def as_json(self) -> dict[str, Any]:
        """The set-up as plain values."""
        swivel = float(self.setup.swivel_deg or 0)
        return {
            "change": {
                name: {"gears": list(one.gears), "idlers": list(one.idlers)} for name, one in self.setup.change.items()
            },
            "levers": dict(self.setup.levers),
            "swivel": {"angle": abs(swivel), "turn": "counter-clockwise" if swivel > 0 else "clockwise"},
            "feed": self.setup.feed.value if self.setup.feed else None,
            "feed_mm_per_table_turn": str(self.feed_mm),
            "lead_mm": self.lead_mm,
            "closeness": self.closeness,
            "misfits": dict(self.misfits),
            "either_way": self.either_way,
        }


@dataclass(frozen=True, repr=False)
class Recovered:
    """The set-ups of a machine that leave what was measured, likeliest first, of so many choices `fitting`.

    `none_because` says why there is none, `not_searched` what was left unsearched.
    """

    job: Job
    work: Work
    evidence: Evidence
    setups: tuple[SetUpRecovered, ...]
    fitting: int = 0
    none_because: str = ""
    not_searched: str = ""

    def as_json(self) -> dict[str, Any]:
        """One JSON object."""
        return {
            "machine": self.job.machine.name,
            "teeth": self.work.teeth,
            "hand": self.work.hand.word if self.work.is_helical and self.work.hand else "none",
            "setups": [one.as_json() for one in self.setups],
            "fitting": self.fitting,
            "none_because": self.none_because or None,
            "not_searched": self.not_searched or None,
        }


def recover(job: Job, top: int = 8) -> Recovered:
    """Find the set-ups that leave what the job's [seen] has, on the job's machine.

    Raises `FileFault` for a job without what is needed: teeth, which way they lean and how far, feed marks.
    """
    _check(job)
    evidence, work = evidence_of(job), _work_seen(job)
    assert evidence.feed is not None
    seen = replace(job, work=work, mate=None, cutting=replace(job.cutting, feed=evidence.feed.value))
    meant = job.setup.feed if job.setup and job.setup.feed else None
    choices: list[GearChoice] = []
    cut_short = False
    for feed in [meant] if meant else [Feed.CONVENTIONAL, Feed.CLIMB]:
        wanted = replace(Wanted.of(seen, job.machine, top, {}), feed=feed)
        for way in wanted.ways:
            found, short = LeadSought(wanted, work, way, evidence, job.work).choices()
            choices += found
            cut_short |= short
    choices.sort(key=lambda one: one.order)
    setups, why = _proved(seen, work, choices, evidence, top)
    return Recovered(
        job, work, evidence, tuple(setups), len(choices),
        "" if setups else why.rstrip(".") or _none(job, work, evidence),
        "leads or feeds further from the middle of what was measured were left out" if cut_short else "",
    )  # fmt: skip


def _check(job: Job) -> None:
    complaints = Complaints(job.document)
    seen = job.seen
    if seen is None:
        complaints.add(Missing, ("seen",), '"seen" is missing. Write what the gear has: teeth, hand, lead, feed_marks')
    else:
        if not seen.teeth:
            complaints.add(Missing, ("seen", "teeth"), '"teeth" is missing. Write how many were counted')
        if not seen.straight and seen.hand is None:
            complaints.add(Missing, ("seen", "hand"), '"hand" is missing. Write right, left, or none if straight')
        if not seen.straight and seen.lead is None and seen.helix_angle_deg is None:
            complaints.add(Missing, ("seen", "lead"), '"lead" is missing. Write it as measured, or helix_angle')
        if seen.feed_marks is None:
            complaints.add(
                Missing, ("seen", "feed_marks"), '"feed_marks" is missing. Write how far apart they lie along a tooth'
            )
    complaints.raise_any()


def _work_seen(job: Job) -> Work:
    """The work of the job with the teeth that are on the gear."""
    seen = job.seen
    assert seen is not None
    assert seen.teeth
    plain = replace(job.work, teeth=seen.teeth, helix_angle_deg=None, lead=None, hand=None)
    if seen.straight:
        return replace(plain, kind="spur" if job.work.kind == "helical" else job.work.kind)
    kind = "helical" if job.work.kind == "spur" else job.work.kind
    lean = {"lead": seen.lead} if seen.lead is not None else {"helix_angle_deg": seen.helix_angle_deg}
    return replace(plain, kind=kind, hand=seen.hand, **lean)


def _none(job: Job, work: Work, evidence: Evidence) -> str:
    assert evidence.feed is not None
    lead = "" if work.lead_mm is None else " of this lead"
    marks, off = (length(float(one), job.units) for one in (evidence.feed.value, evidence.feed.within))
    return (
        f"no gears that the drawer holds and the brackets take give {work.teeth} teeth{lead} with marks within "
        f"{off} of {marks}"
    )


# ---------------------------------------------------------------- proving


def _proved(
    job: Job, work: Work, choices: list[GearChoice], evidence: Evidence, top: int
) -> tuple[list[SetUpRecovered], str]:
    """The best of the choices that stand proof, and what the first that doesn't says against it."""
    found: dict[tuple[Any, ...], SetUpRecovered] = {}
    why, wanted = "", Wanted.of(job, job.machine, top, {})
    of_feed: Counter[tuple[Fraction, bool]] = Counter()
    tried = 0
    for one in choices:
        feed = Feed.CLIMB if one.demand.feed * job.hob.hand.value > 0 else Feed.CONVENTIONAL
        of_feed[one.feed, one.demand.feed > 0] += 1
        if of_feed[one.feed, one.demand.feed > 0] > 2 * _OF_A_FEED:
            continue
        if (tried := tried + 1) > _PROVED * max(1, top // 8):
            break
        sets = next(fillings(one.stock, one.lists, Steps(_STEPS)), None)
        if sets is None:
            continue
        setup = replace(wanted, feed=feed).setup(work, one.demand, {name: each.mounted for name, each in sets.items()})
        proved = _prove(job, work, setup, evidence)
        if isinstance(proved, str):
            why = why or proved
            continue
        key = (proved.lead_mm, proved.feed_mm)
        if key in found:
            other_way = found[key].setup.feed is not setup.feed
            found[key] = replace(found[key], either_way=found[key].either_way or other_way)
        elif len(found) < top and sum(fed == proved.feed_mm for _, fed in found) < _OF_A_FEED:
            found[key] = proved
    return list(found.values()), why


def _prove(job: Job, work: Work, setup: Setup, evidence: Evidence) -> SetUpRecovered | str:
    """The set-up proved to cut the lead that it makes, and held against what was seen; or what stands against it."""
    case = Case.of(replace(job, setup=setup), setup)
    outcome = case.outcome
    if outcome is None or outcome.sliding_feed is None:
        return ""
    made = work
    if work.is_helical and outcome.lead is not None and outcome.hand is not None:
        made = replace(work, hand=outcome.hand, lead=abs(outcome.lead), helix_angle_deg=None)
    own = replace(job, work=made, setup=setup)
    proof = prove_case(Case.of(own, setup))
    if not proof.is_as_wanted:
        return next((one.message for one in proof.judged if one.severity == "error"), "")
    view = view_of(run(case.train, setup.drive), outcome)
    closeness = evidence.closeness(view)
    if closeness is None:
        return ""
    return SetUpRecovered(setup, proof, outcome.lead_mm, outcome.sliding_feed, closeness, tuple(evidence.misfits(view)))

