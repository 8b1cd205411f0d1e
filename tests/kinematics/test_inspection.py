"""Waves of known orders found in records: by closed formulas, with what a record can't tell apart."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from handlead.kinematics.inspection.fit import fit_sources
from handlead.kinematics.inspection.laid import WaveSource
from handlead.kinematics.inspection.passage import Passage
from handlead.kinematics.inspection.readings import Readings

GEAR = Passage(53, Fraction(2), 0.004)
ORDERS = [Fraction(1), Fraction(84 * 23, 48), Fraction(17, 3), Fraction(29, 4)]


class Fit:
    """One record fitted, each order a source that leaves 1 µm for one of it."""

    def __init__(self, readings, passage, orders):
        self.orders = sorted(orders)
        self.fitted = fit_sources([readings], [passage], [WaveSource(one, (1,)) for one in self.orders])
        self.left_um = self.fitted.left_um[0]
        self.slope_um_per_mm = self.fitted.slope_um_per_mm[0]
        self.unseen = tuple(self.orders[at] for at in self.fitted.unseen)
        self.waves = self.fitted.found

    def named(self, wave):
        return tuple(self.orders[at] for at in wave.sources)


fit_orders = Fit


def pitch(waves, noise=0.0, steps=False, every=1, seam=0.3, seed=1):
    tooth = np.arange(1, 54.0)
    turns = (tooth - 1) / 53
    turns = np.where(turns + seam > 0.5, turns - 1, turns)  # past the seam, teeth are of the turn before
    um = sum((size * np.cos(2 * np.pi * float(order) * turns + 0.7) for order, size in waves), np.zeros(53))
    if steps:
        um = um - np.roll(um, 1)
    um = um + np.random.default_rng(seed).normal(0, noise, 53)
    return Readings(tooth[::every], 0 * tooth[::every], um[::every], steps=steps)


@pytest.mark.parametrize("steps", [False, True])
@pytest.mark.parametrize("order", ORDERS)
def test_a_wave_of_an_order_that_is_not_whole_is_found_with_its_size(order, steps):
    found = fit_orders(pitch([(order, 12.0)], 0.2, steps), GEAR, ORDERS)
    (wave,) = found.waves
    assert order in found.named(wave)
    assert abs(abs(wave.amount) - 12) < 3 * wave.error + 1e-9
    assert found.left_um == pytest.approx(0.2, rel=0.4)


def test_a_wave_is_found_in_a_record_of_every_second_tooth():
    found = fit_orders(pitch([(ORDERS[3], 6.0)], 0.5, every=2), GEAR, ORDERS)
    (wave,) = found.waves
    assert found.named(wave) == (ORDERS[3],)
    assert abs(wave.amount) == pytest.approx(6, abs=1.0)


def test_three_waves_in_a_record_of_all_teeth_are_told_apart():
    planted = {ORDERS[0]: 9.0, ORDERS[2]: 7.0, ORDERS[3]: 5.0}
    found = fit_orders(pitch(list(planted.items()), 0.5), GEAR, ORDERS)
    assert {found.named(wave)[0]: abs(wave.amount) for wave in found.waves} == pytest.approx(planted, abs=1.0)


def test_noise_accuses_nothing():
    accused = sum(bool(fit_orders(pitch([], 5.0, seed=seed), GEAR, ORDERS).waves) for seed in range(60))
    assert accused <= 3


def test_the_count_of_teeth_folds_an_order_onto_another_and_both_are_named():
    found = fit_orders(pitch([(Fraction(1), 8.0)], 0.2), GEAR, [Fraction(1), Fraction(52), Fraction(54), Fraction(5)])
    assert found.named(found.waves[0]) == (Fraction(1), Fraction(52), Fraction(54))


def test_what_comes_with_every_tooth_cannot_be_seen_in_a_pitch_record():
    assert fit_orders(pitch([], 1.0), GEAR, [Fraction(53), Fraction(1)]).unseen == (Fraction(53),)


def test_a_helix_record_shows_the_slope_and_a_wave_a_turn_of_a_screw():
    # A lead of 10 mm at 2 mm a turn of the table: a fifth of a wave a turn, so a wave in 10 mm of the face.
    height = np.tile(np.linspace(-18, 18, 145), 3)
    tooth = np.repeat([1.0, 18.0, 36.0], 145)
    gear = replace(GEAR, per_mm=0.0)
    passes = gear.into_turn(tooth, height) + gear.passes(tooth, height, 0.21)
    um = 0.25 * height + 6 * np.sin(2 * np.pi * passes / 5) + 3 * tooth
    um += np.random.default_rng(2).normal(0, 0.3, um.size)
    found = fit_orders(Readings(tooth, height, um, by_tooth=True), gear, [Fraction(1, 5), Fraction(3, 10), Fraction(1)])
    assert found.named(found.waves[0]) == (Fraction(1, 5),)
    assert abs(found.waves[0].amount) == pytest.approx(6, abs=0.3)
    assert found.slope_um_per_mm == pytest.approx(0.25, abs=0.02)


def test_too_few_readings_are_refused():
    readings = pitch([])
    short = replace(readings, tooth=readings.tooth[:3], height=readings.height[:3], um=readings.um[:3])
    with pytest.raises(ValueError, match="3 readings are too few"):
        fit_orders(short, GEAR, ORDERS)
