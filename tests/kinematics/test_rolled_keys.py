"""Straight-sided keys: the hob's thread held against a rack that is rolled round the shaft by plain trigonometry."""

import math

import numpy as np
import pytest
from handlead.kinematics.frame.blank import Field
from handlead.kinematics.gauging.keys import gauge_keys
from handlead.kinematics.other_work.profiles import straight_spline
from handlead.kinematics.other_work.spline import RolledKeys, StraightSpline
from hypothesis import given, settings
from hypothesis import strategies as st


def rolled(spline: StraightSpline, rolling: float) -> np.ndarray:
    """What one thread leaves of the space: the least radius over the angle from its middle, by rolling it point by point.

    Nothing of the thread's own derivation is in it: points of the thread go with the rack while the shaft turns.
    """
    heights, halves = np.array(straight_spline(spline, 400, rolling)).T
    dense = np.linspace(heights[0], heights[-1], 3000)
    side = np.interp(dense, heights, halves)
    flat = np.linspace(0, halves[-1], 200)
    x = np.concatenate([side, flat])
    depth = np.concatenate([dense, np.full(flat.size, heights[-1])])
    angles = np.linspace(0, math.pi / spline.keys, 2001)
    least = np.full(angles.size, spline.major_diameter / 2)
    for turn in np.linspace(-0.9, 0.9, 3001):
        along, out = x + rolling / 2 * turn, rolling / 2 - depth
        radius, angle = np.hypot(along, out), np.arctan2(along, out) - turn
        order = np.argsort(angle)
        # As an envelope: each point takes off what lies outside it at its own angle.
        place = np.clip(np.rint(angle[order] / angles[1]).astype(int), -1, angles.size)
        inside = (place >= 0) & (place < angles.size)
        np.minimum.at(least, place[inside], radius[order][inside])
    return np.stack([angles, least])


@pytest.mark.parametrize(
    ("sizes", "roll"),
    [((8, 36, 42, 7), 1.0), ((8, 36, 42, 7), 0.993), ((16, 52, 60, 5), 1.0), ((6, 23, 26, 6), 1.0), ((10, 72, 82, 12), 1.02)],
)
def test_a_rack_of_the_thread_rolled_round_the_shaft_leaves_the_keys(sizes, roll):
    spline = StraightSpline(*sizes)
    left = RolledKeys.of(spline, spline.major_diameter * roll)
    angles, radius = rolled(spline, left.rolling_diameter)
    # From the middle of the space: the half of a key that is left, at every diameter of its straight side.
    for diameter in np.linspace(left.straight_from + 0.05, spline.major_diameter - 0.05, 6):
        first = angles[np.argmax(radius > diameter / 2)]
        half = diameter / 2 * math.sin(math.pi / spline.keys - first)
        assert half == pytest.approx(spline.key_width / 2, abs=diameter * angles[1])
    assert radius.min() == pytest.approx(spline.minor_diameter / 2, abs=1e-3)
    foot = angles[np.argmax(radius > spline.minor_diameter / 2 + 2e-3)]
    bottom = 2 * foot * spline.minor_diameter / 2
    assert bottom == pytest.approx(left.bottom, abs=0.12)
    # Between foot and straight side there is more than the key: the fillet.
    middle = (spline.minor_diameter + left.straight_from) / 2
    first = angles[np.argmax(radius > middle / 2)]
    assert middle / 2 * math.sin(math.pi / spline.keys - first) > spline.key_width / 2 + 0.01


@settings(max_examples=60, deadline=None)
@given(st.integers(4, 24), st.floats(0.25, 0.6), st.floats(0.04, 0.2), st.floats(1.0, 1.05))
def test_key_fillets_and_bottom_make_up_the_pitch(keys, part, deep, roll):
    minor = 50.0
    major = minor * (1 + deep)
    spline = StraightSpline(keys, minor, major, part * 1.5 * minor * math.sin(math.pi / keys))
    high = RolledKeys.of(spline, spline.least_rolling_diameter * roll)
    assert minor <= high.straight_from
    assert high.foot_width >= spline.key_width
    best = RolledKeys.best(spline)
    if high.bottom > 0 and high.rolling_diameter <= major:
        assert best.straight_from <= high.straight_from + 1e-4 * minor
    foot = 2 * math.asin(high.foot_width / minor) if high.foot_width < minor else math.inf
    assert foot + high.bottom / (minor / 2) == pytest.approx(2 * math.pi / keys)


def test_few_wide_keys_that_are_low_are_cut_to_their_feet_by_the_least_circle():
    """4 keys of 31.5 on 50 to 52: the tops alone would let a hob roll on 44.3, where nothing of it reaches the foot."""
    spline = StraightSpline(4, 50.0, 52.05, 31.49)
    assert spline.least_rolling_diameter == pytest.approx(25 + math.sqrt(25**2 - 15.745**2))
    assert RolledKeys.of(spline, spline.least_rolling_diameter).foot_width >= spline.key_width


def test_a_hob_that_rolls_too_far_in_cannot_cut_the_sides_to_their_tops():
    spline = StraightSpline(8, 36, 42, 7)
    with pytest.raises(ValueError, match="rolling diameter"):
        straight_spline(spline, rolling_diameter=spline.least_rolling_diameter - 0.01)


def test_keys_so_deep_that_the_thread_runs_to_a_point_are_refused():
    with pytest.raises(ValueError, match="pointed before it reaches"):
        straight_spline(StraightSpline(20, 40, 60, 5.5))


def keyed(keys: int, width: float, *, taper: float = 0.0, late: float = 0.0, columns: int = 40_000) -> Field:
    """A field with keys of straight sides drawn by hand: `taper` wider per mm inwards, the first one `late` radians on."""
    angles = 2 * math.pi * np.arange(columns) / columns
    radius = np.full(columns, 20.0)
    for key in range(keys):
        middle = 2 * math.pi * key / keys + (late if key == 0 else 0.0)
        away = np.abs(np.angle(np.exp(1j * (angles - middle))))
        for level in np.linspace(20, 25, 1200):
            wide = width + taper * (25 - level)
            radius = np.where(away <= math.asin(wide / 2 / level), np.maximum(radius, level), radius)
    return Field(radius[None, :], np.array([1.0]), np.zeros(1), 25.0)


def test_a_micrometer_finds_the_width_that_is_there():
    found = gauge_keys(keyed(6, 8.0), 42, 49)
    assert found is not None
    assert found.keys == 6
    assert found.width == pytest.approx(8.0, abs=0.004)
    assert found.parallel_um < 5
    assert found.dividing_um < 3


def test_a_key_that_is_thicker_at_its_foot_is_told():
    found = gauge_keys(keyed(6, 8.0, taper=0.02), 42, 49)
    assert found is not None
    assert found.taper_um == pytest.approx(20 * 3.5, abs=5)


def test_a_key_out_of_its_place_is_told():
    found = gauge_keys(keyed(6, 8.0, late=0.002), 42, 49)
    assert found is not None
    # One of six late by 0.002 rad: five sixths of it from the mean of all, at 49 mm across.
    assert found.dividing_um == pytest.approx(1000 * 0.002 * 5 / 6 * 24.5, abs=3)


def test_a_blank_without_keys_has_none_to_measure():
    assert gauge_keys(Field(np.full((1, 100), 20.0), np.zeros(1), np.zeros(1), 20.0), 30, 35) is None
