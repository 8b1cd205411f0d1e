"""A job's set-up run on its machine: the train solved, and the gear that its rates would cut."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property

from handlead.kinematics.frame.motion import Rates
from handlead.kinematics.gears import tolerance
from handlead.kinematics.law.outcome import Outcome, predict_of_kind
from handlead.kinematics.links.mounted import LETTERS, ChangeGears, Mounted
from handlead.kinematics.practice import cycle
from handlead.kinematics.slips.standing import ANY_IDLER
from handlead.kinematics.train.setup import Setup
from handlead.kinematics.train.solution import HandQuestions, Solution, ask_by_hand, hob_rates, solve
from handlead.kinematics.train.train import Train
from handlead.kinematics.transfer.constants import IndexRule, Series, every_series, find_index_rule
from handlead.kinematics.transfer.roles import Role, roles
from handlead.kinematics.transfer.transfer import Transfer
from handlead.kinematics.work.requirement import Work, gear_of, swivel_deg, table_per_hob
from handlead.kinematics.work.sizes import (
    USUAL_FACE_WIDTH,
    Sizes,
    centres_at_depth,
    hob_tip_diameter,
    rolling_diameter_of,
    sizes_of,
)
from handlead.machines.job_files.job_file import Job
from handlead.machines.toml.errors import FileFault, NoSetup


@dataclass(frozen=True)
class Case:
    """A set-up of a job, and everything that follows from it, worked out when it is asked for."""

    job: Job
    setup: Setup
    train: Train

    @classmethod
    def of(cls, job: Job, setup: Setup | None = None) -> Case:
        """Set the job's machine up, with the job's own set-up unless another is given.

        Raises `NoSetup` for a job that is still to be planned, `FileFault` where levers fight over a link,
        `ValueError` for a lever, position or bracket that the machine doesn't have.
        """
        setup = setup or job.setup
        if setup is None:
            raise NoSetup(f"{job.path}: no [setup]: this job is one to plan, nothing is bolted on yet")
        return cls(job, setup, job.machine.set_up(setup))

    @cached_property
    def solution(self) -> Solution:
        """The train solved for one turn of the drive."""
        return solve(self.train, self.setup.drive)

    @cached_property
    def questions(self) -> HandQuestions:
        """What the machine would answer if it were turned by hand."""
        return ask_by_hand(self.train, self.setup.drive)

    @cached_property
    def rates(self) -> Rates | None:
        """Rates per turn of the hob; None where hob or table isn't driven."""
        return hob_rates(self.solution)

    @property
    def swivel_deg(self) -> float:
        """Where the head stands: level where the job doesn't say."""
        return float(self.setup.swivel_deg or 0)

    @property
    def swivel_wanted_deg(self) -> float:
        """Where it ought to stand for the work on the drawing."""
        return swivel_deg(self.job.work, self.job.hob)

    @cached_property
    def sizes(self) -> Sizes:
        """Blank and roots."""
        return sizes_of(self.job.work, self.job.hob)

    @cached_property
    def outcome(self) -> Outcome | None:
        """The gear that the rates would cut; a worm wheel that no slide feeds is fed in by hand."""
        work, hob = self.job.work, self.job.hob
        return predict_of_kind(work.kind, self.rates, hob, self.swivel_deg) if self.rates else None

    @cached_property
    def transfer(self) -> Transfer:
        """The train with its brackets open: what gears in them decide, and what they must give."""
        return Transfer.of(self.train, self.setup.drive)

    @cached_property
    def roles(self) -> dict[str, Role]:
        """What each bracket decides with the levers as they stand."""
        return roles(self.transfer)

    @cached_property
    def index_rule(self) -> IndexRule | None:
        """The machine's index rule with the levers as they stand."""
        return find_index_rule(self.transfer, self.roles)

    @cached_property
    def series(self) -> tuple[Series, ...]:
        """The brackets that stand one behind the other with the levers as they stand."""
        return every_series(self.transfer, self.roles)

    def letters(self, bracket: str) -> str:
        """What the gears of a bracket are called, from the driving shaft on."""
        return next((each.lettered[bracket] for each in self.series if bracket in each.loose), LETTERS)

    def brackets(self, role: Role) -> tuple[str, ...]:
        """The brackets that decide `role` with the levers as they stand."""
        return tuple(name for name, value in self.roles.items() if value is role)


def ends_needed(case: Case) -> tuple[str, ...]:
    """The ends that must be driven for the job's kind of work, but for what feeds a worm wheel."""
    return ("hob", "table") if case.job.work.kind == "worm wheel" else ("hob", "table", "axial")


