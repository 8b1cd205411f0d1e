"""One set-up that was planned: proved, with what it costs on the flank, and what makes it better than another."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from handlead.kinematics.gears import tolerance
from handlead.kinematics.links.mounted import Mounted
from handlead.kinematics.train.setup import Setup
from handlead.kinematics.work.requirement import Work, gear_of
from handlead.machines.job_files.job_file import Job
from handlead.machines.judging.result_checks import misread_levers
from handlead.machines.machine_files.machine_file import Machine
from handlead.machines.practice.cut_cycle import CutCycle, cut_cycle
from handlead.machines.proving.proof import Proof, prove_case
from handlead.machines.setups.case import (
    Case,
    face_width_mm,
    helix_slope_limit_um,
    helix_slope_um,
    pitch_limit_um,
    shift_error_um,
)

from .asked import Asked


@dataclass(frozen=True, repr=False)
class Planned:
    """One set-up that was found, proved, with what it costs on the flank.

    `lead_error_ppm` is relative, None for straight teeth; `helix_slope_um` over the face, signed;
    `quality` the finest ISO 1328-1 helix slope class that takes it. `against` says what stands against what was
    asked for. Of two set-ups the one with the lesser `merit` is better.
    """

    setup: Setup
    proof: Proof
    lead_error_ppm: float | None
    helix_slope_um: float
    quality: int | None
    cycle: CutCycle
    against: tuple[str, ...] = ()
    merit: tuple[Any, ...] = ()

    def __repr__(self) -> str:
        return f"<Planned {self.setup!r}, {self.helix_slope_um:+.2f} µm>"

    @property
    def feed(self) -> Fraction | None:
        """Of the slide, in mm per table turn, without sign."""
        gear = self.proof.case.outcome
        return gear.sliding_feed if gear else None

    @property
    def is_exact(self) -> bool:
        """Whether the count is in the index gears alone, whatever the feed."""
        return all(finding.code != "feed-belongs-to-index" for finding in self.proof.judged)

    def as_json(self) -> dict[str, Any]:
        """The set-up as plain values, as the JSON contract has it."""
        swivel = float(self.setup.swivel_deg or 0)
        return {
            "change": {
                name: {"gears": list(mounted.gears), "idlers": list(mounted.idlers)}
                for name, mounted in self.setup.change.items()
            },
            "levers": dict(self.setup.levers),
            "swivel": {"angle": abs(swivel), "turn": "counter-clockwise" if swivel > 0 else "clockwise"},
            "feed": self.setup.feed.value if self.setup.feed else None,
            "feed_mm_per_table_turn": None if self.feed is None else str(self.feed),
            "lead_error_ppm": self.lead_error_ppm,
            "helix_slope_um": self.helix_slope_um,
            "class": self.quality,
            "index_exact": self.is_exact,
            "starting_values": self.cycle.as_json(),
            "against_what_was_asked": list(self.against),
        }


def prove_setup(
    job: Job, machine: Machine, work: Work, setup: Setup, asked: Asked, lying: Mapping[str, Mounted]
) -> Planned | Proof:
    """The set-up with its proof and what it costs on the flank; the proof alone where it isn't as wanted.

    `lying` is what stands on the brackets before it is set, as far as it is known.
    """
    own = replace(job, machine=machine, work=work, mate=None, setup=setup)
    case = Case.of(own, setup)
    proof = prove_case(case)
    if not proof.is_as_wanted or case.outcome is None:
        return proof
    lead, got = work.lead_mm, case.outcome.lead_mm
    error = 1e6 * (got / lead - 1) if lead and got else None
    across = work.kind == "worm wheel"
    slope = shift_error_um(work, case.outcome) if across else helix_slope_um(work, case.outcome)
    quality = tolerance.helix_slope_class(slope, gear_of(work).reference_diameter, face_width_mm(work))
    cycle = cut_cycle(case)
    against = (*asked.feed.against(case.outcome.sliding_feed, own, work), *asked.speed.against(cycle.hob_rpm))
    planned = Planned(setup, proof, error, slope, quality, cycle, against)
    return replace(planned, merit=_merit(planned, work, asked, lying))


def tenths(slope_um: float, work: Work) -> int:
    """Whole tenths of what the drawing's class allows that a deviation takes up: less than one no longer matters."""
    return int(10 * abs(slope_um) / slope_limit_um(work))


def slope_limit_um(work: Work) -> float:
    """What the drawing's class allows of it, in µm: over the face, or over a pitch for a worm wheel."""
    return pitch_limit_um(work) if work.kind == "worm wheel" else helix_slope_limit_um(work)


def _merit(planned: Planned, work: Work, asked: Asked, lying: Mapping[str, Mounted]) -> tuple[Any, ...]:
    """What is asked and the class first; then what is safe; then the feed; then the work; then the last of the lead.

    Safe: a count that is in the index gears alone; levers whose plates say what the slide does; nothing taken off that
    stands already; no idler to be forgotten.
    """
    case, change = planned.proof.case, planned.setup.change
    feed, rpm = planned.feed, planned.cycle.hob_rpm
    fed = asked.feed.steps(feed) if feed else 0
    speed = asked.speed.steps(rpm)
    kept = (
        *(asked.feed.broken(feed) if feed else (False, 0)),
        speed if asked.speed.said is not None or speed >= 100 else 0,
    )
    idlers = sum(len(one.idlers) for one in change.values())
    safe = (not planned.is_exact, len(misread_levers(case)), restacked(change, lying), idlers)
    teeth = [each for one in change.values() for each in (*one.gears, *one.idlers)]
    slope = abs(planned.helix_slope_um)
    last = (round(slope, 2), len(planned.setup.levers), sum(teeth), slope)
    return (kept, tenths(slope, work), safe, fed, speed, len(teeth), *last)


def restacked(change: Mapping[str, Mounted], lying: Mapping[str, Mounted]) -> int:
    """On how many brackets gears that stand there must come off; an idler put in or taken out doesn't count."""
    return sum(name in lying and one.gears != lying[name].gears for name, one in change.items())


def best_of(found: Iterable[Planned], asked: Asked) -> list[Planned]:
    """The best first, and of those that differ in nothing that matters at the machine only the best."""
    distinct: dict[tuple[Any, ...], Planned] = {}
    for planned in sorted(found, key=lambda one: one.merit):
        distinct.setdefault(_what_matters(planned, asked), planned)
    return list(distinct.values())


def _what_matters(planned: Planned, asked: Asked) -> tuple[Any, ...]:
    """The lead that it leaves, the feed by its steps, and the count of gears in the brackets that set neither."""
    feed, change = planned.feed, planned.setup.change
    finer = bool(feed and feed < asked.feed.aim)
    fed = (asked.feed.steps(feed), finer and asked.feed.steps(feed) > 0) if feed else None
    lead = None if planned.lead_error_ppm is None else round(planned.helix_slope_um, 4)
    kinds = tuple((name, len(one.pairs), len(one.idlers)) for name, one in change.items()) if lead is None else ()
    return fed, lead, kinds
