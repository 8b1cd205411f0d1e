"""What is common to all members of a job that is planned: machine, drive, ways of setting it, drawers, what lies."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from handlead.kinematics.brackets.bracket import Bracket
from handlead.kinematics.brackets.drawer import DrawerSet, drawer_for
from handlead.kinematics.frame.exact import Ratio
from handlead.kinematics.frame.words import Feed
from handlead.kinematics.links.mounted import ChangeGears, Mounted, SetRatio
from handlead.kinematics.search.change_gears import kinds
from handlead.kinematics.search.ratios import compare
from handlead.kinematics.together.together import BracketPlace
from handlead.kinematics.train.setup import Setup
from handlead.kinematics.work.requirement import Work, swivel_deg
from handlead.machines.job_files.job_file import Job
from handlead.machines.machine_files.machine_file import Machine
from handlead.machines.setups.drawers import drawers_of, shortfalls
from handlead.machines.setups.templates import levers_for_relief
from handlead.machines.setups.ways import Needed, Way, find_ways

#: Feed meant where the job doesn't say: it asks no backlash to be taken up (common practice on old slides).
USUAL_FEED_WAY = Feed.CONVENTIONAL

#: Gears that a shop may get or make, by their teeth.
OBTAINABLE = range(15, 128)

#: Ratios of a loose bracket that are tried, those first that leave the simplest one to the index gears.
_MOST_LOOSE = 40


@dataclass(frozen=True)
class Wanted:
    """The job on its machine: `feed` is the way meant, `lying` what stands on the brackets before it is set.

    On the brackets that are `held` nothing else may stand; an idler may be put in or taken out.
    """

    job: Job
    machine: Machine
    drive: str
    feed: Feed
    ways: list[Way]
    gear_sets: list[DrawerSet]
    top: int
    lying: Mapping[str, Mounted]
    held: frozenset[str] = frozenset()

    @classmethod
    def of(
        cls, job: Job, machine: Machine, top: int, lying: Mapping[str, Mounted], held: Collection[str] = ()
    ) -> Wanted:
        """What the job asks of the machine. Raises `ValueError` for a bracket that is held with nothing on it."""
        for name in held:
            machine.check_bracket(name)
            if name not in lying:
                raise ValueError(f"{name!r} can't be held as it stands: nothing is known to stand there")
        drive = machine.normal_drive
        meant = job.setup.feed if job.setup and job.setup.feed else USUAL_FEED_WAY
        stand = {name: mounted.ratio for name, mounted in lying.items()}
        return cls(
            job, machine, drive, meant, find_ways(machine, drive, stand), drawers_of(machine), top, lying,
            frozenset(held),
        )  # fmt: skip

    def with_other_loose(self, work: Work) -> Iterator[Wanted]:
        """The same with one of the loose brackets of a series at another ratio that one pair gives.

        Those that leave the simplest ratio to the index gears come first.
        """
        stand = {name: ratio for way in self.ways for name, ratio in way.loose.items()}
        for name, now in stand.items():
            left = {ratio: self._left_to_index(work, now, ratio) for ratio in self._ratios_of(name) if ratio != now}
            for ratio in sorted(left, key=lambda one: (left[one].numerator * left[one].denominator, one))[:_MOST_LOOSE]:
                yield replace(self, ways=find_ways(self.machine, self.drive, {**stand, name: ratio}))

    def _ratios_of(self, name: str) -> set[Fraction]:
        """Every signed ratio that one pair of the gears owned gives in a bracket."""
        link, owned = self.bracket(name), set(drawer_for(name, self.gear_sets).teeth)
        if 1 not in link.pairs:
            return set()
        signs = [-1 if over else 1 for over in (False, True) if kinds({1}, link.idlers, over)]
        return {sign * Fraction(e, f) for sign in signs for e in owned for f in owned}

    def _left_to_index(self, work: Work, now: Fraction, ratio: Fraction) -> Fraction:
        """What the index gears have to give, in size, with a loose bracket at `ratio` that stands at `now`."""
        index = next(way.constants.index for way in self.ways if way.constants.index)
        return abs(index.ratio(self.job.hob.hand, self.job.hob.starts, work.teeth) * now / ratio)

    def keeps(self, change: Mapping[str, Mounted]) -> bool:
        """Whether gears leave what is held as it stands, and are there beside it."""
        if not all(name not in change or change[name].gears == self.lying[name].gears for name in self.held):
            return False
        every = {**{name: self.lying[name] for name in self.held}, **change}
        return not self.held or not any(shortfalls(self.machine, every))

    @property
    def held_words(self) -> str:
        """What is held, in words, for why there is no set-up; empty where nothing is."""
        held = [f"{name} is held at {Mounted(self.lying[name].gears)}" for name in sorted(self.held)]
        return "".join(f"; {words}" for words in held)

    def after(self, change: Mapping[str, Mounted]) -> Wanted:
        """The same once `change` stands on the brackets: loose pairs of a series stay as they are, if they may."""
        if not change:
            return self
        stand = {name: change[name].ratio for way in self.ways for name in way.loose if name in change}
        ways = find_ways(self.machine, self.drive, stand) if stand else self.ways
        return replace(self, lying={**self.lying, **change}, ways=ways)


    def on(self, machine: Machine) -> Wanted:
        """The same on the machine with other gears in its drawers."""
        return replace(self, machine=machine, gear_sets=drawers_of(machine))

    def bracket(self, name: str) -> ChangeGears:
        """The bracket called `name`."""
        link = self.machine.train.link(name)
        assert isinstance(link, ChangeGears)
        return link

    def place(self, name: str, ratio: Ratio, **rest: Any) -> BracketPlace:
        """A bracket to be filled so that it gives `ratio`, signed."""
        link = self.bracket(name)
        over = compare(ratio, 0) < 0
        return BracketPlace(
            name, -ratio if over else ratio, link.pairs, link.idlers, over,
            Bracket.of(link.bracket) if link.bracket else None,
            largest=link.largest if isinstance(link, SetRatio) else 0, **rest,
        )  # fmt: skip

    def setup(self, work: Work, demand: Needed, change: Mapping[str, Mounted]) -> Setup:
        """The set-up with these gears on the brackets, levers and head as they must stand."""
        swivel = Fraction(round(swivel_deg(work, self.job.hob) * 60), 60)
        levers = {
            name: position
            for name, position in demand.way.levers.items()
            if position != self.machine.levers[name].normal
        } | dict(levers_for_relief(self.machine, work))
        feed = self.feed if demand.slide == "axial" else None
        order = [link.name for link in self.machine.train.brackets if link.name in change]
        return Setup(self.drive, swivel, feed, levers, {name: change[name] for name in order})
