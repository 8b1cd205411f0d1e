"""Plan a job: from the drawing and the hob to set-ups that the machine and its drawers allow, best first."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from handlead.kinematics import tolerance
from handlead.kinematics.bracket import Bracket
from handlead.kinematics.change_gears import ChangeGearSet, Refused, nearest_sets
from handlead.kinematics.cutdata import Proposal
from handlead.kinematics.drawer import Drawer, GearSet, drawer_for
from handlead.kinematics.joint import Place, SetUp, best_set_ups
from handlead.kinematics.links import ChangeGears, Mounted
from handlead.kinematics.ratios import Ratio, compare
from handlead.kinematics.requirement import Work, gear_of, swivel_deg
from handlead.kinematics.solution import solve
from handlead.kinematics.targets import fixed
from handlead.kinematics.words import Feed

from .case import Case, face_width_mm, helix_slope_um, shift_error_um
from .checks import misread_levers
from .coupled_planning import coupled_sets, table_fed_sets
from .cut_cycle import CutCycle, cut_cycle
from .cut_proposal import feed_wanted, propose_cut, rpm_wanted
from .drawers import drawers_of
from .job_file import Job, Setup
from .machine_file import Machine
from .proof import Proof, prove_case
from .ways import Needed, Way, feed_signed, find_ways, needed

#: What an error of the feed costs against one of the lead, relatively: it only breaks ties.
_FEED_WEIGHT = Fraction(1, 10**7)
_SPEED_WEIGHT = Fraction(1, 10**8)

#: Feeds and hob speeds from this part to this multiple of what was asked for will do.
_FEED_SPAN = (Fraction(1, 2), Fraction(3, 2))
_SPEED_SPAN = (Fraction(1, 2), Fraction(6, 5))

#: Feed meant where the job doesn't say: it asks no backlash to be taken up (common practice on old slides).
USUAL_FEED_WAY = Feed.CONVENTIONAL


@dataclass(frozen=True)
class Planned:
    """One set-up that was found, proved, with what it costs on the flank.

    `lead_error_ppm` is relative, None for straight teeth; `helix_slope_um` over the face, signed;
    `quality` the finest ISO 1328-1 helix slope class that takes it.
    """

    setup: Setup
    proof: Proof
    lead_error_ppm: float | None
    helix_slope_um: float
    quality: int | None
    effort: tuple[int, ...]
    cycle: CutCycle

    def as_json(self) -> dict[str, Any]:
        """The set-up as plain values, as the JSON contract has it."""
        swivel = float(self.setup.swivel_deg or 0)
        gear = self.proof.computed.outcome
        feed = gear.sliding_feed if gear else None
        return {
            "change": {
                name: {"gears": list(mounted.gears), "idlers": list(mounted.idlers)}
                for name, mounted in self.setup.change.items()
            },
            "levers": dict(self.setup.levers),
            "swivel": {"angle": abs(swivel), "turn": "counter-clockwise" if swivel > 0 else "clockwise"},
            "feed": self.setup.feed.value if self.setup.feed else None,
            "feed_mm_per_table_turn": None if feed is None else str(feed),
            "lead_error_ppm": self.lead_error_ppm,
            "helix_slope_um": self.helix_slope_um,
            "class": self.quality,
            "index_exact": not any(
                finding.code == "feed-belongs-to-index" for finding in self.proof.judged
            ),
            "starting_values": self.cycle.as_json(),
        }


@dataclass(frozen=True)
class Member:
    """One member that was planned: `name` says which, `setups` are best first."""

    name: str
    work: Work
    setups: tuple[Planned, ...]
    none_because: str | None
    refused: tuple[Refused, ...] = ()
    proposal: Proposal | str = ""

    def as_json(self) -> dict[str, Any]:
        """The member as plain values."""
        return {
            "member": self.name,
            "teeth": self.work.teeth,
            "hand": self.work.hand.word if self.work.is_helical and self.work.hand else "none",
            "setups": [planned.as_json() for planned in self.setups],
            "none_because": self.none_because,
            "starting_values_from": [
                {"text": reason.text, "source": reason.source}
                for reason in ([] if isinstance(self.proposal, str) else self.proposal.reasons)
            ],
        }


@dataclass(frozen=True)
class Plan:
    """The set-ups of every member; `shares_differential` where a pair's are alike on that bracket."""

    job: Job
    machine: Machine
    members: tuple[Member, ...]
    shares_differential: bool

    @property
    def is_found(self) -> bool:
        """Whether every member that the job asks for can be cut."""
        return all(member.setups for member in self.members if member.name in ("work", "mate"))

    @property
    def lead_difference_ppm(self) -> float | None:
        """By how much the lead errors of the first two members' best set-ups differ; None if not both lean."""
        errors = [member.setups[0].lead_error_ppm for member in self.members[:2] if member.setups]
        if len(errors) < 2 or errors[0] is None or errors[1] is None:
            return None
        return abs(errors[0] - errors[1])

    def as_json(self) -> dict[str, Any]:
        """The plan as one JSON object of the contract."""
        return {
            "machine": self.machine.name,
            "members": [member.as_json() for member in self.members],
            "shares_differential": self.shares_differential,
            "lead_difference_ppm": self.lead_difference_ppm,
        }


