"""A blank that stands askew and a table's axis that wobbles, planted in machines, cut, measured and found again."""

from __future__ import annotations

from fractions import Fraction as F
from functools import cache
from pathlib import Path
from random import Random

import made_up
import numpy as np
import pytest
from handlead.machines.at_fault.finding import PartAtFault, inspect_gear
from handlead.machines.at_fault.parts import suspects_of
from handlead.machines.blanks.flanks import Flanks
from handlead.machines.inspecting.answer import InspectedGear
from handlead.machines.inspecting.next_record import next_records
from handlead.machines.job_files.job_file import read_job
from handlead.machines.machine_files.machine_file import Imperfection
from handlead.machines.setups.case import Case
from handlead.machines.studying.waves import CutShape
from measured_gears import MeasuredGear, with_noise

ORDERS = Path(__file__).parents[2] / "scenarios"

ARBOR, ASKEW = "the blank on its arbor", "the blank standing askew"
ALIKE, WOBBLING = "the table's axis, to and fro at both faces alike", "the table's axis, wobbling"


@cache
def made_up_case(number):
    """A spur gear of 55 teeth, a helical one of 40, and one of 22, each on a machine of its own."""
    return Case.of(made_up.right_job(Random(f"x{number}")))


@cache
def order(name):
    return Case.of(read_job(ORDERS / name))


def askew(case, dial=0.04):
    """As a dial reads at the upper face."""
    return Imperfection("work tilt", runout=F(str(dial)), over=case.job.work.face_width, phase_deg=F(70))


def off(dial=0.03):
    return Imperfection("work runout", runout=F(str(dial)), phase_deg=F(200))


