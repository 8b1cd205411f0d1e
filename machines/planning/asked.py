"""What a job asks of feed and hob speed, how near a set-up comes to it, and what stands against more."""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

from handlead.kinematics.practice import finish
from handlead.kinematics.practice.cutdata import Proposal
from handlead.kinematics.work.requirement import HobData, Work, gear_of
from handlead.kinematics.work.sizes import hob_tip_diameter
from handlead.machines.job_files.job_file import Cutting, Job
from handlead.machines.machine_files.machine_file import Limit, Machine
from handlead.machines.practice.cut_proposal import feed_wanted, propose_cut, speed_window
from handlead.machines.toml.units import feed as feed_text
from handlead.machines.toml.units import height

#: A feed or speed that the job asks for holds within this part of it; one that is only proposed is a starting value,
#: and what is so near to it does as well (common practice: the steps of a feed chart are no finer).
_ASKED, _PROPOSED = math.log(1.05), math.log(1.15)

#: Beyond that, one step worse for every so much.
_STEP = math.log(1.1)

#: Coarsest feed offered, in mm per table turn, where neither machine nor job asks for more (common practice: nobody
#: roughs coarser on the largest machines).
USUAL_GREATEST_FEED = Fraction(8)

#: Of the feed meant, the finest and the coarsest that are offered at all: a fine feed costs time alone.
_FINEST, _COARSEST = Fraction(1, 40), Fraction(3, 2)


@dataclass(frozen=True)
class FeedAsked:
    """The feed meant, in mm per table turn: `aim` is what is searched for, `said` what the job itself asks, if it does.

    Feeds from `least` to `most` are offered at all; `machine_most` is the machine's limit; `mark_most` the coarsest
    feed whose marks stay within `mark_um`, None where the job doesn't limit them.
    """

    aim: Fraction
    said: Fraction | None
    least: Fraction
    most: Fraction
    limit: Limit | None = None
    mark_most: Fraction | None = None
    mark_um: Fraction | None = None

    @classmethod
    def of(cls, job: Job, work: Work, machine: Machine, proposal: Proposal | str) -> FeedAsked:
        """What the job asks, or else what is proposed, within what the machine and the marks allow."""
        cutting, limit = job.cutting, machine.limits.feed_mm_per_table_turn
        meant = feed_wanted(cutting, proposal)
        mark_most = _coarsest_for_marks(work, job.hob, cutting)
        aim = meant if mark_most is None else min(meant, mark_most)
        low, high = (limit[0] or Fraction(0), limit[1]) if limit else (Fraction(0), None)
        if high is not None:
            aim = min(max(aim, low), high)
        elif work.kind == "worm wheel":
            high = aim * _COARSEST
        else:
            high = max(aim * _COARSEST, USUAL_GREATEST_FEED)
        least, most = max(aim * _FINEST, low), high
        return cls(aim, cutting.feed, least, most, limit, mark_most, cutting.mark_um)

    def over_marks(self, feed: Fraction) -> bool:
        """Whether the feed leaves deeper marks than the job allows."""
        return self.mark_most is not None and feed > self.mark_most * Fraction(1001, 1000)

    def steps(self, feed: Fraction) -> int:
        """How far a feed is from what is meant: 0 where it holds, a step more for every tenth beyond."""
        off = abs(math.log(feed / self.aim)) if feed > 0 else 99.0
        near = _PROPOSED if self.said is None else _ASKED
        return 0 if off <= near else 1 + int((off - near) / _STEP)

    def broken(self, feed: Fraction) -> tuple[bool, int]:
        """What of it isn't kept: the marks, and the feed where the job asks for it or it is out of all proportion."""
        steps, size = self.steps(feed), feed / self.aim
        far = self.said is not None or not Fraction(1, 2) <= size <= Fraction(3, 2)
        return self.over_marks(feed), steps if far else 0

    def spans(self) -> list[tuple[Fraction, Fraction]]:
        """Ranges of feed to be searched in turn: what holds, what is ever farther off, all that is offered."""
        near = Fraction(math.exp(_PROPOSED if self.said is None else _ASKED)).limit_denominator(1000)
        coarsest = self.most if self.mark_most is None else min(self.most, self.mark_most)
        wide = [(self.aim / part, self.aim * part) for part in (near, Fraction(3, 2), Fraction(3))]
        wide.append((self.least, self.most))
        first = [(max(low, self.least), min(high, coarsest)) for low, high in wide]
        spans = [span for span in first if span[0] <= span[1]]
        if coarsest < self.most:
            spans.append((self.least, self.most))
        return list(dict.fromkeys(spans))

    def against(self, feed: Fraction | None, job: Job, work: Work) -> list[str]:
        """What has to be said of a feed that isn't what was asked; nothing where it is."""
        if not feed:
            return []
        got, words = feed_text(feed, job.units), []
        if self.said is not None and abs(math.log(feed / self.said)) > _ASKED:
            words.append(f"A feed of {feed_text(self.said, job.units)} is asked for; {self._why(job.units)} {got}.")
        elif self.said is None and self.broken(feed)[1]:
            words.append(
                f"A feed of {feed_text(self.aim, job.units)} is proposed; "
                f"no feed gears were found that come nearer beside the others than {got}."
            )
        if self.over_marks(feed) and self.mark_um is not None:
            mark = height(_mark(feed, work, job.hob), job.units)
            allowed = height(float(self.mark_um), job.units)
            words.append(f"Feed marks of {allowed} are allowed; the finest feed found is {got} and leaves {mark}.")
        return words

    def _why(self, units: str) -> str:
        """What stands against the feed asked for, up to the figure of what it gives way to."""
        assert self.said is not None
        if self.limit and self.said > self.limit[1]:
            return f"the machine takes at most {feed_text(self.limit[1], units)}, and the nearest found is"
        if self.limit and self.limit[0] and self.said < self.limit[0]:
            return f"the machine takes at least {feed_text(self.limit[0], units)}, and the nearest found is"
        if self.mark_most is not None and self.said > self.mark_most:
            most = feed_text(self.mark_most, units)
            return f"the marks allowed ask for at most {most}, and the nearest found is"
        return "no feed gears were found that come nearer beside the others than"


