"""The blank cut to full depth: what is measured on it, and that its fast ways agree with the plain one."""

from __future__ import annotations

import math
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from handlead.kinematics.cutting import compiled
from handlead.kinematics.cutting.field import axial_pass, cut_field
from handlead.kinematics.cutting.hob import Hob
from handlead.kinematics.cutting.setting import Grid
from handlead.kinematics.frame.words import Hand
from handlead.kinematics.gauging.field import gauge
from handlead.kinematics.gears.gear import Gear, thickness_at


def cut(machine, **how):
    told = {key: how.pop(key) for key in ("compiled", "progress") if key in how}
    return cut_field(axial_pass(machine), machine, Grid(**how), **told)


@pytest.mark.parametrize(
    ("hand", "hob_hand", "up", "starts"), [(1, 1, 1, 1), (-1, 1, -1, 2), (1, -1, -1, 1), (-1, -1, 1, 3)]
)
def test_right_set_ups_cut_whole_teeth_of_the_right_lead_to_full_depth(setting, hand, hob_hand, up, starts):
    machine = setting(
        teeth=20, module_n=2, hand=hand, hob_hand=hob_hand, up=up, starts=starts, face=16, hob_diameter=60
    )
    found = gauge(cut(machine, rows=49, columns=401, fineness=0.6, compiled=False), module_n=2)
    assert (found.teeth, found.hand) == (20, "right" if hand > 0 else "left")
    assert found.lead_mm == pytest.approx(abs(machine.lead), rel=1e-5)
    assert found.clean, found.notes


@pytest.mark.parametrize(
    ("wrong", "teeth"),
    [
        ({"index_for": Fraction(21)}, 21),
        ({"differential": Fraction(-1)}, 20),
        ({"swivel_error_deg": 50}, 20),
    ],
)
def test_wrong_set_ups_to_full_depth_are_not_clean(setting, wrong, teeth):
    machine = setting(teeth=20, module_n=2, face=16, hob_diameter=60, **wrong)
    found = gauge(cut(machine, rows=49, columns=401, fineness=0.6, compiled=False), module_n=2)
    assert found.teeth in (teeth, None)
    assert not found.clean


def test_an_index_far_from_whole_cuts_every_tooth_away(setting):
    machine = setting(teeth=20, module_n=2, helix_deg=0, face=16, hob_diameter=60, index_for=Fraction(102, 5))
    found = gauge(cut(machine, rows=49, columns=401, fineness=0.6, compiled=False))
    assert found.land_share == 0
    assert found.teeth is None
    assert not found.clean
    assert "can't be told" in found.notes[0]


def test_the_spaces_of_a_spur_gear_are_as_wide_as_its_involutes_leave_them(setting):
    # Tooth thickness on any diameter from the involute, ISO 21771 (from memory); the field knows of none.
    machine = setting(helix_deg=0, feed=Fraction(1, 2), gashes=20, face=4)
    field = cut(machine, heights=np.array([2.0]), columns=60_000, fineness=2, compiled=False)
    gear = Gear(29, 3, face_width=4)
    for diameter in (83.5, 87, 91):
        width = math.pi * diameter * np.mean(field.radius < diameter / 2) / 29
        assert width == pytest.approx(math.pi * diameter / 29 - thickness_at(gear, diameter), abs=2e-3)


def test_the_root_is_as_deep_as_the_rack_goes(setting):
    machine = setting(teeth=29, face=4)
    field = cut(machine, rows=3, columns=2000)
    gear = Gear(29, 3, 25, Hand.RIGHT)
    # Feed marks and facets leave at most a few micrometres over the deepest place.
    assert field.radius.min() == pytest.approx(gear.root_diameter / 2, abs=0.002)


@pytest.mark.skipif(not compiled.available(), reason="numba isn't installed")
@pytest.mark.parametrize(
    "what",
    [
        {},
        {"helix_deg": 0, "starts": 2},
        {"hand": -1, "hob_hand": -1, "up": -1, "index_for": Fraction(147, 5)},
    ],
)
def test_the_compiled_path_cuts_the_same_blank(setting, what):
    machine = setting(face=12, **what)
    plain = cut(machine, rows=5, columns=1500, compiled=False)
    quick = cut(machine, rows=5, columns=1500, compiled=True)
    np.testing.assert_allclose(quick.radius, plain.radius, rtol=0, atol=1e-12)


@pytest.mark.skipif(not compiled.available(), reason="numba isn't installed")
def test_the_compiled_path_knows_runout_and_gash_errors(setting):
    machine = setting(face=6, teeth=17)
    hob = Hob(
        module_n=3,
        reference_diameter=72.5,
        runout=0.05,
        gash_radial=tuple(0.01 * (g % 3) for g in range(10)),
        gash_axial=tuple(0.005 * (g % 2) for g in range(10)),
    )
    machine = replace(machine, hob=hob)
    plain, quick = (cut(machine, rows=3, columns=900, compiled=c) for c in (False, True))
    np.testing.assert_allclose(quick.radius, plain.radius, rtol=0, atol=1e-12)


def test_rows_can_be_cut_in_any_blocks_and_any_order(setting):
    machine = setting(teeth=17, face=8)
    together = cut(machine, heights=np.linspace(1, 7, 13), columns=500)
    alone = cut(machine, heights=np.array([together.heights[9]]), columns=500)
    np.testing.assert_allclose(together.radius[9], alone.radius[0], rtol=0, atol=1e-12)


def test_progress_rises_to_one(setting):
    machine = setting(teeth=17, face=8)
    told = []
    cut(machine, rows=20, columns=300, fineness=0.4, progress=told.append)
    assert told == sorted(told)
    assert told[-1] == 1
