"""Brackets one behind the other: nothing but the product of their gears comes through, and the rules say so."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from handlead.kinematics.law.outcome import predict
from handlead.kinematics.links.mounted import ChangeGears, Mounted
from handlead.kinematics.train.solution import hob_rates, solve
from handlead.kinematics.transfer.constants import Series, find_constants
from handlead.machines.job_files.job_file import read_job
from handlead.machines.machine_files.catalogue import find_machine, shipped_machines
from handlead.machines.machine_files.machine_file import read_machine
from hypothesis import given, settings
from hypothesis import strategies as st

CASES = Path(__file__).parents[1] / "cases"
CABINET = read_machine(CASES / "tarnholm.toml")
TWO_FEED = read_machine(CASES / "tarnholm-two-feed.toml")
JOB = read_job(CASES / "tarnholm-left.toml")
gears = st.integers(18, 120)


def parted(machine):
    return machine.train.with_states(machine.states(machine.normal_positions))


def test_the_index_cabinet_of_two_brackets_has_one_rule_over_both():
    """Hob a quarter and table worm 1/96 of the main shaft: e/f a/b c/d = 96/4 k/z = 24 k/z, reckoned by hand."""
    constants = find_constants(parted(CABINET), "main")
    assert constants.series == (Series("index gears", ("e f gears",)),)
    assert abs(constants.index.constant) == 24


def test_a_coarse_and_fine_bracket_in_the_feed_has_one_rule_too():
    """1/48 of the worm, 1/10 and 10 mm: 2 mm per table turn at 1 (96/48/10 times 10), by hand."""
    constants = find_constants(parted(TWO_FEED), "main")
    assert constants.series == (Series("feed gears", ("coarse fine gears",)),)
    assert abs(constants.feeds[0].constant) == 2


@pytest.mark.parametrize("name", shipped_machines())
def test_only_the_machine_with_the_cabinet_has_a_series(name):
    machine = find_machine(name)
    series = find_constants(parted(machine), machine.normal_drive).series
    wanted = (Series("inner index gears", ("outer index pair",)),) if name == "yarnwick-11" else ()
    assert series == wanted


@given(gears, gears, st.integers(5, 120), st.integers(1, 3))
@settings(max_examples=60, deadline=None)
def test_whatever_stands_in_the_loose_pair_the_product_sets_the_count(e, f, teeth, starts):
    train = parted(CABINET)
    loose = train.with_gears({"e f gears": Mounted((e, f))})
    rule = find_constants(loose, "main").index
    wanted = rule.ratio(JOB.hob.hand, starts, teeth)
    assert abs(wanted * Fraction(e, f)) == 24 * Fraction(starts, teeth)
    link = loose.link("index gears")
    # Any gears of that product will do: one pair of it, with an idler where the sense asks for it.
    pair = Mounted((abs(wanted).numerator, abs(wanted).denominator), () if wanted < 0 else (30,))
    solution = solve(loose.replacing(replace(link, pairs=(1,)).with_gears(pair)), "main")
    outcome = predict(hob_rates(solution), replace(JOB.hob, starts=starts), 0.0)
    assert outcome.real_teeth == teeth


@given(st.permutations(range(3)))
@settings(max_examples=6, deadline=None)
def test_the_order_in_which_the_file_has_them_makes_no_difference(order):
    train = parted(CABINET)
    brackets = [link for link in train.links if isinstance(link, ChangeGears)][:3]
    others = [link for link in train.links if link not in brackets]
    shuffled = replace(train, links=(*(brackets[i] for i in order), *others))
    first, second = (find_constants(each, "main") for each in (train, shuffled))
    assert abs(first.index.constant) == abs(second.index.constant)
    assert {each.main for each in first.series} == {each.main for each in second.series} == {"index gears"}


def test_letters_go_on_from_bracket_to_bracket_and_leave_k_to_the_starts():
    """a b c d in the main one; e f in a loose pair; four letters each where the loose ones take two pairs."""
    (one,) = find_constants(parted(CABINET), "main").series
    assert one.lettered == {"e f gears": "ef"}
    (two,) = find_constants(parted(TWO_FEED), "main").series
    assert two.lettered == {"coarse fine gears": "ef"}
    train = parted(CABINET)
    wide = [replace(link, pairs=(1, 2, 3)) if link.name == "index gears" else link for link in train.links]
    (three,) = find_constants(replace(train, links=tuple(wide)), "main").series
    assert three.lettered == {"e f gears": "gh"}
    both = [replace(link, pairs=(1, 2)) if link.name == "e f gears" else link for link in wide]
    (four,) = find_constants(replace(train, links=tuple(both)), "main").series
    assert four.lettered == {"e f gears": "ghij"}
