"""Waves of known orders found in records: by closed formulas, with what a record can't tell apart."""

from __future__ import annotations

import math
from dataclasses import replace
from fractions import Fraction
from functools import cache

import numpy as np
import pytest
from handlead.kinematics.inspection.fit import fit_sources
from handlead.kinematics.inspection.looked import Looked, Readings
from handlead.kinematics.inspection.passage import Feel, Flank, WaveSource
from handlead.kinematics.inspection.pooled import pooled
from hypothesis import given, settings
from hypothesis import strategies as st
from random_flanks import cut_of

ORDERS = [Fraction(1), Fraction(84 * 23, 48), Fraction(17, 3), Fraction(29, 4)]
TEETH = 53


@cache
def flank(side=1):
    """A spur gear of 53 teeth, 2 mm of feed a turn of the table upwards."""
    what = {
        "teeth": TEETH, "module_n": 3.0, "helix_deg": 0.0, "hand": 1, "starts": 1, "hob_hand": 1, "up": 1,
        "feed": Fraction(2), "gashes": 12, "face": 40.0, "hob_diameter": 90.0, "swivel_error_deg": 0.0,
        "differential": Fraction(1),
    }  # fmt: skip
    return Flank(cut_of(what, side))


def looked(readings):
    """The record on the right flanks of teeth that are counted as they come to the hob."""
    roll = np.full(len(readings.um), math.tan(math.radians(20)))
    # The table turns clockwise under a right-hand hob that cuts up: a tooth further clockwise comes later.
    way = 1 if flank().cut.swept.table_rate < 0 else -1
    look = Feel.at(flank(), 1.0, roll, 20 + readings.height, way * (readings.tooth - 1))
    if readings.steps:
        look = look.beside(Feel.at(flank(), -1.0, roll, 20 + readings.height, way * (readings.tooth - 2)))
    return Looked(readings, (look,))


class Found:
    """Records fitted, each order a source that leaves 1 µm for one of it."""

    def __init__(self, *records, orders=ORDERS, most=np.inf):
        self.orders = sorted(orders)
        sources = [WaveSource(one, ((1, 1),), most) for one in self.orders]
        self.fitted = fit_sources([looked(one) for one in records], sources)
        self.unseen = tuple(self.orders[at] for at in self.fitted.unseen)
        self.waves = self.fitted.found

    def sizes(self):
        return {tuple(self.orders[at] for at in one.sources): abs(one.amount) for one in self.waves}


def marks(off):
    """Hollows that a hob of 45 mm radius leaves so far off its passes; along the base tangent sin 20° of their depth."""
    return 1000 * math.sin(math.radians(20)) * off**2 / (2 * 45)


def pitch(waves, noise=0.0, steps=False, every=1, seam=0.3, seed=1):
    tooth = np.arange(1, 1.0 + TEETH)
    turns = (tooth - 1) / TEETH
    turns = np.where(turns + seam > 0.5, turns - 1, turns)  # past the seam, teeth are of the turn before
    um = sum((size * np.cos(2 * np.pi * float(order) * turns + 0.7) for order, size in waves), np.zeros(TEETH))
    um = um + marks(2 * (turns + seam))
    if steps:
        um = um - np.roll(um, 1)
    um = um + np.random.default_rng(seed).normal(0, noise, TEETH)
    return Readings(tooth[::every], 0 * tooth[::every], um[::every], steps=steps)


@pytest.mark.parametrize("steps", [False, True])
@pytest.mark.parametrize("order", ORDERS)
def test_a_wave_of_an_order_that_is_not_whole_is_found_with_its_size(order, steps):
    # A wave far below the marks, or so slow, leaves the passages that cut deepest as they are.
    planted = 6.0 if order == 1 else 0.6
    found = Found(pitch([(order, planted)], 0.02 if steps else 0.1, steps))
    ((orders, size),) = found.sizes().items()
    assert order in orders
    assert size == pytest.approx(planted, abs=0.06 if planted < 1 else 0.5)
    assert found.fitted.left_um[0] < 0.2


def test_a_wave_is_found_in_a_record_of_every_second_tooth():
    assert Found(pitch([(ORDERS[3], 6.0)], 0.5, every=2)).sizes() == {(ORDERS[3],): pytest.approx(6, abs=1.0)}


@pytest.mark.parametrize("every", [1, 2, 3])
def test_three_waves_are_told_apart_though_teeth_are_left_out_between(every):
    # Larger ones would have other passages cut deepest than those that these records are made of.
    planted = {ORDERS[0]: 2.4, ORDERS[2]: 1.9, ORDERS[3]: 1.4}
    found = Found(pitch(list(planted.items()), 0.1, every=every))
    assert found.sizes() == {(one,): pytest.approx(size, abs=0.3) for one, size in planted.items()}


