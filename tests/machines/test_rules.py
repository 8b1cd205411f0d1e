"""The rules that are worked out for a machine are those by which right set-ups on it are bolted up."""

import math
from fractions import Fraction
from pathlib import Path

import pytest
from handlead.kinematics.transfer.constants import DifferentialRule, FeedRule, find_constants
from handlead.kinematics.work.requirement import table_per_hob
from handlead.machines.job_files.job_file import read_job
from handlead.machines.planning.rules import differential_example, feed_example, feed_formula
from handlead.machines.setups.case import Case

SCENARIOS = Path(__file__).parents[2] / "scenarios"
RIGHT = [read_job(path) for path in sorted(SCENARIOS.glob("[01]*/*.toml")) if "job/1" in path.read_text()]


def set_up(job):
    case = Case.of(job, job.setup)
    return case, find_constants(case.train, job.setup.drive)


def plain(case):
    """Whether the count is in the index gears alone."""
    return case.questions.table_per_hob == table_per_hob(case.job.work, case.job.hob)


@pytest.mark.parametrize("job", RIGHT, ids=lambda job: job.title)
def test_the_index_gears_are_what_the_rule_asks_for_sense_and_all(job):
    case, constants = set_up(job)
    ratio = case.train.link(constants.index.bracket).ratio
    asked = constants.index.ratio(job.hob.hand, job.hob.starts, job.work.teeth)
    if ratio != asked:
        # Not plain indexing: then the count rests on the feed, and the two lie within a tooth of each other.
        assert abs(ratio / asked - 1) < 1 / job.work.teeth
    assert ratio * asked > 0


@pytest.mark.parametrize("job", RIGHT, ids=lambda job: job.title)
def test_the_feed_gears_are_what_the_rule_asks_for_sense_and_all(job):
    case, constants = set_up(job)
    for rule in constants.feeds:
        rates = case.rates
        per = rates.table if rule.per == "table" else 1
        assert case.train.link(rule.bracket).ratio == getattr(rates, rule.slide) / per / rule.constant


@pytest.mark.parametrize("job", [job for job in RIGHT if job.work.is_helical], ids=lambda job: job.title)
def test_the_differential_gears_have_the_sense_that_the_rule_gives_for_the_hands(job):
    case, constants = set_up(job)
    if case.job.work.kind == "worm wheel" or not plain(case):
        pytest.skip("no plain helical set-up by way of a differential")
    for rule in constants.differentials:
        way = 1 if case.rates.axial > 0 else -1
        sense = rule.senses[(job.hob.hand, job.work.hand, way)]
        assert case.train.link(rule.bracket).ratio * sense > 0


def test_the_worked_line_of_a_differential_that_goes_by_the_feed_is_in_inches_on_an_inch_machine():
    """8 DP is 3.175 mm, 0.08 in of feed 2.032 mm: 5 z f / L is 5 * 2.032 sin 25 / (pi 3.175), lengths in mm in the rule."""
    rule = DifferentialRule("differential gears", "axial", Fraction(5), 1, 0, 1, {})
    ratio = 5 * 2.032 * math.sin(math.radians(25)) / (math.pi * 3.175)
    assert differential_example(rule, "in") == f"8 DP, 25°, single-start hob, feed 0.08 in: {ratio:.9f}"
    ratio = 5 * 2 * math.sin(math.radians(25)) / (math.pi * 3)
    assert differential_example(rule, "mm") == f"module 3, 25°, single-start hob, feed 2 mm: {ratio:.9f}"


def test_an_inch_machine_s_feed_rule_is_worked_in_inches():
    rule = FeedRule("feed gears", "axial", "table", Fraction(127, 100))
    assert feed_formula(rule, "in") == "f / 0.05    f in inches per table turn, axial slide"
    assert feed_example(rule, "in") == "0.08 in per table turn: 0.08 / 0.05 = 8/5"
    assert feed_example(rule, "mm") == "2 mm per table turn: 2 / 1.27 = 200/127"