def plan(job: Job, machine: Machine | None = None, top: int = 5) -> Plan:
    """Find the set-ups for a job, on its own machine or another.

    The members are the work, the mate if the job has one, and else the same gear of the other hand.
    Every set-up returned has been proved as wanted.
    """
    wanted = Wanted.of(job, machine or job.machine, top)
    members = _members(job)
    shared = _plan_pair(wanted, members)
    if shared is not None:
        return Plan(job, wanted.machine, shared, True)
    return Plan(job, wanted.machine, tuple(_plan_member(wanted, name, work) for name, work in members), False)


def plan_many(
    jobs: Sequence[Job], machine: Machine | None = None, top: int = 5, executor: Executor | None = None
) -> Iterator[Plan]:
    """The plans of several jobs, in their order; jobs in one drawer share its tables of products.

    With an `executor`, of threads or of processes, each job is one call handed to it.
    """
    if executor is None:
        yield from (plan(job, machine, top) for job in jobs)
        return
    waiting = [executor.submit(plan, job, machine, top) for job in jobs]
    yield from (each.result() for each in waiting)


def _members(job: Job) -> list[tuple[str, Work]]:
    members = [("work", job.work)]
    if job.mate is not None:
        if job.work.kind != "worm wheel":
            members.append(("mate", job.mate))
    elif job.work.is_helical and job.work.hand and job.work.kind != "worm wheel":
        members.append(("other hand", replace(job.work, hand=job.work.hand.other)))
    return members


@dataclass(frozen=True)
class Wanted:
    """What is common to all members of a job: machine, drive, feed meant, ways of setting it, drawers."""

    job: Job
    machine: Machine
    drive: str
    feed: Feed
    ways: list[Way]
    gear_sets: list[GearSet]
    top: int

    @classmethod
    def of(cls, job: Job, machine: Machine, top: int) -> Wanted:
        """What the job asks of the machine."""
        drive = machine.normal_drive
        meant = job.setup.feed if job.setup and job.setup.feed else USUAL_FEED_WAY
        return cls(job, machine, drive, meant, find_ways(machine, drive), drawers_of(machine), top)

    def bracket(self, name: str) -> ChangeGears:
        """The bracket called `name`."""
        link = self.machine.train.link(name)
        assert isinstance(link, ChangeGears)
        return link

    def place(self, name: str, ratio: Ratio, **rest: Any) -> Place:
        """A bracket to be filled so that it gives `ratio`, signed."""
        link = self.bracket(name)
        over = compare(ratio, 0) < 0
        return Place(
            name, -ratio if over else ratio, link.pairs, link.idlers, over,
            Bracket.of(link.bracket) if link.bracket else None, **rest,
        )  # fmt: skip


# ---------------------------------------------------------------- one member