def test_noise_accuses_nothing():
    accused = sum(bool(Found(pitch([], 5.0, seed=seed)).waves) for seed in range(30))
    assert accused <= 1


def test_the_count_of_teeth_folds_an_order_onto_another_and_both_are_named():
    orders = [Fraction(1), Fraction(52), Fraction(54), Fraction(5)]
    found = Found(pitch([(Fraction(1), 8.0)], 0.2), orders=orders)
    assert list(found.sizes()) == [(Fraction(1), Fraction(52), Fraction(54))]


def test_what_comes_with_every_tooth_cannot_be_seen_in_a_pitch_record():
    assert Found(pitch([], 1.0), orders=[Fraction(53), Fraction(1)]).unseen == (Fraction(53),)


def test_a_part_is_not_at_fault_by_more_than_it_can_be():
    # Only a twentieth of what is there could come from any of them.
    assert not Found(pitch([(ORDERS[2], 9.0)], 0.3), most=0.4).waves


def helix(waves, noise=0.3, slope=0.25):
    """Three teeth over the face: each pass of the hob, 2 mm after the one before, as it stood then."""
    height, tooth = np.tile(np.linspace(-18, 18, 145), 3), np.repeat([1.0, 18.0, 36.0], 145)
    turns = (tooth - 1) / TEETH
    passes = turns + np.round(height / 2 - turns - 0.21)
    um = slope * height + 3 * tooth + marks(height - 2 * (passes + 0.21))
    um += sum(size * np.sin(2 * np.pi * float(order) * passes) for order, size in waves)
    um += np.random.default_rng(2).normal(0, noise, um.size)
    return Readings(tooth, height, um, by_tooth=True)


def test_a_helix_record_shows_the_slope_and_a_wave_a_turn_of_a_screw():
    # A lead of 10 mm at 2 mm a turn of the table: a fifth of a wave a turn, so a wave in 10 mm of the face.
    orders = [Fraction(1, 5), Fraction(3, 10), Fraction(1)]
    found = Found(helix([(Fraction(1, 5), 1.5)]), orders=orders)
    assert next(iter(found.sizes())) == (Fraction(1, 5),)
    assert next(iter(found.sizes().values())) == pytest.approx(1.5, abs=0.3)
    assert found.fitted.slope_um_per_mm[0] == pytest.approx(0.25, abs=0.02)


def test_too_few_readings_are_refused():
    whole = pitch([])
    short = replace(whole, tooth=whole.tooth[:3], height=whole.height[:3], um=whole.um[:3])
    with pytest.raises(ValueError, match="3 readings are too few"):
        Found(short)


# ---------------------------------------------------------------- what leans

#: Once a turn: 1 µm at mid-face and at either end alike; or as much at mid-face and a tenth more for each mm above it.
RUNS_OUT = WaveSource(Fraction(1), ((1, 1),))
LEANS = replace(RUNS_OUT, leans=((1, 0.1),))


def askew(height, size=8.0, noise=0.3):
    """Once a turn round the gear at this height of the face, of a blank that stands askew."""
    one = pitch([(Fraction(1), size * (1 + 0.1 * height))], noise, seed=int(height) + 30)
    return replace(one, height=one.height + height)


def test_what_leans_is_told_from_what_runs_out_by_the_pitch_at_two_heights():
    fitted = fit_sources([looked(askew(-14.0)), looked(askew(14.0))], [RUNS_OUT, LEANS])
    ((found,), sizes) = [one.sources for one in fitted.found], [abs(one.amount) for one in fitted.found]
    assert found == (1,)
    assert sizes == [pytest.approx(8, abs=0.8)]


def test_the_pitch_at_one_height_cannot_tell_what_leans_from_what_runs_out():
    ((found, size),) = (
        (one.sources, abs(one.amount)) for one in fit_sources([looked(askew(0.0))], [RUNS_OUT, LEANS]).found
    )
    assert found == (0, 1)
    assert size == pytest.approx(8, abs=0.8)


def test_what_leans_stands_in_the_slopes_of_teeth_round_the_gear():
    # Each tooth has its own zero, so that of once a turn alike at all heights only what lies between passes shows.
    plain = helix([], slope=0.0)
    turns = (plain.tooth - 1) / TEETH
    passes = turns + np.round(plain.height / 2 - turns - 0.21)
    um = plain.um + 4 * (1 + 0.1 * plain.height) * np.sin(2 * np.pi * passes)
    fitted = fit_sources([looked(replace(plain, um=um))], [RUNS_OUT, LEANS, WaveSource(Fraction(1, 5), ((1, 1),))])
    assert [(one.sources, round(abs(one.amount), 1)) for one in fitted.found] == [((1,), pytest.approx(4, abs=0.4))]


