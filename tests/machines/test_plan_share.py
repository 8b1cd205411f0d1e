"""How far a plan has got is told, and what is found is the same whether or not anybody listens."""

import itertools
from pathlib import Path

import pytest
from handlead.machines.job_files.job_file import read_job
from handlead.machines.members.found import share_told
from handlead.machines.planning.planning import plan

SCENARIOS = Path(__file__).parents[2] / "scenarios"


@pytest.mark.parametrize("order", ["01-fly-winch-pair/pinion.toml", "03-no-differential/job.toml", "08-inch-winch/job.toml"])
def test_each_stage_of_a_search_goes_on_and_none_is_told_as_done_before_it_is(order):
    job, told = read_job(SCENARIOS / order), []
    with share_told(told.append):
        heard = plan(job, top=2)
    alone = plan(job, top=2)
    assert [one.setups for one in heard.members] == [one.setups for one in alone.members]
    assert told and all(0 <= one.done < one.of for one in told)
    for one, following in itertools.pairwise(told):
        # Within a stage it never goes back, but where the stage begins anew for another member.
        assert one.doing != following.doing or following.done > one.done or following.done == 0


def test_nobody_is_told_of_a_search_that_nobody_listens_to():
    told = []
    with share_told(told.append):
        pass
    plan(read_job(SCENARIOS / "08-inch-winch/job.toml"), top=1)
    assert told == []
