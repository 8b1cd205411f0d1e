"""Ten gears in the drawer and one set-up in them: it is found, whatever rests on whatever."""

from __future__ import annotations

import sys
from pathlib import Path
from random import Random

import pytest
from handlead.machines.planning.planning import plan

sys.path.insert(0, str(Path(__file__).parents[1] / "benchmarks"))

from planning import made_up_job


@pytest.mark.parametrize("seed", ["1-258", "1-184", "5-62", "9-10", "11-8"])
def test_the_one_set_up_that_a_poor_drawer_has_is_found(seed):
    random = Random(seed)
    job = made_up_job(random, 10 if seed in ("1-184", "11-8") else random.choice([8, 9, 10]))
    planned = plan(job, top=1).members[0]
    assert planned.setups, planned.none_because
    gears = [z for mounted in planned.setups[0].setup.change.values() for z in (*mounted.gears, *mounted.idlers)]
    assert all(gears.count(z) <= job.machine.gear_sets[0].teeth.count(z) for z in gears)
    assert planned.setups[0].proof.is_as_wanted
