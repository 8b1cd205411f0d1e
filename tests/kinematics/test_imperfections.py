"""Small errors of the machine and the hob appear on the work at the frequencies and heights that they must."""

from __future__ import annotations

import math
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from handlead.kinematics.cutting.field import axial_pass, cut_field
from handlead.kinematics.cutting.hob import Hob
from handlead.kinematics.cutting.setting import Grid
from handlead.kinematics.flank_cutting.flank_passages import FlankCut
from handlead.kinematics.flank_cutting.flanks import cut_flank, cut_pitch
from handlead.kinematics.frame.motion import Motion, Phase, Ripple, register, steady_cut
from handlead.kinematics.frame.words import Hand
from handlead.kinematics.gauging.field import gauge
from handlead.kinematics.gauging.flanks import even_division, gauge_flank, gauge_pitch
from handlead.kinematics.gears.gear import Gear


def ready(setting, ripples=(), hob=None, **what):
    machine = setting(**what)
    helix = what.get("helix_deg", 25)
    gear = Gear(
        what.get("teeth", 29), 3, helix, Hand.RIGHT if helix else None, face_width=what.get("face", 40)
    )
    motion = axial_pass(machine)
    return replace(motion, ripples=tuple(ripples)), replace(machine, hob=hob or machine.hob), gear


@pytest.mark.parametrize("times", [1, 2])
def test_errors_of_table_wheel_and_worm_are_pitch_errors_round_the_gear(setting, times):
    # Amplitude in turns of the table, `times` to a turn: each flank stands off by it where the table stood wrong.
    off = 1e-5
    index = even_division(
        cut_pitch(FlankCut.of(*ready(setting, [Ripple("table", "table", Fraction(times), off)])))
    )
    reference = 3 * 29 / math.cos(math.radians(25))
    angle = 2 * math.pi * times * np.arange(29) / 29
    terms = np.stack([np.cos(angle), np.sin(angle), np.ones(29)], axis=1)
    found, *_ = np.linalg.lstsq(terms, index, rcond=None)
    assert np.hypot(*found[:2]) == pytest.approx(1000 * math.pi * reference * off, rel=0.03)
    np.testing.assert_allclose(terms @ found, index, atol=0.05)
    right = even_division(cut_pitch(FlankCut.of(*ready(setting))))
    assert np.ptp(right) < 0.1
    if times == 1:
        assert gauge_pitch(index).cumulative_um == pytest.approx(2000 * math.pi * reference * off, rel=0.03)


def test_an_error_of_the_table_worm_comes_back_as_often_as_the_worm_turns(setting):
    # 96 worm turns meet 29 teeth as 96 − 3·29 = 9 waves round the gear. A flank takes shape over part of a worm turn
    # and the deepest gash wins, so that less than the whole error is left on it.
    index = even_division(
        cut_pitch(FlankCut.of(*ready(setting, [Ripple("table", "table", Fraction(96), 1e-5)])))
    )
    waves = 2 * np.abs(np.fft.rfft(index)) / 29
    assert int(np.argmax(waves)) == 9
    whole = 1000 * math.pi * 3 * 29 / math.cos(math.radians(25)) * 1e-5
    assert 0.3 * whole < waves[9] < whole


def test_an_error_of_the_lead_screw_is_a_wave_along_helical_teeth_and_nothing_on_spur_ones(setting):
    ripple = Ripple("axial", "axial", Fraction(1, 20), 0.02)
    for helix in (25, 0):
        true, off = (
            cut_flank(FlankCut.of(*ready(setting, ripples, helix_deg=helix)), rolls=9, heights=241)
            for ripples in ((), (ripple,))
        )
        wave = (off.deviation - true.deviation)[4]
        angle = 2 * math.pi * true.heights / 20
        terms = np.stack([np.cos(angle), np.sin(angle), np.ones_like(angle)], axis=1)
        found, *_ = np.linalg.lstsq(terms, wave, rcond=None)
        base = math.asin(math.sin(math.radians(helix)) * math.cos(math.radians(20)))
        assert np.hypot(*found[:2]) == pytest.approx(0.02 * math.sin(base), rel=0.05, abs=1e-4)


