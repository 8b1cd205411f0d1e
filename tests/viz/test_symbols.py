"""The symbols of a drive train, as they lie on the paper."""

from __future__ import annotations

import pytest
from handlead.viz.look import symbols


@pytest.mark.parametrize("wheel_y", [20.0, -20.0])
def test_the_threads_of_a_worm_stay_upon_the_worm_and_lean_one_way(wheel_y):
    from matplotlib.figure import Figure

    axes = Figure().add_subplot()
    symbols.worm_gear(axes, 5.0, 0.0, wheel_y, symbols.Pen())
    threads = [line for line in axes.lines if line.get_xdata()[0] != line.get_xdata()[1]]
    assert len(threads) == 3
    for line in threads:
        (left, right), (low, high) = line.get_xdata(), line.get_ydata()
        assert 5 - 3 <= left < right <= 5 + 3
        assert (low, high) == (-1.4, 1.4)
