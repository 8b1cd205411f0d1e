"""The dial by which the head is swung on the page."""

from __future__ import annotations

import math

import pytest
from handlead.viz.bench_drawn import drawings


def test_every_line_of_the_dial_points_to_the_pivot_and_begins_on_its_circle():
    for ((xa, ya), (xb, yb)), degrees in drawings._ticks():
        assert math.hypot(xa, ya) == pytest.approx(drawings._FROM)
        assert xa * yb - ya * xb == pytest.approx(0, abs=1e-9)
        assert math.degrees(math.atan2(-yb, xb)) == pytest.approx(degrees)