def apart(teeth, count):
    return [1 + teeth * at // count for at in range(count)]


def records(case, rows, *kinds, noise=1.0, every=1):
    gear, draws = MeasuredGear.with_errors(case, rows), np.random.default_rng(3)
    half = float(case.job.work.face_width) * 0.4
    made = {
        "pitch": lambda: [gear.round_gear("pitch cumulative", flank, every=every) for flank in ("right", "left")],
        "runout": lambda: [gear.round_gear("runout", every=every)],
        "ends": lambda: [gear.round_gear("runout", every=every, at_height=height) for height in (-half, half)],
        "helix": lambda: [gear.along("helix", "right", apart(gear.teeth, 4), 30)],
        "five helices": lambda: [gear.along("helix", "right", apart(gear.teeth, 5), 30)],
    }
    return [with_noise(one, noise, draws) for kind in kinds for one in made[kind]()]


def found(case, rows, *kinds, noise=1.0, every=1):
    """By name how large, and twice the standard error; and all names of each wave together."""
    waves = inspect_gear(case, records(case, rows, *kinds, noise=noise, every=every)).waves
    sizes = {one.name: (one.size, 2 * one.error) for wave in waves for one in wave.parts}
    return sizes, [{one.name for one in (*wave.parts, *wave.rivals)} for wave in waves]


def near(size, wanted):
    return abs(size[0] - wanted) <= size[1]


@pytest.mark.parametrize(("number", "noise", "every"), [(0, 5.0, 1), (1, 1.0, 3), (2, 5.0, 3), (2, 1.0, 1)])
def test_helices_of_four_teeth_beside_the_pitch_tell_a_blank_askew_from_one_that_runs_out(number, noise, every):
    case = made_up_case(number)
    dial = 0.04 if noise < 2 else 0.08
    sizes, names = found(case, (askew(case, dial),), "pitch", "runout", "helix", noise=noise, every=every)
    assert names == [{ASKEW}]
    assert near(sizes[ASKEW], dial)


@pytest.mark.parametrize("number", [0, 2])
def test_a_blank_that_runs_out_is_not_taken_for_one_askew(number):
    case = made_up_case(number)
    sizes, names = found(case, (off(0.04),), "pitch", "runout", "helix")
    assert names == [{ARBOR}]
    assert near(sizes[ARBOR], 0.04)


@pytest.mark.parametrize(
    ("number", "kinds"), [(0, ("pitch", "runout", "helix")), (1, ("pitch", "ends")), (2, ("pitch", "ends"))]
)
def test_a_blank_askew_that_runs_out_as_well_has_both_named_with_their_sizes(number, kinds):
    case = made_up_case(number)
    sizes, names = found(case, (askew(case), off()), *kinds)
    assert sorted(map(sorted, names)) == [[ARBOR], [ASKEW]]
    assert near(sizes[ASKEW], 0.04)
    assert near(sizes[ARBOR], 0.03)


def test_at_mid_face_alone_straight_teeth_show_no_difference_and_both_are_named():
    case = order("02-left-hand-hob/job.toml")
    sizes, names = found(case, (askew(case),), "pitch", "runout")
    assert names == [{ARBOR, ASKEW}]
    # So much at the upper face, or half of it all along.
    assert near(sizes[ASKEW], 0.04)
    assert near(sizes[ARBOR], 0.02)


@pytest.mark.parametrize("number", [0, 2])
def test_a_table_that_wobbles_about_a_place_below_leans_and_goes_aside(number):
    case = made_up_case(number)
    row = Imperfection("table wobble", runout=F(4, 100), over=F(50), waves=2, below=F(30), phase_deg=F(130))
    # Twice a turn, teeth a quarter of the gear apart lean to and fro by turns: so five.
    sizes, names = found(case, (row,), "pitch", "runout", "five helices")
    assert sorted(map(sorted, names)) == [[ALIKE], [WOBBLING]]
    # 0.0004 mm aside for a mm of height: about a place 30 mm down that is as if about the lower face, and so far aside.
    assert near(sizes[WOBBLING], 0.04 / 50 * float(case.job.work.face_width))
    assert near(sizes[ALIKE], 0.04 / 50 * 30)


def measured_next(case, rows, *kinds):
    read = tuple(records(case, rows, *kinds))
    gear = InspectedGear(case, read, inspect_gear(case, read))
    return [gear.measure_next(wave) for wave in gear.inspection.waves]


def test_the_runout_at_both_ends_is_asked_for_where_it_tells_the_blank_askew_from_one_that_runs_out():
    case = order("02-left-hand-hob/job.toml")
    assert measured_next(case, (askew(case),), "pitch", "runout") == [
        "the runout at both ends of the face, with a ball in the spaces 2.5 mm from either"
    ]
    _, names = found(case, (askew(case),), "pitch", "runout", "ends")
    assert names == [{ASKEW}]


@pytest.mark.parametrize(("kind", "count"), [("work tilt", "four teeth a quarter"), ("table wobble", "five teeth a fifth")])
def test_where_the_ends_were_read_too_coarsely_helices_are_asked_for_of_teeth_that_do_not_all_lean_alike(kind, count):
    # Twice a turn, teeth a quarter of the gear apart lean to and fro by turns, and half of the wave shows on none.
    case = order("72-curtain-barrel-pair/pinion.toml")
    flanks = Flanks.of(case)
    parts = suspects_of(case, CutShape.of(flanks.gear, case.rates, flanks.setting.hob))
    alike = {"work tilt": "work runout", "table wobble": "table wobble"}[kind]
    both = [next(one for one in parts if one.fault.kind == alike and one.fault.over != case.job.work.face_width)]
    both += [next(one for one in parts if one.fault.kind == kind and one.fault.over == case.job.work.face_width)]
    assert both[0].order == both[1].order
    told = [PartAtFault(one.name, one.order, one.unit, 0.03, 0.001, one) for one in both]
    read = records(case, (), "pitch", "runout", "ends")
    (asked,) = next_records(case, read, told, [1.0, 1.0, 1.0, 50.0, 50.0])
    assert count in asked.words
