"""The rules that are worked out for a machine are those by which right set-ups on it are bolted up."""

from pathlib import Path

import pytest
from handlead.kinematics.constants import find_constants
from handlead.kinematics.requirement import table_per_hob
from handlead.machines.case import Case
from handlead.machines.job_file import read_job

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