def _plan_member(wanted: Wanted, name: str, work: Work) -> Member:
    proposal = propose_cut(work, wanted.job.hob, wanted.job.cutting, wanted.machine)
    found: list[Planned] = []
    reasons: list[str] = []
    refused: tuple[Refused, ...] = ()
    for demand in _demands(wanted, work, proposal):
        places = _places(wanted, work, demand, proposal)
        try:
            sets, why = _found(wanted, places, demand)
        except ValueError as fault:
            reasons.append(str(fault))
            continue
        if why:
            reasons.append(why)
        proved = list(_proved(wanted, work, demand, sets))
        found += proved
        if sets and not proved:
            reasons += _objections(wanted, work, demand, sets[0])
        refused = refused or _nearer_refused(wanted, places)
        if _goes_by_feed(demand):
            found += _with_speeds(wanted, work, demand, proposal, table_fed_sets(wanted, work, demand))
    if not found and work.kind != "worm wheel":
        found = _coupled(wanted, work, proposal)
    found = _best(found, wanted.top)
    why = None if found else _why_none(wanted, work, reasons, proposal)
    return Member(name, work, tuple(found), why, refused, proposal)


def _coupled(wanted: Wanted, work: Work, proposal: Proposal | str) -> list[Planned]:
    """Set-ups in which the count or the lead rests on the feed gears, where no other kind exists."""
    def choose(demands: list[Needed]) -> Iterator[Needed]:
        return _at_best_speed(wanted, demands, rpm_wanted(wanted.job.cutting, proposal))

    return [
        planned
        for demand, sets in coupled_sets(wanted, work, proposal, choose)
        for planned in _with_speeds(wanted, work, demand, proposal, sets)
    ]


def _with_speeds(
    wanted: Wanted, work: Work, demand: Needed, proposal: Proposal | str,
    found: Iterable[tuple[Mapping[str, ChangeGearSet], SetUp]],
) -> list[Planned]:  # fmt: skip
    """The sets that were found, speed gears added, as far as they prove."""
    complete = (_with_speed(wanted, work, demand, proposal, sets, set_up.drawn_from) for sets, set_up in found)
    return list(_proved(wanted, work, demand, (sets for sets in complete if sets)))


def _goes_by_feed(demand: Needed) -> bool:
    """Whether the differential's ratio goes by the feed, as where it is fed from the table."""
    if demand.differential is None or demand.slide != "axial":
        return False
    return any(rule.slide == "axial" and rule.feed_power for rule in demand.way.constants.differentials)


def _with_speed(
    wanted: Wanted, work: Work, demand: Needed, proposal: Proposal | str,
    sets: Mapping[str, ChangeGearSet], drawn_from: Mapping[str, Sequence[tuple[int, str]]],
) -> Mapping[str, ChangeGearSet] | None:  # fmt: skip
    """The sets and one for the hob's speed, from what they leave in the drawers; None where none is left."""
    place = _speed_place(wanted, work, demand, proposal)
    if place is None:
        return sets
    taken = [each for gears in drawn_from.values() for each in gears]
    left = [
        replace(one, drawer=one.drawer.without(teeth for teeth, name in taken if name == one.name))
        for one in wanted.gear_sets
    ]
    best = best_set_ups([place], left, limit=1).best
    return {**sets, **best[0].sets} if best else None


def _found(
    wanted: Wanted, places: list[Place], demand: Needed
) -> tuple[list[Mapping[str, ChangeGearSet]], str | None]:
    """Gears for all brackets together, the best first; with a differential, each of its ratios once."""
    bracket = demand.way.differential(demand.slide) if demand.slide and demand.differential is not None else None
    if bracket:
        listed = [each["work"] for each in itertools.islice(_alike(wanted, {"work": places}, bracket), wanted.top)]
        if listed:
            return listed, None
    best = best_set_ups(places, wanted.gear_sets, limit=wanted.top)
    return [each.sets for each in best.best], best.none_because


