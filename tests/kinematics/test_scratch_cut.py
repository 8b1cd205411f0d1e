"""A light cut is made in simulation and measured; the set-ups' own laws say what ought to be on it."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from handlead.kinematics.cutting.field import scratch_cut
from handlead.kinematics.cutting.touch import SCRATCH_DEPTH, depth_for
from handlead.kinematics.frame.blank import Field
from handlead.kinematics.gauging.field import gauge
from hypothesis import given, settings
from hypothesis import strategies as st

SIGNS = st.sampled_from((-1, 1))


def scratched(setting, **what):
    machine = setting(**what)
    field = scratch_cut(machine)
    return machine, gauge(field, module_n=machine.module_n)


@given(hand=SIGNS, hob_hand=SIGNS, up=SIGNS, starts=st.integers(1, 3), teeth=st.sampled_from((20, 29, 41)))
@settings(deadline=None, max_examples=16)
def test_every_right_set_up_cuts_the_count_hand_and_lead_that_it_is_set_for(
    setting, hand, hob_hand, up, starts, teeth
):
    machine, found = scratched(
        setting, hand=hand, hob_hand=hob_hand, up=up, starts=starts, teeth=teeth, hob_diameter=90
    )
    assert found.teeth == teeth
    assert found.hand == ("right" if hand > 0 else "left")
    assert found.lead_mm == pytest.approx(abs(machine.lead), rel=1e-4)
    assert found.real_teeth == pytest.approx(float(machine.spaces_per_turn), abs=1e-4)
    assert abs(found.feed_mm) == pytest.approx(2, rel=1e-3)
    assert found.clean, found.notes


@given(hob_hand=SIGNS, up=SIGNS, starts=st.integers(1, 3), teeth=st.integers(17, 90))
@settings(deadline=None, max_examples=8)
def test_spur_gears_have_no_hand(setting, hob_hand, up, starts, teeth):
    _, found = scratched(setting, helix_deg=0, hob_hand=hob_hand, up=up, starts=starts, teeth=teeth, face=20)
    assert (found.teeth, found.hand, found.lead_mm) == (teeth, "none", None)
    assert found.real_teeth == pytest.approx(teeth, abs=1e-4)
    assert found.clean, found.notes


@pytest.mark.parametrize("feed", [Fraction(1, 2), Fraction(1), Fraction(3), Fraction(5)])
@pytest.mark.parametrize("gashes", [7, 14])
def test_feed_and_gashes_dont_change_what_is_counted(setting, feed, gashes):
    machine, found = scratched(setting, feed=feed, gashes=gashes, face=30)
    assert (found.teeth, found.hand) == (29, "right")
    assert found.lead_mm == pytest.approx(machine.lead, rel=1e-4)
    assert found.clean, found.notes


def test_an_index_one_off_makes_one_tooth_more_on_a_blank_too_small_for_it(setting):
    machine, found = scratched(setting, index_for=Fraction(30))
    assert (found.teeth, found.hand) == (30, "right")
    # The slide still brings a tooth round as fast as it did: the lead stays.
    assert found.lead_mm == pytest.approx(machine.lead, rel=1e-4)
    assert not found.clean
    assert any("too small for 30 teeth" in note for note in found.notes)


@pytest.mark.parametrize("part", [Fraction(1, 10), Fraction(1, 5), Fraction(2, 5), Fraction(-1, 5)])
def test_an_index_that_isnt_whole_shows_as_a_lead_and_as_an_offset_of_successive_turns(setting, part):
    _, found = scratched(setting, helix_deg=0, index_for=29 + part)
    assert found.teeth == 29
    assert found.real_teeth == pytest.approx(float(29 + part), abs=1e-4)
    assert found.offset_pitch == pytest.approx(float(part), abs=1e-4)
    # 29 teeth, each falling back by `part` of a pitch in a feed of 2 mm.
    assert found.lead_mm == pytest.approx(float(29 * 2 / abs(part)), rel=1e-4)
    assert found.hand == ("left" if part > 0 else "right")
    assert not found.clean


def test_two_fifths_of_a_pitch_leave_a_pattern_of_twice_as_many_spaces(setting):
    _, found = scratched(setting, helix_deg=0, index_for=29 + Fraction(2, 5))
    assert found.pattern == 59
    assert not found.whole


def test_half_a_pitch_of_offset_is_not_decided_either_way(setting):
    _, found = scratched(setting, helix_deg=0, index_for=Fraction(59, 2))
    assert found.real_teeth == pytest.approx(29.5, abs=1e-4)
    assert any("can't be told" in note for note in found.notes)
    assert not found.clean


def test_a_differential_left_out_cuts_straight_teeth_with_marks_that_lean(setting):
    _, found = scratched(setting, differential=Fraction(0))
    assert (found.teeth, found.hand, found.lead_mm) == (29, "none", None)
    assert not found.clean


def test_an_idler_too_many_in_the_differential_train_cuts_the_other_hand(setting):
    machine, found = scratched(setting, differential=Fraction(-1))
    assert (found.teeth, found.hand) == (29, "left")
    assert found.lead_mm == pytest.approx(abs(machine.lead), rel=1e-4)
    assert not found.clean


@pytest.mark.parametrize("hand", [-1, 1])
def test_a_swivel_of_the_wrong_hand_leaves_count_and_lead_but_nothing_clean(setting, hand):
    machine, found = scratched(setting, hand=hand, swivel_error_deg=50 * hand)
    assert (found.teeth, found.hand) == (29, "right" if hand > 0 else "left")
    assert found.lead_mm == pytest.approx(abs(machine.lead), rel=1e-4)
    assert not found.clean


def test_a_spur_hob_swivelled_by_its_lead_angle_the_wrong_way_leaves_leaning_marks(setting):
    _, found = scratched(setting, helix_deg=0, swivel_error_deg=-4.743)
    assert (found.teeth, found.hand) == (29, "none")
    assert found.lean_deg == pytest.approx(4.743, abs=1)
    assert not found.clean


def test_a_two_start_hob_on_change_gears_for_one_start_cuts_twice_the_teeth(setting):
    _, found = scratched(setting, hob_starts=2)
    assert found.teeth == 58
    assert not found.clean


def test_a_blank_that_the_hob_never_touched_says_so():
    found = gauge(Field(np.full((20, 90), 50.0), np.linspace(0, 10, 20), np.zeros(20), 50.0))
    assert found.teeth is None
    assert not found.clean
    assert found.notes == ("nothing is cut",)


def test_turning_the_blank_on_the_bench_changes_nothing_that_is_measured(setting):
    machine = setting()
    field = scratch_cut(machine)
    turned = Field(np.roll(field.radius, 77, axis=1), field.heights + 5, field.start, field.uncut)
    first, second = gauge(field), gauge(turned)
    assert (first.teeth, first.hand) == (second.teeth, second.hand)
    assert first.lead_mm == pytest.approx(second.lead_mm, rel=1e-6)
    assert first.real_teeth == pytest.approx(second.real_teeth, abs=1e-6)


def test_turning_the_blank_end_for_end_keeps_its_hand(setting):
    machine = setting()
    field = scratch_cut(machine).aligned()
    over = Field(
        field.radius[::-1, ::-1], (field.heights[-1] - field.heights)[::-1], field.start, field.uncut
    )
    assert gauge(over).hand == gauge(field).hand == "right"
    mirrored = Field(field.radius[:, ::-1], field.heights, field.start, field.uncut)
    assert gauge(mirrored).hand == "left"


@pytest.mark.parametrize("feed", [Fraction(6), Fraction(8)])
@pytest.mark.parametrize("helix", [0, 22])
def test_with_a_coarse_feed_the_light_cut_goes_deep_enough_to_meet(setting, feed, helix):
    _, found = scratched(setting, feed=feed, face=40, helix_deg=helix)
    assert found.teeth == 29
    assert found.hand == ("right" if helix else "none")
    assert found.clean, found.notes


def depth(feed: float, *, tip_radius: float = 35, swivel_deg: float = 0, step: float = 0.6) -> float:
    return depth_for(feed, tip_radius, swivel_deg, 2, step=step, blank_radius=40)


def test_a_fine_feed_is_cut_at_the_usual_depth():
    assert depth(1.5, swivel_deg=20) == SCRATCH_DEPTH
    assert SCRATCH_DEPTH < depth(5) < depth(5, tip_radius=25)


def test_no_feed_makes_the_light_cut_deeper_than_a_light_cut_can_be():
    assert depth(50) == pytest.approx(0.8)


def test_many_starts_on_few_gashes_are_cut_deep_enough_to_mark_every_space():
    assert depth(0, step=4) > SCRATCH_DEPTH
    assert depth(0, step=4) < depth(0, step=6)