def is_fed_as_it_must(case: Case) -> bool:
    """Whether the slides that feed suit the kind of work: a worm wheel's hob goes in or across, by hand if need be."""
    if case.job.work.kind != "worm wheel":
        return True
    rates = {end: case.solution.end_rate(end) or 0 for end in ("axial", "tangential", "radial")}
    if case.solution.is_locked or rates["axial"]:
        return False
    by_hand = not case.train.ends.keys() & {"radial", "tangential"}
    return by_hand or bool(rates["tangential"]) or rates["radial"] < 0


def is_right(case: Case) -> bool:
    """Whether all ends that the work needs are driven, the slide that feeds suits it, and it comes out as wanted."""
    driven = all(case.solution.end_rate(end) for end in ends_needed(case))
    return driven and cuts_wanted(case.job.work, case.outcome) and is_fed_as_it_must(case)


def empty_brackets(case: Case, ends: Iterable[str]) -> tuple[str, ...]:
    """The empty brackets in which any gears would drive one of the ends."""
    return tuple(
        link.name
        for link in case.train.brackets
        if link.mounted is None and any(_would_drive(case, link, end) for end in ends)
    )


def _would_drive(case: Case, link: ChangeGears, end: str) -> bool:
    anything = Mounted((30, 30) * min(link.pairs), (ANY_IDLER,) * min(link.idlers))
    filled = case.train.with_gears({link.name: anything})
    return bool(solve(filled, case.setup.drive).end_rate(end))


def face_width_mm(work: Work) -> float:
    """The drawing's face width, or the usual one."""
    return float(work.face_width) if work.face_width else USUAL_FACE_WIDTH * float(work.module_n)


def helix_slope_um(work: Work, outcome: Outcome) -> float:
    """Helix slope over the face that the computed lead leaves, in µm, signed towards the right hand.

    Measured as ISO 1328-1 does, in the transverse plane along the base tangent, so that a lead L in
    place of L0 gives pi d_b b (1/L - 1/L0).
    """
    hand = 0 if outcome.hand is None or outcome.lead_mm is None else outcome.hand.value
    inverse = hand / outcome.lead_mm if outcome.lead_mm else 0.0
    base = gear_of(work).base_diameter
    return 1000 * math.pi * base * face_width_mm(work) * (inverse - work.signed_inverse_lead)


def no_slope_because(work: Work, outcome: Outcome) -> str:
    """Why teeth that come out have no slope against the drawing's, as two lines that cross have none; "" where they
    have one."""
    wanted = work.hand if work.is_helical else None
    if outcome.teeth != work.teeth:
        return "another count"
    if outcome.hand == wanted:
        return ""
    return "wrong hand" if outcome.hand and wanted else "they lean" if outcome.hand else "they are straight"


def helix_slope_limit_um(work: Work) -> float:
    """The tolerance on it at the work's class, in µm."""
    return tolerance.helix_slope_um(gear_of(work).reference_diameter, face_width_mm(work), work.quality)


def cuts_wanted(work: Work, outcome: Outcome | None) -> bool:
    """Whether count, hand and lead are the drawing's, the lead within its class."""
    if outcome is None or outcome.teeth != work.teeth or not outcome.is_steady:
        return False
    if work.kind == "worm wheel":
        return shift_error_um(work, outcome) <= pitch_limit_um(work)
    return abs(helix_slope_um(work, outcome)) <= helix_slope_limit_um(work)


def shift_error_um(work: Work, outcome: Outcome) -> float:
    """How far the table falls out of rolling with a tangential slide over one pitch of travel, in µm."""
    pitch = math.pi * float(work.module_n) / math.cos(math.radians(work.beta_deg))
    return abs(outcome.tangential_error or 0.0) * pitch * 1000


def pitch_limit_um(work: Work) -> float:
    """Single pitch tolerance at the work's class, in µm."""
    gear = replace(gear_of(work), face_width=face_width_mm(work))
    return tolerance.flank_tolerances(gear, work.quality).single_pitch.um


def drive_rpm(case: Case) -> Fraction | None:
    """Speed of the drive that runs, where the machine file gives it."""
    return case.train.drives[case.setup.drive].rpm


#: Hob speeds that a machine may have at all, in turns a minute.
_SLOWEST_RPM, _FASTEST_RPM = Fraction(1, 10**6), 10**6


def hob_rpm(case: Case) -> float | None:
    """Speed of the hob as the drive turns it; None where it stands, or the machine file doesn't say the drive's, or out
    of all measure.
    """
    drive, rate = drive_rpm(case), case.solution.end_rate("hob")
    speed = None if drive is None or not rate else abs(drive * rate)
    return float(speed) if speed is not None and _SLOWEST_RPM < speed < _FASTEST_RPM else None