def _demands(wanted: Wanted, work: Work, proposal: Proposal | str) -> Iterator[Needed]:
    """What each usable way asks of its brackets, the slide that suits the work fed."""
    size = feed_wanted(wanted.job.cutting, proposal)
    for slide in _slides(work, wanted):
        signed = feed_signed(wanted.job.hob, size, wanted.feed)
        demands = [needed(way, work, wanted.job.hob, slide, signed) for way in wanted.ways]
        usable = [demand for demand in demands if demand]
        yield from _at_best_speed(wanted, usable, rpm_wanted(wanted.job.cutting, proposal))
        if usable:
            return


def _at_best_speed(wanted: Wanted, demands: list[Needed], rpm: Fraction | None) -> Iterator[Needed]:
    """Of the ways that differ in the hob's speed alone, the one that suits best and overruns nothing."""
    groups: list[list[Needed]] = []
    for demand in demands:
        same = next((group for group in groups if group[0].way.constants == demand.way.constants), None)
        if same is None:
            groups.append([demand])
        else:
            same.append(demand)
    for group in groups:
        yield min(group, key=lambda demand: _misfit(wanted, demand, rpm))


def _misfit(wanted: Wanted, demand: Needed, rpm: Fraction | None) -> tuple[bool, float, int]:
    """How ill the hob speed of a way suits: overrunning a part first, then the distance from what is wanted."""
    way = demand.way
    drive = way.train.drives[way.drive].rpm
    speed = {way.constants.speed: Fraction(1)} if way.constants.speed else {}
    solution = solve(fixed(way.train, {**speed, **_ratios(demand)}), way.drive)
    per_drive = solution.end_rate("hob")
    if drive is None or not per_drive or speed:
        return False, 0.0, way.effort
    off = 0.0 if rpm is None else abs(math.log(abs(per_drive * drive) / rpm))
    return _fastest(wanted, solution.rates, drive) < 1, off, way.effort


def _slides(work: Work, wanted: Wanted) -> tuple[str | None, ...]:
    if work.kind != "worm wheel":
        return ("axial",)
    return ("tangential", "radial", None)


def _places(wanted: Wanted, work: Work, demand: Needed, proposal: Proposal | str) -> list[Place]:
    way = demand.way
    assert way.constants.index is not None
    places = [wanted.place(way.constants.index.bracket, demand.index, exact=True)]
    if demand.slide and demand.feed_ratio is not None:
        rule = way.feed_rule(demand.slide)
        bracket = way.differential(demand.slide)
        assert rule is not None
        size = abs(demand.feed_ratio)
        fed_in = any(one.feed_power for one in way.constants.differentials if one.bracket == bracket)
        if fed_in and demand.differential is not None:
            # The differential's ratio goes by the feed: the feed that was asked for, and no other.
            places.append(wanted.place(rule.bracket, demand.feed_ratio, exact=True))
        else:
            span = (size * _FEED_SPAN[0], size * _FEED_SPAN[1])
            places.append(wanted.place(rule.bracket, demand.feed_ratio, span=span, weight=_FEED_WEIGHT))
        if demand.differential is not None and bracket:
            places.append(wanted.place(bracket, demand.differential))
    speed = _speed_place(wanted, work, demand, proposal)
    return [*places, speed] if speed else places


def _speed_place(wanted: Wanted, work: Work, demand: Needed, proposal: Proposal | str) -> Place | None:
    """The bracket that sets the hob's speed, so that no part of the train runs faster than it may."""
    way = demand.way
    name, rpm = way.constants.speed, rpm_wanted(wanted.job.cutting, proposal)
    drive = way.train.drives[way.drive].rpm
    if name is None:
        return None
    solution = solve(fixed(way.train, {name: Fraction(1), **_ratios(demand)}), way.drive)
    per_drive = solution.end_rate("hob")
    if not per_drive or drive is None:
        return wanted.place(name, Fraction(1), weight=_SPEED_WEIGHT, span=(Fraction(1, 100), Fraction(100)))
    fastest = _fastest(wanted, solution.rates, drive)
    target = abs(rpm / (per_drive * drive)) if rpm else min(Fraction(1), fastest)
    target = min(target, fastest)
    span = (target * _SPEED_SPAN[0], min(fastest, target * _SPEED_SPAN[1]))
    return replace(wanted.place(name, target, span=span, weight=_SPEED_WEIGHT), turns_over=None)