# ---------------------------------------------------------------- laws

PLANTED = [(ORDERS[0], 9.0), (ORDERS[2], 7.0)]
few = settings(max_examples=4, deadline=None)


@few
@given(st.permutations(range(2)))
def test_it_makes_no_difference_which_record_comes_first(order):
    records = [pitch(PLANTED, 0.3, every=2), pitch(PLANTED, 0.3, steps=True, seed=2)]
    plainly, turned = Found(*records).sizes(), Found(*(records[at] for at in order)).sizes()
    assert turned == {orders: pytest.approx(size, rel=1e-2) for orders, size in plainly.items()}


@few
@given(st.floats(0.5, 3))
def test_a_plain_gear_accuses_nobody_and_readings_twice_as_big_are_waves_twice_as_big(scale):
    tooth = np.arange(1.0, 1 + TEETH)
    assert not Found(Readings(tooth, 0 * tooth, 0 * tooth)).waves
    plainly, scaled = (Found(pitch([(ORDERS[2], by)], by * 0.15)).sizes() for by in (1, scale))
    assert scaled == {orders: pytest.approx(scale * size, rel=0.15) for orders, size in plainly.items()}


def test_the_biggest_wave_stands_first():
    found = Found(pitch([(Fraction(17, 3), 2.0), (Fraction(29, 4), 6.0)], noise=0.05))
    assert [found.orders[one.sources[0]] for one in found.waves] == [Fraction(29, 4), Fraction(17, 3)]


@given(st.floats(0, 1), st.floats(0, 1), st.floats(0.5, 12))
@settings(max_examples=40, deadline=None)
def test_what_stands_goes_with_the_seam_and_with_amounts_as_it_is_said_to(gash, turn, size):
    tooth, height = np.repeat([1.0, 20.0], 60), np.tile(np.linspace(-18, 18, 60), 2)
    whole = pooled((looked(Readings(tooth, height, 0 * tooth, by_tooth=True)),))
    sources = [WaveSource(one, ((1, 1),)) for one in (ORDERS[1], ORDERS[2])]
    amounts, step = np.array([size * np.exp(1j), 0.4 * size]), 1e-6

    def stands(seam, amounts):
        _, cut = whole.cut_with(sources, amounts, seam)
        return cut.marks + (cut.waves @ amounts).real

    _, here = whole.cut_with(sources, amounts, (gash, turn))
    at = stands((gash, turn), amounts)
    moved = [stands((gash + step, turn), amounts), stands((gash, turn + step), amounts)]
    more = [stands((gash, turn), amounts + step * np.array(one)) for one in ([1, 0], [1j, 0], [0, 1])]
    told = [*here.tilt.T, here.waves[:, 0].real, -here.waves[:, 0].imag, here.waves[:, 1].real]
    for one, slope in zip((*moved, *more), told, strict=True):
        # Where one passage takes over from another there is a corner, within a step of very few readings.
        assert np.median(np.abs((one - at) / step - slope)) < 1e-2


def test_a_reading_that_is_the_mean_of_a_cell_has_no_marks_but_those_that_waves_make():
    tooth = np.arange(1.0, 1 + TEETH)
    at_places = looked(Readings(tooth, 0 * tooth, 0 * tooth))
    spread = tuple(one.spread(3) for one in at_places.looks)
    both = pooled((Looked(at_places.readings, spread, (), at_places.looks),))
    source = [WaveSource(ORDERS[1], ((1, 1),))]
    cell, place = both.cut_with(source, np.zeros(1, dtype=complex), (0.2, 0.4))
    assert cell.marks == pytest.approx(np.zeros(TEETH), abs=1e-9)
    assert np.ptp(place.marks) > 1
    cell, _ = both.cut_with(source, 9 + np.zeros(1, dtype=complex), (0.2, 0.4))
    assert np.abs(cell.marks).max() > 0.1


@pytest.mark.parametrize("most", [1.4, 1.5, 1.6])
def test_a_wave_about_as_large_as_there_can_be_of_it_is_hardly_larger(most):
    for seed in range(4):
        sizes = Found(pitch([(ORDERS[3], 1.5)], 0.1, seed=seed), most=most).sizes()
        assert all(one <= 1.1 * most for one in sizes.values())
