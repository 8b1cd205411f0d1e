"""A set-up under study: the machine as a bench on which altered set-ups are run, and what each would leave."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cached_property
from typing import Any, TypeVar

from handlead.kinematics.law.light_cut import LightMarks, light_counts, light_marks
from handlead.kinematics.law.outcome import Outcome, predict_of_kind
from handlead.kinematics.links.mounted import ChangeGears, Mounted
from handlead.kinematics.train.setup import Key
from handlead.kinematics.train.train import Train
from handlead.kinematics.transfer.constants import Constants
from handlead.kinematics.transfer.response import Response, Running
from handlead.kinematics.transfer.roles import Role, roles
from handlead.kinematics.transfer.transfer import Transfer
from handlead.kinematics.work.requirement import HobData, Work
from handlead.kinematics.work.sizes import hob_reference_diameter, outside_diameter

from .evidence import ONE_OUT, RUBBED, RUNS_OUT, TOO_THICK, BlankSeen, View, view_of
from .standing import NOTHING_DONE, Changes, Standing

T = TypeVar("T")


@dataclass(frozen=True)
class OtherRules:
    """Change-gear rules by which the gears may have been worked out: those of another machine or lever position."""

    name: str
    constants: Constants


#: Whether a bracket takes gears and idlers: their numbers, and the bracket's measures.
Takes = Callable[[str, Mounted], bool]

#: The states that levers in these positions put links into; None where two of them fight over one.
States = Callable[[Mapping[str, str]], Mapping[str, str] | None]

#: The gears by which the drawers fall short of what is mounted in all brackets: how many by teeth.
Lacking = Callable[[Mapping[str, Mounted]], Mapping[int, int]]

#: Gears for a bracket: asked ratio (signed), bracket, gears that aren't free, whether it must be met exactly.
GearSearch = Callable[[Fraction, str, Sequence[int], bool], Mounted | None]


@dataclass(frozen=True)
class Circumstances:
    """The machine with its drawers, the drawing, and what else the set-up might have been worked out for.

    `train` has its levers out of consideration and its brackets empty. `levers` gives the positions of each
    lever, `states` what they put links into. `owned` lists for each bracket that has a drawer the gears that
    fit it. `search` finds gears for a ratio; `takes` and `lacking` say what can be mounted.
    """

    train: Train
    levers: Mapping[str, Sequence[str]]
    states: States
    owned: Mapping[str, tuple[int, ...]]
    work: Work
    mate: Work | None
    constants: Constants
    ranges: tuple[OtherRules, ...]
    others: tuple[OtherRules, ...]
    search: GearSearch
    modules: tuple[Fraction, ...]
    takes: Takes = lambda bracket, mounted: True
    lacking: Lacking = lambda mounted: {}
    _taken: dict[Any, bool] = field(default_factory=dict, repr=False, compare=False)
    _responses: dict[Any, Response | None] = field(default_factory=dict, repr=False, compare=False)
    _ratios: dict[Any, Fraction] = field(default_factory=dict, repr=False, compare=False)

    def running(self, standing: Standing) -> Running | None:
        """What the machine does as it stands, exactly; None where two levers fight over a link."""
        response = self.response(standing)
        if response is None:
            return None
        running = response.running([self.ratio(mounted) for mounted in standing.change.values()])
        return running if standing.drive_runs > 0 else _the_other_way(running)

    def short_of(self, standing: Standing) -> Mapping[int, int]:
        """The gears that the drawers lack for what stands there, by what is stamped on them."""
        stamped = {name: replace(standing.change[name], gears=gears) for name, gears in standing.stamps.items()}
        return self.lacking({**standing.change, **stamped})

    def can_hold(self, bracket: str, standing: Standing) -> bool:
        """Whether the bracket takes what the standing has in it."""
        mounted = standing.change.get(bracket)
        key = (bracket, mounted)
        if key not in self._taken:
            self._taken[key] = mounted is None or self.takes(bracket, mounted)
        return self._taken[key]

    def blank(self, hob: HobData) -> BlankSeen:
        """What of the drawing's blank, and of this hob, enters what is seen."""
        diameter = hob_reference_diameter(self.work, hob)
        return BlankSeen(
            outside_diameter(self.work), diameter / 2 if diameter else None, float(self.work.pressure_angle_deg)
        )

    def response(self, standing: Standing) -> Response | None:
        """How the ends answer to the gears with the levers where they are; None where two levers fight over a link."""
        drive, brackets = standing.setup.drive, tuple(standing.change)
        key = (drive, brackets, standing.setup.levers, standing.parted)
        if key not in self._responses:
            states = self.states(standing.setup.levers)
            train = self.train.without(standing.parted) if standing.parted else self.train
            self._responses[key] = (
                None
                if states is None
                else Response.of(
                    train.with_states({name: state for name, state in states.items() if name != standing.parted}),
                    drive,
                    brackets,
                )
            )
        return self._responses[key]

    def ratio(self, mounted: Mounted) -> Fraction:
        """The signed ratio of what is mounted in a bracket."""
        key = (mounted.gears, len(mounted.idlers))
        if key not in self._ratios:
            self._ratios[key] = mounted.ratio
        return self._ratios[key]

    @cached_property
    def brackets(self) -> Mapping[str, ChangeGears]:
        """The links that take change gears, by name."""
        return {link.name: link for link in self.train.brackets}

    def spare(self, bracket: str, standing: Standing) -> Counter[int]:
        """The gears left in the drawer that fit the bracket, with how many of each."""
        fitting = set(self.owned.get(bracket, ()))
        left = Counter(self.owned.get(bracket, ()))
        for name in self.brackets:
            if name == bracket or fitting & set(self.owned.get(name, ())):
                left.subtract(standing.change[name].every if name in standing.change else ())
        return +left

    def outcome(self, standing: Standing, running: Running | None) -> Outcome | None:
        """The gear that comes out; None where hob or table isn't driven."""
        if running is None or running.rates is None:
            return None
        return predict_of_kind(self.work.kind, running.rates, standing.hob, float(standing.swivel_deg))

    def roles(self, standing: Standing) -> Mapping[str, Role]:
        """What each bracket decides with the levers as they stand."""
        states = self.states(standing.setup.levers)
        if states is None:
            return {}
        return roles(Transfer.of(self.train.with_states(states), standing.setup.drive))