def _ratios(demand: Needed) -> dict[str, Fraction]:
    """Signed ratios of index, feed and differential gears, near enough for a look at speeds."""
    way = demand.way
    assert way.constants.index is not None
    ratios = {way.constants.index.bracket: demand.index}
    rule = way.feed_rule(demand.slide) if demand.slide else None
    bracket = way.differential(demand.slide) if demand.slide else None
    if rule and demand.feed_ratio is not None:
        ratios[rule.bracket] = demand.feed_ratio
    if bracket and demand.differential is not None:
        ratios[bracket] = Fraction(float(demand.differential)).limit_denominator(10**6)
    return ratios


def _fastest(wanted: Wanted, rates: Mapping[str, Fraction | None], drive_rpm: Fraction) -> Fraction:
    """Greatest ratio of the speed gears at which every limited part keeps within its speed."""
    limits = [
        greatest / abs(rate * drive_rpm)
        for part, (_, greatest) in wanted.machine.limits.rpm.items()
        if (rate := rates[part])
    ]
    return min(limits, default=Fraction(100))


# ---------------------------------------------------------------- a pair


def _plan_pair(wanted: Wanted, members: Sequence[tuple[str, Work]]) -> tuple[Member, ...] | None:
    """Set-ups alike on the differential's bracket, where the machine's rule is free of the tooth count."""
    works = dict(members)
    if len(works) < 2 or not all(work.is_helical for work in works.values()):
        return None
    proposals = {
        name: propose_cut(work, wanted.job.hob, wanted.job.cutting, wanted.machine) for name, work in members
    }
    rows: list[dict[str, Planned]] = []
    refused: tuple[Refused, ...] = ()
    for demands in _matched(wanted, works, proposals):
        bracket = next(iter(demands.values())).way.differential("axial")
        assert bracket is not None
        places = {name: _places(wanted, works[name], demands[name], proposals[name]) for name in works}
        for sets in itertools.islice(_alike(wanted, places, bracket), wanted.top):
            row = {
                name: next(_proved(wanted, works[name], demands[name], [sets[name]]), None) for name in works
            }
            proved = {name: planned for name, planned in row.items() if planned}
            if len(proved) == len(works):
                rows.append(proved)
        refused = refused or _nearer_refused(wanted, next(iter(places.values())))
    if not rows:
        return None
    best = _best_pairs(rows)[: wanted.top]
    return tuple(
        Member(name, work, tuple(row[name] for row in best), None, refused, proposals[name])
        for name, work in members
    )


def _matched(
    wanted: Wanted, works: Mapping[str, Work], proposals: Mapping[str, Proposal | str]
) -> Iterator[dict[str, Needed]]:
    """For each set of rules that serves all members, what each asks of the brackets; hob speeds may differ."""
    asked = {name: list(_pair_demands(wanted, work, proposals[name])) for name, work in works.items()}
    for ours in next(iter(asked.values())):
        alike = {
            name: next((one for one in demands if one.way.constants == ours.way.constants), None)
            for name, demands in asked.items()
        }
        matched = {name: one for name, one in alike.items() if one}
        if len(matched) == len(works):
            yield matched


def _alike(
    wanted: Wanted, places: Mapping[str, list[Place]], bracket: str
) -> Iterator[dict[str, Mapping[str, ChangeGearSet]]]:
    """Sets for every member with one ratio on `bracket`, the truest lead first, each ratio once.

    The ratios come in the order of their error, none left out; since the members all want the same one,
    the first that serves them all is the best that does.
    """
    first = next(iter(places.values()))
    place = next(one for one in first if one.name == bracket)
    nearest = nearest_sets(
        place.target, drawer_for(bracket, wanted.gear_sets), pairs=place.pairs, idlers=place.idlers,
        bracket=place.bracket, limit=wanted.top + _PAIR_TRIES, different="ratio",
    )  # fmt: skip
    for ratio in dict.fromkeys(one.ratio for one in nearest.sets):
        matches = {
            name: best_set_ups(_at_ratio(member, bracket, ratio), wanted.gear_sets, limit=1).best
            for name, member in places.items()
        }
        if all(matches.values()):
            yield {name: match[0].sets for name, match in matches.items()}


