"""Feed marks and facets."""

from __future__ import annotations

import math

import pytest
from handlead.kinematics.practice import finish
from hypothesis import given, settings
from hypothesis import strategies as st

lawful = settings(deadline=None)
feeds = st.floats(0.1, 8)
hobs = st.floats(30, 200)
helix_angles = st.floats(0, 45)


@lawful
@given(feeds, hobs, helix_angles)
def test_the_largest_feed_leaves_just_the_mark_allowed(feed: float, hob: float, helix_angle: float) -> None:
    mark = finish.flank_mark_um(feed, hob, 20, helix_angle)
    assert finish.largest_feed(mark, hob, 20, helix_angle) == pytest.approx(feed, rel=1e-9)


@lawful
@given(st.floats(0.1, 1e9), hobs)
def test_no_mark_however_deep_allows_a_feed_of_the_hobs_diameter(mark: float, hob: float) -> None:
    feed = finish.largest_feed(mark, hob)
    assert feed < hob
    assert finish.flank_mark_um(feed, hob) <= mark * (1 + 1e-9)


@lawful
@given(feeds, hobs)
def test_twice_the_feed_leaves_marks_four_times_as_deep(feed: float, hob: float) -> None:
    assert finish.root_mark_um(2 * feed, hob) == pytest.approx(4 * finish.root_mark_um(feed, hob))


@lawful
@given(feeds, hobs, helix_angles)
def test_marks_on_the_flank_are_shallower_than_at_the_root(
    feed: float, hob: float, helix_angle: float
) -> None:
    flank = finish.flank_mark_um(feed, hob, 20, helix_angle)
    assert 0 < flank < finish.root_mark_um(feed, hob, helix_angle)


@lawful
@given(st.integers(12, 200), st.integers(1, 3), st.integers(8, 20))
def test_starts_cost_four_times_what_gashes_gain(teeth: int, starts: int, gashes: int) -> None:
    plain = finish.facet_um(2, teeth, starts, gashes)
    assert finish.facet_um(2, teeth, 2 * starts, gashes) == pytest.approx(4 * plain)
    assert finish.facet_um(2, teeth, starts, 2 * gashes) == pytest.approx(plain / 4)
    assert finish.facet_um(2, teeth, 2 * starts, 2 * gashes) == pytest.approx(plain)


@pytest.mark.parametrize(("teeth", "gashes"), [(20, 10), (40, 12), (80, 9)])
def test_the_facet_is_the_gap_between_two_tangents_and_the_involute(teeth: int, gashes: int) -> None:
    # Two neighbouring cuts are tangents of the involute; where they cross is the facet's ridge.
    base = teeth * math.cos(math.radians(20)) / 2
    roll = math.tan(math.radians(20))
    step = 2 * math.pi / (teeth * gashes)
    apart = []
    for turned in (roll - step / 2, roll + step / 2):
        x = base * (math.cos(turned) + turned * math.sin(turned))
        y = base * (math.sin(turned) - turned * math.cos(turned))
        apart.append((x, y, math.cos(turned), math.sin(turned)))
    (x1, y1, c1, s1), (x2, y2, c2, s2) = apart
    along = ((x2 - x1) * s2 - (y2 - y1) * c2) / (c1 * s2 - s1 * c2)
    ridge = (x1 + along * c1, y1 + along * s1)
    # Distance to the involute: along the base tangent, minus the length unwound there.
    beyond = math.sqrt(ridge[0] ** 2 + ridge[1] ** 2 - base**2)
    foot = math.atan2(ridge[1], ridge[0]) + math.atan2(beyond, base)
    assert finish.facet_um(1, teeth, 1, gashes) == pytest.approx(1000 * abs(beyond - base * foot), rel=0.02)


def test_a_feed_that_leaves_ridges_is_refused() -> None:
    with pytest.raises(ValueError, match="feed is 90 mm; with a hob of 80 mm it must be below 80 mm"):
        finish.flank_mark_um(90, 80)


@pytest.mark.parametrize("gashes", [0, -1])
def test_a_hob_without_gashes_cuts_nothing(gashes: int) -> None:
    with pytest.raises(ValueError, match=f"gashes is {gashes}"):
        finish.facet_um(2, 30, 1, gashes)