@dataclass(frozen=True)
class Stroke:
    """Travel of the axial slide through one full-depth cut, in mm: `before` the face, over it, and `after` it."""

    before: float
    face: float
    after: float

    @property
    def travel(self) -> float:
        """The whole of it."""
        return cycle.travel(self.face, self.before, self.after)


def stroke_of(case: Case) -> Stroke:
    """Approach, face and overrun of an axial cut to full depth, on the blank as it is.

    Raises `ValueError` where the hob's diameter or the depth isn't known.
    """
    work, hob = case.job.work, case.job.hob
    tip, sizes = hob_tip_diameter(work, hob), case.sizes
    if tip is None:
        raise ValueError("diameter of the hob is missing; approach depends on it")
    if sizes.wanting:
        raise ValueError(f"{sizes.wanting[0]} is missing; the depth depends on it")
    swivel, gear = abs(case.swivel_deg), gear_of(work)
    below = (rolling_diameter_of(work) - sizes.root_diameter) / 2
    after = cycle.overrun(max(below, 0.0), gear.transverse_pressure_angle_deg, swivel)
    return Stroke(
        cycle.approach_by_contact(tip, sizes.depth, swivel, sizes.outside_diameter),
        face_width_mm(work),
        after if work.kind == "sprocket" else max(after, cycle.overrun_over_tips(gear, sizes.outside_diameter, swivel)),
    )


def reach_of_teeth(case: Case) -> float:
    """How far to either side of the work's middle the hob's tips cut at full depth, in mm: half the chord at the roots.

    Across that a tooth of full height has to travel to finish a worm wheel by tangential feed. Own derivation.
    """
    outside, root = case.sizes.outside_diameter, case.sizes.root_diameter
    reach = math.sqrt(max(outside**2 - root**2, 0.0)) / 2
    work, hob, throat = case.job.work, case.job.hob, case.sizes.throat
    tip, centres = hob_tip_diameter(work, hob), centres_at_depth(work, hob)
    if throat is None or tip is None or centres is None:
        return reach
    # At the edges of the hollow the rim stands out further, and the tips stand less deep.
    edge = min(throat.half_width, tip / 2)
    deep = centres - math.sqrt((tip / 2) ** 2 - edge**2)
    return max(reach, math.sqrt(max(throat.radius_at(edge) ** 2 - deep**2, 0.0)))


def feeding_slide_goes(case: Case) -> str:
    """The slide that feeds, by its name at the machine, and which way it goes in the machine's words; "" for none."""
    slide = case.outcome.feed_slide if case.outcome else None
    rate = case.solution.end_rate(slide) if slide else None
    if slide is None or not rate:
        return ""
    return f'"{case.train.ends[slide].part}" goes {case.job.machine.way(slide, 1 if rate > 0 else -1)}'


def feed_opened_by(case: Case) -> tuple[str, str] | None:
    """A lever, and where it goes, that frees the axial slide so that it may come back alone and keep its place.

    It keeps it where the table turns with the slide, the hob at rest, just as the helix asks for: with a
    differential fed from the slide and an index that makes the count alone. Elsewhere the drive must be reversed.
    Source: own derivation; common practice for prime counts and for machines without a differential.

    Some levers that stop the feed stop the table's share of the slide as well, hold the slide, or leave a worm in
    its way: each position of each is tried on the machine, with the drive that moves the slide alone where it
    has one, else as a hand would turn it. None where no single lever does it.
    """
    lean = _lean(case)
    if lean is None:
        return None
    for name in case.job.machine.levers:
        for position, opened in with_lever_moved(case, name):
            if opened.solution.end_rate("axial") is None and _comes_back_alone(opened, lean):
                return name, position
    return None


def _comes_back_alone(opened: Case, lean: Fraction) -> bool:
    """Whether the freed slide can be moved, and takes the table with it by `lean`."""
    if opened.questions.table_per_axial != lean:
        return False
    others = (solve(opened.train, drive) for drive in opened.train.drives if drive != opened.setup.drive)
    moving = [run for run in others if run.end_rate("axial")]
    return not moving or any(not run.backdriven and not run.end_rate("hob") for run in moving)


def with_lever_moved(case: Case, name: str) -> Iterator[tuple[str, Case]]:
    """The set-up with one lever in each of its other positions; positions that fight with other levers are left out."""
    stands = case.job.machine.positions(case.setup)[name]
    for position in case.job.machine.levers[name].positions:
        if position == stands:
            continue
        try:
            yield position, Case.of(case.job, case.setup.with_lever(name, position))
        except FileFault:
            continue


def _lean(case: Case) -> Fraction | None:
    """Table turns per mm of the axial slide that the cut's spaces have; None without an axial feed."""
    rates = case.rates
    if rates is None or not rates.axial:
        return None
    return (rates.table - table_per_hob(case.job.work, case.job.hob)) / rates.axial
