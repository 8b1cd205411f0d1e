"""Speeds, travels, depths and times."""

from __future__ import annotations

import math

import pytest
from handlead.kinematics.gears.gear import Gear
from handlead.kinematics.gears.measures import span
from handlead.kinematics.practice import cycle
from hypothesis import given, settings
from hypothesis import strategies as st

lawful = settings(deadline=None)
hobs = st.floats(40, 200)
depths = st.floats(0.5, 15)
swivels = st.floats(-50, 50)
blanks = st.floats(40, 400)


@lawful
@given(st.floats(1, 200), hobs)
def test_cutting_speed_and_hob_speed_turn_into_each_other(speed: float, hob: float) -> None:
    assert cycle.cutting_speed_m_min(cycle.hob_rpm(speed, hob), hob) == pytest.approx(speed)


@lawful
@given(hobs, depths, blanks)
def test_with_the_head_square_formula_and_contact_agree(hob: float, depth: float, blank: float) -> None:
    assert cycle.approach_by_contact(hob, depth, 0, blank) == pytest.approx(cycle.approach(hob, depth))


@lawful
@given(hobs, depths, swivels, blanks)
def test_it_makes_no_difference_which_way_the_head_is_swung(
    hob: float, depth: float, swivel: float, blank: float
) -> None:
    for found in (cycle.approach, cycle.approach_by_contact):
        assert found(hob, depth, swivel, blank) == found(hob, depth, -swivel, blank)


@lawful
@given(hobs, depths, swivels, blanks)
def test_the_formula_is_never_longer_than_the_contact_says(
    hob: float, depth: float, swivel: float, blank: float
) -> None:
    by_contact = cycle.approach_by_contact(hob, depth, swivel, blank)
    assert cycle.approach(hob, depth, swivel, blank) <= by_contact * (1 + 1e-9)


@settings(deadline=None, max_examples=40)
@given(hobs, depths, swivels, blanks)
def test_at_the_approach_the_hob_just_touches_the_end_face(
    hob: float, depth: float, swivel: float, blank: float
) -> None:
    # The hob's axis stands the approach below the face; the nearest point of the edge to it lies
    # a hob's radius away, found by walking round the edge.
    approach = cycle.approach_by_contact(hob, depth, swivel, blank)
    eta, centres = math.radians(swivel), (hob + blank) / 2 - depth

    def distance(angle: float) -> float:
        x, y, z = blank / 2 * math.cos(angle), blank / 2 * math.sin(angle), approach
        return math.hypot(x - centres, z * math.cos(eta) - y * math.sin(eta))

    nearest = min(distance(math.pi * step / 20_000 - math.pi / 2) for step in range(20_001))
    assert nearest == pytest.approx(hob / 2, rel=1e-5)


@lawful
@given(st.floats(0.5, 10), st.floats(15, 30), st.floats(1, 50))
def test_overrun_is_nothing_with_the_head_square_and_grows_with_the_swivel(
    addendum: float, angle: float, swivel: float
) -> None:
    assert cycle.overrun(addendum, angle, 0) == 0
    assert cycle.overrun(addendum, angle, swivel) > cycle.overrun(addendum, angle, swivel / 2) > 0


@lawful
@given(st.floats(1, 200), st.floats(0.1, 5), st.floats(10, 500), st.integers(5, 300), st.integers(1, 4))
def test_time_is_travel_over_feed_over_table_speed(
    travel: float, feed: float, rpm: float, teeth: int, starts: int
) -> None:
    minutes = cycle.cutting_time_min(travel, feed, rpm, teeth, starts)
    assert minutes * cycle.table_rpm(rpm, teeth, starts) * feed == pytest.approx(travel)


@lawful
@given(st.integers(20, 100), st.floats(1, 8), st.floats(0, 0.5))
def test_dialling_in_what_the_span_has_too_much_brings_it_to_size(
    teeth: int, module: float, shift: float
) -> None:
    # Too shallow a cut is the same gear with more profile shift: the rack stands further out.
    wanted, shallow = Gear(teeth, module), Gear(teeth, module, profile_shift=shift)
    left = cycle.depth_left_by_span(span(shallow, 3) - span(wanted, 3))
    assert left == pytest.approx(shift * module, abs=1e-9)


def test_a_finishing_cut_is_left_for_the_second_pass() -> None:
    assert cycle.depths_in_cuts(4.5, 0) == (4.5,)
    assert cycle.depths_in_cuts(4.5, 0.5) == (4.0, 4.5)
    with pytest.raises(ValueError, match=r"finishing is 5; .* below 4\.5"):
        cycle.depths_in_cuts(4.5, 5)


@pytest.mark.parametrize("name", ["travel", "feed", "hob_rpm"])
def test_what_never_moves_takes_no_time_that_could_be_told(name: str) -> None:
    sizes = {"travel": 10.0, "feed": 1.0, "hob_rpm": 100.0, name: -1.0}
    with pytest.raises(ValueError, match="is -1; it must be a number"):
        cycle.cutting_time_min(**sizes, teeth=20, starts=1)
    with pytest.raises(ValueError, match="feed is 0; it must be a number above 0"):
        cycle.cutting_time_min(10, 0, 100, 20, 1)
