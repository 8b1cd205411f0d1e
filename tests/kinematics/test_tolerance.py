"""Flank tolerances: the standard's steps, its rounding, and what lies outside it."""

from __future__ import annotations

import math

import pytest
from handlead.kinematics.frame.words import Hand
from handlead.kinematics.gears import tolerance
from handlead.kinematics.gears.gear import Gear
from hypothesis import given, settings
from hypothesis import strategies as st

lawful = settings(deadline=None)
classes = st.integers(tolerance.FINEST, tolerance.COARSEST)
diameters = st.floats(5, 15_000)
widths = st.floats(4, 1200)

KINDS = (
    "single_pitch",
    "cumulative_pitch",
    "profile_slope",
    "profile_form",
    "profile_total",
    "helix_slope",
    "helix_form",
    "helix_total",
    "runout",
)


@st.composite
def gears_in_scope(draw: st.DrawFn) -> Gear:
    return Gear(
        draw(st.integers(10, 200)),
        draw(st.floats(0.5, 40)),
        draw(st.floats(1, 45)),
        draw(st.sampled_from(Hand)),
        face_width=draw(widths),
    )


@lawful
@given(gears_in_scope(), st.integers(1, 9), st.sampled_from(KINDS))
def test_two_classes_coarser_is_twice_the_tolerance(gear: Gear, quality: int, kind: str) -> None:
    fine = getattr(tolerance.flank_tolerances(gear, quality), kind)
    coarse = getattr(tolerance.flank_tolerances(gear, quality + 2), kind)
    assert coarse.unrounded_um == pytest.approx(2 * fine.unrounded_um)


@lawful
@given(gears_in_scope(), classes)
def test_totals_come_from_the_unrounded_parts(gear: Gear, quality: int) -> None:
    found = tolerance.flank_tolerances(gear, quality)
    for part in ("profile", "helix"):
        slope, form, total = (getattr(found, f"{part}_{kind}") for kind in ("slope", "form", "total"))
        assert total.unrounded_um == pytest.approx(math.hypot(slope.unrounded_um, form.unrounded_um))
        assert total.um == tolerance.rounded(total.unrounded_um)


@lawful
@given(gears_in_scope(), classes)
def test_the_helix_slope_alone_agrees_with_the_whole_list(gear: Gear, quality: int) -> None:
    assert gear.face_width is not None
    alone = tolerance.helix_slope_um(gear.reference_diameter, gear.face_width, quality)
    assert alone == tolerance.flank_tolerances(gear, quality).helix_slope.um


@pytest.mark.parametrize(
    ("um", "rounded"),
    [
        (10.4, 10),
        (10.5, 11),
        (37.6, 38),
        (9.74, 9.5),
        (9.75, 10),
        (5.3, 5.5),
        (5.2, 5.0),
        (4.96, 5.0),
        (1.84, 1.8),
    ],
)
def test_rounding_is_coarser_the_larger_the_tolerance(um: float, rounded: float) -> None:
    # ISO 1328-1:2013, rounding rules, from memory.
    assert tolerance.rounded(um) == rounded


@lawful
@given(st.floats(0.01, 500), st.floats(0.01, 500))
def test_rounding_never_turns_the_order_about(one: float, other: float) -> None:
    small, large = sorted((one, other))
    assert tolerance.rounded(small) <= tolerance.rounded(large)


@lawful
@given(diameters, widths, classes)
def test_a_deviation_at_the_limit_meets_its_class_and_one_beyond_does_not(
    diameter: float, width: float, quality: int
) -> None:
    limit = tolerance.helix_slope_um(diameter, width, quality)
    met = tolerance.helix_slope_class(limit, diameter, width)
    assert met is not None and met <= quality
    assert tolerance.helix_slope_um(diameter, width, met) == limit
    beyond = tolerance.helix_slope_class(limit * 1.001, diameter, width)
    assert beyond is None or beyond > met


@lawful
@given(st.floats(-200, 200), diameters, widths)
def test_the_class_does_not_depend_on_which_way_the_flank_leans_off(
    deviation: float, diameter: float, width: float
) -> None:
    found = tolerance.helix_slope_class(deviation, diameter, width)
    assert found == tolerance.helix_slope_class(-deviation, diameter, width)


def test_a_perfect_flank_is_in_the_finest_class_and_a_ruined_one_in_none() -> None:
    assert tolerance.helix_slope_class(0, 100, 20) == 1
    assert tolerance.helix_slope_class(5000, 100, 20) is None


def test_sizes_outside_the_standard_are_worked_out_and_said_to_be_outside() -> None:
    tiny = tolerance.flank_tolerances(Gear(12, 0.3, face_width=2), 7)
    assert tiny.helix_slope.um > 0
    assert tiny.outside_scope == (
        "reference diameter 3.6 mm is outside 5 to 15000 mm",
        "normal module 0.3 mm is outside 0.5 to 70 mm",
        "face width 2 mm is outside 4 to 1200 mm",
    )
    assert tolerance.outside_scope(Gear(30, 2, 50, Hand.LEFT)) == (
        "helix angle 50 deg is outside 0 to 45 deg",
    )


@lawful
@given(gears_in_scope(), classes)
def test_sizes_inside_the_standard_carry_no_note(gear: Gear, quality: int) -> None:
    assert (not tolerance.flank_tolerances(gear, quality).outside_scope) == (5 <= gear.reference_diameter <= 15_000)


@pytest.mark.parametrize("quality", [0, 12, -1])
def test_a_class_that_does_not_exist_is_refused(quality: int) -> None:
    with pytest.raises(ValueError, match=f"quality is {quality}; .* at least 1 and at most 11"):
        tolerance.helix_slope_um(100, 20, quality)


def test_without_a_face_width_there_are_no_helix_tolerances() -> None:
    with pytest.raises(ValueError, match="face width is missing"):
        tolerance.flank_tolerances(Gear(20, 2), 7)
