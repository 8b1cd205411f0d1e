"""Advice that turns climb into conventional cut, or back, says so before anybody follows it."""

from dataclasses import replace
from pathlib import Path

import pytest
from handlead.kinematics.frame.words import Feed
from handlead.machines.job_files.job_file import read_job
from handlead.machines.proving.correction import find_correction
from handlead.machines.setups.case import Case

SCENARIOS = Path(__file__).parents[2] / "scenarios"


def advised(order, feed):
    """What is advised for an order whose feed is meant so, or either way."""
    job = read_job(SCENARIOS / order / "job.toml")
    setup = replace(job.setup, feed=feed)
    return " ".join(step.words for step in find_correction(Case.of(replace(job, setup=setup), setup)).steps)


@pytest.mark.parametrize(
    ("order", "says"),
    [
        ("27-hob-of-other-hand", "It then cuts conventional, where it cut climb before."),
        ("34-index-idler-forgotten", "It then cuts climb, where it cut conventional before: take up the slide's backlash"),
    ],
)
def test_an_idler_that_turns_the_cut_over_is_told_with_what_it_asks(order, says):
    assert says in advised(order, None)


def test_nothing_is_said_where_the_cut_is_then_as_it_is_meant():
    assert "It then cuts" not in advised("34-index-idler-forgotten", Feed.CLIMB)
