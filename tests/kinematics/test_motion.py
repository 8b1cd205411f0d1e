"""Positions through time stay exact, and say whether a second cut falls into the first one's spaces."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from handlead.kinematics.frame.motion import (
    Move,
    Phase,
    Position,
    Rates,
    Ripple,
    follow,
    register,
    steady_cut,
)
from hypothesis import given, settings
from hypothesis import strategies as st

F = Fraction
FRACTIONS = st.fractions(min_value=-5, max_value=5, max_denominator=60)


def cut(feed=2, teeth=30, lead=600, start=None, turns=900):
    """A right-hand gear under a right-hand hob, differential in, slide up: exact rates from the drawing."""
    table = F(1, teeth) / (1 - F(feed, lead))
    return steady_cut(Rates(table=-table, axial=feed * table), start or Position(), F(turns))


@given(FRACTIONS, FRACTIONS, st.lists(st.fractions(0, 10, max_denominator=30), min_size=1, max_size=6))
@settings(deadline=None)
def test_a_way_gone_in_pieces_ends_exactly_where_it_ends_in_one(table, axial, pieces):
    per_turn = Position(F(1), table, axial)
    phases = follow(Move(per_turn, turns=piece) for piece in pieces)
    whole = Phase(Position(), per_turn, sum(pieces))
    assert phases[-1].end == whole.end


def test_a_move_runs_until_its_end_stands_where_it_was_ordered_to():
    up = Position(F(1), F(-1, 30), F(1, 15))
    down = Position(F(0), F(1, 50), F(-10))
    phases = follow([Move(up, place=F(45)), Move(down, place=F(-3), name="return")], Position(axial=F(-3)))
    assert [phase.end.axial for phase in phases] == [45, -3]
    assert phases[0].turns == 48 * 15
    assert phases[1].end.hob == phases[0].end.hob
    with pytest.raises(ValueError, match="runs the other way"):
        follow([Move(up, place=F(-1))])
    with pytest.raises(ValueError, match="stands still"):
        follow([Move(Position(F(1)), place=F(1))])


def test_returning_the_way_it_came_falls_into_the_first_cut():
    first = cut()
    back = Phase(first.end, first.per_turn.times(F(-1)), first.turns, "return")
    second = cut(start=back.end)
    found = register(first, second, F(-1, 30), 30)
    assert found.falls_in
    assert found.miss_mm(90, 30) == 0


def test_a_rapid_return_with_the_differential_in_keeps_register_and_one_with_it_out_loses_it():
    # "Non-differential setups lose register if the hob is rapid-returned" (common practice). The table follows the
    # slide by -1/L while the differential is in, the hob standing still.
    first = cut()
    way = first.end.axial - first.start.axial
    for follows, falls_in in ((True, True), (False, False)):
        rate = Position(F(0), F(1, 600) if follows else F(0), F(-1))
        back = Phase(first.end, rate, way, "return")
        second = cut(start=back.end)
        found = register(first, second, F(-1, 30), 30)
        assert found.falls_in is falls_in
    # What it misses by is what the slide's way is of a lead, in pitches, less whole ones.
    missing = way / 600 * 30
    assert abs(found.miss_pitch) == abs(missing - round(missing))


@given(st.integers(-40, 40), st.fractions(-1, 1, max_denominator=97))
@settings(deadline=None)
def test_the_miss_is_counted_to_the_nearest_space_and_never_more_than_half_a_pitch(spaces, part):
    first = cut()
    second = cut(start=replace(first.start, table=first.start.table - (spaces + part) / 30))
    found = register(first, second, F(-1, 30), 30)
    assert F(-1, 2) < found.miss_pitch <= F(1, 2)
    assert (found.miss_pitch - part).denominator == 1


def test_it_doesnt_matter_where_along_the_face_register_is_looked_at():
    first = cut()
    back = Phase(first.end, Position(F(0), F(1, 700), F(-1)), F(50), "return")
    misses = set()
    for more in (F(0), F(7), F(13)):
        start = back.at(F(30) + more)
        misses.add(register(first, cut(start=start, turns=F(100)), F(-1, 30), 30).miss_pitch)
    assert len(misses) == 3  # each return stops elsewhere, so each misses by its own amount ...
    second = cut(start=back.end, turns=F(400))
    later = Phase(second.at(F(200)), second.per_turn, F(200))
    assert register(first, second, F(-1, 30), 30) == register(
        first, later, F(-1, 30), 30
    )  # ... all along its cut


def test_cuts_without_a_height_in_common_or_with_the_hob_shifted_have_no_register_to_tell():
    first = cut()
    with pytest.raises(ValueError, match="no height in common"):
        register(first, cut(start=Position(axial=F(1000))), F(-1, 30), 30)
    with pytest.raises(ValueError, match="stands elsewhere"):
        register(first, cut(start=Position(tangential=F(1))), F(-1, 30), 30)


def test_floats_are_refused_because_positions_are_exact():
    with pytest.raises(TypeError, match="exact"):
        Rates(table=0.1)
    with pytest.raises(ValueError, match="end of an imperfection"):
        Ripple("spindle", "table", F(1), 0.1)
    with pytest.raises(ValueError, match="turns of phase"):
        Phase(Position(), Position(F(1)), F(-1))
