"""Keys short of depth, or past it: how wide they are where a tooth caliper measures them, by a rack that is rolled."""

import math

import numpy as np
import pytest
from handlead.kinematics.other_work.keys_short import KeyMeasure
from handlead.kinematics.other_work.profiles import straight_spline
from handlead.kinematics.other_work.spline import StraightSpline
from hypothesis import given, settings
from hypothesis import strategies as st

SHAFT = StraightSpline(16, 52, 60, 5)


def rolled_width(spline, rolling, short, height):
    """The key's width `height` below its top: every point of the thread goes with the rack while the shaft turns, and
    what it takes off the side is looked at in the key's own frame. Nothing of the derivation is in it."""
    heights, halves = np.array(straight_spline(spline, 4000, rolling)).T
    r, at = rolling / 2, spline.major_diameter / 2 - height
    least = math.inf
    # The side of the key beside the space: the space's middle stands half a pitch beside the key's.
    for turn in np.linspace(-1.0, 1.0, 8001):
        along, out = halves + r * turn, r - heights + short
        angle = math.pi / spline.keys + turn
        # In a frame whose second axis is the key's middle.
        x, y = along * math.cos(angle) - out * math.sin(angle), along * math.sin(angle) + out * math.cos(angle)
        order = np.flatnonzero((y[:-1] - at) * (y[1:] - at) <= 0)
        for one in order:
            part = 0.0 if y[one + 1] == y[one] else (at - y[one]) / (y[one + 1] - y[one])
            least = min(least, abs(x[one] + part * (x[one + 1] - x[one])))
    return 2 * least


@pytest.mark.parametrize("short", [-0.3, 0.0, 0.3, 0.8])
@pytest.mark.parametrize(("sizes", "roll"), [((16, 52, 60, 5), 1.0), ((8, 36, 42, 7), 0.995), ((10, 72, 82, 12), 1.02)])
def test_a_rack_rolled_farther_out_leaves_keys_as_wide(sizes, roll, short):
    spline = StraightSpline(*sizes)
    rolling = spline.major_diameter * roll
    measure = KeyMeasure.of(spline, rolling)
    assert measure.width(short) == pytest.approx(rolled_width(spline, rolling, short, measure.height), abs=2e-3)


def test_at_full_depth_a_key_is_as_wide_as_drawn_wherever_it_is_measured():
    measure = KeyMeasure.of(SHAFT, 60.0)
    assert measure.width(0.0) == pytest.approx(5.0, abs=1e-9)
    assert 0 < measure.height < SHAFT.depth / 2
    assert KeyMeasure(SHAFT, 30.0, 0.5).width(0.0) == pytest.approx(5.0, abs=1e-9)


@given(st.floats(-0.5, 1.0))
@settings(max_examples=40, deadline=None)
def test_the_width_tells_how_far_the_hob_is_off_depth(short):
    measure = KeyMeasure.of(SHAFT, 60.0)
    assert measure.short(measure.width(short)) == pytest.approx(short, abs=1e-6)


def test_a_key_so_thick_that_its_fillet_reaches_up_tells_no_depth():
    measure = KeyMeasure.of(SHAFT, 60.0)
    assert measure.width(measure.longest - 1e-6) > 5
    with pytest.raises(ValueError, match="isn't made"):
        measure.width(measure.longest + 0.01)
    with pytest.raises(ValueError, match=r"key width is 9\.000 mm"):
        measure.short(9.0)
    with pytest.raises(ValueError, match=r"key width is 1\.000 mm"):
        measure.short(1.0)
