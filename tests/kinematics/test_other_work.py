"""Sprockets, worm wheels and splines."""

from __future__ import annotations

import math

import pytest
from handlead.kinematics.other_work import profiles, spline, sprocket, wormwheel
from handlead.kinematics.other_work.spline import StraightSpline
from handlead.kinematics.other_work.sprocket import Sprocket
from hypothesis import given, settings
from hypothesis import strategies as st

lawful = settings(deadline=None)


@lawful
@given(st.integers(9, 150), st.floats(5, 80), st.floats(0.5, 0.65))
def test_neighbouring_rollers_sit_a_chain_pitch_apart(teeth: int, pitch: float, part: float) -> None:
    work = Sprocket(teeth, pitch, part * pitch)
    chord = work.pitch_diameter * math.sin(math.pi / teeth)
    assert chord == pytest.approx(pitch)
    least, greatest = work.tip_diameters
    assert work.root_diameter < work.pitch_diameter < least < greatest
    assert work.seating_radii[0] > work.roller_diameter / 2


@lawful
@given(st.integers(9, 150), st.floats(5, 80))
def test_a_sprocket_hobbed_at_the_chain_pitch_rolls_inside_its_pitch_circle(teeth: int, pitch: float) -> None:
    assert sprocket.rolling_diameter(teeth, pitch) < Sprocket(teeth, pitch, 0.6 * pitch).pitch_diameter


@lawful
@given(st.integers(4, 40), st.floats(5, 80))
def test_pins_in_an_odd_sprocket_lie_less_than_a_diameter_apart(half: int, pitch: float) -> None:
    for teeth in (2 * half, 2 * half + 1):
        work = Sprocket(teeth, pitch, 0.6 * pitch)
        # Roller centres on the pitch circle, the farthest two of them.
        radius = work.pitch_diameter / 2
        turned = 2 * math.pi * (teeth // 2) / teeth
        apart = math.hypot(radius - radius * math.cos(turned), radius * math.sin(turned))
        assert sprocket.over_pins(work) == pytest.approx(apart + work.roller_diameter)


def test_a_roller_wider_than_the_pitch_is_refused() -> None:
    with pytest.raises(ValueError, match=r"roller diameter is 13; .* below 12\.7"):
        Sprocket(17, 12.7, 13)


@pytest.mark.parametrize(
    ("teeth", "starts", "met"), [(40, 1, 1), (40, 2, 1), (41, 2, 2), (42, 4, 2), (40, 3, 3)]
)
def test_a_common_factor_keeps_threads_away_from_spaces(teeth: int, starts: int, met: int) -> None:
    assert wormwheel.threads_met(teeth, starts) == met
    # Space 0 meets thread 0 first, and after each table turn the thread that stands there then.
    threads = {(turn * teeth) % starts for turn in range(starts)}
    assert len(threads) == met


@pytest.mark.parametrize("rack", sorted(spline.INVOLUTE_RACKS))
def test_an_involute_spline_is_a_gear_half_as_thick_as_its_pitch(rack: str) -> None:
    work = spline.involute_spline(24, 1.5, rack)
    assert work.normal_thickness == pytest.approx(math.pi * 1.5 / 2)
    assert work.whole_depth < 2.25 * 1.5


def test_an_unknown_spline_rack_names_those_there_are() -> None:
    with pytest.raises(ValueError, match="rack is '25'; it must be one of '30 flat root'"):
        spline.involute_spline(24, 1.5, "25")


# ISO 14 sizes: keys, minor and major diameter, key width (from memory).
ISO_14 = [(6, 23, 26, 6), (6, 28, 32, 7), (8, 32, 36, 6), (8, 42, 46, 8), (8, 62, 68, 12), (10, 82, 88, 12)]


@pytest.mark.parametrize("size", ISO_14)
def test_the_fillet_begins_where_a_rolled_rack_last_touches_the_key(size: tuple[int, int, int, int]) -> None:
    # Roll a rack by small steps: its sharp corner, carried on the circle, first meets the side of
    # the key where the fillet ends. The corner's own path is followed, nothing of the formula.
    work = StraightSpline(*size)
    r, half = work.least_rolling_diameter / 2, work.key_width / 2
    lowest = work.minor_diameter / 2

    def path(place: float) -> list[tuple[float, float]]:
        # The corner at `place` along the rack, seen from the key, whose middle is the X axis; only
        # where it is inside the blank.
        found = []
        for step in range(-4000, 4001):
            angle = step / 4000
            x, y = lowest, place - r * angle
            turned = (x * math.cos(angle) - y * math.sin(angle), x * math.sin(angle) + y * math.cos(angle))
            if math.hypot(*turned) <= work.major_diameter / 2:
                found.append(turned)
        return found

    # Move the corner towards the key until it just doesn't cut into its side.
    low, high = 0.0, work.key_width
    for _ in range(25):
        middle = (low + high) / 2
        cuts_in = min(y for _, y in path(middle)) < half
        low, high = (middle, high) if cuts_in else (low, middle)
    touched = min(path(high), key=lambda point: point[1])
    assert 2 * math.hypot(*touched) == pytest.approx(spline.fillet_diameter(work), rel=2e-3)


@pytest.mark.parametrize("size", ISO_14)
def test_a_fillet_is_left_above_the_minor_diameter_and_a_larger_rolling_circle_leaves_more(
    size: tuple[int, int, int, int],
) -> None:
    work = StraightSpline(*size)
    least = spline.fillet_diameter(work)
    assert work.minor_diameter < least < work.major_diameter
    assert spline.fillet_diameter(work, work.least_rolling_diameter * 1.02) > least
    with pytest.raises(ValueError, match="rolling diameter"):
        spline.fillet_diameter(work, work.least_rolling_diameter * 0.98)


def test_keys_too_wide_for_the_shaft_are_refused() -> None:
    with pytest.raises(ValueError, match="leave room for less than 16"):
        StraightSpline(8, 42, 46, 17)


@lawful
@given(st.floats(0.3, 3), st.floats(5, 30), st.floats(0, 4))
def test_the_straight_flank_of_a_round_tip_runs_into_the_round_without_a_corner(
    tip: float, angle: float, dedendum: float
) -> None:
    (low, wide), (join, half), *_ = profiles.rounded_rack(40, tip, angle, 1.5 * tip, dedendum)
    slope = math.tan(math.radians(angle))
    assert (wide - half) == pytest.approx((join - low) * slope, abs=1e-9)
    # Square to the radius there: the flank touches the round, whose middle lies a tip radius under the tip.
    assert join - 0.5 * tip == pytest.approx(half * slope, abs=1e-9)
