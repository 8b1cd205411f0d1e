"""The hollow turned round a worm wheel's blank, and where a hob meets it first."""

from __future__ import annotations

import math

import numpy as np
import pytest
from handlead.kinematics.other_work.wormwheel import Throat, usual_rim_diameter
from hypothesis import given, settings
from hypothesis import strategies as st

#: Wheel of order 06: 37 teeth of axial module 4, two starts on 40 mm, face 34, rim 1.5 modules over the throat.
HOLLOW = Throat(94.0, 16.0, 162.0, 34.0)


def touch_by_sampling(throat: Throat, tip: float) -> float:
    """Where a cylinder along Y, coming in along X, first meets the turned blank, looked for point by point."""
    best = 0.0
    for height in np.linspace(-throat.face_width / 2, throat.face_width / 2, 2001):
        if abs(height) >= tip:
            continue
        radius = throat.radius_at(float(height))
        turn = np.linspace(-0.5, 0.5, 201)
        best = max(best, float(np.max(radius * np.cos(turn))) + math.sqrt(tip**2 - height**2))
    return best


def test_the_hollow_is_an_arc_about_the_worm_s_axis_and_ends_at_the_rim():
    assert HOLLOW.diameter == 156
    assert HOLLOW.radius_at(0) == 78
    # 94 - sqrt(16^2 - z^2) = 81 where z = sqrt(256 - 169).
    assert HOLLOW.half_width == pytest.approx(math.sqrt(87))
    assert HOLLOW.radius_at(12) == 81


def test_a_hob_meets_the_edges_of_the_hollow_before_its_bottom():
    # By hand: z^2 = 87; sqrt(25^2 - 87) = 23.195, sqrt(16^2 - 87) = 13: 94 - 13 + 23.195 = 104.195, and full depth at
    # 94: 10.195 off it, where from the bottom of the throat it would be 9.
    assert HOLLOW.touch(25.0) == pytest.approx(104.195, abs=1e-3)
    assert HOLLOW.touch(25.0) - (78 + 25) == pytest.approx(1.195, abs=1e-3)


@settings(deadline=None, max_examples=40)
@given(
    st.floats(20, 200), st.floats(0.05, 0.5), st.floats(0, 0.9), st.floats(0.05, 3), st.floats(0.4, 3)
)
def test_the_touch_is_where_looking_point_by_point_finds_it(centres, radius, rim, face, tip):
    radius *= centres
    throat = Throat(centres, radius, 2 * (centres - radius * (1 - rim)), face * radius)
    tip *= radius
    if tip <= throat.half_width:
        return
    assert throat.touch(tip) == pytest.approx(touch_by_sampling(throat, tip), abs=2e-2 * radius)
    assert throat.touch(tip) >= throat.diameter / 2 + tip
    assert throat.clears(tip) >= throat.touch(tip) - 1e-9


def test_a_blank_without_a_rim_above_its_throat_is_met_in_the_middle():
    assert Throat(94.0, 16.0, 156.0, 34.0).touch(25.0) == pytest.approx(78 + 25)


@pytest.mark.parametrize(("starts", "over"), [(1, 2), (2, 1.5), (4, 1)])
def test_the_rim_stands_over_the_throat_by_the_table_of_worm_gearing(starts, over):
    # Two modules for one start, one and a half for two, one for four: tables of worm gearing, from memory.
    assert usual_rim_diameter(156, 4, starts) == pytest.approx(156 + over * 4)


@pytest.mark.parametrize("wrong", [(94, 94, 162, 34), (94, 16, 155, 34), (94, 0, 162, 34), (94, 16, 162, 0)])
def test_sizes_that_leave_no_hollow_are_refused(wrong):
    with pytest.raises(ValueError, match=r"throat|rim"):
        Throat(*wrong)