def test_a_change_gear_that_runs_out_shows_as_often_as_it_turns(setting):
    # A gear that turns 7 times in 30 turns of the table (exactly) leaves a wave along the tooth of 30/7 feeds.
    ripple = Ripple("table", "table", Fraction(7, 30), 2e-6)
    true, off = (
        cut_flank(FlankCut.of(*ready(setting, ripples, helix_deg=0)), rolls=9, heights=401) for ripples in ((), (ripple,))
    )
    wave = (off.deviation - true.deviation)[4]
    sizes = np.abs(np.fft.rfft((wave - wave.mean()) * np.hanning(wave.size), 8 * wave.size))
    per_mm = np.argmax(sizes) / (8 * wave.size * (true.heights[1] - true.heights[0]))
    assert per_mm == pytest.approx(7 / 60, rel=0.03)


def test_runout_of_the_hob_waves_up_and_down_the_tooth_once_a_base_pitch(setting):
    # Radial runout e moves the flank by e·sin α at most (own derivation: wedge of the rack's flank).
    machine = setting(helix_deg=0, gashes=20)
    hob = replace(machine.hob, runout=0.02)
    true = cut_flank(FlankCut.of(*ready(setting, helix_deg=0, gashes=20)), rolls=96, heights=41)
    off = cut_flank(FlankCut.of(*ready(setting, hob=hob, helix_deg=0, gashes=20)), rolls=96, heights=41)
    wave = (off.deviation - true.deviation).mean(axis=1) * 1000
    angle = 2 * math.pi * true.roll_length / (math.pi * 3 * math.cos(math.radians(20)))
    terms = np.stack([np.cos(angle), np.sin(angle), np.ones_like(angle)], axis=1)
    found, *_ = np.linalg.lstsq(terms, wave, rcond=None)
    assert np.hypot(*found[:2]) == pytest.approx(20 * math.sin(math.radians(20)), rel=0.1)
    assert gauge_flank(off).profile.form_um > gauge_flank(true).profile.form_um + 5


def test_a_gash_ground_proud_cuts_its_own_mark_deeper(setting):
    machine = setting(helix_deg=0)
    proud = replace(machine.hob, gash_radial=(0.03, *(0.0,) * 9))
    true = cut_flank(FlankCut.of(*ready(setting, helix_deg=0)), rolls=96, heights=21)
    off = cut_flank(FlankCut.of(*ready(setting, hob=proud, helix_deg=0)), rolls=96, heights=21)
    deeper = (true.deviation - off.deviation) * 1000
    assert deeper.min() > -1e-6
    assert deeper.max() == pytest.approx(30 * math.sin(math.radians(20)), rel=0.05)
    assert np.mean(deeper > 1) < 0.6


def test_an_involute_worm_is_not_straight_in_its_axial_section():
    # Some micrometres for few millimetres of diameter and several starts: own derivation.
    hob = Hob(module_n=3, starts=3, reference_diameter=60)
    radius = np.linspace(28, 33, 51)
    edge = hob.half_thickness(radius)
    chord = edge[0] + (edge[-1] - edge[0]) * (radius - 28) / 5
    assert 2 < 1000 * np.abs(edge - chord).max() < 60


@pytest.mark.parametrize("miss", [Fraction(0), Fraction(1, 4), Fraction(1, 2)])
def test_a_second_cut_falls_into_the_first_only_with_register(setting, miss):
    machine = setting(teeth=20, helix_deg=0, face=20, hob_diameter=60)
    light = machine.sunk(0.05)
    motion = axial_pass(light)
    first = motion.phases[0]
    start = replace(first.start, table=first.start.table - miss / 20)
    second = steady_cut(machine.rates, start, first.turns, "second")
    assert register(first, second, Fraction(-1, 20), 20).miss_pitch == miss
    back = Phase(first.end, (second.start - first.end), Fraction(1), "return")
    twice = Motion((first, back, second))
    heights = np.linspace(0, 20, 41)
    once, both = (
        cut_field(m, light, Grid(heights, columns=801))
        for m in (motion, twice)
    )
    same = np.allclose(once.radius, both.radius, atol=1e-9)
    assert same is (miss == 0)
    found = gauge(both)
    if miss == 0:
        assert found.clean
    else:
        # Half a pitch off there are twice the spaces; a quarter off, each is half as wide again.
        assert found.teeth == (40 if miss == Fraction(1, 2) else 20)
        assert found.land_share < gauge(once).land_share - 0.05