def _the_other_way(running: Running) -> Running:
    """The same train with its drive turning the other way: everything goes over, the ratios stay."""
    hob, table, *slides = (
        None if way is None else -way for way in (running.hob_way, running.table_way, *running.slide_ways)
    )
    return replace(running, hob_way=hob, table_way=table, slide_ways=tuple(slides))


@dataclass(frozen=True)
class Slip:
    """A place at which a kind of change can happen: what it changes there, and how much likelier it is than others."""

    where: str
    detail: str
    changes: Changes
    likelihood: float = 1


@dataclass(frozen=True)
class Study:
    """A set-up under study, with what several kinds of change want to know of it."""

    bench: Circumstances
    base: Standing
    _views: dict[Any, tuple[Outcome | None, View]] = field(default_factory=dict, repr=False, compare=False)
    _marks: dict[Any, LightMarks | None] = field(default_factory=dict, repr=False, compare=False)
    _kept: dict[str, tuple[Any, Any]] = field(default_factory=dict, repr=False, compare=False)

    def once(self, what: str, of: Any, make: Callable[[], T]) -> T:
        """What `make` gives, reckoned anew only where `of` is other than the last time: answers change little."""
        last = self._kept.get(what)
        if last is None or last[0] != of:
            last = self._kept[what] = (of, make())
        found: T = last[1]
        return found

    def view(self, standing: Standing, running: Running) -> tuple[Outcome | None, View]:
        """The gear that comes out, and what of it is seen."""
        falls_in = standing.between_cuts == NOTHING_DONE
        symptoms = standing.beside.symptoms if standing.beside else frozenset()
        if self._rubs(standing, running):
            symptoms |= {RUBBED}
        key = (running, standing.swivel_deg, standing.hob, falls_in, symptoms, standing.slips)
        if key not in self._views:
            outcome = self.bench.outcome(standing, running)
            view = view_of(
                running, outcome, second_cut_falls_in=falls_in, blank=self.bench.blank(standing.hob), symptoms=symptoms
            )
            view = replace(view, meshes=self._meshes(standing.hob, outcome, view))
            self._views[key] = outcome, _slipping(view) if standing.slips else view
        return self._views[key]

    def marks(
        self, standing: Standing, running: Running, outcome: Outcome | None, fits: Callable[[frozenset[int]], bool]
    ) -> LightMarks | None:
        """The marks that may be taken for teeth on a light cut, where turns don't meet or the head lies across them.

        None where none of all counts that could stand out `fits`.
        """
        if outcome is None or outcome.teeth is None or running.rates is None:
            return None
        if outcome.is_steady and abs(outcome.swivel_error_deg or 0.0) < ACROSS_DEG:
            return None
        cut = running.rates, self.bench.work, standing.hob, float(standing.swivel_deg)
        if not fits(light_counts(*cut)):
            return None
        key = (running.rates, standing.hob, standing.swivel_deg)
        if key not in self._marks:
            self._marks[key] = light_marks(*cut)
        return self._marks[key]

    @cached_property
    def _short_as_written(self) -> Mapping[int, int]:
        return self.bench.short_of(self.base)

    def can_stand(self, standing: Standing) -> bool:
        """Whether it can be mounted: brackets that take what is in them, and no gear that isn't there.

        A gear that the set-up as written has more often than the drawer lists was found somewhere.
        """
        if not all(self.bench.can_hold(name, standing) for name in standing.change):
            return False
        short = self.bench.short_of(standing)
        return all(count <= self._short_as_written.get(teeth, 0) for teeth, count in short.items())

    def _rubs(self, standing: Standing, running: Running) -> bool:
        """Whether the backs of the hob's teeth go first: it runs the other way, or stands the other way round."""
        meant = self.running.hob_way if self.running else None
        return bool(meant and running.hob_way) and running.hob_way != meant * standing.hob_stands  # type: ignore[operator]

    def _meshes(self, hob: HobData, outcome: Outcome | None, view: View) -> bool:
        """Whether it would run with its mate: count, hand, lean, size and thickness as drawn, and running true."""
        work = self.bench.work
        if outcome is None or outcome.teeth != work.teeth or not outcome.is_steady or hob.module_n != work.module_n:
            return False
        lean = (outcome.hand.value if outcome.hand else 0) * (outcome.helix_angle_deg or 0.0)
        off = abs(outcome.swivel_error_deg or 0.0)
        return (
            abs(lean - work.signed_beta_deg) < LEAN_THAT_RUNS_DEG
            and off <= SWIVEL_THAT_RUNS_DEG
            and not view.symptoms & {TOO_THICK, RUNS_OUT, ONE_OUT, RUBBED}
        )

    @cached_property
    def running(self) -> Running | None:
        """What the machine does with the set-up as it is meant."""
        return self.bench.running(self.base)

    @cached_property
    def outcome(self) -> Outcome | None:
        """What the set-up cuts as it is meant."""
        return self.bench.outcome(self.base, self.running)

    @cached_property
    def real_teeth(self) -> Fraction | None:
        """Starts over the table's turns per hob turn, the feed running."""
        return self.outcome.real_teeth if self.outcome else None

    @cached_property
    def roles(self) -> Mapping[str, Role]:
        """What each bracket decides."""
        return self.bench.roles(self.base)

    def filled(self, role: Role) -> str | None:
        """The filled bracket that has this role, if there is just one."""
        names = [name for name, value in self.roles.items() if value is role and name in self.base.change]
        return names[0] if len(names) == 1 else None

    @cached_property
    def is_plain(self) -> bool:
        """Whether the index gears are those of the machine's rule for the drawing's count."""
        rule = self.bench.constants.index
        if rule is None or rule.bracket not in self.base.change:
            return False
        wanted = rule.ratio(self.base.hob.hand, self.base.hob.starts, self.bench.work.teeth)
        return self.base.change[rule.bracket].ratio == wanted

    @cached_property
    def feed_tells(self) -> bool:
        """Whether count or lead hang on the feed, as with prime counts and without a differential."""
        name = self.filled(Role.FEED)
        if name is None or self.outcome is None:
            return False
        first, *rest = self.base.change[name].gears
        other = self.base.changed({("gears", name): (first + 1, *rest)})
        outcome = self.bench.outcome(other, self.bench.running(other))
        return outcome is not None and (outcome.teeth, outcome.hand, outcome.lead) != (
            self.outcome.teeth, self.outcome.hand, self.outcome.lead,
        )  # fmt: skip

    def mounting(self, asked: Mapping[str, Fraction], exact: Iterable[str]) -> Changes | None:
        """Gears out of the drawer that give these signed ratios, as near as they can; None if there are none."""
        changes: dict[Key, Any] = {}
        standing, exact = self.base, set(exact)
        for bracket in asked:
            standing = standing.changed({("gears", bracket): (), ("idlers", bracket): ()})
        for bracket, ratio in asked.items():
            others = [
                teeth
                for name in self.bench.brackets
                if name in standing.change
                for teeth in standing.change[name].every
            ]
            found = self.bench.search(ratio, bracket, others, bracket in exact)
            if found is None:
                return None
            here: Changes = {("gears", bracket): found.gears, ("idlers", bracket): found.idlers}
            standing = standing.changed(here)
            changes.update(here)
        return changes


#: A head that lies so far across the teeth makes other marks stand out than those of the teeth (own judgement).
ACROSS_DEG = 5.0

#: A gear runs with its mate up to so much of helix angle that is wrong, and with a head off by so much (own judgement).
LEAN_THAT_RUNS_DEG, SWIVEL_THAT_RUNS_DEG = 0.1, 3.0


def _slipping(view: View) -> View:
    """The same cut with something giving way now and then: no two turns meet, and any number may be counted."""
    return replace(
        view, teeth=None, counts=frozenset(), spaces_meet=False, second_cut_falls_in=False, hob_turns=None,
        marks=frozenset({"cut away", "spoilt"}), weak_marks=frozenset(), meshes=False,
        lead=None, lead_mm=None, helix_deg=None, outside_deg=None, thickness=None,
    )  # fmt: skip


#: The numbers of a row of the fault table, by key.
Numbers = Mapping[str, Any]

Places = Callable[[Study, Numbers], Iterator[Slip]]