def _coarsest_for_marks(work: Work, hob: HobData, cutting: Cutting) -> Fraction | None:
    tip = hob_tip_diameter(work, hob)
    if cutting.mark_um is None or tip is None or work.kind == "worm wheel":
        return None
    gear = gear_of(work)
    try:
        most = finish.largest_feed(float(cutting.mark_um), tip, gear.pressure_angle_n_deg, gear.helix_angle_deg)
    except ValueError:
        return None
    return Fraction(most)


def _mark(feed: Fraction, work: Work, hob: HobData) -> float:
    tip, gear = hob_tip_diameter(work, hob), gear_of(work)
    assert tip is not None
    return finish.flank_mark_um(float(feed), tip, gear.pressure_angle_n_deg, gear.helix_angle_deg)


@dataclass(frozen=True)
class SpeedAsked:
    """The hob speed meant, in rpm: `aim` None where there is none, `said` what the job itself asks.

    `most` is what the table of cutting data allows where the job itself asks for no speed; None for no limit.
    """

    aim: Fraction | None
    said: Fraction | None
    most: Fraction | None

    @classmethod
    def of(cls, job: Job, work: Work, proposal: Proposal | str) -> SpeedAsked:
        """What the job asks, or else what is proposed."""
        window = speed_window(work, job.hob, job.cutting, proposal)
        return cls(window.wanted, job.cutting.hob_rpm, None if window.asked else window.greatest)

    def misfit(self, rpm: Fraction) -> tuple[bool, float]:
        """How ill a speed suits: beyond the material's row first, then how far from what is meant."""
        beyond = self.most is not None and rpm > self.most * Fraction(1001, 1000)
        if self.aim is None:
            return beyond, 0.0
        return beyond, abs(math.log(rpm / self.aim)) if rpm > 0 else 99.0

    def steps(self, rpm: float | None) -> int:
        """How far a speed is from what is meant, by steps as with a feed."""
        if rpm is None or self.aim is None:
            return 0
        beyond, off = self.misfit(Fraction(rpm))
        near = _PROPOSED if self.said is None else _ASKED
        return (0 if off <= near else 1 + int((off - near) / _STEP)) + (100 if beyond else 0)

    def against(self, rpm: float | None) -> list[str]:
        """What has to be said of a speed that isn't what was asked; nothing where it is."""
        if rpm is None or self.said is None or abs(math.log(rpm / float(self.said))) <= _ASKED:
            return []
        return [
            f"A hob speed of {float(self.said):.4g} rpm is asked for; the nearest that the machine gives with "
            f"its gears and levers is {rpm:.4g} rpm."
        ]


@dataclass(frozen=True)
class Asked:
    """What a job asks of one member's feed and speed, and the starting values behind it."""

    feed: FeedAsked
    speed: SpeedAsked
    proposal: Proposal | str

    @classmethod
    def of(cls, job: Job, work: Work, machine: Machine) -> Asked:
        """What is asked for this member on this machine."""
        proposal = propose_cut(work, job.hob, job.cutting, machine, job.units)
        return cls(FeedAsked.of(job, work, machine, proposal), SpeedAsked.of(job, work, proposal), proposal)
