"""What can be done wrong at the machine, as exact changes to a set-up.

A `Standing` is everything that stood at the machine during a cut. A fault changes some of its
`Key`s, and each kind of change is one function of `CHANGES`: it lists every place at which it can
happen on this machine with this set-up. How common a fault is, and in which words it is told, stands
in a table elsewhere; here is only what it does.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cached_property
from itertools import combinations
from typing import Any, TypeVar

from handlead.kinematics.frame.words import Hand, swivel_words
from handlead.kinematics.gears.gear import MM_PER_INCH
from handlead.kinematics.law.light_cut import LightMarks, light_counts, light_marks
from handlead.kinematics.law.outcome import Outcome, predict_of_kind
from handlead.kinematics.train.links import Brake, ChangeGears, Differential, Mounted
from handlead.kinematics.train.setup import Key, Setup, changed, idlers_counted, words_of
from handlead.kinematics.train.train import Train
from handlead.kinematics.transfer.constants import Constants
from handlead.kinematics.transfer.response import Response, Running
from handlead.kinematics.transfer.roles import Role, roles
from handlead.kinematics.transfer.transfer import Transfer
from handlead.kinematics.work.requirement import HobData, Work
from handlead.kinematics.work.requirement import swivel_deg as swivel_wanted
from handlead.kinematics.work.sizes import hob_reference_diameter, outside_diameter

from .evidence import ONE_OUT, RUBBED, RUNS_OUT, TOO_THICK, Blank, View, view_of

T = TypeVar("T")

#: What a fault changes beside the set-up: ("stamps", bracket), ("hob", "hand" | "starts" | "module"), ("sheet",),
#: ("between cuts",), ("drive runs",) and ("hob stands",) 1 or -1, ("parted",) a link, ("slips",), ("miscounted",) by
#: how many at most, or ("beside",) a `Beside`.
Changes = Mapping[Key, Any]

#: What the sheet was worked out for, and what was done between cuts, unless a fault says otherwise.
THIS_JOB, NOTHING_DONE = "this job", "nothing"

#: What a person finds where all is as it should be.
AS_IT_SHOULD = "as it should be"

#: Teeth of an idler that nobody has named: the ratio doesn't depend on them.
ANY_IDLER = 30


@dataclass(frozen=True)
class Beside:
    """Something wrong beside the train: what has to be looked at, what is found there, and what the work shows."""

    looks_at: str
    found: str
    symptoms: frozenset[str]


@dataclass(frozen=True)
class Standing:
    """What stood at the machine during a cut: the set-up, with every lever named and the true teeth of its gears.

    `stamps` is what gears read where that is something else. `sheet` says what the set-up was worked out for,
    `between_cuts` what was done between two cuts. `drive_runs` is -1 where the drive turns
    the other way, `hob_stands` where the hob's cutting faces look the other way. `parted` names a link
    that passes nothing; `slips` is True where something gives way now and then. `miscounted` says by how
    many teeth the count may be wrong, nothing being wrong with the cut.
    """

    setup: Setup
    hob: HobData
    stamps: Mapping[str, tuple[int, ...]] = field(default_factory=dict)
    sheet: str = THIS_JOB
    between_cuts: str = NOTHING_DONE
    drive_runs: int = 1
    hob_stands: int = 1
    parted: str = ""
    slips: bool = False
    miscounted: int = 0
    beside: Beside | None = None

    @property
    def swivel_deg(self) -> Fraction:
        """Where the head stands, signed in the frame; level where nobody says."""
        return self.setup.swivel_deg or Fraction(0)

    @property
    def change(self) -> Mapping[str, Mounted]:
        """What is mounted in each bracket that isn't empty."""
        return self.setup.change

    @property
    def key(self) -> tuple[Any, ...]:
        """What two standings have in common exactly if nothing at the machine tells them apart."""
        setup = self.setup
        return (
            setup.drive, frozenset(setup.levers.items()),
            frozenset((name, mounted.gears, len(mounted.idlers)) for name, mounted in setup.change.items()),
            frozenset(self.stamps.items()),
            self.swivel_deg, self.hob, self.sheet, self.between_cuts, self.drive_runs, self.hob_stands,
            self.parted, self.slips, self.miscounted, self.beside,
        )  # fmt: skip

    def changed(self, changes: Changes) -> Standing:
        """The same standing with these changes made; their order doesn't matter."""
        hob: dict[str, Any] = {}
        plain: dict[str, Any] = {}
        stamps = dict(self.stamps)
        for (what, *where), value in changes.items():
            if what == "hob":
                hob[where[0]] = value
            elif what == "stamps":
                stamps[where[0]] = value
            elif not where:
                plain[what] = value
        setup = changed(self.setup, changes)
        # Written out: thousands are made for one diagnosis, and `replace` takes several times as long.
        return Standing(
            setup, other_hob(self.hob, **hob) if hob else self.hob,
            {name: of for name, of in stamps.items() if name in setup.change},
            plain.get("sheet", self.sheet), plain.get("between cuts", self.between_cuts),
            plain.get("drive runs", self.drive_runs), plain.get("hob stands", self.hob_stands),
            plain.get("parted", self.parted), plain.get("slips", self.slips),
            plain.get("miscounted", self.miscounted), plain.get("beside", self.beside),
        )  # fmt: skip


