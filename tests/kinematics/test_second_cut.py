"""A second cut made on the blank stands where the moves say, whatever they are."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from handlead.kinematics.frame.motion import Phase, Position, Rates, register, steady_cut
from handlead.kinematics.witness.second_cut import SecondCut, measure_second_cut


def phases(setting, *, aside: Fraction, hob: Fraction = Fraction(0), **what):
    """Two passes over the face, the second with table and hob turned on by so much; and the machine."""
    machine = setting(teeth=23, module_n=2, face=16, hob_diameter=60, **what)
    begin, turns = Position(axial=Fraction(-4)), 24 / abs(machine.rates.axial)
    if machine.rates.axial < 0:
        begin = Position(axial=Fraction(20))
    first = steady_cut(machine.rates, begin, turns)
    second = steady_cut(machine.rates, replace(begin, table=aside, hob=hob), turns)
    return machine, first, second


def measured(machine, first: Phase, second: Phase) -> SecondCut:
    found = measure_second_cut(first, second, machine, (Fraction(0), Fraction(16)))
    assert found is not None
    return found


@pytest.mark.parametrize("helix", [0, 18])
@pytest.mark.parametrize("up", [1, -1])
@pytest.mark.parametrize("part", ["0.32252", "-0.11", "0.49"])
def test_a_table_that_stands_otherwise_puts_the_spaces_as_much_aside(setting, helix, up, part):
    machine, first, second = phases(setting, aside=Fraction(part) / 23, helix_deg=helix, up=up)
    found = measured(machine, first, second)
    # The table further round counter-clockwise brings the second cut's spaces back on the blank.
    assert found.low == pytest.approx(-float(Fraction(part)), abs=1e-3)
    assert found.high == pytest.approx(found.low, abs=1e-3)


@pytest.mark.parametrize("hob", ["1", "1/3", "-7/10"])
def test_turns_of_the_hob_alone_count_as_reckoned(setting, hob):
    machine, first, second = phases(setting, aside=Fraction(3, 50), hob=Fraction(hob))
    per_hob = -machine.hob.hand.value * Fraction(machine.hob.starts, 23)
    reckoned = float(register(first, second, per_hob, 23, Fraction(8)).miss_pitch)
    found = measured(machine, first, second).low
    assert abs(found - reckoned - round(found - reckoned)) < 1e-3


def test_whole_teeth_fall_in(setting):
    machine, first, second = phases(setting, aside=Fraction(5, 23))
    found = measured(machine, first, second)
    assert (found.low, found.high) == (pytest.approx(0, abs=1e-3), pytest.approx(0, abs=1e-3))


def test_a_second_cut_of_another_lead_parts_from_the_first_over_the_face(setting):
    machine, first, _ = phases(setting, aside=Fraction(0), helix_deg=18)
    other = setting(
        teeth=23, module_n=2, face=16, hob_diameter=60, helix_deg=18, differential=Fraction(9, 10)
    )
    second = steady_cut(other.rates, first.start, 24 / abs(other.rates.axial))
    found = measured(machine, first, second)
    parted = 16 * 23 * (1 / other.lead - 1 / machine.lead)
    assert found.high - found.low == pytest.approx(parted, abs=3e-3)


def test_how_deep_the_second_cut_goes_makes_no_difference(setting):
    machine, first, second = phases(setting, aside=Fraction(1, 100))
    deeper = replace(second, start=replace(second.start, radial=Fraction(-2)))
    assert measured(machine, first, deeper) == measured(machine, first, second)


def test_where_no_height_is_common_nothing_is_told(setting):
    machine, first, second = phases(setting, aside=Fraction(0))
    nowhere = (Fraction(3), Fraction(3))
    assert measure_second_cut(first, second, machine, nowhere) is None
    still = steady_cut(Rates(machine.rates.table), first.start, Fraction(10))
    whole = (Fraction(0), Fraction(16))
    assert measure_second_cut(first, still, machine, whole) is None