def _at_ratio(places: list[Place], bracket: str, ratio: Fraction) -> list[Place]:
    return [replace(one, target=ratio, exact=True) if one.name == bracket else one for one in places]


#: Ratios that are tried for a pair beyond as many as are to be listed.
_PAIR_TRIES = 6


def _pair_demands(wanted: Wanted, work: Work, proposal: Proposal | str) -> Iterator[Needed]:
    for demand in _demands(wanted, work, proposal):
        rules = [rule for rule in demand.way.constants.differentials if rule.slide == "axial"]
        if demand.differential is not None and rules and not rules[0].depends_on_teeth and not rules[0].feed_power:
            yield demand


def _best_pairs(rows: Sequence[dict[str, Planned]]) -> list[dict[str, Planned]]:
    """The rows by their worse member, each combination of ratios once."""
    order = sorted(rows, key=lambda row: max(_merit(planned) for planned in row.values()))
    distinct: dict[Any, dict[str, Planned]] = {}
    for row in order:
        distinct.setdefault(tuple(_ratios_of(planned) for planned in row.values()), row)
    return list(distinct.values())


# ---------------------------------------------------------------- results


def _proved(
    wanted: Wanted, work: Work, demand: Needed, found: Iterable[Mapping[str, ChangeGearSet]]
) -> Iterator[Planned]:
    """Set-ups that the proof finds as wanted; anything else is left out."""
    for sets in found:
        change = {name: chosen.mounted for name, chosen in sets.items()}
        planned = prove_setup(wanted.job, wanted.machine, work, _setup(wanted, work, demand, change))
        if planned is not None:
            yield planned


def _objections(wanted: Wanted, work: Work, demand: Needed, sets: Mapping[str, ChangeGearSet]) -> list[str]:
    """What the proof says against a set-up that was found."""
    setup = _setup(wanted, work, demand, {name: chosen.mounted for name, chosen in sets.items()})
    case = Case.of(replace(wanted.job, machine=wanted.machine, work=work, mate=None, setup=setup), setup)
    return [finding.message.rstrip(".") for finding in prove_case(case).judged if finding.severity == "error"]


def _setup(wanted: Wanted, work: Work, demand: Needed, change: Mapping[str, Mounted]) -> Setup:
    swivel = Fraction(round(swivel_deg(work, wanted.job.hob) * 60), 60)
    levers = {
        name: position
        for name, position in demand.way.levers.items()
        if position != wanted.machine.levers[name].normal
    }
    feed = wanted.feed if demand.slide == "axial" else None
    order = [link.name for link in wanted.machine.train.brackets if link.name in change]
    return Setup(wanted.drive, swivel, feed, levers, {name: change[name] for name in order})


def prove_setup(job: Job, machine: Machine, work: Work, setup: Setup) -> Planned | None:
    """The set-up with its proof and what it costs on the flank; None where it isn't as wanted."""
    case = Case.of(replace(job, machine=machine, work=work, mate=None, setup=setup), setup)
    proof = prove_case(case)
    if not proof.is_as_wanted or case.outcome is None:
        return None
    slope = 0.0 if work.kind == "worm wheel" else helix_slope_um(work, case.outcome)
    lead, got = work.lead_mm, case.outcome.lead_mm
    error = 1e6 * (got / lead - 1) if lead and got else None
    if work.kind == "worm wheel":
        slope = shift_error_um(work, case.outcome)
    gear = gear_of(work)
    quality = tolerance.helix_slope_class(slope, gear.reference_diameter, face_width_mm(work))
    return Planned(setup, proof, error, slope, quality, _effort(case), cut_cycle(case))