def other_hob(
    hob: HobData, *, hand: Hand | None = None, starts: int | None = None, module: Fraction | None = None
) -> HobData:
    """The hob that was taken instead: its lead angle goes with starts and module, its diameter being the same."""
    starts, module = starts or hob.starts, module or hob.module_n
    gamma = hob.lead_angle_deg
    if gamma is not None and (starts, module) != (hob.starts, hob.module_n):
        sine = math.sin(math.radians(gamma)) * float(starts * module / (hob.starts * hob.module_n))
        gamma = Fraction(f"{math.degrees(math.asin(min(sine, 0.99))):.12f}")
    return replace(hob, hand=hand or hob.hand, starts=starts, module_n=module, lead_angle_deg=gamma)


@dataclass(frozen=True)
class Sheet:
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
class Bench:
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
    ranges: tuple[Sheet, ...]
    others: tuple[Sheet, ...]
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

    def blank(self, hob: HobData) -> Blank:
        """What of the drawing's blank, and of this hob, enters what is seen."""
        diameter = hob_reference_diameter(self.work, hob)
        return Blank(
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
class Place:
    """A place at which a kind of change can happen: what it changes there, and how much likelier it is than others."""

    where: str
    detail: str
    changes: Changes
    likelihood: float = 1


@dataclass(frozen=True)
class Study:
    """A set-up under study, with what several kinds of change want to know of it."""

    bench: Bench
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
Places = Callable[[Study, Numbers], Iterator[Place]]


def changes_words(changes: Changes) -> str:
    """Changes in words: ``24/58 · 48/40 in index gears``, ``1 idler in feed gears``, ``lever range at low``."""
    return "; ".join(_change_words(key, value) for key, value in changes.items())


def undone_words(base: Standing, changes: Changes) -> str:
    """What stands in the set-up in place of these changes, in words: ``24/58 · 48/40, 1 idler in index gears``."""
    words: list[str] = []
    for what, *where in changes:
        match what, *where:
            case ("gears" | "idlers", bracket):
                mounted = base.change.get(bracket)
                words.append(f"{counted_words(mounted)} in {bracket}" if mounted else f"nothing in {bracket}")
            case "lever", name:
                words.append(f"lever {name} to {base.setup.levers[name]}")
            case ("swivel",):
                words.append(f"the head to {swivel_words(float(base.swivel_deg))}")
            case "hob", key:
                value = {"hand": base.hob.hand, "starts": base.hob.starts, "module": base.hob.module_n}[key]
                words.append(_change_words((what, key), value))
    return "; ".join(dict.fromkeys(words))


def counted_words(mounted: Mounted) -> str:
    """Gears as they lie there, with how many idlers: ``24/58 · 48/40, 1 idler``; which ones they are nobody knows."""
    return f"{mounted.pairs_text}, {idlers_counted(len(mounted.idlers))}"


def _change_words(key: Key, value: Any) -> str:
    match key:
        case "hob", "hand":
            return f"a {value.word}-hand hob"
        case "hob", "starts":
            return f"a hob of {value} start{'' if value == 1 else 's'}"
        case "hob", "module":
            return f"a hob of {module_words(value)}"
        case ("drive runs",):
            return "the drive running the way it is meant" if value > 0 else "the drive running the other way"
        case ("hob stands",):
            return "the hob's cutting faces the right way" if value > 0 else "the hob end for end"
    return words_of(key, value)


# ---------------------------------------------------------------- gears and idlers


def _idler_out(study: Study, numbers: Numbers) -> Iterator[Place]:
    for bracket, mounted in study.base.change.items():
        if idlers := mounted.idlers:
            detail = f"{idlers_counted(len(idlers) - 1)} where there should be {len(idlers)}"
            yield Place(bracket, detail, {("idlers", bracket): idlers[:-1]})


def _idler_in(study: Study, numbers: Numbers) -> Iterator[Place]:
    for bracket, mounted in study.base.change.items():
        idlers = mounted.idlers
        detail = f"{idlers_counted(len(idlers) + 1)} where there should be {len(idlers) or 'none'}"
        extra = _idler_for(study, bracket, idlers)
        if extra is not None:
            yield Place(bracket, detail, {("idlers", bracket): (*idlers, extra)})


def _idler_for(study: Study, bracket: str, idlers: tuple[int, ...]) -> int | None:
    """One more idler that is at hand and fits the bracket; None where none does."""
    unlisted = not study.bench.owned.get(bracket)
    spare = [ANY_IDLER] if unlisted else study.bench.spare(bracket, study.base)
    for teeth in sorted(spare, key=lambda teeth: (abs(teeth - ANY_IDLER), teeth)):
        if study.bench.can_hold(bracket, study.base.changed({("idlers", bracket): (*idlers, teeth)})):
            return teeth
    return None


def _gear_replaced(study: Study, numbers: Numbers) -> Iterator[Place]:
    for bracket, mounted in study.base.change.items():
        spare = sorted(study.bench.spare(bracket, study.base))
        for index, teeth in enumerate(mounted.gears):
            beside = _beside(teeth, spare)
            for other in spare:
                if other == teeth:
                    continue
                now = mounted.with_gear(index, other)
                detail = f"{other} stands where {teeth} should: {now.pairs_text}"
                alike = other in beside or _looks_like(teeth, other)
                yield Place(bracket, detail, {("gears", bracket): now.gears}, numbers["likely"] if alike else 1)


def _beside(teeth: int, spare: Sequence[int]) -> set[int]:
    """The gears that lie next to this one in a drawer kept in order."""
    below, above = [z for z in spare if z < teeth], [z for z in spare if z > teeth]
    return {*below[-1:], *above[:1]}


def _looks_like(teeth: int, other: int) -> bool:
    """Whether the two numbers are mistaken for each other: figures exchanged, or 3/8, 6/9, 1/7, 0/6."""
    ours, theirs = str(teeth), str(other)
    if len(ours) != len(theirs):
        return False
    differing = [frozenset(pair) for pair in zip(ours, theirs, strict=True) if pair[0] != pair[1]]
    return sorted(ours) == sorted(theirs) or (
        len(differing) == 1
        and differing[0] in (frozenset("38"), frozenset("69"), frozenset("17"), frozenset("06"))
    )


def _gears_exchanged(study: Study, numbers: Numbers) -> Iterator[Place]:
    for bracket, mounted in study.base.change.items():
        gears = mounted.gears
        for one, other in combinations(range(len(gears)), 2):
            now = mounted.exchanged(one, other)
            if now.ratio != mounted.ratio and now != mounted.turned_round():
                detail = f"{gears[one]} and {gears[other]} are exchanged: {now.pairs_text}"
                yield Place(bracket, detail, {("gears", bracket): now.gears})


def _gears_exchanged_between(study: Study, numbers: Numbers) -> Iterator[Place]:
    for (one, ours), (other, theirs) in combinations(study.base.change.items(), 2):
        if not _share(study.bench, one, other):
            continue
        for place, teeth in enumerate(ours.gears):
            for spot, found in enumerate(theirs.gears):
                if teeth != found:
                    yield Place(
                        f"{one} and {other}",
                        f"{teeth} of {one} and {found} of {other} are exchanged",
                        {
                            ("gears", one): ours.with_gear(place, found).gears,
                            ("gears", other): theirs.with_gear(spot, teeth).gears,
                        },
                    )


def _share(bench: Bench, one: str, other: str) -> bool:
    """Whether a gear of one bracket fits the other, as far as the drawers tell."""
    ours, theirs = set(bench.owned.get(one, ())), set(bench.owned.get(other, ()))
    return bool(ours & theirs) or not (ours and theirs)


def _sets_exchanged(study: Study, numbers: Numbers) -> Iterator[Place]:
    for (one, ours), (other, theirs) in combinations(study.base.change.items(), 2):
        if _share(study.bench, one, other) and ours.gears != theirs.gears:
            yield Place(
                f"{one} and {other}",
                f"{theirs.pairs_text} in {one}, {ours.pairs_text} in {other}",
                {
                    ("gears", one): theirs.gears, ("gears", other): ours.gears,
                    ("idlers", one): theirs.idlers, ("idlers", other): ours.idlers,
                },
            )  # fmt: skip


def _turned(study: Study, numbers: Numbers) -> Iterator[Place]:
    for bracket, mounted in study.base.change.items():
        if mounted.size != 1:
            then = mounted.turned_round()
            detail = f"{then.pairs_text} in place of {mounted.pairs_text}"
            yield Place(bracket, detail, {("gears", bracket): then.gears})


def _gear_off(study: Study, numbers: Numbers) -> Iterator[Place]:
    for bracket, mounted in study.base.change.items():
        for index, teeth in enumerate(mounted.gears):
            for by in numbers["by"]:
                true = teeth + int(by)
                if true > 1:
                    detail = f"the gear stamped {teeth} has {true} teeth"
                    yield Place(
                        bracket, detail,
                        {("gears", bracket): mounted.with_gear(index, true).gears, ("stamps", bracket): mounted.gears},
                    )  # fmt: skip


def _emptied(study: Study, numbers: Numbers) -> Iterator[Place]:
    for bracket, mounted in study.base.change.items():
        detail = f"{mounted.pairs_text} isn't mounted"
        yield Place(bracket, detail, {("gears", bracket): (), ("idlers", bracket): ()})


# ---------------------------------------------------------------- levers and feed


def _lever(study: Study, numbers: Numbers) -> Iterator[Place]:
    for place in _positions(study):
        if not _reverses_feed(study, place):
            yield place


def _feed_reversed(study: Study, numbers: Numbers) -> Iterator[Place]:
    for place in _positions(study):
        if _reverses_feed(study, place):
            yield place


def _positions(study: Study) -> Iterator[Place]:
    for name, positions in study.bench.levers.items():
        levers = study.base.setup.levers
        now = levers[name]
        for position in positions:
            if position != now and study.bench.states({**levers, name: position}) is not None:
                yield Place(name, f"it stands at {position}, not at {now}", {("lever", name): position})


def _reverses_feed(study: Study, place: Place) -> bool:
    now, then = study.running, study.bench.running(study.base.changed(place.changes))
    if now is None or then is None or now.rates is None or then.rates is None:
        return False
    return bool(now.rates.axial) and _feed(then) == -_feed(now) and now.hob_way == then.hob_way


def _feed(running: Running) -> Fraction:
    rates = running.rates
    assert rates is not None
    return rates.axial / abs(rates.table) if rates.table else Fraction(0)


def _feed_changed(study: Study, numbers: Numbers) -> Iterator[Place]:
    bracket = study.filled(Role.FEED)
    mounted = study.base.change.get(bracket or "")
    if bracket is None or mounted is None or not study.feed_tells:
        return
    for times in numbers["times"]:
        changes = study.mounting({bracket: mounted.ratio * times}, [bracket])
        if changes is not None:
            gears = Mounted(changes["gears", bracket]).pairs_text
            yield Place(bracket, f"{gears}, a feed {_times(times)} of what it should be", changes)


def _times(times: Fraction) -> str:
    return f"{float(times):.3g} times" if times > 1 else str(times)


# ---------------------------------------------------------------- hob and swivel


def _hob_hand(study: Study, numbers: Numbers) -> Iterator[Place]:
    other = study.base.hob.hand.other
    yield Place("hob", f"a {other.word}-hand hob is on the arbor", {("hob", "hand"): other})


def _hob_starts(study: Study, numbers: Numbers) -> Iterator[Place]:
    for starts in numbers["starts"]:
        if int(starts) != study.base.hob.starts:
            detail = f"a hob of {int(starts)} start{'' if starts == 1 else 's'} is on the arbor"
            # The more starts, the fewer such hobs a rack holds.
            yield Place("hob", detail, {("hob", "starts"): int(starts)}, 1 / float(starts) ** 2)


def _hob_module(study: Study, numbers: Numbers) -> Iterator[Place]:
    module = study.base.hob.module_n
    by_pitch = is_pitch(module)
    for size in study.bench.modules:
        wide = max(size / module, module / size)
        same = is_pitch(size) == by_pitch
        if size != module and wide <= numbers["within"] and same == (numbers["system"] == "same"):
            detail = f"a hob of {module_words(size)} is on the arbor"
            # The nearer the size, the likelier the mistake.
            yield Place("hob", detail, {("hob", "module"): size}, 1 / (1 + 10 * float(wide - 1)))


def is_pitch(module: Fraction) -> bool:
    """Whether a size of tooth is a whole or half diametral pitch rather than a module."""
    # An inch is 127/5 mm, so that a size taken from one keeps the 127.
    return (2 * MM_PER_INCH / module).denominator == 1 and module.numerator % 127 == 0


def module_words(module: Fraction) -> str:
    """``module 2.5``, or ``10 diametral pitch``."""
    if is_pitch(module):
        return f"{float(MM_PER_INCH / module):g} diametral pitch"
    return f"module {float(module):g}"


def _without_lead_angle(study: Study, numbers: Numbers) -> Iterator[Place]:
    yield from _swivelled(study, -_lead_angle(study))


def _with_lead_angle_reversed(study: Study, numbers: Numbers) -> Iterator[Place]:
    yield from _swivelled(study, -2 * _lead_angle(study))


def _lead_angle(study: Study) -> Fraction:
    """The hob's lead angle, signed as it enters the swivel."""
    return Fraction(f"{study.base.hob.hand.value * (study.base.hob.gamma_deg or 0):.12f}")


def _swivel_other_way(study: Study, numbers: Numbers) -> Iterator[Place]:
    yield from _swivelled(study, -2 * study.base.swivel_deg)


def _swivel_off(study: Study, numbers: Numbers) -> Iterator[Place]:
    for by in numbers["by"]:
        for sign in (1, -1):
            yield from _swivelled(study, sign * by, 1 / (1 + float(by)))


def _swivelled(study: Study, by: Fraction, likelihood: float = 1) -> Iterator[Place]:
    now = study.base.swivel_deg + by
    if by and abs(now) < 90:
        yield Place("swivel", f"it stands at {swivel_words(float(now))}", {("swivel",): now}, likelihood)


# ---------------------------------------------------------------- sheet and drawing


def _sheet(
    study: Study, asked: Mapping[str, Fraction], exact: Iterable[str], sheet: str, detail: str,
    swivel: Fraction | None = None, likelihood: float = 1,
) -> Iterator[Place]:  # fmt: skip
    """A set-up worked out for something else: its gears from the drawer, and its swivel."""
    asked = {bracket: ratio.limit_denominator(10**9) for bracket, ratio in asked.items()}
    changes = study.mounting(asked, exact)
    if changes is None or (not asked and swivel is None):
        return
    if swivel is not None:
        changes = {**changes, ("swivel",): swivel}
    gears = "; ".join(f"{Mounted(changes['gears', bracket]).pairs_text} in {bracket}" for bracket in asked)
    yield Place(
        "set-up sheet", f"{detail}{': ' if gears else ''}{gears}", {**changes, ("sheet",): sheet}, likelihood
    )


def _index_for(study: Study, teeth: int, rest: int = 1) -> dict[str, Fraction] | None:
    """Index gears (signed ratio) for another count, `rest` being the sign of the helix's part; None if untold."""
    work, real = study.bench.work, study.real_teeth
    bracket = study.filled(Role.INDEX)
    mounted = study.base.change.get(bracket or "")
    if bracket is None or mounted is None or real is None:
        return None
    if _differential(study) is not None:
        return {bracket: mounted.ratio * Fraction(work.teeth, teeth)} if study.is_plain else None
    wanted = teeth + rest * (real - work.teeth)
    return {bracket: mounted.ratio * real / wanted} if wanted > 0 else None


def _differential(study: Study) -> tuple[str, Mounted] | None:
    """The filled bracket that makes the helix, if one does."""
    bracket = study.filled(Role.DIFFERENTIAL)
    mounted = study.base.change.get(bracket) if bracket and study.bench.work.is_helical else None
    return (bracket, mounted) if bracket and mounted else None


def _teeth_power(study: Study) -> int:
    """The power of the count in the differential's rule."""
    rule = next((rule for rule in study.bench.constants.differentials if rule.constant is not None), None)
    return rule.teeth_power if rule else 1


def _with_helix_for(
    study: Study, asked: dict[str, Fraction], teeth: int, sign: int, lean: float = 1.0
) -> None:
    """Add what the helix asks for: differential gears, or feed gears where there is no differential.

    `lean` is the other angle's sine over the drawing's.
    """
    found, work = _differential(study), study.bench.work
    change = Fraction(lean) if lean != 1 else Fraction(1)
    if found is not None:
        bracket, mounted = found
        count = Fraction(teeth, work.teeth) ** (_teeth_power(study) - 1)
        asked[bracket] = mounted.ratio * change * count * sign
    elif change != 1 and work.is_helical and (feed := study.filled(Role.FEED)):
        mounted_feed = study.base.change.get(feed)
        assert mounted_feed is not None
        asked[feed] = mounted_feed.ratio / change


def _drawing_teeth(study: Study, numbers: Numbers) -> Iterator[Place]:
    work = study.bench.work
    counts = {work.teeth + int(by): 1.0 for by in numbers["by"]}
    turned = int(str(work.teeth)[::-1])
    if turned != work.teeth and len(str(turned)) == len(str(work.teeth)):
        counts.setdefault(turned, 0.5)
    for teeth, likelihood in counts.items():
        asked = _index_for(study, teeth) if teeth > 3 else None
        if asked is not None:
            exact = list(asked)
            _with_helix_for(study, asked, teeth, 1)
            asked = {name: ratio for name, ratio in asked.items() if not _mounted_now(study, name, ratio)}
            yield from _sheet(
                study, asked, exact, f"{teeth} teeth", f"worked out for {teeth} teeth", likelihood=likelihood
            )


def _mounted_now(study: Study, bracket: str, ratio: Fraction) -> bool:
    mounted = study.base.change.get(bracket)
    return mounted is not None and mounted.ratio == ratio


def _drawing_helix(study: Study, numbers: Numbers) -> Iterator[Place]:
    work = study.bench.work
    if not work.is_helical:
        return
    beta = work.beta_deg
    angles = {beta + float(by): 1 / abs(float(by)) for by in numbers["by"]}
    # The angle from the other side: what a worm's drawing calls the lead angle.
    angles[90 - beta] = 0.5
    for angle, likelihood in angles.items():
        if 0.5 < angle < 80 and abs(angle - beta) > 1e-6:
            asked: dict[str, Fraction] = {}
            lean = math.sin(math.radians(angle)) / math.sin(math.radians(beta))
            _with_helix_for(study, asked, work.teeth, 1, lean)
            detail = f"worked out for {angle:.6g}°"
            if asked:
                yield from _sheet(
                    study, asked, (), f"{angle:.6g}° helix", detail, _swivel_for(study, angle, 1), likelihood
                )


def _swivel_for(study: Study, angle: float, sign: int) -> Fraction:
    """The swivel for another helix angle, with the work's hand or (`sign` -1) the other one, to the minute."""
    hand = study.bench.work.hand.value if study.bench.work.hand else 0
    hob = study.base.hob
    return Fraction(round(60 * (hob.hand.value * (hob.gamma_deg or 0) - sign * hand * angle)), 60)


def _drawing_hand(study: Study, numbers: Numbers) -> Iterator[Place]:
    work = study.bench.work
    if work.is_helical and work.hand:
        yield from _for_other_gear(study, work.teeth, work.hand.other, f"the {work.hand.other.word} hand")


def _mate(study: Study, numbers: Numbers) -> Iterator[Place]:
    work, mate = study.bench.work, study.bench.mate
    if mate is not None and (mate.teeth, mate.hand) != (work.teeth, work.hand):
        yield from _for_other_gear(study, mate.teeth, mate.hand, f"the mate, {mate.teeth} teeth")


def _mate_bracket(study: Study, numbers: Numbers) -> Iterator[Place]:
    """The other member's gears left in one bracket, the rest being this member's."""
    mate = study.bench.mate
    if mate is None:
        return
    for bracket, ratio in _asked_for(study, mate.teeth, mate.hand).items():
        exact = [bracket] if bracket == study.filled(Role.INDEX) else []
        changes = study.mounting({bracket: ratio}, exact)
        mounted = study.base.change.get(bracket)
        if changes is None or mounted is None:
            continue
        same_gears = Mounted(mounted.gears, changes[("idlers", bracket)])
        if same_gears.ratio == ratio:
            # Only the sense is another: whoever changes members leaves the gears and forgets the idler.
            changes = {("idlers", bracket): same_gears.idlers}
        now = Mounted(changes.get(("gears", bracket), mounted.gears), changes[("idlers", bracket)])
        detail = f"{counted_words(now)}, as the mate of {mate.teeth} teeth has it"
        yield Place(bracket, detail, changes)


def _asked_for(study: Study, teeth: int, hand: Hand | None) -> dict[str, Fraction]:
    """The signed ratios that another gear of this pair asks for, where they aren't mounted already."""
    work = study.bench.work
    turned_over = -1 if hand is not None and hand is not work.hand else 1
    asked: dict[str, Fraction] = {}
    if teeth != work.teeth or (turned_over < 0 and _differential(study) is None):
        asked |= _index_for(study, teeth, turned_over) or {}
    _with_helix_for(study, asked, teeth, turned_over)
    return {name: ratio for name, ratio in asked.items() if not _mounted_now(study, name, ratio)}


def _for_other_gear(study: Study, teeth: int, hand: Hand | None, sheet: str) -> Iterator[Place]:
    work = study.bench.work
    turned_over = -1 if hand is not None and hand is not work.hand else 1
    if (teeth != work.teeth or (turned_over < 0 and _differential(study) is None)) and (
        _index_for(study, teeth, turned_over) is None
    ):
        return
    asked = _asked_for(study, teeth, hand)
    index = study.filled(Role.INDEX)
    exact = [index] if index in asked and index is not None else []
    yield from _sheet(
        study, asked, exact, sheet, f"worked out for {sheet}", _swivel_for(study, work.beta_deg, turned_over)
    )


def _transverse(study: Study, numbers: Numbers) -> Iterator[Place]:
    work = study.bench.work
    if not work.is_helical:
        return
    cosine = math.cos(math.radians(work.beta_deg))
    for lean, taken in (
        (cosine, "the normal module taken for transverse"),
        (1 / cosine, "the transverse module taken for normal"),
    ):
        asked: dict[str, Fraction] = {}
        # The lead goes with the normal module that was reckoned with: m cos b in place of m, or m / cos b.
        _with_helix_for(study, asked, work.teeth, 1, 1 / lean)
        yield from _sheet(study, asked, (), taken, f"worked out with {taken}")


def _range_constant(study: Study, numbers: Numbers) -> Iterator[Place]:
    for sheet in study.bench.ranges:
        yield from _by_rules(study, sheet)


def _other_machine(study: Study, numbers: Numbers) -> Iterator[Place]:
    for sheet in study.bench.others:
        yield from _by_rules(study, sheet)


def _by_rules(study: Study, sheet: Sheet) -> Iterator[Place]:
    """The gears worked out by other rules, in size; their senses are as this machine's plate says."""
    ours, theirs = study.bench.constants, sheet.constants
    asked: dict[str, Fraction] = {}
    if ours.index is None or theirs.index is None:
        return
    index = study.base.change.get(ours.index.bracket)
    if index is not None and abs(ours.index.constant) != abs(theirs.index.constant):
        asked[ours.index.bracket] = index.ratio * abs(theirs.index.constant / ours.index.constant)
    exact = list(asked)
    found = _differential(study)
    if found is not None and (change := _differential_change(study, theirs)) not in (None, 1):
        assert change is not None
        asked[found[0]] = found[1].ratio * change
    if asked:
        yield from _sheet(study, asked, exact, sheet.name, f"worked out by the rules of {sheet.name}")


def _differential_change(study: Study, theirs: Constants) -> Fraction | None:
    """Their differential gears over ours, for the same gear."""
    rules = [
        next(
            (rule for rule in constants.differentials if rule.constant is not None and rule.slide == "axial"),
            None,
        )
        for constants in (study.bench.constants, theirs)
    ]
    ours, others = rules
    outcome = study.outcome
    if ours is None or others is None or outcome is None or ours.constant is None or others.constant is None:
        return None
    values = (study.bench.work.teeth, study.base.hob.starts, outcome.sliding_feed or 1)
    powers = zip(
        values,
        (ours.teeth_power, ours.starts_power, ours.feed_power),
        (others.teeth_power, others.starts_power, others.feed_power),
        strict=True,
    )
    change = others.constant / ours.constant
    for value, our_power, their_power in powers:
        change *= Fraction(value) ** (their_power - our_power)
    return change


# ---------------------------------------------------------------- between two cuts


def _between_cuts(study: Study, numbers: Numbers) -> Iterator[Place]:
    if numbers.get("only_where") and not study.feed_tells:
        return
    done = str(numbers["done"])
    yield Place("between two cuts", done, {("between cuts",): done})


# ---------------------------------------------------------------- beside the train


def _drive_reversed(study: Study, numbers: Numbers) -> Iterator[Place]:
    yield Place("drive", "it turns the other way", {("drive runs",): -1})


def _hob_reversed(study: Study, numbers: Numbers) -> Iterator[Place]:
    yield Place("hob", "its cutting faces look the other way", {("hob stands",): -1})


def _parted(study: Study, numbers: Numbers) -> Iterator[Place]:
    """Each link but change gears that could pass nothing, where that alters anything."""
    for link in study.bench.train.links:
        if isinstance(link, ChangeGears | Differential | Brake):
            continue
        changes: Changes = {("parted",): link.name}
        if study.bench.running(study.base.changed(changes)) != study.running:
            yield Place(link.name, "it passes nothing", changes)


def _slips(study: Study, numbers: Numbers) -> Iterator[Place]:
    yield Place("", "no two turns of the table are alike", {("slips",): True})


def _miscounted(study: Study, numbers: Numbers) -> Iterator[Place]:
    yield Place("blank", "nothing is wrong but the count", {("miscounted",): int(numbers["most"])})


def _beside_train(study: Study, numbers: Numbers) -> Iterator[Place]:
    looks_at, found = str(numbers["looks_at"]), str(numbers["found"])
    yield Place("", found, {("beside",): Beside(looks_at, found, frozenset(map(str, numbers["shows"])))})


#: Every kind of change, by its name in the table of faults.
CHANGES: Mapping[str, Places] = {
    "idler out": _idler_out,
    "idler in": _idler_in,
    "gear replaced": _gear_replaced,
    "gears exchanged": _gears_exchanged,
    "gears exchanged between": _gears_exchanged_between,
    "sets exchanged": _sets_exchanged,
    "turned end for end": _turned,
    "gear off": _gear_off,
    "bracket emptied": _emptied,
    "lever elsewhere": _lever,
    "feed reversed": _feed_reversed,
    "feed changed": _feed_changed,
    "hob hand": _hob_hand,
    "hob starts": _hob_starts,
    "hob module": _hob_module,
    "swivel without lead angle": _without_lead_angle,
    "swivel with lead angle reversed": _with_lead_angle_reversed,
    "swivel other way": _swivel_other_way,
    "swivel off": _swivel_off,
    "range constant": _range_constant,
    "other machine": _other_machine,
    "drawing teeth": _drawing_teeth,
    "drawing helix": _drawing_helix,
    "drawing hand": _drawing_hand,
    "mate": _mate,
    "mate bracket": _mate_bracket,
    "transverse module": _transverse,
    "between cuts": _between_cuts,
    "drive reversed": _drive_reversed,
    "hob reversed": _hob_reversed,
    "link parted": _parted,
    "slips": _slips,
    "miscounted": _miscounted,
    "beside": _beside_train,
}


@dataclass(frozen=True)
class FaultKind:
    """A row of the table of faults: `weight` is how often it is met among a hundred wrong cuts.

    `change` is a key of `CHANGES`, `numbers` what it wants to know, `check` the look that finds it. `cure`
    is what to do about it, with {right} for what should stand there and {where} for the place.
    """

    kind: str
    change: str
    meaning: str
    weight: float
    is_common: bool
    check: str
    cure: str = ""
    numbers: Numbers = field(default_factory=dict, hash=False)


@dataclass(frozen=True)
class Fault:
    """A fault at one place: `chance` is its share of a hundred wrong cuts on this machine and set-up."""

    kind: FaultKind
    where: str
    detail: str
    changes: Changes = field(hash=False)
    chance: float = 0.0


def find_faults(kinds: Iterable[FaultKind], study: Study) -> tuple[Fault, ...]:
    """Every fault that can have been made with this set-up on this machine.

    The places of a kind share its weight. Raises `ValueError` for a change that isn't in `CHANGES`.
    """
    faults: list[Fault] = []
    for kind in kinds:
        if kind.change not in CHANGES:
            raise ValueError(
                f"change of fault {kind.kind!r} is {kind.change!r}; it must be one of {', '.join(CHANGES)}"
            )
        places = [place for place in CHANGES[kind.change](study, kind.numbers) if _can_be(study, place)]
        total = sum(place.likelihood for place in places)
        faults += [
            Fault(kind, place.where, place.detail, place.changes, kind.weight * place.likelihood / total)
            for place in places
        ]
    return tuple(faults)


def _can_be(study: Study, place: Place) -> bool:
    """Whether the brackets that it changes take what would then be in them."""
    brackets = {where[0] for what, *where in place.changes if what in ("gears", "idlers")}
    if not brackets:
        return True
    standing = study.base.changed(place.changes)
    return all(study.bench.can_hold(bracket, standing) for bracket in brackets)


def combined(first: Fault, second: Fault) -> Changes | None:
    """Both faults' changes together; None where they change the same thing."""
    if first.changes.keys() & second.changes.keys():
        return None
    return {**first.changes, **second.changes}


def meant_swivel(work: Work, hob: HobData) -> Fraction:
    """The swivel that the work asks for, to the minute of a vernier."""
    return Fraction(round(60 * swivel_wanted(work, hob)), 60)