def _effort(case: Case) -> tuple[int, ...]:
    """The work that a set-up takes: gears and idlers mounted, levers moved, teeth in all.

    Ahead of it all go levers whose plates name the way in which the slide doesn't go: somebody would go by them.
    """
    mounted = list(case.setup.change.values())
    gears = [teeth for one in mounted for teeth in (*one.gears, *one.idlers)]
    return (len(misread_levers(case)), len(gears), len(case.setup.levers), sum(gears))


def _merit(planned: Planned) -> tuple[float, tuple[int, ...]]:
    """What matters on the flank first, to a hundredth of a micrometre; then the work."""
    return round(abs(planned.helix_slope_um), 2), planned.effort


def _best(found: list[Planned], top: int) -> list[Planned]:
    """The best, each combination of ratios once: of those that give the same, the one that is least work."""
    distinct: dict[tuple[Any, ...], Planned] = {}
    for planned in sorted(found, key=_merit):
        distinct.setdefault(_ratios_of(planned), planned)
    return list(itertools.islice(distinct.values(), top))


def _ratios_of(planned: Planned) -> tuple[tuple[str, Fraction], ...]:
    return tuple((name, mounted.size) for name, mounted in planned.setup.change.items())


def _nearer_refused(wanted: Wanted, places: Sequence[Place]) -> tuple[Refused, ...]:
    """Nearer sets for the differential that are owned but can't be mounted, with why."""
    for place in places:
        if not place.exact and place.span is None:
            found = nearest_sets(
                place.target, drawer_for(place.name, wanted.gear_sets), pairs=place.pairs, idlers=place.idlers,
                turns_over=place.turns_over, bracket=place.bracket, limit=1, refused=2,
            )  # fmt: skip
            nearest = abs(found.sets[0].error) if found.sets else 0.0
            return tuple(one for one in found.refused if abs(one.error) < nearest)
    return ()


def _why_none(wanted: Wanted, work: Work, reasons: list[str], proposal: Proposal | str) -> str:
    """Which requirement fails, and the least change that would help, where one does."""
    if not wanted.ways:
        return "with no position of its levers does a bracket index the table"
    helps = _gear_to_get(wanted, work, proposal)
    if reasons:
        return "; ".join([*dict.fromkeys(reasons), *([helps] if helps else [])])
    if work.kind == "worm wheel":
        return "the machine feeds neither its tangential nor its radial slide for this work"
    if work.is_helical:
        return (
            "no position of the levers lets a differential turn the table with the axial slide, and no index and "
            "feed gears of the drawer make the lead between them; another feed, or more index gears, would be needed"
        )
    return "no position of the levers feeds the axial slide with the differential out"


#: Gears that a shop may get or make, by their teeth.
_OBTAINABLE = range(15, 128)


def _gear_to_get(wanted: Wanted, work: Work, proposal: Proposal | str) -> str:
    """The one more gear, fewest teeth first, with which the index ratio can be met; empty if none helps."""
    demand = next(_demands(wanted, work, proposal), None)
    if demand is None or not wanted.gear_sets:
        return ""
    place = _places(wanted, work, demand, proposal)[0]
    drawer = drawer_for(place.name, wanted.gear_sets)
    useful = [teeth for teeth in _OBTAINABLE if _meets(place, drawer.with_more([teeth]))]
    if not useful or _meets(place, drawer):
        return ""
    first, *others = useful[:4]
    more = f" (or of {', '.join(str(teeth) for teeth in others)})" if others else ""
    return f'with one more gear of {first} teeth{more} in the drawer, "{place.name}" could be met exactly'


def _meets(place: Place, drawer: Drawer) -> bool:
    try:
        found = nearest_sets(
            place.target, drawer, pairs=place.pairs, idlers=place.idlers, turns_over=place.turns_over,
            bracket=place.bracket, limit=1, exact=True,
        )  # fmt: skip
    except ValueError:
        return False
    return bool(found.sets)
